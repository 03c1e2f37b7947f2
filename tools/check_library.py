#!/usr/bin/env python3
"""Checks the device library's data: completeness, sources, safety, translations.

What the reader in crates/machine can't say: whether the texts suit the people
they are meant for, and whether every number tells where it comes from. Needs
Python 3.11 and nothing else. Prints every mistake with its place, then a count;
exit code 1 if there was one.

    python3 tools/check_library.py [LIBRARY FOLDER]
"""

import re
import sys
import tomllib
from pathlib import Path

INPUT_STAGES = ("target", "sensor", "cable", "terminal", "card", "lamp")
OUTPUT_STAGES = ("lamp", "card", "cable", "coil", "valve")
STANDS_IN = ("input", "output", "supply", "mechanism", "controller", "shared")
WHO = ("operator", "technician", "electrician")
ENERGY = ("off", "normal", "pressure", "live")
ACCESS = ("outside", "cabinet", "behind guard")
LOAD = ("none", "raised")
ROLE = ("look", "measure", "try", "swap")
LANGUAGES = ("de", "es")
SOURCE = re.compile(r"(published|from memory): \S.*|common practice, no source")
PLACEHOLDER = re.compile(r"\{[^}]*\}")
HYPHEN_FOR_MINUS = re.compile(r"(?<!\w)-\d")
# An operator who may not do a check is told so, in one of these ways.
REFUSAL = re.compile(r"^This is for (a technician|an electrician): please leave it")
LONGEST_OPERATOR_TEXT = 200  # characters: what one remembers on the phone
HIGHEST_RATE = 200.0  # faults per million hours; above that a device would fail twice a year

# Words by which a text could tempt someone to keep a guard, stop or two-hand
# control made. On guarding types they may not occur at all, in any language.
TEMPTING = {
    "en": r"bridg|jumper|defeat|by-?pass|overrid|short(ed|ing)? (out|across)|link out|hold(ing)? (it |the \w+ )?(down|in|shut)"
    r"|\btape\b|\btie\b|\bwedge|\bblock(s|ed)? (it|the)|push(ed)? (it )?in by hand|press (it )?in by hand|magnet to|simulat|force[sd]? the",
    "de": r"überbrück|brück|umgeh|kurzschlie(ß|ss)|festhalten|festkleb|festkeil|klebeband|aushebel|außer kraft|überlist",
    "es": r"puente|anul|burlar|eludir|cinta adhesiva|mantener(lo|la)? pulsad|mantenga pulsad|calzar|cortocircuitar",
}
# Checks that act on a device; never on one that guards people.
ACTING = ("try", "swap")

TYPE_KEYS = {
    "words": True, "stands_in": True, "also": False, "chain": False, "own_led": False, "guarding": False,
    "returns": False, "supply_kind": False, "needs": False, "takes": False, "put_back": False,
    "faults": False, "checks": False, "remedies": False,
}
FAULT_KEYS = {
    "words": True, "effect": True, "rate": True, "source": True, "remedy": True, "at": False,
    "make": False, "break": False, "percent": False, "of": False, "within": False, "after": False,
}
# Events that can make a fault likelier, and the bounds of their factors.
EVENTS = ("moved", "cleaned", "repaired", "power_cut")
FACTORS = (0.1, 50)
CHECK_KEYS = {
    "operator": True, "technician": True, "minutes": True, "who": True, "energy": True, "access": True, "load": True,
    "role": True, "error": True, "source": True, "observes": False, "inspect": False, "yes": False, "no": False,
}
REMEDY_KEYS = {
    "words": True, "minutes": True, "who": True, "energy": True, "access": True, "load": True, "source": True,
    "part": False, "price": False,
}
EFFECTS = {
    "input": ("off", "on", "chatters"),
    "output": ("off", "on", "chatters"),
    "shared": ("off", "on", "chatters"),
    "supply": ("off", "chatters"),
    "mechanism": ("stuck", "slow", "stops short", "creeps"),
    "controller": ("stopped", "error"),
}
EFFECT_EXTRAS = {"chatters": {"make", "break"}, "slow": {"percent"}, "stops short": {"of"}, "creeps": {"within"}}


class Report:
    """Collects mistakes, so that all come out in one pass."""

    def __init__(self):
        self.lines = []

    def add(self, place, text):
        self.lines.append(f"{place}: {text}")

    def keys(self, place, table, known):
        for key in table:
            if key not in known:
                self.add(place, f"unknown key `{key}`; known are {', '.join(known)}")
        for key, required in known.items():
            if required and key not in table:
                self.add(place, f"`{key}` is missing")

    def one_of(self, place, table, key, allowed):
        if key in table and table[key] not in allowed:
            self.add(place, f"`{key}` is `{table[key]}`; it should be one of {', '.join(allowed)}")


def read_types(folder, report):
    types = {}
    for path in sorted(folder.glob("*.toml")):
        if path.name.startswith("words."):
            continue
        tree = tomllib.loads(path.read_text(encoding="utf-8"))
        if tree.get("format") != 1:
            report.add(path.name, "`format = 1` is missing")
        for key, value in tree.get("types", {}).items():
            if key in types:
                report.add(path.name, f"type `{key}` is there twice")
            types[key] = value
    return types


def stages_of(key, kind, types):
    """The stages that a fault or check of this type may name."""
    if kind == "input":
        return INPUT_STAGES
    if kind == "output":
        return OUTPUT_STAGES
    if kind == "shared":
        in_outputs = key in ("lamp", "cable", "junction-box") or any(
            key in t.get("chain", []) for t in types.values() if t.get("stands_in") == "output")
        in_inputs = key in ("lamp", "cable", "junction-box") or any(
            key in t.get("chain", []) for t in types.values() if t.get("stands_in") == "input")
        stages = set(INPUT_STAGES if in_inputs else OUTPUT_STAGES)
        return tuple(s for s in INPUT_STAGES + ("coil", "valve") if s in stages and (not in_outputs or s in OUTPUT_STAGES))
    return ()


def check_source(report, place, table):
    source = table.get("source", "")
    if not SOURCE.fullmatch(source):
        report.add(place, f"source `{source}` should begin with `published: ` or `from memory: `, or be `common practice, no source`")


def check_manner(report, place, table):
    """Who, energy, access and load must agree with each other."""
    report.one_of(place, table, "who", WHO)
    report.one_of(place, table, "energy", ENERGY)
    report.one_of(place, table, "access", ACCESS)
    report.one_of(place, table, "load", LOAD)
    who, energy, access = table.get("who"), table.get("energy"), table.get("access")
    if energy == "live" and (who != "electrician" or access != "cabinet"):
        report.add(place, "live parts are for an electrician, at an open cabinet")
    if access == "cabinet" and who != "electrician":
        report.add(place, "an open cabinet is for an electrician")
    if access == "cabinet" and energy not in ("off", "live"):
        report.add(place, "in an open cabinet the energy is off, or the parts are live")
    if access == "behind guard" and energy != "off":
        report.add(place, "nobody goes behind a guard before the energy is off")
    if who == "operator":
        if access != "outside":
            report.add(place, "an operator stays outside")
        if energy in ("pressure", "live"):
            report.add(place, f"an operator does nothing with energy `{energy}`")
        if table.get("load") == "raised":
            report.add(place, "an operator does nothing near a raised load")
    minutes = table.get("minutes")
    if not isinstance(minutes, (int, float)) or not 0 < minutes <= 480:
        report.add(place, f"minutes are `{minutes}`")


def check_fault(report, place, kind, stages, fault, remedies):
    report.keys(place, fault, FAULT_KEYS)
    check_source(report, place, fault)
    report.one_of(place, fault, "effect", EFFECTS[kind])
    extras = EFFECT_EXTRAS.get(fault.get("effect"), set())
    for extra in set().union(*EFFECT_EXTRAS.values()):
        if (extra in fault) != (extra in extras):
            report.add(place, f"`{extra}` does not go with effect `{fault.get('effect')}`, or is missing")
    if stages:
        if "at" not in fault:
            report.add(place, "`at` is missing")
        report.one_of(place, fault, "at", stages)
    elif "at" in fault:
        report.add(place, f"`at` has no meaning in a {kind}")
    rate = fault.get("rate")
    if not isinstance(rate, float) or not 0 < rate <= HIGHEST_RATE:
        report.add(place, f"rate `{rate}` should be above 0 and at most {HIGHEST_RATE} per million hours")
    for event, factor in fault.get("after", {}).items():
        if event not in EVENTS:
            report.add(place, f"`after` names `{event}`; it should be one of {', '.join(EVENTS)}")
        if not isinstance(factor, (int, float)) or not FACTORS[0] <= factor <= FACTORS[1]:
            report.add(place, f"the factor `{factor}` after `{event}` should be {FACTORS[0]} to {FACTORS[1]}")
    if fault.get("remedy") not in remedies:
        report.add(place, f"remedy `{fault.get('remedy')}` is not there")


def check_check(report, place, kind, stages, check, faults):
    report.keys(place, check, CHECK_KEYS)
    check_source(report, place, check)
    check_manner(report, place, check)
    report.one_of(place, check, "role", ROLE)
    if ("observes" in check) == ("inspect" in check):
        report.add(place, "one of `observes` and `inspect` should be there")
    allowed = tuple(stages) + (("supply",) if kind in ("input", "output") else ())
    if kind == "supply":
        allowed = ("supply",)
    if kind == "mechanism":
        allowed = ("position", "moves freely")
    report.one_of(place, check, "observes", allowed)
    for key in check.get("inspect", []):
        if key not in faults:
            report.add(place, f"`inspect` names the fault `{key}`, which this type does not have")
    has_answers = "yes" in check and "no" in check
    if (check.get("observes") == "position") == has_answers or ("yes" in check) != ("no" in check):
        report.add(place, "`yes` and `no` go with every check except of the position")
    if not re.fullmatch(r"\d+(\.\d+)? %", check.get("error", "")) or not 0 < float(check["error"].split()[0]) < 50:
        report.add(place, f"error `{check.get('error')}` should be written like `3 %`, below 50 %")
    operator = check.get("operator", "")
    refused = bool(REFUSAL.match(operator))
    if refused == (check.get("who") == "operator"):
        report.add(place, "the operator's text asks an operator and refuses everyone else")
    if not refused and "?" not in operator:
        report.add(place, "the operator's text should ask something")
    if len(operator) > LONGEST_OPERATOR_TEXT:
        report.add(place, f"the operator's text has {len(operator)} characters, more than {LONGEST_OPERATOR_TEXT}")
    role = check.get("role")
    if role == "swap":
        if check.get("energy") != "off":
            report.add(place, "swapping is done with the energy off")
        if "put both" not in check.get("technician", "") or "before anything is started" not in check.get("technician", ""):
            report.add(place, "the technician's text of a swap says that it is undone before any start")
    if role in ACTING and check.get("who") == "operator":
        report.add(place, "trying and swapping are not for an operator")
    if check.get("energy") == "off" and role != "swap" and not re.search(r"[Ee]nergy off", check.get("technician", "")):
        report.add(place, "the technician's text should say that the energy is off")


def texts_of(key, device):
    """Every text to be translated, by its key."""
    yield f"types.{key}", device.get("words", "")
    for name, fault in device.get("faults", {}).items():
        yield f"{key}.faults.{name}", fault.get("words", "")
    for name, check in device.get("checks", {}).items():
        for part in ("operator", "technician", "yes", "no"):
            if part in check:
                yield f"{key}.{name}.{part}", check[part]
    for name, remedy in device.get("remedies", {}).items():
        yield f"{key}.remedies.{name}", remedy.get("words", "")
        if "part" in remedy:
            yield f"{key}.remedies.{name}.part", remedy["part"]


def check_type(report, key, device, types):
    place = f"types.{key}"
    report.keys(place, device, TYPE_KEYS)
    report.one_of(place, device, "stands_in", STANDS_IN)
    report.one_of(place, device, "guarding", ("none", "guard", "stop", "two-hand"))
    report.one_of(place, device, "supply_kind", ("electric", "air", "vacuum", "water"))
    kind = device.get("stands_in")
    if kind not in STANDS_IN:
        return
    if kind in ("input", "output"):
        for needed in ("chain", "own_led", "guarding"):
            if needed not in device:
                report.add(place, f"`{needed}` is missing")
    if kind == "output" and "returns" not in device:
        report.add(place, "`returns` is missing")
    if (kind == "supply") != ("supply_kind" in device):
        report.add(place, "`supply_kind` goes with supplies, and only with them")
    chain = device.get("chain", [])
    for part in chain:
        if part == "device" or (part == "target" and kind == "input"):
            continue
        if types.get(part, {}).get("stands_in") != "shared":
            report.add(place, f"chain: `{part}` is not a type that stands in `shared`")
    if kind in ("input", "output") and "device" not in chain:
        report.add(place, "chain: `device` is missing")

    faults, checks, remedies = (device.get(part, {}) for part in ("faults", "checks", "remedies"))
    stages = stages_of(key, kind, types)
    if kind in ("input", "output", "shared") and not stages:
        report.add(place, "no chain uses this part")
    for name, fault in faults.items():
        check_fault(report, f"{place}.faults.{name}", kind, stages, fault, remedies)
    for name, check in checks.items():
        check_check(report, f"{place}.checks.{name}", kind, stages, check, faults)
    for name, remedy in remedies.items():
        where = f"{place}.remedies.{name}"
        report.keys(where, remedy, REMEDY_KEYS)
        check_source(report, where, remedy)
        check_manner(report, where, remedy)
        if ("part" in remedy) != ("price" in remedy):
            report.add(where, "`part` and `price` come together")
        if device.get("put_back") != name and not any(fault.get("remedy") == name for fault in faults.values()):
            report.add(where, "no fault has this remedy")
    if "put_back" in device and (kind != "mechanism" or device["put_back"] not in remedies):
        report.add(place, f"`put_back` names the remedy `{device['put_back']}`, which this type does not have")
    if device.get("own_led") and "own-led" not in checks or "own-led" in checks and device.get("own_led") is False:
        report.add(place, "`own_led` and the check `own-led` do not agree")
    if "own-led" in checks:
        expected = {"input": "sensor", "output": "cable", "supply": "supply"}.get(kind)
        if checks["own-led"].get("observes") != expected:
            report.add(place, f"the own LED of a type that stands in `{kind}` observes `{expected}`")
    if kind != "mechanism" and not faults:
        report.add(place, "a type has at least one fault")

    # No label where there is no point, and no placeholder that the reader does not fill.
    allowed = {"{tag}", "{words}"}
    if kind in ("input", "output") or kind == "shared" and key not in ("cable", "junction-box"):
        allowed.add("{label}")
    for where, text in texts_of(key, device):
        if HYPHEN_FOR_MINUS.search(text):
            report.add(where, "a number below nought has a true minus sign (U+2212)")
        for found in PLACEHOLDER.findall(text):
            if found not in allowed:
                report.add(where, f"placeholder {found} is not filled here")
        if not text.strip():
            report.add(where, "the text is empty")


def check_guarding(report, types, words):
    """Nothing that guards people is swapped, tried, or talked out of its work."""
    guarding = {k for k, t in types.items() if t.get("guarding", "none") != "none"}
    parts = {part for k in guarding for part in types[k].get("chain", []) if part in types}
    for key in sorted(guarding | parts):
        for name, check in types[key].get("checks", {}).items():
            if check.get("role") in ACTING:
                report.add(f"types.{key}.checks.{name}", f"role `{check['role']}` on a guarding type or a part of its chain")
            if check.get("observes") == "moves freely":
                report.add(f"types.{key}.checks.{name}", "a guard is not moved by hand for a check")
        for where, text in texts_of(key, types[key]):
            tempting(report, where, text, "en")
            for language in LANGUAGES:
                if where in words[language]:
                    tempting(report, f"words.{language} {where}", words[language][where], language)


def tempting(report, where, text, language):
    found = re.search(TEMPTING[language], text, re.IGNORECASE)
    if found:
        report.add(where, f"`{found.group()}` may not be said of what guards people")


def read_words(folder, language, report):
    path = folder / f"words.{language}.toml"
    if not path.exists():
        report.add(path.name, "the file is missing")
        return {}
    tree = tomllib.loads(path.read_text(encoding="utf-8"))
    if tree.get("language") != language:
        report.add(path.name, f"`language = \"{language}\"` is missing")
    if not isinstance(tree.get("reviewed"), bool):
        report.add(path.name, "`reviewed = true` or `false` is missing")
    return tree.get("text", {})


def check_words(report, language, words, english):
    for key, text in english.items():
        if key not in words:
            report.add(f"words.{language}", f"`{key}` is not translated")
            continue
        translation = words[key]
        if not translation.strip():
            report.add(f"words.{language}", f"`{key}` is empty")
        if sorted(PLACEHOLDER.findall(text)) != sorted(PLACEHOLDER.findall(translation)):
            report.add(f"words.{language}", f"`{key}` has other placeholders than the English text")
        if ("?" in text) != ("?" in translation):
            report.add(f"words.{language}", f"`{key}`: one of the two texts asks, the other does not")
    for key in words:
        # "positions.open.f" is another form of "positions.open".
        if key.startswith("positions.") and key.rpartition(".")[0] not in ("positions", *words):
            report.add(f"words.{language}", f"`{key}` is a form of nothing")
        # Texts of the reader itself, for checks that come with every machine.
        if key not in english and not key.startswith(("implied.", "positions.", "rows.", "caution.")):
            report.add(f"words.{language}", f"`{key}` translates nothing")


def check_also(report, types):
    """One word for two types of the same kind could not be told apart."""
    owner = {}
    for key, device in types.items():
        for word in device.get("also", []):
            if word != word.lower():
                report.add(f"types.{key}", f"`also` is written in small letters: `{word}`")
            slot = (device.get("stands_in"), word)
            if slot in owner:
                report.add(f"types.{key}", f"`also` word `{word}` belongs to `{owner[slot]}` too")
            owner[slot] = key


def main():
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "crates/machine/library"
    report = Report()
    types = read_types(folder, report)
    if not types:
        report.add(str(folder), "no device types here")
    words = {language: read_words(folder, language, report) for language in LANGUAGES}
    for key, device in types.items():
        check_type(report, key, device, types)
    check_also(report, types)
    check_guarding(report, types, words)
    english = {where: text for key, device in types.items() for where, text in texts_of(key, device)}
    for language in LANGUAGES:
        check_words(report, language, words[language], english)
    for line in report.lines:
        print(line)
    count = {part: sum(len(t.get(part, {})) for t in types.values()) for part in ("faults", "checks", "remedies")}
    print(f"{len(types)} types, {count['faults']} faults, {count['checks']} checks, {count['remedies']} remedies, "
          f"{len(english)} texts to translate: {len(report.lines) or 'no'} mistake{'' if len(report.lines) == 1 else 's'}")
    return 1 if report.lines else 0


if __name__ == "__main__":
    sys.exit(main())
