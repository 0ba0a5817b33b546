//! A data folder without room: orders are refused so that shops send them again, the desk
//! says so, and it goes on by itself.

use super::support::*;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

/// Room of the tiny file system; the journal reserves 4 MiB at a time.
const ROOM: &str = "16m";

/// How this user may mount a file system that only the daemon sees; it goes with the daemon.
fn namespace() -> Option<&'static [&'static str]> {
    let ways: [&[&str]; 2] = [&["unshare", "-m"], &["unshare", "-rm"]];
    ways.into_iter().find(|way| {
        let place = tempfile::tempdir().unwrap();
        let mount = ["sh", "-c", "mount -t tmpfs -o size=1m tmpfs \"$0\"", place.path().to_str().unwrap()];
        Command::new(way[0]).args(&way[1..]).args(mount).output().is_ok_and(|out| out.status.success())
    })
}

#[test]
fn a_full_disk_refuses_orders_says_so_and_goes_on_when_there_is_room() {
    let Some(way) = namespace() else {
        println!("SKIPPED: this user may not mount a file system, so no disk can be made full here");
        return;
    };
    let mut bench = Bench::new();
    fs::create_dir(bench.data()).unwrap();
    let script = format!("mount -t tmpfs -o size={ROOM} tmpfs {} && exec \"$0\" \"$@\"", bench.data().display());
    bench.start_wrapped(&[way, &["sh", "-c", &script]].concat());
    let inside = PathBuf::from(format!("/proc/{}/root{}", bench.pid(), bench.data().display()));
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.until_stage("A-1", "printed");
    bench.until_still();

    // Somebody else fills the disk; what the journal has reserved goes with large messages.
    let mut filler = fs::File::create(inside.join("filler")).unwrap();
    let piece = vec![0u8; 64 * 1024];
    while std::io::Write::write_all(&mut filler, &piece).is_ok() {}
    let large = |number: &str| {
        let mut told = order(number, &[("GLZ-9", 1)]);
        told["remark"] = "x".repeat(200_000).into();
        told.to_string()
    };
    let mut kept = Vec::new();
    let refused = (0..60).find_map(|index| {
        let number = format!("L-{index}");
        let told = bench.send(&format!("msg_{number}"), large(&number));
        match told.status {
            202 => {
                kept.push(number);
                None
            }
            _ => Some((number, told)),
        }
    });
    let (number, told) = refused.expect("the disk is full and 12 MB were taken all the same");
    assert_eq!(told.status, 503, "{}", told.body);
    assert!(told.retry_after.is_some(), "no Retry-After: {told:?}");
    let status = bench.status();
    assert!(status.contains("no room on the disk") && status.contains("orders cannot be kept"), "{status}");
    assert_eq!(bench.get("/healthz", "*/*").status, 200);
    assert!(bench.is_alive(), "{}", bench.log());

    // Room again: the same message is taken, and all is as before.
    drop(filler);
    fs::remove_file(inside.join("filler")).unwrap();
    bench.until("order that is kept again", || {
        [200, 202].contains(&bench.send(&format!("msg_{number}"), large(&number)).status)
    });
    bench.until("word that there is room", || !bench.status().contains("no room"));
    bench.order("A-2", &[("mug-dawn", 1)]);
    bench.until_stage("A-2", "printed");
    bench.until_still();
    kept.push(number);
    kept.extend(["A-1".into(), "A-2".into()]);
    assert!(kept.iter().all(|number| bench.knows(number)), "{kept:?}");
    assert!(bench.jobs().iter().all(|job| job["copy"] == false));
    assert_eq!(bench.galley.papers().len(), 4);
    let (ended, _) = bench.terminate();
    assert!(ended.success(), "{ended}");
}
