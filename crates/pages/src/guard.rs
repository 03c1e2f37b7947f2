//! What keeps strangers out: only pages of this program may change anything, only by the names by which this computer
//! is called, and what is shown may load nothing from elsewhere.

use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

use crate::mistake::Mistake;
use crate::office::Office;

/// Nothing from elsewhere, no script or style that stands in a page, no page of ours inside another's.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; frame-src 'self'; frame-ancestors 'self'; base-uri 'none'";

/// The same for printed sheets, which carry their style within, so that they can be saved as one file.
pub const SHEET_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'; base-uri 'none'";

/// Lets a request through, or not, and says in the answer what the page may do.
pub async fn guard(State(office): State<Arc<Office>>, request: Request, next: Next) -> Response {
    let mut response = match refused(&office, &request) {
        Some(mistake) => mistake.into_response(),
        None => next.run(request).await,
    };
    // What the server itself refuses comes as bare text.
    if response.status().is_client_error() && !is_page(&response) {
        response = refused_by_server(response.status()).into_response();
    }
    let headers = response.headers_mut();
    if !headers.contains_key(header::CONTENT_SECURITY_POLICY) {
        headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    }
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_FRAME_OPTIONS, "SAMEORIGIN"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn is_page(response: &Response) -> bool {
    let kind = response.headers().get(header::CONTENT_TYPE);
    kind.and_then(|kind| kind.to_str().ok()).is_some_and(|kind| kind.starts_with("text/html"))
}

fn refused_by_server(status: StatusCode) -> Mistake {
    let (what, hint) = match status {
        StatusCode::METHOD_NOT_ALLOWED => ("this address is not for that", "go to the page itself and do it there"),
        StatusCode::PAYLOAD_TOO_LARGE => ("that is too much for one form", "go back and say it in fewer words"),
        StatusCode::BAD_REQUEST => ("there is no page at this address", "go back, or look for it above"),
        _ => ("a field of the form is missing or can't be read", "go back and fill it in"),
    };
    Mistake { status, what: what.to_owned(), hint: hint.to_owned() }
}

fn refused(office: &Office, request: &Request) -> Option<Mistake> {
    let text = |name: header::HeaderName| request.headers().get(name).and_then(|value| value.to_str().ok());
    let host = text(header::HOST).or_else(|| request.uri().authority().map(|one| one.as_str()));
    // Another site's name that leads to this computer would make its pages pages of ours.
    if !host.is_some_and(|host| office.is_called(host)) {
        let hint = "open the address that was printed when the program began";
        return Some(Mistake::refused("this program does not answer to that name", hint));
    }
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return None;
    }
    let from_here = match (text(header::ORIGIN), request.headers().get("sec-fetch-site")) {
        (Some(origin), _) => origin.strip_prefix("http://").is_some_and(|origin| Some(origin) == host),
        (None, Some(site)) => site.as_bytes() == b"same-origin",
        // A program that is no browser: no page can make it send anything.
        (None, None) => true,
    };
    if from_here {
        return None;
    }
    Some(Mistake::refused("this did not come from a page of this program", "go to the page itself and do it there"))
}
