//! Answers that take long to be made. Whoever waits for one is shown a page that says so and loads itself anew; that
//! begins nothing anew, but takes the answer up where it is being made.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::html;
use tokio::sync::Notify;

use crate::layout::{self, Here};
use crate::visitor::Visitor;

/// Answers that are kept in mind while they are made, or until they are fetched; the oldest go first.
const MOST: usize = 64;
/// After so many seconds the page that says so loads itself anew.
const ANEW: &str = "2";

/// So long an answer that was made waits to be fetched; later it may not be true any more.
const FETCHED_WITHIN: Duration = Duration::from_secs(30);

/// An answer that is being made, and then waits.
#[derive(Default)]
struct Slot {
    made: Mutex<Option<(Response, Instant)>>,
    is_made: Notify,
}

struct One {
    visitor: Visitor,
    address: String,
    slot: Arc<Slot>,
}

/// All of them.
#[derive(Default)]
pub struct Pending {
    answers: Mutex<VecDeque<One>>,
}

fn lock<T>(what: &Mutex<T>) -> MutexGuard<'_, T> {
    // Whole at any moment, also if somebody panicked while holding it.
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Slot {
    fn is_old(&self) -> bool {
        lock(&self.made).as_ref().is_some_and(|(_, at)| at.elapsed() > FETCHED_WITHIN)
    }

    /// The answer, once it is made. Of several who wait one gets it, and the others wait on.
    async fn taken(&self) -> Response {
        loop {
            let mut made = std::pin::pin!(self.is_made.notified());
            // From here on no word is missed.
            made.as_mut().enable();
            if let Some((response, _)) = lock(&self.made).take() {
                return response;
            }
            made.await;
        }
    }
}

/// Whether a page that says that it takes long can be shown: to somebody who looks at a page, or to the script of ours
/// that fetches a piece of one. Pictures and programs wait.
pub fn can_wait(headers: &HeaderMap, query: Option<&str>) -> bool {
    let wanted = headers.get("sec-fetch-dest").map(HeaderValue::as_bytes);
    let is_piece = query.is_some_and(|query| query.split('&').any(|part| part == "piece=yes"));
    matches!(wanted, Some(b"document" | b"iframe" | b"frame")) || (wanted == Some(b"empty") && is_piece)
}

/// Somebody who waits. An answer is kept for later only for those who were told to come again; whoever goes away before
/// that would else be shown, when they come back, what was true then.
struct Waiting<'p> {
    pending: &'p Pending,
    slot: Arc<Slot>,
    comes_again: bool,
}

impl Drop for Waiting<'_> {
    fn drop(&mut self) {
        if !self.comes_again {
            lock(&self.pending.answers).retain(|one| !Arc::ptr_eq(&one.slot, &self.slot));
        }
    }
}

impl Pending {
    /// The answer, if it comes in time; else the page that says that it is being made. `make` makes it, if nobody does
    /// so yet.
    pub async fn answer(
        &self,
        visitor: &Visitor,
        address: String,
        patience: Duration,
        make: impl Future<Output = Response> + Send + 'static,
    ) -> Response {
        let mut waiting = Waiting { pending: self, slot: self.slot(visitor, &address, make), comes_again: false };
        let Ok(made) = tokio::time::timeout(patience, waiting.slot.taken()).await else {
            waiting.comes_again = true;
            return still();
        };
        made
    }

    /// Forgets what is being made of the page at which something was changed, and of those below it: it may not be true
    /// any more.
    pub fn forget(&self, changed: &str) {
        let mut parts = changed.split('/').skip(1);
        let about = match (parts.next(), parts.next()) {
            (Some(kind), Some(one)) => format!("/{kind}/{one}"),
            _ => changed.to_owned(),
        };
        let is_about = |address: &str| {
            address.strip_prefix(&about).is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '?']))
        };
        lock(&self.answers).retain(|one| !is_about(&one.address));
    }

    /// Where the answer is, or will be.
    fn slot(
        &self,
        visitor: &Visitor,
        address: &str,
        make: impl Future<Output = Response> + Send + 'static,
    ) -> Arc<Slot> {
        let mut answers = lock(&self.answers);
        answers.retain(|one| !one.slot.is_old());
        if let Some(known) = answers.iter().find(|one| one.visitor == *visitor && one.address == address) {
            return Arc::clone(&known.slot);
        }
        if answers.len() >= MOST {
            answers.pop_front();
        }
        let slot = Arc::new(Slot::default());
        let made = Arc::clone(&slot);
        // By itself: whoever asked for it may be gone before it is made.
        let task = tokio::spawn(make);
        tokio::spawn(async move {
            let response = task.await.unwrap_or_else(|_| StatusCode::INTERNAL_SERVER_ERROR.into_response());
            *lock(&made.made) = Some((response, Instant::now()));
            made.is_made.notify_waiters();
        });
        answers.push_back(One { visitor: visitor.clone(), address: address.to_owned(), slot: Arc::clone(&slot) });
        slot
    }
}

fn still() -> Response {
    let body = html! {
        h1 { "This takes longer than usual" }
        p { "It is being worked out, as this machine or these figures are asked for the first time. The page loads itself anew until it is there; other pages are not kept waiting." }
        p { a.button href="" { "Look now" } }
    };
    let page = layout::page("This takes longer", Here::Elsewhere, &body);
    (StatusCode::ACCEPTED, [(header::REFRESH, HeaderValue::from_static(ANEW))], page).into_response()
}
