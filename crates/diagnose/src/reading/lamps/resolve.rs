//! Statements about lamps as one report for each lamp. A lamp that was named
//! is what was said of it; the others are what was said of their row or sort,
//! and only then what was said of all.

use std::collections::BTreeSet;
use std::ops::Range;

use super::clauses::{Statement, Who};
use super::names::{Class, Lamp, LampNames};
use super::words::{Scope, Spoken};
use crate::evidence::{LampReport, Naming};
use crate::reading::mistake::{MistakeKind, Mistakes, ReadingError};

/// What was said of one lamp by name.
#[derive(Clone, Debug)]
struct Named {
    said: Spoken,
    span: Range<usize>,
}

/// What was said of all of a scope of which nothing else is said.
#[derive(Debug)]
struct Remainder {
    scope: Scope,
    said: Spoken,
    span: Range<usize>,
    except: BTreeSet<usize>,
    except_scopes: Vec<Scope>,
}

/// The reports, in the order of the panel.
pub(super) fn reports(statements: &[Statement], names: &LampNames, mistakes: &mut Mistakes) -> Vec<LampReport> {
    let mut named: Vec<Option<Named>> = vec![None; names.lamps.len()];
    let mut remainders: Vec<Remainder> = Vec::new();
    for statement in statements {
        take_subjects(statement, names, &mut named, &mut remainders, mistakes);
    }
    // After everything that was said outright, so that it goes before what is only implied.
    for statement in statements {
        take_exceptions(statement, names, &mut named, mistakes);
    }
    let with_status = covers_status(&named, &remainders, names);
    let mut reported = BTreeSet::new();
    let mut reports = Vec::new();
    for (lamp, row) in names.lamps.iter().enumerate() {
        let (said, naming) = match &named[lamp] {
            Some(named) => (named.said, Naming::Named),
            None => match remainder_of(lamp, row, &remainders, with_status, &mut reported, mistakes) {
                Some(said) => (said, Naming::Rest),
                None => continue,
            },
        };
        if let Spoken::State(state) = said {
            reports.push(LampReport { place: row.place, state, naming });
        }
    }
    reports
}

fn take_subjects(
    statement: &Statement,
    names: &LampNames,
    named: &mut [Option<Named>],
    remainders: &mut Vec<Remainder>,
    mistakes: &mut Mistakes,
) {
    let mut except = BTreeSet::new();
    let mut except_scopes = Vec::new();
    for subject in &statement.except {
        match &subject.who {
            Who::Lamps(from, to) => except.extend(names.between(*from, *to)),
            Who::Those { scope, .. } => except_scopes.push(*scope),
            Who::Nobody => {}
        }
    }
    for subject in &statement.subjects {
        let span = subject.span.start.min(statement.span.start)..subject.span.end.max(statement.span.end);
        match &subject.who {
            Who::Lamps(from, to) => {
                for lamp in names.between(*from, *to).filter(|lamp| !except.contains(lamp)) {
                    name(lamp, statement.said, &span, names, named, mistakes);
                }
            }
            Who::Those { scope, none, .. } => {
                let said = if *none { statement.said.opposite() } else { Some(statement.said) };
                let Some(said) = said else {
                    mistakes.add(
                        MistakeKind::Unclear,
                        span,
                        "what no lamp does is said, and that leaves more than one possibility",
                        "say how the lamps are: `all off`, or which are on",
                    );
                    continue;
                };
                let repeated = remainders.iter().any(|other| {
                    other.scope == *scope
                        && other.said == said
                        && other.except.is_empty()
                        && other.except_scopes.is_empty()
                });
                if !repeated {
                    let (except, except_scopes) = (except.clone(), except_scopes.clone());
                    remainders.push(Remainder { scope: *scope, said, span, except, except_scopes });
                }
            }
            Who::Nobody => {}
        }
    }
}

fn name(
    lamp: usize,
    said: Spoken,
    span: &Range<usize>,
    names: &LampNames,
    named: &mut [Option<Named>],
    mistakes: &mut Mistakes,
) {
    match &named[lamp] {
        Some(before) if before.said != said => mistakes.push(ReadingError {
            kind: MistakeKind::Contradiction,
            span: span.clone(),
            other: Some(before.span.clone()),
            what: format!("`{}` is said to be {} and {}", names.lamps[lamp].label, before.said.shown(), said.shown()),
            hint: format!(
                "say it once, or as an exception (`... except {0}`); if it goes on and off, say `{0} flickers`",
                names.lamps[lamp].label
            ),
        }),
        Some(_) => {}
        None => named[lamp] = Some(Named { said, span: span.clone() }),
    }
}

/// A lamp excepted from "on" is off, unless something else was said of it.
fn take_exceptions(statement: &Statement, names: &LampNames, named: &mut [Option<Named>], mistakes: &mut Mistakes) {
    let none = statement.subjects.iter().any(|subject| matches!(subject.who, Who::Those { none: true, .. }));
    let said = if none { statement.said.opposite() } else { Some(statement.said) };
    let opposite = said.and_then(Spoken::opposite);
    for subject in &statement.except {
        let Who::Lamps(from, to) = subject.who else { continue };
        for lamp in names.between(from, to) {
            match (&named[lamp], opposite) {
                (Some(_), _) => {}
                (None, Some(opposite)) => named[lamp] = Some(Named { said: opposite, span: subject.span.clone() }),
                (None, None) => mistakes.add(
                    MistakeKind::NothingSaid,
                    subject.span.clone(),
                    format!("it is not said how `{}` is", names.lamps[lamp].label),
                    "put `on`, `off`, `flickers` or `not looked at` behind it",
                ),
            }
        }
    }
}

/// Whether "the rest" takes in the controller's own lamps: people leave these out, unless
/// they name one of them, or say one thing of all lamps and nothing else.
fn covers_status(named: &[Option<Named>], remainders: &[Remainder], names: &LampNames) -> bool {
    let mut of_status = named.iter().zip(&names.lamps).filter(|(_, lamp)| lamp.class == Class::Status);
    let alone = named.iter().all(Option::is_none)
        && remainders.iter().all(|one| one.scope == Scope::Everything && one.except_scopes.is_empty());
    alone
        || of_status.any(|(named, _)| named.is_some())
        || remainders.iter().any(|one| one.scope == Scope::Class(Class::Status))
}

/// What was said of this lamp without naming it.
fn remainder_of(
    lamp: usize,
    row: &Lamp,
    remainders: &[Remainder],
    with_status: bool,
    reported: &mut BTreeSet<(usize, usize)>,
    mistakes: &mut Mistakes,
) -> Option<Spoken> {
    let mut best: Option<usize> = None;
    for (i, one) in remainders.iter().enumerate() {
        let excepted = one.except.contains(&lamp) || one.except_scopes.iter().any(|scope| row.is_in(*scope));
        let everything = one.scope == Scope::Everything;
        if !row.is_in(one.scope) || excepted || (everything && row.class == Class::Status && !with_status) {
            continue;
        }
        let Some(before) = best else {
            best = Some(i);
            continue;
        };
        let before_everything = remainders[before].scope == Scope::Everything;
        if before_everything && !everything {
            best = Some(i);
        } else if before_everything == everything && remainders[before].said != one.said && reported.insert((before, i))
        {
            mistakes.push(ReadingError {
                kind: MistakeKind::Contradiction,
                span: one.span.clone(),
                other: Some(remainders[before].span.clone()),
                what: format!(
                    "`{}` and others are said to be {} and {}",
                    row.label,
                    remainders[before].said.shown(),
                    one.said.shown()
                ),
                hint: "say it once, or say it of a part, as in `inputs: rest on; outputs: rest off`".to_owned(),
            });
        }
    }
    best.map(|best| remainders[best].said)
}
