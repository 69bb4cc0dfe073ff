//! Writes the SVG elements that charts are made of.
//!
//! Coordinates are rounded to a tenth of a pixel, so a chart is the same bytes on every machine. Text
//! is escaped here and nowhere else.

use std::fmt::Write;

use super::Chart;

/// Where a text's position lies in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// An SVG element in the making.
#[derive(Debug)]
pub struct Svg {
    pub width: f64,
    pub height: f64,
    body: String,
}

impl Svg {
    pub fn new(width: f64, height: f64) -> Self {
        Self {
            width,
            height,
            body: String::new(),
        }
    }

    fn put(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing into a String cannot fail.
        let _ = self.body.write_fmt(element);
    }

    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), class: &str) {
        self.put(format_args!(
            "<line class=\"{class}\" x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\"/>",
            from.0, from.1, to.0, to.1
        ));
    }

    pub fn polyline(&mut self, points: &[(f64, f64)], class: &str) {
        let points = coordinates(points);
        self.put(format_args!(
            "<polyline class=\"{class}\" points=\"{points}\"/>"
        ));
    }

    pub fn polygon(&mut self, points: &[(f64, f64)], class: &str) {
        let points = coordinates(points);
        self.put(format_args!(
            "<polygon class=\"{class}\" points=\"{points}\"/>"
        ));
    }

    /// A circle; `title` is shown when pointed at.
    pub fn circle(&mut self, centre: (f64, f64), radius: f64, class: &str, title: &str) {
        self.put(format_args!(
            "<circle class=\"{class}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius:.1}\">{}</circle>",
            centre.0,
            centre.1,
            titled(title)
        ));
    }

    /// A rectangle from its upper left corner; `title` is shown when pointed at.
    pub fn rect(&mut self, corner: (f64, f64), size: (f64, f64), class: &str, title: &str) {
        self.put(format_args!(
            "<rect class=\"{class}\" x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\">{}</rect>",
            corner.0,
            corner.1,
            size.0,
            size.1,
            titled(title)
        ));
    }

    pub fn text(&mut self, at: (f64, f64), anchor: Anchor, class: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let class = [anchor, class].join(" ");
        let class = match class.trim() {
            "" => String::new(),
            class => format!(" class=\"{class}\""),
        };
        self.put(format_args!(
            "<text{class} x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            at.0,
            at.1,
            escaped(text)
        ));
    }

    /// The finished chart.
    pub fn finish(self, name: &str, alternative: &str) -> Chart {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart\" viewBox=\"0 0 {:.0} {:.0}\" role=\"img\" aria-label=\"{}\">{}</svg>",
            self.width,
            self.height,
            escaped(alternative),
            self.body
        );
        Chart {
            name: name.to_owned(),
            alternative: alternative.to_owned(),
            svg,
        }
    }
}

fn titled(title: &str) -> String {
    match title {
        "" => String::new(),
        title => format!("<title>{}</title>", escaped(title)),
    }
}

fn coordinates(points: &[(f64, f64)]) -> String {
    let pairs: Vec<String> = points
        .iter()
        .map(|(x, y)| format!("{x:.1},{y:.1}"))
        .collect();
    pairs.join(" ")
}

/// Text as XML and HTML take it.
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\n' | '\r' | '\t' => safe.push(' '),
            letter if letter.is_control() || matches!(letter, '\u{fffe}' | '\u{ffff}') => {}
            letter => safe.push(letter),
        }
    }
    safe
}

/// About how wide a text is in a chart's letters, pixels.
pub fn text_width(text: &str) -> f64 {
    text.chars()
        .map(|letter| match letter {
            'm' | 'w' | 'M' | 'W' | '%' => 11.0,
            'i' | 'j' | 'l' | 't' | 'f' | 'I' | '.' | ',' | ' ' | '-' | '\'' => 4.6,
            letter if letter.is_ascii_uppercase() => 9.0,
            letter if letter.is_ascii() => 7.6,
            _ => 11.0,
        })
        .sum()
}

/// A text cut so that it is no wider than that.
pub fn cut(text: &str, width: f64) -> String {
    if text_width(text) <= width {
        return text.to_owned();
    }
    let mut short = String::new();
    for letter in text.chars() {
        short.push(letter);
        if text_width(&short) + 11.0 > width {
            short.pop();
            break;
        }
    }
    format!("{}…", short.trim_end())
}
