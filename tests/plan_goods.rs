//! What goods bring along: cushions, softness, batches that differ, bundles. Every figure is worked out by hand.

mod plan_bench;

use dawnslip::model::*;
use dawnslip::plan::{Planner, choose::Shelf};
use plan_bench::*;
use std::collections::BTreeSet;

fn plan(workshop: &Workshop, lines: &[(&str, u32)]) -> Plan {
    Planner::new(workshop).decide(&order(lines), workshop, &Shelf::default(), &BTreeSet::new(), &pins())
}

/// One product, one box, one service without limits.
fn shop(goods: Product, room: Dims) -> Workshop {
    let mut shop = empty();
    shop.products = vec![goods];
    shop.containers = vec![carton("Box", room, 3, g(100), 50)];
    shop.services = vec![service("Road", Price::Nothing)];
    shop
}

fn micrometres(um: i64) -> Length {
    Length { nm: um * 1000 }
}

/// All in one parcel; if not, the reason.
fn goes(shop: &Workshop, count: u32) -> Result<(), String> {
    let made = plan(shop, &[("IT", count)]);
    match (made.parcels.len(), made.questions.first()) {
        (1, None) => Ok(()),
        (parcels, None) => Err(format!("{parcels} parcels")),
        (_, Some(question)) => Err(question.what.clone()),
    }
}

/// A cube of 90 mm with 5 mm on every side fills 100 mm; a twentieth of a millimetre more each side is too much.
#[test]
fn a_products_cushion_lies_around_each_of_its_pieces() {
    for (cushion_um, room, count, fits) in [
        (0, mm(90, 90, 90), 1, true),
        (5_000, mm(100, 100, 100), 1, true),
        (5_050, mm(100, 100, 100), 1, false),
        (5_000, mm(99, 100, 100), 1, false),
        // Not shared: two of them need 200 mm.
        (5_000, mm(200, 100, 100), 2, true),
        (5_000, mm(195, 100, 100), 2, false),
    ] {
        let mut it = product("IT", "Thing", mm(90, 90, 90), g(100));
        it.cushion = micrometres(cushion_um);
        let found = goes(&shop(it, room), count);
        assert_eq!(found.is_ok(), fits, "{count} with {cushion_um} um in {room}: {found:?}");
        if cushion_um > 0 && count == 1 {
            let told = found.err().unwrap_or_else(|| "with its cushion".to_owned());
            assert!(told.contains("cushion"), "{told}");
        }
    }
}

/// 5 mm along each wall of 110 mm leave 100 mm; a cube of 90 mm with 5 mm of its own fills them.
#[test]
fn a_containers_cushion_is_taken_off_its_room_and_adds_to_the_products() {
    for (of_box_um, own_um, fits) in
        [(5_000, 5_000, true), (5_001, 5_000, false), (5_000, 5_001, false), (10_000, 0, true), (10_001, 0, false)]
    {
        let mut it = product("IT", "Thing", mm(90, 90, 90), g(100));
        it.cushion = micrometres(own_um);
        let mut shop = shop(it, mm(110, 110, 110));
        shop.containers[0].cushion = micrometres(of_box_um);
        assert_eq!(goes(&shop, 1).is_ok(), fits, "{of_box_um} um along the walls, {own_um} um around it");
    }
}

/// 100 mm pressed to 60 % are 60 mm. Only the height gives way, however it is turned.
#[test]
fn soft_goods_are_pressed_in_their_height_only() {
    for (percent, room, count, fits) in [
        (100, mm(200, 150, 100), 1, true),
        (100, mm(200, 150, 60), 1, false),
        (60, mm(200, 150, 60), 1, true),
        (60, mm(200, 150, 59), 1, false),
        (60, mm(200, 150, 120), 2, true),
        (60, mm(200, 150, 119), 2, false),
        // Length and width stay, and so it may stand on its edge only where those go in.
        (60, mm(60, 200, 150), 1, true),
        (60, mm(120, 150, 100), 1, false),
    ] {
        let mut it = product("IT", "Scarf", mm(200, 150, 100), g(300));
        it.softness_percent = percent;
        let found = goes(&shop(it, room), count);
        assert_eq!(found.is_ok(), fits, "{count} at {percent} % in {room}: {found:?}");
    }
}

/// The frosted batch is 10 mm higher and 25 g heavier. One plain mug is left; it goes first.
#[test]
fn a_batch_that_differs_brings_its_own_size_and_weight() {
    let batch = |name: &str, dims: Option<Dims>, weight: Option<Weight>, made: u32| Batch {
        name: name.into(),
        dims,
        weight,
        best_before: None,
        made: Some(made),
        shelf: None,
    };
    let mut mug = product("IT", "Mug", mm(100, 80, 95), g(380));
    mug.turn = Turn::ThisSideUp;
    mug.batches = vec![batch("plain", None, None, 1), batch("frosted", Some(mm(100, 80, 105)), Some(g(405)), 10)];
    let low = shop(mug.clone(), mm(200, 80, 100));
    assert_eq!(goes(&low, 1), Ok(()));
    let why = goes(&low, 2).expect_err("105 mm do not stand in 100 mm");
    assert!(why.contains("no container holds Mug (100 x 80 x 105 mm)"), "{why}");
    let high = shop(mug, mm(200, 80, 105));
    let made = plan(&high, &[("IT", 2)]);
    let contents: Vec<(&str, u32)> = made.parcels[0]
        .contents
        .iter()
        .map(|content| (content.batch.as_ref().expect("a batch").as_str(), content.quantity))
        .collect();
    assert_eq!(contents, [("plain", 1), ("frosted", 1)]);
    // The box 100 g, a plain one 380 g, a frosted one 405 g.
    assert_eq!(made.parcels[0].weight, g(100 + 380 + 405));
}

/// The Medium weighs 190 g and takes 80 cm of tape, of which 50 m weigh 100 g: 1.6 g. Two mugs are 760 g and a teapot
/// is 760 g: 1711.6 g. What the bundle itself says of size and weight does not count.
#[test]
fn a_bundle_weighs_what_it_is_made_of() {
    let mut workshop = demo();
    let mut set = product("SET", "Tea set", mm(900, 900, 900), g(9_000));
    set.made_of = vec![("POT-1".into(), 1), ("MUG-TG".into(), 2)];
    let mut sets = product("SETS", "Two tea sets", mm(1, 1, 1), g(1));
    sets.made_of = vec![("SET".into(), 2)];
    workshop.products.extend([set, sets]);
    let made = plan(&workshop, &[("SET", 1)]);
    let parcel = &made.parcels[0];
    assert_eq!((made.parcels.len(), parcel.container.as_str()), (1, "Medium"));
    assert_eq!(parcel.weight, Weight { ng: 1_711_600_000_000 });
    let apart = plan(&workshop, &[("POT-1", 1), ("MUG-TG", 2)]);
    assert_eq!((parcel.weight, made.cost), (apart.parcels[0].weight, apart.cost));
    // A bundle of bundles: four mugs and two teapots, 3040 g, with what the boxes weigh: 420 g and 1.6 g.
    let both = plan(&workshop, &[("SETS", 1)]);
    let pieces: u32 = both.parcels.iter().flat_map(|parcel| &parcel.contents).map(|content| content.quantity).sum();
    assert_eq!((both.parcels.len(), both.parcels[0].container.as_str(), pieces), (1, "Large", 6));
    assert_eq!(both.parcels[0].weight, Weight { ng: 3_461_600_000_000 });
}

/// In 200 x 150 x 20 mm prints of 2 mm can only lie flat. With a board of 16 mm two of them fill it, one on the
/// floor and one under the lid; of three with a board of 14 mm one would lie against another.
#[test]
fn flat_goods_lie_against_a_wall_the_floor_or_the_lid() {
    for (by_wall, count, board, fits) in [(false, 3, 14, true), (true, 2, 16, true), (true, 3, 14, false)] {
        let mut it = product("IT", "Print", mm(200, 150, 2), g(50));
        it.by_wall = by_wall;
        let mut shop = shop(it, mm(200, 150, 20));
        shop.products.push(product("BOARD", "Board", mm(200, 150, board), g(50)));
        let made = plan(&shop, &[("IT", count), ("BOARD", 1)]);
        assert_eq!(made.parcels.len() == 1, fits, "{count}, by a wall: {by_wall}: {:?}", made.questions);
        if by_wall && fits {
            let mut heights: Vec<i64> = made.parcels[0].placement.iter().map(|it| it.at[2]).collect();
            heights.sort_unstable();
            assert_eq!(heights, [0, 2, 18], "one on the floor, the board, one under the lid");
        }
    }
}

/// More equal pieces than are searched one by one: 10 x 10 x 5 of 60 x 40 x 40 mm fill 600 x 400 x 200 mm.
#[test]
fn hundreds_of_equal_pieces_are_laid_in_blocks() {
    let bar = product("IT", "Bar", mm(60, 40, 40), g(20));
    let shop = shop(bar, mm(600, 400, 200));
    let full = plan(&shop, &[("IT", 500)]);
    assert_eq!((full.parcels.len(), &full.verdict), (1, &Verdict::Proved));
    assert_eq!(full.parcels[0].placement.len(), 500);
    let some = plan(&shop, &[("IT", 90)]);
    assert_eq!((some.parcels.len(), &some.verdict), (1, &Verdict::Proved));
}
