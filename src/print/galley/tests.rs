//! The galley draws what a head would, and fails as heads fail.

use super::commands::{Command, Item, Parser, RealTime};
use super::*;
use proptest::prelude::*;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

/// An hour of paused time is a blink.
const HOUR: Duration = Duration::from_secs(3600);

fn galley() -> Galley {
    Galley::offline(GalleyOptions::default()).unwrap()
}

async fn connect(galley: &Galley) -> Box<dyn Connection> {
    galley.net().connect("galley").await.unwrap()
}

/// Sends bytes on an own connection and waits for so many papers.
async fn print(galley: &Galley, bytes: &[u8], papers: u64) -> Vec<Paper> {
    let mut connection = connect(galley).await;
    connection.write_all(bytes).await.unwrap();
    timeout(HOUR, galley.wait_for(papers)).await.unwrap()
}

async fn answer(connection: &mut Box<dyn Connection>, question: &[u8], bytes: usize) -> Vec<u8> {
    connection.write_all(question).await.unwrap();
    let mut room = vec![0; bytes];
    match timeout(Duration::from_secs(5), connection.read_exact(&mut room)).await {
        Ok(read) => read.map(|_| room).unwrap(),
        Err(_) => Vec::new(),
    }
}

const CUT: &[u8] = b"\x1DVA\0";

#[tokio::test(start_paused = true)]
async fn native_text_is_drawn_and_read_back() {
    let galley = galley();
    let bytes =
        [b"\x1B@\x1Ba\x01\x1D!\x11Dawn\n\x1D!\0\x1Ba\0plain\n\n\x1Bt\x10\xC5ngstr\xF6m\n".as_slice(), CUT].concat();
    let papers = print(&galley, &bytes, 1).await;
    let paper = &papers[0];
    assert_eq!(paper.text, "                    Dawn\nplain\n\nÅngström");
    assert_eq!((paper.cut, paper.is_blank, paper.notes.len()), (Cut::Full, false, 0));
    // One line of 48 rows, three of 30, and the way to the cutter.
    assert_eq!(paper.rows, 48 + 3 * 30 + 24);
    let picture = Picture::from_png(&paper.png).unwrap();
    let (left, right) = (240, 240 + 4 * 24);
    let is_inked = |from: usize, to: usize| (from..to).any(|x| (0..48).any(|y| picture.is_black(x, y)));
    assert!(is_inked(left, right) && !is_inked(0, left) && !is_inked(right, 576));
}

#[tokio::test(start_paused = true)]
async fn a_raster_comes_out_dot_for_dot() {
    let galley = galley();
    let mut expected = Picture::new(576);
    let rows: Vec<[u8; 72]> = (0..40u8).map(|y| std::array::from_fn(|x| y.wrapping_mul(37) ^ x as u8)).collect();
    let mut bytes = b"\x1B@\x1Dv0\0\x48\0\x28\0".to_vec();
    for row in &rows {
        expected.push_row(row);
        bytes.extend(row);
    }
    bytes.extend(CUT);
    let paper = &print(&galley, &bytes, 1).await[0];
    (0..24).for_each(|_| expected.push_row(&[]));
    assert!(Picture::from_png(&paper.png).unwrap() == expected);
    assert_eq!(paper.text, "[picture, 40 rows]");
}

#[tokio::test(start_paused = true)]
async fn a_second_caller_waits_until_the_first_has_gone() {
    let galley = galley();
    let mut first = connect(&galley).await;
    let mut second = connect(&galley).await;
    second.write_all(&[b"second\n".as_slice(), CUT].concat()).await.unwrap();
    assert_eq!(answer(&mut second, b"\x10\x04\x01", 1).await, b"");
    first.write_all(&[b"first\n".as_slice(), CUT].concat()).await.unwrap();
    timeout(HOUR, galley.wait_for(1)).await.unwrap();
    drop(first);
    let papers = timeout(HOUR, galley.wait_for(2)).await.unwrap();
    assert_eq!([&papers[0].text, &papers[1].text], ["first", "second"]);
}

/// `1D 49 n`: by whom the printer is made (66), what it is called (67); 68 it does not know.
const WHO: [&[u8]; 3] = [b"\x1DIB", b"\x1DIC", b"\x1DID"];

#[tokio::test(start_paused = true)]
async fn each_of_two_callers_hears_who_it_is_once_and_in_its_turn() {
    let galley = galley();
    let (mut first, mut second) = (connect(&galley).await, connect(&galley).await);
    second.write_all(WHO[1]).await.unwrap();
    assert_eq!(answer(&mut first, WHO[0], 10).await, b"_dawnslip\0");
    assert_eq!(answer(&mut first, WHO[1], 8).await, b"_galley\0");
    assert_eq!(answer(&mut first, WHO[2], 1).await, b"", "it has no other names");
    assert_eq!(answer(&mut second, b"", 1).await, b"", "it is not its turn");
    drop(first);
    assert_eq!(answer(&mut second, b"", 8).await, b"_galley\0");
    assert_eq!(answer(&mut second, b"", 1).await, b"", "once");
}

#[tokio::test(start_paused = true)]
async fn an_answer_that_comes_late_goes_to_whoever_is_connected_then() {
    // As with a real head: it works off what it has read and says it to the line that is open.
    let galley = galley();
    galley.set_fault(Fault::CoverOpen);
    let mut first = connect(&galley).await;
    assert_eq!(answer(&mut first, WHO[1], 1).await, b"", "a head that halts works nothing off");
    drop(first);
    let mut second = connect(&galley).await;
    assert_eq!(answer(&mut second, b"\x10\x04\x01", 1).await.len(), 1, "its own question out of turn");
    galley.mend();
    assert_eq!(answer(&mut second, b"", 8).await, b"_galley\0");
}

#[tokio::test(start_paused = true)]
async fn status_is_answered_out_of_turn_while_the_paper_is_out() {
    let galley = galley();
    galley.set_fault(Fault::PaperOut { after_rows: 20 });
    let mut connection = connect(&galley).await;
    connection.write_all(b"one\ntwo\n").await.unwrap();
    galley.shared.wait_until(|state| state.wrong.paper_out()).await;
    for (n, expected) in [(1, 0x1A), (2, 0x32), (3, 0x12), (4, 0x7E)] {
        assert_eq!(answer(&mut connection, &[0x10, 4, n], 1).await, [expected], "{n}");
    }
    // In line nothing is answered before there is paper again.
    let question = [CUT, b"\x1Dr\x01\x1D(H\x06\x0000abcd"].concat();
    assert_eq!(answer(&mut connection, &question, 8).await, b"");
    assert!(galley.papers().is_empty());
    galley.load_paper();
    assert_eq!(answer(&mut connection, b"", 8).await, b"\0\x37\x22abcd\0");
    let papers = timeout(HOUR, galley.wait_for(1)).await.unwrap();
    assert_eq!((papers[0].text.as_str(), papers[0].rows), ("one\ntwo", 2 * 30 + 24));
    assert_eq!(papers[0].process_ids, [*b"abcd"]);
}

#[tokio::test(start_paused = true)]
async fn automatic_status_tells_of_every_change() {
    let galley = galley();
    let mut connection = connect(&galley).await;
    assert_eq!(answer(&mut connection, b"\x1Da\xFF", 4).await, [0x10, 0, 0, 0]);
    let cases: [(Fault, [u8; 4]); 6] = [
        (Fault::CoverOpen, [0x38, 0, 0, 0]),
        (Fault::PaperOut { after_rows: 0 }, [0x18, 0, 0x0F, 0]),
        (Fault::NearEnd, [0x10, 0, 0x03, 0]),
        (Fault::TooHot, [0x18, 0x40, 0, 0]),
        (Fault::Unrecoverable, [0x18, 0x20, 0, 0]),
        (Fault::CoverOpen, [0x38, 0, 0, 0]),
    ];
    for (fault, expected) in cases {
        galley.set_fault(fault);
        assert_eq!(answer(&mut connection, b"", 4).await, expected, "{fault:?}");
        galley.mend();
        assert_eq!(answer(&mut connection, b"", 4).await, [0x10, 0, 0, 0]);
    }
}

#[tokio::test(start_paused = true)]
async fn switching_off_loses_the_buffer_and_leaves_half_a_paper() {
    let galley = galley();
    galley.set_fault(Fault::PowerOffAfter { rows: 35 });
    let mut connection = connect(&galley).await;
    connection.write_all(b"first\nsecond\nthird\n").await.unwrap();
    galley.shared.wait_until(|state| state.wrong.off).await;
    assert_eq!(connection.read(&mut [0; 8]).await.unwrap(), 0);
    assert!(galley.net().connect("galley").await.is_err());
    galley.mend();
    let papers = print(&galley, CUT, 1).await;
    assert_eq!(papers[0].text, "first\nsecond");
    assert_eq!(papers[0].rows, 35 + 24);
}

#[tokio::test(start_paused = true)]
async fn a_slow_head_prints_at_its_speed() {
    let galley = Galley::offline(GalleyOptions { rows_a_second: Some(100), ..GalleyOptions::default() }).unwrap();
    let began = tokio::time::Instant::now();
    print(&galley, &[b"\x1BJ\xFF\x1BJ\xFF".as_slice(), CUT].concat(), 1).await;
    let seconds = began.elapsed().as_secs_f64();
    assert!((5.2..5.5).contains(&seconds), "534 rows took {seconds} s");
}

#[tokio::test(start_paused = true)]
async fn a_folder_holds_pictures_texts_and_a_page() {
    let folder = tempfile::tempdir().unwrap();
    let options = GalleyOptions { out_dir: Some(folder.path().into()), ..GalleyOptions::default() };
    let galley = Galley::offline(options).unwrap();
    let papers = print(&galley, &[b"a <b>\n".as_slice(), CUT, b"c\n\x1D\x99", CUT].concat(), 2).await;
    assert!(papers.iter().all(|paper| paper.file.as_ref().is_some_and(|file| file.exists())));
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    assert_eq!(read("paper-0001.txt"), "a <b>\n");
    assert_eq!(read("paper-0002.txt"), "c\n(note: unknown command 1D 99)\n");
    let page = read(folder::INDEX_FILE);
    assert!(page.contains("paper-0002.png") && page.contains("a &lt;b&gt;"));
}

#[tokio::test(start_paused = true)]
async fn whoever_tears_off_gets_what_was_not_cut() {
    let galley = Galley::offline(GalleyOptions { tear_at_close: true, ..GalleyOptions::default() }).unwrap();
    let papers = print_and_leave(&galley, b"no cut, no line end").await;
    assert_eq!((papers[0].text.as_str(), papers[0].cut), ("no cut, no line end", Cut::Torn));
}

async fn print_and_leave(galley: &Galley, bytes: &[u8]) -> Vec<Paper> {
    let mut connection = connect(galley).await;
    connection.write_all(bytes).await.unwrap();
    drop(connection);
    timeout(HOUR, galley.wait_for(1)).await.unwrap()
}

#[tokio::test(start_paused = true)]
async fn the_control_protocol_does_what_it_says() {
    let galley = galley();
    assert!(galley.obey("paper out").is_ok());
    assert!(galley.shared.lock().wrong.paper_out());
    assert!(galley.obey("  load   paper ").is_ok());
    assert!(!galley.shared.lock().wrong.halts());
    // Every line of the help is understood, with numbers where it says N.
    for line in control::LINES.lines() {
        let (form, _) = line.split_once("  ").unwrap();
        for words in form.split(" | ") {
            let long = words.replace(['[', ']'], "").replace('N', "7");
            assert!(galley.obey(&long).is_ok(), "{long}");
        }
        galley.mend();
    }
    assert!(galley.obey("paper out after many rows").unwrap_err().contains("not a number"));
    assert!(galley.obey("make coffee").unwrap_err().contains("not understood"));
}

#[test]
fn commands_are_read_in_any_pieces() {
    let bytes =
        b"\x1B@a\x10\x04\x02\x1Dv0\0\x01\0\x02\0\x10\x04\x1D(H\x06\x0000abcd\x1B*\x21\x01\0xyz\x1DVB\x03\x1D(Z\x02\0??";
    let expected = [
        Item::InLine(Command::Initialise, b"\x1B@".to_vec()),
        Item::InLine(Command::Letter(b'a'), b"a".to_vec()),
        Item::RealTime(RealTime::Status(2)),
        Item::InLine(
            Command::Raster { scale: 0, stride: 1, data: vec![0x10, 4] },
            b"\x1Dv0\0\x01\0\x02\0\x10\x04".to_vec(),
        ),
        Item::InLine(Command::ProcessId(*b"abcd"), b"\x1D(H\x06\x0000abcd".to_vec()),
        Item::InLine(Command::Strip { mode: 33, data: b"xyz".to_vec() }, b"\x1B*\x21\x01\0xyz".to_vec()),
        Item::InLine(Command::Cut { partial: true, feed: 3 }, b"\x1DVB\x03".to_vec()),
        Item::InLine(Command::Unknown(b"\x1D(Z\x02\0??".to_vec()), b"\x1D(Z\x02\0??".to_vec()),
    ];
    for size in 1..bytes.len() {
        let mut parser = Parser::default();
        let items: Vec<Item> = bytes.chunks(size).flat_map(|piece| parser.take(piece)).collect();
        assert_eq!(items, expected, "pieces of {size}");
    }
}

proptest! {
    #[test]
    fn any_bytes_are_taken_laid_out_and_never_crash(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let mut parser = Parser::default();
        let mut composer = composer::Composer::new(384);
        for item in parser.take(&bytes) {
            if let Item::InLine(command, raw) = item {
                prop_assert!(!raw.is_empty());
                composer.take(command);
            }
        }
        composer.finish();
    }

    #[test]
    fn commands_with_any_arguments_never_crash(
        commands in prop::collection::vec((any::<bool>(), any::<u8>(), any::<[u8; 6]>()), 0..60)
    ) {
        let mut parser = Parser::default();
        let mut composer = composer::Composer::new(576);
        for (group, kind, arguments) in commands {
            let head = [if group { 0x1D } else { 0x1B }, kind];
            for item in parser.take(&[head.as_slice(), &arguments, b"text\n"].concat()) {
                if let Item::InLine(command, _) = item {
                    composer.take(command);
                }
            }
        }
    }
}
