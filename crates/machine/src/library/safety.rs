//! What device types and machine files may not ask of anybody, and what they must
//! declare so that cautions can be worked out: judged where the texts stand.

use super::types::{read_check, read_guarding, read_remedy};
use crate::caution::{Doing, Kind, told_to_defeat};
use crate::model::{Guarding, Who};
use crate::problem::Problems;
use crate::tree::{Node, Table, Text, Value};

/// Judges a device type.
pub fn judge_type(table: &Table, problems: &mut Problems) {
    let guarding = read_guarding(table).unwrap_or(Guarding::None);
    for entry in table.entries_of("checks") {
        if let Some(check) = entry.node.table() {
            judge_check(check, guarding, problems);
        }
    }
    for entry in table.entries_of("remedies") {
        if let Some(remedy) = entry.node.table() {
            judge_remedy(remedy, guarding, problems);
        }
    }
}

/// Judges a check of a device that guards so much.
pub(crate) fn judge_check(table: &Table, guarding: Guarding, problems: &mut Problems) {
    let check = read_check("", table);
    let doing = Doing {
        kind: check.role.into(),
        energy: check.energy,
        access: check.access,
        load: check.load,
        guarding,
        restores: false,
    };
    for key in ["operator", "technician"] {
        judge_text(table.text(key), guarding != Guarding::None, problems);
    }
    judge(table, &doing, check.who, problems);
    declared(table, &["energy", "access", "load", "role"], "check", problems);
}

/// Judges a remedy of a device that guards so much.
pub(crate) fn judge_remedy(table: &Table, guarding: Guarding, problems: &mut Problems) {
    let remedy = read_remedy("", table);
    let doing = Doing {
        kind: Kind::Mend,
        energy: remedy.energy,
        access: remedy.access,
        load: remedy.load,
        guarding,
        restores: false,
    };
    judge_text(table.text("words"), guarding != Guarding::None, problems);
    judge(table, &doing, remedy.who, problems);
    declared(table, &["energy", "access", "load"], "remedy", problems);
}

fn judge(table: &Table, doing: &Doing, who: Who, problems: &mut Problems) {
    for forbidden in doing.forbidden() {
        let (what, hint) = forbidden.words();
        let place = table.get("role").filter(|_| hint.contains("role")).or_else(|| table.get("energy"));
        problems.error(place.map_or(table.span, |node| node.span), "dangerous", what, hint);
    }
    let least = doing.who();
    if let (true, Some(node)) = (who < least, table.get("who")) {
        let what = format!("this takes {} at least", who_words(least));
        let hint = "live parts, the open cabinet, behind a guard, air or vacuum within reach, a raised load, swapping \
                    and work on what protects people are for qualified persons";
        problems.warning(node.span, "not-qualified", what, hint);
    }
}

/// Warns of what is left out, though cautions depend on it.
fn declared(table: &Table, keys: &[&str], what: &str, problems: &mut Problems) {
    let missing: Vec<&str> = keys.iter().copied().filter(|key| table.get(key).is_none()).collect();
    if !missing.is_empty() {
        let what = format!("this {what} does not say its {}", missing.join(", "));
        let hint = "cautions are worked out from these; say them even where it is the usual";
        problems.warning(table.span, "not-declared", what, hint);
    }
}

fn who_words(who: Who) -> &'static str {
    match who {
        Who::Operator => "an operator",
        Who::Technician => "a technician",
        Who::Electrician => "a person qualified for electrical work",
    }
}

/// Judges a text for people.
pub(crate) fn judge_text(text: Option<&Text>, protects: bool, problems: &mut Problems) {
    let Some(text) = text else { return };
    if let Some(range) = told_to_defeat(&text.text, protects) {
        let what = "this tells somebody to bridge, defeat or hold what protects people";
        let hint = "nobody is told that; let it be looked at, or measured with the energy off";
        problems.error(text.part(range), "defeats-guard", what, hint);
    }
}

/// Judges the translations of a file.
pub fn judge_words(root: &Table, problems: &mut Problems) {
    for key in ["words", "text"] {
        if let Some(node) = root.get(key) {
            judge_node(node, problems);
        }
    }
}

fn judge_node(node: &Node, problems: &mut Problems) {
    match &node.value {
        Value::Text(text) => judge_text(Some(text), false, problems),
        Value::Table(table) => table.entries.iter().for_each(|entry| judge_node(&entry.node, problems)),
        _ => {}
    }
}
