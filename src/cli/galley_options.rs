//! The options of `dawnslip galley`.

use std::net::SocketAddr;
use std::path::PathBuf;

/// A virtual printer: turns what it is sent into pictures and text
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
For a workshop that has no printer yet. Name its address in printers.toml.

  dawnslip galley --out proofs
  dawnslip galley --dots 384        a narrow roll (58 mm)
  dawnslip galley --fail paper-out  and see what the desk says")]
pub struct GalleyOptions {
    /// Where it listens
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:9100")]
    pub listen: SocketAddr,
    /// Where the pictures go
    #[arg(long, value_name = "DIR", default_value = "galley")]
    pub out: PathBuf,
    /// Dots across the paper
    #[arg(long, value_name = "N", default_value_t = 576)]
    pub dots: u32,
    /// What is wrong with it
    #[arg(long, value_name = "FAULT")]
    pub fail: Option<String>,
}
