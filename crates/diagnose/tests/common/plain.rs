//! A resolved machine and evidence as plain JSON, for programs in other languages.

use diagnose::evidence::{Complaint, Deed, Evidence, LampState, Moment, Naming};
use diagnose::{Alternative, Doubt};
use machine::id::Id;
use machine::model::{
    ActionKind, Chance, DeviationKind, Effect, FaultEffect, Forced, HandMove, InputStage, LampKind, MechanismClass,
    Observable, OutputStage, ProgramFact, StatusMeaning, SupplyKind, Timing, WorldFact,
};
use machine::{Condition, Machine};
use serde_json::{Value, json};
use sim::Options;

fn condition<F: Clone>(it: &Condition<F>, fact: &impl Fn(&F) -> Value) -> Value {
    let list = |word: &str, parts: &[Condition<F>]| {
        let parts = parts.iter().map(|part| condition(part, fact));
        Value::Array(std::iter::once(json!(word)).chain(parts).collect())
    };
    match it {
        Condition::Always(value) => json!(value),
        Condition::Fact(it) => fact(it),
        Condition::Not(inner) => json!(["not", condition(inner, fact)]),
        Condition::All(parts) => list("all", parts),
        Condition::Any(parts) => list("any", parts),
    }
}

fn world(it: &Condition<WorldFact>) -> Value {
    condition(it, &|fact| match *fact {
        WorldFact::At(mechanism, position) => json!(["at", mechanism.index(), position]),
        WorldFact::Between(mechanism) => json!(["between", mechanism.index()]),
        WorldFact::Supply(supply) => json!(["supply", supply.index()]),
        WorldFact::Driven(output) => json!(["driven", output.index()]),
    })
}

fn program(it: &Condition<ProgramFact>) -> Value {
    condition(it, &|fact| match *fact {
        ProgramFact::Input(input) => json!(["input", input.index()]),
        ProgramFact::Output(output) => json!(["output", output.index()]),
        ProgramFact::Step(step) => json!(["step", step.index()]),
        ProgramFact::StepFor(step, ms) => json!(["for", step.index(), ms]),
        ProgramFact::Rises(edge) => json!(["rises", edge.index()]),
        ProgramFact::Falls(edge) => json!(["falls", edge.index()]),
        ProgramFact::Latch(latch) => json!(["latch", latch.index()]),
        ProgramFact::Counted(counter, n) => json!(["counted", counter.index(), n]),
    })
}

fn effect(it: &Effect) -> Value {
    match it {
        Effect::Nothing => json!(["nothing"]),
        Effect::Hold { outputs_kept } => json!(["hold", outputs_kept]),
        Effect::GoTo(steps) => json!(["goto", steps.iter().map(|step| step.index()).collect::<Vec<_>>()]),
    }
}

fn input_stage(stage: InputStage) -> &'static str {
    match stage {
        InputStage::Target => "target",
        InputStage::Sensor => "sensor",
        InputStage::Cable => "cable",
        InputStage::Terminal => "terminal",
        InputStage::Card => "card",
        InputStage::Lamp => "lamp",
    }
}

fn output_stage(stage: OutputStage) -> &'static str {
    match stage {
        OutputStage::Lamp => "lamp",
        OutputStage::Card => "card",
        OutputStage::Cable => "cable",
        OutputStage::Coil => "coil",
        OutputStage::Valve => "valve",
    }
}

/// What is forced to be how.
fn forced(mut what: Vec<Value>, how: Forced) -> Value {
    match how {
        Forced::Off => what.push(json!("off")),
        Forced::On => what.push(json!("on")),
        Forced::Chatters(made, broken) => what.extend([json!("chatters"), json!(made), json!(broken)]),
    }
    Value::Array(what)
}

fn fault(it: FaultEffect) -> Value {
    match it {
        FaultEffect::Input(input, stage, value) => {
            forced(vec![json!("input"), json!(input.index()), json!(input_stage(stage))], value)
        }
        FaultEffect::Output(output, stage, value) => {
            forced(vec![json!("output"), json!(output.index()), json!(output_stage(stage))], value)
        }
        FaultEffect::Supply(supply, value) => forced(vec![json!("supply"), json!(supply.index())], value),
        FaultEffect::StopsShort(mechanism, position) => json!(["short", mechanism.index(), position]),
        FaultEffect::Creeps(mechanism, from, to, ms) => json!(["creeps", mechanism.index(), from, to, ms]),
        FaultEffect::Stuck(mechanism) => json!(["stuck", mechanism.index()]),
        FaultEffect::Slow(mechanism, percent) => json!(["slow", mechanism.index(), percent]),
        FaultEffect::ControllerStopped => json!(["stopped"]),
        FaultEffect::Forgotten(routine, action) if routine.index() == 0 => json!(["forgotten", action]),
        FaultEffect::Forgotten(routine, action) => json!(["forgotten", action, routine.index()]),
        FaultEffect::Found(mechanism, position) => json!(["found", mechanism.index(), position]),
        FaultEffect::Unasked(movement) => json!(["unasked", hand(movement)]),
        other => panic!("small machines have no {other:?}"),
    }
}

fn hand(it: HandMove) -> Value {
    match it {
        HandMove::Put(mechanism, position) => {
            json!({ "do": "put", "mechanism": mechanism.index(), "position": position })
        }
        HandMove::Press(mechanism, ms) => json!({ "do": "press", "mechanism": mechanism.index(), "ms": ms }),
        HandMove::Supply(supply, there) => json!({ "do": "supply", "supply": supply.index(), "there": there }),
        HandMove::PowerCycle => json!({ "do": "power_cycle" }),
        HandMove::Wait => json!({ "do": "wait" }),
        other => panic!("small machines have no {other:?}"),
    }
}

/// What was seen at one moment.
fn seen(moment: &Moment, machine: &Machine) -> Value {
    let lamps: Vec<Value> = moment
        .lamps
        .iter()
        .map(|report| {
            let state = match report.state {
                LampState::Lit => "lit",
                LampState::Dark => "dark",
                LampState::Flickers => "flickers",
            };
            json!([report.place.row, report.place.column, state, report.naming == Naming::Named])
        })
        .collect();
    let positions: Vec<Value> =
        moment.positions.iter().map(|report| json!([report.mechanism.index(), report.position])).collect();
    let checks: Vec<Value> = moment.checks.iter().map(|report| json!([report.check.index(), report.answer])).collect();
    assert!(machine.checks.len() >= checks.len());
    json!({ "lamps": lamps, "positions": positions, "checks": checks })
}

/// A moment after the first: what was done since the one before, and what was seen then.
fn later(moment: &Moment, machine: &Machine) -> Value {
    let mut it = seen(moment, machine);
    it["remedies"] = json!(moment.remedies.iter().map(|remedy| remedy.index()).collect::<Vec<_>>());
    let deeds: Vec<Value> = moment
        .deeds
        .iter()
        .map(|deed| match deed {
            Deed::Routine(action) => json!({ "routine": action }),
            Deed::Extra(movement) => json!({ "extra": hand(*movement) }),
        })
        .collect();
    it["deeds"] = json!(deeds);
    if let Some(runs) = moment.runs {
        it["runs"] = json!(runs);
    }
    it
}

fn evidence(it: &Evidence, machine: &Machine) -> Value {
    let complaint = it.complaint.map(|complaint| match complaint {
        Complaint::WontStart => "wont_start",
        Complaint::StopsMidway => "stops_midway",
        Complaint::WontFinish => "wont_finish",
        Complaint::WrongResult => "wrong_result",
    });
    let moment = &it.moments[0];
    let deed = moment.deeds.iter().rev().find_map(|deed| match deed {
        Deed::Routine(action) => Some(action.map_or(0, |action| action + 1)),
        Deed::Extra(_) => None,
    });
    let mut found = seen(moment, machine);
    found["complaint"] = json!(complaint);
    found["deed"] = json!(deed);
    // What only some cases have is left out of the others.
    if it.moments.len() > 1 {
        found["later"] = it.moments[1..].iter().map(|moment| later(moment, machine)).collect();
    }
    found
}

/// The same where the machine may be one of several; what was reported is in the numbers of the first.
pub fn cases(name: &str, alternatives: &[Alternative], options: &Options, doubt: &Doubt, calls: &[Evidence]) -> Value {
    let [first, _, ..] = alternatives else { return case(name, &alternatives[0].machine, options, doubt, calls) };
    let mut evidence = Value::Null;
    let each: Vec<Value> = alternatives
        .iter()
        .map(|one| {
            // Its own numbers are of no use to what was reported, save for which tables it needs.
            let mut it = case(name, &one.machine, options, doubt, if std::ptr::eq(one, first) { calls } else { &[] });
            let said = it.as_object_mut().unwrap().remove("evidence").unwrap();
            if std::ptr::eq(one, first) {
                evidence = said;
            }
            it["weight"] = json!(one.weight);
            it["doubt"]["not_there"] = json!(diagnose::evidence::NAMES_WHAT_IS_NOT_THERE);
            later_tables(&mut it, &one.machine, doubt);
            named(&mut it, &one.machine);
            it
        })
        .collect();
    json!({ "name": name, "alternatives": each, "evidence": evidence })
}

/// What is called how, by which one alternative finds the things of another.
fn named(case: &mut Value, machine: &Machine) {
    let labels = |row: &machine::model::LampRow| row.lamps.iter().map(|lamp| lamp.label.clone()).collect::<Vec<_>>();
    case["labels"] = machine.lamp_rows.iter().map(labels).collect();
    for (row, mechanism) in machine.mechanisms.rows().enumerate() {
        case["mechanisms"][row]["names"] = json!(mechanism.positions);
    }
    for (row, check) in machine.checks.rows().enumerate() {
        case["checks"][row]["key"] = json!(check.key);
    }
    for (row, remedy) in machine.remedies.rows().enumerate() {
        case["remedies"][row]["key"] = json!(remedy.key);
    }
    for (row, action) in machine.routines.rows().next().unwrap().actions.iter().enumerate() {
        case["routine"][row]["words"] = json!(action.short);
    }
}

/// What is needed where evidence has later moments.
fn later_tables(case: &mut Value, machine: &Machine, doubt: &Doubt) {
    case["remedies"] = machine.remedies.rows().map(|row| json!({ "does": row.does.map(hand) })).collect();
    for (row, deviation) in machine.deviations.rows().enumerate() {
        case["deviations"][row]["remedy"] = json!(deviation.remedy.map(Id::index));
    }
    case["doubt"]["remedy"] = json!(doubt.remedy);
}

/// Everything that an independent program needs to answer the same questions.
pub fn case(name: &str, machine: &Machine, options: &Options, doubt: &Doubt, calls: &[Evidence]) -> Value {
    let supplies: Vec<Value> = machine
        .supplies
        .rows()
        .map(|row| {
            let electric = row.kind == SupplyKind::Electric && row.from.is_none();
            json!({ "name": row.name, "parent": row.from.map(Id::index), "electric": electric, "when": world(&row.when) })
        })
        .collect();
    let mechanisms: Vec<Value> = machine
        .mechanisms
        .rows()
        .map(|row| {
            let moves: Vec<Value> = row
                .moves
                .iter()
                .map(|one| json!({ "from": one.from, "to": one.to, "when": world(&one.when), "takes": one.takes_ms.max(1) }))
                .collect();
            json!({ "name": row.name, "positions": row.positions.len(), "rest": row.rest,
                    "driven": row.class == MechanismClass::Driven, "moves": moves })
        })
        .collect();
    let inputs: Vec<Value> = machine
        .inputs
        .rows()
        .map(|row| {
            json!({ "label": row.label, "lit": world(&row.lit), "supply": row.supply.map(Id::index),
                    "on_delay": row.on_delay_ms, "off_delay": row.off_delay_ms })
        })
        .collect();
    let outputs: Vec<Value> = machine
        .outputs
        .rows()
        .map(|row| json!({ "label": row.label, "supply": row.supply.map(Id::index), "driven": program(&row.driven) }))
        .collect();
    let steps: Vec<Value> = machine
        .steps
        .rows()
        .map(|row| {
            let actions: Vec<Value> = row
                .actions
                .iter()
                .map(|action| {
                    let (kind, of, what) = match action.kind {
                        ActionKind::Drive(output) => ("drive", "output", output.index()),
                        ActionKind::Set(output) => ("set", "output", output.index()),
                        ActionKind::Reset(output) => ("reset", "output", output.index()),
                        ActionKind::SetLatch(latch) => ("set_latch", "of", latch.index()),
                        ActionKind::ResetLatch(latch) => ("reset_latch", "of", latch.index()),
                        ActionKind::Count(counter) => ("count", "of", counter.index()),
                        ActionKind::Clear(counter) => ("clear", "of", counter.index()),
                    };
                    let timing = match action.timing {
                        Timing::WhileActive => json!(["while"]),
                        Timing::After(ms) => json!(["after", ms]),
                        Timing::For(ms) => json!(["limited", ms]),
                        Timing::Blink(..) => json!(["blink"]),
                    };
                    json!({ "kind": kind, of: what, "when": program(&action.when), "timing": timing })
                })
                .collect();
            let time_out =
                row.time_out.as_ref().map(|limit| json!({ "after": limit.after_ms, "effect": effect(&limit.effect) }));
            json!({ "name": row.name, "chart": row.chart.index(), "alarm": row.alarm, "actions": actions,
                    "time_out": time_out })
        })
        .collect();
    let ids = |list: &[machine::id::StepId]| list.iter().map(|step| step.index()).collect::<Vec<_>>();
    let charts: Vec<Value> = machine.charts.rows().map(|row| json!({ "initial": ids(&row.initial) })).collect();
    let transitions: Vec<Value> = machine
        .transitions
        .rows()
        .map(|row| {
            json!({ "chart": row.chart.index(), "from": ids(&row.from), "to": ids(&row.to), "when": program(&row.when) })
        })
        .collect();
    let interlocks: Vec<Value> = machine
        .interlocks
        .rows()
        .map(|row| {
            json!({ "chart": row.chart.index(), "needs": program(&row.needs), "in": ids(&row.in_steps),
                    "effect": effect(&row.effect) })
        })
        .collect();
    let rows: Vec<Value> = machine
        .lamp_rows
        .iter()
        .map(|row| {
            row.lamps
                .iter()
                .map(|lamp| match &lamp.kind {
                    LampKind::Input(input) => json!(["input", input.index()]),
                    LampKind::Output(output) => json!(["output", output.index()]),
                    LampKind::Status(StatusMeaning::Powered) => json!(["powered", 0]),
                    LampKind::Status(StatusMeaning::Running) => json!(["running", 0]),
                    LampKind::Unused => json!(["unused", 0]),
                    LampKind::Status(other) => panic!("small machines have no {other:?}"),
                })
                .collect()
        })
        .collect();
    let deviations: Vec<Value> = machine
        .deviations
        .rows()
        .map(|row| {
            let (rate, chance) = match row.rate.chance {
                Chance::PerMillionHours(rate) => (rate, 0.0),
                Chance::EachTime(chance) => (0.0, chance),
            };
            let effects: Vec<Value> = row.effects.iter().map(|effect| fault(*effect)).collect();
            json!({ "key": row.key, "lapse": row.kind == DeviationKind::Lapse, "rate": rate, "chance": chance,
                    "effects": effects })
        })
        .collect();
    let devices: Vec<Vec<usize>> = machine
        .devices
        .rows()
        .map(|row| row.modes.iter().map(|mode| mode.index()).collect::<Vec<_>>())
        .filter(|modes| !modes.is_empty())
        .collect();
    let checks: Vec<Value> = machine
        .checks
        .rows()
        .map(|row| match row.observes {
            Observable::InputStage(input, stage) => {
                json!({ "observes": ["input", input.index(), input_stage(stage)], "error": row.error })
            }
            ref other => panic!("small machines have no {other:?}"),
        })
        .collect();
    let actions = |routine: &machine::model::Routine| -> Vec<Value> {
        let with_wait = |action: &machine::model::HandAction| {
            let mut it = hand(action.movement);
            it["wait"] = json!(action.wait_ms);
            it
        };
        routine.actions.iter().map(with_wait).collect()
    };
    let routine: Vec<Value> = machine.routines.rows().next().map_or(Vec::new(), actions);
    let mut case = json!({
        "name": name,
        "hours": machine.hours_since_well,
        "controller_supply": machine.controller_supply.map(Id::index),
        "supplies": supplies,
        "mechanisms": mechanisms,
        "inputs": inputs,
        "outputs": outputs,
        "charts": charts,
        "steps": steps,
        "transitions": transitions,
        "interlocks": interlocks,
        "edges": machine.edges.rows().map(program).collect::<Vec<_>>(),
        "rows": rows,
        "devices": devices,
        "deviations": deviations,
        "checks": checks,
        "routine": routine,
        "options": {
            "before_power_on": options.before_power_on,
            "hand_pause_ms": options.hand_pause_ms,
            "least_epoch_ms": options.least_epoch_ms,
            "calls_when_fine": options.habits.calls_when_fine,
            "calls_when_odd": options.habits.calls_when_odd,
            "patience": options.habits.patience,
        },
        "doubt": {
            "named": doubt.lamps.named,
            "rest": doubt.lamps.rest,
            "neighbours": doubt.lamps.neighbours,
            "shifted": doubt.lamps.shifted,
            "rows": doubt.lamps.rows,
            "position": doubt.position,
            "deed": doubt.deed,
            "unlisted": doubt.unlisted,
        },
        "evidence": calls.iter().map(|call| evidence(call, machine)).collect::<Vec<_>>(),
    });
    if !machine.latches.is_empty() || !machine.counters.is_empty() {
        let latch = |row: &machine::model::Latch| json!({ "set": program(&row.set), "reset": program(&row.reset), "at_power_on": row.at_power_on });
        case["latches"] = machine.latches.rows().map(latch).collect();
        case["counters"] = json!(machine.counters.len());
    }
    if machine.routines.len() > 1 {
        case["routines"] = machine.routines.rows().map(actions).collect();
        case["doubt"]["routine"] = json!(doubt.routine);
        case["doubt"]["first_routine"] = json!(diagnose::FIRST_ROUTINE);
        for (call, told) in calls.iter().enumerate() {
            case["evidence"][call]["routine"] = json!(told.routine.map(Id::index));
        }
    }
    if machine.deviations.rows().any(|row| row.effects.iter().any(FaultEffect::comes_and_goes)) {
        case["options"]["least_branch"] = json!(options.single_branching.least);
    }
    if calls.iter().any(|call| call.moments.len() > 1) {
        later_tables(&mut case, machine, doubt);
    }
    if calls.iter().any(|call| call.moments.iter().any(|moment| moment.runs.is_some())) {
        case["doubt"]["runs"] = json!(diagnose::WRONG_ABOUT_RUNNING);
        case["doubt"]["runs_by_itself"] = json!(diagnose::RUNS_BY_ITSELF);
    }
    case
}
