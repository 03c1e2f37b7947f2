//! Small machines built by hand, for the readers only: names, lamps, positions,
//! a routine and checks, without charts.

use machine::id::{DeviceId, Id, InputId, MechanismId};
use machine::model::{
    Access, Answer, Check, CheckRole, Energy, HandAction, HandMove, Input, InputStage, LampKind, LampRow, Load,
    Mechanism, MechanismClass, Observable, Output, PanelLamp, PointUse, Routine, Source, StatusMeaning, Supply,
    SupplyKind, Who, Words, WorldFact,
};
use machine::{Condition, Machine};

/// A seed sorter with octal rows: X0 to X7, X10 to X17, Y0 to Y7, POWER RUN ERROR.
pub fn sorter() -> Machine {
    let mut machine = Machine::default();
    for (name, words, class, positions) in [
        ("lift", "nozzle lift", MechanismClass::Driven, &["up", "down"] as &[&str]),
        ("table", "turntable", MechanismClass::Driven, &["home", "half", "full_turn"]),
        ("door", "guard door", MechanismClass::Hand, &["open", "shut"]),
        ("lid", "lid of the hopper", MechanismClass::Hand, &["open", "shut"]),
        ("jar", "jar", MechanismClass::Hand, &["absent", "present"]),
        ("level", "seed level", MechanismClass::Driven, &["not_full", "full"]),
        ("start", "start button", MechanismClass::Button, &["released", "pressed"]),
        ("reset", "reset button", MechanismClass::Button, &["released", "pressed"]),
        ("stop", "stop button", MechanismClass::Button, &["released", "pressed"]),
        ("press", "seed press", MechanismClass::Driven, &["up", "down"]),
    ] {
        machine.mechanisms.push(mechanism(name, words, class, positions));
    }
    machine.supplies.push(supply("F3", "fuse F3", SupplyKind::Electric));
    machine.supplies.push(supply("air", "compressed air", SupplyKind::Air));
    let at = |mechanism: usize, position: u8| Condition::Fact(WorldFact::At(MechanismId::new(mechanism), position));
    for (label, tag, words, lit) in [
        ("X0", "B1", "lift is up", at(0, 0)),
        ("X1", "B2", "lift is down", at(0, 1)),
        ("X2", "B3", "table at home", at(1, 0)),
        ("X3", "B4", "door shut", at(2, 1)),
        ("X4", "B5", "lid is shut", at(3, 1)),
        ("X5", "S1", "start button", at(6, 1)),
        ("X6", "S2", "stop button not pressed", at(8, 1).negated()),
        ("X10", "B10", "jar is there", at(4, 1)),
        ("X11", "B11", "seed sensor", at(5, 1)),
        ("X12", "B12", "seed sensor", Condition::Always(true)),
    ] {
        machine.inputs.push(input(label, tag, words, lit));
    }
    for (label, tag, words) in [("Y0", "K1", "lift valve"), ("Y1", "K2", "table motor"), ("Y2", "K3", "pump on")] {
        machine.outputs.push(output(label, tag, words));
    }
    let row = |title: &str, stem: &str, numbers: std::ops::Range<usize>| LampRow {
        title: Words::plain(title),
        lamps: numbers.map(|number| PanelLamp { label: format!("{stem}{number}"), kind: LampKind::Unused }).collect(),
    };
    machine.lamp_rows = vec![row("inputs", "X", 0..8), row("inputs", "X", 10..18), row("outputs", "Y", 0..8)];
    for lamp in machine.lamp_rows.iter_mut().flat_map(|row| &mut row.lamps) {
        if let Some((id, _)) = machine.inputs.find(|input| input.label == lamp.label) {
            lamp.kind = LampKind::Input(id);
        }
        if let Some((id, _)) = machine.outputs.find(|output| output.label.as_deref() == Some(&lamp.label)) {
            lamp.kind = LampKind::Output(id);
        }
    }
    let status = |label: &str, meaning| PanelLamp { label: label.to_owned(), kind: LampKind::Status(meaning) };
    machine.lamp_rows.push(LampRow {
        title: Words::plain("controller"),
        lamps: vec![
            status("POWER", StatusMeaning::Powered),
            status("RUN", StatusMeaning::Running),
            status("ERROR", StatusMeaning::Error),
        ],
    });
    machine.routines.push(routine());
    machine.checks.push(check(
        "B1/own-led",
        0,
        Observable::InputStage(InputId::new(0), InputStage::Sensor),
        &[("on", "light is on"), ("off", "light is off")],
    ));
    machine.checks.push(check(
        "B2/own-led",
        1,
        Observable::InputStage(InputId::new(1), InputStage::Sensor),
        &[("on", "light is on"), ("off", "light is off")],
    ));
    machine.checks.push(check(
        "B1/terminal",
        0,
        Observable::InputStage(InputId::new(0), InputStage::Terminal),
        &[("on", "24 V"), ("off", "0 V")],
    ));
    machine.checks.push(check(
        "F3/supply",
        2,
        Observable::Supply(machine::id::SupplyId::new(0)),
        &[("on", "there"), ("off", "missing")],
    ));
    machine.checks.push(check(
        "lift/position",
        3,
        Observable::Position(MechanismId::new(0)),
        &[("up", "up"), ("down", "down"), ("between", "between")],
    ));
    machine
}

/// Lamps whose labels look like words, numbers or marks.
pub fn odd_labels() -> Machine {
    let mut machine = Machine::default();
    let lamp = |label: &str| PanelLamp { label: label.to_owned(), kind: LampKind::Unused };
    let row = |title: &str, labels: &[&str]| LampRow {
        title: Words::plain(title),
        lamps: labels.iter().map(|label| lamp(label)).collect(),
    };
    machine.lamp_rows.push(row("panel", &["ON", "OFF", "A", "E-STOP", "+24V", "REST", "7 \"B\""]));
    machine.lamp_rows.push(row("card one", &["I0.0", "I0.1", "I0.2", "I0.3"]));
    machine.lamp_rows.push(row("card two", &["1", "2", "3", "10"]));
    machine
}

fn routine() -> Routine {
    let id = MechanismId::new;
    let action = |words: &str, short: &str, movement| HandAction {
        words: Words::plain(words),
        short: short.to_owned(),
        movement,
        wait_ms: None,
    };
    Routine {
        name: "make".to_owned(),
        words: Words::plain("fill one jar"),
        mode: None,
        actions: vec![
            action("put an empty jar on the turntable", "jar present", HandMove::Put(id(4), 1)),
            action("shut the guard door", "door shut", HandMove::Put(id(2), 1)),
            action("press start", "press start", HandMove::Press(id(6), 500)),
            action("open the guard door", "door open", HandMove::Put(id(2), 0)),
            action("take the jar out", "jar absent", HandMove::Put(id(4), 0)),
            action("shut the guard door", "door shut", HandMove::Put(id(2), 1)),
        ],
    }
}

fn mechanism(name: &str, words: &str, class: MechanismClass, positions: &[&str]) -> Mechanism {
    Mechanism {
        name: name.to_owned(),
        words: Words::plain(words),
        class,
        positions: positions.iter().map(|position| (*position).to_owned()).collect(),
        position_words: positions.iter().map(|position| Words::plain(position.replace('_', " "))).collect(),
        rest: 0,
        moves: Vec::new(),
        moving_hazard: class == MechanismClass::Driven,
        raised_at: None,
        place: Words::default(),
    }
}

fn supply(name: &str, words: &str, kind: SupplyKind) -> Supply {
    Supply {
        name: name.to_owned(),
        words: Words::plain(words),
        kind,
        from: None,
        when: Condition::default(),
        place: Words::default(),
    }
}

fn input(label: &str, tag: &str, words: &str, lit: Condition<WorldFact>) -> Input {
    Input {
        label: label.to_owned(),
        tag: tag.to_owned(),
        words: Words::plain(words),
        usage: PointUse::Used,
        lit,
        supply: None,
        on_delay_ms: 0,
        off_delay_ms: 0,
        place: Words::default(),
        picture: None,
        own_led: true,
    }
}

fn output(label: &str, tag: &str, words: &str) -> Output {
    Output {
        label: Some(label.to_owned()),
        tag: tag.to_owned(),
        words: Words::plain(words),
        usage: PointUse::Used,
        driven: Condition::Always(false),
        supply: None,
        place: Words::default(),
        picture: None,
    }
}

fn check(key: &str, device: usize, observes: Observable, answers: &[(&str, &str)]) -> Check {
    Check {
        key: key.to_owned(),
        device: Some(DeviceId::new(device)),
        operator: Words::plain("look at it"),
        technician: Words::plain("look at it"),
        observes,
        answers: answers
            .iter()
            .map(|(key, words)| Answer { key: (*key).to_owned(), words: Words::plain(*words) })
            .collect(),
        role: CheckRole::Look,
        minutes: 1.0,
        error: 0.02,
        who: Who::Operator,
        energy: Energy::Normal,
        access: Access::Outside,
        load: Load::None,
        source: Source::Practice,
    }
}
