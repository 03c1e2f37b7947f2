//! Sheets as one page for the browser: a single file that needs nothing else, good to read on a screen
//! and to print.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::document::{Block, Card, Sheet, Span, Style, Table};
use crate::head::Head;

const LOOK: &str = include_str!("look.css");

/// The page. With several sheets it begins with the contents.
#[must_use]
pub fn html(head: &Head, sheets: &[Sheet]) -> String {
    let title = match sheets {
        [one] => format!("{}: {}", head.machine, one.title),
        _ => format!("{}: {}", head.machine, head.binder),
    };
    let page = html! {
        (DOCTYPE)
        html lang=(head.language) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(LOOK)) }
            }
            body {
                header {
                    p.machine { (head.machine) }
                    @if !head.about.is_empty() { p { (head.about) } }
                    p { (head.file) }
                    p.caution { (head.safety) }
                }
                @if sheets.len() > 1 {
                    nav {
                        h2 { (head.contents) }
                        ol { @for sheet in sheets { li { a href={ "#sheet-" (sheet.name) } { (sheet.title) } } } }
                    }
                }
                main { @for sheet in sheets { (section(sheet)) } }
                footer { p { strong { (head.safety) } } p { (head.file) } }
            }
        }
    };
    page.into_string()
}

fn section(sheet: &Sheet) -> Markup {
    html! {
        section id={ "sheet-" (sheet.name) } {
            h1 { (sheet.title) }
            @if !sheet.about.is_empty() { p.about { (sheet.about) } }
            @for one in &sheet.blocks { (block(one)) }
        }
    }
}

fn block(one: &Block) -> Markup {
    match one {
        Block::Heading(text) => html! { h2 { (text) } },
        Block::Text(list) => html! { p { (spans(list)) } },
        Block::Caution(texts) => caution(texts),
        Block::Table(rows) => table(rows),
        // Made here, with every text escaped.
        Block::Drawing(drawing) => html! { figure { (PreEscaped(drawing.svg())) } },
        Block::Card(step) => card(step),
        Block::Beside(lists) => html! {
            div.beside { @for list in lists { div { @for one in list { (block(one)) } } } }
        },
        Block::NewPage => html! {},
    }
}

fn caution(texts: &[String]) -> Markup {
    html! { div.caution { @for text in texts { p { "! " (text) } } } }
}

fn table(table: &Table) -> Markup {
    html! {
        div.wide {
            table.small[table.small] {
                thead { tr { @for column in &table.columns { th.centred[column.centred] scope="col" { (column.head) } } } }
                tbody {
                    @for row in &table.rows {
                        tr {
                            @for (cell, column) in row.iter().zip(&table.columns) {
                                td.centred[column.centred] { (spans(cell)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn card(card: &Card) -> Markup {
    html! {
        article id=[card.mark.as_ref()] {
            @if !card.cautions.is_empty() { (caution(&card.cautions)) }
            p {
                strong { (card.number) } " " (spans(&card.words))
                @if !card.remark.is_empty() { span.faint { " (" (card.remark) ")" } }
            }
            @if !card.answers.is_empty() {
                dl {
                    @for answer in &card.answers {
                        dt { (spans(&answer.words)) }
                        dd {
                            "→ " (spans(&answer.then))
                            @if !answer.in_turn.is_empty() { ol { @for one in &answer.in_turn { li { (spans(one)) } } } }
                        }
                    }
                }
            }
        }
    }
}

fn spans(list: &[Span]) -> Markup {
    html! {
        @for one in list {
            @match one.style {
                Style::Plain => { (one.text) },
                Style::Strong => { strong { (one.text) } },
                Style::Faint => { span.faint { (one.text) } },
                Style::Tick => { span.tick {} },
                Style::Blank => { span.blank {} },
                Style::Reference => { a href={ "#" (one.to.as_deref().unwrap_or_default()) } { (one.text) } },
            }
        }
    }
}
