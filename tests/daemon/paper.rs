//! What is wrong with paper is told at the desk and by `check`, and stops no parcel.

use super::support::*;

#[test]
fn a_mistake_in_a_card_stops_no_start_and_no_parcel_and_is_told() {
    let mut bench = Bench::new();
    bench.edit("cards/everyday.md", "# {{ name }}", "# {{ nmae }}");
    bench.run(&["check"]).expect(1, &["config/cards/everyday.md:", "{{ nmae }}"]);
    bench.start();
    let status = bench.status();
    assert!(status.contains("cards/everyday.md:") && status.contains("a plain card prints instead"), "{status}");
    bench.order("A-1", &[("mug", 1)]);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    assert_eq!(bench.galley.papers().len(), 2, "slip and card");
    let status = bench.status();
    assert!(status.contains("card of A-1: cards/everyday.md:"), "{status}");
    bench.run(&["reload"]).expect(1, &["the new configuration was refused", "cards/everyday.md:"]);
    bench.edit("cards/everyday.md", "{{ nmae }}", "{{ name }}");
    bench.run(&["reload"]).expect(0, &["the new configuration is in force"]);
    assert!(!bench.status().contains("a plain card prints instead"), "{}", bench.status());
}

#[test]
fn check_names_the_orders_whose_letters_no_font_has_and_ends_with_one() {
    let bench = Bench::running();
    bench.order("A-1", &[("mug", 1)]);
    bench.run(&["check"]).expect(0, &["all is well"]);
    // U+13000 stands in no embedded face, 鰯 in the last resort only.
    let of = |number: &str, name: &str| order(number, &[("mug", 1)]).to_string().replace("Zoë Ångström", name);
    bench.send("msg_A-2", of("A-2", "鰯 花子"));
    bench.until_stage("A-2", "printed");
    bench.run(&["check"]).expect(0, &["note: order shop/A-2: only the last resort has", "all is well"]);
    bench.send("msg_A-3", of("A-3", "Zoë \u{13000}"));
    bench.until_stage("A-3", "printed");
    let said = bench.run(&["check"]).expect(1, &["order shop/A-3: no font has U+13000", "`fonts` in workshop.toml"]);
    assert!(!said.out.contains("all is well"), "{}", said.out);
    let told = bench.run(&["check", "--json"]).expect(1, &[]).json();
    assert_eq!(told["missing_letters"].as_array().unwrap().len(), 1, "{told}");
    // The paper came out all the same, and the desk says what it lacks.
    bench.until("the warning", || bench.status().contains("slip of A-3: no font has U+13000"));
}
