//! A walk over every check, hand action, remedy and procedure step of the library and of all demo machines: what
//! they must declare is declared, cautions and roles follow from it, and nobody is told to defeat a guard.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod machines;

use std::fs;

use machine::caution::{Caution, Doing, Kind, guarding_of_check, told_to_defeat};
use machine::library::Library;
use machine::model::{
    Access, CheckRole, DeviceRole, Energy, Guarding, Load, Machine, Observable, PointUse, Who, Words,
};
use machine::{Choice, Problem, Source, read};
use machines::{folder, machines};
use toml::{Table, Value};

/// Nobody is told to defeat a guard, in any language.
fn harmless(place: &str, words: &Words, protects: bool) {
    let texts = std::iter::once(&words.english).chain(words.translations.iter().map(|(_, text)| text));
    for text in texts {
        assert_eq!(told_to_defeat(text, protects), None, "{place}: {text}");
    }
}

/// Whatever is declared, these follow, written out once more and apart from the module that is tested.
fn follows(place: &str, doing: &Doing, who: Who) {
    let said = doing.cautions();
    let says = |caution: Caution| assert!(said.contains(&caution), "{place}: {caution:?} is missing in {said:?}");
    let qualified = || assert!(who >= Who::Technician, "{place} is for {who:?}");
    if doing.energy == Energy::Off {
        says(Caution::EnergyOff);
    }
    if doing.energy == Energy::Live || (doing.access == Access::Cabinet && doing.energy != Energy::Off) {
        says(Caution::Live);
        assert_eq!(who, Who::Electrician, "{place}");
    }
    if doing.access == Access::Cabinet {
        qualified();
    }
    if doing.access == Access::BehindGuard {
        says(Caution::EnergyOff);
        says(Caution::BehindGuard);
        qualified();
        assert_eq!(doing.energy, Energy::Off, "{place}");
    }
    if doing.energy == Energy::Pressure {
        says(Caution::Pressure);
        qualified();
    }
    if doing.load == Load::Raised {
        says(Caution::Raised);
        qualified();
    }
    if doing.kind == Kind::Swap {
        says(Caution::Swap);
        qualified();
        assert_eq!(doing.energy, Energy::Off, "{place}");
    }
    if doing.guarding != Guarding::None {
        assert!(!matches!(doing.kind, Kind::Swap | Kind::Try), "{place} swaps or tries what protects people");
    }
    assert!(doing.forbidden().is_empty(), "{place}: {:?}", doing.forbidden());
    assert!(who >= doing.who(), "{place}");
}

#[test]
fn every_check_remedy_action_and_step_has_its_cautions_and_its_role() {
    let mut counts = [0; 4];
    for (name, machine) in machines() {
        for check in machine.checks.rows() {
            let place = format!("{name} {}", check.key);
            let doing = Doing::of_check(&machine, check);
            follows(&place, &doing, check.who);
            for words in [&check.operator, &check.technician] {
                harmless(&place, words, doing.guarding != Guarding::None);
            }
            counts[0] += 1;
        }
        for remedy in machine.remedies.rows() {
            let place = format!("{name} {}", remedy.key);
            let doing = Doing::of_remedy(&machine, remedy);
            follows(&place, &doing, remedy.who);
            harmless(&place, &remedy.words, doing.guarding != Guarding::None);
            counts[1] += 1;
        }
        for action in machine.routines.rows().flat_map(|routine| &routine.actions) {
            let place = format!("{name} {}", action.short);
            follows(&place, &Doing::of_hand(&machine, action.movement), Who::Operator);
            harmless(&place, &action.words, false);
            counts[2] += 1;
        }
        for procedure in machine.procedures.rows() {
            harmless(&name, &procedure.purpose, false);
            for step in &procedure.steps {
                let place = format!("{name} {} {}", procedure.name, step.words.english);
                follows(&place, &Doing::of_step(&machine, step), procedure.who);
                let measured = step.measure.iter().flat_map(|measure| [&measure.words, &measure.outside]);
                for words in std::iter::once(&step.words).chain(&step.note).chain(measured) {
                    harmless(&place, words, false);
                }
                counts[3] += 1;
            }
        }
    }
    let [checks, remedies, actions, steps] = counts;
    assert!(checks > 1000 && remedies > 500 && actions > 30 && steps > 50, "{counts:?}");
}

#[test]
fn nothing_swaps_or_tries_a_guard_stop_or_two_hand_point() {
    let mut guards = 0;
    for (name, machine) in machines() {
        for (id, input) in machine.inputs.iter().filter(|(_, row)| row.usage == PointUse::Used) {
            let own = |row: &&machine::model::Device| row.role == DeviceRole::Input(id);
            if machine.devices.rows().filter(own).all(|row| row.guarding == Guarding::None) {
                continue;
            }
            guards += 1;
            for check in machine.checks.rows() {
                let about = matches!(check.observes, Observable::InputStage(of, _) if of == id)
                    || check.device.is_some_and(|device| machine.devices[device].role == DeviceRole::Input(id));
                let acts = matches!(check.role, CheckRole::Swap | CheckRole::Try);
                assert!(!(about && acts), "{name}: {} on {}", check.key, input.label);
                if about {
                    assert_ne!(guarding_of_check(&machine, check.device, &check.observes), Guarding::None);
                }
            }
        }
    }
    assert!(guards > 10, "{guards} guards");
}

/// Every table of this name in a library's types, or at the top of a machine file.
fn tables<'t>(root: &'t Table, key: &str) -> Vec<&'t Table> {
    let types = root.get("types").and_then(Value::as_table);
    let of_types = types.into_iter().flat_map(|types| types.values());
    let of_types = of_types.filter_map(|kind| kind.get(key)?.as_table()).flat_map(Table::values);
    let own = root.get(key).and_then(Value::as_array).into_iter().flatten();
    of_types.chain(own).filter_map(Value::as_table).collect()
}

#[test]
fn every_check_and_remedy_in_the_files_declares_what_cautions_follow_from() {
    let mut count = 0;
    for path in folder("library").into_iter().chain(folder("../../demos")) {
        let root: Table = fs::read_to_string(&path).unwrap().parse().unwrap();
        for (kind, keys) in [
            ("checks", &["who", "energy", "access", "load", "role"][..]),
            ("remedies", &["who", "energy", "access", "load"]),
        ] {
            for table in tables(&root, kind) {
                count += 1;
                for key in keys {
                    assert!(table.contains_key(*key), "{}: {key} is missing in {table:?}", path.display());
                }
            }
        }
        // There is no key for a caution, so nobody can have typed one in.
        let text = fs::read_to_string(&path).unwrap();
        assert!(!text.contains("\ncaution =") && !text.contains("warning ="), "{}", path.display());
    }
    assert!(count > 380, "{count}");
}

#[test]
fn the_library_has_nothing_against_it() {
    assert!(Library::embedded().problems.is_empty(), "{:?}", Library::embedded().problems);
}

const BENCH: &str = r#"format = 1
[machine]
name = "Bench"
[inputs]
X0 = { tag = "S1", lit = "start = pressed" }
X1 = { tag = "B1", is = "reed-switch", lit = "lift = up" }
X2 = { tag = "S4", is = "door-switch", lit = "door = shut" }
[charts.work]
start = "start = pressed"
needs = ["door = shut"]
on_loss = "hold, outputs off"
[charts.work.steps]
lower = "do lift down until NOT X1"
raise = "do lift up until lift = up"
"#;

fn resolved(more: &str) -> (Vec<Problem>, Option<Machine>) {
    let resolved = read(Source::new("bench.toml", format!("{BENCH}{more}")), &[]).resolve(&Choice::default());
    (resolved.problems, resolved.alternatives.into_iter().next().map(|one| one.machine))
}

fn codes(more: &str) -> Vec<&'static str> {
    resolved(more).0.into_iter().map(|problem| problem.code).collect()
}

const CHECK: &str = "[[checks]]\nkey = \"own\"\nobserves = \"sensor\"\n";

#[test]
fn what_a_file_declares_too_low_is_raised_and_told() {
    let more = format!(
        "{CHECK}device = \"B1\"\noperator = \"Is 24 V there?\"\nwho = \"operator\"\nenergy = \"live\"\naccess = \
         \"cabinet\"\nload = \"none\"\nrole = \"measure\"\n"
    );
    let (problems, machine) = resolved(&more);
    assert_eq!(problems.iter().map(|problem| problem.code).collect::<Vec<_>>(), ["not-qualified"]);
    let machine = machine.unwrap();
    let check = machine.checks.rows().find(|check| check.key == "B1/own").unwrap();
    assert_eq!(check.who, Who::Electrician);
}

#[test]
fn a_swap_is_made_with_the_energy_off_and_never_on_a_door_switch() {
    let swap = "operator = \"Swap it.\"\nenergy = \"normal\"\naccess = \"outside\"\nload = \"none\"\nrole = \"swap\"\n";
    let (problems, machine) = resolved(&format!("{CHECK}device = \"B1\"\n{swap}"));
    assert!(problems.iter().any(|problem| problem.code == "dangerous"), "{problems:?}");
    let machine = machine.unwrap();
    assert_eq!(machine.checks.rows().find(|check| check.key == "B1/own").unwrap().energy, Energy::Off);
    let (problems, machine) = resolved(&format!("{CHECK}device = \"S4\"\n{swap}"));
    assert!(problems.iter().any(|problem| problem.code == "dangerous"), "{problems:?}");
    assert!(machine.unwrap().checks.rows().all(|check| check.key != "S4/own"));
}

#[test]
fn reaching_in_with_the_energy_on_and_defeating_a_guard_are_errors_wherever_they_stand() {
    let declared = "energy = \"off\"\naccess = \"outside\"\nload = \"none\"\n";
    let cases = [
        (
            "dangerous",
            format!(
                "{CHECK}device = \"B1\"\noperator = \"Feel it.\"\nenergy = \"pressure\"\naccess = \"behind guard\"\nload = \"none\"\nrole = \"look\"\n"
            ),
        ),
        ("defeats-guard", format!("{CHECK}device = \"S4\"\noperator = \"Bridge it.\"\n{declared}role = \"look\"\n")),
        ("defeats-guard", format!("[[remedies]]\ndevice = \"B1\"\nwords = \"tie back the guard door\"\n{declared}")),
        ("defeats-guard", "[devices.S4.faults.worn]\neffect = \"off\"\nrate = 1\nremedy = \"jumper it\"\n".to_owned()),
        ("defeats-guard", "[procedures.a]\nsteps = [{ words = \"Hold the door switch in.\" }]\n".to_owned()),
        (
            "defeats-guard",
            "[procedures.a]\nsteps = [{ words = \"Look.\", note = \"The interlock may be bypassed.\" }]\n".to_owned(),
        ),
        ("defeats-guard", "[words.de]\n\"a\" = \"den Türschalter überbrücken\"\n".to_owned()),
        ("dangerous", "[procedures.a]\nsteps = [{ words = \"Look.\", access = \"behind guard\" }]\n".to_owned()),
    ];
    for (code, more) in cases {
        assert!(codes(&more).contains(&code), "{code}: {:?}\n{more}", codes(&more));
    }
    assert!(codes("[[remedies]]\ndevice = \"B1\"\nwords = \"dry it\"\n").contains(&"not-declared"));
}

#[test]
fn a_remedy_that_says_nothing_is_done_with_the_energy_off() {
    let (_, machine) = resolved("[[remedies]]\ndevice = \"B1\"\nkey = \"dry\"\nwords = \"dry it\"\n");
    let machine = machine.unwrap();
    let remedy = machine.remedies.rows().find(|remedy| remedy.key == "B1/dry").unwrap();
    assert_eq!(remedy.energy, Energy::Off);
    assert!(Doing::of_remedy(&machine, remedy).cautions().contains(&Caution::EnergyOff));
}
