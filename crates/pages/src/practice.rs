//! Practice in the browser. An exercise is its machine type, level and number, and what was done: all of that stands in
//! the page, so that nothing is kept here and going back in the browser takes a step back.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use diagnose::next::Announcement;
use diagnose::practice::{Exercise, Group, Level, Offer, Outcome, Review};
use machine::model::DeviationKind;
use machine::{Choice, Machine};
use maud::{Markup, html};
use serde::Deserialize;

use crate::calls::{About, lamp_panel, work, work_about};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor;
use crate::words::{minutes, percent, share};

/// Things done that a form may carry.
const MOST_DONE: usize = 200;

/// On what to practise.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default, rename = "type")]
    machine_type: String,
}

/// The choice of machine, level and number.
pub async fn choose(State(office): State<Arc<Office>>, Query(wanted): Query<Wanted>) -> Result<Response, Mistake> {
    work(move || {
        let types = office.store().machine_types()?;
        let body = html! {
            h1 { "Practice" }
            p { "Something is hidden in a simulated machine. Look, check and work it, each at its price in minutes, and say what it is. The same number is the same exercise for everybody." }
            @for one in types.iter().filter(|one| wanted.machine_type.is_empty() || one.name == wanted.machine_type) {
                section {
                    h2 { (one.title) }
                    div.levels { @for level in Level::ALL {
                        span { (level.words()) }
                        div { @for number in 1..=8 { a.number href={ "/practice/" (one.name) "/" (level.name()) "/" (number) } aria-label={ (one.title) ", " (level.words()) ", exercise " (number) } { (number) } } }
                    } }
                }
            }
        };
        Ok(layout::page("Practice", Here::Practice, &body))
    })
    .await
}

/// The beginning of an exercise.
pub async fn page(
    State(office): State<Arc<Office>>,
    Path((machine_type, level, number)): Path<(String, String, u64)>,
) -> Result<Response, Mistake> {
    let about = About::TypeNamed(machine_type.clone());
    work_about(&Arc::clone(&office), about, move || shown(&office, &machine_type, &level, number, &[])).await
}

/// One thing more is done, or the cause is named.
pub async fn take(
    State(office): State<Arc<Office>>,
    Path((machine_type, level, number)): Path<(String, String, u64)>,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, Mistake> {
    let about = About::TypeNamed(machine_type.clone());
    work_about(&Arc::clone(&office), about, move || shown(&office, &machine_type, &level, number, &fields)).await
}

fn shown(
    office: &Office,
    machine_type: &str,
    level: &str,
    number: u64,
    fields: &[(String, String)],
) -> Result<Response, Mistake> {
    let level = Level::ALL
        .into_iter()
        .find(|one| one.name() == level)
        .ok_or_else(|| Mistake::not_there("there is no such level"))?;
    let known = office.store().machine_type_named(machine_type)?;
    let known = known.ok_or_else(|| Mistake::not_there("there is no such machine type"))?;
    let worked_out = office.worked_out(known.current, &Choice::default(), None, None)?;
    let diagnoser = worked_out.diagnoser(&level.circumstances());
    let mut exercise = Exercise::new(&diagnoser, level, number)
        .ok_or_else(|| Mistake::not_there("this machine has nothing of this level"))?;
    let done: Vec<&str> = fields.iter().filter(|(name, _)| name == "done").map(|(_, value)| value.as_str()).collect();
    if done.len() > MOST_DONE {
        return Err(Mistake::wrong("more was done than anybody does at a machine", "say what it is, or begin anew"));
    }
    for key in done {
        if exercise.take(key).is_err() {
            return Err(Mistake::wrong(format!("\"{key}\" can't be done here"), "go back to the exercise"));
        }
    }
    let meant = fields.iter().find(|(name, _)| name == "about").map(|(_, value)| value.as_str());
    let before = meant.and_then(|key| said_before(&exercise, key));
    if let Some(key) = meant.filter(|_| before.is_none())
        && exercise.take(key).is_err()
    {
        return Err(Mistake::wrong(format!("\"{key}\" can't be done here"), "go back to the exercise"));
    }
    let named: Vec<&str> = fields
        .iter()
        .filter(|(name, value)| name == "cause" && !value.is_empty())
        .map(|(_, value)| value.as_str())
        .collect();
    let end = fields.iter().find(|(name, _)| name == "end").map(|(_, value)| value.as_str());
    match end {
        Some("give-up") => exercise.give_up(),
        Some("nothing") => _ = exercise.name_cause(&[]),
        Some(_) if named.is_empty() => {}
        Some(_) if exercise.name_cause(&named).is_err() => {
            return Err(Mistake::wrong("there is no such cause", "choose one from the list"));
        }
        _ => {}
    }
    let address = format!("/practice/{}/{}/{number}", known.name, level.name());
    let title = format!("{}, exercise {number}", known.title);
    let body = html! {
        h1 { (title) }
        p.aside { (level.words()) }
        @let opening = exercise.opening();
        p { "\"It is the " (known.title) ": " strong { (opening.complaint) } ".\"" @if !opening.doing.is_empty() { " What was being done: " (opening.doing) "." } @if !opening.did.is_empty() { " Done last: " (opening.did) "." } " You stand at the machine." }
        (done_so_far(&exercise))
        @if exercise.outcome().is_some() {
            (looked_back(&exercise.review()))
            @if let Some(next) = number.checked_add(1) { p { a.button href={ "/practice/" (known.name) "/" (level.name()) "/" (next) } { "The next exercise" } } }
        } @else if let Some((key, said)) = before.as_ref().and_then(|said| Some((meant?, said))) {
            (announced(&exercise, &address, key, said))
        } @else {
            (offered(&exercise, &address))
        }
    };
    Ok(layout::page(&title, Here::Practice, &body))
}

fn done_so_far(exercise: &Exercise<'_>) -> Markup {
    html! {
        h2 { "So far: " (minutes(exercise.minutes())) }
        @if exercise.done().is_empty() { p { "Nothing was done yet." } }
        @if let Some(last) = exercise.done().iter().rev().find(|done| !done.lamps.is_empty()) { (lamp_panel::shown(exercise.machine(), &last.lamps)) }
        ol.said { @for done in exercise.done() { li { (done.words) ": " strong { (done.seen) } " " small { (minutes(done.minutes)) } } } }
    }
}

/// What is said before something is done: cautions, then what can move by it; `None` if there is nothing to say.
fn said_before(exercise: &Exercise<'_>, key: &str) -> Option<Vec<String>> {
    let offer = exercise.offers().iter().find(|offer| offer.key == key)?;
    let mut said: Vec<String> = offer.cautions.iter().map(|caution| caution.english().to_owned()).collect();
    said.extend(Announcement::of(&exercise.can_move(key)).map(|one| one.with_probabilities()));
    (!said.is_empty()).then_some(said)
}

fn announced(exercise: &Exercise<'_>, address: &str, key: &str, said: &[String]) -> Markup {
    let words = exercise.offers().iter().find(|offer| offer.key == key).map_or(key, |offer| offer.words.as_str());
    html! {
        h2 { "Before you do it: " (words) }
        div.caution { @for one in said { p { (one) } } }
        div.line {
            form method="post" action=(address) { (visitor::proof())
                (carried(exercise))
                button name="done" value=(key) { "I have seen to that: do it" }
            }
            form method="post" action=(address) { (visitor::proof())
                (carried(exercise))
                button.second { "Something else first" }
            }
        }
    }
}

/// All that was done, to be carried on.
fn carried(exercise: &Exercise<'_>) -> Markup {
    html! { @for done in exercise.done() { input type="hidden" name="done" value=(done.key); } }
}

fn offered(exercise: &Exercise<'_>, address: &str) -> Markup {
    let machine = exercise.machine();
    let of = |group: Group| exercise.offers().iter().filter(move |offer| offer.group == group);
    let mut by_device: BTreeMap<&str, Vec<&Offer>> = BTreeMap::new();
    for offer in of(Group::Checks).chain(of(Group::Remedies)) {
        let device = offer.device.map_or("other", |device| machine.devices[device].name.as_str());
        by_device.entry(device).or_default().push(offer);
    }
    // What only looks is done at once; before the rest it is said what to be careful of and what can move.
    let button = |offer: &Offer| -> Markup {
        let looks = matches!(offer.group, Group::Lamps | Group::Positions);
        let name = if looks { "done" } else { "about" };
        html! { li { button name=(name) value=(offer.key) { (offer.words) " " small { (minutes(offer.minutes)) } } } }
    };
    html! {
        form method="post" action=(address) { (visitor::proof())
            (carried(exercise))
            h2 { "What do you do?" }
            ul.offers { @for offer in of(Group::Lamps).take(1) { (button(offer)) } }
            details { summary { "Look at one lamp" } ul.offers.many { @for offer in of(Group::Lamps).skip(1) { (button(offer)) } } }
            details { summary { "Look where things stand" } ul.offers { @for offer in of(Group::Positions) { (button(offer)) } } }
            details { summary { "Work the machine" } ul.offers { @for offer in of(Group::Hands) { (button(offer)) } } }
            details {
                summary { "Check or put right a device" }
                @for (device, offers) in &by_device { details.inner { summary { (device) } ul.offers { @for offer in offers { (button(offer)) } } } }
            }
        }
        form method="post" action=(address) { (visitor::proof())
            (carried(exercise))
            h2 { "What is it?" }
            @for (number, label) in ["What is wrong", "and, if two things are"].into_iter().enumerate() {
                label for={ "cause-" (number) } { (label) }
                select id={ "cause-" (number) } name="cause" {
                    option value="" { "–" }
                    (causes(machine))
                }
            }
            div.line {
                button name="end" value="named" { "That is it" }
                button.second name="end" value="nothing" { "Nothing is wrong" }
                button.second name="end" value="give-up" { "Show me" }
            }
        }
    }
}

fn causes(machine: &Machine) -> Markup {
    html! {
        optgroup label="forgotten, or missing outside" {
            @for row in machine.deviations.rows().filter(|row| row.kind == DeviationKind::Lapse) { option value=(row.key) { (row.words.english) } }
        }
        @for (device, row) in machine.devices.iter() {
            optgroup label=(row.name) {
                @for fault in machine.deviations.rows().filter(|one| one.kind == DeviationKind::Fault(device)) { option value=(fault.key) { (row.name) ": " (fault.words.english) } }
            }
        }
    }
}

fn looked_back(review: &Review) -> Markup {
    html! {
        section.verdict {
            h2 {
                @match review.outcome {
                    Outcome::Found => "Right.",
                    Outcome::Runs => "It runs again.",
                    Outcome::Mistaken => "That was not it.",
                    Outcome::GivenUp => "This is it.",
                }
            }
            @if review.truth.is_empty() { p { "Nothing was wrong: it waited for you." } } @else { p { "It was: " strong { (review.truth.join("; and ")) } "." } }
            @for remedy in &review.remedies { p { "What puts it right: " (remedy) } }
        }
        h2 { "Minutes" }
        ul.plain {
            li { "you: " (minutes(review.minutes)) }
            li { "the program's own way: " (minutes(review.advised_minutes)) @if !review.advice_solves { " (it would have given up)" } }
            li { "who knows what it is from the start: " (minutes(review.best_minutes)) }
        }
        h2 { "What the program would have done" }
        ol { @for (words, took) in &review.advised { li { (words) " " small { (minutes(*took)) } } } }
        @if !review.told_nothing.is_empty() {
            h2 { "Told you nothing new" }
            ul { @for one in &review.told_nothing { li { "step " (one.step + 1) ": " (one.words) " (" (minutes(one.minutes)) ")" } } }
        }
        @if !review.lamps.is_empty() || review.silent_lamps > 0 {
            h2 { "What the lamps said" }
            ul { @for one in &review.lamps { li {
                strong { (one.lamp) } @if !one.words.is_empty() { " (" (one.words) ")" }
                @match one.expected { Some(true) => ", lit when nothing is wrong", Some(false) => ", dark when nothing is wrong", None => "" }
                ": makes what it was " (format!("{:.1}", one.bits.abs().min(20.0).exp2())) " times " @if one.bits > 0.0 { "more" } @else { "less" } " probable"
            } } }
            @if review.silent_lamps == 1 { p.aside { "One other lamp that you read says little about it or nothing." } }
            @if review.silent_lamps > 1 { p.aside { (review.silent_lamps) " lamps more that you read say little about it or nothing." } }
        }
        h2 { "What could be known at the end" }
        ul.plain { @for (words, probability) in &review.known { li { (share(*probability)) " " (words) } } }
        @if let Some((_, first)) = review.known.first() { @if *first < 0.5 { p.aside { "The first had only " (percent(*first)) ": a wrong guess is no shame there." } } }
    }
}
