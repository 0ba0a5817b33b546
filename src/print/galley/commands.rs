//! Splits what comes in into commands, by the public ESC/POS references (PAPER 2 and, for the
//! rest of the common set, from memory). Written apart from our encoder on purpose: it is the
//! independent eye. Pure, never fails: what it does not know it reports.

/// Larger pictures are not drawn; their head is reported and passed over.
pub const PICTURE_BYTES_MAX: usize = 8 * 1024 * 1024;
/// Most stops of `1B 44`.
const TAB_STOPS_MAX: usize = 32;
/// Longest data of a bar code that ends with NUL.
const BARS_BYTES_MAX: usize = 255;

/// A command that stands in line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// A letter in the current code page.
    Letter(u8),
    /// Print the line, and feed.
    LineFeed,
    /// To the next tab stop.
    Tab,
    /// Has no effect on paper (carriage return, NUL, drawer, beeper, …).
    Nothing,
    /// Back to how it was when switched on.
    Initialise,
    /// Code page.
    CodePage(u8),
    /// Font, bold, double height and width, underline in one byte.
    Mode(u8),
    /// Bold.
    Bold(bool),
    /// Thickness of the underline.
    Underline(u8),
    /// Font A (0), B (1).
    Font(u8),
    /// Magnification: columns in the high, rows in the low half.
    Size(u8),
    /// White on black.
    Inverse(bool),
    /// 0 left, 1 centre, 2 right.
    Align(u8),
    /// Line height in dots; `None` for the usual.
    LineHeight(Option<u8>),
    /// Extra dots right of each letter.
    LetterSpace(u8),
    /// Print the line, feed dots.
    FeedDots(u8),
    /// Print the line, feed lines.
    FeedLines(u8),
    /// To a column of dots from the left margin.
    MoveTo(u16),
    /// By dots; negative to the left.
    MoveBy(i16),
    /// Left margin in dots.
    LeftMargin(u16),
    /// Width of the printing area in dots.
    AreaWidth(u16),
    /// Tab stops in letters.
    TabStops(Vec<u8>),
    /// A picture row by row.
    Raster {
        /// Bit 0 doubles the width, bit 1 the height.
        scale: u8,
        /// Bytes a row.
        stride: usize,
        /// The rows.
        data: Vec<u8>,
    },
    /// A strip of columns (`1B 2A`), in line with text.
    Strip {
        /// 0, 1: 8 dots high; 32, 33: 24 dots. Even ones are half as dense across.
        mode: u8,
        /// Column by column.
        data: Vec<u8>,
    },
    /// A raster kept for [`Command::PrintKept`].
    KeepRaster {
        /// Enlarged so many times across and down.
        scale: (u8, u8),
        /// Dots across.
        width: usize,
        /// The rows.
        data: Vec<u8>,
    },
    /// Print the kept raster.
    PrintKept,
    /// QR: dots a module.
    QrModule(u8),
    /// QR: error correction, 48 (L) to 51 (H).
    QrCorrection(u8),
    /// QR: data.
    QrKeep(Vec<u8>),
    /// QR: print.
    QrPrint,
    /// Bars: height in dots.
    BarHeight(u8),
    /// Bars: dots a module.
    BarWidth(u8),
    /// Bars: where the letters stand: bit 0 above, bit 1 below.
    BarLetters(u8),
    /// Bars of this system.
    Bars {
        /// 73 is Code 128.
        system: u8,
        /// As sent.
        data: Vec<u8>,
    },
    /// Cut, after feeding so many dots beyond the cutter.
    Cut {
        /// A bridge is left.
        partial: bool,
        /// Dots.
        feed: u8,
    },
    /// Automatic status: which kinds.
    AutoStatus(u8),
    /// Status in line.
    StatusInLine(u8),
    /// Say this once everything before is printed.
    ProcessId([u8; 4]),
    /// Who are you.
    WhoAreYou(u8),
    /// Unknown; its first bytes.
    Unknown(Vec<u8>),
}

impl Command {
    /// Does it put something on paper or prepare that (and not merely ask)?
    pub fn is_print(&self) -> bool {
        let asks =
            matches!(self, Self::AutoStatus(_) | Self::StatusInLine(_) | Self::ProcessId(_) | Self::WhoAreYou(_));
        !asks && !matches!(self, Self::Unknown(_))
    }
}

/// A command that is obeyed as it arrives, out of line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RealTime {
    /// `10 04 n`.
    Status(u8),
    /// `10 05 n`: 1 go on, 2 drop the buffer.
    Recover(u8),
    /// Others (drawer pulse, power off request): no effect here.
    Other,
}

/// One thing read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Item {
    /// In line, with its bytes.
    InLine(Command, Vec<u8>),
    /// Out of line.
    RealTime(RealTime),
}

/// Takes bytes as they come.
#[derive(Debug, Clone, Default)]
pub struct Parser {
    part: Vec<u8>,
}

impl Parser {
    /// Takes bytes; gives the items that became whole.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Item> {
        self.part.extend_from_slice(bytes);
        let mut items = Vec::new();
        let mut at = 0;
        while let Some((what, used)) = first_of(&self.part[at..]) {
            let raw = &self.part[at..at + used];
            items.push(match what {
                Read::Real(command) => Item::RealTime(command),
                Read::Line(command) => Item::InLine(command, raw.to_vec()),
            });
            at += used;
        }
        self.part.drain(..at);
        items
    }

    /// The connection has ended: half a real-time command is forgotten, since these never
    /// stand in the buffer; half of any other still waits for its end.
    pub fn cut_off(&mut self) {
        if self.part.first() == Some(&0x10) {
            self.part.clear();
        }
    }

    /// Bytes of a command that is not whole yet.
    pub fn pending(&self) -> usize {
        self.part.len()
    }
}

enum Read {
    Real(RealTime),
    Line(Command),
}

/// What the first bytes mean and how many they are; `None` if more must come.
fn first_of(part: &[u8]) -> Option<(Read, usize)> {
    let line = |command, used| Some((Read::Line(command), used));
    let &first = part.first()?;
    match first {
        0x10 => real_time(part),
        0x1B => escape(part).map(|(command, used)| (Read::Line(command), used)),
        0x1D => group(part).map(|(command, used)| (Read::Line(command), used)),
        // Kanji mode and page mode leave paper alone here; they are passed over with their argument.
        0x1C => {
            let second = *part.get(1)?;
            match second {
                b'&' | b'.' => line(Command::Nothing, 2),
                b'C' | b'!' | b'-' | b'W' => part.get(2).and_then(|_| line(Command::Nothing, 3)),
                _ => line(Command::Unknown(part[..2].to_vec()), 2),
            }
        }
        b'\n' | 0x0C => line(Command::LineFeed, 1),
        b'\t' => line(Command::Tab, 1),
        0x20..=0x7E | 0x80..=0xFF => line(Command::Letter(first), 1),
        _ => line(Command::Nothing, 1),
    }
}

fn real_time(part: &[u8]) -> Option<(Read, usize)> {
    let (used, command) = match (*part.get(1)?, part.get(2)) {
        (0x04, n) => (3, RealTime::Status(*n?)),
        (0x05, n) => (3, RealTime::Recover(*n?)),
        // Drawer pulse and sound carry two more bytes, clearing the buffer seven more.
        (0x14, n) => (if *n? == 8 { 10 } else { 5 }, RealTime::Other),
        _ => return Some((Read::Line(Command::Unknown(vec![0x10])), 1)),
    };
    part.get(used - 1)?;
    Some((Read::Real(command), used))
}

/// Two bytes, low first.
fn word(part: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes([*part.get(at)?, *part.get(at + 1)?]))
}

fn escape(part: &[u8]) -> Option<(Command, usize)> {
    let n = || part.get(2).copied();
    let is_on = |n: u8| n & 1 == 1;
    Some(match *part.get(1)? {
        b'@' => (Command::Initialise, 2),
        b'2' => (Command::LineHeight(None), 2),
        b'i' => (Command::Cut { partial: false, feed: 0 }, 2),
        b'm' => (Command::Cut { partial: true, feed: 0 }, 2),
        b't' => (Command::CodePage(n()?), 3),
        b'!' => (Command::Mode(n()?), 3),
        b'E' | b'G' => (Command::Bold(is_on(n()?)), 3),
        b'-' => (Command::Underline(n()? & 3), 3),
        b'M' => (Command::Font(n()? & 1), 3),
        b'a' => (Command::Align(n()? & 3), 3),
        b'3' => (Command::LineHeight(Some(n()?)), 3),
        b' ' => (Command::LetterSpace(n()?), 3),
        b'J' => (Command::FeedDots(n()?), 3),
        b'd' => (Command::FeedLines(n()?), 3),
        b'$' => (Command::MoveTo(word(part, 2)?), 4),
        b'\\' => (Command::MoveBy(word(part, 2)?.cast_signed()), 4),
        b'D' => tab_stops(part)?,
        b'*' => strip(part)?,
        // International letters, colour, panel buttons, upside down, turned, direction, sensors.
        b'R' | b'r' | b'=' | b'{' | b'V' | b'T' | b'K' | b'e' => (Command::Nothing, n().map(|_| 3)?),
        b'c' => (Command::Nothing, part.get(3).map(|_| 4)?),
        b'B' => (Command::Nothing, part.get(3).map(|_| 4)?),
        b'p' => (Command::Nothing, part.get(4).map(|_| 5)?),
        b'S' | b'L' | b'<' | 0x0C => (Command::Nothing, 2),
        _ => (Command::Unknown(part[..2].to_vec()), 2),
    })
}

fn tab_stops(part: &[u8]) -> Option<(Command, usize)> {
    let rest = &part[2..];
    match rest.iter().take(TAB_STOPS_MAX + 1).position(|byte| *byte == 0) {
        Some(end) => Some((Command::TabStops(rest[..end].to_vec()), 2 + end + 1)),
        None if rest.len() > TAB_STOPS_MAX => Some((Command::Unknown(part[..2].to_vec()), 2)),
        None => None,
    }
}

fn strip(part: &[u8]) -> Option<(Command, usize)> {
    let mode = *part.get(2)?;
    let columns = usize::from(word(part, 3)?);
    let size = if mode >= 32 { columns * 3 } else { columns };
    let data = part.get(5..5 + size)?.to_vec();
    Some((Command::Strip { mode, data }, 5 + size))
}

fn group(part: &[u8]) -> Option<(Command, usize)> {
    let n = || part.get(2).copied();
    Some(match *part.get(1)? {
        b'!' => (Command::Size(n()?), 3),
        b'B' => (Command::Inverse(n()? & 1 == 1), 3),
        b'L' => (Command::LeftMargin(word(part, 2)?), 4),
        b'W' => (Command::AreaWidth(word(part, 2)?), 4),
        b'h' => (Command::BarHeight(n()?), 3),
        b'w' => (Command::BarWidth(n()?), 3),
        b'H' => (Command::BarLetters(n()? & 3), 3),
        b'k' => bars(part)?,
        b'V' => cut(part)?,
        b'v' => raster(part)?,
        b'(' => long_group(part)?,
        b'8' => kept_long(part)?,
        b'a' => (Command::AutoStatus(n()?), 3),
        b'r' => (Command::StatusInLine(n()?), 3),
        b'I' => (Command::WhoAreYou(n()?), 3),
        b'P' => (Command::Nothing, part.get(3).map(|_| 4)?),
        // Letters' font, smoothing, macros, position of the first line.
        b'f' | b'b' | b'T' | b'j' => (Command::Nothing, n().map(|_| 3)?),
        _ => (Command::Unknown(part[..2].to_vec()), 2),
    })
}

fn cut(part: &[u8]) -> Option<(Command, usize)> {
    let kind = *part.get(2)?;
    let partial = matches!(kind, 1 | 49 | 66 | 98 | 104);
    match kind {
        0 | 1 | 48 | 49 => Some((Command::Cut { partial, feed: 0 }, 3)),
        65 | 66 | 97 | 98 | 103 | 104 => Some((Command::Cut { partial, feed: *part.get(3)? }, 4)),
        _ => Some((Command::Unknown(part[..3].to_vec()), 3)),
    }
}

fn raster(part: &[u8]) -> Option<(Command, usize)> {
    let scale = *part.get(3)?;
    let (stride, rows) = (usize::from(word(part, 4)?), usize::from(word(part, 6)?));
    let size = stride * rows;
    if part[2] != b'0' || size > PICTURE_BYTES_MAX {
        return Some((Command::Unknown(part[..8].to_vec()), 8));
    }
    let data = part.get(8..8 + size)?.to_vec();
    Some((Command::Raster { scale: scale & 3, stride, data }, 8 + size))
}

fn bars(part: &[u8]) -> Option<(Command, usize)> {
    let system = *part.get(2)?;
    if system >= 65 {
        let size = usize::from(*part.get(3)?);
        let data = part.get(4..4 + size)?.to_vec();
        return Some((Command::Bars { system, data }, 4 + size));
    }
    let rest = &part[3..];
    match rest.iter().take(BARS_BYTES_MAX + 1).position(|byte| *byte == 0) {
        // The two ways of writing name the same systems, 65 apart.
        Some(end) => Some((Command::Bars { system: system + 65, data: rest[..end].to_vec() }, 3 + end + 1)),
        None if rest.len() > BARS_BYTES_MAX => Some((Command::Unknown(part[..3].to_vec()), 3)),
        None => None,
    }
}

/// `1D 28 x pL pH …`: the length is always there, so unknown ones can be passed over whole.
fn long_group(part: &[u8]) -> Option<(Command, usize)> {
    let kind = *part.get(2)?;
    let size = usize::from(word(part, 3)?);
    let body = part.get(5..5 + size)?;
    let used = 5 + size;
    let unknown = || Command::Unknown(part[..used.min(8)].to_vec());
    let command = match (kind, body) {
        (b'H', [0x30, 0x30, a, b, c, d]) => Command::ProcessId([*a, *b, *c, *d]),
        (b'k', [0x31, 0x43, n]) => Command::QrModule(*n),
        (b'k', [0x31, 0x45, n]) => Command::QrCorrection(*n),
        (b'k', [0x31, 0x50, 0x30, data @ ..]) => Command::QrKeep(data.to_vec()),
        (b'k', [0x31, 0x51, 0x30]) => Command::QrPrint,
        (b'k', [0x31, 0x41, ..]) => Command::Nothing,
        (b'L', body) => kept(body).unwrap_or_else(unknown),
        _ => unknown(),
    };
    Some((command, used))
}

/// `1D 38 4C p1 p2 p3 p4 …`: the same with a four-byte length.
fn kept_long(part: &[u8]) -> Option<(Command, usize)> {
    let size = u32::from_le_bytes(part.get(3..7)?.try_into().ok()?);
    let size = usize::try_from(size).unwrap_or(usize::MAX);
    if part[2] != b'L' || size > PICTURE_BYTES_MAX {
        return Some((Command::Unknown(part[..7].to_vec()), 7));
    }
    let body = part.get(7..7 + size)?;
    Some((kept(body).unwrap_or_else(|| Command::Unknown(part[..7].to_vec())), 7 + size))
}

fn kept(body: &[u8]) -> Option<Command> {
    match body {
        [0x30, 2 | 50] => Some(Command::PrintKept),
        [0x30, 112, 48, across, down, _colour, x1, x2, y1, y2, data @ ..] => {
            let width = usize::from(u16::from_le_bytes([*x1, *x2]));
            let height = usize::from(u16::from_le_bytes([*y1, *y2]));
            (data.len() == width.div_ceil(8) * height).then(|| Command::KeepRaster {
                scale: (*across, *down),
                width,
                data: data.to_vec(),
            })
        }
        _ => None,
    }
}
