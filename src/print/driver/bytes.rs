//! The few bytes that the driver itself says: questions, and the end of half a paper (PAPER 2).

use crate::model::Confirms;

/// Padding that completes a picture which a broken connection cut off: a head that still waits
/// for the rest of a band would otherwise swallow the next commands. Outside a picture heads
/// pass over NUL. A band of 255 rows at 576 dots has 18 360 bytes.
pub const HALF_PAPER_PAD: usize = 20 * 1024;

/// A process id that no job has: the question behind the end of half a paper.
pub const PROOF_ID: [u8; 4] = *b"~~~~";

const INITIALISE: [u8; 2] = [0x1B, 0x40];
const AUTOMATIC_STATUS: [u8; 3] = [0x1D, 0x61, 0xFF];

/// Go on after an error was cleared.
pub(super) const RECOVER: [u8; 3] = [0x10, 0x05, 0x01];

/// `10 04 n`.
pub(super) fn real_time_question(n: u8) -> [u8; 3] {
    [0x10, 0x04, n]
}

/// The question that is answered when everything before it is printed.
pub(super) fn in_line_question(confirms: Confirms, process_id: [u8; 4]) -> Vec<u8> {
    match confirms {
        Confirms::ProcessId => [&[0x1D, 0x28, 0x48, 6, 0, 0x30, 0x30], process_id.as_slice()].concat(),
        Confirms::InlineStatus => vec![0x1D, 0x72, 1],
        Confirms::Nothing => Vec::new(),
    }
}

/// The job with its question behind it. Automatic status is asked for after the job's own
/// initialising, which may switch it off, and again at its end; only of printers that answer at all.
pub(super) fn job_stream(job: &[u8], confirms: Confirms, process_id: [u8; 4], answers: bool) -> Vec<u8> {
    let (begin, rest) = job.split_at(if job.starts_with(&INITIALISE) { INITIALISE.len() } else { 0 });
    let automatic: &[u8] = if answers { &AUTOMATIC_STATUS } else { &[] };
    [begin, automatic, rest, automatic, &in_line_question(confirms, process_id)].concat()
}

/// Ends whatever lies half printed: pad, initialise, feed, cut, and a question.
pub(super) fn end_of_half_paper(confirms: Confirms, cutter: bool) -> Vec<u8> {
    let mut stream = vec![0; HALF_PAPER_PAD];
    stream.extend(INITIALISE);
    stream.extend([0x1B, 0x64, if cutter { 2 } else { 8 }]);
    if cutter {
        stream.extend([0x1D, 0x56, 0x42, 0]);
    }
    stream.extend(in_line_question(confirms, PROOF_ID));
    stream
}
