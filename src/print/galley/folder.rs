//! A galley on disk: a folder of pictures, texts, and one page to leaf through.

use super::state::Paper;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The page to leaf through.
pub const INDEX_FILE: &str = "index.html";

/// All papers on one picture.
pub const SHEET_FILE: &str = "sheet.png";

const HEAD: &str = "<!doctype html>\n<meta charset=\"utf-8\">\n<title>Papers</title>\n<style>\n\
body{background:#ddd;font:14px sans-serif;margin:2em}\n\
article{display:inline-block;vertical-align:top;margin:0 2em 2em 0;max-width:40em}\n\
img{box-shadow:0 2px 8px #888;display:block;max-width:100%}\n\
pre{white-space:pre-wrap;max-width:40em}\n</style>\n<h1>Papers</h1>\n";

/// Writes a paper's picture and text, and adds it to the page. Gives the picture's path.
///
/// # Errors
/// The system's, if a file cannot be written.
pub fn write_paper(folder: &Path, paper: &Paper) -> io::Result<PathBuf> {
    let stem = format!("paper-{:04}", paper.number);
    let picture = folder.join(format!("{stem}.png"));
    fs::write(&picture, &paper.png)?;
    fs::write(folder.join(format!("{stem}.txt")), text_of(paper))?;
    let index = folder.join(INDEX_FILE);
    let is_new = paper.number == 1 || !index.exists();
    let mut page = if is_new {
        let mut page = fs::File::create(&index)?;
        page.write_all(HEAD.as_bytes())?;
        page
    } else {
        fs::File::options().append(true).open(&index)?
    };
    writeln!(
        page,
        "<article><h2>{}</h2><p>{} rows, {:?}</p><img src=\"{stem}.png\" alt=\"paper {}\" loading=\"lazy\">\
         <details><summary>text</summary><pre>{}</pre></details></article>",
        paper.number,
        paper.rows,
        paper.cut,
        paper.number,
        escaped(&text_of(paper))
    )?;
    Ok(picture)
}

/// The words of a paper, and below them what was odd.
fn text_of(paper: &Paper) -> String {
    let mut text = format!("{}\n", paper.text);
    for note in &paper.notes {
        text.push_str(&format!("(note: {note})\n"));
    }
    text
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
