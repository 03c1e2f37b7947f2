//! What was said in a call, in the language of whoever reads it. Entries keep the keys of checks, remedies and questions, so
//! that they mean the same for ever; people read what was asked, answered and done.

use diagnose::call::{Entry, Kind, routine_called, says_it_runs, to_do_called};
use diagnose::evidence::{CheckReport, Complaint, Deed, LampPlace, LampReport, LampState, Naming, PositionReport};
use diagnose::next::{ToDo, asked, deed_words};
use diagnose::reading::{
    read_checks, read_complained, read_deeds, read_events, read_frequency, read_lamps, read_positions, read_remedies,
};
use machine::Machine;
use machine::id::{Id, RoutineId};
use machine::model::{Check, Event, LampKind, Who};

use crate::language::{Label, Language};
use crate::phrase;
use crate::wording::{remedy_words, who};

const HOURS: Label = Label::new(
    "{} running hours since it last ran well",
    "{} Betriebsstunden, seit sie zuletzt gut lief",
    "{} horas de servicio desde que funcionó bien por última vez",
);
const AT_ONCE: Label = Label::new(
    "up to {} things wrong at once are thought of",
    "bis zu {} Dinge zugleich falsch werden bedacht",
    "se piensa en hasta {} cosas mal a la vez",
);
const OFTEN: Label = Label::new("once in {} cycles", "einmal in {} Zyklen", "una vez cada {} ciclos");
const COMES_AND_GOES: Label = Label::new("it comes and goes, {}", "es kommt und geht, {}", "aparece y desaparece, {}");
const RUNS: Label = Label::new("it runs again", "sie läuft wieder", "vuelve a funcionar");
const RUNS_NOT: Label = Label::new("it does not run", "sie läuft nicht", "no funciona");
const LIT: Label = Label::new("{} lit", "{} leuchtet", "{} encendida");
const MANY_LIT: Label = Label::new("{} lit", "{} leuchten", "{} encendidas");
const DARK: Label = Label::new("{} dark", "{} dunkel", "{} apagada");
const MANY_DARK: Label = Label::new("{} dark", "{} dunkel", "{} apagadas");
const FLICKERS: Label = Label::new("{} goes on and off", "{} blinkt", "{} parpadea");
const MANY_FLICKER: Label = Label::new("{} go on and off", "{} blinken", "{} parpadean");
const NOT_LOOKED: Label = Label::new("{} not looked at", "{} nicht angesehen", "{} sin mirar");
const ALL: Label = Label::new("all", "alle", "todas");
const OTHERS: Label = Label::new("all others", "alle anderen", "todas las demás");
const BETWEEN: Label = Label::new("in between", "dazwischen", "entre medio");
const NOTHING_DONE: Label = Label::new("nothing", "nichts", "nada");
const WHAT_IS_WRONG: Label = Label::new("What is wrong?", "Was ist nicht in Ordnung?", "¿Qué es lo que falla?");
const WHAT_WAS_DONE: Label =
    Label::new("What was done last?", "Was wurde zuletzt getan?", "¿Qué fue lo último que se hizo?");
const WHICH_LAMPS: Label =
    Label::new("Which lamps are lit?", "Welche Lampen leuchten?", "¿Qué lámparas están encendidas?");

/// The word for a kind of entry.
#[must_use]
pub fn kind(kind: Kind, language: Language) -> &'static str {
    match kind {
        Kind::Who => Label::new("who", "wer", "quién"),
        Kind::Hours => Label::new("hours", "Stunden", "horas"),
        Kind::AtOnce => Label::new("at once", "gleichzeitig", "a la vez"),
        Kind::Recently => Label::new("recently", "kürzlich", "hace poco"),
        Kind::Complaint => Label::new("complaint", "Störungsbild", "síntoma"),
        Kind::Routine => Label::new("routine", "Ablauf", "rutina"),
        Kind::Did => Label::new("did", "getan", "hecho"),
        Kind::Lamps => Label::new("lamps", "Lampen", "lámparas"),
        Kind::Saw => Label::new("seen", "gesehen", "visto"),
        Kind::Found => Label::new("checked", "geprüft", "comprobado"),
        Kind::Again => Label::new("once more", "noch einmal", "otra vez"),
        Kind::Then => Label::new("then", "danach", "después"),
        Kind::Tried => Label::new("tried", "versucht", "probado"),
        Kind::Runs => Label::new("trial run", "Probelauf", "prueba"),
        Kind::Unknown => Label::new("not known", "nicht bekannt", "no se sabe"),
        Kind::Cannot => Label::new("not possible", "nicht möglich", "imposible"),
        Kind::Note => Label::new("note", "Notiz", "nota"),
    }
    .of(language)
}

/// The entry at this place as people say it: what was asked, what was answered, what was done. Notes, and what can't be
/// understood with this machine file, stand as they were said.
#[must_use]
pub fn in_words(machine: &Machine, language: Language, entries: &[Entry], at: usize) -> String {
    let Some(entry) = entries.get(at) else { return String::new() };
    let telling = Telling { machine, language, routine: routine_of(machine, entries) };
    let lamps_before = entries[..at].iter().any(|one| matches!(one.kind, Kind::Lamps | Kind::Again));
    telling.entry(entry, lamps_before).unwrap_or_else(|| entry.text.clone())
}

/// The routine whose actions are meant: the one that was named, or else the first in which all that was done has its place.
fn routine_of(machine: &Machine, entries: &[Entry]) -> RoutineId {
    let named = entries.iter().rev().find(|one| one.kind == Kind::Routine);
    let named = named.and_then(|one| routine_called(machine, &one.text));
    let placed = |routine: &RoutineId| {
        let deeds = entries.iter().filter(|one| matches!(one.kind, Kind::Did | Kind::Then));
        let read = deeds.flat_map(|one| read_deeds(machine, *routine, &one.text).unwrap_or_default());
        read.filter(|deed| matches!(deed, Deed::Routine(Some(_)))).count()
    };
    let fitting = || {
        // Of those that fit alike the first, as in the evidence.
        let better = |best: (usize, RoutineId), one: (usize, RoutineId)| if one.0 > best.0 { one } else { best };
        machine.routines.ids().map(|routine| (placed(&routine), routine)).reduce(better).map(|(_, routine)| routine)
    };
    named.or_else(fitting).unwrap_or(RoutineId::new(0))
}

struct Telling<'m> {
    machine: &'m Machine,
    language: Language,
    routine: RoutineId,
}

impl Telling<'_> {
    fn entry(&self, entry: &Entry, lamps_before: bool) -> Option<String> {
        let (machine, text) = (self.machine, entry.text.as_str());
        match entry.kind {
            Kind::Who => self.who(text),
            Kind::Hours => Some(HOURS.fill(self.language, &[&self.language.numbers(text)])),
            Kind::AtOnce => Some(AT_ONCE.fill(self.language, &[text])),
            Kind::Recently => {
                let events = read_events(text).ok()?;
                joined(events.into_iter().map(|one| event(one).of(self.language).to_owned()), ", ")
            }
            Kind::Complaint => self.complaint(text),
            Kind::Routine => {
                let row = machine.routines.get(routine_called(machine, text)?)?;
                Some(phrase::words(&row.words, &row.name, self.language).to_owned())
            }
            Kind::Did | Kind::Then => {
                let deeds = read_deeds(machine, self.routine, text).ok()?;
                let words = |deed: &Deed| deed_words(machine, self.routine, deed);
                let told = joined(deeds.iter().map(|one| words(one).in_language(self.language.tag()).to_owned()), ", ");
                Some(told.unwrap_or_else(|| NOTHING_DONE.of(self.language).to_owned()))
            }
            Kind::Lamps | Kind::Again => self.lamps(&read_lamps(machine, text).ok()?, lamps_before),
            Kind::Saw => joined(read_positions(machine, text).ok()?.iter().filter_map(|one| self.position(one)), ", "),
            Kind::Found => joined(read_checks(machine, text).ok()?.iter().filter_map(|one| self.check(one)), "; "),
            Kind::Tried => {
                let remedies = read_remedies(machine, text).ok()?;
                let rows = remedies.iter().filter_map(|id| machine.remedies.get(*id));
                joined(rows.map(|row| remedy_words(machine, row, self.language)), "; ")
            }
            Kind::Runs => {
                let label = if says_it_runs(text)? { RUNS } else { RUNS_NOT };
                Some(label.of(self.language).to_owned())
            }
            Kind::Unknown | Kind::Cannot => self.question(text),
            Kind::Note => None,
        }
    }

    fn who(&self, text: &str) -> Option<String> {
        let all = [("operator", Who::Operator), ("technician", Who::Technician), ("electrician", Who::Electrician)];
        let (_, known) = all.into_iter().find(|(word, _)| word.eq_ignore_ascii_case(text.trim()))?;
        Some(who(known, self.language).to_owned())
    }

    /// What is complained of; behind it what the caller said, where that is not the same in other words.
    fn complaint(&self, text: &str) -> Option<String> {
        let (complaint, once_in) = read_complained(text).ok()?;
        let often = once_in.map(|cycles| OFTEN.fill(self.language, &[&self.language.numbers(&format!("{cycles:.0}"))]));
        let told = match complaint {
            Some(one) => {
                let words = complained(one).of(self.language).to_owned();
                joined(std::iter::once(words).chain(often), ", ")?
            }
            None => COMES_AND_GOES.fill(self.language, &[&often?]),
        };
        // Keys and numbers of answers are no words of the caller.
        let is_key = |part: &str| part.contains('-') && !part.trim().contains(' ');
        let own = !text.split(',').next().is_some_and(is_key) && text != "now and then";
        let quoted = match self.language {
            Language::English => format!("\"{text}\""),
            Language::German => format!("„{text}“"),
            Language::Spanish => format!("«{text}»"),
        };
        let plain = |text: &str| text.to_lowercase().replace(['\'', '’', '.'], "");
        // How often it comes is told already.
        let rest = read_frequency(text).map_or_else(
            || text.to_owned(),
            |(_, place)| {
                format!("{}{}", text.get(..place.start).unwrap_or(text), text.get(place.end..).unwrap_or_default())
            },
        );
        let rest = plain(rest.trim_matches([',', ' ']));
        let words = complaint.map(|one| plain(complained(one).of(self.language))).unwrap_or_default();
        let same = words.ends_with(&rest) || plain(&told).ends_with(&plain(text));
        Some(if own && !same { format!("{told} ({quoted})") } else { told })
    }

    /// Lamps by how they are, those of which nothing was said by name last.
    fn lamps(&self, reports: &[LampReport], lamps_before: bool) -> Option<String> {
        let of = |state: LampState, naming: Option<Naming>| -> Vec<&str> {
            let those = reports.iter().filter(|one| one.state == state && naming.is_none_or(|it| it == one.naming));
            those.map(|one| one.place.label(self.machine)).collect()
        };
        let states = [LampState::Lit, LampState::Dark, LampState::Flickers];
        let rest: Vec<LampState> =
            states.into_iter().filter(|state| !of(*state, Some(Naming::Rest)).is_empty()).collect();
        // Where rows are covered by different words, each lamp is named.
        let covered = if let [state] = rest[..] { Some(state) } else { None };
        let named = covered.map(|_| Naming::Named);
        let mut told: Vec<String> = Vec::new();
        for state in states {
            let labels = of(state, named);
            if !labels.is_empty() {
                told.push(label_of(state, labels.len() > 1).fill(self.language, &[&labels.join(" ")]));
            }
        }
        if let Some(state) = covered {
            let is_read = |place: LampPlace| reports.iter().any(|one| one.place == place);
            let open = LampPlace::all(self.machine).filter(|(place, lamp)| {
                matches!(lamp.kind, LampKind::Input(_) | LampKind::Output(_)) && !is_read(*place)
            });
            let open: Vec<&str> = open.map(|(_, lamp)| lamp.label.as_str()).collect();
            if !open.is_empty() {
                told.push(NOT_LOOKED.fill(self.language, &[&open.join(" ")]));
            }
            let all = if told.is_empty() && !lamps_before { ALL } else { OTHERS };
            told.push(label_of(state, true).fill(self.language, &[all.of(self.language)]));
        }
        joined(told.into_iter(), "; ")
    }

    fn position(&self, report: &PositionReport) -> Option<String> {
        let row = self.machine.mechanisms.get(report.mechanism)?;
        let place = match report.position {
            None => BETWEEN.of(self.language),
            Some(position) => {
                let position = usize::from(position);
                let name = row.positions.get(position)?;
                row.position_words
                    .get(position)
                    .map_or(name.as_str(), |words| phrase::words(words, name, self.language))
            }
        };
        Some(format!("{}: {place}", phrase::words(&row.words, &row.name, self.language)))
    }

    fn check(&self, report: &CheckReport) -> Option<String> {
        let check = self.machine.checks.get(report.check)?;
        let answer = check.answers.get(report.answer)?;
        let asked = self.check_words(check);
        Some(format!("{asked} – {}", phrase::words(&answer.words, &answer.key, self.language)))
    }

    /// What a question's key asks.
    fn question(&self, key: &str) -> Option<String> {
        let own = match key {
            "complaint" => Some(WHAT_IS_WRONG),
            "did" => Some(WHAT_WAS_DONE),
            "lamps" => Some(WHICH_LAMPS),
            _ => None,
        };
        if let Some(label) = own {
            return Some(label.of(self.language).to_owned());
        }
        let to_do = to_do_called(self.machine, key)?;
        match to_do {
            ToDo::Remedy(remedy) => Some(remedy_words(self.machine, self.machine.remedies.get(remedy)?, self.language)),
            ToDo::Check(check) => Some(self.check_words(self.machine.checks.get(check)?).to_owned()),
            _ => Some(asked(self.machine, self.routine, &to_do).in_language(self.language.tag()).to_owned()),
        }
    }

    /// A check as it is put to whoever may do it: an operator is only told to leave the rest alone.
    fn check_words<'c>(&self, check: &'c Check) -> &'c str {
        let words = if check.who == Who::Operator { &check.operator } else { &check.technician };
        phrase::words(words, &check.key, self.language)
    }
}

fn joined(told: impl Iterator<Item = String>, between: &str) -> Option<String> {
    let told: Vec<String> = told.filter(|one| !one.is_empty()).collect();
    (!told.is_empty()).then(|| told.join(between))
}

fn label_of(state: LampState, many: bool) -> Label {
    match (state, many) {
        (LampState::Lit, false) => LIT,
        (LampState::Lit, true) => MANY_LIT,
        (LampState::Dark, false) => DARK,
        (LampState::Dark, true) => MANY_DARK,
        (LampState::Flickers, false) => FLICKERS,
        (LampState::Flickers, true) => MANY_FLICKER,
    }
}

fn complained(complaint: Complaint) -> Label {
    match complaint {
        Complaint::WontStart => Label::new("it won't start", "sie startet nicht", "no arranca"),
        Complaint::StopsMidway => Label::new("it stops midway", "sie bleibt mittendrin stehen", "se para a medias"),
        Complaint::WontFinish => Label::new("it won't finish", "sie kommt nicht zum Ende", "no llega al final"),
        Complaint::WrongResult => {
            Label::new("the result is wrong", "das Ergebnis stimmt nicht", "el resultado es incorrecto")
        }
    }
}

fn event(event: Event) -> Label {
    match event {
        Event::Moved => Label::new("moved", "umgestellt", "trasladada"),
        Event::Cleaned => Label::new("cleaned", "gereinigt", "limpiada"),
        Event::Repaired => Label::new("repaired", "repariert", "reparada"),
        Event::PowerCut => Label::new("power cut", "Stromausfall", "corte de corriente"),
    }
}
