//! The tree of supplies, with the implied ones.

use std::collections::{BTreeMap, BTreeSet};

use super::{Resolver, humanised};
use crate::condition::Condition;
use crate::id::SupplyId;
use crate::library::{Filling, StandsIn};
use crate::model::{Supply, SupplyKind, Words};
use crate::tree::{Entry, Table};

/// The type of a supply when nothing is said.
const PLAIN: &str = "supply-branch";

impl<'r> Resolver<'r> {
    pub fn supplies(&mut self) {
        let entries = self.entries("supplies");
        if entries.is_empty() {
            self.implied_supplies();
            return;
        }
        for entry in self.parents_first(entries) {
            self.declared_supply(entry);
        }
    }

    /// Parents before children; those in a loop are noted and come last, without parent.
    fn parents_first(&mut self, entries: &'r [Entry]) -> Vec<&'r Entry> {
        let by_name: BTreeMap<&str, &'r Entry> = entries.iter().map(|entry| (entry.key.as_str(), entry)).collect();
        let parent = |entry: &Entry| {
            let from = entry.node.table().and_then(|table| table.text("from"))?;
            by_name.get(from.text.as_str()).copied()
        };
        let mut placed: BTreeSet<&str> = BTreeSet::new();
        let mut order = Vec::new();
        let mut looped = Vec::new();
        for entry in entries {
            // The line from here up to a supply that is placed already, or to a source.
            let mut line = Vec::new();
            let mut seen: BTreeSet<&str> = BTreeSet::new();
            let mut next = Some(entry);
            while let Some(one) = next.filter(|one| !placed.contains(one.key.as_str())) {
                if !seen.insert(&one.key) {
                    break;
                }
                line.push(one);
                next = parent(one);
            }
            let in_loop = next.is_some_and(|one| seen.contains(one.key.as_str()));
            for one in line.into_iter().rev() {
                placed.insert(&one.key);
                if in_loop { looped.push(one) } else { order.push(one) }
            }
        }
        for entry in &looped {
            let what = format!("supply `{}` is fed by itself in a loop", entry.key);
            self.problems.error(entry.key_span, "supply-loop", what, "each `from` must lead back to a source");
        }
        order.extend(looped);
        order
    }

    fn declared_supply(&mut self, entry: &'r Entry) {
        let empty = Table::default();
        let table = entry.node.table().unwrap_or(&empty);
        let kind_key = if let Some(text) = entry.node.text() {
            let key = text.text.clone();
            if !self.library.types.contains_key(&key) {
                let hint = self.library.nearest(&key).map(|kind| format!("the nearest is \"{}\"", kind.key));
                let what = format!("there is no device type `{key}`");
                self.problems.error(text.span, "unknown-type", what, hint.unwrap_or_default());
            }
            key
        } else {
            self.kind_of(table, PLAIN)
        };
        if let Some(kind) = self.kind(&kind_key)
            && kind.stands_in != StandsIn::Supply
        {
            let span = table.text("is").map_or(entry.key_span, |text| text.span);
            let what = format!("`{kind_key}` is no supply");
            self.problems.error(span, "wrong-type", what, "use a type such as fuse or power-supply-24v");
        }
        let from = table.text("from").and_then(|text| {
            let found = self.supply(&text.text);
            if found.is_none() && !self.entries("supplies").iter().any(|entry| entry.key == text.text) {
                let names = self.entries("supplies").iter().map(|entry| entry.key.as_str());
                let hint = self.hint(&text.text, names);
                self.problems.error(text.span, "unknown-name", format!("there is no supply `{}`", text.text), hint);
            }
            found
        });
        let own = table.text("kind").and_then(|text| crate::library::supply_kind(&text.text));
        let above = from.map(|from| self.machine.supplies[from].kind);
        let type_kind = self.kind(&kind_key).and_then(|kind| kind.supply_kind);
        let kind = if kind_key == PLAIN { own.or(above).or(type_kind) } else { own.or(type_kind).or(above) };
        let key = format!("supplies.{}", entry.key);
        let words = match table.string("words") {
            Some(english) => self.translations.words(&key, &english, &Filling::default()),
            None => self.named_by_type(&key, &kind_key, &entry.key),
        };
        let id = self.machine.supplies.push(Supply {
            name: entry.key.clone(),
            words,
            kind: kind.unwrap_or(SupplyKind::Electric),
            from,
            when: Condition::Always(true),
            place: self.place(&key, table),
        });
        self.supply_kinds.push(kind_key);
        self.supply_names.insert(entry.key.clone(), id);
    }

    /// The type of a supply and its name: "fuse F1".
    fn named_by_type(&self, key: &str, kind_key: &str, name: &str) -> Words {
        let english = self.kind(kind_key).map_or(humanised(name), |kind| kind.words.clone());
        let mut words = self.translations.words(&format!("types.{kind_key}"), &english, &Filling::default());
        words.translations.iter_mut().for_each(|(_, text)| *text += &format!(" {name}"));
        self.words_or(key, &format!("{english} {name}"), words)
    }

    /// What feeds the controller itself, if the head says so.
    pub fn controller_supply(&mut self) {
        let Some(head) = self.root.table("machine") else { return };
        let Some(supply) = self.supply_or_note(head, "supply") else { return };
        let row = &self.machine.supplies[supply];
        if row.kind == SupplyKind::Electric {
            self.machine.controller_supply = Some(supply);
            return;
        }
        let what = format!("`{}` can't feed a controller", row.name);
        let span = head.text("supply").map_or(head.span, |text| text.span);
        self.problems.error(span, "wrong-kind", what, "name an electric supply, such as the 24 V supply or its fuse");
    }

    fn implied_supplies(&mut self) {
        self.implied_supply("power", "power-supply-24v", "24 V supply", SupplyKind::Electric);
        let outputs = self.entries("outputs").iter().filter_map(|entry| entry.node.table());
        let needs_air = outputs
            .filter_map(|table| table.text("is"))
            .any(|text| self.kind(&text.text).is_some_and(|kind| kind.needs == Some(SupplyKind::Air)));
        let does = self.mentions.iter().any(|mention| mention.how == super::mentions::How::Driven);
        let moves_without_output = does && self.entries("outputs").is_empty();
        let named = self.mentions.iter().any(|mention| mention.mechanism == "air");
        if needs_air || moves_without_output || named {
            self.implied_supply("air", "compressed-air", "compressed air", SupplyKind::Air);
        }
    }

    /// Adds a supply that the file doesn't name.
    pub fn implied_supply(&mut self, name: &str, kind_key: &str, words: &str, kind: SupplyKind) -> SupplyId {
        self.supply_kinds.push(kind_key.to_string());
        let general = self.translations.words(&format!("types.{kind_key}"), words, &Filling::default());
        let id = self.machine.supplies.push(Supply {
            name: name.to_string(),
            words: self.words_or(&format!("supplies.{name}"), words, general),
            kind,
            from: None,
            when: Condition::Always(true),
            place: Words::default(),
        });
        self.supply_names.insert(name.to_string(), id);
        id
    }

    /// The conditions of supplies, which may name outputs and mechanisms.
    pub fn supply_conditions(&mut self) {
        for entry in self.entries("supplies") {
            let Some(text) = entry.node.table().and_then(|table| table.text("when")) else { continue };
            let Some(expression) = self.parse_condition(text) else { continue };
            let when = self.world(&expression, text);
            if let Some(supply) = self.supply(&entry.key) {
                self.machine.supplies[supply].when = when;
            }
        }
    }

    /// The supply that a point has when none is named: the 24 V, else the first electric one.
    pub fn default_supply(&self) -> Option<SupplyId> {
        let power = self.supply_kinds.iter().position(|kind| kind.starts_with("power-supply"));
        match power {
            Some(at) => self.machine.supplies.ids().nth(at),
            None => self.first_supply(SupplyKind::Electric),
        }
    }

    /// The supply named by this key, or a noted mistake.
    pub fn supply_or_note(&mut self, table: &Table, key: &str) -> Option<SupplyId> {
        let text = table.text(key)?;
        let found = self.supply(&text.text);
        if found.is_none() {
            let hint = self.hint(&text.text, self.machine.supplies.rows().map(|row| row.name.as_str()));
            self.problems.error(text.span, "unknown-name", format!("there is no supply `{}`", text.text), hint);
        }
        found
    }
}
