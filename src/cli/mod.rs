//! The commands, one file each.
//!
//! May touch: the terminal, the desk socket. Never: holds logic that a test could not reach without it.

mod apart;
mod backup;
mod backups;
mod bulk;
mod cancel;
mod check;
pub mod client;
mod compare;
pub mod compare_orders;
pub mod crew;
mod decide;
mod export;
mod fit;
mod forget;
mod galley;
mod galley_options;
mod handed_over;
pub mod help;
mod hold;
mod import;
mod intake;
mod label;
mod mode;
mod nosuch;
mod order;
mod orders;
mod packed;
mod picklist;
mod probe;
pub mod quote;
mod quote_options;
mod ready;
mod rehearse;
mod rehearse_account;
mod rehearse_cast;
mod rehearse_options;
pub mod rehearse_orders;
mod release;
mod reload;
mod remap;
mod repair;
mod replan;
mod reprint;
mod run;
pub mod screen;
mod start_packing;
mod status;
mod test_page;
mod try_source;
mod unpack;
pub mod wiring;

pub use galley_options::GalleyOptions;
pub use quote_options::QuoteOptions;
pub use rehearse_options::RehearseOptions;
pub use try_source::TryOptions;

use clap::{Args, FromArgMatches, Parser, Subcommand};
use screen::{Fault, Screen};
use std::path::PathBuf;
use std::process::ExitCode;

/// What a command came to: 0, or 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Done, and nothing is the matter.
    Well,
    /// Something was refused, or something is the matter; it has been told.
    Problem,
}

/// What every command returns.
pub type Ended = Result<Outcome, Fault>;

/// Turns signed web-shop orders into paper: slips, cards, and a pick list in the morning
#[derive(Debug, Parser)]
#[command(name = "dawnslip", version, subcommand_required = true, arg_required_else_help = true)]
pub struct Cli {
    /// Where things lie.
    #[command(flatten)]
    pub folders: Folders,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// Options of every command.
#[derive(Debug, Clone, Args)]
pub struct Folders {
    /// The folder with workshop.toml and the other files
    #[arg(long, global = true, value_name = "DIR", default_value = "config", display_order = 900)]
    pub config: PathBuf,
    /// The folder with the ledger and the desk's socket
    #[arg(long, global = true, value_name = "DIR", default_value = "data", display_order = 901)]
    pub data: PathBuf,
    /// Answer as JSON, for programs
    #[arg(long, global = true, display_order = 902)]
    pub json: bool,
}

/// The commands. `help::GROUPS` says who needs which.
#[derive(Debug, Subcommand)]
#[allow(missing_docs)]
pub enum Command {
    Status(status::Status),
    Picklist(picklist::Picklist),
    Order(order::Order),
    Packed(packed::Packed),
    Unpack(unpack::Unpack),
    Reprint(reprint::Reprint),
    Label(label::Label),
    StartPacking(start_packing::StartPacking),
    Mode(mode::Mode),
    Orders(orders::Orders),
    Decide(decide::Decide),
    Hold(hold::Hold),
    Release(release::Release),
    Apart(apart::Apart),
    Cancel(cancel::Cancel),
    Forget(forget::Forget),
    Ready(ready::Ready),
    Replan(replan::Replan),
    Nosuch(nosuch::Nosuch),
    HandedOver(handed_over::HandedOver),
    Quote(QuoteOptions),
    Fit(fit::FitOptions),
    Compare(compare::Compare),
    Run(run::Run),
    Rehearse(RehearseOptions),
    Check(check::Check),
    Repair(repair::Repair),
    Try(TryOptions),
    Intake(intake::Intake),
    Backup(backup::Backup),
    Backups(backups::Backups),
    Export(export::Export),
    Import(import::Import),
    Remap(remap::Remap),
    Reload(reload::Reload),
    TestPage(test_page::TestPage),
    Probe(probe::Probe),
    Galley(GalleyOptions),
}

/// Reads the command line, does it, and says how it went: 0 done, 1 refused or found a
/// problem, 2 wrong usage.
pub fn main() -> ExitCode {
    let parsed = help::command().try_get_matches().and_then(|matches| Cli::from_arg_matches(&matches));
    let cli = match parsed {
        Ok(cli) => cli,
        Err(error) => {
            // A closed terminal is no reason to fail.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    let screen = Screen::of_terminal();
    match dispatch(cli, &screen) {
        Ok(Outcome::Well) => ExitCode::SUCCESS,
        Ok(Outcome::Problem) => ExitCode::from(1),
        Err(fault) => {
            screen.fault(&fault);
            ExitCode::from(1)
        }
    }
}

fn dispatch(cli: Cli, screen: &Screen) -> Ended {
    let at = &cli.folders;
    match cli.command {
        Command::Status(args) => args.run(at, screen),
        Command::Picklist(args) => args.run(at, screen),
        Command::Order(args) => args.run(at, screen),
        Command::Packed(args) => args.run(at, screen),
        Command::Unpack(args) => args.run(at, screen),
        Command::Reprint(args) => args.run(at, screen),
        Command::Label(args) => args.run(at, screen),
        Command::StartPacking(args) => args.run(at, screen),
        Command::Mode(args) => args.run(at, screen),
        Command::Orders(args) => args.run(at, screen),
        Command::Decide(args) => args.run(at, screen),
        Command::Hold(args) => args.run(at, screen),
        Command::Release(args) => args.run(at, screen),
        Command::Apart(args) => args.run(at, screen),
        Command::Cancel(args) => args.run(at, screen),
        Command::Forget(args) => args.run(at, screen),
        Command::Ready(args) => args.run(at, screen),
        Command::Replan(args) => args.run(at, screen),
        Command::Nosuch(args) => args.run(at, screen),
        Command::HandedOver(args) => args.run(at, screen),
        Command::Quote(args) => wiring::quote(at, screen, args),
        Command::Fit(args) => args.run(at, screen),
        Command::Compare(args) => args.run(at, screen),
        Command::Run(args) => args.run(at),
        Command::Rehearse(args) => rehearse::rehearse(at, args),
        Command::Check(args) => args.run(at),
        Command::Repair(args) => args.run(at, screen),
        Command::Try(args) => wiring::try_source(at, args),
        Command::Intake(args) => args.run(at, screen),
        Command::Backup(args) => args.run(at, screen),
        Command::Backups(args) => args.run(at, screen),
        Command::Export(args) => args.run(at, screen),
        Command::Import(args) => args.run(at, screen),
        Command::Remap(args) => args.run(at, screen),
        Command::Reload(args) => args.run(at, screen),
        Command::TestPage(args) => args.run(at, screen),
        Command::Probe(args) => args.run(at, screen),
        Command::Galley(args) => wiring::galley(at, args),
    }
}
