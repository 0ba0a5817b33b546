//! What a printer answered, in sentences and as a table for `printers.toml`.

use crate::model::Confirms;
use crate::print::answers::Status;
use crate::print::driver::trouble_of;
use crate::print::trouble::TroubleKind;
use std::fmt::Write;

/// What a printer answered.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Profile {
    /// What all four real-time questions said; `None`: not answered.
    pub status: Option<Status>,
    /// It says by itself how it is.
    pub automatic: bool,
    /// It answers status in line.
    pub in_line: bool,
    /// It returns process ids.
    pub process_id: bool,
    /// Its maker, as it says.
    pub maker: Option<String>,
    /// Its model, as it says.
    pub model: Option<String>,
    /// Bytes and answers that no printer would give.
    pub odd: usize,
    /// Answers that came for none of the questions open then.
    pub late: usize,
}

impl Profile {
    /// Did it answer anything that a printer would say?
    pub fn answers(&self) -> bool {
        self.status.is_some() || self.automatic || self.in_line || self.process_id || self.maker.is_some()
    }

    /// Why it could not be asked everything: its paper is out, its cover open ...
    pub fn trouble(&self) -> Option<TroubleKind> {
        match self.status {
            Some(status) => trouble_of(&status),
            None if self.answers() || self.late > 0 => None,
            None if self.odd > 0 => Some(TroubleKind::Garbage),
            None => Some(TroubleKind::Silent),
        }
    }

    /// The best way in which it confirms; `None` where that could not be asked.
    pub fn confirms(&self) -> Option<Confirms> {
        match self.trouble() {
            Some(_) => None,
            None if self.process_id => Some(Confirms::ProcessId),
            None if self.in_line => Some(Confirms::InlineStatus),
            None => Some(Confirms::Nothing),
        }
    }

    /// For people: one line each.
    pub fn sentences(&self) -> Vec<String> {
        let mut told = Vec::new();
        if let Some(trouble) = self.trouble() {
            told.push(format!("not everything could be asked: {}", trouble.why()));
            told.push(format!("do: {}; then ask again", trouble.remedy()));
        }
        if let Some(name) = self.name() {
            told.push(format!("it says that it is: {name}"));
        }
        let yes_no = |is_so: bool, yes: &str, no: &str| if is_so { yes.to_owned() } else { no.to_owned() };
        told.push(yes_no(
            self.status.is_some(),
            "status: it answers at once, also while it cannot print",
            "status: no answer; that its paper is out will show only as silence",
        ));
        let Some(confirms) = self.confirms() else { return told };
        told.push(yes_no(
            self.automatic,
            "automatic status: it tells by itself when something changes",
            "automatic status: it told nothing when asked to; it is asked again and again instead",
        ));
        told.push(match confirms {
            Confirms::ProcessId => {
                "confirmation: by process id; each paper is known to be printed, and only once".into()
            }
            Confirms::InlineStatus => {
                "confirmation: by an answer behind the job; process ids it does not know".to_owned()
            }
            Confirms::Nothing => {
                "confirmation: none; a paper counts as printed when no error came for a while".to_owned()
            }
        });
        if self.odd + self.late > 0 {
            told.push(format!(
                "{} of its answers came late or were not to the point: ask again while nobody else prints on it",
                self.odd + self.late
            ));
        }
        told
    }

    fn name(&self) -> Option<String> {
        let parts: Vec<&str> = [&self.maker, &self.model].into_iter().flatten().map(String::as_str).collect();
        (!parts.is_empty()).then(|| parts.join(" "))
    }

    /// The table for `printers.toml`; `None` where the printer could not be asked how it confirms.
    pub fn table(&self, name: &str, address: &str) -> Option<String> {
        let confirms = match self.confirms()? {
            Confirms::ProcessId => "process id",
            Confirms::InlineStatus => "status",
            Confirms::Nothing => "nothing",
        };
        let mut table = format!("[printer.{name}]\n");
        if let Some(says) = self.name() {
            let _ = writeln!(table, "# It says that it is: {says}");
        }
        let _ = writeln!(table, "address = \"{address}\"");
        table += "# The next three cannot be asked of a printer; the ruler shows them (dawnslip probe --ruler).\n";
        table += "dots = 576\ndpi = 203\ncutter = true\n";
        let _ = writeln!(table, "confirms = \"{confirms}\"");
        if confirms == "nothing" {
            table += "quiet_after = \"5 s\"\n";
        }
        Some(table)
    }
}
