//! The page: one file that needs nothing else, readable with a keyboard and a screen reader.

use sha2::{Digest, Sha256};
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
    let page = page().replacen(&page::script(), "", 1);
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

/// What a text in base64 says (RFC 4648, section 4).
fn from_base64(text: &str) -> Vec<u8> {
    let letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bits: Vec<bool> = text
        .trim_end_matches('=')
        .chars()
        .map(|letter| letters.find(letter).expect("a letter of base64"))
        .flat_map(|six| (0..6).rev().map(move |bit| six >> bit & 1 == 1))
        .collect();
    let byte = |bits: &[bool]| {
        bits.iter()
            .fold(0u8, |byte, bit| byte << 1 | u8::from(*bit))
    };
    bits.chunks_exact(8).map(byte).collect()
}

/// The page runs one script, ours, which it names by its hash; the script writes no mark-up and asks
/// nobody for anything.
#[test]
fn only_our_own_script_runs() {
    let page = page();
    let script = page::script();
    assert_eq!(page.matches("<script").count(), 1);
    assert!(page.contains(&script));
    let inside = script
        .strip_prefix("<script>")
        .and_then(|rest| rest.strip_suffix("</script>\n"))
        .expect("an element");
    let named = page
        .split("script-src 'sha256-")
        .nth(1)
        .and_then(|rest| rest.split('\'').next())
        .expect("a hash");
    assert_eq!(from_base64(named), Sha256::digest(inside).to_vec());
    for way_out in [
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "Function(",
        "fetch(",
        "XMLHttpRequest",
        "import(",
        "location",
        "cookie",
        "localStorage",
        "</",
    ] {
        assert!(!inside.contains(way_out), "{way_out} in the script");
    }
    // Paper has nothing to press.
    let sheet = page::sheets("A sheet", MARKDOWN, page::Paper::Across);
    assert!(!sheet.contains("<script") && sheet.contains("script-src 'none'"));
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
