use std::io::{BufRead as _, BufReader, Write as _};
use std::path::PathBuf;
use std::process::{Child, Stdio};

use serde_json::{Value, json};

use crate::support::{Ran, command, file, finish, lampwise, press};

/// A call with these lines typed, to its end.
fn typed(arguments: &[&str], lines: &str) -> Ran {
    let mut program = command(arguments);
    let mut child = program.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // A program that has ended already does not read the rest.
    _ = child.stdin.take().unwrap().write_all(lines.as_bytes());
    finish(child.wait_with_output().unwrap())
}

fn call(machine: &str, lines: &str) -> String {
    let out = typed(&["call", machine], lines).good();
    let echoed = |line: &str| line.contains('>') || line.contains("= help") || line.starts_with("error");
    for line in out.lines().filter(|line| !echoed(line)) {
        assert!(line.chars().count() <= 80, "{line}");
    }
    out
}

/// A place for a file that is not there.
fn no_file(name: &str) -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    _ = std::fs::remove_file(&path);
    path
}

#[test]
fn a_dead_nozzle_up_switch_is_found() {
    let lines = "won't start\npressed start\nX12 X14 on, X3 off, rest off\noff\n1\nothers\nwhy\nlist\n1\n";
    insta::assert_snapshot!(call("demo:jar-filler", &format!("who technician\n{lines}")));
}

#[test]
fn a_door_left_open_is_no_fault() {
    let out = call("demo:jar-filler", "won't start\npressed start\nX3 X12 on, rest off\nfinish\n");
    insta::assert_snapshot!(out);
}

#[test]
fn a_second_fault_is_told_as_such() {
    // Both lamps are dark, twice, both LEDs too, and others on the same fuse are lit: nothing shared explains it.
    let lines = "won't start\npressed start\nI1 I3 I4 I7 on, I2 off, I8 off, rest off\nsaw head up, jar in nest\n\
                 found I8/own-led: off, I2/own-led: off\nagain I2 off, I8 off\nfinish\n";
    let out = call("demo:minimal", lines);
    assert!(out.contains("two things are wrong at once"), "{out}");
    insta::assert_snapshot!(out);
}

#[test]
fn what_is_not_in_the_file_is_said_and_what_to_note() {
    // At rest with everything in order, the controller's outputs and both ends lit at once.
    let lines = "won't start\npressed start\nI1-I10 on\nfinish\n";
    let out = call("demo:minimal", lines);
    assert!(out.contains("not in the machine file"), "{out}");
    assert!(out.contains("Note for the machine builder"), "{out}");
    insta::assert_snapshot!(out);
}

#[test]
fn movement_is_announced_before_the_words_where_clearing_a_dark_input_restarts_motion() {
    // The head is down and its lamp dark: the machine waits for it, and twists as soon as I9 lights.
    let lines =
        "who technician\nstops midway\npressed start\nI1 I2 I3 I5 I7 on, I9 off, rest off\nsaw head down\noff\n";
    let out = call("demo:minimal", lines);
    // In the dialogue, and once more in the summary.
    for part in out.splitn(2, "Summary") {
        let moves = part.find("! This can move: chuck").unwrap_or_else(|| panic!("nothing is announced in\n{part}"));
        assert!(moves < part.find("Adjust the sensor").unwrap(), "{part}");
    }
    insta::assert_snapshot!(out);
}

#[test]
fn what_comes_and_goes_is_watched() {
    let out = call("demo:minimal", "stops midway, 1 in 20 cycles\npressed start\n\nwatch\nfinish\n");
    assert!(out.contains("watch 45 cycles"), "{out}");
    insta::assert_snapshot!(out);
}

#[test]
fn nobody_knows_and_nobody_can() {
    let machine = press();
    let out = call(&machine, "?\n?\nX2 off, rest off\n?\ncan't\nlist\nundo\nlist\nfinish\n");
    let lists: Vec<&str> = out.split("> list").skip(1).collect();
    assert!(lists[0].contains("unknown") && lists[0].contains("cannot"), "{out}");
    assert!(!lists[1].split("> finish").next().unwrap().contains("cannot"), "{out}");
}

#[test]
fn an_earlier_answer_is_put_right_and_all_is_worked_out_anew() {
    let machine = press();
    let wrong = call(&machine, "1\npressed start\nX2 on, rest off\nchange 3 X2 off, rest off\nfinish\n");
    let right = call(&machine, "1\npressed start\nX2 off, rest off\nfinish\n");
    let summary = |out: &str| out[out.find("Summary").unwrap()..].to_owned();
    assert_eq!(summary(&wrong), summary(&right));
}

#[test]
fn a_contradiction_names_the_other_entry() {
    let out = call(&press(), "1\npressed start\nX2 off, rest off\nlamps X2 on\nfinish\n");
    assert!(out.contains("entry 3 says the other") && out.contains("change 3"), "{out}");
}

#[test]
fn a_remedy_that_did_not_help_is_evidence() {
    let machine = press();
    let before = "who technician\n1\npressed start\nX2 off, rest off\nsaw ram up\n";
    let shares = |out: &str| -> Vec<String> {
        let summary = &out[out.find("Summary").unwrap()..];
        summary.lines().filter(|line| line.contains('%')).map(str::to_owned).collect()
    };
    let without = call(&machine, &format!("{before}finish\n"));
    let with = call(&machine, &format!("{before}tried X2/replace\nruns no\nfinish\n"));
    assert_ne!(shares(&without), shares(&with));
}

#[test]
fn a_call_is_kept_after_every_entry_and_goes_on_after_the_program_was_killed() {
    let machine = press();
    let place = no_file("killed-call.txt");
    let name = place.to_str().unwrap();
    let mut child = spawn(&["call", &machine, "--save", name, "--json-lines"]);
    let mut input = child.stdin.take().unwrap();
    let mut output = BufReader::new(child.stdout.take().unwrap()).lines();
    output.next().unwrap().unwrap();
    for (number, request) in [
        json!({"do": "answer", "key": "complaint", "answer": "won't start"}),
        json!({"do": "say", "kind": "did", "text": "pressed start"}),
        json!({"do": "say", "kind": "lamps", "text": "X2 off, rest off"}),
    ]
    .into_iter()
    .enumerate()
    {
        writeln!(input, "{request}").unwrap();
        let state: Value = serde_json::from_str(&output.next().unwrap().unwrap()).unwrap();
        assert_eq!(state["entries"].as_array().unwrap().len(), number + 1);
        // What was acknowledged is on the disk.
        assert_eq!(std::fs::read_to_string(&place).unwrap().matches("\n").count(), 7 + number, "{state}");
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let out = typed(&["call", "--resume", name], "note it went on\nfinish\n").good();
    assert!(out.contains("X2 dark; all others dark") && out.contains("it went on"), "{out}");
    assert!(std::fs::read_to_string(&place).unwrap().ends_with("note: it went on\n"));
    // Nothing is left beside it.
    let beside = std::fs::read_dir(place.parent().unwrap()).unwrap().flatten();
    assert!(!beside.into_iter().any(|entry| entry.file_name().to_string_lossy().starts_with("killed-call.txt.")));
}

#[test]
fn a_replay_ends_as_the_call_did_and_is_the_same_each_time() {
    let machine = press();
    let place = no_file("replayed-call.txt");
    let name = place.to_str().unwrap();
    let live =
        typed(&["call", &machine, "--save", name], "1\npressed start\nX2 off, rest off\nsaw ram up\n?\nfinish\n")
            .good();
    let replay = lampwise(&["call", "--replay", name]).good();
    assert_eq!(replay, lampwise(&["call", "--replay", name]).good());
    let summary = |out: &str| out[out.find("Summary").unwrap()..out.find("lockout rules").unwrap()].to_owned();
    assert_eq!(summary(&live), summary(&replay));
    assert!(replay.contains("> lamps: X2 off, rest off"), "{replay}");
}

#[test]
fn a_saved_call_of_another_machine_is_refused_and_a_changed_file_is_told() {
    let machine = press();
    let place = no_file("changed-call.txt");
    let name = place.to_str().unwrap();
    typed(&["call", &machine, "--save", name], "1\nfinish\n").good();
    let err = lampwise(&["call", "demo:minimal", "--replay", name]).bad(2);
    assert!(err.contains("about a `Press`"), "{err}");
    let other = file("press-changed.toml", format!("{}\n# later\n", crate::support::PRESS));
    let out = lampwise(&["call", &other, "--replay", name]).good();
    assert!(out.contains("has changed since"), "{out}");
    let err = lampwise(&["call", &machine, "--save", name]).bad(2);
    assert!(err.contains("is there already"), "{err}");
}

#[test]
fn a_file_that_is_no_call_is_told_line_by_line() {
    let path = file(
        "no-call.txt",
        "lampwise call 1\nfile: demo:minimal\nmachine: Jar capper\n\nlamps: I99 on\nwhat is this\n",
    );
    assert!(lampwise(&["call", "--replay", &path]).bad(2).contains("line 6"));
    let path = file("bad-entry.txt", "lampwise call 1\nfile: demo:minimal\nmachine: Jar capper\n\nlamps: I99 on\n");
    let err = lampwise(&["call", "--replay", &path]).bad(2);
    assert!(err.contains("entry 1 (lamps)") && err.contains("I99"), "{err}");
}

fn spawn(arguments: &[&str]) -> Child {
    let mut program = command(arguments);
    program.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Sends requests, gives what came back, all of it as the schema says.
fn lines(arguments: &[&str], requests: &[Value]) -> Vec<Value> {
    let sent: String = requests.iter().map(|request| format!("{request}\n")).collect();
    let out = typed(arguments, &sent).good();
    let schema: Value = serde_json::from_str(&lampwise(&["schema", "call"]).good()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    out.lines()
        .map(|line| {
            let document: Value = serde_json::from_str(line).unwrap();
            let mistakes: Vec<String> =
                validator.iter_errors(&document).map(|one| format!("{}: {one}", one.instance_path())).collect();
            assert!(mistakes.is_empty(), "{mistakes:#?}\n{document:#}");
            document
        })
        .collect()
}

#[test]
fn json_lines_lead_a_call_from_the_complaint_to_the_end() {
    let machine = press();
    let arguments = ["call", &machine, "--json-lines"];
    let opening = [
        json!({"do": "answer", "key": "complaint", "answer": "wont-start"}),
        json!({"do": "unknown", "key": "did"}),
        json!({"do": "answer", "key": "lamps", "answer": "X2 off, rest off"}),
    ];
    let states = lines(&arguments, &opening);
    assert_eq!(states.len(), 4);
    assert_eq!(states[0]["question"]["key"], "complaint");
    let question = &states[3]["question"];
    let key = question["key"].as_str().unwrap().to_owned();
    let answer = question["answers"][0]["key"].clone();
    let more = [
        json!({"do": "answer", "key": key, "answer": answer}),
        json!({"do": "why"}),
        json!({"do": "undo"}),
        json!({"do": "cannot", "key": key}),
        json!({"do": "change", "number": 3, "text": "X2 on, rest off"}),
        json!({"do": "remove", "number": 1}),
        json!({"do": "finish"}),
    ];
    let all: Vec<Value> = opening.iter().chain(&more).cloned().collect();
    let states = lines(&arguments, &all);
    assert_eq!(states.len(), 11);
    assert_eq!(states[4]["entries"].as_array().unwrap().len(), 4);
    assert_eq!(states[5]["type"], "why");
    assert_eq!(states[6]["entries"], states[3]["entries"]);
    assert_ne!(states[7]["question"]["key"], states[3]["question"]["key"]);
    assert_eq!(states[9]["entries"][1]["text"], "X2 on, rest off");
    assert_eq!(states[10]["type"], "end");
    assert!(states[10]["summary"].as_str().unwrap().contains("Press"));
}

#[test]
fn every_kind_of_entry_is_in_the_schema_and_three_at_once_can_be_said_in_a_call() {
    let arguments = ["call", "demo:jar-filler", "--json-lines"];
    let said = |kind: &str, text: &str| json!({"do": "say", "kind": kind, "text": text});
    let three = [
        said("complaint", "wont-start"),
        said("did", "press start"),
        said("lamps", "X3 X11-X13 on, X14 off, rest off"),
        said("saw", "door open, tank low, tray full"),
        said("at-once", "3"),
        said("no such kind", "3"),
    ];
    let states = lines(&arguments, &three);
    assert_eq!(states[5]["entries"][4]["kind"], "at-once");
    assert_eq!(states[5]["answer"]["together"][0]["words"].as_array().map(Vec::len), Some(3));
    // The refusal lists all kinds.
    let kinds = states[6]["errors"][0]["hint"].as_str().unwrap().to_owned();
    let schema: Value = serde_json::from_str(&lampwise(&["schema", "call"]).good()).unwrap();
    let listed = schema["$defs"]["kind"]["enum"].as_array().unwrap().iter();
    assert_eq!(listed.map(|kind| kind.as_str().unwrap()).collect::<Vec<_>>().join(", "), kinds);
}

#[test]
fn every_bad_request_is_answered_with_an_error_and_changes_nothing() {
    let machine = press();
    let bad = [
        json!(null),
        json!([]),
        json!({}),
        json!({"do": 3}),
        json!({"do": "fly"}),
        json!({"do": "say", "kind": "song", "text": "la"}),
        json!({"do": "say", "kind": "lamps", "text": "X99 on"}),
        json!({"do": "answer", "key": "check:none", "answer": "1"}),
        json!({"do": "remove", "number": 0}),
        json!({"do": "remove", "number": -1}),
        json!({"do": "change", "number": 7, "text": "x"}),
        json!({"do": "undo"}),
    ];
    let replies = lines(&["call", &machine, "--json-lines"], &bad);
    assert_eq!(replies.len(), bad.len() + 1);
    for (reply, request) in replies[1..].iter().zip(&bad) {
        assert_eq!(reply["type"], "error", "{request}");
    }
}

#[test]
fn the_end_of_the_input_ends_the_call_wherever_it_comes() {
    let machine = press();
    let lines = "1\npressed start\nX2 off, rest off\nothers\nwhy\nchange 1\n?\n";
    for end in (0..=lines.len()).step_by(3) {
        let ran = typed(&["call", &machine], &lines[..end]);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{end}");
        assert!(ran.out.contains("Summary"), "{end}");
    }
}

#[test]
fn whatever_is_typed_the_call_goes_on() {
    let machine = press();
    let mut bytes: Vec<u8> = Vec::new();
    let mut seed: u32 = 1;
    for _ in 0..6_000 {
        // Numerical Recipes' generator; any noise would do.
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        bytes.push((seed >> 24) as u8);
    }
    bytes.push(b'\n');
    for words in [
        "change 1 1 1",
        "change 99999999999999999999 x",
        "save /",
        "saw",
        "tried nothing",
        "unknown x",
        "🦀",
        "runs maybe",
    ] {
        bytes.extend(words.as_bytes());
        bytes.push(b'\n');
    }
    bytes.extend(vec![b'x'; 3_000_000]);
    bytes.extend(b"\nnote still there\nfinish\n");
    for more in [&[][..], &["--json-lines"][..]] {
        let mut arguments = vec!["call", machine.as_str()];
        arguments.extend(more);
        let mut child = spawn(&arguments);
        let mut input = child.stdin.take().unwrap();
        let sent = bytes.clone();
        let writer = std::thread::spawn(move || _ = input.write_all(&sent));
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        let out = String::from_utf8(output.stdout).unwrap();
        assert!(more.len() == 1 || out.contains("still there"), "{out}");
    }
}

#[test]
fn a_step_of_a_procedure_that_goes_wrong_becomes_a_call() {
    let machine = file(
        "press-for-call.toml",
        format!(
            "{}\n[procedures.stroke]\nwords = \"one stroke\"\nwho = \"operator\"\nsteps = [{}]\n",
            crate::support::PRESS,
            r#"{ do = "power cycle", words = "Switch off and on." }, { do = "press start", words = "Press start." }"#
        ),
    );
    let out = typed(&["procedure", &machine, "stroke"], "\nX2 off\nyes\ncall\nnote from a procedure\nfinish\n").good();
    let summary = &out[out.find("Summary").unwrap()..];
    assert!(summary.contains("once more") && summary.contains("from a procedure"), "{out}");
    insta::assert_snapshot!(out);
}

/// Turns of a dialogue: what is said between two answers.
fn turns(out: &str) -> Vec<String> {
    let mut turns = vec![String::new()];
    for line in out.lines() {
        match line.starts_with("  > ") {
            true => turns.push(String::new()),
            false => turns.last_mut().unwrap().extend([line, "\n"]),
        }
    }
    turns
}

#[test]
fn a_turn_stays_short_and_loses_no_caution_and_another_remedy_comes_after_one_that_nobody_can_do() {
    let answers = "won't start\n\nX12 X14 on, rest off\n?\n?\n?\n?\ncan't\n?\ncan't\nfinish\n";
    let out = call("demo:jar-filler", answers);
    let turns = turns(&out);
    // The greeting before and the summary behind are no turns.
    for turn in &turns[1..turns.len() - 1] {
        assert!(turn.trim().lines().count() <= 15, "{turn}");
    }
    let adjust = turns.iter().position(|turn| turn.contains("→ Adjust the switch")).expect("a remedy is asked for");
    for caution in ["First switch off, lock it", "Behind a guard", "When power, air or water comes back"] {
        assert!(turns[adjust].contains(caution), "{out}");
    }
    let next = &turns[adjust + 1];
    assert!(next.contains("→ ") && !next.contains("→ Adjust the switch"), "{out}");
}

#[test]
fn how_long_a_visit_takes_is_kept_with_the_call() {
    let kept = no_file("visit.txt");
    let name = kept.to_str().unwrap();
    typed(&["call", &press(), "--visit", "600", "--save", name], "X2 off\nfinish\n").good();
    assert!(std::fs::read_to_string(&kept).unwrap().contains("\nvisit: 600 min\n"));
    let minutes = |arguments: &[&str]| -> f64 {
        let out = typed(arguments, "").good();
        let state: Value = serde_json::from_str(out.lines().next().unwrap()).unwrap();
        state["minutes"].as_f64().unwrap()
    };
    let resumed = minutes(&["call", "--resume", name, "--json-lines"]);
    let sooner = minutes(&["call", "--resume", name, "--json-lines", "--visit", "10"]);
    assert!(resumed > sooner + 100.0, "{resumed} {sooner}");
}
