//! Bounds from below on what parcels cost, before anything is priced or fitted: no service asks less
//! than its cheapest step that could carry the goods, no wrap holds more than its room.
//!
//! They spare most orders the comparison of all their splits: where two parcels cost at least what
//! one does, it need not be looked at how.

use super::weigh::Weighing;
use crate::model::*;
use crate::plan::tariff;

/// Sets of things for which splits in two are bounded at most; beyond, parcels count as empty ones.
const SETS_MAX: usize = 20_000;

/// What one parcel costs at least, by the weight and the room of its goods.
pub struct Bounds {
    /// Of one piece of each kind: nanograms, cubic units.
    pieces: Vec<(i64, i128)>,
    /// Up to so many nanograms a parcel is asked so much at least; dearer with each row.
    services: Vec<(i64, i64)>,
    /// Up to so much room a wrap costs so much at least; dearer with each row.
    wraps: Vec<(i128, i64)>,
}

impl Bounds {
    /// For one order in all its parts.
    pub fn of(weighing: &Weighing<'_>) -> Self {
        let pieces = weighing.kinds.iter().map(|kind| (kind.weight.ng, kind.piece.volume())).collect();
        let services: Vec<&Service> = weighing
            .services
            .iter()
            .filter(|service| weighing.limits.against_service(service).is_none())
            .copied()
            .collect();
        let least = |weight: i64| {
            let weight = Weight { ng: weight };
            let asked =
                services.iter().map(|service| tariff::least(service, &weighing.order.destination, weighing.on, weight));
            asked.flatten().min()
        };
        let mut ends: Vec<i64> =
            services.iter().flat_map(|service| tariff::weights(service, weighing.on)).map(|w| w.ng).collect();
        // Without a step or a limit any weight is one price.
        ends.push(i64::MAX);
        let rooms: Vec<(i128, i64)> =
            weighing.open_wraps().map(|wrap| (wrap.holds_at_most(), weighing.own_cost(wrap))).collect();
        let cheapest = |room: i128| rooms.iter().filter(|(holds, _)| *holds >= room).map(|(_, cost)| *cost).min();
        Self {
            pieces,
            services: rows(ends, least),
            wraps: rows(rooms.iter().map(|(holds, _)| *holds).collect(), cheapest),
        }
    }

    /// One parcel with these goods costs at least so much; `None`: nothing carries them together.
    pub fn of_one(&self, counts: &[u32]) -> Option<i64> {
        let (mut weight, mut room) = (0i64, 0i128);
        for (&(ng, volume), &count) in self.pieces.iter().zip(counts) {
            weight = weight.saturating_add(ng.saturating_mul(i64::from(count)));
            room = room.saturating_add(volume.saturating_mul(i128::from(count)));
        }
        Some(at(&self.services, weight)?.saturating_add(at(&self.wraps, room)?))
    }

    /// Two or more parcels with all these goods cost at least so much; `None`: they cannot be sent.
    pub fn of_several(&self, counts: &[u32]) -> Option<i64> {
        let any = self.of_one(&vec![0; counts.len()])?;
        let two = any.saturating_mul(2);
        let sets = counts.iter().fold(1usize, |sets, &count| sets.saturating_mul(count as usize + 1));
        if sets > SETS_MAX {
            return Some(two);
        }
        let (mut set, mut rest, mut least) = (vec![0; counts.len()], counts.to_vec(), None);
        while next(&mut set, counts) && set != counts {
            rest.iter_mut().zip(counts).zip(&set).for_each(|((rest, all), taken)| *rest = all - taken);
            let Some(one) = self.of_one(&set) else { continue };
            // The rest is one parcel, or several.
            let others = self.of_one(&rest).map_or(two, |rest| rest.min(two));
            let both = one.saturating_add(others);
            least = Some(least.map_or(both, |known: i64| known.min(both)));
        }
        least
    }
}

/// Turns one set of things into the next one, the last of which is all; `false` after that.
fn next(set: &mut [u32], counts: &[u32]) -> bool {
    for (taken, all) in set.iter_mut().zip(counts) {
        if *taken < *all {
            *taken += 1;
            return true;
        }
        *taken = 0;
    }
    false
}

/// A function that never falls, as rows: up to each of these ends its value there.
fn rows<T: Copy + Ord>(mut ends: Vec<T>, value: impl Fn(T) -> Option<i64>) -> Vec<(T, i64)> {
    ends.sort_unstable();
    ends.dedup();
    ends.into_iter().filter_map(|end| Some((end, value(end)?))).collect()
}

fn at<T: Copy + Ord>(rows: &[(T, i64)], wanted: T) -> Option<i64> {
    rows.get(rows.partition_point(|(end, _)| *end < wanted)).map(|(_, value)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Up to 1 kg for 300, up to 2 kg for 500, up to 5 kg for 900; wraps for 10 and 40 units of room.
    fn bounds() -> Bounds {
        Bounds {
            pieces: vec![(400, 4), (900, 9)],
            services: vec![(1_000, 300), (2_000, 500), (5_000, 900)],
            wraps: vec![(10, 20), (40, 60)],
        }
    }

    #[test]
    fn one_parcel_is_asked_the_cheapest_step_that_carries_it() {
        let one = |counts: [u32; 2]| bounds().of_one(&counts);
        assert_eq!(one([0, 0]), Some(320));
        assert_eq!(one([2, 0]), Some(320));
        assert_eq!(one([1, 1]), Some(560), "1.3 kg, 13 units of room");
        assert_eq!(one([0, 4]), Some(960));
        assert_eq!(one([10, 0]), Some(960));
        assert_eq!(one([11, 0]), None, "44 units of room");
        assert_eq!(one([0, 6]), None, "5.4 kg");
    }

    /// By hand: every split, each part in one parcel or, where that is less, as two empty ones.
    #[test]
    fn several_parcels_cost_what_their_cheapest_split_does() {
        let several = |counts: [u32; 2]| bounds().of_several(&counts);
        assert_eq!(several([1, 0]), None, "one piece is one parcel");
        assert_eq!(several([1, 1]), Some(320 + 320));
        assert_eq!(several([4, 0]), Some(320 + 320));
        assert_eq!(several([0, 3]), Some(320 + 560), "one and two: 1.8 kg in 18 units of room");
        assert_eq!(several([0, 4]), Some(560 + 560).min(Some(320 + 640)), "one, and three in two parcels");
    }

    #[test]
    fn so_many_sets_that_none_is_looked_at() {
        let most = u32::try_from(SETS_MAX).expect("a count");
        assert_eq!(bounds().of_several(&[most, 1]), Some(640));
    }

    #[test]
    fn rows_end_where_nothing_carries_any_more() {
        let value = |end: i64| (end <= 20).then_some(end * 2);
        let made = rows(vec![30, 10, 20, 10], value);
        assert_eq!(made, [(10, 20), (20, 40)]);
        assert_eq!([0, 10, 11, 20, 21].map(|wanted| at(&made, wanted)), [Some(20), Some(20), Some(40), Some(40), None]);
    }
}
