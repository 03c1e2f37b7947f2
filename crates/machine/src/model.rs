//! What a machine is, after reading: every name resolved, every default
//! filled in, every setting replaced by its value. In these types a wrong
//! reference can't be written, so nothing behind the reader checks again.

mod chart;
mod device;
mod event;
mod hand;
mod panel;
mod point;
mod prices;
mod world;

pub use chart::{
    Action, ActionKind, Chart, Counter, Effect, Interlock, Latch, ProgramFact, Step, TimeOut, Timing, Transition,
};
pub use device::{
    Access, Answer, Chance, Check, CheckRole, Deviation, DeviationKind, Device, DeviceRole, Energy, FaultEffect,
    Forced, Guarding, Load, Observable, Part, Rate, Remedy, Source, Who,
};
pub use event::{AfterEvents, Event};
pub use hand::{
    ExpectedLamp, HandAction, HandMove, Measurement, Mode, Procedure, ProcedureStep, Routine, Setting, SettingValue,
};
pub use panel::{LampKind, LampRow, PanelLamp, StatusMeaning};
pub use point::{Input, InputStage, Output, OutputStage, PointUse};
pub use prices::Prices;
pub use world::{Mechanism, MechanismClass, Move, Supply, SupplyKind, WorldFact};

use crate::condition::Condition;
use crate::id::{
    ChartId, CheckId, CounterId, DeviationId, DeviceId, EdgeId, InputId, InterlockId, LatchId, MechanismId, ModeId,
    OutputId, ProcedureId, RemedyId, RoutineId, SettingId, StepId, SupplyId, Table, TransitionId,
};

/// A text for people: a key to translate by, English, and what translations there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Words {
    /// The key under which translations are kept, such as `reed-switch.own-led.operator`.
    pub key: String,
    /// The English text.
    pub english: String,
    /// Language tag (`de`, `es`) and text, in the order of the tags.
    pub translations: Vec<(String, String)>,
}

impl Words {
    /// A text without key or translation.
    pub fn plain(english: impl Into<String>) -> Self {
        Self { key: String::new(), english: english.into(), translations: Vec::new() }
    }

    /// The text in this language, or in English where there is no translation.
    #[must_use]
    pub fn in_language(&self, language: &str) -> &str {
        self.translations.iter().find(|(tag, _)| tag == language).map_or(&self.english, |(_, text)| text)
    }
}

/// One fully resolved machine: one revision, one set of setting values, one
/// choice for everything that the file leaves "not known".
#[derive(Clone, Debug, Default)]
pub struct Machine {
    /// Name of the machine type.
    pub name: String,
    /// Who builds it.
    pub maker: String,
    /// Version of the machine file, as its writer counts.
    pub version: String,
    /// Date of the machine file, ISO 8601.
    pub date: String,
    /// A sentence about what the machine does.
    pub about: String,
    /// The revision this was resolved for, if the file has revisions.
    pub revision: Option<String>,
    /// Controller scan time in ms; 0 means that no pulse is too short.
    pub scan_ms: u64,
    /// The supply of the controller itself; none: it always has power.
    pub controller_supply: Option<SupplyId>,
    /// Hours of running since the machine last ran well, if a call doesn't say.
    pub hours_since_well: f64,
    /// What things cost that have no minutes of their own.
    pub prices: Prices,
    /// The lamps as they sit on the controller's front, row by row.
    pub lamp_rows: Vec<LampRow>,
    /// Supplies, parents before children.
    pub supplies: Table<SupplyId, Supply>,
    /// Mechanisms, those moved by hand included.
    pub mechanisms: Table<MechanismId, Mechanism>,
    /// Controller inputs.
    pub inputs: Table<InputId, Input>,
    /// Controller outputs; implied ones have no label.
    pub outputs: Table<OutputId, Output>,
    /// Charts.
    pub charts: Table<ChartId, Chart>,
    /// Steps of all charts.
    pub steps: Table<StepId, Step>,
    /// Transitions of all charts.
    pub transitions: Table<TransitionId, Transition>,
    /// Interlocks of all charts.
    pub interlocks: Table<InterlockId, Interlock>,
    /// Latches.
    pub latches: Table<LatchId, Latch>,
    /// Counters.
    pub counters: Table<CounterId, Counter>,
    /// Conditions watched for edges; [`ProgramFact::Rises`] and [`ProgramFact::Falls`] point here.
    pub edges: Table<EdgeId, Condition<ProgramFact>>,
    /// Modes.
    pub modes: Table<ModeId, Mode>,
    /// Routines; the first is what people normally do.
    pub routines: Table<RoutineId, Routine>,
    /// Procedures.
    pub procedures: Table<ProcedureId, Procedure>,
    /// Settings with the values used here.
    pub settings: Table<SettingId, Setting>,
    /// Everything that can be at fault.
    pub devices: Table<DeviceId, Device>,
    /// Every single deviation: all fault modes of all devices, then all lapses.
    pub deviations: Table<DeviationId, Deviation>,
    /// Checks.
    pub checks: Table<CheckId, Check>,
    /// Remedies.
    pub remedies: Table<RemedyId, Remedy>,
}

impl Machine {
    /// The chart that a step belongs to.
    #[must_use]
    pub fn chart_of(&self, step: StepId) -> ChartId {
        self.steps[step].chart
    }

    /// Whether a supply is this one or hangs below it.
    #[must_use]
    pub fn is_fed_by(&self, supply: SupplyId, above: SupplyId) -> bool {
        // Parents come before children, so that every chain ends.
        let mut at = Some(supply);
        while let Some(one) = at {
            if one == above {
                return true;
            }
            at = self.supplies.get(one).and_then(|row| row.from).filter(|from| *from < one);
        }
        false
    }

    /// A step as people read it: its name, with the chart in front when there are several.
    #[must_use]
    pub fn step_name(&self, step: StepId) -> String {
        let row = &self.steps[step];
        if self.charts.len() > 1 { format!("{}.{}", self.charts[row.chart].name, row.name) } else { row.name.clone() }
    }
}
