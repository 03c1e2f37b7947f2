//! The call report: a saved call on paper. What was said, what it was or probably is, what helped or is to be done,
//! and how to find out that it runs.

use std::sync::Arc;

use diagnose::call::{Ending, Finding, Found, Record, Session, WorkedOut};
use diagnose::next::{Bring, Terms};
use machine::caution::Doing;
use machine::model::Words;

use super::procedures::movement;
use crate::desk::Desk;
use crate::document::{Answer, Block, Card, Column, Sheet, Span, Table};
use crate::entry;
use crate::language::Label;
use crate::request::RequestError;
use crate::wording::{can_move, cause, caution, effort, percent, said_before};

const TITLE: Label = Label::new("Call report", "Anrufbericht", "Informe de llamada");
const ABOUT: Label = Label::new(
    "What was said, in its order, and what follows from it by the machine file named below.",
    "Was gesagt wurde, der Reihe nach, und was daraus nach der unten genannten Maschinendatei folgt.",
    "Lo que se dijo, por orden, y lo que se deduce según el archivo de máquina indicado abajo.",
);
const SAID: Label = Label::new("What was said", "Was gesagt wurde", "Lo que se dijo");
const FINDING: Label = Label::new("Finding", "Befund", "Resultado");
const CAUSES: Label = Label::new("What it can be", "Was es sein kann", "Qué puede ser");
const CAUSE: Label = Label::new("Cause", "Ursache", "Causa");
const VERIFY: Label = Label::new("To verify that it runs", "Prüfen, dass sie läuft", "Comprobar que funciona");
const NEXT: Label = Label::new("What comes next", "Was als Nächstes kommt", "Qué viene ahora");
const NUMBER: Label = Label::new("No.", "Nr.", "N.º");
const KIND: Label = Label::new("What", "Was", "Qué");
const WORDS: Label = Label::new("In words", "In Worten", "En palabras");
const REMEDY: Label = Label::new("Remedy: {}", "Abhilfe: {}", "Remedio: {}");
const HELPED: Label = Label::new("What helped: {}", "Was half: {}", "Lo que ayudó: {}");
const PART: Label = Label::new("part: {}", "Teil: {}", "pieza: {}");
const BRING: Label = Label::new("Bring: {}.", "Mitbringen: {}.", "Llevar: {}.");
const LIT_BEFORE: Label = Label::new("lit before", "leuchtet vorher", "antes encend.");
const LIT_AFTER: Label = Label::new("lit after", "leuchtet nachher", "después encend.");
const BLINK_AFTER: Label = Label::new("blinks after", "blinkt nachher", "después parpadea");
const TAKES: Label = Label::new("takes", "dauert", "tarda");
const MOVES: Label = Label::new(
    "Everybody clear, this will move: {}.",
    "Alle zurück, das bewegt sich: {}.",
    "Todos apartados, se moverá: {}.",
);
const COMES_ON: Label = Label::new("{} comes on", "{} kommt", "{} se conecta");
const CHANGED: Label = Label::new(
    "The machine file has changed since the call was saved: answers may differ.",
    "Die Maschinendatei wurde seit dem Anruf geändert: Antworten können abweichen.",
    "El archivo de máquina ha cambiado desde la llamada: las respuestas pueden variar.",
);
const RUNS: Label = Label::new("It runs again.", "Sie läuft wieder.", "Vuelve a funcionar.");
const SURE: Label =
    Label::new("One cause is sure enough.", "Eine Ursache ist sicher genug.", "Una causa es bastante segura.");
const TWO: Label =
    Label::new("Two things are wrong at once.", "Zwei Dinge sind zugleich falsch.", "Hay dos cosas mal a la vez.");
const NOTHING: Label = Label::new(
    "Nothing is wrong: it waits for somebody.",
    "Nichts ist falsch: sie wartet auf jemanden.",
    "No pasa nada: espera a alguien.",
);
const NOT_IN_FILE: Label = Label::new(
    "Something that is not in the machine file.",
    "Etwas, das nicht in der Maschinendatei steht.",
    "Algo que no está en el archivo de máquina.",
);
const FITS_BADLY: Label = Label::new(
    "What was reported fits badly with everything in the file: read the lamps once more.",
    "Das Gemeldete passt schlecht zu allem in der Datei: die Lampen noch einmal ablesen.",
    "Lo comunicado encaja mal con todo lo del archivo: lea las lámparas otra vez.",
);
const VISIT: Label = Label::new("It needs a visit.", "Ein Besuch ist nötig.", "Hace falta una visita.");
const OPEN: Label = Label::new("Not settled yet.", "Noch nicht geklärt.", "Aún sin aclarar.");

/// Causes that are listed.
const LISTED: usize = 8;

/// The sheet. `changed` tells that the machine file is another one than when the call was saved.
///
/// # Errors
/// What of the call can't be understood with this machine file.
pub(crate) fn call_report(desk: &Desk<'_>, record: &Record, changed: bool) -> Result<Sheet, RequestError> {
    let language = desk.language();
    let worked_out =
        WorkedOut::new(desk.alternatives().to_vec(), record.origin.as_ref()).ok_or_else(|| RequestError {
            what: "the call goes on from a procedure that the machine file does not have".to_owned(),
            hint: "take the machine file that the call was made with".to_owned(),
        })?;
    let worked_out = Arc::new(worked_out.with_shelf(Arc::clone(desk.shelf())));
    let terms = Terms::of(desk.machine()).visited_after(record.visit);
    let made = Session::of(worked_out, terms, record.entries.clone());
    let session = made.map_err(|mistakes| RequestError {
        what: mistakes
            .iter()
            .map(|one| format!("entry {} of the call can't be understood: {}", one.entry + 1, one.text))
            .collect::<Vec<_>>()
            .join("; "),
        hint: "mend the saved call, or take the machine file that it was made with".to_owned(),
    })?;
    let heading = |label: Label| Block::Heading(label.of(language).to_owned());
    let mut blocks = Vec::new();
    if changed {
        blocks.push(Block::Caution(vec![CHANGED.of(language).to_owned()]));
    }
    blocks.extend([heading(SAID), Block::Table(said(desk, &session)), heading(FINDING)]);
    blocks.extend(found(desk, &session));
    if !session.now().answer.causes.is_empty() {
        blocks.extend([heading(CAUSES), Block::Table(causes(desk, &session))]);
    }
    blocks.extend(next(desk, &session));
    blocks.extend(verification(desk, &session));
    Ok(Sheet {
        name: "call".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: false,
        landscape: false,
        blocks,
    })
}

fn said(desk: &Desk<'_>, session: &Session) -> Table {
    let language = desk.language();
    let rows = session.entries().iter().enumerate().map(|(index, said)| {
        vec![
            vec![Span::plain((index + 1).to_string())],
            vec![Span::plain(entry::kind(said.kind, language))],
            vec![Span::plain(entry::in_words(desk.machine(), language, session.entries(), index))],
        ]
    });
    Table {
        rows: rows.collect(),
        columns: vec![
            Column::narrow(NUMBER.of(language)),
            Column::narrow(KIND.of(language)),
            Column::wide(WORDS.of(language), 1),
        ],
        small: false,
    }
}

fn found(desk: &Desk<'_>, session: &Session) -> Vec<Block> {
    let language = desk.language();
    let finding = session.finding();
    let label = match finding.map(|finding| finding.ending) {
        Some(Ending::Runs) => RUNS,
        Some(Ending::Sure) => SURE,
        Some(Ending::Two) => TWO,
        Some(Ending::NothingWrong) => NOTHING,
        Some(Ending::NotInFile) => NOT_IN_FILE,
        Some(Ending::FitsBadly) => FITS_BADLY,
        Some(Ending::NeedsVisit) => VISIT,
        None => OPEN,
    };
    let mut blocks = vec![Block::Text(vec![Span::strong(label.of(language))])];
    if let Some(finding) = finding {
        blocks.extend(finding.found.iter().map(|one| Block::Card(found_card(desk, session, finding, one))));
    }
    if finding.is_some_and(|finding| finding.ending != Ending::Runs) && !session.advice().bring.is_empty() {
        let named = |one: &Bring| {
            let remedy = desk.machine().remedies.rows().find(|row| row.key == one.remedy);
            let part =
                remedy.and_then(|row| row.part.as_ref()).map_or(&*one.part, |part| desk.words(&part.words, &one.part));
            format!("{part} ({})", percent(one.probability))
        };
        let parts: Vec<String> = session.advice().bring.iter().map(named).collect();
        blocks.push(Block::Text(vec![Span::plain(BRING.fill(language, &[&parts.join("; ")]))]));
    }
    blocks
}

fn found_card(desk: &Desk<'_>, session: &Session, finding: &Finding, found: &Found) -> Card {
    let language = desk.language();
    let machine = desk.machine();
    let mut words: Vec<String> = (session.now().answer.causes.iter().flat_map(|cause| &cause.members))
        .filter(|member| found.keys.contains(&member.key))
        .map(|member| crate::wording::member(desk, member))
        .collect();
    words.dedup();
    if words.is_empty() {
        words.clone_from(&found.causes);
    }
    let mut cautions = Vec::new();
    let mut answers = Vec::new();
    let remedy = found.remedy.as_ref().and_then(|key| machine.remedies.rows().find(|row| row.key == *key));
    if let Some(remedy) = remedy {
        let runs = finding.ending == Ending::Runs;
        if !runs {
            let before = Doing::of_remedy(machine, remedy).cautions();
            cautions.extend(before.into_iter().map(|one| caution(one, language)));
            let key = format!("remedy:{}", remedy.key);
            let proposal = session.advice().proposals.iter().find(|one| one.key == key);
            cautions.extend(proposal.and_then(|one| can_move(desk, &one.movements)));
        }
        let label = if runs { HELPED } else { REMEDY };
        let mut text = label.fill(language, &[desk.words(&remedy.words, &remedy.key)]);
        if let Some(part) = &remedy.part {
            text.push_str(&format!(" ({})", PART.fill(language, &[desk.words(&part.words, "")])));
        }
        answers.push(Answer::new(Vec::new(), vec![Span::plain(text)]));
    }
    let sure = matches!(finding.ending, Ending::Runs | Ending::Two) || found.probability <= 0.0;
    Card {
        number: "●".to_owned(),
        mark: None,
        cautions,
        words: vec![Span::strong(words.join(" / "))],
        remark: if sure { String::new() } else { percent(found.probability) },
        answers,
    }
}

fn causes(desk: &Desk<'_>, session: &Session) -> Table {
    let language = desk.language();
    let answer = &session.now().answer;
    let mut rows: Vec<(f64, String)> = answer.causes.iter().map(|one| (one.probability, cause(desk, one))).collect();
    rows.push((answer.nothing_wrong, NOTHING.of(language).to_owned()));
    rows.push((answer.not_in_file, NOT_IN_FILE.of(language).to_owned()));
    rows.sort_by(|one, other| other.0.total_cmp(&one.0));
    rows.truncate(LISTED);
    rows.retain(|(probability, _)| *probability >= 0.005);
    Table {
        rows: rows
            .into_iter()
            .map(|(probability, words)| vec![vec![Span::plain(percent(probability))], vec![Span::plain(words)]])
            .collect(),
        columns: vec![Column::narrow("%"), Column::wide(CAUSE.of(language), 1)],
        small: false,
    }
}

/// The best proposal, if the call is not over.
fn next(desk: &Desk<'_>, session: &Session) -> Vec<Block> {
    let over = session.finding().is_some_and(|finding| matches!(finding.ending, Ending::Runs | Ending::Sure));
    let Some(first) = session.advice().proposals.first().filter(|_| !over) else { return Vec::new() };
    let card = Card {
        number: "●".to_owned(),
        mark: None,
        cautions: said_before(desk, &first.cautions, &first.movements),
        words: vec![Span::plain(desk.words(&first.words, &first.key))],
        remark: effort(desk, first),
        answers: Vec::new(),
    };
    vec![Block::Heading(NEXT.of(desk.language()).to_owned()), Block::Card(card)]
}

fn verification(desk: &Desk<'_>, session: &Session) -> Vec<Block> {
    let language = desk.language();
    let ends =
        |finding: &Finding| matches!(finding.ending, Ending::Runs | Ending::Sure | Ending::Two | Ending::NeedsVisit);
    if !session.finding().is_some_and(ends) {
        return Vec::new();
    }
    let it = session.verification();
    let Some((last, before)) = it.steps.split_last() else { return Vec::new() };
    let mut blocks = vec![Block::Heading(VERIFY.of(language).to_owned())];
    let answer =
        |label: Label, text: String| Answer::new(vec![Span::plain(label.of(language))], vec![Span::plain(text)]);
    let mut number = 0;
    let mut card = |words: &Words, cautions: Vec<String>, answers| {
        number += 1;
        Block::Card(Card {
            number: number.to_string(),
            mark: None,
            cautions,
            words: vec![Span::tick(), Span::plain(" "), Span::plain(desk.words(words, ""))],
            remark: String::new(),
            answers,
        })
    };
    for (index, step) in before.iter().enumerate() {
        let lit = index + 1 == before.len() && !it.lit_before.is_empty();
        let answers = if lit { vec![answer(LIT_BEFORE, it.lit_before.join(" "))] } else { Vec::new() };
        blocks.push(card(step, Vec::new(), answers));
    }
    let comes_on = it.comes_on.iter().map(|id| &desk.machine().supplies[*id]);
    let mut moves: Vec<String> =
        comes_on.map(|row| COMES_ON.fill(language, &[desk.words(&row.words, &row.name)])).collect();
    moves.extend(it.movements.iter().map(|one| movement(desk, one)));
    let cautions = if moves.is_empty() { Vec::new() } else { vec![MOVES.fill(language, &[&moves.join("; ")])] };
    let mut answers = vec![answer(LIT_AFTER, it.lit_after.join(" "))];
    if !it.blink_after.is_empty() {
        answers.push(answer(BLINK_AFTER, it.blink_after.join(" ")));
    }
    answers.push(answer(TAKES, language.duration(it.takes_ms.div_ceil(1_000) * 1_000)));
    blocks.push(card(last, cautions, answers));
    blocks
}
