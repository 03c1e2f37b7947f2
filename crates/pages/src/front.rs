//! The first page: the phone has rung.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use records::accounts::Role;
use records::{CallFilter, MachineType, Page, State as CallState};

use crate::calls::{self, work};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor;

/// Open calls that are shown.
const OPEN: usize = 20;

/// The page.
pub async fn page(State(office): State<Arc<Office>>) -> Result<Response, Mistake> {
    work(move || {
        let store = office.store();
        let types = store.machine_types()?;
        let open =
            store.calls(&CallFilter { state: Some(CallState::Open), ..CallFilter::default() }, &Page::first(OPEN))?;
        let body = html! {
            h1 { "The phone has rung" }
            @if visitor::may(Role::Desk) { (begin(&types)) }
            h2 { "Open calls" }
            (calls::table(&open.rows, calls::Columns::Open))
        };
        Ok(layout::page("Phone desk", Here::Front, &body))
    })
    .await
}

/// The three ways in which a call begins.
fn begin(types: &[MachineType]) -> Markup {
    html! {
            div.desk {
                section {
                    h2 { "A machine in the records" }
                    form method="post" action="/calls" { (visitor::proof())
                        label for="serial" { "Serial number, from the plate" }
                        div.line {
                            input id="serial" name="serial" required maxlength="100" autocomplete="off" autocapitalize="characters" spellcheck="false" autofocus;
                            button { "Begin the call" }
                        }
                        details {
                            summary { "How long a visit takes" }
                            label for="visit-there" { "Minutes until somebody can be there who may do everything; if nothing is said, as the machine file says, else 180" }
                            input id="visit-there" name="visit" inputmode="numeric" maxlength="6" autocomplete="off";
                        }
                    }
                }
                section {
                    h2 { "Another machine" }
                    @if types.is_empty() {
                        p { "There is no machine type yet. " code { "lampwise records" } " takes a machine file in." }
                    } @else {
                        form method="post" action="/calls" { (visitor::proof())
                            label for="type" { "Type" }
                            select id="type" name="machine_type" { @for one in types { option value=(one.name) { (one.title) " (" (one.name) ")" } } }
                            label for="number" { "Serial number, if it is known: it tells the revision" }
                            div.line {
                                input id="number" name="serial" maxlength="100" autocomplete="off";
                                button { "Begin the call" }
                            }
                            details {
                                summary { "More that is known of it" }
                                label for="revision" { "Revision, if the serial number does not tell it" }
                                input id="revision" name="revision" maxlength="100" autocomplete="off";
                                label for="settings" { "Its own settings, one a line: fill_time=T#3s" }
                                textarea id="settings" name="settings" rows="2" maxlength="4000" {}
                                label for="visit" { "Minutes until somebody can be there who may do everything; if nothing is said, as the machine file says, else 180" }
                                input id="visit" name="visit" inputmode="numeric" maxlength="6" autocomplete="off";
                            }
                        }
                    }
                }
            }
            section {
                h2 { "A code from an offline guide" }
                form method="post" action="/calls" { (visitor::proof())
                    label for="code" { "As it is read aloud, group by group" }
                    div.line {
                        input id="code" name="code" required maxlength="400" autocomplete="off" spellcheck="false";
                        button { "Go on from it" }
                    }
                }
            }
    }
}
