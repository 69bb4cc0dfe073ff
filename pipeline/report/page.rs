//! A report's Markdown as one page of HTML that needs nothing else: style, charts and a small script of
//! our own inside, no network. No other script runs: the page names ours by its hash.
//!
//! A paragraph that is one emphasised sentence right before a table becomes the table's caption; an
//! image of one of the report's charts becomes the chart itself. HTML in the Markdown is shown as text,
//! never taken as HTML. It cannot fail.

use std::fmt::Write;

use comrak::html::{ChildRendering, Context, format_document_with_formatter, format_node_default};
use comrak::nodes::{AstNode, NodeValue, TableAlignment};
use comrak::options::Plugins;
use comrak::{Arena, Options, parse_document};
use sha2::{Digest, Sha256};

use super::chart::{self, Chart};

const STYLE: &str = include_str!("page.css");
/// Sorts, finds and filters rows; the page is whole without it.
const SCRIPT: &str = include_str!("page.js");

/// Tables with more columns than this are told as cards on a narrow screen.
const NARROW_COLUMNS: usize = 4;

/// The page of a report.
pub fn html(title: &str, markdown: &str, charts: &[Chart]) -> String {
    whole(title, markdown, charts, Paper::Upright)
}

/// A page to print.
pub fn sheets(title: &str, markdown: &str, paper: Paper) -> String {
    whole(title, markdown, &[], paper)
}

/// How a page lies on paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// As a report is read.
    Upright,
    /// Across, each heading of the second level on a sheet of its own.
    Across,
    /// Across, every row of a table on one line, forty to a sheet.
    Lines,
}

impl Paper {
    /// The script, on a page that is read on a screen.
    fn script(self) -> String {
        match self {
            Paper::Upright => script(),
            Paper::Across | Paper::Lines => String::new(),
        }
    }

    /// What a browser may run: our script, known by its hash (Content Security Policy, level 2).
    fn allowed_script(self) -> String {
        match self {
            Paper::Upright => {
                let hash = Sha256::digest(format!("\n{SCRIPT}").as_bytes());
                format!("'sha256-{}'", base64(&hash))
            }
            Paper::Across | Paper::Lines => "'none'".to_owned(),
        }
    }

    /// What this paper adds to the style.
    fn style(self) -> &'static str {
        match self {
            Paper::Upright => "",
            Paper::Across => {
                "@media print{@page{size:landscape;margin:12mm}h1{display:none}h2~h2{break-before:page}td{padding:.5rem .35rem}table{font-size:9pt}}\n"
            }
            Paper::Lines => {
                "@media print{@page{size:landscape;margin:8mm}h1{font-size:10pt;margin:0}.table{margin:1mm 0}table{font-size:7pt;line-height:1.2}th,td{padding:.35mm 1mm;white-space:nowrap;max-width:52mm;overflow:hidden;text-overflow:ellipsis}}\n"
            }
        }
    }
}

fn whole(title: &str, markdown: &str, charts: &[Chart], paper: Paper) -> String {
    let mut options = Options::default();
    options.extension.table = true;
    let arena = Arena::new();
    let root = parse_document(&arena, markdown, &options);
    let mut body = String::new();
    let state = State {
        charts,
        headings: Vec::new(),
    };
    let headings = format_document_with_formatter(
        root,
        &options,
        &mut body,
        &Plugins::default(),
        format_node,
        state,
    )
    .map(|state| state.headings)
    .unwrap_or_default();
    let contents: String = headings
        .iter()
        .filter(|heading| heading.level == 2)
        .map(|heading| {
            format!(
                "<li><a href=\"#{}\">{}</a></li>\n",
                heading.id,
                escaped(&heading.text)
            )
        })
        .collect();
    let contents = match contents.is_empty() {
        true => String::new(),
        false => format!("<nav aria-label=\"Contents\">\n<ul>\n{contents}</ul>\n</nav>\n"),
    };
    // The contents stand after the title, which is the page's first heading.
    let (head, rest) = match body.find("</h1>\n") {
        Some(at) => body.split_at(at + "</h1>\n".len()),
        None => ("", body.as_str()),
    };
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; script-src {}\">\n\
         <title>{}</title>\n<style>\n{STYLE}{}{}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#report\">Skip to the report</a>\n\
         <main id=\"report\">\n{head}{contents}{rest}</main>\n{}</body>\n</html>\n",
        paper.allowed_script(),
        escaped(title),
        chart::CSS,
        paper.style(),
        paper.script(),
    )
}

/// The one element of the page that runs.
pub fn script() -> String {
    format!("<script>\n{SCRIPT}</script>\n")
}

/// A text in base64 (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for three in bytes.chunks(3) {
        let at = |place: usize| u32::from(three.get(place).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for place in 0..4 {
            match place <= three.len() {
                true => text.push(LETTERS[(bits >> (18 - 6 * place) & 63) as usize] as char),
                false => text.push('='),
            }
        }
    }
    text
}

struct Heading {
    level: u8,
    id: String,
    text: String,
}

struct State<'a> {
    charts: &'a [Chart],
    headings: Vec<Heading>,
}

type Rendered = Result<ChildRendering, std::fmt::Error>;

fn format_node<'a>(
    context: &mut Context<'_, '_, State<'_>>,
    node: &'a AstNode<'a>,
    entering: bool,
) -> Rendered {
    match &node.data().value {
        NodeValue::Heading(heading) => format_heading(context, node, heading.level, entering),
        NodeValue::Paragraph if is_caption(node) => Ok(ChildRendering::Skip),
        NodeValue::Paragraph if only_images(node) => {
            context.write_str(if entering {
                "<div class=\"figures\">\n"
            } else {
                "</div>\n"
            })?;
            Ok(ChildRendering::HTML)
        }
        // A heading of this page, by the name that a reader of the Markdown knows it by.
        NodeValue::Link(link) if link.url.starts_with('#') => {
            match entering {
                true => {
                    context.write_str("<a href=\"#on-")?;
                    context.escape_href(&link.url[1..])?;
                    context.write_str("\">")?;
                }
                false => context.write_str("</a>")?,
            }
            Ok(ChildRendering::HTML)
        }
        NodeValue::Image(link) => format_image(context, node, &link.url, entering),
        NodeValue::Table(table) => format_table(context, node, table.num_columns, entering),
        NodeValue::TableRow(_) => format_row(context, node, entering),
        NodeValue::TableCell => format_cell(context, node, entering),
        NodeValue::HtmlBlock(block) if entering => {
            write!(context, "<pre>{}</pre>", escaped(&block.literal))?;
            Ok(ChildRendering::HTML)
        }
        NodeValue::HtmlInline(text) if entering => {
            context.escape(text)?;
            Ok(ChildRendering::HTML)
        }
        NodeValue::HtmlBlock(_) | NodeValue::HtmlInline(_) => Ok(ChildRendering::HTML),
        NodeValue::Text(text) if entering => {
            format_text(context, text)?;
            Ok(ChildRendering::HTML)
        }
        _ => format_node_default(context, node, entering),
    }
}

fn format_heading<'a>(
    context: &mut Context<'_, '_, State<'_>>,
    node: &'a AstNode<'a>,
    level: u8,
    entering: bool,
) -> Rendered {
    if !entering {
        writeln!(context, "</h{level}>")?;
        return Ok(ChildRendering::HTML);
    }
    let text = text_of(node);
    let wanted: String = text
        .chars()
        .map(|letter| match letter.is_ascii_alphanumeric() {
            true => letter.to_ascii_lowercase(),
            false => '-',
        })
        .collect();
    // Led by a letter whatever the heading begins with, and told apart from its namesakes.
    let mut id = format!("on-{}", wanted.trim_matches('-'));
    while context.user.headings.iter().any(|other| other.id == id) {
        id.push_str("-more");
    }
    context.cr()?;
    write!(context, "<h{level} id=\"{id}\">")?;
    context.user.headings.push(Heading { level, id, text });
    Ok(ChildRendering::HTML)
}

fn format_image<'a>(
    context: &mut Context<'_, '_, State<'_>>,
    node: &'a AstNode<'a>,
    url: &str,
    entering: bool,
) -> Rendered {
    if !entering {
        return Ok(ChildRendering::HTML);
    }
    let charts = context.user.charts;
    match charts.iter().find(|chart| chart.path() == url) {
        Some(chart) => {
            let caption = text_of(node);
            writeln!(
                context,
                "<figure>{}<figcaption>{}</figcaption></figure>",
                chart.svg,
                escaped(&caption)
            )?;
        }
        // Nothing is fetched from elsewhere.
        None => context.escape(&text_of(node))?,
    }
    Ok(ChildRendering::Skip)
}

fn format_table<'a>(
    context: &mut Context<'_, '_, State<'_>>,
    node: &'a AstNode<'a>,
    columns: usize,
    entering: bool,
) -> Rendered {
    if !entering {
        let has_body = node.children().count() > 1;
        context.write_str(if has_body { "</tbody>\n" } else { "" })?;
        context.write_str("</table>\n</div>\n")?;
        return Ok(ChildRendering::HTML);
    }
    let caption = node
        .previous_sibling()
        .filter(|before| is_caption(before))
        .map(text_of);
    let (class, words) = match caption {
        Some(words) => ("", words),
        None => {
            let heading = context.user.headings.last();
            let words = heading.map_or("Table", |heading| heading.text.as_str());
            (" class=\"unseen\"", words.to_owned())
        }
    };
    let words = escaped(&words);
    let kind = if columns > NARROW_COLUMNS {
        "cards"
    } else {
        "plain"
    };
    write!(
        context,
        "<div class=\"table\" role=\"group\" aria-label=\"{words}\" tabindex=\"0\">\n<table class=\"{kind}\">\n<caption{class}>{words}</caption>\n"
    )?;
    Ok(ChildRendering::HTML)
}

fn is_header<'a>(row: &'a AstNode<'a>) -> bool {
    matches!(row.data().value, NodeValue::TableRow(true))
}

fn format_row<'a>(
    context: &mut Context<'_, '_, State<'_>>,
    node: &'a AstNode<'a>,
    entering: bool,
) -> Rendered {
    let header = is_header(node);
    let first_below = node.previous_sibling().is_some_and(is_header);
    match entering {
        true => {
            context.write_str(match (header, first_below) {
                (true, _) => "<thead>\n",
                (_, true) => "<tbody>\n",
                _ => "",
            })?;
            context.write_str("<tr>")?;
        }
        false => {
            context.write_str("</tr>\n")?;
            context.write_str(if header { "</thead>\n" } else { "" })?;
        }
    }
    Ok(ChildRendering::HTML)
}

fn format_cell<'a>(
    context: &mut Context<'_, '_, State<'_>>,
    node: &'a AstNode<'a>,
    entering: bool,
) -> Rendered {
    let Some(row) = node.parent() else {
        return Ok(ChildRendering::Skip);
    };
    let header = is_header(row);
    if !entering {
        context.write_str(if header { "</th>" } else { "</td>" })?;
        return Ok(ChildRendering::HTML);
    }
    let column = row
        .children()
        .position(|cell| cell.same_node(node))
        .unwrap_or(0);
    let number = match row.parent().map(|table| table.data().value.clone()) {
        Some(NodeValue::Table(table)) => {
            matches!(table.alignments.get(column), Some(TableAlignment::Right))
        }
        _ => false,
    };
    let class = match (number, is_day(&text_of(node))) {
        (true, _) => " class=\"number\"",
        (_, true) => " class=\"day\"",
        _ => "",
    };
    if header {
        write!(context, "<th scope=\"col\"{class}>")?;
    } else {
        let label = row
            .parent()
            .and_then(|table| table.first_child())
            .and_then(|head| head.children().nth(column))
            .map(text_of)
            .unwrap_or_default();
        write!(context, "<td{class} data-label=\"{}\">", escaped(&label))?;
    }
    Ok(ChildRendering::HTML)
}

/// Text, in which a row of blocks is a small drawing that is not read aloud.
fn format_text(context: &mut Context<'_, '_, State<'_>>, text: &str) -> std::fmt::Result {
    let is_block = |letter: char| ('▁'..='█').contains(&letter);
    let mut rest = text;
    while let Some(at) = rest.find(is_block) {
        let (before, from) = rest.split_at(at);
        let end = from.find(|letter| !is_block(letter)).unwrap_or(from.len());
        context.write_str(&escaped(before))?;
        write!(
            context,
            "<span class=\"spark\" aria-hidden=\"true\">{}</span>",
            &from[..end]
        )?;
        rest = &from[end..];
    }
    context.write_str(&escaped(rest))
}

/// A calendar day and nothing else, which is not broken over lines.
fn is_day(text: &str) -> bool {
    text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        })
}

/// One emphasised sentence right before a table.
fn is_caption<'a>(node: &'a AstNode<'a>) -> bool {
    let lone_emphasis = matches!(node.data().value, NodeValue::Paragraph)
        && node.children().count() == 1
        && node
            .first_child()
            .is_some_and(|child| matches!(child.data().value, NodeValue::Emph));
    lone_emphasis
        && node
            .next_sibling()
            .is_some_and(|next| matches!(next.data().value, NodeValue::Table(_)))
}

fn only_images<'a>(node: &'a AstNode<'a>) -> bool {
    node.children().all(|child| {
        matches!(
            child.data().value,
            NodeValue::Image(_) | NodeValue::SoftBreak
        )
    })
}

fn text_of<'a>(node: &'a AstNode<'a>) -> String {
    let mut text = String::new();
    for below in node.descendants() {
        match &below.data().value {
            NodeValue::Text(words) => text.push_str(words),
            NodeValue::Code(code) => text.push_str(&code.literal),
            NodeValue::SoftBreak | NodeValue::LineBreak => text.push(' '),
            _ => {}
        }
    }
    text
}

/// Text as HTML takes it, in an attribute too; a per cent sign stays with its number, and a range
/// on its line.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    // Writing into a String cannot fail.
    let _ = comrak::html::escape(
        &mut safe,
        &text
            .replace(" %", "\u{a0}%")
            .replace('–', "\u{2060}–\u{2060}"),
    );
    safe
}
