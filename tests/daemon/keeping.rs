//! Export, import and backups with the real program: while it runs, and while it does not.

use super::support::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};

/// The program on another data folder.
fn run_on(bench: &Bench, data: &Path, words: &[&str]) -> Said {
    let mut command = Command::new(program());
    command.args(words).arg("--config").arg(bench.config()).arg("--data").arg(data);
    command.stdin(Stdio::null()).env_remove("RUST_LOG").output().unwrap().into()
}

/// What people see of every order, without the moment at which they look.
fn orders(bench: &Bench, data: &Path) -> String {
    run_on(bench, data, &["orders", "--all", "--json"]).expect(0, &[]).out
}

fn backups(bench: &Bench) -> Vec<String> {
    let names = fs::read_dir(bench.data().join("backups")).unwrap();
    let mut names: Vec<String> = names.map(|name| name.unwrap().file_name().into_string().unwrap()).collect();
    names.retain(|name| name.ends_with(".ndjson"));
    names.sort();
    names
}

#[test]
fn an_export_while_orders_keep_coming_is_a_whole_that_another_machine_takes_in() {
    let bench = Bench::running();
    for number in 0..20 {
        bench.order(&format!("A-{number}"), &[("mug-dawn", 1)]);
    }
    let file = bench.folder.path().join("everything.ndjson");
    let name = file.to_str().unwrap();
    let stop = AtomicBool::new(false);
    let mut sent = 0;
    std::thread::scope(|scope| {
        let exporter = scope.spawn(|| {
            let said = bench.run(&["export", name]);
            stop.store(true, Ordering::Relaxed);
            said
        });
        while !stop.load(Ordering::Relaxed) && sent < 500 {
            bench.order(&format!("B-{sent}"), &[("mug-dawn", 1)]);
            sent += 1;
        }
        exporter.join().unwrap().expect(0, &["persons' records, written and read back"]);
    });
    // Never over what is there.
    bench.run(&["export", name]).expect(1, &["exists", "--replace"]);
    bench.run(&["export", name, "--replace", "--json"]).expect(0, &["\"facts\":"]);

    let other = bench.folder.path().join("other");
    run_on(&bench, &other, &["import", name]).expect(0, &["read back and compared", "next: start the daemon"]);
    let all = orders(&bench, &other);
    for number in ["A-0", "A-19"] {
        assert!(all.contains(number), "{number} is not in the other folder: {all}");
    }
    // Twice is refused, and so is a folder on which a daemon runs.
    run_on(&bench, &other, &["import", name]).expect(1, &["nothing was imported", "the data directory is not empty"]);
    bench.run(&["import", name]).expect(1, &["nothing was imported", "not empty"]);
    assert!(bench.knows("A-19"));
}

#[test]
fn a_backup_brings_the_whole_house_back() {
    let mut bench = Bench::running();
    bench.order("A-1", &[("mug-dawn", 2)]);
    bench.order("A-2", &[("mug-dawn", 1)]);
    bench.send("odd", "{\"@type\":\"Order\"}");
    bench.until_stage("A-2", "printed");
    bench.until_still();
    assert_eq!(bench.run(&["packed", "A-1"]).code, 0);
    assert!(!bench.status().contains("\nbackup "), "{}", bench.status());
    bench.run(&["backups"]).expect(1, &["no backup yet in"]);
    bench.run(&["backup"]).expect(0, &["made and read back"]);
    assert!(bench.status().contains("\nbackup "), "{}", bench.status());
    bench.run(&["backups", "--verify"]).expect(0, &["whole"]);
    let files = backups(&bench);
    assert_eq!(files.len(), 2, "{files:?}");
    bench.terminate();
    // After the daemon, too, and from the stopped folder.
    let before = orders(&bench, &bench.data());
    let path = |name: &str| bench.data().join("backups").join(name).to_str().unwrap().to_owned();

    // The disk dies; what is in the backups' folder comes back into a new one.
    let restored = bench.folder.path().join("restored");
    run_on(&bench, &restored, &["import", &path(&files[0]), &path(&files[1])]).expect(0, &["read back and compared"]);
    assert_eq!(orders(&bench, &restored), before);
    let order = |data: &Path| run_on(&bench, data, &["order", "A-1"]).expect(0, &["Zoë Ångström"]).out;
    assert_eq!(order(&restored), order(&bench.data()));

    // A daemon goes on with it: it knows the messages, prints nothing again, and says since when it was off.
    fs::rename(bench.data(), bench.folder.path().join("dead")).unwrap();
    fs::rename(&restored, bench.data()).unwrap();
    let papers = bench.galley.papers().len();
    bench.start();
    let told = bench.send("msg_A-1", order_again("A-1", 2));
    assert_eq!(told.status, 200, "a repeated message is new to it: {}", told.body);
    bench.until_still();
    assert_eq!(bench.galley.papers().len(), papers, "something was printed again");
    assert!(bench.status().contains("the last order before was"), "{}", bench.status());
    bench.order("A-3", &[("mug-dawn", 1)]);
    bench.until_stage("A-3", "printed");
}

fn order_again(number: &str, count: i64) -> String {
    super::support::order(number, &[("mug-dawn", count)]).to_string()
}

#[test]
fn without_a_daemon_export_and_backup_work_on_the_folder_itself() {
    let mut bench = Bench::running();
    bench.order("A-1", &[("mug-dawn", 1)]);
    bench.until_stage("A-1", "printed");
    bench.until_still();
    bench.terminate();
    bench.run(&["backup"]).expect(0, &["made and read back"]);
    let piped = bench.run(&["export", "-"]).expect(0, &[]);
    assert!(piped.out.contains("Zoë Ångström") && piped.out.lines().last().unwrap().contains("\"end\":"));
    let figures = bench.run(&["export", "-", "--without-persons"]).expect(0, &[]).out;
    assert!(
        piped.out.lines().next().unwrap().contains("\"key\":") && !figures.lines().next().unwrap().contains("\"key\":")
    );
    for hidden in ["Zoë", "Quay Street", "example.org"] {
        assert!(!figures.contains(hidden), "{hidden} stands in an export without persons");
    }
    assert!(figures.contains("A-1"));
    // The look left no trace: the next start is one after a clean stop.
    bench.start();
    assert!(!bench.status().contains("needs you"), "{}", bench.status());
}

#[test]
fn an_import_that_was_killed_is_told_and_begins_anew() {
    let mut bench = Bench::running();
    for number in 0..30 {
        bench.order(&format!("A-{number}"), &[("mug-dawn", 1)]);
    }
    bench.terminate();
    let whole = bench.run(&["export", "-"]).expect(0, &[]).out;
    let (half, _) = whole.split_at(whole.len() / 2);
    let file: PathBuf = bench.folder.path().join("half.ndjson");
    fs::write(&file, half).unwrap();
    let other = bench.folder.path().join("other");
    let line = half.lines().count();
    let told = format!("half.ndjson, line {line}: the file is cut off in the middle of this line");
    run_on(&bench, &other, &["import", file.to_str().unwrap()]).expect(1, &["nothing was imported", &told]);
    run_on(&bench, &other, &["status"]).expect(1, &["an import into this data directory has not been finished"]);
    run_on(&bench, &other, &["run"]).expect(1, &["an import into this data directory has not been finished"]);
    fs::write(&file, whole).unwrap();
    run_on(&bench, &other, &["import", file.to_str().unwrap()]).expect(0, &["read back and compared"]);
    assert_eq!(orders(&bench, &other), orders(&bench, &bench.data()));
}

#[test]
fn a_folder_of_backups_that_cannot_be_written_is_told_with_what_to_do() {
    let bench = Bench::new();
    let gone = bench.folder.path().join("no/such/stick");
    bench.edit("workshop.toml", "folder = \"backups\"", &format!("folder = {:?}", gone.display().to_string()));
    let mut bench = bench;
    bench.start();
    bench.run(&["backup"]).expect(1, &["could not be written", "[backups]", "dawnslip backup"]);
}

#[test]
fn a_forgotten_order_is_gone_from_the_backups_too() {
    let bench = Bench::running();
    let named = |number: &str, name: &str| order_again(number, 1).replace("Zoë Ångström", name);
    assert_eq!(bench.send("msg_A-1", named("A-1", "Þóra Jónsdóttir")).status, 202);
    assert_eq!(bench.send("msg_A-2", named("A-2", "Ngũgĩ wa Mumbi")).status, 202);
    bench.until_stage("A-2", "printed");
    bench.until_still();
    bench.run(&["backup"]).expect(0, &["made and read back"]);
    let persons = || -> String {
        let folder = bench.data().join("backups");
        let files = backups(&bench).into_iter().filter(|name| name.contains(".persons."));
        files.map(|name| fs::read_to_string(folder.join(name)).unwrap()).collect()
    };
    assert!(persons().contains("Þóra Jónsdóttir") && persons().contains("Ngũgĩ wa Mumbi"));
    bench.run(&["forget", "A-1", "--yes"]).expect(0, &[]);
    assert!(!persons().contains("Þóra") && persons().contains("Ngũgĩ wa Mumbi"));
    bench.run(&["backups", "--verify"]).expect(0, &["whole"]);
}
