//! The printer's bytes: ESC/POS by the crate escpos with a driver that collects them.
//!
//! Everything goes out as raster dots. Native text would save a few kilobytes and cost the
//! promise that the picture on the desk is what prints: code pages differ from head to head,
//! and so do their fonts. A slip is some 50 kB, which a head takes in well under a second.
//!
//! The crate's own cut, picture and status commands are not used (PAPER 1 lists their
//! mistakes); `custom` sends ours, each tested against the table in PAPER 2.

use super::layout::Page;
use crate::model::{Confirms, Printer as Profile};
use escpos::driver::Driver;
use escpos::printer::Printer;
use escpos::utils::Protocol;
use std::sync::{Arc, Mutex, PoisonError};

/// Rows of one raster command: small enough for any head's buffer.
pub const BAND_ROWS: u32 = 256;
/// A command is not cut off before so many rows (3 mm): heads that print each at once would stutter.
const BAND_ROWS_MIN: u32 = 24;
/// Bytes of a raster command before its data.
const COMMAND_BYTES: usize = 8;
/// Motion units fed between the last row and the cut (the command adds the way to the knife).
const CUT_FEED: u8 = 24;
/// Dots fed on heads without a knife, so that the last row passes the tear bar.
const TEAR_FEED: u8 = 160;

/// Why bytes could not be made: never in practice, the collecting driver cannot fail.
#[derive(Debug, thiserror::Error)]
#[error("could not build the printer's bytes")]
pub struct BytesError(#[from] escpos::errors::PrinterError);

/// Keeps what it is given.
#[derive(Clone, Default)]
struct Collector(Arc<Mutex<Vec<u8>>>);

impl Driver for Collector {
    fn name(&self) -> String {
        "collector".to_owned()
    }
    fn write(&self, data: &[u8]) -> escpos::errors::Result<()> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(data);
        Ok(())
    }
    fn read(&self, _: &mut [u8]) -> escpos::errors::Result<usize> {
        Ok(0)
    }
    fn flush(&self) -> escpos::errors::Result<()> {
        Ok(())
    }
}

/// Initialise, the dots in bands, cut; then the request that the printer answers when all of
/// that is done, as its profile says: the process id, an in-line status request, or nothing.
pub fn bytes(page: &Page, profile: &Profile, process_id: Option<[u8; 4]>) -> Result<Vec<u8>, BytesError> {
    let collected = Collector::default();
    let mut printer = Printer::new(collected.clone(), Protocol::default(), None);
    printer.init()?;
    let mut from = 0;
    for cut in page.cuts.iter().copied().chain([page.dots.height()]) {
        raster(&mut printer, page, from, cut)?;
        end(&mut printer, profile)?;
        from = cut;
    }
    match (profile.confirms, process_id) {
        (Confirms::ProcessId, Some(id)) => {
            printer.custom(&[&[0x1d, 0x28, 0x48, 0x06, 0x00, 0x30, 0x30], &id[..]].concat())?;
        }
        (Confirms::InlineStatus, Some(_)) => {
            printer.custom(&[0x1d, 0x72, 0x01])?;
        }
        (Confirms::Nothing, _) | (_, None) => {}
    }
    printer.print()?;
    Ok(std::mem::take(&mut *collected.0.lock().unwrap_or_else(PoisonError::into_inner)))
}

/// Rows `from` to `to` (not with it) as `GS v 0` commands, each only as wide as its ink: paper is
/// mostly white at the right, and what is not sent stays white.
fn raster(printer: &mut Printer<Collector>, page: &Page, from: u32, to: u32) -> Result<(), BytesError> {
    let mut row = from;
    for Band { rows, width } in bands(page, from, to) {
        let mut left = rows;
        while left > 0 {
            let rows = BAND_ROWS.min(left);
            let data = band(page, row, rows, width);
            let [xl, xh] = ((data.len() / rows as usize) as u16).to_le_bytes();
            let [yl, yh] = (rows as u16).to_le_bytes();
            printer.custom(&[&[0x1d, 0x76, 0x30, 0x00, xl, xh, yl, yh], &data[..]].concat())?;
            row += rows;
            left -= rows;
        }
    }
    Ok(())
}

/// Rows that are sent together, so many bytes wide.
struct Band {
    rows: u32,
    width: usize,
}

/// Splits rows where less is sent than a command more costs.
fn bands(page: &Page, from: u32, to: u32) -> Vec<Band> {
    let stride = page.dots.stride();
    let mut bands: Vec<Band> = Vec::new();
    for row in from..to {
        let dots = &page.dots.bytes()[row as usize * stride..][..stride];
        // A command without a byte is none.
        let width = dots.iter().rposition(|byte| *byte != 0).map_or(1, |last| last + 1);
        match bands.last_mut() {
            Some(last) if last.width == width => last.rows += 1,
            _ => bands.push(Band { rows: 1, width }),
        }
        while let [.., before, last] = &mut bands[..] {
            let apart = before.rows as usize * before.width + last.rows as usize * last.width + COMMAND_BYTES;
            let width = before.width.max(last.width);
            let together = (before.rows + last.rows) as usize * width;
            if together > apart && before.rows >= BAND_ROWS_MIN {
                break;
            }
            *before = Band { rows: before.rows + last.rows, width };
            bands.pop();
        }
    }
    bands
}

/// The bytes of a band. Where a row's end and the next one's beginning would read as a real-time
/// command, a white byte stands between them.
fn band(page: &Page, row: u32, rows: u32, width: usize) -> Vec<u8> {
    let stride = page.dots.stride();
    let cut = |width: usize| {
        let of_band = &page.dots.bytes()[row as usize * stride..(row + rows) as usize * stride];
        let mut data = Vec::with_capacity(rows as usize * width);
        of_band.chunks(stride).for_each(|row| data.extend_from_slice(&row[..width]));
        data
    };
    let data = cut(width);
    let is_command = data.windows(2).any(|pair| pair[0] == 0x10 && matches!(pair[1], 0x04 | 0x05 | 0x14));
    if is_command && width < stride { cut(width + 1) } else { data }
}

fn end(printer: &mut Printer<Collector>, profile: &Profile) -> Result<(), BytesError> {
    if profile.cutter {
        printer.custom(&[0x1d, 0x56, 0x42, CUT_FEED])?;
    } else {
        printer.custom(&[0x1b, 0x4a, TEAR_FEED])?;
    }
    Ok(())
}
