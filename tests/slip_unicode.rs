//! The crates that break lines, keep letters whole and order right-to-left text, against Unicode's own
//! conformance data.
//!
//! By default a cut of the data (every so many lines; what stands in one letter wholly); with
//! `DAWNSLIP_UNICODE=/usr/share/unicode` (Debian's unicode-data) all of it. Where a crate differs from the
//! data, each line stands in a list with what the crate makes of it and why that may be: one more difference
//! fails, and so does one that is gone.

use std::collections::BTreeMap;
use std::path::PathBuf;
use unicode_bidi::{BidiInfo, Level};
use unicode_linebreak::linebreaks;
use unicode_segmentation::UnicodeSegmentation;

fn here(file: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/standards/unicode").join(file)
}

/// All of the data, where they are at hand.
fn whole(file: &str) -> Option<PathBuf> {
    std::env::var_os("DAWNSLIP_UNICODE").map(|folder| PathBuf::from(folder).join(file))
}

fn lines(file: PathBuf) -> Vec<String> {
    let text = std::fs::read_to_string(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    let lines = text.lines().map(|line| line.split('#').next().unwrap_or_default().trim().to_owned());
    lines.filter(|line| !line.is_empty()).collect()
}

/// The letters of a list of codes; `None` with a surrogate, which stands for itself in no text.
fn letters(codes: &str) -> Option<String> {
    let code = |code| u32::from_str_radix(code, 16).unwrap_or_else(|error| panic!("{code:?} in {codes}: {error}"));
    codes.split_whitespace().map(|one| char::from_u32(code(one))).collect()
}

/// A text as the data write it: its codes, `÷` where it may be parted and `×` where not.
fn parted(text: &str, at: impl Fn(usize) -> bool) -> String {
    let mark = |place| if at(place) { "÷" } else { "×" };
    let each = text.char_indices().map(|(place, letter)| format!("{} {:04X} ", mark(place), u32::from(letter)));
    each.collect::<String>() + mark(text.len())
}

/// Parts every text of the data anew and compares; what differs must be what `known` lists, no more and no less.
/// A line of `known` is the line of the data, `=>`, and what the crate makes of it.
fn part_as_the_data_say(data: &str, cut: &str, known: &str, crate_parts: impl Fn(&str) -> Vec<usize>) {
    let known: BTreeMap<String, String> = lines(here(known))
        .iter()
        .map(|line| line.split_once("=>").unwrap_or_else(|| panic!("{known}: no => in {line}")))
        .map(|(of_the_data, of_the_crate)| (of_the_data.trim().to_owned(), of_the_crate.trim().to_owned()))
        .collect();
    let all = whole(data);
    let from_all = all.is_some();
    let mut given = lines(all.unwrap_or_else(|| here(cut)));
    assert!(given.len() > 600, "{data}: {} lines", given.len());
    if !from_all {
        // The cut holds some of them only; each is looked at all the same.
        given.extend(known.keys().cloned());
    }
    let mut differ = BTreeMap::new();
    for line in given {
        let Some(text) = letters(&line.replace(['÷', '×'], " ")) else { continue };
        let places = crate_parts(&text);
        let found = parted(&text, |place| places.contains(&place));
        if found != line {
            differ.insert(line, found);
        }
    }
    let listed = |(line, found): (&String, &String)| format!("{line} => {found}");
    let new: Vec<String> = differ.iter().filter(|(line, found)| known.get(*line) != Some(found)).map(listed).collect();
    let gone: Vec<String> = known.iter().filter(|(line, found)| differ.get(*line) != Some(found)).map(listed).collect();
    assert!(new.is_empty() && gone.is_empty(), "{data}\nnew:\n{}\ngone:\n{}", new.join("\n"), gone.join("\n"));
}

#[test]
fn lines_break_where_unicode_says() {
    part_as_the_data_say("auxiliary/LineBreakTest.txt", "line_breaks.txt", "line_breaks_otherwise.txt", |text| {
        linebreaks(text).map(|(at, _)| at).collect()
    });
}

/// Where no space stands, a line too long ends between two letters, a letter being what a reader takes for one.
#[test]
fn letters_stay_whole_as_unicode_says() {
    part_as_the_data_say(
        "auxiliary/GraphemeBreakTest.txt",
        "letters_whole.txt",
        "letters_whole_otherwise.txt",
        |text| text.grapheme_indices(true).map(|(at, _)| at).chain([text.len()]).collect(),
    );
}

/// Asserts the levels of one text. `wished` is the direction of the paragraph, where it does not follow from the text.
fn has_levels(text: &str, wished: Option<Level>, paragraph_level: Option<&str>, levels: &str, line: &str) {
    let info = BidiInfo::new(text, wished);
    let [paragraph] = &info.paragraphs[..] else { panic!("{line}: {} paragraphs", info.paragraphs.len()) };
    if let Some(expected) = paragraph_level {
        assert_eq!(paragraph.level.number().to_string(), expected, "{line}");
    }
    let found = info.reordered_levels_per_char(paragraph, paragraph.range.clone());
    let levels: Vec<&str> = levels.split_whitespace().collect();
    assert_eq!((found.len(), text.chars().count()), (levels.len(), levels.len()), "{line}");
    for (at, (level, expected)) in found.iter().zip(levels).enumerate() {
        // What the rules take out has no level.
        if expected != "x" {
            assert_eq!(level.number().to_string(), expected, "{line}: letter {at}, wished {wished:?}");
        }
    }
}

#[test]
fn right_to_left_text_is_ordered_as_unicode_says() {
    let data = "BidiCharacterTest.txt";
    let given = lines(whole(data).unwrap_or_else(|| here("bidi_characters.txt")));
    assert!(given.len() > 600, "{}", given.len());
    for line in &given {
        let fields: Vec<&str> = line.split(';').collect();
        let [codes, direction, paragraph_level, levels, _] = fields[..] else { panic!("{line}") };
        let text = letters(codes).unwrap_or_else(|| panic!("{line}: a surrogate"));
        let wished = match direction {
            "0" => Some(Level::ltr()),
            "1" => Some(Level::rtl()),
            "2" => None,
            other => panic!("{line}: direction {other}"),
        };
        has_levels(&text, wished, Some(paragraph_level), levels, line);
    }
}

/// One letter of each class, none of them a bracket: the data speak of classes only.
fn letter_of(class: &str) -> char {
    match class {
        "L" => 'a',
        "R" => '\u{5d0}',
        "AL" => '\u{627}',
        "EN" => '0',
        "ES" => '+',
        "ET" => '$',
        "AN" => '\u{660}',
        "CS" => ',',
        "NSM" => '\u{300}',
        "BN" => '\u{ad}',
        "B" => '\u{2029}',
        "S" => '\t',
        "WS" => ' ',
        "ON" => '!',
        "LRE" => '\u{202a}',
        "RLE" => '\u{202b}',
        "PDF" => '\u{202c}',
        "LRO" => '\u{202d}',
        "RLO" => '\u{202e}',
        "LRI" => '\u{2066}',
        "RLI" => '\u{2067}',
        "FSI" => '\u{2068}',
        "PDI" => '\u{2069}',
        other => panic!("no letter of class {other}"),
    }
}

#[test]
fn every_sequence_of_classes_is_ordered_as_unicode_says() {
    let (mut levels, mut cases) = (String::new(), 0);
    for line in lines(whole("BidiTest.txt").unwrap_or_else(|| here("bidi_classes.txt"))) {
        if let Some(given) = line.strip_prefix("@Levels:") {
            levels = given.trim().to_owned();
        }
        if line.starts_with('@') {
            continue;
        }
        let (classes, directions) = line.split_once(';').unwrap_or_else(|| panic!("{line}"));
        let text: String = classes.split_whitespace().map(letter_of).collect();
        let directions: u8 = directions.trim().parse().unwrap_or_else(|error| panic!("{line}: {error}"));
        for (bit, wished) in [(1, None), (2, Some(Level::ltr())), (4, Some(Level::rtl()))] {
            if directions & bit != 0 {
                has_levels(&text, wished, None, &levels, &line);
                cases += 1;
            }
        }
    }
    assert!(cases > 600, "{cases}");
}
