//! The lamp sheet, one page for the cabinet door: what each lamp means, where its device is, how it
//! is at rest, and what start needs.

use diagnose::evidence::{LampPlace, LampState};
use machine::Condition;
use machine::model::{LampKind, PointUse, ProgramFact, StatusMeaning};
use sim::Situation;

use crate::desk::Desk;
use crate::document::{Block, Cell, Column, Sheet, Span, Table};
use crate::language::Label;
use crate::phrase;

pub(super) const TITLE: Label = Label::new("Lamp sheet", "Lampenblatt", "Hoja de lámparas");
const ABOUT: Label = Label::new(
    "What each lamp of the controller means. ● lit, ○ dark, ◐ flickers or blinks.",
    "Was jede Lampe der Steuerung bedeutet. ● leuchtet, ○ dunkel, ◐ flackert oder blinkt.",
    "Qué significa cada lámpara del autómata. ● encendida, ○ apagada, ◐ parpadea.",
);
const LAMP: Label = Label::new("Lamp", "Lampe", "Lámpara");
const TAG: Label = Label::new("Tag", "Kennz.", "Identif.");
const MEANS: Label = Label::new("Lit means", "Leuchtet heißt", "Encendida significa");
const WHERE: Label = Label::new("Where", "Wo", "Dónde");
const OWN_LED: Label = Label::new("Own LED", "Eigene LED", "LED propio");
const IDLE: Label = Label::new("After power-on", "Nach dem Einschalten", "Tras conectar");
const READY: Label = Label::new("Ready for start", "Startbereit", "Lista para marcha");
const YES: Label = Label::new("yes", "ja", "sí");
const SPARE: Label = Label::new("spare: always dark", "frei: immer dunkel", "libre: siempre apagada");
const OUT_OF_USE: Label =
    Label::new("out of use: says nothing", "außer Betrieb: sagt nichts", "fuera de uso: no indica nada");
const POWERED: Label =
    Label::new("the controller has power", "die Steuerung hat Spannung", "el autómata tiene tensión");
const RUNNING: Label = Label::new("the program runs", "das Programm läuft", "el programa está en marcha");
const ERROR: Label = Label::new(
    "the controller reports an error of its own",
    "die Steuerung meldet einen eigenen Fehler",
    "el autómata indica un error propio",
);
const START: Label = Label::new("What start needs: {}", "Was der Start braucht: {}", "Qué necesita la marcha: {}");
const MUST: Label = Label::new("Must be", "Muss sein", "Debe estar");
const MEANING: Label = Label::new("Because it says", "Denn sie sagt", "Porque indica");
const NOT: Label = Label::new("not: {}", "nicht: {}", "no: {}");

/// Lists of what start needs that stand side by side.
const BESIDE: usize = 3;

/// The sheet.
pub(crate) fn lamp_sheet(desk: &Desk<'_>) -> Sheet {
    let language = desk.language();
    let mut blocks = vec![Block::Table(lamps(desk))];
    blocks.extend(permissives(desk).chunks(BESIDE).map(|lists| Block::Beside(lists.to_vec())));
    Sheet {
        name: "lamps".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: true,
        landscape: false,
        blocks,
    }
}

/// How a lamp is in a situation, as a sign.
pub(super) fn sign(state: LampState) -> &'static str {
    match state {
        LampState::Lit => "●",
        LampState::Dark => "○",
        LampState::Flickers => "◐",
    }
}

fn lamps(desk: &Desk<'_>) -> Table {
    let language = desk.language();
    let head = |label: Label| label.of(language);
    let nominal = desk.nominal();
    let shown = |situation: Option<&Situation>| -> Vec<&'static str> {
        let Some(situation) = situation else { return Vec::new() };
        let truth = nominal.panel.truth(&nominal.plant, situation);
        (0..nominal.panel.len()).map(|lamp| sign(truth.state(lamp))).collect()
    };
    let (idle, ready) = (shown(nominal.idle()), shown(nominal.ready(desk.machine())));
    let rows = LampPlace::all(desk.machine())
        .enumerate()
        .map(|(number, (_, lamp))| {
            let at = |signs: &[&'static str]| vec![Span::plain(signs.get(number).copied().unwrap_or_default())];
            let [tag, means, place, led] = meaning(desk, &lamp.kind);
            vec![vec![Span::strong(&lamp.label)], tag, means, place, led, at(&idle), at(&ready)]
        })
        .collect();
    Table {
        columns: vec![
            Column::narrow(head(LAMP)),
            Column::narrow(head(TAG)),
            Column::wide(head(MEANS), 5),
            Column::wide(head(WHERE), 4),
            Column::mark(head(OWN_LED)),
            Column::mark(head(IDLE)),
            Column::mark(head(READY)),
        ],
        rows,
        small: true,
    }
    .without_empty_columns()
}

/// Tag, what lit means, where, own LED.
fn meaning(desk: &Desk<'_>, kind: &LampKind) -> [Cell; 4] {
    let language = desk.language();
    let machine = desk.machine();
    let none = Cell::new;
    let faint = |label: Label| vec![Span::faint(label.of(language))];
    match kind {
        LampKind::Unused => [none(), faint(SPARE), none(), none()],
        LampKind::Input(input) => {
            let row = &machine.inputs[*input];
            let words = match row.usage {
                PointUse::Used => vec![Span::plain(desk.words(&row.words, &row.tag))],
                PointUse::Spare => return [none(), faint(SPARE), none(), none()],
                PointUse::OutOfUse => faint(OUT_OF_USE),
            };
            let led =
                if row.own_led && row.usage == PointUse::Used { vec![Span::plain(YES.of(language))] } else { none() };
            [vec![Span::plain(&row.tag)], words, vec![Span::plain(desk.words(&row.place, ""))], led]
        }
        LampKind::Output(output) => {
            let row = &machine.outputs[*output];
            let words = match row.usage {
                PointUse::Used => vec![Span::plain(desk.words(&row.words, &row.tag))],
                PointUse::Spare => return [none(), faint(SPARE), none(), none()],
                PointUse::OutOfUse => faint(OUT_OF_USE),
            };
            [vec![Span::plain(&row.tag)], words, vec![Span::plain(desk.words(&row.place, ""))], none()]
        }
        LampKind::Status(meaning) => {
            let words = match meaning {
                StatusMeaning::Powered => POWERED.of(language).to_owned(),
                StatusMeaning::Running => RUNNING.of(language).to_owned(),
                StatusMeaning::Error => ERROR.of(language).to_owned(),
                StatusMeaning::Program(when) => phrase::condition(machine, when, language),
            };
            [none(), vec![Span::plain(words)], none(), none()]
        }
    }
}

/// What the start of each chart needs, part by part.
fn permissives(desk: &Desk<'_>) -> Vec<Vec<Block>> {
    let machine = desk.machine();
    let language = desk.language();
    let mut blocks = Vec::new();
    for transition in machine.transitions.rows().filter(|row| row.start) {
        let chart = &machine.charts[transition.chart];
        let heading = Block::Heading(START.fill(language, &[desk.words(&chart.words, &chart.name)]));
        let rows = transition.when.conjuncts().into_iter().map(|part| permissive(desk, part));
        let table = Block::Table(Table {
            rows: rows.collect(),
            columns: vec![
                Column::narrow(LAMP.of(language)),
                Column::mark(MUST.of(language)),
                Column::wide(MEANING.of(language), 1),
            ],
            small: true,
        });
        blocks.push(vec![heading, table]);
    }
    blocks
}

/// One thing that start needs: the lamp that shows it, how that must be, and what it says.
fn permissive(desk: &Desk<'_>, part: &Condition<ProgramFact>) -> Vec<Cell> {
    let machine = desk.machine();
    let (fact, wanted) = match part {
        Condition::Not(inner) => (&**inner, false),
        other => (other, true),
    };
    let (input, sign) = match fact {
        Condition::Fact(ProgramFact::Input(input)) => (*input, if wanted { "●" } else { "○" }),
        Condition::Fact(ProgramFact::Rises(edge)) if wanted => match &machine.edges[*edge] {
            Condition::Fact(ProgramFact::Input(input)) => (*input, "○ → ●"),
            _ => return vec![Cell::new(), Cell::new(), in_words(desk, part)],
        },
        _ => return vec![Cell::new(), Cell::new(), in_words(desk, part)],
    };
    let row = &machine.inputs[input];
    let words = desk.words(&row.words, &row.tag);
    let words = if wanted { words.to_owned() } else { NOT.fill(desk.language(), &[words]) };
    vec![vec![Span::strong(&row.label)], vec![Span::plain(sign)], vec![Span::plain(words)]]
}

fn in_words(desk: &Desk<'_>, part: &Condition<ProgramFact>) -> Cell {
    vec![Span::plain(phrase::condition(desk.machine(), part, desk.language()))]
}
