#!/usr/bin/env python3
"""What is wrong with a small machine, worked out the long way round.

Reads a file with a machine in plain JSON and some evidence, and writes the exact
probability of every deviation, of "nothing is wrong" and of "something that is not in the
file". It follows docs/reckoning.md and shares no code and no shortcuts with the
program: every set of up to two deviations, with every moment at which each can set in,
is played from power-on by a simulator of its own; nothing is merged, forked, cached or
left latent. CPython 3.11, standard library only.

    brute_force.py CASE.json [CASE.json ...]     prints one line of JSON for each case
    brute_force.py --table CASE.json             the histories themselves (for bayes_net.py)
"""

import itertools
import json
import math
import sys

INPUT_STAGES = ["target", "sensor", "cable", "terminal", "card", "lamp"]
OUTPUT_STAGES = ["lamp", "card", "cable", "coil", "valve"]
END = 10**9  # the epoch that stands for the end of a stage
EPOCHS_PER_STAGE = 64
POWER_OFF_MS = 10_000


# --------------------------------------------------------------------- conditions

def source(condition):
    """The condition as a Python expression over the arrays of a Machine."""
    if condition is True or condition is False:
        return str(condition)
    word, *rest = condition
    if word == "not":
        return f"(not {source(rest[0])})"
    if word == "all":
        return "(" + " and ".join(["True", *map(source, rest)]) + ")"
    if word == "any":
        return "(" + " or ".join(["False", *map(source, rest)]) + ")"
    if word == "for":
        step, ms = rest
        return f"(m.active[{step}] and m.now-m.since[{step}]>={ms})"
    if word == "at":
        return f"(m.place[{rest[0]}]=={rest[1]})"
    if word == "between":
        return f"(m.place[{rest[0]}]==-1)"
    if word == "counted":
        return f"(m.counter[{rest[0]}]>={rest[1]})"
    array = {"latch": "latch", "supply": "supply", "driven": "driven", "input": "reads", "output": "command",
             "step": "active", "rises": "rises", "falls": "falls"}[word]
    return f"m.{array}[{rest[0]}]"


def compiled(condition):
    return eval("lambda m: bool(" + source(condition) + ")")  # noqa: S307 (our own expression)


# --------------------------------------------------------------------- the machine in motion

class Plan:
    """A machine with its conditions compiled."""

    def __init__(self, data):
        self.data = data
        self.supplies = [(s["parent"], s["electric"], compiled(s["when"])) for s in data["supplies"]]
        self.moves = [[(mv["from"], mv["to"], compiled(mv["when"]), mv["takes"]) for mv in row["moves"]]
                      for row in data["mechanisms"]]
        self.lit = [compiled(row["lit"]) for row in data["inputs"]]
        self.always = [compiled(row["driven"]) for row in data["outputs"]]
        self.edges = [compiled(one) for one in data["edges"]]
        self.transitions = [(t["chart"], t["from"], t["to"], compiled(t["when"])) for t in data["transitions"]]
        self.interlocks = [(i["chart"], i["in"], compiled(i["needs"]), i["effect"]) for i in data["interlocks"]]
        self.latches = [(compiled(row["set"]), compiled(row["reset"]), row["at_power_on"])
                        for row in data.get("latches", [])]
        self.actions = []
        for number, step in enumerate(data["steps"]):
            row = []
            for action in step["actions"]:
                when = ["all", action["when"]]
                timing = action["timing"]
                if timing[0] == "after":
                    when.append(["for", number, timing[1]])
                if timing[0] == "limited":
                    when.append(["not", ["for", number, timing[1]]])
                row.append((action["kind"], action["of"] if "of" in action else action["output"], compiled(when),
                            timing[0] == "blink"))
            self.actions.append(row)
        # Inputs that the program reads, and outputs by which something moves or is fed.
        self.read, self.moving = set(), set()
        def mentioned(condition, word, into):
            if isinstance(condition, list):
                if condition[0] == word:
                    into.add(condition[1])
                for part in condition[1:]:
                    mentioned(part, word, into)
        for rows, names in ((data["transitions"], ["when"]), (data["interlocks"], ["needs"]),
                            (data.get("latches", []), ["set", "reset"]), (data["outputs"], ["driven"])):
            for row in rows:
                for name in names:
                    mentioned(row[name], "input", self.read)
        for one in data["edges"]:
            mentioned(one, "input", self.read)
        for row in data["steps"]:
            for action in row["actions"]:
                mentioned(action["when"], "input", self.read)
        for row in data["supplies"] + [one for row in data["mechanisms"] for one in row["moves"]]:
            mentioned(row["when"], "driven", self.moving)
        # Time marks that a step can wait for.
        self.marks = [set() for _ in data["steps"]]
        def note(condition):
            if isinstance(condition, list):
                if condition[0] == "for":
                    self.marks[condition[1]].add(condition[2])
                for part in condition[1:]:
                    note(part)
        for number, step in enumerate(data["steps"]):
            for action in step["actions"]:
                note(action["when"])
                if action["timing"][0] in ("after", "limited"):
                    self.marks[number].add(action["timing"][1])
            if step["time_out"]:
                self.marks[number].add(step["time_out"]["after"])
        for row in data["transitions"]:
            note(row["when"])
        for row in data["interlocks"]:
            note(row["needs"])
        for row in data.get("latches", []):
            note(row["set"])
            note(row["reset"])
        for one in data["edges"]:
            note(one)
        for row in data["outputs"]:
            note(row["driven"])
        # Charts whose dropped outputs include this one.
        self.charts_of = [sorted({data["steps"][s]["chart"] for s, row in enumerate(self.actions)
                                  for kind, which, _, _ in row if which == o and kind in ("drive", "set")})
                          for o in range(len(data["outputs"]))]


class Restless(Exception):
    """The program does not come to rest within an instant."""


class Machine:
    def __init__(self, plan):
        data = self.plan_data = plan.data
        self.plan = plan
        self.now = 0
        # Travel of each mechanism: [from, to, done, whole, moving since]
        self.travel = [[row["rest"], row["rest"], 0, 1, None] for row in data["mechanisms"]]
        self.arrives = [None] * len(self.travel)
        self.place = [row["rest"] for row in data["mechanisms"]]
        self.supply = [False] * len(data["supplies"])
        self.shut = [False] * len(data["supplies"])
        self.mains = False
        self.powered = self.running = False
        self.reads = [False] * len(data["inputs"])
        self.pending = [None] * len(data["inputs"])
        self.command = [False] * len(data["outputs"])
        self.stored = [False] * len(data["outputs"])
        self.driven = [False] * len(data["outputs"])
        self.active = [False] * len(data["steps"])
        self.since = [0] * len(data["steps"])
        self.was = [False] * len(data["edges"])
        self.rises = [False] * len(data["edges"])
        self.falls = [False] * len(data["edges"])
        charts = len(data["charts"])
        self.held = [False] * charts
        self.dropped = [False] * charts
        self.timed_out = [False] * charts
        self.latch = [False] * len(plan.latches)
        self.counter = [0] * data.get("counters", 0)
        self.creeping = [False] * len(self.travel)
        self.short = [None] * len(self.travel)  # the position just before which it has stopped
        self.let_go = None  # (time, mechanism, position)
        self.there = []  # effects at work
        self.unasked = []  # what somebody is about to do without being asked
        self.open = []  # those of them that are loose contacts and open just now
        self.forgotten = set()
        self.steps_changed = False

    # --- what is forced

    def impose(self, effects):
        for effect in effects:
            if effect[0] == "found":
                self.put(effect[1], effect[2])
            elif effect[0] == "forgotten":
                # (The number of the routine stands behind if it is not the first.)
                if (effect[2] if len(effect) > 2 else 0) == self.plan_data.get("which", 0):
                    self.forgotten.add(effect[1])
            elif effect[0] == "unasked":
                self.unasked.append(effect[1])
            else:
                self.there.append(effect)
                # Of two faults at one stage the one that holds it on decides; a loose contact comes after both.
                self.there.sort(key=lambda one: 2 if "chatters" in one else one[-1] == "on")

    def lift(self, effects):
        """Takes the effects of one deviation away again."""
        for effect in effects:
            if effect[0] not in ("found", "forgotten", "unasked"):
                self.there.remove(effect)
                if effect in self.open:
                    self.open.remove(effect)

    def react(self):
        """What has set in together has its consequences; then what was done unasked is done, and is over."""
        self.settle()
        doing, self.unasked = self.unasked, []
        for action in doing:
            back = None
            if action["do"] == "put" and not self.plan_data["mechanisms"][action["mechanism"]]["driven"]:
                back = {**action, "position": self.travel[action["mechanism"]][0]}
            self.act(action)
            if back:
                self.act(back)

    def without(self, effects):
        """The same machine with the effects of some deviations taken away."""
        other = self.copy()
        other.lift(effects)
        other.settle()
        return other

    def holds_otherwise(self, other):
        """Whether anything but lamps differs from another machine at the same moment."""
        read, moving = self.plan.read, self.plan.moving
        courses = lambda travel: [(a, b, c if e is None else c - e, d) for a, b, c, d, e in travel]
        of = lambda values, some: [values[number] for number in sorted(some)]
        return (self.memory() != other.memory() or courses(self.travel) != courses(other.travel)
                or (self.supply, self.powered, self.running) != (other.supply, other.powered, other.running)
                or self.arrives != other.arrives or self.since != other.since
                or of(self.reads, read) != of(other.reads, read) or of(self.pending, read) != of(other.pending, read)
                or of(self.driven, moving) != of(other.driven, moving))

    def still_there(self, effects):
        """Whether something that was left somewhere is still there."""
        return any(effect[0] == "found" and self.place[effect[1]] == effect[2] for effect in effects)

    def copy(self):
        """The same machine once more, to go on with."""
        other = Machine.__new__(Machine)
        for name, value in self.__dict__.items():
            if isinstance(value, list):
                value = [row[:] for row in value] if name == "travel" else value[:]
            elif isinstance(value, set):
                value = set(value)
            other.__dict__[name] = value
        return other

    def forced(self, value, effect, how):
        """What becomes of a value; `how` is what stands behind the place of the effect."""
        return value and effect not in self.open if how[0] == "chatters" else how[0] == "on"

    def chain(self, number, upto, before=None):
        """The value of an input's chain up to and including a stage, or just before one effect."""
        row = self.plan_data["inputs"][number]
        fed = row["supply"] is None or self.supply[row["supply"]]
        value = self.plan.lit[number](self)
        for stage in INPUT_STAGES[:INPUT_STAGES.index(upto) + 1]:
            if stage == "sensor":
                value = value and fed
            for effect in self.there:
                if effect[0] == "input" and effect[1] == number and effect[2] == stage:
                    if effect is before:
                        return value
                    value = self.forced(value, effect, effect[3:])
                    if stage == "sensor":
                        value = value and fed
            if stage == "card":
                value = value and self.powered
        return value

    def seen_at(self, number, upto):
        """The same as somebody sees it who looks for a while: what a loose contact lets through is its share of time."""
        share = 1.0
        stages = INPUT_STAGES[:INPUT_STAGES.index(upto) + 1]
        value = self.plan.lit[number](self)
        row = self.plan_data["inputs"][number]
        fed = row["supply"] is None or self.supply[row["supply"]]
        for stage in stages:
            if stage == "sensor":
                value = value and fed
            for effect in self.there:
                if effect[0] == "input" and effect[1] == number and effect[2] == stage:
                    if effect[3] == "chatters":
                        share *= effect[4] / (effect[4] + effect[5])
                    else:
                        value, share = effect[3] == "on", 1.0
                    if stage == "sensor":
                        value = value and fed
            if stage == "card":
                value = value and self.powered
        return share if value else 0.0

    def command_before(self, number, before=None):
        """What an output is told to do, with the faults of its chain; or just before one of them."""
        value = self.command[number]
        for stage in OUTPUT_STAGES[1:]:
            for effect in self.there:
                if effect[0] == "output" and effect[1] == number and effect[2] == stage:
                    if effect is before:
                        return value
                    value = self.forced(value, effect, effect[3:])
        return value

    def supply_before(self, number, before=None):
        parent, electric, when = self.plan.supplies[number]
        value = ((parent is None or self.supply[parent]) and not (electric and not self.mains)
                 and not self.shut[number] and when(self))
        for effect in self.there:
            if effect is before:
                return value
            if effect[0] == "supply" and effect[1] == number:
                value = self.forced(value, effect, effect[2:])
        return value

    def loose(self):
        """The loose contacts that are live, by their mean times until they flip, the shortest first."""
        found = []
        for effect in self.there:
            if "chatters" not in effect:
                continue
            if effect[0] == "input":
                row = self.plan_data["inputs"][effect[1]]
                live = self.chain(effect[1], "lamp", effect) and (row["supply"] is None or self.supply[row["supply"]])
            elif effect[0] == "output":
                live = self.command_before(effect[1], effect)
            else:
                live = self.supply_before(effect[1], effect)
            if live:
                found.append((effect, effect[-1] if effect in self.open else effect[-2]))
        return sorted(found, key=lambda one: one[1])

    def flip(self, effect):
        if effect in self.open:
            self.open.remove(effect)
        else:
            self.open.append(effect)
        self.settle()

    def read_at_once(self, number):
        """The same machine without a delay of what it is about to read at an input."""
        if self.pending[number] is None:
            return self
        other = self.copy()
        other.pending[number] = None
        other.reads[number] = not other.reads[number]
        other.settle()
        return other

    def felt(self, other, effect):
        """Whether a flip has changed more than what the program reads at the input where the contact is, delay or not."""
        if effect[0] != "input":
            return True
        own = effect[1]
        self, other = self.read_at_once(own), other.read_at_once(own)
        reads = [value for number, value in enumerate(zip(self.reads, other.reads)) if number != own]
        # How far something has come is noted now and then: what it has done by now less the time is the same.
        courses = lambda travel: [(a, b, c if e is None else c - e, d) for a, b, c, d, e in travel]
        return (self.memory() != other.memory() or any(a != b for a, b in reads)
                or courses(self.travel) != courses(other.travel)
                or self.supply != other.supply or self.driven != other.driven or self.arrives != other.arrives
                or self.pending != other.pending or self.since != other.since)

    # --- everything that follows at one instant

    def physics(self):
        """Supplies, controller power, outputs, inputs: until nothing changes."""
        data, plan = self.plan_data, self.plan
        changed = True
        any_change = False
        while changed:
            changed = False
            for number in range(len(plan.supplies)):
                value = self.supply_before(number)
                if value != self.supply[number]:
                    self.supply[number] = value
                    changed = True
            source_of_power = data["controller_supply"]
            powered = self.mains if source_of_power is None else self.supply[source_of_power]
            running = powered and ["stopped"] not in self.there
            if powered != self.powered:
                self.powered = powered
                changed = True
            if running != self.running:
                self.running = running
                self.start_program()
                changed = True
            for number, row in enumerate(data["outputs"]):
                value = self.command_before(number)
                hangs = ["output", number, "valve", "on"] in self.there
                fed = row["supply"] is None or self.supply[row["supply"]]
                value = value and (fed or hangs)
                if value != self.driven[number]:
                    self.driven[number] = value
                    changed = True
            for number, row in enumerate(data["inputs"]):
                value = self.chain(number, "card")
                if value == self.reads[number]:
                    self.pending[number] = None
                elif not self.powered or row["on_delay" if value else "off_delay"] == 0:
                    self.pending[number] = None
                    self.reads[number] = value
                    changed = True
                elif self.pending[number] is None:
                    self.pending[number] = self.now + row["on_delay" if value else "off_delay"]
            any_change = any_change or changed
        return any_change

    def start_program(self):
        data = self.plan_data
        for step in range(len(self.active)):
            self.leave(step)
        self.was = [False] * len(self.was)
        self.rises = [False] * len(self.was)
        self.falls = [False] * len(self.was)
        for chart in range(len(self.held)):
            self.held[chart] = self.dropped[chart] = self.timed_out[chart] = False
        self.stored = [False] * len(self.stored)
        self.latch = [self.running and at_power_on for _, _, at_power_on in self.plan.latches]
        self.counter = [0] * len(self.counter)
        if self.running:
            for chart in data["charts"]:
                for step in chart["initial"]:
                    self.enter(step)
        else:
            self.command = [False] * len(self.command)

    def enter(self, step):
        if not self.active[step]:
            self.active[step] = True
            self.since[step] = self.now
            self.steps_changed = True
            for kind, number, _, _ in self.plan.actions[step]:
                if kind == "count":
                    self.counter[number] += 1
                elif kind == "clear":
                    self.counter[number] = 0

    def leave(self, step):
        if self.active[step]:
            self.active[step] = False
            self.steps_changed = True

    def force(self, chart, steps):
        """Puts a chart into just these steps; gives whether it was elsewhere."""
        own = [s for s, row in enumerate(self.plan_data["steps"]) if row["chart"] == chart]
        if all(self.active[s] == (s in steps) for s in own):
            return False
        for step in own:
            if step not in steps:
                self.leave(step)
        for step in steps:
            self.enter(step)
        self.timed_out[chart] = False
        return True

    def memory(self):
        return (tuple(self.active), tuple(self.command), tuple(self.stored), tuple(self.rises), tuple(self.falls),
                tuple(self.was), tuple(self.held), tuple(self.dropped), tuple(self.timed_out), tuple(self.latch),
                tuple(self.counter))

    def evolve(self):
        """One evolution of the program; gives whether it changed anything."""
        if not self.running:
            return False
        before = self.memory()
        data, plan = self.plan_data, self.plan
        for number, edge in enumerate(plan.edges):
            value = edge(self)
            self.rises[number] = value and not self.was[number]
            self.falls[number] = self.was[number] and not value
            self.was[number] = value
        for number, (sets, resets, _) in enumerate(plan.latches):
            if resets(self):
                self.latch[number] = False
            elif sets(self):
                self.latch[number] = True
        charts = range(len(self.held))
        forced = [False for _ in charts]
        held = [False for _ in charts]
        dropped = [False for _ in charts]
        for chart, in_steps, needs, effect in plan.interlocks:
            if not any(self.active[s] for s in in_steps) or needs(self):
                continue
            if effect[0] == "hold":
                held[chart] = True
                dropped[chart] = dropped[chart] or not effect[1]
            elif effect[0] == "goto":
                forced[chart] = self.force(chart, effect[1]) or forced[chart]
        for chart in charts:
            self.held[chart] = held[chart]
            if not self.timed_out[chart]:
                self.dropped[chart] = dropped[chart]
            elif dropped[chart]:
                self.dropped[chart] = True
        for step in [s for s, on in enumerate(self.active) if on]:
            limit = data["steps"][step]["time_out"]
            chart = data["steps"][step]["chart"]
            if not limit or forced[chart] or not self.active[step] or self.now - self.since[step] < limit["after"]:
                continue
            effect = limit["effect"]
            if effect[0] == "hold":
                self.timed_out[chart] = True
                if not effect[1]:
                    self.dropped[chart] = True
            elif effect[0] == "goto":
                forced[chart] = self.force(chart, effect[1]) or forced[chart]
        cleared = [(before_, after) for chart, before_, after, when in plan.transitions
                   if not (forced[chart] or self.held[chart] or self.timed_out[chart])
                   and all(self.active[s] for s in before_) and when(self)]
        entered = {s for _, after in cleared for s in after}
        for steps, _ in cleared:
            for step in steps:
                if step not in entered:
                    self.leave(step)
        for step in sorted(entered):
            self.enter(step)
        stable = not cleared and not any(forced)
        wanted = [False] * len(self.command)
        for step, row in enumerate(plan.actions):
            if not self.active[step]:
                continue
            for kind, output, when, _ in row:
                if not when(self):
                    continue
                if kind == "set":
                    self.stored[output] = True
                elif kind == "reset":
                    self.stored[output] = False
                elif kind in ("set_latch", "reset_latch"):
                    self.latch[output] = kind == "set_latch"
                elif kind == "drive" and not self.dropped[data["steps"][step]["chart"]]:
                    wanted[output] = True
        if stable:
            for output in range(len(self.command)):
                kept = self.stored[output] and not any(self.dropped[c] for c in plan.charts_of[output])
                self.command[output] = kept or wanted[output] or plan.always[output](self)
        return self.memory() != before

    def move(self, number):
        """One mechanism chooses its movement; gives whether anything about it changed."""
        travel = self.travel[number]
        came, to, done, whole, since = travel
        at_rest = done == 0 and since is None
        goal = None
        for froms, target, when, takes in self.plan.moves[number]:
            if (not froms or came in froms) and when(self):
                slow = max([100] + [e[2] for e in self.there if e[0] == "slow" and e[1] == number])
                goal = (target, max(takes * slow // 100, 1))
                break
        if self.short[number] is not None and goal is not None and goal[0] == self.short[number]:
            return False  # it stays where it stopped short until something moves it elsewhere
        leak = next((one for one in self.there if one[:3] == ["creeps", number, came]), None)
        creeps = leak and (at_rest or self.creeping[number]) and (goal is None or goal[0] == came)
        if creeps:
            goal = (leak[3], max(leak[4], 1))
        if ["stuck", number] in self.there:
            goal = None
        if at_rest and (goal is None or goal[0] == came):
            return False
        if since is not None:
            done += self.now - since
        if goal is None:
            new = [came, to, done or 1, whole, None]
            due = None
        else:
            target, takes = goal
            if at_rest:
                new = [came, target, 0, takes, self.now]
            elif target == came:
                left = max(takes * done // whole, 1)
                new = [to, target, takes - min(left, takes), takes, self.now]
            else:
                new = [came, target, min(takes * done // whole, takes - 1), takes, self.now]
            due = self.now + new[3] - new[2]
        old_place, self.place[number] = self.place[number], -1
        self.creeping[number] = bool(creeps)
        self.short[number] = None
        same = due == self.arrives[number] and new[:2] == travel[:2] and old_place == -1
        self.travel[number] = new
        self.arrives[number] = due
        return not same

    def settle(self):
        rounds = 0
        while True:
            self.physics()
            while self.evolve():
                rounds += 1
                if rounds > 300:
                    raise Restless
                self.physics()
            for number in range(len(self.travel)):
                if self.move(number):
                    break
            else:
                return
            rounds += 1
            if rounds > 300:
                raise Restless

    # --- time

    def next_due(self):
        times = [t for t in self.arrives if t is not None] + [t for t in self.pending if t is not None]
        if self.let_go:
            times.append(self.let_go[0])
        for step, marks in enumerate(self.plan.marks):
            if self.active[step]:
                times += [self.since[step] + ms for ms in marks if self.since[step] + ms > self.now]
        return min(times, default=None)

    def advance(self, to):
        self.now = to
        for number, due in enumerate(self.arrives):
            if due == to:
                came, target, _, whole, _ = self.travel[number]
                self.arrives[number] = None
                if ["short", number, target] in self.there:
                    self.travel[number] = [came, target, max(whole - 1, 1), max(whole, 2), None]
                    self.short[number] = target
                    continue
                self.travel[number] = [target, target, 0, 1, None]
                self.place[number] = target
                self.creeping[number] = False
        for number, due in enumerate(self.pending):
            if due == to:
                self.pending[number] = None
                self.reads[number] = not self.reads[number]
        if self.let_go and self.let_go[0] == to:
            _, mechanism, position = self.let_go
            self.let_go = None
            self.put(mechanism, position)
        self.settle()

    # --- hands

    def put(self, mechanism, position):
        self.travel[mechanism] = [position, position, 0, 1, None]
        self.arrives[mechanism] = None
        self.place[mechanism] = position
        self.creeping[mechanism] = False
        self.short[mechanism] = None

    def act(self, action):
        kind = action["do"]
        if kind == "put":
            self.put(action["mechanism"], action["position"])
        elif kind == "press":
            back = self.travel[action["mechanism"]][0]
            self.put(action["mechanism"], 1)
            self.let_go = (self.now + max(action["ms"], 1), action["mechanism"], 0 if back == 1 else back)
        elif kind == "supply":
            self.shut[action["supply"]] = not action["there"]
        elif kind == "power_cycle":
            self.mains = False
            self.settle()
            again = self.now + POWER_OFF_MS
            while (due := self.next_due()) is not None and due <= again:
                self.advance(due)
            self.now = again
            self.mains = True
        self.settle()

    # --- looking

    def key(self):
        """All that decides the future, but for the clock."""
        ago = lambda t: None if t is None else t - self.now
        return (tuple(self.place), self.memory(), tuple(self.reads), tuple(self.supply), tuple(self.driven),
                tuple((a, b, c, d, ago(e)) if (c, e) != (0, None) else (a,) for a, b, c, d, e in self.travel),
                tuple(ago(t) for t in self.pending), tuple(self.shut), self.mains, tuple(self.creeping),
                tuple(self.short),
                tuple(map(tuple, self.open)), None if self.let_go is None else (ago(self.let_go[0]), self.let_go[1:]),
                tuple(tuple(sorted(min(self.now - self.since[s], ms) for ms in marks)) if self.active[s] else ()
                      for s, marks in enumerate(self.plan.marks)))

    def noticed(self):
        driven = [n for n, row in enumerate(self.plan_data["mechanisms"]) if row["driven"]]
        return (tuple(self.active), tuple(self.place[n] for n in driven))

    def blinks(self, output):
        """Commanded, but by blinking actions only."""
        if self.stored[output] or self.plan.always[output](self):
            return False
        acting = [blink for step, row in enumerate(self.plan.actions) if self.active[step]
                  for kind, which, when, blink in row if kind == "drive" and which == output and when(self)]
        return self.command[output] and bool(acting) and all(acting)

    def lamps(self):
        """Each lamp: (share of time lit, whether the eye sees it flicker, whether it is steady)."""
        shown = []
        for row in self.plan_data["rows"]:
            for kind, number in row:
                if kind == "input":
                    value = self.reads[number]
                    for effect in self.there:
                        if effect[0] == "input" and effect[1] == number and effect[2] == "lamp":
                            value = effect[3] == "on"
                    shown.append((1.0 if value else 0.0, False, True))
                elif kind == "output":
                    value, blinks = self.command[number], self.blinks(number)
                    for effect in self.there:
                        if effect[0] == "output" and effect[1] == number and effect[2] == "lamp":
                            value, blinks = effect[3] == "on", False
                    shown.append((0.5, True, False) if blinks else (1.0 if value else 0.0, False, True))
                elif kind == "powered":
                    shown.append((1.0 if self.powered else 0.0, False, True))
                elif kind == "running":
                    shown.append((1.0 if self.running else 0.0, False, True))
                else:
                    shown.append((0.0, False, True))
        return shown

    def look(self):
        """Everything about it that evidence can speak of."""
        places = []
        for number, row in enumerate(self.plan_data["mechanisms"]):
            shares = [0.0] * (row["positions"] + 1)
            shares[self.place[number]] = 1.0  # -1, between, is the last
            places.append(shares)
        stages = {}
        for check in self.plan_data["checks"]:
            which = check["observes"]
            if which[0] == "input":
                stages[json.dumps(which)] = self.seen_at(which[1], which[2])
        return {"lamps": self.lamps(), "places": places, "stages": stages}


def mean_looks(looks, flickers=False):
    """Time-weighted means over one round of a machine that goes round, in whole thousandths."""
    total = sum(ms for ms, _ in looks)
    def mean(values):
        if all(value == values[0] for value in values):
            return values[0]
        on = sum(ms for (ms, _), value in zip(looks, values) if value > 0.0)
        return on * 1000 // total / 1000 * max(values)
    first = looks[0][1]
    def lamp(number):
        values = [one["lamps"][number] for _, one in looks]
        steady = all(value == values[0] for value in values)
        return values[0] if steady else (mean([share for share, _, _ in values]), flickers, False)
    return {
        "lamps": [lamp(number) for number in range(len(first["lamps"]))],
        "places": [[mean([one["places"][m][p] for _, one in looks]) for p in range(len(first["places"][m]))]
                   for m in range(len(first["places"]))],
        "stages": {key: mean([one["stages"][key] for _, one in looks]) for key in first["stages"]},
    }


def all_rounds(still, rounds):
    """What is seen where several contacts flip, each with a round of its own: what is on at rest is on while each of
    them lets it be, what is off while none of them brings it on. In whole thousandths."""
    def together(still, means):
        means = [round(1000 * mean) for mean in means if mean != still]
        if not means:
            return still
        if still == 0.0:
            means = [1000 - mean for mean in means]
        product = means[0]
        for mean in means[1:]:
            product = product * mean // 1000
        return (1000 - product if still == 0.0 else product) / 1000
    def lamp(number):
        changing = [one["lamps"][number] for one in rounds if one["lamps"][number] != still["lamps"][number]]
        if len(changing) < 2:
            return changing[0] if changing else still["lamps"][number]
        return (together(still["lamps"][number][0], [share for share, _, _ in changing]), True, False)
    if len(rounds) == 1:
        return rounds[0]
    return {
        "lamps": [lamp(number) for number in range(len(still["lamps"]))],
        "places": [[together(share, [one["places"][m][p] for one in rounds]) for p, share in enumerate(row)]
                   for m, row in enumerate(still["places"])],
        "stages": {key: together(share, [one["stages"][key] for one in rounds]) if share in (0.0, 1.0)
                   else min([share] + [one["stages"][key] for one in rounds]) for key, share in still["stages"].items()},
    }


# --------------------------------------------------------------------- people

MOST_FLIPS = 24


class TooRare(Exception):
    """A course of events that bears on nothing."""


class Chance:
    """One course of events: at each fork the branch that a list says, then the first."""

    def __init__(self, script, least, known=0):
        self.script, self.least = script, least
        self.known = known  # so many of them have happened
        self.taken = []
        self.probability = 1.0

    def falls(self, probability):
        """Whether something happens that does with this probability."""
        first = self.script[len(self.taken)] if len(self.taken) < len(self.script) else True
        self.taken.append(first)
        if len(self.taken) > self.known:
            self.probability *= probability if first else 1.0 - probability
        if self.probability < self.least:
            raise TooRare
        return first


def courses(play, least, known=()):
    """Every course of events that begins in a known way: its probability from there on, and what came of it."""
    script = list(known)
    while True:
        chance = Chance(script, least, len(known))
        try:
            came = play(chance)
            yield chance.probability, came
        except TooRare:
            pass
        script = chance.taken
        while len(script) > len(known) and not script[-1]:
            script.pop()
        if len(script) == len(known):
            return
        script[-1] = False


class Walk:
    """A machine on its way through a routine, or through one deed, moment by moment."""

    def __init__(self, machine, setting_in, chance):
        self.machine = machine
        self.chance = chance
        self.flips = 0
        self.waiting = sorted(setting_in, key=lambda one: one[0])  # (moment, effects)
        self.marks = []  # (stage, epoch, time, lamps, decisions of chance by then)
        self.moment = [0, 0]
        self.met = set()

    def mark(self):
        """A kept moment: whatever was to set in by now sets in."""
        decided = len(self.chance.taken) if self.chance else 0
        self.marks.append((self.moment[0], self.moment[1], self.machine.now, self.machine.lamps(), decided))
        some = False
        while self.waiting and self.waiting[0][0] <= tuple(self.moment):
            self.machine.impose(self.waiting.pop(0)[1])
            some = True
        return some

    def new_epoch(self):
        """Opens an epoch if steps have changed; gives whether something has set in."""
        machine = self.machine
        some = False
        while machine.steps_changed:
            machine.steps_changed = False
            steps = tuple(machine.active)
            if steps in self.met or self.moment[1] >= EPOCHS_PER_STAGE:
                break
            self.met.add(steps)
            self.moment[1] += 1
            if self.mark():
                machine.react()
                some = True
        return some

    def stop_where_it_begins(self, rounds):
        """A machine that goes round is left where its lowest-numbered steps, or its lowest places, begin."""
        machine = self.machine
        if len({steps for steps, _ in rounds}) > 1:
            number = lambda: sum(1 << at for at, on in enumerate(machine.active) if on)
            lowest = min(sum(1 << at for at, on in enumerate(steps) if on) for steps, _ in rounds)
        elif len({places for _, places in rounds}) > 1:
            number = lambda: tuple(travel[0] for travel in machine.travel)
            lowest = min(places for _, places in rounds)
        else:
            return
        while True:
            before = number()
            machine.advance(machine.next_due())
            if before != lowest and number() == lowest:
                return

    def come_to_rest(self, until=None, epochs=True):
        """Until nothing changes any more; gives whether it stands or goes round, and the looks of a round."""
        machine = self.machine
        seen = set()
        looks = None  # of the round under way, once it is known that the machine goes round
        first = None
        rounds = []  # the active steps in it, and where each mechanism is or comes from
        count = -1
        while True:
            count += 1
            due = machine.next_due()
            if due is None:
                if until is not None:
                    machine.now = until
                elif machine.loose():
                    stands = self.chatter_at_rest(epochs)
                    if stands is None:
                        count, seen = -1, set()
                        continue
                    return stands
                return "standing", None
            if until is not None and due > until:
                machine.now = until
                return "standing", None
            if count > 40:
                key = machine.key()
                if looks is None and key in seen:
                    looks, first = [], key
                elif looks is not None and key == first:
                    self.stop_where_it_begins(rounds)
                    return "cycling", mean_looks(looks)
                seen.add(key)
            if looks is None and self.flips_first(due, epochs):
                count, seen = -1, set()
                continue
            if count > 40:
                if looks is not None:
                    looks.append((due - machine.now, machine.look()))
                    rounds.append((tuple(machine.active), tuple(travel[0] for travel in machine.travel)))
            machine.advance(due)
            if epochs:
                self.new_epoch()

    def flips_first(self, due, epochs):
        """Whether chance had a say in whether a loose contact flips before the next thing happens."""
        machine = self.machine
        if self.flips >= MOST_FLIPS:
            return False
        gap = due - machine.now
        for effect, mean in machine.loose():
            trial = machine.copy()
            trial.now += min(mean, gap // 2)
            trial.flip(effect)
            if not trial.felt(machine, effect):
                continue
            if self.chance.falls(-math.expm1(-gap / mean)):
                machine.now += min(mean, gap // 2)
                machine.flip(effect)
                self.flips += 1
            else:
                machine.advance(due)
            if epochs:
                self.new_epoch()
            return True
        return False

    def chatter_at_rest(self, epochs):
        """Nothing is due, but contacts are loose: each by itself flips until all comes round again. `None` if something
        has set in meanwhile: what that has set going has to come to rest first."""
        machine = self.machine
        machine.steps_changed = False
        flips = {}
        while True:
            kept, look, rounds = machine.key(), machine.look(), []
            for effect, _ in machine.loose():
                looks, passed = [], [kept]
                name = json.dumps(effect)
                while True:
                    live = [mean for one, mean in machine.loose() if one == effect]
                    if not live:
                        break
                    if flips.get(name, 0) >= MOST_FLIPS:
                        return ("cycling", mean_looks(looks, flickers=True)) if looks else ("standing", None)
                    flips[name] = flips.get(name, 0) + 1
                    looks.append((live[0], machine.look()))
                    machine.now += live[0]
                    machine.flip(effect)
                    seen = set()
                    while (due := machine.next_due()) is not None and machine.key() not in seen:
                        seen.add(machine.key())
                        machine.advance(due)
                    # What the first flip has ended for good does not come again: the round begins behind it.
                    if machine.steps_changed or machine.key() in passed:
                        break
                    passed.append(machine.key())
                if machine.steps_changed or machine.key() != kept:
                    break
                rounds.append(mean_looks(looks, flickers=True))
            if machine.steps_changed:
                if epochs and self.new_epoch():
                    return None
                machine.steps_changed = False
            elif machine.key() == kept:
                return "standing", all_rounds(look, rounds) if rounds else None

    def begin_stage(self, stage):
        self.moment[:] = [stage, 0]
        if self.mark():
            self.machine.react()

    def hand(self, action):
        """The hand acts, or not; counting begins anew."""
        self.met.clear()
        self.machine.steps_changed = False
        if action is not None:
            self.machine.act(action)

    def end_stage(self, stop, looks):
        self.moment[1] = END
        if self.mark():
            self.machine.react()
            return self.come_to_rest(epochs=False)
        return stop, looks


def run(plan, deviations, slots, nominal, options, keep=False):
    """Plays the routine. Gives the ends of stages, in every course of events, and the kept moments (of the last)."""
    all_ends, marks = [], []
    for probability, (ends, marks) in courses(
            lambda chance: course(plan, deviations, slots, nominal, options, keep, chance), options.get("least_branch", 0.0)):
        all_ends += [{**end, "calls": end["calls"] * probability} for end in ends]
    return all_ends, marks


def course(plan, deviations, slots, nominal, options, keep, chance):
    """Plays the routine once. Gives the ends of stages (with the machine as it is there) and the kept moments."""
    data = plan.data
    machine = Machine(plan)
    setting_in = []
    for slot, d in zip(slots, deviations):
        # What somebody does unasked he does not do before power-on.
        slot = (0, 1) if is_unasked(data["deviations"][d]) and slot == (0, 0) else slot
        setting_in.append((slot, data["deviations"][d]["effects"]))
    walk = Walk(machine, setting_in, chance)
    ends = []
    going_on, odd = 1.0, 0
    stages = len(data["routine"]) + 1
    walk.mark()
    for stage in range(stages):
        action = data["routine"][stage - 1] if stage else None
        if stage == 0:
            machine.mains = True
            machine.steps_changed = False
            machine.settle()
        else:
            walk.begin_stage(stage)
            before = data["routine"][stage - 2] if stage > 1 else {"wait": None}
            if before["wait"] is None:
                walk.come_to_rest(epochs=False)
            walk.hand(None if stage - 1 in machine.forgotten else action)
        acted = machine.now
        walk.new_epoch()
        wait = action["wait"] if action else None
        stop, looks = walk.come_to_rest(None if wait is None else acted + wait)
        if wait is not None and stage != stages - 1:
            continue
        stop, looks = walk.end_stage(stop, looks)
        state = {"noticed": machine.noticed(), "stop": stop, "running": machine.running,
                 "active": list(machine.active), "timed_out": any(machine.timed_out), "epochs": len(walk.met)}
        usual = nominal is None or all(nominal[stage][what] == state[what] for what in ("noticed", "stop", "epochs"))
        calls = options["calls_when_fine"] if usual else options["calls_when_odd"]
        if not usual:
            odd += 1
            if odd >= options["patience"] or stage == stages - 1:
                calls = 1.0
        ends.append({"stage": stage, "calls": going_on * calls, "usual": usual, "state": state,
                     "look": looks or machine.look(), "machine": machine.copy() if keep else None})
        going_on *= 1.0 - calls
        if going_on <= 0.0:
            break
    return ends, walk.marks


def moments(marks, options):
    """The moments at which faults set in, with their shares."""
    kept = [(stage, epoch, now) for stage, epoch, now, _, _ in marks if epoch != END]
    end = marks[-1][2]
    lengths = []
    for number, (stage, epoch, now) in enumerate(kept):
        after = kept[number + 1][2] if number + 1 < len(kept) else end
        lengths.append(options["hand_pause_ms"] if epoch == 0 else max(after - now, options["least_epoch_ms"]))
    total = sum(lengths[1:])
    shares = []
    for number, (stage, epoch, _) in enumerate(kept):
        if number == 0:
            share = options["before_power_on"] if len(kept) > 1 else 1.0
        else:
            share = (1.0 - options["before_power_on"]) * lengths[number] / total
        shares.append(((stage, epoch), share))
    return shares


# --------------------------------------------------------------------- prior

def prior(data):
    """Odds of each deviation against its device being in order, and the group it excludes the others of."""
    odds, group = [0.0] * len(data["deviations"]), [None] * len(data["deviations"])
    for number, device in enumerate(data["devices"]):
        rates = [data["deviations"][d]["rate"] / 1e6 for d in device]
        failed = -math.expm1(-sum(rates) * data["hours"])
        for deviation, rate in zip(device, rates):
            odds[deviation] = failed * rate / sum(rates) / (1.0 - failed)
            group[deviation] = ("device", number)
    for number, row in enumerate(data["deviations"]):
        if row["lapse"]:
            odds[number] = row["chance"] / (1.0 - row["chance"])
            group[number] = ("lapse", number)
    return odds, group


# --------------------------------------------------------------------- what is reported

def lamp_likelihood(said, truth, error):
    share, flickers, steady = truth
    if steady:
        if said == "flickers":
            return error * 0.15
        return 1.0 - error if (said == "lit") == (share == 1.0) else error * 0.85
    seen = 0.7 if flickers else 0.0
    right = {"flickers": seen, "lit": (1 - seen) * share, "dark": (1 - seen) * (1 - share)}[said]
    return (1.0 - error) * right + error / 3.0


def slips(rows, doubt):
    """Every way in which a report can slip: probability and, for each lamp, the lamp that was really looked at."""
    starts, total = [], 0
    for row in rows:
        starts.append(total)
        total += len(row)
    straight = list(range(total))
    neighbours, shifted, exchanged = [], [], []
    for number, row in enumerate(rows):
        start, length = starts[number], len(row)
        for lamp in range(start, start + length - 1):
            order = straight[:]
            order[lamp], order[lamp + 1] = order[lamp + 1], order[lamp]
            neighbours.append(order)
        if length > 2:
            for step in (1, -1):
                order = straight[:]
                for column in range(length):
                    order[start + column] = start + (column + step) % length
                shifted.append(order)
        for other in range(number + 1, len(rows)):
            if len(rows[other]) == length and length > 1:
                order = straight[:]
                for column in range(length):
                    order[start + column], order[starts[other] + column] = starts[other] + column, start + column
                exchanged.append(order)
    result, rest = [], 1.0
    for probability, orders in ((doubt["neighbours"], neighbours), (doubt["shifted"], shifted), (doubt["rows"], exchanged)):
        if orders:
            rest -= probability
            result += [(probability / len(orders), order) for order in orders]
    return [(rest, straight)] + result


COMPLAINTS = ["wont_start", "stops_midway", "wont_finish", "wrong_result"]
COMPLAINS = {
    "waits": [0.60, 0.20, 0.15, 0.05],
    "finished": [0.15, 0.10, 0.15, 0.60],
    "not_started": [0.85, 0.08, 0.05, 0.02],
    "stalled": [0.12, 0.60, 0.25, 0.03],
    "tripped": [0.15, 0.60, 0.20, 0.05],
    "down": [0.70, 0.25, 0.04, 0.01],
    "restless": [0.10, 0.30, 0.40, 0.20],
}


def stands(data, end, nominal):
    state = end["state"]
    if end["usual"]:
        return "finished" if end["stage"] == len(data["routine"]) else "waits"
    if not state["running"]:
        return "down"
    if state["stop"] != nominal["stop"] and state["stop"] != "standing":
        return "restless"
    if state["timed_out"] or any(on and row["alarm"] for on, row in zip(state["active"], data["steps"])):
        return "tripped"
    initial = {step for chart in data["charts"] for step in chart["initial"]}
    if all(on == (step in initial) for step, on in enumerate(state["active"])):
        return "not_started"
    return "stalled"


def answered(shares, said, error):
    right = shares[said]
    return right * (1.0 - error) + (1.0 - right) * error / (len(shares) - 1)


def numbered(data, evidence):
    """Lamp reports by lamp number."""
    starts, total = [], 0
    for row in data["rows"]:
        starts.append(total)
        total += len(row)
    return [(starts[r] + c, said, named) for r, c, said, named in evidence["lamps"]]


def likelihood(data, evidence, end, nominal):
    value = 1.0
    if evidence["complaint"] is not None:
        value *= COMPLAINS[stands(data, end, nominal[end["stage"]])][COMPLAINTS.index(evidence["complaint"])]
    value *= deed_likelihood(data, evidence, end["stage"])
    return value * sight(data, evidence, end["look"])


def deed_likelihood(data, evidence, stage):
    """The probability of the routine named, if one was, and of the last thing done in it."""
    doubt = data["doubt"]
    stages = len(data["routine"]) + 1
    said = evidence["deed"]
    if evidence.get("routine") not in (None, data.get("which", 0)):
        return doubt["routine"] * (1.0 if said is None else 1.0 / stages)
    if said is None:
        return 1.0
    return 1.0 - doubt["deed"] if stage == said else doubt["deed"] / (stages - 1)


def sight(data, evidence, look):
    """The probability of what was seen at one moment."""
    doubt = data["doubt"]
    reports = numbered(data, evidence)
    total = 0.0
    for weight, order in slips(data["rows"], doubt):
        product = weight
        for lamp, said, named in reports:
            product *= lamp_likelihood(said, look["lamps"][order[lamp]], doubt["named" if named else "rest"])
        total += product
    value = total
    for mechanism, position in evidence["positions"]:
        value *= answered(look["places"][mechanism], -1 if position is None else position, doubt["position"])
    for number, said in evidence["checks"]:
        check = data["checks"][number]
        on = look["stages"][json.dumps(check["observes"])]
        value *= answered([on, 1.0 - on], said, check["error"])
    return value


def said_to_run(data, evidence, runs):
    """The probability of what was said of whether it runs, if it does with this probability."""
    said, wrong = evidence.get("runs"), data["doubt"].get("runs", 0.0)
    if said is None:
        return 1.0
    yes = runs * (1.0 - wrong) + (1.0 - runs) * wrong
    return yes if said else 1.0 - yes


def under_unknown(data, evidence, marks):
    """The probability of the evidence under a cause that is not in the file."""
    value = 1.0
    if evidence["complaint"] is not None:
        value *= 0.25
    stages = len(data["routine"]) + 1
    value *= math.fsum(deed_likelihood(data, evidence, stage) for stage in range(stages)) / stages
    return value * unknown_sight(data, dict(evidence, deeds=[]), marks)


def unknown_lamps(reports, marks):
    at_random = math.prod({"lit": 0.35, "dark": 0.6, "flickers": 0.05}[said] for _, said, _ in reports)
    like_normal = sum(math.prod(lamp_likelihood(said, (float(lamps[lamp][0] > 0), False, True), 0.12)
                                for lamp, said, _ in reports) for _, _, _, lamps, _ in marks) / len(marks)
    return 0.5 * at_random + 0.5 * like_normal


def unknown_sight(data, evidence, marks, before=()):
    """The same for what was seen at one moment, after those before: as it was then, or anything."""
    stays = 0.6 if evidence.get("deeds") else 0.98

    def once(said, truth, answers):
        return 0.98 if said == truth else 0.02 / (answers - 1)

    def again(was, said, answers):
        """What it is has been told before, each time with an error."""
        weights = [math.prod(once(told, truth, answers) for told in was) for truth in range(answers)]
        return sum(weight * once(said, truth, answers) for truth, weight in enumerate(weights)) / sum(weights)

    def told(was, said, answers):
        if not was:
            return 1 / answers
        return stays * again(was, said, answers) + (1 - stays) / answers

    def said_before(of):
        said = {}
        for moment in before:
            for what, how in of(moment):
                said.setdefault(what, []).append(how)
        return said

    state = {"lit": 0, "dark": 1, "flickers": 2}
    lamps_before = said_before(lambda moment: [(lamp, state[said]) for lamp, said, _ in numbered(data, moment)])
    reports = numbered(data, evidence)
    known = [report for report in reports if report[0] in lamps_before]
    value = unknown_lamps(reports, marks)
    if known:
        as_before = math.prod(again(lamps_before[lamp], state[said], 3) for lamp, said, _ in known)
        new = [report for report in reports if report[0] not in lamps_before]
        value = stays * as_before * unknown_lamps(new, marks) + (1 - stays) * value

    def place(mechanism, said):
        positions = data["mechanisms"][mechanism]["positions"]
        return said if said is not None and 0 <= said < positions else positions

    positions_before = said_before(lambda moment: [(what, place(what, said)) for what, said in moment["positions"]])
    for mechanism, said in evidence["positions"]:
        positions = data["mechanisms"][mechanism]["positions"]
        value *= told(positions_before.get(mechanism), place(mechanism, said), positions + 1)
    checks_before = said_before(lambda moment: moment["checks"])
    for check, said in evidence["checks"]:
        value *= told(checks_before.get(check), said, 2)
    if evidence.get("runs") is not None:
        by_itself = data["doubt"]["runs_by_itself"]
        value *= by_itself if evidence["runs"] else 1.0 - by_itself
    return value


# --------------------------------------------------------------------- later moments

class Held:
    """A history that has come as far as the moment that is spoken of."""

    def __init__(self, there, machine, look, began, weight, right=frozenset(), odd=False):
        self.there = there  # deviations
        self.right = right  # those of them that have been put right
        self.machine = machine
        self.look = look
        self.began = began  # the stage after which somebody called
        self.odd = odd  # whether the run was not as always then
        self.weight = weight

    def but(self, **other):
        """The same but for some things."""
        new = Held.__new__(Held)
        new.__dict__.update(self.__dict__, **other)
        return new


def deed(machine, action, least, setting_in=(), known=()):
    """A hand acts on a machine at rest, and that comes to rest. For each course of events: its probability, the
    machine, what it looks like, the moments, and what chance decided."""
    def play(chance):
        walk = Walk(machine.copy(), [((0, epoch), effects) for epoch, effects in setting_in], chance)
        walk.begin_stage(0)
        walk.come_to_rest(epochs=False)
        walk.hand(action)
        walk.new_epoch()
        _, looks = walk.end_stage(*walk.come_to_rest())
        return walk.machine, looks or walk.machine.look(), walk.marks, chance.taken
    for probability, came in courses(play, least, known):
        yield (probability, *came)


WAIT = {"do": "wait"}


class Later:
    """What happens after somebody has called."""

    def __init__(self, data, slots, odds, group, found):
        self.data, self.slots, self.odds, self.group = data, slots, odds, group
        self.late = [d for d, row in enumerate(data["deviations"]) if not from_the_beginning(row)]
        # What by itself can make the routine go otherwise than always.
        self.disturbs = {chosen[0] for chosen, _, end, _ in found if len(chosen) == 1 and not end["usual"]}
        self.least = data["options"].get("least_branch", 0.0)

    def effects(self, deviation):
        return self.data["deviations"][deviation]["effects"]

    def upto(self, stage):
        return sum(share for (at, _), share in self.slots if at <= stage)

    def acted(self, held, action):
        for probability, machine, look, _, _ in deed(held.machine, action, self.least):
            yield held.but(machine=machine, look=look, weight=held.weight * probability)

    def moments_of(self, marks, stage):
        """The moments of a deed: epoch, share, and how much chance had decided by then."""
        if stage is not None:
            return [(epoch, share, 0) for (at, epoch), share in self.slots if at == stage]
        options = self.data["options"]
        of_a_millisecond = dict(self.slots)[(1, 0)] / options["hand_pause_ms"]
        found = []
        for (_, epoch, now, _, decided), after in zip(marks, marks[1:]):
            ms = options["hand_pause_ms"] if epoch == 0 else max(after[2] - now, options["least_epoch_ms"])
            found.append((epoch, ms * of_a_millisecond, decided))
        return found

    def sets_in(self, held, action, stage):
        """Everything that can have set in during the deed."""
        if len(held.there) > 1:
            return
        # The moments of the routine are known; those of another deed are as that goes without it.
        runs = list(deed(held.machine, action, self.least)) if stage is None else [(1.0, None, None, None, [])]
        for likely, _, _, marks, taken in runs:
            for epoch, share, decided in self.moments_of(marks, stage):
                for deviation in self.late:
                    if any(self.group[deviation] == self.group[other] for other in held.there):
                        continue
                    sets_in = [(epoch, self.effects(deviation))]
                    weight = held.weight * self.odds[deviation] * likely * share / self.upto(held.began)
                    for probability, machine, look, _, _ in deed(held.machine, action, self.least, sets_in, taken[:decided]):
                        yield held.but(there=(*held.there, deviation), machine=machine, look=look,
                                       weight=weight * probability)

    def remedied(self, held, number):
        """Each way in which a remedy can end."""
        wrong = [d for d in held.there
                 if self.data["deviations"][d]["remedy"] == number and d not in held.right]
        fails = self.data["doubt"]["remedy"]
        does = self.data["remedies"][number]["does"]
        for works in itertools.product([True, False], repeat=len(wrong)):
            right = [d for d, done in zip(wrong, works) if done]
            weight = held.weight * math.prod(1.0 - fails if done else fails for done in works)
            after = [held.but(right=held.right | set(right), weight=weight)]
            if right:
                machine = held.machine.without([effect for d in right for effect in self.effects(d)])
                after = list(self.acted(after[0].but(machine=machine), WAIT))
            for one in after:
                yield from [one] if does is None else self.acted(one, does)

    def gone_on(self, all_held, moment, named):
        """All histories after one more moment, not weighed by what was seen yet."""
        late = []
        for remedy in moment["remedies"]:
            all_held = [after for held in all_held for after in self.remedied(held, remedy)]
        for one in moment["deeds"] or ([] if moment["remedies"] else [{"extra": WAIT}]):
            if "extra" in one:
                action, stage = one["extra"], None
            elif named in (None, self.data.get("which", 0)):
                action, stage = self.data["routine"][one["routine"]], one["routine"] + 1
            else:
                # In another routine than people were at, it is something else that was done.
                action, stage = self.data["routines"][named][one["routine"]], None
            late = [after for held in late for after in self.acted(held, action)]
            late += [after for held in all_held for after in self.sets_in(held, action, stage)]
            all_held = [after for held in all_held for after in self.acted(held, action)]
        return all_held + late

    def runs(self, held):
        """Whether the machine runs again."""
        left = [d for d in held.there if d not in held.right]
        if not left:
            return True
        if held.odd and not held.right:
            return False
        other = held.machine.without([effect for d in left for effect in self.effects(d)])
        if held.machine.holds_otherwise(other):
            return False
        return not any(d in self.disturbs and (held.odd or held.machine.still_there(self.effects(d))) for d in left)


def followed(data, evidence, found, nominal, marks, later):
    """What is left after all moments: (deviations, weight), and the weight of a cause that is not in the file."""
    all_held = [Held(chosen, end["machine"], end["look"], end["stage"],
                     weight * likelihood(data, evidence, end, nominal), odd=not end["usual"])
                for chosen, _, end, weight in found]
    factor = 1.0
    before = [evidence]
    for moment in evidence["later"]:
        all_held = later.gone_on(all_held, moment, evidence.get("routine"))
        for held in all_held:
            held.weight *= sight(data, moment, held.look)
            if moment.get("runs") is not None:
                held.weight *= said_to_run(data, moment, 1.0 if later.runs(held) else 0.0)
        factor *= unknown_sight(data, moment, marks, before)
        before.append(moment)
    return [(held.there, held.weight) for held in all_held], factor


# --------------------------------------------------------------------- all together

def is_unasked(deviation):
    """Whether it is something that somebody does and does not tell."""
    return any(effect[0] == "unasked" for effect in deviation["effects"])


def from_the_beginning(deviation):
    """Whether it is there before power-on rather than from any moment on."""
    return (deviation["lapse"] and not is_unasked(deviation)
            or any("chatters" in effect for effect in deviation["effects"]))


def histories(data):
    """Every history that leads to a call: deviations, moments, end, weight before any evidence; and how the
    undisturbed run goes."""
    plan = Plan(data)
    keep = any("later" in evidence for evidence in data["evidence"])
    options = data["options"]
    nominal_ends, marks = run(plan, [], [], None, options)
    nominal = {end["stage"]: end["state"] for end in nominal_ends}
    slots = moments(marks, options)
    odds, group = prior(data)
    count = len(data["deviations"])
    sizes = range(data.get("at_once", 2) + 1)
    sets = [chosen for size in sizes for chosen in itertools.combinations(range(count), size)]
    sets = [chosen for chosen in sets if len({group[d] for d in chosen}) == len(chosen)]
    found = []
    for chosen in sets:
        times = [[((0, 0), None)] if from_the_beginning(data["deviations"][d]) else slots for d in chosen]
        for onset in itertools.product(*times):
            ends, _ = run(plan, chosen, [slot for slot, _ in onset], nominal, options, keep)
            for end in ends:
                weight = end["calls"] * math.prod(odds[d] for d in chosen)
                for slot, share in onset:
                    if share is not None:
                        # The moments up to the end of this stage share the whole.
                        upto = sum(other for (stage, _), other in slots if stage <= end["stage"])
                        weight *= share / upto if slot[0] <= end["stage"] else 0.0
                if weight > 0.0:
                    found.append((chosen, tuple(slot for slot, _ in onset), end, weight))
    return found, nominal, marks, Later(data, slots, odds, group, found)


class Routine:
    """What can be the case if people are doing this routine."""

    def __init__(self, data, which, share):
        self.share = share
        self.data = {**data, "routine": data["routines"][which], "which": which} if "routines" in data else data
        self.found, self.nominal, self.marks, self.later = histories(self.data)

    def weighed(self, evidence):
        """Deviations and weight of each history after the evidence; the weight of a cause that is not in the file."""
        data, found, nominal, marks = self.data, self.found, self.nominal, self.marks
        if "later" in evidence:
            parts, factor = followed(data, evidence, found, nominal, marks, self.later)
        else:
            parts = [(chosen, weight * likelihood(data, evidence, end, nominal)) for chosen, _, end, weight in found]
            factor = 1.0
        listed = math.fsum(weight for chosen, _, _, weight in found if len(chosen) <= 2)
        unlisted = data["doubt"]["unlisted"]
        unknown = listed * unlisted / (1.0 - unlisted) * under_unknown(data, evidence, marks) * factor
        return [(chosen, weight * self.share) for chosen, weight in parts], unknown * self.share


def routines(data):
    """All routines, the first of which is what people mostly do."""
    count = len(data.get("routines", [None]))
    first = data["doubt"].get("first_routine", 1.0)
    return [Routine(data, which, first if which == 0 else (1.0 - first) / (count - 1)) for which in range(count)]


class Alternative:
    """One of the ways in which the machine may be."""

    def __init__(self, data, first):
        self.data, self.first = data, first
        self.routines = routines(data)
        odds, group = prior(data)
        of_group = {}
        for one, which in zip(odds, group):
            of_group[which] = of_group.get(which, 0.0) + one
        # Weights are odds against everything being in order, which it is with this probability.
        self.share = data.get("weight", 1.0) / math.prod(1.0 + one for one in of_group.values())

    def told(self, evidence):
        """The evidence, which is in the numbers of the first alternative, in those of this one; and how many of the
        things named this one does not have."""
        if self.data is self.first:
            return evidence, 0
        missing = 0
        def known(things):
            nonlocal missing
            missing += sum(1 for one in things if one is None)
            return [one for one in things if one is not None]
        def one_moment(moment):
            nonlocal missing
            lamps = []
            for row, column, said, named in moment["lamps"]:
                place = self.place_of(self.first["labels"][row][column])
                lamps += [[*place, said, named]] if place else []
                missing += 1 if named and not place else 0
            new = {**moment, "lamps": lamps,
                   "positions": known([self.position(*one) for one in moment["positions"]]),
                   "checks": known([self.check(*one) for one in moment["checks"]])}
            if "deeds" in moment:
                new["deeds"] = known([self.deed(one) for one in moment["deeds"]])
                new["remedies"] = known([self.named("remedies", "key", one) for one in moment["remedies"]])
            return new
        new = one_moment(evidence)
        if evidence["deed"]:
            action = self.action(evidence["deed"] - 1)
            missing += action is None
            new["deed"] = None if action is None else action + 1
        if "later" in evidence:
            new["later"] = [one_moment(moment) for moment in evidence["later"]]
        return new, missing

    def named(self, table, key, number):
        """The row of the same name."""
        name = self.first[table][number][key]
        return next((at for at, row in enumerate(self.data[table]) if row[key] == name), None)

    def place_of(self, label):
        return next(([row, column] for row, labels in enumerate(self.data["labels"])
                     for column, one in enumerate(labels) if one == label), None)

    def position(self, mechanism, position):
        there = self.named("mechanisms", "name", mechanism)
        if there is None or position is None:
            return None if there is None else [there, None]
        names = self.data["mechanisms"][there]["names"]
        name = self.first["mechanisms"][mechanism]["names"][position]
        return [there, names.index(name)] if name in names else None

    def check(self, number, answer):
        there = self.named("checks", "key", number)
        return None if there is None else [there, answer]

    def action(self, number):
        """The same action of the routine; of several alike, the one with as many before it."""
        words = [action["words"] for action in self.first["routine"]]
        alike = [at for at, action in enumerate(self.data["routine"]) if action["words"] == words[number]]
        before = words[:number].count(words[number])
        return alike[before] if before < len(alike) else None

    def deed(self, one):
        if "routine" in one:
            action = self.action(one["routine"])
            return None if action is None else {"routine": action}
        hand = one["extra"]
        if hand["do"] == "put":
            there = self.position(hand["mechanism"], hand["position"])
            return there and {"extra": {**hand, "mechanism": there[0], "position": there[1]}}
        if hand["do"] == "supply":
            there = self.named("supplies", "name", hand["supply"])
            return None if there is None else {"extra": {**hand, "supply": there}}
        return one

    def weighed(self, evidence):
        """Keys of deviations with the weight of each history; the weight of a cause that is not in the file."""
        told, missing = self.told(evidence)
        share = self.share * self.data["doubt"].get("not_there", 1.0) ** min(missing, 3)
        keys = [row["key"] for row in self.data["deviations"]]
        weighed = [routine.weighed(told) for routine in self.routines]
        parts = [([keys[d] for d in chosen], weight * share) for parts, _ in weighed for chosen, weight in parts]
        return parts, share * math.fsum(unknown for _, unknown in weighed)


def posterior(evidence, alternatives):
    weighed = [alternative.weighed(evidence) for alternative in alternatives]
    parts = [part for parts, _ in weighed for part in parts]
    unknown = math.fsum(unknown for _, unknown in weighed)
    total = math.fsum(weight for _, weight in parts) + unknown
    keys = dict.fromkeys(row["key"] for alternative in alternatives for row in alternative.data["deviations"])
    return {
        "nothing": math.fsum(weight for chosen, weight in parts if not chosen) / total,
        "unknown": unknown / total,
        "deviations": {key: math.fsum(weight for chosen, weight in parts if key in chosen) / total for key in keys},
    }


def solve(path):
    with open(path, encoding="utf-8") as file:
        data = json.load(file)
    # Evidence is in the numbers of the first alternative; all are asked the same.
    each = [{**one, "evidence": data["evidence"]} for one in data.get("alternatives", [data])]
    alternatives = [Alternative(one, each[0]) for one in each]
    answers = [posterior(evidence, alternatives) for evidence in data["evidence"]]
    histories = sum(len(routine.found) for one in alternatives for routine in one.routines)
    return {"case": data["name"], "histories": histories, "answers": answers}


if __name__ == "__main__":
    import multiprocessing
    import os
    paths = sys.argv[1:]
    with multiprocessing.Pool(max(1, min(len(paths), os.cpu_count() or 1))) as pool:
        for result in pool.imap(solve, paths, chunksize=1):
            print(json.dumps(result), flush=True)
