//! The guide's own texts, and texts about the machine, in all languages. The German and Spanish ones were not
//! reviewed by native speakers.

use machine::Alternative;
use machine::caution::Caution;
use machine::model::Words;
use serde_json::{Value, json};

use crate::language::{Label, Language};

/// A text in all languages; one alone where they are the same.
pub fn of(text: impl Fn(Language) -> String) -> Value {
    let all = Language::ALL.map(text);
    if all.iter().all(|one| *one == all[0]) { json!(all[0]) } else { json!(all) }
}

/// A text of the machine file or the library; its stand-in where it is empty.
pub fn text(words: &Words, stand_in: &str) -> Value {
    of(|language| crate::phrase::words(words, stand_in, language).to_owned())
}

/// A caution.
pub fn caution(one: Caution) -> Value {
    of(|language| crate::wording::caution(one, language))
}

/// What a cause is called: in English as an answer says it, else from its likeliest deviations.
pub fn cause(alternatives: &[Alternative], english: &str, members: &[String]) -> Value {
    of(|language| {
        if language == Language::English {
            return english.to_owned();
        }
        let named = members.iter().filter_map(|key| crate::wording::deviation_words(alternatives, key, language));
        match crate::wording::of_members(named) {
            none if none.is_empty() => english.to_owned(),
            named => named,
        }
    })
}

/// What the sheets say, too, in their words: by its name, and what it is in English.
const SHARED: [(&str, &str); 4] =
    [("lit", "lit"), ("dark", "dark"), ("between", "in between"), ("notInFile", "something that is not in this file")];
/// The same on a button.
const ON_BUTTONS: [(&str, &str); 2] = [("runs", "it runs"), ("still", "as before")];

fn shared() -> impl Iterator<Item = (String, Value)> {
    let said =
        |english: &str, language| crate::said::common(english).map_or(english, |label| label.of(language)).to_owned();
    let plain = SHARED.iter().map(move |(key, english)| ((*key).to_owned(), of(|language| said(english, language))));
    let buttons = ON_BUTTONS.iter().map(move |(key, english)| {
        let capital = |text: String| {
            let mut letters = text.chars();
            letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
        };
        ((*key).to_owned(), of(|language| capital(said(english, language))))
    });
    plain.chain(buttons)
}

macro_rules! labels {
    ($($key:ident: $en:literal, $de:literal, $es:literal;)*) => {
        /// The page's own texts by their names.
        pub fn page() -> Value {
            let all = [$((stringify!($key), Label::new($en, $de, $es)),)*];
            let own = all.map(|(key, label)| (key.to_owned(), of(|language| label.of(language).to_owned())));
            Value::Object(own.into_iter().chain(shared()).collect())
        }
    };
}

labels! {
    notReviewed: "", "Diese Übersetzung wurde nicht von Muttersprachlern geprüft.", "Esta traducción no ha sido revisada por hablantes nativos.";
    complaint: "What is wrong?", "Was stimmt nicht?", "¿Qué pasa?";
    complaint0: "It does not start", "Sie startet nicht", "No arranca";
    complaint0more: "Start is pressed and nothing begins.", "Start wird gedrückt, und nichts beginnt.", "Se pulsa marcha y no empieza nada.";
    complaint1: "It stops midway", "Sie bleibt mittendrin stehen", "Se para a medio camino";
    complaint1more: "It began and stands still.", "Sie hat begonnen und steht.", "Empezó y está parada.";
    complaint2: "It does not finish", "Sie wird nicht fertig", "No termina";
    complaint2more: "Nearly everything is done, but the end does not come.", "Fast alles ist getan, aber das Ende kommt nicht.", "Casi todo está hecho, pero no llega al final.";
    complaint3: "The result is wrong", "Das Ergebnis stimmt nicht", "El resultado es incorrecto";
    complaint3more: "It comes to its end, but the work is not right.", "Sie kommt zum Ende, aber die Arbeit stimmt nicht.", "Llega al final, pero el trabajo no está bien.";
    last: "What was done last?", "Was wurde zuletzt getan?", "¿Qué fue lo último que se hizo?";
    lastMore: "The last thing that somebody did before it stood still.", "Das Letzte, was jemand tat, bevor sie stand.", "Lo último que alguien hizo antes de que se parase.";
    poweredOn: "only switched on", "nur eingeschaltet", "solo se conectó";
    lamps: "How are the lamps?", "Wie sind die Lampen?", "¿Cómo están las lámparas?";
    lampsMore: "Tap each lamp until it looks as on the controller. Rows are as on its front; on a narrow screen a row goes on in the next line, so go by the labels.", "Jede Lampe antippen, bis sie aussieht wie an der Steuerung. Die Reihen sind wie an ihrer Front; auf einem schmalen Bildschirm geht eine Reihe in der nächsten Zeile weiter, darum nach der Beschriftung gehen.", "Toque cada lámpara hasta que se vea como en el autómata. Las filas son como en su frente; en una pantalla estrecha una fila sigue en la línea siguiente, así que guíese por los rótulos.";
    flickers: "flickers", "flackert", "parpadea";
    litSeveral: "lit", "leuchten", "encendidas";
    darkSeveral: "dark", "dunkel", "apagadas";
    flickersSeveral: "flicker", "flackern", "parpadean";
    unseen: "not seen", "nicht gesehen", "no vista";
    restDark: "All others are dark", "Alle anderen sind dunkel", "Todas las demás están apagadas";
    next: "Go on", "Weiter", "Seguir";
    back: "Back", "Zurück", "Atrás";
    change: "change", "ändern", "cambiar";
    again: "Begin anew", "Neu beginnen", "Empezar de nuevo";
    againSure: "Really begin anew? All that was entered is lost: tap once more", "Wirklich neu beginnen? Alles Eingegebene geht verloren: noch einmal tippen", "¿Empezar de nuevo de verdad? Se pierde todo lo introducido: toque otra vez";
    told: "What you said", "Was Sie sagten", "Lo que usted dijo";
    unknown: "I don't know", "Weiß ich nicht", "No lo sé";
    stands: "Where it stands", "Wo sie steht", "Dónde está parada";
    notRunning: "the controller does not run its program", "die Steuerung führt ihr Programm nicht aus", "el autómata no ejecuta su programa";
    waits: "What it waits for", "Worauf sie wartet", "Qué espera";
    startNeeds: "What the start needs", "Was der Start braucht", "Qué necesita la marcha";
    met: "there", "erfüllt", "se cumple";
    missing: "missing", "fehlt", "falta";
    allMet: "there already: {}", "bereits erfüllt: {}", "ya se cumplen: {}";
    fitsBadly: "What was reported hardly fits together. Please look at the lamps once more.", "Was gemeldet wurde, passt kaum zusammen. Bitte die Lampen noch einmal ansehen.", "Lo indicado apenas concuerda. Mire otra vez las lámparas, por favor.";
    lookAgain: "Look at the lamps again", "Lampen noch einmal ansehen", "Mirar otra vez las lámparas";
    byHand: "by hand", "von Hand", "a mano";
    heldBy: "It is held by", "Sie wird gehalten durch", "La retiene";
    timedOut: "a time-out that only power off or a reset ends", "eine Zeitüberschreitung, die nur Ausschalten oder Quittieren beendet", "un tiempo excedido que solo acaba al desconectar o rearmar";
    causes: "What it can be", "Was es sein kann", "Qué puede ser";
    nothingWrong: "nothing is wrong: it waits for you", "nichts ist falsch: sie wartet auf Sie", "no pasa nada: le espera a usted";
    more: "more causes", "weitere Ursachen", "más causas";
    ask: "Please look", "Bitte nachsehen", "Mire, por favor";
    whereStands: "Where does it stand: {}?", "In welchem Zustand ist: {}?", "¿En qué estado está: {}?";
    isLit: "Is lamp {} lit?", "Leuchtet die Lampe {}?", "¿Está encendida la lámpara {}?";
    allLamps: "See all lamps", "Alle Lampen ansehen", "Ver todas las lámparas";
    place: "Place", "Ort", "Lugar";
    before: "First read this", "Zuerst lesen", "Lea primero";
    try: "Please do this", "Bitte tun", "Haga esto, por favor";
    tryThen: "Then clear the alarm if one is shown (reset, or as the manual says), and start as usual. If lamps look different now and it still does not run, change them below.", "Danach die Störung quittieren, wenn eine angezeigt wird (wie in der Anleitung), und wie gewohnt starten. Sehen Lampen jetzt anders aus und läuft sie noch nicht, diese unten ändern.", "Después borre la alarma si se muestra alguna (rearme, o como diga el manual) y arranque como siempre. Si ahora hay lámparas distintas y sigue sin funcionar, cámbielas abajo.";
    tryLook: "If lamps look different then and it does not run, change them below.", "Sehen Lampen danach anders aus und läuft sie nicht, diese unten ändern.", "Si después hay lámparas distintas y no funciona, cámbielas abajo.";
    goOn: "Nothing seems to be wrong. Go on with: {}", "Nichts scheint falsch zu sein. Weiter mit: {}", "Parece que no pasa nada. Siga con: {}";
    cannot: "I can't do that", "Das kann ich nicht", "No puedo hacerlo";
    over: "The machine runs", "Die Maschine läuft", "La máquina funciona";
    overMore: "Tell the service what it was; the code below says what you saw and did.", "Dem Service sagen, was es war; der Code unten sagt, was Sie sahen und taten.", "Diga al servicio qué fue; el código de abajo dice lo que usted vio e hizo.";
    call: "Call the technician", "Techniker anrufen", "Llame al técnico";
    callMore: "From here on a technician is needed. Read this code aloud, group by group:", "Ab hier braucht es einen Techniker. Diesen Code gruppenweise vorlesen:", "Desde aquí hace falta un técnico. Lea este código en voz alta, grupo por grupo:";
    copy: "Copy as text", "Als Text kopieren", "Copiar como texto";
    copied: "copied", "kopiert", "copiado";
    tooLong: "There is too much for a code; send the text.", "Zu viel für einen Code; bitte den Text senden.", "Es demasiado para un código; envíe el texto.";
    working: "Working it out …", "Wird berechnet …", "Calculando …";
    lampAria: "lamp {}: {}", "Lampe {}: {}", "lámpara {}: {}";
}
