//! The timing diagram of the nominal cycle: what hands do, which steps are active, and which inputs and outputs
//! are on, from instant to instant. Times are not to scale: each stretch is as wide as it must be to be read,
//! a long one wider than a short one, with its moment written below.

use machine::id::StepId;
use machine::model::PointUse;
use sim::{Cause, Instant, Layout, Signal};

use crate::desk::Desk;
use crate::document::{Block, Sheet, Span};
use crate::drawing::{Anchor, Drawing};
use crate::font;
use crate::language::Label;
use crate::page::PageSize;

const TITLE: Label = Label::new("Timing diagram", "Zeitdiagramm", "Diagrama de tiempos");
const ABOUT: Label = Label::new(
    "The usual routine on a healthy machine: {}. Moments in seconds after power-on; widths are not to scale. Grey: step \
     active. High: lamp lit. Numbers: what hands do.",
    "Der übliche Ablauf bei fehlerfreier Maschine: {}. Zeitpunkte in Sekunden nach dem Einschalten; Breiten nicht \
     maßstäblich. Grau: Schritt aktiv. Hoch: Lampe leuchtet. Zahlen: was die Hand tut.",
    "La rutina habitual en una máquina en buen estado: {}. Instantes en segundos tras conectar; los anchos no están a escala. \
     Gris: etapa activa. Alto: lámpara encendida. Números: lo que hace la mano.",
);
const HANDS: Label = Label::new("by hand", "von Hand", "a mano");
const STEADY: Label = Label::new("Lit all the time: {}.", "Leuchten immer: {}.", "Siempre encendidas: {}.");
const DARK: Label = Label::new("Dark all the time: {}.", "Immer dunkel: {}.", "Siempre apagadas: {}.");
const CUT: Label = Label::new(
    "The run goes on; it is drawn up to {} s.",
    "Der Ablauf geht weiter; gezeichnet ist er bis {} s.",
    "La rutina sigue; se dibuja hasta {} s.",
);

/// Size of letters; least height of a row.
const TEXT: f64 = 7.0;
const ROW: f64 = 8.8;
/// Room for the moments below, and for the numbers of hands above.
const MOMENTS: f64 = 30.0;
const TOP: f64 = 12.0;
/// Columns at most; a machine that goes round would have no end of them.
const MOST_COLUMNS: usize = 260;

/// A stretch in which nothing changes.
struct Stretch<'i> {
    at_ms: u64,
    instant: &'i Instant,
    hands: Vec<usize>,
    width: f64,
}

/// What a row shows.
enum Trace {
    Step(StepId),
    Point(Signal, Option<machine::id::OutputId>),
}

struct Row {
    name: String,
    bold: bool,
    trace: Trace,
}

/// The sheet.
pub(crate) fn timing_diagram(desk: &Desk<'_>, size: PageSize) -> Sheet {
    let language = desk.language();
    let machine = desk.machine();
    let routine = machine.routines.rows().next();
    let name = routine.map_or("", |routine| desk.words(&routine.words, &routine.name));
    let nominal = desk.nominal();
    let (stretches, cut) = stretches(&nominal.playback.instants);
    let layout = nominal.plant.layout();
    let (moving, lit, dark) = rows(desk, &stretches, layout);
    // Many rows want the paper upright, long runs want it lying.
    let upright = drawings(desk, &stretches, &moving, layout, size);
    let lying = drawings(desk, &stretches, &moving, layout, size.across());
    let landscape = lying.len() <= upright.len();
    let drawn = if landscape { lying } else { upright };
    let mut blocks: Vec<Block> = drawn.into_iter().map(Block::Drawing).collect();
    let mut text = Vec::new();
    if let Some(end) = cut {
        text.push(Span::plain(CUT.fill(language, &[&language.numbers(&seconds(end))]) + " "));
    }
    for (label, list) in [(STEADY, lit), (DARK, dark)] {
        if !list.is_empty() {
            text.push(Span::plain(label.fill(language, &[&list.join(" ")]) + " "));
        }
    }
    let actions = routine.map_or(&[][..], |routine| routine.actions.as_slice());
    let hands: Vec<String> = (actions.iter().enumerate())
        .map(|(index, action)| format!("{} {}", index + 1, desk.words(&action.words, &action.short)))
        .collect();
    text.push(Span::strong(format!("{}: ", HANDS.of(language))));
    text.push(Span::plain(hands.join(" · ")));
    blocks.push(Block::Text(text));
    Sheet {
        name: "timing".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.fill(language, &[name]),
        one_page: false,
        landscape,
        blocks,
    }
}

/// The stretches, with the moment of the first that was left out.
fn stretches(instants: &[Instant]) -> (Vec<Stretch<'_>>, Option<u64>) {
    let mut list: Vec<Stretch<'_>> = Vec::new();
    for instant in instants {
        let hand = match instant.cause {
            Cause::Hand(number) => Some(number),
            _ => None,
        };
        match list.last_mut() {
            // What happens in no time is one instant to look at.
            Some(last) if last.at_ms == instant.at_ms && (hand.is_none() || last.hands.is_empty()) => {
                last.instant = instant;
                last.hands.extend(hand);
            }
            _ => {
                if list.len() >= MOST_COLUMNS {
                    return (widened(list), Some(instant.at_ms));
                }
                let hands = hand.into_iter().collect();
                list.push(Stretch { at_ms: instant.at_ms, instant, hands, width: 0.0 });
            }
        }
    }
    (widened(list), None)
}

/// Gives each stretch its width: more for more time, but never to scale.
fn widened(mut list: Vec<Stretch<'_>>) -> Vec<Stretch<'_>> {
    for index in 0..list.len() {
        let lasts = list.get(index + 1).map_or(1_000, |next| next.at_ms - list[index].at_ms);
        list[index].width = 8.0 + 4.0 * (1.0 + lasts as f64 / 100.0).log10();
    }
    list
}

/// Rows that change, labels of points that are lit all the time, and of those that are dark.
fn rows(desk: &Desk<'_>, stretches: &[Stretch<'_>], layout: &Layout) -> (Vec<Row>, Vec<String>, Vec<String>) {
    let machine = desk.machine();
    let ever = |signal: Signal, wanted: bool| stretches.iter().any(|one| one.instant.situation.on(signal) == wanted);
    let mut moving = Vec::new();
    // A chart that rests in its first step all the time has nothing to tell.
    let changes = |step: &StepId| ever(layout.step(*step), true) && ever(layout.step(*step), false);
    for step in machine.steps.ids().filter(changes) {
        moving.push(Row { name: machine.step_name(step), bold: true, trace: Trace::Step(step) });
    }
    let (mut lit, mut dark) = (Vec::new(), Vec::new());
    let mut point = |label: &str, words: &str, signal: Signal, output| match (ever(signal, true), ever(signal, false)) {
        (true, true) => {
            let name = format!("{label} {words}");
            moving.push(Row { name, bold: false, trace: Trace::Point(signal, output) });
        }
        (true, false) => lit.push(label.to_owned()),
        _ => dark.push(label.to_owned()),
    };
    for (id, row) in machine.inputs.iter().filter(|(_, row)| row.usage == PointUse::Used) {
        point(&row.label, desk.words(&row.words, &row.tag), layout.input(id), None);
    }
    for (id, row) in machine.outputs.iter().filter(|(_, row)| row.usage == PointUse::Used) {
        let label = row.label.as_deref().unwrap_or("–");
        point(label, desk.words(&row.words, &row.tag), layout.command(id), Some(id));
    }
    (moving, lit, dark)
}

/// As many drawings as rows and stretches need.
fn drawings(desk: &Desk<'_>, stretches: &[Stretch<'_>], rows: &[Row], layout: &Layout, size: PageSize) -> Vec<Drawing> {
    /// Widest name of a row.
    const NAMES: f64 = 185.0;
    /// What the lines below the title take.
    const LEGEND: f64 = 10.0;
    /// What the lines below the drawing take.
    const TEXTS: f64 = 44.0;
    /// A short run is drawn so much wider at most, and its rows so high.
    const WIDEST: f64 = 2.2;
    const TALLEST: f64 = 14.0;
    let names = rows.iter().map(|row| font::width(&row.name, TEXT, row.bold)).fold(40.0, f64::max).min(NAMES) + 6.0;
    let room_down = size.room_down() - LEGEND - TOP - MOMENTS - TEXTS;
    let most = (room_down / ROW).floor().max(1.0) as usize;
    // Parts of about the same height look better than one full page and one with two rows.
    let parts = rows.len().div_ceil(most).max(1);
    let each = rows.len().div_ceil(parts).max(1);
    let room = size.room_across() - names;
    let whole: f64 = stretches.iter().map(|one| one.width).sum();
    // Parts of about the same width, too, and as wide as there is room.
    let runs = (whole / room).ceil().max(1.0);
    let wider = (0.94 * room * runs / whole).clamp(1.0, WIDEST);
    let stretches: Vec<Stretch<'_>> =
        stretches.iter().map(|one| Stretch { width: one.width * wider, hands: one.hands.clone(), ..*one }).collect();
    let row = (room_down / each as f64).clamp(ROW, TALLEST);
    let mut drawings = Vec::new();
    for shown in columns(&stretches, room) {
        for rows in rows.chunks(each) {
            drawings.push(drawing(desk, &stretches[shown.clone()], rows, layout, (names, row)));
        }
    }
    drawings
}

/// Runs of stretches that fit side by side.
fn columns(stretches: &[Stretch<'_>], room: f64) -> Vec<std::ops::Range<usize>> {
    let mut runs = Vec::new();
    let (mut from, mut used) = (0, 0.0);
    for (index, stretch) in stretches.iter().enumerate() {
        if used + stretch.width > room && index > from {
            runs.push(from..index);
            (from, used) = (index, 0.0);
        }
        used += stretch.width;
    }
    if from < stretches.len() {
        runs.push(from..stretches.len());
    }
    runs
}

/// One drawing; `names` is the room for the names of rows, `tall` the height of a row.
fn drawing(
    desk: &Desk<'_>,
    stretches: &[Stretch<'_>],
    rows: &[Row],
    layout: &Layout,
    (names, tall): (f64, f64),
) -> Drawing {
    let bottom = TOP + tall * rows.len() as f64;
    let width = names + stretches.iter().map(|one| one.width).sum::<f64>();
    let mut drawing = Drawing::new(TITLE.of(desk.language()), width, bottom + MOMENTS);
    drawing.text(0.0, TOP - 4.0, TEXT, true, Anchor::Start, HANDS.of(desk.language()));
    let mut x = names;
    let edges: Vec<f64> = std::iter::once(names)
        .chain(stretches.iter().map(|one| {
            x += one.width;
            x
        }))
        .collect();
    for (stretch, x) in stretches.iter().zip(&edges) {
        if stretch.hands.is_empty() {
            drawing.dotted(&[(*x, TOP - 2.0), (*x, bottom)], 0.25);
        } else {
            drawing.line(&[(*x, TOP - 8.0), (*x, bottom)], 0.5);
        }
        if let Some(hand) = stretch.hands.first() {
            drawing.text(x + 1.0, TOP - 4.0, TEXT, true, Anchor::Start, (hand + 1).to_string());
        }
        let moment = desk.language().numbers(&seconds(stretch.at_ms));
        drawing.turned(x + 2.4, bottom + 3.0, 6.5, false, Anchor::End, moment);
    }
    for (index, row) in rows.iter().enumerate() {
        let y = TOP + tall * index as f64;
        let name = font::lines(&row.name, TEXT, row.bold, names - 6.0).into_iter().next().unwrap_or_default();
        drawing.text(0.0, y + tall / 2.0 + 0.26 * TEXT, TEXT, row.bold, Anchor::Start, name);
        drawing.line(&[(0.0, y + tall), (width, y + tall)], 0.2);
        trace(&mut drawing, stretches, &edges, row, layout, (y, tall));
    }
    drawing
}

fn trace(
    drawing: &mut Drawing,
    stretches: &[Stretch<'_>],
    edges: &[f64],
    row: &Row,
    layout: &Layout,
    (y, tall): (f64, f64),
) {
    let (high, low) = (y + 0.2 * tall, y + 0.8 * tall);
    match row.trace {
        Trace::Step(step) => {
            for (stretch, x) in stretches.iter().zip(edges) {
                if stretch.instant.situation.on(layout.step(step)) {
                    drawing.frame(*x, high, stretch.width, low - high, 0.0, Some(0.55));
                } else if stretch.instant.passed.contains(&step) {
                    // Passed through in no time.
                    drawing.line(&[(*x, high), (*x, low)], 1.6);
                }
            }
        }
        Trace::Point(signal, output) => {
            let mut points: Vec<(f64, f64)> = Vec::new();
            for (stretch, x) in stretches.iter().zip(edges) {
                let on = stretch.instant.situation.on(signal);
                let level = if on { high } else { low };
                points.extend([(*x, level), (x + stretch.width, level)]);
                if on {
                    let blinks = output.is_some_and(|output| stretch.instant.situation.blinking.contains(&output));
                    let grey = if blinks { 0.7 } else { 0.88 };
                    drawing.frame(*x, high, stretch.width, low - high, 0.0, Some(grey));
                }
            }
            drawing.line(&points, 0.9);
        }
    }
}

/// A moment in seconds, as short as it may be.
fn seconds(ms: u64) -> String {
    match ms % 1_000 {
        0 => format!("{}", ms / 1_000),
        rest if rest % 100 == 0 => format!("{}.{}", ms / 1_000, rest / 100),
        rest => format!("{}.{:02}", ms / 1_000, rest / 10),
    }
}
