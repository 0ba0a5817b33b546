//! The options of `dawnslip galley`.

use crate::model::Confirms;
use std::net::SocketAddr;
use std::path::PathBuf;

/// A virtual printer: turns what it is sent into pictures and text
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
For a workshop that has no printer yet. Name its address in printers.toml.

  dawnslip galley --out proofs
  dawnslip galley --dots 384        a narrow roll (58 mm)
  dawnslip galley --fail paper-out  and see what the desk says
  dawnslip galley --sheet --out proofs   what your papers will look like: each kind,
                                         design and script, and all on sheet.png")]
pub struct GalleyOptions {
    /// Where it listens
    #[arg(long, value_name = "ADDRESS", default_value = super::galley::LISTEN_DEFAULT)]
    pub listen: SocketAddr,
    /// Where the pictures go
    #[arg(long, value_name = "DIR", default_value = "galley")]
    pub out: PathBuf,
    /// Pictures older than so many days are removed: they show names and addresses
    #[arg(long, value_name = "DAYS", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=4000))]
    pub keep: u32,
    /// Dots across the paper
    #[arg(long, value_name = "N", default_value_t = 576)]
    pub dots: u32,
    /// Head speed in rows of dots a second (80 mm/s at 203 dpi: 640); default: no limit
    #[arg(long, value_name = "N")]
    pub rows_a_second: Option<u64>,
    /// How it says that a paper is printed
    #[arg(long, value_name = "HOW", value_enum, default_value_t = Says::ProcessId)]
    pub confirms: Says,
    /// Also take control lines on this loopback port
    #[arg(long, value_name = "ADDRESS")]
    pub control: Option<SocketAddr>,
    /// Draw one paper of each kind, design and script with the configuration's goods, and end
    #[arg(long, conflicts_with_all = ["control", "fail"])]
    pub sheet: bool,
    /// What is wrong with it
    #[arg(long, value_name = "FAULT")]
    pub fail: Option<String>,
}

/// How the galley says that a paper is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Says {
    /// By the job's process id
    ProcessId,
    /// By in-line status
    InlineStatus,
    /// Not at all, like the cheapest heads
    Nothing,
}

impl From<Says> for Confirms {
    fn from(says: Says) -> Self {
        match says {
            Says::ProcessId => Self::ProcessId,
            Says::InlineStatus => Self::InlineStatus,
            Says::Nothing => Self::Nothing,
        }
    }
}
