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
    """The lamps at the end, what was done before the last step that began, and how many began."""
    lit, did, last, began = set(), None, None, 0
    for instant in asked("play", f"demo:{machine}", *more)["instants"]:
        did = instant["action"] or did
        for change in instant["changes"]:
            if change["kind"] in ("input", "output"):
                (lit.add if change["value"] in ("lit", "on") else lit.discard)(change["name"])
            if (change["kind"], change["value"]) == ("step", "begins"):
                began += 1
                last = did
    return lit, last, began


openings = {}
for machine in ["jar-filler", "parts-washer", "lidding-line"]:
    told = asked("describe", f"demo:{machine}", "--deviations")
    labels = [label for row in told["lamp_rows"] for label in row["labels"]]
    keys = [one["key"] for one in told["deviations"]]
    dice.shuffle(keys)
    healthy = played(machine)
    found = []
    for key in keys:
        lit, last, began = played(machine, "--with", key)
        lamps = [label for label in labels if label in lit]
        if began < healthy[2] and lamps and last and len(found) < number:
            found.append({"deviation": key, "did": last, "lamps": " ".join(lamps) + " on, rest off"})
    openings[machine] = found

Path(__file__).with_name("load_openings.json").write_text(json.dumps(openings, indent=1) + "\n")
