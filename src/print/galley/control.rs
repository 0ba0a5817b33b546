//! The control protocol: one line of plain words, one line of answer. For `dawnslip galley`
//! (on its standard input or a control port) and for tests from outside.

use super::{Fault, Galley};

/// Every line that is understood.
pub const LINES: &str = "\
paper out [after N rows]    the roll ends, now or later
near end                    the roll is near its end
load paper                  a new roll
cover open | cover closed   the cover
cutter stuck                at the next cut
too hot                     until mended
unrecoverable               an error until mended
stall                       takes no more bytes
close [after N bytes]       ends the connection
reset [after N bytes]       breaks the connection
power off [after N rows]    loses what it has read
silent                      answers nothing
no status                   answers no real-time status
no confirmation             answers neither process ids nor status in line
wrong id                    returns other process ids
nonsense                    answers garbage
slow N                      N rows a second
tear off                    takes the half-printed paper out
mend                        ends every fault, switches on
papers                      how many papers there are
help                        these lines";

/// Obeys one line; gives a sentence.
pub(super) fn obey(galley: &Galley, line: &str) -> Result<String, String> {
    let words: Vec<&str> = line.split_whitespace().collect();
    if let Some(fault) = fault(&words)? {
        galley.set_fault(fault);
        return Ok(format!("done: {}", words.join(" ")));
    }
    match words.as_slice() {
        ["load", "paper"] => galley.load_paper(),
        ["cover", "closed"] => galley.shared.change(|state| state.wrong.cover_open = false),
        ["tear", "off"] => galley.tear_off(),
        ["mend"] => galley.mend(),
        ["papers"] => return Ok(format!("{} papers", galley.shared.lock().made())),
        ["help"] => return Ok(LINES.to_owned()),
        _ => return Err(format!("not understood: {line:?}; say one of:\n{LINES}")),
    }
    Ok(format!("done: {}", words.join(" ")))
}

fn fault(words: &[&str]) -> Result<Option<Fault>, String> {
    let number = |text: &str| text.parse::<u64>().map_err(|_| format!("not a number: {text:?}"));
    Ok(Some(match words {
        ["paper", "out"] => Fault::PaperOut { after_rows: 0 },
        ["paper", "out", "after", n, "rows"] => Fault::PaperOut { after_rows: number(n)? },
        ["near", "end"] => Fault::NearEnd,
        ["cover", "open"] => Fault::CoverOpen,
        ["cutter", "stuck"] => Fault::CutterStuck,
        ["too", "hot"] => Fault::TooHot,
        ["unrecoverable"] => Fault::Unrecoverable,
        ["stall"] => Fault::Stall,
        ["close"] => Fault::CloseAfter { bytes: 0 },
        ["close", "after", n, "bytes"] => Fault::CloseAfter { bytes: number(n)? },
        ["reset"] => Fault::ResetAfter { bytes: 0 },
        ["reset", "after", n, "bytes"] => Fault::ResetAfter { bytes: number(n)? },
        ["power", "off"] => Fault::PowerOff,
        ["power", "off", "after", n, "rows"] => Fault::PowerOffAfter { rows: number(n)? },
        ["silent"] => Fault::Silent,
        ["no", "status"] => Fault::NoStatus,
        ["no", "confirmation"] => Fault::NoConfirmation,
        ["wrong", "id"] => Fault::WrongId,
        ["nonsense"] => Fault::Nonsense,
        ["slow", n] => Fault::Slow { rows_a_second: number(n)? },
        _ => return Ok(None),
    }))
}
