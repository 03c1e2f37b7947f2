//! From an answer to entries: by its number, its key, its words, or as people say it.

use super::as_said::{bare, is_as_before, is_dark, is_none, leaves_out, yes_or_no};
use super::build::to_do_called;
use super::entry::{Entry, Kind};
use super::session::{Question, Session};
use crate::evidence::{Deed, LampPlace, LampReport, LampState};
use crate::next::{Proposal, ToDo};
use crate::reading::{
    MistakeKind, ReadingError, describe_checks, describe_deeds, describe_lamps, describe_positions, read_checks,
    read_complained, read_deeds, read_lamps, read_positions,
};
use machine::Machine;
use machine::id::RoutineId;
use machine::model::LampKind;

/// What came of an answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Understood {
    /// It means this.
    Entries(Vec<Entry>),
    /// More has to be said; what to ask.
    AskMore(String),
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
    /// What an answer to a question means. Nothing is added yet. What means something only by the question is taken so:
    /// "as before" is the last reading of what is asked, or that it does not run, or that no lamp has changed.
    #[must_use]
    pub fn understand(&self, question: Question, said: &str) -> Understood {
        let said = bare(said);
        if let Some(kind) = leaves_out(said).filter(|_| !self.is_among_answers(question, said)) {
            return Understood::Entries(vec![self.leave_out(kind, question)]);
        }
        let understood = if is_as_before(said) { self.as_before(question, said) } else { self.answer(question, said) };
        match (understood, self.answers(question)) {
            // What is no number of an answer, nor anything else, is told with the numbers that there are.
            (Understood::Not { .. }, most) if most > 0 && is_number(said) => {
                let what = format!("there is no answer {said}");
                mistaken(
                    MistakeKind::NoSuchName,
                    said,
                    what,
                    format!("type a number from 1 to {most}, or say it in words"),
                )
            }
            (understood, _) => understood,
        }
    }

    fn answer(&self, question: Question, said: &str) -> Understood {
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
                let routine = self.asked_routine();
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
            Question::Lamps => self.all_lamps(said),
            Question::Proposal(number) => match self.advice().proposals.get(number) {
                Some(proposal) => self.answer_to(proposal, said),
                None => Understood::AskMore("There is nothing to be answered.".to_owned()),
            },
        }
    }

    /// The routine whose actions are offered where it is asked what was done.
    fn asked_routine(&self) -> RoutineId {
        self.now().evidence.routine.unwrap_or(self.now().leading.0)
    }

    /// How many answers have a number.
    fn answers(&self, question: Question) -> usize {
        match question {
            Question::Complaint => COMPLAINTS.len(),
            Question::Did => {
                self.machine().routines.get(self.asked_routine()).map_or(0, |routine| routine.actions.len())
            }
            Question::Lamps => 0,
            Question::Proposal(number) => self.advice().proposals.get(number).map_or(0, |one| one.answers.len()),
        }
    }

    /// Whether this is the key or the words of an answer.
    fn is_among_answers(&self, question: Question, said: &str) -> bool {
        let Question::Proposal(number) = question else { return false };
        let answers = self.advice().proposals.get(number).map_or(&[][..], |one| one.answers.as_slice());
        answers.iter().any(|answer| answer.key.eq_ignore_ascii_case(said) || answer.words.eq_ignore_ascii_case(said))
    }

    /// Lamps, asked for without a list to choose from.
    fn all_lamps(&self, said: &str) -> Understood {
        if is_dark(said) {
            return one(Kind::Lamps, "rest off");
        }
        match read_lamps(self.machine(), said) {
            Ok(lamps) if !lamps.is_empty() => one(Kind::Lamps, said),
            Ok(_) => Understood::AskMore(self.ask_lamps()),
            Err(mistakes) => not(said, mistakes),
        }
    }

    fn ask_lamps(&self) -> String {
        format!("Which lamps are lit? Read them out, as \"{}\".", lamps_as(self.machine()))
    }

    fn ask_changed(&self) -> String {
        let mut labels = LampPlace::all(self.machine()).map(|(_, lamp)| lamp.label.as_str());
        let (one, other) = (labels.next().unwrap_or("X1"), labels.next().unwrap_or("X2"));
        format!("Which lamps changed, and how? Say it as \"{one} on, {other} off\".")
    }

    /// What "as before" means: by what was asked.
    fn as_before(&self, question: Question, said: &str) -> Understood {
        let machine = self.machine();
        let unclear = |what: &str, hint: String| mistaken(MistakeKind::Unclear, said, format!("`{said}` {what}"), hint);
        let proposal = match question {
            Question::Complaint => {
                let hint = format!("type a number from 1 to {}, or what is wrong in words", COMPLAINTS.len());
                return unclear("does not say what is wrong", hint);
            }
            Question::Did => {
                let hint =
                    "name the last thing that was done, or its number; `nothing`, or `?` if nobody knows".to_owned();
                return unclear("does not say what was done", hint);
            }
            Question::Lamps => None,
            Question::Proposal(number) => match self.advice().proposals.get(number) {
                None => return self.answer(question, said),
                proposal => proposal,
            },
        };
        match proposal.map(|one| one.to_do) {
            None | Some(ToDo::Lamps) => {
                let hint = format!("read them out, as \"{}\"", lamps_as(machine));
                match self.lamps_before(|_| true) {
                    lamps if lamps.is_empty() => unclear("says nothing here: these lamps were not read before", hint),
                    lamps => one(Kind::Lamps, describe_lamps(machine, &lamps)),
                }
            }
            Some(ToDo::Lamp(place)) => match self.lamps_before(|one| one == place) {
                lamps if lamps.is_empty() => {
                    let what = format!("says nothing here: lamp {} was not read before", place.label(machine));
                    unclear(&what, "say `lit`, `dark` or `goes on and off`; `?` if nobody knows".to_owned())
                }
                lamps => one(Kind::Lamps, describe_lamps(machine, &lamps)),
            },
            Some(ToDo::Check(check)) => {
                let mut moments = self.now().evidence.moments.iter().rev();
                match moments.find_map(|moment| moment.checks.iter().find(|one| one.check == check)) {
                    Some(report) => one(Kind::Found, describe_checks(machine, &[*report])),
                    None => unclear("says nothing here: this was not checked before", answers_hint(proposal)),
                }
            }
            Some(ToDo::Position(mechanism)) => {
                let mut moments = self.now().evidence.moments.iter().rev();
                match moments.find_map(|moment| moment.positions.iter().find(|one| one.mechanism == mechanism)) {
                    Some(report) => one(Kind::Saw, describe_positions(machine, &[*report])),
                    None => {
                        unclear("says nothing here: nobody has looked before where it stands", answers_hint(proposal))
                    }
                }
            }
            Some(ToDo::Act(deed)) => match proposal {
                Some(proposal) => self.act(proposal, deed, Some("nothing"), said),
                None => self.answer(question, said),
            },
            Some(ToDo::Remedy(remedy)) => {
                runs(Entry::new(Kind::Tried, &machine.remedies[remedy].key), Some("as before"), said)
            }
            Some(ToDo::GoOn) => runs(self.going_on(), Some("as before"), said),
        }
    }

    /// The last reading of these lamps, as far as they were not read again since anything was done.
    fn lamps_before(&self, is_asked: impl Fn(LampPlace) -> bool) -> Vec<LampReport> {
        let moments = &self.now().evidence.moments;
        let Some((present, before)) = moments.split_last() else { return Vec::new() };
        let is_read = |lamps: &[LampReport], place| lamps.iter().any(|one| one.place == place);
        let mut lamps: Vec<LampReport> = Vec::new();
        for report in before.iter().rev().flat_map(|moment| &moment.lamps) {
            if is_asked(report.place) && !is_read(&present.lamps, report.place) && !is_read(&lamps, report.place) {
                lamps.push(named(report.place, report.state));
            }
        }
        lamps
    }

    /// The next action of the routine, as something that was done.
    fn going_on(&self) -> Entry {
        let (routine, stage) = self.now().leading;
        let actions = self.machine().routines.get(routine).map_or(0, |routine| routine.actions.len());
        let next = usize::from(stage).min(actions.saturating_sub(1));
        let deeds = describe_deeds(self.machine(), routine, &[Deed::Routine(Some(next))]);
        Entry::new(Kind::Then, if deeds.is_empty() { "wait".to_owned() } else { deeds })
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
                let said = yes_or_no(said).map_or(said, |yes| if yes { "yes" } else { "no" });
                let text = format!("{}: {}", machine.checks[check].key, key.unwrap_or(said));
                match read_checks(machine, &text) {
                    Ok(reports) if !reports.is_empty() => one(Kind::Found, text),
                    _ => mistaken(
                        MistakeKind::NoSuchName,
                        said,
                        format!("`{said}` is none of the answers"),
                        answers_hint(Some(proposal)),
                    ),
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
                Some("other") => Understood::AskMore(self.ask_lamps()),
                Some("all off") => one(Kind::Lamps, "rest off"),
                Some(read) => one(Kind::Lamps, format!("{read}, rest off")),
                None => self.all_lamps(said),
            },
            ToDo::Position(mechanism) => {
                let row = &machine.mechanisms[mechanism];
                let text = format!("{} {}", row.name, key.unwrap_or(said));
                match read_positions(machine, &text) {
                    Ok(reports) if !reports.is_empty() => one(Kind::Saw, text),
                    _ => mistaken(
                        MistakeKind::NoSuchName,
                        said,
                        format!("`{said}` does not say where it stands"),
                        answers_hint(Some(proposal)),
                    ),
                }
            }
            ToDo::Act(deed) => self.act(proposal, deed, key, said),
            ToDo::Remedy(remedy) => {
                let tried = Entry::new(Kind::Tried, &machine.remedies[remedy].key);
                runs(tried, key, said)
            }
            ToDo::GoOn => runs(self.going_on(), key, said),
        }
    }

    fn lamps(&self, kind: Kind, said: &str, text: String) -> Understood {
        match read_lamps(self.machine(), &text) {
            Ok(reports) if !reports.is_empty() => one(kind, text),
            Ok(_) => Understood::AskMore(self.ask_lamps()),
            // What was typed may be a full report by itself.
            Err(mistakes) => match read_lamps(self.machine(), said) {
                Ok(reports) if !reports.is_empty() => one(kind, said),
                // A mistake is shown in what was typed.
                _ => {
                    let before = text.len() - text.strip_suffix(said).map_or(text.len(), |_| said.len());
                    let at = |place: usize| place.saturating_sub(before).min(said.len());
                    let shifted = mistakes.into_iter().map(|one| ReadingError {
                        span: at(one.span.start)..at(one.span.end),
                        other: one.other.map(|other| at(other.start)..at(other.end)),
                        ..one
                    });
                    not(said, shifted.collect())
                }
            },
        }
    }

    /// Something was done, and lamps changed or did not. Those that could have changed were looked at.
    fn act(&self, proposal: &Proposal, deed: Deed, key: Option<&str>, said: &str) -> Understood {
        let machine = self.machine();
        let routine = self.now().leading.0;
        let done = Entry::new(Kind::Then, describe_deeds(machine, routine, &[deed]));
        let key = key.or_else(|| is_none(said).then_some("nothing"));
        let changed = match key {
            Some("other") => return Understood::AskMore(self.ask_changed()),
            Some("nothing") => Vec::new(),
            Some(pattern) => changes(machine, pattern),
            None => match read_lamps(machine, said) {
                Ok(reports) if !reports.is_empty() => reports,
                _ if yes_or_no(said) == Some(true) => return Understood::AskMore(self.ask_changed()),
                Ok(_) => return Understood::AskMore(self.ask_changed()),
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

/// One mistake, about all that was said.
fn mistaken(kind: MistakeKind, said: &str, what: String, hint: String) -> Understood {
    not(said, vec![ReadingError { kind, span: 0..said.len(), other: None, what, hint }])
}

/// The answers that a proposal has, to be shown with what is none of them.
fn answers_hint(proposal: Option<&Proposal>) -> String {
    let answers = proposal.map_or(&[][..], |one| one.answers.as_slice());
    let words: Vec<String> = answers.iter().enumerate().map(|(at, one)| format!("{} {}", at + 1, one.words)).collect();
    format!("the answers are: {}; or `?` if nobody knows", words.join(", "))
}

fn is_number(said: &str) -> bool {
    said.strip_prefix(['-', '+']).unwrap_or(said).chars().all(|letter| letter.is_ascii_digit()) && !said.is_empty()
}

/// How lamps are read out, with names of this machine: `X1 X3 on, X4 flickers, rest off`.
#[must_use]
pub fn lamps_as(machine: &Machine) -> String {
    let used = |kind: &LampKind| matches!(kind, LampKind::Input(_));
    let all = LampPlace::all(machine).filter(|(_, lamp)| used(&lamp.kind));
    let labels: Vec<&str> = all.map(|(_, lamp)| lamp.label.as_str()).take(3).collect();
    match labels[..] {
        [one, two, three] => format!("{one} {two} on, {three} flickers, rest off"),
        [one, ..] => format!("{one} on, rest off"),
        [] => "all off".to_owned(),
    }
}

fn runs(done: Entry, key: Option<&str>, said: &str) -> Understood {
    let runs = key.map(|key| key == "runs").or_else(|| yes_or_no(said));
    match runs {
        Some(runs) => Understood::Entries(vec![done, Entry::new(Kind::Runs, if runs { "yes" } else { "no" })]),
        None => mistaken(
            MistakeKind::Unclear,
            said,
            format!("`{said}` does not say whether it runs"),
            "say `yes` or `no`; `?` if nobody tried, `can't` if nobody can".to_owned(),
        ),
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
