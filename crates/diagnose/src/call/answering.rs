//! From an answer to entries: by its number, its key, its words, or as people say it.

use super::build::{to_do_called, yes_or_no};
use super::entry::{Entry, Kind};
use super::session::{Question, Session};
use crate::evidence::{Deed, LampPlace, LampReport, LampState};
use crate::next::{Proposal, ToDo};
use crate::reading::{
    ReadingError, describe_deeds, describe_lamps, read_checks, read_complained, read_deeds, read_lamps, read_positions,
};
use machine::Machine;

/// What came of an answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Understood {
    /// It means this.
    Entries(Vec<Entry>),
    /// More has to be said; what to ask.
    AskMore(&'static str),
    /// It can't be understood.
    Not {
        /// The text that the places of the mistakes are in.
        text: String,
        /// What is wrong.
        mistakes: Vec<ReadingError>,
    },
}

/// Numbers of complaints when answered by number, in the order in which they are asked.
const COMPLAINTS: [&str; 5] = ["wont-start", "stops-midway", "wont-finish", "wrong-result", "now and then"];

impl Session {
    /// What an answer to a question means. Nothing is added yet.
    #[must_use]
    pub fn understand(&self, question: Question, said: &str) -> Understood {
        let said = said.trim();
        let machine = self.machine();
        match question {
            Question::Complaint => {
                let number = said.parse().ok().and_then(|number: usize| COMPLAINTS.get(number.wrapping_sub(1)));
                let said = number.copied().unwrap_or(said);
                match read_complained(said) {
                    Err(mistakes) => not(said, mistakes),
                    Ok(_) => one(Kind::Complaint, said),
                }
            }
            Question::Did => {
                let routine = self.now().evidence.routine.unwrap_or(self.now().leading.0);
                let number = said
                    .parse()
                    .ok()
                    .and_then(|number: usize| machine.routines.get(routine)?.actions.get(number.checked_sub(1)?));
                let said = number.map_or(said, |action| action.short.as_str());
                let read: Vec<_> = machine.routines.ids().map(|routine| read_deeds(machine, routine, said)).collect();
                match read.into_iter().reduce(|best, other| if best.is_ok() { best } else { other.or(best) }) {
                    Some(Err(mistakes)) => not(said, mistakes),
                    _ => one(Kind::Did, said),
                }
            }
            Question::Lamps => match read_lamps(machine, said) {
                Ok(lamps) if !lamps.is_empty() => one(Kind::Lamps, said),
                Ok(_) => Understood::AskMore("Which lamps are lit? Read them out, as \"X1 X3 on, rest off\"."),
                Err(mistakes) => not(said, mistakes),
            },
            Question::Proposal(number) => match self.advice().proposals.get(number) {
                Some(proposal) => self.answer_to(proposal, said),
                None => Understood::AskMore("There is nothing to be answered."),
            },
        }
    }

    /// What the question with this key is: one of the proposals, or one of those that a call begins with.
    #[must_use]
    pub fn question_called(&self, key: &str) -> Option<Question> {
        // What is asked at the beginning goes before a proposal of the same key, and needs nothing to be worked out.
        let is_so = |question: &Question| self.key(*question) == key;
        let opening = self.opening().filter(is_so);
        let proposed = || (0..self.advice().proposals.len()).map(Question::Proposal).find(is_so);
        let said_before = || [Question::Complaint, Question::Did, Question::Lamps].into_iter().find(is_so);
        opening.or_else(proposed).or_else(said_before)
    }

    /// What can be said to be not known or not possible: entries for it.
    #[must_use]
    pub fn leave_out(&self, kind: Kind, question: Question) -> Entry {
        Entry::new(kind, self.key(question))
    }

    fn answer_to(&self, proposal: &Proposal, said: &str) -> Understood {
        let machine = self.machine();
        let number = said.parse().ok().and_then(|number: usize| proposal.answers.get(number.wrapping_sub(1)));
        let is_so = |text: &str| text.eq_ignore_ascii_case(said);
        let known =
            number.or_else(|| proposal.answers.iter().find(|answer| is_so(&answer.key) || is_so(&answer.words)));
        let key = known.map(|answer| answer.key.as_str());
        match proposal.to_do {
            ToDo::Check(check) => {
                let text = format!("{}: {}", machine.checks[check].key, key.unwrap_or(said));
                match read_checks(machine, &text) {
                    Ok(reports) if !reports.is_empty() => one(Kind::Found, text),
                    Ok(_) => Understood::AskMore("Choose one of the answers."),
                    Err(mistakes) => not(text, mistakes),
                }
            }
            ToDo::Lamp(place) => {
                let state = match (key, yes_or_no(said)) {
                    (Some("lit"), _) | (None, Some(true)) => Some(LampState::Lit),
                    (Some("dark"), _) | (None, Some(false)) => Some(LampState::Dark),
                    (Some(_), _) => Some(LampState::Flickers),
                    (None, None) => None,
                };
                let text = match state {
                    Some(state) => describe_lamps(machine, &[named(place, state)]),
                    None => format!("{} {said}", place.label(machine)),
                };
                self.lamps(Kind::Lamps, said, text)
            }
            ToDo::Lamps => match key {
                Some("other") => Understood::AskMore("Which lamps are lit? Read them out, as \"X1 X3 on, rest off\"."),
                Some("all off") => one(Kind::Lamps, "rest off"),
                Some(read) => one(Kind::Lamps, format!("{read}, rest off")),
                None => self.lamps(Kind::Lamps, said, said.to_owned()),
            },
            ToDo::Position(mechanism) => {
                let row = &machine.mechanisms[mechanism];
                let text = format!("{} {}", row.name, key.unwrap_or(said));
                match read_positions(machine, &text) {
                    Ok(reports) if !reports.is_empty() => one(Kind::Saw, text),
                    Ok(_) => Understood::AskMore("Where does it stand?"),
                    Err(mistakes) => not(text, mistakes),
                }
            }
            ToDo::Act(deed) => self.act(proposal, deed, key, said),
            ToDo::Remedy(remedy) => {
                let tried = Entry::new(Kind::Tried, &machine.remedies[remedy].key);
                runs(tried, key, said)
            }
            ToDo::GoOn => {
                let (routine, stage) = self.now().leading;
                let actions = machine.routines.get(routine).map_or(0, |routine| routine.actions.len());
                let next = usize::from(stage).min(actions.saturating_sub(1));
                let deeds = describe_deeds(machine, routine, &[Deed::Routine(Some(next))]);
                runs(Entry::new(Kind::Then, if deeds.is_empty() { "wait".to_owned() } else { deeds }), key, said)
            }
        }
    }

    fn lamps(&self, kind: Kind, said: &str, text: String) -> Understood {
        match read_lamps(self.machine(), &text) {
            Ok(reports) if !reports.is_empty() => one(kind, text),
            Ok(_) => Understood::AskMore("How are the lamps? Say it as \"X3 on\"."),
            // What was typed may be a full report by itself.
            Err(mistakes) => match read_lamps(self.machine(), said) {
                Ok(reports) if !reports.is_empty() => one(kind, said),
                _ => not(text, mistakes),
            },
        }
    }

    /// Something was done, and lamps changed or did not. Those that could have changed were looked at.
    fn act(&self, proposal: &Proposal, deed: Deed, key: Option<&str>, said: &str) -> Understood {
        let machine = self.machine();
        let routine = self.now().leading.0;
        let done = Entry::new(Kind::Then, describe_deeds(machine, routine, &[deed]));
        let changed = match key {
            Some("other") => return Understood::AskMore("Which lamps changed, and how? Say it as \"X3 on, X12 off\"."),
            Some("nothing") => Vec::new(),
            Some(pattern) => changes(machine, pattern),
            None => match read_lamps(machine, said) {
                Ok(reports) if !reports.is_empty() => reports,
                Ok(_) => return Understood::AskMore("Which lamps changed, and how? Say it as \"X3 on, X12 off\"."),
                Err(mistakes) => return not(said, mistakes),
            },
        };
        let mut lamps = changed;
        let before = self.now().evidence.moments.iter().rev().find(|moment| !moment.lamps.is_empty());
        if let (Some(before), Some(_)) = (before, key) {
            let in_question: Vec<LampPlace> = (proposal.answers.iter())
                .flat_map(|answer| changes(machine, &answer.key))
                .map(|one| one.place)
                .collect();
            for report in before.lamps.iter().filter(|report| in_question.contains(&report.place)) {
                if lamps.iter().all(|known| known.place != report.place) {
                    lamps.push(named(report.place, report.state));
                }
            }
        }
        let text = describe_lamps(machine, &lamps);
        Understood::Entries(if text.is_empty() { vec![done] } else { vec![done, Entry::new(Kind::Lamps, text)] })
    }

    /// What this key names, for entries that leave something out.
    #[must_use]
    pub fn knows(&self, key: &str) -> bool {
        to_do_called(self.machine(), key).is_some() || super::build::OPENING.contains(&key)
    }
}

fn one(kind: Kind, text: impl AsRef<str>) -> Understood {
    Understood::Entries(vec![Entry::new(kind, text)])
}

fn not(text: impl Into<String>, mistakes: Vec<ReadingError>) -> Understood {
    Understood::Not { text: text.into(), mistakes }
}

fn runs(done: Entry, key: Option<&str>, said: &str) -> Understood {
    let runs = key.map(|key| key == "runs").or_else(|| yes_or_no(said));
    match runs {
        Some(runs) => Understood::Entries(vec![done, Entry::new(Kind::Runs, if runs { "yes" } else { "no" })]),
        None => Understood::AskMore("Does it run now? Say yes or no; or ? if nobody tried."),
    }
}

fn named(place: LampPlace, state: LampState) -> LampReport {
    LampReport { place, state, naming: crate::evidence::Naming::Named }
}

/// The lamps of an answer such as `X3 lights; Y0 goes dark`.
fn changes(machine: &Machine, key: &str) -> Vec<LampReport> {
    let verbs =
        [(" lights", LampState::Lit), (" goes dark", LampState::Dark), (" goes on and off", LampState::Flickers)];
    key.split("; ")
        .filter_map(|part| {
            let (name, state) = verbs.iter().find_map(|(verb, state)| Some((part.strip_suffix(verb)?, *state)))?;
            let (place, _) = LampPlace::all(machine).find(|(_, lamp)| lamp.label == name)?;
            Some(named(place, state))
        })
        .collect()
}
