//! What it was, or probably is: causes that the same remedy puts right count as one.

use crate::answer::{Answer, Member};
use crate::next::Advice;
use serde::Serialize;
use std::collections::BTreeMap;

/// A cause as probable as this is the finding (common practice, no source).
const SURE: f64 = 0.9;
/// "Something that is not in this file" leads from here on, and two faults at once.
const LEADS: f64 = 0.5;
/// Causes named in a finding at most.
const NAMED: usize = 4;

/// How a call ends, or would if it ended now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// It runs again.
    Runs,
    /// One remedy is sure enough.
    Sure,
    /// Two things are wrong at once.
    Two,
    /// Nothing is wrong: it waits for somebody.
    NothingWrong,
    /// Something that is not in the machine file.
    NotInFile,
    /// What was reported fits with nothing: readings are to be taken again.
    FitsBadly,
    /// Nothing more can be learned from here.
    NeedsVisit,
}

/// Causes that one remedy puts right.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Found {
    /// The remedy's key; none if the file names none.
    pub remedy: Option<String>,
    /// How probable it is that one of them is there; of two things at once, that two are.
    pub probability: f64,
    /// In words, the most probable first.
    pub causes: Vec<String>,
    /// Their keys.
    pub keys: Vec<String>,
}

/// What it was.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Which kind of ending.
    pub ending: Ending,
    /// What is to be put right: one entry, two where two things are wrong, none where nothing is.
    pub found: Vec<Found>,
    /// Readings to take again first.
    pub look_again: Vec<String>,
}

impl Finding {
    /// How many things are wrong at once where it is more than one, as a sentence begins: "Two" or "Several".
    #[must_use]
    pub fn how_many(&self) -> &'static str {
        if self.found.len() > 2 { "Several" } else { "Two" }
    }
}

/// All causes by their remedy, the most probable first.
pub(crate) fn by_remedy(answer: &Answer) -> Vec<Found> {
    let mut groups: BTreeMap<String, (Option<String>, Vec<&Member>)> = BTreeMap::new();
    for member in answer.causes.iter().flat_map(|cause| &cause.members) {
        let name = member.remedy.clone().unwrap_or_else(|| format!(" {}", member.key));
        groups.entry(name).or_insert_with(|| (member.remedy.clone(), Vec::new())).1.push(member);
    }
    let mut all: Vec<Found> = groups
        .into_values()
        .map(|(remedy, mut members)| {
            members.sort_by(|a, b| b.probability.total_cmp(&a.probability));
            // Faults of one device exclude each other; of several at once both can be there, which is rare.
            let probability = members.iter().map(|member| member.probability).sum::<f64>().min(1.0);
            let named = || members.iter().filter(|member| member.probability >= 0.02 * probability).take(NAMED);
            Found {
                remedy,
                probability,
                causes: named().map(|member| member.with_device()).collect(),
                keys: named().map(|member| member.key.clone()).collect(),
            }
        })
        .collect();
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all
}

/// One of two causes that are there together, as a pair names it: a whole cause, or a device with its fault.
fn of_cause(answer: &Answer, cause: &str, probability: f64) -> Found {
    let whole = answer.causes.iter().find(|one| one.words == cause).map(|one| one.members.as_slice());
    let mut alone = answer.causes.iter().flat_map(|one| &one.members).filter(|member| member.with_device() == cause);
    let members: Vec<&Member> = match whole {
        Some(members) => members.iter().take(NAMED).collect(),
        None => alone.next().into_iter().collect(),
    };
    Found {
        remedy: members.first().and_then(|member| member.remedy.clone()),
        probability,
        causes: vec![cause.to_owned()],
        keys: members.iter().map(|member| member.key.clone()).collect(),
    }
}

/// What it is, if it can be said. `repaired` is the remedy after which it ran again.
pub(super) fn finding(answer: &Answer, advice: &Advice, runs: bool, repaired: Option<&str>) -> Option<Finding> {
    let groups = by_remedy(answer);
    let of = |ending, found: Vec<Found>| {
        let look_again = answer.doubtful.iter().map(|one| one.lamp.clone()).collect();
        Some(Finding { ending, found, look_again })
    };
    let first = groups.first();
    if runs {
        let mended = repaired.and_then(|key| groups.iter().find(|one| one.remedy.as_deref() == Some(key)));
        let found = match (repaired, mended) {
            (_, Some(found)) => vec![found.clone()],
            (Some(key), None) => {
                let remedy = Some(key.to_owned());
                vec![Found { remedy, probability: 0.0, causes: Vec::new(), keys: Vec::new() }]
            }
            // Nobody did what would put it right.
            (None, None) => {
                let leads = first.filter(|first| first.probability >= LEADS).cloned();
                leads.map(|found| Found { remedy: None, ..found }).into_iter().collect()
            }
        };
        return of(Ending::Runs, found);
    }
    if answer.not_in_file >= LEADS {
        return of(Ending::NotInFile, Vec::new());
    }
    let both: f64 = answer.together.iter().map(|pair| pair.probability).sum();
    if both >= LEADS
        && let Some(pair) = answer.together.first()
    {
        return of(Ending::Two, pair.words.iter().map(|words| of_cause(answer, words, both.min(1.0))).collect());
    }
    if answer.fits_badly {
        return of(Ending::FitsBadly, Vec::new());
    }
    if answer.nothing_wrong >= SURE {
        return of(Ending::NothingWrong, Vec::new());
    }
    if let Some(first) = first.filter(|first| first.probability >= SURE) {
        return of(Ending::Sure, vec![first.clone()]);
    }
    let nothing_left = advice.proposals.is_empty() || advice.needs_visit || advice.give_up;
    if nothing_left { of(Ending::NeedsVisit, groups.into_iter().take(2).collect()) } else { None }
}
