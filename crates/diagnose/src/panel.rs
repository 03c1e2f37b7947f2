//! The lamps on the controller's front as one row of bits: which there are, what they really show.
//! How likely a report of them is: see [`crate::likelihood`].

use crate::evidence::{LampPlace, LampState};
use machine::Machine;
use machine::model::{FaultEffect, InputStage, LampKind, OutputStage, StatusMeaning};
use serde::{Deserialize, Serialize};
use sim::{Plant, Situation, View};

/// How often reports are wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Misreading {
    /// Probability that a lamp named by itself is misread.
    pub named: f64,
    /// Probability that a lamp among "all the others" is.
    pub rest: f64,
    /// Probability that two neighbours were taken for each other somewhere.
    pub neighbours: f64,
    /// Probability that one row was read one lamp too far.
    pub shifted: f64,
    /// Probability that two rows were exchanged.
    pub rows: f64,
}

impl Default for Misreading {
    fn default() -> Self {
        Self { named: 0.02, rest: 0.04, neighbours: 0.015, shifted: 0.005, rows: 0.005 }
    }
}

/// How a lamp really is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) enum Truth {
    Steady(bool),
    /// Share of time lit, and whether the eye sees it flicker.
    Varies(f64, bool),
}

/// A lamp that shows something else than a situation says.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LampChange {
    pub(crate) lamp: usize,
    pub(crate) truth: Truth,
}

impl LampChange {
    /// The lamp is lit for this share of the time; flickering if it is neither always nor never.
    #[must_use]
    pub fn lit(lamp: usize, share: f64) -> Self {
        let truth = if share <= 0.0 {
            Truth::Steady(false)
        } else if share >= 1.0 {
            Truth::Steady(true)
        } else {
            Truth::Varies(share, true)
        };
        Self { lamp, truth }
    }

    /// What the lamp shows as a number, equal for what is equal.
    pub(crate) fn bits(self) -> u64 {
        match self.truth {
            Truth::Steady(lit) => u64::from(lit),
            // A share strictly between 0 and 1 has higher bits.
            Truth::Varies(share, flickers) => share.to_bits() << 1 | u64::from(flickers),
        }
    }
}

/// What the lamps of a situation really show.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LampTruth {
    pub(crate) lit: Vec<u64>,
    /// Lamps that are not steady: number, share of time lit, whether they flicker.
    pub(crate) varies: Vec<(usize, f64, bool)>,
}

/// Shares are never "not a number", and equal ones have equal bits.
impl Eq for LampTruth {}

impl std::hash::Hash for LampTruth {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.lit.hash(state);
        for (lamp, share, flickers) in &self.varies {
            (lamp, share.to_bits(), flickers).hash(state);
        }
    }
}

impl LampTruth {
    pub(crate) fn of(&self, lamp: usize) -> Truth {
        match self.varies.iter().find(|(which, ..)| *which == lamp) {
            Some((_, share, flickers)) => Truth::Varies(*share, *flickers),
            None => Truth::Steady(self.lit[lamp >> 6] >> (lamp & 63) & 1 == 1),
        }
    }

    /// Whether the lamp is lit, for one that varies: mostly.
    #[must_use]
    pub fn state(&self, lamp: usize) -> LampState {
        match self.of(lamp) {
            Truth::Varies(_, true) => LampState::Flickers,
            Truth::Varies(share, false) if share >= 0.5 => LampState::Lit,
            Truth::Steady(true) => LampState::Lit,
            _ => LampState::Dark,
        }
    }

    /// The same with lamps that show something else.
    #[must_use]
    pub fn with(&self, changes: &[LampChange]) -> Self {
        let mut changed = self.clone();
        for change in changes {
            let (word, bit) = (change.lamp >> 6, 1_u64 << (change.lamp & 63));
            changed.varies.retain(|(which, ..)| *which != change.lamp);
            match change.truth {
                Truth::Steady(true) => changed.lit[word] |= bit,
                Truth::Steady(false) => changed.lit[word] &= !bit,
                Truth::Varies(share, flickers) => changed.varies.push((change.lamp, share, flickers)),
            }
        }
        changed
    }

    /// Whether all of these lamps are steadily dark.
    #[must_use]
    pub fn all_dark(&self, lamps: &[usize]) -> bool {
        lamps.iter().all(|lamp| self.of(*lamp) == Truth::Steady(false))
    }

    /// Whether the lamp is lit when the change is left aside, for deciding whether it is one.
    fn is(&self, change: &LampChange) -> bool {
        self.of(change.lamp) == change.truth
    }
}

/// The lamps of a machine, numbered row by row.
#[derive(Clone, Debug)]
pub struct Panel {
    kinds: Vec<LampKind>,
    labels: Vec<String>,
    rows: Vec<(usize, usize)>,
}

impl Panel {
    /// The lamps of this machine.
    #[must_use]
    pub fn new(machine: &Machine) -> Self {
        let mut kinds = Vec::new();
        let mut labels = Vec::new();
        let mut rows = Vec::new();
        for row in &machine.lamp_rows {
            rows.push((kinds.len(), row.lamps.len()));
            for lamp in &row.lamps {
                kinds.push(lamp.kind.clone());
                labels.push(lamp.label.clone());
            }
        }
        Self { kinds, labels, rows }
    }

    /// How many lamps there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.kinds.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.kinds.is_empty()
    }

    /// What the lamp shows.
    #[must_use]
    pub fn kind(&self, lamp: usize) -> &LampKind {
        &self.kinds[lamp]
    }

    /// The label beside it.
    #[must_use]
    pub fn label(&self, lamp: usize) -> &str {
        &self.labels[lamp]
    }

    /// The number of the lamp at this place, if there is one.
    #[must_use]
    pub fn number(&self, place: LampPlace) -> Option<usize> {
        let (start, len) = *self.rows.get(place.row)?;
        (place.column < len).then_some(start + place.column)
    }

    /// What the lamps show in a situation.
    #[must_use]
    pub fn truth(&self, plant: &Plant, situation: &Situation) -> LampTruth {
        let layout = plant.layout();
        let mut truth = LampTruth { lit: vec![0; self.len().div_ceil(64)], varies: Vec::new() };
        let powered = situation.on(layout.powered());
        for (lamp, kind) in self.kinds.iter().enumerate() {
            let lit = match kind {
                LampKind::Input(input) => {
                    let signal = layout.input(*input);
                    if let Some(varying) = situation.varies(signal) {
                        truth.varies.push((lamp, f64::from(varying.on_per_mille) / 1000.0, varying.flickers));
                    }
                    situation.on(signal)
                }
                LampKind::Output(output) => {
                    let signal = layout.command(*output);
                    if situation.blinking.contains(output) {
                        truth.varies.push((lamp, 0.5, true));
                    } else if let Some(varying) = situation.varies(signal) {
                        truth.varies.push((lamp, f64::from(varying.on_per_mille) / 1000.0, varying.flickers));
                    }
                    situation.on(signal)
                }
                LampKind::Status(StatusMeaning::Powered) => powered,
                LampKind::Status(StatusMeaning::Running) => situation.on(layout.running()),
                LampKind::Status(StatusMeaning::Error) => false,
                LampKind::Status(StatusMeaning::Program(condition)) => {
                    powered && situation.on(layout.running()) && condition.holds(&|fact| plant.fact(situation, *fact))
                }
                LampKind::Unused => false,
            };
            if lit {
                truth.lit[lamp >> 6] |= 1 << (lamp & 63);
            }
        }
        truth
    }

    /// The lamps that an effect can change by itself, beyond what the situation says: a dead
    /// lamp always, an input that nobody reads as long as its fault has not come into play.
    #[must_use]
    pub fn lamps_of(&self, machine: &Machine, effect: FaultEffect) -> Vec<usize> {
        let concerned = |kind: &LampKind| match (kind, effect) {
            (LampKind::Input(input), FaultEffect::Input(which, ..)) => *input == which,
            (LampKind::Input(input), FaultEffect::Supply(above, _)) => {
                machine.inputs[*input].supply.is_some_and(|supply| machine.is_fed_by(supply, above))
            }
            (LampKind::Output(output), FaultEffect::Output(which, OutputStage::Lamp, _)) => *output == which,
            (LampKind::Status(StatusMeaning::Error), FaultEffect::ControllerError) => true,
            _ => false,
        };
        self.kinds.iter().enumerate().filter(|(_, kind)| concerned(kind)).map(|(lamp, _)| lamp).collect()
    }

    /// What these lamps really show with these deviations there, where that is not what the situation says.
    #[must_use]
    pub fn changes(&self, view: &View<'_>, truth: &LampTruth, lamps: &[usize], error: bool) -> Vec<LampChange> {
        lamps
            .iter()
            .filter_map(|lamp| {
                let share = match &self.kinds[*lamp] {
                    LampKind::Input(input) => view.input(*input, InputStage::Lamp),
                    LampKind::Output(output) => view.output(*output, OutputStage::Lamp),
                    LampKind::Status(StatusMeaning::Error) => f64::from(u8::from(error)),
                    _ => return None,
                };
                // In whole thousandths, as what varies in a situation is.
                let share = (share * 1000.0 + 1e-6).floor() / 1000.0;
                let change = LampChange::lit(*lamp, share);
                (!truth.is(&change)).then_some(change)
            })
            .collect()
    }

    /// The permutations by which a report can slip, each with its probability; the first is "not at all".
    pub(crate) fn slips(&self, misreading: &Misreading) -> Vec<(f64, Vec<usize>)> {
        let straight: Vec<usize> = (0..self.len()).collect();
        let mut neighbours = Vec::new();
        let mut shifted = Vec::new();
        let mut exchanged = Vec::new();
        for (index, (start, len)) in self.rows.iter().copied().enumerate() {
            for lamp in start..(start + len).saturating_sub(1) {
                let mut order = straight.clone();
                order.swap(lamp, lamp + 1);
                neighbours.push(order);
            }
            if len > 2 {
                for step in [1, len - 1] {
                    let mut order = straight.clone();
                    for column in 0..len {
                        order[start + column] = start + (column + step) % len;
                    }
                    shifted.push(order);
                }
            }
            for (other, other_len) in self.rows.iter().copied().skip(index + 1) {
                if other_len == len && len > 1 {
                    let mut order = straight.clone();
                    for column in 0..len {
                        order.swap(start + column, other + column);
                    }
                    exchanged.push(order);
                }
            }
        }
        let mut slips = vec![(1.0, straight)];
        for (probability, orders) in
            [(misreading.neighbours, neighbours), (misreading.shifted, shifted), (misreading.rows, exchanged)]
        {
            if orders.is_empty() {
                continue;
            }
            slips[0].0 -= probability;
            let each = probability / orders.len() as f64;
            slips.extend(orders.into_iter().map(|order| (each, order)));
        }
        slips
    }
}

/// The label of a point's lamp, where it has one.
#[must_use]
pub fn place_of(machine: &Machine, wanted: impl Fn(&LampKind) -> bool) -> Option<LampPlace> {
    LampPlace::all(machine).find(|(_, lamp)| wanted(&lamp.kind)).map(|(place, _)| place)
}
