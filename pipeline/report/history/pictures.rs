//! The charts of one vehicle's history.

use chrono::{Days, NaiveDate};

use super::super::chart::{self, BandPoint, Chart, Lane, Mark, Span, Trend};
use super::views::{Battery, Order, Risk, Session, Test};
use statistics::slopes::theil_sen::theil_sen;
use trade::calendar::DAYS_A_YEAR;

/// A forecast looks this far ahead.
const FORECAST_DAYS: u64 = 182;
/// No battery is drawn above this share of its rating: readings a fifth above it are a tester's slip.
/// Common practice, no source.
const MOST_SHOWN: f64 = 1.2;
/// With fewer tests there is no trend to speak of.
const TREND_TESTS: usize = 3;

fn day(text: &str) -> Option<NaiveDate> {
    text.parse().ok()
}

/// Everything along one line of days.
pub fn timeline(
    as_of: NaiveDate,
    batteries: &[Battery],
    tests: &[Test],
    sessions: &[Session],
    orders: &[Order],
) -> Option<Chart> {
    let mut lanes: Vec<Lane> = Vec::new();
    for battery in batteries {
        let name = format!("{} battery", battery.position);
        let span = Span {
            first: day(&battery.installed_on)?,
            last: day(&battery.exited_on)?.min(as_of),
            note: format!(
                "battery {}: {} to {}, {}",
                battery.battery_no, battery.installed_on, battery.exited_on, battery.outcome
            ),
        };
        match lanes.iter_mut().find(|lane| lane.name == name) {
            Some(lane) => lane.spans.push(span),
            None => lanes.push(Lane {
                name,
                spans: vec![span],
                marks: Vec::new(),
            }),
        }
    }
    let lane = |name: &str, marks: Vec<Mark>| Lane {
        name: name.to_owned(),
        spans: Vec::new(),
        marks,
    };
    lanes.push(lane(
        "tests",
        tests
            .iter()
            .filter_map(|test| {
                Some(Mark {
                    day: day(&test.tested_on)?,
                    weighty: matches!(test.verdict.as_str(), "worn" | "failed"),
                    note: format!("{}: {}", test.tested_on, test.verdict),
                })
            })
            .collect(),
    ));
    let scans = |floods: bool| {
        sessions
            .iter()
            .filter(|session| session.flood_cause.is_some() == floods)
            .filter_map(|session| {
                Some(Mark {
                    day: day(&session.day)?,
                    weighty: floods,
                    note: match &session.flood_cause {
                        Some(cause) => {
                            format!("{}: {} codes, {cause}", session.day, session.codes)
                        }
                        None => format!("{}: {} codes", session.day, session.codes),
                    },
                })
            })
            .collect()
    };
    lanes.push(lane("scans", scans(false)));
    lanes.push(lane("floods", scans(true)));
    let work = |calls: bool| {
        orders
            .iter()
            .filter(|order| is_call(order) == calls)
            .filter_map(|order| {
                Some(Mark {
                    day: day(&order.day)?,
                    weighty: calls || order.operation == "battery replaced",
                    note: format!("{}: {}", order.day, order.operation),
                })
            })
            .collect()
    };
    lanes.push(lane("orders", work(false)));
    lanes.push(lane("calls, tows", work(true)));
    let first = lanes
        .iter()
        .flat_map(|lane| {
            lane.spans
                .iter()
                .map(|span| span.first)
                .chain(lane.marks.iter().map(|mark| mark.day))
        })
        .min()?;
    chart::timeline("timeline", first, as_of, &lanes)
}

fn is_call(order: &Order) -> bool {
    matches!(
        order.operation.as_str(),
        "no-start call" | "jump start" | "tow"
    )
}

/// The share of rated cranking ability that tests of one battery found, the robust line through it,
/// and where it is going. The band holds a further test nine times in ten, if the line goes on and
/// tests scatter as they did.
pub fn capacity(
    as_of: NaiveDate,
    worn_below: f64,
    position: &str,
    tests: &[&Test],
) -> Option<Chart> {
    let measured: Vec<(NaiveDate, f64, String)> = tests
        .iter()
        .filter(|test| test.verdict != "discharged")
        .filter_map(|test| {
            let health = test.health?;
            let note = format!(
                "{}: {:.0} %, {}",
                test.tested_on,
                health * 100.0,
                test.verdict
            );
            Some((day(&test.tested_on)?, health.min(MOST_SHOWN), note))
        })
        .collect();
    let first = measured.first()?.0;
    let years = |day: NaiveDate| (day - first).num_days() as f64 / DAYS_A_YEAR;
    let x: Vec<f64> = measured.iter().map(|(day, ..)| years(*day)).collect();
    let y: Vec<f64> = measured.iter().map(|(_, health, _)| *health).collect();
    let line = match measured.len() {
        ..TREND_TESTS => None,
        _ => theil_sen(&x, &y, 0.9).ok(),
    };
    let mut points = Vec::new();
    let mut words = None;
    if let Some(line) = &line {
        let mut off: Vec<f64> = x
            .iter()
            .zip(&y)
            .map(|(x, y)| (y - line.at(*x)).abs())
            .collect();
        off.sort_by(f64::total_cmp);
        // 1.4826 makes a median deviation of normal scatter its standard deviation; few tests may
        // lie on a line by luck, so no less than 2 % is taken.
        let scatter = (1.4826 * off[off.len() / 2]).max(0.02);
        // Over the tests the line is what they say; it grows unsure from the last of them on.
        let known_until = x.iter().copied().fold(0.0, f64::max);
        let (steepest, gentlest) = match line.slope_limits {
            Some(limits) => (limits.lower, limits.upper),
            // Too few tests for limits: the slope may be anything from twice as steep to level.
            None => (2.0 * line.slope.min(0.0) - 0.05, 0.0_f64.max(line.slope)),
        };
        let last = as_of
            .checked_add_days(Days::new(FORECAST_DAYS))
            .unwrap_or(as_of);
        let whole = (last - first).num_days().max(1);
        for step in 0..=24 {
            let on = first
                .checked_add_days(Days::new((whole * step / 24) as u64))
                .unwrap_or(last);
            let (at, value) = (years(on), line.at(years(on)));
            let away = (at - known_until).max(0.0);
            let (low, high) = (
                (steepest - line.slope) * away,
                (gentlest - line.slope) * away,
            );
            points.push(BandPoint {
                day: on,
                value,
                lower: (value + low.min(high) - 1.645 * scatter).max(0.0),
                upper: (value + low.max(high) + 1.645 * scatter).min(MOST_SHOWN),
            });
        }
        if let Some(end) = points.last() {
            words = Some(format!(
                "{:+.0} points a year over {} tests; on {} a test is expected to find {:.0} % ({:.0}–{:.0} %, nine times in ten)",
                line.slope * 100.0,
                measured.len(),
                end.day,
                end.value.max(0.0) * 100.0,
                end.lower * 100.0,
                end.upper * 100.0
            ));
        }
    }
    let alternative = format!(
        "Share of rated cranking ability of the {position} battery: {}{}.",
        measured
            .iter()
            .map(|(day, health, _)| format!("{day} {:.0} %", health * 100.0))
            .collect::<Vec<_>>()
            .join(", "),
        words
            .as_ref()
            .map(|words| format!("; {words}"))
            .unwrap_or_default()
    );
    let level = format!("worn below {:.0} %", worn_below * 100.0);
    chart::trend(
        &format!("capacity-{}", position.to_lowercase()),
        &alternative,
        &Trend {
            label: "share of rated cranking ability",
            measured: &measured,
            line: &points,
            level: Some((worn_below, &level)),
            as_of: Some(as_of),
            reach: 1.0,
            ..Trend::default()
        },
    )
}

/// The chances that the weekly reports told of one battery position.
pub fn risk(position: &str, horizon_days: i64, risks: &[&Risk]) -> Option<Chart> {
    let line: Vec<BandPoint> = risks
        .iter()
        .filter_map(|risk| {
            Some(BandPoint {
                day: day(&risk.as_of)?,
                value: risk.chance,
                lower: risk.chance_lower,
                upper: risk.chance_upper,
            })
        })
        .collect();
    // One week is no line.
    let (first, last) = (line.first()?, line.last()?);
    if line.len() < 2 {
        return None;
    }
    let alternative = format!(
        "Chance of failing within {horizon_days} days that weekly reports told of the {position} battery: {:.1} % on {}, {:.1} % on {}.",
        first.value * 100.0,
        first.day,
        last.value * 100.0,
        last.day
    );
    chart::trend(
        &format!("risk-{}", position.to_lowercase()),
        &alternative,
        &Trend {
            label: &format!("chance of failing within {horizon_days} days, as told"),
            line: &line,
            reach: 0.02,
            ..Trend::default()
        },
    )
}
