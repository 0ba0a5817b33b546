//! What is sold and what packing takes: products, containers, supplies, as configured.

use super::*;
use jiff::SignedDuration;
use jiff::civil::Date;

/// A product, with what it inherits (`like`) already filled in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Product {
    /// Identity.
    pub sku: Sku,
    /// On paper.
    pub name: String,
    /// Outer size as it goes into a container, third side upright; `None` needs a person.
    pub dims: Option<Dims>,
    /// Weight of one; `None` needs a person.
    pub weight: Option<Weight>,
    /// Where it lies.
    pub shelf: String,
    /// How it may be turned.
    pub turn: Turn,
    /// Nothing may stand on it.
    pub fragile: bool,
    /// So many may stand on each other; `None`: any number.
    pub stack: Option<u32>,
    /// Flat and easily bent: lies against a wall, the floor or the lid.
    pub by_wall: bool,
    /// Cushion around it, on every side.
    pub cushion: Length,
    /// Soft goods can be pressed to this share of their height, in percent; 100 for hard things.
    pub softness_percent: u32,
    /// A bundle: made of others.
    pub made_of: Vec<(Sku, u32)>,
    /// Waits until a person says `ready`.
    pub made_to_order: bool,
    /// Is a tool of the shop, not goods (voucher, download): needs no parcel.
    pub not_shipped: bool,
    /// At the bench before packing: "wrap in tissue".
    pub preparation: Option<String>,
    /// How to lay it.
    pub how_to_lay: Option<String>,
    /// Supplies for each piece.
    pub supplies: Vec<SupplyUse>,
    /// For the card: Markdown of one paragraph.
    pub care: Option<String>,
    /// For the card.
    pub ingredients: Option<String>,
    /// For the card and as a caution.
    pub allergens: Vec<String>,
    /// What is dangerous about it, shown as a caution that defers to the carrier's rules.
    pub danger: Option<Danger>,
    /// HS code, origin and value for customs.
    pub customs: Option<Customs>,
    /// Batches on the shelf, in file order: own size and weight where they differ.
    pub batches: Vec<Batch>,
}

/// Customs data of a product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Customs {
    /// Harmonised System code.
    pub hs_code: String,
    /// Country of origin.
    pub origin: CountryCode,
    /// Description in plain words.
    pub description: String,
}

/// One made batch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Batch {
    /// As on the shelf label.
    pub name: BatchName,
    /// Own size.
    pub dims: Option<Dims>,
    /// Own weight.
    pub weight: Option<Weight>,
    /// Best before; first-expiring goes first.
    pub best_before: Option<Date>,
    /// Pieces when it was put on the shelf; `None`: not counted.
    pub made: Option<u32>,
    /// Shelf, where it differs.
    pub shelf: Option<String>,
}

/// Allowed turns by right angles.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Turn {
    /// All six.
    Any,
    /// The height stays upright: two turns.
    ThisSideUp,
    /// Lies on its largest face: two turns of that.
    FlatOnly,
}

/// Anything that closes around goods.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Container {
    /// Identity.
    pub name: ContainerName,
    /// Kind with its measures.
    pub kind: ContainerKind,
    /// Weight when empty.
    pub tare: Weight,
    /// What one costs.
    pub cost: Money,
    /// Cushion along every inner wall, taken off the room inside; of a mailer its own padding, which makes it
    /// thicker than what is in it.
    pub cushion: Length,
    /// Most that it may carry.
    pub load_max: Option<Weight>,
    /// Pieces in stock; `None`: not counted.
    pub stock: Option<u32>,
    /// The carrier's own container: usable only with services that name it.
    pub carriers: bool,
    /// Containers (by name) that may stand in this one; empty: goods go straight in (see `goods`).
    pub takes: Vec<ContainerName>,
    /// Goods may go straight in.
    pub goods: bool,
    /// "Holds at most N of SKU" said by a person: overrules geometry downwards.
    pub holds: Vec<Holds>,
    /// Time to fold and close one; `None`: as the workshop says for all.
    pub folding: Option<SignedDuration>,
    /// Supplies for closing one: tape, fill.
    pub supplies: Vec<SupplyUse>,
    /// Filling: how much of the free room is filled, with what; its weight counts.
    pub fill: Option<Fill>,
}

/// Container kinds with their measures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ContainerKind {
    /// A rigid box.
    Box {
        /// Room inside.
        inner: Dims,
        /// Size outside.
        outer: Dims,
    },
    /// A padded mailer by girth geometry: see `plan::fit`.
    PaddedMailer {
        /// Inside, flat: to the closed edge, and across.
        flat: [Length; 2],
        /// Outside, flat.
        outer: [Length; 2],
        /// Lost along and across to padding, ears and flap (calibrated by a person).
        allowance: [Length; 2],
        /// Thickest that is allowed, outside.
        thickness_max: Length,
    },
    /// An envelope by thickness.
    Envelope {
        /// Inside, flat.
        flat: [Length; 2],
        /// Thickest that is allowed.
        thickness_max: Length,
    },
}

/// A person's word on how many fit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holds {
    /// Of which product.
    pub sku: Sku,
    /// At most so many.
    pub at_most: u32,
    /// True: believed upwards, too (so many do fit, whatever geometry says).
    pub trust: bool,
}

/// Filling of the free room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fill {
    /// Which supply.
    pub supply: SupplyName,
    /// Share of the free room, percent.
    pub share_percent: u32,
    /// Grams per litre of filled room.
    pub grams_per_litre: u32,
}

/// What packing uses up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supply {
    /// Identity.
    pub name: SupplyName,
    /// How it is counted.
    pub unit: SupplyUnit,
    /// Price of so many base units: `(price, units)`.
    pub price: Money,
    /// Base units that `price` buys.
    pub price_for: i64,
    /// Base units in stock; `None`: not counted.
    pub stock: Option<i64>,
    /// Weight of one base unit times `weight_for`: counts to the parcel.
    pub weight: Weight,
    /// Base units that `weight` weighs.
    pub weight_for: i64,
}

/// How a supply is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SupplyUnit {
    /// Pieces.
    Piece,
    /// Nanometres.
    Length,
    /// Nanograms.
    Weight,
}
