//! `lampwise tree`: what to do next, written out for every answer, for paper.

use std::fmt::Write as _;

use clap::ArgMatches;
use diagnose::next::{Announcement, Branch, End, Leaf, Movement, Next, Node, Size, Step, Tell, Terms, tree};
use diagnose::{Diagnoser, Shelf};
use machine::Machine;
use machine::caution::Caution;
use machine::model::Who;
use serde_json::{Value, json};

use super::why;
use crate::arguments;
use crate::failure::Failure;
use crate::progress;
use crate::screen::{BAD, FAINT, GOOD, LIT, PLAIN, STRONG, Screen, paragraph, percent};

/// Columns by which the page moves in with each answer; further in than `DEEPEST` answers it does not move.
const INDENT: usize = 3;
const DEEPEST: usize = 10;

/// Works the tree out and prints it.
pub fn run(
    arguments: &arguments::Tree,
    matches: &ArgMatches,
    screen: &Screen,
    shelf: &dyn Shelf,
) -> Result<(), Failure> {
    if !(0.0..=0.5).contains(&arguments.least) {
        let hint = "a share of all cases, such as 0.02";
        return Err(Failure::new("bad-share", "`--least` must lie between 0 and 0.5".to_owned(), hint.to_owned()));
    }
    let report = why::report(&arguments.why, matches)?;
    let evidence = report.evidence;
    let size = Size { depth: usize::from(arguments.depth), least: arguments.least, ..Size::default() };
    let (diagnoser, root) = progress::while_working("writing out what to do for every answer", || {
        let (circumstances, options) = (evidence.circumstances(), sim::Options::default());
        let diagnoser = Diagnoser::from_shelf(report.alternatives, &circumstances, &options, shelf);
        let terms = diagnoser.machine().map(Terms::of).unwrap_or_default();
        let root = tree(&diagnoser, &evidence, &terms, size);
        (diagnoser, root)
    });
    let Some((machine, root)) = diagnoser.machine().zip(root) else {
        let hint = "look the machine file over with `lampwise lint`";
        return Err(Failure::new("no-tree", "there is nothing that this machine could be asked".to_owned(), hint));
    };
    let complaint = arguments.why.complaint.as_deref();
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.tree/1",
            "machine": { "name": machine.name, "revision": machine.revision },
            "complaint": complaint,
            "depth": arguments.depth,
            "minutes": root.minutes,
            "manual_first": Caution::ManualFirst.english(),
            "tree": node_json(&root),
        }));
    }
    screen.print(&page(machine, complaint, &root, screen.width))
}

fn page(machine: &Machine, complaint: Option<&str>, root: &Node, width: usize) -> String {
    let mut out = String::new();
    let complaint = complaint.map(|text| format!(": {text}")).unwrap_or_default();
    _ = writeln!(out, "{STRONG}{}{complaint}{STRONG:#}", machine.name);
    let mut text = "Begin at 1. Behind each answer stands how many of a hundred cases give it.".to_owned();
    _ = write!(text, " By this page the machine runs after {} on average.", time(root.minutes));
    paragraph(&mut out, width, "  ", "  ", FAINT, &text);
    out.push('\n');
    write_node(&mut out, root, "1", 0, width);
    let share_of = |end: End| -> f64 {
        let leaves = root.leaves();
        leaves.iter().filter(|(_, leaf)| leaf.end == end).map(|(share, _)| share).sum()
    };
    out.push('\n');
    let text = format!(
        "Of all cases {} end with the machine running on this page, {} with remedies to be tried in turn, {} with a \
         visit, {} with answers too rare for this page, {} with the machine builder.",
        percent(share_of(End::Runs)),
        percent(share_of(End::Remedies)),
        percent(share_of(End::Visit)),
        percent(share_of(End::Rare)),
        percent(share_of(End::LastResort))
    );
    paragraph(&mut out, width, "", "", PLAIN, &text);
    paragraph(&mut out, width, "", "", STRONG, Caution::ManualFirst.english());
    out
}

fn write_node(out: &mut String, node: &Node, number: &str, level: usize, width: usize) {
    let indent = " ".repeat(INDENT * level.min(DEEPEST));
    match &node.next {
        Next::Do(step) => write_step(out, step, number, level, &indent, width),
        Next::End(leaf) => write_leaf(out, leaf, &indent, width),
    }
}

fn write_step(out: &mut String, step: &Step, number: &str, level: usize, indent: &str, width: usize) {
    let under = format!("{indent}   ");
    write_before(out, &step.cautions, &step.movements, indent, width);
    let who = match step.who {
        Who::Operator => "",
        who => who_words(who),
    };
    let who = if who.is_empty() { String::new() } else { format!(", {who}") };
    let text = format!("{number}  {} ({}{who})", step.words.english, time(step.minutes));
    paragraph(out, width, indent, &under, STRONG, &text);
    for (index, branch) in step.branches.iter().enumerate() {
        let Branch { words, node, .. } = branch;
        let text = format!("{words}: {}", percent(node.share));
        paragraph(out, width, &format!("{indent}─ "), &under, LIT, &text);
        write_node(out, node, &format!("{number}.{}", index + 1), level + 1, width);
    }
}

fn write_leaf(out: &mut String, leaf: &Leaf, indent: &str, width: usize) {
    let causes = causes(&leaf.causes);
    let under = format!("{indent}   ");
    let (style, text) = match leaf.end {
        End::Runs => (GOOD, format!("Put right. It was: {causes}.")),
        End::Visit => (PLAIN, format!("Somebody qualified has to come. Probably: {causes}.")),
        End::Remedies if leaf.remedies.len() == 1 => (PLAIN, format!("Do this. Probably: {causes}.")),
        End::Remedies => (PLAIN, format!("Try in turn. Probably: {causes}.")),
        End::LastResort => (PLAIN, format!("Ring the machine builder. Probably: {causes}.")),
        End::Rare => (PLAIN, format!("Not on this page: ring, with this answer at hand. Probably: {causes}.")),
    };
    paragraph(out, width, &format!("{indent}■  "), &under, style, &text);
    if matches!(leaf.end, End::Visit | End::Remedies) {
        // Most cautions go for several of them; each is said once, before all.
        let mut cautions: Vec<(Caution, Vec<String>)> = Vec::new();
        for (index, remedy) in leaf.remedies.iter().enumerate() {
            for caution in &remedy.cautions {
                match cautions.iter_mut().find(|(known, _)| known == caution) {
                    Some((_, before)) => before.push((index + 1).to_string()),
                    None => cautions.push((*caution, vec![(index + 1).to_string()])),
                }
            }
        }
        for (caution, before) in cautions {
            let text = format!("Before {}: {}", before.join(", "), caution.english());
            paragraph(out, width, &format!("{under}!  "), &format!("{under}   "), BAD, &text);
        }
        for (index, remedy) in leaf.remedies.iter().enumerate() {
            write_before(out, &[], &remedy.movements, &under, width);
            let text = format!("{}. {} ({})", index + 1, remedy.words.english, percent(remedy.helps));
            paragraph(out, width, &under, &format!("{under}   "), PLAIN, &text);
        }
        let these = if leaf.remedies.len() == 1 { "This puts" } else { "These put" };
        let text = format!("{these} right {} of all cases.", percent(leaf.solved));
        paragraph(out, width, &under, &under, FAINT, &text);
    }
}

fn causes(tells: &[Tell]) -> String {
    let words: Vec<String> =
        tells.iter().map(|tell| format!("{} ({})", tell.words, percent(tell.probability))).collect();
    if words.is_empty() { "nothing that is in the file".to_owned() } else { words.join("; ") }
}

/// Minutes, in words.
pub(super) fn time(minutes: f64) -> String {
    match minutes {
        minutes if minutes < 1.0 => format!("{:.0} s", (minutes * 60.0).max(1.0)),
        minutes if minutes < 120.0 => format!("{minutes:.0} min"),
        minutes => format!("{:.1} h", minutes / 60.0),
    }
}

/// What is said before something is done.
fn write_before(out: &mut String, cautions: &[Caution], movements: &[Movement], indent: &str, width: usize) {
    let under = format!("{indent}   ");
    for caution in cautions {
        paragraph(out, width, &format!("{indent}!  "), &under, BAD, caution.english());
    }
    if let Some(moves) = Announcement::of(movements) {
        paragraph(out, width, &format!("{indent}!  "), &under, BAD, &moves.to_string());
    }
}

fn cautions_json(cautions: &[Caution]) -> Vec<Value> {
    cautions.iter().map(|caution| json!({ "key": caution.key(), "words": caution.english() })).collect()
}

fn who_words(who: Who) -> &'static str {
    match who {
        Who::Operator => "operator",
        Who::Technician => "technician",
        Who::Electrician => "electrician",
    }
}

fn node_json(node: &Node) -> Value {
    let (step, end) = match &node.next {
        Next::Do(step) => (step_json(step), Value::Null),
        Next::End(leaf) => (Value::Null, leaf_json(leaf)),
    };
    json!({ "share": node.share, "minutes": node.minutes, "step": step, "end": end })
}

fn step_json(step: &Step) -> Value {
    json!({
        "key": step.key,
        "words": step.words.english,
        "who": who_words(step.who),
        "minutes": step.minutes,
        "cautions": cautions_json(&step.cautions),
        "movements": step.movements,
        "answers": step.branches.iter().map(|branch| json!({
            "key": branch.key,
            "words": branch.words,
            "together": branch.answers,
            "then": node_json(&branch.node),
        })).collect::<Vec<_>>(),
    })
}

fn leaf_json(leaf: &Leaf) -> Value {
    let kind = match leaf.end {
        End::Runs => "runs",
        End::Visit => "visit",
        End::Remedies => "remedies",
        End::LastResort => "last_resort",
        End::Rare => "rare",
    };
    json!({
        "kind": kind,
        "solved": leaf.solved,
        "causes": leaf.causes,
        "remedies": leaf.remedies.iter()
            .map(|remedy| json!({
                "key": remedy.key,
                "words": remedy.words.english,
                "helps": remedy.helps,
                "who": who_words(remedy.who),
                "cautions": cautions_json(&remedy.cautions),
                "movements": remedy.movements,
            }))
            .collect::<Vec<_>>(),
    })
}
