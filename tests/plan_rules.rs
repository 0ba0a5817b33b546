//! Rules: what they can name, what they may do, and that none of them ends the program.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::choose::Shelf;
use dawnslip::plan::{Planner, rules};
use plan_bench::*;
use std::collections::BTreeSet;

fn complaint(when: &str) -> Option<String> {
    rules::check(&demo(), &rule("test", when, vec![Action::Urgent]))
}

fn plan_with(rules: Vec<Rule>, order: &Order, accepted: &[&str]) -> Plan {
    let mut workshop = demo();
    workshop.rules = rules;
    let accepted: BTreeSet<String> = accepted.iter().map(|text| (*text).to_owned()).collect();
    Planner::new(&workshop).decide(order, &workshop, &Shelf::default(), &accepted, &pins())
}

fn mug() -> Order {
    order(&[("MUG-TG", 1)])
}

#[test]
fn every_recipe_of_the_sample_compiles() {
    for when in [
        "lines.exists(l, l.sku == \"POT-1\")",
        "goods.exists(g, g.fragile) && order.country != workshop.country",
        "order.total >= 60.0 && !order.gift",
        "order.total >= 60",
        "order.has_total && order.total > 59.99 && order.currency == 'EUR'",
        "order.gift",
        "order.postcode.startsWith(\"SK9\")",
        "date.month == 12 && date.day <= 24",
        "date.iso >= '2026-12-01' && date.weekday in [1, 5]",
        "goods.exists(g, g.danger != \"\")",
        "goods.exists(g, g.un == \"UN1263\" && g.limited_quantity || g.beyond_limited)",
        "parcel.limited_quantity && parcel.grams > 20000",
        "goods.exists(g, \"nuts\" in g.allergens)",
        "goods.filter(g, g.turn == 'flat only').size() > 2",
        "lines.all(l, lines.exists(m, m.sku == l.sku))",
        "order.requested != \"\"",
        "order.quantity > 20 || order.kinds > 5",
        "order.grams > 2000 ? order.gift : order.has_wish",
        "parcel.grams > 15000",
        "parcel.part == parcel.parts && parcel.service == 'Road'",
        "order.number.matches('^S-[0-9]+$')",
        "size(lines) > 2",
        "has(order.gift) && true",
    ] {
        assert_eq!(complaint(when), None, "{when}");
    }
}

#[test]
fn what_is_wrong_with_a_rule_is_said_on_load() {
    for (when, piece) in [
        ("oder.gift", "is \"order\" meant?"),
        ("order.gfit", "gfit"),
        ("lines.exists(l, l.skuu == 'POT-1')", "skuu"),
        ("order.quantity", "a number, not true or false"),
        ("order.number", "a text"),
        ("order.quantity > 'three'", "tried on a sample"),
        ("lines.exists(l, l.sku == 'POT-2')", "no product is called \"POT-2\" (is \"POT-1\" meant?)"),
        ("goods.exists(g, g.sku in ['POT-1', 'MUG'])", "\"MUG\""),
        ("'Rod' == parcel.service", "is \"Road\" meant?"),
        ("order.country == 'UK'", "ISO 3166-1"),
        ("order.gift &&", "at character"),
        ("", "at character"),
        ("lines.all(a, lines.all(b, lines.all(c, a.sku == b.sku)))", "3 loops"),
        ("nonsense(order.gift)", "nonsense"),
        ("1 / 0 == 1", "tried on a sample"),
    ] {
        let told = complaint(when).unwrap_or_default();
        assert!(told.contains(piece), "{when:?}: {told:?} does not say {piece:?}");
    }
    let too_late = rule("test", "parcel.grams > 1", vec![Action::ForbidService(vec!["Road".into()])]);
    assert!(rules::check(&demo(), &too_late).unwrap_or_default().contains("forbid a service"));
}

/// The crate's own parser overflows a stack of 2 MiB on these; tests run on such a stack.
#[test]
fn hostile_conditions_are_refused_and_never_end_the_program() {
    let nested = |open: &str, close: &str, n: usize| format!("{}true{}", open.repeat(n), close.repeat(n));
    let hostile = [
        vec!["1"; 2001].join("+") + " == 1",
        vec!["1"; 240].join("+") + "==1",
        nested("(", ")", 500),
        nested("(", ")", 250),
        nested("!", "", 500),
        nested("[", "]", 250),
        nested("{1:", "}", 120),
        format!("{}true", "true?".repeat(100)),
        format!("order{}", ".a".repeat(250)),
        format!("order{}", "[0]".repeat(160)),
        "lines.all(l,".repeat(40) + "true" + &")".repeat(40),
        format!("'{}'.matches('(a*)*b')", "a".repeat(400)),
        "\u{0}\u{202e}\"".to_owned(),
        "-".repeat(511),
        "true||".repeat(80) + "true",
    ];
    for when in &hostile {
        // Refused or harmless: both are answers.
        let told = complaint(when);
        let plan = plan_with(vec![rule("hostile", when, vec![Action::Urgent])], &mug(), &[]);
        assert_eq!(plan.parcels.len(), 1, "{when:.40}");
        if told.is_some() {
            assert!(!plan.urgent, "{when:.40}");
        }
    }
    assert!(complaint(&hostile[0]).unwrap_or_default().contains("bytes long"));
    // Plain brackets around one thing are folded; lists within lists are counted.
    assert_eq!(complaint(&hostile[3]), None);
    assert!(complaint(&hostile[5]).unwrap_or_default().contains("recursion limit"));
}

/// Everything that is accepted is also evaluated on a quarter of a usual thread's stack,
/// unoptimised: the deepest accepted condition is far from the edge.
#[test]
fn the_deepest_accepted_condition_needs_little_stack() {
    let deepest: Vec<String> = (1..200)
        .flat_map(|n| [vec!["1"; n].join("+") + "==1", format!("{}true{}", "[".repeat(n), "][0]".repeat(n))])
        .filter(|when| when.len() <= rules::WHEN_BYTES_MAX)
        .collect();
    let run = move || {
        let accepted = deepest.iter().filter(|when| complaint(when).is_none()).count();
        assert!(accepted > 60, "{accepted}");
    };
    std::thread::Builder::new().stack_size(512 * 1024).spawn(run).expect("a thread").join().expect("no overflow");
}

#[test]
fn a_length_just_under_the_limit_is_read_and_one_over_is_not() {
    let of = |bytes: usize| format!("order.gift{}", " ".repeat(bytes - "order.gift".len()));
    assert_eq!(complaint(&of(rules::WHEN_BYTES_MAX)), None);
    assert!(complaint(&of(rules::WHEN_BYTES_MAX + 1)).is_some());
}

#[test]
fn a_rule_that_fails_asks_a_person_and_the_order_is_not_lost() {
    let failing = rule("sums", "order.quantity / (order.quantity - order.quantity) > 0", vec![Action::Urgent]);
    let plan = plan_with(vec![failing.clone()], &mug(), &[]);
    assert_eq!(plan.questions.len(), 1);
    assert_eq!(plan.questions[0].cause, Cause::RuleFailed("sums".into()));
    assert_eq!(plan.parcels.len(), 1);
    let plan = plan_with(vec![failing], &mug(), &["rule-failed:sums"]);
    assert!(plan.questions.is_empty());
}

#[test]
fn containers_and_services_are_required_forbidden_and_preferred() {
    let one = |action: Action| plan_with(vec![rule("house", "true", vec![action])], &mug(), &[]);
    let of = |plan: &Plan| (plan.parcels[0].container.to_string(), plan.parcels[0].service.to_string());
    let base = plan_with(vec![], &mug(), &[]);
    assert_eq!(of(&base), ("Small".into(), "Letter".into()));
    assert_eq!(of(&one(Action::ForbidContainer(vec!["Small".into()]))).0, "Medium");
    assert_eq!(of(&one(Action::RequireContainer(vec!["Large".into()]))).0, "Large");
    assert_eq!(of(&one(Action::ForbidService(vec!["Letter".into()]))).1, "Road");
    assert_eq!(of(&one(Action::RequireService(vec!["Road".into(), "Skipper".into()]))).1, "Road");
    assert_eq!(of(&one(Action::RequireService(vec!["collect at the quay".into()]))).1, "collect at the quay");
    assert_eq!(of(&one(Action::RequireContainer(vec!["Skipper".into()]))).1, "Skipper");
    // Letter costs 3.50, Road 5.20.
    assert_eq!(of(&one(Action::PreferService("Road".into(), eur(170)))).1, "Road");
    assert_eq!(of(&one(Action::PreferService("Road".into(), eur(169)))).1, "Letter");
    let dearer = one(Action::PreferService("Road".into(), eur(170)));
    let told = &dearer.what_would_change;
    assert!(told.iter().any(|s| s.contains("without the rule \"house\" it would cost 1.70 less")), "{told:?}");
    assert_eq!(dearer.verdict, Verdict::BestFound { least_possible: base.cost.unwrap() });
    assert_eq!(one(Action::PreferService("Letter".into(), eur(170))).verdict, Verdict::Proved);
    // Nothing is left: a question, with the rules' reasons beside it.
    let rules = vec![
        rule("a", "true", vec![Action::RequireService(vec!["Letter".into()])]),
        rule("b", "true", vec![Action::ForbidService(vec!["Letter".into()])]),
    ];
    let plan = plan_with(rules, &mug(), &[]);
    assert_eq!(plan.questions[0].cause, Cause::RuleFailed("a / b".into()));
    assert!(plan.questions[0].what.contains("the rule \"b\" forbids it"), "{}", plan.questions[0].what);
    // One rule alone may leave nothing, too.
    let all = demo().services.iter().map(|service| service.name.clone()).collect();
    let plan = plan_with(vec![rule("none", "true", vec![Action::ForbidService(all)])], &mug(), &[]);
    assert_eq!(plan.questions[0].cause, Cause::NoService(mug().key));
    assert!(plan.questions[0].what.contains("the rule \"none\" forbids it"), "{}", plan.questions[0].what);
}

#[test]
fn holds_and_questions_stand_until_a_person_answers() {
    let both = vec![rule("dear", "true", vec![Action::Hold("look at it".into()), Action::NeedsYou("really?".into())])];
    let plan = plan_with(both.clone(), &mug(), &[]);
    assert_eq!(plan.waits, vec![Wait::Rule { rule: "dear".into(), reason: "look at it".into() }]);
    assert_eq!(plan.questions[0].cause.to_string(), "rule:dear:shop/S-451");
    let plan = plan_with(both, &mug(), &["hold:dear", "rule:dear:shop/S-451"]);
    assert!(plan.waits.is_empty() && plan.questions.is_empty());
    assert_eq!(plan.rules, vec!["dear".to_owned()]);
}

#[test]
fn notes_cautions_cards_supplies_and_samples_reach_the_parcel() {
    let then = vec![
        Action::Note("ribbon".into()),
        Action::Caution("hot".into()),
        Action::Card("thanks".into()),
        Action::Supply(SupplyUse { supply: "paper tape".into(), amount: 1_000 * NM_PER_MM }),
        Action::Product("TEA-HS".into(), 2),
        Action::Urgent,
    ];
    let plan = plan_with(vec![rule("all", "order.quantity == 1", then)], &mug(), &[]);
    let parcel = &plan.parcels[0];
    assert!(plan.urgent);
    assert_eq!(parcel.notes, vec!["ribbon".to_owned()]);
    assert!(parcel.cautions.contains(&Caution::Said("hot".into())));
    assert_eq!(parcel.cards, vec![CardName::new("thanks")]);
    assert_eq!(parcel.supplies[0].amount, 1_800 * NM_PER_MM);
    let sample = parcel.contents.iter().find(|content| content.line.is_none()).expect("the sample");
    assert_eq!((sample.sku.as_str(), sample.quantity), ("TEA-HS", 2));
}

#[test]
fn rules_about_parcels_see_the_planned_ones() {
    let heavy = rule("heavy", "parcel.grams > 900", vec![Action::Caution("lift with care".into())]);
    let plan = plan_with(vec![heavy.clone()], &order(&[("POT-1", 2)]), &[]);
    assert!(
        plan.parcels[0].cautions.contains(&Caution::Said("lift with care".into())),
        "{:?}",
        plan.parcels[0].cautions
    );
    let plan = plan_with(vec![heavy], &mug(), &[]);
    assert!(plan.parcels[0].cautions.is_empty());
}

fn services(names: &[&str]) -> Vec<ServiceName> {
    names.iter().map(|name| ServiceName::new(*name)).collect()
}

#[test]
fn rules_that_always_meet_and_quarrel_are_told_on_load() {
    let mut workshop = demo();
    let one = |name: &str, when: &str, action: Action| rule(name, when, vec![action]);
    let wants = one("by road", "order.gift", Action::RequireService(services(&["Road"])));
    for (other, piece) in [
        (one("no road", "order.gift", Action::ForbidService(services(&["Letter", "Road"]))), Some("forbids it")),
        (one("no road", " order.gift ", Action::ForbidService(services(&["Road"]))), Some("forbids it")),
        (one("letters", "true", Action::RequireService(services(&["Letter"]))), Some("requires Letter")),
        // It may never happen together: the order decides.
        (one("no road", "!order.gift", Action::ForbidService(services(&["Road"]))), None),
        (one("not by letter", "order.gift", Action::ForbidService(services(&["Letter"]))), None),
        (one("either", "order.gift", Action::RequireService(services(&["Letter", "Road"]))), None),
    ] {
        workshop.rules = vec![wants.clone(), other.clone()];
        let told = rules::check(&workshop, &other);
        assert_eq!(told.is_some(), piece.is_some(), "{told:?}");
        assert!(piece.is_none_or(|piece| told.as_deref().is_some_and(|told| told.contains(piece))), "{told:?}");
        // The first of the two is in order.
        assert_eq!(rules::check(&workshop, &wants), None);
    }
    let itself = rule(
        "both",
        "order.gift",
        vec![Action::RequireService(services(&["Road"])), Action::ForbidService(services(&["Road"]))],
    );
    workshop.rules = vec![itself.clone()];
    assert!(rules::check(&workshop, &itself).is_some_and(|told| told.contains("forbids the same")));
}

#[test]
fn rules_that_quarrel_about_one_order_ask_with_both_names() {
    let quarrel = || {
        vec![
            rule("by road", "order.quantity > 0", vec![Action::RequireService(services(&["Road"]))]),
            rule(
                "no road for mugs",
                "lines.exists(l, l.sku == 'MUG-TG')",
                vec![Action::ForbidService(services(&["Road"]))],
            ),
        ]
    };
    let plan = plan_with(quarrel(), &mug(), &[]);
    let [question] = &plan.questions[..] else { panic!("{:?}", plan.questions) };
    assert!(question.what.contains("\"by road\" requires Road") && question.what.contains("no road for mugs"));
    assert_eq!(question.cause.to_string(), "rule-failed:by road / no road for mugs");
    assert!(plan.parcels.is_empty());
    let plan = plan_with(quarrel(), &order(&[("POT-1", 1)]), &[]);
    assert!(plan.questions.is_empty() && plan.parcels[0].service.as_str() == "Road", "{plan:?}");
}

#[test]
fn rules_that_leave_nothing_only_together_are_all_named() {
    let only = |names: &[&str]| Action::RequireContainer(names.iter().map(|name| (*name).into()).collect());
    let no = |name: &str| Action::ForbidContainer(vec![name.into()]);
    let by = |names: &[&str]| Action::RequireService(services(names));
    let not_by = |name: &str| Action::ForbidService(services(&[name]));
    let asked = |rules: &[(&str, Action)]| {
        let rules = rules.iter().map(|(name, action)| rule(name, "true", vec![action.clone()])).collect();
        let plan = plan_with(rules, &mug(), &[]);
        assert_eq!(plan.parcels.is_empty(), !plan.questions.is_empty());
        plan.questions.first().map(|question| (question.what.clone(), question.cause.to_string()))
    };
    let quarrel =
        |what: &str, rules: &str| Some((format!("{what}: no parcel could obey all"), format!("rule-failed:{rules}")));
    assert_eq!(
        asked(&[("small", only(&["Small"])), ("large", only(&["Large"]))]),
        quarrel("the rule \"small\" requires Small, the rule \"large\" requires Large", "small / large")
    );
    assert_eq!(
        asked(&[
            ("a note", Action::Note("x".into())),
            ("two", only(&["Small", "Medium"])),
            ("first", Action::Urgent),
            ("no small", no("Small")),
            ("no medium", no("Medium")),
        ]),
        quarrel(
            "the rule \"two\" requires Small or Medium, the rule \"no small\" forbids Small, the rule \"no medium\" forbids Medium",
            "two / no small / no medium"
        )
    );
    assert_eq!(
        asked(&[("fast", by(&["Letter", "Road"])), ("no letter", not_by("Letter")), ("no road", not_by("Road"))]),
        quarrel(
            "the rule \"fast\" requires Letter or Road, the rule \"no letter\" forbids Letter, the rule \"no road\" forbids Road",
            "fast / no letter / no road"
        )
    );
    // One stands in the other: both have their way.
    assert_eq!(asked(&[("inside", only(&["Medium"])), ("around", only(&["Skipper"]))]), None);
    assert_eq!(asked(&[("two", only(&["Small", "Medium"])), ("no small", no("Small"))]), None);
}

#[test]
fn what_several_rules_forbid_is_forbidden() {
    let no = |name: &str| rule(name, "true", vec![Action::ForbidContainer(vec![name.into()])]);
    let plan = plan_with(vec![no("Small"), no("Medium")], &mug(), &[]);
    assert_eq!(plan.parcels[0].container.as_str(), "Large");
}

#[test]
fn a_rule_names_the_printer_and_the_last_one_counts() {
    let on = |printer: &str| vec![Action::Printer(printer.into())];
    let printer = |rules: Vec<Rule>| plan_with(rules, &mug(), &[]).parcels[0].printer.clone();
    assert_eq!(printer(vec![]), None);
    assert_eq!(printer(vec![rule("a", "true", on("bench 2"))]), Some("bench 2".into()));
    assert_eq!(printer(vec![rule("a", "true", on("bench 2")), rule("b", "true", on("office"))]), Some("office".into()));
    let of_parcel = |when: &str| vec![rule("p", when, on("office")), rule("o", "true", on("bench 2"))];
    assert_eq!(printer(of_parcel("parcel.grams > 1")), Some("office".into()), "rules about parcels are asked last");
    assert_eq!(printer(of_parcel("parcel.grams > 90000")), Some("bench 2".into()));
    assert_eq!(rules::check(&demo(), &rule("p", "parcel.grams > 1", on("office"))), None);
}

#[test]
fn a_dry_run_tells_what_each_condition_looked_at() {
    let mut workshop = demo();
    workshop.rules = vec![
        rule("gifts", "order.gift && order.country == 'QS'", vec![Action::Urgent]),
        rule("mugs", "goods.exists(g, g.sku == 'MUG-TG' && g.quantity > 1)", vec![Action::Urgent]),
        rule("heavy", "parcel.grams > 15000", vec![Action::Urgent]),
    ];
    let planner = Planner::new(&workshop);
    let (order, shelf) = (order(&[("MUG-TG", 2), ("POT-1", 1)]), Shelf::default());
    let plan = planner.decide(&order, &workshop, &shelf, &BTreeSet::new(), &pins());
    let tried = planner.try_rules(&order, &workshop, &shelf, &plan);
    let told: Vec<_> = tried
        .iter()
        .map(|(parcel, tried)| (*parcel, tried.rule.name.as_str(), tried.verdict.clone(), tried.seen.clone()))
        .collect();
    let fact = |name: &str, value: &str| (name.to_owned(), value.to_owned());
    let grams = plan.parcels[0].weight.g_up().to_string();
    assert_eq!(
        told,
        [
            (None, "gifts", rules::Verdict::Not, vec![fact("order.gift", "no"), fact("order.country", "QS")]),
            (
                None,
                "mugs",
                rules::Verdict::Applies,
                vec![fact("goods.sku", "MUG-TG, POT-1"), fact("goods.quantity", "2, 1")]
            ),
            (Some(1), "heavy", rules::Verdict::Not, vec![fact("parcel.grams", &grams)]),
        ]
    );
}

#[test]
fn a_dry_run_of_rules_about_parcels_sees_what_other_rules_put_in() {
    let mut workshop = demo();
    workshop.rules = vec![
        rule("a pot besides", "true", vec![Action::Product("POT-1".into(), 1)]),
        rule("pots", "parcel.pieces > 1 && goods.exists(g, g.sku == 'POT-1')", vec![Action::Urgent]),
    ];
    let planner = Planner::new(&workshop);
    let (order, shelf) = (order(&[("MUG-TG", 1)]), Shelf::default());
    let plan = planner.decide(&order, &workshop, &shelf, &BTreeSet::new(), &pins());
    let tried = planner.try_rules(&order, &workshop, &shelf, &plan);
    assert_eq!(plan.rules, ["a pot besides", "pots"]);
    assert_eq!(tried[1].1.verdict, rules::Verdict::Applies, "{:?}", tried[1]);
}
