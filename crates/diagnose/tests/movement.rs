//! Movement before words, on all demo machines: wherever a dead sensor has stopped the machine and putting it right sets
//! something moving, whoever is told to put it right is told what moves. What moves is found here with the bare engine.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{Circumstances, Deed, Evidence, LampPlace, LampReport, Moment, Naming};
use diagnose::next::{Effort, Terms, ToDo, advise};
use diagnose::panel::Panel;
use diagnose::{Alternative, Diagnoser};
use machine::Machine;
use machine::id::{Id, MechanismId, RoutineId};
use machine::model::{Energy, FaultEffect, Forced, HandMove, InputStage};
use sim::{Engine, Limits, Options, Plant, Signal, State, Watch, explore};
use std::collections::BTreeSet;

const DEMOS: [&str; 4] = [
    include_str!("../../../demos/minimal.toml"),
    include_str!("../../../demos/jar-filler.toml"),
    include_str!("../../../demos/parts-washer.toml"),
    include_str!("../../../demos/lidding-line.toml"),
];

/// Notes every signal that comes on.
#[derive(Default)]
struct CameOn(Vec<Signal>);

impl Watch for CameOn {
    fn changed(&mut self, _now: u64, signal: Signal, value: bool) {
        if value {
            self.0.push(signal);
        }
    }
}

/// The mechanisms that set off when these effects go away and, where it is done with the energy off, the power comes back.
fn sets_off(
    machine: &Machine,
    plant: &Plant,
    state: &State,
    effects: &[FaultEffect],
    energy: Energy,
) -> BTreeSet<String> {
    let mut engine = Engine::watched(plant, CameOn::default());
    engine.restore(state);
    engine.lift(effects).unwrap();
    engine.act(if energy == Energy::Off { HandMove::PowerCycle } else { HandMove::Wait }).unwrap();
    engine.run_to_standing(Limits::default());
    let came_on = std::mem::take(&mut engine.watch_mut().0);
    let moved = |id: &MechanismId| came_on.contains(&plant.layout().between(*id));
    machine.mechanisms.ids().filter(moved).map(|id| machine.mechanisms[id].name.clone()).collect()
}

#[test]
fn what_putting_a_dead_sensor_right_sets_moving_is_announced_on_every_demo_machine() {
    let mut announced = 0;
    for text in DEMOS {
        let machine = machine::load_str("demo.toml", text).unwrap();
        let plant = Plant::new(&machine);
        let panel = Panel::new(&machine);
        let options = Options { pairs: false, ..Options::default() };
        let routine = RoutineId::new(0);
        let exploration = explore(&machine, &plant, routine, &options);
        let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine: machine.clone() };
        let diagnoser = Diagnoser::new(vec![alternative], &Circumstances::default(), &options);
        let effort = Effort { evaluations: 1, width: 40, depth: 1 };
        let terms = Terms { shown: usize::MAX, effort, ..Terms::default() };
        for (id, row) in machine.deviations.iter() {
            let [effect @ FaultEffect::Input(_, InputStage::Sensor, Forced::Off)] = row.effects[..] else { continue };
            let Some(remedy) = row.remedy else { continue };
            let number = exploration.behaviours.iter().position(|one| one.members.contains(&id)).unwrap();
            let stands = exploration.records.iter().filter(|one| one.first == Some(number as u32));
            let Some(record) = stands.max_by(|a, b| a.weight.total_cmp(&b.weight)) else { continue };
            let state = exploration.state_of(&machine, &plant, record, [Some(number), None]).unwrap();
            let moves = sets_off(&machine, &plant, &state, &[effect], machine.remedies[remedy].energy);
            if moves.is_empty() {
                continue;
            }
            let truth = panel.truth(&plant, &exploration.situations[record.situation as usize]);
            let lamps = LampPlace::all(&machine)
                .map(|(place, _)| LampReport {
                    place,
                    state: truth.state(panel.number(place).unwrap()),
                    naming: Naming::Named,
                })
                .collect();
            let deeds = usize::from(record.stage).checked_sub(1).map(|last| Deed::Routine(Some(last)));
            let moment = Moment { lamps, deeds: deeds.into_iter().collect(), ..Moment::default() };
            let evidence = Evidence { moments: vec![moment], ..Evidence::default() };
            let advice = advise(&diagnoser, &evidence, &terms);
            let Some(proposal) = advice.proposals.iter().find(|one| one.to_do == ToDo::Remedy(remedy)) else {
                continue;
            };
            let told: BTreeSet<String> = proposal.movements.iter().map(|one| one.mechanism.clone()).collect();
            assert!(moves.is_subset(&told), "{}: {} sets off {moves:?}, told {told:?}", machine.name, row.key);
            announced += 1;
        }
    }
    // So many sensors of these machines stop them in the middle and start them again.
    assert!(announced >= 20, "{announced}");
}
