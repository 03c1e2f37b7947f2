//! Gathers the rows of a digest from what was explored.

use super::in_the_way::{Pair, after_moves, moves, put_right_by, together};
use super::levels::{Asked, asked_of_operator};
use super::look::{Look, look};
use super::{CauseRow, Change, ClassRow, Digest, Ground, LEAST_SHARE, Row, Shows, Sign, shown};
use crate::answer::common_words;
use crate::class::{Class, bears_on, by_behaviour, classes};
use crate::diagnoser::Diagnoser;
use crate::panel::LampTruth;
use crate::renamed::{same_action, same_check, same_remedy};
use crate::seen::lamp_changes;
use crate::standing::Standing;
use crate::world::{RoutineWorld, World};
use machine::Machine;
use machine::id::{DeviationId, RoutineId};
use machine::model::Observable;
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use sim::View;
use std::collections::BTreeMap;
use std::hash::Hash;

/// Works out the digest of a machine.
#[must_use]
pub fn digest(diagnoser: &Diagnoser) -> Digest {
    let worlds = diagnoser.worlds();
    let asked = worlds.first().map_or_else(Vec::new, |first| asked_of_operator(&first.machine));
    let mut causes = Causes::default();
    let mut left_out: f64 = 0.0;
    let mut grounds = Vec::new();
    for (number, world) in worlds.iter().enumerate() {
        let questions = Questions::new(&worlds[0].machine, &world.machine, &asked);
        for routine in &world.routines {
            let classes = split(world, routine, &questions);
            let rows = causes.of(world, routine, &classes, &worlds[0].machine);
            let gatherer = Gatherer { world, routine, questions: &questions, classes: &classes };
            let (mut ground, lost) = gatherer.ground(worlds, rows);
            ground.alternative = number;
            left_out = left_out.max(lost);
            grounds.push(ground);
        }
    }
    let machine = worlds.first().map(|world| &world.machine);
    let error = |one: &Asked| match *one {
        Asked::Check(check) => machine.map_or(0.0, |machine| machine.checks[check].error),
        Asked::Position(_) => diagnoser.doubt().position,
    };
    Digest {
        errors: asked.iter().map(error).collect(),
        answers: asked.iter().map(|one| machine.map_or(0, |machine| one.answers(machine))).collect(),
        asked,
        causes: causes.rows(),
        grounds,
        left_out,
    }
}

/// The questions as an alternative has them.
struct Questions {
    /// What each looks at here, if it is there.
    observed: Vec<Option<Observable>>,
    /// For each answer of the first alternative, the answer here.
    same_answer: Vec<Vec<Option<usize>>>,
    answers_here: Vec<usize>,
}

impl Questions {
    fn new(first: &Machine, here: &Machine, asked: &[Asked]) -> Self {
        let mut questions = Self { observed: Vec::new(), same_answer: Vec::new(), answers_here: Vec::new() };
        for one in asked {
            let (observed, names, names_here): (_, Vec<&str>, Vec<&str>) = match *one {
                Asked::Check(check) => {
                    let there = same_check(first, check, here).map(|check| &here.checks[check]);
                    let names = first.checks[check].answers.iter().map(|answer| answer.key.as_str()).collect();
                    let here: Vec<&str> =
                        there.iter().flat_map(|row| &row.answers).map(|answer| answer.key.as_str()).collect();
                    (there.map(|row| row.observes.clone()), names, here)
                }
                Asked::Position(mechanism) => {
                    let row = &first.mechanisms[mechanism];
                    let there = here.mechanisms.find(|known| known.name == row.name);
                    // "Between" is everywhere the last answer; no position has an empty name.
                    let names = row.positions.iter().map(String::as_str).chain([""]).collect();
                    let here = there.iter().flat_map(|(_, row)| row.positions.iter().map(String::as_str).chain([""]));
                    (there.map(|(id, _)| Observable::Position(id)), names, here.collect())
                }
            };
            let same = names.iter().map(|name| names_here.iter().position(|known| known == name)).collect();
            questions.answers_here.push(names_here.len());
            questions.same_answer.push(same);
            questions.observed.push(observed);
        }
        questions
    }
}

/// The classes as if everything had been asked and every remedy tried. Deviations that the sequence does not notice
/// have nothing in common and stand each for itself.
fn split(world: &World, routine: &RoutineWorld, questions: &Questions) -> Vec<Class> {
    let observables: Vec<&Observable> = questions.observed.iter().flatten().collect();
    let remedies: Vec<_> = world.machine.remedies.ids().collect();
    let behaviours = &routine.exploration.behaviours;
    let whole = classes(&world.machine, &world.panel, &world.prior, behaviours, &observables, &remedies);
    let prior = &world.prior;
    let mut apart = Vec::new();
    for class in whole {
        if !behaviours[class.behaviour].effects.is_empty() {
            apart.push(class);
            continue;
        }
        apart.extend(class.members.iter().map(|member| Class {
            members: vec![*member],
            odds: prior.odds(*member),
            groups: vec![(prior.group(*member), prior.odds(*member))],
            ..class.clone()
        }));
    }
    apart
}

/// What an answer lists as one cause, by what its deviations have in common.
#[derive(Default)]
struct Causes {
    numbers: FxHashMap<String, u32>,
    found: Vec<(String, BTreeMap<String, f64>, String)>,
}

impl Causes {
    fn of(&mut self, world: &World, routine: &RoutineWorld, classes: &[Class], first: &Machine) -> Vec<ClassRow> {
        let machine = &world.machine;
        classes
            .iter()
            .map(|class| {
                let effects = &routine.exploration.behaviours[class.behaviour].effects;
                let likeliest = |a: &&DeviationId, b: &&DeviationId| {
                    world.prior.odds(**a).total_cmp(&world.prior.odds(**b)).then(b.cmp(a))
                };
                let member = class.members.iter().max_by(likeliest).copied().unwrap_or_else(|| class.representative());
                let (common, words) = common_words(machine, effects, member);
                let cause = *self.numbers.entry(common.clone()).or_insert_with(|| {
                    self.found.push((common, BTreeMap::new(), words));
                    self.found.len() as u32 - 1
                });
                for member in &class.members {
                    let key = machine.deviations[*member].key.clone();
                    let odds = world.prior.odds(*member);
                    let known = self.found[cause as usize].1.entry(key).or_insert(odds);
                    *known = known.max(odds);
                }
                let remedy = machine.deviations[member].remedy;
                ClassRow {
                    behaviour: class.behaviour as u32,
                    odds: class.odds,
                    groups: class.groups.clone(),
                    cause,
                    remedy: remedy.and_then(|remedy| same_remedy(machine, remedy, first)),
                    disturbs: routine.disturbs[class.behaviour],
                    member,
                }
            })
            .collect()
    }

    fn rows(self) -> Vec<CauseRow> {
        let sorted = |members: BTreeMap<String, f64>| {
            let mut members: Vec<(String, f64)> = members.into_iter().collect();
            members.sort_by(|a, b| b.1.total_cmp(&a.1));
            members.into_iter().map(|(key, _)| key).collect::<Vec<_>>()
        };
        let row = |(common, members, single): (String, BTreeMap<String, f64>, String)| {
            let members = sorted(members);
            CauseRow { words: if members.len() > 1 { common } else { single }, members }
        };
        self.found.into_iter().map(row).collect()
    }
}

/// Things numbered in the order in which they come, each once.
struct Numbered<T> {
    numbers: FxHashMap<T, u32>,
    all: Vec<T>,
}

impl<T> Default for Numbered<T> {
    fn default() -> Self {
        Self { numbers: FxHashMap::default(), all: Vec::new() }
    }
}

impl<T: Clone + Eq + Hash> Numbered<T> {
    fn number(&mut self, one: T) -> u32 {
        *self.numbers.entry(one).or_insert_with_key(|one| {
            self.all.push(one.clone());
            self.all.len() as u32 - 1
        })
    }
}

/// Shares as numbers that can be compared.
type Bits = Vec<u64>;

/// A change as numbers that can be compared: lamps with what they show; questions with their shares.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
struct Altered {
    lamps: Vec<(u32, u64, u8)>,
    answers: Vec<(u32, Bits)>,
}

struct Gatherer<'d> {
    world: &'d World,
    routine: &'d RoutineWorld,
    questions: &'d Questions,
    classes: &'d [Class],
}

/// What rows have in common that nothing reported can tell apart: sign, classes in play, stage, standing.
type Alike = (u32, [Option<u32>; 2], u16, Standing);

/// Which signs have to be told apart: situation, classes in play that bear on what is seen, latent row.
type Key = (u32, [Option<u32>; 2], Option<u32>);

impl Gatherer<'_> {
    fn ground(&self, worlds: &[World], classes: Vec<ClassRow>) -> (Ground, f64) {
        let (world, routine) = (self.world, self.routine);
        let first = &worlds[0];
        let named = &world.machine.routines[routine.routine].name;
        let routine_named = first.machine.routines.find(|row| row.name == *named).map(|(id, _)| id);
        let mut signs: Numbered<Key> = Numbered::default();
        let (rows, pairs, lost) = self.rows(&mut signs);
        let touched = self.touched();
        let seen: Vec<Seen> = signs.all.par_iter().map(|key| self.seen(key, &touched)).collect();
        let mut put = Put::new(self.questions.observed.len());
        let put_signs: Vec<u32> = seen.into_iter().zip(&signs.all).map(|(seen, key)| put.sign(seen, key.2)).collect();
        let mut merged: BTreeMap<Alike, f64> = BTreeMap::new();
        for row in rows {
            let key = (put_signs[row.sign as usize], row.set, row.stage, row.standing);
            *merged.entry(key).or_insert(0.0) += row.weight;
        }
        let rows = merged.into_iter();
        let rows = rows.map(|((sign, set, stage, standing), weight)| Row { stage, standing, sign, set, weight });
        let lamps = world.panel.len();
        let passing = routine.passing.iter().map(|truth| put.truth(truth)).collect();
        let exploration = &routine.exploration;
        let (moves, hands) = moves(first, world, routine);
        let in_the_way = after_moves(world, routine, &hands);
        let put_right_by = put_right_by(&first.machine, &classes, &moves);
        let together = together(world, routine, &pairs, (&in_the_way, &put_right_by, &hands));
        let ground = Ground {
            alternative: 0,
            routine: routine.routine,
            routine_named,
            scale: world.scale(routine),
            listed: routine.listed,
            actions: world.machine.routines[routine.routine].actions.len(),
            same_action: routine_named
                .map_or_else(Vec::new, |named| same_actions(&first.machine, named, &world.machine)),
            same_lamp: same_lamps(first, world),
            lamp_rows: world.machine.lamp_rows.iter().map(|row| row.lamps.len()).collect(),
            same_answer: self.questions.same_answer.clone(),
            answers_here: self.questions.answers_here.clone(),
            truths: put.truths.iter().map(|truth| shown(truth, lamps)).collect(),
            passing,
            shares: put.shares.iter().map(|known| known.all.iter().map(of_bits).collect()).collect(),
            vectors: put.vectors.all,
            classes,
            latent: exploration.latent.clone(),
            changes: put.changes,
            change_lists: put.lists.all,
            signs: put.signs.all,
            looks: put.looks.all,
            rows: rows.collect(),
            moves,
            in_the_way,
            together,
        };
        (ground, lost)
    }

    /// The ways to stand, with the signs numbered, and where two are in play in them; what is lighter than [`LEAST_SHARE`]
    /// is set aside, and its share told.
    fn rows(&self, signs: &mut Numbered<Key>) -> (Vec<Row>, Vec<Pair>, f64) {
        let routine = self.routine;
        let exploration = &routine.exploration;
        let least = routine.listed * LEAST_SHARE;
        let of_behaviour = by_behaviour(exploration, self.classes);
        let all_of = |behaviour: u32| of_behaviour[behaviour as usize].clone().map(|class| class as u32);
        let beside = |behaviour: u32, other: u32| {
            all_of(behaviour)
                .filter(move |class| self.classes[*class as usize].goes_with(exploration, behaviour, other))
        };
        let shows = |class: u32| {
            let class = &self.classes[class as usize];
            class.touches_checks || class.changes_lamps(false)
        };
        let mut rows = Vec::new();
        let mut pairs: Vec<Pair> = Vec::new();
        let mut lost = 0.0;
        for (number, record) in exploration.records.iter().enumerate() {
            let standing = routine.standings[number];
            let mut give = |set: [Option<u32>; 2], odds: f64| {
                let weight = record.weight * odds;
                if weight < least || weight <= 0.0 {
                    lost += weight;
                    return false;
                }
                let seen = set.map(|one| one.filter(|class| shows(*class)));
                let sign = signs.number((record.situation, seen, record.latent));
                rows.push(Row { stage: record.stage, standing, sign, set, weight });
                true
            };
            match (record.first, record.second) {
                (None, _) => _ = give([None, None], 1.0),
                (Some(first), None) => {
                    for a in all_of(first) {
                        give([Some(a), None], self.classes[a as usize].odds);
                    }
                }
                (Some(first), Some(second)) => {
                    let mut here: Vec<Pair> = Vec::new();
                    for a in beside(first, second) {
                        for b in beside(second, first) {
                            let odds = self.classes[a as usize].odds_with(&self.classes[b as usize]);
                            if give([Some(a), Some(b)], odds) {
                                let behaviours = [a, b].map(|class| self.classes[class as usize].behaviour);
                                here.push(Pair { record: number, behaviours, weight: record.weight * odds });
                            }
                        }
                    }
                    // Of classes that do the same to the sequence, one speaks for all.
                    here.sort_by_key(|pair| pair.behaviours);
                    here.dedup_by(|again, pair| {
                        let alike = again.behaviours == pair.behaviours;
                        if alike {
                            pair.weight += again.weight;
                        }
                        alike
                    });
                    pairs.append(&mut here);
                }
            }
        }
        (rows, pairs, lost / routine.listed.max(f64::MIN_POSITIVE))
    }

    /// By class, the questions whose answer can depend on it.
    fn touched(&self) -> Vec<Vec<u32>> {
        let machine = &self.world.machine;
        let observed = &self.questions.observed;
        (self.classes.iter())
            .map(|class| {
                let bears = |one: &Option<Observable>| {
                    one.as_ref().is_some_and(|one| bears_on(machine, class.representative(), one))
                };
                (0..observed.len() as u32).filter(|question| bears(&observed[*question as usize])).collect()
            })
            .collect()
    }

    /// What is seen where these classes are in play, and what each latent one changes.
    fn seen(&self, key: &Key, touched: &[Vec<u32>]) -> Seen {
        let (situation, set, latent) = *key;
        let world = self.world;
        let here = &self.routine.exploration.situations[situation as usize];
        let plain = self.routine.truth(situation as usize);
        let in_play: Vec<usize> = set.iter().flatten().map(|class| *class as usize).collect();
        let classes: Vec<(&Class, bool)> = in_play.iter().map(|class| (&self.classes[*class], false)).collect();
        let truth = plain.with(&lamp_changes(world, here, plain, &classes));
        let answer = |there: &[DeviationId], question: u32| -> Bits {
            let view = View::new(&world.machine, &world.plant, here, there);
            let observed = self.questions.observed[question as usize].as_ref();
            observed.map_or_else(Vec::new, |one| view.answers(one).into_iter().map(f64::to_bits).collect())
        };
        let there: Vec<DeviationId> = in_play.iter().map(|class| self.classes[*class].representative()).collect();
        let questions = 0..self.questions.observed.len() as u32;
        let answers: Vec<Bits> = questions.map(|question| answer(&there, question)).collect();
        let mut changes = Vec::new();
        let row = latent.map_or(&[][..], |row| &self.routine.exploration.latent[row as usize]);
        for (index, class) in self.classes.iter().enumerate() {
            if row.get(class.behaviour).is_none_or(|share| *share <= 0.0) {
                continue;
            }
            let mut altered = Altered::default();
            if class.changes_lamps(true) {
                let mut all = classes.clone();
                all.push((class, true));
                let with = plain.with(&lamp_changes(world, here, plain, &all));
                for lamp in &class.lamps {
                    if with.of(*lamp) != truth.of(*lamp) {
                        let (share, kind) = match Shows::from(with.of(*lamp)) {
                            Shows::Steady(lit) => (f64::from(u8::from(lit)), 0),
                            Shows::Varies(share, flickers) => (share, 1 + u8::from(flickers)),
                        };
                        altered.lamps.push((*lamp as u32, share.to_bits(), kind));
                    }
                }
            }
            let mut all = there.clone();
            all.push(class.representative());
            for question in &touched[index] {
                let now = answer(&all, *question);
                if now != answers[*question as usize] {
                    altered.answers.push((*question, now));
                }
            }
            if altered != Altered::default() {
                changes.push((index as u32, altered));
            }
        }
        Seen { truth, answers, look: look(&world.machine, &world.plant, here), changes }
    }
}

fn of_bits(bits: &Bits) -> Vec<f64> {
    bits.iter().map(|bits| f64::from_bits(*bits)).collect()
}

/// What is seen in a situation.
struct Seen {
    truth: LampTruth,
    answers: Vec<Bits>,
    look: Look,
    changes: Vec<(u32, Altered)>,
}

/// Everything seen, each thing once.
struct Put {
    truths: Vec<LampTruth>,
    truth_numbers: FxHashMap<LampTruth, u32>,
    shares: Vec<Numbered<Bits>>,
    vectors: Numbered<Vec<u16>>,
    looks: Numbered<Look>,
    altered: Numbered<Altered>,
    changes: Vec<Change>,
    lists: Numbered<Vec<(u32, u32)>>,
    signs: Numbered<Sign>,
}

impl Put {
    fn new(questions: usize) -> Self {
        Self {
            truths: Vec::new(),
            truth_numbers: FxHashMap::default(),
            shares: (0..questions).map(|_| Numbered::default()).collect(),
            vectors: Numbered::default(),
            looks: Numbered::default(),
            altered: Numbered::default(),
            changes: Vec::new(),
            lists: Numbered::default(),
            signs: Numbered::default(),
        }
    }

    fn truth(&mut self, truth: &LampTruth) -> u32 {
        *self.truth_numbers.entry(truth.clone()).or_insert_with(|| {
            self.truths.push(truth.clone());
            self.truths.len() as u32 - 1
        })
    }

    fn share(&mut self, question: usize, shares: Bits) -> u16 {
        u16::try_from(self.shares[question].number(shares)).unwrap_or(u16::MAX)
    }

    fn change(&mut self, altered: Altered) -> u32 {
        let known = self.altered.all.len();
        let number = self.altered.number(altered);
        if number as usize == known {
            let altered = self.altered.all[known].clone();
            let lamps = altered.lamps.into_iter().map(|(lamp, share, kind)| {
                let share = f64::from_bits(share);
                (lamp, if kind == 0 { Shows::Steady(share > 0.5) } else { Shows::Varies(share, kind == 2) })
            });
            let lamps = lamps.collect();
            let answers = altered.answers.into_iter();
            let answers = answers.map(|(question, shares)| (question, self.share(question as usize, shares))).collect();
            self.changes.push(Change { lamps, answers });
        }
        number
    }

    fn sign(&mut self, seen: Seen, latent: Option<u32>) -> u32 {
        let truth = self.truth(&seen.truth);
        let answers = seen.answers.into_iter().enumerate();
        let vector: Vec<u16> = answers.map(|(question, shares)| self.share(question, shares)).collect();
        let vector = self.vectors.number(vector);
        let look = self.looks.number(seen.look);
        let list = seen.changes.into_iter();
        let list: Vec<(u32, u32)> = list.map(|(class, altered)| (class, self.change(altered))).collect();
        let changes = self.lists.number(list);
        self.signs.number(Sign { truth, vector, look, latent, changes })
    }
}

fn same_actions(first: &Machine, routine: RoutineId, here: &Machine) -> Vec<Option<usize>> {
    let actions = first.routines[routine].actions.len();
    (0..actions).map(|action| same_action(first, here, routine, action)).collect()
}

fn same_lamps(first: &World, world: &World) -> Vec<Option<usize>> {
    crate::next::questions::lamps_there(first, world)
}
