//! What can go wrong with a request: a page that says what, why, and what to do.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::html;
use records::ErrorKind;

use crate::layout::{self, Here};
use crate::words::marked;

/// Why there is no page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The answer's status.
    pub status: StatusCode,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl Mistake {
    /// Something that is not there.
    pub fn not_there(what: impl Into<String>) -> Self {
        let hint = "go back, or look for it above".to_owned();
        Self { status: StatusCode::NOT_FOUND, what: what.into(), hint }
    }

    /// Something that was typed wrong.
    pub fn wrong(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { status: StatusCode::UNPROCESSABLE_ENTITY, what: what.into(), hint: hint.into() }
    }

    /// A request that did not come from a page of this program.
    pub fn refused(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { status: StatusCode::FORBIDDEN, what: what.into(), hint: hint.into() }
    }
}

impl From<records::Error> for Mistake {
    fn from(error: records::Error) -> Self {
        let status = match error.kind {
            ErrorKind::Unknown => StatusCode::NOT_FOUND,
            ErrorKind::Refused | ErrorKind::Exists => StatusCode::UNPROCESSABLE_ENTITY,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let what = format!("{}: {}", error.place, error.cause);
        if error.kind == ErrorKind::Unknown {
            // What is not there is looked for on other pages, not with the command that the hint names.
            return Self::not_there(what);
        }
        Self { status, what, hint: error.hint }
    }
}

impl IntoResponse for Mistake {
    fn into_response(self) -> Response {
        let body = html! {
            h1 { "That did not work" }
            p.mistake { strong { (marked(&self.what)) } "." }
            p { (marked(&self.hint)) "." }
            p { a href="/" { "To the first page" } }
        };
        (self.status, layout::page("That did not work", Here::Elsewhere, &body)).into_response()
    }
}
