//! `lampwise review`: what a machine makes hard to find.

use std::fmt::Write as _;

use diagnose::evidence::Circumstances;
use diagnose::next::Terms;
use diagnose::review::{Group, Review, review};
use diagnose::{Diagnoser, Shelf};
use machine::Machine;
use machine::caution::Caution;
use serde_json::json;

use super::tree::time;
use crate::arguments;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::{FAINT, PLAIN, STRONG, Screen, TITLE, paragraph, percent};

/// Groups and members that are printed without `--all`.
const GROUPS: usize = 5;
const MEMBERS: usize = 6;

/// Looks the machine over and prints what was found.
pub fn run(arguments: &arguments::Review, screen: &Screen, shelf: &dyn Shelf) -> Result<(), Failure> {
    let chosen = input::choose(&arguments.choice)?;
    let (diagnoser, found) = progress::while_working("looking for what can't be told apart", || {
        let (circumstances, options) = (Circumstances::default(), sim::Options::default());
        let diagnoser = Diagnoser::from_shelf(chosen.alternatives, &circumstances, &options, shelf);
        let terms = diagnoser.machine().map(Terms::of).unwrap_or_default();
        let found = review(&diagnoser, &terms);
        (diagnoser, found)
    });
    let Some((machine, found)) = diagnoser.machine().zip(found) else {
        return Err(Failure::file(Vec::new(), Vec::new()));
    };
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.review/1",
            "machine": { "name": machine.name, "revision": machine.revision },
            "review": found,
        }));
    }
    screen.print(&page(machine, &found, arguments.all, screen.width))
}

fn page(machine: &Machine, found: &Review, all: bool, width: usize) -> String {
    let mut out = String::new();
    _ = writeln!(out, "{STRONG}{}{STRONG:#}", machine.name);
    let text = format!(
        "{} deviations, each by itself. With all lamps read first, a fault takes {} on average.",
        found.deviations,
        time(found.minutes)
    );
    paragraph(&mut out, width, "  ", "  ", FAINT, &text);
    write_groups(&mut out, "Alike by lamps", &found.alike_by_lamps, all, width);
    write_groups(&mut out, "Alike by lamps and eyes", &found.alike_by_eyes, all, width);
    write_groups(&mut out, "Alike by all checks", &found.alike_by_checks, all, width);
    _ = writeln!(out, "\n{TITLE}Steps in which it can stand for ever without a word{TITLE:#}");
    if found.silent.is_empty() {
        out.push_str("  none\n");
    }
    for step in &found.silent {
        let text = format!("{}.{} ({})", step.chart, step.step, percent(step.share));
        paragraph(&mut out, width, "  ", "  ", STRONG, &text);
        let shown = if all { step.by.len() } else { MEMBERS.min(step.by.len()) };
        let words: Vec<&str> = step.by[..shown].iter().map(|member| member.words.as_str()).collect();
        let text = format!("{}{}", words.join("; "), more(step.by.len() - shown));
        paragraph(&mut out, width, "    ", "    ", PLAIN, &text);
    }
    _ = writeln!(out, "\n{TITLE}What would save most{TITLE:#}");
    if found.additions.is_empty() {
        out.push_str("  no single lamp saves anything worth mentioning\n");
    }
    for addition in &found.additions {
        let text = format!("{} for each fault: {}", time(addition.saved), addition.words);
        paragraph(&mut out, width, "  ", "    ", PLAIN, &text);
    }
    out.push('\n');
    paragraph(&mut out, width, "", "", STRONG, Caution::ManualFirst.english());
    out
}

fn write_groups(out: &mut String, title: &str, groups: &[Group], all: bool, width: usize) {
    _ = writeln!(out, "\n{TITLE}{title}{TITLE:#}");
    if groups.is_empty() {
        out.push_str("  none\n");
    }
    let shown = if all { groups.len() } else { GROUPS.min(groups.len()) };
    for group in &groups[..shown] {
        let harmless = if group.same_remedy { ", all with the same remedy" } else { "" };
        let text = format!("{} deviations, {} of all faults{harmless}", group.members.len(), percent(group.share));
        paragraph(out, width, "  ", "  ", STRONG, &text);
        let members = if all { group.members.len() } else { MEMBERS.min(group.members.len()) };
        let words: Vec<&str> = group.members[..members].iter().map(|member| member.words.as_str()).collect();
        let text = format!("{}{}", words.join("; "), more(group.members.len() - members));
        paragraph(out, width, "    ", "    ", PLAIN, &text);
    }
    if shown < groups.len() {
        _ = writeln!(out, "  {FAINT}and {} smaller groups: --all lists them{FAINT:#}", groups.len() - shown);
    }
}

fn more(count: usize) -> String {
    if count == 0 { String::new() } else { format!("; and {count} more") }
}
