//! What comes on top of a price, or off it: surcharges and discounts, a minimum, tax, rounding.

use super::{Parcel, Quoted};
use crate::model::*;
use jiff::civil::Date;

/// A whole, in hundredths of a percent.
const WHOLE: i128 = 10_000;

/// Adds all that applies, in the order of the file.
pub fn add(service: &Service, quoted: &mut Quoted<'_>, parcel: &Parcel<'_>, to: &Destination, on: Date) {
    let add = |name: String, minor: i64, quoted: &mut Quoted<'_>| {
        if minor != 0 {
            quoted.surcharges.push((name, Money::new(minor, quoted.postage.currency)));
        }
    };
    for surcharge in &service.surcharges {
        if applies(surcharge, quoted.zone, parcel, to, on) {
            add(surcharge.name.clone(), amount(surcharge, quoted.postage.minor, on), quoted);
        }
    }
    if let Some(minimum) = service.minimum {
        let missing = minimum.minor - quoted.total().minor;
        add("up to the minimum".to_owned(), missing.max(0), quoted);
    }
    if let Some(rate) = service.vat {
        let tax = share(quoted.total().minor, i128::from(rate), Round::Near);
        add(format!("VAT {}", percent(rate)), tax, quoted);
    }
    if let Some((to, round)) = service.round {
        add("rounding".to_owned(), rounded(quoted.total().minor, to, round) - quoted.total().minor, quoted);
    }
}

/// The least that `postage` can become by all this.
pub fn least(service: &Service, postage: i64, on: Date) -> i64 {
    let off = service.surcharges.iter().map(|surcharge| amount(surcharge, postage, on).min(0)).sum::<i64>();
    // Shares round up: of a dearer price a discount may be a minor unit larger in proportion.
    let some = i64::try_from(service.surcharges.len()).unwrap_or(i64::MAX);
    let mut least = if off < 0 { postage + off - some } else { postage };
    least = service.minimum.map_or(least, |minimum| least.max(minimum.minor));
    if let Some(rate) = service.vat {
        least += share(least, i128::from(rate), Round::Down);
    }
    match service.round {
        Some((to, _)) => rounded(least, to, Round::Down),
        None => least,
    }
}

fn applies(surcharge: &Surcharge, zone: &str, parcel: &Parcel<'_>, to: &Destination, on: Date) -> bool {
    surcharge.above_weight.is_none_or(|above| parcel.weight > above)
        && by_size(surcharge, &parcel.outer)
        && is_due(surcharge, zone, to, on)
}

/// Is something of this size large enough for it?
pub fn by_size(surcharge: &Surcharge, outer: &Dims) -> bool {
    surcharge.above_longest.is_none_or(|above| outer.sorted()[0] > above)
        && surcharge.above_length_and_girth.is_none_or(|above| outer.length_and_girth() > above)
        && surcharge.above_volume.is_none_or(|above| outer.volume() > above)
}

/// Is it asked there on that day?
pub fn is_due(surcharge: &Surcharge, zone: &str, to: &Destination, on: Date) -> bool {
    let (from, until) = surcharge.between;
    (surcharge.zones.is_empty() || surcharge.zones.iter().any(|z| z == zone))
        && CountryCode::is_meant_by(&surcharge.countries, to.country)
        && (surcharge.postcodes.is_empty() || surcharge.postcodes.iter().any(|some| some.hold(&to.postcode_head)))
        && from.is_none_or(|from| on >= from)
        && until.is_none_or(|until| on <= until)
}

fn amount(surcharge: &Surcharge, postage: i64, on: Date) -> i64 {
    match &surcharge.amount {
        SurchargeAmount::Fixed(amount) => amount.minor,
        SurchargeAmount::PerTenThousand(rate) => share(postage, i128::from(*rate), Round::Up),
        SurchargeAmount::ByMonth(rates) => {
            let rate = rates.range(..=(on.year(), on.month())).next_back().map_or(0, |(_, rate)| *rate);
            share(postage, i128::from(rate), Round::Up)
        }
    }
}

/// Hundredths of a percent of an amount, to a whole minor unit.
fn share(minor: i64, rate: i128, round: Round) -> i64 {
    i64::try_from(round.to_steps(i128::from(minor) * rate, WHOLE)).unwrap_or(i64::MAX)
}

fn rounded(minor: i64, to: Money, round: Round) -> i64 {
    let step = i128::from(to.minor.max(1));
    i64::try_from(round.to_steps(i128::from(minor), step) * step).unwrap_or(i64::MAX)
}

/// `19 %`, `8.1 %`.
fn percent(rate: u32) -> String {
    let text = format!("{}.{:02}", rate / 100, rate % 100);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}
