//! From the tree of a file to a [`Machine`]: names are looked up, what is only
//! implied is filled in, "not known" is turned into alternatives. Mistakes are
//! noted and passed over, so that one run finds all of them.
//!
//! The parts run in the order of their dependence: settings, mechanisms,
//! supplies, points, moves, charts, hands, panel, devices.

mod after;
mod alternatives;
mod charts;
mod conditions;
mod devices;
mod hands;
mod implied;
mod lookup;
mod mechanisms;
mod mentions;
mod moves;
mod panel;
mod points;
mod raw_chart;
mod safety;
mod supplies;

use std::collections::BTreeMap;

pub(crate) use alternatives::{MOST_ALTERNATIVES, OpenChoice, alternatives, combinations};
pub(crate) use lookup::nearest_hint;
pub(crate) use mentions::Mention;

use crate::id::{InputId, MechanismId, OutputId, SettingId, SupplyId};
use crate::library::{DeviceType, Filling, Library, Translations};
use crate::model::{Machine, Prices, Setting, SettingValue, SupplyKind, Words};
use crate::problem::Problems;
use crate::source::Span;
use crate::text::Mistake;
use crate::tree::{Entry, Node, Table, Text, Value};

/// A controller point of either kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Point {
    Input(InputId),
    Output(OutputId),
}

/// What the reader knows of an output beyond the model.
#[derive(Clone, Debug, Default)]
pub(crate) struct OutputWiring {
    /// Where mechanisms go while it is driven.
    pub moves: Vec<(MechanismId, u8)>,
    /// Positions to go back to, when the file names them.
    pub back: Vec<(MechanismId, u8)>,
    /// Device type.
    pub kind: String,
    /// Whether the mechanism goes back when it is not driven.
    pub returns: bool,
    /// Supply that the actuator needs beside the electric one.
    pub needs: Option<SupplyId>,
    /// Travel times, ms, and tolerance in percent.
    pub takes_ms: u64,
    pub back_takes_ms: u64,
    pub tolerance: u32,
}

/// One resolution under way.
pub(crate) struct Resolver<'r> {
    pub root: &'r Table,
    pub library: &'r Library,
    pub translations: &'r Translations,
    pub asked: &'r [(String, String)],
    pub script: &'r [usize],
    pub problems: Problems,
    pub machine: Machine,
    pub open: Vec<OpenChoice>,
    pub points: BTreeMap<String, Point>,
    pub mechanism_names: BTreeMap<String, MechanismId>,
    pub supply_names: BTreeMap<String, SupplyId>,
    /// The outputs that move a mechanism to a position.
    pub movers: BTreeMap<(MechanismId, u8), Vec<OutputId>>,
    /// All outputs that move a mechanism.
    pub drivers: BTreeMap<MechanismId, Vec<OutputId>>,
    pub input_kinds: Vec<String>,
    pub input_tables: Vec<Option<&'r Table>>,
    pub input_spans: Vec<Span>,
    pub output_tables: Vec<Option<&'r Table>>,
    pub wiring: Vec<OutputWiring>,
    pub supply_kinds: Vec<String>,
    pub lapses: Vec<crate::model::Deviation>,
    pub mentions: Vec<Mention>,
    pub mentions_by_name: BTreeMap<String, Vec<usize>>,
}

/// What a resolution gives.
pub(crate) struct Outcome {
    pub machine: Machine,
    pub mentions: Vec<Mention>,
    pub open: Vec<OpenChoice>,
    pub problems: Problems,
}

impl<'r> Resolver<'r> {
    pub fn new(
        root: &'r Table,
        library: &'r Library,
        translations: &'r Translations,
        asked: &'r [(String, String)],
        script: &'r [usize],
    ) -> Self {
        Self {
            root,
            library,
            translations,
            asked,
            script,
            problems: Problems::default(),
            machine: Machine::default(),
            open: Vec::new(),
            points: BTreeMap::new(),
            mechanism_names: BTreeMap::new(),
            supply_names: BTreeMap::new(),
            movers: BTreeMap::new(),
            drivers: BTreeMap::new(),
            mentions_by_name: BTreeMap::new(),
            input_kinds: Vec::new(),
            input_tables: Vec::new(),
            input_spans: Vec::new(),
            output_tables: Vec::new(),
            wiring: Vec::new(),
            supply_kinds: Vec::new(),
            lapses: Vec::new(),
            mentions: Vec::new(),
        }
    }

    /// Resolves everything.
    pub fn run(mut self, revision: Option<&str>) -> Outcome {
        self.header(revision);
        self.prices();
        self.settings();
        let charts = self.raw_charts();
        self.collect_mentions(&charts);
        self.mechanisms();
        self.supplies();
        self.controller_supply();
        self.inputs();
        self.outputs();
        self.implied_outputs(&charts);
        self.supply_conditions();
        self.moves();
        self.charts(&charts);
        self.routines(&charts);
        self.panel();
        self.devices();
        self.procedures();
        self.safety();
        Outcome { machine: self.machine, mentions: self.mentions, open: self.open, problems: self.problems }
    }

    fn header(&mut self, revision: Option<&str>) {
        let empty = Table::default();
        let head = self.root.table("machine").unwrap_or(&empty);
        let version = head.get("version").map(|node| match &node.value {
            Value::Whole(whole) => whole.to_string(),
            Value::Number(number) => number.to_string(),
            Value::Text(text) => text.text.clone(),
            _ => String::new(),
        });
        let date = head.get("date").map(|node| match &node.value {
            Value::Date(date) => date.clone(),
            Value::Text(text) => text.text.clone(),
            _ => String::new(),
        });
        self.machine.name = head.string("name").unwrap_or_default();
        self.machine.maker = head.string("maker").unwrap_or_default();
        self.machine.version = version.unwrap_or_default();
        self.machine.date = date.unwrap_or_default();
        self.machine.about = head.string("about").unwrap_or_default();
        self.machine.revision = revision.map(str::to_string);
        self.machine.scan_ms = head.get("scan").and_then(|node| self.time_of(node)).unwrap_or(0);
        self.machine.hours_since_well = head.number("hours_since_well").unwrap_or(40.0).clamp(0.01, 1e6);
    }

    fn prices(&mut self) {
        let usual = Prices::default();
        self.machine.prices = Prices {
            visit: self.price("visit").unwrap_or(usual.visit),
            last_resort: self.price("last_resort").unwrap_or(usual.last_resort),
            trial_run: self.price("trial_run").unwrap_or(usual.trial_run),
            remedy_in_vain: self.price("remedy_in_vain").unwrap_or(usual.remedy_in_vain),
        };
    }

    fn price(&mut self, key: &str) -> Option<f64> {
        let node = self.root.table("prices")?.get(key)?;
        let minutes = node.number()?;
        if (0.0..=Prices::MOST).contains(&minutes) {
            return Some(minutes);
        }
        let what = format!("{minutes} minutes are no price");
        self.problems.error(node.span, "out-of-range", what, format!("write minutes, 0 to {}", Prices::MOST));
        None
    }

    fn settings(&mut self) {
        for entry in self.root.entries_of("settings") {
            let empty = Table::default();
            let table = entry.node.table().unwrap_or(&empty);
            let default_node = table.get("default").unwrap_or(&entry.node);
            let Some(default) = self.setting_value(default_node) else {
                continue;
            };
            let from = table.get("from").and_then(|node| self.setting_value(node));
            let to = table.get("to").and_then(|node| self.setting_value(node));
            let range = from.zip(to);
            let value = self.asked_value(&entry.key).unwrap_or(default);
            if !within(default, range) {
                let span = default_node.span;
                self.problems.error(span, "out-of-range", "the default is outside from … to", "widen the range");
            }
            let key = format!("settings.{}", entry.key);
            let words = self.own_words(&key, table, &humanised(&entry.key));
            let place = self.place(&key, table);
            self.machine.settings.push(Setting { name: entry.key.clone(), words, value, default, range, place });
        }
        for (name, value) in self.asked {
            let Some((_, setting)) = self.machine.settings.find(|setting| setting.name == *name) else {
                let hint = nearest_hint(name, self.machine.settings.rows().map(|row| row.name.as_str()));
                let what = format!("there is no setting `{name}`");
                self.problems.error(Span::default(), "unknown-name", what, hint);
                continue;
            };
            if self.asked_value(name).is_none_or(|value| !same_kind(value, setting.default)) {
                let what = format!("`{value}` is no value for the setting `{name}`");
                self.problems.error(Span::default(), "bad-setting", what, "give a time such as T#2s, or a count");
            }
        }
    }

    fn asked_value(&self, name: &str) -> Option<SettingValue> {
        let (_, text) = self.asked.iter().find(|(asked, _)| asked == name)?;
        let time = crate::text::time::parse_time(text).ok().map(SettingValue::Time);
        time.or_else(|| text.parse().ok().map(SettingValue::Count))
    }

    fn setting_value(&mut self, node: &Node) -> Option<SettingValue> {
        match &node.value {
            Value::Whole(whole) => match u32::try_from(*whole) {
                Ok(count) => Some(SettingValue::Count(count)),
                Err(_) => {
                    self.problems.error(node.span, "out-of-range", "a count is 0 or more", "");
                    None
                }
            },
            Value::Text(_) => self.time_of(node).map(SettingValue::Time),
            _ => {
                let hint = "write a time such as \"T#4s\", or a whole number";
                self.problems.error(node.span, "wrong-kind", "a setting is a time or a count", hint);
                None
            }
        }
    }

    pub fn setting(&self, name: &str) -> Option<(SettingId, &Setting)> {
        self.machine.settings.find(|setting| setting.name == name)
    }

    /// A time given as text; mistakes are noted.
    pub fn time_of(&mut self, node: &Node) -> Option<u64> {
        let text = node.text()?;
        match crate::text::time::parse_time(&text.text) {
            Ok(ms) => Some(ms),
            Err(what) => {
                self.problems.error(node.span, "bad-time", what, crate::text::time::HINT);
                None
            }
        }
    }

    /// A chance given as text or number; mistakes are noted.
    pub fn chance_of(&mut self, node: &Node) -> Option<f64> {
        let chance = match &node.value {
            Value::Text(text) => crate::text::chance::parse_chance(&text.text),
            Value::Whole(_) | Value::Number(_) => match node.number() {
                Some(number) if (0.0..=1.0).contains(&number) => Ok(number),
                _ => Err("this chance is not between 0 and 1".to_string()),
            },
            _ => return None,
        };
        chance.map_err(|what| self.problems.error(node.span, "bad-chance", what, crate::text::chance::HINT)).ok()
    }

    /// Notes a mistake inside a string.
    pub fn mistake(&mut self, text: &Text, mistake: Mistake) {
        self.problems.error(text.part(mistake.range), "syntax", mistake.what, mistake.hint);
    }

    /// Words of the file itself: the key `words` of a table, or a default.
    pub fn own_words(&self, key: &str, table: &Table, default: &str) -> Words {
        let english = table.string("words").unwrap_or_else(|| default.to_string());
        self.translations.words(key, &english, &Filling::default())
    }

    /// Where something is by the key `place` of its table; `key` is that of the thing itself.
    pub fn place(&self, key: &str, table: &Table) -> Words {
        let english = table.string("place").unwrap_or_default();
        self.translations.words(&format!("{key}.place"), &english, &Filling::default())
    }

    /// The device type of this key.
    pub fn kind(&self, key: &str) -> Option<&'r DeviceType> {
        self.library.types.get(key)
    }

    /// The type named by `is`, or `default`; an unknown one is noted.
    pub fn kind_of(&mut self, table: &Table, default: &str) -> String {
        let Some(text) = table.text("is") else { return default.to_string() };
        if self.library.types.contains_key(&text.text) {
            return text.text.clone();
        }
        let hint = match self.library.nearest(&text.text) {
            Some(kind) => format!("the nearest is \"{}\" ({})", kind.key, kind.words),
            None => "`lampwise types` lists the device types".to_string(),
        };
        self.problems.error(text.span, "unknown-type", format!("there is no device type `{}`", text.text), hint);
        default.to_string()
    }

    /// The first supply of this kind.
    pub fn first_supply(&self, kind: SupplyKind) -> Option<SupplyId> {
        self.machine.supplies.find(|supply| supply.kind == kind).map(|(id, _)| id)
    }

    pub fn entries(&self, key: &str) -> &'r [Entry] {
        self.root.entries_of(key)
    }
}

fn same_kind(one: SettingValue, two: SettingValue) -> bool {
    matches!(
        (one, two),
        (SettingValue::Time(_), SettingValue::Time(_)) | (SettingValue::Count(_), SettingValue::Count(_))
    )
}

fn within(value: SettingValue, range: Option<(SettingValue, SettingValue)>) -> bool {
    match (value, range) {
        (SettingValue::Time(at), Some((SettingValue::Time(from), SettingValue::Time(to)))) => (from..=to).contains(&at),
        (SettingValue::Count(at), Some((SettingValue::Count(from), SettingValue::Count(to)))) => {
            (from..=to).contains(&at)
        }
        (_, None) => true,
        _ => false,
    }
}

/// A name as words: `jar_clamp` is "jar clamp".
pub(crate) fn humanised(name: &str) -> String {
    name.replace('_', " ")
}
