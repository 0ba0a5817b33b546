//! The options of `dawnslip quote`.

use std::path::PathBuf;

/// Which box and service something would get, and why
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Plans without keeping anything: the cheapest, whether that is proved, what else was
weighed, and what would change it.

  dawnslip quote --what 2*mug,1*teapot --to Middle
  dawnslip quote --what 4*mug --to QS/1203
  dawnslip quote --what 4*mug --container Medium    only in this one
  dawnslip quote --weight '1.2 kg' --container Medium --to North
  dawnslip quote order.json --source shop")]
pub struct QuoteOptions {
    /// A message as the shop sends it; - for standard input
    #[arg(value_name = "FILE", conflicts_with_all = ["what", "weight"])]
    pub file: Option<PathBuf>,
    /// The source whose mapping reads FILE
    #[arg(long, value_name = "SOURCE", requires = "file")]
    pub source: Option<String>,
    /// Goods: 2*mug,1*teapot
    #[arg(long, value_name = "GOODS", required_unless_present_any = ["file", "weight"])]
    pub what: Option<String>,
    /// A zone, a country (QS), or a country and a postcode (QS/1203)
    #[arg(long, value_name = "PLACE")]
    pub to: Option<String>,
    /// This weight instead of the goods' own
    #[arg(long, value_name = "WEIGHT")]
    pub weight: Option<String>,
    /// Only this container
    #[arg(long, value_name = "NAME")]
    pub container: Option<String>,
}
