//! Lamps as people read them out, to [`LampReport`]s and back.
//!
//! What is understood, in any mixture (a comma ends a clause, a semicolon or
//! line a sentence):
//!
//! | typed | meaning |
//! | --- | --- |
//! | `X12 X14 on, X3 off, rest off` | the names before a word for how lamps are |
//! | `on: X12, X14; off: X3` | or behind it |
//! | `X0-X7 lit except X3`, `X0..X3`, `X0 to X3` | ranges in the order of the lamps on the panel; a lamp excepted from lit is dark |
//! | `X1, 2 and 3 on` | numbers go on with the letters before them |
//! | `X5 flickers`, `blinks`, `goes on and off` | goes on and off |
//! | `X3 not looked at`, `unknown`, `can't see X3`, `X3 ?` | no report, and not one of the rest |
//! | `door shut on`, `B1 off` | the words for a point, its tag, or the fact a lamp stands for |
//! | `inputs all off`, `outputs: Y0 on, rest off`, `top row off` | a sort of lamps or a row |
//! | `rest off`, `all others dark`, `nothing else` | all lamps of which nothing else is said |
//! | `only X3 lit` | and the rest dark |
//! | `nothing lit`, `all lamps off` | every lamp |
//! | `+X3 -X4`, `X3=1, X4=0` | shorthand for lit and dark |
//! | `X12 X14` | a text without any word for how lamps are: these are lit, nothing is said of the others |
//! | `"ON" on` | a text in quotation marks is always a name |
//!
//! Upper and lower case, blanks in labels and leading zeros make no difference:
//! `X3`, `x 3`, `X03`. State words are understood in English, German and
//! Spanish. Lamps that are named are reported as [`Naming::Named`]; those
//! covered by "rest", "all", "inputs" and the like as [`Naming::Rest`], and
//! what is said of a lamp by name goes before what is said of its row, which
//! goes before what is said of all.
//!
//! "Rest" and "all" take in the controller's own lamps (`POWER`, `RUN`) only if
//! one of these is named, or if one thing is said of all lamps and nothing
//! else: a caller who says "X3 on, rest off" hardly means that the power lamp
//! is dark.
//!
//! [`Naming::Named`]: crate::evidence::Naming::Named
//! [`Naming::Rest`]: crate::evidence::Naming::Rest

mod clauses;
mod describe;
mod names;
mod resolve;
mod tokens;
mod words;

use machine::Machine;

use self::names::LampNames;
use super::mistake::{Mistakes, ReadingError};
use crate::evidence::LampReport;

pub use describe::describe_lamps;

/// Reads what is said of lamps. The reports come in the order of the panel,
/// at most one for each lamp.
///
/// ```
/// use diagnose::evidence::{LampState, Naming};
/// use diagnose::reading::read_lamps;
/// use machine::Machine;
/// use machine::model::{LampKind, LampRow, PanelLamp, StatusMeaning, Words};
///
/// let lamp = |label: &str| PanelLamp { label: label.to_owned(), kind: LampKind::Unused };
/// let mut machine = Machine::default();
/// machine.lamp_rows.push(LampRow { title: Words::plain("inputs"), lamps: vec![lamp("X0"), lamp("X1"), lamp("X2")] });
///
/// let reports = read_lamps(&machine, "X0-X2 on except X1").unwrap();
/// assert_eq!(reports.iter().map(|report| report.state).collect::<Vec<_>>(), [LampState::Lit, LampState::Dark, LampState::Lit]);
///
/// let mistakes = read_lamps(&machine, "X0 on, X5 off").unwrap_err();
/// assert_eq!(mistakes[0].what, "no lamp is called `X5`");
/// ```
///
/// # Errors
/// Every mistake of the text: names that no lamp or more than one lamp has,
/// lamps said to be in two ways, names of which nothing is said.
pub fn read_lamps(machine: &Machine, text: &str) -> Result<Vec<LampReport>, Vec<ReadingError>> {
    read_by_names(&LampNames::of(machine), text)
}

/// Reads with the names of a machine's lamps, which are dear to collect.
fn read_by_names(names: &LampNames, text: &str) -> Result<Vec<LampReport>, Vec<ReadingError>> {
    let mut mistakes = Mistakes::check_length(text)?;
    let tokens = tokens::tokens(text, names, &mut mistakes);
    let statements = clauses::statements(&tokens, names, &mut mistakes);
    let reports = resolve::reports(&statements, names, &mut mistakes);
    mistakes.or(reports)
}
