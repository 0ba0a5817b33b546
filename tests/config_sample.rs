//! The sample configuration: it loads, it teaches, and it is the demo.

use dawnslip::config::{self, Files, SHAPES};
use dawnslip::model::*;
use std::path::Path;

fn load(files: &Files) -> Workshop {
    match config::load(files, Path::new("config")) {
        Ok(workshop) => workshop,
        Err(complaints) => panic!("{complaints}"),
    }
}

fn smallest() -> Files {
    let text = "name = \"Test\"\ntime_zone = \"Europe/Oslo\"\ncurrency = \"NOK\"\ncountry = \"NO\"\n";
    Files::from([("workshop.toml".to_owned(), text.to_owned())])
}

#[test]
fn the_sample_is_the_workshop_of_the_demo() {
    let workshop = load(&config::embedded());
    assert_eq!(
        (workshop.name.as_str(), workshop.currency, workshop.country.as_str()),
        ("Tern & Thistle", Currency::EUR, "QS")
    );
    assert_eq!(workshop.products.len(), 18);
    let names = |all: Vec<&str>| all.join(" ");
    assert_eq!(
        names(workshop.containers.iter().map(|c| c.name.as_str()).collect()),
        "Envelope Small Medium Large Skipper"
    );
    // Compact needs a contract that the sample does not have.
    assert_eq!(names(workshop.services.iter().map(|s| s.name.as_str()).collect()), "Letter Road Skipper collect");
    assert_eq!(names(workshop.sources.keys().map(SourceName::as_str).collect()), "fair shop stall");
    assert_eq!(workshop.default_card, Some(CardName::new("everyday")));
    assert!(workshop.services.iter().any(|service| service.collect && service.only_when_asked));
    assert_eq!(workshop.rules[0].place, format!("rules.toml:{}", line_of("rules.toml", "[rule.\"a gift gets")));
    assert_eq!(workshop.files, config::embedded());
}

fn line_of(file: &str, begin: &str) -> usize {
    config::embedded()[file].lines().position(|line| line.starts_with(begin)).unwrap() + 1
}

#[test]
fn a_packing_is_drawn_from_three_pieces_on_unless_another_number_is_said() {
    assert_eq!(load(&smallest()).draw_packing_from, 3);
    assert_eq!(load(&config::embedded()).draw_packing_from, 3);
    for (said, meant) in [("0", 0), ("2", 2), ("1000", 1000)] {
        let mut files = smallest();
        files.get_mut("workshop.toml").unwrap().push_str(&format!("draw_packing_from = {said}\n"));
        assert_eq!(load(&files).draw_packing_from, meant);
    }
    let mut files = smallest();
    files.get_mut("workshop.toml").unwrap().push_str("draw_packing_from = 1001\n");
    let complaints = config::load(&files, Path::new("config")).unwrap_err().to_string();
    assert!(complaints.contains("`draw_packing_from` is out of bounds"), "{complaints}");
}

#[test]
fn with_the_contract_its_services_count() {
    let mut files = config::embedded();
    let text = files.get_mut("workshop.toml").unwrap();
    *text = text.replace("# contracts = ", "contracts = ");
    let workshop = load(&files);
    let compact = workshop.service(&ServiceName::new("Compact")).unwrap();
    let Price::ByVolume(steps) = &compact.price else { panic!("priced by volume") };
    assert_eq!(
        (steps.len(), steps[0].up_to, steps[0].price),
        (9, Volume::from_cm3(4000), Money::new(470, Currency::EUR))
    );
}

#[test]
fn quantities_of_the_sample_are_exact() {
    let workshop = load(&config::embedded());
    let medium = workshop.container(&ContainerName::new("Medium")).unwrap();
    assert_eq!(medium.supplies, [SupplyUse { supply: SupplyName::new("paper tape"), amount: 1_200_000_000 }]);
    let tape = workshop.supply(&SupplyName::new("paper tape")).unwrap();
    assert_eq!((tape.price.minor, tape.price_for, tape.stock), (198, 66_000_000_000, Some(480_000_000_000)));
    let fill = workshop.supply(&SupplyName::new("paper fill")).unwrap();
    assert_eq!(
        (fill.unit, fill.price_for, fill.weight.ng, fill.weight_for),
        (SupplyUnit::Weight, 10_000 * NG_PER_G, 1000 * NG_PER_G, 1000 * NG_PER_G)
    );
    let road = workshop.service(&ServiceName::new("Road")).unwrap();
    assert_eq!(road.surcharges[2].amount, SurchargeAmount::PerTenThousand(350));
}

#[test]
fn what_is_like_another_inherits_all_but_its_batches() {
    let workshop = load(&config::embedded());
    let mug = workshop.product(&Sku::new("mug")).unwrap();
    let kelp = workshop.product(&Sku::new("mug-kelp")).unwrap();
    let dawn = workshop.product(&Sku::new("mug-dawn")).unwrap();
    assert_eq!((kelp.dims, kelp.weight, kelp.turn, &kelp.care), (mug.dims, mug.weight, mug.turn, &mug.care));
    assert_eq!((kelp.name.as_str(), kelp.shelf.as_str()), ("Mug, kelp green", "A2"));
    assert_eq!((mug.batches.len(), kelp.batches.len(), dawn.batches.len()), (2, 1, 0));
    assert_eq!(mug.batches[0].dims, Some(Dims::from_mm(122, 92, 102)));
}

#[test]
fn sources_keep_only_the_place_of_their_secrets() {
    let workshop = load(&config::embedded());
    let shop = &workshop.sources[&SourceName::new("shop")];
    assert_eq!(shop.secrets, [SecretRef::File(Path::new("config/secrets/shop").to_owned())]);
    assert_eq!(shop.gapless_prefix.as_deref(), Some("S-"));
    let stall = &workshop.sources[&SourceName::new("stall")];
    let Scheme::BodyHmac(hmac) = &stall.scheme else { panic!("plain HMAC") };
    assert_eq!(hmac.template.as_deref(), Some("{id}.{timestamp}.{body}"));
    assert_eq!(hmac.timestamp.as_ref().map(|(header, _)| header.as_str()), Some("stall-time"));
    let Payload::Mapped(mapping) = &stall.payload else { panic!("mapped") };
    assert_eq!((mapping.lines.as_str(), mapping.line.skip.as_deref()), ("$.basket[*]", Some("/type")));
    let Payload::Mapped(fair) = &workshop.sources[&SourceName::new("fair")].payload else { panic!("mapped") };
    assert!(fair.prices_minor && !mapping.prices_minor);
}

#[test]
fn a_folder_with_four_lines_is_a_workshop() {
    let workshop = load(&smallest());
    assert_eq!(workshop.day.parcels_a_day, 40);
    assert_eq!(workshop.listeners.desk.to_string(), "127.0.0.1:7780");
    assert_eq!(workshop.listeners.intake.to_string(), "127.0.0.1:7781");
    assert_eq!((workshop.retention_days, workshop.language.as_str()), (90, "en"));
    assert_eq!(workshop.printers.len(), 1);
    assert!(workshop.printer_for(PaperKind::Slip).is_some());
    assert!(!workshop.words.table.is_empty());
    // Tables that are there and empty say no more than tables that are not.
    let mut files = smallest();
    files.get_mut("workshop.toml").unwrap().push_str("[day]\n[listen]\n[limits]\n");
    for file in ["sources", "products", "packaging", "services", "rules", "printers"] {
        files.insert(format!("{file}.toml"), String::new());
    }
    let empty = load(&files);
    assert_eq!((&empty.day, &empty.listeners, &empty.limits), (&workshop.day, &workshop.listeners, &workshop.limits));
}

#[test]
fn labour_and_the_customs_limit_are_off_until_their_signs_are_taken_away() {
    let sample = load(&config::embedded());
    assert_eq!((sample.labour, sample.cn23_above), (None, None));
    let mut files = config::embedded();
    let house = files.get_mut("workshop.toml").unwrap();
    for line in ["[labour]", "wage =", "per_parcel =", "per_container =", "per_piece =", "cn23_above ="] {
        let written = format!("\n# {line}");
        assert!(house.contains(&written), "{line}");
        *house = house.replace(&written, &format!("\n{line}"));
    }
    let packaging = files.get_mut("packaging.toml").unwrap();
    *packaging = packaging.replace("[container.Small]\n", "[container.Small]\nfolding = \"30 s\"\n");
    let workshop = load(&files);
    assert_eq!(workshop.cn23_above, Some(Money::new(35_000, Currency::EUR)));
    let labour = workshop.labour.as_ref().unwrap();
    assert!(!labour.weighed);
    // 3 min, a Small's own 30 s and twice 50 s are 310 s at 18.00 an hour: 1.55. A Medium's 40 s make 1.60.
    let cost = |name: &str| labour.cost(workshop.container(&ContainerName::new(name)).into_iter(), 2).amount.minor;
    assert_eq!((cost("Small"), cost("Medium")), (155, 160));
}

#[test]
fn what_changes_with_new_prices_stands_beside_them_and_the_rest_stays() {
    let mut files = config::embedded();
    files.get_mut("services.toml").unwrap().push_str(
        "[service.Cart]\nprice = \"5.00 EUR\"\nweight_max = \"under 2 kg\"\nlongest_max = \"1 m\"\nvat = \"8 %\"\n\
         [[service.Cart.later]]\nfrom = \"2027-01-01\"\nweight_max = \"3 kg\"\nvat = \"8.1 %\"\n\
         [[service.Cart.later]]\nfrom = \"2027-07-01\"\nprice = \"6.00 EUR\"\nminimum = \"7.00 EUR\"\n",
    );
    let workshop = load(&files);
    let cart = workshop.service(&ServiceName::new("Cart")).unwrap();
    let on = |year: i16, month: i8| {
        let is = cart.on(jiff::civil::date(year, month, 1));
        let Price::Fixed(prices) = &is.price else { panic!("one price") };
        (prices[""].minor, is.weight_max.unwrap().ng, is.vat, is.minimum.map(|least| least.minor))
    };
    assert_eq!(on(2026, 12), (500, 2000 * NG_PER_G - 1, Some(800), None));
    assert_eq!(on(2027, 6), (500, 3000 * NG_PER_G, Some(810), None));
    assert_eq!(on(2027, 7), (600, 3000 * NG_PER_G, Some(810), Some(700)));
    assert_eq!(cart.on(jiff::civil::date(2028, 1, 1)).longest_max, Some(Length::from_mm(1000)));
}

/// A letter's limit is measured outside.
#[test]
fn a_padded_mailer_of_unknown_padding_is_noted() {
    for (cushion, noted) in [("", true), ("cushion = \"0 mm\"\n", false), ("cushion = \"4 mm\"\n", false)] {
        let mut files = config::embedded();
        let packaging = files.get_mut("packaging.toml").unwrap();
        *packaging = packaging.replace("cushion = \"3 mm\"\n", cushion);
        let notes = load(&files).notes;
        assert_eq!(notes.len(), usize::from(noted), "{notes:?}");
        assert!(
            notes.iter().all(|note| note.contains("nothing says how thick the padding of Skipper is")),
            "{notes:?}"
        );
    }
}

#[test]
fn prices_that_end_and_that_nothing_follows_are_noted() {
    let noted = |more: &str| {
        let mut files = config::embedded();
        let services = files.get_mut("services.toml").unwrap();
        let line = services.lines().count() + 3;
        services.push_str("[service.Cart]\nprice = \"5.00 EUR\"\nvalid_until = \"2026-12-31\"\n");
        services.push_str(more);
        (load(&files).notes, line)
    };
    let (notes, line) = noted("");
    let told = format!("services.toml:{line}: the prices of Cart end on 2026-12-31 and nothing follows; ");
    assert!(notes.len() == 1 && notes[0].starts_with(&told), "{notes:?}");
    let next = "[service.\"Cart 2027\"]\nprice = \"5.20 EUR\"\nvalid_from = ";
    assert_eq!(noted(&format!("{next}\"2027-01-01\"\n")).0, [""; 0]);
    assert_eq!(noted(&format!("{next}\"2027-01-02\"\n")).0.len(), 1, "a day without prices");
    assert_eq!(load(&config::embedded()).notes, [""; 0]);
}

#[test]
fn a_price_list_may_stand_in_another_currency() {
    let mut files = config::embedded();
    let house = files.get_mut("workshop.toml").unwrap();
    *house = house.replace("# [rates]\n# GBP", "[rates]\nGBP");
    let services = files.get_mut("services.toml").unwrap();
    services.push_str("[service.Ferry]\ncurrency = \"GBP\"\nprice = \"5.00 GBP\"\nminimum = \"6.00 GBP\"\n");
    let workshop = load(&files);
    let ferry = workshop.service(&ServiceName::new("Ferry")).unwrap();
    let rate = ferry.rate.as_ref().unwrap();
    assert_eq!((rate.billionths, rate.looked_up.as_deref()), (1_170_000_000, Some("20 November 2026")));
    assert_eq!(ferry.minimum, Some("6.00 GBP".parse().unwrap()));
    assert!(
        workshop.services.iter().filter(|service| service.name != ferry.name).all(|service| service.rate.is_none())
    );
}

#[test]
fn every_setting_is_explained_in_the_sample() {
    let sample = config::embedded();
    let mut missing = Vec::new();
    for shape in SHAPES {
        let text = &sample[&shape.file.replace("*", "everyday")];
        let words: Vec<&str> = text.split(|c: char| !(c.is_alphanumeric() || c == '_')).collect();
        missing
            .extend(shape.keys.iter().filter(|key| !words.contains(key)).map(|key| format!("{}: {key}", shape.file)));
    }
    assert_eq!(missing, Vec::<String>::new());
    // A key that is set without a word of comment anywhere in its file teaches nothing.
    for (file, text) in sample.iter().filter(|(file, _)| file.ends_with(".toml")) {
        assert!(text.starts_with('#'), "{file} begins with what it is for");
    }
}

#[test]
fn the_ten_recipes_load_when_the_signs_are_taken_away() {
    let mut files = config::embedded();
    let rules = files.get_mut("rules.toml").unwrap();
    let (before, recipes) = rules.split_once("# Ten ready recipes").unwrap();
    let recipes: String =
        recipes.lines().skip(1).map(|line| line.trim_start_matches(['#', ' ']).to_owned() + "\n").collect();
    *rules = format!("{before}{recipes}");
    let in_use = load(&config::embedded()).rules.len();
    assert_eq!(load(&files).rules.len(), in_use + 10);
}

#[test]
fn the_digest_tells_any_two_configurations_apart() {
    let one = load(&smallest()).digest;
    assert_eq!(one, load(&smallest()).digest);
    assert_eq!(one.as_str().len(), 64);
    let mut files = smallest();
    files.get_mut("workshop.toml").unwrap().push('\n');
    assert_ne!(one, load(&files).digest);
    let mut files = smallest();
    files.insert("rules.toml".to_owned(), String::new());
    assert_ne!(one, load(&files).digest);
}

#[test]
fn the_book_gets_what_it_needs() {
    let policy = config::policy(&load(&config::embedded()));
    assert_eq!((policy.zone.as_str(), policy.parcels_a_day), ("Atlantic/Faroe", 40));
    assert_eq!((policy.burst_orders, policy.burst_seconds), (12, 900));
    // ISO 8601: Sunday is 7.
    assert_eq!(policy.closed_weekdays.into_iter().collect::<Vec<_>>(), [7]);
    assert_eq!(policy.gapless[&SourceName::new("shop")], "S-");
    assert_eq!(policy.uncertain[&PaperKind::Slip], WhenUncertain::Copy);
    assert_eq!(policy.archive_after_days, 14);
    // Orders are joined only where somebody wants that.
    assert!(policy.join && !config::policy(&load(&smallest())).join);
}

#[test]
fn the_sample_also_speaks_german() {
    let mut files = config::embedded();
    let workshop = files.get_mut("workshop.toml").unwrap();
    *workshop = workshop.replace("language = \"en\"", "language = \"de-AT\"");
    let german = load(&files);
    assert_eq!(german.words.get("pick_list"), "Sammelliste");
    assert_eq!(load(&config::embedded()).words.get("pick_list"), "Pick list");
}

#[test]
fn the_sample_also_writes_as_another_country_does() {
    let mut files = config::embedded();
    let house = files.get_mut("workshop.toml").unwrap();
    for (sign, plain) in [
        ("# group_mark = \",\"", "group_mark = \",\""),
        ("# times = \"12 hours\"", "times = \"12 hours\""),
        ("# units = \"ounces\"", "units = \"ounces\""),
        ("# currency_sign = \"€\"", "currency_sign = \"€\""),
        ("# currency_at = \"before\"", "currency_at = \"before\""),
        ("dates = \"day first\"", "dates = \"month first\""),
    ] {
        assert_eq!(house.matches(sign).count(), 1, "{sign}");
        *house = house.replace(sign, plain);
    }
    let locale = load(&files).locale;
    assert_eq!(locale.money(Money::new(123_450, Currency::EUR)), "€1,234.50");
    assert_eq!(locale.weight("16.4 oz".parse().unwrap()), "16.4\u{a0}oz");
    assert_eq!((locale.clock, locale.day_first), (DayClock::Hours12, false));
}

#[test]
fn a_logo_and_what_prints_beside_a_slip_are_taken_from_the_files() {
    let mut files = config::embedded();
    *files.get_mut("workshop.toml").unwrap() = files["workshop.toml"]
        .replace("# logo = \"logo.svg\"", "logo = \"tern.svg\"\nlogo_tone = \"ordered\"\nlogo_density = 80");
    *files.get_mut("services.toml").unwrap() = files["services.toml"]
        .replace("asked_as = [\"letter\"]", "asked_as = [\"letter\"]\nprints = [\"label\", \"customs\"]");
    let meant = load(&files);
    let logo = meant.logo.unwrap();
    assert_eq!(
        (logo.file.as_path(), logo.tone, logo.density_percent),
        (Path::new("config/tern.svg"), Tone::Ordered, 80)
    );
    assert_eq!(meant.services[0].prints, [PaperKind::Label, PaperKind::Customs]);
}

/// What the comments of the samples write is what the program reads.
#[test]
fn limited_quantities_are_read_as_the_samples_write_them() {
    let mut files = config::embedded();
    let goods = files.get_mut("products.toml").unwrap();
    let written = goods.lines().find_map(|line| line.trim_start_matches(['#', ' ']).strip_prefix("{ words =")).unwrap();
    let tin = "[product.tin]\n";
    *goods = goods.replace(tin, &format!("{tin}danger = {{ words ={written}\n"));
    let noted = load(&files);
    let note = "tin goes as a limited quantity and no service says that it takes such";
    assert!(noted.notes.iter().any(|said| said.contains(note)), "{:?}", noted.notes);
    let services = files.get_mut("services.toml").unwrap();
    let from = services.find("#   [service.Road.limited_quantity]").unwrap();
    let table: String =
        services[from..].lines().take(4).map(|line| format!("{}\n", line.trim_start_matches(['#', ' ']))).collect();
    let table = table.replace("net_max                    the most of them in one parcel: \"5 l\", or", "net_max =");
    let table = table
        .replace("; left out: no bound", "")
        .replace("mark                       which mark, for the slip:", "mark =");
    let table = table.replace("        the most that a parcel with any weighs, all in all", "");
    services.push_str(&format!("\n{table}"));
    let workshop = load(&files);
    assert!(!workshop.notes.iter().any(|said| said.contains(note)));
    let danger = workshop.product(&Sku::new("tin")).unwrap().danger.clone().unwrap();
    assert_eq!(danger.to_string(), "lacquer, flammable, UN1263");
    assert!(danger.is_limited());
    let road = workshop.service(&ServiceName::new("Road")).unwrap().limited_quantity.clone().unwrap();
    let net_max: Vec<String> = road.net_max.iter().map(ToString::to_string).collect();
    assert_eq!((road.gross_max, net_max.join(" + ").as_str()), (Weight::from_g(30_000), "5 l + 5 kg"));
    assert_eq!(road.mark.as_deref(), Some("diamond, 100 x 100 mm"));
}
