//! Evidence in the words of another alternative of the machine. A revision can have
//! a point or a mechanism more, so that the numbers behind it differ; names stay.
//!
//! What the other alternative does not have can't be weighed there lamp by lamp. It is
//! counted: somebody who names such a thing has probably another alternative in front of them.

use std::cell::Cell;

use crate::evidence::{CheckReport, Deed, Evidence, LampPlace, LampReport, Moment, Naming, PositionReport};
use machine::Machine;
use machine::id::{CheckId, Id, MechanismId, RemedyId, RoutineId, SupplyId};
use machine::model::HandMove;

/// The probability that somebody names a thing that their machine does not have: a slip, as
/// rare as naming the wrong lamp. Common practice, no source.
pub const NAMES_WHAT_IS_NOT_THERE: f64 = 0.01;

/// Evidence as one alternative of the machine understands it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    /// What of it this alternative understands, in its numbers.
    pub evidence: Evidence,
    /// How many things were named that this alternative does not have.
    pub unknown: u32,
}

impl Told {
    /// How probable it is that so many things were named by a slip.
    pub(crate) fn slips(&self) -> f64 {
        // More than this is the same mistake again: the caller has another file or machine in mind.
        const MOST: u32 = 3;
        NAMES_WHAT_IS_NOT_THERE.powi(self.unknown.min(MOST).cast_signed())
    }
}

/// Evidence read with the names of `from`, as `to` understands it.
#[must_use]
pub fn retold(evidence: &Evidence, from: &Machine, to: &Machine) -> Told {
    let renamer = Renamer { from, to, unknown: Cell::new(0) };
    let routine = evidence.routine.unwrap_or(RoutineId::new(0));
    let evidence = Evidence {
        complaint: evidence.complaint,
        routine: evidence.routine.and_then(|routine| renamer.routine(routine)),
        hours_since_well: evidence.hours_since_well,
        recently: evidence.recently.clone(),
        once_in: evidence.once_in,
        most_at_once: evidence.most_at_once,
        moments: evidence.moments.iter().map(|moment| renamer.moment(moment, routine)).collect(),
    };
    Told { evidence, unknown: renamer.unknown.get() }
}

/// The check of the same key in another alternative.
pub(crate) fn same_check(from: &Machine, check: CheckId, to: &Machine) -> Option<CheckId> {
    let key = &from.checks.get(check)?.key;
    // Most often it has the same number.
    let same = to.checks.get(check).is_some_and(|row| row.key == *key);
    if same { Some(check) } else { to.checks.find(|row| row.key == *key).map(|(id, _)| id) }
}

/// The remedy of the same key in another alternative.
pub(crate) fn same_remedy(from: &Machine, remedy: RemedyId, to: &Machine) -> Option<RemedyId> {
    let key = &from.remedies.get(remedy)?.key;
    let same = to.remedies.get(remedy).is_some_and(|row| row.key == *key);
    if same { Some(remedy) } else { to.remedies.find(|row| row.key == *key).map(|(id, _)| id) }
}

/// The same action of the same routine in another alternative.
pub(crate) fn same_action(from: &Machine, to: &Machine, routine: RoutineId, action: usize) -> Option<usize> {
    Renamer { from, to, unknown: Cell::new(0) }.action(routine, action)
}

struct Renamer<'m> {
    from: &'m Machine,
    to: &'m Machine,
    /// Things that were named and are not in `to`.
    unknown: Cell<u32>,
}

impl Renamer<'_> {
    /// What was found, or one more thing that is not there.
    fn counted<T>(&self, found: Option<T>) -> Option<T> {
        if found.is_none() {
            self.unknown.set(self.unknown.get().saturating_add(1));
        }
        found
    }

    fn moment(&self, moment: &Moment, routine: RoutineId) -> Moment {
        Moment {
            deeds: moment.deeds.iter().filter_map(|deed| self.counted(self.deed(*deed, routine))).collect(),
            remedies: moment
                .remedies
                .iter()
                .filter_map(|remedy| self.counted(same_remedy(self.from, *remedy, self.to)))
                .collect(),
            lamps: moment
                .lamps
                .iter()
                .filter_map(|report| match report.naming {
                    Naming::Named => self.counted(self.lamp(*report)),
                    Naming::Rest => self.lamp(*report),
                })
                .collect(),
            positions: moment.positions.iter().filter_map(|report| self.counted(self.position(*report))).collect(),
            checks: moment.checks.iter().filter_map(|report| self.counted(self.check(*report))).collect(),
            runs: moment.runs,
        }
    }

    fn routine(&self, routine: RoutineId) -> Option<RoutineId> {
        let name = &self.from.routines.get(routine)?.name;
        self.to.routines.find(|row| row.name == *name).map(|(id, _)| id)
    }

    fn lamp(&self, report: LampReport) -> Option<LampReport> {
        let label = &report.place.lamp(self.from)?.label;
        if report.place.lamp(self.to).is_some_and(|lamp| lamp.label == *label) {
            return Some(report);
        }
        let (place, _) = LampPlace::all(self.to).find(|(_, lamp)| lamp.label == *label)?;
        Some(LampReport { place, ..report })
    }

    fn mechanism(&self, mechanism: MechanismId) -> Option<MechanismId> {
        let name = &self.from.mechanisms.get(mechanism)?.name;
        self.to.mechanisms.find(|row| row.name == *name).map(|(id, _)| id)
    }

    fn supply(&self, supply: SupplyId) -> Option<SupplyId> {
        let name = &self.from.supplies.get(supply)?.name;
        self.to.supplies.find(|row| row.name == *name).map(|(id, _)| id)
    }

    fn place(&self, mechanism: MechanismId, position: u8) -> Option<(MechanismId, u8)> {
        let name = self.from.mechanisms.get(mechanism)?.positions.get(usize::from(position))?;
        let there = self.mechanism(mechanism)?;
        let at = self.to.mechanisms[there].positions.iter().position(|known| known == name)?;
        Some((there, u8::try_from(at).ok()?))
    }

    fn position(&self, report: PositionReport) -> Option<PositionReport> {
        match report.position {
            None => Some(PositionReport { mechanism: self.mechanism(report.mechanism)?, position: None }),
            Some(position) => {
                let (mechanism, position) = self.place(report.mechanism, position)?;
                Some(PositionReport { mechanism, position: Some(position) })
            }
        }
    }

    fn check(&self, report: CheckReport) -> Option<CheckReport> {
        let asked = self.from.checks.get(report.check)?;
        let check = same_check(self.from, report.check, self.to)?;
        let row = &self.to.checks[check];
        let given = &asked.answers.get(report.answer)?.key;
        Some(CheckReport { check, answer: row.answers.iter().position(|answer| answer.key == *given)? })
    }

    fn deed(&self, deed: Deed, routine: RoutineId) -> Option<Deed> {
        match deed {
            Deed::Routine(None) => Some(deed),
            Deed::Routine(Some(action)) => self.action(routine, action).map(|action| Deed::Routine(Some(action))),
            Deed::Extra(movement) => self.movement(movement).map(Deed::Extra),
        }
    }

    /// The same action of the same routine; of several alike, the one with as many before it.
    fn action(&self, routine: RoutineId, action: usize) -> Option<usize> {
        let actions = &self.from.routines.get(routine)?.actions;
        let short = &actions.get(action)?.short;
        let before = actions.iter().take(action).filter(|one| one.short == *short).count();
        let there = self.to.routines.get(self.routine(routine)?)?;
        let mut alike = there.actions.iter().enumerate().filter(|(_, one)| one.short == *short);
        alike.nth(before).map(|(index, _)| index)
    }

    fn movement(&self, movement: HandMove) -> Option<HandMove> {
        Some(match movement {
            HandMove::Put(mechanism, position) => {
                let (mechanism, position) = self.place(mechanism, position)?;
                HandMove::Put(mechanism, position)
            }
            HandMove::Press(mechanism, ms) => HandMove::Press(self.mechanism(mechanism)?, ms),
            HandMove::Hold(mechanism) => HandMove::Hold(self.mechanism(mechanism)?),
            HandMove::LetGo(mechanism) => HandMove::LetGo(self.mechanism(mechanism)?),
            HandMove::Supply(supply, there) => HandMove::Supply(self.supply(supply)?, there),
            HandMove::PowerCycle | HandMove::Wait => movement,
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;
    use crate::reading::{describe_deeds, describe_lamps, describe_positions};
    use crate::reading::{read_checks, read_deeds, read_lamps, read_positions};

    #[test]
    fn evidence_says_the_same_of_another_revision() {
        let text = include_str!("../../../demos/parts-washer.toml");
        let reading = machine::read(machine::Source::new("parts-washer.toml", text), &[]);
        let revision = |name: &str| {
            let choice = machine::Choice { revision: Some(name.to_owned()), ..machine::Choice::default() };
            reading.resolve(&choice).alternatives.swap_remove(0).machine
        };
        let (a, b) = (revision("A"), revision("B"));
        let routine = RoutineId::new(0);
        let said = |machine: &Machine, evidence: &Evidence| {
            let moment = &evidence.moments[0];
            [
                describe_lamps(machine, &moment.lamps),
                describe_positions(machine, &moment.positions),
                describe_deeds(machine, routine, &moment.deeds),
                crate::reading::describe_checks(machine, &moment.checks),
            ]
        };
        let check = a.checks.rows().next_back().expect("checks");
        let (key, answer) = (&check.key, &check.answers[0].key);
        let moment = Moment {
            lamps: read_lamps(&a, "I0.4 on, I2.1 off, POWER on").unwrap(),
            positions: read_positions(&a, "lid shut").unwrap(),
            deeds: read_deeds(&a, routine, "shut the lid, pressed start, power cycled").unwrap(),
            checks: read_checks(&a, &format!("{key}: {answer}")).unwrap(),
            remedies: Vec::new(),
            runs: None,
        };
        let evidence = Evidence { routine: Some(routine), moments: vec![moment], ..Evidence::default() };
        let there = retold(&evidence, &a, &b);
        assert_eq!(there.unknown, 0);
        assert_eq!(said(&a, &evidence), said(&b, &there.evidence));
        assert_eq!(retold(&there.evidence, &b, &a), Told { evidence, unknown: 0 });
    }
}
