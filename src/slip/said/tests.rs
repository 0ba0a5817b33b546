use super::super::words;
use super::*;
use crate::model::*;
use jiff::tz::TimeZone;

/// Calls `check` with the writing of a workshop that has these words.
fn with_form(table: std::collections::BTreeMap<String, String>, check: impl Fn(&Form)) {
    let words = Words { table };
    check(&Form::plain(&words, &Locale::default(), &TimeZone::UTC));
}

fn cautions() -> Vec<Caution> {
    let product = || "Teapot".to_owned();
    vec![
        Caution::Fragile { product: product() },
        Caution::Danger { product: product(), danger: "lacquer".into() },
        Caution::LimitedQuantity { un: vec!["UN1263".into(), "UN1950".into()], mark: None },
        Caution::LimitedQuantity { un: vec!["UN1263".into()], mark: Some("diamond".into()) },
        Caution::Contains { product: product(), allergens: vec!["nuts".into(), "milk".into()] },
        Caution::Heavy { above: Weight::from_g(23_000) },
        Caution::DearerAbove { ends: Weight::from_g(640), more: Money::new(160, Currency::EUR) },
        Caution::Customs {
            missing: [(true, true), (true, false), (false, true)]
                .map(|(facts, value)| CustomsGap { product: product(), facts, value })
                .into(),
        },
        Caution::TooHeavyAbove { ends: Weight::from_g(1_000), service: "Letter".into() },
        Caution::PressFlat { most: Length::from_mm(25), service: "Letter".into() },
    ]
}

fn differences() -> Vec<Difference> {
    let (name, sku) = (|| "Teapot".to_owned(), || Sku::from("POT"));
    vec![
        Difference::Added { count: 1, name: name(), sku: sku() },
        Difference::Count { count: 2, was: 1, name: name(), sku: sku() },
        Difference::TakenOut { count: 3, name: name(), sku: sku() },
        Difference::Address,
        Difference::Service { now: None, was: Some("Road".into()) },
        Difference::Gift(true),
        Difference::Gift(false),
        Difference::NotBefore(None),
        Difference::Words,
        Difference::OpenAgain,
    ]
}

#[test]
fn english_paper_says_what_the_desk_says() {
    let plain = |text: &str| text.replace('×', "x").replace('\u{a0}', " ").replace(" EUR", "");
    with_form(words::english(), |form| {
        for one in cautions() {
            assert_eq!(plain(&caution(&one, form)), one.to_string());
        }
        for one in differences() {
            assert_eq!(plain(&difference(&one, form)), one.to_string());
        }
        // Of a cancellation paper says only where, since the word stands before it.
        let short = [Reason::ShopCancelled, Reason::Decided];
        for one in Reason::ALL.into_iter().filter(|one| !short.contains(one)) {
            assert_eq!(reason(&one.about("bench"), None, form), one.about("bench"));
        }
    });
}

#[test]
fn what_people_and_rules_wrote_stays_as_they_wrote_it() {
    with_form(words::english().into_keys().map(|key| (key, "§".to_owned())).collect(), |form| {
        assert_eq!(caution(&Caution::Said("glaze is soft".into()), form), "glaze is soft");
        assert_eq!(difference(&Difference::Said("2 x MUG-1, was 1".into()), form), "2 x MUG-1, was 1");
        assert_eq!(reason("it was torn", None, form), "it was torn");
        for said in cautions().iter().map(|one| caution(one, form)) {
            assert_eq!(said, "§");
        }
        for said in differences().iter().map(|one| difference(one, form)) {
            assert_eq!(said, "§");
        }
        for one in Reason::ALL {
            assert_eq!(reason(&one.about("bench"), None, form), "§");
        }
    });
}
