#!/usr/bin/env python3
"""Writes load_openings.json: how calls about the demo machines begin, for load.mjs.

Each is one deviation of the machine file that keeps it from going on, played with `lampwise play`; the lamps are those at
the end. Usage: load_openings.py LAMPWISE [NUMBER], with the program's path and how many of each machine."""

import json
import random
import subprocess
import sys
from pathlib import Path

program, number = sys.argv[1], int((sys.argv[2:] or ["16"])[0])
dice = random.Random(1)


def asked(*arguments):
    return json.loads(subprocess.run([program, *arguments, "--json"], capture_output=True, check=True).stdout)


def played(machine, *more):
    """What was done one after the other, each with the lamps that were lit at its end."""
    ends, did, lit = [], None, set()
    for instant in asked("play", f"demo:{machine}", *more)["instants"]:
        if instant["action"]:
            ends.append((did, frozenset(lit)))
            did = instant["action"]
        for change in instant["changes"]:
            if change["kind"] in ("input", "output"):
                (lit.add if change["value"] in ("lit", "on") else lit.discard)(change["name"])
    return [*ends, (did, frozenset(lit))]


openings = {}
for machine in ["jar-filler", "parts-washer", "lidding-line"]:
    told = asked("describe", f"demo:{machine}", "--deviations")
    labels = [label for row in told["lamp_rows"] for label in row["labels"]]
    keys = [one["key"] for one in told["deviations"]]
    dice.shuffle(keys)
    healthy = played(machine)
    found = []
    for key in keys:
        if len(found) == number:
            break
        # People call where it looks otherwise than always for the first time.
        odd = next((now for now, usual in zip(played(machine, "--with", key), healthy) if now != usual), None)
        if odd and odd[0] and odd[1] & set(labels):
            lamps = [label for label in labels if label in odd[1]]
            found.append({"deviation": key, "did": odd[0], "lamps": " ".join(lamps) + " on, rest off"})
    openings[machine] = found

Path(__file__).with_name("load_openings.json").write_text(json.dumps(openings, indent=1) + "\n")
