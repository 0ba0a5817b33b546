//! Lays commands out into rows of dots, as a head of this width would. Pure.

use super::codes;
use super::commands::Command;
use super::face::{Face, letter};
use super::picture::Picture;

/// The usual line height in dots (1/6 inch on many heads; some have 34).
const LINE_HEIGHT: usize = 30;
/// Usual height and module of bars.
const BARS: (usize, usize) = (162, 3);
/// Rows of the gap between the head and the cutter that a cut with feed passes.
const CUTTER_GAP: usize = 24;

/// What comes out of laying out one command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Out {
    /// A row of dots goes past the head.
    Row(Vec<u8>),
    /// Words that stand on the paper, one line.
    Words(String),
    /// The cutter moves.
    Cut {
        /// A bridge is left.
        partial: bool,
    },
    /// Automatic status is on or off.
    AutoStatus(bool),
    /// Answer the status in line.
    StatusInLine,
    /// Say this process id.
    ProcessId([u8; 4]),
    /// Say who you are: 66 maker, 67 model, others.
    WhoAreYou(u8),
    /// Something that a person should know about what came in.
    Note(String),
}

/// Everything that `1B 40` sets back.
#[derive(Debug, Clone)]
struct Style {
    page: u8,
    face: Face,
    bold: bool,
    underline: u8,
    inverse: bool,
    across: usize,
    down: usize,
    align: u8,
    line_height: Option<u8>,
    letter_space: usize,
    left: usize,
    width: Option<usize>,
    tabs: Vec<u8>,
    bar_height: usize,
    bar_module: usize,
    bar_letters: u8,
    qr_module: usize,
    qr_correction: u8,
}

impl Default for Style {
    fn default() -> Self {
        Self {
            page: 0,
            face: Face::A,
            bold: false,
            underline: 0,
            inverse: false,
            across: 1,
            down: 1,
            align: 0,
            line_height: None,
            letter_space: 0,
            left: 0,
            width: None,
            tabs: (1..=31).map(|n| n * 8).collect(),
            bar_height: BARS.0,
            bar_module: BARS.1,
            bar_letters: 0,
            qr_module: 3,
            qr_correction: 48,
        }
    }
}

/// The layout of one head.
#[derive(Debug)]
pub struct Composer {
    dots: usize,
    style: Style,
    line: Vec<(usize, Picture)>,
    /// Where the next letter of the line begins, and the end of what stands in it.
    x: usize,
    words: String,
    qr_data: Vec<u8>,
    kept: Option<Picture>,
    /// Rows of picture since the last words: told once, not per band.
    picture_rows: usize,
}

impl Composer {
    /// For a head of so many dots.
    pub fn new(dots: usize) -> Self {
        Self {
            dots,
            style: Style::default(),
            line: Vec::new(),
            x: 0,
            words: String::new(),
            qr_data: Vec::new(),
            kept: None,
            picture_rows: 0,
        }
    }

    /// Lays out one command.
    pub fn take(&mut self, command: Command) -> Vec<Out> {
        let mut out = Vec::new();
        if self.change_style(&command) {
            return out;
        }
        match command {
            Command::Letter(byte) => self.write_letter(byte, &mut out),
            Command::LineFeed => self.end_line(&mut out),
            Command::Tab => {
                let column = self.style.face.cell().0;
                let next = self.style.tabs.iter().map(|stop| usize::from(*stop) * column).find(|stop| *stop > self.x);
                if let Some(next) = next.filter(|next| *next < self.area()) {
                    self.pad_words(next);
                    self.x = next;
                }
            }
            Command::Initialise => {
                self.style = Style::default();
                self.line.clear();
                self.words.clear();
                self.x = 0;
            }
            Command::FeedDots(dots) => {
                self.flush(0, &mut out);
                self.feed(usize::from(dots), &mut out);
            }
            Command::FeedLines(lines) => {
                self.flush(0, &mut out);
                self.feed(usize::from(lines) * self.line_height(), &mut out);
            }
            Command::MoveTo(x) => {
                self.pad_words(usize::from(x));
                self.x = usize::from(x);
            }
            Command::MoveBy(dots) => self.x = self.x.saturating_add_signed(isize::from(dots)),
            Command::Raster { scale, stride, data } => self.raster(scale, stride, &data, &mut out),
            Command::Strip { mode, data } => self.strip(mode, &data, &mut out),
            Command::KeepRaster { scale, width, data } => {
                let mut picture = Picture::new(width);
                data.chunks(width.div_ceil(8).max(1)).for_each(|row| picture.push_row(row));
                let (across, down) = (usize::from(scale.0.clamp(1, 2)), usize::from(scale.1.clamp(1, 2)));
                let mut large = Picture::white(width * across, picture.height() * down);
                large.draw(&picture, 0, 0, across, down);
                self.kept = Some(large);
            }
            Command::PrintKept => match self.kept.take() {
                Some(picture) => self.print_picture(&picture, &mut out),
                None => out.push(Out::Note("there is no kept picture to print".into())),
            },
            Command::QrKeep(data) => self.qr_data = data,
            Command::QrPrint => self.print_qr(&mut out),
            Command::Bars { system, data } => self.print_bars(system, &data, &mut out),
            Command::Cut { partial, feed } => {
                self.flush(0, &mut out);
                self.tell_pictures(&mut out);
                self.feed(usize::from(feed) + CUTTER_GAP, &mut out);
                out.push(Out::Cut { partial });
            }
            Command::AutoStatus(kinds) => out.push(Out::AutoStatus(kinds != 0)),
            Command::StatusInLine(_) => out.push(Out::StatusInLine),
            Command::ProcessId(id) => out.push(Out::ProcessId(id)),
            Command::WhoAreYou(n) => out.push(Out::WhoAreYou(n)),
            Command::Unknown(bytes) => {
                let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
                out.push(Out::Note(format!("unknown command {}", hex.join(" "))));
            }
            _ => {}
        }
        out
    }

    /// Ends the paper that is in the head: the line begun, and what pictures there were.
    pub fn finish(&mut self) -> Vec<Out> {
        let mut out = Vec::new();
        self.flush(0, &mut out);
        self.tell_pictures(&mut out);
        out
    }

    /// Commands that only change how later ones look.
    fn change_style(&mut self, command: &Command) -> bool {
        let style = &mut self.style;
        match *command {
            Command::Nothing => {}
            Command::CodePage(page) => style.page = page,
            Command::Mode(mode) => {
                style.face = if mode & 1 == 1 { Face::B } else { Face::A };
                style.bold = mode & 8 != 0;
                style.down = if mode & 16 != 0 { 2 } else { 1 };
                style.across = if mode & 32 != 0 { 2 } else { 1 };
                style.underline = u8::from(mode & 128 != 0);
            }
            Command::Bold(bold) => style.bold = bold,
            Command::Underline(dots) => style.underline = dots,
            Command::Font(font) => style.face = if font == 1 { Face::B } else { Face::A },
            Command::Size(size) => {
                style.across = usize::from((size >> 4) & 7) + 1;
                style.down = usize::from(size & 7) + 1;
            }
            Command::Inverse(inverse) => style.inverse = inverse,
            Command::Align(align) => style.align = align,
            Command::LineHeight(height) => style.line_height = height,
            Command::LetterSpace(dots) => style.letter_space = usize::from(dots),
            Command::LeftMargin(dots) => style.left = usize::from(dots).min(self.dots.saturating_sub(8)),
            Command::AreaWidth(dots) => style.width = Some(usize::from(dots)),
            Command::TabStops(ref stops) => style.tabs.clone_from(stops),
            Command::QrModule(dots) => style.qr_module = usize::from(dots),
            Command::QrCorrection(level) => style.qr_correction = level,
            Command::BarHeight(dots) => style.bar_height = usize::from(dots),
            Command::BarWidth(dots) => style.bar_module = usize::from(dots),
            Command::BarLetters(place) => style.bar_letters = place,
            _ => return false,
        }
        true
    }

    /// Dots between the margins.
    fn area(&self) -> usize {
        let room = self.dots - self.style.left.min(self.dots);
        self.style.width.map_or(room, |width| width.min(room))
    }

    fn line_height(&self) -> usize {
        self.style.line_height.map_or(LINE_HEIGHT, usize::from)
    }

    fn write_letter(&mut self, byte: u8, out: &mut Vec<Out>) {
        let (character, page_is_known) = letter(self.style.page, byte);
        if !page_is_known {
            out.push(Out::Note(format!("code page {} is unknown here; page 0 was used", self.style.page)));
        }
        let Style { face, across, down, bold, underline, inverse, letter_space, .. } = self.style;
        let (width, height) = face.cell();
        let advance = (width + letter_space) * across;
        if self.x + width * across > self.area() {
            self.end_line(out);
        }
        let mut cell = Picture::white(advance, height * down);
        let glyph = face.draw(character);
        cell.draw(&glyph, 0, 0, across, down);
        if bold {
            cell.draw(&glyph, 1, 0, across, down);
        }
        if underline > 0 {
            cell.fill(0, height * down - usize::from(underline), advance, usize::from(underline));
        }
        if inverse {
            cell.invert(0, 0, advance, height * down);
        }
        self.line.push((self.x, cell));
        self.x += advance;
        self.words.push(character);
    }

    /// Spaces in the text for a gap on the paper.
    fn pad_words(&mut self, x: usize) {
        let column = self.style.face.cell().0;
        let gap = x.saturating_sub(self.x) / column;
        self.words.extend(std::iter::repeat_n(' ', gap));
    }

    fn end_line(&mut self, out: &mut Vec<Out>) {
        if self.line.is_empty() {
            self.tell_pictures(out);
            out.push(Out::Words(String::new()));
        }
        let height = self.line_height();
        self.flush(height, out);
    }

    /// Prints the line, at least `least` rows high.
    fn flush(&mut self, least: usize, out: &mut Vec<Out>) {
        let line = std::mem::take(&mut self.line);
        let tallest = line.iter().map(|(_, part)| part.height()).max().unwrap_or(0);
        let end = std::mem::take(&mut self.x);
        let indent = self.indent(end);
        let mut rows = Picture::white(self.dots, tallest.max(least));
        for (x, part) in &line {
            // Letters of different heights stand on one base.
            rows.draw(part, indent + x, tallest - part.height(), 1, 1);
        }
        let words = std::mem::take(&mut self.words);
        if !line.is_empty() && !words.is_empty() {
            self.tell_pictures(out);
            let column = self.style.face.cell().0;
            let shift = " ".repeat(if self.style.align == 0 { 0 } else { indent / column });
            out.push(Out::Words(format!("{shift}{words}").trim_end().to_owned()));
        }
        push_rows(&rows, out);
    }

    fn indent(&self, width: usize) -> usize {
        let free = self.area().saturating_sub(width);
        self.style.left
            + match self.style.align {
                1 => free / 2,
                2 => free,
                _ => 0,
            }
    }

    fn feed(&self, rows: usize, out: &mut Vec<Out>) {
        push_rows(&Picture::white(self.dots, rows), out);
    }

    fn raster(&mut self, scale: u8, stride: usize, data: &[u8], out: &mut Vec<Out>) {
        let (across, down) = (1 + usize::from(scale & 1), 1 + usize::from(scale >> 1 & 1));
        if stride * 8 * across > self.dots + 7 {
            let note = format!("a picture of {} dots is wider than the head's {}", stride * 8 * across, self.dots);
            out.push(Out::Note(note));
        }
        // Some heads obey these two bytes even in the middle of a picture (PAPER 2).
        if data.windows(2).any(|pair| matches!(pair, [0x10, 0x04 | 0x14])) {
            out.push(Out::Note("picture data hold 10 04 or 10 14, a real-time command on some heads".into()));
        }
        if stride == 0 {
            return;
        }
        let mut picture = Picture::new(stride * 8);
        data.chunks(stride).for_each(|row| picture.push_row(row));
        if (across, down) == (1, 1) {
            return self.print_picture(&picture, out);
        }
        let mut large = Picture::white(picture.width() * across, picture.height() * down);
        large.draw(&picture, 0, 0, across, down);
        self.print_picture(&large, out);
    }

    fn strip(&mut self, mode: u8, data: &[u8], out: &mut Vec<Out>) {
        let (bytes, height_scale) = match mode {
            0 | 1 => (1, 3),
            32 | 33 => (3, 1),
            _ => return out.push(Out::Note(format!("strip mode {mode} is unknown"))),
        };
        let width_scale = if mode & 1 == 0 { 2 } else { 1 };
        let columns = data.len() / bytes;
        let mut picture = Picture::white(columns, bytes * 8);
        for (x, column) in data.chunks_exact(bytes).enumerate() {
            for y in (0..bytes * 8).filter(|y| column[y / 8] & (0x80 >> (y % 8)) != 0) {
                picture.set(x, y);
            }
        }
        let mut large = Picture::white(columns * width_scale, bytes * 8 * height_scale);
        large.draw(&picture, 0, 0, width_scale, height_scale);
        self.picture_rows += large.height();
        self.x += large.width();
        self.line.push((self.x - large.width(), large));
    }

    fn print_picture(&mut self, picture: &Picture, out: &mut Vec<Out>) {
        self.flush(0, out);
        self.picture_rows += picture.height();
        let indent = self.indent(picture.width());
        if indent == 0 {
            let mut fitted = Picture::new(self.dots);
            (0..picture.height()).for_each(|y| fitted.push_row(picture.row(y)));
            return push_rows(&fitted, out);
        }
        let mut rows = Picture::white(self.dots, picture.height());
        rows.draw(picture, indent, 0, 1, 1);
        push_rows(&rows, out);
    }

    fn print_qr(&mut self, out: &mut Vec<Out>) {
        let data = self.qr_data.clone();
        let Some(code) = codes::qr(&data, self.style.qr_correction, self.style.qr_module) else {
            return out.push(Out::Note(format!("{} bytes do not fit into a QR code", data.len())));
        };
        self.print_code(&code, &format!("[QR: {}]", String::from_utf8_lossy(&data)), out);
    }

    fn print_bars(&mut self, system: u8, data: &[u8], out: &mut Vec<Out>) {
        if system != 73 {
            return out.push(Out::Note(format!("bar code system {system} is not drawn here, only Code 128 (73)")));
        }
        let Some((bars, text)) = codes::code128(data, self.style.bar_module, self.style.bar_height) else {
            return out.push(Out::Note("the data are no Code 128".into()));
        };
        if bars.width() > self.area() {
            return out.push(Out::Note(format!("bars of {} dots are wider than the paper", bars.width())));
        }
        let place = self.style.bar_letters;
        if place & 1 == 1 {
            self.print_letters(&text, out);
        }
        self.print_code(&bars, &format!("[Code 128: {text}]"), out);
        if place & 2 == 2 {
            self.print_letters(&text, out);
        }
    }

    fn print_code(&mut self, code: &Picture, words: &str, out: &mut Vec<Out>) {
        self.flush(0, out);
        self.tell_pictures(out);
        out.push(Out::Words(words.to_owned()));
        self.print_picture(code, out);
        self.picture_rows = 0;
    }

    /// The letters beside bars: one line, whose words are told with the bars already.
    fn print_letters(&mut self, text: &str, out: &mut Vec<Out>) {
        self.flush(0, out);
        text.bytes().for_each(|byte| self.write_letter(byte, out));
        self.words.clear();
        self.flush(0, out);
    }

    /// One line for all bands of picture that followed each other.
    fn tell_pictures(&mut self, out: &mut Vec<Out>) {
        let rows = std::mem::take(&mut self.picture_rows);
        if rows > 0 {
            out.push(Out::Words(format!("[picture, {rows} rows]")));
        }
    }
}

fn push_rows(picture: &Picture, out: &mut Vec<Out>) {
    out.extend((0..picture.height()).map(|y| Out::Row(picture.row(y).to_vec())));
}
