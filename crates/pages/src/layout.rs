//! What every page has: the way to the others, the search, and what comes first.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use machine::caution::Caution;
use maud::{DOCTYPE, Markup, html};
use records::accounts::Role;

use crate::visitor::{self, Visitor};

/// Which part of the pages this is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Here {
    /// The first page.
    Front,
    /// Calls.
    Calls,
    /// Machines.
    Machines,
    /// Machine types.
    Types,
    /// Figures.
    Figures,
    /// Practice.
    Practice,
    /// Lists in and out.
    Lists,
    /// None of these.
    Elsewhere,
}

const PARTS: [(Here, &str, &str); 7] = [
    (Here::Front, "/", "Phone desk"),
    (Here::Calls, "/calls", "Calls"),
    (Here::Machines, "/machines", "Machines"),
    (Here::Types, "/types", "Machine types"),
    (Here::Figures, "/figures", "Figures"),
    (Here::Practice, "/practice", "Practice"),
    (Here::Lists, "/lists", "Lists"),
];

/// A whole page.
pub fn page(title: &str, here: Here, body: &Markup) -> Response {
    let visitor = visitor::now();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Lampwise" }
                link rel="icon" href="/lamp.svg" type="image/svg+xml";
                link rel="stylesheet" href="/look.css";
                script src="/lamps.js" defer {}
            }
            body {
                a.jump href="#content" { "To the content" }
                header.top {
                    @if visitor == Visitor::Stranger { strong { "Lampwise" } } @else { nav aria-label="Pages" {
                        @for (part, address, words) in PARTS {
                            @if part == here {
                                a href=(address) aria-current="page" { (words) }
                            } @else {
                                a href=(address) { (words) }
                            }
                        }
                        @if let Visitor::Known(_) = &visitor {
                            @if visitor.may(Role::Editor) { a href="/accounts" { "Accounts" } }
                        }
                    } }
                    @if visitor != Visitor::Stranger { form.find action="/search" role="search" {
                        label.aside for="find" { "Look for" }
                        input id="find" name="for" type="search" placeholder="serial, site, words …" autocomplete="off";
                        button { "Look" }
                    } }
                    @if let Visitor::Known(who) = &visitor {
                        form.who method="post" action="/sign-out" {
                            (visitor::proof())
                            a href="/password" { (who.name) " (" (who.role.word()) ")" }
                            button.second { "Sign out" }
                        }
                    }
                }
                main id="content" tabindex="-1" { (body) }
                footer { p { (Caution::ManualFirst.english()) } }
            }
        }
    };
    html_of(page)
}

/// A piece of a page, to be put into it by the script.
pub fn piece(body: Markup) -> Response {
    html_of(body)
}

fn html_of(markup: Markup) -> Response {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], markup.into_string()).into_response()
}
