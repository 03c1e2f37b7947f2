//! An exercise led in the terminal.

use diagnose::next::Announcement;
use diagnose::practice::{Exercise, Group, Mistake, Outcome};
use machine::model::DeviationKind;

use super::kept::{Kept, Line};
use super::lists::{Lists, Meant, Place, What};
use super::{lamps, looking_back};
use crate::answers::Answers;
use crate::commands::call::{minutes, sentence};
use crate::commands::play::did_you_mean;
use crate::failure::Failure;
use crate::progress;
use crate::screen::{FAINT, PLAIN, STRONG, Screen, TITLE, padded, paragraph};

/// More is never wrong at once.
const MOST_NAMED: usize = 2;

/// An exercise with its terminal.
pub struct Led<'l, 'd> {
    exercise: Exercise<'d>,
    answers: &'l mut Answers,
    screen: Screen,
    lists: Lists,
}

impl<'l, 'd> Led<'l, 'd> {
    /// Begins.
    pub fn new(exercise: Exercise<'d>, answers: &'l mut Answers, screen: Screen) -> Self {
        Self { lists: Lists::of(&exercise), exercise, answers, screen }
    }

    /// Leads it to its end, looks back, and keeps how it went.
    pub fn lead(mut self, kept: &mut Kept) -> Result<(), Failure> {
        self.say(&self.beginning())?;
        while self.exercise.outcome().is_none() {
            self.say(&format!("{FAINT}{}{FAINT:#} > ", minutes(self.exercise.minutes())))?;
            let Some(said) = self.answers.next()? else { break };
            if !self.answers.typed {
                self.say(&format!("{said}\n"))?;
            }
            if said.is_empty() {
                continue;
            }
            let told = self.answer(&said);
            self.say(&told)?;
        }
        self.exercise.give_up();
        let review = progress::while_working("looking back", || self.exercise.review());
        let right = usize::from(matches!(review.outcome, Outcome::Found | Outcome::Runs));
        let (machine, what) = (self.exercise.machine().name.clone(), self.exercise.level().name().to_owned());
        kept.add(Line {
            machine: machine.clone(),
            what: what.clone(),
            number: self.exercise.number(),
            right,
            of: 1,
            minutes: review.minutes,
            advised_minutes: review.advised_minutes,
        })?;
        if self.screen.json {
            return self.screen.print_json(&looking_back::document(&self.exercise, &review));
        }
        let mut out = looking_back::page(&review, self.screen.width);
        if let Some((right, of, ratio)) = kept.lately(&machine, &what) {
            let minutes =
                if right > 0 { format!(", in {ratio:.1} times the program's minutes") } else { String::new() };
            let text = format!("Of the last {of} of this level {right} right{minutes}.");
            out.push('\n');
            paragraph(&mut out, self.screen.width, "", "", STRONG, &text);
        }
        self.screen.print(&out)
    }

    fn say(&self, text: &str) -> Result<(), Failure> {
        if self.screen.json { Ok(()) } else { self.screen.print(text) }
    }

    fn beginning(&self) -> String {
        let mut out = String::new();
        let exercise = &self.exercise;
        let title = format!("{}, exercise {}", exercise.machine().name, exercise.number());
        paragraph(&mut out, self.screen.width, "", "", TITLE, &title);
        paragraph(&mut out, self.screen.width, "", "", FAINT, &sentence(exercise.level().words()));
        let opening = exercise.opening();
        let said =
            |what: &str, words: &str| if words.is_empty() { String::new() } else { format!(" {what}: {words}.") };
        let before = said("What was being done", &opening.doing) + &said("Done last", &opening.did);
        let text = format!("\"{}.\"{before} You stand at the machine; what is it?", sentence(&opening.complaint));
        paragraph(&mut out, self.screen.width, "", "", PLAIN, &text);
        let text = "Everything takes its minutes. This machine is simulated; at a real one the builder's manual, \
                    lockout rules and local codes come first. `?` tells what can be typed.";
        paragraph(&mut out, self.screen.width, "", "", FAINT, text);
        out
    }

    fn answer(&mut self, said: &str) -> String {
        let (word, rest) = said.split_once(char::is_whitespace).unwrap_or((said, ""));
        let rest = rest.trim();
        match (word.to_lowercase().as_str(), rest) {
            ("?" | "help", _) => self.help(),
            ("lamps", _) => self.take("lamps"),
            ("lamp", label) if !label.is_empty() => self.take(&format!("lamp:{label}")),
            ("look", "") => self.list(What::Positions, ""),
            ("do", "") => self.list(What::Hands, ""),
            ("checks" | "check", "") => self.list(What::Checks, ""),
            ("remedies" | "try", "") => self.list(What::Remedies, ""),
            ("look", typed) => self.take_one(What::Positions, typed),
            ("do", typed) => self.take_one(What::Hands, typed),
            ("check", typed) => self.take_one(What::Checks, typed),
            ("try", typed) => self.take_one(What::Remedies, typed),
            ("checks", device) => self.list(What::Checks, device),
            ("remedies", device) => self.list(What::Remedies, device),
            ("causes", device) => self.list(What::Causes, device),
            ("it", causes) if causes.to_lowercase().starts_with("is ") => self.name(causes[3..].trim()),
            ("it's" | "its", causes) if !causes.is_empty() => self.name(causes),
            ("so", "far") => self.so_far(),
            ("give", "up") | ("quit" | "exit", "") => {
                self.exercise.give_up();
                String::new()
            }
            // A lamp may be named by its label alone.
            _ if self.has(&format!("lamp:{said}")) => self.take(&format!("lamp:{said}")),
            _ => format!("`{said}`? This can be typed:\n{}", self.help()),
        }
    }

    /// What can be typed, with names of this machine.
    fn help(&self) -> String {
        let machine = self.exercise.machine();
        let name = |group: Group| {
            let mut those = self.exercise.offers().iter().filter(|offer| offer.group == group);
            let of_devices = matches!(group, Group::Checks | Group::Remedies);
            let named = those.find_map(|offer| {
                let key = offer.key.split_once(':')?.1;
                (!of_devices || offer.device.is_some()).then_some((offer.device, key))
            });
            named.map(|(device, key)| (device.map_or("", |one| machine.devices[one].name.as_str()), key))
        };
        let fault = machine.deviations.rows().find_map(|row| match row.kind {
            DeviationKind::Fault(device) => Some((machine.devices[device].name.as_str(), row.key.as_str())),
            DeviationKind::Lapse => None,
        });
        let (lamp, position) = (name(Group::Lamps), name(Group::Positions));
        let (check, remedy) = (name(Group::Checks), name(Group::Remedies));
        let mut rows: Vec<(String, String)> = vec![("lamps".to_owned(), "read all lamps".to_owned())];
        let mut put = |typed: String, words: &str| rows.push((typed, words.to_owned()));
        if let Some((_, label)) = lamp {
            put(format!("lamp {label}"), "look at one lamp");
        }
        if let Some((_, place)) = position {
            put("look".to_owned(), "what there is to look at");
            put(format!("look {place}"), "where it stands");
        }
        put("do".to_owned(), "what hands can do");
        put("do 2".to_owned(), "do the second of that");
        if let Some((device, key)) = check {
            put(format!("checks {device}"), "what can be checked there; `checks`: where");
            put("check 2".to_owned(), "make the second of these checks");
            put(format!("check {key}"), "make this check");
        }
        if let Some((device, key)) = remedy {
            put(format!("remedies {device}"), "what can be put right there; `remedies`: where");
            put(format!("try {key}"), "put that right, and see whether it runs; `try 2` as well");
        }
        if let Some((device, key)) = fault {
            put("causes".to_owned(), "what can be forgotten or missing");
            put(format!("causes {device}"), "what can be wrong there");
            put("it is 2".to_owned(), "say what it is: the second of these causes");
            put(format!("it is {key}"), "the same by name or in words; two with `and` between them");
        }
        put("it is nothing".to_owned(), "nothing is wrong: it waits for you");
        put("so far".to_owned(), "what was done");
        put("give up".to_owned(), "look at the solution; so does `quit`");
        let widest = rows.iter().map(|(typed, _)| typed.chars().count()).max().unwrap_or(0) + 2;
        let mut out = String::new();
        for (typed, words) in rows {
            let first = format!("  {}", padded(&typed, widest));
            paragraph(&mut out, self.screen.width, &first, &" ".repeat(widest + 2), PLAIN, &words);
        }
        out
    }

    fn has(&self, key: &str) -> bool {
        self.exercise.offers().iter().any(|offer| offer.key.eq_ignore_ascii_case(key))
    }

    /// Does the one of these that is meant by a number, a key or words.
    fn take_one(&mut self, what: What, typed: &str) -> String {
        match self.lists.meant(what, typed) {
            Meant::One(key) => self.take(&key),
            Meant::Several(keys) => self.several(what, typed, keys),
            Meant::None(text) => self.told(&text),
        }
    }

    fn told(&self, text: &str) -> String {
        let mut out = String::new();
        paragraph(&mut out, self.screen.width, "  ", "  ", PLAIN, text);
        out
    }

    fn several(&mut self, what: What, typed: &str, keys: Vec<String>) -> String {
        /// So many can be chosen from.
        const MOST: usize = 15;
        let more = keys.len().saturating_sub(MOST);
        let mut out = self.told(&format!("`{typed}` can be more than one; say its number:"));
        out += &self.lists.show(what, keys.into_iter().take(MOST).collect(), self.screen.width);
        if more > 0 {
            out += &self.told(&format!("and {more} more: say it in more words"));
        }
        out
    }

    fn list(&mut self, what: What, place: &str) -> String {
        match self.lists.at(what, place) {
            Place::Listed(keys, more) => {
                let mut out = self.lists.show(what, keys, self.screen.width);
                if let Some(more) = more {
                    paragraph(&mut out, self.screen.width, "  ", "  ", FAINT, &more);
                }
                out
            }
            Place::Which(text) => self.told(&text),
        }
    }

    fn take(&mut self, key: &str) -> String {
        let machine = self.exercise.machine();
        let before: Vec<String> = self
            .exercise
            .offers()
            .iter()
            .filter(|offer| offer.key.eq_ignore_ascii_case(key))
            .flat_map(|offer| offer.cautions.iter().map(|caution| caution.english().to_owned()))
            .collect();
        let mut out = String::new();
        let looked_at = self.exercise.offers().iter().find(|offer| offer.key.eq_ignore_ascii_case(key));
        let looked_at = looked_at.and_then(|offer| offer.words.strip_prefix("look where it stands: "));
        let looked_at = looked_at.map(|name| format!("{name}: ")).unwrap_or_default();
        let movements = self.exercise.can_move(key);
        let moves = Announcement::of(&movements).map(|one| one.with_probabilities());
        for caution in before.into_iter().chain(moves) {
            paragraph(&mut out, self.screen.width, "  ! ", "    ", STRONG, &caution);
        }
        match self.exercise.take(key) {
            Ok(done) => {
                if !done.lamps.is_empty() {
                    lamps::write(&mut out, machine, &done.lamps);
                }
                let text = format!("{looked_at}{} ({})", done.seen, minutes(done.minutes));
                paragraph(&mut out, self.screen.width, "  ", "  ", PLAIN, &text);
            }
            Err(Mistake::Over | Mistake::NoSuchCause) => {}
            Err(Mistake::NoSuchThing) => {
                let (kind, name) = key.split_once(':').unwrap_or(("", key));
                let known = self.exercise.offers().iter().filter_map(|offer| offer.key.split_once(':'));
                let names = known.filter(|(of, _)| *of == kind).map(|(_, name)| name);
                let text = format!("There is no `{name}`; {}.", did_you_mean(name, names).trim_end_matches('?'));
                paragraph(&mut out, self.screen.width, "  ", "  ", PLAIN, &text);
            }
        }
        out
    }

    fn name(&mut self, typed: &str) -> String {
        let typed = typed.trim_end_matches(['.', '!']);
        let mut keys = Vec::new();
        if !["nothing", "nothing is wrong", "none"].contains(&typed.to_lowercase().as_str()) {
            // A cause can have an "and" in its words.
            let whole = self.lists.meant(What::Causes, typed);
            let parts = if matches!(whole, Meant::One(_)) { vec![typed] } else { typed.split(" and ").collect() };
            for part in parts.into_iter().map(str::trim) {
                match self.lists.meant(What::Causes, part) {
                    Meant::One(key) => keys.push(key),
                    Meant::Several(keys) => return self.several(What::Causes, part, keys),
                    Meant::None(text) => return self.told(&text),
                }
            }
        }
        if keys.len() > MOST_NAMED {
            return self.told("At most two things are wrong: name one, or two with `and` between them.");
        }
        let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
        match self.exercise.name_cause(&keys) {
            Ok(_) => String::new(),
            // Every key comes from the machine's own causes, and the exercise is not over.
            Err(_) => self.told("That can't be said here; `?` tells what can be typed."),
        }
    }

    fn so_far(&self) -> String {
        let mut out = String::new();
        for (number, done) in self.exercise.done().iter().enumerate() {
            let text = format!("{}: {} ({})", done.words.trim_end_matches('.'), done.seen, minutes(done.minutes));
            paragraph(&mut out, self.screen.width, &format!("  {}. ", number + 1), "     ", PLAIN, &text);
        }
        if out.is_empty() { "  Nothing was done yet.\n".to_owned() } else { out }
    }
}
