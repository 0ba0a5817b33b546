//! Papers as a whole: golden texts, pictures, codes, warnings.
//!
//! `DAWNSLIP_WRITE_CASES=1 cargo test --test slip_papers` writes the golden texts anew; read
//! the difference before you commit it.

mod slip_demo;

use dawnslip::book::*;
use dawnslip::model::*;
use dawnslip::slip::layout::layout;
use dawnslip::slip::{self, *};
use slip_demo::papers::*;
use slip_demo::*;
use std::path::Path;

fn setter() -> Typesetter {
    Typesetter::new(Fonts::embedded())
}

fn make(book: &Book, kind: PaperKind, subject: &Subject, copy: Option<&CopyMark>, setter: &mut Typesetter) -> Paper {
    make_in(&workshop(), book, kind, subject, copy, setter)
}

/// The demo's papers in English.
fn papers(setter: &mut Typesetter) -> Vec<(&'static str, Paper)> {
    all_papers(&workshop(), setter)
}

/// And those of a parcel that two orders share.
fn with_joined(setter: &mut Typesetter) -> Vec<(&'static str, Paper)> {
    let mut all = papers(setter);
    all.extend(joined_papers(setter));
    all
}

/// Those of a parcel that two orders share, and those after one of them was cancelled.
fn joined_papers(setter: &mut Typesetter) -> Vec<(&'static str, Paper)> {
    let (mut book, parcel, [_, other]) = shared();
    let mut papers = vec![
        ("slip_joined", make(&book, PaperKind::Slip, &Subject::Parcel(parcel), None, setter)),
        ("customs_joined", make(&book, PaperKind::Customs, &Subject::Customs(parcel), None, setter)),
        ("pick_list_joined", make(&book, PaperKind::PickList, &list(), None, setter)),
    ];
    let at = now() - jiff::SignedDuration::from_mins(12);
    let cancelled = Cancelled { at, by: Actor::Shop, reason: "the customer cancelled at the shop".into() };
    book.state.orders.get_mut(&other).unwrap().cancelled = Some(cancelled);
    papers.push(("stop_note_joined", make(&book, PaperKind::StopNote, &Subject::Note(other, 1), None, setter)));
    papers.push(("slip_joined_less", make(&book, PaperKind::Slip, &Subject::Parcel(parcel), None, setter)));
    papers
}

#[test]
fn every_paper_says_what_its_golden_text_says() {
    let mut setter = setter();
    for (name, paper) in with_joined(&mut setter) {
        assert_eq!(paper.warnings, [], "{name}");
        for (width, sheet) in [SHEETS[0], SHEETS[2]] {
            let text = render_text(&paper, sheet, &mut setter);
            check_golden(&format!("{name}_{width}"), &text);
            for line in text.lines() {
                assert!(slip::text::width(line) <= sheet.columns(), "{name}: {line:?}");
            }
        }
    }
}

/// Also writes what the codes on each picture should say, for `outside/codes.py`.
#[test]
fn every_paper_is_drawn_at_every_width_and_its_codes_can_be_read() {
    use dawnslip::slip::document::Block;
    let mut setter = setter();
    let mut expected = String::new();
    let mut read = 0;
    for (name, paper) in with_joined(&mut setter) {
        for (width, sheet) in SHEETS {
            let png = render_png(&paper, sheet, &mut setter).unwrap();
            let file = format!("{name}_{width}.png");
            std::fs::write(folder().join(&file), &png).unwrap();
            let page = layout(&paper.document, sheet, &mut setter);
            assert_eq!(page.missing.len(), 0, "{name}");
            let dots = &page.dots;
            assert_eq!(dots.width(), sheet.dots);
            let mut image =
                rqrr::PreparedImage::prepare_from_greyscale(dots.width() as usize, dots.height() as usize, |x, y| {
                    if dots.is_black(x as i32, y as i32) { 0 } else { 255 }
                });
            for block in &paper.document.blocks {
                match block {
                    Block::Qr(code) => {
                        let grids = image.detect_grids();
                        assert_eq!(grids.len(), 1, "{name}");
                        assert_eq!(grids[0].decode().unwrap().1, code.data, "{name}");
                        expected += &format!("{file}\tQRCode\t{}\n", code.data);
                        read += 1;
                    }
                    Block::Bars(code) => expected += &format!("{file}\tCode128\t{}\n", code.data),
                    _ => {}
                }
            }
        }
    }
    std::fs::write(folder().join("expected.tsv"), expected).unwrap();
    assert_eq!(read, SHEETS.len());
}

#[test]
fn the_same_state_gives_the_same_dots_whatever_was_set_before() {
    let book = morning();
    let subject = Subject::Parcel(ParcelId(404));
    let mut warm = setter();
    papers(&mut warm);
    let mut cold = setter();
    let first = make(&book, PaperKind::Slip, &subject, None, &mut warm);
    let second = make(&book, PaperKind::Slip, &subject, None, &mut cold);
    assert_eq!(
        render_png(&first, Sheet::WIDE, &mut warm).unwrap(),
        render_png(&second, Sheet::WIDE, &mut cold).unwrap()
    );
}

#[test]
fn a_template_that_cannot_be_used_is_named_and_a_plain_card_stands_in() {
    let table = [
        ("# {{ name }}\n\n{{ nmae }}", "cards/thanks.md:6"),
        ("{% for x in items %}", "cards/thanks.md:4"),
        ("one\n\ntwo <b>bold</b>", "cards/thanks.md:6"),
        ("[link](https://example.org)", "cards/thanks.md:4"),
        ("![](tern.png)", "cards/thanks.md:4"),
        ("\n\n\n    code", "cards/thanks.md:7"),
        ("{% for a in range(9999) %}{% for b in range(9999) %}x{% endfor %}{% endfor %}", "cards/thanks.md:4"),
        ("{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}", "cards/thanks.md:4"),
    ];
    let book = morning();
    for (body, place) in table {
        let mut workshop = workshop();
        let template = workshop.cards.get_mut(&CardName::new("thanks")).unwrap();
        template.body = body.to_owned();
        let refused = slip::card::check(&workshop.cards[&CardName::new("thanks")], &workshop).unwrap_err();
        assert_eq!(refused.place, place, "{body}: {refused}");
        let mut setter = setter();
        let subject = card(401);
        let wanted = Wanted { kind: PaperKind::Card, subject: &subject, copy: None };
        let paper = paper(&wanted, &book.state, &book.people, &workshop, &mut setter, now()).unwrap();
        assert!(matches!(&paper.warnings[..], [Warning::Template(mistake)] if mistake.place == place), "{body}");
        let text = render_text(&paper, Sheet::WIDE, &mut setter);
        assert!(text.contains("Zoë Ångström") && text.contains("2 Mug, tide grey"), "{text}");
    }
    let demo = workshop();
    assert_eq!(slip::card::check(&demo.cards[&CardName::new("thanks")], &demo), Ok(()));
}

#[test]
fn what_lies_in_a_parcel_is_never_called_by_another_line_of_an_order_that_changed() {
    let mut book = morning();
    let key = OrderKey::new("shop", "S-417");
    let mut planned = book.state.parcels[&ParcelId(401)].planned.contents[0].clone();
    planned.sku = "GONE-1".into();
    let mut entry = book.state.orders.get_mut(&key).unwrap().clone();
    entry.order.lines[0].sku = "GONE-1".into();
    entry.order.lines[0].name = "Ladle".into();
    assert_eq!(brief::product_name(&planned, None, Some(&entry)), "Ladle", "as the shop calls it");
    entry.order.lines[0].sku = "MUG-TG".into();
    assert_eq!(brief::product_name(&planned, None, Some(&entry)), "GONE-1");
}

#[test]
fn an_unknown_design_or_template_is_said() {
    let mut workshop = workshop();
    workshop.cards.get_mut(&CardName::new("thanks")).unwrap().design = "lace".into();
    let refused = slip::card::check(&workshop.cards[&CardName::new("thanks")], &workshop).unwrap_err();
    assert!(refused.to_string().contains("waves, leaves, plain"), "{refused}");
    let (book, mut setter) = (morning(), setter());
    let subject = Subject::Card(ParcelId(401), "none".into());
    let paper = make(&book, PaperKind::Card, &subject, None, &mut setter);
    assert_eq!(paper.warnings, [Warning::NoTemplate("none".into())]);
}

#[test]
fn what_a_customer_typed_never_becomes_markdown_or_a_template() {
    let mut book = Book::new();
    let evil = "# Boss {{ 7*7 }} | a | b | **x** ![](pen) <b> {% raw %} [l](u)";
    let contents = [("MUG-TG", 1, None)];
    let parcel =
        Parcel { contents: &contents, container: "Small", inside: None, service: "Letter", zone: "", grams: 1 };
    let person = Person { gift_message: Some(Hidden::new(evil)), ..person(evil) };
    book.order("S-1", person, &[parcel]);
    let mut setter = setter();
    let paper = make(&book, PaperKind::Card, &card(401), None, &mut setter);
    assert_eq!(paper.warnings, []);
    let text = render_text(&paper, Sheet { dots: 6000, dpi: 203 }, &mut setter);
    assert_eq!(text.matches(evil).count(), 2, "{text}");
}

#[test]
fn a_gifts_card_names_the_giver_unless_that_one_wants_to_stay_unnamed() {
    let mut workshop = workshop();
    workshop.cards.insert("thanks".into(), sample_cards("en")[&CardName::new("gift")].clone());
    let (mut book, mut setter) = (morning(), setter());
    let key = OrderKey::new("shop", "S-420");
    let mut says = |book: &Book| {
        let paper = make_in(&workshop, book, PaperKind::Card, &card(404), None, &mut setter);
        assert_eq!(paper.warnings, []);
        render_text(&paper, Sheet::WIDE, &mut setter)
    };
    let named = says(&book);
    assert!(named.contains("A present from Łukasz Wójcik"), "{named}");
    book.state.orders.get_mut(&key).unwrap().order.hide_buyer = true;
    let hidden = says(&book);
    assert!(!hidden.contains("Łukasz") && hidden.contains("A present for you"), "{hidden}");
    // What is inside stands on both, with its lot, and what it is worth on none.
    for text in [named, hidden] {
        assert!(text.contains("4 Mug, tide grey") && text.contains("batch 2611"), "{text}");
        assert!(!text.contains("EUR") && text.contains("Happy birthday"), "{text}");
    }
    // Nor does any other paper that leaves the house.
    let mut setter = Typesetter::new(Fonts::embedded());
    for (kind, subject) in [
        (PaperKind::Slip, Subject::Parcel(ParcelId(404))),
        (PaperKind::Label, Subject::Label(ParcelId(404))),
        (PaperKind::Customs, Subject::Customs(ParcelId(404))),
    ] {
        let paper = make(&book, kind, &subject, None, &mut setter);
        assert!(!render_text(&paper, Sheet::WIDE, &mut setter).contains("Łukasz"), "{kind}");
    }
}

#[test]
fn a_forgotten_person_leaves_a_paper_without_a_name() {
    let mut book = morning();
    book.people = People::default();
    let mut setter = setter();
    for (kind, subject) in [(PaperKind::Slip, Subject::Parcel(ParcelId(401))), (PaperKind::Card, card(401))] {
        let paper = make(&book, kind, &subject, None, &mut setter);
        assert_eq!(paper.warnings, [Warning::NameErased]);
        assert!(!render_text(&paper, Sheet::WIDE, &mut setter).contains("Zoë"));
    }
    let paper = make(&book, PaperKind::PickList, &list(), None, &mut setter);
    assert!(render_text(&paper, Sheet::WIDE, &mut setter).contains("name erased"));
}

#[test]
fn every_second_paper_says_copy_but_card_and_label_which_leave_the_house() {
    let (book, mut setter) = (morning(), setter());
    let mark = CopyMark { of: JobId(7), at: now(), why: "the printer went silent".into() };
    let note = Subject::Note(OrderKey::new("shop", "S-418"), 1);
    for (kind, subject) in [
        (PaperKind::Slip, Subject::Parcel(ParcelId(401))),
        (PaperKind::Card, card(401)),
        (PaperKind::PickList, list()),
        (PaperKind::ChangeNote, note.clone()),
        (PaperKind::StopNote, note),
        (PaperKind::Label, Subject::Label(ParcelId(401))),
        (PaperKind::Customs, Subject::Customs(ParcelId(401))),
        (PaperKind::TestPage, Subject::Test(1)),
    ] {
        let copy = make(&book, kind, &subject, Some(&mark), &mut setter);
        let says_copy = render_text(&copy, Sheet::WIDE, &mut setter).contains("COPY");
        assert_eq!(says_copy, !matches!(kind, PaperKind::Card | PaperKind::Label), "{kind}");
    }
}

#[test]
fn what_the_state_no_longer_has_is_an_error_not_a_paper() {
    let (book, mut setter) = (morning(), setter());
    let workshop = workshop();
    let mut ask = |kind, subject: Subject| {
        let wanted = Wanted { kind, subject: &subject, copy: None };
        paper(&wanted, &book.state, &book.people, &workshop, &mut setter, now()).unwrap_err().to_string()
    };
    assert_eq!(ask(PaperKind::Slip, Subject::Parcel(ParcelId(9))), "parcel p9 is no longer in the book");
    let note = Subject::Note(OrderKey::new("shop", "S-1"), 1);
    assert_eq!(ask(PaperKind::StopNote, note), "order shop/S-1 is no longer in the book");
    assert!(ask(PaperKind::Slip, Subject::Test(1)).starts_with("a slip cannot be about"));
}

#[test]
fn the_pick_list_is_sized_to_the_day_and_leaves_out_what_is_stopped() {
    let (mut book, mut setter) = (morning(), setter());
    book.state.policy.as_mut().unwrap().parcels_a_day = 3;
    let paper = make(&book, PaperKind::PickList, &list(), None, &mut setter);
    let text = render_text(&paper, Sheet::WIDE, &mut setter);
    assert!(text.contains("3 parcels of 3 orders") && text.contains("Left for another day: 5 parcels"), "{text}");
    // The oldest promise comes first; a stopped order is asked about, not packed.
    assert!(text.contains("[ ] S-409") && !text.contains("[ ] S-430"), "{text}");
}

#[test]
fn what_does_not_fit_into_today_stands_as_tomorrow() {
    let (mut book, mut setter) = (morning(), setter());
    let mut workshop = workshop();
    book.state.policy.as_mut().unwrap().parcels_a_day = 3;
    workshop.day.parcels_a_day = 3;
    let paper = make_in(&workshop, &book, PaperKind::PickList, &list(), None, &mut setter);
    assert_eq!(paper.warnings, []);
    for (width, sheet) in [SHEETS[0], SHEETS[2]] {
        let picture = render_png(&paper, sheet, &mut setter).unwrap();
        std::fs::write(folder().join(format!("pick_list_tomorrow_{width}.png")), picture).unwrap();
        check_golden(&format!("pick_list_tomorrow_{width}"), &render_text(&paper, sheet, &mut setter));
    }
}

#[test]
fn a_list_that_was_missed_says_so_and_when_the_program_was_off() {
    let at = |text: &str| text.parse::<jiff::Timestamp>().unwrap();
    let (mut setter, workshop, subject) = (setter(), workshop(), list());
    let wanted = Wanted { kind: PaperKind::PickList, subject: &subject, copy: None };
    let mut text = |now: &str, book: &Book| {
        let paper = paper(&wanted, &book.state, &book.people, &workshop, &mut setter, at(now)).unwrap();
        render_text(&paper, Sheet { dots: 2000, dpi: 203 }, &mut setter)
    };
    let mut book = morning();
    book.state.last_list = Some(today());
    book.state.last_list_at = Some(at("2026-11-25T07:00:01Z"));
    let on_time = text("2026-11-25T07:00:05Z", &book);
    assert!(!on_time.contains("printed late") && !on_time.contains("was off from"), "{on_time}");

    book.state.last_list_at = Some(at("2026-11-25T09:12:01Z"));
    let last_order = Some(OrderKey::new("shop", "S-422"));
    let outage = Outage { from: at("2026-11-24T23:10:00Z"), to: at("2026-11-25T09:12:00Z"), last_order };
    book.state.outages.push(outage);
    let missed = text("2026-11-25T09:12:05Z", &book);
    assert!(missed.contains("Due at 07:00, printed late at 09:12."), "{missed}");
    assert!(
        missed.contains("The program was off from 24 Nov, 23:10 to 09:12. The last order before that: S-422."),
        "{missed}"
    );
}

#[test]
fn what_came_after_the_list_stands_apart_and_in_the_pack_order() {
    let (mut book, mut setter) = (morning(), setter());
    book.state.last_list = Some(today());
    book.state.last_list_at = Some(now() - jiff::SignedDuration::from_mins(30));
    let key = OrderKey::new("shop", "S-419");
    book.state.orders.get_mut(&key).unwrap().received = now() - jiff::SignedDuration::from_mins(5);
    let subject = Subject::List { date: today(), extra: 1 };
    let paper = make(&book, PaperKind::PickList, &subject, None, &mut setter);
    let text = render_text(&paper, Sheet::WIDE, &mut setter);
    assert!(text.contains("Printed on request.") && text.contains("Late orders\nS-419"), "{text}");
    assert!(text.contains("came 06:55") && text.contains("[ ] S-419"), "{text}");
}

#[test]
fn the_stub_names_only_supplies_that_are_not_known_at_the_bench() {
    let (book, mut setter) = (morning(), setter());
    let mut workshop = workshop();
    let small = workshop.containers.iter_mut().find(|c| c.name.as_str() == "Small").unwrap();
    small.supplies = vec![SupplyUse { supply: "paper tape".into(), amount: 1_240 * NM_PER_MM }];
    small.fill = Some(Fill { supply: "paper fill".into(), share_percent: 60, grams_per_litre: 20 });
    let mut supplies = |workshop: &Workshop| {
        let subject = Subject::Parcel(ParcelId(401));
        let wanted = Wanted { kind: PaperKind::Slip, subject: &subject, copy: None };
        let paper = paper(&wanted, &book.state, &book.people, workshop, &mut setter, now()).unwrap();
        let text = render_text(&paper, Sheet { dots: 2000, dpi: 203 }, &mut setter);
        text.lines().find(|line| line.starts_with("Supplies")).map(str::to_owned)
    };
    assert_eq!(supplies(&workshop).unwrap(), "Supplies 2 × tissue");
    let tissue = |amount| vec![SupplyUse { supply: "tissue".into(), amount }];
    workshop.every_parcel = tissue(1);
    assert_eq!(supplies(&workshop).unwrap(), "Supplies 2 × tissue");
    workshop.every_parcel = tissue(2);
    assert_eq!(supplies(&workshop), None);
}

#[test]
fn an_urgent_parcel_says_so_on_its_stub() {
    let (mut book, mut setter) = (morning(), setter());
    let entry = book.state.orders.get_mut(&OrderKey::new("shop", "S-417")).unwrap();
    entry.plan.as_mut().unwrap().0.urgent = true;
    let paper = make(&book, PaperKind::Slip, &Subject::Parcel(ParcelId(401)), None, &mut setter);
    let text = render_text(&paper, Sheet::WIDE, &mut setter);
    let (customers, stub) = text.split_once("- - -").unwrap();
    assert!(!customers.contains("URGENT") && stub.contains("URGENT: pack this first"), "{text}");
}

#[test]
fn a_mailer_that_goes_as_a_letter_says_on_its_stub_how_flat_it_is_to_be() {
    let (mut book, mut setter) = (morning(), setter());
    let planned = &mut book.state.parcels.get_mut(&ParcelId(401)).unwrap().planned;
    let most = "3/4 in".parse().unwrap();
    planned.cautions = vec![Caution::PressFlat { most, service: "Letter".into() }];
    let mut workshop = workshop();
    let mut said = |workshop: &Workshop| {
        let subject = Subject::Parcel(ParcelId(401));
        let wanted = Wanted { kind: PaperKind::Slip, subject: &subject, copy: None };
        let paper = paper(&wanted, &book.state, &book.people, workshop, &mut setter, now()).unwrap();
        let text = render_text(&paper, Sheet { dots: 2000, dpi: 203 }, &mut setter);
        let (customers, stub) = text.split_once("- - -").unwrap();
        assert!(!customers.contains("flat"), "{text}");
        stub.lines().find(|line| line.contains("press it flat")).map(str::to_owned).unwrap()
    };
    assert_eq!(said(&workshop), "(!) press it flat: at most 19.05 mm thick for Letter");
    workshop.locale.units = Units::Ounces;
    assert_eq!(said(&workshop), "(!) press it flat: at most 0.75 in thick for Letter");
}

#[test]
fn how_to_lay_stands_once_and_apart_from_other_notes() {
    let (mut book, mut setter) = (morning(), setter());
    let planned = &mut book.state.parcels.get_mut(&ParcelId(401)).unwrap().planned;
    planned.notes = vec!["Mug, tide grey: Handles to the middle.".into(), "Add a leaf.".into()];
    let paper = make(&book, PaperKind::Slip, &Subject::Parcel(ParcelId(401)), None, &mut setter);
    let text = render_text(&paper, Sheet::WIDE, &mut setter);
    assert_eq!(text.matches("Handles to the middle.").count(), 1, "{text}");
    assert!(text.contains("Note     Add a leaf."), "{text}");
}

#[test]
fn a_message_that_cannot_be_mapped_is_told_without_its_inside() {
    let (mut book, mut setter) = (morning(), setter());
    let question = Question {
        cause: Cause::Unmappable("stall/m-1".into()),
        what: "a message of stall could not be mapped at /tickets/0: the order has no number".into(),
        remedy: "dawnslip remap".into(),
        detail: None,
    };
    book.state.loose_stops.push(Stop { kind: StopKind::NeedsYou(question), since: now() });
    let paper = make(&book, PaperKind::PickList, &list(), None, &mut setter);
    let text = render_text(&paper, Sheet { dots: 2000, dpi: 203 }, &mut setter);
    let line = text.lines().find(|line| line.starts_with("a message")).unwrap();
    assert_eq!(line, "a message from stall: it could not be read");
    assert!(!text.contains("remap"), "{text}");
}

#[test]
fn an_empty_day_still_gives_a_list() {
    let (book, mut setter) = (Book::new(), setter());
    let paper = make(&book, PaperKind::PickList, &list(), None, &mut setter);
    let text = render_text(&paper, Sheet::WIDE, &mut setter);
    assert!(text.contains("0 parcels of 0 orders") && text.contains("Nothing to pack today."), "{text}");
}

#[test]
fn every_word_in_the_english_file_is_printed_somewhere() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/slip");
    let mut source = String::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "rs") {
            source += &std::fs::read_to_string(path).unwrap();
        }
    }
    for key in words::KEYS {
        let name = format!("key::{}", key.to_uppercase());
        assert!(source.contains(&name), "{key} is in the file but on no paper");
    }
    // Only through keys: no paper asks for a word by a bare text.
    assert!(!source.contains(".word(\"") && !source.contains(".fill(\""));
}

/// The customs sheet of the demo's first parcel, sent abroad with two prices.
fn customs_sheet(prices: [i64; 2], cn23_above: Option<Money>, gift: bool) -> String {
    let mut book = morning();
    book.send_to("S-417", "DE", ["Möwenweg 4", "10115", "Berlin", ""]);
    let order = &mut book.state.orders.get_mut(&OrderKey::new("shop", "S-417")).unwrap().order;
    order.gift = gift;
    for (line, minor) in order.lines.iter_mut().zip(prices) {
        line.unit_price = Some(Money::new(minor, Currency::EUR));
    }
    let workshop = Workshop { cn23_above, ..workshop() };
    let subject = Subject::Customs(ParcelId(401));
    let wanted = Wanted { kind: PaperKind::Customs, subject: &subject, copy: None };
    let mut setter = setter();
    let paper = paper(&wanted, &book.state, &book.people, &workshop, &mut setter, now()).unwrap();
    // One line of text: where a paper breaks its lines is not the question here.
    render_text(&paper, Sheet::WIDE, &mut setter).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Each field of both forms, as `standards/postal_customs_address.json` lists them with their sources, and what on the
/// sheet is copied into it. What the sheet does not have is named with its reason.
#[test]
fn the_customs_sheet_has_what_both_forms_ask_for() {
    let standard: serde_json::Value =
        serde_json::from_str(include_str!("standards/postal_customs_address.json")).unwrap();
    let by_hand = ["fees", "comments", "licence", "office of origin"]; // Known at the counter or not at all.
    let shown: &[(&str, &[&str])] = &[
        ("gift |", &["[ ] Sale of goods", "[ ] something else:"]),
        ("category", &["[ ] Sale of goods", "[ ] something else:"]),
        ("quantity and detailed description", &["2 × stoneware mug"]),
        ("per article", &["2 × stoneware mug net weight 680 g value 49.00 EUR HS code 6912.00 made in QS"]),
        ("weight (kg) of each", &["net weight 680 g", "net weight 112 g"]),
        ("value of each", &["value 49.00 EUR", "value 9.80 EUR"]),
        ("HS tariff number", &["HS code 6912.00"]),
        ("country of origin", &["made in QS"]),
        ("total weight", &["Gross weight, predicted 910 g"]),
        ("total gross weight", &["Gross weight, predicted 910 g"]),
        ("total value", &["Value of all goods 58.80 EUR"]),
        ("date and sender", &["Date and signature stand on the form"]),
        ("sender", &["From Tern & Thistle Kiln Yard 3 Skerry"]),
        ("addressee", &["To Zoë Ångström Möwenweg 4 10115 BERLIN GERMANY"]),
    ];
    let sheet = customs_sheet([2_450, 980], None, false);
    let forms = ["cn22_fields", "cn23_fields"].map(|form| standard["cn22_cn23"][form].as_array().unwrap().clone());
    let fields: Vec<String> = forms.concat().iter().map(|field| field.as_str().unwrap().to_owned()).collect();
    assert_eq!(fields.len(), 21);
    for field in fields.iter().filter(|field| !by_hand.iter().any(|word| field.contains(word))) {
        let known = shown.iter().find(|(begin, _)| field.starts_with(begin));
        let (_, texts) = known.unwrap_or_else(|| panic!("{field}: nothing is said about it"));
        for text in *texts {
            assert!(sheet.contains(text), "{field}: {text:?} is missing in {sheet}");
        }
    }
    let gift = customs_sheet([2_450, 980], None, true);
    assert!(gift.contains("[ ] Gift") && !gift.contains("Sale of goods"), "{gift}");
}

/// Two mugs and a tea: 58.80 in all. Within a twentieth of the limit a person looks the rate up.
#[test]
fn the_customs_sheet_says_which_form_the_value_asks_for() {
    let standard: serde_json::Value =
        serde_json::from_str(include_str!("standards/postal_customs_address.json")).unwrap();
    assert_eq!(standard["cn22_cn23"]["threshold"], "CN 22 up to 300 SDR, above that CN 23");
    for (above, told) in [
        (None, "Commonly CN 22 up to a value of 300 SDR, CN 23 above."),
        (Some(10_000), "By its value a CN 22, which ends at 100.00 EUR."),
        (Some(6_200), "By its value a CN 22, which ends at 62.00 EUR."),
        (Some(6_000), "CN 22 or CN 23: close to 60.00 EUR"),
        (Some(5_880), "CN 22 or CN 23: close to 58.80 EUR"),
        (Some(5_600), "CN 22 or CN 23: close to 56.00 EUR"),
        (Some(5_590), "By its value a CN 23, which begins above 55.90 EUR."),
    ] {
        let sheet = customs_sheet([2_450, 980], above.map(|minor| Money::new(minor, Currency::EUR)), false);
        assert!(sheet.contains(told), "{above:?}: {sheet}");
    }
}
