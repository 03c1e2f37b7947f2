#!/usr/bin/env python3
"""The same posterior once more, by a general Bayesian-network library (pyAgrum, from PyPI).

Reads cases as brute_force.py does. What is simulated comes from its `run`; everything
about probability is left to the library: the network has

- a node for each device (in order, or one of its modes since one of the moments) and each lapse,
- a chain of nodes that counts deviations, told that there are at most two,
- a node for the end of the run at which somebody calls, told that somebody does,
- a node for the share that the moments up to the call have of all moments,
- a node for the slip of the report, one for each lamp reported, complaint, last thing done,
  positions and answers.

The cause that is not in the file is left aside, so that what comes out is to be compared with the
probabilities given that the cause is in the file.

    bayes_net.py CASE.json [CASE.json ...]       prints one line of JSON for each case
"""

import itertools
import json
import sys

import pyagrum

import brute_force as plain


def roots(data, slots):
    """For each device and lapse: the states of its node, each (deviation, moment, probability)."""
    odds, group = plain.prior(data)
    found = {}
    for deviation, which in enumerate(group):
        found.setdefault(which, []).append(deviation)
    nodes = []
    for which, modes in found.items():
        in_order = 1.0 / (1.0 + sum(odds[d] for d in modes))
        states = [(None, None, in_order)]
        for d in modes:
            times = [((0, 0), 1.0)] if data["deviations"][d]["lapse"] else slots
            states += [(d, slot, odds[d] * in_order * share) for slot, share in times]
        nodes.append(states)
    return nodes


def ends_of(plan, nodes, nominal, slots):
    """The distinct ends of runs, and for each state of the roots the probability of each."""
    data = plan.data
    ends, index, table = [], {}, {}
    for states in itertools.product(*(range(len(node)) for node in nodes)):
        there = [nodes[n][s] for n, s in enumerate(states) if nodes[n][s][0] is not None]
        if len(there) > 2:
            table[states] = {}
            continue
        run_ends, _ = plain.run(plan, [d for d, _, _ in there], [slot for _, slot, _ in there], nominal,
                                data["options"])
        row = table[states] = {}
        for end in run_ends:
            if any(slot[0] > end["stage"] for _, slot, _ in there):
                continue
            faults = sum(not data["deviations"][d]["lapse"] for d, _, _ in there)
            key = json.dumps([end["stage"], faults, plain.stands(data, end, nominal[end["stage"]]), end["look"]])
            if key not in index:
                index[key] = len(ends)
                ends.append((end, faults))
            row[index[key]] = row.get(index[key], 0.0) + end["calls"]
    return ends, table


def network(data, evidence, nodes, ends, table, slots, nominal):
    bn = pyagrum.BayesNet(data["name"])
    doubt = data["doubt"]
    told = {}

    def node(name, size, parents=()):
        bn.add(pyagrum.LabelizedVariable(name, name, size))
        for parent in parents:
            bn.addArc(parent, name)

    for n, states in enumerate(nodes):
        node(f"cause{n}", len(states))
        bn.cpt(f"cause{n}").fillWith([p for _, _, p in states])
    for n, states in enumerate(nodes):
        before = [f"count{n - 1}"] if n else []
        node(f"count{n}", 4, [*before, f"cause{n}"])
        for count in range(4 if n else 1):
            for s in range(len(states)):
                row = [0.0] * 4
                row[min(count + (s > 0), 3)] = 1.0
                bn.cpt(f"count{n}")[{**({before[0]: count} if before else {}), f"cause{n}": s}] = row
    node("few", 2, [f"count{len(nodes) - 1}"])
    for count in range(4):
        bn.cpt("few")[{f"count{len(nodes) - 1}": count}] = [0.0, 1.0] if count < 3 else [1.0, 0.0]
    told["few"] = 1

    none = len(ends)
    node("end", none + 1, [f"cause{n}" for n in range(len(nodes))])
    for states, row in table.items():
        values = [row.get(e, 0.0) for e in range(none)]
        values.append(1.0 - sum(values))
        bn.cpt("end")[{f"cause{n}": s for n, s in enumerate(states)}] = values
    node("called", 2, ["end"])
    node("moments", 2, ["end"])
    upto = [sum(share for (stage, _), share in slots if stage <= k) for k in range(len(data["routine"]) + 1)]
    for e in range(none + 1):
        bn.cpt("called")[{"end": e}] = [0.0, 1.0] if e < none else [1.0, 0.0]
        # P(moment | it is one of those up to the call): each fault has a factor 1 / upto, scaled to stay below 1.
        factor = (upto[0] / upto[ends[e][0]["stage"]]) ** ends[e][1] * upto[0] ** (2 - ends[e][1]) if e < none else 0.0
        bn.cpt("moments")[{"end": e}] = [1.0 - factor, factor]
    told["called"] = told["moments"] = 1

    def report(name, likelihood):
        """A node for one thing reported: 1 as it was reported."""
        node(name, 2, ["end"])
        for e in range(none + 1):
            p = likelihood(ends[e][0]) if e < none else 0.5
            bn.cpt(name)[{"end": e}] = [1.0 - p, p]
        told[name] = 1

    if evidence["complaint"] is not None:
        said = plain.COMPLAINTS.index(evidence["complaint"])
        report("complaint", lambda end: plain.COMPLAINS[plain.stands(data, end, nominal[end["stage"]])][said])
    if evidence["deed"] is not None:
        others = doubt["deed"] / len(data["routine"])
        report("deed", lambda end: 1.0 - doubt["deed"] if end["stage"] == evidence["deed"] else others)
    for n, (mechanism, at) in enumerate(evidence["positions"]):
        report(f"position{n}", lambda end, m=mechanism, at=at: plain.answered(
            end["look"]["places"][m], -1 if at is None else at, doubt["position"]))
    for n, (number, said) in enumerate(evidence["checks"]):
        check = data["checks"][number]
        def answer(end, check=check, said=said):
            on = end["look"]["stages"][json.dumps(check["observes"])]
            return plain.answered([on, 1.0 - on], said, check["error"])
        report(f"check{n}", answer)
    slips = plain.slips(data["rows"], doubt)
    node("slip", len(slips))
    bn.cpt("slip").fillWith([p for p, _ in slips])
    for n, (lamp, said, named) in enumerate(plain.numbered(data, evidence)):
        name = f"lamp{n}"
        node(name, 2, ["slip", "end"])
        error = doubt["named" if named else "rest"]
        for s, (_, order) in enumerate(slips):
            for e in range(none + 1):
                p = plain.lamp_likelihood(said, ends[e][0]["look"]["lamps"][order[lamp]], error) if e < none else 0.5
                bn.cpt(name)[{"slip": s, "end": e}] = [1.0 - p, p]
        told[name] = 1
    return bn, told


def posterior(data, evidence, nodes, ends, table, slots, nominal):
    bn, told = network(data, evidence, nodes, ends, table, slots, nominal)
    inference = pyagrum.LazyPropagation(bn)
    inference.setEvidence(told)
    last = f"count{len(nodes) - 1}"
    for n in range(len(nodes)):
        inference.addTarget(f"cause{n}")
    inference.addTarget(last)
    inference.makeInference()
    deviations = {row["key"]: 0.0 for row in data["deviations"]}
    for n, states in enumerate(nodes):
        values = inference.posterior(f"cause{n}").tolist()
        for (deviation, _, _), value in zip(states, values):
            if deviation is not None:
                deviations[data["deviations"][deviation]["key"]] += value
    return {"nothing": inference.posterior(last).tolist()[0], "deviations": deviations}


def solve(path):
    with open(path, encoding="utf-8") as file:
        data = json.load(file)
    plan = plain.Plan(data)
    nominal_ends, marks = plain.run(plan, [], [], None, data["options"])
    nominal = {end["stage"]: end["state"] for end in nominal_ends}
    slots = plain.moments(marks, data["options"])
    nodes = roots(data, slots)
    ends, table = ends_of(plan, nodes, nominal, slots)
    answers = [posterior(data, evidence, nodes, ends, table, slots, nominal) for evidence in data["evidence"]]
    return {"case": data["name"], "library": "pyagrum", "version": pyagrum.__version__, "ends": len(ends),
            "answers": answers}


if __name__ == "__main__":
    for path in sys.argv[1:]:
        print(json.dumps(solve(path)), flush=True)
