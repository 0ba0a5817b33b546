//! The options of `dawnslip rehearse`.

use std::path::PathBuf;

/// Play a whole morning: orders in, paper out
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Starts the real daemon on this machine with a store in a temporary folder and a virtual
printer, sends it signed orders, and ends with an account of what came, what was
refused and why, and what is on paper. Nothing is short-cut, nothing leaves the machine.

  dawnslip rehearse
  dawnslip rehearse --orders 200 --out pictures
  dawnslip rehearse --stay          and look around at the address it tells")]
pub struct RehearseOptions {
    /// So many orders
    #[arg(long, value_name = "N", default_value_t = 40)]
    pub orders: u32,
    /// Where the pictures of the paper go
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Leave it running until Ctrl-C
    #[arg(long)]
    pub stay: bool,
}
