"use strict";
// What is wrong, from what was reported: the same sums as the program's, over rows that it has worked out before.
// docs/reckoning.md has the rules, diagnose::digest what the rows are. Pure: no page, no clock, no chance.

// Numbers stand in strings, one letter each: 0 is "#", and "\" is passed over.
function unpack(text) {
  const numbers = new Int32Array(text.length);
  for (let at = 0; at < text.length; at++) {
    const code = text.charCodeAt(at);
    numbers[at] = code - (code > 92 ? 36 : 35);
  }
  return numbers;
}

const LIT = 0, DARK = 1, FLICKERS = 2, SILENT = 6;

// The probability of a report about one lamp; truth: 0 dark, 1 lit, else [share of time lit, seen to flicker].
function lampLikelihood(state, truth, error) {
  if (truth === 0 || truth === 1) {
    if (state === FLICKERS) return error * 0.15;
    return (state === LIT) === (truth === 1) ? 1 - error : error * 0.85;
  }
  const [share, flickers] = truth;
  const seen = flickers ? 0.7 : 0;
  const right = state === FLICKERS ? seen : (1 - seen) * (state === LIT ? share : 1 - share);
  return (1 - error) * right + error / 3;
}

// The probability of an answer when each has a share of the truth and errors go evenly to the others.
function reported(shares, said, error) {
  const right = said < shares.length ? shares[said] : 0;
  return right * (1 - error) + ((1 - right) * error) / Math.max(shares.length - 1, 1);
}

// A report of the lamps against what they show, with slips; see likelihood.rs.
class LampReport {
  // kinds: by lamp, state (+ 3 if it was one of "all the others"), or SILENT.
  constructor(ground, kinds, doubt) {
    this.errors = [doubt.named, doubt.rest];
    this.kinds = kinds;
    const same = (order) => order.every(([to, kind]) => kinds[to] === kind);
    const slips = [];
    const group = (probability, orders) => {
      if (orders.length === 0) return 0;
      for (const order of orders) if (!same(order)) slips.push([probability / orders.length, order]);
      const kept = orders.filter((order) => !same(order)).length;
      return (probability * kept) / orders.length;
    };
    const neighbours = [], shifted = [], exchanged = [];
    let start = 0;
    const rows = ground.lampRows.map((length) => { start += length; return [start - length, length]; });
    rows.forEach(([from, length], index) => {
      for (let lamp = from; lamp + 1 < from + length; lamp++) {
        neighbours.push([[lamp, kinds[lamp + 1]], [lamp + 1, kinds[lamp]]]);
      }
      if (length > 2) {
        for (const step of [1, length - 1]) {
          shifted.push(Array.from({ length }, (_, column) => [from + ((column + step) % length), kinds[from + column]]));
        }
      }
      for (const [other, otherLength] of rows.slice(index + 1)) {
        if (otherLength !== length || length < 2) continue;
        const order = [];
        for (let column = 0; column < length; column++) {
          order.push([from + column, kinds[other + column]], [other + column, kinds[from + column]]);
        }
        exchanged.push(order);
      }
    });
    const slipped = group(doubt.neighbours, neighbours) + group(doubt.shifted, shifted) + group(doubt.rows, exchanged);
    this.straight = 1 - slipped;
    // Only what is reported otherwise than without the slip counts.
    this.slips = slips.map(([weight, order]) => [weight, order.filter(([to, kind]) => kinds[to] !== kind)]);
    this.known = new Map();
  }

  one(kind, truth) {
    return kind === SILENT ? 1 : lampLikelihood(kind % 3, truth, this.errors[kind < 3 ? 0 : 1]);
  }

  of(truth) {
    let product = 1;
    const now = this.kinds.map((kind, lamp) => this.one(kind, truth[lamp]));
    for (const p of now) product *= p;
    let sum = this.straight;
    for (const [weight, order] of this.slips) {
      let ratio = weight;
      for (const [to, kind] of order) ratio *= this.one(kind, truth[to]) / now[to];
      sum += ratio;
    }
    return product * sum;
  }
}

class Weigher {
  constructor(data) {
    this.data = data;
    for (const ground of data.grounds) {
      if (ground.ready) continue;
      ground.ready = true;
      ground.truths = ground.truths.map((text) => Array.from(unpack(text), (shows) => (shows < 2 ? shows : ground.varying[shows - 2])));
      ground.vectors = ground.vectors.map(unpack);
      ground.latent = ground.latent.map((text) => Float64Array.from(unpack(text), (value) => ground.latentValues[value]));
      ground.lists = ground.lists.map(unpack);
      for (const key of ["signTruth", "signVector", "signLook", "signLatent", "signList", "rowStage", "rowStanding", "rowSign", "rowFirst", "rowSecond"]) {
        ground[key] = unpack(ground[key]);
      }
      ground.weight = Float64Array.from(unpack(ground.rowWeight), (code) => ground.listed * 2 ** (-code / data.weightSteps));
      ground.odds = Float64Array.from(ground.classes, (row) => row.odds);
      // The classes that exclude this one, with the part of the pairs that is excluded.
      const members = new Map();
      ground.classes.forEach((row, number) => {
        row.groups.forEach(([group, odds]) => {
          if (!members.has(group)) members.set(group, []);
          members.get(group).push([number, odds]);
        });
      });
      ground.members = members;
      ground.excluded = ground.classes.map((row) => {
        const parts = new Map();
        for (const [group, odds] of row.groups) {
          for (const [other, otherOdds] of members.get(group)) {
            const part = (odds * otherOdds) / (row.odds * ground.odds[other]);
            parts.set(other, (parts.get(other) || 0) + part);
          }
        }
        return [...parts];
      });
    }
  }

  // evidence: { complaint: 0..3 or null, routine, last (both null if not known; last -1: only powered on),
  // lamps: by lamp null or { state, rest }, answers: Map from question to answer }
  weigh(evidence) {
    const data = this.data;
    const causes = new Float64Array(data.causes.length);
    const looks = new Map();
    const cases = [];
    let all = 0, unknown = 0, nothing = 0;
    data.grounds.forEach((ground, number) => {
      const told = this.told(ground, evidence);
      const scale = ground.scale * told.slips;
      const found = this.ground(ground, told, evidence.complaint);
      all += scale * (found.total + found.unknown);
      unknown += scale * found.unknown;
      nothing += scale * found.nothing;
      found.classes.forEach((mass, row) => { causes[ground.classes[row].cause] += scale * mass; });
      found.looks.forEach((mass, look) => looks.set(number * 65536 + look, scale * mass));
      for (const one of found.cases) cases.push({ ...one, weight: one.weight * scale, ground: number });
    });
    if (!(all > 0)) return { causes: causes.fill(0), nothing: 0, unknown: 1, looks: [], cases: [], all: 0 };
    cases.forEach((one) => { one.weight /= all; });
    cases.sort((a, b) => b.weight - a.weight);
    return {
      causes: causes.map((mass) => mass / all),
      nothing: nothing / all,
      unknown: unknown / all,
      looks: [...looks].map(([key, mass]) => ({ ground: Math.floor(key / 65536), look: key % 65536, weight: mass / all })),
      cases,
      all,
    };
  }

  // What was reported, as this alternative understands it.
  told(ground, evidence) {
    let missing = 0;
    const kinds = new Array(ground.lampCount).fill(SILENT);
    const reports = [];
    evidence.lamps.forEach((report, lamp) => {
      if (!report) return;
      const here = ground.sameLamp[lamp];
      if (here < 0) {
        if (!report.rest) missing += 1;
        return;
      }
      kinds[here] = report.state + (report.rest ? 3 : 0);
      reports.push([here, report.state]);
    });
    const answers = [];
    for (const [question, answer] of evidence.answers) {
      const here = ground.sameAnswer[question][answer];
      if (here < 0) missing += 1;
      else answers.push([question, here]);
    }
    const stages = ground.actions + 1;
    let deeds = new Array(stages).fill(1);
    if (evidence.routine !== null) {
      const named = evidence.routine === ground.routineNamed;
      // Without the routine in this alternative nothing is said of it.
      const spoken = named || ground.routineNamed < 0 && !this.has(ground, evidence.routine) ? 1 : this.data.doubt.routine;
      let last = null;
      if (evidence.last !== null) {
        if (evidence.last < 0) last = 0;
        else {
          const here = this.sameAction(ground, evidence.routine, evidence.last);
          if (here < 0) missing += 1;
          else last = here + 1;
        }
      }
      deeds = deeds.map((_, stage) => {
        if (last === null) return spoken;
        if (spoken !== 1) return spoken / stages;
        return spoken * (last === stage ? 1 - this.data.doubt.deed : this.data.doubt.deed / Math.max(stages - 1, 1));
      });
    }
    return { kinds, reports, answers, deeds, slips: this.data.doubt.missing ** Math.min(missing, 3) };
  }

  // Whether this ground's alternative has the routine at all.
  has(ground, routine) {
    return this.data.grounds.some((one) => one.alternative === ground.alternative && one.routineNamed === routine);
  }

  sameAction(ground, routine, action) {
    const there = this.data.grounds.find((one) => one.alternative === ground.alternative && one.routineNamed === routine);
    const here = there ? there.sameAction[action] : -1;
    return here === undefined ? -1 : here;
  }

  answered(ground, told, vector, change) {
    let product = 1;
    for (const [question, said] of told.answers) {
      product *= reported(this.shares(ground, question, vector, change), said, this.data.questions[question].error);
    }
    return product;
  }

  shares(ground, question, vector, change) {
    const other = change && change.answers.find(([which]) => which === question);
    return ground.shares[question][other ? other[1] : vector[question]];
  }

  ground(ground, told, complaint) {
    const data = this.data;
    const report = new LampReport(ground, told.kinds, data.doubt);
    const silent = told.kinds.every((kind) => kind === SILENT);
    const lamps = Float64Array.from(ground.truths, (truth) => (silent ? 1 : report.of(truth)));
    const vectors = Float64Array.from(ground.vectors, (vector) => this.answered(ground, told, vector, null));
    const asked = new Set(told.answers.map(([question]) => question));
    const bears = ground.changes.map((change) => ({
      lamps: change.lamps.length > 0 && !silent,
      answers: change.answers.some(([question]) => asked.has(question)),
    }));
    const signs = ground.signTruth.length;
    const seen = new Float64Array(signs);
    for (let sign = 0; sign < signs; sign++) seen[sign] = lamps[ground.signTruth[sign]] * vectors[ground.signVector[sign]];
    // By how much a latent class changes the probability of what was seen.
    const changedLamps = new Map(), changedAnswers = new Map();
    const ratio = (sign, number) => {
      const change = ground.changes[number];
      let product = 1;
      if (bears[number].lamps) {
        const truth = ground.signTruth[sign];
        const key = truth * 65536 + number;
        let value = changedLamps.get(key);
        if (value === undefined) {
          const other = ground.truths[truth].slice();
          for (const [lamp, shows] of change.lamps) other[lamp] = shows < 2 ? shows : ground.varying[shows - 2];
          value = report.of(other) / lamps[truth];
          changedLamps.set(key, value);
        }
        product *= value;
      }
      if (bears[number].answers) {
        const vector = ground.signVector[sign];
        const key = vector * 65536 + number;
        let value = changedAnswers.get(key);
        if (value === undefined) {
          value = this.answered(ground, told, ground.vectors[vector], change) / vectors[vector];
          changedAnswers.set(key, value);
        }
        product *= value;
      }
      return product;
    };
    // The rows by themselves.
    const rows = ground.rowSign.length;
    const mass = new Float64Array(rows);
    let total = 0;
    for (let row = 0; row < rows; row++) {
      const said = complaint === null ? 1 : data.complaints[ground.rowStanding[row]][complaint];
      mass[row] = ground.weight[row] * said * told.deeds[ground.rowStage[row]] * seen[ground.rowSign[row]];
      total += mass[row];
    }
    const floor = total * 1e-13;
    const classes = new Float64Array(ground.classes.length);
    const looks = new Map();
    const cases = [];
    const backgrounds = new Float64Array(ground.latent.length);
    const sums = ground.latent.map(() => -1);
    const expected = new Map();
    // For a sign: the sum of what is latent beside it, and the classes whose share differs from the usual.
    const beside = (sign) => {
      let known = expected.get(sign);
      if (known) return known;
      const latent = ground.signLatent[sign] - 1;
      const shares = ground.latent[latent];
      if (sums[latent] < 0) sums[latent] = shares.reduce((sum, share, of) => sum + share * this.ofBehaviour(ground, of), 0);
      known = { sum: sums[latent], factors: new Map() };
      const list = ground.lists[ground.signList[sign]];
      for (let at = 0; at < list.length; at += 2) {
        const number = list[at + 1];
        if (!bears[number].lamps && !bears[number].answers) continue;
        const factor = ratio(sign, number);
        const own = ground.odds[list[at]] * shares[ground.classes[list[at]].behaviour];
        known.factors.set(list[at], factor);
        known.sum += own * (factor - 1);
      }
      expected.set(sign, known);
      return known;
    };
    let whole = 0, nothing = 0;
    for (let row = 0; row < rows; row++) {
      if (mass[row] <= floor) continue;
      const sign = ground.rowSign[row], first = ground.rowFirst[row] - 1, second = ground.rowSecond[row] - 1;
      const latent = ground.signLatent[sign] - 1;
      let sum = mass[row];
      if (latent >= 0 && second < 0) {
        const { sum: more, factors } = beside(sign);
        const shares = ground.latent[latent];
        const own = (of) => ground.odds[of] * shares[ground.classes[of].behaviour] * (factors.has(of) ? factors.get(of) : 1);
        if (first >= 0) {
          let extra = more;
          for (const [other, part] of ground.excluded[first]) {
            const out = own(other) * part;
            extra -= out;
            classes[other] -= mass[row] * out;
          }
          backgrounds[latent] += mass[row];
          factors.forEach((factor, of) => {
            classes[of] += mass[row] * ground.odds[of] * shares[ground.classes[of].behaviour] * (factor - 1);
          });
          sum += mass[row] * Math.max(extra, 0);
        } else {
          // Nothing is in play: each class by itself, and each two that don't exclude each other.
          const groups = new Map();
          ground.classes.forEach((one, of) => {
            const x = own(of);
            if (x > 0) for (const [group, odds] of one.groups) groups.set(group, (groups.get(group) || 0) + (x * odds) / one.odds);
          });
          let squares = 0;
          groups.forEach((value) => { squares += value * value; });
          const list = ground.lists[ground.signList[sign]];
          const changes = new Map();
          for (let at = 0; at < list.length; at += 2) changes.set(list[at], list[at + 1]);
          ground.classes.forEach((one, of) => {
            const x = own(of);
            if (!(x > 0)) return;
            let others = more;
            for (const [group, odds] of one.groups) others -= (groups.get(group) * odds) / one.odds;
            const part = mass[row] * x * (1 + Math.max(others, 0));
            classes[of] += part;
            cases.push({ weight: part, sign, change: changes.has(of) ? changes.get(of) : -1, set: [of] });
          });
          sum += mass[row] * (more + Math.max((more * more - squares) / 2, 0));
        }
      }
      if (first < 0) {
        nothing += mass[row];
        cases.push({ weight: mass[row], sign, change: -1, set: [], stage: ground.rowStage[row] });
      } else {
        classes[first] += sum;
        if (second >= 0 && second !== first) classes[second] += sum;
        cases.push({ weight: sum, sign, change: -1, set: second < 0 ? [first] : [first, second] });
      }
      whole += sum;
      const look = ground.signLook[sign];
      looks.set(look, (looks.get(look) || 0) + sum);
    }
    backgrounds.forEach((weight, latent) => {
      if (weight <= 0) return;
      ground.classes.forEach((one, of) => { classes[of] += weight * ground.odds[of] * ground.latent[latent][one.behaviour]; });
    });
    return { total: whole, nothing, unknown: this.unlisted(ground, told, complaint), classes, looks, cases };
  }

  // The odds of all classes of a behaviour.
  ofBehaviour(ground, behaviour) {
    if (!ground.behaviourOdds) {
      ground.behaviourOdds = new Float64Array(ground.latent.length ? ground.latent[0].length : 0);
      ground.classes.forEach((one) => { ground.behaviourOdds[one.behaviour] += one.odds; });
    }
    return ground.behaviourOdds[behaviour];
  }

  // The weight of something that is not in the file.
  unlisted(ground, told, complaint) {
    const { unlisted } = this.data.doubt;
    const states = [0.35, 0.6, 0.05];
    let random = 1;
    for (const [, state] of told.reports) random *= states[state];
    let lamps = random;
    if (ground.passing.length > 0) {
      let usual = 0;
      for (const truth of ground.passing) {
        usual += told.reports.reduce((product, [lamp, state]) => product * lampLikelihood(state, ground.truths[truth][lamp], 0.12), 1);
      }
      lamps = 0.5 * random + (0.5 * usual) / ground.passing.length;
    }
    let rest = complaint === null ? 1 : 0.25;
    rest *= told.deeds.reduce((sum, deed) => sum + deed, 0) / told.deeds.length;
    for (const [question] of told.answers) rest /= ground.answersHere[question];
    return ((ground.listed * unlisted) / (1 - unlisted)) * rest * lamps;
  }
}

if (typeof module !== "undefined") module.exports = { Weigher, LampReport, unpack, reported, lampLikelihood, SILENT };
