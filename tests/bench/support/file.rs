//! The ledger's ceiling: the same frames, reserved room and rule for groups, straight to a file.

use crc32c::crc32c;
use dawnslip::ledger::Line;
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use tokio::sync::oneshot;

/// As in the ledger.
const RESERVE_BYTES: u64 = 4 * 1024 * 1024;
const GROUP_BYTES_MAX: usize = 4 * 1024 * 1024;
const HEAD_BYTES: usize = 44;

/// Lines that wait, and who is told.
type Wish = (Arc<[Line]>, oneshot::Sender<()>);

/// Handle on the thread that writes.
pub struct Straight(Sender<Wish>);

impl Straight {
    pub fn create(path: &Path) -> Self {
        let file = File::create(path).expect("a file");
        let (wishes, incoming) = channel();
        std::thread::spawn(move || write_groups(&file, &incoming));
        Self(wishes)
    }
    /// Ends once the lines are on the disk.
    pub async fn keep(&self, lines: Arc<[Line]>) {
        let (tell, told) = oneshot::channel();
        self.0.send((lines, tell)).expect("the writer is there");
        told.await.expect("it is kept");
    }
}

fn write_groups(file: &File, incoming: &Receiver<Wish>) {
    let (mut end, mut reserved, mut frame) = (0u64, 0u64, Vec::new());
    while let Ok(first) = incoming.recv() {
        frame.clear();
        frame.resize(HEAD_BYTES, 0);
        let mut waiting = Vec::new();
        let mut next = Some(first);
        while let Some((lines, tell)) = next.take() {
            for line in lines.iter() {
                frame.extend_from_slice(&[line.tag.letter(), b' ']);
                frame.extend_from_slice(line.json.as_bytes());
                frame.push(b'\n');
            }
            waiting.push(tell);
            if frame.len() < GROUP_BYTES_MAX {
                next = incoming.try_recv().ok();
            }
        }
        let crc = crc32c(&frame[HEAD_BYTES..]).to_le_bytes();
        frame[12..16].copy_from_slice(&crc);
        let crc = crc32c(&frame[..HEAD_BYTES - 4]).to_le_bytes();
        frame[HEAD_BYTES - 4..HEAD_BYTES].copy_from_slice(&crc);
        if end + frame.len() as u64 > reserved {
            let keep = rustix::fs::FallocateFlags::KEEP_SIZE;
            let bytes = RESERVE_BYTES.max(end + frame.len() as u64 - reserved);
            rustix::fs::fallocate(file, keep, reserved, bytes).expect("room");
            reserved += bytes;
        }
        file.write_all_at(&frame, end).expect("a write");
        file.sync_data().expect("a sync");
        end += frame.len() as u64;
        for tell in waiting {
            // A sender that has gone needs no answer.
            let _ = tell.send(());
        }
    }
}
