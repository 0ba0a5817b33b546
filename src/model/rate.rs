//! What a unit of another currency costs: for price lists that do not count as the workshop does.

use super::{Currency, Money, QuantityError, Round};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Decimal places that a rate may have.
const DECIMALS_MAX: usize = 9;
/// Ten to the power of that.
const BILLION: i128 = 1_000_000_000;

/// What one whole unit of a foreign currency costs at home, exactly.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rate {
    /// The foreign currency.
    pub of: Currency,
    /// The workshop's currency.
    pub home: Currency,
    /// Billionths of a whole unit at home (of a euro, not of a cent); more than nothing.
    pub billionths: i64,
    /// When it was looked up, as a person wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub looked_up: Option<String>,
}

impl Rate {
    /// Reads what one unit of `of` costs: `1.17 EUR`, or `1.17 EUR, 20 November 2026`.
    ///
    /// # Errors
    /// It is no such amount, has more than nine decimals, or is nothing.
    pub fn read(of: Currency, text: &str) -> Result<Self, QuantityError> {
        let wrong = |why: &str| QuantityError(format!("{text:?}: {why}; write it like \"1.17 EUR\""));
        let (amount, looked_up) = text.split_once(',').map_or((text, None), |(amount, day)| (amount, Some(day.trim())));
        let (figure, home) = amount.trim().rsplit_once(' ').ok_or_else(|| wrong("an amount needs its currency"))?;
        let (whole, part) = figure.trim().split_once('.').unwrap_or((figure.trim(), "0"));
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !digits(part) {
            return Err(wrong("not an amount"));
        }
        if part.len() > DECIMALS_MAX {
            return Err(wrong("more than nine decimals"));
        }
        let billionths = format!("{whole}{part:0<DECIMALS_MAX$}").parse().map_err(|_| wrong("too large"))?;
        if billionths == 0 {
            return Err(wrong("it is nothing"));
        }
        let looked_up = looked_up.filter(|day| !day.is_empty()).map(str::to_owned);
        Ok(Self { of, home: home.parse()?, billionths, looked_up })
    }

    /// An amount of the foreign currency at home, rounded up to a whole minor unit of the currency at home.
    pub fn at_home(&self, foreign: Money) -> Money {
        let exact = i128::from(foreign.minor) * i128::from(self.billionths) * 10i128.pow(self.home.decimals());
        let minor = Round::Up.to_steps(exact, BILLION * 10i128.pow(self.of.decimals()));
        Money::new(i64::try_from(minor).unwrap_or(i64::MAX), self.home)
    }
}

impl fmt::Display for Rate {
    /// `1.17 EUR, 20 November 2026`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, part) = (i128::from(self.billionths) / BILLION, i128::from(self.billionths) % BILLION);
        let part = format!("{part:0DECIMALS_MAX$}");
        // As amounts are written: with as many decimals as the currency has, or more where they say something.
        let least = self.home.decimals() as usize;
        let kept = part.trim_end_matches('0').len().max(least);
        let point = if kept == 0 { "" } else { "." };
        write!(f, "{whole}{point}{} {}", &part[..kept], self.home)?;
        self.looked_up.iter().try_for_each(|day| write!(f, ", {day}"))
    }
}

/// An amount as it stands in a foreign price list, with the rate at which it was changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Foreign {
    /// As the price list says, with surcharges, tax and rounding.
    pub amount: Money,
    /// What a unit of that costs.
    pub rate: Rate,
}

impl fmt::Display for Foreign {
    /// `5.00 GBP at 1.17 EUR, 20 November 2026`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} at {}", self.amount, self.rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(of: &str, text: &str) -> Rate {
        Rate::read(of.parse().unwrap(), text).unwrap()
    }

    #[test]
    fn amounts_are_changed_exactly_and_rounded_up() {
        // By hand: 3.46 x 1.17 = 4.0482; 1 x 0.0061 = 0.0061; 1000 JPY are 6.10 exactly;
        // 1.00 EUR at 163.934 JPY are 163.934 JPY; 0.5 KWD at 3.0001 are 1.50005; 1 EUR at 0.3333 KWD is 0.3333.
        for (of, costs, foreign, home) in [
            ("GBP", "1.17 EUR", "3.46 GBP", "4.05 EUR"),
            ("JPY", "0.0061 EUR", "1 JPY", "0.01 EUR"),
            ("JPY", "0.0061 EUR", "1000 JPY", "6.10 EUR"),
            ("JPY", "0.0061 EUR", "1001 JPY", "6.11 EUR"),
            ("EUR", "163.934 JPY", "1.00 EUR", "164 JPY"),
            ("KWD", "3.0001 EUR", "0.500 KWD", "1.51 EUR"),
            ("EUR", "0.3333 KWD", "1.00 EUR", "0.334 KWD"),
            ("GBP", "1.17 EUR", "0.00 GBP", "0.00 EUR"),
        ] {
            let foreign: Money = foreign.parse().unwrap();
            assert_eq!(rate(of, costs).at_home(foreign), home.parse().unwrap(), "{foreign} at {costs}");
        }
    }

    #[test]
    fn what_a_unit_costs_is_read_with_its_day_and_written_again() {
        for text in ["1.17 EUR", "0.0061 EUR, 20 November 2026", "163.934 JPY", "2.00 EUR", "7 JPY"] {
            assert_eq!(rate("GBP", text).to_string(), text);
        }
        for text in ["1.17", "EUR", "-1 EUR", "1,17 EUR", "0 EUR", "0.00 EUR", "1.0000000001 EUR", "1. EUR", "1e3 EUR"]
        {
            assert!(Rate::read("GBP".parse().unwrap(), text).is_err(), "{text}");
        }
        assert!(Rate::read("GBP".parse().unwrap(), "9999999999999 EUR").is_err());
    }
}
