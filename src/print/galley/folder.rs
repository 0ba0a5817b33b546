//! A galley on disk: a folder of pictures, texts, and one page to leaf through.

use super::state::Paper;
use jiff::Timestamp;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The page to leaf through.
pub const INDEX_FILE: &str = "index.html";

/// All papers on one picture.
pub const SHEET_FILE: &str = "sheet.png";

/// Begins each paper of the page; the words within are escaped.
const ARTICLE: &str = "<article>";

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
        "{ARTICLE}<h2>{}</h2><p>{} rows, {:?}</p><img src=\"{stem}.png\" alt=\"paper {}\" loading=\"lazy\">\
         <details><summary>text</summary><pre>{}</pre></details></article>",
        paper.number,
        paper.rows,
        paper.cut,
        paper.number,
        escaped(&text_of(paper))
    )?;
    Ok(picture)
}

/// Removes pictures and texts that were written before `before`, also from the page, and a sheet of
/// all papers that is as old; they show names and addresses. Says how many papers went.
///
/// # Errors
/// The system's; what could not be removed is tried again the next time.
pub fn remove_older(folder: &Path, before: Timestamp) -> io::Result<usize> {
    let mut removed = 0;
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let is_paper = name.starts_with("paper-") && (name.ends_with(".png") || name.ends_with(".txt"));
        if (is_paper || name == SHEET_FILE) && is_older(&entry, before)? {
            fs::remove_file(entry.path())?;
            removed += usize::from(is_paper && name.ends_with(".png"));
        }
    }
    let index = folder.join(INDEX_FILE);
    if removed > 0 && index.exists() {
        let page = fs::read_to_string(&index)?;
        let shown = |article: &&str| {
            let picture = article.split_once("src=\"").and_then(|(_, rest)| rest.split_once('"'));
            picture.is_some_and(|(name, _)| folder.join(name).exists())
        };
        let articles = page.split(ARTICLE).skip(1).filter(shown);
        let kept: String = articles.map(|article| format!("{ARTICLE}{article}")).collect();
        fs::write(&index, format!("{HEAD}{kept}"))?;
    }
    Ok(removed)
}

fn is_older(entry: &fs::DirEntry, before: Timestamp) -> io::Result<bool> {
    let modified = Timestamp::try_from(entry.metadata()?.modified()?);
    Ok(modified.is_ok_and(|modified| modified < before))
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::{Duration, SystemTime};

    #[test]
    fn old_pictures_go_with_their_words_and_young_ones_stay() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let now = SystemTime::now();
        let old = now - Duration::from_secs(3 * 86_400);
        for (number, written) in [(1, old), (2, now)] {
            for end in ["png", "txt"] {
                let file = fs::File::create(at(&format!("paper-{number:04}.{end}"))).unwrap();
                file.set_modified(written).unwrap();
            }
        }
        fs::write(at("notes.txt"), "mine").unwrap();
        fs::File::open(at("notes.txt")).unwrap().set_modified(old).unwrap();
        let article = |n: u32| format!("{ARTICLE}<img src=\"paper-{n:04}.png\"><pre>\nZoë {n}\n</pre></article>\n");
        fs::write(at(INDEX_FILE), format!("{HEAD}{}{}", article(1), article(2))).unwrap();
        let before = Timestamp::try_from(now - Duration::from_secs(86_400)).unwrap();
        assert_eq!(remove_older(folder.path(), before).unwrap(), 1);
        assert!(!at("paper-0001.png").exists() && !at("paper-0001.txt").exists());
        assert!(at("paper-0002.png").exists() && at("notes.txt").exists());
        assert_eq!(fs::read_to_string(at(INDEX_FILE)).unwrap(), format!("{HEAD}{}", article(2)));
        assert_eq!(remove_older(folder.path(), before).unwrap(), 0);
    }
}
