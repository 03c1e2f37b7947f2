//! The symptom index: for each complaint and each lamp pattern that comes with it, what it probably is, and what
//! to look at first. The same answers that `lampwise why` gives for the same lamps.

use diagnose::evidence::{Complaint, LampState};
use diagnose::next::{Proposal, Size, Terms, ToDo};
use diagnose::pattern::{Pattern, Symptom, symptoms};

use crate::desk::Desk;
use crate::document::{Answer, Block, Card, Sheet, Span};
use crate::lamp_list;
use crate::language::{Label, Language};
use crate::wording::{Marks, can_move_in_short, cause, effort, percent, to_be_done};

const TITLE: Label = Label::new("Symptom index", "Fehlerverzeichnis", "Índice de síntomas");
const ABOUT: Label = Label::new(
    "By complaint and lamps: the most probable causes with their probability, then what to do first. Share: of all \
     cases with this complaint that are in the machine file. Other lamps than these: use the check tree or a call.",
    "Nach Störungsbild und Lampen: die wahrscheinlichsten Ursachen mit Wahrscheinlichkeit, dann was zuerst zu tun ist. \
     Anteil: von allen Fällen mit diesem Störungsbild, die in der Maschinendatei stehen. Andere Lampen: Prüfbaum oder Anruf.",
    "Por síntoma y lámparas: las causas más probables con su probabilidad, y luego qué hacer primero. Parte: de todos los \
     casos con este síntoma que están en el archivo de máquina. Otras lámparas: árbol de pruebas o llamada.",
);
pub(super) const WONT_START: Label = Label::new("It will not start", "Sie startet nicht", "No arranca");
pub(super) const STOPS_MIDWAY: Label =
    Label::new("It stops midway", "Sie bleibt mittendrin stehen", "Se para a medias");
pub(super) const WONT_FINISH: Label = Label::new("It does not finish", "Sie wird nicht fertig", "No termina");
pub(super) const WRONG_RESULT: Label =
    Label::new("The result is wrong", "Das Ergebnis stimmt nicht", "El resultado es incorrecto");
const LIT: Label = Label::new("Lit: ", "An: ", "Encendidas: ");
const FLICKER: Label = Label::new("flickers or blinks: ", "flackert oder blinkt: ", "parpadea: ");
const REST_DARK: Label = Label::new("; all others dark", "; alle anderen dunkel", "; todas las demás apagadas");
const ALL_DARK: Label = Label::new("All lamps dark", "Alle Lampen dunkel", "Todas las lámparas apagadas");
const SHARE: Label = Label::new("{} of these cases", "{} dieser Fälle", "{} de estos casos");
const STANDS: Label = Label::new("stands in {}", "steht in {}", "está en {}");
const CHECK: Label = Label::new("do", "tun", "hacer");
const NOTHING: Label = Label::new(
    "nothing is wrong: it waits for a person",
    "nichts ist falsch: sie wartet auf jemanden",
    "no pasa nada: espera a una persona",
);
const NOT_IN_FILE: Label = Label::new(
    "something that is not in the machine file",
    "etwas, das nicht in der Maschinendatei steht",
    "algo que no está en el archivo de máquina",
);
const NO_CASES: Label =
    Label::new("No case in the machine file.", "Kein Fall in der Maschinendatei.", "Ningún caso en el archivo.");

/// Patterns of a complaint that are listed, and the least share of one.
const LISTED: usize = 5;
const LEAST: f64 = 0.02;
/// Causes and checks that are listed of each.
const CAUSES: usize = 4;
const CHECKS: usize = 3;
/// What helps less often than this is not listed behind what comes before it.
const WORTH_A_LINE: f64 = 0.02;

/// The complaints with their titles.
pub(crate) const COMPLAINTS: [(Complaint, Label); 4] = [
    (Complaint::WontStart, WONT_START),
    (Complaint::StopsMidway, STOPS_MIDWAY),
    (Complaint::WontFinish, WONT_FINISH),
    (Complaint::WrongResult, WRONG_RESULT),
];

/// The sheet.
pub(crate) fn symptom_index(desk: &Desk<'_>) -> Sheet {
    let language = desk.language();
    let mut body = Vec::new();
    let mut marks = Marks::default();
    let mut number = 0;
    // As far ahead as the check tree looks.
    let terms = Terms { shown: CHECKS, effort: Size::default().effort, ..Terms::of(desk.machine()) };
    let found = symptoms(desk.diagnoser(), desk.openings(), (LISTED, LEAST), &terms);
    for ((_, title), found) in COMPLAINTS.iter().zip(found) {
        body.push(Block::Heading(title.of(language).to_owned()));
        if found.is_empty() {
            body.push(Block::Text(vec![Span::faint(NO_CASES.of(language))]));
        }
        for symptom in found {
            number += 1;
            body.push(Block::Card(card(desk, &symptom, number, &mut marks)));
        }
    }
    let mut blocks = marks.legend(language);
    blocks.extend(body);
    Sheet {
        name: "symptoms".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: false,
        landscape: false,
        blocks,
    }
}

fn card(desk: &Desk<'_>, symptom: &Symptom, number: usize, marks: &mut Marks) -> Card {
    let language = desk.language();
    let Symptom { pattern, answer, advice } = symptom;
    let mut remark = SHARE.fill(language, &[&percent(pattern.share)]);
    if let Some(place) = answer.standing.first().filter(|place| !place.steps.is_empty()) {
        remark.push_str("; ");
        remark.push_str(&STANDS.fill(language, &[&place.steps.join(" + ")]));
    }
    let mut causes: Vec<(f64, String)> =
        answer.causes.iter().take(CAUSES).map(|one| (one.probability, cause(desk, one))).collect();
    causes.push((answer.nothing_wrong, NOTHING.of(language).to_owned()));
    causes.push((answer.not_in_file, NOT_IN_FILE.of(language).to_owned()));
    causes.sort_by(|one, other| other.0.total_cmp(&one.0));
    causes.retain(|(probability, _)| *probability >= 0.01);
    causes.truncate(CAUSES);
    let mut answers: Vec<Answer> = causes
        .into_iter()
        .map(|(probability, words)| Answer::new(vec![Span::plain(percent(probability))], vec![Span::plain(words)]))
        .collect();
    let mut told: Vec<String> = Vec::new();
    for (at, proposal) in advice.proposals.iter().enumerate() {
        let helps = proposal.answers.iter().find(|answer| answer.key == "runs").map(|answer| answer.probability);
        if at > 0 && helps.is_some_and(|helps| helps < WORTH_A_LINE) {
            continue;
        }
        let words = proposed(desk, proposal);
        // Several lapses are made good by the same thing.
        if told.contains(&words) {
            continue;
        }
        let mut text = Vec::new();
        text.extend(marks.before(&proposal.cautions));
        if let Some(moves) = can_move_in_short(desk, &proposal.movements) {
            text.push(Span::strong(format!("! {moves} ")));
        }
        text.push(Span::plain(words.clone()));
        text.push(Span::faint(format!(" ({})", effort(desk, proposal))));
        told.push(words);
        let before = format!("{} {}", CHECK.of(language), told.len());
        answers.push(Answer::new(vec![Span::strong(before)], text));
    }
    Card { number: number.to_string(), mark: None, cautions: Vec::new(), words: lamps(desk, pattern), remark, answers }
}

/// What is to be done. Of a check that others have to make an operator is told only to leave it alone; so it is said as
/// it is among technicians, or, where that is not translated, at least of what.
fn proposed(desk: &Desk<'_>, proposal: &Proposal) -> String {
    let words = to_be_done(desk, &proposal.to_do, &proposal.words, &proposal.key);
    let (true, ToDo::Check(check)) = (proposal.on_site, proposal.to_do) else { return words };
    let tag = desk.language().tag();
    let translated = proposal.technician.translations.iter().any(|(language, _)| language == tag);
    if translated || desk.language() == Language::English {
        return desk.words(&proposal.technician, &proposal.key).to_owned();
    }
    let machine = desk.machine();
    match machine.checks[check].device.map(|device| &machine.devices[device]) {
        Some(device) => format!("{}: {words}", desk.words(&device.words, &device.name)),
        None => words,
    }
}

/// A pattern in words: what is lit, what flickers.
fn lamps(desk: &Desk<'_>, pattern: &Pattern) -> Vec<Span> {
    let language = desk.language();
    let of = |state: LampState| lamp_list::named(desk.machine(), |lamp| pattern.lamps.get(lamp) == Some(&state));
    let (lit, flickers) = (of(LampState::Lit), of(LampState::Flickers));
    if lit.is_empty() && flickers.is_empty() {
        return vec![Span::strong(ALL_DARK.of(language))];
    }
    let mut spans = Vec::new();
    if !lit.is_empty() {
        spans.extend([Span::plain(LIT.of(language)), Span::strong(lit)]);
    }
    if !flickers.is_empty() {
        let joint = if spans.is_empty() { "" } else { "; " };
        spans.extend([Span::plain(format!("{joint}{}", FLICKER.of(language))), Span::strong(flickers)]);
    }
    spans.push(Span::plain(REST_DARK.of(language)));
    spans
}
