//! The galley draws what an independent generator sends (python-escpos 3.1;
//! tests/outside/foreign_bytes.py made the sample), and an independent decoder reads its codes.

use dawnslip::print::galley::{Galley, GalleyOptions, Paper, Picture, contact_sheet};
use std::time::Duration;
use tokio::io::AsyncWriteExt;

const SAMPLE: &[u8] = include_bytes!("outside/foreign_bytes.bin");

async fn draw(options: GalleyOptions) -> Paper {
    let galley = Galley::offline(options).unwrap();
    let mut connection = galley.net().connect("galley").await.unwrap();
    connection.write_all(SAMPLE).await.unwrap();
    let papers = tokio::time::timeout(Duration::from_secs(60), galley.wait_for(1)).await.unwrap();
    papers[0].clone()
}

#[tokio::test]
async fn foreign_bytes_are_drawn_and_read() {
    let out_dir = std::env::var_os("DAWNSLIP_GALLEY_OUT").map(Into::into);
    let paper = draw(GalleyOptions { out_dir, ..GalleyOptions::default() }).await;
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
    let paper = draw(GalleyOptions::default()).await;
    let picture = Picture::from_png(&paper.png).unwrap();
    let gray = |x: usize, y: usize| if picture.is_black(x, y) { 0 } else { 255 };
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(picture.width(), picture.height(), gray);
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1);
    assert_eq!(grids[0].decode().unwrap().1, "S-442");
}
