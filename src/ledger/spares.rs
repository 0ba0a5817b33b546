//! The backups as a place where lost records may lie.

use super::copies::{Item, backup};
use super::survey::{SpareLine, Spares};
use super::{Disk, LedgerError, Line, Tag, with_causes};
use std::io;
use std::sync::Arc;

/// A folder of backups.
pub struct Backups(Arc<dyn Disk>);

impl Backups {
    /// Those in the folder of `disk`.
    pub fn new(disk: Arc<dyn Disk>) -> Self {
        Self(disk)
    }

    /// This installation's, the newest first.
    fn ours(&self, installation: [u8; 16]) -> Result<Vec<backup::Kept>, LedgerError> {
        let all = backup::list(self.0.as_ref())
            .map_err(|err| LedgerError::disk("list", "the backups")(io::Error::other(with_causes(&err))))?;
        let is_ours = |kept: &backup::Kept| kept.header.as_ref().is_some_and(|h| h.installation.0 == installation);
        Ok(all.into_iter().filter(is_ours).collect())
    }
}

impl Spares for Backups {
    fn each(&self, installation: [u8; 16], take: &mut dyn FnMut(&str, SpareLine)) -> Result<(), LedgerError> {
        for kept in self.ours(installation)? {
            // Only what proves whole to its end counts.
            if let Err(err) = backup::verify(self.0.as_ref(), &kept) {
                tracing::warn!(error = %with_causes(&err), "a backup is not whole");
                continue;
            }
            let Ok(reader) = backup::read(self.0.as_ref(), &kept) else { continue };
            let name = format!("the backup of {}", kept.made.strftime("%Y-%m-%d %H:%M UTC"));
            for item in reader.map_while(Result::ok) {
                let (tag, seq, json) = match item {
                    Item::Fact { seq, json } => (Tag::Fact, seq, json),
                    Item::Person { after, json } => (Tag::Person, after, json),
                };
                take(&name, SpareLine { seq, line: Line { tag, json } });
            }
        }
        Ok(())
    }

    fn key(&self, installation: [u8; 16]) -> Option<[u8; 32]> {
        // The key stands in the persons' part.
        let keys = self.ours(installation).ok()?.into_iter().filter_map(|kept| {
            let reader = backup::read(self.0.as_ref(), &kept).ok()?;
            reader.header().key
        });
        keys.into_iter().next()
    }
}
