//! The galley draws what two independent generators send (PyPI python-escpos 3.1, npm
//! @point-of-sale/receipt-printer-encoder 4.0.1; tests/outside/foreign_bytes.{py,mjs} made the samples),
//! and an independent decoder reads their codes.

use dawnslip::print::galley::{Galley, GalleyOptions, Paper, Picture, contact_sheet};
use std::time::Duration;
use tokio::io::AsyncWriteExt;

const SAMPLE: &[u8] = include_bytes!("outside/foreign_bytes.bin");

const SECOND_SAMPLE: &[u8] = include_bytes!("outside/foreign_bytes_npm.bin");

async fn draw(sample: &[u8], options: GalleyOptions) -> Paper {
    let galley = Galley::offline(options).unwrap();
    let mut connection = galley.net().connect("galley").await.unwrap();
    connection.write_all(sample).await.unwrap();
    let papers = tokio::time::timeout(Duration::from_secs(60), galley.wait_for(1)).await.unwrap();
    papers[0].clone()
}

#[tokio::test]
async fn foreign_bytes_are_drawn_and_read() {
    let out_dir = std::env::var_os("DAWNSLIP_GALLEY_OUT").map(Into::into);
    let paper = draw(SAMPLE, GalleyOptions { out_dir, ..GalleyOptions::default() }).await;
    if let Some(file) = &paper.file {
        let sheet = contact_sheet(&[&paper.png[..]; 8]).unwrap();
        std::fs::write(file.with_file_name("sheet.png"), sheet).unwrap();
    }
    let expected = [
        "          Tern & Thistle",
        "plain: 2 x Mug, tide grey",
        "Zoë Ångström, Łódź, ½ £5",
        "underlined",
        "white on black",
        "small face, 64 letters a line",
        "                                    at the right",
        "[QR: S-442]",
        "[Code 128: S-442/1]",
        "bitImageRaster",
        "[picture, 60 rows]",
        "graphics",
        "[picture, 60 rows]",
        "bitImageColumn",
    ];
    let lines: Vec<&str> = paper.text.lines().filter(|line| !line.is_empty()).collect();
    assert_eq!(lines[..expected.len()], expected, "notes: {:?}", paper.notes);
    assert_eq!(paper.notes, Vec::<String>::new());
}

#[tokio::test]
async fn the_code_on_the_picture_is_read_by_an_independent_decoder() {
    for (sample, number) in [(SAMPLE, "S-442"), (SECOND_SAMPLE, "S-443")] {
        let paper = draw(sample, GalleyOptions::default()).await;
        assert_eq!(qr_of(&paper), number);
    }
}

#[tokio::test]
async fn a_second_generators_bytes_are_drawn() {
    let paper = draw(SECOND_SAMPLE, GalleyOptions::default()).await;
    let lines: Vec<&str> = paper.text.lines().filter(|line| !line.is_empty()).collect();
    let expected = [
        "          Tern & Thistle",
        "2 x Mug, tide grey, for Zoë",
        "underlined",
        "white on black",
        "Bowl           24.50",
        "Tin             9.80",
        "────────────────────────────────────────────────",
        "[QR: S-443]",
        "[Code 128: S-443/1]",
        "the end",
    ];
    assert_eq!(lines, expected, "notes: {:?}", paper.notes);
    assert_eq!(paper.notes, Vec::<String>::new());
}

fn qr_of(paper: &Paper) -> String {
    let picture = Picture::from_png(&paper.png).unwrap();
    let gray = |x: usize, y: usize| if picture.is_black(x, y) { 0 } else { 255 };
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(picture.width(), picture.height(), gray);
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1);
    grids[0].decode().unwrap().1
}
