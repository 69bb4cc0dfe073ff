//! Whatever the bytes: no panic, every line accounted for, bounded memory.

use std::io::Write;

use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

use super::reading::{Folder, vin};

/// Reads bytes as a dump of that name; an error is an answer too.
fn survives(name: &str, bytes: &[u8]) {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'tested_at'\nformat = '%d.%m.%Y'\n\
         [columns.U]\nfield = 'rest_voltage_v'\nunit = 'mV'\n",
    );
    let (outcome, result) = folder.try_read(name, bytes);
    if let Ok(summary) = result {
        let counted: usize = outcome.lines.values().map(Vec::len).sum();
        assert_eq!(
            summary.rows_read(),
            (counted + outcome.quarantined.len()) as u64
        );
    }
}

/// More cases where `PROPTEST_CASES` asks for more.
fn at_least(cases: u32) -> ProptestConfig {
    let usual = ProptestConfig::default();
    ProptestConfig {
        cases: usual.cases.max(cases),
        // A case that was found is kept, and run again before all others.
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/reference/found-cases.txt"
        )))),
        ..usual
    }
}

const HEADERS: &[&str] = &[
    "V;T;U",
    "vin,seen_on,depot,in_service_date,odometer_km,rating_value,left_fleet_date",
    "vin,tested_at,rest_voltage_v,temperature_c,measured_value,measured_kind,rated_value,date_code",
    "scan_id,vin,scanned_at,odometer_km,module_address,code,failure_type,status_byte,spn,fmi",
    "order_no,vin,opened_at,closed_at,operation,parts_cost,labour_hours",
    "depot,day,mean_temperature_c,max_temperature_c",
];

proptest! {
    #![proptest_config(at_least(400))]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        survives("dump.csv", &bytes);
    }

    #[test]
    fn any_bytes_below_a_header(header in prop::sample::select(HEADERS), bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        survives("dump.csv", &[header.as_bytes(), b"\n", &bytes].concat());
    }

    #[test]
    fn any_cells_below_a_header(
        header in prop::sample::select(HEADERS),
        cells in prop::collection::vec(prop::sample::select(vec![
            "", "12.6", "-", "2026-05-01", "2026-05-01 10:00", "99999999999999999999", "1e308", "-1e-308", "\"", "é€", "P0562",
            "SPN1/FMI2", "AAAAAAAAAAAAAAAAA", "7ZV4C1A00S0000001", "CCA EN", "tow", "0x", "0xFFFFFFFFFFFFFFFF", "31.02.2026",
            "2026-02-30", "9999-12-31", "NaN", "inf", "1,2", "１２", "\u{2212}5", "12 V", "5 parsecs", "\0",
        ]), 0..120)
    ) {
        let width = header.split([',', ';']).count();
        let mark = if header.contains(';') { ";" } else { "," };
        let lines: Vec<String> = cells.chunks(width).map(|line| line.join(mark)).collect();
        survives("dump.csv", format!("{header}\n{}\n", lines.join("\n")).as_bytes());
    }

    #[test]
    fn any_bytes_after_a_magic(
        magic in prop::sample::select(vec![
            &b"\x1F\x8B\x08\x00"[..], b"PK\x03\x04", b"\x28\xB5\x2F\xFD", b"PAR1", b"ARROW1\0\0", b"\xD0\xCF\x11\xE0", b"{\"vin\":",
            b"\xFF\xFE", b"\xFE\xFF", b"\xEF\xBB\xBF", b"(1436509052.249713) can0 7E8#",
        ]),
        name in prop::sample::select(vec!["a.csv", "a.zip", "a.xlsx", "a.ods", "a.xls", "a.parquet", "a.arrow", "a.jsonl", "a.log", "a.csv.gz"]),
        bytes in prop::collection::vec(any::<u8>(), 0..600)
    ) {
        survives(name, &[magic, &bytes].concat());
    }

    #[test]
    fn any_log(lines in prop::collection::vec(prop::sample::select(vec![
        "7E8 10 14 49 02 01 37 5A 56", "7E8 21 34 43 31 41 30 30 53", "7E8 22 30", "7E803430105", "43 FF 05", "59 02", "59 02 FF 01",
        "41 01", "41 42 00", "# vin: x", "#", "# bus: older", "(1.5) c 18FECAFF#00", "(-1e308) c 18EBFF00#01FFFFFFFFFFFFFF",
        "(1e18) c 18ECFF00#20FFFF02FFCAFE00", "(nan) c 7E8#02430", "(5) c 7E8##3064301056200", "18DAF11006", "18DBF1", "> 03", "<", "7F 03 78",
        "(1) c 18ECFF00#20090002FFCAFE00", "(1) c 18EBFF00#0100FFA800120101", "(1) c 18EBFF00#0202", "7E8 00", "7E8", "F" ,
    ]), 0..40)) {
        survives("scan.log", format!("7E8 04 43 01 05 62\n{}\n", lines.join("\n")).as_bytes());
    }

    #[test]
    fn any_mapping(toml in "(kind|columns|words|field|unit|format|constants|vehicle|'| |=|\\[|\\]|\\.|\n|x){0,60}") {
        let mut mappings = voltwane::intake::Mappings::builtin();
        if let Err(error) = mappings.add_toml(std::path::Path::new("m.toml"), &toml) {
            prop_assert!(error.to_string().starts_with("m.toml, line "));
        }
    }
}

/// Memory this process holds that is no file's, in kilobytes (Linux, `proc(5)`); `None` elsewhere. The
/// pages of the program itself are not counted: they come in while it reads, however little that takes.
fn own_memory_kb() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("RssAnon:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// The most memory of its own that this process holds while it works.
fn peak_while<T>(work: impl FnOnce() -> T) -> (T, Option<u64>) {
    use std::sync::atomic::{AtomicBool, Ordering};
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let watch = scope.spawn(|| {
            let mut peak = own_memory_kb();
            while !over.load(Ordering::Relaxed) {
                peak = peak.max(own_memory_kb());
                std::thread::sleep(std::time::Duration::from_millis(1));
            }
            peak
        });
        let done = work();
        over.store(true, Ordering::Relaxed);
        (done, watch.join().unwrap())
    })
}

/// Whether this process runs the named test and no other, so that its memory is that test's.
const ALONE: &str = "VOLTWANE_TEST_ALONE";

#[test]
fn long_lines_do_not_take_memory() {
    if std::env::var_os(ALONE).is_some() {
        return read_long_lines();
    }
    let (_, module) = module_path!().split_once("::").unwrap();
    let name = format!("{module}::long_lines_do_not_take_memory");
    let run = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", &name])
        .env(ALONE, "1")
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&run.stdout);
    assert!(run.status.success() && told.contains("1 passed"), "{told}");
}

fn read_long_lines() {
    let folder = Folder::new();
    // Written piece by piece, so that writing does not take the memory that reading must not.
    let path = folder.write("long.csv", "vin,tested_at,source_verdict\n");
    let mut file = std::fs::File::options().append(true).open(&path).unwrap();
    let piece = [b'y'; 1 << 16];
    for _ in 0..6 {
        for _ in 0..160 {
            file.write_all(&piece).unwrap();
        }
        write!(file, "\n{},2026-01-01,ok\n", vin(1)).unwrap();
    }
    let before = own_memory_kb();
    let mut outcome = super::reading::Outcome::default();
    let (summary, peak) = peak_while(|| {
        voltwane::intake::read_file(&path, &folder.mappings, super::reading::now(), &mut outcome)
            .unwrap()
    });
    assert_eq!((summary.rows_read(), summary.rows_quarantined()), (12, 6));
    if let (Some(before), Some(after)) = (before, peak) {
        assert!(
            after < before + (16 << 10),
            "reading took {} kB more",
            after - before
        );
    }
}
