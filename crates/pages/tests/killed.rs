//! A server of the pages is killed (SIGKILL) at 25 random moments while calls are worked on it. Whatever a browser was told
//! is there when it is started again, and the file is sound.
//!
//! The test starts itself once more, with `serve FILE`, as the program that is killed. `records` has a test of the same
//! kind without the pages, 200 times.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use diagnose::call::Kind;
use jiff::Timestamp;
use pages::{Reached, Serving, serve};
use records::{CallId, NewVersion, State, Store};

const KILLS: u64 = 25;
/// The latest moment of a kill after the first answer.
const LATEST: Duration = Duration::from_millis(400);

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["serve", file] => answer(Path::new(file)),
        list if list.contains(&"--list") => println!("killed: test"),
        _ => kill_again_and_again(),
    }
}

/// Serves the pages and says where.
fn answer(file: &Path) {
    let serving = Serving::at("127.0.0.1:0".parse().unwrap(), Reached::default()).unwrap();
    println!("{}", serving.address());
    let office = serving.office(Store::open(file).unwrap()).unwrap();
    serve(serving, office).unwrap();
}

/// What a browser was told: a call was begun, something was said in it, it was closed.
enum Told {
    Begun(CallId),
    Said(CallId, String),
    Closed(CallId),
}

fn kill_again_and_again() {
    let began = Instant::now();
    let folder = std::env::temp_dir().join(format!("lampwise-pages-killed-{}", std::process::id()));
    _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let file: PathBuf = folder.join("records.db");
    let text = include_str!("../../machine/tests/files/bare_press.toml");
    let new = NewVersion { name: "press", text, ..NewVersion::default() };
    Store::open(&file).unwrap().add_version(&new, Timestamp::UNIX_EPOCH).unwrap();
    let mut dice = fastrand::Rng::with_seed(53);
    let mut told = 0;
    for kill in 0..KILLS {
        let all = work_and_kill(&file, kill, LATEST.mul_f64(dice.f64()));
        let store = Store::open(&file).unwrap();
        let condition = store.check().unwrap();
        assert!(condition.is_sound(), "after kill {kill}: {:?}", condition.faults);
        for one in &all {
            match one {
                Told::Begun(call) => _ = store.call(*call).unwrap(),
                Told::Said(call, text) => {
                    let kept = store.call(*call).unwrap();
                    let is_it = |entry: &diagnose::call::Entry| entry.kind == Kind::Note && entry.text == *text;
                    assert!(kept.entries.iter().any(is_it), "after kill {kill}: {text} is not in call {call}");
                }
                Told::Closed(call) => assert_eq!(store.call(*call).unwrap().row.state, State::Closed, "call {call}"),
            }
        }
        told += all.len();
    }
    assert!(told > 100, "the kills came too early to say anything: {told}");
    std::fs::remove_dir_all(&folder).unwrap();
    println!("{KILLS} kills: {told} answers, nothing of them missing; {:.1} s", began.elapsed().as_secs_f64());
}

/// Works calls on a server until it is killed, and gives all that was answered.
fn work_and_kill(file: &Path, seed: u64, after: Duration) -> Vec<Told> {
    let mut server = Command::new(std::env::current_exe().unwrap())
        .args(["serve".as_ref(), file.as_os_str()])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(server.stdout.take().unwrap());
    let mut address = String::new();
    said.read_line(&mut address).unwrap();
    let address = address.trim().to_owned();
    let mut told = Vec::new();
    // The first answer is waited for: until then the machine is worked out.
    let first = begin(&address).expect("the first answer");
    told.push(Told::Begun(first));
    assert!(say(&address, first, 0, "the first").is_some());
    told.push(Told::Said(first, "the first".to_owned()));
    let killer = std::thread::spawn(move || {
        std::thread::sleep(after);
        // On Unix this is SIGKILL.
        server.kill().unwrap();
        server.wait().unwrap()
    });
    work(&address, seed, &mut told);
    assert_eq!(killer.join().unwrap().code(), None, "it ended by itself");
    told
}

/// Call after call, until nothing answers any more.
fn work(address: &str, seed: u64, told: &mut Vec<Told>) -> Option<()> {
    loop {
        let call = begin(address)?;
        told.push(Told::Begun(call));
        for number in 0..4_u64 {
            let text = format!("note {seed} {call} {number}");
            say(address, call, number, &text)?;
            told.push(Told::Said(call, text));
        }
        let form = "cause=-nothing&solved=phone&sure=1&seen=4".to_owned();
        redirected(&post(address, &format!("/calls/{call}/end"), &form)?)?;
        told.push(Told::Closed(call));
    }
}

fn begin(address: &str) -> Option<CallId> {
    let to = redirected(&post(address, "/calls", "machine_type=press")?)?;
    to.rsplit('/').next()?.parse().ok()
}

fn say(address: &str, call: CallId, seen: u64, text: &str) -> Option<String> {
    let form = format!("kind=note&text={}&seen={seen}", text.replace(' ', "+"));
    redirected(&post(address, &format!("/calls/{call}/say"), &form)?)
}

/// Where an answer leads; nothing where it did not arrive whole.
fn redirected(answer: &str) -> Option<String> {
    if !answer.contains("\r\n\r\n") {
        return None;
    }
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let location = answer.lines().find_map(|line| line.strip_prefix("location: "))?;
    Some(location.to_owned())
}

fn post(address: &str, path: &str, form: &str) -> Option<String> {
    let mut stream = TcpStream::connect(address).ok()?;
    let length = form.len();
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nConnection: close\r\nContent-Length: {length}\r\n"
    );
    let kind = "Content-Type: application/x-www-form-urlencoded\r\n";
    stream.write_all(format!("{head}{kind}\r\n{form}").as_bytes()).ok()?;
    let mut answer = Vec::new();
    _ = stream.read_to_end(&mut answer);
    Some(String::from_utf8_lossy(&answer).into_owned()).filter(|answer| !answer.is_empty())
}
