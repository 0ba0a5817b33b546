//! Broken configurations and what people are told about each.
//!
//! A case is a file in `tests/cases/config/`: a comment, then the files of a configuration
//! (each behind a line `=== NAME`), then `=== complaints` and the text that must come. A
//! case without a `workshop.toml` gets a sound one, unless it names `workshop.toml.missing`.
//! `BLESS=1 cargo test --test config_complaints` writes the texts anew: read them then.

use dawnslip::config::{self, COMPLAINTS_MAX, CardTrouble, Checks, Files};
use std::path::{Path, PathBuf};

const SOUND_WORKSHOP: &str = "name = \"Test\"\ntime_zone = \"Europe/Oslo\"\ncurrency = \"EUR\"\ncountry = \"GB\"\n";

struct Case {
    path: PathBuf,
    head: String,
    files: Files,
    complaints: String,
}

fn cases() -> Vec<Case> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases/config");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.into_iter().map(read).collect()
}

fn read(path: PathBuf) -> Case {
    let text = std::fs::read_to_string(&path).unwrap();
    let (head, complaints) = text.split_once("=== complaints\n").expect("every case ends with its complaints");
    let mut files = Files::new();
    for part in head.split("=== ").skip(1) {
        let (name, content) = part.split_once('\n').unwrap();
        files.insert(name.to_owned(), content.to_owned());
    }
    if files.remove("workshop.toml.missing").is_none() {
        files.entry("workshop.toml".to_owned()).or_insert_with(|| SOUND_WORKSHOP.to_owned());
    }
    Case { path, head: head.to_owned(), files, complaints: complaints.to_owned() }
}

#[test]
fn every_broken_configuration_is_told_what_to_write_instead() {
    let mut wrong = Vec::new();
    let cases = cases();
    assert!(cases.len() > 60);
    for case in cases {
        let told = match config::load(&case.files, Path::new("config")) {
            Ok(_) => "nothing\n".to_owned(),
            Err(complaints) => format!("{complaints}\n"),
        };
        if std::env::var_os("BLESS").is_some() {
            std::fs::write(&case.path, format!("{}=== complaints\n{told}", case.head)).unwrap();
        } else if told != case.complaints {
            wrong.push(format!("{}:\n{told}", case.path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

/// What is wrong in each case, without the places.
fn told(files: &Files) -> Vec<(String, String)> {
    match config::load(files, Path::new("config")) {
        Ok(_) => Vec::new(),
        Err(all) => all.list().iter().map(|one| (one.file.clone(), one.what.clone())).collect(),
    }
}

#[test]
fn many_mistakes_in_many_files_are_all_told_at_once() {
    let mut files = config::embedded();
    let mut expected = Vec::new();
    for (file, written, instead, what) in [
        (
            "workshop.toml",
            "retention = \"90 days\"",
            "retention = 90",
            "`retention` is a bare number, not a number of days",
        ),
        ("workshop.toml", "parcels_a_day = 40", "parcels_aday = 40", "unknown key `parcels_aday` in the day"),
        ("sources.toml", "number = \"/ref\"", "number = \"ref\"", "`number` is no path into a payload"),
        ("products.toml", "shelf = \"A6\"", "shelf = 6", "`shelf` is a bare number, not text"),
        ("products.toml", "like = \"bowl\"", "like = \"bwol\"", "there is no product \"bwol\""),
        ("packaging.toml", "tare = \"420 g\"", "tare = 420", "`tare` is a bare number, not a weight"),
        ("packaging.toml", "takes = [\"Medium\"]", "takes = [\"Medum\"]", "there is no container \"Medum\""),
        ("services.toml", "no_post_box = true", "no_post_box = \"yes\"", "`no_post_box` is text, not true or false"),
        ("tariffs/road.csv", "Middle, 1 kg", "Midle, 1 kg", "there is no zone \"Midle\""),
        ("rules.toml", "card = \"gift\"", "card = \"present\"", "there is no card \"present\""),
        ("printers.toml", "dots = 576", "dots = 57", "`dots` is out of bounds"),
        ("cards/gift.md", "design =", "desing =", "unknown key `desing` in the head of a card"),
    ] {
        let text = files.get_mut(file).unwrap();
        assert!(text.contains(written), "{file} of the sample says {written}");
        *text = text.replacen(written, instead, 1);
        expected.push((file.to_owned(), what.to_owned()));
    }
    let mut all = told(&files);
    all.sort();
    expected.sort();
    assert_eq!(all, expected);
}

#[test]
fn complaints_are_read_by_programs_too() {
    let files = Files::from([("workshop.toml".to_owned(), SOUND_WORKSHOP.replace("GB", "UK"))]);
    let complaints = config::load(&files, Path::new("config")).unwrap_err();
    let json = complaints.to_json();
    assert_eq!(json.as_array().unwrap().len(), 1);
    let one = &json[0];
    assert_eq!((one["file"].as_str(), one["line"].as_u64()), (Some("workshop.toml"), Some(4)));
    assert_eq!((one["column"].as_u64(), one["text"].as_str()), (Some(11), Some("country = \"UK\"")));
    assert!(one["remedy"].as_str().unwrap().contains("ISO 3166-1"));
}

#[test]
fn other_modules_judge_rules_cards_and_letters_at_their_place() {
    let mut files = config::embedded();
    files.insert("cards/odd.md".to_owned(), "+++\ndesign = \"waves\"\n+++\nfine\nnot {{ fine\n".to_owned());
    let checks = Checks {
        rule: &|_, rule| rule.when.contains("15000").then(|| "say it in grams".to_owned()),
        card: &|_, card| {
            let line = card.first_line + card.body.lines().position(|line| line.contains("{{ fine"))?;
            Some(CardTrouble { line, what: "the braces do not close".to_owned(), remedy: "close them".to_owned() })
        },
        letters: &|_, text| text.chars().filter(|letter| *letter == '&').collect(),
    };
    let complaints = config::load_with(&files, Path::new("config"), &checks).unwrap_err();
    let told: Vec<_> = complaints
        .list()
        .iter()
        .map(|one| (one.file.as_str(), complaints.line(one).to_owned(), one.what.as_str(), one.remedy.as_str()))
        .collect();
    assert_eq!(told.len(), 4, "{told:?}");
    assert_eq!((told[0].0, told[0].1.as_str(), told[0].3), ("cards/odd.md", "not {{ fine", "close them"));
    assert_eq!((told[1].0, told[1].3), ("rules.toml", "say it in grams"));
    assert_eq!((told[2].0, told[2].2), ("workshop.toml", "no font has: &"));
    assert_eq!((told[3].0, told[3].2), ("workshop.toml", "no font has: &"));
    assert_eq!(complaints.place(&complaints.list()[2]), (20, 14), "at the letter itself");
    assert!(config::load_with(&config::embedded(), Path::new("config"), &Checks::NONE).is_ok());
}

#[test]
fn a_file_of_another_kind_gives_a_list_that_ends() {
    for (lines, shown) in [(COMPLAINTS_MAX, "200 things"), (COMPLAINTS_MAX + 1, "the first 200 of 201 things")] {
        let junk: String = (0..lines).map(|n| format!("a{n} = 1\n")).collect();
        let files =
            Files::from([("workshop.toml".to_owned(), SOUND_WORKSHOP.to_owned()), ("printers.toml".to_owned(), junk)]);
        let complaints = config::load(&files, Path::new("config")).unwrap_err();
        assert_eq!(complaints.list().len(), COMPLAINTS_MAX);
        assert!(complaints.to_string().contains(shown));
    }
}

#[test]
fn garbage_is_refused_and_never_a_panic() {
    let deep = format!("a = {}{}", "[".repeat(50_000), "]".repeat(50_000));
    let dotted = vec!["a"; 20_000].join(".") + " = 1";
    let sample = config::embedded();
    let names: Vec<&String> = sample.keys().filter(|name| *name != "words/en.toml").collect();
    for garbage in [
        "\0\0\0",
        "\u{feff}",
        "[[[[",
        "= = =",
        "\"\"\"",
        "a = 99999999999999999999999",
        "+++",
        "é,é,é",
        "[product.a]\nlike = [\"a\"]",
        &deep,
        &dotted,
    ] {
        for name in &names {
            let mut files = sample.clone();
            files.insert((*name).clone(), garbage.to_owned());
            if let Err(complaints) = config::load(&files, Path::new("config")) {
                assert!(!complaints.to_string().is_empty() && !complaints.to_json().is_null());
            }
        }
    }
}

#[test]
fn every_cut_and_every_flipped_sign_of_the_sample_is_survived() {
    let sample = config::embedded();
    for (name, text) in sample.iter().filter(|(name, _)| !name.starts_with("words/")) {
        // Some dozen cuts a file, each at another place of a line.
        for cut in (0..text.len()).step_by(text.len() / 16 + 7).filter(|at| text.is_char_boundary(*at)) {
            for instead in [&text[..cut], &format!("{}]{}", &text[..cut], &text[cut..])] {
                let mut files = sample.clone();
                files.insert(name.clone(), instead.to_owned());
                if let Err(complaints) = config::load(&files, Path::new("config")) {
                    let all = complaints.list();
                    assert!(all.iter().all(|one| complaints.place(one).0 >= 1 && !one.what.is_empty()));
                }
            }
        }
    }
}

/// The descriptions that `standards/postal_customs_address.json` takes from guidance on the CN 23, and its good one.
#[test]
fn what_tells_customs_nothing_is_sent_back_here_already() {
    let standard: serde_json::Value =
        serde_json::from_str(include_str!("standards/postal_customs_address.json")).unwrap();
    let forms = &standard["cn22_cn23"];
    let bad = forms["bad_descriptions"].as_array().unwrap().iter().map(|text| (text.as_str().unwrap(), true));
    let good = (forms["good_description"].as_str().unwrap(), false);
    let own = [("Gift", true), ("goods", true), ("Gift box of paper", false)];
    let mut looked_at = 0;
    for (description, is_vague) in bad.chain([good]).chain(own) {
        let mut files = config::embedded();
        files.get_mut("products.toml").unwrap().push_str(&format!(
            "\n[product.new]\nname = \"New\"\nsize = \"10 x 10 x 10 mm\"\nweight = \"1 g\"\n\
             customs = {{ hs_code = \"6912.00\", origin = \"QS\", description = \"{description}\" }}\n"
        ));
        let expected = format!("{description:?} does not tell customs what it is");
        let all = told(&files);
        assert_eq!(all, if is_vague { vec![("products.toml".to_owned(), expected)] } else { vec![] }, "{description}");
        looked_at += 1;
    }
    assert_eq!(looked_at, 7);
}
