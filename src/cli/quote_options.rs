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
  dawnslip quote order.json --source shop
  dawnslip quote --what 4*mug --to North --explain    and every refused way and rule

By the line, for programs: the least cost of sending units in any number of parcels.
  {\"id\":\"a\",\"units\":[{\"dims\":[90,90,70],\"turn\":\"any\",\"grams\":400}],
   \"containers\":[{\"name\":\"s\",\"inner\":[230,130,80],\"outer\":[236,136,86],
     \"tare_grams\":90,\"max_grams\":5000,\"cost\":34}],
   \"services\":[{\"name\":\"letter\",\"by\":\"weight\",\"max_grams\":1000,
     \"containers\":null,\"steps\":[[500,380],[1000,520]]}]}        (on one line)

  dawnslip quote --ndjson questions.ndjson")]
pub struct QuoteOptions {
    /// A message as the shop sends it; - for standard input
    #[arg(value_name = "FILE", conflicts_with_all = ["what", "weight", "ndjson"])]
    pub file: Option<PathBuf>,
    /// The source whose mapping reads FILE
    #[arg(long, value_name = "SOURCE", requires = "file")]
    pub source: Option<String>,
    /// Goods: 2*mug,1*teapot
    #[arg(long, value_name = "GOODS", required_unless_present_any = ["file", "weight", "ndjson"])]
    pub what: Option<String>,
    /// A zone, a country (QS), or a country and a postcode (QS/1203)
    #[arg(long, value_name = "PLACE")]
    pub to: Option<String>,
    /// This weight instead of the goods' own
    #[arg(long, value_name = "WEIGHT")]
    pub weight: Option<String>,
    /// Questions by the line, with units, containers and services of their own; - for standard input
    #[arg(long, value_name = "FILE", conflicts_with_all = ["what", "weight", "to", "container"])]
    pub ndjson: Option<PathBuf>,
    /// Only this container
    #[arg(long, value_name = "NAME")]
    pub container: Option<String>,
    /// Show the parts of each cost, every refused way with its reason, and every rule with what it looked at
    #[arg(long, conflicts_with = "ndjson")]
    pub explain: bool,
}
