//! What can go wrong with the records: where, why, and what to do.

use std::fmt;

/// Which kind of mistake it is, for programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ErrorKind {
    /// The file can't be opened, read or written.
    Unreadable,
    /// The file is no database of Lampwise.
    NotRecords,
    /// The file was written by a newer version of the program.
    Newer,
    /// Somebody else keeps the file busy for too long.
    Busy,
    /// The disk is full.
    Full,
    /// The file is damaged.
    Damaged,
    /// There is no such thing in the records.
    Unknown,
    /// There is such a thing already.
    Exists,
    /// What was given can't be kept.
    Refused,
    /// A mistake in this program.
    Internal,
}

impl ErrorKind {
    /// A short key for it.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::Unreadable => "records-unreadable",
            Self::NotRecords => "no-records",
            Self::Newer => "newer-records",
            Self::Busy => "records-busy",
            Self::Full => "disk-full",
            Self::Damaged => "records-damaged",
            Self::Unknown => "not-in-records",
            Self::Exists => "exists",
            Self::Refused => "refused",
            Self::Internal => "internal",
        }
    }
}

/// Something that went wrong.
#[derive(Debug)]
pub struct Error {
    /// Which kind.
    pub kind: ErrorKind,
    /// Where: the file, or the thing that was asked for, as it fits behind "in".
    pub place: String,
    /// Why, as it fits behind a colon.
    pub cause: String,
    /// What to do.
    pub hint: String,
    source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

impl Error {
    pub(crate) fn new(
        kind: ErrorKind,
        place: impl Into<String>,
        cause: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self { kind, place: place.into(), cause: cause.into(), hint: hint.into(), source: None }
    }

    pub(crate) fn refused(place: impl Into<String>, cause: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(ErrorKind::Refused, place, cause, hint)
    }

    pub(crate) fn unknown(place: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(ErrorKind::Unknown, place, "there is no such thing in the records", hint)
    }

    pub(crate) fn because(mut self, source: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Self {
        self.source = Some(source.into());
        self
    }

    /// The same with a place that says more.
    pub(crate) fn at(mut self, place: impl Into<String>) -> Self {
        self.place = place.into();
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.cause)
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.source.as_deref().map(|source| source as &(dyn std::error::Error + 'static))
    }
}

impl From<rusqlite::Error> for Error {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode;
        let (kind, cause, hint) = match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => (
                ErrorKind::Busy,
                "somebody else is writing and does not come to an end",
                "try again; look whether another program holds the file",
            ),
            Some(ErrorCode::DiskFull) => {
                (ErrorKind::Full, "the disk is full", "make room; what was acknowledged before is kept")
            }
            Some(ErrorCode::DatabaseCorrupt) => (
                ErrorKind::Damaged,
                "the file is damaged",
                "go back to the last backup; keep the damaged file beside it",
            ),
            Some(ErrorCode::NotADatabase) => {
                (ErrorKind::NotRecords, "this is no database of Lampwise", "look whether it is the right file")
            }
            Some(ErrorCode::CannotOpen) => {
                (ErrorKind::Unreadable, "it can't be opened", "look whether its folder is there and may be written to")
            }
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => (
                ErrorKind::Unreadable,
                "it may not be written to",
                "look at the permissions of the file and its folder",
            ),
            Some(ErrorCode::SystemIoFailure) => (
                ErrorKind::Unreadable,
                "reading or writing failed",
                "look at the disk and at what the system says of it",
            ),
            Some(ErrorCode::ConstraintViolation) => {
                (ErrorKind::Refused, "this does not fit with what is there", "look whether what it refers to is there")
            }
            _ => {
                (ErrorKind::Internal, "the database did not do what was asked", "report this with what was done before")
            }
        };
        let said = format!("{cause} ({error})");
        Self::new(kind, "the records", said, hint).because(error)
    }
}

/// What comes of most things here.
pub type Result<T, E = Error> = std::result::Result<T, E>;
