//! Two published circuits, as machine files: the polybox of de Kleer and Williams (Diagnosing multiple
//! faults, Artificial Intelligence 32, 1987; from memory), and c17 (ISCAS-85, netlist published in many
//! repositories; minimal diagnoses computed). Gates are mechanisms that go where other mechanisms
//! send them; a gate at fault stands at any value, whatever its inputs.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::consistency::{is_consistent, minimal_conflicts, minimal_diagnoses, minimal_hitting_sets};
use machine::Machine;
use machine::id::{DeviceId, Id, InputId, RoutineId, Table};
use machine::model::{AfterEvents, Chance, Deviation, DeviationKind, Device, FaultEffect, Rate, Source, Words};
use sim::Plant;

/// Makes these mechanisms the only devices; each can stand at any of its positions.
fn only_these_fail(machine: &mut Machine, gates: &[&str]) {
    let device = machine.devices.rows().next().unwrap().clone();
    machine.devices = Table::new();
    machine.deviations = Table::new();
    for gate in gates {
        let (mechanism, row) = machine.mechanisms.find(|row| row.name == *gate).expect(gate);
        let positions = row.positions.clone();
        let name = (*gate).to_string();
        let id = machine.devices.push(Device { name, modes: Vec::new(), ..device.clone() });
        for (at, position) in positions.iter().enumerate() {
            let key = format!("{gate}/stands at {position}");
            let effects = vec![FaultEffect::Found(mechanism, u8::try_from(at).unwrap()), FaultEffect::Stuck(mechanism)];
            let mode = machine.deviations.push(Deviation {
                words: Words::plain(key.clone()),
                key,
                kind: DeviationKind::Fault(id),
                rate: Rate { chance: Chance::PerMillionHours(1.0), source: Source::File },
                effects,
                after: AfterEvents::default(),
                remedy: None,
            });
            machine.devices[id].modes.push(mode);
        }
    }
}

fn load(text: &str) -> Machine {
    match machine::load_str("circuit.toml", text) {
        Ok(machine) => machine,
        Err(problems) => panic!("{problems:#?}\n{text}"),
    }
}

fn names(machine: &Machine, sets: &[Vec<DeviceId>]) -> Vec<Vec<String>> {
    sets.iter().map(|set| set.iter().map(|device| machine.devices[*device].name.clone()).collect()).collect()
}

const ROUTINE: &str = "[charts.idle.steps]\nrest = \"wait until clock = pressed\"\n\
                       [routines.set]\ndo = [\"press clock\"]\n";

fn first_routine() -> RoutineId {
    RoutineId::new(0)
}

// ------------------------------------------------------------------ the polybox

/// Greatest value that a multiplier, and an adder, can stand at in the model.
const PRODUCT: usize = 12;
const SUM: usize = 24;

fn polybox() -> Machine {
    let positions = |most: usize| (0..=most).map(|v| format!("\"v{v}\"")).collect::<Vec<_>>().join(", ");
    let gate = |name: &str, most: usize, left: (&str, usize), right: (&str, usize), op: fn(usize, usize) -> usize| {
        let mut moves = Vec::new();
        for value in 0..=most {
            let ways: Vec<String> = (0..=left.1)
                .flat_map(|a| (0..=right.1).map(move |b| (a, b)))
                .filter(|(a, b)| op(*a, *b) == value)
                .map(|(a, b)| format!("({} = v{a} AND {} = v{b})", left.0, right.0))
                .collect();
            if !ways.is_empty() {
                moves.push(format!("{{ to = \"v{value}\", when = \"{}\", takes = \"T#1ms\" }}", ways.join(" OR ")));
            }
        }
        format!("{name} = {{ positions = [{}], by = \"drive\", moves = [{}] }}\n", positions(most), moves.join(", "))
    };
    let fixed = |name: &str, value: usize| {
        format!("{name} = {{ positions = [{}], by = \"hand\", rest = \"v{value}\" }}\n", positions(3))
    };
    let lamps =
        |gate: &str| (0..=SUM).map(|v| format!("\"{gate}={v}\" = {{ lit = \"{gate} = v{v}\" }}\n")).collect::<String>();
    let times: fn(usize, usize) -> usize = |a, b| a * b;
    let plus: fn(usize, usize) -> usize = |a, b| a + b;
    let text = format!(
        "format = 1\n[machine]\nname = \"Polybox\"\n[mechanisms]\n{}{}{}{}{}{}{}{}{}{}\
         [inputs]\nC0 = {{ lit = \"clock = pressed\" }}\n{}{}{ROUTINE}",
        fixed("a", 3),
        fixed("b", 2),
        fixed("c", 2),
        fixed("d", 3),
        fixed("e", 3),
        gate("m1", PRODUCT, ("a", 3), ("c", 3), times),
        gate("m2", PRODUCT, ("b", 3), ("d", 3), times),
        gate("m3", PRODUCT, ("c", 3), ("e", 3), times),
        gate("a1", SUM, ("m1", PRODUCT), ("m2", PRODUCT), plus),
        gate("a2", SUM, ("m2", PRODUCT), ("m3", PRODUCT), plus),
        lamps("a1"),
        lamps("a2"),
    );
    let mut machine = load(&text);
    only_these_fail(&mut machine, &["a1", "a2", "m1", "m2", "m3"]);
    machine
}

/// F and G as the lamps show them.
fn sums(machine: &Machine, f: usize, g: usize) -> Vec<(InputId, bool)> {
    let lamps = machine.inputs.iter().filter(|(_, row)| row.label != "C0");
    lamps.map(|(id, row)| (id, row.label == format!("a1={f}") || row.label == format!("a2={g}"))).collect()
}

#[test]
fn the_healthy_polybox_adds_up_to_twelve_and_twelve() {
    let machine = polybox();
    let plant = Plant::new(&machine);
    let found = minimal_diagnoses(&machine, &plant, first_routine(), &sums(&machine, 12, 12), 1);
    assert_eq!(found, [Vec::new()]);
    assert!(!is_consistent(&machine, &plant, first_routine(), &sums(&machine, 12, 10), &[]));
}

#[test]
fn the_polybox_has_the_published_diagnoses_conflicts_and_probabilities() {
    let machine = polybox();
    let plant = Plant::new(&machine);
    let found = minimal_diagnoses(&machine, &plant, first_routine(), &sums(&machine, 10, 12), 5);
    assert_eq!(names(&machine, &found), [vec!["a1"], vec!["m1"], vec!["a2", "m2"], vec!["m2", "m3"]]);
    let conflicts = minimal_conflicts(&found);
    assert_eq!(names(&machine, &conflicts), [vec!["a1", "m1", "m2"], vec!["a1", "a2", "m1", "m3"]]);
    assert_eq!(minimal_hitting_sets(&conflicts).len(), found.len());

    // Consistency only, prior 0.01 each, no fault model: whatever contains a diagnosis is one.
    let devices: Vec<DeviceId> = machine.devices.ids().collect();
    let mut diagnoses = Vec::new();
    for bits in 0..32_usize {
        let set: Vec<DeviceId> = devices.iter().filter(|device| bits >> device.index() & 1 == 1).copied().collect();
        if found.iter().any(|minimal| minimal.iter().all(|device| set.contains(device))) {
            diagnoses.push(set);
        }
    }
    assert_eq!(diagnoses.len(), 27);
    let weight = |set: &[DeviceId]| (0..5).map(|n| if n < set.len() { 0.01 } else { 0.99 }).product::<f64>();
    let total: f64 = diagnoses.iter().map(|set| weight(set)).sum();
    let marginal = |name: &str| {
        let inside = |set: &&Vec<DeviceId>| set.iter().any(|device| machine.devices[*device].name == name);
        diagnoses.iter().filter(inside).map(|set| weight(set)).sum::<f64>() / total
    };
    let close = |ours: f64, published: f64| assert!((ours - published).abs() < 5e-7, "{ours} is not {published}");
    close(weight(&found[0]) / total, 0.478_026);
    close(weight(&found[1]) / total, 0.478_026);
    close(weight(&found[2]) / total, 0.004_829);
    close(weight(&found[3]) / total, 0.004_829);
    for (name, published) in
        [("a1", 0.497_635), ("m1", 0.497_635), ("m2", 0.019_609), ("a2", 0.014_780), ("m3", 0.014_780)]
    {
        close(marginal(name), published);
    }
}

#[test]
fn what_holds_a_polybox_diagnosis_is_one_where_it_was_tried() {
    let machine = polybox();
    let plant = Plant::new(&machine);
    let device = |name: &str| machine.devices.find(|row| row.name == name).unwrap().0;
    let observed = sums(&machine, 10, 12);
    for (set, expected) in [
        (vec!["a1", "m1"], true),
        (vec!["a1", "a2"], true),
        (vec!["m1", "m2"], true),
        (vec!["a2", "m3"], false),
        (vec!["m2"], false),
        (vec!["a2"], false),
    ] {
        let devices: Vec<DeviceId> = set.iter().map(|name| device(name)).collect();
        assert_eq!(is_consistent(&machine, &plant, first_routine(), &observed, &devices), expected, "{set:?}");
    }
}

// ------------------------------------------------------------------ c17

const GATES: [&str; 6] = ["g10", "g11", "g16", "g19", "g22", "g23"];
const WIRES: [(&str, &str, &str); 6] = [
    ("g10", "i1", "i3"),
    ("g11", "i3", "i6"),
    ("g16", "i2", "g11"),
    ("g19", "g11", "i7"),
    ("g22", "g10", "g16"),
    ("g23", "g16", "g19"),
];
const INPUTS: [&str; 5] = ["i1", "i2", "i3", "i6", "i7"];

fn c17(inputs: [bool; 5]) -> Machine {
    let mut mechanisms = String::new();
    for (name, high) in INPUTS.iter().zip(inputs) {
        let rest = if high { "high" } else { "low" };
        mechanisms += &format!("{name} = {{ positions = [\"low\", \"high\"], by = \"hand\", rest = \"{rest}\" }}\n");
    }
    for (gate, a, b) in WIRES {
        let both = format!("{a} = high AND {b} = high");
        mechanisms += &format!(
            "{gate} = {{ positions = [\"low\", \"high\"], by = \"drive\", moves = [\
             {{ to = \"low\", when = \"{both}\", takes = \"T#1ms\" }}, \
             {{ to = \"high\", when = \"NOT ({both})\", takes = \"T#1ms\" }}] }}\n"
        );
    }
    let text = format!(
        "format = 1\n[machine]\nname = \"c17\"\n[mechanisms]\n{mechanisms}[inputs]\n\
         C0 = {{ lit = \"clock = pressed\" }}\nO22 = {{ lit = \"g22 = high\" }}\nO23 = {{ lit = \"g23 = high\" }}\n{ROUTINE}"
    );
    let mut machine = load(&text);
    only_these_fail(&mut machine, &GATES);
    machine
}

fn bits(text: &str) -> Vec<bool> {
    text.chars().map(|bit| bit == '1').collect()
}

fn outputs(machine: &Machine, values: &[bool]) -> Vec<(InputId, bool)> {
    let lamp = |label: &str| machine.inputs.find(|row| row.label == label).unwrap().0;
    vec![(lamp("O22"), values[0]), (lamp("O23"), values[1])]
}

/// c17 evaluated by hand; a gate with a forced value has that.
fn evaluate(inputs: [bool; 5], forced: [Option<bool>; 6]) -> [bool; 2] {
    let [i1, i2, i3, i6, i7] = inputs;
    let nand = |gate: usize, a: bool, b: bool| forced[gate].unwrap_or(!(a && b));
    let g10 = nand(0, i1, i3);
    let g11 = nand(1, i3, i6);
    let g16 = nand(2, i2, g11);
    let g19 = nand(3, g11, i7);
    [nand(4, g10, g16), nand(5, g16, g19)]
}

/// All sets of gates whose failing, each to any value, gives these outputs; minimal ones, by bit masks.
fn by_hand(inputs: [bool; 5], outputs: [bool; 2]) -> Vec<usize> {
    let explains = |set: usize| {
        (0..64_usize).filter(|values| values & !set == 0).any(|values| {
            let forced = std::array::from_fn(|gate| (set >> gate & 1 == 1).then_some(values >> gate & 1 == 1));
            evaluate(inputs, forced) == outputs
        })
    };
    let all: Vec<usize> = (0..64).filter(|set| explains(*set)).collect();
    all.iter().copied().filter(|set| !all.iter().any(|other| other != set && other & set == *other)).collect()
}

#[test]
fn c17_has_the_listed_minimal_diagnoses() {
    let list: [(&str, &str, &[&str]); 5] = [
        ("00000", "11", &["16", "10 19", "10 23", "19 22", "22 23"]),
        ("00001", "10", &["10 11", "10 19", "10 23", "11 22", "16 23", "19 22", "22 23"]),
        ("01000", "01", &["22", "11 19", "11 23", "16 19", "16 23"]),
        ("11101", "00", &["10 11", "11 22", "22 23", "10 16 19", "10 16 23", "16 19 22"]),
        ("11111", "11", &["11", "16", "19", "23"]),
    ];
    for (inputs, shown, expected) in list {
        let machine = c17(bits(inputs).try_into().unwrap());
        let plant = Plant::new(&machine);
        let found = minimal_diagnoses(&machine, &plant, first_routine(), &outputs(&machine, &bits(shown)), 6);
        let found: Vec<String> = names(&machine, &found).iter().map(|set| set.join(" ").replace('g', "")).collect();
        assert_eq!(found, expected, "{inputs} shows {shown}");
    }
}

#[test]
fn all_ninety_six_abnormal_observations_of_c17_as_by_brute_force() {
    let mut least = [0; 7];
    let mut observations = 0;
    for vector in 0..32_usize {
        let inputs: [bool; 5] = std::array::from_fn(|at| vector >> at & 1 == 1);
        let machine = c17(inputs);
        let plant = Plant::new(&machine);
        for shown in 0..4_usize {
            let shown = [shown & 1 == 1, shown >> 1 == 1];
            let found = minimal_diagnoses(&machine, &plant, first_routine(), &outputs(&machine, &shown), 6);
            if shown == evaluate(inputs, [None; 6]) {
                assert_eq!(found, [Vec::new()]);
                continue;
            }
            observations += 1;
            let mut masks: Vec<usize> =
                found.iter().map(|set| set.iter().map(|device| 1 << device.index()).sum()).collect();
            masks.sort_unstable();
            assert_eq!(masks, by_hand(inputs, shown), "{inputs:?} shows {shown:?}");
            least[found[0].len()] += 1;
            let again = minimal_hitting_sets(&minimal_conflicts(&found));
            assert_eq!(again.len(), found.len());
        }
    }
    assert_eq!(observations, 96);
    assert_eq!(least, [0, 83, 13, 0, 0, 0, 0]);
}
