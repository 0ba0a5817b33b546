//! At which thicknesses a service changes its mind about something that gives way: a mailer is as
//! thick as what is in it, but is priced before anybody knows how thick that lies.
//!
//! All of a price that hangs on the size stands in [`BySize`], and each part of that only ever grows
//! with the thickness. So two thicknesses with the same answer have it in between as well, and every
//! change is found by halving, whatever limit or step it comes from.

use super::{Parcel, Refusal, limits, measure, surcharge, volume_step, welcome};
use crate::model::*;
use jiff::civil::Date;

/// Thicknesses below the greatest at most. Of more every second, third ... counts: what lies between
/// two of them costs what the thicker one does, so at most the difference of these two too much.
pub const LEVELS_MAX: usize = 24;
/// Changes looked for with one service; a table of more steps ends somewhere, too.
const CHANGES_MAX: usize = 64;
/// Where each bit of size costs a bit more, it counts in so many shares of what it can become: at most
/// one share's price too much.
const SHARES: i64 = 8;
/// Nothing that is sent is thinner; what is no round figure anyway is rounded down to it. Nobody
/// measures a mailer closer.
const STEP: i64 = NM_PER_MM / 10;
/// Round figures, as limits are written: hundredths of a millimetre, 64ths of an inch.
const ROUND: [i64; 2] = [NM_PER_MM / 100, 25_400_000 / 64];
/// Nanometres that measure both: a change is looked for no finer.
const FINEST: i64 = 625;
const _: () = assert!(ROUND[0] % FINEST == 0 && ROUND[1] % FINEST == 0);

/// A thickness, and who cares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Level<'s> {
    /// Outside, at most.
    pub most: Length,
    /// These services answer otherwise than one level thicker.
    pub minded_by: Vec<&'s ServiceName>,
}

/// Thicknesses at which some service takes a parcel, or asks for it, what it would not if it were any
/// thicker, thickest first. `parcel` is as thick as it may get, what it weighs does not count; nothing
/// goes into it where it is no thicker than `empty`.
pub fn thinner<'s>(
    services: &[&'s Service],
    parcel: &Parcel<'_>,
    empty: Length,
    to: &Destination,
    on: Date,
) -> Vec<Level<'s>> {
    let (least, most) = (empty.nm.max(0).saturating_add(STEP), parcel.outer.height.nm);
    if least >= most {
        return Vec::new();
    }
    let as_thick = &|nm: i64| Parcel { outer: Dims { height: Length { nm }, ..parcel.outer }, ..parcel.clone() };
    let mut changes = Vec::new();
    let mut asked = Vec::new();
    for (name, service) in services.iter().map(|service| (&service.name, service.on(on))) {
        let Ok(zone) = welcome(service, parcel, to, on) else { continue };
        let says = move |share: i64, nm: i64| BySize::of(service, &as_thick(nm), zone, share, to, on);
        let share = share_of(service, parcel.outer);
        let (thin, thick) = (says(share, least), says(share, most));
        if thin != thick {
            let before = changes.len();
            let (low, high) = (least / FINEST, most / FINEST + i64::from(most % FINEST != 0));
            let at = |steps: i64| says(share, (steps * FINEST).clamp(least, most));
            changes_between(&at, (low, &thin), (high, &thick), before + CHANGES_MAX, &mut changes);
            // Which thicknesses are looked at goes by shares, what each of them costs does not.
            asked.push((name, says, says(1, most)));
        }
    }
    let mut ends: Vec<i64> =
        changes.into_iter().map(|steps| round_down(steps * FINEST)).filter(|nm| *nm >= least).collect();
    ends.sort_unstable_by(|one, other| other.cmp(one));
    ends.dedup();
    let level = |nm: i64| {
        let mut minded_by = Vec::new();
        for (name, says, thicker) in &mut asked {
            let now = says(1, nm);
            if now.takes() && now != *thicker {
                minded_by.push(*name);
            }
            *thicker = now;
        }
        Level { most: Length { nm }, minded_by }
    };
    // Several limits passed at once, or one that shuts out what is small: somebody must gain by it.
    let levels: Vec<Level<'s>> = ends.into_iter().map(level).filter(|level| !level.minded_by.is_empty()).collect();
    let every = levels.len().div_ceil(LEVELS_MAX).max(1);
    let mut kept: Vec<Level<'s>> = Vec::with_capacity(LEVELS_MAX);
    let mut minded_by = Vec::new();
    for (at, level) in levels.into_iter().enumerate() {
        minded_by.extend(level.minded_by);
        if at % every == 0 {
            kept.push(Level { most: level.most, minded_by: std::mem::take(&mut minded_by) });
        }
    }
    kept
}

/// Whatever is no round figure lost at most a tenth of a millimetre.
fn round_down(nm: i64) -> i64 {
    if ROUND.iter().any(|unit| nm % unit == 0) { nm } else { nm - nm % STEP }
}

/// The greatest thicknesses, in steps, with another answer than one step more has, thickest first.
fn changes_between(
    says: &impl Fn(i64) -> BySize,
    low: (i64, &BySize),
    high: (i64, &BySize),
    most: usize,
    found: &mut Vec<i64>,
) {
    if low.1 == high.1 || found.len() >= most {
        return;
    }
    let middle = low.0 + (high.0 - low.0) / 2;
    if middle == low.0 {
        return found.push(low.0);
    }
    let between = says(middle);
    changes_between(says, (middle, &between), high, most, found);
    changes_between(says, low, (middle, &between), most, found);
}

/// What of a service's answer hangs on the size. Each part only grows with the thickness.
#[derive(Debug, Clone, PartialEq, Eq)]
struct BySize {
    within: Within,
    /// By which step it is charged; `None`: larger than the last.
    charged: Option<Charged>,
    /// Which surcharges it is large enough for.
    surcharged: Vec<bool>,
}

/// Is the size allowed?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Within {
    TooSmall,
    Allowed,
    TooLarge,
}

/// What a size is charged as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Charged {
    /// The price has nothing to do with it.
    AnySize,
    /// By a step by volume, with its bounds.
    Volume(Volume, Option<Length>),
    /// As a weight: the end of its step, and in proportion so many shares.
    AsWeight(Weight, i128),
}

impl BySize {
    fn of(service: &Service, parcel: &Parcel<'_>, zone: &str, share: i64, to: &Destination, on: Date) -> Self {
        let light = Parcel { weight: Weight::ZERO, ..parcel.clone() };
        let within = match limits(service, &light) {
            Ok(()) => Within::Allowed,
            Err(Refusal::TooSmall(..)) => Within::TooSmall,
            Err(_) => Within::TooLarge,
        };
        let charged = match &service.price {
            Price::Nothing | Price::Fixed(_) => Some(Charged::AnySize),
            Price::ByVolume(steps) => {
                let step = volume_step(steps, zone, parcel, service.side_step);
                step.ok().map(|step| Charged::Volume(step.up_to, step.soft_up_to))
            }
            Price::ByWeight(steps) => match &service.dimensional {
                None => Some(Charged::AnySize),
                Some(rule) => {
                    let counts = measure::dimensional(rule, parcel.outer).unwrap_or(Weight::ZERO);
                    let carrying = steps.iter().filter(|step| step.zone == zone && step.up_to >= counts);
                    carrying.min_by_key(|step| step.up_to).map(|step| {
                        let shares = if step.for_each.is_some() {
                            Round::Up.to_steps(i128::from(counts.ng), i128::from(share))
                        } else {
                            0
                        };
                        Charged::AsWeight(step.up_to, shares)
                    })
                }
            },
        };
        let large_enough =
            |it: &Surcharge| surcharge::is_due(it, zone, to, on) && surcharge::by_size(it, &parcel.outer);
        Self { within, charged, surcharged: service.surcharges.iter().map(large_enough).collect() }
    }

    fn takes(&self) -> bool {
        self.within == Within::Allowed && self.charged.is_some()
    }
}

/// Nanograms of a share where a size counts as weight: no finer than the service's own step.
fn share_of(service: &Service, thickest: Dims) -> i64 {
    let Some(rule) = &service.dimensional else { return 1 };
    let all = measure::dimensional(rule, thickest).map_or(0, |counts| counts.ng);
    let step = rule.weight_step.map_or(1, |step| step.ng.max(1));
    (all / SHARES).max(step)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of a mailer of 230 x 150 mm that may get 50 mm thick, with these services.
    fn levels(services: &[Service]) -> Vec<String> {
        minded(services).into_iter().map(|(most, _)| most).collect()
    }

    /// The same, with the names of those who mind.
    fn minded(services: &[Service]) -> Vec<(String, Vec<String>)> {
        let name = ContainerName::new("Mailer");
        let outer = Dims::from_mm(230, 150, 50);
        let mailer = Parcel { outermost: &name, carriers: false, soft: true, outer, weight: Weight::ZERO };
        let to =
            Destination { country: None, postcode_head: String::new(), address_hash: String::new(), post_box: false };
        let services: Vec<&Service> = services.iter().collect();
        let on = jiff::civil::date(2026, 11, 25);
        let levels = thinner(&services, &mailer, Length::from_mm(4), &to, on);
        let names = |level: &Level<'_>| level.minded_by.iter().map(ToString::to_string).collect();
        levels.iter().map(|level| (level.most.to_string(), names(level))).collect()
    }

    fn free(change: impl FnOnce(&mut Service)) -> Service {
        let mut service = Service::plain("Way");
        change(&mut service);
        service
    }

    fn money(minor: i64) -> Money {
        Money::new(minor, Currency::EUR)
    }

    fn tiers(ends_cm3: impl IntoIterator<Item = u64>) -> Price {
        let ends = ends_cm3.into_iter().zip(1..);
        Price::ByVolume(
            ends.map(|(end, price)| VolumeStep {
                zone: String::new(),
                up_to: Volume::from_cm3(end),
                soft_up_to: None,
                price: money(price),
            })
            .collect(),
        )
    }

    /// Light things of 1 cm3 count as a gram; up to 500 g, 1 kg and 5 kg, or each gram in proportion.
    fn by_size(in_proportion: bool, rule: Dimensional) -> Service {
        let step = |(grams, price): (i64, i64)| WeightStep {
            zone: String::new(),
            up_to: Weight::from_g(grams),
            price: money(price),
            for_each: in_proportion.then(|| (money(1), Weight::from_g(1))),
        };
        free(|service| {
            service.price = Price::ByWeight([(500, 300), (1_000, 400), (5_000, 600)].map(step).into());
            service.dimensional = Some(rule);
        })
    }

    fn a_gram_each_cm3() -> Dimensional {
        let (size, weighs) = (Volume::from_cm3(1), Weight::from_g(1));
        Dimensional { size, weighs, above: None, side_step: None, weight_step: None }
    }

    /// By hand: 34.5 cm2 lie flat, so that a litre is 28.98 mm thick, and half of one 14.49.
    #[test]
    fn each_limit_and_each_step_ends_at_a_thickness() {
        let mm = Length::from_mm;
        let bulky = Surcharge {
            above_length_and_girth: Some(mm(600)),
            ..Surcharge::plain("bulky", SurchargeAmount::Fixed(money(100)))
        };
        let cases: [(Service, &[&str]); 15] = [
            (free(|_| {}), &[]),
            (free(|it| it.outer_max = Some(Dims::from_mm(240, 19, 160))), &["19 mm"]),
            (free(|it| it.outer_max = "10 x 6 x 3/4 in".parse().ok()), &["19.05 mm"]),
            (free(|it| it.outer_max = "10 x 6 x 19/64 in".parse().ok()), &["7.540625 mm"]),
            (free(|it| it.outer_max = Some(Dims::from_mm(240, 140, 19))), &[]),
            (free(|it| it.outer_max = Some(Dims::from_mm(240, 160, 4))), &[]),
            (free(|it| it.longest_max = Some(mm(229))), &[]),
            (free(|it| it.sum_max = Some(mm(395))), &["15 mm"]),
            (free(|it| it.length_and_girth_max = Some(mm(555))), &["12.5 mm"]),
            (free(|it| it.outer_min = Some(Dims::from_mm(100, 100, 20))), &[]),
            (free(|it| it.surcharges = vec![bulky]), &["35 mm"]),
            (free(|it| it.price = tiers([500, 1_000, 9_000])), &["28.9 mm", "14.4 mm"]),
            (by_size(false, a_gram_each_cm3()), &["28.9 mm", "14.4 mm"]),
            (by_size(false, Dimensional { above: Some(Volume::from_cm3(1_200)), ..a_gram_each_cm3() }), &["34.7 mm"]),
            (free(|it| it.containers = vec!["Box".into()]), &[]),
        ];
        for (service, expected) in cases {
            assert_eq!(levels(std::slice::from_ref(&service)), expected, "{service:?}");
        }
    }

    /// Sides in whole steps of 10 mm, down: as thin as 29.99 mm they count 20.
    #[test]
    fn steps_of_sides_end_where_they_end() {
        let ends = tiers([230 * 150 * 20 / 1_000, 9_000]);
        let service = free(|it| (it.price, it.side_step) = (ends, Some(Length::from_mm(10))));
        assert_eq!(levels(&[service]), ["29.9 mm"]);
    }

    /// Two limits of one service, two services with the same, and a service that asks the same in any case.
    #[test]
    fn what_gains_nobody_anything_is_no_level() {
        let letter = free(|it| {
            it.outer_max = Some(Dims::from_mm(240, 160, 19));
            it.sum_max = Some(Length::from_mm(405));
        });
        assert_eq!(levels(&[letter.clone(), letter.clone(), free(|_| {})]), ["19 mm"]);
        let thin = free(|it| it.outer_max = Some(Dims::from_mm(240, 160, 10)));
        assert_eq!(levels(&[thin.clone(), letter]), ["19 mm", "10 mm"]);
        // Refused at any thickness, and past its time.
        let never = free(|it| {
            it.outer_max = Some(Dims::from_mm(240, 160, 10));
            it.longest_max = Some(Length::from_mm(200));
        });
        assert_eq!(levels(&[never]), [""; 0]);
        let elsewhere = free(|it| {
            it.outer_max = Some(Dims::from_mm(240, 160, 10));
            it.valid.1 = Some(jiff::civil::date(2026, 1, 1));
        });
        assert_eq!(levels(&[elsewhere]), [""; 0]);
    }

    /// Who asks for each gram of size asks less at every level, whoever it is for; who has one limit minds that.
    #[test]
    fn each_level_says_who_minds_it() {
        let named = |name: &str, service: Service| Service { name: name.into(), ..service };
        let limit = |name: &str, most: i64| named(name, free(|it| it.outer_max = Some(Dims::from_mm(240, 160, most))));
        let all = [limit("Letter", 27), limit("Flat", 9), named("By size", by_size(true, a_gram_each_cm3()))];
        let minded = minded(&all);
        assert!(minded.iter().all(|(_, by)| by.contains(&"By size".to_owned())), "{minded:?}");
        let of = |name: &str| -> Vec<&str> {
            let by_name = minded.iter().filter(|(_, by)| by.iter().any(|it| it == name));
            by_name.map(|(most, _)| most.as_str()).collect()
        };
        assert_eq!((of("Letter"), of("Flat")), (vec!["27 mm"], vec!["9 mm"]));
    }

    /// Of some hundred tiers, each half a millimetre thick, so many; where each gram costs, eight shares.
    #[test]
    fn there_are_never_many_levels() {
        let many = levels(&[free(|it| it.price = tiers((1..100).map(|step| step * 17)))]);
        assert!((LEVELS_MAX / 2..=LEVELS_MAX).contains(&many.len()), "{many:?}");
        let eighths = levels(&[by_size(true, a_gram_each_cm3())]);
        // In shares of 215.625 g of 1 725 g, and where a step ends.
        let of_shares =
            ["43.75 mm", "37.5 mm", "31.25 mm", "28.9 mm", "25 mm", "18.75 mm", "14.4 mm", "12.5 mm", "6.25 mm"];
        assert_eq!(eighths, of_shares);
    }
}
