//! What happens when: machines with their hours, and calls drawn from rates, before anything is written.

use super::people::{CONTACTS, REMARKS, SITES};
use super::stage::Stage;
use super::{BUSY_FACTOR, BUSY_SITES, TYPES, WORN_FACTOR, WORN_TYPE};
use fastrand::Rng;
use jiff::{SignedDuration, Timestamp};
use machine::model::{DeviationKind, SettingValue};

/// Which history.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// How many calls.
    pub calls: usize,
    /// Which dice.
    pub seed: u64,
}

impl Default for Wanted {
    fn default() -> Self {
        Self { calls: 400, seed: 1 }
    }
}

/// Weeks that the history covers.
pub(super) const WEEKS: i64 = 104;
const DAY: i64 = 24 * 60;
/// Share of the calls in which a person or the site was it (common practice, no source).
const LAPSES: f64 = 0.85;
/// Share of the remedies that did not last.
const COMES_BACK: f64 = 0.07;

/// A machine of the history.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub serial: String,
    /// Index into [`TYPES`].
    pub kind: usize,
    /// Index into the stages.
    pub stage: usize,
    pub site: &'static str,
    pub settings: Vec<(String, String)>,
    pub contact: &'static str,
    pub notes: &'static str,
    pub weekly_hours: f64,
    pub hours_before: f64,
}

/// What it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cause {
    /// The scene of this number.
    Scene(usize),
    /// Something that no machine file knows.
    NotInFile,
}

/// A call of the history.
#[derive(Clone, Copy, Debug)]
pub(super) struct Planned {
    pub began: Timestamp,
    /// Index into the machines.
    pub machine: usize,
    pub cause: Cause,
    /// Whether it is the same as a while before.
    pub again: bool,
}

/// The stages that machines stand on: type and a serial number of the revision.
pub(super) const STAGES: [(usize, u64); 5] = [(0, 17), (1, 17), (2, 1020), (2, 1420), (3, 17)];

pub(super) fn stages() -> Vec<Stage> {
    STAGES.iter().filter_map(|(kind, serial)| Stage::new(TYPES[*kind].1, *serial)).collect()
}

/// The machines: three or four at each site.
pub(super) fn machines(stages: &[Stage], dice: &mut Rng) -> Vec<Placed> {
    let mut machines = Vec::new();
    let mut numbers = [112_u64, 203, 0, 11];
    let mut washers = [1_004_u64, 1_362];
    for site in SITES {
        for _ in 0..dice.usize(3..5) {
            let stage = pick(&[0.3, 0.3, 0.12, 0.12, 0.16], dice);
            let kind = STAGES[stage].0;
            let number = if kind == 2 { &mut washers[stage - 2] } else { &mut numbers[kind] };
            *number += dice.u64(1..9);
            let serial = format!("{}-{number:04}", ["JC", "JF", "PW", "LL"][kind]);
            machines.push(Placed {
                serial,
                kind,
                stage,
                site,
                settings: settings(&stages[stage], dice),
                contact: if dice.u32(0..4) == 0 { "" } else { CONTACTS[dice.usize(0..CONTACTS.len())] },
                notes: if dice.u32(0..3) == 0 { REMARKS[dice.usize(0..REMARKS.len())] } else { "" },
                weekly_hours: f64::from(dice.u32(40..96)),
                hours_before: f64::from(dice.u32(200..12_000)),
            });
        }
    }
    machines
}

fn settings(stage: &Stage, dice: &mut Rng) -> Vec<(String, String)> {
    let mut own = Vec::new();
    for setting in stage.machine.settings.rows() {
        let Some((from, to)) = setting.range else { continue };
        if dice.u32(0..3) != 0 {
            continue;
        }
        // Within a quarter of the way from the default to either end, as people do.
        let toward = if dice.bool() { to } else { from };
        let share = dice.f64() / 4.0;
        let value = match (setting.default, toward) {
            (SettingValue::Time(default), SettingValue::Time(end)) => {
                let time = default as f64 + (end as f64 - default as f64) * share;
                match time {
                    seconds if seconds >= 10_000.0 => format!("T#{}s", (seconds / 1_000.0).round() as u64),
                    _ => format!("T#{}ms", (time / 50.0).round().max(1.0) as u64 * 50),
                }
            }
            (SettingValue::Count(default), SettingValue::Count(end)) => {
                format!("{}", (f64::from(default) + (f64::from(end) - f64::from(default)) * share).round() as u32)
            }
            _ => continue,
        };
        own.push((setting.name.clone(), value));
    }
    own
}

/// The calls, the earliest first.
pub(super) fn calls(
    stages: &[Stage],
    machines: &[Placed],
    wanted: usize,
    end: Timestamp,
    dice: &mut Rng,
) -> Vec<Planned> {
    let begin = end - SignedDuration::from_mins(WEEKS * 7 * DAY);
    let mut calls = Vec::new();
    for (number, placed) in machines.iter().enumerate() {
        let stage = &stages[placed.stage];
        let rates: Vec<f64> = stage.scenes.iter().map(|scene| rate(stage, placed, scene)).collect();
        let total: f64 = rates.iter().sum();
        let hours = placed.weekly_hours * WEEKS as f64;
        // Times between faults are exponential.
        let mut at = 0.0;
        loop {
            at -= libm::log(1.0 - dice.f64()) / total * 1e6;
            if at >= hours || total <= 0.0 {
                break;
            }
            let share = at / hours;
            let began = begin + SignedDuration::from_mins((share * (WEEKS * 7 * DAY) as f64) as i64);
            calls.push(Planned { began, machine: number, cause: Cause::Scene(pick(&rates, dice)), again: false });
        }
    }
    // Of those that did not last, some come a second time.
    for at in 0..calls.len() {
        if dice.f64() < COMES_BACK {
            let began = calls[at].began + SignedDuration::from_mins(dice.i64(2 * DAY..24 * DAY));
            if began < end {
                calls.push(Planned { began, again: true, ..calls[at] });
            }
        }
    }
    while calls.len() > wanted {
        calls.swap_remove(dice.usize(0..calls.len()));
    }
    // The rest: people and sites, and what no file knows.
    let used: Vec<f64> = machines.iter().map(|placed| placed.weekly_hours * busy(placed)).collect();
    while calls.len() < wanted && !machines.is_empty() {
        let machine = pick(&used, dice);
        let stage = &stages[machines[machine].stage];
        let lapses: Vec<f64> =
            stage.scenes.iter().map(|scene| if scene.is_lapse { scene.chance } else { 0.0 }).collect();
        let is_lapse = dice.f64() < LAPSES && lapses.iter().sum::<f64>() > 0.0;
        let cause = if is_lapse { Cause::Scene(pick(&lapses, dice)) } else { Cause::NotInFile };
        let began = begin + SignedDuration::from_mins(dice.i64(0..WEEKS * 7 * DAY));
        calls.push(Planned { began, machine, cause, again: false });
    }
    for call in &mut calls {
        call.began = at_work(call.began, end - SignedDuration::from_hours(3), dice);
    }
    calls.retain(|call| call.began < end);
    calls.sort_by_key(|call| (call.began, call.machine));
    calls
}

fn rate(stage: &Stage, placed: &Placed, scene: &super::stage::Scene) -> f64 {
    let DeviationKind::Fault(device) = stage.machine.deviations[scene.deviation].kind else { return 0.0 };
    let worn = if stage.machine.devices[device].type_key == WORN_TYPE { WORN_FACTOR } else { 1.0 };
    scene.chance * worn * busy(placed)
}

fn busy(placed: &Placed) -> f64 {
    if BUSY_SITES.contains(&placed.site) { BUSY_FACTOR } else { 1.0 }
}

/// The same day between six in the morning and eight in the evening, of a Saturday or Sunday mostly the Friday before.
fn at_work(time: Timestamp, end: Timestamp, dice: &mut Rng) -> Timestamp {
    let mut day = time.as_second().div_euclid(DAY * 60);
    // 1970-01-01 was a Thursday.
    let weekday = (day + 3).rem_euclid(7);
    if weekday >= 5 && dice.u32(0..5) != 0 {
        day -= weekday - 4;
    }
    let mut minute = day * DAY + dice.i64(6 * 60..20 * 60);
    if minute * 60 >= end.as_second() {
        minute -= DAY;
    }
    Timestamp::from_second(minute * 60).unwrap_or(time)
}

/// An index with these weights.
pub(super) fn pick(weights: &[f64], dice: &mut Rng) -> usize {
    let mut at = dice.f64() * weights.iter().sum::<f64>();
    for (index, weight) in weights.iter().enumerate() {
        at -= weight;
        if at < 0.0 {
            return index;
        }
    }
    weights.iter().rposition(|weight| *weight > 0.0).unwrap_or(0)
}
