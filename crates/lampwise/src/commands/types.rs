//! `lampwise types`: the device types of the library and what each knows.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use diagnose::reading::event_words;
use machine::library::{DeviceType, Library, StandsIn};
use machine::model::{Source, Who};
use machine::{LARGEST_FILE, Problem};
use serde_json::{Value, json};

use super::play::did_you_mean;
use crate::arguments::Types;
use crate::failure::Failure;
use crate::input;
use crate::screen::{FAINT, PLAIN, STRONG, Screen, TITLE, padded, paragraph};

/// Lists the types, or tells all about one.
pub fn run(arguments: &Types, screen: &Screen) -> Result<(), Failure> {
    let mut library = Library::embedded().clone();
    for path in &arguments.library {
        library.add(input::read_text(path, "the device library", LARGEST_FILE)?);
    }
    if library.problems.iter().any(Problem::is_error) {
        // Places count the library's texts from 1; number 0 would be a machine file.
        let mut sources = vec![machine::Source::new("", "")];
        sources.extend(library.sources);
        return Err(Failure::file(sources, library.problems));
    }
    let Some(name) = &arguments.name else {
        return if screen.json {
            let types: Vec<Value> = library.types.values().map(document).collect();
            screen.print_json(&json!({ "schema": "lampwise.types/1", "types": types }))
        } else {
            screen.print(&list(&library, screen.width))
        };
    };
    let Some(kind) = library.types.get(name.as_str()) else {
        let hint = did_you_mean(name, library.types.keys().map(String::as_str));
        return Err(Failure::new("unknown-type", format!("there is no device type `{name}`"), hint));
    };
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.types/1", "types": [document(kind)] }));
    }
    screen.print(&page(kind, screen.width))
}

fn stands_in(kind: &DeviceType) -> &'static str {
    match kind.stands_in {
        StandsIn::Input => "input",
        StandsIn::Output => "output",
        StandsIn::Supply => "supply",
        StandsIn::Mechanism => "mechanism",
        StandsIn::Controller => "controller",
        StandsIn::Shared => "shared",
    }
}

fn list(library: &Library, width: usize) -> String {
    let mut out = String::from("`lampwise types NAME` tells how one fails, how one looks and what puts it right.\n\n");
    let longest = library.types.keys().map(String::len).max().unwrap_or(0);
    for group in ["input", "output", "supply", "mechanism", "controller", "shared"] {
        let title = match group {
            "input" => "At inputs",
            "output" => "At outputs",
            "supply" => "Supplies",
            "mechanism" => "Mechanisms",
            "controller" => "The controller",
            _ => "Shared by several points",
        };
        _ = writeln!(out, "{TITLE}{title}{TITLE:#}");
        for kind in library.types.values().filter(|kind| stands_in(kind) == group) {
            let first = format!("  {}  ", padded(&kind.key, longest));
            paragraph(&mut out, width, &first, &" ".repeat(longest + 4), PLAIN, &kind.words);
        }
        out.push('\n');
    }
    out
}

fn source(source: &Source) -> String {
    match source {
        Source::Published(what) => format!("published: {what}"),
        Source::Memory(what) => format!("from memory: {what}"),
        Source::Practice => "common practice, no source".to_owned(),
        Source::File => "the file's writer".to_owned(),
    }
}

fn who(who: Who) -> &'static str {
    match who {
        Who::Operator => "operator",
        Who::Technician => "technician",
        Who::Electrician => "electrician",
    }
}

fn page(kind: &DeviceType, width: usize) -> String {
    let mut out = String::new();
    _ = writeln!(out, "{STRONG}{}{STRONG:#}: {}", kind.key, kind.words);
    if !kind.also.is_empty() {
        paragraph(&mut out, width, "  ", "  ", FAINT, &format!("also called {}", kind.also.join(", ")));
    }
    if !kind.chain.is_empty() {
        paragraph(&mut out, width, "  ", "  ", PLAIN, &format!("chain: {}", kind.chain.join(" → ")));
    }
    _ = writeln!(out, "\n{TITLE}What can fail{TITLE:#}, per million hours");
    for fault in &kind.faults {
        let first = format!("  {:>6}  ", fault.rate);
        let text = format!("{} [{}]", fault.words, fault.key);
        paragraph(&mut out, width, &first, "          ", PLAIN, &text);
        if !fault.after.is_empty() {
            let after: Vec<String> =
                fault.after.iter().map(|(event, factor)| format!("{} ×{factor}", event_words(*event))).collect();
            let text = format!("after: {}", after.join(", "));
            paragraph(&mut out, width, "          ", "          ", FAINT, &text);
        }
        paragraph(&mut out, width, "          ", "          ", FAINT, &source(&fault.source));
    }
    _ = writeln!(out, "\n{TITLE}How one looks{TITLE:#}");
    for check in &kind.checks {
        let first = format!("  {:>3} min ", check.minutes);
        let text = format!("{} [{}, {}]", check.technician, check.key, who(check.who));
        paragraph(&mut out, width, &first, "          ", PLAIN, &text);
    }
    _ = writeln!(out, "\n{TITLE}What puts it right{TITLE:#}");
    for remedy in &kind.remedies {
        let first = format!("  {:>3} min ", remedy.minutes);
        let text = format!("{} [{}, {}]", remedy.words, remedy.key, who(remedy.who));
        paragraph(&mut out, width, &first, "          ", PLAIN, &text);
    }
    out.push('\n');
    let caution = "Words in braces are filled in for each device. The machine builder's manual, lockout rules and \
                   local codes come first.";
    paragraph(&mut out, width, "", "", FAINT, caution);
    out
}

fn document(kind: &DeviceType) -> Value {
    json!({
        "key": kind.key,
        "words": kind.words,
        "also": kind.also,
        "stands_in": stands_in(kind),
        "chain": kind.chain,
        "faults": kind.faults.iter().map(|fault| json!({
            "key": fault.key,
            "words": fault.words,
            "at": fault.at,
            "per_million_hours": fault.rate,
            "after": fault.after.iter().map(|(event, factor)| (event.key(), *factor)).collect::<BTreeMap<_, _>>(),
            "source": source(&fault.source),
            "remedy": fault.remedy,
        })).collect::<Vec<_>>(),
        "checks": kind.checks.iter().map(|check| json!({
            "key": check.key,
            "operator": check.operator,
            "technician": check.technician,
            "minutes": check.minutes,
            "who": who(check.who),
            "source": source(&check.source),
        })).collect::<Vec<_>>(),
        "remedies": kind.remedies.iter().map(|remedy| json!({
            "key": remedy.key,
            "words": remedy.words,
            "minutes": remedy.minutes,
            "who": who(remedy.who),
            "part": remedy.part,
            "source": source(&remedy.source),
        })).collect::<Vec<_>>(),
    })
}
