//! `dawnslip status`.

use super::client::{self, Form};
use super::screen::Screen;
use super::{Ended, Folders, Outcome};

/// How things stand, and what needs you
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The first line says it all: `all is well`, or `needs you: 2 things`. Each thing
tells since when, why, and what to do. Exit code 1 where something needs you.

  dawnslip status
  dawnslip status --json | jq '.things[].what'
  curl localhost:7780/status        the same, without the command")]
pub struct Status {}

impl Status {
    /// Asks and shows.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let form = Form::from(at);
        let reply = client::read(at, "/status", client::accept(form))?;
        let well = reply.needs_you == 0;
        match form {
            Form::Text => screen.say_with_head(&reply.text(), well),
            Form::Json => screen.say(&reply.text()),
        }
        Ok(if well { Outcome::Well } else { Outcome::Problem })
    }
}
