//! Procedure sheets: a led service job on paper. Before each step what to be careful of and what will move, then
//! what to do, then which lamps are due and what to measure, as `lampwise procedure` says it.

use diagnose::evidence::LampPlace;
use diagnose::procedure::{Course, Due, LampDue, Movement, StepCourse};
use machine::Machine;
use machine::caution::Doing;
use machine::id::ProcedureId;
use machine::model::{Measurement, ProcedureStep};

use crate::desk::Desk;
use crate::document::{Answer, Block, Card, Sheet, Span};
use crate::lamp_list;
use crate::language::Label;
use crate::wording::{caution, who};

const TITLE: Label = Label::new("Procedure: {}", "Verfahren: {}", "Procedimiento: {}");
const FOR: Label = Label::new("For: {}.", "Für: {}.", "Para: {}.");
const BY: Label = Label::new("Done by", "Ausgeführt von", "Hecho por");
const DATE: Label = Label::new("Date", "Datum", "Fecha");
const COMES_ON: Label = Label::new("This comes on: {}.", "Das kommt: {}.", "Esto se conecta: {}.");
const WILL_MOVE: Label = Label::new(
    "This will move: {}. Everybody clear.",
    "Das bewegt sich: {}. Alle zurücktreten.",
    "Esto se moverá: {}. Todos apartados.",
);
const WILL_CHANGE: Label = Label::new("This will change: {}.", "Das ändert sich: {}.", "Esto cambiará: {}.");
const BETWEEN: Label = Label::new("between", "dazwischen", "entre medias");
const WAIT: Label = Label::new("wait {}", "{} warten", "esperar {}");
const REST: Label = Label::new("at rest after about {}", "in Ruhe nach etwa {}", "en reposo tras unos {}");
const NOW_LIT: Label = Label::new("● now lit", "● leuchtet jetzt", "● ahora enc.");
const NOW_DARK: Label = Label::new("○ now dark", "○ jetzt dunkel", "○ ahora apag.");
const BLINKS: Label = Label::new("◐ blinks", "◐ blinkt", "◐ parpadea");
const STAYS: Label = Label::new("● stays lit", "● leuchtet weiter", "● sigue enc.");
const VARIES: Label = Label::new("either way", "beliebig", "indiferente");
const OTHERS: Label = Label::new("all others dark", "alle anderen dunkel", "todas las demás apagadas");
const MEASURE: Label = Label::new("measure", "messen", "medir");
const OUTSIDE: Label = Label::new("outside that: {}", "sonst: {}", "si no: {}");
const TO: Label = Label::new("{} to {}", "{} bis {}", "{} a {}");
const AT_LEAST: Label = Label::new("at least {}", "mindestens {}", "al menos {}");
const AT_MOST: Label = Label::new("at most {}", "höchstens {}", "como máximo {}");

/// The sheet of a procedure.
pub(crate) fn procedure_sheet(desk: &Desk<'_>, id: ProcedureId) -> Sheet {
    let language = desk.language();
    let machine = desk.machine();
    let procedure = &machine.procedures[id];
    let machines: Vec<&Machine> = desk.alternatives().iter().map(|one| &one.machine).collect();
    let course = Course::new(&machines, id);
    let mut about = desk.words(&procedure.purpose, "").to_owned();
    if !about.is_empty() {
        about.push(' ');
    }
    about.push_str(&FOR.fill(language, &[who(procedure.who, language)]));
    let mut signatures = Vec::new();
    for label in [DATE, BY] {
        signatures.push(Span::plain(format!("{}: ", label.of(language))));
        signatures.push(Span::blank());
        signatures.push(Span::plain("  "));
    }
    let mut blocks = vec![Block::Text(signatures)];
    for (index, (step, course)) in procedure.steps.iter().zip(&course.steps).enumerate() {
        blocks.push(Block::Card(card(desk, index, step, course)));
    }
    Sheet {
        name: format!("procedure-{}", procedure.name),
        title: TITLE.fill(language, &[desk.words(&procedure.words, &procedure.name)]),
        about,
        one_page: false,
        landscape: false,
        blocks,
    }
}

fn card(desk: &Desk<'_>, index: usize, step: &ProcedureStep, course: &StepCourse) -> Card {
    let language = desk.language();
    let mut cautions: Vec<String> =
        Doing::of_step(desk.machine(), step).cautions().into_iter().map(|one| caution(one, language)).collect();
    cautions.extend(announcements(desk, course));
    cautions.extend(step.note.iter().map(|note| desk.words(note, "").to_owned()));
    let takes = language.duration(course.takes_ms.div_ceil(1_000) * 1_000);
    let remark = match step.wait_ms {
        Some(ms) => WAIT.fill(language, &[&language.duration(ms)]),
        None if course.takes_ms >= 1_000 => REST.fill(language, &[&takes]),
        None => String::new(),
    };
    let mut words = vec![Span::tick(), Span::plain(" ")];
    words.push(Span::strong(desk.words(&step.words, "")));
    let mut answers = lamps(desk, course, index == 0);
    if let Some(measure) = &step.measure {
        answers.push(measured(desk, measure));
    }
    Card { number: (index + 1).to_string(), mark: None, cautions, words, remark, answers }
}

/// What will move or come on by itself.
fn announcements(desk: &Desk<'_>, course: &StepCourse) -> Vec<String> {
    let language = desk.language();
    let machine = desk.machine();
    let mut said = Vec::new();
    let on: Vec<&str> = (course.comes_on.iter())
        .map(|id| &machine.supplies[*id])
        .map(|supply| desk.words(&supply.words, &supply.name))
        .collect();
    if !on.is_empty() {
        said.push(COMES_ON.fill(language, &[&on.join(", ")]));
    }
    let (hazards, others): (Vec<_>, Vec<_>) = course.movements.iter().partition(|movement| movement.hazard);
    for (label, list) in [(WILL_MOVE, hazards), (WILL_CHANGE, others)] {
        if !list.is_empty() {
            let words: Vec<String> = list.into_iter().map(|one| movement(desk, one)).collect();
            said.push(label.fill(language, &[&words.join("; ")]));
        }
    }
    said
}

/// A movement: "half-turn table: loading → filling → loading".
pub(super) fn movement(desk: &Desk<'_>, movement: &Movement) -> String {
    /// Positions that are told of one movement.
    const TOLD: usize = 5;
    let Some(row) = desk.machine().mechanisms.get(movement.mechanism) else { return String::new() };
    let place = |at: &Option<u8>| {
        at.and_then(|at| row.position_words.get(usize::from(at)))
            .map_or(BETWEEN.of(desk.language()), |words| desk.words(words, ""))
            .to_owned()
    };
    let mut places = vec![place(&movement.from)];
    // Where it turns back at once it never stands, so only the way is known.
    if movement.to == [movement.from] {
        places.push(BETWEEN.of(desk.language()).to_owned());
    }
    places.extend(movement.to.iter().take(TOLD).map(place));
    if movement.to.len() > TOLD {
        places.push("…".to_owned());
    }
    format!("{}: {}", desk.words(&row.words, &row.name), places.join(" → "))
}

fn lamps(desk: &Desk<'_>, course: &StepCourse, first: bool) -> Vec<Answer> {
    let language = desk.language();
    let of = |due: Due, changed: bool| -> Vec<&LampDue> {
        course.lamps.iter().filter(|lamp| lamp.due == due && (lamp.changed && !first) == changed).collect()
    };
    let told = |lamps: &[&LampDue]| -> String {
        let one = |lamp: &&LampDue| match words(desk, lamp) {
            "" => lamp.label.clone(),
            words => format!("{} ({words})", lamp.label),
        };
        lamps.iter().map(one).collect::<Vec<_>>().join(", ")
    };
    let places: Vec<LampPlace> = LampPlace::all(desk.machine()).map(|(place, _)| place).collect();
    let labels = |lamps: &[&LampDue]| {
        lamp_list::named(desk.machine(), |number| lamps.iter().any(|lamp| Some(&lamp.place) == places.get(number)))
    };
    let blinks: Vec<&LampDue> = course.lamps.iter().filter(|lamp| lamp.due == Due::Blinks).collect();
    let varies: Vec<&LampDue> = course.lamps.iter().filter(|lamp| lamp.due == Due::MayVary).collect();
    let rows = [
        (NOW_LIT, told(&of(Due::Lit, true))),
        (NOW_DARK, told(&of(Due::Dark, true))),
        (BLINKS, told(&blinks)),
        (STAYS, labels(&of(Due::Lit, false))),
        (VARIES, labels(&varies)),
    ];
    let mut answers: Vec<Answer> = rows
        .into_iter()
        .filter(|(_, text)| !text.is_empty())
        .map(|(label, text)| Answer::new(vec![Span::plain(label.of(language))], vec![Span::plain(text)]))
        .collect();
    if let Some(last) = answers.last_mut() {
        last.then.push(Span::faint(format!("; {}", OTHERS.of(language))));
    }
    answers
}

/// What a lamp means, in the language of the sheet.
fn words<'d>(desk: &'d Desk<'_>, lamp: &'d LampDue) -> &'d str {
    use machine::model::LampKind;
    let machine = desk.machine();
    match lamp.place.lamp(machine).map(|lamp| &lamp.kind) {
        Some(LampKind::Input(input)) => desk.words(&machine.inputs[*input].words, ""),
        Some(LampKind::Output(output)) => desk.words(&machine.outputs[*output].words, ""),
        _ => &lamp.words,
    }
}

fn measured(desk: &Desk<'_>, measure: &Measurement) -> Answer {
    let language = desk.language();
    let (from, to) = (language.numbers(&measure.from.to_string()), language.numbers(&measure.to.to_string()));
    let range = match (measure.from.is_finite(), measure.to.is_finite()) {
        (true, true) => TO.fill(language, &[&from, &to]),
        (true, false) => AT_LEAST.fill(language, &[&from]),
        (false, true) => AT_MOST.fill(language, &[&to]),
        (false, false) => String::new(),
    };
    let mut text =
        vec![Span::plain(format!("{}: {range} {} ", desk.words(&measure.words, ""), desk.words(&measure.unit, "")))];
    let outside = desk.words(&measure.outside, "");
    if !outside.is_empty() {
        text.push(Span::faint(format!("({}) ", OUTSIDE.fill(language, &[outside]))));
    }
    text.push(Span::blank());
    Answer::new(vec![Span::strong(MEASURE.of(language))], text)
}
