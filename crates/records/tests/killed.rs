//! A program that keeps scripted calls is killed (SIGKILL) at 200 random moments. After each, the file must be sound
//! and hold everything that the program had acknowledged, in order.
//!
//! The test starts itself once more, with `write FILE SEED`, as the program that is killed.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::call::{Entry, Kind};
use jiff::{SignedDuration, Timestamp};
use machine::Choice;
use records::{CallId, Change, Finding, NewCall, NewVersion, Solved, Store, What};
use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const KILLS: u64 = 200;
/// The latest moment of a kill after the program has begun to write.
const LATEST: Duration = Duration::from_millis(150);

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["write", file, seed] => write(Path::new(file), seed.parse().unwrap()),
        list if list.contains(&"--list") => println!("killed: test"),
        _ => kill_again_and_again(),
    }
}

/// Keeps calls for ever, and says what is kept: the call, its counter, and what was done.
fn write(file: &Path, seed: u64) {
    let mut dice = fastrand::Rng::with_seed(seed);
    let mut store = Store::open(file).unwrap();
    let now = |counter: u64| Timestamp::UNIX_EPOCH + SignedDuration::from_mins(i64::try_from(counter).unwrap());
    let machine_type = store.machine_type_named("jar-capper").unwrap().unwrap().id;
    let mut out = std::io::stdout().lock();
    let mut say = |line: String| {
        writeln!(out, "{line}").unwrap();
        out.flush().unwrap();
    };
    say("begun".to_owned());
    loop {
        let call = store.begin_call(&NewCall::Of { machine_type, choice: Choice::default() }, now(0)).unwrap();
        say(format!("{call} 0 begin"));
        let mut counter = 0;
        for number in 0..dice.u64(2..12) {
            let entry = Entry::new(Kind::Note, format!("{seed} {number} {}", "word ".repeat(dice.usize(0..200))));
            let change = match dice.u32(0..6) {
                0 if number > 1 => Change::Undo,
                1 if number > 1 => Change::Replace { at: 0, entry },
                _ => Change::Add(vec![entry.clone(), entry]),
            };
            match store.change(call, counter, &change, now(number)) {
                Ok(next) => {
                    counter = next;
                    let said = match change {
                        Change::Add(entries) => format!("add {}", entries[0].text),
                        Change::Replace { entry, .. } => format!("replace {}", entry.text),
                        _ => "undo".to_owned(),
                    };
                    say(format!("{call} {counter} {said}"));
                }
                // Nothing may be left to be replaced or taken back.
                Err(error) => {
                    let said = error.to_string();
                    assert!(said.contains("no entry") || said.contains("nothing to take back"), "{said}");
                }
            }
        }
        let finding =
            Finding { words: format!("finding {seed}"), sure: 1.0, solved: Solved::Phone, ..Finding::default() };
        counter = store.set_finding(call, counter, &finding, now(20)).unwrap();
        say(format!("{call} {counter} finding"));
        counter = store.close_call(call, counter, now(21)).unwrap();
        say(format!("{call} {counter} close"));
    }
}

fn kill_again_and_again() {
    let began = Instant::now();
    let folder = std::env::temp_dir().join(format!("lampwise-killed-{}", std::process::id()));
    _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let file = folder.join("records.db");
    let text = include_str!("../../../demos/minimal.toml");
    let new = NewVersion { name: "jar-capper", text, ..NewVersion::default() };
    Store::open(&file).unwrap().add_version(&new, Timestamp::UNIX_EPOCH).unwrap();
    let mut dice = fastrand::Rng::with_seed(1187);
    let (mut acknowledged, mut not_yet, mut before) = (0, 0, 0);
    for seed in 0..KILLS {
        let lines = run_and_kill(&file, seed, LATEST.mul_f64(dice.f64()));
        let store = Store::open(&file).unwrap();
        let condition = store.check().unwrap();
        assert!(condition.is_sound(), "after kill {seed}: {:?}", condition.faults);
        for line in &lines {
            assert_kept(&store, line);
        }
        acknowledged += lines.len();
        let kept = all_kept(&file);
        // What was kept and not acknowledged is one thing at most: that which the kill came into.
        assert!(
            kept - before >= lines.len() && kept - before <= lines.len() + 1,
            "{} of {}",
            kept - before,
            lines.len()
        );
        not_yet += kept - before - lines.len();
        before = kept;
    }
    assert!(acknowledged > 400, "the kills came too early to say anything: {acknowledged}");
    std::fs::remove_dir_all(&folder).unwrap();
    println!(
        "{KILLS} kills: {acknowledged} acknowledged, none missing; {not_yet} kept of which the word did not get out; {:.1} s",
        began.elapsed().as_secs_f64()
    );
}

/// Starts the program, kills it so long after its first word, and gives what it acknowledged.
fn run_and_kill(file: &Path, seed: u64, after: Duration) -> Vec<String> {
    let mut program = Command::new(std::env::current_exe().unwrap())
        .args(["write".as_ref(), file.as_os_str(), seed.to_string().as_ref()])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(program.stdout.take().unwrap());
    let mut first = String::new();
    said.read_line(&mut first).unwrap();
    assert_eq!(first, "begun\n");
    let reader = std::thread::spawn(move || {
        let mut lines = Vec::new();
        let mut line = Vec::new();
        // A line that was cut off by the kill is no acknowledgement.
        while said.read_until(b'\n', &mut line).unwrap() > 0 && line.last() == Some(&b'\n') {
            lines.push(String::from_utf8(line.clone()).unwrap().trim_end().to_owned());
            line.clear();
        }
        lines
    });
    std::thread::sleep(after);
    // On Unix this is SIGKILL.
    program.kill().unwrap();
    let status = program.wait().unwrap();
    let lines = reader.join().unwrap();
    assert_eq!(status.code(), None, "it ended by itself: {lines:?}");
    lines
}

fn assert_kept(store: &Store, line: &str) {
    let mut words = line.splitn(4, ' ');
    let call: CallId = words.next().unwrap().parse().unwrap();
    let counter: u64 = words.next().unwrap().parse().unwrap();
    let (what, text) = (words.next().unwrap(), words.next().unwrap_or_default());
    let kept = store.call(call).unwrap();
    assert!(kept.row.counter >= counter, "{line}: the call has {}", kept.row.counter);
    let events: Vec<_> = store.events(call).unwrap().into_iter().filter(|event| event.counter == counter).collect();
    let is = |wanted: What| events.iter().all(|event| event.what == wanted) && !events.is_empty();
    let texts: BTreeSet<&str> =
        events.iter().filter_map(|event| event.entry.as_ref()).map(|it| it.text.as_str()).collect();
    match what {
        "begin" => {}
        "add" => assert!(is(What::Add) && events.len() == 2 && texts.contains(text), "{line}: {events:?}"),
        "replace" => assert!(is(What::Replace) && texts.contains(text), "{line}: {events:?}"),
        "undo" => assert!(is(What::Undo), "{line}: {events:?}"),
        "finding" => assert!(is(What::Finding) && kept.finding.is_some(), "{line}: {events:?}"),
        "close" => assert!(is(What::Close) && kept.row.closed.is_some(), "{line}: {events:?}"),
        other => panic!("{other}"),
    }
}

/// How many things are kept: calls begun, and changes of them.
fn all_kept(file: &Path) -> usize {
    let database = rusqlite::Connection::open(file).unwrap();
    database.query_row("SELECT count(*) + coalesce(sum(counter), 0) FROM call", [], |row| row.get(0)).unwrap()
}
