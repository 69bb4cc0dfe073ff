//! The page: one file that needs nothing else, readable with a keyboard and a screen reader.

use voltwane::report::chart::{Interval, intervals};
use voltwane::report::page;

const MARKDOWN: &str = "# A week\n\n## First\n\n*Three of 7 rows, as of 2026-06-28.*\n\n\
    | unit | saves |\n| --- | ---: |\n| N1 | 12 |\n| ▇▅ 62 % | 3 |\n\n\
    ## First\n\n![Rates by depot.](charts/rates.svg)\n\n![Elsewhere](http://example.invalid/x.png)\n\n\
    <b>raw</b>\n\n<div>block</div>\n";

fn page() -> String {
    let chart = intervals(
        "rates",
        "failures",
        None,
        &[Interval {
            name: "Yard <1>".to_owned(),
            value: 2.0,
            lower: 1.0,
            upper: 3.0,
        }],
    )
    .expect("a chart");
    page::html("A <week>", MARKDOWN, &[chart])
}

#[test]
fn it_asks_for_nothing_from_elsewhere() {
    let page = page();
    for asking in [
        "src=",
        "<link",
        "@import",
        "url(",
        "<script",
        "example.invalid",
    ] {
        assert!(!page.contains(asking), "{asking} in\n{page}");
    }
    assert!(page.contains("default-src 'none'"));
}

#[test]
fn it_says_its_language_title_and_parts() {
    let page = page();
    for part in [
        "<html lang=\"en\">",
        "<title>A &lt;week&gt;</title>",
        "<a class=\"skip\" href=\"#report\">",
        "<main id=\"report\">",
        "<caption>Three of 7 rows, as of 2026-06-28.</caption>",
        "<th scope=\"col\">unit</th>",
        "<th scope=\"col\" class=\"number\">saves</th>",
        "<td class=\"number\" data-label=\"saves\">12</td>",
        "<span class=\"spark\" aria-hidden=\"true\">▇▅</span> 62\u{a0}%",
        "prefers-color-scheme:dark",
        "table-header-group",
    ] {
        assert!(page.contains(part), "{part} is not in\n{page}");
    }
}

#[test]
fn headings_of_one_name_have_places_of_their_own() {
    let page = page();
    assert!(page.contains("<h2 id=\"on-first\">"));
    assert!(page.contains("<h2 id=\"on-first-more\">"));
    assert!(page.contains("<a href=\"#on-first-more\">First</a>"));
}

#[test]
fn charts_stand_in_it_with_their_words() {
    let page = page();
    assert!(
        page.contains("role=\"img\" aria-label=\"failures: Yard &lt;1&gt; 2.0 (1.0 to 3.0).\"")
    );
    assert!(page.contains("<figcaption>Rates by depot.</figcaption>"));
}

#[test]
fn html_in_the_markdown_is_shown_not_taken() {
    let page = page();
    assert!(page.contains("&lt;b&gt;raw&lt;/b&gt;"), "{page}");
    assert!(page.contains("&lt;div&gt;block&lt;/div&gt;"), "{page}");
}
