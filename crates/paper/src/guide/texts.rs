//! What the page says about the machine: lamps, routines, questions, remedies, places where it stands.

use diagnose::call::code;
use diagnose::digest::{
    Asked, Digest, Ground, Look, Onward, Part, asked_of_operator, moved_by_going_on, moved_by_remedy, needs,
    remedies_of_operator,
};
use diagnose::next::{GO_ON_MINUTES, Movement, POSITION_MINUTES};
use diagnose::{Alternative, Diagnoser};
use machine::Machine;
use machine::caution::Doing;
use machine::id::{Id, InputId, OutputId, StepId, TransitionId};
use machine::model::{DeviceRole, HandMove, LampKind, Observable, PanelLamp, Remedy, WorldFact};
use serde_json::{Value, json};

use super::words;
use crate::{phrase, said};

/// The lamps as they sit on the controller's front.
pub fn lamps(machine: &Machine) -> Value {
    let lamp = |lamp: &PanelLamp| {
        let about = match &lamp.kind {
            LampKind::Input(input) => words::text(&machine.inputs[*input].words, &machine.inputs[*input].tag),
            LampKind::Output(output) => words::text(&machine.outputs[*output].words, &machine.outputs[*output].tag),
            LampKind::Status(_) | LampKind::Unused => json!(""),
        };
        json!({ "label": lamp.label, "words": about })
    };
    let rows = machine.lamp_rows.iter();
    json!(
        rows.map(|row| json!({ "title": words::text(&row.title, ""), "lamps": row.lamps.iter().map(lamp).collect::<Vec<_>>() }))
            .collect::<Vec<_>>()
    )
}

/// The routines with their actions, and what can move when somebody goes on there.
pub fn routines(diagnoser: &Diagnoser, machine: &Machine) -> Value {
    let routines = machine.routines.iter().map(|(id, routine)| {
        let actions = routine.actions.iter().enumerate().map(|(at, action)| {
            let stage = u16::try_from(at).unwrap_or(u16::MAX);
            json!({
                "words": words::text(&action.words, &action.short),
                "short": action.short,
                "before": before(machine, Doing::of_hand(machine, action.movement), &moved_by_going_on(diagnoser, id, stage)),
            })
        });
        json!({ "name": routine.name, "words": words::text(&routine.words, &routine.name.replace('_', " ")), "actions": actions.collect::<Vec<_>>() })
    });
    json!(routines.collect::<Vec<_>>())
}

/// What is said before something is done: cautions, then what can move by it.
fn before(machine: &Machine, doing: Doing, movements: &[Movement]) -> Vec<Value> {
    let mut said: Vec<Value> = doing.cautions().into_iter().map(words::caution).collect();
    if !movements.is_empty() {
        said.push(words::of(|language| said::can_move(machine, language, movements).unwrap_or_default()));
    }
    said
}

/// What can be asked.
pub fn questions(machine: &Machine, digest: &Digest) -> Value {
    let asked = asked_of_operator(machine);
    let question = |(one, error): (&Asked, &f64)| match *one {
        Asked::Check(check) => {
            let row = &machine.checks[check];
            let device = row.device.and_then(|device| machine.devices.get(device));
            let answers = row.answers.iter().map(|answer| words::text(&answer.words, &answer.key));
            json!({
                "key": format!("check:{}", row.key),
                "name": row.key,
                "error": error,
                "minutes": row.minutes,
                "words": words::text(&row.operator, &row.technician.english),
                "place": device.map_or_else(|| json!(""), |device| words::text(&device.place, "")),
                "picture": picture(machine, device.map(|device| device.role), &row.observes),
                "reads": reads(&row.observes),
                "before": before(machine, Doing::of_check(machine, row), &[]),
                "answers": answers.collect::<Vec<_>>(),
                "keys": row.answers.iter().map(|answer| &answer.key).collect::<Vec<_>>(),
            })
        }
        Asked::Position(mechanism) => {
            let row = &machine.mechanisms[mechanism];
            let positions = row.position_words.iter().map(|position| words::text(position, &position.english));
            json!({
                "key": format!("position:{}", row.name),
                "name": row.name,
                "error": error,
                "minutes": POSITION_MINUTES,
                "stands": words::text(&row.words, &row.name.replace('_', " ")),
                "reads": mechanism.index(),
                "place": words::text(&row.place, ""),
                "picture": picture(machine, None, &Observable::Position(mechanism)),
                "before": [],
                "answers": positions.collect::<Vec<_>>(),
                "keys": row.positions.iter().map(String::as_str).chain(["between"]).collect::<Vec<_>>(),
            })
        }
    };
    json!(asked.iter().zip(&digest.errors).map(question).collect::<Vec<_>>())
}

/// The mechanism of which a question asks where it stands, by number.
fn reads(observes: &Observable) -> Value {
    match observes {
        Observable::Position(mechanism) => json!(mechanism.index()),
        _ => Value::Null,
    }
}

/// The marked spot in a picture: the file, across and down in parts of the whole. That of the device; else of what is
/// looked at, where an input or output that belongs to it has one.
fn picture(machine: &Machine, role: Option<DeviceRole>, observes: &Observable) -> Value {
    let input = |input: InputId| machine.inputs.get(input).and_then(|row| row.picture.as_ref());
    let output = |output: OutputId| machine.outputs.get(output).and_then(|row| row.picture.as_ref());
    let of_device = match role {
        Some(DeviceRole::Input(id)) => input(id),
        Some(DeviceRole::Output(id)) => output(id),
        _ => None,
    };
    let seen = || match *observes {
        Observable::InputStage(id, _) => input(id),
        Observable::OutputStage(id, _) => output(id),
        Observable::Position(mechanism) | Observable::MovesFreely(mechanism) => {
            let of_it =
                |fact: &WorldFact| matches!(fact, WorldFact::At(id, _) | WorldFact::Between(id) if *id == mechanism);
            let mut inputs = machine.inputs.rows();
            inputs.find_map(|row| row.picture.as_ref().filter(|_| row.lit.facts().into_iter().any(of_it)))
        }
        Observable::Supply(_) | Observable::Inspect(_) => None,
    };
    of_device.or_else(seen).map_or(Value::Null, |(file, across, down)| json!([file, across, down]))
}

/// All remedies with their prices; texts only for those that an operator may do.
pub fn remedies(diagnoser: &Diagnoser, machine: &Machine) -> Value {
    let own = remedies_of_operator(machine);
    let prices = machine.prices;
    let rows = machine.remedies.iter().map(|(id, row)| match own.iter().position(|one| *one == id) {
        None => json!({ "minutes": row.minutes + prices.trial_run }),
        Some(number) => json!({
            "minutes": row.minutes + prices.trial_run,
            "number": number,
            "key": row.key,
            "words": words::of(|language| crate::wording::remedy_words(machine, row, language)),
            "before": before(machine, Doing::of_remedy(machine, row), &moved_by_remedy(diagnoser, id)),
            "picture": remedy_picture(machine, row),
        }),
    });
    json!({
        "rows": rows.collect::<Vec<_>>(),
        "visit": prices.visit,
        "lastResort": prices.last_resort,
        "goOn": GO_ON_MINUTES + prices.trial_run,
    })
}

fn remedy_picture(machine: &Machine, row: &Remedy) -> Value {
    let role = row.device.and_then(|device| machine.devices.get(device)).map(|device| device.role);
    let moved = match row.does {
        Some(HandMove::Put(mechanism, _) | HandMove::Press(mechanism, _)) => Observable::Position(mechanism),
        _ => Observable::Inspect(Vec::new()),
    };
    picture(machine, role, &moved)
}

/// What an alternative's transitions and interlocks need, in words.
pub fn alternative(alternative: &Alternative) -> Value {
    let machine = &alternative.machine;
    let names = |steps: &[StepId]| steps.iter().map(|step| step_words(machine, *step)).collect::<Vec<_>>();
    let transition = |(id, row): (TransitionId, &machine::model::Transition)| {
        let needs = needs(machine, id).into_iter().map(|need| {
            json!({
                "words": words::of(|language| phrase::condition(machine, need.condition, language)),
                "part": part(&need.part),
                "byHand": need.by_hand,
            })
        });
        json!({
            "start": row.start,
            "mode": machine.charts[row.chart].mode.map_or(-1, |mode| mode.index() as i64),
            "from": names(&row.from),
            "to": names(&row.to),
            "needs": needs.collect::<Vec<_>>(),
        })
    };
    let interlocks = machine.interlocks.rows();
    json!({
        "transitions": machine.transitions.iter().map(transition).collect::<Vec<_>>(),
        "interlocks": interlocks.map(|row| words::of(|language| phrase::condition(machine, &row.needs, language))).collect::<Vec<_>>(),
        "steps": machine.steps.ids().map(|step| step_words(machine, step)).collect::<Vec<_>>(),
    })
}

fn step_words(machine: &Machine, step: StepId) -> Value {
    words::text(&machine.steps[step].words, &machine.step_name(step).replace('_', " "))
}

fn part(one: &Part) -> Value {
    match one {
        Part::Lit(lamp) => json!(lamp),
        Part::Hidden => Value::Null,
        Part::Always(value) => json!(value),
        Part::Not(inner) => json!(["not", part(inner)]),
        Part::All(list) => json!(["all", list.iter().map(part).collect::<Vec<_>>()]),
        Part::Any(list) => json!(["any", list.iter().map(part).collect::<Vec<_>>()]),
    }
}

/// Where a ground's ways to stand are, in its alternative's numbers.
pub fn looks(machine: &Machine, ground: &Ground) -> (Value, Value) {
    let onward = |one: &Onward| {
        let holds: String = one.holds.iter().map(|holds| if *holds { '1' } else { '0' }).collect();
        json!([one.transition.index(), holds])
    };
    let look = |one: &Look| {
        json!([
            one.steps.iter().map(|step| step.index()).collect::<Vec<_>>(),
            one.onward.iter().map(onward).collect::<Vec<_>>(),
            one.starts.iter().map(onward).collect::<Vec<_>>(),
            one.held.iter().map(|held| held.index()).collect::<Vec<_>>(),
            u8::from(one.running),
            u8::from(one.timed_out),
        ])
    };
    let mode = machine.routines[ground.routine].mode.map_or(-1, |mode| mode.index() as i64);
    (json!(ground.looks.iter().map(look).collect::<Vec<_>>()), json!(mode))
}

/// What a code needs to know; see `diagnose::call::code`.
pub fn of_code(machine: &Machine, file: &str) -> Value {
    json!({ "letters": code::LETTERS, "group": code::GROUP, "mark": code::mark(machine, file) })
}
