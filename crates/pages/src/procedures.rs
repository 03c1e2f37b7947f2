//! Procedures led on a telephone: a step at a time, with what to be careful of and what will move before it, the lamps
//! that are due after it, values to measure. What was seen so far stands in the form, so that going back in the browser
//! takes a step back; at the end it is kept with the machine.

use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use diagnose::call::{Entry, Kind, Origin, entries_of};
use diagnose::procedure::{
    Course, Due, LampDue, Report, Seen, StepCourse, as_routine, deviations, evidence, range, said_before, told,
};
use diagnose::reading::{describe_lamps, read_lamps};
use diagnose::wording::{duration, number};
use machine::Alternative;
use machine::id::ProcedureId;
use machine::model::Procedure;
use maud::{Markup, html};
use records::{Change, ChangeError, Machine, MachineId, Measured, NewCall, ProcedureRun, RunId, VersionId};

use crate::calls::{About, work_about};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor;

/// Below this nobody is told to wait.
const NO_WAIT_MS: u64 = 1_000;
/// What a form says of lamps that are as they should be, and of those that nobody looked at.
const AS_DUE: &str = "as due";
const NOT_LOOKED: &str = "not looked";

type Fields = Vec<(String, String)>;

fn one<'f>(fields: &'f Fields, name: &str) -> &'f str {
    fields.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.as_str())
}

/// A procedure on a machine, worked out.
struct Job {
    machine: Machine,
    version: VersionId,
    alternatives: Vec<Alternative>,
    id: ProcedureId,
    course: Course,
}

impl Job {
    fn of(office: &Office, machine: i64, name: &str) -> Result<Self, Mistake> {
        let (machine, version) = {
            let store = office.store();
            let machine = store.machine(MachineId(machine))?;
            let version = store.machine_type(machine.machine_type)?.current;
            (machine, version)
        };
        let alternatives = office.alternatives(version, &machine.choice())?;
        let first = alternatives.first().map(|one| &one.machine);
        let found = first.and_then(|there| there.procedures.find(|row| row.name == name));
        let (id, _) = found.ok_or_else(|| Mistake::not_there("this machine has no such procedure"))?;
        let machines: Vec<&machine::Machine> = alternatives.iter().map(|one| &one.machine).collect();
        let course = Course::new(&machines, id);
        Ok(Self { machine, version, alternatives, id, course })
    }

    fn there(&self) -> &machine::Machine {
        // There is at least one alternative, or the procedure would not have been found.
        &self.alternatives[0].machine
    }

    fn procedure(&self) -> &Procedure {
        &self.there().procedures[self.id]
    }

    fn address(&self) -> String {
        format!("/machines/{}/procedures/{}", self.machine.id, self.procedure().name)
    }

    /// What a form says was seen and measured, step by step; fields that can't be read are refused.
    fn reports(&self, fields: &Fields) -> Result<Vec<Report>, Mistake> {
        let texts = |name: &'static str| {
            fields.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.trim().to_owned())
        };
        let values: Vec<String> = texts("measured").collect();
        let confirmed: Vec<String> = texts("confirmed").collect();
        let steps = self.procedure().steps.len();
        texts("seen")
            .take(steps)
            .enumerate()
            .map(|(step, text)| {
                let seen = match text.as_str() {
                    "" | AS_DUE => Seen::AsDue,
                    NOT_LOOKED => Seen::NotLooked,
                    text => Seen::Reported(read_lamps(self.there(), text).map_err(|mistakes| {
                        let why = mistakes.first().map(|one| (one.what.clone(), one.hint.clone())).unwrap_or_default();
                        Mistake::wrong(
                            format!("\"{text}\": {}", why.0),
                            format!("{}; go back and say it once more", why.1),
                        )
                    })?),
                };
                let plain = |value: &String| value.replace(',', ".").replace('\u{2212}', "-");
                let measured = values.get(step).map(plain).filter(|value| !value.is_empty());
                let measured = match measured {
                    None => None,
                    Some(text) => {
                        Some(text.parse::<f64>().ok().filter(|value| value.is_finite()).ok_or_else(|| {
                            Mistake::wrong(format!("\"{text}\" is no number"), "go back and type one such as 12.5")
                        })?)
                    }
                };
                let confirmed = confirmed.get(step).is_some_and(|word| word == "yes");
                Ok(Report { seen, confirmed, measured })
            })
            .collect()
    }

    /// All that was said so far, to be carried on.
    fn carried(&self, reports: &[Report]) -> Markup {
        html! {
            @for report in reports {
                input type="hidden" name="seen" value=(match &report.seen {
                    Seen::AsDue => AS_DUE.to_owned(),
                    Seen::NotLooked => NOT_LOOKED.to_owned(),
                    Seen::Reported(lamps) => describe_lamps(self.there(), lamps),
                });
                input type="hidden" name="measured" value=(report.measured.map(|value| value.to_string()).unwrap_or_default());
                input type="hidden" name="confirmed" value=(if report.confirmed { "yes" } else { "" });
            }
        }
    }

    /// What differed in the last step.
    fn differs(&self, reports: &[Report]) -> Vec<String> {
        let Some((last, step)) = reports.last().zip(self.course.steps.get(reports.len().wrapping_sub(1))) else {
            return Vec::new();
        };
        let state = |state| match state {
            diagnose::evidence::LampState::Lit => "lit",
            diagnose::evidence::LampState::Dark => "dark",
            diagnose::evidence::LampState::Flickers => "on and off",
        };
        deviations(step, &last.seen)
            .into_iter()
            .map(|(lamp, seen)| format!("{} is {} and should be {}", lamp.label, state(seen), due(lamp.due)))
            .collect()
    }

    /// The values that were measured.
    fn values(&self, reports: &[Report]) -> Vec<Measured> {
        let rows = self.procedure().steps.iter().zip(reports);
        let limit = |value: f64| Some(value).filter(|value| value.is_finite());
        rows.filter_map(|(row, report)| {
            let (measure, value) = (row.measure.as_ref()?, report.measured?);
            Some(Measured {
                what: measure.words.english.clone(),
                value,
                unit: measure.unit.english.clone(),
                lowest: limit(measure.from),
                highest: limit(measure.to),
            })
        })
        .collect()
    }
}

fn due(due: Due) -> &'static str {
    match due {
        Due::Lit => "lit",
        Due::Dark => "dark",
        Due::Blinks => "blinking",
        Due::MayVary => "either",
    }
}

/// The beginning of a procedure.
pub async fn page(
    State(office): State<Arc<Office>>,
    Path((machine, name)): Path<(i64, String)>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Machine(machine), move || {
        let job = Job::of(&office, machine, &name)?;
        Ok(shown(&job, &[]))
    })
    .await
}

/// A step more, or what comes of it.
pub async fn go_on(
    State(office): State<Arc<Office>>,
    Path((machine, name)): Path<(i64, String)>,
    Form(fields): Form<Fields>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Machine(machine), move || {
        let job = Job::of(&office, machine, &name)?;
        let mut reports = job.reports(&fields)?;
        match one(&fields, "then") {
            "look-again" => {
                reports.pop();
                Ok(shown(&job, &reports))
            }
            "so" => {
                if let Some(last) = reports.last_mut() {
                    last.confirmed = true;
                }
                Ok(otherwise(&job, &reports))
            }
            "on" => Ok(shown(&job, &reports)),
            "call" => begin_call(&office, &job, &reports),
            "keep" => {
                keep(&office, &job, &reports, &fields)?;
                Ok(Redirect::to(&format!("/machines/{machine}#procedures")).into_response())
            }
            _ if job.differs(&reports).is_empty() => Ok(shown(&job, &reports)),
            _ => Ok(otherwise(&job, &reports)),
        }
    })
    .await
}

fn keep(office: &Office, job: &Job, reports: &[Report], fields: &Fields) -> Result<RunId, Mistake> {
    let run = ProcedureRun {
        id: RunId(0),
        machine: job.machine.id,
        version: job.version,
        call: None,
        at: office.now(),
        name: job.procedure().name.clone(),
        done_by: one(fields, "done_by").trim().to_owned(),
        completed: reports.len() == job.procedure().steps.len(),
        note: one(fields, "note").trim().to_owned(),
        values: job.values(reports),
    };
    Ok(office.store().add_procedure_run(&run)?)
}

/// A call that goes on from here with all that was seen.
fn begin_call(office: &Office, job: &Job, reports: &[Report]) -> Result<Response, Mistake> {
    let there = as_routine(job.there(), job.id, reports.len());
    let mut entries = entries_of(&there, &evidence(&job.course, reports));
    for value in job.values(reports) {
        entries.push(Entry::new(Kind::Note, format!("{}: {} {}", value.what, value.value, value.unit)));
    }
    let origin = Origin::Procedure { name: job.procedure().name.clone(), steps: reports.len() };
    let mut store = office.store();
    let call = store.begin_call_from(&NewCall::On(job.machine.id), None, Some(&origin), office.now())?;
    match store.change(call, 0, &Change::Add(entries), office.now()) {
        Ok(_) => Ok(Redirect::to(&format!("/calls/{call}")).into_response()),
        Err(ChangeError::Error(error)) => Err(error.into()),
        Err(ChangeError::Conflict(conflict)) => Err(Mistake::wrong(conflict.to_string(), "look at the open calls")),
    }
}

fn head(job: &Job) -> Markup {
    let procedure = job.procedure();
    html! {
        h1 { (procedure.words.english) }
        p.aside { a href={ "/machines/" (job.machine.id) } { (job.machine.type_name) " " (job.machine.serial) } ", " (procedure.steps.len()) " steps" }
    }
}

/// The next step, or the end.
fn shown(job: &Job, reports: &[Report]) -> Response {
    let procedure = job.procedure();
    let step = reports.len();
    let body = html! {
        (head(job))
        @if step == 0 && !procedure.purpose.english.is_empty() { p { (procedure.purpose.english) } }
        @match procedure.steps.get(step).zip(job.course.steps.get(step)) {
            Some((row, course)) => {
                section.ask {
                    h2 { "Step " (step + 1) " of " (procedure.steps.len()) }
                    @let said = said_before(job.there(), row, course);
                    @if !said.is_empty() { div.caution { @for text in &said { p { (text) } } } }
                    p.spoken { (row.words.english) }
                    @if let Some(ms) = row.wait_ms { p { "Allow " (duration(ms)) "." } }
                    @else if course.takes_ms >= NO_WAIT_MS { p { "Until it has come to rest: about " (duration(course.takes_ms.div_ceil(1_000) * 1_000)) "." } }
                    (lamps(course, step == 0))
                    form method="post" action=(job.address()) { (visitor::proof())
                        (job.carried(reports))
                        @if let Some(measure) = &row.measure {
                            label for="measured" { "Measured: " (measure.words.english) " (right: " (range(measure)) ")" }
                            input id="measured" name="measured" inputmode="decimal" maxlength="20" autocomplete="off";
                            @if !measure.outside.english.is_empty() { p.aside { "Outside that: " (measure.outside.english) } }
                        } @else { input type="hidden" name="measured" value=""; }
                        input type="hidden" name="confirmed" value="";
                        div.line {
                            button name="seen" value=(AS_DUE) { "All lamps as they should be" }
                            button.second name="seen" value=(NOT_LOOKED) { "Not looked" }
                        }
                    }
                    form method="post" action=(job.address()) { (visitor::proof())
                        (job.carried(reports))
                        input type="hidden" name="measured" value="";
                        input type="hidden" name="confirmed" value="";
                        label for="seen" { "or what differs" }
                        div.line { input id="seen" name="seen" required maxlength="500" autocomplete="off" placeholder="X3 off, Y1 on"; button { "Take it" } }
                    }
                }
                @if step > 0 { (end_form(job, reports, "Stop here, and keep what was done")) }
            }
            None => {
                section.verdict { h2 { "Done" } (measured(job, reports)) }
                (end_form(job, reports, "Keep it with the machine"))
            }
        }
    };
    layout::page(&procedure.words.english, Here::Machines, &body)
}

fn end_form(job: &Job, reports: &[Report], words: &str) -> Markup {
    html! {
        details open[reports.len() == job.procedure().steps.len()] {
            summary { (words) }
            form method="post" action=(job.address()) { (visitor::proof())
                (job.carried(reports))
                label for="done-by" { "Done by" } input id="done-by" name="done_by" maxlength="200" autocomplete="off";
                label for="note" { "Note" } input id="note" name="note" maxlength="2000" autocomplete="off";
                button name="then" value="keep" { (words) }
            }
        }
    }
}

fn measured(job: &Job, reports: &[Report]) -> Markup {
    let values = job.values(reports);
    html! {
        @if values.is_empty() { p { "Nothing was measured." } }
        ul { @for one in &values {
            @let right = one.lowest.is_none_or(|low| one.value >= low) && one.highest.is_none_or(|high| one.value <= high);
            li { (one.what) ": " strong { (number(one.value)) " " (one.unit) } " " @if right { "in order" } @else { span.mistake { "outside its limits" } } }
        } }
    }
}

/// What to do when a step did not go as expected.
fn otherwise(job: &Job, reports: &[Report]) -> Response {
    let differs = job.differs(reports);
    let confirmed = reports.last().is_some_and(|last| last.confirmed);
    let body = html! {
        (head(job))
        div.mistake role="alert" { p { "Step " (reports.len()) " is not as it should be: " (differs.join("; ")) "." } }
        form method="post" action=(job.address()) { (visitor::proof())
            (job.carried(reports))
            @if confirmed {
                p { "Everything that was seen so far goes along into a call." }
                div.line {
                    button name="then" value="call" { "Find out why, as a call" }
                    button.second name="then" value="on" { "Go on all the same" }
                }
            } @else {
                p { "A misread lamp is likelier than most faults. Look once more." }
                div.line {
                    button name="then" value="so" { "It is so" }
                    button.second name="then" value="look-again" { "It is otherwise: do the step again" }
                }
            }
        }
    };
    (StatusCode::OK, layout::page(&job.procedure().words.english, Here::Machines, &body)).into_response()
}

fn lamps(course: &StepCourse, first: bool) -> Markup {
    let of = |due: Due, changed: bool| -> Vec<&LampDue> {
        course.lamps.iter().filter(|lamp| lamp.due == due && (lamp.changed && !first) == changed).collect()
    };
    let line = |words: &str, lamps: &[&LampDue]| -> Markup {
        html! { @if !lamps.is_empty() { li { strong { (words) ": " } (told(lamps)) } } }
    };
    let blinks: Vec<&LampDue> = course.lamps.iter().filter(|lamp| lamp.due == Due::Blinks).collect();
    let varies: Vec<&LampDue> = course.lamps.iter().filter(|lamp| lamp.due == Due::MayVary).collect();
    html! {
        h3 { "Then the lamps" }
        ul.plain {
            (line("now lit", &of(Due::Lit, true)))
            (line("now dark", &of(Due::Dark, true)))
            (line("blinking", &blinks))
            (line(if first { "lit" } else { "still lit" }, &of(Due::Lit, false)))
            (line("either way", &varies))
            li { "all others dark" }
        }
    }
}
