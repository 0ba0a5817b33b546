//! How a workshop writes numbers, money, sizes, weights and the time of day. Words are not its
//! matter: those stand in the files of words.

use super::{Dims, Length, Money, NM_PER_MM, Weight};

/// Nanometres of an inch, exactly.
const NM_PER_IN: i64 = 25_400_000;
/// Nanograms of an ounce, exactly.
const NG_PER_OZ: i64 = 28_349_523_125;
/// From here on a weight is told in pounds and ounces.
const POUNDS_FROM_OZ: i64 = 32;

/// A workshop's writing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Locale {
    /// Between whole and part: `.` or `,`.
    pub decimal_mark: char,
    /// Between thousands; `None` for nothing.
    pub group_mark: Option<char>,
    /// Dates as `25 Nov` (true) or `Nov 25`.
    pub day_first: bool,
    /// Times as `18:58` or `6:58 pm`.
    pub clock: DayClock,
    /// What weights and sizes are told in.
    pub units: Units,
    /// Instead of the currency's code: `€`; empty for the code.
    pub currency_sign: String,
    /// Where sign or code stands.
    pub currency_at: CurrencyAt,
}

/// Hours of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DayClock {
    /// 0 to 23.
    #[default]
    Hours24,
    /// 1 to 12, twice.
    Hours12,
}

/// Systems of units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Grams and kilograms, millimetres and metres.
    #[default]
    Metric,
    /// Ounces and pounds, inches and feet.
    Ounces,
}

/// As the desk says it: in English, with a point, in the workshop's units.
impl Units {
    fn told(self, by: impl Fn(&Locale) -> String) -> String {
        by(&Locale { units: self, ..Locale::default() }).replace('\u{a0}', " ")
    }
    /// `640 g`, `22.6 oz`.
    pub fn weight(self, weight: Weight) -> String {
        self.told(|locale| locale.weight(weight))
    }
    /// `1 kg`, `15.999 oz`.
    pub fn limit(self, weight: Weight) -> String {
        self.told(|locale| locale.limit(weight))
    }
    /// `230 mm`, `9 in`.
    pub fn side(self, length: Length) -> String {
        self.told(|locale| locale.side(length))
    }
    /// `25 mm`, `0.625 in`.
    pub fn thickness(self, most: Length) -> String {
        self.told(|locale| locale.thickness(most))
    }
    /// `230 x 150 x 100 mm`, `9 x 6 x 4 in`.
    pub fn dims(self, dims: Dims) -> String {
        self.told(|locale| locale.dims(dims))
    }
}

/// Where a currency stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CurrencyAt {
    /// `3.46 EUR`.
    #[default]
    After,
    /// `€3.46`; a code keeps its space: `EUR 3.46`.
    Before,
}

impl Default for Locale {
    fn default() -> Self {
        Self {
            decimal_mark: '.',
            group_mark: None,
            day_first: true,
            clock: DayClock::default(),
            units: Units::default(),
            currency_sign: String::new(),
            currency_at: CurrencyAt::default(),
        }
    }
}

impl Locale {
    /// A plain figure (`-1234.50`) in this writing: `-1 234,50`.
    pub fn figure(&self, plain: &str) -> String {
        let (sign, rest) = plain.strip_prefix('-').map_or(("", plain), |rest| ("-", rest));
        let (whole, part) = rest.split_once('.').map_or((rest, None), |(whole, part)| (whole, Some(part)));
        let mut out = String::from(sign);
        for (at, digit) in whole.chars().enumerate() {
            // Four digits in a row are read at a glance only where a part follows: `1234`, but `1,234.50`.
            if let Some(mark) = self.group_mark
                && at > 0
                && (whole.len() - at).is_multiple_of(3)
                && (whole.len() > 4 || part.is_some())
            {
                out.push(if mark == ' ' { '\u{a0}' } else { mark });
            }
            out.push(digit);
        }
        if let Some(part) = part {
            out.push(self.decimal_mark);
            out.push_str(part);
        }
        out
    }

    /// `3,46 EUR`, `€3.46`.
    pub fn money(&self, money: Money) -> String {
        let figure = self.figure(&money.figure());
        let code = money.currency.to_string();
        let sign = if self.currency_sign.is_empty() { &code } else { &self.currency_sign };
        match self.currency_at {
            CurrencyAt::After => format!("{figure}\u{a0}{sign}"),
            CurrencyAt::Before if sign.chars().all(char::is_alphabetic) => format!("{sign}\u{a0}{figure}"),
            CurrencyAt::Before => match figure.strip_prefix('-') {
                Some(figure) => format!("-{sign}{figure}"),
                None => format!("{sign}{figure}"),
            },
        }
    }

    /// `640 g`, `1,84 kg`; `6.4 oz`, `2 lb 3.5 oz`.
    pub fn weight(&self, weight: Weight) -> String {
        match self.units {
            Units::Metric => self.unit(&weight.to_string()),
            Units::Ounces => self.ounces(weight, 1),
        }
    }

    /// A limit, exact to a thousandth of an ounce: `1 kg`, `15.999 oz`.
    pub fn limit(&self, weight: Weight) -> String {
        match self.units {
            Units::Metric => self.unit(&weight.short()),
            Units::Ounces => self.ounces(weight, 3),
        }
    }

    /// A side: `230 mm`; `9 in`, `7.48 in`.
    pub fn side(&self, length: Length) -> String {
        match self.units {
            Units::Metric => self.unit(&length.to_string()),
            Units::Ounces => format!("{}\u{a0}in", self.decimals(length.nm, NM_PER_IN, 2)),
        }
    }

    /// How thick something may be: `25 mm`; `0.625 in`, what is finer is left out so that nobody is told too much.
    pub fn thickness(&self, most: Length) -> String {
        match self.units {
            Units::Metric => self.unit(&most.to_string()),
            Units::Ounces => {
                let thousandth = NM_PER_IN / 1000;
                format!("{}\u{a0}in", self.decimals(most.nm - most.nm % thousandth, NM_PER_IN, 3))
            }
        }
    }

    /// Three sides: `230 x 150 x 100 mm`; `9 x 6 x 4 in`.
    pub fn dims(&self, dims: Dims) -> String {
        match self.units {
            Units::Metric => self.unit(&dims.to_string()),
            Units::Ounces => {
                let sides = [dims.length, dims.width, dims.height];
                let [a, b, c] = sides.map(|side| self.decimals(side.nm, NM_PER_IN, 2));
                format!("{a}\u{a0}x\u{a0}{b}\u{a0}x\u{a0}{c}\u{a0}in")
            }
        }
    }

    /// So much of a roll: `12.5 m`, `80 cm`, `4 mm`; `41 ft`, `31 in`.
    pub fn length(&self, length: Length) -> String {
        let rounded = |unit: i64| (length.nm + unit / 2).div_euclid(unit);
        if self.units == Units::Ounces {
            return match rounded(NM_PER_IN) {
                inches @ ..48 => self.unit(&format!("{inches} in")),
                inches => self.unit(&format!("{} ft", (inches + 6) / 12)),
            };
        }
        let mm = rounded(NM_PER_MM);
        self.unit(&match mm {
            10_000.. => format!("{} m", (mm + 500) / 1000),
            1_000.. => format!("{}.{} m", (mm + 50) / 1000, (mm + 50) % 1000 / 100),
            100.. => format!("{} cm", (mm + 5) / 10),
            _ => format!("{mm} mm"),
        })
    }

    fn ounces(&self, weight: Weight, places: u32) -> String {
        let one = 10i64.pow(places);
        // In parts of an ounce, so that rounding never gives sixteen ounces beside a pound.
        let parts =
            (i128::from(weight.ng) * i128::from(one) + i128::from(NG_PER_OZ) / 2).div_euclid(i128::from(NG_PER_OZ));
        let parts = i64::try_from(parts).unwrap_or(i64::MAX);
        if parts < POUNDS_FROM_OZ * one {
            return format!("{}\u{a0}oz", self.decimals(parts, one, places));
        }
        let (pounds, rest) = (self.figure(&(parts / (16 * one)).to_string()), parts % (16 * one));
        match rest {
            0 => format!("{pounds}\u{a0}lb"),
            rest => format!("{pounds}\u{a0}lb\u{a0}{}\u{a0}oz", self.decimals(rest, one, places)),
        }
    }

    /// `value` of `unit` with up to so many decimals, without empty ones.
    fn decimals(&self, value: i64, unit: i64, places: u32) -> String {
        let one = 10i128.pow(places);
        let parts = (i128::from(value) * one + i128::from(unit) / 2).div_euclid(i128::from(unit));
        let (whole, part) = (parts / one, parts % one);
        let text = format!("{whole}.{part:0width$}", width = places as usize);
        self.figure(text.trim_end_matches('0').trim_end_matches('.'))
    }

    /// `1.84 kg` in this writing; number and unit stay in one line.
    fn unit(&self, plain: &str) -> String {
        let words = plain.split(' ');
        let words = words.map(|word| {
            if word.starts_with(|c: char| c.is_ascii_digit() || c == '-') { self.figure(word) } else { word.to_owned() }
        });
        words.collect::<Vec<_>>().join("\u{a0}")
    }
}

#[cfg(test)]
mod tests {
    use super::super::Currency;
    use super::*;

    fn plain(text: String) -> String {
        text.replace('\u{a0}', " ")
    }

    #[test]
    fn figures_and_money_look_as_the_workshop_writes_them() {
        let eur = Money::new(123_450, Currency::EUR);
        let writing = |decimal_mark, group_mark, currency_at, sign: &str| Locale {
            decimal_mark,
            group_mark,
            currency_at,
            currency_sign: sign.to_owned(),
            ..Locale::default()
        };
        for (locale, expected) in [
            (writing('.', None, CurrencyAt::After, ""), "1234.50 EUR"),
            (writing(',', Some(' '), CurrencyAt::After, "€"), "1 234,50 €"),
            (writing('.', Some(','), CurrencyAt::Before, "€"), "€1,234.50"),
            (writing(',', Some('.'), CurrencyAt::Before, ""), "EUR 1.234,50"),
            (writing('.', Some('’'), CurrencyAt::Before, "Fr"), "Fr 1’234.50"),
        ] {
            assert_eq!(plain(locale.money(eur)), expected);
        }
        let swiss = writing('.', Some('’'), CurrencyAt::Before, "$");
        assert_eq!(swiss.money(Money::new(-123_456_789, Currency::EUR)), "-$1’234’567.89");
        for (figure, expected) in [("999", "999"), ("1234", "1234"), ("12345", "12’345"), ("0.05", "0.05")] {
            assert_eq!(swiss.figure(figure), expected);
        }
    }

    #[test]
    fn an_ounces_workshop_reads_ounces_pounds_inches_and_feet() {
        let locale = Locale { units: Units::Ounces, ..Locale::default() };
        let oz = |text: &str| text.parse::<Weight>().unwrap();
        for (weight, told, limit) in [
            ("16.4 oz", "16.4 oz", "16.4 oz"),
            ("15.999 oz", "16 oz", "15.999 oz"),
            ("1 lb", "16 oz", "16 oz"),
            ("31.97 oz", "2 lb", "31.97 oz"),
            ("2 lb 3.5 oz", "2 lb 3.5 oz", "2 lb 3.5 oz"),
            ("5 lb", "5 lb", "5 lb"),
            ("640 g", "22.6 oz", "22.575 oz"),
        ] {
            assert_eq!(plain(locale.weight(oz(weight))), told, "{weight}");
            assert_eq!(plain(locale.limit(oz(weight))), limit, "{weight}");
        }
        assert_eq!(plain(locale.side("190 mm".parse().unwrap())), "7.48 in");
        assert_eq!(plain(locale.side("9 in".parse().unwrap())), "9 in");
        for (thick, told) in [("3/4 in", "0.75 in"), ("19/64 in", "0.296 in"), ("25 mm", "0.984 in")] {
            assert_eq!(plain(locale.thickness(thick.parse().unwrap())), told);
        }
        assert_eq!(plain(locale.length(Length::from_mm(12_500))), "41 ft");
        assert_eq!(plain(locale.length(Length::from_mm(800))), "31 in");
        let metric = Locale { decimal_mark: ',', ..Locale::default() };
        assert_eq!(plain(metric.thickness("3/4 in".parse().unwrap())), "19,05 mm");
        assert_eq!(plain(metric.limit(Weight::from_g(1_000))), "1 kg");
        assert_eq!(plain(metric.weight(Weight::from_g(1_840))), "1,84 kg");
        assert_eq!(plain(metric.length(Length::from_mm(1_990))), "2,0 m");
        assert_eq!(plain(metric.length(Length::from_mm(820))), "82 cm");
    }
}
