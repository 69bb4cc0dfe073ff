//! Charts: nothing without data, every text inside the drawing, words for those who do not see it.

use chrono::{Days, NaiveDate};
use regex::Regex;
use voltwane::report::chart::{
    BandPoint, ChanceBand, Chart, CurvePoint, FunnelLimit, FunnelPoint, Interval, Lane, Mark, Span,
    Trend, calibration, funnel, intervals, survival, timeline, trend,
};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

const LONG_NAME: &str = "Depot with a name that is far too long for any chart, & <b>";

fn charts() -> Vec<Chart> {
    let steps: Vec<CurvePoint> = (1..=30)
        .map(|at| {
            let age_years = f64::from(at) * 0.31;
            let survival = (-(age_years / 6.0).powi(2)).exp();
            CurvePoint {
                age_years,
                survival,
                lower: survival * 0.8,
                upper: (survival * 1.1).min(1.0),
            }
        })
        .collect();
    let line: Vec<BandPoint> = (0..30)
        .map(|week| BandPoint {
            day: day("2025-12-01") + Days::new(week * 7),
            value: 0.9 - 0.01 * week as f64,
            lower: 0.8 - 0.02 * week as f64,
            upper: 0.95,
        })
        .collect();
    let measured = [(day("2026-01-01"), 0.88, LONG_NAME.to_owned())];
    let told = [
        ChanceBand {
            predicted: 0.01,
            failed: 0.02,
            lower: 0.0,
            upper: 0.05,
            batteries: 40,
        },
        ChanceBand {
            predicted: 0.2,
            failed: 0.3,
            lower: 0.1,
            upper: 0.9,
            batteries: 12,
        },
    ];
    let groups: Vec<Interval> = (0..12)
        .map(|at| Interval {
            name: format!("{LONG_NAME} {at}"),
            value: f64::from(at),
            lower: 0.0,
            upper: 1_000.0,
        })
        .collect();
    let points: Vec<FunnelPoint> = [3.0, 97.0, 100.0]
        .iter()
        .map(|cases| FunnelPoint {
            name: LONG_NAME.to_owned(),
            cases: *cases,
            share: 0.3,
            outside: true,
        })
        .collect();
    let limits: Vec<FunnelLimit> = (1..20)
        .map(|at| FunnelLimit {
            cases: f64::from(at) * 5.0,
            lower: 0.0,
            upper: 0.4,
        })
        .collect();
    let lanes = [Lane {
        name: LONG_NAME.to_owned(),
        spans: vec![Span {
            first: day("2020-01-01"),
            last: day("2026-06-28"),
            note: String::new(),
        }],
        marks: vec![Mark {
            day: day("2026-06-28"),
            weighty: true,
            note: LONG_NAME.to_owned(),
        }],
    }];
    let fitted = |years: f64| (-years / 9.0).exp();
    [
        survival(
            "survival",
            LONG_NAME,
            &steps,
            Some(&fitted),
            Some(&steps),
            12.0,
        ),
        trend(
            "trend",
            LONG_NAME,
            &Trend {
                label: "share",
                measured: &measured,
                line: &line,
                level: Some((0.7, "worn below 70 %")),
                as_of: Some(day("2026-03-01")),
                reach: 1.0,
                ..Trend::default()
            },
        ),
        calibration("calibration", &told),
        intervals("rates", "per 1,000", Some(8.0), &groups),
        funnel("funnel", "repairs", "came back", 0.2, &points, &limits),
        timeline("timeline", day("2020-01-01"), day("2026-06-28"), &lanes),
    ]
    .into_iter()
    .map(|chart| chart.expect("data to draw"))
    .collect()
}

#[test]
fn without_data_there_is_no_chart() {
    assert!(survival("s", "c", &[], None, None, 5.0).is_none());
    assert!(trend("t", "a", &Trend::default()).is_none());
    assert!(calibration("c", &[]).is_none());
    assert!(intervals("i", "l", None, &[]).is_none());
    assert!(funnel("f", "x", "y", 0.1, &[], &[]).is_none());
    let empty = [Lane::default()];
    assert!(timeline("t", day("2026-01-01"), day("2026-02-01"), &empty).is_none());
}

/// A letter is at most 13 pixels high and about 8 wide, so text that starts or ends this near an edge
/// would be cut.
#[test]
fn every_text_begins_and_ends_inside() {
    let view = Regex::new(r#"viewBox="0 0 (\d+) (\d+)""#).expect("a pattern");
    let text =
        Regex::new(r#"<text(?: class="([^"]*)")? x="(-?[\d.]+)" y="(-?[\d.]+)">([^<]*)</text>"#)
            .expect("a pattern");
    let mut seen = 0;
    for chart in charts() {
        let size = view.captures(&chart.svg).expect("a size");
        let (width, height): (f64, f64) =
            (size[1].parse().expect("w"), size[2].parse().expect("h"));
        for found in text.captures_iter(&chart.svg) {
            let class = found.get(1).map_or("", |class| class.as_str());
            let (x, y): (f64, f64) = (found[2].parse().expect("x"), found[3].parse().expect("y"));
            let words = found[4]
                .replace("&amp;", "&")
                .replace("&lt;", "<")
                .replace("&gt;", ">");
            let long = words.chars().count() as f64 * 6.0;
            let (from, to) = if class.contains("end") {
                (x - long, x)
            } else if class.contains("middle") {
                (x - long / 2.0, x + long / 2.0)
            } else {
                (x, x + long)
            };
            assert!(
                from >= -2.0 && to <= width + 2.0 && y >= 10.0 && y <= height - 2.0,
                "{words:?} of {} runs from {from} to {to} at {y} in {width} by {height}",
                chart.name
            );
            seen += 1;
        }
    }
    assert!(seen > 40, "the pattern no longer finds the texts");
}

#[test]
fn numbers_stay_numbers_and_names_stay_text() {
    for chart in charts() {
        for wrong in ["NaN", "inf", "<b>"] {
            assert!(!chart.svg.contains(wrong), "{wrong} in {}", chart.name);
        }
        assert!(!chart.alternative.is_empty());
        assert!(chart.svg.contains("role=\"img\""));
    }
}

#[test]
fn a_chart_on_its_own_brings_its_style() {
    let chart = &charts()[0];
    let file = chart.file();
    assert!(file.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""));
    assert!(file.contains("<style>"));
    assert!(!chart.svg.contains("<style>"));
}
