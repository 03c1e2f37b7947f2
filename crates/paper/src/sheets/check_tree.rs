//! The check tree: what to do next written out for every answer. Numbered cards, each on one page, that refer to
//! each other by number, so that a large tree needs no large sheet of paper.

use std::collections::VecDeque;

use diagnose::evidence::Complaint;
use diagnose::next::{End, Leaf, Next, Node, Remedy, Size, Step, Terms, ToDo, tree_of};
use machine::model::Who;
use rayon::prelude::*;

use crate::desk::Desk;
use crate::document::{Answer, Block, Card, Sheet, Span};
use crate::language::{Label, Language};
use crate::wording::{Marks, answer, can_move_in_short, minutes, percent, remedy_words, said_before, told_cause, who};

use super::lamp_answers::LampAnswers;
use super::symptoms::COMPLAINTS;

const TITLE: Label = Label::new("Check tree", "Prüfbaum", "Árbol de pruebas");
const ABOUT: Label = Label::new(
    "Begin at the first number below the complaint and go on at the number behind the answer. After each \
     thing that is done: clear the alarm if one is shown, and start as usual. Where nothing that is listed helps: ring. In percent: of all cases with this complaint; behind what is to be done: how often it helps there.",
    "Beginnen Sie bei der ersten Nummer unter dem Störungsbild und gehen Sie bei der Nummer hinter der Antwort weiter. Nach \
     allem, was getan wird: die Störung quittieren, wenn eine angezeigt wird, und wie gewohnt starten. Hilft nichts von \
     dem, was dort steht: anrufen. In Prozent: von allen Fällen mit diesem Störungsbild; hinter dem, was zu tun \
     ist: wie oft es dort hilft.",
    "Empiece por el primer número bajo el síntoma y siga en el número que va detrás de la respuesta. Después de \
     cada cosa hecha: borre la alarma si se muestra alguna y arranque como siempre. Si nada de lo que se indica ayuda: \
     llame. En tanto por ciento: de todos los casos con este síntoma; detrás de lo que hay que hacer: cuántas \
     veces ayuda allí.",
);
const AVERAGE: Label = Label::new(
    "By this tree it runs after {} on average.",
    "Nach diesem Baum läuft sie im Mittel nach {}.",
    "Con este árbol funciona de media tras {}.",
);
const GO_TO: Label = Label::new("go to {}", "weiter bei {}", "siga en {}");
const RUNS: Label = Label::new("Put right. It was: {}", "Behoben. Es war: {}", "Arreglado. Era: {}");
const VISIT: Label = Label::new(
    "Somebody qualified has to come. Probably: {}",
    "Jemand Qualifiziertes muss kommen. Wahrscheinlich: {}",
    "Tiene que venir alguien cualificado. Probablemente: {}",
);
const REMEDY: Label =
    Label::new("Do this. Probably: {}", "Das tun. Wahrscheinlich: {}", "Haga esto. Probablemente: {}");
const REMEDIES: Label = Label::new(
    "Try in turn. Probably: {}",
    "Nacheinander versuchen. Wahrscheinlich: {}",
    "Pruebe por orden. Probablemente: {}",
);
const LAST_RESORT: Label = Label::new(
    "Ring the machine builder. Probably: {}",
    "Den Hersteller anrufen. Wahrscheinlich: {}",
    "Llame al fabricante. Probablemente: {}",
);
const RARE: Label = Label::new(
    "Not on this page: ring, with this answer at hand. Probably: {}",
    "Nicht auf diesem Blatt: anrufen und diese Antwort nennen. Wahrscheinlich: {}",
    "No está en esta hoja: llame con esta respuesta. Probablemente: {}",
);
const UNKNOWN: Label =
    Label::new("nothing that is in the file", "nichts, was in der Datei steht", "nada que esté en el archivo");
const ONLY: Label = Label::new("only by: {}", "nur durch: {}", "solo por: {}");
const NO_TREE: Label = Label::new(
    "There is nothing that this machine could be asked.",
    "Diese Maschine kann nichts gefragt werden.",
    "No hay nada que preguntarle a esta máquina.",
);

/// Complaints that are worth a tree on paper: where the machine stands still.
const WRITTEN: [Complaint; 3] = [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish];

/// Where a card is to be, and its mark.
struct Place<'t> {
    number: usize,
    step: &'t Step,
    share: f64,
}

/// The sheet.
pub(crate) fn check_tree(desk: &Desk<'_>) -> Sheet {
    let language = desk.language();
    let mut body = Vec::new();
    let mut marks = Marks::default();
    let mut number = 1;
    let diagnoser = desk.diagnoser();
    let openings = COMPLAINTS.iter().zip(desk.openings());
    let written: Vec<_> = openings.filter(|((complaint, _), _)| WRITTEN.contains(complaint)).collect();
    let trees: Vec<_> = written
        .par_iter()
        .map(|(_, opening)| {
            // Four questions deep is what one follows on paper without getting lost.
            let size = Size { depth: 4, least: 0.03, ..Size::default() };
            tree_of(diagnoser, opening, &Terms::of(desk.machine()), size)
        })
        .collect();
    for (((_, title), _), tree) in written.into_iter().zip(trees) {
        body.push(Block::Heading(title.of(language).to_owned()));
        match tree {
            Some(root) => {
                body.push(Block::Text(vec![Span::plain(AVERAGE.fill(language, &[&minutes(root.minutes, language)]))]));
                body.extend(cards(desk, &root, &mut number, &mut marks));
            }
            None => body.push(Block::Text(vec![Span::plain(NO_TREE.of(language))])),
        }
    }
    let mut blocks = marks.legend(language);
    blocks.extend(body);
    Sheet {
        name: "tree".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: false,
        landscape: false,
        blocks,
    }
}

/// The cards of a tree, level by level, so that what comes first is found first.
fn cards(desk: &Desk<'_>, root: &Node, number: &mut usize, marks: &mut Marks) -> Vec<Block> {
    let mut waiting: VecDeque<Place<'_>> = VecDeque::new();
    let mut blocks = Vec::new();
    let mut take = |node: &'_ Node| -> Option<usize> {
        matches!(node.next, Next::Do(_)).then(|| {
            let taken = *number;
            *number += 1;
            taken
        })
    };
    match &root.next {
        Next::Do(step) => {
            if let Some(number) = take(root) {
                waiting.push_back(Place { number, step, share: root.share });
            }
        }
        Next::End(leaf) => {
            // Nothing is asked at all: the end is the whole tree.
            blocks.push(Block::Text(ending(desk, leaf)));
            blocks.extend(remedies(desk, leaf, marks).into_iter().map(Block::Text));
        }
    }
    while let Some(place) = waiting.pop_front() {
        let mut answers = Vec::new();
        let lamps = LampAnswers::of(desk.machine(), place.step);
        for (index, branch) in place.step.branches.iter().enumerate() {
            let by_lamps = lamps.as_ref().and_then(|lamps| lamps.answer(desk, index));
            let words = by_lamps.unwrap_or_else(|| answer(desk, &place.step.to_do, &branch.key, &branch.words));
            let mut said = vec![Span::strong(words)];
            said.push(Span::faint(format!(" {}", percent(branch.node.share))));
            let then = match (&branch.node.next, take(&branch.node)) {
                (Next::Do(step), Some(number)) => {
                    waiting.push_back(Place { number, step, share: branch.node.share });
                    vec![Span::reference(GO_TO.fill(desk.language(), &[&number.to_string()]), mark(number))]
                }
                (Next::End(leaf), _) => {
                    answers.push(Answer {
                        words: said,
                        then: ending(desk, leaf),
                        in_turn: remedies(desk, leaf, marks),
                    });
                    continue;
                }
                (Next::Do(_), None) => Vec::new(),
            };
            answers.push(Answer::new(said, then));
        }
        let mut words = vec![Span::strong(asked(desk, place.step))];
        words.extend(lamps.map(|lamps| lamps.above(desk)));
        blocks.push(Block::Card(Card {
            number: place.number.to_string(),
            mark: Some(mark(place.number)),
            cautions: said_before(desk, &place.step.cautions, &place.step.movements),
            words,
            remark: remark(desk.language(), &place),
            answers,
        }));
    }
    blocks
}

/// What is asked, or what is to be put right with the name of its device.
fn asked(desk: &Desk<'_>, step: &Step) -> String {
    let remedy = if let ToDo::Remedy(remedy) = step.to_do { desk.machine().remedies.get(remedy) } else { None };
    match remedy {
        Some(row) => remedy_words(desk.machine(), row, desk.language()),
        None => desk.words(&step.words, &step.key).to_owned(),
    }
}

fn mark(number: usize) -> String {
    format!("tree-{number}")
}

fn remark(language: Language, place: &Place<'_>) -> String {
    let mut remark = minutes(place.step.minutes, language);
    if place.step.who != Who::Operator {
        remark.push_str(", ");
        remark.push_str(&ONLY.fill(language, &[who(place.step.who, language)]));
    }
    format!("{remark}; {}", percent(place.share))
}

/// How a way ends, and what it probably is.
fn ending(desk: &Desk<'_>, leaf: &Leaf) -> Vec<Span> {
    let language = desk.language();
    let label = match leaf.end {
        End::Runs => RUNS,
        End::Visit => VISIT,
        End::Remedies if leaf.remedies.len() == 1 => REMEDY,
        End::Remedies => REMEDIES,
        End::LastResort => LAST_RESORT,
        End::Rare => RARE,
    };
    vec![Span::plain(label.fill(language, &[&causes(desk, leaf)]) + ".")]
}

/// What is done in turn where a way ends.
fn remedies(desk: &Desk<'_>, leaf: &Leaf, marks: &mut Marks) -> Vec<Vec<Span>> {
    if !matches!(leaf.end, End::Visit | End::Remedies) {
        return Vec::new();
    }
    let language = desk.language();
    let one = |remedy: &Remedy| {
        let key = remedy.key.strip_prefix("remedy:").unwrap_or(&remedy.key);
        let words = match desk.machine().remedies.rows().find(|row| row.key == key) {
            Some(row) => remedy_words(desk.machine(), row, language),
            None => desk.words(&remedy.words, &remedy.key).to_owned(),
        };
        let mut spans: Vec<Span> = marks.before(&remedy.cautions).into_iter().collect();
        spans.extend(can_move_in_short(desk, &remedy.movements).map(|moves| Span::strong(format!("!\u{a0}{moves} "))));
        spans.push(Span::plain(words.trim_end_matches('.')));
        spans.push(Span::faint(format!(" ({}, {})", who(remedy.who, language), percent(remedy.helps))));
        spans
    };
    leaf.remedies.iter().map(one).collect()
}

fn causes(desk: &Desk<'_>, leaf: &Leaf) -> String {
    let keys = leaf.deviations.iter().map(Option::as_deref).chain(std::iter::repeat(None));
    let told = leaf.causes.iter().zip(keys);
    let words: Vec<String> = told
        .map(|(tell, key)| format!("{} ({})", told_cause(desk, &tell.words, key), percent(tell.probability)))
        .collect();
    if words.is_empty() { UNKNOWN.of(desk.language()).to_owned() } else { words.join("; ") }
}
