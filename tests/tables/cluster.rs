//! The rows of every derived table are those made here when the machines of a cluster make them, also when
//! one of them is lost midway.

use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use chrono::NaiveDate;
use lake::Lake;
use serde_json::Value;
use settings::Settings;
use tables::Analysis;
use tables::cluster::Address;
use tables::rust_tables::COMPUTED;

use crate::command::small_fleet;

/// A server that ends with the test.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn serve(role: &[&str]) -> Server {
    let server = Command::new(env!("CARGO_BIN_EXE_voltwane"))
        .arg("serve")
        .args(role)
        .stdout(Stdio::null())
        .spawn();
    Server(server.expect("a server"))
}

/// A port that nobody listens at, and nor at the next.
fn free_port() -> u16 {
    let here = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    loop {
        let port = here(0)
            .expect("a port")
            .local_addr()
            .expect("its address")
            .port();
        if port < u16::MAX && here(port).is_ok() && here(port + 1).is_ok() {
            return port;
        }
    }
}

async fn until_listening(port: u16) {
    while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// How many files of rows there are in the folder of the only run.
fn files(shared: &Path) -> usize {
    let of = |folder: &Path| std::fs::read_dir(folder).into_iter().flatten().flatten();
    let runs = of(shared).map(|run| of(&run.path()).count());
    runs.sum()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cluster_makes_the_same_rows_though_a_machine_is_lost() {
    let scheduler = free_port();
    let _scheduler = serve(&["scheduler", "--listen", &format!("127.0.0.1:{scheduler}")]);
    until_listening(scheduler).await;
    let address = format!("df://127.0.0.1:{scheduler}");
    let executor = async || {
        let port = free_port();
        let listen = format!("127.0.0.1:{port}");
        let executor = serve(&[
            "executor",
            "--scheduler",
            &address,
            "--listen",
            &listen,
            "--threads",
            "1",
        ]);
        until_listening(port).await;
        executor
    };
    let (lost, _stays) = (executor().await, executor().await);

    let place = small_fleet().path().join("lake");
    let lake = Lake::open(&place.display().to_string())
        .await
        .expect("a lake");
    let today = NaiveDate::from_ymd_opt(2026, 7, 1).expect("a day");
    let look = || Analysis::new(&lake, &[], None, None, today, Settings::default(), None);
    let here = look().await.expect("an analysis").in_buckets(5);
    let shared = tempfile::tempdir().expect("a folder");
    let address: Address = address.parse().expect("an address");
    let there = look()
        .await
        .expect("an analysis")
        .in_buckets(5)
        .on_cluster(address, shared.path())
        .expect("a cluster");

    // Some work has been told by then, and most is still to be done.
    let folder = shared.path().to_owned();
    let killed = tokio::spawn(async move {
        while files(&folder) < 40 {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        drop(lost);
        files(&folder)
    });
    let queries = here.graph().iter().map(|query| query.name.as_str());
    let mut filled = 0;
    for table in queries.chain(COMPUTED.iter().map(|table| table.name)) {
        let (rows_here, rows_there) = (rows(&here, table).await, rows(&there, table).await);
        assert!(rows_here == rows_there, "{table}");
        filled += usize::from(!rows_here.is_empty());
    }
    let by_then = killed.await.expect("one was lost");
    assert!(filled > 70, "{filled}");
    // The one that stayed went on working.
    assert!(files(shared.path()) > by_then + 20);
}

/// A table's rows to the last digit. A question without ORDER BY is answered in the order in which its parts
/// are read.
async fn rows(analysis: &Analysis, table: &str) -> Vec<String> {
    let rows: Result<Vec<Value>, _> = analysis.rows(&format!("SELECT * FROM {table}")).await;
    let rows = rows.unwrap_or_else(|error| panic!("{table}: {error}"));
    let mut rows: Vec<String> = rows.iter().map(Value::to_string).collect();
    rows.sort();
    rows
}

#[tokio::test]
async fn a_cluster_that_is_not_there_is_named() {
    let place = small_fleet().path().join("lake");
    let nobody = free_port();
    let asked = Command::new(env!("CARGO_BIN_EXE_voltwane"))
        .args(["sql", "--lake"])
        .arg(place)
        .args(["--cluster", &format!("df://127.0.0.1:{nobody}")])
        .arg("SELECT COUNT(*) FROM battery_span")
        .output()
        .expect("asked");
    assert_eq!(asked.status.code(), Some(2));
    let told = String::from_utf8_lossy(&asked.stderr);
    assert!(told.contains(&format!("127.0.0.1:{nobody}")), "{told}");
}
