//! `dawnslip try`.

/// Send a signed test message to a source, step by step
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Signs a message that is no order with the source's own secret, sends it to the public
listener, and tells each step: which secret, what was signed, what came back. So you
know that the way is open before a shop uses it.

  dawnslip try shop
  dawnslip try shop --to https://orders.tern.example   through the proxy
  dawnslip try shop --curl          prints the curl command instead")]
pub struct TryOptions {
    /// The source, as in sources.toml
    #[arg(value_name = "SOURCE")]
    pub source: String,
    /// Where to send it; default: the listener of workshop.toml
    #[arg(long, value_name = "URL")]
    pub to: Option<String>,
    /// Print the curl command instead
    #[arg(long)]
    pub curl: bool,
}
