//! Procedures: what a healthy machine does in them, and what a step that does not go as expected comes to.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use diagnose::evidence::{LampReport, LampState, Naming};
use diagnose::panel::Panel;
use diagnose::procedure::{Course, Due, Report, Seen, as_routine, deviations, diagnoser, evidence, judge, lamps_seen};
use diagnose::{Alternative, NoShelf};
use machine::id::{Id, ProcedureId, RoutineId};
use machine::{Choice, Machine, Source, read};
use sim::{Cause, Imposed, Limits, Options, Plant, play};

const DEMOS: [(&str, Option<&str>); 4] =
    [("jar-filler", None), ("lidding-line", None), ("parts-washer", Some("A")), ("parts-washer", Some("B"))];

fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../demos/{name}.toml"));
    fs::read_to_string(path).unwrap()
}

fn machine(name: &str, revision: Option<&str>) -> Machine {
    let choice = Choice { revision: revision.map(str::to_owned), ..Choice::default() };
    read(Source::new(name, text(name)), &[]).resolve(&choice).alternatives.remove(0).machine
}

fn named(machine: &Machine, name: &str) -> ProcedureId {
    machine.procedures.find(|row| row.name == name).expect(name).0
}

#[test]
fn the_demos_promise_no_lamp_that_a_healthy_machine_does_not_show() {
    for name in ["jar-filler", "lidding-line", "parts-washer", "minimal"] {
        let problems = judge(&read(Source::new(name, text(name)), &[]));
        assert!(problems.is_empty(), "{name}: {problems:?}");
    }
}

#[test]
fn the_demos_have_the_usual_procedures_with_something_to_measure() {
    for (name, revision, procedures) in [
        ("jar-filler", None, ["line_priming", "first_start"]),
        ("lidding-line", None, ["vacuum_hold_test", "first_start"]),
        ("parts-washer", Some("B"), ["warm_up_and_level", "first_start"]),
    ] {
        let machine = machine(name, revision);
        let measured =
            machine.procedures[named(&machine, procedures[0])].steps.iter().filter_map(|step| step.measure.as_ref());
        for measure in measured.clone() {
            assert!(
                !measure.unit.english.is_empty() && measure.from < measure.to && !measure.outside.english.is_empty()
            );
        }
        assert!(measured.count() > 0, "{name}");
        named(&machine, procedures[1]);
    }
}

#[test]
fn every_lamp_of_a_healthy_machine_is_as_due() {
    for (name, revision) in DEMOS {
        let machine = machine(name, revision);
        for procedure in machine.procedures.ids() {
            let course = Course::new(&[&machine], procedure);
            for (step, seen) in course.steps.iter().zip(seen_with(&machine, procedure, &[])) {
                let differ = deviations(step, &Seen::Reported(seen));
                assert!(differ.is_empty(), "{name}: {differ:?}");
                assert!(step.rests, "{name}");
                assert!(step.lamps.iter().any(|lamp| lamp.due == Due::Lit));
            }
        }
    }
}

#[test]
fn a_movement_is_announced_with_all_places_it_comes_by() {
    let machine = machine("jar-filler", None);
    let course = Course::new(&[&machine], named(&machine, "first_start"));
    let moving: Vec<Vec<String>> = (course.steps.iter())
        .map(|step| step.movements.iter().map(|movement| movement.words(&machine)).collect())
        .collect();
    // With the door open nothing moves; without a jar the table turns and comes back.
    assert!(moving[3].is_empty(), "{moving:?}");
    assert_eq!(moving[7], ["half-turn table, from loading to filling, then to loading"]);
    assert!(course.steps[7].is_dangerous());
}

#[test]
fn air_that_comes_on_by_itself_is_announced() {
    let machine = machine("lidding-line", None);
    let course = Course::new(&[&machine], named(&machine, "vacuum_hold_test"));
    let on: Vec<&str> =
        course.steps[2].comes_on.iter().map(|supply| machine.supplies[*supply].words.english.as_str()).collect();
    assert_eq!(on, ["air behind the dump valve"]);
}

/// All lamps after each step, with these deviations there from the beginning.
fn seen_with(machine: &Machine, procedure: ProcedureId, keys: &[&str]) -> Vec<Vec<LampReport>> {
    let steps = machine.procedures[procedure].steps.len();
    let led = as_routine(machine, procedure, steps);
    let plant = Plant::new(&led);
    let panel = Panel::new(&led);
    let imposed: Vec<Imposed> = (keys.iter())
        .map(|key| Imposed { deviation: led.deviations.find(|row| row.key == *key).expect(key).0, from: None })
        .collect();
    let run = play(&led, &plant, RoutineId::new(0), &imposed, Limits::default(), None);
    let at = |step: usize| run.instants.iter().position(|one| one.cause == Cause::Hand(step));
    let course = Course::new(&[machine], procedure);
    (0..steps)
        .map(|step| {
            let end = at(step + 1).unwrap_or(run.instants.len()) - 1;
            let truth = panel.truth(&plant, &run.instants[end].situation);
            let lamps = course.steps[step].lamps.iter().enumerate();
            lamps
                .map(|(lamp, due)| LampReport { place: due.place, state: truth.state(lamp), naming: Naming::Named })
                .collect()
        })
        .collect()
}

/// What the causes are called that lead after the first step that differs.
fn leads(machine: &Machine, procedure: &str, key: &str) -> (usize, Vec<String>) {
    let procedure = named(machine, procedure);
    let course = Course::new(&[machine], procedure);
    let mut reports = Vec::new();
    for (step, seen) in course.steps.iter().zip(seen_with(machine, procedure, &[key])) {
        let seen = Seen::Reported(seen);
        let differs = !deviations(step, &seen).is_empty();
        let seen = if differs { seen } else { Seen::AsDue };
        reports.push(Report { seen, confirmed: differs, measured: None });
        if differs {
            break;
        }
    }
    let alternatives = [Alternative { weight: 1.0, choices: Vec::new(), machine: machine.clone() }];
    let diagnoser = diagnoser(&alternatives, procedure, reports.len(), &Options::default(), &NoShelf);
    let answer = diagnoser.answer(&evidence(&course, &reports));
    let mut causes: Vec<_> = answer.causes.iter().collect();
    causes.sort_by(|one, two| two.probability.total_cmp(&one.probability));
    let first = causes.first().expect("a cause");
    // Rare faults are hardly likelier than a lamp that was misread twice.
    assert!(answer.nothing_wrong < 0.5, "{key}: {}", answer.nothing_wrong);
    (reports.len(), first.members.iter().map(|member| member.key.clone()).collect())
}

#[test]
fn a_step_that_does_not_go_as_expected_finds_the_fault_with_all_that_went_well_before() {
    for (name, revision, procedure, key, step) in [
        ("jar-filler", None, "line_priming", "B8/dead", 2),
        ("jar-filler", None, "line_priming", "S4/magnet_shifted", 3),
        ("jar-filler", None, "line_priming", "air/missing", 4),
        ("jar-filler", None, "first_start", "F3/blown", 1),
        ("lidding-line", None, "vacuum_hold_test", "cup/lip_worn covered", 4),
        ("parts-washer", Some("A"), "warm_up_and_level", "lapse/water shut", 4),
    ] {
        let machine = machine(name, revision);
        let (after, keys) = leads(&machine, procedure, key);
        assert_eq!(after, step, "{name} {key}");
        assert!(keys.iter().any(|found| found == key), "{name} {key}: {keys:?}");
    }
}

#[test]
fn what_was_right_a_step_before_has_failed_in_between() {
    let machine = machine("jar-filler", None);
    let procedure = named(&machine, "first_start");
    let course = Course::new(&[&machine], procedure);
    // Six steps go well, with the door and the stop button lit; then all that fuse F3 feeds is dark.
    let as_due = || Report { seen: Seen::AsDue, confirmed: false, measured: None };
    let dark = |label: &str| {
        let lamp = course.steps[6].lamps.iter().find(|lamp| lamp.label == label).unwrap();
        LampReport { place: lamp.place, state: LampState::Dark, naming: Naming::Named }
    };
    let seen = Seen::Reported(["X12", "X14", "Y4"].map(dark).to_vec());
    let reports: Vec<Report> =
        (0..6).map(|_| as_due()).chain([Report { seen, confirmed: true, measured: None }]).collect();
    let alternatives = [Alternative { weight: 1.0, choices: Vec::new(), machine: machine.clone() }];
    let diagnoser = diagnoser(&alternatives, procedure, reports.len(), &Options::default(), &NoShelf);
    let answer = diagnoser.answer(&evidence(&course, &reports));
    let of = |key: &str| -> f64 {
        let members = answer.causes.iter().flat_map(|cause| &cause.members);
        members.filter(|member| member.key == key).map(|member| member.probability).sum()
    };
    assert!(of("F3/blown") > 0.5, "{:?}", answer.causes.first());
    assert!(answer.nothing_wrong < 0.1 && answer.not_in_file < 0.01, "{}", answer.nothing_wrong);
    // What would make the controller stop would show in its own lamp.
    assert!(of("controller/stopped") < 0.05);
}

#[test]
fn of_a_panel_that_is_as_due_lit_and_changed_lamps_count_as_looked_at() {
    let machine = machine("jar-filler", None);
    let course = Course::new(&[&machine], named(&machine, "line_priming"));
    let reports = lamps_seen(&course.steps[1], &Seen::AsDue);
    let named_lamps = |naming| reports.iter().filter(|report| report.naming == naming).count();
    assert_eq!(named_lamps(Naming::Named), 4, "{reports:?}");
    assert!(named_lamps(Naming::Rest) > 20);
    assert!(lamps_seen(&course.steps[1], &Seen::NotLooked).is_empty());
    let one = LampReport { place: course.steps[1].lamps[0].place, state: LampState::Lit, naming: Naming::Named };
    let reports = lamps_seen(&course.steps[1], &Seen::Reported(vec![one]));
    assert_eq!(reports.iter().filter(|report| report.naming == Naming::Named).count(), 1);
}

const PRESS: &str = r#"format = 1
[machine]
name = "Press"
[mechanisms.ram]
positions = ["up", "down"]
moves.down = { when = "Y1", takes = "T#10s", tolerance = "50 %" }
moves.up = { when = "NOT Y1", takes = "T#1s" }
[inputs]
X1 = { lit = "start = pressed" }
X2 = { lit = "ram = up" }
X3 = { lit = "ram = down" }
[outputs]
Y1 = { is = "solenoid-valve-single", tag = "V1" }
[charts.press]
start = "start = pressed"
needs = ["ram = up"]
[charts.press.steps]
lower = { run = "Y1", until = "ram = down" }
hold = { run = "Y1", until = "T#1h" }
"#;

fn codes(procedure: &str) -> Vec<&'static str> {
    let reading = read(Source::new("press.toml", format!("{PRESS}[procedures.a]\nsteps = [{procedure}]\n")), &[]);
    let errors: Vec<_> = reading.lint().into_iter().filter(machine::Problem::is_error).collect();
    assert!(errors.is_empty(), "{errors:?}");
    judge(&reading).into_iter().map(|problem| problem.code).collect()
}

#[test]
fn a_promise_that_a_healthy_machine_breaks_is_an_error_and_one_that_hangs_on_times_a_warning() {
    let pressed =
        |wait: &str, expect: &str| format!("{{ do = \"press start\", wait = \"{wait}\", expect = \"{expect}\" }}");
    assert!(codes(&pressed("T#20s", "X3 lit, X2 dark, Y1 lit")).is_empty());
    assert_eq!(codes(&pressed("T#20s", "X2 lit")), ["wrong-expectation"]);
    assert_eq!(codes(&pressed("T#12s", "X3 lit")), ["may-vary"]);
}

#[test]
fn nobody_reaches_in_while_something_moves() {
    let step = "{ do = \"press start\", wait = \"T#20s\", access = \"behind guard\", energy = \"off\" }";
    assert_eq!(codes(step), ["moves-while-reaching-in"]);
}

#[test]
fn a_procedure_that_is_not_there_has_no_steps() {
    let machine = machine("minimal", None);
    assert!(Course::new(&[&machine], ProcedureId::new(7)).steps.is_empty());
    assert!(Course::new(&[], ProcedureId::new(0)).steps.is_empty());
    assert_eq!(as_routine(&machine, ProcedureId::new(7), 3).routines.len(), 1);
}
