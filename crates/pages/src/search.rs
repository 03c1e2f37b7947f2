//! Looking for words in everything that is recorded.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::Response;
use maud::html;
use records::About;
use serde::Deserialize;

use crate::calls::work;
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;

/// Hits that are shown.
const HITS: usize = 50;

/// What is looked for.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default, rename = "for")]
    words: String,
}

/// What has all these words.
pub async fn page(State(office): State<Arc<Office>>, Query(wanted): Query<Wanted>) -> Result<Response, Mistake> {
    work(move || {
        let hits = office.store().search(&wanted.words, HITS)?;
        let body = html! {
            h1 { "Found for \"" (wanted.words) "\"" }
            @if hits.is_empty() { p { "Nothing has all of these words. Fewer words, or shorter ones, find more." } }
            ul.plain {
                @for hit in &hits {
                    @let (what, address) = match hit.about {
                        About::Type(id) => ("machine type", format!("/types/{id}")),
                        About::Site(id) => ("site", format!("/machines?site={id}")),
                        About::Machine(id) => ("machine", format!("/machines/{id}")),
                        About::Call(id) => ("call", format!("/calls/{id}")),
                        About::Finding(id) => ("finding", format!("/calls/{id}")),
                    };
                    li {
                        span.kind { (what) } " " a href=(address) { (hit.title) }
                        br;
                        small { @for piece in &hit.around { @if piece.found { mark { (piece.text) } } @else { (piece.text) } } }
                    }
                }
            }
        };
        Ok(layout::page("Found", Here::Elsewhere, &body))
    })
    .await
}
