//! The demo machines played: each routine runs through to its end without an alarm, each procedure
//! shows the lamps that it promises, and the example of the README stands where it should.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use machine::id::{Id, StepId};
use machine::model::{ExpectedLamp, HandMove};
use machine::{Choice, Machine, Source, read};
use sim::{Engine, Limits, Plant, Signal, Stop, Watch};

/// Demo and revision.
const DEMOS: [(&str, Option<&str>); 5] = [
    ("minimal", None),
    ("jar-filler", None),
    ("parts-washer", Some("A")),
    ("parts-washer", Some("B")),
    ("lidding-line", None),
];

fn text_of(path: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// All ways in which the demo may be.
fn machines(name: &str, revision: Option<&str>) -> Vec<Machine> {
    let reading = read(Source::new(format!("{name}.toml"), text_of(&format!("demos/{name}.toml"))), &[]);
    let choice = Choice { revision: revision.map(str::to_string), ..Choice::default() };
    reading.resolve(&choice).alternatives.into_iter().map(|alternative| alternative.machine).collect()
}

/// Notes which steps become active, and when.
#[derive(Default)]
struct Steps {
    signals: Vec<Signal>,
    entered: Vec<(u64, StepId)>,
}

impl Watch for Steps {
    fn changed(&mut self, now: u64, signal: Signal, value: bool) {
        let Some(index) = self.signals.iter().position(|step| *step == signal) else { return };
        if value {
            self.entered.push((now, StepId::new(index)));
        }
    }
}

struct Play<'p> {
    machine: &'p Machine,
    engine: Engine<'p, Steps>,
    /// Up to when people have waited, ms; the engine's own clock stays at the last change.
    waited: u64,
}

impl<'p> Play<'p> {
    fn new(machine: &'p Machine, plant: &'p Plant) -> Self {
        let signals = machine.steps.ids().map(|step| plant.layout().step(step)).collect();
        let watch = Steps { signals, entered: Vec::new() };
        let mut play = Self { machine, engine: Engine::watched(plant, watch), waited: 0 };
        play.engine.power_on().unwrap();
        play.stand("power on", None);
        play
    }

    fn stand(&mut self, what: &str, wait: Option<u64>) {
        let now = self.engine.state().now();
        self.waited = self.waited.max(now) + wait.unwrap_or(0);
        let limits = wait.map_or(Limits::default(), |_| Limits { time_ms: self.waited - now, ..Limits::default() });
        let stop = self.engine.run_to_standing(limits);
        let waits = wait.is_some() && stop == Stop::Limit;
        assert!(stop == Stop::Standing || waits, "{} after {what}: {stop:?}\n{}", self.machine.name, self.told());
    }

    fn act(&mut self, movement: HandMove, what: &str, wait: Option<u64>) {
        self.engine.act(movement).unwrap();
        self.stand(what, wait);
    }

    fn lit(&self, lamp: ExpectedLamp) -> bool {
        let layout = self.engine.plant().layout();
        match lamp {
            ExpectedLamp::Input(input) => self.engine.on(layout.input(input)),
            ExpectedLamp::Output(output) => self.engine.on(layout.command(output)),
        }
    }

    /// Labels of the inputs and outputs that are lit.
    fn lit_labels(&self) -> Vec<String> {
        let inputs = self.machine.inputs.iter().filter(|(id, _)| self.lit(ExpectedLamp::Input(*id)));
        let inputs = inputs.map(|(_, row)| row.label.clone());
        let outputs = self.machine.outputs.iter().filter(|(id, _)| self.lit(ExpectedLamp::Output(*id)));
        inputs.chain(outputs.filter_map(|(_, row)| row.label.clone())).collect()
    }

    fn standing(&self) -> Vec<String> {
        let layout = self.engine.plant().layout();
        let active = self.machine.steps.ids().filter(|step| self.engine.on(layout.step(*step)));
        active.map(|step| self.machine.step_name(step)).collect()
    }

    fn told(&mut self) -> String {
        let entered = self.engine.watch_mut().entered.clone();
        let line = |(now, step): &(u64, StepId)| format!("{now:>9} ms  {}", self.machine.step_name(*step));
        let lines: Vec<String> = entered.iter().map(line).collect();
        format!("{}\nlit: {}", lines.join("\n"), self.lit_labels().join(" "))
    }
}

#[test]
fn every_routine_runs_to_its_end_without_an_alarm() {
    for (name, revision) in DEMOS {
        for machine in machines(name, revision) {
            let plant = Plant::new(&machine);
            for routine in machine.routines.rows() {
                let mut play = Play::new(&machine, &plant);
                for action in &routine.actions {
                    play.act(action.movement, &action.short, action.wait_ms);
                }
                let told = play.told();
                let alarm = play.engine.watch_mut().entered.iter().find(|(_, step)| machine.steps[*step].alarm);
                assert!(alarm.is_none(), "{name} {revision:?} {}:\n{told}", routine.name);
                let initial = machine.charts.rows().flat_map(|chart| chart.initial.clone());
                let initial: Vec<String> = initial.map(|step| machine.step_name(step)).collect();
                assert_eq!(play.standing(), initial, "{name} {revision:?} {}:\n{told}", routine.name);
            }
        }
    }
}

#[test]
fn every_step_that_is_no_alarm_and_no_way_back_from_one_is_seen_in_some_routine() {
    let back = ["stopped", "wait_home", "home", "calm", "retreat", "again"];
    for (name, revision) in DEMOS {
        let machine = machines(name, revision).remove(0);
        let plant = Plant::new(&machine);
        let mut seen = vec![false; machine.steps.len()];
        for routine in machine.routines.rows() {
            let mut play = Play::new(&machine, &plant);
            for action in &routine.actions {
                play.act(action.movement, &action.short, action.wait_ms);
            }
            for (_, step) in &play.engine.watch_mut().entered {
                seen[step.index()] = true;
            }
        }
        let missed: Vec<String> = machine
            .steps
            .iter()
            .filter(|(id, step)| {
                let led_back = back.contains(&step.name.as_str()) && !(name == "jar-filler" && step.name == "home");
                !seen[id.index()] && !step.alarm && !led_back
            })
            .map(|(id, _)| machine.step_name(id))
            .collect();
        assert!(missed.is_empty(), "{name} {revision:?}: {missed:?}");
    }
}

#[test]
fn every_procedure_shows_the_lamps_that_it_promises() {
    for (name, revision) in DEMOS {
        let machine = machines(name, revision).remove(0);
        let plant = Plant::new(&machine);
        for procedure in machine.procedures.rows() {
            let mut play = Play::new(&machine, &plant);
            for step in &procedure.steps {
                let english = &step.words.english;
                play.act(step.movement, english, step.wait_ms);
                for (lamp, lit) in &step.expect {
                    let label = match lamp {
                        ExpectedLamp::Input(input) => machine.inputs[*input].label.clone(),
                        ExpectedLamp::Output(output) => machine.outputs[*output].label.clone().unwrap_or_default(),
                    };
                    let told = play.told();
                    assert_eq!(play.lit(*lamp), *lit, "{name}, {}, {english}: {label}\n{told}", procedure.name);
                }
            }
        }
    }
}

#[test]
fn the_jar_filler_ready_to_start_has_three_inputs_lit_and_one_fewer_with_the_upper_switch_dead() {
    let machine = machines("jar-filler", None).remove(0);
    let plant = Plant::new(&machine);
    let routine = &machine.routines.rows().next().unwrap().actions;
    let mut play = Play::new(&machine, &plant);
    for action in &routine[..2] {
        play.act(action.movement, &action.short, None);
    }
    assert_eq!(play.lit_labels(), ["X3", "X12", "X14", "Y4"]);
    let dead = machine.deviations.rows().find(|row| row.key == "B3/dead").unwrap();
    play.engine.impose(&dead.effects).unwrap();
    play.act(routine[2].movement, "press start", None);
    assert_eq!(play.lit_labels(), ["X12", "X14"]);
    assert_eq!(play.standing(), ["cycle.ready", "prime.ready"]);
}

/// Plays hand moves given by mechanism, position and waiting time, and gives the steps active afterwards.
fn after<'p>(play: &mut Play<'p>, moves: &[(&str, &str, Option<u64>)]) -> Vec<String> {
    for (name, what, wait) in moves {
        let (mechanism, row) = play.machine.mechanisms.find(|row| row.name == *name).expect(name);
        let movement = match row.positions.iter().position(|position| position == what) {
            Some(at) => HandMove::Put(mechanism, u8::try_from(at).unwrap()),
            None => HandMove::Press(mechanism, 500),
        };
        play.act(movement, name, *wait);
    }
    play.standing()
}

#[test]
fn without_a_jar_the_jar_filler_alarms_and_stop_brings_it_home() {
    let machine = machines("jar-filler", None).remove(0);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    let moves = [("door", "shut", None), ("start", "press", None)];
    assert_eq!(after(&mut play, &moves), ["cycle.no_jar", "prime.ready"]);
    assert_eq!(after(&mut play, &[("stop", "press", None)]), ["cycle.ready", "prime.ready"]);
    assert_eq!(play.lit_labels(), ["X3", "X12", "X14", "Y4"]);
}

#[test]
fn a_door_opened_while_the_jar_filler_fills_stops_the_pump_and_stop_brings_it_home() {
    let machine = machines("jar-filler", None).remove(0);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    let moves = [("jar", "standing", None), ("door", "shut", None), ("start", "press", Some(6_000))];
    assert_eq!(after(&mut play, &moves), ["cycle.fill", "prime.ready"]);
    assert_eq!(after(&mut play, &[("door", "open", None)]), ["cycle.fault", "prime.ready"]);
    let lit = play.lit_labels();
    assert!(!lit.contains(&"Y3".to_string()), "{lit:?}");
    assert_eq!(after(&mut play, &[("door", "shut", None), ("stop", "press", None)]), ["cycle.ready", "prime.ready"]);
}

#[test]
fn the_newer_parts_washer_does_not_start_before_reset_and_the_older_does() {
    let moves = [("load", "hung_in", None), ("lid", "shut", None), ("start", "press", Some(20_000))];
    for (revision, step) in [("A", "wash.fill"), ("B", "wash.ready")] {
        let machine = machines("parts-washer", Some(revision)).remove(0);
        let plant = Plant::new(&machine);
        let mut play = Play::new(&machine, &plant);
        assert_eq!(after(&mut play, &moves), [step, "heating.ready"], "{revision}");
    }
}

#[test]
fn a_parts_washer_stopped_while_it_warms_up_goes_home_and_stops_heating() {
    for (revision, again) in [("A", None), ("B", Some(("reset", "press", None)))] {
        let machine = machines("parts-washer", Some(revision)).remove(0);
        let plant = Plant::new(&machine);
        let mut play = Play::new(&machine, &plant);
        let mut moves: Vec<(&str, &str, Option<u64>)> = again.into_iter().collect();
        moves.extend([("load", "hung_in", None), ("lid", "shut", None), ("start", "press", Some(100_000))]);
        assert_eq!(after(&mut play, &moves), ["wash.warm", "heating.heat"], "{revision}");
        assert_eq!(after(&mut play, &[("stop", "press", None)]), ["wash.ready", "heating.ready"], "{revision}");
        let lit = play.lit_labels();
        assert!(!lit.contains(&"Q0.4".to_string()) && lit.contains(&"I0.2".to_string()), "{lit:?}");
    }
}

#[test]
fn a_door_opened_at_any_moment_stops_the_lidding_line_and_reset_and_start_bring_it_home() {
    let machine = machines("lidding-line", None).remove(0);
    let plant = Plant::new(&machine);
    for moment in (250..8_000).step_by(250) {
        let mut play = Play::new(&machine, &plant);
        let moves = [
            ("nests", "filled", None),
            ("front", "shut", None),
            ("reset", "press", None),
            ("start", "press", Some(moment)),
            ("left", "open", None),
        ];
        let stood = after(&mut play, &moves);
        assert_eq!(stood[0], "line.fault", "{moment}: {stood:?}");
        let drives = ["A0", "A1", "A2", "A3", "A4", "A5", "A7", "A8"];
        for (id, row) in machine.outputs.iter() {
            let driven = play.engine.on(plant.layout().driven(id));
            let label = row.label.as_deref().unwrap_or_default();
            assert!(!driven || !drives.contains(&label), "{moment}: {label} is driven");
        }
        let stood = after(&mut play, &[("left", "shut", None), ("reset", "press", None)]);
        assert_eq!(stood[0], "line.wait_home", "{moment}: {stood:?}");
        let stood = after(&mut play, &[("start", "press", None)]);
        assert_eq!(stood, ["line.ready", "pick.ready", "test.ready"], "{moment}: {}", play.told());
    }
}

#[test]
fn with_an_empty_magazine_the_lidding_line_waits_for_a_lid_and_then_alarms() {
    let machine = machines("lidding-line", None).remove(0);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    let moves = [
        ("magazine", "empty", None),
        ("nests", "filled", None),
        ("front", "shut", None),
        ("reset", "press", None),
        ("start", "press", Some(20_000)),
    ];
    assert_eq!(after(&mut play, &moves), ["line.place", "line.pressed", "pick.ready", "test.ready"]);
    assert_eq!(after(&mut play, &[("start", "press", None)])[0], "line.fault");
}
