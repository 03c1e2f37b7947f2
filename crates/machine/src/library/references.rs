//! Mistakes of meaning in a device library: what names something that the type
//! does not have, and what can't be so for a thing of its kind.

use std::collections::BTreeMap;

use super::types::{DeviceType, StandsIn};
use crate::problem::Problems;
use crate::resolve::nearest_hint;
use crate::source::Span;
use crate::tree::{Node, Table, Text, Value};

/// Judges every type of a library file; `types` are all that are known, its own included.
pub fn judge_references(root: &Table, types: &BTreeMap<String, DeviceType>, problems: &mut Problems) {
    for entry in root.entries_of("types") {
        if let (Some(table), Some(kind)) = (entry.node.table(), types.get(&entry.key)) {
            judge_type(table, kind, types, problems);
        }
    }
    judge_translations(root, types, problems);
}

fn judge_type(table: &Table, kind: &DeviceType, types: &BTreeMap<String, DeviceType>, problems: &mut Problems) {
    chain(table, types, problems);
    let faults: Vec<&str> = kind.faults.iter().map(|fault| fault.key.as_str()).collect();
    let remedies: Vec<&str> = kind.remedies.iter().map(|remedy| remedy.key.as_str()).collect();
    let mut used: Vec<&str> = Vec::new();
    for entry in table.entries_of("faults") {
        let Some(fault) = entry.node.table() else { continue };
        judge_fault(fault, kind.stands_in, problems);
        let Some(remedy) = fault.text("remedy") else { continue };
        used.push(&remedy.text);
        // Words of its own have blanks; a single word is meant for a key.
        if !remedy.text.contains(' ') {
            known("remedy", remedy, remedy.span, &remedies, problems);
        }
    }
    if let Some(remedy) = table.text("put_back") {
        used.push(&remedy.text);
        known("remedy", remedy, remedy.span, &remedies, problems);
    }
    for entry in table.entries_of("checks") {
        if let Some(check) = entry.node.table() {
            judge_check(check, entry.key_span, kind.stands_in, &faults, problems);
            texts(check, &["operator", "technician", "yes", "no"], kind.stands_in, problems);
        }
    }
    for entry in table.entries_of("remedies") {
        if !used.contains(&entry.key.as_str()) {
            let what = format!("no fault names the remedy `{}`", entry.key);
            let hint = format!("write remedy = \"{}\" at the faults that it puts right", entry.key);
            problems.warning(entry.key_span, "unused", what, hint);
        }
        if let Some(remedy) = entry.node.table() {
            texts(remedy, &["words", "part"], kind.stands_in, problems);
        }
    }
}

fn chain(table: &Table, types: &BTreeMap<String, DeviceType>, problems: &mut Problems) {
    let parts = table.texts("chain");
    let shared = || types.values().filter(|kind| kind.stands_in == StandsIn::Shared).map(|kind| kind.key.as_str());
    for part in &parts {
        if !matches!(part.text.as_str(), "target" | "device") && !shared().any(|key| key == part.text) {
            let hint = nearest_hint(&part.text, ["target", "device"].into_iter().chain(shared()));
            problems.error(part.span, "unknown-name", format!("there is no part `{}` of a chain", part.text), hint);
        }
    }
    if let (Some(node), false) = (table.get("chain"), parts.iter().any(|part| part.text == "device")) {
        let hint = "write \"device\" where the thing itself sits, such as [\"target\", \"device\", \"cable\"]";
        problems.error(node.span, "no-device", "this chain does not hold the device itself", hint);
    }
}

/// The stages at which something can sit or be looked at.
fn stages(kind: StandsIn) -> &'static [&'static str] {
    match kind {
        StandsIn::Input => &["target", "sensor", "cable", "terminal", "card", "lamp"],
        StandsIn::Output => &["lamp", "card", "cable", "coil", "valve"],
        StandsIn::Shared => &["cable", "terminal", "card", "lamp"],
        StandsIn::Supply | StandsIn::Mechanism | StandsIn::Controller => &[],
    }
}

fn effects(kind: StandsIn) -> &'static [&'static str] {
    match kind {
        StandsIn::Input | StandsIn::Output | StandsIn::Shared | StandsIn::Supply => &["off", "on", "chatters"],
        StandsIn::Mechanism => &["stuck", "slow", "stops short", "creeps"],
        StandsIn::Controller => &["stopped", "error"],
    }
}

fn word(kind: StandsIn) -> &'static str {
    match kind {
        StandsIn::Input => "an input's device",
        StandsIn::Output => "an output's device",
        StandsIn::Shared => "a shared part",
        StandsIn::Supply => "a supply",
        StandsIn::Mechanism => "a mechanism",
        StandsIn::Controller => "a controller",
    }
}

/// Keys of a fault that say more of one effect, and which one.
const MORE: [(&str, &str); 5] =
    [("make", "chatters"), ("break", "chatters"), ("percent", "slow"), ("of", "stops short"), ("within", "creeps")];

/// Judges a fault mode of a thing that stands in this.
pub(crate) fn judge_fault(table: &Table, kind: StandsIn, problems: &mut Problems) {
    let effect = table.text("effect");
    let all_effects = [StandsIn::Input, StandsIn::Mechanism, StandsIn::Controller].map(effects).concat();
    // What is no effect at all is told by the shape.
    if let Some(effect) = effect.filter(|effect| all_effects.contains(&effect.text.as_str()))
        && !effects(kind).contains(&effect.text.as_str())
    {
        let what = format!("`{}` can't happen to {}", effect.text, word(kind));
        problems.error(effect.span, "wrong-effect", what, format!("write one of: {}", effects(kind).join(", ")));
    }
    if let Some(at) = table.text("at") {
        stage(at, kind, problems);
    }
    for (key, of) in MORE {
        if let (Some(entry), Some(effect)) = (table.entry(key), effect)
            && effect.text != of
        {
            let what = format!("`{key}` means nothing with the effect `{}`", effect.text);
            problems.warning(entry.key_span, "no-meaning", what, format!("it belongs to the effect `{of}`"));
        }
    }
}

fn stage(at: &Text, kind: StandsIn, problems: &mut Problems) {
    const ANY: [&str; 8] = ["target", "sensor", "cable", "terminal", "card", "lamp", "coil", "valve"];
    if !ANY.contains(&at.text.as_str()) || stages(kind).contains(&at.text.as_str()) {
        return;
    }
    let what = format!("{} has no stage `{}`", word(kind), at.text);
    let hint = match stages(kind) {
        [] => "leave it out".to_string(),
        stages => format!("write one of: {}", stages.join(", ")),
    };
    problems.error(at.span, "wrong-stage", what, hint);
}

fn judge_check(table: &Table, key: Span, kind: StandsIn, faults: &[&str], problems: &mut Problems) {
    for fault in table.texts("inspect") {
        known("fault mode", fault, fault.span, faults, problems);
    }
    match table.text("observes") {
        None if table.get("inspect").is_none() => {
            let hint = "write observes = \"…\" (a stage, supply, position), or inspect = [\"…\"] with its faults";
            problems.error(key, "missing-key", "what does this check look at?", hint);
        }
        Some(at) => stage(at, kind, problems),
        None => {}
    }
    if let (Some(yes), Some(no)) = (table.text("yes"), table.text("no"))
        && yes.text.trim() == no.text.trim()
    {
        let hint = "word them so that one can be told from the other";
        problems.error(no.span, "same-answers", "the two answers are the same", hint);
    }
}

fn known(what: &str, name: &Text, span: Span, all: &[&str], problems: &mut Problems) {
    if !all.contains(&name.text.as_str()) {
        let hint = nearest_hint(&name.text, all.iter().copied());
        problems.error(span, "unknown-name", format!("this type has no {what} `{}`", name.text), hint);
    }
}

/// Places in braces that are filled in: `{tag}`.
fn texts(table: &Table, keys: &[&str], kind: StandsIn, problems: &mut Problems) {
    let label = matches!(kind, StandsIn::Input | StandsIn::Output | StandsIn::Shared);
    for text in keys.iter().filter_map(|key| table.text(key)) {
        let mut from = 0;
        while let Some(open) = text.text[from..].find('{').map(|at| from + at) {
            let Some(close) = text.text[open..].find('}').map(|at| open + at + 1) else { break };
            from = close;
            let good = match &text.text[open..close] {
                "{tag}" | "{words}" | "{place}" | "{supply}" => true,
                "{label}" => label,
                _ => false,
            };
            if !good {
                let what = format!("nothing is filled in for `{}`", &text.text[open..close]);
                let label = if label { ", {label}" } else { "" };
                let hint = format!("there is: {{tag}}, {{words}}, {{place}}, {{supply}}{label}");
                problems.error(text.part(open..close), "unknown-place", what, hint);
            }
        }
    }
}

/// Translations whose key is that of no text.
fn judge_translations(root: &Table, types: &BTreeMap<String, DeviceType>, problems: &mut Problems) {
    if let Some(text) = root.table("text") {
        judge_translated(text, "", types, problems);
    }
    for entry in root.entries_of("words") {
        if let Some(table) = entry.node.table() {
            judge_translated(table, "", types, problems);
        }
    }
}

fn judge_translated(table: &Table, prefix: &str, types: &BTreeMap<String, DeviceType>, problems: &mut Problems) {
    for entry in &table.entries {
        let key = if prefix.is_empty() { entry.key.clone() } else { format!("{prefix}.{}", entry.key) };
        match &entry.node {
            Node { value: Value::Table(inner), .. } => judge_translated(inner, &key, types, problems),
            _ if translates_nothing(&key, types) => {
                let what = format!("`{key}` is the key of no text");
                let hint = "keys are types.TYPE, TYPE.faults.FAULT, TYPE.remedies.REMEDY, TYPE.CHECK.operator; \
                            or the English text itself";
                problems.warning(entry.key_span, "unknown-key", what, hint);
            }
            _ => {}
        }
    }
}

/// Whether a key looks like that of a type's text and is none.
fn translates_nothing(key: &str, types: &BTreeMap<String, DeviceType>) -> bool {
    if key.contains(' ') {
        return false;
    }
    let parts: Vec<&str> = key.split('.').collect();
    let kind = parts.first().and_then(|name| types.get(*name));
    match (parts.as_slice(), kind) {
        (["types", name], _) => !types.contains_key(*name),
        ([_, "faults", fault], Some(kind)) => !kind.faults.iter().any(|one| one.key == *fault),
        ([_, "remedies", remedy] | [_, "remedies", remedy, "part"], Some(kind)) => {
            !kind.remedies.iter().any(|one| one.key == *remedy)
        }
        ([_, check, "operator" | "technician" | "yes" | "no"], Some(kind)) => {
            !kind.checks.iter().any(|one| one.key == *check)
        }
        ([_, _, ..], Some(_)) => true,
        ([_, "faults" | "remedies", _], None) => true,
        _ => false,
    }
}
