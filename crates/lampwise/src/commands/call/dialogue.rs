//! The dialogue: a turn is shown, a line is read, and what it means is done. What can't be understood changes
//! nothing; what was understood is on the disk before the next question.

use std::path::Path;

use diagnose::call::{Ending, Entry, EntryMistake, Kind, Question, Session, Understood, is_as_before};
use diagnose::next::ToDo;
use diagnose::reading::{read_lamps, read_positions, render_mistakes};

use super::command::Command;
use super::keep::Keeper;
use super::{closing, state, turn};
use crate::answers::Answers;
use crate::failure::Failure;
use crate::screen::{BAD, FAINT, STRONG, Screen, paragraph};

/// Lines that are read in one call at most; answers from a file that make no sense have an end, too.
const MOST_LINES: usize = 10_000;

/// A call that is being led.
pub struct Dialogue<'d> {
    session: Session,
    keeper: Keeper,
    answers: &'d mut Answers,
    screen: Screen,
    /// The proposal that was chosen instead of the best.
    taken: Option<usize>,
}

/// How to go on after a line.
enum After {
    /// Show the turn anew.
    Turn,
    /// Only ask for the next line.
    Line,
    /// The call is over.
    End,
}

impl<'d> Dialogue<'d> {
    /// A dialogue about this session, kept by this keeper.
    pub fn new(session: Session, keeper: Keeper, answers: &'d mut Answers, screen: Screen) -> Self {
        Self { session, keeper, answers, screen, taken: None }
    }

    /// Leads the call to its end.
    pub fn lead(mut self, remarks: &[String]) -> Result<(), Failure> {
        self.greet(remarks)?;
        let mut show = true;
        // A call that was over can be taken up again, to put something right.
        let mut resumed = self.is_over();
        for _ in 0..MOST_LINES {
            if show {
                if self.is_over() && !std::mem::take(&mut resumed) {
                    break;
                }
                self.show_turn()?;
            }
            self.say(&format!("  {STRONG}>{STRONG:#} "))?;
            let line = self.answers.next()?;
            if !self.answers.typed {
                // A transcript shows what was answered.
                self.say(&format!("{}\n", line.as_deref().unwrap_or("(no more answers)")))?;
            }
            let Some(line) = line else { break };
            match self.line(&line)? {
                After::Turn => show = true,
                After::Line => show = false,
                After::End => break,
            }
        }
        if self.screen.json {
            return self.screen.print_json(&state::document(&self.session, self.keeper.record(), None));
        }
        self.say(&closing::page(&self.session, self.keeper.record(), self.screen.width))?;
        match self.keeper.place() {
            Some(place) => self.say(&format!("{FAINT}The call is kept in {}.{FAINT:#}\n", place.display())),
            None => Ok(()),
        }
    }

    fn greet(&self, remarks: &[String]) -> Result<(), Failure> {
        let mut out = format!("{STRONG}{}{STRONG:#}\n", self.session.machine().name);
        for remark in remarks {
            paragraph(&mut out, self.screen.width, "  ", "  ", BAD, remark);
        }
        let text = "Answer with a number or in words; ? = nobody knows, can't = nobody can do that, others, why, list, \
                    undo, help.";
        paragraph(&mut out, self.screen.width, "  ", "  ", FAINT, text);
        self.say(&out)
    }

    fn is_over(&self) -> bool {
        self.session.finding().is_some_and(|finding| finding.ending == Ending::Runs)
    }

    fn question(&self) -> Option<Question> {
        let next = self.session.question()?;
        match (next, self.taken) {
            (Question::Proposal(_), Some(taken)) if taken < self.session.advice().proposals.len() => {
                Some(Question::Proposal(taken))
            }
            _ => Some(next),
        }
    }

    fn show_turn(&self) -> Result<(), Failure> {
        self.say(&format!("\n{}", turn::turn(&self.session, self.question(), self.screen.width)))
    }

    /// What a line means: an answer by number or word, then a command, then an answer in other words, then lamps
    /// or positions said unasked.
    fn line(&mut self, line: &str) -> Result<After, Failure> {
        let question = self.question();
        if let Some(question) = question.filter(|question| self.is_answer(*question, line)) {
            return self.answer(question, line);
        }
        match (Command::of(line), question) {
            // Whether it runs is an answer where that was asked.
            (Some(Command::Say(entry)), Some(question))
                if entry.kind == Kind::Runs && self.asks_whether_it_runs(question) =>
            {
                return self.answer(question, &entry.text);
            }
            (Some(command), _) => return self.command(command, question),
            (None, _) => {}
        }
        let machine = self.session.machine();
        if let Some(question) = question {
            let unasked = match self.session.understand(question, line) {
                Understood::Not { .. } | Understood::AskMore(_) => self.unasked(line),
                Understood::Entries(_) => None,
            };
            return match unasked {
                Some(entry) => self.add(vec![entry]),
                None => self.answer(question, line),
            };
        }
        match self.unasked(line) {
            Some(entry) => self.add(vec![entry]),
            None if is_as_before(line) => self.add(vec![Entry::new(Kind::Runs, "no")]),
            None => {
                let mistakes = read_lamps(machine, line).err().unwrap_or_default();
                self.not_understood(line, &mistakes)
            }
        }
    }

    /// Whether this asks to do something after which it may run.
    fn asks_whether_it_runs(&self, question: Question) -> bool {
        let Question::Proposal(number) = question else { return false };
        let proposal = self.session.advice().proposals.get(number);
        proposal.is_some_and(|one| matches!(one.to_do, ToDo::Remedy(_) | ToDo::GoOn))
    }

    /// Lamps or positions that somebody mentions though something else was asked.
    fn unasked(&self, line: &str) -> Option<Entry> {
        let machine = self.session.machine();
        if read_lamps(machine, line).is_ok_and(|lamps| !lamps.is_empty()) {
            return Some(Entry::new(Kind::Lamps, line));
        }
        let seen = read_positions(machine, line).is_ok_and(|positions| !positions.is_empty());
        seen.then(|| Entry::new(Kind::Saw, line))
    }

    /// Whether this is an answer by its number, key or words, which goes before commands.
    fn is_answer(&self, question: Question, line: &str) -> bool {
        if line.parse::<usize>().is_ok() {
            return true;
        }
        let Question::Proposal(number) = question else { return false };
        let proposal = self.session.advice().proposals.get(number);
        proposal.is_some_and(|proposal| {
            let is_so = |text: &str| !text.is_empty() && text.eq_ignore_ascii_case(line);
            proposal.answers.iter().any(|answer| is_so(&answer.key) || is_so(&answer.words))
        })
    }

    fn answer(&mut self, question: Question, line: &str) -> Result<After, Failure> {
        match self.session.understand(question, line) {
            Understood::Entries(entries) => self.add(entries),
            Understood::AskMore(text) => {
                self.say(&format!("  {text}\n"))?;
                Ok(After::Line)
            }
            Understood::Not { text, mistakes } => self.not_understood(&text, &mistakes),
        }
    }

    fn not_understood(&self, text: &str, mistakes: &[diagnose::reading::ReadingError]) -> Result<After, Failure> {
        let colour = anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never;
        // One mistake is enough for a turn; the next shows when this one is put right.
        let first = mistakes.get(..1).unwrap_or_default();
        let mut out = render_mistakes("answer", &shown(text), first, colour);
        out.push_str("  Type the answer's number, `?` if nobody knows, or `help`.\n");
        self.say(&out)?;
        Ok(After::Line)
    }

    fn add(&mut self, entries: Vec<Entry>) -> Result<After, Failure> {
        let result = self.session.add(entries);
        self.changed(result)
    }

    fn changed(&mut self, result: Result<(), Vec<EntryMistake>>) -> Result<After, Failure> {
        match result {
            Ok(()) => {
                self.taken = None;
                if let Err(failure) = self.keeper.keep(self.session.entries()) {
                    // The call goes on; it is said each time until it can be saved again.
                    _ = failure.report(&Screen { json: false, ..self.screen });
                }
                Ok(After::Turn)
            }
            Err(mistakes) => match mistakes.into_iter().next() {
                Some(one) => self.not_understood(&one.text, &one.mistakes),
                None => Ok(After::Line),
            },
        }
    }

    fn command(&mut self, command: Command, question: Option<Question>) -> Result<After, Failure> {
        let width = self.screen.width;
        let entries = self.session.entries().len();
        let text = match command {
            Command::Nothing => match question {
                Some(question @ (Question::Complaint | Question::Did | Question::Lamps)) => {
                    return self.leave_out(Kind::Unknown, question);
                }
                _ => return Ok(After::Line),
            },
            Command::Unknown | Command::Cannot => match question {
                Some(question) => {
                    let kind = if command == Command::Cannot { Kind::Cannot } else { Kind::Unknown };
                    return self.leave_out(kind, question);
                }
                None => "  Nothing is asked.\n".to_owned(),
            },
            Command::Others => {
                let asked = match question {
                    Some(Question::Proposal(number)) => Some(number),
                    _ => None,
                };
                turn::others(&self.session, asked, width)
            }
            Command::Take(number) if number < self.session.advice().proposals.len() => match question {
                Some(Question::Proposal(_)) => {
                    self.taken = Some(number);
                    return Ok(After::Turn);
                }
                _ => "  First this one, please; Enter leaves it out.\n".to_owned(),
            },
            Command::Take(_) => "  There is no such proposal; `others` shows them.\n".to_owned(),
            Command::Why => turn::why(&self.session, width),
            Command::List => turn::list(&self.session, width),
            Command::Watch => turn::watch(&self.session, width),
            Command::Help => turn::HELP.to_owned(),
            Command::Change(at, _) | Command::Remove(at) if at >= entries => {
                format!("  There are {entries} entries; `list` shows them.\n")
            }
            Command::Change(at, text) => {
                let kind = self.session.entries()[at].kind;
                let entry = Entry::of_line(&text).filter(|_| text.contains(':')).unwrap_or(Entry::new(kind, &text));
                let result = self.session.replace(at, entry);
                return self.changed(result);
            }
            Command::Remove(at) => {
                let result = self.session.remove(at);
                return self.changed(result);
            }
            Command::Undo => {
                if self.session.undo() {
                    return self.changed(Ok(()));
                }
                "  There is nothing to take back.\n".to_owned()
            }
            Command::Save(name) => {
                let already = name.is_empty().then(|| self.keeper.place().map(Path::to_owned)).flatten();
                let saved = match already {
                    Some(_) => self.keeper.keep(self.session.entries()),
                    None => self.keeper.move_to(Path::new(&name), self.session.entries()),
                };
                match (saved, self.keeper.place()) {
                    (Ok(()), Some(place)) => format!("  The call is kept in {} from now on.\n", place.display()),
                    (Ok(()), None) => String::new(),
                    (Err(failure), _) => {
                        _ = failure.report(&Screen { json: false, ..self.screen });
                        String::new()
                    }
                }
            }
            Command::Finish => return Ok(After::End),
            Command::Say(entry) => return self.add(vec![entry]),
            Command::Incomplete(usage) => format!("  Type {usage}.\n"),
        };
        self.say(&text)?;
        Ok(After::Line)
    }

    fn leave_out(&mut self, kind: Kind, question: Question) -> Result<After, Failure> {
        let entry = self.session.leave_out(kind, question);
        self.add(vec![entry])
    }

    fn say(&self, text: &str) -> Result<(), Failure> {
        if self.screen.json { Ok(()) } else { self.screen.print(text) }
    }
}

/// Text that may hold anything, fit for a terminal.
fn shown(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { '·' } else { letter }).collect()
}
