//! What a technician knows of machines, held against the simulation.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::Machine;
use machine::model::{FaultEffect, Forced, HandMove, OutputStage};
use sim::{Engine, Limits, Plant, Stop};

/// A small press: a spring-return cylinder, a guard door that holds it, sensors on a fuse of their own.
const PRESS: &str = r#"
format = 1
[machine]
name = "Bench press"
[supplies]
dc24 = { is = "power-supply-24v" }
F3 = { is = "fuse", from = "dc24" }
air = { is = "compressed-air" }
[mechanisms]
door = { positions = ["open", "shut"], by = "hand" }
part = { positions = ["absent", "present"], by = "hand" }
ram = { positions = ["up", "down"], rest = "up" }
[inputs]
I0 = { lit = "start = pressed", supply = "dc24" }
I1 = { lit = "door = shut", supply = "F3" }
I2 = { lit = "part = present", supply = "F3" }
I3 = { lit = "ram = up", supply = "F3" }
I4 = { lit = "ram = down", supply = "F3" }
I5 = { lit = "air", supply = "F3" }
I6 = { lit = "tray = shut", supply = "F3" }
I7 = { lit = "stop = released", supply = "dc24" }
[outputs]
Q0 = { is = "solenoid-valve-single", moves = "ram down", takes = "T#1s", back_takes = "T#800ms" }
Q1 = { is = "indicator-lamp" }
[charts.press]
start = "R_TRIG(start = pressed)"
needs = ["door = shut", "part = present", "ram = up"]
interlocks = [{ needs = "door = shut", on_loss = "hold, outputs off", in = ["lower"] }]
[charts.press.steps]
lower = { run = "Q0", until = "ram = down", timeout = "T#5s", on_timeout = "go to fault", next = "raise" }
raise = { until = "ram = up" }
fault = { run = "Q1 blinking", until = "stop = pressed", next = "ready", alarm = true }
[routines.press]
do = ["tray shut", "part present", "door shut", "press start"]
"#;

fn machine(text: &str) -> Machine {
    match machine::load_str("bench.toml", text) {
        Ok(machine) => machine,
        Err(problems) => panic!("{problems:#?}\n{text}"),
    }
}

struct Play<'m> {
    machine: &'m Machine,
    engine: Engine<'m>,
}

impl<'m> Play<'m> {
    fn new(machine: &'m Machine, plant: &'m Plant) -> Self {
        let mut engine = Engine::new(plant);
        engine.power_on().unwrap();
        assert_eq!(engine.run_to_standing(Limits::default()), Stop::Standing);
        Self { machine, engine }
    }

    fn act(&mut self, movement: HandMove) -> Stop {
        if let Err(stop) = self.engine.act(movement) {
            return stop;
        }
        self.engine.run_to_standing(Limits::default())
    }

    /// Acts, and lets only so much time pass.
    fn act_for(&mut self, movement: HandMove, ms: u64) {
        self.engine.act(movement).unwrap();
        self.engine.run_to_standing(Limits { time_ms: ms, ..Limits::default() });
    }

    fn put(&mut self, name: &str, position: &str) -> Stop {
        self.act(self.hand(name, position))
    }

    fn hand(&self, name: &str, position: &str) -> HandMove {
        let (id, row) = self.machine.mechanisms.find(|row| row.name == name).expect(name);
        let at = row.positions.iter().position(|one| one == position).expect(position);
        HandMove::Put(id, u8::try_from(at).unwrap())
    }

    fn press(&self, name: &str, ms: u64) -> HandMove {
        HandMove::Press(self.machine.mechanisms.find(|row| row.name == name).expect(name).0, ms)
    }

    /// Everything for a start but the start itself.
    fn load(&mut self) {
        for (name, position) in [("tray", "shut"), ("part", "present"), ("door", "shut")] {
            assert_eq!(self.put(name, position), Stop::Standing);
        }
    }

    fn impose(&mut self, key: &str) {
        let row = self.machine.deviations.rows().find(|row| row.key == key);
        let row = row.unwrap_or_else(|| {
            panic!("{key}: {:#?}", self.machine.deviations.rows().map(|row| &row.key).collect::<Vec<_>>())
        });
        self.engine.impose(&row.effects).unwrap();
    }

    fn steps(&self) -> Vec<String> {
        let layout = self.engine.plant().layout();
        let active = self.machine.steps.ids().filter(|step| self.engine.on(layout.step(*step)));
        active.map(|step| self.machine.step_name(step)).collect()
    }

    fn lamps(&self) -> Vec<&str> {
        let layout = self.engine.plant().layout();
        let lit = self.machine.inputs.iter().filter(|(id, _)| self.engine.on(layout.input(*id)));
        lit.map(|(_, row)| row.label.as_str()).collect()
    }

    fn stands(&self, name: &str) -> String {
        let (id, row) = self.machine.mechanisms.find(|row| row.name == name).expect(name);
        let layout = self.engine.plant().layout();
        let at = (0..row.positions.len()).find(|at| self.engine.on(layout.at(id, u8::try_from(*at).unwrap())));
        at.map_or("between".to_string(), |at| row.positions[at].clone())
    }
}

#[test]
fn one_blown_fuse_explains_five_dark_lamps_and_leaves_the_others() {
    let machine = machine(PRESS);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    play.load();
    assert_eq!(play.lamps(), ["I1", "I2", "I3", "I5", "I6", "I7"]);
    play.impose("F3/blown");
    assert_eq!(play.lamps(), ["I7"]);
    let start = play.press("start", 500);
    assert_eq!(play.act(start), Stop::Standing);
    assert_eq!(play.steps(), ["ready"], "it does not start");
}

#[test]
fn a_controller_whose_supply_is_dead_shows_no_power_and_stands_still() {
    let fed = PRESS
        .replace("name = \"Bench press\"", "name = \"Bench press\"\nsupply = \"F1\"")
        .replace("F3 = {", "F1 = { is = \"fuse\", from = \"dc24\", words = \"fuse F1, controller\" }\nF3 = {")
        + "[lamps.status]\nPOWER = \"powered\"\nRUN = \"running\"\n";
    for (text, powered) in [(fed.clone(), false), (fed.replace("supply = \"F1\"\n", ""), true)] {
        let machine = machine(&text);
        let plant = Plant::new(&machine);
        let mut play = Play::new(&machine, &plant);
        let on = |play: &Play<'_>| (play.engine.on(plant.layout().powered()), play.engine.on(plant.layout().running()));
        assert_eq!(on(&play), (true, true));
        play.impose("F1/blown");
        play.load();
        play.act_for(play.press("start", 500), 700);
        assert_eq!(on(&play), (powered, powered));
        assert_eq!(play.stands("ram"), if powered { "between" } else { "up" }, "the program works only with power");
    }
}

#[test]
fn a_pulse_shorter_than_a_scan_is_missed_and_a_longer_one_is_not() {
    let machine = machine(&PRESS.replace("name = \"Bench press\"", "name = \"Bench press\"\nscan = \"T#100ms\""));
    let plant = Plant::new(&machine);
    for (ms, step) in [(40, "ready"), (150, "lower")] {
        let mut play = Play::new(&machine, &plant);
        play.load();
        // A moment that is no scan's beginning: the wait ends when the pulse does.
        let wait = play.press("stop", 30);
        play.act_for(wait, 30);
        let start = play.press("start", ms);
        play.act_for(start, 400);
        assert_eq!(play.steps(), [step], "{ms} ms");
    }
}

#[test]
fn a_spring_return_cylinder_falls_back_when_its_valve_drops() {
    let machine = machine(PRESS);
    let plant = Plant::new(&machine);
    for (stopped_after, halfway) in [(600, true), (2_000, false)] {
        let mut play = Play::new(&machine, &plant);
        play.load();
        play.impose("I4/dead");
        let start = play.press("start", 500);
        play.act_for(start, stopped_after);
        assert_eq!(play.stands("ram") == "between", halfway);
        if !halfway {
            assert_eq!(play.stands("ram"), "down");
        }
        let (output, _) = machine.outputs.find(|row| row.label.as_deref() == Some("Q0")).unwrap();
        play.engine.impose(&[FaultEffect::Output(output, OutputStage::Coil, Forced::Off)]).unwrap();
        play.engine.run_to_standing(Limits { time_ms: 1_000, ..Limits::default() });
        assert_eq!(play.stands("ram"), "up");
    }
}

#[test]
fn an_interlock_holds_the_step_and_the_motion_goes_on_when_it_is_restored() {
    let machine = machine(PRESS);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    play.load();
    let start = play.press("start", 500);
    play.act_for(start, 700);
    assert_eq!(play.stands("ram"), "between");
    let open = play.hand("door", "open");
    play.act_for(open, 2_000);
    assert_eq!((play.steps(), play.stands("ram")), (vec!["lower".to_string()], "up".to_string()), "outputs are off");
    let shut = play.hand("door", "shut");
    play.act_for(shut, 500);
    assert_eq!(play.stands("ram"), "between", "it moves again without a start");
    assert_eq!(play.engine.run_to_standing(Limits::default()), Stop::Standing);
    assert_eq!((play.steps(), play.stands("ram")), (vec!["ready".to_string()], "up".to_string()));
}

#[test]
fn a_step_that_lasts_too_long_times_out_to_its_alarm_and_not_before() {
    let machine = machine(PRESS);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    play.load();
    play.impose("I4/dead");
    let start = play.press("start", 500);
    play.act_for(start, 4_999);
    assert_eq!(play.steps(), ["lower"]);
    assert_eq!(play.engine.run_to_standing(Limits::default()), Stop::Standing);
    assert_eq!(play.steps(), ["fault"]);
    assert_eq!(play.engine.state().now(), 5_000 + 800, "the ram is up again 0.8 s later");
    let (output, _) = machine.outputs.find(|row| row.label.as_deref() == Some("Q1")).unwrap();
    assert!(play.engine.blinks(output));
}

#[test]
fn without_air_the_cylinder_stays_where_it_is() {
    let machine = machine(PRESS);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    play.load();
    let (air, _) = machine.supplies.find(|row| row.name == "air").unwrap();
    let start = play.press("start", 500);
    play.act_for(start, 700);
    play.engine.act(HandMove::Supply(air, false)).unwrap();
    play.engine.run_to_standing(Limits { time_ms: 1_000, ..Limits::default() });
    assert!(!play.lamps().contains(&"I5"));
    assert_ne!(play.stands("ram"), "down");
}

#[test]
fn the_same_round_for_ever_is_found_and_reported() {
    let text = PRESS.replace("raise = { until = \"ram = up\" }", "raise = { until = \"ram = up\", next = \"lower\" }");
    let machine = machine(&text);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    play.load();
    let start = play.press("start", 500);
    assert_eq!(play.act(start), Stop::Cycling);
}

#[test]
fn a_program_that_never_comes_to_rest_is_reported_and_does_not_hang() {
    let text = PRESS.replace(
        "raise = { until = \"ram = up\" }",
        "raise = { until = \"TRUE\", next = \"spin\" }\nspin = { until = \"TRUE\", next = \"raise\" }",
    );
    let machine = machine(&text);
    let plant = Plant::new(&machine);
    let mut play = Play::new(&machine, &plant);
    play.load();
    let start = play.press("start", 500);
    assert_eq!(play.act(start), Stop::Unstable);
}

#[test]
fn limits_on_time_and_on_events_end_a_run() {
    let machine = machine(PRESS);
    let plant = Plant::new(&machine);
    for (limits, at_most) in
        [(Limits { time_ms: 700, ..Limits::default() }, 700), (Limits { events: 3, ..Limits::default() }, 1_000)]
    {
        let mut play = Play::new(&machine, &plant);
        play.load();
        let start = play.press("start", 500);
        play.engine.act(start).unwrap();
        assert_eq!(play.engine.run_to_standing(limits), Stop::Limit);
        assert!(play.engine.state().now() <= at_most, "{}", play.engine.state().now());
    }
}
