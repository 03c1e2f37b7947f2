//! A machine compiled for simulation: flat arrays, bit numbers and decision
//! chains, no names. Compiled once, shared by every run.

use crate::decision::{Decision, Decisions};
use crate::signal::{Layout, Signal};
use machine::id::{Id, OutputId, StepId};
use machine::model::{ActionKind, Effect, Machine, MechanismClass, PointUse, ProgramFact, SupplyKind, Timing};
use machine::{Condition, model};

#[derive(Clone, Debug)]
pub(crate) struct SupplyPlan {
    pub parent: Option<Signal>,
    pub when: Decision,
    /// Goes away when the mains switch is off.
    pub electric: bool,
}

#[derive(Clone, Debug)]
pub(crate) struct InputPlan {
    pub lit: Decision,
    pub supply: Option<Signal>,
    pub on_delay: u64,
    pub off_delay: u64,
    pub used: bool,
}

#[derive(Clone, Debug)]
pub(crate) struct OutputPlan {
    pub supply: Option<Signal>,
    pub driven: Decision,
    /// Charts whose dropped outputs include this one.
    pub charts: Vec<usize>,
    /// Whether a chart's action or a condition can command it at all.
    pub used: bool,
    /// Whether some action makes it blink.
    pub can_blink: bool,
}

#[derive(Clone, Debug)]
pub(crate) struct MovePlan {
    pub from: Vec<u8>,
    pub to: u8,
    pub when: Decision,
    pub takes: u64,
}

#[derive(Clone, Debug)]
pub(crate) struct MechanismPlan {
    pub rest: u8,
    /// Whether hands move it and it stays where they put it.
    pub by_hand: bool,
    pub moves: Vec<MovePlan>,
}

#[derive(Clone, Debug)]
pub(crate) struct ActionPlan {
    pub kind: ActionKind,
    pub when: Decision,
    pub blinks: bool,
}

#[derive(Clone, Debug)]
pub(crate) struct StepPlan {
    pub chart: usize,
    pub actions: Vec<ActionPlan>,
    /// Timers that run while the step is active.
    pub timers: Vec<usize>,
    pub time_out: Option<(usize, EffectPlan)>,
    /// Transitions of which this is the first step before.
    pub ways_out: Vec<usize>,
}

#[derive(Clone, Debug)]
pub(crate) enum EffectPlan {
    Nothing,
    Hold { outputs_kept: bool },
    GoTo(Vec<StepId>),
}

#[derive(Clone, Debug)]
pub(crate) struct TransitionPlan {
    pub chart: usize,
    pub from: Vec<StepId>,
    pub to: Vec<StepId>,
    pub when: Decision,
}

#[derive(Clone, Debug)]
pub(crate) struct InterlockPlan {
    pub chart: usize,
    /// The steps in which it is watched, as a mask.
    pub in_steps: Vec<u64>,
    pub needs: Decision,
    pub effect: EffectPlan,
}

#[derive(Clone, Debug)]
pub(crate) struct LatchPlan {
    pub set: Decision,
    pub reset: Decision,
    pub at_power_on: bool,
}

/// A compiled machine.
#[derive(Clone, Debug)]
pub struct Plant {
    pub(crate) layout: Layout,
    pub(crate) decisions: Decisions,
    pub(crate) scan_ms: u64,
    pub(crate) controller_supply: Option<Signal>,
    pub(crate) supplies: Vec<SupplyPlan>,
    pub(crate) inputs: Vec<InputPlan>,
    pub(crate) outputs: Vec<OutputPlan>,
    pub(crate) mechanisms: Vec<MechanismPlan>,
    pub(crate) steps: Vec<StepPlan>,
    pub(crate) charts: Vec<Vec<StepId>>,
    pub(crate) chart_steps: Vec<Vec<StepId>>,
    pub(crate) transitions: Vec<TransitionPlan>,
    pub(crate) interlocks: Vec<InterlockPlan>,
    pub(crate) edges: Vec<Decision>,
    pub(crate) latches: Vec<LatchPlan>,
    pub(crate) timers: Vec<(StepId, u64)>,
    /// Counter and the number to be reached.
    pub(crate) counts: Vec<(usize, u32)>,
    pub(crate) counters: usize,
    /// For each counter, the highest number that any condition asks for.
    pub(crate) highest_counts: Vec<u32>,
    /// Words that hold the steps, which come first among the signals.
    pub(crate) step_words: usize,
    /// Mask over all signals: what people notice, which is what the machine itself does:
    /// its steps and the places of what it drives. What hands put somewhere they take for granted.
    pub(crate) noticed: Vec<u64>,
    /// Masks over the steps: all, those with a time-out, those with actions.
    pub(crate) step_mask: Vec<u64>,
    pub(crate) timed_steps: Vec<u64>,
    pub(crate) acting_steps: Vec<u64>,
    /// For each signal, which reactions must be worked out anew; see [`Reactions`].
    pub(crate) dependents: Vec<Box<[u64]>>,
    pub(crate) reactions: Reactions,
    /// The other way round: for each reaction, the signals that it looks at.
    pub(crate) depends_on: Vec<Box<[u64]>>,
    /// Signals that the program looks at.
    pub(crate) program_reads: Box<[u64]>,
    /// Signals that tell where the program is: steps, timers, edges. It evolves again whenever one changes.
    pub(crate) program_steps: Box<[u64]>,
}

/// The numbering of what follows from the state without time passing: supplies,
/// outputs, inputs, then mechanisms, worked out in this order.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reactions {
    pub outputs: usize,
    pub inputs: usize,
    pub mechanisms: usize,
    pub len: usize,
}

fn effect_plan(effect: &Effect) -> EffectPlan {
    match effect {
        Effect::Nothing => EffectPlan::Nothing,
        Effect::Hold { outputs_kept } => EffectPlan::Hold { outputs_kept: *outputs_kept },
        Effect::GoTo(steps) => EffectPlan::GoTo(steps.clone()),
    }
}

/// The condition under which an action acts, its timing included.
fn action_condition(step: StepId, action: &model::Action) -> Condition<ProgramFact> {
    match action.timing {
        Timing::WhileActive | Timing::Blink(..) => action.when.clone(),
        Timing::After(ms) => action.when.clone().and(Condition::Fact(ProgramFact::StepFor(step, ms))),
        Timing::For(ms) => action.when.clone().and(Condition::Fact(ProgramFact::StepFor(step, ms)).negated()),
    }
}

/// A step and the ms that it must have lasted.
type Timer = (StepId, u64);

/// A counter and the number that it must have reached.
type Count = (usize, u32);

/// Every timer and every counter reading that any condition of the program names.
fn timers_and_counts(machine: &Machine) -> (Vec<Timer>, Vec<Count>) {
    let mut timers = Vec::new();
    let mut counts = Vec::new();
    let mut see = |condition: &Condition<ProgramFact>| {
        for fact in condition.facts() {
            match *fact {
                ProgramFact::StepFor(step, ms) if !timers.contains(&(step, ms)) => timers.push((step, ms)),
                ProgramFact::Counted(counter, n) if !counts.contains(&(counter.index(), n)) => {
                    counts.push((counter.index(), n));
                }
                _ => {}
            }
        }
    };
    for (id, step) in machine.steps.iter() {
        for action in &step.actions {
            see(&action_condition(id, action));
        }
        if let Some(time_out) = &step.time_out {
            see(&Condition::Fact(ProgramFact::StepFor(id, time_out.after_ms)));
        }
    }
    machine.transitions.rows().for_each(|row| see(&row.when));
    machine.interlocks.rows().for_each(|row| see(&row.needs));
    machine.edges.rows().for_each(&mut see);
    machine.outputs.rows().for_each(|row| see(&row.driven));
    for latch in machine.latches.rows() {
        see(&latch.set);
        see(&latch.reset);
    }
    for row in &machine.lamp_rows {
        for lamp in &row.lamps {
            if let model::LampKind::Status(model::StatusMeaning::Program(condition)) = &lamp.kind {
                see(condition);
            }
        }
    }
    (timers, counts)
}

fn noticed(machine: &Machine, layout: &Layout) -> Vec<u64> {
    let mut mask = vec![0_u64; (layout.len as usize).div_ceil(64)];
    let mut note = |signal: u32| mask[(signal >> 6) as usize] |= 1 << (signal & 63);
    layout.step_range().for_each(&mut note);
    for (id, mechanism) in machine.mechanisms.iter().filter(|(_, row)| row.class == MechanismClass::Driven) {
        note(layout.between(id).0);
        (0..mechanism.positions.len()).for_each(|position| note(layout.at(id, position as u8).0));
    }
    mask
}

impl Plant {
    /// Compiles a machine. The cost grows linearly with the machine's text.
    #[must_use]
    pub fn new(machine: &Machine) -> Self {
        let (timers, counts) = timers_and_counts(machine);
        let layout = Layout::new(machine, timers.len(), counts.len());
        let mut decisions = Decisions::default();
        let mut program = {
            let layout = layout.clone();
            let (timers, counts) = (timers.clone(), counts.clone());
            move |fact: &ProgramFact| layout.program(*fact, &timers, &counts)
        };
        let mut world = {
            let layout = layout.clone();
            move |fact: &model::WorldFact| layout.world(*fact)
        };

        let supplies: Vec<_> = machine
            .supplies
            .rows()
            .map(|row| SupplyPlan {
                parent: row.from.map(|from| layout.supply(from)),
                when: decisions.compile(&row.when, &mut world),
                electric: row.kind == SupplyKind::Electric && row.from.is_none(),
            })
            .collect();
        let inputs: Vec<_> = machine
            .inputs
            .rows()
            .map(|row| InputPlan {
                lit: decisions.compile(&row.lit, &mut world),
                supply: row.supply.map(|supply| layout.supply(supply)),
                on_delay: row.on_delay_ms,
                off_delay: row.off_delay_ms,
                used: row.usage == PointUse::Used,
            })
            .collect();
        let mut outputs: Vec<_> = machine
            .outputs
            .rows()
            .map(|row| OutputPlan {
                supply: row.supply.map(|supply| layout.supply(supply)),
                driven: decisions.compile(&row.driven, &mut program),
                charts: Vec::new(),
                used: row.usage == PointUse::Used,
                can_blink: false,
            })
            .collect();
        let mechanisms: Vec<_> = machine
            .mechanisms
            .rows()
            .map(|row| MechanismPlan {
                rest: row.rest,
                by_hand: row.class == MechanismClass::Hand,
                moves: row
                    .moves
                    .iter()
                    .map(|one| MovePlan {
                        from: one.from.clone(),
                        to: one.to,
                        when: decisions.compile(&one.when, &mut world),
                        // A movement without duration could follow itself for ever in no time.
                        takes: one.takes_ms.max(1),
                    })
                    .collect(),
            })
            .collect();
        let transitions: Vec<_> = machine
            .transitions
            .rows()
            .map(|row| TransitionPlan {
                chart: row.chart.index(),
                from: row.from.clone(),
                to: row.to.clone(),
                when: decisions.compile(&row.when, &mut program),
            })
            .collect();
        let mut steps: Vec<_> = machine
            .steps
            .iter()
            .map(|(id, row)| StepPlan {
                chart: row.chart.index(),
                actions: row
                    .actions
                    .iter()
                    .map(|action| ActionPlan {
                        kind: action.kind,
                        when: decisions.compile(&action_condition(id, action), &mut program),
                        blinks: matches!(action.timing, Timing::Blink(..)),
                    })
                    .collect(),
                timers: timers.iter().enumerate().filter(|(_, t)| t.0 == id).map(|(i, _)| i).collect(),
                time_out: row.time_out.as_ref().and_then(|time_out| {
                    let timer = timers.iter().position(|t| *t == (id, time_out.after_ms))?;
                    Some((timer, effect_plan(&time_out.effect)))
                }),
                ways_out: Vec::new(),
            })
            .collect();
        for (index, transition) in transitions.iter().enumerate() {
            if let Some(first) = transition.from.first() {
                steps[first.index()].ways_out.push(index);
            }
        }
        for step in &steps {
            for action in &step.actions {
                if let ActionKind::Drive(output) | ActionKind::Set(output) = action.kind {
                    outputs[output.index()].can_blink |= action.blinks;
                    let charts = &mut outputs[output.index()].charts;
                    if !charts.contains(&step.chart) {
                        charts.push(step.chart);
                    }
                }
            }
        }
        let interlocks: Vec<_> = machine
            .interlocks
            .rows()
            .map(|row| InterlockPlan {
                chart: row.chart.index(),
                in_steps: {
                    let mut mask = vec![0_u64; machine.steps.len().div_ceil(64)];
                    row.in_steps.iter().for_each(|step| mask[step.index() / 64] |= 1 << (step.index() % 64));
                    mask
                },
                needs: decisions.compile(&row.needs, &mut program),
                effect: effect_plan(&row.effect),
            })
            .collect();
        let edges: Vec<_> = machine.edges.rows().map(|row| decisions.compile(row, &mut program)).collect();
        let latches: Vec<_> = machine
            .latches
            .rows()
            .map(|row| LatchPlan {
                set: decisions.compile(&row.set, &mut program),
                reset: decisions.compile(&row.reset, &mut program),
                at_power_on: row.at_power_on,
            })
            .collect();
        let mut chart_steps = vec![Vec::new(); machine.charts.len()];
        for (id, step) in machine.steps.iter() {
            chart_steps[step.chart.index()].push(id);
        }
        let mask = |wanted: &dyn Fn(&StepPlan) -> bool| {
            let mut mask = vec![0_u64; steps.len().div_ceil(64)];
            for (index, _) in steps.iter().enumerate().filter(|(_, step)| wanted(step)) {
                mask[index / 64] |= 1 << (index % 64);
            }
            mask
        };
        let step_mask = mask(&|_| true);
        let timed_steps = mask(&|step| step.time_out.is_some());
        let acting_steps = mask(&|step| !step.actions.is_empty());
        let mut highest_counts = vec![0; machine.counters.len()];
        for (counter, n) in &counts {
            highest_counts[*counter] = highest_counts[*counter].max(*n);
        }
        let mut plant = Self {
            highest_counts,
            noticed: noticed(machine, &layout),
            step_words: step_mask.len(),
            step_mask,
            timed_steps,
            acting_steps,
            controller_supply: machine.controller_supply.map(|supply| layout.supply(supply)),
            layout,
            decisions,
            scan_ms: machine.scan_ms,
            supplies,
            inputs,
            outputs,
            mechanisms,
            steps,
            charts: machine.charts.rows().map(|row| row.initial.clone()).collect(),
            chart_steps,
            transitions,
            interlocks,
            edges,
            latches,
            timers,
            counts,
            counters: machine.counters.len(),
            dependents: Vec::new(),
            depends_on: Vec::new(),
            reactions: Reactions { outputs: 0, inputs: 0, mechanisms: 0, len: 0 },
            program_reads: Box::default(),
            program_steps: Box::default(),
        };
        plant.link();
        plant
    }

    /// Works out who must be told when a signal changes.
    fn link(&mut self) {
        let outputs = self.supplies.len();
        let inputs = outputs + self.outputs.len();
        let mechanisms = inputs + self.inputs.len();
        let len = mechanisms + self.mechanisms.len();
        self.reactions = Reactions { outputs, inputs, mechanisms, len };
        let words = len.div_ceil(64);
        let signals = self.layout.len as usize;
        let mut dependents = vec![vec![0_u64; words].into_boxed_slice(); signals];
        let mut link = |signal: Signal, reaction: usize| {
            dependents[signal.0 as usize][reaction / 64] |= 1 << (reaction % 64);
        };
        for (index, plan) in self.supplies.iter().enumerate() {
            plan.parent.into_iter().chain(self.decisions.signals(plan.when)).for_each(|signal| link(signal, index));
        }
        for (index, plan) in self.outputs.iter().enumerate() {
            let reaction = outputs + index;
            link(self.layout.command(OutputId::new(index)), reaction);
            plan.supply.into_iter().for_each(|signal| link(signal, reaction));
        }
        for (index, plan) in self.inputs.iter().enumerate() {
            let reaction = inputs + index;
            link(self.layout.powered, reaction);
            plan.supply.into_iter().chain(self.decisions.signals(plan.lit)).for_each(|signal| link(signal, reaction));
        }
        for (index, plan) in self.mechanisms.iter().enumerate() {
            for one in &plan.moves {
                self.decisions.signals(one.when).into_iter().for_each(|signal| link(signal, mechanisms + index));
            }
        }
        let mut depends_on = vec![vec![0_u64; signals.div_ceil(64)].into_boxed_slice(); len];
        for (signal, reactions) in dependents.iter().enumerate() {
            for (reaction, on) in depends_on.iter_mut().enumerate() {
                if reactions[reaction / 64] >> (reaction % 64) & 1 == 1 {
                    on[signal / 64] |= 1 << (signal % 64);
                }
            }
        }
        self.depends_on = depends_on;
        self.dependents = dependents;

        let conditions = (self.transitions.iter().map(|plan| plan.when))
            .chain(self.interlocks.iter().map(|plan| plan.needs))
            .chain(self.edges.iter().copied())
            .chain(self.latches.iter().flat_map(|plan| [plan.set, plan.reset]))
            .chain(self.outputs.iter().map(|plan| plan.driven))
            .chain(self.steps.iter().flat_map(|plan| plan.actions.iter().map(|action| action.when)));
        let mut reads = vec![0; signals.div_ceil(64)].into_boxed_slice();
        for decision in conditions {
            self.decisions.signals(decision).into_iter().for_each(|signal| signal.set_in(&mut reads));
        }
        let mut steps = vec![0; signals.div_ceil(64)].into_boxed_slice();
        self.layout.step_range().for_each(|step| Signal(step).set_in(&mut steps));
        (0..self.timers.len()).for_each(|timer| self.layout.timer(timer).set_in(&mut steps));
        for edge in (0..self.edges.len()).map(Id::new) {
            // A rising or falling edge lasts for one evolution; another must follow to end it.
            self.layout.rises(edge).set_in(&mut steps);
            self.layout.falls(edge).set_in(&mut steps);
        }
        self.program_reads = reads;
        self.program_steps = steps;
    }

    /// Whether a fact that the program knows holds in a situation.
    #[must_use]
    pub fn fact(&self, situation: &crate::Situation, fact: ProgramFact) -> bool {
        let known = match fact {
            ProgramFact::StepFor(step, ms) => self.timers.contains(&(step, ms)),
            ProgramFact::Counted(counter, n) => self.counts.contains(&(counter.index(), n)),
            _ => true,
        };
        known && situation.on(self.layout.program(fact, &self.timers, &self.counts))
    }

    /// Whether the same steps are active in two states' first words.
    pub(crate) fn same_steps(&self, one: &[u64], other: &[u64]) -> bool {
        one.iter().zip(other).zip(&self.step_mask).all(|((one, other), mask)| (one ^ other) & mask == 0)
    }

    /// The active steps as one large number, the highest word first.
    pub(crate) fn steps_in(&self, bits: &[u64]) -> Vec<u64> {
        bits.iter().zip(&self.step_mask).map(|(word, mask)| word & mask).rev().collect()
    }

    /// Where each bit is.
    #[must_use]
    pub fn layout(&self) -> &Layout {
        &self.layout
    }
}
