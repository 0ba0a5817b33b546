//! One paper of each kind, design and script, made of the workshop's own goods and of invented people:
//! to be looked at before the first order comes.

use super::brief::{Packing, ParcelBrief, Thing, Ware, label};
use super::card;
use super::clean;
use super::day::{DayBrief, Decide, Fetch, Fold, Group, PackLine, Tomorrow};
use super::document::{Document, Lid};
use super::look::DESIGNS;
use super::notes::{self, About, ChangeBrief, StopBrief};
use super::packing::Block;
use super::words::{Form, key};
use super::{address, label as labels, picklist, said, sheet, testpage};
use crate::model::{
    CardTemplate, CopyMark, Difference, JobId, Money, PaperKind, Product, Reason, Sku, Weight, Workshop,
};
use jiff::{SignedDuration, Timestamp};

/// Invented people, one a script that the program carries letters for.
const PEOPLE: [&str; 26] = [
    "Zoë Ångström",
    "Marie-Thérèse de Montmorency-Lévis",
    "Νίκος Παππάς",
    "Олена Коваль",
    "佐藤 花子",
    "김하늘",
    "محمد علي",
    "נועה לוי",
    "क्षितिज शर्मा",
    "สมหญิง ใจดี",
    "ნინო ბერიძე",
    "Nguyễn Thị Ánh 🌊",
    "Անի Պետրոսյան",
    "অনন্যা সেন",
    "ਹਰਪ੍ਰੀਤ ਕੌਰ",
    "દીપિકા પટેલ",
    "ସୁଜାତା ଦାସ",
    "කුමුදු පෙරේරා",
    "ሰላም ተስፋዬ",
    "கவிதா செல்வம்",
    "లక్ష్మీ రావు",
    "ಕಾವ್ಯ ಗೌಡ",
    "അനിത നായർ",
    "ສົມສັກ ແກ້ວ",
    "အောင်မြင့်",
    "សុខ សុភា",
];
/// The first of them are of the alphabet that most papers are in; so many stand on the pick list.
const OF_LATIN: usize = 2;
const ON_LIST: usize = 12;

/// Every paper with a name that may stand in a file's name.
pub fn papers(workshop: &Workshop, now: Timestamp) -> Vec<(String, Document)> {
    let form = Form::of(workshop);
    let shop = clean::line(&workshop.name, clean::LABEL_MAX);
    let sender: Vec<String> = workshop.sender.iter().map(|line| clean::line(line, clean::LABEL_MAX)).collect();
    let plain = parcel(0, workshop, &form, now);
    let gift = ParcelBrief {
        gift: true,
        buyer: Some(PEOPLE[3].to_owned()),
        gift_message: Some("A small thing for a long winter.".to_owned()),
        ..parcel(1, workshop, &form, now)
    };
    let why = super::said::reason(Reason::Silent.words(), None, &form);
    let mark = CopyMark { of: JobId(7), at: now - SignedDuration::from_mins(12), why };
    let mut all = vec![
        ("pick-list".to_owned(), picklist::pick_list(&day(workshop, &form, now), &form, &shop)),
        ("slip".to_owned(), sheet::slip(&plain, None, &form, &shop, now)),
        ("slip-gift".to_owned(), sheet::slip(&gift, None, &form, &shop, now)),
        ("slip-copy".to_owned(), sheet::slip(&plain, Some(&mark), &form, &shop, now)),
    ];
    let mut add_card = |name: String, brief: &ParcelBrief, template: &CardTemplate| {
        all.push((format!("card-{name}"), card::card(brief, Some(template), &form, &shop, now).0));
    };
    for (number, template) in workshop.cards.values().enumerate() {
        for (other, design) in DESIGNS.iter().enumerate() {
            let template = CardTemplate { design: (*design).to_owned(), ..template.clone() };
            let brief = if (number + other) % 2 == 1 { &gift } else { &plain };
            add_card(format!("{}-{design}", template.name), brief, &template);
        }
    }
    let usual = workshop.default_card.as_ref().and_then(|name| workshop.cards.get(name));
    let template = usual.or_else(|| workshop.cards.values().next());
    for (number, person) in PEOPLE.iter().enumerate().skip(OF_LATIN) {
        let name = Some(clean::line(person, clean::NAME_MAX));
        let address = plain.address.iter().enumerate();
        let address = address.map(|(at, line)| if at == 0 { (*person).to_owned() } else { line.clone() }).collect();
        let brief = ParcelBrief { name, address, ..plain.clone() };
        for design in DESIGNS {
            let Some(template) = template else { break };
            let template = CardTemplate { design: design.to_owned(), ..template.clone() };
            let card = card::card(&brief, Some(&template), &form, &shop, now).0;
            all.push((format!("card-script-{number:02}-{design}"), card));
        }
        all.push((format!("slip-script-{number:02}"), sheet::slip(&brief, None, &form, &shop, now)));
        all.push((format!("label-script-{number:02}"), labels::label(&brief, &form, &sender)));
    }
    all.push(("label".to_owned(), labels::label(&plain, &form, &sender)));
    all.push(("customs-sheet".to_owned(), labels::customs(&plain, &form, &sender)));
    let printer = workshop.printer_for(PaperKind::TestPage);
    let about = About { number: plain.number.clone(), name: PEOPLE[0].to_owned() };
    let listed = |thing: &Thing| (thing.quantity, thing.name.clone());
    let changed = ChangeBrief {
        about: about.clone(),
        differences: plain
            .things
            .first()
            .map(|thing| {
                let (name, sku) = (thing.name.clone(), Sku::from(thing.sku.as_str()));
                said::difference(&Difference::Count { count: u64::from(thing.quantity), was: 1, name, sku }, &form)
            })
            .into_iter()
            .collect(),
        now: plain.things.iter().map(listed).collect(),
    };
    let stopped = StopBrief {
        about,
        parcels: vec![[plain.code.clone(), plain.container.clone(), form.word(key::STAGE_PACKED).to_owned()]],
        ..StopBrief::default()
    };
    all.push(("change-note".to_owned(), notes::change_note(&changed, &form, now)));
    all.push(("stop-note".to_owned(), notes::stop_note(&stopped, &form, now)));
    all.push(("test-page".to_owned(), testpage::test_page(printer, workshop, 1, now)));
    all
}

fn shipped(workshop: &Workshop) -> impl Iterator<Item = &Product> {
    workshop.products.iter().filter(|product| !product.not_shipped && product.made_of.is_empty())
}

/// A parcel for the person of this number: some of the first goods, in the first own container.
fn parcel(person: usize, workshop: &Workshop, form: &Form, now: Timestamp) -> ParcelBrief {
    let goods: Vec<(u32, &Product)> =
        shipped(workshop).step_by(3).take(3).zip([2, 6, 1]).map(|(p, n)| (n, p)).collect();
    let thing = |(quantity, product): &(u32, &Product)| {
        let batch = product.batches.first();
        Thing {
            quantity: *quantity,
            name: label(&product.name),
            sku: label(product.sku.as_str()),
            shelf: label(&product.shelf),
            batch: batch.map(|batch| label(batch.name.as_str())).unwrap_or_default(),
            best_before: batch.and_then(|b| b.best_before).map(|date| form.date_and_year(date)).unwrap_or_default(),
            care: product.care.clone().unwrap_or_default(),
            ingredients: product.ingredients.as_deref().map(|t| clean::line(t, clean::MESSAGE_MAX)).unwrap_or_default(),
            allergens: product.allergens.iter().map(|allergen| label(allergen)).collect(),
            extra: false,
            of: String::new(),
        }
    };
    let weight: Weight = goods.iter().filter_map(|(n, p)| Some(p.weight? * i64::from(*n))).sum();
    let ware = |(quantity, product): &(u32, &Product)| Ware {
        quantity: *quantity,
        description: label(product.customs.as_ref().map_or(&product.name, |customs| &customs.description)),
        weight: product.weight.map(|one| form.weight(one * i64::from(*quantity))).unwrap_or_default(),
        value: form.money(Money::new(2_400 * i64::from(*quantity), workshop.currency)),
        code: product.customs.as_ref().map(|customs| label(&customs.hs_code)).unwrap_or_default(),
        origin: product
            .customs
            .as_ref()
            .map(|c| address::country_name(c.origin, &workshop.language))
            .unwrap_or_default(),
    };
    let to = "CA".parse().ok();
    let street = address::Parts {
        name: PEOPLE[person].to_owned(),
        street: vec!["17 Harbour Steps".to_owned(), "Apt. 4".to_owned()],
        locality: "Gull Landing".to_owned(),
        region: "NS".to_owned(),
        postcode: "B0A 0A0".to_owned(),
    };
    let own = || workshop.containers.iter().filter(|container| !container.carriers);
    let container = own().nth(2).or_else(|| own().next());
    let service = workshop
        .services
        .get(1)
        .or(workshop.services.first())
        .map(|service| label(service.name.as_str()))
        .unwrap_or_default();
    let tolerance = form.weight(Weight::from_g(weight.g_near() / 40 + 20));
    ParcelBrief {
        number: format!("S-{}", 417 + person),
        part: (1, 1),
        code: format!("p{}", 401 + person),
        name: Some(PEOPLE[person].to_owned()),
        things: goods.iter().map(thing).collect(),
        container: container.map(|container| label(container.name.as_str())).unwrap_or_default(),
        // A little box, so that the marks for folding can be seen.
        lid: Some(Lid { long_mm: 130, short_mm: 100 }),
        packing: packing(goods.len()).filter(|_| workshop.draw_packing_from > 0),
        service,
        weight: form.fill(key::WEIGHT, &[("weight", &form.weight(weight)), ("tolerance", &tolerance)]),
        wish: Some(format!("{}, please leave it with the neighbour.", form.date(form.day(now)))),
        lay: goods.iter().filter_map(|(_, p)| Some(clean::line(p.how_to_lay.as_deref()?, clean::NOTE_MAX))).collect(),
        address: address::label(&street, to, workshop.country, &workshop.language),
        wares: goods.iter().map(ware).collect(),
        value: form.money(Money::new(36_000, workshop.currency)),
        customs_form: form.word(key::CUSTOMS_FORM).to_owned(),
        ..ParcelBrief::default()
    }
}

/// A packing of things in these numbers, whatever they are: in the workshop's own goods it is the plan's.
fn packing(things: usize) -> Option<Packing> {
    let tall = [[0, 80, 0], [80, 80, 0]].map(|at| Block { number: 1, at, size: [80, 80, 90] });
    let rows = [0, 45].into_iter().flat_map(|up| [[0, 0, up], [50, 0, up], [100, 0, up]]);
    let small = rows.map(|at| Block { number: 2, at, size: [50, 70, 45] });
    let flat = [Block { number: 3, at: [160, 40, 0], size: [60, 120, 50] }];
    let blocks = tall.into_iter().chain(small).chain(flat);
    (things == 3).then(|| Packing { room: [220, 160, 100], blocks: blocks.collect() })
}

fn day(workshop: &Workshop, form: &Form, now: Timestamp) -> DayBrief {
    let pull = |(product, quantity): (&Product, u32)| Fetch {
        shelf: label(&product.shelf),
        quantity,
        name: label(&product.name),
        batch: product
            .batches
            .first()
            .map(|b| form.fill(key::BATCH, &[("batch", &label(b.name.as_str()))]))
            .unwrap_or_default(),
    };
    let fetch: Vec<Fetch> = shipped(workshop).zip([23, 4, 1, 12, 2, 1]).map(pull).collect();
    let own = workshop.containers.iter().filter(|container| !container.carriers);
    let (some, spare) = (own.clone().count(), own);
    let own: Vec<String> = spare.map(|c| label(c.name.as_str())).skip(usize::from(some > 2)).take(2).collect();
    let service = |at: usize| workshop.services.get(at % workshop.services.len().max(1));
    let line = |(at, name): (usize, &&str)| PackLine {
        number: format!("S-{}", 417 + at),
        part: if at == 5 { form.fill(key::PART_SHORT, &[("part", "1"), ("parts", "2")]) } else { String::new() },
        saves: String::new(),
        name: (*name).to_owned(),
        service: service(at).map(|service| label(service.name.as_str())).unwrap_or_default(),
        weight: form.weight(Weight::from_g(310 + 277 * at as i64)),
    };
    let lines: Vec<PackLine> = PEOPLE.iter().take(ON_LIST).enumerate().map(line).collect();
    let (first, second) = lines.split_at(7);
    let groups = own.iter().zip([first, second]);
    let fold = |(container, count): (&String, usize)| Fold { count, container: container.clone(), inside: Vec::new() };
    let decide = Decide {
        whose: form.count(3, key::ORDER, key::ORDERS),
        what: form.fill(key::ASK_UNKNOWN_PRODUCT, &[("what", "GLZ-9")]),
        hint: form.word(key::HINT_PRODUCT).to_owned(),
    };
    DayBrief {
        date: form.full(now),
        parcels: lines.len(),
        orders: lines.len() - 1,
        beyond: 9,
        decide: vec![decide],
        tomorrow: Some(Tomorrow {
            parcels: 9,
            fetch: fetch.iter().take(2).cloned().collect(),
            fold: own.iter().map(|container| fold((container, 4))).collect(),
            short: Vec::new(),
        }),
        fold: own.iter().zip([7, 5]).map(fold).collect(),
        pack: groups
            .map(|(container, lines)| Group { container: container.clone(), parcels: lines.to_vec() })
            .collect(),
        tally: workshop.services.iter().zip([7, 4, 1]).map(|(s, n)| (label(s.name.as_str()), n)).collect(),
        prepare: Vec::new(),
        fetch,
        ..DayBrief::default()
    }
}
