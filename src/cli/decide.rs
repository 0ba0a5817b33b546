//! `dawnslip decide`.

use super::client;
use super::screen::Screen;
use super::{Ended, Folders};
use crate::book::Decision;
use clap::builder::PossibleValuesParser;
use serde_json::json;

/// Answer a question, for all orders that wait for it
#[derive(Debug, clap::Args)]
#[command(after_help = "\
`dawnslip status` lists the questions with their causes.

  dawnslip decide unknown-product:GLZ-9 retry   the cause is mended: try again
  dawnslip decide no-address:shop/S-443 go-on   it is right as it is
  dawnslip decide nothing-fits:shop/S-451 cancel
  dawnslip decide same-revision:shop/S-430 take-new    or keep-old
  dawnslip decide uncertain-paper:12 on-paper   the paper lies in the tray
  dawnslip decide uncertain-paper:12 copy       it does not: print a COPY")]
pub struct Decide {
    /// The question's cause, as status shows it
    #[arg(value_name = "CAUSE")]
    cause: String,
    /// The answer
    #[arg(value_name = "DECISION", value_parser = PossibleValuesParser::new(Decision::WORDS.map(|(word, _)| word)))]
    decision: String,
}

impl Decide {
    /// Says so to the desk.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        client::tell(at, screen, "/decide", &json!({ "cause": self.cause, "decision": self.decision }))
    }
}
