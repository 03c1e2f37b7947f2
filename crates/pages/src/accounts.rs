//! The list of accounts, for editors. It is changed with the command alone, by whoever keeps the file.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::calls::work;
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::words::{day, moment};

/// All accounts.
pub async fn list(State(office): State<Arc<Office>>) -> Result<Response, Mistake> {
    work(move || {
        let accounts = office.store().accounts()?;
        let body = html! {
            h1 { "Accounts" }
            @if !office.wants_accounts() { p { "Nobody has to sign in here: these pages are reached from this computer alone." } }
            @if accounts.is_empty() {
                p { "There is none yet." }
            } @else {
                div.wide tabindex="0" {
                    table {
                        thead { tr { th scope="col" { "Name" } th scope="col" { "May" } th scope="col" { "Since" } th scope="col" { "Changed" } th scope="col" { "Seen last" } } }
                        tbody { @for one in &accounts { tr {
                            td { (one.name) }
                            td { (one.role.word()) }
                            td { (day(one.added)) }
                            td { (day(one.changed)) }
                            td { @if let Some(used) = one.used { (moment(used)) } @else { "–" } }
                        } } }
                    }
                }
            }
            p.aside { "Reader: reads everything. Desk: works calls, procedures, practice, and the notes of machines. Editor: also machines, machine types, lists, and this page." }
            p.aside { "Accounts are added, changed and removed with " code { "lampwise accounts" } " at the computer on which the records are." }
        };
        Ok(layout::page("Accounts", Here::Elsewhere, &body))
    })
    .await
}
