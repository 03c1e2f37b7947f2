//! Everything worked out before the first report: the machine compiled, its routines
//! explored, the lamps of every situation. Made once for a machine file; many calls
//! are answered from it.

use crate::panel::{LampTruth, Panel};
use crate::prior::Prior;
use crate::standing::Standing;
use machine::Machine;
use machine::id::{Id, RoutineId};
use sim::{Exploration, Options, Plant, explore_weighted};

/// Share of the calls that concern the first routine; the others share the rest.
pub const FIRST_ROUTINE: f64 = 0.85;

/// A machine as it may be: one choice for everything that the file leaves open.
#[derive(Clone, Debug)]
pub struct Alternative {
    /// How probable this choice is; all alternatives together have 1.
    pub weight: f64,
    /// What was chosen, in words; empty if nothing was open.
    pub choices: Vec<String>,
    /// The machine.
    pub machine: Machine,
}

/// One routine, explored.
#[derive(Debug)]
pub(crate) struct RoutineWorld {
    pub routine: RoutineId,
    pub weight: f64,
    pub exploration: Exploration,
    /// The lamps of each situation.
    pub truths: Vec<LampTruth>,
    /// The lamps at each moment of the undisturbed run.
    pub passing: Vec<LampTruth>,
    /// How each record stands, for the complaint.
    pub standings: Vec<Standing>,
    /// The weight of pairs that were not followed.
    pub unfollowed: f64,
    /// The weight of all calls before any evidence, set by [`crate::Diagnoser::new`].
    pub listed: f64,
}

/// One alternative, explored.
#[derive(Debug)]
pub(crate) struct World {
    pub weight: f64,
    pub choices: Vec<String>,
    pub machine: Machine,
    pub plant: Plant,
    pub panel: Panel,
    pub prior: Prior,
    pub routines: Vec<RoutineWorld>,
}

impl World {
    pub fn new(alternative: Alternative, hours: Option<f64>, options: &Options) -> Self {
        let Alternative { weight, choices, machine } = alternative;
        let plant = Plant::new(&machine);
        let panel = Panel::new(&machine);
        let prior = Prior::new(&machine, hours.unwrap_or(machine.hours_since_well));
        let count = machine.routines.len();
        let routines = (0..count)
            .map(|index| {
                let weight = match (index, count) {
                    (0, 1) => 1.0,
                    (0, _) => FIRST_ROUTINE,
                    _ => (1.0 - FIRST_ROUTINE) / (count - 1) as f64,
                };
                RoutineWorld::new(&machine, &plant, &panel, &prior, RoutineId::new(index), weight, options)
            })
            .collect();
        Self { weight, choices, machine, plant, panel, prior, routines }
    }
}

impl RoutineWorld {
    fn new(
        machine: &Machine,
        plant: &Plant,
        panel: &Panel,
        prior: &Prior,
        routine: RoutineId,
        weight: f64,
        options: &Options,
    ) -> Self {
        let exploration = explore_weighted(machine, plant, routine, options, &|deviation| prior.odds(deviation));
        let odds = |behaviour: u32| -> f64 {
            exploration.behaviours[behaviour as usize].members.iter().map(|member| prior.odds(*member)).sum()
        };
        let unfollowed = exploration.unfollowed.iter().map(|(a, b, share)| odds(*a) * odds(*b) * share).sum();
        let truths = exploration.situations.iter().map(|situation| panel.truth(plant, situation)).collect();
        let passing = exploration.passing.iter().map(|situation| panel.truth(plant, situation)).collect();
        let last = machine.routines[routine].actions.len();
        let standings = exploration
            .records
            .iter()
            .map(|record| {
                let situation = &exploration.situations[record.situation as usize];
                match exploration.nominal_end(record.stage) {
                    Some(nominal) => Standing::of(
                        machine,
                        plant,
                        situation,
                        nominal,
                        record.as_always,
                        usize::from(record.stage) == last,
                    ),
                    None => Standing::Stalled,
                }
            })
            .collect();
        Self { routine, weight, exploration, truths, passing, standings, unfollowed, listed: 0.0 }
    }
}
