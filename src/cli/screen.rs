//! What the terminal shows: plain text, colour only where a person looks on, and errors that
//! say what, why and what to do.

use crate::desk::{status::COLUMNS, words};
use std::io::{self, IsTerminal, Write};

/// A command could not be done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct Fault {
    /// What could not be done.
    pub what: String,
    /// Why; may be empty.
    pub why: String,
    /// What to do; one line each.
    pub remedy: Vec<String>,
}

impl Fault {
    /// What, why, and one thing to do.
    pub fn new(what: impl Into<String>, why: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { what: what.into(), why: why.into(), remedy: vec![remedy.into()] }
    }
}

/// Where text goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Screen {
    colour: bool,
    /// Somebody looks at standard error: progress may be shown there.
    pub watched: bool,
}

impl Screen {
    /// Colour on a terminal, unless `NO_COLOR` is set to anything (no-color.org) or it is a dumb one.
    pub fn of_terminal() -> Self {
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
            && std::env::var_os("TERM").is_none_or(|value| value != "dumb");
        Self { colour: wanted && io::stdout().is_terminal(), watched: io::stderr().is_terminal() }
    }

    /// May text be coloured?
    pub fn has_colour(&self) -> bool {
        self.colour
    }

    /// Text on standard output. A reader that closes early (`| head`) is no error.
    pub fn say(&self, text: &str) {
        let mut out = io::stdout().lock();
        let newline = if text.ends_with('\n') || text.is_empty() { "" } else { "\n" };
        let _ = write!(out, "{text}{newline}").and_then(|()| out.flush());
    }

    /// Likewise, the first line set off: green where all is well, red where not.
    pub fn say_with_head(&self, text: &str, well: bool) {
        match text.split_once('\n') {
            Some((head, rest)) if self.colour => {
                let colour = if well { "32" } else { "31" };
                self.say(&format!("\u{1b}[1;{colour}m{head}\u{1b}[0m\n{rest}"));
            }
            _ => self.say(text),
        }
    }

    /// A line that the next one overwrites; only where somebody looks on.
    pub fn progress(&self, text: &str) {
        if self.watched {
            let _ = write!(io::stderr().lock(), "\r\u{1b}[K{text}");
        }
    }

    /// What went wrong, on standard error.
    pub fn fault(&self, fault: &Fault) {
        let _ = io::stderr().lock().write_all(fault_text(fault).as_bytes());
    }
}

/// What went wrong, in the same form in which the desk tells things.
pub fn fault_text(fault: &Fault) -> String {
    let mut text = words::hanging("", &fault.what, COLUMNS);
    if !fault.why.is_empty() {
        text.push_str(&words::hanging("   why  ", &fault.why, COLUMNS));
    }
    for (index, line) in fault.remedy.iter().filter(|line| !line.is_empty()).enumerate() {
        text.push_str(&words::hanging(if index == 0 { "   do   " } else { "        " }, line, COLUMNS));
    }
    text
}
