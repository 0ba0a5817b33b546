//! What is not as it should be on paper, kept for the desk: cards that cannot be used, and the
//! last warnings of papers that were printed all the same.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

/// So many warnings are kept; the oldest goes.
const WARNINGS_MAX: usize = 5;

/// Shared by those that print and those that tell.
#[derive(Default)]
pub struct PaperNotices(Mutex<Kept>);

#[derive(Default)]
struct Kept {
    cards: Vec<String>,
    warnings: VecDeque<String>,
}

impl PaperNotices {
    fn with<T>(&self, use_it: impl FnOnce(&mut Kept) -> T) -> T {
        use_it(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Mistakes in cards of the configuration in force, one line each; none after a good reload.
    pub fn cards(&self, mistakes: Vec<String>) {
        self.with(|kept| kept.cards = mistakes);
    }

    /// A paper has this to say about itself. What was said before is said once.
    pub fn paper(&self, name: &str, warning: &dyn std::fmt::Display) {
        let line = format!("{name}: {warning}");
        self.with(|kept| {
            kept.warnings.retain(|known| *known != line);
            kept.warnings.push_back(line);
            while kept.warnings.len() > WARNINGS_MAX {
                kept.warnings.pop_front();
            }
        });
    }

    /// One line each, cards first.
    pub fn lines(&self) -> Vec<String> {
        self.with(|kept| {
            let cards = kept.cards.iter().map(|line| format!("{line}; a plain card prints instead"));
            cards.chain(kept.warnings.iter().cloned()).collect()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_warnings_are_kept_once_each_and_cards_until_they_are_mended() {
        let notices = PaperNotices::default();
        notices.cards(vec!["cards/a.md:3: an odd brace".into()]);
        for number in 0..WARNINGS_MAX + 2 {
            notices.paper(&format!("slip of S-{number}"), &"no font has U+E000");
        }
        notices.paper("slip of S-3", &"no font has U+E000");
        let lines = notices.lines();
        assert_eq!(lines.len(), WARNINGS_MAX + 1);
        assert_eq!(lines[0], "cards/a.md:3: an odd brace; a plain card prints instead");
        assert_eq!(lines[1], "slip of S-2: no font has U+E000");
        assert_eq!(lines[WARNINGS_MAX], "slip of S-3: no font has U+E000");
        notices.cards(Vec::new());
        assert_eq!(notices.lines().len(), WARNINGS_MAX);
    }
}
