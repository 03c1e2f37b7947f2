//! Signing in and out, and the own password. What is answered to a wrong name and to a wrong password is the same, and
//! takes the same time.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::{Extension, Form};
use jiff::SignedDuration;
use maud::{Markup, html};
use records::accounts::{LONGEST_PASSWORD, NewPassword, SHORTEST_PASSWORD, Token};
use serde::Deserialize;

use crate::calls::work;
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor::{self, Visitor};

/// The address from which a request comes, as far as it can be told.
#[derive(Clone, Copy, Debug)]
pub struct From(pub IpAddr);

/// Name of the cookie where what goes over the network is encrypted. Browsers take a name that begins so only with
/// `Secure`, for this host alone and from it (RFC 6265bis, 4.1.3.2; from memory).
const SECURE_COOKIE: &str = "__Host-lampwise";
/// Name of the cookie on the loopback interface, which no network sees; not every browser takes `Secure` there.
const PLAIN_COOKIE: &str = "lampwise";

fn cookie_name(office: &Office) -> &'static str {
    if office.reached().is_encrypted() { SECURE_COOKIE } else { PLAIN_COOKIE }
}

fn cookie(office: &Office, value: &str, rest: &str) -> Option<HeaderValue> {
    let secure = if office.reached().is_encrypted() { "; Secure" } else { "" };
    let name = cookie_name(office);
    HeaderValue::from_str(&format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{secure}{rest}")).ok()
}

/// The token that a browser sends along.
pub fn token_of(office: &Office, headers: &HeaderMap) -> Option<String> {
    let name = cookie_name(office);
    let pairs = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = pairs.flat_map(|value| value.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(known, _)| *known == name).map(|(_, value)| value.to_owned())
}

/// Where to go on once signed in: only to a page of this program.
fn onward(typed: &str) -> &str {
    let is_own = typed.starts_with('/') && !typed.starts_with("//");
    let is_plain = typed.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if is_own && is_plain && !typed.starts_with("/sign-") { typed } else { "/" }
}

/// Leads a stranger to where one signs in, and from there to where they wanted to go.
pub fn lead_there(wanted: &str) -> Response {
    let wanted: String = form_urlencoded::byte_serialize(onward(wanted).as_bytes()).collect();
    Redirect::to(&format!("/sign-in?then={wanted}")).into_response()
}

/// Where somebody wanted to go.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    then: String,
}

fn form(then: &str, name: &str, why: Option<&str>) -> Markup {
    html! {
        h1 { "Sign in" }
        @if let Some(why) = why { p.mistake role="alert" { (why) } }
        form.narrow method="post" action="/sign-in" {
            input type="hidden" name="then" value=(onward(then));
            label for="name" { "Name" }
            input id="name" name="name" required maxlength="200" autocomplete="username" autocapitalize="none" spellcheck="false" value=(name) autofocus[name.is_empty()];
            label for="password" { "Password" }
            input id="password" name="password" type="password" required maxlength=(LONGEST_PASSWORD) autocomplete="current-password" autofocus[!name.is_empty()];
            p { button { "Sign in" } }
        }
        p.aside { "Whoever keeps this program can give you an account, or a new password: " code { "lampwise accounts" } "." }
    }
}

/// The page on which one signs in.
pub async fn page(Query(wanted): Query<Wanted>) -> Response {
    layout::page("Sign in", Here::Elsewhere, &form(&wanted.then, "", None))
}

/// A name and a password as typed.
#[derive(Deserialize)]
pub struct Typed {
    #[serde(default)]
    then: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    password: String,
}

fn again(status: StatusCode, typed: &Typed, why: &str) -> Response {
    let page = layout::page("Sign in", Here::Elsewhere, &form(&typed.then, typed.name.trim(), Some(why)));
    (status, page).into_response()
}

fn waiting(wait: SignedDuration) -> (String, i64) {
    let seconds = wait.as_secs().saturating_add(1);
    let time =
        if seconds < 90 { format!("{seconds} seconds") } else { format!("{} minutes", seconds.div_euclid(60) + 1) };
    (format!("That was tried too often. Wait {time}, then try once more."), seconds)
}

fn with_token(office: &Office, token: &Token, mut response: Response) -> Response {
    if let Some(cookie) = cookie(office, token.letters(), "") {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    response
}

/// Tries a password on an account.
///
/// # Errors
/// With the page that says why not.
fn open(office: &Office, typed: &Typed, from: IpAddr) -> Result<Result<Token, Response>, Mistake> {
    if let Err(wait) = office.attempts().begin(&typed.name, from, office.now()) {
        let (why, seconds) = waiting(wait);
        let mut response = again(StatusCode::TOO_MANY_REQUESTS, typed, &why);
        if let Ok(seconds) = HeaderValue::from_str(&seconds.to_string()) {
            response.headers_mut().insert(header::RETRY_AFTER, seconds);
        }
        return Ok(Err(response));
    }
    let lock = office.store().lock_of(&typed.name)?;
    let Some(_turn) = office.hashing() else {
        let why = "Too many are signing in at this moment. Wait a little, then try once more.";
        return Ok(Err(again(StatusCode::SERVICE_UNAVAILABLE, typed, why)));
    };
    let Some(opened) = lock.open(&typed.password) else {
        return Ok(Err(again(StatusCode::UNAUTHORIZED, typed, "Name and password do not fit together.")));
    };
    office.attempts().succeeded(&typed.name, from);
    let token = office.store().sign_in(&opened, office.now())?;
    Ok(Ok(token))
}

/// Signs somebody in.
pub async fn sign_in(
    State(office): State<Arc<Office>>,
    Extension(From(from)): Extension<From>,
    headers: HeaderMap,
    Form(typed): Form<Typed>,
) -> Result<Response, Mistake> {
    work(move || {
        if !office.wants_accounts() {
            return Ok(Redirect::to("/").into_response());
        }
        let token = match open(&office, &typed, from)? {
            Ok(token) => token,
            Err(refused) => return Ok(refused),
        };
        // Whoever was signed in with this browser before is not any more.
        if let Some(before) = token_of(&office, &headers) {
            office.store().sign_out(&before)?;
        }
        Ok(with_token(&office, &token, Redirect::to(onward(&typed.then)).into_response()))
    })
    .await
}

/// Signs somebody out.
pub async fn sign_out(State(office): State<Arc<Office>>, headers: HeaderMap) -> Result<Response, Mistake> {
    work(move || {
        if let Some(token) = token_of(&office, &headers) {
            office.store().sign_out(&token)?;
        }
        let mut response = Redirect::to(if office.wants_accounts() { "/sign-in" } else { "/" }).into_response();
        if let Some(cookie) = cookie(&office, "", "; Max-Age=0") {
            response.headers_mut().insert(header::SET_COOKIE, cookie);
        }
        Ok(response)
    })
    .await
}

fn password_form(why: Option<&str>) -> Markup {
    html! {
        h1 { "Your password" }
        @if let Some(why) = why { p.mistake role="alert" { (why) } }
        @if let Visitor::Known(who) = visitor::now() {
            p { "You are signed in as " strong { (who.name) } " (" (who.role.word()) "). With a new password you are signed out everywhere else." }
            form.narrow method="post" action="/password" {
                (visitor::proof())
                label for="password" { "The password until now" }
                input id="password" name="password" type="password" required maxlength=(LONGEST_PASSWORD) autocomplete="current-password";
                label for="new" { "The new one, of at least " (SHORTEST_PASSWORD) " letters" }
                input id="new" name="new" type="password" required maxlength=(LONGEST_PASSWORD) autocomplete="new-password";
                label for="once-more" { "The new one once more" }
                input id="once-more" name="once_more" type="password" required maxlength=(LONGEST_PASSWORD) autocomplete="new-password";
                p { button { "Change it" } }
            }
        } @else {
            p { "Nobody has to sign in here." }
        }
    }
}

/// The page on which one changes one's password.
pub async fn password_page() -> Response {
    layout::page("Your password", Here::Elsewhere, &password_form(None))
}

/// The password until now, and a new one twice.
#[derive(Deserialize)]
pub struct Changed {
    #[serde(default)]
    password: String,
    #[serde(default)]
    new: String,
    #[serde(default)]
    once_more: String,
}

/// Changes one's own password.
pub async fn change_password(
    State(office): State<Arc<Office>>,
    Extension(From(from)): Extension<From>,
    Form(changed): Form<Changed>,
) -> Result<Response, Mistake> {
    work(move || {
        let Visitor::Known(who) = visitor::now() else { return Ok(Redirect::to("/").into_response()) };
        let refused = |why: &str| {
            let page = layout::page("Your password", Here::Elsewhere, &password_form(Some(why)));
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        };
        if changed.new != changed.once_more {
            return refused("The new password is not the same both times.");
        }
        // A stolen sign-in is no way to guess the password.
        if let Err(wait) = office.attempts().begin(&who.name, from, office.now()) {
            return refused(&waiting(wait).0);
        }
        let lock = office.store().lock_of(&who.name)?;
        let Some(turn) = office.hashing() else { return refused("Too many are signing in at this moment.") };
        if lock.open(&changed.password).is_none() {
            return refused("The password until now is another one.");
        }
        office.attempts().succeeded(&who.name, from);
        let new = match NewPassword::of(&who.name, &changed.new) {
            Ok(new) => new,
            Err(error) => {
                return refused(&format!("The new password can't be taken: {}; {}.", error.cause, error.hint));
            }
        };
        office.store().change_account(&who.name, None, Some(&new), office.now())?;
        let opened = office.store().lock_of(&who.name)?.open(&changed.new);
        drop(turn);
        let Some(opened) = opened else { return Ok(Redirect::to("/sign-in").into_response()) };
        let token = office.store().sign_in(&opened, office.now())?;
        Ok(with_token(&office, &token, Redirect::to("/").into_response()))
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_goes_on_only_to_a_page_of_this_program() {
        for good in ["/", "/calls/1?speak=de", "/search?for=a%20b"] {
            assert_eq!(onward(good), good);
        }
        for bad in [
            "",
            "//elsewhere.example",
            "https://elsewhere.example",
            "/\\elsewhere.example",
            "calls",
            "/a b",
            "/\r\nX: y",
            "/sign-in",
            "/sign-out",
            "/ä",
        ] {
            assert_eq!(onward(bad), "/", "{bad}");
        }
    }
}
