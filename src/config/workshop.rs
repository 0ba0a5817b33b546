//! `workshop.toml`: the house, its day, its listeners and limits.

use super::draft::{Given, Section, Span};
use super::names::{Kind, Names, nearest};
use super::shape;
use super::sources::secret_ref;
use super::values::{Bytes, Days};
use crate::model::*;
use jiff::SignedDuration;
use jiff::civil::{Time, Weekday};
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::Path;

/// Default port of the desk.
const DESK_PORT: u16 = 7780;
/// Default port of intake.
const INTAKE_PORT: u16 = 7781;
/// Persons are kept for so many days where nothing is said.
const RETENTION_DAYS: u32 = 90;
/// Backups likewise, or for as long as persons if that is shorter.
const BACKUPS_KEPT_DAYS: u32 = 14;
/// How a parcel lies in its box is drawn from so many pieces on, and the most that may be said.
const DRAW_PACKING_FROM: u32 = 3;
const DRAW_PACKING_MAX: u32 = 1000;
/// Smallest and largest body that intake may be told to take.
const BODY_BYTES: std::ops::RangeInclusive<usize> = 1024..=16 * 1024 * 1024;

/// The currency, read before anything else: every amount is checked against it.
pub(super) fn currency(section: &Section<'_>) -> Currency {
    if !section.has("currency") {
        section.missing("currency", "\"EUR\"");
    }
    section.currency("currency").map_or(Currency::EUR, |given| given.value)
}

/// What units of other currencies cost.
pub(super) fn rates(section: &Section<'_>, home: Currency) -> BTreeMap<Currency, Rate> {
    let mut rates = BTreeMap::new();
    for pair in section.pairs("rates") {
        let Some(of) = section.currency_of(&pair.key) else { continue };
        if section.is_bare_amount(&pair, home) {
            continue;
        }
        let Some(text) = section.text_in(&pair) else { continue };
        let what = format!("this does not say what a {of} costs");
        match Rate::read(of, text.value.trim()) {
            _ if of == home => {
                section.complain(&pair.key.at, format!("all prices are in {of} anyway"), "take this line out");
            }
            Ok(rate) if rate.home != home => {
                let remedy = format!("say it in {home}, the workshop's currency: \"1.00 {home}\"");
                section.complain(&text.at, what, remedy);
            }
            Ok(rate) => {
                rates.insert(of, rate);
            }
            Err(why) => section.complain(&text.at, what, why.to_string()),
        }
    }
    rates
}

/// The workshop without what the other files hold.
pub(super) fn read(section: &Section<'_>, names: &Names, currency: Currency, base: &Path) -> Workshop {
    let day = section.sub("day", &shape::DAY);
    let limits = section.sub("limits", &shape::LIMITS);
    let retention = section.written::<Days>("retention").map_or(RETENTION_DAYS, |days| days.value.0);
    let default_card = section.text("card").filter(|card| names.check(section, Kind::Card, card));
    Workshop {
        digest: ConfigDigest::new(""),
        name: required(section, "name", "\"Tern & Thistle\"").map_or_else(String::new, |given| {
            section.is_printed(&given);
            given.value
        }),
        language: language(section),
        locale: locale(section),
        zone: zone(section),
        currency,
        country: country(section),
        sender: section.texts("sender").into_iter().inspect(|line| section.is_printed(line)).map(|l| l.value).collect(),
        day: read_day(section, day.as_ref()),
        retention_days: retention,
        backups: read_backups(section.sub("backups", &shape::BACKUPS).as_ref(), retention),
        labour: section.sub("labour", &shape::LABOUR).and_then(|labour| read_labour(&labour, currency)),
        cn23_above: section.money("cn23_above", currency).map(|given| given.value),
        joins_orders: section.sub("orders", &shape::ORDERS).is_some_and(|orders| orders.yes("join")),
        heavy_above: section.written("heavy_above").map_or(HEAVY, |given| given.value),
        listeners: listeners(section, base),
        limits: read_limits(limits.as_ref()),
        sources: BTreeMap::new(),
        products: Vec::new(),
        containers: Vec::new(),
        supplies: Vec::new(),
        every_parcel: Vec::new(),
        services: Vec::new(),
        contracts: Contracts::default(),
        rules: Vec::new(),
        printers: Vec::new(),
        routes: BTreeMap::new(),
        cards: BTreeMap::new(),
        default_card: default_card.map(|card| CardName(card.value)),
        draw_packing_from: section
            .whole("draw_packing_from", 0, DRAW_PACKING_MAX)
            .map_or(DRAW_PACKING_FROM, |given| given.value),
        words: Words::default(),
        fonts: section.text("fonts").map(|folder| base.join(folder.value)),
        logo: section.text("logo").map(|file| LogoFile {
            file: base.join(file.value),
            tone: section.word("logo_tone", &TONES).unwrap_or(Tone::Line),
            density_percent: section.whole("logo_density", 10, 200).map_or(100, |given| given.value),
        }),
        notes: Vec::new(),
        files: BTreeMap::new(),
    }
}

/// What working time costs.
fn read_labour(labour: &Section<'_>, currency: Currency) -> Option<Labour> {
    if !labour.has("wage") {
        labour.missing("wage", "\"18.00 EUR\" (of an hour)");
    }
    let time = |key: &str| labour.written(key).map_or(SignedDuration::ZERO, |given| given.value);
    let [per_parcel, per_container, per_piece] = ["per_parcel", "per_container", "per_piece"].map(time);
    let meant = Labour {
        wage: labour.money("wage", currency)?.value,
        per_parcel,
        per_container,
        per_piece,
        weighed: labour.yes("weighed"),
    };
    if [meant.per_parcel, meant.per_container, meant.per_piece].iter().all(SignedDuration::is_zero) {
        labour.missing("per_parcel", "\"4 min\", or per_container or per_piece");
    }
    Some(meant)
}

/// The load constant of the revised NIOSH lifting equation: what one person lifts at most where all else is ideal
/// (NIOSH 94-110, rev. 9/2021: 51 lb or 23 kg).
const HEAVY: Weight = Weight::from_g(23_000);

/// How a logo's greys may print.
const TONES: [(&str, Tone); 3] = [("line", Tone::Line), ("diffused", Tone::Diffused), ("ordered", Tone::Ordered)];

/// Contracts that the workshop has, with where they are named.
pub(super) fn contracts(section: &Section<'_>) -> Vec<Given<String>> {
    section.texts("contracts")
}

/// Where the language is named, for complaints about its words.
pub(super) fn language_at(section: &Section<'_>) -> Span {
    section.entry("language").map_or(section.at.clone(), |entry| entry.at)
}

fn required(section: &Section<'_>, key: &str, example: &str) -> Option<Given<String>> {
    if !section.has(key) {
        section.missing(key, example);
        return None;
    }
    let given = section.text(key)?;
    if given.value.trim().is_empty() {
        section.complain(&given.at, format!("`{key}` is empty"), format!("write it like {key} = {example}"));
        return None;
    }
    Some(given)
}

fn language(section: &Section<'_>) -> String {
    let Some(given) = section.text("language") else { return "en".to_owned() };
    // BCP 47: letters and digits in groups with hyphens; it is also the stem of a file.
    let fine = (2..=35).contains(&given.value.len())
        && given.value.split('-').all(|part| !part.is_empty() && part.bytes().all(|b| b.is_ascii_alphanumeric()));
    if !fine {
        section.complain(&given.at, "this is no language", "write it as in BCP 47: \"en\", \"de\", \"pt-BR\"");
        return "en".to_owned();
    }
    given.value
}

fn locale(section: &Section<'_>) -> Locale {
    let decimal_mark = section.word("decimal_mark", &[(".", '.'), (",", ',')]).unwrap_or('.');
    let marks = [("", None), (" ", Some(' ')), (".", Some('.')), (",", Some(',')), ("’", Some('’')), ("'", Some('’'))];
    let group_mark = section.word("group_mark", &marks).flatten();
    if group_mark == Some(decimal_mark)
        && let Some(given) = section.text("group_mark")
    {
        let what = "`group_mark` and `decimal_mark` are the same";
        section.complain(&given.at, what, "nobody could tell 1.000 from 1,000; choose two");
    }
    let clock = [("24 hours", DayClock::Hours24), ("12 hours", DayClock::Hours12)];
    let units = [("metric", Units::Metric), ("ounces", Units::Ounces)];
    let places = [("after", CurrencyAt::After), ("before", CurrencyAt::Before)];
    let sign = section.text("currency_sign");
    if let Some(given) = sign.as_ref().filter(|given| given.value.trim().is_empty() || given.value.chars().count() > 4)
    {
        section.complain(&given.at, "this is no currency's sign", "one to four letters, like \"€\" or \"Fr\"");
    }
    Locale {
        decimal_mark,
        group_mark,
        day_first: section.word("dates", &[("day first", true), ("month first", false)]).unwrap_or(true),
        clock: section.word("times", &clock).unwrap_or_default(),
        units: section.word("units", &units).unwrap_or_default(),
        currency_sign: sign.map(|given| given.value.trim().to_owned()).unwrap_or_default(),
        currency_at: section.word("currency_at", &places).unwrap_or_default(),
    }
}

fn zone(section: &Section<'_>) -> TimeZone {
    let Some(given) = required(section, "time_zone", "\"Europe/London\"") else { return TimeZone::UTC };
    TimeZone::get(&given.value).unwrap_or_else(|_| {
        let known: Vec<String> = jiff::tz::db().available().map(|name| name.to_string()).collect();
        // People often write the town alone.
        let town = known.iter().find(|name| {
            name.rsplit('/').next().is_some_and(|town| town.eq_ignore_ascii_case(&given.value.replace(' ', "_")))
        });
        let near = town.map(String::as_str).or_else(|| nearest(&given.value, known.iter().map(String::as_str)));
        let remedy = match near {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "an IANA name, like \"Europe/London\"".to_owned(),
        };
        section.complain(&given.at, format!("there is no time zone {:?}", given.value), remedy);
        TimeZone::UTC
    })
}

fn country(section: &Section<'_>) -> CountryCode {
    if !section.has("country") {
        section.missing("country", "\"GB\"");
    }
    section.written("country").map_or_else(placeholder_country, |given: Given<CountryCode>| given.value)
}

/// Stands where a complaint was made; never reaches a workshop that is used.
fn placeholder_country() -> CountryCode {
    "QZ".parse().unwrap_or_else(|_| unreachable!("QZ is one of the codes left to users"))
}

fn read_day(section: &Section<'_>, day: Option<&Section<'_>>) -> Day {
    const WEEKDAYS: [(&str, Weekday); 7] = [
        ("Monday", Weekday::Monday),
        ("Tuesday", Weekday::Tuesday),
        ("Wednesday", Weekday::Wednesday),
        ("Thursday", Weekday::Thursday),
        ("Friday", Weekday::Friday),
        ("Saturday", Weekday::Saturday),
        ("Sunday", Weekday::Sunday),
    ];
    let mut meant = Day {
        pick_list_at: Time::constant(7, 0, 0, 0),
        closed_weekdays: Vec::new(),
        closed_dates: BTreeSet::new(),
        parcels_a_day: 40,
        quiet: None,
        burst: BurstSwitch { orders: 12, within: SignedDuration::from_mins(15) },
    };
    let Some(day) = day else { return meant };
    if let Some(time) = day.time("pick_list_at") {
        meant.pick_list_at = time.value;
    }
    meant.closed_weekdays = day.words("closed_weekdays", &WEEKDAYS);
    meant.closed_weekdays.dedup();
    if WEEKDAYS.iter().all(|(_, weekday)| meant.closed_weekdays.contains(weekday)) {
        let at = day.entry("closed_weekdays").map_or(section.at.clone(), |entry| entry.at);
        day.complain(&at, "all seven days are closed", "leave the days out on which you pack");
    }
    meant.closed_dates = day.dates("closed_dates").into_iter().map(|date| date.value).collect();
    if let Some(count) = day.whole("parcels_a_day", 1, 100_000) {
        meant.parcels_a_day = count.value;
    }
    if let Some(quiet) = day.sub("quiet", &shape::QUIET) {
        for key in ["from", "until"].into_iter().filter(|key| !quiet.has(key)) {
            quiet.missing(key, "\"20:00\"");
        }
        if let (Some(from), Some(until)) = (quiet.time("from"), quiet.time("until")) {
            if from.value == until.value {
                quiet.complain(
                    &until.at,
                    "the quiet hours end when they begin",
                    "leave `quiet` out to print at any time",
                );
            }
            meant.quiet = Some((from.value, until.value));
        }
    }
    if let Some(burst) = day.sub("burst", &shape::BURST) {
        if let Some(orders) = burst.whole("orders", 2, 10_000) {
            meant.burst.orders = orders.value;
        }
        if let Some(within) = positive(&burst, "within") {
            meant.burst.within = within;
        }
    }
    meant
}

/// A time span that is more than nothing.
pub(super) fn positive(section: &Section<'_>, key: &str) -> Option<SignedDuration> {
    let given: Given<SignedDuration> = section.written(key)?;
    if given.value.is_zero() {
        section.complain(&given.at, format!("`{key}` is no time at all"), "write at least \"1 s\"");
        return None;
    }
    Some(given.value)
}

fn listeners(section: &Section<'_>, base: &Path) -> Listeners {
    let local = |port| SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), port);
    let mut meant =
        Listeners { intake: local(INTAKE_PORT), desk: local(DESK_PORT), desk_token: None, desk_hosts: Vec::new() };
    let Some(listen) = section.sub("listen", &shape::LISTEN) else { return meant };
    if let Some(intake) = address(&listen, "intake") {
        meant.intake = intake.value;
    }
    if let Some(token) = listen.entry("desk_token") {
        meant.desk_token = secret_ref(&listen, &token, base);
    }
    if let Some(desk) = address(&listen, "desk") {
        meant.desk = desk.value;
        if !desk.value.ip().is_loopback() && !listen.has("desk_token") {
            listen.complain(
                &desk.at,
                "the desk would be open to everybody in the network",
                "add desk_token = { file = \"secrets/desk-token\" }, or say \"127.0.0.1:7780\"",
            );
        }
    }
    if meant.desk == meant.intake && meant.desk.port() != 0 {
        let at = listen.entry("desk").or(listen.entry("intake")).map_or(listen.at.clone(), |entry| entry.at);
        listen.complain(&at, "desk and intake listen at the same address", "give one of them another port");
    }
    meant.desk_hosts = listen.texts("desk_hosts").into_iter().map(|host| host.value.to_ascii_lowercase()).collect();
    meant
}

fn address(section: &Section<'_>, key: &str) -> Option<Given<SocketAddr>> {
    let given = section.text(key)?;
    match given.value.trim().parse() {
        Ok(value) => Some(Given { value, at: given.at }),
        Err(_) => {
            let remedy =
                "write an IP address and a port, like \"127.0.0.1:7780\" (this machine only) or \"0.0.0.0:7781\"";
            section.complain(&given.at, format!("`{key}` is no address to listen at"), remedy);
            None
        }
    }
}

fn read_backups(backups: Option<&Section<'_>>, retention_days: u32) -> Backups {
    let mut meant = Backups {
        off: false,
        at: Time::constant(3, 30, 0, 0),
        keep_days: BACKUPS_KEPT_DAYS.min(retention_days),
        folder: "backups".into(),
    };
    let Some(backups) = backups else { return meant };
    meant.off = backups.yes("off");
    if let Some(at) = backups.time("at") {
        meant.at = at.value;
    }
    if let Some(folder) = backups.text("folder") {
        if folder.value.trim().is_empty() {
            backups.complain(&folder.at, "`folder` is empty", "name a folder, like \"/mnt/stick/dawnslip\"");
        }
        meant.folder = folder.value.into();
    }
    if let Some(keep) = backups.written::<Days>("keep") {
        meant.keep_days = keep.value.0;
        if meant.keep_days > retention_days {
            backups.complain(
                &keep.at,
                format!("names and addresses would be kept in backups for longer than the {retention_days} days of `retention`"),
                format!("keep backups for at most \"{retention_days} days\", or say a longer `retention`"),
            );
        }
    }
    meant
}

fn read_limits(limits: Option<&Section<'_>>) -> Limits {
    let mut meant = Limits {
        body_bytes: 256 * 1024,
        header_time: SignedDuration::from_secs(10),
        body_time: SignedDuration::from_secs(20),
        connections: 256,
        per_minute: 600,
    };
    let Some(limits) = limits else { return meant };
    if let Some(body) = limits.written::<Bytes>("body") {
        meant.body_bytes = body.value.0;
        if !BODY_BYTES.contains(&meant.body_bytes) {
            limits.complain(&body.at, "`body` is out of bounds", "from \"1 KiB\" to \"16 MiB\"");
        }
    }
    if let Some(time) = positive(limits, "header_time") {
        meant.header_time = time;
    }
    if let Some(time) = positive(limits, "body_time") {
        meant.body_time = time;
    }
    if let Some(count) = limits.whole("connections", 1, 10_000) {
        meant.connections = count.value as usize;
    }
    if let Some(count) = limits.whole("per_minute", 1, 1_000_000) {
        meant.per_minute = count.value;
    }
    meant
}
