//! Several writers at once: nothing is doubled, nothing lost.

use voltwane::lake::Lake;
use voltwane::lake::append::Append;
use voltwane::lake::tables::TABLES;

use super::{append_everywhere, assert_each_once, facts, lake_place};
use crate::workplace::Workplace;

#[tokio::test(flavor = "multi_thread")]
async fn facts_added_since_the_lake_was_opened_are_not_added_again() {
    let place = Workplace::new();
    let mut slow = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    let mut append = Append::new(&mut slow, "slow");
    for table in TABLES {
        append
            .rows(table.name, &facts(table, 0..10))
            .await
            .expect("taken");
    }
    let mut quick = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("the lake");
    append_everywhere(&mut quick, 5..12).await;
    append_everywhere(&mut quick, 12..14).await;
    append.commit().await.expect("committed");
    assert_each_once(&place, 14);
}
