//! Numbered names: one newtype for each kind of thing a machine has, and the
//! dense table that is indexed by it. Engines work with these numbers only;
//! the words belong to the [`Machine`](crate::Machine).

use serde::{Deserialize, Serialize};
use std::fmt;
use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

/// A number that stands for one thing of one kind in one machine.
pub trait Id: Copy + Eq + Ord + fmt::Debug {
    /// The id of the thing at this place in its table.
    fn new(index: usize) -> Self;
    /// The place in its table.
    fn index(self) -> usize;
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
        pub struct $name(u32);

        impl Id for $name {
            fn new(index: usize) -> Self {
                // The reader refuses files far below this size.
                Self(u32::try_from(index).unwrap_or(u32::MAX))
            }
            fn index(self) -> usize {
                self.0 as usize
            }
        }
    )*};
}

ids! {
    /// A supply: a fuse, the compressed air, the 24 V.
    SupplyId;
    /// A mechanism: cylinder, door, button, level.
    MechanismId;
    /// A controller input.
    InputId;
    /// A controller output, named or implied.
    OutputId;
    /// A chart.
    ChartId;
    /// A step; numbered through all charts of the machine.
    StepId;
    /// A transition; numbered through all charts of the machine.
    TransitionId;
    /// An interlock; numbered through all charts of the machine.
    InterlockId;
    /// A latch, a bit that the program remembers.
    LatchId;
    /// A counter.
    CounterId;
    /// A condition whose rising or falling edge the program watches.
    EdgeId;
    /// A mode.
    ModeId;
    /// A routine.
    RoutineId;
    /// A setting.
    SettingId;
    /// A device, or another thing that can be at fault (cable, card, supply).
    DeviceId;
    /// A deviation: one fault mode of one device, or one lapse.
    DeviationId;
    /// A check.
    CheckId;
    /// A remedy.
    RemedyId;
    /// A procedure.
    ProcedureId;
}

/// A table with one row for each id of one kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table<I, T> {
    rows: Vec<T>,
    id: PhantomData<fn() -> I>,
}

impl<I, T> Default for Table<I, T> {
    fn default() -> Self {
        Self { rows: Vec::new(), id: PhantomData }
    }
}

impl<I: Id, T> Table<I, T> {
    /// An empty table.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a row and gives its id.
    pub fn push(&mut self, row: T) -> I {
        self.rows.push(row);
        I::new(self.rows.len() - 1)
    }

    /// How many rows there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there are no rows.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The rows with their ids, in order.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (I, &T)> + ExactSizeIterator {
        self.rows.iter().enumerate().map(|(i, row)| (I::new(i), row))
    }

    /// The rows with their ids, in order, to be changed.
    pub fn iter_mut(&mut self) -> impl DoubleEndedIterator<Item = (I, &mut T)> {
        self.rows.iter_mut().enumerate().map(|(i, row)| (I::new(i), row))
    }

    /// The rows alone.
    pub fn rows(&self) -> std::slice::Iter<'_, T> {
        self.rows.iter()
    }

    /// The rows alone, to be changed.
    pub fn rows_mut(&mut self) -> std::slice::IterMut<'_, T> {
        self.rows.iter_mut()
    }

    /// All ids, in order.
    pub fn ids(&self) -> impl DoubleEndedIterator<Item = I> + ExactSizeIterator + use<I, T> {
        (0..self.rows.len()).map(I::new)
    }

    /// The first row that satisfies the test.
    pub fn find(&self, test: impl Fn(&T) -> bool) -> Option<(I, &T)> {
        self.iter().find(|(_, row)| test(row))
    }

    /// The row of this id, if the id belongs to this table.
    #[must_use]
    pub fn get(&self, id: I) -> Option<&T> {
        self.rows.get(id.index())
    }
}

impl<I: Id, T> Index<I> for Table<I, T> {
    type Output = T;
    fn index(&self, id: I) -> &T {
        &self.rows[id.index()]
    }
}

impl<I: Id, T> IndexMut<I> for Table<I, T> {
    fn index_mut(&mut self, id: I) -> &mut T {
        &mut self.rows[id.index()]
    }
}

impl<I: Id, T> FromIterator<T> for Table<I, T> {
    fn from_iter<It: IntoIterator<Item = T>>(rows: It) -> Self {
        Self { rows: rows.into_iter().collect(), id: PhantomData }
    }
}
