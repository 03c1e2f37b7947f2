//! The chart drawing by IEC 60848: steps as boxes (double for an initial step), transitions as bars with
//! their conditions, actions beside the steps, alternatives on single lines, parallel branches on double
//! lines, and arrows with a name to whatever is drawn elsewhere.

mod block;
mod graph;
mod layout;
mod pack;

use machine::Condition;
use machine::id::{ChartId, StepId};
use machine::model::{Action, ActionKind, Effect, Timing};

use self::graph::{Bar, Graph, StepBox};
use crate::desk::Desk;
use crate::document::{Block, Column, Sheet, Span, Table};
use crate::font;
use crate::language::Label;
use crate::page::PageSize;
use crate::phrase;

const TITLE: Label = Label::new("Chart drawing", "Ablaufplan", "Diagrama funcional");
const ABOUT: Label = Label::new(
    "Drawn by IEC 60848. Beside a transition: · and, + or, / not, ↑ becomes true, ↓ becomes false, 3 s/fill: 3 s in \
     step fill. “→ name” goes on at that step. Actions: := 1 stays on, := 0 goes off, otherwise on during the step.",
    "Gezeichnet nach IEC 60848. Neben einer Transition: · und, + oder, / nicht, ↑ wird wahr, ↓ wird falsch, 3 s/fill: \
     3 s im Schritt fill. „→ Name“ geht bei diesem Schritt weiter. Aktionen: := 1 bleibt ein, := 0 geht aus, sonst ein \
     während des Schritts.",
    "Dibujado según IEC 60848. Junto a una transición: · y, + o, / no, ↑ pasa a verdadero, ↓ pasa a falso, 3 s/fill: 3 s \
     en la etapa fill. «→ nombre» sigue en esa etapa. Acciones: := 1 queda conectado, := 0 se desconecta, si no, \
     conectado durante la etapa.",
);
const FIRST: Label = Label::new("first {}", "erste {}", "primeros {}");
const AFTER: Label = Label::new("after {}", "nach {}", "tras {}");
const BLINKS: Label = Label::new("blinks", "blinkt", "parpadea");
const WHILE: Label = Label::new("while {}", "solange {}", "mientras {}");
const STOPS: Label =
    Label::new("What stops {} on the way", "Was „{}“ unterwegs anhält", "Qué detiene «{}» por el camino");
const WATCHED: Label = Label::new("Watched", "Überwacht", "Vigilado");
const NEEDS: Label = Label::new("Needs", "Braucht", "Necesita");
const STEPS: Label = Label::new("In steps", "In den Schritten", "En las etapas");
const EFFECT: Label = Label::new("If lost", "Wenn nicht", "Si falta");
const NOTHING: Label = Label::new("nothing", "nichts", "nada");
const HOLDS: Label = Label::new(
    "stays in its step, outputs on",
    "bleibt im Schritt, Ausgänge ein",
    "queda en su etapa, salidas conectadas",
);
const HOLDS_OFF: Label = Label::new(
    "stays in its step, outputs off",
    "bleibt im Schritt, Ausgänge aus",
    "queda en su etapa, salidas desconectadas",
);
const GOES_TO: Label = Label::new("goes to {}", "geht zu {}", "va a {}");
const TIME_OUT: Label = Label::new("time-out", "Zeitüberwachung", "tiempo máximo");

/// What the lines below the title and the heading of the chart take, points.
const LEGEND: f64 = 50.0;

/// The sheet.
pub(crate) fn chart_drawing(desk: &Desk<'_>, size: PageSize) -> Sheet {
    let language = desk.language();
    let machine = desk.machine();
    let (mut blocks, mut later) = (Vec::new(), Vec::new());
    for (index, (id, chart)) in machine.charts.iter().enumerate() {
        let words = desk.words(&chart.words, &chart.name);
        if index > 0 {
            blocks.push(Block::NewPage);
        }
        let title = if words == chart.name { words.to_owned() } else { format!("{}: {words}", chart.name) };
        blocks.push(Block::Heading(title.clone()));
        let (wide, tall) = (size.room_across(), size.room_down() - LEGEND);
        let stops = stops(desk, id);
        let graph = graph(desk, id);
        let drawn = |tall: f64| {
            pack::pages(&layout::pieces(&graph, wide - pack::MARGIN, tall - pack::ARROWS), &title, wide, tall)
        };
        let mut pages = drawn(tall);
        // Where it takes no more pages, the table of what stops the chart gets room below the drawing;
        // else it comes behind all charts.
        let shorter = tall - stops.as_ref().map_or(0.0, |table| height_of(table, wide));
        let below = stops.is_some() && shorter > tall / 2.0 && {
            let other = drawn(shorter);
            let fits = other.len() <= pages.len();
            if fits {
                pages = other;
            }
            fits
        };
        for (page, mut drawing) in pages.into_iter().enumerate() {
            if page > 0 {
                blocks.push(Block::NewPage);
            }
            drawing.width = drawing.width.max(1.0);
            blocks.push(Block::Drawing(drawing));
        }
        if let Some(table) = stops {
            let list = if below { &mut blocks } else { &mut later };
            list.extend([Block::Heading(STOPS.fill(language, &[&chart.name])), Block::Table(table)]);
        }
    }
    blocks.append(&mut later);
    Sheet {
        name: "chart".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: false,
        landscape: false,
        blocks,
    }
}

/// A chart of the machine as the layout needs it.
fn graph(desk: &Desk<'_>, chart: ChartId) -> Graph {
    let machine = desk.machine();
    let ids: Vec<StepId> = machine.steps.ids().filter(|step| machine.chart_of(*step) == chart).collect();
    let at = |steps: &[StepId]| -> Vec<usize> {
        steps.iter().filter_map(|step| ids.iter().position(|known| known == step)).collect()
    };
    let steps = ids
        .iter()
        .map(|id| {
            let step = &machine.steps[*id];
            StepBox {
                name: step.name.clone(),
                initial: machine.charts[chart].initial.contains(id),
                actions: step.actions.iter().map(|action| action_words(desk, action, chart)).collect(),
            }
        })
        .collect();
    let own = machine.transitions.rows().filter(|row| row.chart == chart);
    let bars = own
        .map(|row| {
            let condition = phrase::short(machine, &row.when, chart, desk.language());
            Bar { from: at(&row.from), to: at(&row.to), condition }
        })
        .collect();
    Graph { steps, bars }
}

/// What an action does, as it stands in its box.
fn action_words(desk: &Desk<'_>, action: &Action, chart: ChartId) -> String {
    let machine = desk.machine();
    let language = desk.language();
    let output = |id| {
        let row = &machine.outputs[id];
        let label = row.label.as_deref().unwrap_or_default();
        (label.to_owned(), desk.words(&row.words, &row.tag).to_owned())
    };
    let named = |(label, words): (String, String), value: &str| match label.as_str() {
        "" => format!("{words}{value}"),
        label => format!("{label}{value} {words}"),
    };
    let mut text = match action.kind {
        ActionKind::Drive(id) => named(output(id), ""),
        ActionKind::Set(id) => named(output(id), " := 1"),
        ActionKind::Reset(id) => named(output(id), " := 0"),
        ActionKind::SetLatch(id) => format!("{} := 1", machine.latches[id].name),
        ActionKind::ResetLatch(id) => format!("{} := 0", machine.latches[id].name),
        ActionKind::Count(id) => format!("{0} := {0} + 1", machine.counters[id].name),
        ActionKind::Clear(id) => format!("{} := 0", machine.counters[id].name),
    };
    let timing = match action.timing {
        Timing::WhileActive => None,
        Timing::After(ms) => Some(AFTER.fill(language, &[&language.duration(ms)])),
        Timing::For(ms) => Some(FIRST.fill(language, &[&language.duration(ms)])),
        Timing::Blink(..) => Some(BLINKS.of(language).to_owned()),
    };
    let when = (action.when != Condition::Always(true))
        .then(|| WHILE.fill(language, &[&phrase::short(machine, &action.when, chart, language)]));
    for more in [timing, when].into_iter().flatten() {
        text.push_str(&format!(" ({more})"));
    }
    text
}

/// Interlocks and time-outs of a chart, which are no transitions.
fn stops(desk: &Desk<'_>, chart: ChartId) -> Option<Table> {
    let machine = desk.machine();
    let language = desk.language();
    let names =
        |steps: &[StepId]| steps.iter().map(|step| machine.steps[*step].name.as_str()).collect::<Vec<_>>().join(", ");
    let effect = |effect: &Effect| match effect {
        Effect::Nothing => NOTHING.of(language).to_owned(),
        Effect::Hold { outputs_kept: true } => HOLDS.of(language).to_owned(),
        Effect::Hold { outputs_kept: false } => HOLDS_OFF.of(language).to_owned(),
        Effect::GoTo(steps) => GOES_TO.fill(language, &[&names(steps)]),
    };
    let cell = |text: String| vec![Span::plain(text)];
    let mut rows = Vec::new();
    for row in machine.interlocks.rows().filter(|row| row.chart == chart) {
        rows.push(vec![
            cell(desk.words(&row.words, "").to_owned()),
            cell(phrase::short(machine, &row.needs, chart, language)),
            cell(names(&row.in_steps)),
            cell(effect(&row.effect)),
        ]);
    }
    // Time-outs with the same effect are one row.
    let mut limits: Vec<(String, Vec<String>)> = Vec::new();
    for row in machine.steps.rows().filter(|row| row.chart == chart) {
        let Some(time_out) = &row.time_out else { continue };
        let (what, limit) =
            (effect(&time_out.effect), format!("{} ≤ {}", row.name, language.duration(time_out.after_ms)));
        match limits.iter_mut().find(|(known, _)| *known == what) {
            Some((_, list)) => list.push(limit),
            None => limits.push((what, vec![limit])),
        }
    }
    for (what, list) in limits {
        rows.push(vec![
            cell(TIME_OUT.of(language).to_owned()),
            cell("–".to_owned()),
            cell(list.join(", ")),
            cell(what),
        ]);
    }
    if rows.is_empty() {
        return None;
    }
    let columns = vec![
        Column::wide(WATCHED.of(language), 3),
        Column::wide(NEEDS.of(language), 2),
        Column::wide(STEPS.of(language), 4),
        Column::wide(EFFECT.of(language), 3),
    ];
    Some(Table { columns, rows, small: true })
}

/// About how high a small table with its heading is in so much room, points.
fn height_of(table: &Table, room: f64) -> f64 {
    const SIZE: f64 = 8.4;
    const LINE: f64 = 10.5;
    let shares: f64 = table.columns.iter().map(|column| f64::from(column.share.max(1))).sum();
    let lines = |row: &Vec<Vec<Span>>| {
        let cells = row.iter().zip(&table.columns).map(|(cell, column)| {
            let text: String = cell.iter().map(|span| span.text.as_str()).collect();
            let wide = room * f64::from(column.share.max(1)) / shares - 8.0;
            font::lines(&text, SIZE, false, wide).len().max(1)
        });
        cells.max().unwrap_or(1)
    };
    let rows: f64 = table.rows.iter().map(|row| lines(row) as f64 * LINE + 6.0).sum();
    rows + 60.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::{Bounds, Drawing};
    use proptest::prelude::*;

    /// Charts with steps that lead on, branch, part, come together, and jump anywhere.
    fn graphs() -> impl Strategy<Value = Graph> {
        let name = "[a-z]{1,8}( [a-z]{1,8})?";
        let text = "(X[0-9]{1,2}( [·+] /?X[0-9]{1,2}){0,6})?";
        (2_usize..22).prop_flat_map(move |count| {
            let steps = prop::collection::vec((name, prop::collection::vec("[A-Za-z0-9 ]{1,40}", 0..3)), count);
            let bar = (
                prop_oneof![6 => prop::collection::vec(0..count, 1), 1 => prop::collection::vec(0..count, 2..4)],
                prop_oneof![6 => prop::collection::vec(0..count, 1), 1 => prop::collection::vec(0..count, 0..4)],
                text,
            );
            // A line of steps, so that it looks like a chart, and wild transitions on top.
            (steps, prop::collection::vec(text, count - 1), prop::collection::vec(bar, 0..12)).prop_map(
                |(steps, line, wild)| {
                    let mut bars: Vec<Bar> = line
                        .into_iter()
                        .enumerate()
                        .map(|(at, condition)| Bar { from: vec![at], to: vec![at + 1], condition })
                        .collect();
                    for (mut from, mut to, condition) in wild {
                        from.sort_unstable();
                        from.dedup();
                        to.sort_unstable();
                        to.dedup();
                        bars.push(Bar { from, to, condition });
                    }
                    let steps = steps.into_iter().enumerate();
                    let steps = steps
                        .map(|(at, (name, actions))| StepBox {
                            name: format!("{name} {at}"),
                            initial: at == 0,
                            actions,
                        })
                        .collect();
                    Graph { steps, bars }
                },
            )
        })
    }

    /// Orderly parallel branches of different lengths, nested and in a row, with alternatives within.
    fn orderly() -> impl Strategy<Value = Graph> {
        prop::collection::vec((prop::collection::vec(1_usize..4, 2..4), any::<bool>()), 1..4).prop_map(|groups| {
            let mut graph = Graph::default();
            let step = |graph: &mut Graph| {
                let at = graph.steps.len();
                graph.steps.push(StepBox { name: format!("step {at}"), initial: at == 0, actions: vec![] });
                at
            };
            let mut last = step(&mut graph);
            for (lengths, parallel) in groups {
                let mut ends = Vec::new();
                let mut begins = Vec::new();
                for length in lengths {
                    let first = step(&mut graph);
                    begins.push(first);
                    let mut at = first;
                    for _ in 1..length {
                        let next = step(&mut graph);
                        graph.bars.push(Bar { from: vec![at], to: vec![next], condition: format!("X{next}") });
                        at = next;
                    }
                    ends.push(at);
                }
                let after = step(&mut graph);
                if parallel {
                    graph.bars.push(Bar { from: vec![last], to: begins, condition: "X1".to_owned() });
                    graph.bars.push(Bar { from: ends, to: vec![after], condition: "1".to_owned() });
                } else {
                    for (begin, end) in begins.into_iter().zip(ends) {
                        graph.bars.push(Bar { from: vec![last], to: vec![begin], condition: format!("X{begin}") });
                        graph.bars.push(Bar { from: vec![end], to: vec![after], condition: format!("X{end}") });
                    }
                }
                last = after;
            }
            graph.bars.push(Bar { from: vec![last], to: vec![0], condition: "1".to_owned() });
            graph
        })
    }

    fn drawn(graph: &Graph) -> Vec<Drawing> {
        let size = PageSize::A4;
        let (wide, tall) = (size.room_across(), size.room_down());
        pack::pages(&layout::pieces(graph, wide - pack::MARGIN, tall - pack::ARROWS), "chart", wide, tall)
    }

    fn overlap(one: Bounds, other: Bounds) -> bool {
        one.0 + 0.05 < other.2 && other.0 + 0.05 < one.2 && one.1 + 0.05 < other.3 && other.1 + 0.05 < one.3
    }

    fn holds(graph: &Graph) -> Result<(), TestCaseError> {
        let size = PageSize::A4;
        let pages = drawn(graph);
        for page in &pages {
            prop_assert!(page.width <= size.room_across() + 0.1, "{} wide", page.width);
            prop_assert!(page.height <= size.room_down() + 0.1, "{} high", page.height);
            let texts: Vec<_> = page.texts().map(|text| (text.bounds(), &text.text)).collect();
            for (index, (one, text)) in texts.iter().enumerate() {
                prop_assert!(one.0 >= -0.1 && one.2 <= page.width + 0.1, "`{text}` sticks out: {one:?}");
                prop_assert!(one.1 >= -0.1 && one.3 <= page.height + 0.1, "`{text}` sticks out: {one:?}");
                for (other, beside) in &texts[index + 1..] {
                    prop_assert!(!overlap(*one, *other), "`{text}` and `{beside}` overlap: {one:?} {other:?}");
                }
            }
        }
        let blocks = layout::pieces(graph, size.room_across() - pack::MARGIN, size.room_down() - pack::ARROWS);
        let all: Vec<_> = blocks.iter().flatten().flat_map(|block| block.drawn.items.iter()).collect();
        let thick =
            |item: &&&crate::drawing::Item| matches!(item, crate::drawing::Item::Line { thick, .. } if *thick > 1.0);
        prop_assert_eq!(all.iter().filter(thick).count(), graph.bars.len(), "every transition once");
        Ok(())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        #[test]
        fn no_texts_overlap_and_nothing_is_lost_in_wild_charts(graph in graphs()) {
            holds(&graph)?;
        }

        #[test]
        fn no_texts_overlap_and_nothing_is_lost_in_orderly_charts(graph in orderly()) {
            holds(&graph)?;
        }
    }
}
