//! Currencies that exist.

/// Active codes of ISO 4217 list one (published 2026-01-01) that have a minor unit.
const CODES: [&str; 9] = [
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BHD BIF BMD BND BOB BOV BRL",
    "BSD BTN BWP BYN BZD CAD CDF CHE CHF CHW CLF CLP CNY COP COU CRC CUP CVE CZK",
    "DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD",
    "HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD",
    "KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK",
    "MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR",
    "RON RSD RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL",
    "THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD USN UYI UYU UYW UZS VED VES",
    "VND VUV WST XAD XAF XCD XCG XOF XPF YER ZAR ZMW ZWG",
];

/// All currency codes.
pub(super) fn codes() -> impl Iterator<Item = &'static str> {
    CODES.iter().flat_map(|row| row.split(' '))
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_list_is_the_published_one() {
        let table: serde_json::Value =
            serde_json::from_str(include_str!("../../tests/standards/iso4217_minor_units.json")).unwrap();
        let by_units = table["by_minor_units"].as_object().unwrap();
        let mut published: Vec<&str> = by_units
            .iter()
            .filter(|(units, _)| *units != "N.A.")
            .flat_map(|(_, codes)| codes.as_array().unwrap())
            .map(|code| code.as_str().unwrap())
            .collect();
        published.sort_unstable();
        assert_eq!(super::codes().collect::<Vec<_>>(), published);
    }
}
