//! `lampwise trial`: the advice tried out on simulated calls.

use std::fmt::Write as _;

use diagnose::evidence::Circumstances;
use diagnose::next::Terms;
use diagnose::trial::{Disturbance, Figures, Policy, Trial};
use diagnose::{Alternative, Diagnoser, Shelf};
use serde_json::json;

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
        terms: Terms::default(),
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
    let figures = progress::while_counting("calls", trial.calls, |done| trial.run(&nature, &advisor, policies, done));
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.trial/1",
            "calls": trial.calls,
            "seed": trial.seed,
            "misreading": trial.misreading,
            "disturbed": disturbance,
            "ways": figures,
        }));
    }
    screen.print(&page(&figures, &trial, disturbance))
}

fn page(figures: &[Figures], trial: &Trial, disturbance: Option<Disturbance>) -> String {
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
    let Some(own) = figures.first() else { return out };
    let _ = writeln!(
        out,
        "\nWith the program's advice {:.1} % of the calls were solved; the true cause was first before the repair\nthat ended the call in {:.1} %.",
        own.solved * 100.0,
        own.true_first * 100.0
    );
    let _ = writeln!(out, "\n{FAINT}stated of the leading cause   observed   statements{PLAIN}");
    for tenth in own.tenths.iter().filter(|tenth| tenth.count > 0) {
        let _ = writeln!(out, "{:>27.1} % {:>8.1} % {:>12}", tenth.stated * 100.0, tenth.observed * 100.0, tenth.count);
    }
    out
}
