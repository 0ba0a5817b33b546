//! Any name prints, and none of them steers a printer or breaks a layout.

mod slip_demo;

use dawnslip::model::*;
use dawnslip::slip::document::{Face, Run};
use dawnslip::slip::fonts::Han;
use dawnslip::slip::layout::layout;
use dawnslip::slip::{self, *};
use proptest::prelude::*;
use slip_demo::*;
use std::sync::{LazyLock, Mutex, MutexGuard, PoisonError};

/// One for all tests: loading the faces takes longer than any test.
fn setter() -> MutexGuard<'static, Typesetter> {
    static SETTER: LazyLock<Mutex<Typesetter>> = LazyLock::new(|| Mutex::new(Typesetter::new(Fonts::embedded())));
    SETTER.lock().unwrap_or_else(PoisonError::into_inner)
}

#[derive(Debug, PartialEq, Eq)]
enum Sent {
    Initialise,
    Raster { stride: usize, data: Vec<u8> },
    Cut,
    Feed,
    ProcessId([u8; 4]),
    InlineStatus,
}

/// Reads the bytes back; anything that is not one of the commands we rely on is an error.
fn decode(bytes: &[u8]) -> Result<Vec<Sent>, String> {
    let mut sent = Vec::new();
    let mut rest = bytes;
    while !rest.is_empty() {
        let (command, used) = match *rest {
            [0x1b, 0x40, ..] => (Sent::Initialise, 2),
            [0x1b, 0x4a, _, ..] => (Sent::Feed, 3),
            [0x1d, 0x56, 0x42, _, ..] => (Sent::Cut, 4),
            [0x1d, 0x72, 0x01, ..] => (Sent::InlineStatus, 3),
            [0x1d, 0x28, 0x48, 0x06, 0x00, 0x30, 0x30, a, b, c, d, ..] => (Sent::ProcessId([a, b, c, d]), 11),
            [0x1d, 0x76, 0x30, 0x00, xl, xh, yl, yh, ..] => {
                let stride = usize::from(u16::from_le_bytes([xl, xh]));
                let rows = usize::from(u16::from_le_bytes([yl, yh]));
                let data = rest.get(8..8 + stride * rows).ok_or("a picture is cut off")?.to_vec();
                if rows > 256 {
                    return Err(format!("a band of {rows} rows"));
                }
                (Sent::Raster { stride, data }, 8 + stride * rows)
            }
            _ => return Err(format!("{:02x?} at {}", &rest[..rest.len().min(8)], bytes.len() - rest.len())),
        };
        sent.push(command);
        rest = &rest[used..];
    }
    Ok(sent)
}

fn slip_of(person: Person, setter: &mut Typesetter) -> (Paper, Paper) {
    let mut book = Book::new();
    let contents = [("MUG-TG", 2, Some("2611")), ("unknown", 3, None)];
    let parcel =
        Parcel { contents: &contents, container: "Small", inside: None, service: "Letter", zone: "North", grams: 900 };
    book.order("S-417", person, &[parcel]);
    let workshop = workshop();
    let mut make = |kind, subject: Subject| {
        let wanted = Wanted { kind, subject: &subject, copy: None };
        paper(&wanted, &book.state, &book.people, &workshop, setter, now()).unwrap()
    };
    let id = ParcelId(401);
    (make(PaperKind::Slip, Subject::Parcel(id)), make(PaperKind::Card, Subject::Card(id, "thanks".into())))
}

/// Names of `text_names.json`; its head says where they come from.
fn names() -> Vec<String> {
    let table: serde_json::Value = serde_json::from_str(include_str!("standards/text_names.json")).unwrap();
    table["names"].as_array().unwrap().iter().map(|n| n["text"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn every_listed_name_is_set_with_all_its_letters() {
    let mut setter = setter();
    let names = names();
    assert_eq!(names.len(), 41);
    for name in &names {
        let (slip, card) = slip_of(person(name), &mut setter);
        assert_eq!((&slip.warnings, &card.warnings), (&vec![], &vec![]), "{name:?}");
        for paper in [&slip, &card] {
            for sheet in [Sheet::WIDE, Sheet::NARROW] {
                let page = layout(&paper.document, sheet, &mut setter);
                assert_eq!(page.missing.len(), 0, "{name:?}");
            }
        }
    }
}

/// `faker_names_addresses.json`; its head says where they come from.
#[test]
fn invented_people_of_many_countries_are_set_with_all_their_letters() {
    let mut setter = setter();
    let table: serde_json::Value = serde_json::from_str(include_str!("standards/faker_names_addresses.json")).unwrap();
    let mut texts = Vec::new();
    gather(&table, &mut texts);
    assert!(texts.len() > 100, "{}", texts.len());
    for text in texts {
        let clean = slip::clean::line(&text, slip::clean::NAME_MAX);
        assert_eq!(setter.missing(&clean), [], "{text:?}");
    }
    let rows = table["rows"].as_array().unwrap();
    assert!(rows.len() >= 80, "{} locales", rows.len());
    for row in rows {
        let country = row["locale"].as_str().unwrap().rsplit('_').next().unwrap();
        for name in row["names"].as_array().unwrap() {
            let lines = row["address"].as_str().unwrap().lines().map(Hidden::new).collect();
            let lines = Person { street: lines, ..person(name.as_str().unwrap()) };
            let label = label_of(lines, country, &mut setter);
            let page = layout(&label.document, Sheet::WIDE, &mut setter);
            assert!(page.missing.is_empty() && label.warnings.is_empty(), "{row}");
            let text: String = page.lines.concat().to_uppercase().split_whitespace().collect();
            let clean = slip::clean::line(name.as_str().unwrap(), slip::clean::NAME_MAX).to_uppercase();
            assert!(text.contains(&clean.split_whitespace().collect::<String>()), "{name}: {text}");
        }
    }
}

fn label_of(person: Person, country: &str, setter: &mut Typesetter) -> Paper {
    let mut book = Book::new();
    let contents = [("MUG-TG", 1, None)];
    let parcel =
        Parcel { contents: &contents, container: "Small", inside: None, service: "Letter", zone: "", grams: 400 };
    let key = book.order("S-1", person, &[parcel]);
    book.state.orders.get_mut(&key).unwrap().order.destination.country = country.parse().ok();
    let subject = Subject::Label(ParcelId(401));
    let wanted = Wanted { kind: PaperKind::Label, subject: &subject, copy: None };
    paper(&wanted, &book.state, &book.people, &workshop(), setter, now()).unwrap()
}

#[test]
fn letters_of_open_orders_that_no_font_has_are_named_before_they_print() {
    let mut setter = setter();
    let mut book = Book::new();
    for (number, name) in [("S-1", "Zoë Ångström"), ("S-2", "བཀྲ་ཤིས"), ("S-3", "佐藤 花子 😀")]
    {
        book.order(number, person(name), &[]);
    }
    let found = letters::uncovered(&book.state, &book.people, &mut setter);
    let numbers: Vec<&str> = found.iter().map(|of| of.order.number.as_str()).collect();
    assert_eq!(numbers, ["S-2", "S-3"]);
    assert!(found[0].missing.contains(&'བ') && found[0].last_resort.is_empty());
    // The embedded letters of East Asia are one style for all; a pictograph is left out, not missing.
    assert!(found[1].missing.is_empty() && found[1].last_resort.contains(&'佐'));
}

fn gather(value: &serde_json::Value, into: &mut Vec<String>) {
    match value {
        serde_json::Value::String(text) => into.push(text.clone()),
        serde_json::Value::Array(all) => all.iter().for_each(|v| gather(v, into)),
        serde_json::Value::Object(all) => all.values().for_each(|v| gather(v, into)),
        _ => {}
    }
}

#[test]
fn a_letter_that_no_face_has_is_reported_and_an_unknown_pictograph_is_left_out() {
    let mut setter = setter();
    // Tibetan is not embedded; U+1FAE8 (Unicode 15) is younger than many fonts.
    let (slip, _) = slip_of(person("བཀྲ་ཤིས"), &mut setter);
    assert!(matches!(&slip.warnings[..], [Warning::MissingLetters(letters)] if letters.contains(&'བ')));
    assert!(slip.warnings[0].to_string().contains("U+0F56"));
    let (slip, _) = slip_of(person("Zoë \u{1faff}"), &mut setter);
    assert_eq!(slip.warnings, []);
    assert!(!render_text(&slip, Sheet::WIDE, &mut setter).contains('\u{1faff}'));
}

#[test]
fn a_right_to_left_name_stands_at_the_left_like_any_other() {
    let mut setter = setter();
    for text in ["محمد علي", "שלום כהן"] {
        let set = setter.set(&[Run::new(text, Face::Sans, 40)], Some(500), 1.0, Han::default());
        let mut map = slip::bitmap::Bitmap::new(500, 80);
        set.lines[0].draw(&mut map, 0, 50);
        let first = (0..500).find(|x| (0..80).any(|y| map.is_black(*x, y))).unwrap();
        let last = (0..500).rev().find(|x| (0..80).any(|y| map.is_black(*x, y))).unwrap();
        assert!(first < 12, "{text} begins at {first}");
        assert!(last < set.width + 6 && set.width < 300, "{text} ends at {last} of {}", set.width);
    }
}

#[test]
fn a_job_ends_with_the_question_that_its_printer_can_answer() {
    let mut setter = setter();
    let (slip, _) = slip_of(person("Zoë"), &mut setter);
    let id = JobId(417).process_id();
    let table = [
        (Confirms::ProcessId, Some(id), true, vec![Sent::Cut, Sent::ProcessId(id)]),
        (Confirms::InlineStatus, Some(id), true, vec![Sent::Cut, Sent::InlineStatus]),
        (Confirms::Nothing, Some(id), true, vec![Sent::Cut]),
        (Confirms::ProcessId, None, true, vec![Sent::Cut]),
        (Confirms::ProcessId, Some(id), false, vec![Sent::Feed, Sent::ProcessId(id)]),
    ];
    for (confirms, id, cutter, expected) in table {
        let profile = printer(576, 203, confirms, cutter);
        let sent = decode(&render_bytes(&slip, &profile, id, &mut setter).unwrap()).unwrap();
        assert_eq!(sent[0], Sent::Initialise);
        assert_eq!(sent[sent.len() - expected.len()..], expected);
    }
}

/// The table of commands in use, byte for byte.
#[test]
fn the_bytes_are_those_of_the_command_table() {
    let mut setter = setter();
    let (slip, _) = slip_of(person("Zoë"), &mut setter);
    let bytes =
        render_bytes(&slip, &printer(576, 203, Confirms::ProcessId, true), Some(*b"0abc"), &mut setter).unwrap();
    // The head of the slip reaches from edge to edge; a band has at least 24 rows.
    assert_eq!(bytes[..8], [0x1b, 0x40, 0x1d, 0x76, 0x30, 0x00, 72, 0]);
    assert!((24..=256).contains(&u16::from_le_bytes([bytes[8], bytes[9]])));
    let end = [0x1d, 0x56, 0x42, 24, 0x1d, 0x28, 0x48, 0x06, 0x00, 0x30, 0x30, b'0', b'a', b'b', b'c'];
    assert_eq!(bytes[bytes.len() - end.len()..], end);
}

#[test]
fn the_bytes_carry_the_picture_and_nothing_reads_as_a_realtime_command() {
    let mut setter = setter();
    for name in names() {
        let (slip, card) = slip_of(person(&name), &mut setter);
        for paper in [slip, card] {
            check_bytes(&paper, &mut setter);
        }
    }
}

fn check_bytes(paper: &Paper, setter: &mut Typesetter) {
    for (dots, dpi) in [(576, 203), (384, 203), (512, 180), (420, 203)] {
        let profile = printer(dots, dpi, Confirms::ProcessId, true);
        let page = layout(&paper.document, Sheet::from(&profile), setter);
        let bytes = render_bytes(paper, &profile, Some(*b"0abc"), setter).unwrap();
        let mut data = Vec::new();
        let whole = dots.div_ceil(8) as usize;
        for sent in decode(&bytes).unwrap() {
            if let Sent::Raster { stride, data: band } = sent {
                assert!((1..=whole).contains(&stride), "{stride}");
                for row in band.chunks(stride) {
                    data.extend(row);
                    data.resize(data.len() + whole - stride, 0);
                }
            }
        }
        assert_eq!(data, page.dots.bytes());
        assert!(bytes.len() < page.dots.bytes().len() + 100, "white at the right is not sent");
        assert!(!bytes.windows(2).any(|pair| pair[0] == 0x10 && matches!(pair[1], 0x04 | 0x05 | 0x14)));
        for line in &page.lines {
            assert!(slip::text::width(line) <= Sheet::from(&profile).columns(), "{line:?}");
            assert!(!line.chars().any(char::is_control), "{line:?}");
        }
    }
}

/// Letters of every kind, and the bytes that printers listen to.
fn anything() -> impl Strategy<Value = String> {
    let printers = prop::sample::select(vec![
        "\u{1b}@",
        "\u{1d}V\0",
        "\u{10}\u{4}\u{1}",
        "\u{10}\u{14}",
        "\0",
        "\r\n",
        "\t",
        "\u{202e}",
        "\u{2066}",
        "\u{85}",
        "{{ name }}",
        "{% raw %}",
        "# ",
        "| a |",
        "---",
        "![](pen)",
        "\\",
        "`",
        "<b>",
        "&lt;",
        "👩‍👩‍👧‍👦",
        "🇩🇪",
        "𠮷",
        "क्ष",
        "กำ",
        "שָׁ",
        "لا",
        "각",
        "ﾔ",
        "W̷̢",
        "\u{200d}",
        "\u{fe0f}",
    ]);
    let piece = prop_oneof![printers.prop_map(str::to_owned), "\\PC{1,12}", any::<String>(), "[a-zA-Z]{1,90}"];
    prop::collection::vec(piece, 0..8).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_typed_only_our_commands_reach_the_printer(name in anything(), wish in anything(), message in anything()) {
        let mut setter = setter();
        let person = Person {
            wish: Some(Hidden::new(wish)),
            gift_message: Some(Hidden::new(message)),
            ..person(&name)
        };
        let (slip, card) = slip_of(person, &mut setter);
        prop_assert!(!card.warnings.iter().any(|w| matches!(w, Warning::Template(_))), "{:?}", card.warnings);
        for paper in [slip, card] {
            check_bytes(&paper, &mut setter);
        }
    }

    #[test]
    fn lines_never_exceed_their_width(text in anything(), width in 60u32..600, size in 16u16..60) {
        let mut setter = setter();
        let text = slip::clean::line(&text, slip::clean::WISH_MAX);
        let set = setter.set(&[Run::new(text, Face::Sans, size)], Some(width), 1.0, Han::default());
        for line in &set.lines {
            // One letter may be wider than a very narrow column; it is clipped at the paper's edge.
            prop_assert!(line.width <= (width as i32).max(4 * i32::from(size)), "{} of {width}", line.width);
        }
    }
}

/// Found by the property above: a tab between two directions let the breaker put too much on a line.
#[test]
fn a_line_of_two_directions_stays_within_its_column() {
    let text = "0@A𑤉Ak00\u{1e023}𐕯aিସבּJѨꬕÞ𐞍wFiBYWezrHxk{{ name }}\u{1d}V\0S𑊦{𖩒<8\u{2def}&𖬄<<G";
    let text = slip::clean::line(text, slip::clean::WISH_MAX);
    let set = setter().set(&[Run::new(text, Face::Sans, 45)], Some(254), 1.0, Han::default());
    let widths: Vec<i32> = set.lines.iter().map(|line| line.width).collect();
    assert!(widths.len() > 3 && widths.iter().all(|width| *width <= 254), "{widths:?}");
}
