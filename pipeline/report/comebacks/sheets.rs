//! The comebacks report's tables as files: every row, not only those the text shows.

use super::super::manner::Manner;
use super::super::table_files::{Column, Kind, Sheet, column};
use super::super::words;
use super::lines;
use super::views::{
    Comeback, ComebackRate, Latched, Oddity, Repeat, Replaced, Unchecked, Untested,
};

/// What names the vehicle in each table.
fn vehicle<'a, T: 'a>(
    manner: &'a Manner,
    vin: fn(&T) -> &str,
    unit_no: fn(&T) -> Option<&str>,
) -> Vec<Column<'a, T>> {
    vec![
        column("vin", Kind::Text, move |row: &T| manner.vin(vin(row))),
        column("unit_no", Kind::Text, move |row: &T| {
            unit_no(row).map(|unit| manner.unit(unit))
        }),
    ]
}

pub fn rates(rows: &[ComebackRate], manner: &Manner) -> Sheet {
    Sheet::new(
        "comeback-rates",
        rows,
        vec![
            column("kind", Kind::Text, |row: &ComebackRate| row.kind.clone()),
            column("unit", Kind::Text, |row: &ComebackRate| {
                lines::unit(row, manner)
            }),
            column("orders", Kind::Integer, |row: &ComebackRate| row.orders),
            column("comebacks", Kind::Integer, |row: &ComebackRate| {
                row.comebacks
            }),
            column("comebacks_soon", Kind::Integer, |row: &ComebackRate| {
                row.comebacks_soon
            }),
            column("share", Kind::Share, |row: &ComebackRate| row.share),
            column("share_lower", Kind::Share, |row: &ComebackRate| {
                row.share_lower
            }),
            column("share_upper", Kind::Share, |row: &ComebackRate| {
                row.share_upper
            }),
            column("expected", Kind::Number(1), |row: &ComebackRate| {
                row.expected
            }),
            column("adjusted_share", Kind::Share, |row: &ComebackRate| {
                row.adjusted_share
            }),
            column("chance_adjusted", Kind::Number(4), |row: &ComebackRate| {
                row.adjusted
            }),
        ],
    )
}

pub fn comebacks(rows: &[Comeback], manner: &Manner) -> Sheet {
    let mut columns = vehicle(
        manner,
        |row: &Comeback| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Comeback| row.depot.clone()),
        column("model", Kind::Text, |row: &Comeback| row.model.clone()),
        column("order_no", Kind::Text, |row: &Comeback| {
            manner.order(&row.order_no)
        }),
        column("shop", Kind::Text, |row: &Comeback| manner.shop(&row.shop)),
        column("technician", Kind::Text, |row: &Comeback| {
            row.technician
                .as_deref()
                .map(|name| manner.technician(name))
        }),
        column("operation", Kind::Text, |row: &Comeback| {
            row.operation.clone()
        }),
        column("complaint", Kind::Text, |row: &Comeback| {
            row.complaint.as_deref().map(|said| manner.typed(said))
        }),
        column("closed_on", Kind::Day, |row: &Comeback| {
            row.closed_on.clone()
        }),
        column("return_order_no", Kind::Text, |row: &Comeback| {
            manner.order(&row.return_order_no)
        }),
        column("returned_on", Kind::Day, |row: &Comeback| {
            row.returned_on.clone()
        }),
        column("days", Kind::Integer, |row: &Comeback| row.days),
        column("km", Kind::Integer, |row: &Comeback| row.km),
        column("alike", Kind::Text, |row: &Comeback| row.alike_in(manner)),
        column("return_parts_cost", Kind::Money, |row: &Comeback| {
            row.return_parts_cost
        }),
        column("return_labour_hours", Kind::Number(1), |row: &Comeback| {
            row.return_labour_hours
        }),
    ]);
    Sheet::new("comebacks-list", rows, columns)
}

pub fn replaced(rows: &[Replaced], manner: &Manner) -> Sheet {
    let mut columns = vehicle(
        manner,
        |row: &Replaced| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Replaced| row.depot.clone()),
        column("model", Kind::Text, |row: &Replaced| row.model.clone()),
        column("order_no", Kind::Text, |row: &Replaced| {
            manner.order(&row.order_no)
        }),
        column("opened_on", Kind::Day, |row: &Replaced| {
            row.opened_on.clone()
        }),
        column("shop", Kind::Text, |row: &Replaced| {
            row.shop.as_deref().map(|shop| manner.shop(shop))
        }),
        column("technician", Kind::Text, |row: &Replaced| {
            row.technician
                .as_deref()
                .map(|name| manner.technician(name))
        }),
        column("replaced", Kind::Text, |row: &Replaced| {
            row.replaced.clone()
        }),
        column("place", Kind::Text, |row: &Replaced| row.place(manner)),
        column("parts_cost", Kind::Money, |row: &Replaced| row.parts_cost),
        column("flood_cause", Kind::Text, |row: &Replaced| {
            row.flood_cause.clone()
        }),
        column("codes", Kind::Integer, |row: &Replaced| row.codes),
        column("modules", Kind::Integer, |row: &Replaced| row.modules),
        column("supply_voltage_v", Kind::Number(2), |row: &Replaced| {
            row.supply_voltage_v
        }),
        column("put_right_on", Kind::Day, |row: &Replaced| {
            row.put_right_on.clone()
        }),
    ]);
    Sheet::new("replaced-in-flood", rows, columns)
}

pub fn untested(rows: &[Untested], proven_days: i64, manner: &Manner) -> Sheet {
    let mut columns = vehicle(
        manner,
        |row: &Untested| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Untested| row.depot.clone()),
        column("model", Kind::Text, |row: &Untested| row.model.clone()),
        column("opened_on", Kind::Day, |row: &Untested| {
            row.opened_on.clone()
        }),
        column("days_standing", Kind::Integer, |row: &Untested| {
            row.days_standing
        }),
        column("next_step", Kind::Text, |row: &Untested| {
            row.next_step
                .map(|step| words::recovery::step(step, proven_days))
        }),
    ]);
    Sheet::new("floods-untested", rows, columns)
}

pub fn unchecked(rows: &[Unchecked], manner: &Manner) -> Sheet {
    let mut columns = vehicle(
        manner,
        |row: &Unchecked| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Unchecked| row.depot.clone()),
        column("model", Kind::Text, |row: &Unchecked| row.model.clone()),
        column("order_no", Kind::Text, |row: &Unchecked| {
            manner.order(&row.order_no)
        }),
        column("opened_on", Kind::Day, |row: &Unchecked| {
            row.opened_on.clone()
        }),
        column("shop", Kind::Text, |row: &Unchecked| {
            row.shop.as_deref().map(|shop| manner.shop(shop))
        }),
        column("technician", Kind::Text, |row: &Unchecked| {
            row.technician
                .as_deref()
                .map(|name| manner.technician(name))
        }),
        column("complaint", Kind::Text, |row: &Unchecked| {
            row.complaint.as_deref().map(|said| manner.typed(said))
        }),
        column("codes", Kind::Integer, |row: &Unchecked| row.codes),
        column("minutes", Kind::Integer, |row: &Unchecked| row.minutes),
        column("came_back", Kind::Flag, |row: &Unchecked| row.came_back),
    ]);
    Sheet::new("cleared-unchecked", rows, columns)
}

pub fn repeats(rows: &[Repeat], manner: &Manner) -> Sheet {
    let mut columns = vehicle(
        manner,
        |row: &Repeat| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Repeat| row.depot.clone()),
        column("model", Kind::Text, |row: &Repeat| row.model.clone()),
        column("position", Kind::Text, |row: &Repeat| {
            manner.position(&row.position)
        }),
        column("before_order_no", Kind::Text, |row: &Repeat| {
            manner.order(&row.before_order_no)
        }),
        column("before_on", Kind::Day, |row: &Repeat| row.before_on.clone()),
        column("order_no", Kind::Text, |row: &Repeat| {
            manner.order(&row.order_no)
        }),
        column("replaced_on", Kind::Day, |row: &Repeat| {
            row.replaced_on.clone()
        }),
        column("days", Kind::Integer, |row: &Repeat| row.days),
        column("shop", Kind::Text, |row: &Repeat| {
            row.shop.as_deref().map(|shop| manner.shop(shop))
        }),
        column("parts_cost", Kind::Money, |row: &Repeat| row.parts_cost),
    ]);
    Sheet::new("repeat-batteries", rows, columns)
}

pub fn latched(rows: &[Latched], manner: &Manner) -> Sheet {
    Sheet::new(
        "latched-codes",
        rows,
        vec![
            column("make", Kind::Text, |row: &Latched| row.make.clone()),
            column("model", Kind::Text, |row: &Latched| row.model.clone()),
            column("module_address", Kind::Text, |row: &Latched| {
                manner.module(&row.module_address)
            }),
            column("code", Kind::Text, |row: &Latched| row.code.clone()),
            column("clears", Kind::Integer, |row: &Latched| row.clears),
            column("survived", Kind::Integer, |row: &Latched| row.survived),
            column("share_lower", Kind::Share, |row: &Latched| row.share_lower),
            column("share_upper", Kind::Share, |row: &Latched| row.share_upper),
            column("protected_clears", Kind::Integer, |row: &Latched| {
                row.protected_clears
            }),
            column("protected_gone", Kind::Integer, |row: &Latched| {
                row.protected_gone
            }),
            column("what_to_do", Kind::Text, Latched::to_do),
        ],
    )
}

pub fn oddities(rows: &[Oddity], manner: &Manner) -> Sheet {
    Sheet::new(
        "flood-oddities",
        rows,
        vec![
            column("kind", Kind::Text, |row: &Oddity| row.kind.clone()),
            column("unit", Kind::Text, |row: &Oddity| row.unit(manner)),
            column("from_on", Kind::Day, |row: &Oddity| row.from_on.clone()),
            column("to_on", Kind::Day, |row: &Oddity| row.to_on.clone()),
            column("cause", Kind::Text, |row: &Oddity| row.cause.clone()),
            column("floods", Kind::Integer, |row: &Oddity| row.floods),
            column("expected", Kind::Number(1), |row: &Oddity| row.expected),
            column("chance_adjusted", Kind::Number(6), |row: &Oddity| {
                row.adjusted
            }),
        ],
    )
}
