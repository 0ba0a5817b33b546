//! `dawnslip forget`.

use super::client;
use super::screen::{Fault, Screen};
use super::{Ended, Folders, Outcome};
use crate::desk::form::encode;
use hyper::StatusCode;
use serde_json::json;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;

/// Erase all personal data of an order, at once
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Name, address, mail, phone, wishes, the message as it came and what was typed about
the order go from every file; its facts (numbers, goods, prices, times) stay. An
open order is cancelled first, since nothing more can be printed for it: --yes, or
its number typed at the terminal. What is on paper you have to shred yourself.
If the shop sends the order again, its data do not come back.

  dawnslip forget S-417
  dawnslip forget shop/S-417 --out receipt.txt
  dawnslip forget 417 --yes         cancels it first if it is open")]
pub struct Forget {
    /// The order: 417, S-417 or shop/S-417; an archived one by its whole number
    #[arg(value_name = "ORDER")]
    order: String,
    /// Cancel it first if it is still open
    #[arg(long)]
    yes: bool,
    /// Also write the receipt into this file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

impl Forget {
    /// Says so to the desk, and shows the receipt.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let mut cancel = self.yes;
        let reply = loop {
            let body = json!({ "cancel": cancel }).to_string();
            let path = format!("/orders/{}/forget", encode(&self.order));
            let reply = client::wait(client::exchange(at, &path, body.into()))?;
            let Some(refusal) = reply.refusal() else { break reply };
            let asks = reply.status == StatusCode::CONFLICT && !cancel && std::io::stdin().is_terminal();
            if !asks || !confirmed(&refusal, &self.order) {
                return Err(refusal);
            }
            cancel = true;
        };
        screen.say(&reply.text());
        if let Some(file) = &self.out {
            std::fs::write(file, &reply.body).map_err(|error| {
                let what = format!("the data are erased, but the receipt could not be written into {}", file.display());
                Fault::new(what, error.to_string(), "it stands above: keep that")
            })?;
        }
        Ok(Outcome::Well)
    }
}

/// Asks at the terminal; only the order's own number counts as yes.
fn confirmed(refusal: &Fault, order: &str) -> bool {
    let mut ask = std::io::stderr().lock();
    let _ = write!(ask, "{}.\nTo cancel it and erase its personal data, type {order}: ", refusal.what);
    let _ = ask.flush();
    let mut typed = String::new();
    std::io::stdin().read_line(&mut typed).is_ok() && typed.trim() == order
}
