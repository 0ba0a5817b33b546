//! The workshop as configured: validated and immutable. `config` builds it from files;
//! everything else only reads it.

use super::*;
use core::net::SocketAddr;
use jiff::SignedDuration;
use jiff::civil::{Date, Time, Weekday};
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

/// Everything that the configuration folder says.
#[derive(Debug, Clone)]
pub struct Workshop {
    /// Digest of all files.
    pub digest: ConfigDigest,
    /// The name on paper.
    pub name: String,
    /// BCP 47 language of the paper, which is also the stem of the file in `words/`.
    pub language: String,
    /// How numbers and dates look.
    pub locale: Locale,
    /// IANA zone of the workshop.
    pub zone: TimeZone,
    /// The one currency of prices and costs.
    pub currency: Currency,
    /// The sender's country, and address lines for labels.
    pub country: CountryCode,
    /// Address lines as printed.
    pub sender: Vec<String>,
    /// When, on which days, how much.
    pub day: Day,
    /// Days after which a person's data are erased.
    pub retention_days: u32,
    /// Daily copies of everything.
    pub backups: Backups,
    /// What working time costs; `None`: neither shown nor weighed.
    pub labour: Option<Labour>,
    /// Above this value of its goods a parcel abroad needs a CN 23 in place of a CN 22; `None`: not said.
    pub cn23_above: Option<Money>,
    /// Orders of one customer to one address travel together, where that is no dearer.
    pub joins_orders: bool,
    /// Parcels heavier than this are lifted by two.
    pub heavy_above: Weight,
    /// Where to listen.
    pub listeners: Listeners,
    /// Limits of intake.
    pub limits: Limits,
    /// Shops.
    pub sources: BTreeMap<SourceName, Source>,
    /// Goods, in file order.
    pub products: Vec<Product>,
    /// Containers, in file order (which breaks ties).
    pub containers: Vec<Container>,
    /// Supplies, in file order.
    pub supplies: Vec<Supply>,
    /// What every parcel gets.
    pub every_parcel: Vec<SupplyUse>,
    /// Services, in file order.
    pub services: Vec<Service>,
    /// Contracts, and the services that wait for one.
    pub contracts: Contracts,
    /// Rules, in file order.
    pub rules: Vec<Rule>,
    /// Printers, in file order; the first is the default.
    pub printers: Vec<Printer>,
    /// Which printer gets which kind; a kind that is missing goes to the first printer.
    pub routes: BTreeMap<PaperKind, PrinterName>,
    /// Card templates by name.
    pub cards: BTreeMap<CardName, CardTemplate>,
    /// The card that is printed where no rule says another; `None` prints no cards.
    pub default_card: Option<CardName>,
    /// From so many pieces on, a slip's stub shows how they lie in their box; 0: never.
    pub draw_packing_from: u32,
    /// Printed words.
    pub words: Words,
    /// A folder with more fonts, if configured.
    pub fonts: Option<PathBuf>,
    /// A drawing for the cards, if configured.
    pub logo: Option<LogoFile>,
    /// What is no mistake in them and worth knowing: one sentence each, with its place.
    pub notes: Vec<String>,
    /// The files as read, name (relative) and text: kept beside every plan that used them.
    pub files: BTreeMap<String, String>,
}

/// Price lists that one has or has not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Contracts {
    /// Those that the workshop has.
    pub has: Vec<String>,
    /// Services whose contract it does not have, each with its place among all services of the file.
    pub absent: Vec<(usize, Service)>,
}

/// Where the workshop's drawing lies and how it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogoFile {
    /// A PNG or SVG file.
    pub file: PathBuf,
    /// How its greys print.
    pub tone: Tone,
    /// How dark it prints, in percent.
    pub density_percent: u32,
}

/// How greys become dots.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Black or white: for drawings.
    Line,
    /// Error diffusion: for photographs.
    Diffused,
    /// A regular pattern: calmer for large flat greys.
    Ordered,
}

impl Workshop {
    /// The product with this sku.
    pub fn product(&self, sku: &Sku) -> Option<&Product> {
        self.products.iter().find(|p| &p.sku == sku)
    }
    /// The container of this name.
    pub fn container(&self, name: &ContainerName) -> Option<&Container> {
        self.containers.iter().find(|c| &c.name == name)
    }
    /// The service of this name.
    pub fn service(&self, name: &ServiceName) -> Option<&Service> {
        self.services.iter().find(|s| &s.name == name)
    }
    /// The supply of this name.
    pub fn supply(&self, name: &SupplyName) -> Option<&Supply> {
        self.supplies.iter().find(|s| &s.name == name)
    }
    /// The printer for a kind of paper.
    pub fn printer_for(&self, kind: PaperKind) -> Option<&Printer> {
        let named = self.routes.get(&kind).and_then(|name| self.printers.iter().find(|p| &p.name == name));
        named.or(self.printers.first())
    }
    /// The printer for a paper: the one that a rule chose for its parcel, else its shop's, else that of its kind.
    /// A name that the configuration no longer holds is passed over.
    pub fn printer_of(
        &self,
        kind: PaperKind,
        source: Option<&SourceName>,
        ruled: Option<&PrinterName>,
    ) -> Option<&Printer> {
        let named = |name: &PrinterName| self.printers.iter().find(|printer| &printer.name == name);
        let of_source = || source.and_then(|source| self.sources.get(source)?.printer.as_ref());
        ruled.and_then(named).or_else(|| of_source().and_then(named)).or_else(|| self.printer_for(kind))
    }
}

/// The working day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Day {
    /// Local time of the pick list.
    pub pick_list_at: Time,
    /// No pick list on these weekdays.
    pub closed_weekdays: Vec<Weekday>,
    /// Nor on these dates.
    pub closed_dates: BTreeSet<Date>,
    /// The list is sized to this many parcels, oldest promise first.
    pub parcels_a_day: u32,
    /// From and until: nothing prints in between (stop notes do). May cross midnight.
    pub quiet: Option<(Time, Time)>,
    /// When a trickle becomes a burst.
    pub burst: BurstSwitch,
}

impl Day {
    /// The first open day after this one.
    pub fn open_after(&self, day: Date) -> Date {
        let closed = |day: Date| self.closed_dates.contains(&day) || self.closed_weekdays.contains(&day.weekday());
        super::daytime::open_day(day.tomorrow().unwrap_or(day), closed)
    }
}

/// Slips and cards print one by one as orders trickle in; in a burst they wait and print in
/// pack order when packing starts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BurstSwitch {
    /// So many new orders ...
    pub orders: u32,
    /// ... within so long start a burst; as long without a new one ends it.
    pub within: SignedDuration,
}

/// Where the daemon listens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listeners {
    /// For shops.
    pub intake: SocketAddr,
    /// For people; loopback unless a token is set.
    pub desk: SocketAddr,
    /// File (or systemd credential) with the desk's token; needed for any bind beyond loopback.
    pub desk_token: Option<SecretRef>,
    /// Host names under which the desk may be asked, besides the address itself and `localhost`.
    pub desk_hosts: Vec<String>,
}

/// Limits of intake (DESIGN 5).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of one body.
    pub body_bytes: usize,
    /// Time for the request's head.
    pub header_time: SignedDuration,
    /// Time for its body.
    pub body_time: SignedDuration,
    /// Connections at once.
    pub connections: usize,
    /// Requests a minute and source, as a bucket of the same size.
    pub per_minute: u32,
}

/// Daily copies of everything, for the day on which the disk dies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backups {
    /// Whether they are made.
    pub off: bool,
    /// Local time of day.
    pub at: Time,
    /// Days for which each is kept.
    pub keep_days: u32,
    /// Where; relative to the data folder.
    pub folder: PathBuf,
}

/// Where a secret lies: never its value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SecretRef {
    /// A file; relative to the configuration folder.
    File(PathBuf),
    /// A systemd credential's name, found in `$CREDENTIALS_DIRECTORY`.
    Credential(String),
}

/// A shop.
#[derive(Debug, Clone)]
pub struct Source {
    /// Its name.
    pub name: SourceName,
    /// How its messages are signed.
    pub scheme: Scheme,
    /// Secrets, all accepted (rotation).
    pub secrets: Vec<SecretRef>,
    /// How its payload is read.
    pub payload: Payload,
    /// Its order numbers have no gaps: a missing one is reported. The text before the digits (`S-`).
    pub gapless_prefix: Option<String>,
    /// Which printer gets the papers of its orders; `None` follows the kind of paper.
    pub printer: Option<PrinterName>,
    /// When its papers print; `None` follows the mode (trickle or burst).
    pub print: Option<PrintWhen>,
}

/// When the papers of a source or kind print.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PrintWhen {
    /// As orders arrive.
    OnArrival,
    /// In pack order, when packing starts.
    WhenPackingStarts,
}

/// Signature schemes. RFC 9421 finds its place here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scheme {
    /// The open Standard Webhooks specification.
    StandardWebhooks {
        /// Seconds of clock difference accepted; exactly so many are accepted.
        tolerance: SignedDuration,
    },
    /// HMAC-SHA-256 over the raw body or a template.
    BodyHmac(BodyHmac),
}

/// Plain HMAC-SHA-256 in a header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BodyHmac {
    /// Header with the signature, lower case.
    pub header: String,
    /// How it is written.
    pub encoding: SignatureEncoding,
    /// Text before the signature in the header (`sha256=`).
    pub prefix: String,
    /// Header with a unix timestamp, and the tolerance.
    pub timestamp: Option<(String, SignedDuration)>,
    /// What is signed; `None`: the raw body. `{timestamp}`, `{id}` and `{body}` are replaced.
    pub template: Option<String>,
    /// Header with a message id; it counts as identity only if the template signs it.
    pub id_header: Option<String>,
}

/// How a signature is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignatureEncoding {
    /// Hexadecimal, either case.
    Hex,
    /// Standard base64 with padding.
    Base64,
}

/// How a payload is read.
#[derive(Debug, Clone)]
pub enum Payload {
    /// schema.org `Order` as JSON-LD.
    SchemaOrg,
    /// Any JSON by paths.
    Mapped(Box<Mapping>),
}

/// Paths into a payload: each an RFC 6901 pointer (starts with `/`, or is empty) or an RFC 9535 query (starts with `$`).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Mapping {
    /// Where the orders are, if a message can hold several or wraps one; default: the whole.
    pub order: Option<String>,
    /// Messages for which this finds nothing are no orders: acknowledged and left alone.
    pub only_if: Option<String>,
    /// The shop's number.
    pub number: String,
    /// Revision (a whole number, or an RFC 3339 instant).
    pub revision: Option<String>,
    /// When placed: RFC 3339.
    pub placed: Option<String>,
    /// Cancelled where this finds a value among `cancelled_values` (or `true` if none are given).
    pub cancelled: Option<String>,
    /// See `cancelled`.
    pub cancelled_values: Vec<String>,
    /// The lines.
    pub lines: String,
    /// Within a line: sku, name, quantity, unit price.
    pub line: LineMapping,
    /// The recipient's name; several paths are joined by a space.
    pub recipient: Vec<String>,
    /// The buyer's name.
    pub buyer: Vec<String>,
    /// Street lines.
    pub street: Vec<String>,
    /// Town.
    pub locality: Option<String>,
    /// Region.
    pub region: Option<String>,
    /// Postcode.
    pub postcode: Option<String>,
    /// Country, two letters.
    pub country: Option<String>,
    /// E-mail.
    pub email: Option<String>,
    /// Phone.
    pub phone: Option<String>,
    /// A gift where this finds `true`, or any text.
    pub gift: Option<String>,
    /// The buyer stays unnamed where this finds `true`, or any text.
    pub hide_buyer: Option<String>,
    /// The gift's text.
    pub gift_message: Option<String>,
    /// The customer wants a parcel for this order alone, where this finds `true`, or any text but a no.
    pub separate: Option<String>,
    /// A wish.
    pub wish: Option<String>,
    /// The requested service.
    pub service: Option<String>,
    /// The goods' total, and where its currency stands.
    pub total: Option<String>,
    /// Currency of prices: a path, or a code.
    pub currency: Option<String>,
    /// Prices are in minor units (whole numbers).
    pub prices_minor: bool,
    /// Not before: a date.
    pub not_before: Option<String>,
    /// Language of the customer.
    pub language: Option<String>,
}

/// Paths within one line.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LineMapping {
    /// The sku.
    pub sku: String,
    /// What the shop calls it.
    pub name: Option<String>,
    /// How many.
    pub quantity: Option<String>,
    /// Price of one.
    pub unit_price: Option<String>,
    /// Not goods where this finds a value among `skip_values` (or anything, if none are given).
    pub skip: Option<String>,
    /// See `skip`.
    pub skip_values: Vec<String>,
}

/// A named rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// Its name, on paper and in explanations.
    pub name: String,
    /// Condition in CEL.
    pub when: String,
    /// What then, in file order.
    pub then: Vec<Action>,
    /// Where it stands: `rules.toml:12`.
    pub place: String,
}

/// What a rule does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Action {
    /// Only these containers.
    RequireContainer(Vec<ContainerName>),
    /// Not these.
    ForbidContainer(Vec<ContainerName>),
    /// This one where it costs at most so much more.
    PreferContainer(ContainerName, Money),
    /// Only these services.
    RequireService(Vec<ServiceName>),
    /// Not these.
    ForbidService(Vec<ServiceName>),
    /// This one where it costs at most so much more.
    PreferService(ServiceName, Money),
    /// Wait until a person releases it; the reason in words.
    Hold(String),
    /// Ask a person; the question in words.
    NeedsYou(String),
    /// A line on the stub.
    Note(String),
    /// A marked line on the stub.
    Caution(String),
    /// Use this supply as well.
    Supply(SupplyUse),
    /// Put this in as well (a sample).
    Product(Sku, u32),
    /// Print this card.
    Card(CardName),
    /// Print the parcel's papers on this printer.
    Printer(PrinterName),
    /// Goes first.
    Urgent,
}

/// A printer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printer {
    /// Identity.
    pub name: PrinterName,
    /// Host and port, for example `bench-printer.lan:9100`.
    pub address: String,
    /// Dots across the paper.
    pub dots: u32,
    /// Dots per inch.
    pub dpi: u32,
    /// It can cut.
    pub cutter: bool,
    /// How it confirms.
    pub confirms: Confirms,
    /// Takes over when this one fails.
    pub stand_in: Option<PrinterName>,
    /// Quiet seconds after which a printer that can confirm nothing counts as done.
    pub quiet_after: SignedDuration,
    /// Give up waiting for an answer after so long.
    pub answer_time: SignedDuration,
    /// Its connection stays open between papers.
    pub keep_connection: bool,
    /// What happens to an uncertain job, by kind; a missing kind prints a copy.
    pub uncertain: BTreeMap<PaperKind, WhenUncertain>,
    /// Millimetres of a new roll, for "this roll ends after about 60 more slips".
    pub roll: Option<Length>,
}

impl Printer {
    /// One of which nothing but name and address is known: 80 mm, 203 dots an inch, a cutter, process ids.
    pub fn usual(name: impl Into<PrinterName>, address: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            address: address.into(),
            dots: 576,
            dpi: 203,
            cutter: true,
            confirms: Confirms::ProcessId,
            stand_in: None,
            quiet_after: SignedDuration::from_secs(5),
            answer_time: SignedDuration::from_secs(30),
            keep_connection: false,
            uncertain: BTreeMap::new(),
            roll: None,
        }
    }
}

/// How a printer confirms that a job is on paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confirms {
    /// It returns process ids.
    ProcessId,
    /// It answers the in-line status request.
    InlineStatus,
    /// It answers nothing.
    Nothing,
}

/// What happens to an uncertain job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WhenUncertain {
    /// Print it again, headed COPY.
    Copy,
    /// Ask a person first.
    Ask,
}

/// A card's template.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardTemplate {
    /// File stem; with a language where it is a card of one: `everyday.de`.
    pub name: CardName,
    /// Design: which ornament and layout; see `slip::card`.
    pub design: String,
    /// Markdown with variables, without the front matter.
    pub body: String,
    /// Line of the body's first line in the file, for messages.
    pub first_line: usize,
}

/// Every printed word of one language: key and text with `{name}` places.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Words {
    /// From `words/LANGUAGE.toml` over the embedded English.
    pub table: BTreeMap<String, String>,
}

impl Words {
    /// The text for a key; the key itself where it is missing (config reports that on load).
    pub fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.table.get(key).map_or(key, String::as_str)
    }
    /// The text with its places filled: `fill("parcels", &[("n", "41")])`.
    pub fn fill(&self, key: &str, places: &[(&str, &str)]) -> String {
        let mut text = self.get(key).to_owned();
        for (name, value) in places {
            text = text.replace(&format!("{{{name}}}"), value);
        }
        text
    }
}
