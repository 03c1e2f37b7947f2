//! What an operator has entered in the offline guide, as a short code that can be read aloud over the phone.
//!
//! The code is a row of bits, five to a letter of a base-32 alphabet without I, L, O and U, with three letters at
//! the end that check it: the CRC-15 of ISO 11898-1 (CAN). A wrong letter is a burst of five bits, and a CRC of 15
//! bits notices every burst of up to 15; two letters that changed places, wherever they stand, are noticed because
//! its generator polynomial divides no d(x)·(x^5k + 1) with d below degree 5 and k below 127, and no code is longer.
//!
//! ```text
//! version 2 bits (10) · machine file 10 · complaint 3 (4: none) · last thing done 1, then routine 4, action 5
//! (0: only powered on) · "all others dark" 1 · each lamp, see LAMP_CODES · answers 5, each question 8, answer 4
//! (15: nobody knows) · to be tried 3, each 0 and remedy 8 or 1 and routine 4 and action 5, then 0 as before, 10 it runs, 11
//! nobody could do it · zeros
//! ```

use super::entry::{Entry, Kind};
use super::heard::entries_of;
use super::record::fingerprint;
use crate::digest::{Asked, Report, asked_of_operator, remedies_of_operator};
use crate::evidence::{Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming};
use crate::next::ToDo;
use crate::reading::describe_deeds;
use machine::Machine;
use machine::id::{Id, RemedyId, RoutineId};
use std::fmt;

/// The letters of a code, in the order of their values.
pub const LETTERS: &str = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Letters in a group.
pub const GROUP: usize = 4;
/// Letters that check the others.
const CHECK_LETTERS: usize = 3;
/// Longer codes are not made: of these the check still finds every exchange of two letters.
const LONGEST: usize = 126;

const VERSION: u32 = 2;
const COMPLAINTS: [Complaint; 4] =
    [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult];
const NOBODY_KNOWS: u32 = 15;

/// How a lamp was seen: `None` is "not seen", else the state and whether it was one of "all others dark".
type Seen = Option<(LampState, Naming)>;

/// What an operator has entered.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Entered {
    /// The complaint.
    pub complaint: Option<Complaint>,
    /// The routine and the action of it that was done last; no action: only powered on.
    pub last: Option<(RoutineId, Option<usize>)>,
    /// The lamps, in the order of the panel.
    pub lamps: Vec<Option<(LampState, Naming)>>,
    /// Questions with the number of the answer; none: nobody knows.
    pub answers: Vec<(Asked, Option<usize>)>,
    /// What was to be tried, and what came of it.
    pub tried: Vec<(Tried, Came)>,
}

/// Something that an operator has tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tried {
    /// A remedy.
    Remedy(RemedyId),
    /// Going on with this action of a routine.
    GoOn(RoutineId, usize),
}

/// What came of something that was to be tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Came {
    /// All is as before.
    AsBefore,
    /// The machine runs.
    Runs,
    /// The operator could not do it.
    CouldNot,
}

/// Why a code can't be taken in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CodeMistake {
    /// A character that no code has.
    Letter(char),
    /// The check letters don't fit: something was misread, misheard, left out or exchanged.
    Check,
    /// It was made for another machine file or revision.
    OtherMachine,
    /// It was made by another version of the program.
    OtherVersion,
    /// It holds together, and names what this machine does not have.
    Content,
    /// There is too much to be read aloud.
    TooLong,
}

impl CodeMistake {
    /// A short name for programs.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Letter(_) => "code-letter",
            Self::Check => "code-check",
            Self::OtherMachine => "code-other-machine",
            Self::OtherVersion => "code-other-version",
            Self::Content => "code-content",
            Self::TooLong => "code-too-long",
        }
    }

    /// What to do.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Letter(_) => "a code has digits and letters without I, L, O and U; have it read again",
            Self::Check => "have it read once more, group by group",
            Self::OtherMachine => {
                "name the machine file, and with --revision or --serial the revision, that the guide was made from; or \
                 have the guide made anew"
            }
            Self::OtherVersion => "have the guide made anew with this version",
            Self::Content => "please report this, with the code and the machine file",
            Self::TooLong => "send it as text",
        }
    }
}

impl fmt::Display for CodeMistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Letter(letter) => write!(f, "`{letter}` is in no code"),
            Self::Check => write!(f, "the code was misread: its check letters do not fit"),
            Self::OtherMachine => write!(f, "the code is about another machine file or revision"),
            Self::OtherVersion => write!(f, "the code was made by another version of the program"),
            Self::Content => write!(f, "the code names what this machine does not have"),
            Self::TooLong => write!(f, "there is too much for a code"),
        }
    }
}

impl std::error::Error for CodeMistake {}

/// What a code says of the machine file: ten bits of its [`fingerprint`] and of the revision.
#[must_use]
pub fn mark(machine: &Machine, file: &str) -> u32 {
    let whole = fingerprint([file, machine.revision.as_deref().unwrap_or_default()]);
    u32::from_str_radix(whole.get(..4).unwrap_or_default(), 16).unwrap_or(0) & 0x3ff
}

/// The code of what was entered; `file` is the [`fingerprint`] of the machine file.
///
/// # Errors
/// [`CodeMistake::TooLong`], and [`CodeMistake::Content`] for what this machine does not have.
pub fn encode(machine: &Machine, file: &str, entered: &Entered) -> Result<String, CodeMistake> {
    let mut bits = Bits::default();
    bits.put(VERSION, 2);
    bits.put(mark(machine, file), 10);
    let complaint = entered.complaint.and_then(|one| COMPLAINTS.iter().position(|known| *known == one));
    bits.put(number(complaint.unwrap_or(4))?, 3);
    bits.put(u32::from(entered.last.is_some()), 1);
    if let Some((routine, action)) = entered.last {
        bits.put_small(routine.index(), 4)?;
        bits.put_small(action.map_or(0, |action| action + 1), 5)?;
    }
    let rest = entered.lamps.iter().flatten().any(|(_, naming)| *naming == Naming::Rest);
    bits.put(u32::from(rest), 1);
    for lamp in 0..LampPlace::all(machine).count() {
        let seen = entered.lamps.get(lamp).copied().flatten();
        let (code, length) = lamp_code(rest, seen);
        bits.put(code, length);
    }
    let asked = asked_of_operator(machine);
    bits.put_small(entered.answers.len(), 5)?;
    for (question, answer) in &entered.answers {
        let at = asked.iter().position(|known| known == question).ok_or(CodeMistake::Content)?;
        bits.put_small(at, 8)?;
        let answer = answer.map_or(Ok(NOBODY_KNOWS), number)?;
        bits.put_small(answer as usize, 4)?;
    }
    let remedies = remedies_of_operator(machine);
    bits.put_small(entered.tried.len(), 3)?;
    for (tried, came) in &entered.tried {
        match tried {
            Tried::Remedy(remedy) => {
                bits.put(0, 1);
                bits.put_small(remedies.iter().position(|known| known == remedy).ok_or(CodeMistake::Content)?, 8)?;
            }
            Tried::GoOn(routine, action) => {
                bits.put(1, 1);
                bits.put_small(routine.index(), 4)?;
                bits.put_small(*action, 5)?;
            }
        }
        match came {
            Came::AsBefore => bits.put(0, 1),
            Came::Runs => bits.put(0b10, 2),
            Came::CouldNot => bits.put(0b11, 2),
        }
    }
    bits.letters()
}

/// What a code says. Capitals and small letters, blanks and hyphens are all the same; O is read as 0, I and L as 1.
///
/// # Errors
/// Why it can't be taken in.
pub fn decode(machine: &Machine, file: &str, code: &str) -> Result<Entered, CodeMistake> {
    let mut bits = Bits::of_letters(code)?;
    match bits.take(2)? {
        VERSION => {}
        // Nothing was ever of this version, and the check does not notice noughts put before.
        0 => return Err(CodeMistake::Check),
        _ => return Err(CodeMistake::OtherVersion),
    }
    if bits.take(10)? != mark(machine, file) {
        return Err(CodeMistake::OtherMachine);
    }
    let complaint = match bits.take(3)? {
        4 => None,
        at => Some(*COMPLAINTS.get(at as usize).ok_or(CodeMistake::Content)?),
    };
    let mut entered = Entered { complaint, ..Entered::default() };
    if bits.take(1)? == 1 {
        let routine = RoutineId::new(bits.take(4)? as usize);
        let action = (bits.take(5)? as usize).checked_sub(1);
        let row = machine.routines.get(routine).ok_or(CodeMistake::Content)?;
        if action.is_some_and(|action| action >= row.actions.len()) {
            return Err(CodeMistake::Content);
        }
        entered.last = Some((routine, action));
    }
    let rest = bits.take(1)? == 1;
    for _ in LampPlace::all(machine) {
        entered.lamps.push(bits.lamp(rest)?);
    }
    let asked = asked_of_operator(machine);
    for _ in 0..bits.take(5)? {
        let question = *asked.get(bits.take(8)? as usize).ok_or(CodeMistake::Content)?;
        let answer = Some(bits.take(4)?).filter(|answer| *answer != NOBODY_KNOWS).map(|answer| answer as usize);
        if answer.is_some_and(|answer| answer >= question.answers(machine)) {
            return Err(CodeMistake::Content);
        }
        entered.answers.push((question, answer));
    }
    let remedies = remedies_of_operator(machine);
    for _ in 0..bits.take(3)? {
        let tried = if bits.take(1)? == 0 {
            Tried::Remedy(*remedies.get(bits.take(8)? as usize).ok_or(CodeMistake::Content)?)
        } else {
            let (routine, action) = (RoutineId::new(bits.take(4)? as usize), bits.take(5)? as usize);
            let row = machine.routines.get(routine).ok_or(CodeMistake::Content)?;
            row.actions.get(action).ok_or(CodeMistake::Content)?;
            Tried::GoOn(routine, action)
        };
        let came = match bits.take(1)? {
            0 => Came::AsBefore,
            _ if bits.take(1)? == 0 => Came::Runs,
            _ => Came::CouldNot,
        };
        entered.tried.push((tried, came));
    }
    // Nor does the check notice noughts behind.
    if bits.is_padding() { Ok(entered) } else { Err(CodeMistake::Check) }
}

impl Entered {
    /// The same as the evidence of one moment; what was tried is left out.
    #[must_use]
    pub fn evidence(&self, machine: &Machine) -> Evidence {
        let mut moment = Moment::default();
        moment.deeds.extend(self.last.map(|(_, action)| Deed::Routine(action)));
        for ((place, _), seen) in LampPlace::all(machine).zip(&self.lamps) {
            moment.lamps.extend(seen.map(|(state, naming)| LampReport { place, state, naming }));
        }
        for (question, answer) in &self.answers {
            match answer.map(|answer| question.report(machine, answer)) {
                Some(Report::Check(report)) => moment.checks.push(report),
                Some(Report::Position(report)) => moment.positions.push(report),
                None => {}
            }
        }
        Evidence {
            complaint: self.complaint,
            routine: self.last.map(|(routine, _)| routine),
            moments: vec![moment],
            ..Evidence::default()
        }
    }

    /// The same as entries of a call.
    #[must_use]
    pub fn entries(&self, machine: &Machine) -> Vec<Entry> {
        let mut entries = vec![Entry::new(Kind::Who, "operator")];
        entries.extend(entries_of(machine, &self.evidence(machine)));
        for (question, _) in self.answers.iter().filter(|(_, answer)| answer.is_none()) {
            let to_do = match *question {
                Asked::Check(check) => ToDo::Check(check),
                Asked::Position(mechanism) => ToDo::Position(mechanism),
            };
            entries.push(Entry::new(Kind::Unknown, to_do.key(machine)));
        }
        for (tried, came) in &self.tried {
            if *came == Came::CouldNot {
                let to_do = match *tried {
                    Tried::Remedy(remedy) => ToDo::Remedy(remedy),
                    Tried::GoOn(..) => ToDo::GoOn,
                };
                entries.push(Entry::new(Kind::Cannot, to_do.key(machine)));
                continue;
            }
            entries.push(match *tried {
                Tried::Remedy(remedy) => Entry::new(Kind::Tried, &machine.remedies[remedy].key),
                Tried::GoOn(routine, action) => {
                    Entry::new(Kind::Then, describe_deeds(machine, routine, &[Deed::Routine(Some(action))]))
                }
            });
            entries.push(Entry::new(Kind::Runs, if *came == Came::Runs { "yes" } else { "no" }));
        }
        entries
    }
}

fn number(one: usize) -> Result<u32, CodeMistake> {
    u32::try_from(one).map_err(|_| CodeMistake::TooLong)
}

/// The bits of a lamp: what is usual is short.
fn lamp_code(rest: bool, seen: Seen) -> (u32, u32) {
    match (seen, rest) {
        (Some((LampState::Dark, Naming::Rest)), true) | (None, false) => (0, 1),
        (Some((LampState::Lit, _)), _) => (0b10, 2),
        (Some((LampState::Dark, _)), _) => (0b110, 3),
        (Some((LampState::Flickers, _)), _) => (0b1110, 4),
        (None, true) => (0b1111, 4),
    }
}

/// A row of bits, the first first.
#[derive(Default)]
struct Bits {
    bits: Vec<bool>,
    taken: usize,
}

impl Bits {
    fn put(&mut self, value: u32, length: u32) {
        self.bits.extend((0..length).rev().map(|place| value >> place & 1 == 1));
    }

    /// A number that may be too large for its place.
    fn put_small(&mut self, value: usize, length: u32) -> Result<(), CodeMistake> {
        let value = number(value)?;
        if value >> length != 0 {
            return Err(CodeMistake::TooLong);
        }
        self.put(value, length);
        Ok(())
    }

    fn take(&mut self, length: u32) -> Result<u32, CodeMistake> {
        let end = self.taken + length as usize;
        let bits = self.bits.get(self.taken..end).ok_or(CodeMistake::Content)?;
        self.taken = end;
        Ok(bits.iter().fold(0, |value, bit| value << 1 | u32::from(*bit)))
    }

    fn lamp(&mut self, rest: bool) -> Result<Seen, CodeMistake> {
        let mut ones = 0;
        while ones < 4 && self.take(1)? == 1 {
            ones += 1;
        }
        match ones {
            0 => Ok(rest.then_some((LampState::Dark, Naming::Rest))),
            1 => Ok(Some((LampState::Lit, Naming::Named))),
            2 => Ok(Some((LampState::Dark, Naming::Named))),
            3 => Ok(Some((LampState::Flickers, Naming::Named))),
            _ if rest => Ok(None),
            _ => Err(CodeMistake::Content),
        }
    }

    fn is_padding(&self) -> bool {
        let left = &self.bits[self.taken..];
        left.len() < 5 && !left.contains(&true)
    }

    fn letters(mut self) -> Result<String, CodeMistake> {
        while !self.bits.len().is_multiple_of(5) {
            self.bits.push(false);
        }
        let check = crc15(&self.bits);
        self.put(check, 15);
        if self.bits.len() / 5 > LONGEST {
            return Err(CodeMistake::TooLong);
        }
        let letters: Vec<char> = LETTERS.chars().collect();
        let mut code = String::new();
        for (at, five) in self.bits.chunks(5).enumerate() {
            if at > 0 && at % GROUP == 0 {
                code.push('-');
            }
            let value = five.iter().fold(0, |value, bit| value << 1 | usize::from(*bit));
            code.extend(letters.get(value));
        }
        Ok(code)
    }

    fn of_letters(code: &str) -> Result<Self, CodeMistake> {
        let mut bits = Self::default();
        for letter in code.chars().filter(|letter| !is_between(*letter)) {
            let plain = match letter.to_ascii_uppercase() {
                'O' => '0',
                'I' | 'L' => '1',
                other => other,
            };
            let value = LETTERS.chars().position(|known| known == plain).ok_or(CodeMistake::Letter(letter))?;
            bits.put(number(value)?, 5);
        }
        let length = bits.bits.len() / 5;
        if length <= CHECK_LETTERS || length > LONGEST {
            return Err(CodeMistake::Check);
        }
        let check = bits.bits.split_off(bits.bits.len() - 5 * CHECK_LETTERS);
        let wanted = check.iter().fold(0, |value, bit| value << 1 | u32::from(*bit));
        if crc15(&bits.bits) == wanted { Ok(bits) } else { Err(CodeMistake::Check) }
    }
}

/// Whether this only stands between the letters of a code, however somebody writes it down.
fn is_between(letter: char) -> bool {
    letter.is_whitespace() || matches!(letter, '-' | '–' | '—' | '.' | ',' | ';' | ':' | '/' | '_')
}

/// The CRC of ISO 11898-1: x¹⁵ + x¹⁴ + x¹⁰ + x⁸ + x⁷ + x⁴ + x³ + 1, beginning with 0, nothing reflected.
fn crc15(bits: &[bool]) -> u32 {
    const GENERATOR: u32 = 0x4599;
    bits.iter().fold(0, |sum, bit| {
        let top = (sum >> 14 & 1 == 1) != *bit;
        let shifted = sum << 1 & 0x7fff;
        if top { shifted ^ GENERATOR } else { shifted }
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn machine() -> Machine {
        machine::load_str("minimal.toml", include_str!("../../../../demos/minimal.toml")).unwrap()
    }

    fn entered(machine: &Machine) -> Entered {
        let asked = asked_of_operator(machine);
        let lit = |lamp: usize| match lamp {
            0 | 1 | 6 => Some((LampState::Lit, Naming::Named)),
            2 => Some((LampState::Flickers, Naming::Named)),
            3 => Some((LampState::Dark, Naming::Named)),
            4 => None,
            _ => Some((LampState::Dark, Naming::Rest)),
        };
        Entered {
            complaint: Some(Complaint::StopsMidway),
            last: Some((RoutineId::new(0), Some(1))),
            lamps: (0..LampPlace::all(machine).count()).map(lit).collect(),
            answers: vec![(asked[1], Some(0)), (asked[2], None)],
            tried: vec![
                (Tried::Remedy(remedies_of_operator(machine)[0]), Came::AsBefore),
                (Tried::Remedy(remedies_of_operator(machine)[1]), Came::CouldNot),
                (Tried::GoOn(RoutineId::new(0), 2), Came::Runs),
            ],
        }
    }

    #[test]
    fn the_check_is_that_of_the_catalogue() {
        // Catalogue of parametrised CRC algorithms (Cook): CRC-15/CAN of "123456789" is 0x059E.
        let bits: Vec<bool> =
            b"123456789".iter().flat_map(|byte| (0..8).rev().map(move |place| byte >> place & 1 == 1)).collect();
        assert_eq!(crc15(&bits), 0x059e);
    }

    #[test]
    fn what_was_entered_comes_back() {
        let machine = machine();
        let whole = entered(&machine);
        let nothing = Entered { lamps: vec![None; whole.lamps.len()], ..Entered::default() };
        for one in [whole, nothing] {
            let code = encode(&machine, "f", &one).unwrap();
            assert_eq!(decode(&machine, "f", &code).unwrap(), one, "{code}");
            assert_eq!(decode(&machine, "f", &code.to_lowercase().replace('-', " ").replace('0', "o")).unwrap(), one);
            assert_eq!(decode(&machine, "another", &code), Err(CodeMistake::OtherMachine));
        }
    }

    #[test]
    fn every_wrong_letter_and_every_two_exchanged_letters_are_noticed() {
        let machine = machine();
        let code = encode(&machine, "f", &entered(&machine)).unwrap();
        let letters: Vec<char> = code.chars().filter(|letter| *letter != '-').collect();
        let read = |letters: &[char]| decode(&machine, "f", &letters.iter().collect::<String>());
        let mut tried = 0;
        for at in 0..letters.len() {
            for other in LETTERS.chars().filter(|other| *other != letters[at]) {
                let mut wrong = letters.clone();
                wrong[at] = other;
                assert_eq!(read(&wrong), Err(CodeMistake::Check), "{at} {other}");
                tried += 1;
            }
            for other in at + 1..letters.len() {
                if letters[at] != letters[other] {
                    let mut wrong = letters.clone();
                    wrong.swap(at, other);
                    assert_eq!(read(&wrong), Err(CodeMistake::Check), "{at} {other}");
                    tried += 1;
                }
            }
        }
        assert!(tried > 900, "{tried}");
        // The check itself does not notice these.
        for noughts in ["0", "00", "0000"] {
            for wrong in [format!("{code}{noughts}"), format!("{noughts}{code}")] {
                assert_eq!(decode(&machine, "f", &wrong), Err(CodeMistake::Check), "{wrong}");
            }
        }
        assert_eq!(decode(&machine, "f", &format!("{code}{code}")), Err(CodeMistake::Check));
    }

    #[test]
    fn in_the_longest_code_too_no_exchange_goes_unnoticed() {
        // Two letters that differ by d change the check by that of d at both places: never the same for both.
        let check_of = |place: usize, difference: u32| {
            let mut bits = Bits::default();
            bits.put(difference, 5);
            bits.bits.extend(std::iter::repeat_n(false, 5 * place));
            crc15(&bits.bits)
        };
        for difference in 1..32 {
            let all: Vec<u32> = (0..LONGEST - CHECK_LETTERS).map(|place| check_of(place, difference)).collect();
            let different: std::collections::BTreeSet<u32> = all.iter().copied().collect();
            assert_eq!(different.len(), all.len(), "{difference}");
            assert!(!different.contains(&0));
        }
    }

    #[test]
    fn the_entries_are_understood_by_a_call() {
        let reading =
            machine::read(machine::Source::new("minimal.toml", include_str!("../../../../demos/minimal.toml")), &[]);
        let alternatives = reading.resolve(&machine::Choice::default()).alternatives;
        let machine = alternatives[0].machine.clone();
        let entries = entered(&machine).entries(&machine);
        assert!(entries.iter().any(|entry| entry.kind == Kind::Unknown), "{entries:?}");
        let session = super::super::Session::new(alternatives, None, crate::next::Terms::default(), entries);
        let session = session.unwrap().unwrap();
        assert_eq!(session.now().evidence.complaint, Some(Complaint::StopsMidway));
        let lamps = &session.now().evidence.moments[0].lamps;
        assert_eq!(lamps.len(), LampPlace::all(&machine).count() - 1);
    }
}
