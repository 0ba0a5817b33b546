//! An order that takes the program down while it is planned is set aside, and the others go on.

use super::support::*;
use super::trouble::Shim;
use std::os::unix::process::ExitStatusExt;
use std::process::Stdio;

/// Starts the daemon and waits until it has been killed.
fn start_and_fall(bench: &mut Bench, shim: &Shim) {
    let mut command = shim.command(bench);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = command.spawn().unwrap();
    let begun = std::time::Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if begun.elapsed() > PATIENCE {
            let _ = child.kill();
            let _ = child.wait();
            panic!("the marked order did not stop it");
        }
        std::thread::sleep(std::time::Duration::from_millis(5));
    };
    assert_eq!(status.signal(), Some(9), "{status}");
}

#[test]
fn an_order_that_stops_the_program_twice_is_set_aside_and_the_others_go_on() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    bench.order("A-1", &[("sea-mint", 1)]);
    bench.until_still();
    // Killed as soon as the disk holds that Z-1 is to be planned; Y-1 came with it.
    shim.make("pwrite kill /journal/ plan_asked\":{\"order\":\"shop/Z-1\"\n");
    let both = serde_json::json!({ "@context": "https://schema.org",
        "@graph": [order("Y-1", &[("sea-mint", 1)]), order("Z-1", &[("sea-mint", 1)])] });
    let envelope = bench.sign("shop", "msg_both", both.to_string());
    let mut sender = dawnslip::intake::sender::Sender::new(bench.target());
    assert!(bench.runtime.block_on(sender.send(&envelope)).is_err(), "it was to be killed before the answer");
    assert_eq!(bench.until_ended().signal(), Some(9));
    // From here on with a mark before each plan: the same order twice.
    shim.make("pwrite kill /journal/ plan_started\":{\"order\":\"shop/Z-1\"\n");
    start_and_fall(&mut bench, &shim);
    start_and_fall(&mut bench, &shim);
    // It stops nothing any more, though the trouble lasts.
    shim.start(&mut bench);
    bench.order("A-2", &[("sea-mint", 1)]);
    for number in ["A-1", "A-2", "Y-1"] {
        bench.until_stage(number, "printed");
    }
    bench.until_still();
    let status = bench.status().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(status.starts_with("needs you: 1 thing"), "{status}");
    for part in ["stopped 2 times while it planned order Z-1", "decide stopped-program:shop/Z-1 retry"] {
        assert!(status.contains(part), "{part:?} is not in: {status}");
    }
    assert_eq!(bench.json("/orders/Z-1")["stage"], "received");
    // The same message again is known; a clean stop changes nothing.
    assert_eq!(bench.send("msg_both", both.to_string()).status, 200);
    assert!(bench.terminate().0.success());
    shim.start(&mut bench);
    assert!(bench.status().contains("Z-1"), "{}", bench.status());
    // A person has it tried once more, when it is mended.
    shim.end();
    bench.run(&["decide", "stopped-program:shop/Z-1", "retry"]).expect(0, &[]);
    bench.until_stage("Z-1", "printed");
    bench.until_still();
    assert!(bench.status().starts_with("all is well"), "{}", bench.status());
    assert_eq!(bench.galley.papers().len(), 8, "a slip and a card each");
    assert!(bench.jobs().iter().all(|job| job["copy"] == false), "{:?}", bench.jobs());
}

#[test]
fn a_marked_order_that_stops_it_again_after_a_retry_is_set_aside_at_once() {
    let mut bench = Bench::new();
    let shim = Shim::new(&bench);
    shim.start(&mut bench);
    shim.make("pwrite kill /journal/ plan_asked\":{\"order\":\"shop/Z-1\"\n");
    let envelope = bench.sign("shop", "msg_z", order("Z-1", &[("sea-mint", 1)]).to_string());
    let mut sender = dawnslip::intake::sender::Sender::new(bench.target());
    assert!(bench.runtime.block_on(sender.send(&envelope)).is_err());
    assert_eq!(bench.until_ended().signal(), Some(9));
    shim.make("pwrite kill /journal/ plan_started\":{\"order\":\"shop/Z-1\"\n");
    start_and_fall(&mut bench, &shim);
    start_and_fall(&mut bench, &shim);
    shim.start(&mut bench);
    let said = bench.run(&["decide", "stopped-program:shop/Z-1", "retry"]);
    assert_ne!(said.code, 0, "it was to be killed before the answer: {}", said.out);
    assert_eq!(bench.until_ended().signal(), Some(9));
    shim.start(&mut bench);
    assert!(bench.is_alive());
    assert!(bench.status().contains("while it planned order Z-1"), "{}", bench.status());
    bench.order("A-1", &[("sea-mint", 1)]);
    bench.until_stage("A-1", "printed");
}
