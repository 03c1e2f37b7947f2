//! `lampwise trial`: the advice tried out on simulated calls.

use std::fmt::Write as _;

use diagnose::evidence::Circumstances;
use diagnose::next::Terms;
use diagnose::trial::{Course, Disturbance, Played, Policy, Trial, Tried};
use diagnose::{Alternative, Diagnoser, Shelf};
use machine::Machine;
use serde_json::{Value, json};

use crate::arguments::{Disturb, Trial as Arguments};
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::{FAINT, PLAIN, Screen, TITLE};

/// Plays the calls and prints how each way to choose fared.
pub fn run(arguments: &Arguments, screen: &Screen, shelf: &dyn Shelf) -> Result<(), Failure> {
    if !(0.0..=0.5).contains(&arguments.misreading) {
        let hint = "a share of the lamps, such as 0.02";
        return Err(Failure::new("bad-share", "--misreading must lie between 0 and 0.5".to_owned(), hint.to_owned()));
    }
    let chosen = input::choose(&arguments.choice)?;
    let Some(first) = chosen.alternatives.into_iter().next() else {
        return Err(Failure::file(Vec::new(), Vec::new()));
    };
    let trial = Trial {
        calls: arguments.calls as usize,
        seed: arguments.seed,
        misreading: arguments.misreading,
        terms: Terms::of(&first.machine),
        ..Trial::default()
    };
    let disturbance = arguments.disturb.map(|disturb| match disturb {
        Disturb::Rates => Disturbance::Rates,
        Disturb::LeftOut => Disturbance::LeftOut,
        Disturb::Times => Disturbance::Times,
    });
    let (nature, file) = match disturbance {
        Some(disturbance) => disturbance.of(&first.machine, trial.seed),
        None => (first.machine.clone(), first.machine),
    };
    let (nature, advisor) = progress::while_working("working out what can go wrong", || {
        let diagnoser = |machine| {
            Diagnoser::from_shelf(
                vec![Alternative { weight: 1.0, choices: Vec::new(), machine }],
                &Circumstances::default(),
                &sim::Options::default(),
                shelf,
            )
        };
        (diagnoser(nature), diagnoser(file))
    });
    let policies: &[Policy] = if arguments.alone { &Policy::ALL[..1] } else { &Policy::ALL };
    let tried = progress::while_counting("calls", trial.calls, |done| trial.run(&nature, &advisor, policies, done));
    let Some(machine) = advisor.machine() else { return Ok(()) };
    if screen.json {
        let each = |call: &Played| {
            let ways: Vec<Value> = call.courses.iter().map(|course| course_json(course, machine)).collect();
            json!({ "wrong": call.wrong, "ways": ways })
        };
        return screen.print_json(&json!({
            "schema": "lampwise.trial/1",
            "calls": trial.calls,
            "seed": trial.seed,
            "misreading": trial.misreading,
            "disturbed": disturbance,
            "ways": tried.figures,
            "each": arguments.each.then(|| tried.calls.iter().map(each).collect::<Vec<_>>()),
        }));
    }
    let mut out = page(&tried, &trial, disturbance);
    if arguments.each {
        out.push_str(&one_by_one(&tried, machine));
    }
    screen.print(&out)
}

fn course_json(course: &Course, machine: &Machine) -> Value {
    let done: Vec<Value> =
        course.done.iter().map(|(to_do, minutes)| json!({ "do": to_do.key(machine), "minutes": minutes })).collect();
    let stated = course.stated.iter().map(|one| {
        json!({
            "leading": one.leading.map(|to_do| to_do.key(machine)),
            "probability": one.probability,
            "is_so": one.is_so,
        })
    });
    json!({
        "minutes": course.minutes,
        "solved": course.solved,
        "true_first": course.true_first,
        "visits": course.visits,
        "done": done,
        "stated": stated.collect::<Vec<_>>(),
    })
}

fn one_by_one(tried: &Tried, machine: &Machine) -> String {
    let mut out = String::new();
    let _ =
        writeln!(out, "\n{FAINT}each call: minutes in each way, in the order above; what was done as advised{PLAIN}");
    for (number, call) in tried.calls.iter().enumerate() {
        let wrong = match call.wrong.as_deref() {
            None => "something that is not in the file".to_owned(),
            Some([]) => "nothing wrong".to_owned(),
            Some(keys) => keys.join(" and "),
        };
        let minutes: Vec<String> = call.courses.iter().map(|course| format!("{:.0}", course.minutes)).collect();
        let _ = writeln!(out, "{}  {wrong}: {} min", number + 1, minutes.join(", "));
        let Some(course) = call.courses.first() else { continue };
        let done: Vec<String> = course.done.iter().map(|(to_do, _)| to_do.key(machine)).collect();
        let end = if course.solved { "it runs" } else { "last resort" };
        let _ = writeln!(
            out,
            "   {FAINT}{}{PLAIN}",
            done.iter().map(String::as_str).chain([end]).collect::<Vec<_>>().join(" · ")
        );
    }
    out
}

fn page(tried: &Tried, trial: &Trial, disturbance: Option<Disturbance>) -> String {
    let figures = &tried.figures;
    let mut out = String::new();
    let _ = writeln!(out, "{TITLE}{} calls, seed {}{PLAIN}", trial.calls, trial.seed);
    let wrong = match disturbance {
        None => "as the file says",
        Some(Disturbance::Rates) => "every rate in the file three times too high or too low",
        Some(Disturbance::LeftOut) => "one fault in ten not in the file",
        Some(Disturbance::Times) => "times wrong in the file, an interlock missing in it",
    };
    let _ = writeln!(out, "Machines {wrong}; {} % of the lamps misread.\n", trial.misreading * 100.0);
    let _ = writeln!(
        out,
        "{FAINT}{:<42} {:>7} {:>6} {:>6} {:>8} {:>14} {:>6} {:>9}{PLAIN}",
        "minutes until it runs", "mean", "median", "90 %", "more", "(95 %)", "visits", "questions"
    );
    for one in figures {
        let _ = writeln!(
            out,
            "{:<42} {:>7.1} {:>6.0} {:>6.0} {:>8.1} {:>14} {:>6.2} {:>9.1}",
            one.policy.words(),
            one.minutes.mean,
            one.median,
            one.ninetieth,
            one.more_than_first.mean,
            format!("±{:.1}", one.more_than_first.half_width),
            one.visits,
            one.questions
        );
    }
    if figures.len() > 1 && !figures.iter().any(|one| one.policy == Policy::Optimum) {
        let _ = writeln!(out, "{FAINT}There is too much to ask and to try to work out the exact optimum.{PLAIN}");
    }
    let Some(own) = figures.first() else { return out };
    let _ = writeln!(
        out,
        "\nWith the program's advice {:.1} % of the calls were solved; the true cause was first before the repair\nthat ended the call in {:.1} %.",
        own.solved * 100.0,
        own.true_first * 100.0
    );
    let _ = writeln!(out, "\n{FAINT}stated of the leading cause   observed    (95 %)   statements{PLAIN}");
    for tenth in own.tenths.iter().filter(|tenth| tenth.count > 0) {
        let _ = writeln!(
            out,
            "{:>27.1} % {:>8.1} % {:>9} {:>12}",
            tenth.stated * 100.0,
            tenth.observed * 100.0,
            format!("±{:.1}", tenth.half_width * 100.0),
            tenth.count
        );
    }
    out
}
