//! What can go wrong with a galley, on request, and how its status bytes tell of it.

/// A fault to inject.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The paper ends after so many more rows.
    PaperOut {
        /// 0: now.
        after_rows: u64,
    },
    /// The roll is near its end.
    NearEnd,
    /// The cover is open.
    CoverOpen,
    /// The cutter sticks at the next cut.
    CutterStuck,
    /// The head is too hot.
    TooHot,
    /// An error that only mending ends.
    Unrecoverable,
    /// Takes no more bytes.
    Stall,
    /// Ends the connection in an orderly way after so many more bytes.
    CloseAfter {
        /// 0: now.
        bytes: u64,
    },
    /// Resets the connection after so many more bytes.
    ResetAfter {
        /// 0: now.
        bytes: u64,
    },
    /// Off: what it had read is lost, nobody listens. What is printed stays in the slot.
    PowerOff,
    /// Off after so many more rows.
    PowerOffAfter {
        /// Rows.
        rows: u64,
    },
    /// Answers nothing at all.
    Silent,
    /// Answers no real-time status, but everything else.
    NoStatus,
    /// Answers no process ids and no status in line, but real-time status.
    NoConfirmation,
    /// Returns another process id than it was given.
    WrongId,
    /// Answers nonsense.
    Nonsense,
    /// Prints so many rows a second.
    Slow {
        /// At least 1.
        rows_a_second: u64,
    },
}

/// How an armed break ends the connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Break {
    Orderly,
    Reset,
}

/// Everything that is wrong at present.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Wrong {
    /// Rows until the paper ends; `Some(0)`: it is out.
    pub paper_left: Option<u64>,
    pub near_end: bool,
    pub cover_open: bool,
    pub cutter_will_stick: bool,
    pub cutter_stuck: bool,
    pub too_hot: bool,
    pub unrecoverable: bool,
    pub stalled: bool,
    pub break_after: Option<(u64, Break)>,
    pub off: bool,
    pub off_after: Option<u64>,
    pub silent: bool,
    pub no_status: bool,
    pub no_confirmation: bool,
    pub wrong_id: bool,
    pub nonsense: bool,
    pub rows_a_second: Option<u64>,
}

impl Wrong {
    pub fn add(&mut self, fault: Fault) {
        match fault {
            Fault::PaperOut { after_rows } => self.paper_left = Some(after_rows),
            Fault::NearEnd => self.near_end = true,
            Fault::CoverOpen => self.cover_open = true,
            Fault::CutterStuck => self.cutter_will_stick = true,
            Fault::TooHot => self.too_hot = true,
            Fault::Unrecoverable => self.unrecoverable = true,
            Fault::Stall => self.stalled = true,
            Fault::CloseAfter { bytes } => self.break_after = Some((bytes, Break::Orderly)),
            Fault::ResetAfter { bytes } => self.break_after = Some((bytes, Break::Reset)),
            Fault::PowerOff => self.off = true,
            Fault::PowerOffAfter { rows } => self.off_after = Some(rows),
            Fault::Silent => self.silent = true,
            Fault::NoStatus => self.no_status = true,
            Fault::NoConfirmation => self.no_confirmation = true,
            Fault::WrongId => self.wrong_id = true,
            Fault::Nonsense => self.nonsense = true,
            Fault::Slow { rows_a_second } => self.rows_a_second = Some(rows_a_second.max(1)),
        }
    }

    pub fn paper_out(&self) -> bool {
        self.paper_left == Some(0)
    }

    fn error(&self) -> bool {
        self.cutter_stuck || self.too_hot || self.unrecoverable
    }

    /// The head stands still.
    pub fn halts(&self) -> bool {
        self.paper_out() || self.cover_open || self.error() || self.off
    }

    /// The byte for `10 04 n`.
    pub fn real_time(&self, n: u8) -> u8 {
        let bits: &[(bool, u8)] = match n {
            1 => &[(self.halts(), 0x08)],
            2 => &[(self.cover_open, 0x04), (self.paper_out(), 0x20), (self.error(), 0x40)],
            3 => &[(self.cutter_stuck, 0x08), (self.unrecoverable, 0x20), (self.too_hot, 0x40)],
            _ => &[(self.near_end || self.paper_out(), 0x0C), (self.paper_out(), 0x60)],
        };
        gather(0x12, bits)
    }

    /// The four bytes of automatic status.
    pub fn automatic(&self) -> [u8; 4] {
        [
            gather(0x10, &[(self.halts(), 0x08), (self.cover_open, 0x20)]),
            gather(0, &[(self.cutter_stuck, 0x08), (self.unrecoverable, 0x20), (self.too_hot, 0x40)]),
            self.in_line(),
            0,
        ]
    }

    /// The byte for `1D 72 01`.
    pub fn in_line(&self) -> u8 {
        gather(0, &[(self.near_end || self.paper_out(), 0x03), (self.paper_out(), 0x0C)])
    }
}

fn gather(base: u8, bits: &[(bool, u8)]) -> u8 {
    bits.iter().filter(|(is_so, _)| *is_so).fold(base, |byte, (_, bit)| byte | bit)
}
