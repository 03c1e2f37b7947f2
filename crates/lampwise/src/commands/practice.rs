//! `lampwise practice`: a simulated machine with something hidden in it, and drills in reading lamps.

mod drilled;
mod exercised;
mod kept;
mod lamps;
mod lists;
mod looking_back;

use diagnose::practice::{DrillKind, Exercise, Level};
use diagnose::{Diagnoser, Shelf};

use crate::answers::Answers;
use crate::arguments::{DrillChoice, LevelChoice, Practice};
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::Screen;

/// Leads through an exercise, or asks drills.
pub fn run(arguments: &Practice, screen: &Screen, shelf: &dyn Shelf) -> Result<(), Failure> {
    let chosen = input::choose(&arguments.choice)?;
    let level = match arguments.level {
        LevelChoice::Lapse => Level::Lapse,
        LevelChoice::Fault => Level::Fault,
        LevelChoice::AsItComes => Level::AsItComes,
        LevelChoice::Two => Level::Two,
        LevelChoice::ComesAndGoes => Level::ComesAndGoes,
    };
    let drill = arguments.drill.map(|drill| match drill {
        DrillChoice::Step => DrillKind::Step,
        DrillChoice::WaitsFor => DrillKind::WaitsFor,
    });
    let name = chosen.alternatives.first().map(|one| one.machine.name.clone()).unwrap_or_default();
    let mut kept = kept::Kept::open(arguments.progress.as_deref())?;
    let what = drill.map_or(level.name(), DrillKind::name);
    let number = arguments.exercise.unwrap_or_else(|| kept.next_number(&name, what));
    let mut answers = match &arguments.answers {
        Some(path) => Answers::of_file(path)?,
        None => Answers::of_stdin(),
    };
    let diagnoser = progress::while_working("working out what can go wrong", || {
        Diagnoser::from_shelf(chosen.alternatives, &level.circumstances(), &sim::Options::default(), shelf)
    });
    match drill {
        Some(kind) => drilled::ask(&diagnoser, kind, number, arguments.count, &mut answers, &mut kept, screen),
        None => {
            let exercise = Exercise::new(&diagnoser, level, number).ok_or_else(|| {
                let what = format!("{name} has nothing of the level `{}`", level.name());
                Failure::new("no-exercise", what, "choose another level; `lampwise practice --help` lists them")
            })?;
            exercised::Led::new(exercise, &mut answers, *screen).lead(&mut kept)
        }
    }
}
