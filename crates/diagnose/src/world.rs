//! Everything worked out before the first report: the machine compiled, its routines
//! explored, the lamps of every situation. Made once for a machine file; many calls
//! are answered from it.

use crate::aftermath::{After, Aftermaths, Meanwhile, Stood};
use crate::class::{Class, classes, odds_together, overlapping};
use crate::evidence::Circumstances;
use crate::panel::{LampChange, LampTruth, Panel};
use crate::prior::Prior;
use crate::seen::lamp_changes;
use crate::standing::Standing;
use machine::id::{DeviationId, Id, RoutineId};
use machine::model::{FaultEffect, HandAction};
use machine::{Alternative, Machine};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};
use sim::{Exploration, Found, Options, Plant, Situation, State, explore_weighted, explored};
use std::borrow::Cow;
use std::ops::Range;
use std::sync::{Mutex, OnceLock, PoisonError};

/// Share of the calls that concern the first routine; the others share the rest.
pub const FIRST_ROUTINE: f64 = 0.85;

/// What the lamps show where deviations change some of them beyond what a situation says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Variation {
    /// What the situation says; index into [`RoutineWorld::truths`].
    pub shows: u32,
    /// The lamps that show something else.
    pub changes: Box<[LampChange]>,
}

/// Variations, each once: many situations and deviations share them, and each is weighed once for a report.
#[derive(Debug, Default)]
struct Variations {
    all: Vec<Variation>,
    known: FxHashMap<(u32, Vec<(usize, u64)>), u32>,
}

impl Variations {
    fn number(&mut self, shows: u32, changes: Vec<LampChange>) -> u32 {
        let key = changes.iter().map(|change| (change.lamp, change.bits())).collect();
        *self.known.entry((shows, key)).or_insert_with(|| {
            self.all.push(Variation { shows, changes: changes.into() });
            self.all.len() as u32 - 1
        })
    }
}

/// The lamps that latent deviations change in a situation.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(crate) struct LatentLamps {
    /// Classes (see [`World::classes`]), rising, each with its variation.
    pub one: Vec<(u32, u32)>,
    /// Two latent classes that share a lamp and don't both darken it.
    two: Vec<Together>,
    /// The same where the first is in play by itself.
    in_play: Vec<Together>,
}

/// Two classes, the second latent, that share a lamp and don't both darken it, with the variation of both; none if they
/// change nothing then.
type Together = (u32, u32, Option<u32>);

impl LatentLamps {
    /// The variations with one latent class, by itself or beside one in play.
    pub fn beside_one(&self) -> impl Iterator<Item = u32> {
        let beside = self.in_play.iter().filter_map(|(.., variation)| *variation);
        self.one.iter().map(|(_, variation)| *variation).chain(beside)
    }

    /// What comes together with this class, which is latent or in play by itself; in rising order.
    pub fn with(&self, first: u32, latent: bool) -> impl Iterator<Item = (u32, Option<u32>)> {
        let all = if latent { &self.two } else { &self.in_play };
        let from = all.partition_point(|(class, ..)| *class < first);
        let those = all[from..].iter().take_while(move |(class, ..)| *class == first);
        those.map(|(_, other, variation)| (*other, *variation))
    }
}

/// A record, and the behaviours in play that it stands for.
type StandsAs = (u32, [Option<usize>; 2]);

/// One routine, explored.
#[derive(Debug)]
pub(crate) struct RoutineWorld {
    pub routine: RoutineId,
    pub weight: f64,
    pub exploration: Exploration,
    aftermaths: Aftermaths,
    /// By record, how the machine stands there, once somebody asked; where a record stands for other behaviours than its
    /// own, by these.
    stood: Vec<OnceLock<Option<Stood>>>,
    stood_as: Mutex<FxHashMap<StandsAs, Option<Stood>>>,
    /// What the lamps can show, each once, and which of it each situation shows.
    pub truths: Vec<LampTruth>,
    pub shows: Vec<u32>,
    /// By situation in which somebody may call with at most one deviation in play: the lamps that latent
    /// deviations change.
    pub latent_lamps: Vec<LatentLamps>,
    pub variations: Vec<Variation>,
    /// For each behaviour, the records in which it comes into play alone, and first of two.
    pub alone: Vec<Range<usize>>,
    pub first_of_two: Vec<Range<usize>>,
    /// The lamps at each moment of the undisturbed run.
    pub passing: Vec<LampTruth>,
    /// How each record stands, for the complaint.
    pub standings: Vec<Standing>,
    /// By behaviour, whether by itself it can make this routine go otherwise than always.
    pub disturbs: Vec<bool>,
    /// The weight of pairs that were not followed.
    pub unfollowed: f64,
    /// The weight of all calls before any evidence; 0 until [`crate::Diagnoser`] has worked it out.
    pub listed: f64,
}

fn standing(
    exploration: &Exploration,
    machine: &Machine,
    plant: &Plant,
    (stage, as_always): (u16, bool),
    situation: &Situation,
) -> Standing {
    let last = machine.routines[exploration.routine()].actions.len();
    match exploration.nominal_end(stage) {
        Some(nominal) => Standing::of(machine, plant, situation, nominal, as_always, usize::from(stage) == last),
        None => Standing::Stalled,
    }
}

/// Of a routine, what takes long to work out; the rest follows from it in no time.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct KeptRoutine<'w> {
    found: Found<'w>,
    latent_lamps: Cow<'w, [LatentLamps]>,
    variations: Cow<'w, [Variation]>,
    listed: f64,
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
    /// The classes of deviations as long as nothing is asked, and the class of each deviation.
    pub classes: Vec<Class>,
    pub class_of: Vec<u32>,
    /// By two of these classes: the odds of a member of each being there together.
    pub odds: Vec<Vec<f64>>,
    pub routines: Vec<RoutineWorld>,
}

impl World {
    /// With what was kept of its routines, if anything was.
    pub fn new(
        alternative: Alternative,
        circumstances: &Circumstances,
        options: &Options,
        kept: Option<Vec<KeptRoutine<'static>>>,
    ) -> Self {
        let Alternative { weight, choices, machine } = alternative;
        let plant = Plant::new(&machine);
        let panel = Panel::new(&machine);
        let prior = Prior::new(&machine, circumstances);
        let count = machine.routines.len();
        let mut kept = kept.unwrap_or_default().into_iter();
        let mut routines: Vec<RoutineWorld> = (0..count)
            .map(|index| {
                let weight = match (index, count) {
                    (0, 1) => 1.0,
                    (0, _) => FIRST_ROUTINE,
                    _ => (1.0 - FIRST_ROUTINE) / (count - 1) as f64,
                };
                let of = (RoutineId::new(index), weight);
                RoutineWorld::new(&machine, &plant, &panel, &prior, of, options, kept.next())
            })
            .collect();
        // Behaviours differ between routines only in which actions they leave out.
        let behaviours = routines.first().map_or(&[][..], |routine| &routine.exploration.behaviours);
        let classes = classes(&machine, &panel, &prior, behaviours, &[], &[]);
        let mut class_of = vec![0; machine.deviations.len()];
        for (index, class) in classes.iter().enumerate() {
            class.members.iter().for_each(|member| class_of[member.index()] = index as u32);
        }
        let odds = odds_together(&classes);
        let mut world =
            Self { weight, choices, machine, plant, panel, prior, classes, class_of, odds, routines: Vec::new() };
        for routine in routines.iter_mut().filter(|routine| routine.latent_lamps.is_empty()) {
            (routine.latent_lamps, routine.variations) = routine.all_latent_lamps(&world);
        }
        world.routines = routines;
        world
    }
}

impl World {
    /// What is worth keeping of its routines.
    pub fn kept(&self) -> Vec<KeptRoutine<'_>> {
        self.routines.iter().map(RoutineWorld::kept).collect()
    }

    /// What a behaviour does, as the sequence notices it.
    pub fn effects_of(&self, behaviour: usize) -> &[FaultEffect] {
        // Behaviours differ between routines only in which actions they leave out.
        let behaviours = &self.routines[0].exploration.behaviours;
        behaviours.get(behaviour).map_or(&[], |behaviour| &behaviour.effects)
    }

    /// The number of the behaviour that a deviation has.
    pub fn behaviour_of(&self, deviation: DeviationId) -> usize {
        self.classes[self.class_of[deviation.index()] as usize].behaviour
    }

    /// The factor that makes weights in one of its routines comparable between worlds and routines.
    pub fn scale(&self, routine: &RoutineWorld) -> f64 {
        let [nothing, one, two, more] = self.prior.by_size();
        self.weight * routine.weight / (nothing + one + two + more)
    }
}

impl RoutineWorld {
    fn new(
        machine: &Machine,
        plant: &Plant,
        panel: &Panel,
        prior: &Prior,
        (routine, weight): (RoutineId, f64),
        options: &Options,
        kept: Option<KeptRoutine<'static>>,
    ) -> Self {
        let (exploration, latent_lamps, variations, listed) = match kept {
            Some(KeptRoutine { found, latent_lamps, variations, listed }) => {
                let exploration = explored(machine, plant, routine, options, found);
                (exploration, latent_lamps.into_owned(), variations.into_owned(), listed)
            }
            None => {
                let odds = |deviation| prior.odds(deviation);
                (explore_weighted(machine, plant, routine, options, &odds), Vec::new(), Vec::new(), 0.0)
            }
        };
        let unfollowed = exploration.unfollowed;
        let mut truths: Vec<LampTruth> = Vec::new();
        let mut known: FxHashMap<LampTruth, u32> = FxHashMap::default();
        let shows = (exploration.situations.iter())
            .map(|situation| {
                *known.entry(panel.truth(plant, situation)).or_insert_with_key(|truth| {
                    truths.push(truth.clone());
                    truths.len() as u32 - 1
                })
            })
            .collect();
        let passing = exploration.passing.iter().map(|situation| panel.truth(plant, situation)).collect();
        let standings = exploration
            .records
            .iter()
            .map(|record| {
                let situation = &exploration.situations[record.situation as usize];
                standing(&exploration, machine, plant, (record.stage, record.as_always), situation)
            })
            .collect();
        let (alone, first_of_two) = ranges(&exploration);
        let odd = |records: &Range<usize>| exploration.records[records.clone()].iter().any(|record| !record.as_always);
        let runs_as = |behaviour: usize| &alone[exploration.runs_as(behaviour, None)];
        let disturbs = (0..alone.len()).map(|behaviour| odd(runs_as(behaviour))).collect();
        let stood = exploration.records.iter().map(|_| OnceLock::new()).collect();
        Self {
            routine,
            weight,
            exploration,
            aftermaths: Aftermaths::default(),
            stood,
            stood_as: Mutex::default(),
            truths,
            shows,
            latent_lamps,
            variations,
            alone,
            first_of_two,
            passing,
            standings,
            disturbs,
            unfollowed,
            listed,
        }
    }

    fn kept(&self) -> KeptRoutine<'_> {
        KeptRoutine {
            found: self.exploration.found(),
            latent_lamps: Cow::Borrowed(&self.latent_lamps),
            variations: Cow::Borrowed(&self.variations),
            listed: self.listed,
        }
    }

    /// How a machine stands that looks like this at the end of a stage, for the complaint.
    pub fn standing_of(&self, world: &World, stage: u16, as_always: bool, situation: &Situation) -> Standing {
        standing(&self.exploration, &world.machine, &world.plant, (stage, as_always), situation)
    }

    /// A standing that was played beside the exploration; each is known once.
    pub fn known_standing(&self, world: &World, situation: Situation, state: State) -> Stood {
        self.aftermaths.standing(&world.plant, situation, state)
    }

    /// How the machine of a record stands with these behaviours, those in play first; worked out once.
    ///
    /// `None` only for a record that does not belong to this exploration.
    pub fn stood(&self, world: &World, record: u32, behaviours: impl IntoIterator<Item = usize>) -> Option<Stood> {
        let one = self.exploration.records.get(record as usize)?;
        let mut in_play = [None, None];
        in_play.iter_mut().zip(behaviours).take(one.in_play()).for_each(|(to, behaviour)| *to = Some(behaviour));
        let work_out = || {
            let state = self.exploration.state_of(&world.machine, &world.plant, one, in_play)?;
            let situation = self.exploration.situations[one.situation as usize].clone();
            Some(self.aftermaths.standing(&world.plant, situation, state))
        };
        let own = [one.first, one.second].map(|behaviour| behaviour.map(|behaviour| behaviour as usize));
        if in_play == own {
            return self.stood.get(record as usize)?.get_or_init(work_out).clone();
        }
        let known = || self.stood_as.lock().unwrap_or_else(PoisonError::into_inner);
        let found = known().get(&(record, in_play)).cloned();
        found.unwrap_or_else(|| {
            let stood = work_out();
            known().insert((record, in_play), stood.clone());
            stood
        })
    }

    /// Goes on from a standing in this routine; see [`Exploration::go_on`].
    pub fn go_on(
        &self,
        world: &World,
        stood: &Stood,
        set_in: &[FaultEffect],
        put_right: &[FaultEffect],
        action: &HandAction,
    ) -> After {
        self.aftermaths.after((world, &self.exploration), stood, set_in, put_right, action)
    }

    /// What can set in while a hand acts in this routine; see [`Exploration::set_in_meanwhile`].
    pub fn meanwhile(
        &self,
        world: &World,
        stood: &Stood,
        there: &[FaultEffect],
        action: &HandAction,
        stage: Option<u16>,
    ) -> Meanwhile {
        self.aftermaths.meanwhile((world, &self.exploration), stood, there, action, stage)
    }

    /// What the lamps show in a situation.
    pub fn truth(&self, situation: usize) -> &LampTruth {
        &self.truths[self.shows[situation] as usize]
    }

    fn all_latent_lamps(&self, world: &World) -> (Vec<LatentLamps>, Vec<Variation>) {
        // By situation: whether classes are latent there, whether two of them may be, and which are in play by themselves.
        let mut wanted = vec![(false, false, Vec::new()); self.exploration.situations.len()];
        for record in self.exploration.records.iter().filter(|record| record.latent.is_some()) {
            let (one, two, in_play) = &mut wanted[record.situation as usize];
            *one = true;
            match record.first {
                Some(first) => in_play.push(first as usize),
                None => *two = true,
            }
        }
        let overlapping = overlapping(&world.classes, world.panel.len());
        let changes_at = |situation: usize, two: bool, in_play: &[usize]| {
            let (here, truth) = (&self.exploration.situations[situation], self.truth(situation));
            let classes = || world.classes.iter().enumerate();
            let with = |index: usize, latent: bool| {
                let class = &world.classes[index];
                let others = overlapping[index].iter().map(|other| (*other as usize, &world.classes[*other as usize]));
                let others = others.filter(|(_, with)| !(class.only_darkens && with.only_darkens));
                let changes = |with| lamp_changes(world, here, truth, &[(class, latent), (with, true)]);
                others.map(|(other, with)| (index, other, changes(with))).collect::<Vec<_>>()
            };
            let changing = classes().filter(|(_, class)| {
                class.changes_lamps(true) && !(class.only_darkens && truth.all_dark(&class.lamps))
            });
            let alone = changing.map(|(index, class)| (index, lamp_changes(world, here, truth, &[(class, true)])));
            let latent = classes().filter(|(_, class)| two && class.changes_lamps(true));
            let there =
                classes().filter(|(_, class)| in_play.contains(&self.exploration.runs_as(class.behaviour, None)));
            (
                alone.collect::<Vec<_>>(),
                latent.flat_map(|(index, _)| with(index, true)).collect::<Vec<_>>(),
                there.flat_map(|(index, _)| with(index, false)).collect::<Vec<_>>(),
            )
        };
        let found: Vec<_> = wanted
            .par_iter()
            .enumerate()
            .map(
                |(situation, (one, two, in_play))| {
                    if *one { changes_at(situation, *two, in_play) } else { Default::default() }
                },
            )
            .collect();
        let mut variations = Variations::default();
        let latent = (found.into_iter().zip(&self.shows))
            .map(|((alone, two, in_play), shows)| {
                let mut number =
                    |changes: Vec<LampChange>| (!changes.is_empty()).then(|| variations.number(*shows, changes));
                let one = alone.into_iter().filter_map(|(class, changes)| Some((class as u32, number(changes)?)));
                let one = one.collect();
                let mut numbered = |together: Vec<(usize, usize, Vec<LampChange>)>| {
                    let all = together.into_iter();
                    all.map(|(class, other, changes)| (class as u32, other as u32, number(changes))).collect()
                };
                LatentLamps { one, two: numbered(two), in_play: numbered(in_play) }
            })
            .collect();
        (latent, variations.all)
    }
}

/// For each behaviour, where its records are: those in which it is alone, and those in which it is first of two.
fn ranges(exploration: &Exploration) -> (Vec<Range<usize>>, Vec<Range<usize>>) {
    let count = exploration.behaviours.len();
    let (mut alone, mut first_of_two) = (vec![0..0; count], vec![0..0; count]);
    for (index, record) in exploration.records.iter().enumerate() {
        let Some(first) = record.first else { continue };
        let range = if record.second.is_none() { &mut alone } else { &mut first_of_two };
        let range = &mut range[first as usize];
        if Range::is_empty(range) {
            *range = index..index;
        }
        range.end = index + 1;
    }
    (alone, first_of_two)
}
