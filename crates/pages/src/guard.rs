//! What keeps strangers out: only pages of this program may change anything, only by the names by which it is called,
//! only for whoever may do that; and what is shown may load nothing from elsewhere.
//!
//! Each request goes through here before anything else looks at it, in this order: the name by which it came, the page
//! from which it came, who asks, what they may do, and whether a form is one of theirs.

use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, FromRequest as _, MatchedPath, Multipart, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;

use crate::mistake::Mistake;
use crate::office::Office;
use crate::pending;
use crate::serving::{Needs, Peer, needed};
use crate::sign_in::{self, From};
use crate::visitor::{TOKEN, Visitor};

/// Nothing from elsewhere, no script or style that stands in a page, no page of ours inside another's.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; frame-src 'self'; frame-ancestors 'self'; base-uri 'none'";

/// The same for printed sheets, which carry their style within, so that they can be saved as one file.
pub const SHEET_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'; base-uri 'none'";

/// Lets a request through, or not, and says in the answer what the page may do.
pub async fn guard(State(office): State<Arc<Office>>, request: Request, next: Next) -> Response {
    let mut response = match admitted(Arc::clone(&office), request).await {
        Ok((request, visitor)) => answer(&office, request, visitor, next).await,
        Err(refused) => refused,
    };
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

/// The answer to a request that was let through, or a page that says that it takes long.
async fn answer(office: &Office, request: Request, visitor: Visitor, next: Next) -> Response {
    let Some(place) = office.place() else {
        let what = "too much is being worked out at this moment";
        let hint = "wait a little, then load the page anew";
        let status = StatusCode::SERVICE_UNAVAILABLE;
        let mistake = Mistake { status, what: what.to_owned(), hint: hint.to_owned() };
        return visitor.sync_scope(|| mistake.into_response());
    };
    let can_wait = request.method() == Method::GET && pending::can_wait(request.headers(), request.uri().query());
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    let path = request.uri().path().to_owned();
    let address = request.uri().path_and_query().map(ToString::to_string).unwrap_or_default();
    let made = visitor.clone().scope(async move {
        let response = next.run(request).await;
        drop(place);
        // What the server itself refuses comes as bare text.
        if response.status().is_client_error() && !is_page(&response) {
            return refused_by_server(response.status()).into_response();
        }
        response
    });
    if !can_wait {
        let response = made.await;
        if !reads {
            office.pending().forget(&path);
        }
        return response;
    }
    let waiting = office.pending().answer(&visitor, address, office.limits().answer, made);
    visitor.clone().scope(waiting).await
}

fn is_page(response: &Response) -> bool {
    let kind = response.headers().get(header::CONTENT_TYPE);
    kind.and_then(|kind| kind.to_str().ok()).is_some_and(|kind| kind.starts_with("text/html"))
}

fn refused_by_server(status: StatusCode) -> Mistake {
    let (what, hint) = match status {
        StatusCode::METHOD_NOT_ALLOWED => ("this address is not for that", "go to the page itself and do it there"),
        StatusCode::PAYLOAD_TOO_LARGE => ("that is too much for one form", "go back and say it in fewer words"),
        StatusCode::REQUEST_TIMEOUT => ("the form took too long to arrive", "go back and send it once more"),
        StatusCode::BAD_REQUEST => ("there is no page at this address", "go back, or look for it above"),
        _ => ("a field of the form is missing or can't be read", "go back and fill it in"),
    };
    Mistake { status, what: what.to_owned(), hint: hint.to_owned() }
}

fn text(headers: &HeaderMap, name: impl header::AsHeaderName) -> Option<&str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// The request and who makes it, or what is answered instead.
async fn admitted(office: Arc<Office>, mut request: Request) -> Result<(Request, Visitor), Response> {
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if let Some(mistake) = foreign(&office, &request, reads) {
        return Err(mistake.into_response());
    }
    let from = From(comes_from(&office, &request));
    request.extensions_mut().insert(from);
    let visitor = visitor(&office, request.headers()).await.map_err(IntoResponse::into_response)?;
    // What is at no address is shown to nobody who may not see the rest either.
    let path = request.extensions().get::<MatchedPath>().map(MatchedPath::as_str);
    let address = path.and_then(needed).unwrap_or_default();
    let needs = if reads { address.look } else { address.change };
    let Needs::Role(role) = needs else {
        let request = if reads { request } else { arrived(&office, request, address.largest).await?.0 };
        return Ok((request, visitor));
    };
    if visitor == Visitor::Stranger {
        let wanted = request.uri().path_and_query().map_or("/", |wanted| wanted.as_str());
        return Err(if reads { sign_in::lead_there(wanted) } else { signed_out() });
    }
    if !visitor.may(role) {
        let what = format!("this is for whoever has the role \"{}\"", role.word());
        let mistake = Mistake::refused(what, "ask whoever keeps the accounts of this program");
        return Err(visitor.sync_scope(|| mistake.into_response()));
    }
    if reads {
        return Ok((request, visitor));
    }
    // Only now, so that nobody sends much who may do nothing with it.
    let admitted = visitor.clone().scope(arrived(&office, request, address.largest)).await;
    let (request, bytes) = admitted?;
    if let Visitor::Known(who) = &visitor {
        let sent = proof(request.headers(), &bytes).await;
        if !sent.is_some_and(|sent| same(sent.as_bytes(), who.form_token.as_bytes())) {
            let hint = "go back, copy what you typed, load the page anew, and send it from there";
            let mistake = Mistake::refused("this form is none of those that were made for you", hint);
            return Err(visitor.sync_scope(|| mistake.into_response()));
        }
    }
    Ok((request, visitor))
}

fn signed_out() -> Response {
    let what = "you are not signed in, or not any more; nothing was taken";
    let hint = "sign in, go back, copy what you typed, load the page anew, and send it from there";
    Mistake { status: StatusCode::UNAUTHORIZED, what: what.to_owned(), hint: hint.to_owned() }.into_response()
}

/// Why a request does not come from a page of this program, called by one of its names.
fn foreign(office: &Office, request: &Request, reads: bool) -> Option<Mistake> {
    let headers = request.headers();
    let host = text(headers, header::HOST).or_else(|| request.uri().authority().map(|one| one.as_str()));
    // Another site's name that leads to this computer would make its pages pages of ours.
    if !host.is_some_and(|host| office.is_called(host)) {
        let hint = "open the address that was printed when the program began";
        return Some(Mistake::refused("this program does not answer to that name", hint));
    }
    if reads {
        return None;
    }
    let scheme = office.reached().scheme();
    let own = |origin: &str| {
        let rest = origin.strip_prefix(scheme).and_then(|rest| rest.strip_prefix("://"));
        rest.is_some_and(|rest| Some(rest) == host)
    };
    let from_here = match (text(headers, header::ORIGIN), headers.get("sec-fetch-site")) {
        (Some(origin), _) => own(origin),
        (None, Some(site)) => site.as_bytes() == b"same-origin",
        // A program that is no browser: no page can make it send anything.
        (None, None) => true,
    };
    if from_here {
        return None;
    }
    Some(Mistake::refused("this did not come from a page of this program", "go to the page itself and do it there"))
}

/// The address from which a request comes: behind a proxy what that says last, as anything before can be made up.
fn comes_from(office: &Office, request: &Request) -> IpAddr {
    let direct = request.extensions().get::<Peer>().map(|Peer(address)| address.ip());
    let said = || {
        let last = request.headers().get_all("x-forwarded-for").iter().next_back()?.to_str().ok()?;
        last.rsplit(',').next()?.trim().parse().ok()
    };
    let forwarded = if office.reached().behind_proxy { said() } else { None };
    forwarded.or(direct).unwrap_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED))
}

async fn visitor(office: &Arc<Office>, headers: &HeaderMap) -> Result<Visitor, Mistake> {
    if !office.wants_accounts() {
        return Ok(Visitor::Here);
    }
    let Some(token) = sign_in::token_of(office, headers) else { return Ok(Visitor::Stranger) };
    let office = Arc::clone(office);
    let asked = tokio::task::spawn_blocking(move || office.store().signed_in(&token, office.now()));
    match asked.await {
        Ok(found) => Ok(found?.map_or(Visitor::Stranger, Visitor::Known)),
        Err(_) => Ok(Visitor::Stranger),
    }
}

/// A request once all of it has arrived, and what it carries.
async fn arrived(office: &Office, request: Request, largest: usize) -> Result<(Request, Bytes), Response> {
    let (parts, body) = request.into_parts();
    let bytes = match tokio::time::timeout(office.limits().body, axum::body::to_bytes(body, largest)).await {
        Ok(Ok(bytes)) => bytes,
        Ok(Err(_)) => return Err(refused_by_server(StatusCode::PAYLOAD_TOO_LARGE).into_response()),
        Err(_) => return Err(refused_by_server(StatusCode::REQUEST_TIMEOUT).into_response()),
    };
    Ok((Request::from_parts(parts, Body::from(bytes.clone())), bytes))
}

/// What a form carries as its proof.
async fn proof(headers: &HeaderMap, bytes: &Bytes) -> Option<String> {
    let kind = headers.get(header::CONTENT_TYPE)?;
    if !kind.to_str().ok()?.to_ascii_lowercase().starts_with("multipart/form-data") {
        return form_urlencoded::parse(bytes).find(|(name, _)| name == TOKEN).map(|(_, value)| value.into_owned());
    }
    let mut form = Request::new(Body::from(bytes.clone()));
    form.headers_mut().insert(header::CONTENT_TYPE, kind.clone());
    // It has been found short enough already.
    DefaultBodyLimit::disable().apply(&mut form);
    // Forms with a file carry it in their first field.
    let mut fields = Multipart::from_request(form, &()).await.ok()?;
    let first = fields.next_field().await.ok()??;
    if first.name() == Some(TOKEN) { first.text().await.ok() } else { None }
}

/// Whether two texts are the same, in a time that does not tell where they differ.
fn same(one: &[u8], other: &[u8]) -> bool {
    one.len() == other.len() && one.iter().zip(other).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}
