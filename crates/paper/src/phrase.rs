//! Conditions for sheets: in words, in the language of the sheet, and in the short form in which
//! they stand beside a transition.

use diagnose::wording;
use machine::id::{ChartId, StepId};
use machine::model::{ProgramFact, Words};
use machine::{Condition, Machine};

use crate::language::{Label, Language};

const LIT: Label = Label::new("{} lit ({})", "{} leuchtet ({})", "{} encendida ({})");
const DARK: Label = Label::new("{} dark (not: {})", "{} dunkel (nicht: {})", "{} apagada (no: {})");
const ON: Label = Label::new("{} on ({})", "{} ein ({})", "{} conectada ({})");
const OFF: Label = Label::new("{} off (not: {})", "{} aus (nicht: {})", "{} desconectada (no: {})");
const LIGHTS_UP: Label = Label::new("{} lights up ({})", "{} geht an ({})", "{} se enciende ({})");
const GOES_DARK: Label = Label::new("{} goes dark ({})", "{} geht aus ({})", "{} se apaga ({})");
const ACTIVE: Label = Label::new("step {} active", "Schritt {} aktiv", "etapa {} activa");
const NOT_ACTIVE: Label = Label::new("step {} not active", "Schritt {} nicht aktiv", "etapa {} no activa");
const SINCE: Label = Label::new("{} in step {}", "{} in Schritt {}", "{} en la etapa {}");
const LESS: Label = Label::new("less than {} in step {}", "weniger als {} in Schritt {}", "menos de {} en la etapa {}");
const SET: Label = Label::new("\"{}\" set", "„{}“ gesetzt", "«{}» activado");
const NOT_SET: Label = Label::new("\"{}\" not set", "„{}“ nicht gesetzt", "«{}» no activado");
const AT_LEAST: Label = Label::new("{} at least {}", "{} mindestens {}", "{} al menos {}");
const BELOW: Label = Label::new("{} below {}", "{} unter {}", "{} por debajo de {}");
const MOMENT: Label = Label::new("at the moment of: {}", "im Augenblick von: {}", "en el momento de: {}");
const NOT: Label = Label::new("not {}", "nicht {}", "no {}");
const ALWAYS: Label = Label::new("always", "immer", "siempre");
const NEVER: Label = Label::new("never", "nie", "nunca");
const AND: Label = Label::new(" and ", " und ", " y ");
const OR: Label = Label::new(" or ", " oder ", " o ");

/// A text in the language of the sheet; its stand-in where it is empty.
pub fn words<'w>(words: &'w Words, stand_in: &'w str, language: Language) -> &'w str {
    match words.in_language(language.tag()) {
        "" => stand_in,
        text => text,
    }
}

/// A condition in words.
pub fn condition(machine: &Machine, whole: &Condition<ProgramFact>, language: Language) -> String {
    match language {
        Language::English => wording::condition(machine, whole),
        _ => write(machine, whole, true, false, language),
    }
}

fn write(machine: &Machine, whole: &Condition<ProgramFact>, wanted: bool, inside: bool, language: Language) -> String {
    match whole {
        Condition::Always(value) => if *value == wanted { ALWAYS } else { NEVER }.of(language).to_owned(),
        Condition::Fact(one) => fact(machine, *one, wanted, language),
        Condition::Not(inner) => write(machine, inner, !wanted, inside, language),
        Condition::All(list) | Condition::Any(list) => {
            let all = matches!(whole, Condition::All(_)) == wanted;
            let parts: Vec<_> = list.iter().map(|part| write(machine, part, wanted, true, language)).collect();
            let text = parts.join(if all { AND } else { OR }.of(language));
            if inside && list.len() > 1 { format!("({text})") } else { text }
        }
    }
}

fn fact(machine: &Machine, fact: ProgramFact, wanted: bool, language: Language) -> String {
    match fact {
        ProgramFact::Input(input) => {
            let row = &machine.inputs[input];
            let label = if wanted { LIT } else { DARK };
            label.fill(language, &[&row.label, words(&row.words, &row.tag, language)])
        }
        ProgramFact::Output(output) => {
            let row = &machine.outputs[output];
            let name = row.label.as_deref().unwrap_or(&row.tag);
            if wanted { ON } else { OFF }.fill(language, &[name, words(&row.words, &row.tag, language)])
        }
        ProgramFact::Step(step) => if wanted { ACTIVE } else { NOT_ACTIVE }.fill(language, &[&machine.step_name(step)]),
        ProgramFact::StepFor(step, ms) => {
            if wanted { SINCE } else { LESS }.fill(language, &[&language.duration(ms), &machine.step_name(step)])
        }
        ProgramFact::Latch(latch) => {
            let row = &machine.latches[latch];
            if wanted { SET } else { NOT_SET }.fill(language, &[words(&row.words, &row.name, language)])
        }
        ProgramFact::Counted(counter, n) => {
            let row = &machine.counters[counter];
            let label = if wanted { AT_LEAST } else { BELOW };
            label.fill(language, &[words(&row.words, &row.name, language), &n.to_string()])
        }
        ProgramFact::Rises(edge) | ProgramFact::Falls(edge) => {
            let rising = matches!(fact, ProgramFact::Rises(_));
            let text = match &machine.edges[edge] {
                Condition::Fact(ProgramFact::Input(input)) => {
                    let row = &machine.inputs[*input];
                    let label = if rising { LIGHTS_UP } else { GOES_DARK };
                    label.fill(language, &[&row.label, words(&row.words, &row.tag, language)])
                }
                other => MOMENT.fill(language, &[&write(machine, other, rising, true, language)]),
            };
            if wanted { text } else { NOT.fill(language, &[&text]) }
        }
    }
}

/// A condition in short, as it stands beside a transition: `X3 · /X5`, `3 s/fill`, `↑X0 + ctr ≥ 4`.
/// Steps of this chart go without its name.
pub fn short(machine: &Machine, whole: &Condition<ProgramFact>, chart: ChartId, language: Language) -> String {
    write_short(machine, whole, (chart, language), false)
}

fn write_short(machine: &Machine, whole: &Condition<ProgramFact>, within: (ChartId, Language), inside: bool) -> String {
    match whole {
        Condition::Always(value) => if *value { "1" } else { "0" }.to_owned(),
        Condition::Fact(one) => short_fact(machine, *one, within),
        Condition::Not(inner) => match &**inner {
            Condition::Fact(ProgramFact::Counted(counter, n)) => {
                format!("{} < {n}", machine.counters[*counter].name)
            }
            Condition::Fact(one) => format!("/{}", short_fact(machine, *one, within)),
            other => format!("/({})", write_short(machine, other, within, false)),
        },
        Condition::All(list) | Condition::Any(list) => {
            let all = matches!(whole, Condition::All(_));
            let parts: Vec<_> = list.iter().map(|part| write_short(machine, part, within, true)).collect();
            let text = parts.join(if all { " · " } else { " + " });
            if inside && list.len() > 1 { format!("({text})") } else { text }
        }
    }
}

fn short_fact(machine: &Machine, fact: ProgramFact, within: (ChartId, Language)) -> String {
    let (chart, language) = within;
    let step_name = |step: StepId| {
        if machine.chart_of(step) == chart { machine.steps[step].name.clone() } else { machine.step_name(step) }
    };
    match fact {
        ProgramFact::Input(input) => machine.inputs[input].label.clone(),
        ProgramFact::Output(output) => {
            let row = &machine.outputs[output];
            row.label.clone().unwrap_or_else(|| row.tag.clone())
        }
        ProgramFact::Step(step) => format!("[{}]", step_name(step)),
        ProgramFact::StepFor(step, ms) => {
            format!("{}/{}", language.duration(ms), step_name(step))
        }
        ProgramFact::Latch(latch) => machine.latches[latch].name.clone(),
        ProgramFact::Counted(counter, n) => format!("{} ≥ {n}", machine.counters[counter].name),
        ProgramFact::Rises(edge) => format!("↑{}", write_short(machine, &machine.edges[edge], within, true)),
        ProgramFact::Falls(edge) => format!("↓{}", write_short(machine, &machine.edges[edge], within, true)),
    }
}
