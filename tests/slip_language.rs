//! Paper speaks the workshop's language and writes as its locale does: nothing but names and
//! the workshop's own texts comes from elsewhere.

mod slip_demo;

use dawnslip::book::{Actor, Cancelled, Stop, StopKind};
use dawnslip::model::*;
use dawnslip::slip::*;
use slip_demo::papers::*;
use slip_demo::*;
use std::collections::BTreeSet;

/// The second language that is complete; a third one is a file like it.
fn german() -> Workshop {
    let table = toml::from_str(include_str!("../config/words/de.toml")).unwrap();
    let locale = Locale { decimal_mark: ',', ..Locale::default() };
    let cards = sample_cards("de");
    let mut workshop = Workshop { words: Words { table }, language: "de".into(), locale, ..workshop() };
    workshop.cards.insert("thanks".into(), cards[&CardName::new("everyday")].clone());
    workshop.cards.insert("present".into(), cards[&CardName::new("gift")].clone());
    workshop
}

#[test]
fn both_languages_say_everything_and_fill_in_the_same() {
    let places = |text: &str| {
        let inner = text.split('{').skip(1).filter_map(|rest| Some(rest.split_once('}')?.0.to_owned()));
        inner.collect::<std::collections::BTreeSet<String>>()
    };
    let (english, german) = (words::english(), german().words.table);
    assert_eq!(english.keys().collect::<Vec<_>>(), german.keys().collect::<Vec<_>>());
    for (key, text) in &english {
        assert_eq!(places(text), places(&german[key]), "{key}");
        assert!(!german[key].trim().is_empty(), "{key}");
    }
}

#[test]
fn a_german_workshop_has_german_paper() {
    let (workshop, mut setter) = (german(), Typesetter::new(Fonts::embedded()));
    for (name, paper) in all_papers(&workshop, &mut setter) {
        assert_eq!(paper.warnings, [], "{name}");
        let picture = render_png(&paper, Sheet::WIDE, &mut setter).unwrap();
        std::fs::write(folder().join(format!("german_{name}_576.png")), picture).unwrap();
        check_golden(&format!("german_{name}_576"), &render_text(&paper, Sheet::WIDE, &mut setter));
    }
}

/// Whatever letters stand in names, in texts of the configuration, and in units.
fn known_words(workshop: &Workshop, book: &slip_demo::Book) -> BTreeSet<String> {
    let mut texts: Vec<String> = workshop.sender.clone();
    texts.push(workshop.name.clone());
    for product in &workshop.products {
        texts.extend([product.name.clone(), product.sku.to_string(), product.shelf.clone()]);
        let customs = product.customs.as_ref();
        texts.extend(customs.map(|c| format!("{} {}", c.description, c.origin)));
        texts.extend(
            [&product.care, &product.ingredients, &product.preparation, &product.how_to_lay]
                .into_iter()
                .flatten()
                .cloned(),
        );
        texts.extend(product.allergens.iter().cloned());
        texts.extend(product.batches.iter().filter_map(|batch| batch.shelf.clone()));
    }
    texts.extend(workshop.containers.iter().map(|container| container.name.to_string()));
    texts.extend(workshop.supplies.iter().map(|supply| supply.name.to_string()));
    texts.extend(workshop.services.iter().map(|service| service.name.to_string()));
    texts.extend(workshop.printers.iter().map(|printer| printer.name.to_string()));
    texts.extend(workshop.cards.values().map(|card| card.body.clone()));
    for (key, order) in &book.state.orders {
        texts.push(key.number.clone());
        let Some(person) = book.people.of(key, order.version) else { continue };
        texts.push(person.recipient.reveal().to_owned());
        let more = [&person.buyer, &person.gift_message, &person.wish].into_iter().flatten();
        texts.extend(more.chain(&person.street).map(|text| text.reveal().to_owned()));
        texts.extend([&person.locality, &person.region, &person.postcode].map(|text| text.reveal().to_owned()));
    }
    for parcel in book.state.parcels.values() {
        texts.extend([parcel.planned.zone.clone(), parcel.planned.notes.join(" ")]);
        let said = parcel.planned.cautions.iter().filter(|caution| matches!(caution, Caution::Said(_)));
        texts.extend(said.map(ToString::to_string));
    }
    // What the demo's questions name: a product that is in no file, and the shop.
    texts.extend(["GLZ-9", "shop"].map(str::to_owned));
    // Countries have a table of their own, by language.
    let countries =
        ["QS", "DE", "JP", "AT"].map(|code| address::country_name(code.parse().unwrap(), &workshop.language));
    texts.extend(countries);
    texts.extend(testpage::SCRIPTS.map(str::to_owned));
    let words = texts.iter().flat_map(|text| words_of(text)).collect::<BTreeSet<String>>();
    let units = ["g", "kg", "mm", "cm", "m", "eur"];
    // `p401`, `test-1`: what the codes on a paper say.
    let codes = ["p", "test"];
    let units = units.into_iter().chain(codes).map(str::to_owned);
    words.into_iter().chain(units).collect()
}

/// Runs of letters, in small ones.
fn words_of(text: &str) -> Vec<String> {
    let words = text.split(|c: char| !c.is_alphabetic());
    words.filter(|word| !word.is_empty()).map(str::to_lowercase).collect()
}

#[test]
fn every_word_on_every_paper_comes_from_the_file_of_words() {
    let mut setter = Typesetter::new(Fonts::embedded());
    // Each word gives way to a mark without letters; its places stay, so that what is filled in shows.
    let marked = words::english().into_iter().map(|(key, text)| {
        let places = text.split('{').skip(1).filter_map(|rest| Some(format!("{{{}}}", rest.split_once('}')?.0)));
        (key, std::iter::once("§".to_owned()).chain(places).collect::<Vec<_>>().join(" "))
    });
    let workshop = Workshop { words: Words { table: marked.collect() }, ..workshop() };
    let mut book = troubled();
    full_of_questions(&mut book);
    let known = known_words(&workshop, &book);
    let mut seen = 0;
    let mut check = |name: &str, paper: &Paper| {
        for run in runs(&paper.document) {
            let text = run.text.as_str();
            for word in words_of(text) {
                assert!(known.contains(&word), "{name}: {word:?} of {text:?} is in no file of words");
                seen += 1;
            }
        }
    };
    for (name, paper) in all_papers(&workshop, &mut setter) {
        check(name, &paper);
    }
    let paper = make_in(&workshop, &book, PaperKind::PickList, &list(), None, &mut setter);
    check("pick_list", &paper);
    assert!(seen > 400, "{seen}");
}

/// So many words of seven letters, each another.
fn long_words(count: usize) -> String {
    (100..100 + count).map(|n| format!("word{n}")).collect::<Vec<_>>().join(" ")
}

/// Words of seven letters that a paper takes at once.
const KEPT: usize = clean::REASON_MAX / 7;

/// What of the text stands on the paper, and whether that ends with the place of the rest.
#[track_caller]
fn told(paper: &Paper, text: &str, rest: &str, setter: &mut Typesetter) {
    let printed = render_text(paper, Sheet::WIDE, setter).split_whitespace().collect::<Vec<_>>().join(" ");
    let begun = printed.find("word100").unwrap_or_else(|| panic!("nothing of it: {printed}"));
    let kept = printed[begun..].split(['…', ' ']).take_while(|word| word.starts_with("word")).collect::<Vec<_>>();
    let of_text = text.split_whitespace().take(kept.len()).collect::<Vec<_>>();
    assert_eq!(kept, of_text, "only whole words, in their order");
    match rest {
        "" => assert_eq!(kept.len(), text.split_whitespace().count(), "{printed}"),
        rest => {
            assert_eq!(kept.len(), KEPT);
            let kept = kept.join(" ");
            assert!(printed.contains(&format!("{kept}… {rest}")), "{printed}");
        }
    }
}

#[test]
fn a_long_reason_is_told_in_whole_words_and_says_where_the_rest_stands() {
    let mut setter = Typesetter::new(Fonts::embedded());
    let (short, long) = (long_words(KEPT), long_words(KEPT + 1));
    for (text, workshop, of_order, of_house) in [
        (&short, workshop(), "", ""),
        (&long, workshop(), "(the rest: dawnslip order S-417)", "(the rest: dawnslip status)"),
        (&long, german(), "(das Weitere: dawnslip order S-417)", "(das Weitere: dawnslip status)"),
    ] {
        let key = OrderKey::new("shop", "S-417");
        let asked = |cause| Stop {
            kind: StopKind::NeedsYou(Question {
                cause,
                what: text.clone(),
                remedy: "decide".into(),
                detail: Some(Detail::Rule(text.clone())),
            }),
            since: now(),
        };
        let of_one = |book: &mut Book| {
            book.state.orders.get_mut(&key).unwrap().stops.push(asked(Cause::Rule("odd".into(), key.clone())));
        };
        let of_none = |book: &mut Book| book.state.loose_stops.push(asked(Cause::RuleFailed("odd".into())));
        for (ask, rest) in [(&of_one as &dyn Fn(&mut Book), of_order), (&of_none, of_house)] {
            let mut book = morning();
            ask(&mut book);
            told(&make_in(&workshop, &book, PaperKind::PickList, &list(), None, &mut setter), text, rest, &mut setter);
        }

        let mut stopped = morning();
        let cancelled = Cancelled { at: now(), by: Actor::Person, reason: text.clone() };
        stopped.state.orders.get_mut(&key).unwrap().cancelled = Some(cancelled);
        let note = Subject::Note(key.clone(), 1);
        told(&make_in(&workshop, &stopped, PaperKind::StopNote, &note, None, &mut setter), text, of_order, &mut setter);

        let mark = CopyMark { of: JobId(7), at: now(), why: text.clone() };
        let slip = Subject::Parcel(ParcelId(401));
        let copy = make_in(&workshop, &morning(), PaperKind::Slip, &slip, Some(&mark), &mut setter);
        told(&copy, text, of_order, &mut setter);
    }
}
