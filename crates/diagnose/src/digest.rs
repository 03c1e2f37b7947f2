//! A machine worked out for one moment of evidence, as plain rows: what an answer to a complaint, the last
//! thing done, lamps and questions for an operator is made of, so that it can be weighed elsewhere, such as in
//! the page of an offline guide.
//!
//! A [`Digest`] has a [`Ground`] for each routine of each alternative. Its [`Row`]s are the ways to stand with
//! everything that has come into play; what is there beside it and has not come into play is left as factors
//! ([`Ground::latent`], [`Sign::changes`]), as there are thousands of times more of it. Whoever weighs:
//!
//! 1. gives each row its weight times the probability of complaint, last deed, lamps and answers;
//! 2. adds for each row with fewer than two deviations, and each further class, the row's weight times the class's
//!    odds times its latent share times the ratio by which it changes the probability of what was seen
//!    (members of one group exclude each other; where nothing is in play, two of them);
//! 3. adds the cause that is not in the file.
//!
//! Where something was tried in vain, each of these weights is multiplied by the probability that the machine still
//! stands: by [`ClassRow::remedy`], [`ClassRow::disturbs`], [`Ground::in_the_way`], [`Ground::together`] and the rules of
//! docs/reckoning.md for whether it runs again. What was not as always is told by [`Standing`].
//!
//! docs/reckoning.md has the rules. What is set aside is [`Digest::left_out`].

mod gather;
mod in_the_way;
mod levels;
mod look;
mod moves;

pub use gather::digest;
pub use in_the_way::{InTheWay, Moves, Together};
pub use levels::{Asked, Report, asked_of_operator, is_for_operator, remedies_of_operator};
pub use look::{Look, Need, Onward, Part, needs};
pub use moves::{moved_by_going_on, moved_by_remedy};

use crate::evidence::Complaint;
use crate::panel::{LampTruth, Truth};
use crate::standing::Standing;
use machine::id::{DeviationId, RemedyId, RoutineId};

/// Rows of less weight than this, of all calls that a ground explains, are set aside.
pub const LEAST_SHARE: f64 = 1e-10;

/// What a lamp really shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shows {
    /// The same all the time: lit or dark.
    Steady(bool),
    /// Lit for this share of the time, and whether the eye sees it flicker.
    Varies(f64, bool),
}

impl From<Truth> for Shows {
    fn from(truth: Truth) -> Self {
        match truth {
            Truth::Steady(lit) => Self::Steady(lit),
            Truth::Varies(share, flickers) => Self::Varies(share, flickers),
        }
    }
}

/// What every lamp shows, in the order of the panel.
pub(crate) fn shown(truth: &LampTruth, lamps: usize) -> Vec<Shows> {
    (0..lamps).map(|lamp| truth.of(lamp).into()).collect()
}

/// The probability of each answer to a question, if nobody errs.
pub type Shares = Vec<f64>;

/// Everything worked out.
#[derive(Clone, Debug)]
pub struct Digest {
    /// What can be asked of an operator, in the names of the first alternative.
    pub asked: Vec<Asked>,
    /// Probability that an answer to each is wrong.
    pub errors: Vec<f64>,
    /// How many answers each has.
    pub answers: Vec<usize>,
    /// What an answer lists as one cause.
    pub causes: Vec<CauseRow>,
    /// A ground for each routine of each alternative.
    pub grounds: Vec<Ground>,
    /// Largest share of a ground's weight that was set aside with rows below [`LEAST_SHARE`].
    pub left_out: f64,
}

/// What an answer lists as one cause.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CauseRow {
    /// In words; as the answer says it.
    pub words: String,
    /// Keys of the deviations, the likeliest before any evidence first.
    pub members: Vec<String>,
}

/// One routine of one alternative.
#[derive(Clone, Debug)]
pub struct Ground {
    /// The number of the alternative.
    pub alternative: usize,
    /// The routine, in the numbers of this alternative.
    pub routine: RoutineId,
    /// The number of the routine of the same name in the first alternative, if it has it.
    pub routine_named: Option<RoutineId>,
    /// Factor that makes weights comparable between grounds.
    pub scale: f64,
    /// The weight of all calls before any evidence.
    pub listed: f64,
    /// How many actions the routine has; stages are these and power-on.
    pub actions: usize,
    /// By action of the routine of the same name in the first alternative, the action here.
    pub same_action: Vec<Option<usize>>,
    /// By lamp of the first alternative, the lamp of the same label here.
    pub same_lamp: Vec<Option<usize>>,
    /// Lamps in each row of the panel.
    pub lamp_rows: Vec<usize>,
    /// By question: for each answer of the first alternative, the answer here; `None`: it can't be asked here.
    pub same_answer: Vec<Vec<Option<usize>>>,
    /// By question, how many answers it has here; 0 where it is not there.
    pub answers_here: Vec<usize>,
    /// What lamps can show.
    pub truths: Vec<Vec<Shows>>,
    /// The truths at each kept moment of the undisturbed run.
    pub passing: Vec<u32>,
    /// By question, what its answers can be; [`Ground::vectors`] and [`Change::answers`] point here.
    pub shares: Vec<Vec<Shares>>,
    /// For all questions, which of their shares.
    pub vectors: Vec<Vec<u16>>,
    /// Deviations that bear alike on everything.
    pub classes: Vec<ClassRow>,
    /// By behaviour ([`ClassRow::behaviour`]), the probability that it is there and has not come into play.
    pub latent: Vec<Vec<f64>>,
    /// What a class that has not come into play changes in what is seen.
    pub changes: Vec<Change>,
    /// For all classes that change something: class and change.
    pub change_lists: Vec<Vec<(u32, u32)>>,
    /// What can be seen and told.
    pub signs: Vec<Sign>,
    /// Where the sequence stands.
    pub looks: Vec<Look>,
    /// The ways to stand.
    pub rows: Vec<Row>,
    /// What hands do when something is tried.
    pub moves: Moves,
    /// What is in the way after it though it does not make the routine go otherwise, or where all had gone as always.
    pub in_the_way: Vec<InTheWay>,
    /// Which two are in the way otherwise than each of them by itself.
    pub together: Vec<Together>,
}

/// Deviations that bear alike on everything that can be reported here.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassRow {
    /// What it does to the sequence, by number.
    pub behaviour: u32,
    /// Sum of the odds.
    pub odds: f64,
    /// Odds by group of deviations that exclude each other.
    pub groups: Vec<(u32, f64)>,
    /// Index into [`Digest::causes`].
    pub cause: u32,
    /// What puts it right, in the numbers of the first alternative.
    pub remedy: Option<RemedyId>,
    /// Whether by itself it can make this routine go otherwise than always.
    pub disturbs: bool,
    /// The likeliest member.
    pub member: DeviationId,
}

/// What a class that has not come into play changes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Change {
    /// Lamps that show something else.
    pub lamps: Vec<(u32, Shows)>,
    /// Questions that are answered otherwise: question, index into its shares.
    pub answers: Vec<(u32, u16)>,
}

/// What can be seen and told of ways to stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sign {
    /// Index into [`Ground::truths`].
    pub truth: u32,
    /// Index into [`Ground::vectors`].
    pub vector: u32,
    /// Index into [`Ground::looks`].
    pub look: u32,
    /// Index into [`Ground::latent`]; `None`: nothing is latent beside it.
    pub latent: Option<u32>,
    /// Index into [`Ground::change_lists`].
    pub changes: u32,
}

/// Ways to stand that nothing reported can tell apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// The stage after which somebody calls.
    pub stage: u16,
    /// How it stands, for the complaint.
    pub standing: Standing,
    /// Index into [`Ground::signs`].
    pub sign: u32,
    /// The classes in play.
    pub set: [Option<u32>; 2],
    /// Weight, not normalised.
    pub weight: f64,
}

/// The probability of each complaint for each kind of standing, as [`Standing::complains`] has it.
#[must_use]
pub fn complaints(standing: Standing) -> [f64; 4] {
    [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult]
        .map(|complaint| standing.complains(complaint))
}
