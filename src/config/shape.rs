//! Every setting there is, table by table: what is not listed here is an unknown key, and
//! a test holds that the comments of the sample explain each.

/// One kind of table in one file.
#[derive(Debug, PartialEq, Eq)]
pub struct Shape {
    /// The file that holds it.
    pub file: &'static str,
    /// What it describes, as in "unknown key in ...".
    pub what: &'static str,
    /// Its keys; empty where the keys are names that the workshop gives.
    pub keys: &'static [&'static str],
}

macro_rules! shapes {
    ($($name:ident = $file:literal, $what:literal, [$($key:literal),* $(,)?];)+) => {
        $(pub(super) static $name: Shape = Shape { file: $file, what: $what, keys: &[$($key),*] };)+
        /// Every kind of table that the configuration knows.
        pub static SHAPES: &[&Shape] = &[$(&$name),+];
    };
}

shapes! {
    WORKSHOP = "workshop.toml", "the workshop", [
        "name", "language", "time_zone", "currency", "country", "sender", "decimal_mark", "group_mark", "dates", "times",
        "units", "currency_sign", "currency_at", "retention", "cn23_above", "heavy_above", "contracts", "fonts", "logo",
        "logo_tone", "logo_density", "card", "draw_packing_from", "day", "orders", "listen", "limits", "backups",
        "labour", "rates",
    ];
    ORDERS = "workshop.toml", "the orders", ["join"];
    DAY = "workshop.toml", "the day", [
        "pick_list_at", "closed_weekdays", "closed_dates", "parcels_a_day", "quiet", "burst",
    ];
    QUIET = "workshop.toml", "the quiet hours", ["from", "until"];
    BURST = "workshop.toml", "the burst switch", ["orders", "within"];
    LISTEN = "workshop.toml", "the listeners", ["intake", "desk", "desk_token", "desk_hosts"];
    LIMITS = "workshop.toml", "the limits", ["body", "header_time", "body_time", "connections", "per_minute"];
    BACKUPS = "workshop.toml", "the backups", ["at", "keep", "folder", "off"];
    LABOUR = "workshop.toml", "labour", ["wage", "per_parcel", "per_container", "per_piece", "weighed"];
    SECRET = "sources.toml", "the place of a secret", ["file", "credential"];

    SOURCES = "sources.toml", "the sources", ["source"];
    SOURCE = "sources.toml", "a source", [
        "scheme", "secrets", "tolerance", "header", "encoding", "prefix", "timestamp_header", "template",
        "id_header", "payload", "map", "gapless_prefix", "printer", "print",
    ];
    MAP = "sources.toml", "a mapping", [
        "order", "only_if", "number", "revision", "placed", "cancelled", "cancelled_values", "lines", "line",
        "recipient", "buyer", "street", "locality", "region", "postcode", "country", "email", "phone", "gift",
        "hide_buyer", "gift_message", "separate", "wish", "service", "total", "currency", "prices", "not_before",
        "language",
    ];
    MAP_LINE = "sources.toml", "the mapping of a line", [
        "sku", "name", "quantity", "unit_price", "skip", "skip_values",
    ];

    PRODUCTS = "products.toml", "the products", ["product"];
    PRODUCT = "products.toml", "a product", [
        "name", "like", "size", "weight", "shelf", "turn", "fragile", "stack_at_most", "by_wall", "cushion",
        "pressed_to", "made_of", "made_to_order", "not_shipped", "preparation", "how_to_lay", "supplies", "care", "ingredients",
        "allergens", "danger", "customs", "batch",
    ];
    DANGER = "products.toml", "the danger of a product", ["words", "un", "net", "limited_quantity"];
    CUSTOMS = "products.toml", "customs data", ["hs_code", "origin", "description"];
    BATCH = "products.toml", "a batch", ["name", "size", "weight", "best_before", "made", "shelf"];

    PACKAGING = "packaging.toml", "the packaging", ["container", "supply", "every_parcel"];
    CONTAINER = "packaging.toml", "a container", [
        "kind", "inner", "outer", "flat_inner", "flat_outer", "allowance", "thickness_max", "tare", "cost", "cushion",
        "load_max", "stock", "carriers", "takes", "goods", "holds", "supplies", "folding", "fill",
    ];
    HOLDS = "packaging.toml", "a hint on what a container holds", ["sku", "at_most", "trust"];
    FILL = "packaging.toml", "the filling", ["supply", "share", "weight_per_litre"];
    SUPPLY = "packaging.toml", "a supply", [
        "counted_in", "price", "price_for", "stock", "weight", "weight_for",
    ];

    SERVICES = "services.toml", "the services", ["service", "zones"];
    SERVICE = "services.toml", "a service", [
        "asked_as", "only_when_asked", "collect", "currency", "containers", "weight_max", "longest_max", "length_and_girth_max",
        "side_step", "dimensional", "sum_max", "outer_max", "outer_min", "no_post_box", "price", "tariff", "by", "later",
        "minimum", "zones", "refuses", "limited_quantity", "surcharge", "vat", "round_to", "round", "contract", "valid_from", "valid_until", "prints",
        "per_day", "latest",
    ];
    REFUSES = "services.toml", "refused contents", ["danger", "countries", "but_limited_quantity"];
    LIMITED = "services.toml", "limited quantities", ["gross_max", "net_max", "mark", "countries"];
    LATER = "services.toml", "later prices", [
        "from", "price", "tariff", "by", "dimensional", "minimum", "vat", "weight_max", "longest_max",
        "length_and_girth_max", "sum_max", "outer_max", "outer_min",
    ];
    DIMENSIONAL = "services.toml", "size as weight", ["size", "weighs", "above", "side_step", "sides", "weight_step"];
    SURCHARGE = "services.toml", "a surcharge", [
        "name", "amount", "months", "above_weight", "above_longest", "above_length_and_girth", "above_volume", "zones",
        "countries", "postcodes", "from", "until",
    ];
    ZONE = "services.toml", "a zone", ["zone", "countries", "postcodes"];

    RULES = "rules.toml", "the rules", ["rule"];
    RULE = "rules.toml", "a rule", [
        "when", "require_container", "forbid_container", "prefer_container", "require_service", "forbid_service",
        "prefer_service", "hold", "needs_you", "note", "caution", "supply", "product", "card", "printer", "urgent",
    ];
    PREFER = "rules.toml", "a preference", ["name", "up_to"];

    PRINTERS = "printers.toml", "the printers", ["printer", "routes"];
    PRINTER = "printers.toml", "a printer", [
        "address", "dots", "dpi", "cutter", "confirms", "stand_in", "quiet_after", "answer_time", "keep_connection",
        "uncertain", "roll",
    ];
    PAPERS = "printers.toml", "the kinds of paper", [
        "slip", "card", "pick_list", "change_note", "stop_note", "test_page", "label", "customs",
    ];

    CARD = "cards/*.md", "the head of a card", ["design"];
}
