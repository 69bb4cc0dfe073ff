//! Templates: the reader's own come first, mistakes in them are named, text in them is safe.

use minijinja::context;
use voltwane::report::style::{ReportStyle, Units};
use voltwane::report::texts;

use crate::workplace::Workplace;

fn own(place: &Workplace, name: &str, text: &str) -> ReportStyle {
    place.write(&format!("own/{name}"), text);
    ReportStyle {
        currency: "€".to_owned(),
        templates: Some(place.path().join("own")),
        ..ReportStyle::default()
    }
}

#[test]
fn text_is_made_safe_by_itself() {
    let place = Workplace::new();
    let style = own(
        &place,
        "_mine.md",
        "{{ text }} {{ none }} {{ text | safe }}\n",
    );
    let shown = texts::templates(&style)
        .and_then(|templates| {
            templates.render(
                "_mine.md",
                context! { text => "<b>*|", none => Option::<f64>::None },
            )
        })
        .expect("a text");
    assert_eq!(shown, "&lt;b&gt;\\*\\| not known <b>*|\n");
}

#[test]
fn numbers_are_told_in_the_readers_units() {
    let place = Workplace::new();
    let mut style = own(
        &place,
        "_mine.md",
        "{{ c | temperature }} {{ km | distance }} {{ sum | money }} {{ p | chance }} {{ p | per_cent }}\n",
    );
    let told = |style: &ReportStyle| {
        texts::templates(style)
            .and_then(|templates| {
                templates.render(
                    "_mine.md",
                    context! { c => -40.0, km => 1609.344, sum => -1234.4, p => 0.02 },
                )
            })
            .expect("a text")
    };
    assert_eq!(told(&style), "-40 °C 1,609 km -€1,234 1 in 50 2.0 %\n");
    style.units = Units::Us;
    assert_eq!(told(&style), "-40 °F 1,000 mi -€1,234 1 in 50 2.0 %\n");
}

#[test]
fn a_name_that_is_not_there_is_named_with_its_template() {
    let place = Workplace::new();
    let style = own(&place, "_mine.md", "{{ mispelt }}\n");
    let error = texts::templates(&style)
        .and_then(|templates| templates.render("_mine.md", context! {}))
        .expect_err("a mistake");
    assert!(error.to_string().contains("_mine.md"), "{error}");
}

#[test]
fn a_folder_that_is_not_there_is_said_so() {
    let style = ReportStyle {
        templates: Some("nowhere".into()),
        ..ReportStyle::default()
    };
    let error = texts::templates(&style).expect_err("no folder");
    assert!(error.to_string().contains("nowhere"), "{error}");
}

#[test]
fn a_text_that_no_report_asks_for_is_named() {
    let place = Workplace::new();
    let style = own(&place, "comebacks.md", "never printed\n");
    let error = texts::templates(&style).expect_err("no such template");
    let said = error.to_string();
    assert!(said.contains("own/comebacks.md"), "{said}");
    assert!(said.contains("comeback_rates.md"), "{said}");
}

#[test]
fn no_template_is_read_from_outside_its_folder() {
    let place = Workplace::new();
    place.write("secret.md", "secret");
    let style = own(&place, "_mine.md", "{% include \"../secret.md\" %}\n");
    assert!(
        texts::templates(&style)
            .and_then(|templates| templates.render("_mine.md", context! {}))
            .is_err()
    );
}

#[test]
fn every_shipped_template_can_be_read() {
    let templates = texts::templates(&ReportStyle::default()).expect("templates");
    let mut stopped = 0;
    for name in templates.shipped() {
        // Without content a template stops at its first name, never at its form; one without names is whole.
        let Err(error) = templates.render(name, context! {}) else {
            continue;
        };
        assert!(
            error.to_string().contains(name) && !error.to_string().contains("syntax"),
            "{error}"
        );
        stopped += 1;
    }
    assert!(stopped > 30, "{stopped}");
}
