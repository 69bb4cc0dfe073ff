//! The axes of a chart: scales, ticks at round numbers or calendar days, labels that fit.

use chrono::{Datelike, Days, Months, NaiveDate};

use super::svg::{Anchor, Svg, text_width};

const TOP: f64 = 34.0;
const BOTTOM: f64 = 46.0;
const RIGHT: f64 = 16.0;

/// One axis: its ends, where it is marked, and what it measures.
#[derive(Debug, Clone)]
pub struct Axis {
    pub low: f64,
    pub high: f64,
    pub ticks: Vec<(f64, String)>,
    pub label: String,
}

impl Axis {
    /// An axis over numbers, widened to round ticks where `widen` says so.
    pub fn numbers(
        low: f64,
        high: f64,
        widen: bool,
        label: &str,
        written: impl Fn(f64) -> String,
    ) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        let step = round_step((high - low) / 5.0);
        let first = (low / step).floor() as i64;
        let last = (high / step).ceil() as i64;
        let (low, high) = match widen {
            true => (first as f64 * step, last as f64 * step),
            false => (low, high),
        };
        let slack = step * 1e-9;
        let ticks = (first..=last)
            .map(|at| at as f64 * step)
            .filter(|tick| (low - slack..=high + slack).contains(tick))
            .map(|tick| (tick, written(tick)))
            .collect();
        Self {
            low,
            high,
            ticks,
            label: label.to_owned(),
        }
    }

    /// An axis over days, marked where years, quarters, months or weeks begin.
    pub fn days(first: NaiveDate, last: NaiveDate) -> Self {
        let last = if last > first { last } else { next_day(first) };
        let span = (last - first).num_days();
        let months = match span {
            1501.. => 12,
            701.. => 6,
            281.. => 3,
            _ => 1,
        };
        let mut ticks = Vec::new();
        let mut day = first.with_day(1).unwrap_or(first);
        while day <= last {
            if day >= first && day.month0().is_multiple_of(months) {
                let written = if months == 12 {
                    day.format("%Y").to_string()
                } else {
                    day.format("%Y-%m").to_string()
                };
                ticks.push((day_number(day), written));
            }
            match day.checked_add_months(Months::new(1)) {
                Some(next) => day = next,
                None => break,
            }
        }
        if ticks.len() < 2 {
            ticks = vec![
                (day_number(first), first.to_string()),
                (day_number(last), last.to_string()),
            ];
        }
        Self {
            low: day_number(first),
            high: day_number(last),
            ticks,
            label: String::new(),
        }
    }
}

fn next_day(day: NaiveDate) -> NaiveDate {
    day.checked_add_days(Days::new(1)).unwrap_or(day)
}

/// A day as a number that an axis can place.
pub fn day_number(day: NaiveDate) -> f64 {
    f64::from(day.num_days_from_ce())
}

/// The round step (1, 2 or 5 times a power of ten) next above that.
fn round_step(rough: f64) -> f64 {
    let power = 10f64.powf(rough.log10().floor());
    let factor = rough / power;
    let round = if factor <= 1.0 {
        1.0
    } else if factor <= 2.0 {
        2.0
    } else if factor <= 5.0 {
        5.0
    } else {
        10.0
    };
    round * power
}

/// A chart with its axes drawn, ready for what is put between them.
#[derive(Debug)]
pub struct Frame {
    pub svg: Svg,
    x: (Axis, f64, f64),
    y: (Axis, f64, f64),
}

impl Frame {
    pub fn new(width: f64, height: f64, x: Axis, y: Axis) -> Self {
        let widest = y
            .ticks
            .iter()
            .map(|(_, written)| text_width(written))
            .fold(0.0, f64::max);
        let left = widest + 16.0;
        let (bottom, right) = (height - BOTTOM, width - RIGHT);
        let mut frame = Self {
            svg: Svg::new(width, height),
            x: (x, left, right),
            y: (y, bottom, TOP),
        };
        frame.draw();
        frame
    }

    fn draw(&mut self) {
        let (x_axis, left, right) = self.x.clone();
        let (y_axis, bottom, _) = self.y.clone();
        self.svg.text((2.0, 16.0), Anchor::Start, "", &y_axis.label);
        for (tick, written) in &y_axis.ticks {
            let y = self.y(*tick);
            self.svg.line((left, y), (right, y), "grid");
            self.svg
                .text((left - 7.0, y + 4.5), Anchor::End, "soft", written);
        }
        self.svg.line((left, bottom), (right, bottom), "axis");
        let mut free_from = 0.0;
        for (tick, written) in &x_axis.ticks {
            let x = self.x(*tick);
            self.svg.line((x, bottom), (x, bottom + 5.0), "axis");
            let half = text_width(written) / 2.0;
            let middle = x.clamp(half + 2.0, self.svg.width - half - 2.0);
            // A label that would touch its neighbour is left out; its mark stays.
            if middle - half >= free_from {
                self.svg
                    .text((middle, bottom + 20.0), Anchor::Middle, "soft", written);
                free_from = middle + half + 8.0;
            }
        }
        let middle = (left + right) / 2.0;
        self.svg
            .text((middle, bottom + 40.0), Anchor::Middle, "", &x_axis.label);
    }

    /// Where a value lies from left to right, kept inside the axes.
    pub fn x(&self, value: f64) -> f64 {
        place(&self.x, value)
    }

    /// Where a value lies from bottom to top, kept inside the axes.
    pub fn y(&self, value: f64) -> f64 {
        place(&self.y, value)
    }

    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x(x), self.y(y))
    }

    /// The highest value of the axis from bottom to top.
    pub fn top(&self) -> f64 {
        self.y.0.high
    }

    /// The left and right end of the plot, pixels.
    pub fn sides(&self) -> (f64, f64) {
        (self.x.1, self.x.2)
    }
}

fn place((axis, from, to): &(Axis, f64, f64), value: f64) -> f64 {
    let share = (value - axis.low) / (axis.high - axis.low);
    from + share.clamp(0.0, 1.0) * (to - from)
}
