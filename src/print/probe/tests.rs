//! Each kind of printer gets the profile that fits it.

use super::*;
use crate::model::Confirms;
use crate::print::galley::{Fault, Galley, GalleyOptions};
use crate::print::trouble::TroubleKind;

async fn probe(confirms: Confirms, faults: &[Fault]) -> Profile {
    let galley = Galley::offline(GalleyOptions { confirms, ..GalleyOptions::default() }).unwrap();
    faults.iter().for_each(|fault| galley.set_fault(*fault));
    let profile = ask(galley.net().as_ref(), "galley", None).await.unwrap();
    assert!(galley.papers().is_empty(), "questions print nothing");
    profile
}

#[tokio::test(start_paused = true)]
async fn a_printer_gets_the_profile_that_fits_it() {
    for confirms in [Confirms::ProcessId, Confirms::InlineStatus, Confirms::Nothing] {
        let profile = probe(confirms, &[]).await;
        assert_eq!(profile.confirms(), Some(confirms), "{profile:?}");
        assert!(profile.status.is_some_and(|status| status.is_ready()) && profile.automatic);
        assert_eq!((profile.odd, profile.late, profile.trouble()), (0, 0, None));
        let (maker, model) = (profile.maker.as_deref(), profile.model.as_deref());
        assert_eq!((maker, model), (Some("dawnslip"), Some("galley")));

        let without = probe(confirms, &[Fault::NoStatus]).await;
        assert_eq!((without.status, without.confirms()), (None, Some(confirms)), "{without:?}");
        assert!(without.sentences().join("\n").contains("status: no answer"));

        let silent = probe(confirms, &[Fault::Silent]).await;
        assert_eq!((silent.confirms(), silent.trouble()), (None, Some(TroubleKind::Silent)));
        assert_eq!(silent.table("bench", "galley"), None, "nothing is made up");
    }
}

#[tokio::test(start_paused = true)]
async fn what_stands_in_the_way_of_asking_is_told_and_no_profile_is_made_up() {
    let cases = [
        (Fault::PaperOut { after_rows: 0 }, TroubleKind::PaperOut),
        (Fault::CoverOpen, TroubleKind::CoverOpen),
        (Fault::TooHot, TroubleKind::Overheated),
        (Fault::Stall, TroubleKind::Silent),
        (Fault::Nonsense, TroubleKind::Garbage),
    ];
    for (fault, told) in cases {
        let profile = probe(Confirms::ProcessId, &[fault]).await;
        assert_eq!((profile.trouble(), profile.confirms()), (Some(told), None), "{profile:?}");
        assert!(profile.sentences()[0].contains(told.why()), "{:?}", profile.sentences());
    }
    let wrong = probe(Confirms::ProcessId, &[Fault::WrongId]).await;
    assert_eq!((wrong.confirms(), wrong.odd), (Some(Confirms::InlineStatus), 1));
}

#[tokio::test(start_paused = true)]
async fn a_printer_that_is_off_or_goes_off_cannot_be_asked() {
    let galley = Galley::offline(GalleyOptions::default()).unwrap();
    galley.set_fault(Fault::CloseAfter { bytes: 5 });
    let error = ask(galley.net().as_ref(), "galley", None).await.unwrap_err();
    assert!(matches!(error, ProbeError::Broken(_)), "{error:?}");
    galley.set_fault(Fault::PowerOff);
    let error = ask(galley.net().as_ref(), "galley", None).await.unwrap_err();
    assert!(matches!(error, ProbeError::NoConnection { .. }), "{error:?}");
}

#[test]
fn an_answer_that_comes_late_is_not_taken_for_another() {
    let mut probe = Probe::new();
    probe.tick(SHORT);
    assert_eq!(probe.to_write(), b"\x10\x04\x01\x1D\x61\xFF", "no status: the other three are left out");
    probe.hear(&[0x12], SHORT);
    assert_eq!((probe.profile.status, probe.profile.late), (None, 1));
    probe.hear(&[0x10, 0, 0, 0], SHORT);
    assert!(probe.profile.automatic);
}

#[test]
fn a_name_cannot_carry_more_than_letters() {
    let cases: [(&[u8], Option<&str>); 4] = [
        (b"ACME 80", Some("ACME 80")),
        (b"\x1b[31mred\"\n[routes]", Some("[31mred[routes]")),
        (b" \x07 ", None),
        (b"", None),
    ];
    for (name, expected) in cases {
        assert_eq!(readable(name).as_deref(), expected, "{name:?}");
    }
    assert_eq!(readable(&[b'x'; 80]).unwrap().len(), NAME_LETTERS_MAX);
}

#[test]
fn the_table_is_one_that_printers_toml_takes() {
    let profile = Profile { status: Some(Status::default()), maker: Some("dawnslip".into()), ..Profile::default() };
    let cases = [
        (Profile { process_id: true, in_line: true, ..profile.clone() }, "process id"),
        (Profile { in_line: true, ..profile.clone() }, "status"),
        (profile, "nothing"),
    ];
    for (profile, confirms) in cases {
        let table: toml::Table = profile.table("bench", "192.168.1.40:9100").unwrap().parse().unwrap();
        let printer = table["printer"]["bench"].as_table().unwrap();
        assert_eq!(printer["confirms"].as_str(), Some(confirms));
        assert_eq!(printer["address"].as_str(), Some("192.168.1.40:9100"));
        assert_eq!(printer.contains_key("quiet_after"), confirms == "nothing");
    }
}
