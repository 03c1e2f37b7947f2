//! Numbers of the things in the records, each of a type of its own.

use rusqlite::types::{FromSql, FromSqlResult, ToSql, ToSqlOutput, Value, ValueRef};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::num::ParseIntError;
use std::str::FromStr;

macro_rules! ids {
    ($($(#[$about:meta])* $name:ident)*) => {$(
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = ParseIntError;

            fn from_str(text: &str) -> Result<Self, ParseIntError> {
                text.parse().map(Self)
            }
        }

        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                self.0.to_sql()
            }
        }

        impl From<$name> for Value {
            fn from(id: $name) -> Self {
                Self::Integer(id.0)
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                i64::column_result(value).map(Self)
            }
        }
    )*};
}

ids! {
    /// A machine type.
    TypeId
    /// One version of a machine type's file.
    VersionId
    /// A site.
    SiteId
    /// A machine.
    MachineId
    /// A call.
    CallId
    /// A span of running.
    ExposureId
    /// A procedure that was gone through.
    RunId
    /// An account.
    AccountId
}
