//! The simulated printer: reads the bytes, prints whole papers into its tray, says how it is,
//! returns process ids, and fails in the ways in which printers fail.

use super::dice::Dice;
use dawnslip::model::JobId;
use std::collections::VecDeque;

/// Longest piece that it takes at once: so a paper can be cut off anywhere.
const TAKES_MAX: u64 = 60;

/// A whole paper in the tray.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    pub job: JobId,
    /// What it is about, as JSON.
    pub subject: String,
    /// It carries COPY.
    pub copy: bool,
}

/// The lines of a paper: the first says what it is, the last that it is whole.
pub fn lines_of(sheet: &Sheet) -> String {
    let mark = if sheet.copy { "COPY" } else { "-" };
    format!("begin {} {mark} {}\nthanks\nend\n", sheet.job.0, sheet.subject)
}

/// The bytes of a paper.
pub fn bytes_of(sheet: &Sheet) -> Vec<u8> {
    [b"\x1B@".as_slice(), lines_of(sheet).as_bytes(), b"\x1DVB\0"].concat()
}

/// The connection is gone.
pub struct Broken;

pub struct Head {
    /// Switched on.
    pub on: bool,
    /// There is paper.
    pub paper: bool,
    /// It answers nothing, though it prints.
    pub mute: bool,
    /// It takes no bytes.
    pub stalled: bool,
    /// The connection breaks after so many more bytes of papers.
    pub breaks_after: Option<u64>,
    /// The connection breaks just before it would return a process id.
    pub breaks_before_answer: bool,
    connected: bool,
    taken: VecDeque<u8>,
    page: String,
    answers: Vec<u8>,
    /// Whole papers, in the order in which they fell.
    pub tray: Vec<Sheet>,
    /// Half papers.
    pub scraps: usize,
}

impl Head {
    pub fn new() -> Self {
        Self {
            on: true,
            paper: true,
            mute: false,
            stalled: false,
            breaks_after: None,
            breaks_before_answer: false,
            connected: false,
            taken: VecDeque::new(),
            page: String::new(),
            answers: Vec::new(),
            tray: Vec::new(),
            scraps: 0,
        }
    }

    /// Someone sees to it: everything works again.
    pub fn mend(&mut self) {
        (self.on, self.paper, self.mute, self.stalled) = (true, true, false, false);
        (self.breaks_after, self.breaks_before_answer) = (None, false);
    }

    /// Someone pulls the plug: what it had taken and not printed is gone.
    pub fn power_off(&mut self) {
        self.on = false;
        self.connected = false;
        self.taken.clear();
        self.answers.clear();
        self.throw_away_half();
    }

    fn throw_away_half(&mut self) {
        if !self.page.is_empty() {
            self.page.clear();
            self.scraps += 1;
        }
    }

    pub fn connect(&mut self) -> bool {
        self.connected = self.on;
        self.on
    }

    pub fn disconnect(&mut self) {
        self.connected = false;
    }

    /// What it says, if it says something now.
    pub fn read(&mut self) -> Result<Option<Vec<u8>>, Broken> {
        if !self.connected {
            return Err(Broken);
        }
        if self.answers.is_empty() || self.mute {
            return Ok(None);
        }
        if self.breaks_before_answer && self.answers.contains(&0x37) {
            self.breaks_before_answer = false;
            self.connected = false;
            // The answer was on its way, and is lost.
            self.answers.clear();
            return Err(Broken);
        }
        Ok(Some(std::mem::take(&mut self.answers)))
    }

    /// Takes some of the bytes; 0 if it takes none now.
    pub fn write(&mut self, bytes: &[u8], dice: &mut Dice) -> Result<usize, Broken> {
        if !self.connected {
            return Err(Broken);
        }
        if bytes.is_empty() || self.stalled {
            return Ok(0);
        }
        if bytes[0] == 0x10 {
            // Real-time questions are read out of turn.
            for question in bytes.chunks(3).filter(|question| question.len() == 3 && question[1] == 4) {
                self.answer_real_time(question[2]);
            }
            return Ok(bytes.len());
        }
        // Padding goes fast; everything else in pieces.
        let most = if bytes.iter().all(|byte| *byte == 0) { u64::MAX } else { dice.between(1, TAKES_MAX) };
        let mut count = (bytes.len() as u64).min(most);
        if let Some(left) = self.breaks_after {
            count = count.min(left);
            self.breaks_after = Some(left - count);
            if left == 0 {
                self.breaks_after = None;
                self.connected = false;
                return Err(Broken);
            }
        }
        self.taken.extend(&bytes[..count as usize]);
        Ok(count as usize)
    }

    /// Real-time status (bit patterns as in `print::answers`): always well, but for the paper.
    fn answer_real_time(&mut self, n: u8) {
        let is_out = !self.paper;
        self.answers.push(match n {
            1 if is_out => 0x12 | 0x08,
            2 if is_out => 0x12 | 0x20,
            4 if is_out => 0x12 | 0x60,
            _ => 0x12,
        });
    }

    /// Works off a few commands of what it has taken.
    pub fn work(&mut self, commands: u64) {
        for _ in 0..commands {
            if !self.on || !self.paper || !self.command() {
                return;
            }
        }
    }

    /// How many bytes of padding lie before the next command, and its own length if all of it has come.
    fn next_command(&self) -> (usize, Option<usize>) {
        let padding = self.taken.iter().take_while(|byte| **byte == 0).count();
        let at = |n: usize| self.taken.get(padding + n).copied();
        let length = match (at(0), at(1)) {
            (None, _) | (Some(0x1B | 0x1D), None) => return (padding, None),
            (Some(0x1B), Some(0x40)) => 2,
            (Some(0x1B), Some(0x64)) | (Some(0x1D), Some(0x61)) => 3,
            (Some(0x1D), Some(0x56)) => match at(2) {
                None => return (padding, None),
                Some(0x42) => 4,
                Some(_) => 3,
            },
            (Some(0x1D), Some(0x28)) => 11,
            (Some(0x1B | 0x1D), Some(_)) => 2,
            (Some(_), _) => {
                let text = self.taken.iter().skip(padding).position(|byte| *byte < 0x20);
                let Some(end) = text else { return (padding, None) };
                if self.taken[padding + end] == b'\n' { end + 1 } else { end.max(1) }
            }
        };
        (padding, (self.taken.len() >= padding + length).then_some(length))
    }

    /// Does the next command; false if the rest of it has not come yet.
    fn command(&mut self) -> bool {
        let (padding, length) = self.next_command();
        self.taken.drain(..padding);
        let Some(length) = length else { return false };
        let command: Vec<u8> = self.taken.drain(..length).collect();
        match command.as_slice() {
            [0x1D, 0x56, ..] => self.cut(),
            [0x1D, 0x28, 0x48, _, _, _, _, id @ ..] => {
                self.answers.extend([0x37, 0x22]);
                self.answers.extend(id);
                self.answers.push(0);
            }
            [0x1B | 0x1D, ..] => {}
            text => self.page.push_str(&String::from_utf8_lossy(text)),
        }
        true
    }

    fn cut(&mut self) {
        let page = std::mem::take(&mut self.page);
        let before = self.tray.len();
        let mut begun: Option<Sheet> = None;
        for line in page.lines() {
            // Behind half a paper that nobody cut off, another may begin on the same sheet, and on the same line.
            if let Some(at) = line.rfind("begin ") {
                begun = read_first_line(&line[at..]);
            } else if line == "end" {
                self.tray.extend(begun.take());
            }
        }
        self.scraps += usize::from(self.tray.len() == before);
    }

    /// Anything still to be printed? Half a command, whose connection broke, waits for the next paper.
    pub fn is_busy(&self) -> bool {
        self.next_command().1.is_some()
    }
}

fn read_first_line(line: &str) -> Option<Sheet> {
    let mut words = line.splitn(4, ' ').skip(1);
    let job = JobId(words.next()?.parse().ok()?);
    let copy = words.next()? == "COPY";
    Some(Sheet { job, subject: words.next()?.to_owned(), copy })
}
