//! The lamp chart: for each step, which lamps must be lit, which dark, and which may change; then what each
//! step waits for and how long it may last.

use std::collections::{BTreeMap, BTreeSet};

use diagnose::lamp_chart::{Shown, stretches, ways};
use diagnose::panel::Panel;
use machine::id::{Id, RoutineId, StepId};
use machine::model::{LampKind, PointUse};
use sim::{Limits, play};

use crate::desk::Desk;
use crate::document::{Block, Column, Sheet, Span, Table};
use crate::drawing::{Anchor, Drawing};
use crate::font;
use crate::language::Label;
use crate::page::PageSize;
use crate::phrase;

const TITLE: Label = Label::new("Lamp chart", "Lampenplan", "Tabla de lámparas");
const ABOUT: Label = Label::new(
    "Which lamps go with which step, on a healthy machine. Full: lit all the time; point: dark all the time; wave: may \
     change within the step. Spare lamps are left out.",
    "Welche Lampen zu welchem Schritt gehören, bei fehlerfreier Maschine. Voll: leuchtet immer; Punkt: immer dunkel; Welle: kann \
     sich im Schritt ändern. Freie Lampen sind weggelassen.",
    "Qué lámparas corresponden a cada etapa en una máquina en buen estado. Llena: siempre encendida; punto: siempre apagada; \
     onda: puede cambiar dentro de la etapa. Las lámparas libres no figuran.",
);
const WAITS: Label = Label::new("What each step waits for", "Worauf jeder Schritt wartet", "Qué espera cada etapa");
const STEP: Label = Label::new("Step", "Schritt", "Etapa");
const MEANS: Label = Label::new("What happens", "Was geschieht", "Qué ocurre");
const FOR: Label = Label::new("Waits for", "Wartet auf", "Espera");
const TIME_OUT: Label = Label::new("At most", "Höchstens", "Como máximo");
const NEVER: Label =
    Label::new("Only when something is wrong: {}.", "Nur wenn etwas nicht stimmt: {}.", "Solo cuando algo va mal: {}.");
const PASSED: Label = Label::new("Passed through at once: {}.", "Sofort durchlaufen: {}.", "Se pasa sin demora: {}.");
const CHART: Label = Label::new("Chart {}", "Ablauf {}", "Diagrama {}");

/// The sign of a lamp that may change within a step.
const MAY_CHANGE: &str = "~";
const SIGN: f64 = 12.0;

/// Size of letters, height of a row, width of a column.
const TEXT: f64 = 8.0;
const ROW: f64 = 12.0;
const LEAST_COLUMN: f64 = 11.0;
const MOST_COLUMN: f64 = 17.0;
/// What the lines below the title and a heading take.
const LEGEND: f64 = 36.0;

/// How the lamps are in each step, over all routines of the file.
type Rows = BTreeMap<StepId, Vec<Shown>>;

/// The sheet.
pub(crate) fn lamp_chart(desk: &Desk<'_>, size: PageSize) -> Sheet {
    let language = desk.language();
    let machine = desk.machine();
    let (rows, passed) = rows(desk);
    let mut blocks = Vec::new();
    for (id, chart) in machine.charts.iter() {
        let steps: Vec<StepId> = machine.steps.ids().filter(|step| machine.chart_of(*step) == id).collect();
        let seen: Vec<StepId> = steps.iter().copied().filter(|step| rows.contains_key(step)).collect();
        if machine.charts.len() > 1 {
            blocks.push(Block::Heading(CHART.fill(language, &[&chart.name])));
        }
        blocks.extend(drawings(desk, &rows, &seen, size).into_iter().map(Block::Drawing));
        let unseen = |passing: bool| -> Vec<&str> {
            let unseen = steps.iter().filter(|step| !rows.contains_key(step) && passed.contains(step) == passing);
            unseen.map(|step| machine.steps[*step].name.as_str()).collect()
        };
        for (label, names) in [(PASSED, unseen(true)), (NEVER, unseen(false))] {
            if !names.is_empty() {
                blocks.push(Block::Text(vec![Span::faint(label.fill(language, &[&names.join(", ")]))]));
            }
        }
    }
    blocks.push(Block::Heading(WAITS.of(language).to_owned()));
    blocks.push(Block::Table(waits(desk)));
    Sheet {
        name: "lamp-chart".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: false,
        landscape: false,
        blocks,
    }
}

/// The rows, and the steps that are only passed through.
fn rows(desk: &Desk<'_>) -> (Rows, BTreeSet<StepId>) {
    let machine = desk.machine();
    let nominal = desk.nominal();
    let mut rows = Rows::new();
    let mut passed = BTreeSet::new();
    for routine in machine.routines.ids() {
        let played;
        let playback = if routine == RoutineId::new(0) {
            &nominal.playback
        } else {
            played = play(machine, &nominal.plant, routine, &[], Limits::default(), None);
            &played
        };
        passed.extend(playback.instants.iter().flat_map(|instant| &instant.passed));
        for stretch in stretches(machine, &nominal.plant, &nominal.panel, &[], playback) {
            for step in &stretch.active {
                match rows.get_mut(step) {
                    None => _ = rows.insert(*step, stretch.lamps.clone()),
                    Some(known) => {
                        for (lamp, now) in known.iter_mut().zip(&stretch.lamps) {
                            if lamp != now {
                                *lamp = Shown::Changes;
                            }
                        }
                    }
                }
            }
        }
    }
    (rows, passed)
}

/// Lamps that say something: those of points in use.
fn in_use(desk: &Desk<'_>, panel: &Panel) -> Vec<usize> {
    let machine = desk.machine();
    let used = |lamp: &usize| match panel.kind(*lamp) {
        LampKind::Input(input) => machine.inputs[*input].usage == PointUse::Used,
        LampKind::Output(output) => machine.outputs[*output].usage == PointUse::Used,
        LampKind::Status(_) => true,
        LampKind::Unused => false,
    };
    (0..panel.len()).filter(used).collect()
}

/// As many drawings as the lamps and the steps need.
fn drawings(desk: &Desk<'_>, rows: &Rows, steps: &[StepId], size: PageSize) -> Vec<Drawing> {
    let panel = &desk.nominal().panel;
    let lamps = in_use(desk, panel);
    let name = |step: &StepId| desk.machine().steps[*step].name.as_str();
    let names = steps.iter().map(|step| font::width(name(step), TEXT, true)).fold(30.0, f64::max) + 8.0;
    let labels = lamps.iter().map(|lamp| font::width(panel.label(*lamp), TEXT, false)).fold(10.0, f64::max) + 6.0;
    let room = size.room_across() - names;
    let parts = (lamps.len() as f64 * LEAST_COLUMN / room).ceil().max(1.0);
    let each = (lamps.len() as f64 / parts).ceil().max(1.0) as usize;
    let column = (room / each as f64).min(MOST_COLUMN);
    let most = ((size.room_down() - LEGEND - labels) / ROW).floor().max(1.0) as usize;
    let mut drawings = Vec::new();
    for steps in steps.chunks(most) {
        for lamps in lamps.chunks(each) {
            let width = names + column * lamps.len() as f64;
            let mut drawing = Drawing::new(TITLE.of(desk.language()), width, labels + ROW * steps.len() as f64);
            head(&mut drawing, panel, lamps, names, labels, column);
            for (index, step) in steps.iter().enumerate() {
                let y = labels + ROW * index as f64;
                drawing.text(0.0, y + 0.72 * ROW, TEXT, true, Anchor::Start, name(step));
                for (at, lamp) in lamps.iter().enumerate() {
                    let shown = rows.get(step).and_then(|row| row.get(*lamp)).copied().unwrap_or(Shown::Changes);
                    cell(&mut drawing, names + column * (at as f64 + 0.5), y + ROW / 2.0, shown);
                }
                drawing.line(&[(0.0, y + ROW), (width, y + ROW)], 0.25);
            }
            drawings.push(drawing);
        }
    }
    drawings
}

fn head(drawing: &mut Drawing, panel: &Panel, lamps: &[usize], names: f64, labels: f64, column: f64) {
    drawing.line(&[(0.0, labels), (drawing.width, labels)], 0.8);
    for (at, lamp) in lamps.iter().enumerate() {
        let middle = names + column * (at as f64 + 0.5);
        drawing.turned(middle + 0.27 * TEXT, labels - 3.0, TEXT, false, Anchor::Start, panel.label(*lamp));
        // The eye finds its column again by a line before every fourth lamp.
        if at % 4 == 0 {
            let x = names + column * at as f64;
            drawing.line(&[(x, 0.0), (x, drawing.height)], if at % 8 == 0 { 0.5 } else { 0.25 });
        }
    }
}

fn cell(drawing: &mut Drawing, x: f64, y: f64, shown: Shown) {
    const RADIUS: f64 = 3.4;
    match shown {
        Shown::Lit => drawing.circle(x, y, RADIUS, 0.0, Some(0.0)),
        Shown::Dark => drawing.circle(x, y, 0.7, 0.0, Some(0.0)),
        // No half disk: that is a lamp that flickers, on the sheet of the lamps.
        Shown::Changes => drawing.text(x, y + 0.3 * SIGN, SIGN, true, Anchor::Middle, MAY_CHANGE),
    }
}

fn waits(desk: &Desk<'_>) -> Table {
    let language = desk.language();
    let machine = desk.machine();
    let rows = machine.steps.iter().map(|(id, step)| {
        let mut needs = Vec::new();
        for way in ways(machine, id) {
            if !needs.is_empty() {
                needs.push(Span::plain("; "));
            }
            let to: Vec<&str> = way.to.iter().map(|step| machine.steps[*step].name.as_str()).collect();
            needs.push(Span::strong(format!("→ {}: ", to.join(" ‖ "))));
            let parts: Vec<String> = way.needs.iter().map(|part| phrase::condition(machine, part, language)).collect();
            needs.push(Span::plain(parts.join(" · ")));
        }
        let time_out =
            step.time_out.as_ref().map(|one| language.duration(one.after_ms)).unwrap_or_else(|| "–".to_owned());
        vec![
            vec![Span::strong(machine.step_name(id))],
            vec![Span::plain(desk.words(&step.words, ""))],
            needs,
            vec![Span::plain(time_out)],
        ]
    });
    Table {
        rows: rows.collect(),
        columns: vec![
            Column::narrow(STEP.of(language)),
            Column::wide(MEANS.of(language), 3),
            Column::wide(FOR.of(language), 6),
            Column::narrow(TIME_OUT.of(language)),
        ],
        small: true,
    }
}
