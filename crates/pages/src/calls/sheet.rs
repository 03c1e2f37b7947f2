//! The page of a call, from top to bottom: the question, the lamps, what is known, what was said.

use diagnose::call::{Ending, Entry, Kind, Question};
use diagnose::evidence::LampReport;
use diagnose::next::{Announcement, Outcome, Proposal, ToDo};
use machine::model::{Who, Words};
use maud::{Markup, html};
use paper::{Language, said as said_by};
use records::State;
use records::accounts::Role;

use super::say::Refused;
use super::{Desk, closing, known, lamp_panel, said, standing, times};
use crate::visitor;
use crate::words::{LANGUAGES, marked, minutes, percent, share, spoken};

/// Kinds of entries that can be said at any time, and how they are asked for.
const SAYABLE: [(Kind, &str); 15] = [
    (Kind::Complaint, "complaint"),
    (Kind::Did, "what was done before the call"),
    (Kind::Lamps, "lamps"),
    (Kind::Saw, "where things stand"),
    (Kind::Found, "answer to a check"),
    (Kind::Then, "what was done now"),
    (Kind::Again, "lamps once more, nobody did anything"),
    (Kind::Tried, "remedy tried"),
    (Kind::Runs, "whether it runs: yes or no"),
    (Kind::Who, "who is there: operator, technician, electrician"),
    (Kind::Hours, "running hours since it last ran well"),
    (Kind::Recently, "what happened lately"),
    (Kind::AtOnce, "how many things may be wrong at once: 2 to 5"),
    (Kind::Routine, "routine"),
    (Kind::Note, "note"),
];

/// What every form of the page carries.
pub fn carried(desk: &Desk) -> Markup {
    html! {
        (visitor::proof())
        input type="hidden" name="seen" value=(desk.call.row.counter);
        input type="hidden" name="speak" value=(desk.way.speak);
        input type="hidden" name="rates" value=(desk.way.rates);
    }
}

/// The whole page; `again` is what was typed and not taken.
pub fn whole(desk: &Desk, again: Option<&Refused>) -> Markup {
    let row = &desk.call.row;
    let machine = desk.session.machine();
    let open = row.state == State::Open && visitor::may(Role::Desk);
    let opening = desk.session.opening().is_some();
    html! {
        div.heading {
            h1 {
                "Call " (row.id) ": " (machine.name)
                @if !row.serial.is_empty() { " " (row.serial) }
            }
            p.aside {
                @if let Some(id) = row.machine { "machine " a href={ "/machines/" (id) } { (row.serial) } ", " }
                @if !row.site_name.is_empty() { (row.site_name) ", " }
                @if let Some(revision) = &machine.revision { "revision " (revision) ", " }
                (times(&desk.call)) ", machine file "
                a href={ "/types/" (row.machine_type) } { (row.type_name) @if !machine.version.is_empty() { " " (machine.version) } }
            }
            (ways(desk))
            @if !desk.call.entries.is_empty() { (known::brief(&desk.session.now().answer)) }
        }
        @if let Some(again) = again { (refusal(again)) }
        @if row.state == State::Closed { (closing::closed(desk)) }
        div.desk {
            div.left {
                @if open {
                    section.ask id="next" aria-live="polite" {
                        @if opening {
                            (next(desk))
                        } @else {
                            // Worked out while the rest is read already.
                            // The counter makes it another address after each change.
                            @let joint = if desk.way.query().is_empty() { "?" } else { "&" };
                            div data-fetch={ "/calls/" (row.id) "/next" (desk.way.query()) (joint) "seen=" (row.counter) } {
                                p.waiting { "Working out what to ask next …" }
                                noscript { p { a.button href={ "/calls/" (row.id) "/next" (desk.way.query()) } { "Show what to ask next" } } }
                            }
                        }
                    }
                    (lamps(desk))
                    (standing::form(desk))
                }
            }
            div.right {
                section { h2 { "What is known" } (known::known(&desk.session.now().answer)) (known::watched(&desk.session)) }
                (entries(desk, open))
                @if open {
                    section {
                        h2 { "Say more" }
                        form method="post" action={ "/calls/" (row.id) "/say" } {
                            (carried(desk))
                            label for="kind" { "About" }
                            select id="kind" name="kind" { @for (kind, words) in SAYABLE { option value=(kind.word()) selected[kind == Kind::Saw] { (words) } } }
                            label for="text" { "What was said" }
                            input id="text" name="text" autocomplete="off" maxlength="2000";
                            button { "Take it" }
                        }
                    }
                    (closing::form(desk))
                }
                p { a href={ "/calls/" (row.id) "/report" (desk.way.query()) } { "Report to print or to paste" } }
            }
        }
    }
}

fn refusal(again: &Refused) -> Markup {
    html! {
        div.mistake role="alert" id="refused" {
            @if !again.typed.is_empty() { p { "Not taken: \"" strong { (again.typed) } "\"" } }
            @for why in &again.why { p { (marked(why)) } }
        }
    }
}

/// How the call is looked at: the caller's language, and with which rates.
fn ways(desk: &Desk) -> Markup {
    html! {
        form.ways method="get" action={ "/calls/" (desk.call.row.id) } {
            div {
                label for="speak" { "The caller speaks" }
                select id="speak" name="speak" {
                    @for (tag, name) in LANGUAGES { option value=(tag) selected[desk.way.speak == tag] { (name) } }
                }
            }
            div {
                label for="rates" { "Rates" }
                select id="rates" name="rates" {
                    option value="learned" selected[desk.way.learned()] { "learned from findings" }
                    option value="library" selected[!desk.way.learned()] { "of the library" }
                }
            }
            button { "Change" }
        }
    }
}

fn lamps(desk: &Desk) -> Markup {
    let machine = desk.session.machine();
    let now: &[LampReport] = desk.session.now().evidence.moments.last().map_or(&[], |moment| &moment.lamps);
    html! {
        section id="lamps" {
            h2 { "Lamps" }
            form method="post" action={ "/calls/" (desk.call.row.id) "/lamps" } {
                (carried(desk))
                p.aside.script-only { "Tap a lamp: lit, dark, flickers, not seen." }
                div.script-only { (lamp_panel::fields(machine, now)) }
                div.line.script-only {
                    button name="rest_dark" value="yes" { "Take these, all others dark" }
                    button.second name="rest_dark" value="" { "Take only these" }
                }
            }
            form method="post" action={ "/calls/" (desk.call.row.id) "/lamps" } {
                (carried(desk))
                label for="typed" { "or as they are read out" }
                div.line {
                    input id="typed" name="typed" autocomplete="off" placeholder="X3 X5 on, X7 flickers, rest off" maxlength="2000";
                    button { "Take it" }
                }
            }
        }
    }
}

/// What to do next as a page of its own, for who has no scripts.
pub fn next_alone(desk: &Desk) -> Markup {
    html! {
        h1 { (desk.title()) }
        p { a href={ "/calls/" (desk.call.row.id) (desk.way.query()) } { "Back to the call" } }
        (known::brief(&desk.session.now().answer))
        section.ask id="next" {
            @if desk.call.row.state == State::Open && visitor::may(Role::Desk) { (next(desk)) }
            @else { (verdict(desk)) p { "Nothing can be said in this call from here." } }
        }
    }
}

/// The question with what must be said before it, and the answers.
pub fn next(desk: &Desk) -> Markup {
    let session = &desk.session;
    let question = match (session.question(), desk.way.proposal) {
        (Some(Question::Proposal(_)), Some(wanted)) if wanted >= 1 && wanted <= session.advice().proposals.len() => {
            Some(Question::Proposal(wanted - 1))
        }
        (question, _) => question,
    };
    html! {
        @match question {
            Some(Question::Complaint) => { h2 { "What is wrong?" } (complaints(desk)) }
            Some(Question::Did) => { h2 { "What was done last, before it stood still?" } (deeds(desk)) }
            Some(Question::Lamps) => {
                h2 { "Which lamps are lit?" }
                p { "Let the caller read out the controller's lamps; tap or type them below." }
                (leave(desk, "lamps", true))
            }
            Some(Question::Proposal(number)) => {
                (verdict(desk))
                @if let Some(proposal) = session.advice().proposals.get(number) { (ask(desk, proposal)) }
                (others(desk, number))
            }
            None => { (verdict(desk)) p { "There is nothing more to ask from here. Close the call below with what it was." } }
        }
    }
}

fn answer_form(desk: &Desk, key: &str, inside: &Markup) -> Markup {
    html! {
        form method="post" action={ "/calls/" (desk.call.row.id) "/answer" } {
            (carried(desk))
            input type="hidden" name="question" value=(key);
            (inside)
        }
    }
}

fn leave(desk: &Desk, key: &str, can: bool) -> Markup {
    answer_form(
        desk,
        key,
        &html! {
            div.line {
                button.second name="leave" value="unknown" { "Nobody knows" }
                @if can { button.second name="leave" value="cannot" { "Can't do that" } }
            }
        },
    )
}

fn complaints(desk: &Desk) -> Markup {
    let list = ["it won't start", "it stops midway", "it won't finish", "the result is wrong"];
    let inside = html! {
        div.answers { @for (number, words) in list.into_iter().enumerate() { button name="said" value=(number + 1) { (words) } } }
        label for="in-words" { "or in the caller's words, with how often" }
        div.line {
            input id="in-words" name="typed" autocomplete="off" placeholder="stops midway, 1 in 20 cycles" maxlength="500";
            button { "Take it" }
        }
    };
    html! { (answer_form(desk, "complaint", &inside)) (leave(desk, "complaint", false)) }
}

fn deeds(desk: &Desk) -> Markup {
    let session = &desk.session;
    let routine = session.now().evidence.routine.unwrap_or(session.now().leading.0);
    let row = session.machine().routines.get(routine);
    let inside = html! {
        div.answers {
            @if let Some(row) = row { @for (number, action) in row.actions.iter().enumerate() { button name="said" value=(number + 1) { (action.words.english) } } }
        }
        label for="deed" { "or in the caller's words" }
        div.line {
            input id="deed" name="typed" autocomplete="off" placeholder="shut the door, pressed start" maxlength="500";
            button { "Take it" }
        }
    };
    html! { (answer_form(desk, "did", &inside)) (leave(desk, "did", false)) }
}

fn who(who: Who) -> &'static str {
    match who {
        Who::Operator => "the operator",
        Who::Technician => "a technician",
        Who::Electrician => "an electrician",
    }
}

fn ask(desk: &Desk, proposal: &Proposal) -> Markup {
    let session = &desk.session;
    let speak = if desk.way.speak.is_empty() { "en" } else { &desk.way.speak };
    let operator = session.now().terms.caller == Who::Operator;
    let words: &Words = if operator { &proposal.words } else { &proposal.technician };
    let repair = matches!(proposal.to_do, ToDo::Remedy(_) | ToDo::GoOn);
    let inside = html! {
        div.answers {
            @for answer in &proposal.answers {
                button name="said" value=(answer.key) {
                    (answer_words(desk, proposal, answer))
                    small {
                        (percent(answer.probability))
                        @if let Some(first) = answer.tells.first() { ": then " (first.words) ", " (percent(first.probability)) }
                    }
                }
            }
        }
        @if !repair {
            label for="else" { "or as it is said" }
            div.line { input id="else" name="typed" autocomplete="off" maxlength="500"; button { "Take it" } }
        }
    };
    html! {
        h2 { @if repair { "Put it right" } @else { "Ask next" } }
        @if !proposal.cautions.is_empty() || !proposal.movements.is_empty() { (careful(desk, proposal, speak)) }
        (spoken(words, speak))
        @if operator && !proposal.technician.english.is_empty() && proposal.technician.english != proposal.words.english {
            details { summary { "for technicians" } p { (proposal.technician.english) } }
        }
        p.aside {
            (minutes(proposal.minutes)) ", by " (who(proposal.who))
            @if proposal.on_site { ", who has to go there" }
            @if proposal.saved > 0.5 { "; saves about " (minutes(proposal.saved)) }
            "; about " (minutes(session.advice().minutes)) " until it runs."
        }
        (answer_form(desk, &proposal.key, &inside))
        (leave(desk, &proposal.key, true))
    }
}

/// An answer in the caller's language, with the English where that is another.
fn answer_words(desk: &Desk, proposal: &Proposal, answer: &Outcome) -> Markup {
    let Some(language) = caller_language(desk) else { return html! { (answer.words) } };
    let said = said_by::answer(desk.session.machine(), language, &proposal.to_do, &answer.key, &answer.words);
    html! {
        @if said == answer.words { (said) } @else { span lang=(language.tag()) { (said) } small { (answer.words) } }
    }
}

/// The language in which the caller is spoken to, if it is not English.
fn caller_language(desk: &Desk) -> Option<Language> {
    let other = |language: &Language| *language != Language::English && language.tag() == desk.way.speak;
    Language::ALL.into_iter().find(other)
}

fn careful(desk: &Desk, proposal: &Proposal, speak: &str) -> Markup {
    let warned = caller_language(desk).and_then(|language| {
        Some((language, said_by::can_move(desk.session.machine(), language, &proposal.movements)?))
    });
    html! {
        div.caution {
            @for caution in &proposal.cautions { (spoken(&caution.words(), speak)) }
            @if let Some((language, words)) = &warned { p.spoken lang=(language.tag()) { (words) } }
            @match Announcement::of(&proposal.movements) {
                Some(moves @ Announcement::Moves(_)) => p { strong { (moves.with_probabilities()) } },
                Some(other) => p { (other.with_probabilities()) },
                None => {},
            }
        }
    }
}

fn others(desk: &Desk, asked: usize) -> Markup {
    let proposals = &desk.session.advice().proposals;
    let query = desk.way.query();
    let joint = if query.is_empty() { "?" } else { "&" };
    html! {
        @if proposals.len() > 1 {
            details {
                summary { "Something else instead" }
                ul.plain {
                    @for (number, one) in proposals.iter().enumerate().filter(|(number, _)| *number != asked) {
                        li {
                            a data-instead href={ "/calls/" (desk.call.row.id) "/next" (query) (joint) "proposal=" (number + 1) } { (one.words.english) }
                            " (" (minutes(one.minutes)) ", saves " (minutes(one.saved)) ")"
                        }
                    }
                }
            }
        }
    }
}

/// What it was, while the call goes on.
pub fn verdict(desk: &Desk) -> Markup {
    let Some(finding) = desk.session.finding() else { return html! {} };
    let causes = finding.found.iter().map(|one| one.causes.join(", or ")).collect::<Vec<_>>();
    html! {
        p.verdict {
            @match finding.ending {
                Ending::Runs => { strong { "It runs again." } },
                Ending::Sure => { strong { "Sure enough: " (causes.join("; ")) } " " @if let Some(first) = finding.found.first() { (share(first.probability)) } },
                Ending::Two => { strong { (finding.how_many()) " things seem to be wrong at once: " (causes.join("; and ")) } },
                Ending::NothingWrong => { strong { "Nothing seems to be wrong: it waits for you." } },
                Ending::NotInFile => { strong { "Something that is not in this machine file leads." } " The report says what to note for the machine builder." },
                Ending::FitsBadly => {
                    strong { "What was reported fits badly." }
                    @if finding.look_again.is_empty() { " Take the lamps once more." } @else { " Look once more at " (finding.look_again.join(", ")) "." }
                    " Perhaps more than two things are wrong at once: the box for anything else can say so."
                },
                Ending::NeedsVisit => {
                    strong { "Little more can be learned from there: it needs a visit." }
                    @let bring = &desk.session.advice().bring;
                    @if !bring.is_empty() {
                        " Bring "
                        @for (number, part) in bring.iter().enumerate() { @if number > 0 { ", " } (part.part) " (" (percent(part.probability)) ")" }
                        "; enough for one visit with " (percent(desk.session.advice().bring_enough)) "."
                    }
                },
            }
        }
    }
}

/// What was said, in order, each to be corrected or taken out.
fn entries(desk: &Desk, open: bool) -> Markup {
    let said = &desk.call.entries;
    html! {
        section id="said" {
            h2 { "What was said" }
            @if said.is_empty() { p.aside { "Nothing yet." } }
            ol.said { @for (at, entry) in said.iter().enumerate() { li { (one_entry(desk, at, entry, open)) } } }
            @if open && desk.call.can_undo {
                form method="post" action={ "/calls/" (desk.call.row.id) "/change" } {
                    (carried(desk))
                    button.second name="what" value="undo" { "Take the last change back" }
                }
            }
            @if !said.is_empty() { (ruled_out(desk)) }
        }
    }
}

fn one_entry(desk: &Desk, at: usize, entry: &Entry, open: bool) -> Markup {
    html! {
        @if desk.is_left_out(entry) { p.mistake { "This can't be read and is left out: put it right, or take it out." } }
        @if open {
            details {
                summary { (in_words(desk, &desk.call.entries, at)) (author(desk, at)) }
                form method="post" action={ "/calls/" (desk.call.row.id) "/change" } {
                    (carried(desk))
                    input type="hidden" name="at" value=(at);
                    label for={ "entry-" (at) } { "Put it right" }
                    div.line {
                        input id={ "entry-" (at) } name="text" value=(entry.text) maxlength="2000";
                        button name="what" value="replace" { "Change" }
                        button.second name="what" value="remove" { "Take out" }
                    }
                }
            }
        } @else {
            (in_words(desk, &desk.call.entries, at)) (author(desk, at))
        }
    }
}

/// Who said it, where people sign in.
fn author(desk: &Desk, at: usize) -> Markup {
    html! {
        @if let Some(name) = desk.call.authors.get(at).filter(|name| !name.is_empty()) { " " small { "by " (name) } }
    }
}

/// One of these entries as people say it.
pub fn in_words(desk: &Desk, entries: &[Entry], at: usize) -> Markup {
    let words = paper::entry::in_words(desk.session.machine(), Language::English, entries, at);
    html! { @if let Some(entry) = entries.get(at) { span.kind { (said::kind_in_words(entry.kind)) } " " (words) } }
}

fn ruled_out(desk: &Desk) -> Markup {
    html! {
        p { a href={ "/calls/" (desk.call.row.id) "/report" (desk.way.query()) "#ruled-out" } { "What has been ruled out by what" } }
    }
}
