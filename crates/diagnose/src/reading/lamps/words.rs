//! The words in which people speak of lamps, in English, German and Spanish.
//! The German and Spanish lists were not reviewed by native speakers.

use std::sync::LazyLock;

use super::names::Class;
use crate::evidence::LampState;
use crate::reading::phrase::Phrases;

/// How a lamp is said to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spoken {
    /// Lit, dark or flickering.
    State(LampState),
    /// Not looked at, not to be seen, not known.
    NotLooked,
}

impl Spoken {
    pub const LIT: Self = Self::State(LampState::Lit);
    pub const DARK: Self = Self::State(LampState::Dark);
    pub const FLICKERS: Self = Self::State(LampState::Flickers);

    /// Lit for dark and dark for lit; the others have no opposite.
    pub fn opposite(self) -> Option<Self> {
        match self {
            Self::LIT => Some(Self::DARK),
            Self::DARK => Some(Self::LIT),
            Self::State(_) | Self::NotLooked => None,
        }
    }

    /// For messages.
    pub fn shown(self) -> &'static str {
        match self {
            Self::State(LampState::Lit) => "on",
            Self::State(LampState::Dark) => "off",
            Self::State(LampState::Flickers) => "flickering",
            Self::NotLooked => "not looked at",
        }
    }
}

/// Which of the lamps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scope {
    /// All of them.
    Everything,
    /// The inputs, the outputs or the controller's own lamps.
    Class(Class),
    /// The rows of this title.
    Title(usize),
    /// The row at this place from the top.
    Row(usize),
    /// The bottom row.
    LastRow,
}

/// What a word does in a sentence about lamps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Word {
    /// How lamps are.
    Say(Spoken),
    /// "steady": lit, unless another word beside it says how.
    Steady,
    Not,
    All,
    None,
    /// "else", "other": with "nothing" or "all" it means the rest.
    Else,
    Rest,
    Except,
    Only,
    Which(Scope),
    /// "lamps", "lights".
    Lamps,
    Of,
    To,
    And,
    Comma,
    /// "all but X3" excepts, "X3 on but X4 off" goes on.
    But,
    Neither,
    Filler,
}

const LIT: Word = Word::Say(Spoken::LIT);
const DARK: Word = Word::Say(Spoken::DARK);
const FLICKERS: Word = Word::Say(Spoken::FLICKERS);
const NOT_LOOKED: Word = Word::Say(Spoken::NotLooked);
const INPUTS: Word = Word::Which(Scope::Class(Class::Input));
const OUTPUTS: Word = Word::Which(Scope::Class(Class::Output));
const STATUS: Word = Word::Which(Scope::Class(Class::Status));

/// Phrases separated by commas, and what they do.
const WORDS: &[(Word, &str)] = &[
    (
        LIT,
        "on, lit, lit up, light up, lights up, lighted, lighting, glow, glows, glowing, burning, burns, bright, shining, shines, illuminated",
    ),
    (LIT, "an, ein, leuchtet, leuchten, leuchtend, brennt, brennen, hell, eingeschaltet, angeschaltet"),
    (
        LIT,
        "encendida, encendido, encendidas, encendidos, prendida, prendido, prendidas, prendidos, iluminada, iluminadas, iluminado, iluminados, enciende, encienden, luce, lucen",
    ),
    (DARK, "off, dark, out, unlit, dead, black, went out, no light, has no light"),
    (DARK, "aus, dunkel, erloschen, ausgeschaltet, kein licht"),
    (DARK, "apagada, apagado, apagadas, apagados, oscura, oscuro, oscuras, oscuros, sin luz"),
    (
        FLICKERS,
        "flicker, flickers, flickering, flickered, blink, blinks, blinking, blinked, flash, flashes, flashing, pulse, pulses, pulsing, pulsating",
    ),
    (
        FLICKERS,
        "comes and goes, come and go, coming and going, goes on and off, go on and off, going on and off, keeps going on and off, on and off all the time, turns on and off",
    ),
    // Nobody has touched the machine, so what changed has come and gone by itself.
    (
        FLICKERS,
        "was lit before and is dark now, was lit and is dark now, was on before and is off now, was on and is off now, was dark before and is lit now, was dark and is lit now, was off before and is on now, was off and is on now, was lit before, was on before, went dark by itself, goes dark by itself, lit up by itself, changed by itself, changes by itself",
    ),
    (
        FLICKERS,
        "war vorher an und ist jetzt aus, war an und ist jetzt aus, war aus und ist jetzt an, ging von selbst aus",
    ),
    (FLICKERS, "estaba encendida y ahora apagada, se apaga sola"),
    (FLICKERS, "blinkt, blinken, blinkend, flackert, flackern, flackernd, geht an und aus, gehen an und aus"),
    (FLICKERS, "parpadea, parpadean, parpadeando, intermitente, intermitentes, destella, destellan, titila, titilan"),
    (
        NOT_LOOKED,
        "unknown, not looked at, not looked, not seen, not checked, not visible, not known, unclear, not clear, not sure, hidden, covered",
    ),
    (
        NOT_LOOKED,
        "cant see, cannot see, can not see, couldnt see, could not see, cant be seen, cannot be seen, cant tell, cannot tell, no idea",
    ),
    (
        NOT_LOOKED,
        "didnt look, did not look, didnt look at, did not look at, dont know, do not know, i dont know, not read, not reported",
    ),
    (
        NOT_LOOKED,
        "unbekannt, nicht gesehen, nicht geschaut, nicht angeschaut, nicht zu sehen, nicht sichtbar, nicht bekannt, weiss nicht, weiss ich nicht, verdeckt",
    ),
    (
        NOT_LOOKED,
        "desconocida, desconocido, desconocidas, desconocidos, no se ve, no se ven, no se sabe, no se, no vista, no visto, no mirada, no mirado, no lo se",
    ),
    (Word::Steady, "steady, steadily, constantly, permanently, solid, dauernd, dauerhaft, standig, fija, fijo"),
    (Word::Not, "not, nicht, no, any longer, no longer, nicht mehr, ya no"),
    (Word::Not, "is not, are not, isnt, arent, was not, wasnt, ist nicht, sind nicht, no esta, no estan"),
    (Word::All, "all, every, everything, each, alle, alles, todas, todos, toda, todo"),
    (
        Word::None,
        "none, nothing, no one, no lamp, no lamps, no led, no leds, no lights, not one, not a single, keine, keiner, keines, nichts, keine lampe, keine lampen, keine led, keine leds",
    ),
    (Word::None, "ninguna, ninguno, nada, ninguna lampara, ninguna luz"),
    (Word::Else, "else, other, others, other ones"),
    (Word::None, "none of the, not one of the"),
    (
        Word::Rest,
        "rest, the rest, all the rest, others, the others, all others, all the others, all other, all the other, all other ones, other ones, the other ones, everything else, all else, remaining, the remaining, all remaining, remainder, the remainder, remaining ones, other lamps, the other lamps, all other lamps",
    ),
    (
        Word::Rest,
        "der rest, den rest, alle anderen, alle andern, die anderen, anderen, alles andere, ubrige, ubrigen, die ubrigen, alle ubrigen, uebrigen, alle uebrigen, sonst alle, sonst alles, restliche, restlichen, alle restlichen",
    ),
    (
        Word::Rest,
        "resto, el resto, todo el resto, los demas, las demas, demas, todo lo demas, lo demas, todas las demas, todos los demas, las otras, los otros, todas las otras, todos los otros",
    ),
    (
        Word::Except,
        "except, except for, excepting, apart from, other than, but for, but not, without, save, bar, excluding, ausser, ohne, bis auf, nur nicht, excepto, menos, salvo, a excepcion de",
    ),
    (Word::Only, "only, just, nur, lediglich, solo, solamente, unicamente"),
    (INPUTS, "input, inputs, eingang, eingange, eingaenge, entrada, entradas"),
    (OUTPUTS, "output, outputs, ausgang, ausgange, ausgaenge, salida, salidas"),
    (STATUS, "status, status lamps, status leds, status lights, statuslampen, status lampen, lamparas de estado"),
    (
        Word::Which(Scope::Row(0)),
        "top row, upper row, first row, row 1, 1st row, oberste reihe, obere reihe, erste reihe, reihe 1, primera fila, fila de arriba, fila 1",
    ),
    (Word::Which(Scope::Row(1)), "second row, row 2, 2nd row, zweite reihe, reihe 2, segunda fila, fila 2"),
    (Word::Which(Scope::Row(2)), "third row, row 3, 3rd row, dritte reihe, reihe 3, tercera fila, fila 3"),
    (Word::Which(Scope::Row(3)), "fourth row, row 4, 4th row, vierte reihe, reihe 4, cuarta fila, fila 4"),
    (
        Word::Which(Scope::LastRow),
        "bottom row, lower row, last row, unterste reihe, untere reihe, letzte reihe, ultima fila, fila de abajo",
    ),
    (
        Word::Lamps,
        "lamp, lamps, light, lights, led, leds, lampe, lampen, licht, lichter, lampara, lamparas, luz, luces",
    ),
    (Word::Of, "of, of the, von den, de las, de los, among, in"),
    (Word::To, "to, through, thru, till, until, up to, bis, hasta, a, al"),
    (Word::And, "and, as well as, plus, und, sowie, y, e, or, nor, oder, noch, ni"),
    (Word::But, "but"),
    (Word::Comma, "then, while, whereas, however, aber, wahrend, pero, mientras"),
    (Word::Neither, "neither, weder"),
    (
        Word::Filler,
        "is, are, am, was, were, be, the, these, those, it, its, that, this, which, with, stays, stay, still, also, now, currently, has, have, shows, showing, show, see, i, we, seems, seem, looks, look, appears, turned, switched, too, both, again, there, here, from, at the moment, right now, as well, completely, all the time, yes, ok, well, um",
    ),
    (
        Word::Filler,
        "ist, sind, der, die, das, den, dem, bleibt, bleiben, auch, noch immer, jetzt, gerade, immer, wieder, von, beide, ich, sehe, ganz",
    ),
    (
        Word::Filler,
        "esta, estan, es, son, la, el, los, las, lo, que, tambien, ahora, sigue, siguen, veo, se, queda, quedan, de, desde, completamente",
    ),
];

static PHRASES: LazyLock<Phrases<Word>> = LazyLock::new(|| {
    let mut phrases = Phrases::default();
    for (word, list) in WORDS {
        for phrase in list.split(", ") {
            // The first meaning of a phrase stands; later lines only add phrases.
            phrases.add(phrase, *word);
        }
    }
    phrases
});

/// All words with what they do.
pub(super) fn phrases() -> &'static Phrases<Word> {
    &PHRASES
}

/// Whether the unit is a word that says nothing by itself and may stand inside a name.
pub(super) fn filler(unit: &str) -> bool {
    matches!(phrases().get([unit]).first(), Some(Word::Filler | Word::Lamps))
}
