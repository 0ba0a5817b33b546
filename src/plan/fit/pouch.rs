//! Padded mailers and envelopes by the geometry of their girth.

use super::refute::reachable;
use super::{Budget, Fit, Laws, Piece, Reason, fit};

/// A pouch that lies flat, inside, allowances taken off; in any unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Pouch {
    /// To the closed edge.
    pub along: i64,
    /// Across.
    pub across: i64,
    /// Thickest allowed.
    pub thick: i64,
}

impl Pouch {
    /// Does one rigid block with these sides go in?
    ///
    /// With a ≥ b ≥ c and the thickness on the shortest side: b + c ≤ across and
    /// a + c ≤ along. Necessary, because a loop of the pouch (2 × across, 2 × along) must go
    /// round a rectangle of girth 2(b + c), 2(a + c); sufficient for a thin sheet that does
    /// not stretch, by folding its corners to ears. Padding of thickness t costs about
    /// (π/2)·t on each; ears, flap and pushing in cost more, so each container carries
    /// allowances that a person calibrates. Own derivation; the sizes that it gives agree
    /// with published soft-pack tiers (largest volume 4/27·s³ for a square pouch of side s).
    pub fn takes_block(&self, sides: super::Sides) -> Result<(), Reason> {
        let mut sorted = sides;
        sorted.sort_unstable_by(|a, b| b.cmp(a));
        let [a, b, c] = sorted;
        let lies = |along: i64, across: i64| a + c <= along && b + c <= across;
        if c <= self.thick && (lies(self.along, self.across) || lies(self.across, self.along)) {
            return Ok(());
        }
        // The sentence speaks of the longer side as "along", since the block would lie that way.
        let flat = [self.along.max(self.across), self.along.min(self.across)];
        Err(Reason::Girth { piece: None, sides: sorted, flat, thick: self.thick })
    }
}

/// Thicknesses tried at most.
const THICKNESSES_MAX: u32 = 400;

/// Do the pieces go into the pouch? For each thickness C that they can reach, thickest first, the
/// block (along − C) × (across − C) × C is packed like a box: the first that works is taken.
/// `Cannot` is claimed only if every thickness is refuted. Several things count as one rigid block:
/// a pouch that follows their outline more closely may hold more.
pub fn fit_pouch(pouch: Pouch, pieces: &[Piece], laws: Laws, budget: Budget) -> Fit {
    if pieces.is_empty() {
        return Fit::Fits(Vec::new());
    }
    if let [only] = pieces
        && let Err(Reason::Girth { sides, flat, thick, .. }) = pouch.takes_block(only.sides)
        && only.turn == super::Turning::Any
    {
        return Fit::Cannot(Reason::Girth { piece: Some(0), sides, flat, thick });
    }
    let turns: Vec<Vec<super::Sides>> = pieces.iter().map(Piece::turns).collect();
    let mut first_reason = None;
    let mut undecided = false;
    let mut thickness = pouch.thick;
    let mut tries_left = THICKNESSES_MAX;
    // From the thickest reachable sum down to nothing.
    while thickness > 0 {
        if tries_left == 0 {
            return Fit::Unknown;
        }
        tries_left -= 1;
        let reached = reachable([i64::MAX, i64::MAX, thickness], &turns)[2];
        if reached == 0 {
            break;
        }
        let room = [pouch.along - reached, pouch.across - reached, reached];
        if room[0] > 0 && room[1] > 0 {
            match fit(room, pieces, laws, budget) {
                fits @ Fit::Fits(_) => return fits,
                Fit::Unknown => undecided = true,
                Fit::Cannot(reason) => first_reason = first_reason.or(Some(reason)),
            }
        }
        thickness = reached - 1;
    }
    if undecided {
        return Fit::Unknown;
    }
    let mut sides = pieces[0].sides;
    sides.sort_unstable_by(|a, b| b.cmp(a));
    let flat = [pouch.along.max(pouch.across), pouch.along.min(pouch.across)];
    let girth = Reason::Girth { piece: (pieces.len() == 1).then_some(0), sides, flat, thick: pouch.thick };
    Fit::Cannot(if pieces.len() == 1 { girth } else { first_reason.unwrap_or(girth) })
}

#[cfg(test)]
mod tests {
    use super::super::Turning;
    use super::*;

    /// Hundredths of an inch in place of millimetres: the rule has no unit.
    const IDEAL: Pouch = Pouch { along: 1250, across: 950, thick: 1000 };

    #[test]
    fn the_mailer_examples_hold() {
        // Common practice without a source: a mailer of 12½ x 9½ in takes 9x5x3 and not 6x6x6.
        // By the ideal rule: 10x5x3 no (13 > 12½), 9x7x3 no (10 > 9½), 9x6x3½ just so.
        let table = [
            ([900, 500, 300], true),
            ([600, 600, 600], false),
            ([1000, 500, 300], false),
            ([900, 700, 300], false),
            ([900, 600, 350], true),
            ([900, 601, 350], false),
            ([901, 600, 350], false),
        ];
        for (sides, goes) in table {
            assert_eq!(IDEAL.takes_block(sides).is_ok(), goes, "{sides:?}");
            let piece = [Piece::plain(sides, Turning::Any)];
            let verdict = fit_pouch(IDEAL, &piece, Laws::Geometry, Budget::SMALL);
            assert_eq!(matches!(verdict, Fit::Fits(_)), goes, "{verdict:?}");
            assert_eq!(matches!(verdict, Fit::Cannot(_)), !goes, "{verdict:?}");
        }
        // With an allowance of ½ in along and 1½ in across 9x5x3 is the largest usual one.
        let real = Pouch { along: 1200, across: 800, thick: 1000 };
        assert!(real.takes_block([900, 500, 300]).is_ok());
        assert!(real.takes_block([900, 600, 300]).is_err());
    }

    #[test]
    fn the_largest_block_of_a_square_pouch_is_four_twentysevenths_of_its_cube() {
        // Half of L + W = 21, 27, 31, 34, 36 in gives 0.099 to 0.500 ft³ (soft-pack tiers,
        // from memory); the best thickness is a third of the side.
        for (l_plus_w, cubic_feet) in [(21.0f64, 0.099), (27.0, 0.211), (31.0, 0.319), (34.0, 0.421), (36.0, 0.500)] {
            let s = l_plus_w / 2.0;
            assert!((4.0 / 27.0 * s.powi(3) / 1728.0 - cubic_feet).abs() < 0.001);
        }
        let pouch = Pouch { along: 300, across: 300, thick: 300 };
        let largest = (1..300)
            .filter(|&c| pouch.takes_block([300 - c, 300 - c, c]).is_ok())
            .map(|c| (300 - c) * (300 - c) * c)
            .max();
        assert_eq!(largest, Some(200 * 200 * 100));
    }

    #[test]
    fn several_things_lie_side_by_side_in_a_mailer() {
        let pouch = Pouch { along: 300, across: 220, thick: 40 };
        let tins = vec![Piece::plain([100, 80, 30], Turning::Any); 4];
        assert!(matches!(fit_pouch(pouch, &tins, Laws::Bench, Budget::SMALL), Fit::Fits(_)));
        let many = vec![Piece::plain([100, 80, 30], Turning::Any); 12];
        assert!(matches!(fit_pouch(pouch, &many, Laws::Bench, Budget::SMALL), Fit::Cannot(_)));
    }
}
