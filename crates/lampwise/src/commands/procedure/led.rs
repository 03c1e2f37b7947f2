//! The dialogue: a step is told, then the lamps and the value are asked for. What
//! was said can be taken back; what can't be understood is asked again.

use diagnose::call::Origin;
use diagnose::next::Terms;
use diagnose::procedure::{Report, Seen, deviations, range};
use diagnose::reading::{read_lamps, render_mistakes};

use super::deviation::{Deviation, take_over};
use super::{Job, plan};
use crate::answers::Answers;
use crate::commands::call;
use crate::failure::Failure;
use crate::screen::{BAD, FAINT, GOOD, STRONG, Screen, paragraph};

const LAMPS: &str = "Lamps as they should be? [yes, or what differs, as \"X3 off\"]";
/// A misread lamp is likelier than most faults, and a step left out looks like one.
const ONCE_MORE: &str = "Look once more. Is it so? [yes; how the lamps are; back = do the step again]";

/// Prompts that are asked in one procedure at most; answers from a file that make no sense have an end, too.
const MOST_ANSWERS: usize = 10_000;

/// What was done and seen.
#[derive(Default)]
pub struct Record {
    /// The steps that were done, in order.
    pub reports: Vec<Report>,
    /// Steps that did not go as expected, and what is known of why.
    pub deviations: Vec<Deviation>,
    /// Whether the last step was done.
    pub finished: bool,
}

/// What an answer asks for.
enum Answer<T> {
    Is(T),
    Back,
    Stop,
}

struct Led<'l, 'j> {
    job: &'l Job<'j>,
    answers: &'l mut Answers,
    screen: &'l Screen,
    record: Record,
    asked: usize,
}

/// Leads through the procedure.
pub fn lead(job: &Job<'_>, answers: &mut Answers, screen: &Screen) -> Result<Record, Failure> {
    let mut led = Led { job, answers, screen, record: Record::default(), asked: 0 };
    led.say(&plan::head(job, screen.width))?;
    led.say(&format!("  {FAINT}Answers: Enter = yes, ? = not known, back = the step before again, stop.{FAINT:#}\n"))?;
    while led.record.reports.len() < job.procedure.steps.len() {
        if !led.step()? {
            return Ok(led.record);
        }
    }
    led.record.finished = true;
    Ok(led.record)
}

impl Led<'_, '_> {
    /// One step; gives whether to go on.
    fn step(&mut self) -> Result<bool, Failure> {
        let step = self.record.reports.len();
        let (job, width) = (self.job, self.screen.width);
        let Some(course) = job.course.steps.get(step) else { return Ok(false) };
        let mut text = String::from("\n");
        plan::before(&mut text, job, step, width);
        plan::after(&mut text, job, step, width);
        self.say(&text)?;
        let mut seen = match self.lamps(LAMPS)? {
            Answer::Is(seen) => seen,
            Answer::Back => return Ok(self.back()),
            Answer::Stop => return Ok(false),
        };
        let differ = |seen: &Seen| -> Vec<String> {
            deviations(course, seen).into_iter().map(|(lamp, state)| super::deviation::words(lamp, state)).collect()
        };
        let mut confirmed = false;
        if !differ(&seen).is_empty() {
            let mut text = String::new();
            let words = format!("Not as it should be: {}.", differ(&seen).join("; "));
            paragraph(&mut text, width, "  ", "  ", BAD, &words);
            self.say(&text)?;
            match self.lamps(ONCE_MORE)? {
                Answer::Is(Seen::AsDue) => confirmed = true,
                Answer::Is(Seen::NotLooked) => {}
                Answer::Is(again) => {
                    confirmed = differ(&again) == differ(&seen);
                    seen = again;
                }
                Answer::Back => return Ok(true),
                Answer::Stop => return Ok(false),
            }
        }
        let measured = match self.measured(step)? {
            Answer::Is(measured) => measured,
            Answer::Back => return Ok(self.back()),
            Answer::Stop => return Ok(false),
        };
        let differ = differ(&seen);
        self.record.reports.push(Report { seen, confirmed, measured });
        if differ.is_empty() {
            return Ok(true);
        }
        let deviation = take_over(job, &self.record.reports, differ);
        self.say(&format!("\n{}\n", deviation.page(job, width)))?;
        self.record.deviations.push(deviation);
        self.go_on_all_the_same()
    }

    /// Takes the last step back.
    fn back(&mut self) -> bool {
        self.record.reports.pop();
        let done = self.record.reports.len();
        self.record.deviations.retain(|deviation| deviation.step < done);
        true
    }

    fn lamps(&mut self, question: &'static str) -> Result<Answer<Seen>, Failure> {
        let mut question = question;
        loop {
            let Some(answer) = self.ask(question)? else { return Ok(Answer::Stop) };
            match answer.to_lowercase().as_str() {
                "" | "y" | "yes" | "j" | "ja" | "si" | "sí" | "ok" => return Ok(Answer::Is(Seen::AsDue)),
                "?" | "skip" => return Ok(Answer::Is(Seen::NotLooked)),
                "back" => return Ok(Answer::Back),
                "stop" | "quit" => return Ok(Answer::Stop),
                "n" | "no" | "nein" => question = "Which differ, and how? [as \"X3 off, Y1 on\"]",
                _ => match read_lamps(self.job.machine, &answer) {
                    Ok(reports) => return Ok(Answer::Is(Seen::Reported(reports))),
                    Err(mistakes) => self.say(&render_mistakes("lamps", &answer, &mistakes, false))?,
                },
            }
        }
    }

    fn measured(&mut self, step: usize) -> Result<Answer<Option<f64>>, Failure> {
        let Some(measure) = self.job.procedure.steps.get(step).and_then(|row| row.measure.as_ref()) else {
            return Ok(Answer::Is(None));
        };
        let unit = match measure.unit.english.as_str() {
            "" => String::new(),
            unit => format!(", in {unit}"),
        };
        let question = format!("Measured: {}{unit}?", measure.words.english);
        loop {
            let Some(answer) = self.ask(&question)? else { return Ok(Answer::Stop) };
            match answer.to_lowercase().as_str() {
                "" | "?" | "skip" => return Ok(Answer::Is(None)),
                "back" => return Ok(Answer::Back),
                "stop" | "quit" => return Ok(Answer::Stop),
                _ => {}
            }
            // A decimal comma is a point, a true minus sign a hyphen; the unit may stand behind the number.
            let number = answer.strip_suffix(measure.unit.english.as_str()).unwrap_or(&answer).trim();
            let number = number.replace(',', ".").replace('\u{2212}', "-");
            let Some(value) = number.parse::<f64>().ok().filter(|value| value.is_finite()) else {
                self.say(&format!("  `{answer}` is no number; type one such as 12.5, or ? if it was not measured.\n"))?;
                continue;
            };
            let mut text = String::new();
            if (measure.from..=measure.to).contains(&value) {
                text = format!("  {GOOD}Right: {}.{GOOD:#}\n", range(measure));
            } else {
                let words = match measure.outside.english.as_str() {
                    "" => format!("Outside {}.", range(measure)),
                    outside => format!("Outside {}: {outside}.", range(measure)),
                };
                paragraph(&mut text, self.screen.width, "  ", "  ", BAD, &words);
            }
            self.say(&text)?;
            return Ok(Answer::Is(Some(value)));
        }
    }

    fn go_on_all_the_same(&mut self) -> Result<bool, Failure> {
        let last = self.record.reports.len() == self.job.procedure.steps.len();
        let question = match (last, self.screen.json) {
            (true, true) => return Ok(true),
            (true, false) => "Find out why, as a call? [no, or call]",
            (false, true) => "Go on with the procedure all the same? [no, or yes]",
            (false, false) => "Go on with the procedure all the same? [no, yes, or call = find out why]",
        };
        let answer = self.ask(question)?.unwrap_or_default();
        match answer.to_lowercase().as_str() {
            "back" => Ok(self.back()),
            "call" if !self.screen.json => {
                self.call()?;
                Ok(false)
            }
            answer => Ok(last || matches!(answer, "y" | "yes" | "j" | "ja" | "si" | "sí")),
        }
    }

    /// Goes on as a call with all that is known.
    fn call(&mut self) -> Result<(), Failure> {
        let Some(deviation) = self.record.deviations.last() else { return Ok(()) };
        let steps = self.record.reports.len();
        let origin = Origin::Procedure { name: self.job.procedure.name.clone(), steps };
        let terms = Terms { caller: self.job.procedure.who, ..Terms::of(self.job.machine) };
        let session = call::session(self.job.alternatives, Some(&origin), terms, deviation.entries(), &self.job.shelf)?;
        let record = diagnose::call::Record { origin: Some(origin), ..self.job.record.clone() };
        let keeper = call::Keeper::new(record, None, false)?;
        self.say("\n")?;
        call::Dialogue::new(session, keeper, self.answers, *self.screen).lead(&[])
    }

    fn ask(&mut self, question: &str) -> Result<Option<String>, Failure> {
        self.asked += 1;
        self.say(&format!("  {STRONG}{question}{STRONG:#} "))?;
        if self.asked > MOST_ANSWERS {
            return Ok(None);
        }
        let answer = self.answers.next()?;
        if !self.answers.typed {
            // A transcript shows what was answered.
            self.say(&format!("{}\n", answer.as_deref().unwrap_or("(no answer)")))?;
        }
        Ok(answer)
    }

    fn say(&self, text: &str) -> Result<(), Failure> {
        if self.screen.json { Ok(()) } else { self.screen.print(text) }
    }
}
