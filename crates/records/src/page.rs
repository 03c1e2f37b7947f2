//! Long lists, page by page. A page begins behind the last row of the one before, found by an index, so that the
//! hundredth page is as quick as the first.

use serde::{Deserialize, Serialize};

/// Rows of a page at most.
pub const LARGEST_PAGE: usize = 1_000;

/// Which part of a list: so many rows, behind this one.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<C> {
    /// The place that [`Listed::next`] gave; none: from the beginning.
    pub after: Option<C>,
    /// How many rows, from 1 to [`LARGEST_PAGE`].
    pub rows: usize,
}

impl<C> Page<C> {
    /// The first rows of a list.
    #[must_use]
    pub fn first(rows: usize) -> Self {
        Self { after: None, rows }
    }

    /// One row more than asked for tells whether there are more.
    pub(crate) fn limit(&self) -> usize {
        self.rows.clamp(1, LARGEST_PAGE) + 1
    }
}

/// A part of a list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Listed<T, C> {
    /// The rows.
    pub rows: Vec<T>,
    /// Where the next page begins; none if this was the last.
    pub next: Option<C>,
}

impl<T, C> Listed<T, C> {
    pub(crate) fn of(mut rows: Vec<T>, page: &Page<C>, place: impl Fn(&T) -> C) -> Self {
        let wanted = page.limit() - 1;
        let more = rows.len() > wanted;
        rows.truncate(wanted);
        let next = if more { rows.last().map(place) } else { None };
        Self { rows, next }
    }
}

/// A place in a list that is ordered by time, the newest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimePlace {
    /// The time, in microseconds since 1970.
    pub time: i64,
    /// The number of the row.
    pub id: i64,
}

/// A place in a list that is ordered by name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct NamePlace {
    /// The name.
    pub name: String,
    /// The number of the row.
    pub id: i64,
}
