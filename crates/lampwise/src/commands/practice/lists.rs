//! What can be chosen in an exercise, in lists with numbers. What is meant is said by its number in the list that was shown
//! last, by its key, or by words that no other has.

use std::collections::{BTreeMap, BTreeSet};

use diagnose::practice::{Exercise, Group, meant};
use diagnose::wording::says;
use machine::Machine;
use machine::id::DeviceId;
use machine::model::DeviationKind;

use crate::commands::call::{lead, minutes};
use crate::commands::play::did_you_mean;
use crate::screen::{PLAIN, STRONG};

/// What a list is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    Positions,
    Hands,
    Checks,
    Remedies,
    Causes,
}

impl What {
    /// The word that lists them, and what one of them is called.
    fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Positions => ("look", "thing to look at"),
            Self::Hands => ("do", "thing to do"),
            Self::Checks => ("checks", "check"),
            Self::Remedies => ("remedies", "remedy"),
            Self::Causes => ("causes", "cause"),
        }
    }

    /// Whether there are so many that they are listed place by place.
    fn by_place(self) -> bool {
        matches!(self, Self::Checks | Self::Remedies | Self::Causes)
    }
}

/// Which one is meant.
pub enum Meant {
    /// This one, by its key.
    One(String),
    /// Any of these.
    Several(Vec<String>),
    /// None, and what to say about it.
    None(String),
}

/// What is listed of a place.
pub enum Place {
    /// The keys of what is there, and what there is besides.
    Listed(Vec<String>, Option<String>),
    /// It is not clear which place is meant; what to say about it.
    Which(String),
}

/// Something that can be chosen.
struct One {
    what: What,
    key: String,
    /// By what it can be named beside its key.
    text: String,
    /// What a list says.
    shown: String,
    minutes: Option<f64>,
    /// The place under which it is listed; empty for what belongs to no device.
    place: String,
}

/// All that can be chosen, and what was listed last.
pub struct Lists {
    all: Vec<One>,
    /// Places by their names, each with the words by which people call it.
    places: Vec<(String, String)>,
    /// The names of all devices.
    devices: Vec<String>,
    last: BTreeMap<What, Vec<String>>,
    /// Of what a list was shown.
    shown: BTreeSet<What>,
}

impl Lists {
    /// Of this exercise.
    pub fn of(exercise: &Exercise<'_>) -> Self {
        let machine = exercise.machine();
        let mut all: Vec<One> = Vec::new();
        for offer in exercise.offers() {
            let what = match offer.group {
                Group::Lamps => continue,
                Group::Positions => What::Positions,
                Group::Hands => What::Hands,
                Group::Checks => What::Checks,
                Group::Remedies => What::Remedies,
            };
            let (name, words) = offer.device.map_or((String::new(), String::new()), |one| called(machine, one));
            let bare = offer.words.strip_prefix("look where it stands: ").unwrap_or(&offer.words);
            all.push(One {
                what,
                key: offer.key.clone(),
                text: format!("{name} {words} {bare}"),
                shown: with_name(&name, bare),
                minutes: Some(offer.minutes),
                place: place_of(&name),
            });
        }
        for row in machine.deviations.rows() {
            let (name, words) = match row.kind {
                DeviationKind::Fault(device) => called(machine, device),
                DeviationKind::Lapse => (String::new(), String::new()),
            };
            all.push(One {
                what: What::Causes,
                key: row.key.clone(),
                text: format!("{name} {words} {}", row.words.english),
                shown: with_name(&name, &row.words.english),
                minutes: None,
                place: place_of(&name),
            });
        }
        let mut places: Vec<(String, String)> = Vec::new();
        for device in machine.devices.ids() {
            let (name, words) = called(machine, device);
            let place = place_of(&name);
            match places.iter_mut().find(|(known, _)| *known == place) {
                Some((_, known)) => *known = format!("{known} {words}"),
                None => places.push((place, words)),
            }
        }
        let devices = machine.devices.rows().map(|row| row.name.clone()).collect();
        let mut lists = Self { all, places, devices, last: BTreeMap::new(), shown: BTreeSet::new() };
        for what in [What::Positions, What::Hands, What::Causes] {
            let keys = lists.keys(what, |one| one.place.is_empty() || !what.by_place());
            lists.last.insert(what, keys);
        }
        lists
    }

    fn keys(&self, what: What, is_so: impl Fn(&One) -> bool) -> Vec<String> {
        self.all.iter().filter(|one| one.what == what && is_so(one)).map(|one| one.key.clone()).collect()
    }

    /// Which one is meant by this.
    pub fn meant(&self, what: What, typed: &str) -> Meant {
        let (list, one) = what.words();
        if let Ok(number) = typed.parse::<i64>() {
            let last = self.last.get(&what).map_or(&[][..], Vec::as_slice);
            let found = usize::try_from(number).ok().and_then(|number| last.get(number.checked_sub(1)?));
            return match found {
                Some(key) => Meant::One(key.clone()),
                None if last.is_empty() => {
                    Meant::None(format!("There is no list yet: `{list}` with the name of a device behind shows one."))
                }
                None => Meant::None(format!("There is no number {number}: they go from 1 to {}.", last.len())),
            };
        }
        let mut those: Vec<&One> = self.all.iter().filter(|one| one.what == what).collect();
        // What belongs to no device is shown first where several are meant.
        those.sort_by_key(|one| !one.place.is_empty());
        // `remedy:B1/replace` is called `B1/replace`.
        let name = |one: &&One| if what == What::Causes { one.key.clone() } else { bare(&one.key).to_owned() };
        let names: Vec<String> = those.iter().map(name).collect();
        let found = meant(typed, names.iter().zip(&those).map(|(name, one)| (name.as_str(), one.text.as_str())));
        // A word that only one of a list has that is being looked at means that one.
        if found.len() > 1 && self.shown.contains(&what) {
            let listed = self.last.get(&what).map_or(&[][..], Vec::as_slice);
            let here: Vec<usize> = found.iter().copied().filter(|at| listed.contains(&those[*at].key)).collect();
            if let [one] = here[..] {
                return Meant::One(those[one].key.clone());
            }
        }
        match found.as_slice() {
            [] if !what.by_place() => {
                Meant::None(format!("There is no {one} `{typed}`; `{list}` shows what there is."))
            }
            [] => {
                let near = did_you_mean(typed, names.iter().map(String::as_str));
                let near = near.trim_end_matches('?');
                Meant::None(format!(
                    "There is no {one} `{typed}`; {near}. `{list}` with the name of a device behind shows those there."
                ))
            }
            [one] => Meant::One(those[*one].key.clone()),
            several => Meant::Several(several.iter().map(|one| those[*one].key.clone()).collect()),
        }
    }

    /// What there is at a place, which is named by the name or the words of a device.
    pub fn at(&self, what: What, typed: &str) -> Place {
        if !what.by_place() {
            return Place::Listed(self.keys(what, |_| true), None);
        }
        let (list, _) = what.words();
        let has_some = |place: &str| self.all.iter().any(|one| one.what == what && one.place == place);
        let places: Vec<&(String, String)> =
            self.places.iter().filter(|(place, _)| !place.is_empty() && has_some(place)).collect();
        let names =
            |those: &[usize]| those.iter().map(|at| places[*at].0.replace('_', " ")).collect::<Vec<_>>().join(", ");
        if typed.is_empty() {
            let all: Vec<usize> = (0..places.len()).collect();
            let more = format!("`{list}` with one of these behind: {}.", names(&all));
            return match self.keys(what, |one| one.place.is_empty()) {
                none if none.is_empty() => Place::Which(more),
                keys => Place::Listed(keys, Some(format!("And of each device: {more}"))),
            };
        }
        // `B1 terminal-row` is at B1, as `pump guard` is not at the pump.
        let device = self.devices.iter().find(|name| name.eq_ignore_ascii_case(typed)).map(|name| place_of(name));
        let same = |place: &str| {
            place.replace('_', " ").eq_ignore_ascii_case(&typed.replace('_', " ")) || device.as_deref() == Some(place)
        };
        let exact: Vec<usize> = (0..places.len()).filter(|at| same(&places[*at].0)).collect();
        let found = match exact.is_empty() {
            false => exact,
            true => meant(typed, places.iter().map(|(place, words)| (place.as_str(), words.as_str()))),
        };
        match found.as_slice() {
            [] => {
                let near = did_you_mean(typed, places.iter().map(|(place, _)| place.as_str()));
                Place::Which(format!("Nothing of `{typed}`; {}.", near.trim_end_matches('?')))
            }
            [one] => Place::Listed(self.keys(what, |of| of.place == places[*one].0), None),
            several => Place::Which(format!("`{typed}` can be more than one: {}.", names(several))),
        }
    }

    /// Shows a list with numbers, which count from then on.
    pub fn show(&mut self, what: What, keys: Vec<String>, width: usize) -> String {
        let mut out = String::new();
        let widest = keys.len().to_string().len();
        for (number, key) in keys.iter().enumerate() {
            let Some(one) = self.all.iter().find(|one| one.what == what && one.key == *key) else { continue };
            let takes = one.minutes.map(|took| format!(" ({})", minutes(took))).unwrap_or_default();
            let first = format!("  {STRONG}{:>widest$}{STRONG:#}  ", number + 1);
            lead(&mut out, width, &first, widest + 4, PLAIN, &format!("{}{takes}", one.shown));
        }
        self.last.insert(what, keys);
        self.shown.insert(what);
        out
    }
}

/// A device's name, and what people call it.
fn called(machine: &Machine, device: DeviceId) -> (String, String) {
    machine.devices.get(device).map_or_else(Default::default, |row| (row.name.clone(), row.words.english.clone()))
}

/// The place of a device: `B4` for `B4 cable`.
fn place_of(name: &str) -> String {
    name.split(' ').next().unwrap_or_default().to_owned()
}

/// The name of a device before its words, where these do not say it.
fn with_name(name: &str, words: &str) -> String {
    let name = name.replace('_', " ");
    if name.is_empty() || says(words, &name) { words.to_owned() } else { format!("{name}: {words}") }
}

fn bare(key: &str) -> &str {
    key.split_once(':').map_or(key, |(_, name)| name)
}
