//! The evolution rules of IEC 60848 (GRAFCET) and the rules for actions, on small machine files.
//!
//! Source of every rule named here: IEC 60848, from memory. Edge detection (`R_TRIG`): IEC 61131-3, from memory.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::Machine;
use machine::model::HandMove;
use sim::{Engine, Limits, Plant, Signal, Stop, Watch};

/// Two switches `a` and `b` that a hand puts on and off, two lamps to drive, one motor; charts are added.
const HEAD: &str = r#"
format = 1
[machine]
name = "Rule bench"
[supplies]
dc24 = { is = "power-supply-24v" }
[mechanisms]
a = { positions = ["off", "on"], by = "hand" }
b = { positions = ["off", "on"], by = "hand" }
[inputs]
I1 = { lit = "a = on" }
I2 = { lit = "b = on" }
[outputs]
Q1 = { is = "indicator-lamp" }
Q2 = { is = "indicator-lamp" }
[routines.try]
do = ["a on"]
"#;

/// Notes every change of every signal.
#[derive(Default)]
struct Tape(Vec<(u64, Signal, bool)>);

impl Watch for Tape {
    fn changed(&mut self, now: u64, signal: Signal, value: bool) {
        self.0.push((now, signal, value));
    }
}

struct Bench {
    machine: Machine,
    plant: Plant,
}

impl Bench {
    fn new(charts: &str) -> Self {
        let text = format!("{HEAD}{charts}");
        let machine = match machine::load_str("bench.toml", &text) {
            Ok(machine) => machine,
            Err(problems) => panic!("{problems:#?}\n{text}"),
        };
        let plant = Plant::new(&machine);
        Self { machine, plant }
    }

    fn on(&self) -> Play<'_> {
        let mut engine = Engine::watched(&self.plant, Tape::default());
        engine.power_on().unwrap();
        let mut play = Play { bench: self, engine };
        play.rest();
        play
    }
}

struct Play<'b> {
    bench: &'b Bench,
    engine: Engine<'b, Tape>,
}

impl Play<'_> {
    fn rest(&mut self) {
        assert_eq!(self.engine.run_to_standing(Limits::default()), Stop::Standing);
    }

    fn put(&mut self, switch: &str, position: u8) {
        let (id, _) = self.bench.machine.mechanisms.find(|row| row.name == switch).expect(switch);
        self.engine.act(HandMove::Put(id, position)).unwrap();
        self.rest();
    }

    /// Names of the active steps.
    fn active(&self) -> Vec<String> {
        let layout = self.bench.plant.layout();
        let active = self.bench.machine.steps.ids().filter(|step| self.engine.on(layout.step(*step)));
        active.map(|step| self.bench.machine.step_name(step)).collect()
    }

    /// Times at which a step became active, and at which it ceased to be.
    fn times(&mut self, step: &str) -> (Vec<u64>, Vec<u64>) {
        let (id, _) = self.bench.machine.steps.find(|row| row.name == step).expect(step);
        self.changes(self.bench.plant.layout().step(id))
    }

    fn changes(&mut self, signal: Signal) -> (Vec<u64>, Vec<u64>) {
        let tape = &self.engine.watch_mut().0;
        let times = |value| tape.iter().filter(|one| one.1 == signal && one.2 == value).map(|one| one.0).collect();
        (times(true), times(false))
    }

    fn lamp(&self, label: &str) -> Signal {
        let found = self.bench.machine.outputs.find(|row| row.label.as_deref() == Some(label)).expect(label);
        self.bench.plant.layout().command(found.0)
    }

    fn lit(&self, label: &str) -> bool {
        self.engine.on(self.lamp(label))
    }
}

#[test]
fn rule_1_the_initial_steps_and_no_others_are_active_at_the_start() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
first = { initial = true, until = "a = on" }
second = { until = "b = on" }
third = { initial = true, until = "b = on", next = "first" }
[charts.two.steps]
rest = "wait until a = on"
work = "wait until b = on"
"#,
    );
    assert_eq!(bench.on().active(), ["one.first", "one.third", "two.rest"]);
}

#[test]
fn rule_2_a_transition_is_cleared_only_when_it_is_enabled_and_its_condition_is_true() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on"
s1 = "wait until b = on"
s2 = "wait until NOT (a = on)"
"#,
    );
    let mut play = bench.on();
    // b is true, but the step before its transition is not active.
    play.put("b", 1);
    assert_eq!(play.active(), ["s0"]);
    play.put("b", 0);
    // Enabled, and the condition becomes true: cleared at once.
    play.put("a", 1);
    assert_eq!(play.active(), ["s1"]);
    play.put("b", 1);
    assert_eq!(play.active(), ["s2"]);
}

#[test]
fn rule_2_a_transition_with_several_steps_before_it_needs_all_of_them() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = { until = "a = on", next = ["left", "right"] }
left = { until = "b = on", next = "left_done" }
left_done = {}
right = {}
joined = { until = "NOT (a = on)", next = "s0" }
[[charts.one.transitions]]
from = ["left_done", "right"]
to = "joined"
when = "TRUE"
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["left", "right"], "one branch waits for the other");
    play.put("b", 1);
    assert_eq!(play.active(), ["joined"]);
}

#[test]
fn rule_3_clearing_activates_all_steps_after_and_deactivates_all_steps_before_together() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = { until = "a = on", next = ["left", "right"] }
left = {}
right = {}
joined = { until = "NOT (a = on)", next = "s0" }
[[charts.one.transitions]]
from = ["left", "right"]
to = "joined"
when = "b = on"
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["left", "right"]);
    assert_eq!(play.times("left").0, play.times("right").0);
    play.put("b", 1);
    assert_eq!(play.active(), ["joined"]);
    assert_eq!(play.times("left").1, play.times("right").1);
    play.put("a", 0);
    assert_eq!(play.active(), ["s0"]);
}

#[test]
fn rule_4_transitions_that_can_clear_together_do_so_also_across_charts() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on AND two.t0.X"
s1 = "wait until NOT (a = on)"
[charts.two.steps]
t0 = "wait until a = on AND one.s0.X"
t1 = "wait until NOT (a = on)"
"#,
    );
    let mut play = bench.on();
    // Each condition needs the other chart's step to be active still: only together can both clear.
    play.put("a", 1);
    assert_eq!(play.active(), ["one.s1", "two.t1"]);
}

#[test]
fn rule_4_a_selection_whose_conditions_do_not_exclude_each_other_takes_both_ways() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = { until = "a = on", next = "left", or = [{ when = "b = on", next = "right" }] }
left = {}
right = {}
"#,
    );
    let mut play = bench.on();
    let (a, _) = bench.machine.mechanisms.find(|row| row.name == "a").unwrap();
    assert_eq!(play.active(), ["s0"]);
    // Both become true at one instant: the program is off while the hands act.
    play.engine.act(HandMove::Put(a, 1)).unwrap();
    assert_eq!(play.active(), ["left"]);
    let mut play = bench.on();
    let supply = bench.machine.supplies.ids().next().unwrap();
    play.engine.act(HandMove::Supply(supply, false)).unwrap();
    play.put("a", 1);
    play.put("b", 1);
    play.engine.act(HandMove::Supply(supply, true)).unwrap();
    play.rest();
    assert_eq!(play.active(), ["left", "right"]);
}

#[test]
fn rule_5_a_step_activated_and_deactivated_at_once_stays_active() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = { initial = true }
s1 = { initial = true }
s2 = {}
[[charts.one.transitions]]
from = "s0"
to = "s1"
when = "R_TRIG(a = on)"
[[charts.one.transitions]]
from = "s1"
to = "s2"
when = "R_TRIG(a = on)"
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["s1", "s2"]);
    assert_eq!(play.times("s1"), (vec![0], vec![]), "it was never inactive in between");
}

#[test]
fn an_unstable_situation_is_passed_through_in_no_time() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on"
s1 = "run Q1, set Q2 until TRUE"
s2 = "wait until NOT (b = on)"
s3 = "wait until b = on"
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["s3"]);
    let (began, ended) = play.times("s1");
    assert_eq!(began.len(), 1);
    assert_eq!(began, ended, "the step was active for no time");
    // A stored action is carried out on activation, be the step stable or not; the assignment of a
    // continuous action belongs to stable situations only.
    assert!(play.lit("Q2"));
    let lamp = play.lamp("Q1");
    assert_eq!(play.changes(lamp), (vec![], vec![]));
}

#[test]
fn a_continuous_action_lasts_as_long_as_its_step_and_a_stored_one_until_it_is_reset() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on"
s1 = "run Q1, set Q2 until b = on"
s2 = "wait until NOT (a = on)"
s3 = "reset Q2 until NOT (b = on)"
"#,
    );
    let mut play = bench.on();
    let lit = |play: &Play<'_>| (play.lit("Q1"), play.lit("Q2"));
    assert_eq!(lit(&play), (false, false));
    play.put("a", 1);
    assert_eq!(lit(&play), (true, true), "in s1");
    play.put("b", 1);
    assert_eq!(lit(&play), (false, true), "in s2");
    play.put("a", 0);
    assert_eq!(lit(&play), (false, false), "in s3");
}

#[test]
fn a_continuous_action_with_a_condition_follows_the_condition_within_its_step() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on"
s1 = "run Q1 if (b = on) until NOT (a = on)"
"#,
    );
    let mut play = bench.on();
    play.put("b", 1);
    assert!(!play.lit("Q1"), "the step is not active");
    play.put("a", 1);
    assert!(play.lit("Q1"));
    play.put("b", 0);
    assert!(!play.lit("Q1"));
}

#[test]
fn a_delayed_and_a_limited_action_act_by_the_time_in_the_step() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on"
s1 = { run = ["Q1 after T#2s", "Q2 for T#3s"], until = "NOT (a = on)" }
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    let (one, two) = (play.lamp("Q1"), play.lamp("Q2"));
    assert_eq!(play.changes(one), (vec![2_000], vec![]));
    assert_eq!(play.changes(two), (vec![0], vec![3_000]));
}

#[test]
fn a_rising_edge_is_used_up_by_the_transition_that_it_clears() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until R_TRIG(a = on)"
s1 = "wait until R_TRIG(a = on)"
s2 = "wait until b = on"
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["s1"], "one press, one step");
    play.put("a", 0);
    assert_eq!(play.active(), ["s1"]);
    play.put("a", 1);
    assert_eq!(play.active(), ["s2"]);
}

#[test]
fn a_step_timer_begins_anew_each_time_the_step_becomes_active() {
    let bench = Bench::new(
        r#"
[charts.one.steps]
s0 = "wait until a = on"
s1 = { until = "s1.T >= T#2s", next = "s2", or = [{ when = "b = on", next = "s0" }] }
s2 = "wait until NOT (a = on)"
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["s2"]);
    assert_eq!(play.times("s2").0, [2_000]);
    play.put("a", 0);
    assert_eq!(play.active(), ["s0"]);
    play.put("a", 1);
    assert_eq!(play.times("s2").0, [2_000, 4_000]);
}

#[test]
fn two_runs_through_a_loop_count_twice() {
    let bench = Bench::new(
        r#"
[counters]
rounds = {}
[charts.one.steps]
s0 = "wait until a = on"
s1 = { count = "rounds", until = "rounds >= 2", next = "full", or = [{ when = "NOT (a = on)", next = "s0" }] }
full = { clear = "rounds", until = "b = on" }
"#,
    );
    let mut play = bench.on();
    play.put("a", 1);
    assert_eq!(play.active(), ["s1"]);
    play.put("a", 0);
    play.put("a", 1);
    assert_eq!(play.active(), ["full"]);
}
