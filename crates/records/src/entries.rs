//! What a call says now, worked out from everything that was changed in it.

use diagnose::call::{Entry, Kind};
use jiff::Timestamp;
use serde::Serialize;

/// Entries of a call at most, as in a call that is kept as a text.
pub const MOST_ENTRIES: usize = 1_000;
/// Changes of a call at most.
pub const MOST_CHANGES: u64 = 20_000;

/// A change of what a call says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// Adds entries, in order. One of a kind that is said only once takes the place of the one before, as in
    /// [`diagnose::call::Session::add`].
    Add(Vec<Entry>),
    /// Puts another entry in the place of this one, from 0.
    Replace {
        /// Which.
        at: usize,
        /// What stands there then.
        entry: Entry,
    },
    /// Takes an entry away, from 0.
    Remove {
        /// Which.
        at: usize,
    },
    /// Takes back the last change that was not taken back.
    Undo,
}

/// What was done to a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// An entry was added.
    Add,
    /// An entry was put in the place of another.
    Replace,
    /// An entry was taken away.
    Remove,
    /// The last change was taken back.
    Undo,
    /// A finding was kept.
    Finding,
    /// The call was closed.
    Close,
    /// The call was opened again.
    Reopen,
}

impl What {
    pub(crate) const ALL: [Self; 7] =
        [Self::Add, Self::Replace, Self::Remove, Self::Undo, Self::Finding, Self::Close, Self::Reopen];

    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Add => "add",
            Self::Replace => "replace",
            Self::Remove => "remove",
            Self::Undo => "undo",
            Self::Finding => "finding",
            Self::Close => "close",
            Self::Reopen => "reopen",
        }
    }

    fn changes_entries(self) -> bool {
        matches!(self, Self::Add | Self::Replace | Self::Remove)
    }
}

/// One thing that was done to a call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// The call's counter after it. Events of one change have the same.
    pub counter: u64,
    /// When.
    pub at: Timestamp,
    /// What.
    pub what: What,
    /// Which entry, from 0, for [`What::Replace`] and [`What::Remove`].
    pub position: Option<usize>,
    /// The entry that was added or put there.
    pub entry: Option<Entry>,
    /// Who did it; empty if that was not said.
    pub author: String,
}

/// What the events come to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// The entries, in order.
    pub entries: Vec<Entry>,
    /// Who said each of them, or put it right; empty if that was not said.
    pub authors: Vec<String>,
    /// The counters of the changes that still hold, the last of which can be taken back.
    pub standing: Vec<u64>,
}

impl Said {
    /// Plays the events. What was taken back is left out: the last change is always taken back first, so that
    /// the others come to the same without it.
    #[must_use]
    pub fn of(events: &[Event]) -> Self {
        let mut standing: Vec<u64> = Vec::new();
        for event in events {
            if event.what == What::Undo {
                standing.pop();
            } else if event.what.changes_entries() && standing.last() != Some(&event.counter) {
                standing.push(event.counter);
            }
        }
        let mut entries = Authored::new();
        for event in events {
            if event.what.changes_entries() && standing.binary_search(&event.counter).is_ok() {
                play(&mut entries, event);
            }
        }
        let (entries, authors) = entries.into_iter().unzip();
        Self { entries, authors, standing }
    }

    /// The complaint among the entries.
    #[must_use]
    pub fn complaint(&self) -> &str {
        let complaint = self.entries.iter().find(|entry| entry.kind == Kind::Complaint);
        complaint.map_or("", |entry| entry.text.as_str())
    }

    /// All of it as one text, to be searched.
    pub(crate) fn text(&self) -> String {
        self.entries.iter().map(|entry| entry.text.as_str()).collect::<Vec<_>>().join("\n")
    }
}

/// Entries with their authors.
type Authored = Vec<(Entry, String)>;

fn play(entries: &mut Authored, event: &Event) {
    let authored = |entry: &Entry| (entry.clone(), event.author.clone());
    match (event.what, event.position, &event.entry) {
        (What::Add, _, Some(entry)) => {
            match entries.iter_mut().find(|(known, _)| entry.kind.is_single() && known.kind == entry.kind) {
                Some(known) => *known = authored(entry),
                None => entries.push(authored(entry)),
            }
        }
        (What::Replace, Some(at), Some(entry)) => {
            if let Some(known) = entries.get_mut(at) {
                *known = authored(entry);
            }
        }
        (What::Remove, Some(at), _) if at < entries.len() => {
            entries.remove(at);
        }
        _ => {}
    }
}
