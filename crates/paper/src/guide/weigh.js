"use strict";
// What is wrong, from what was reported: the same sums as the program's, over rows that it has worked out before.
// docs/reckoning.md has the rules, diagnose::digest what the rows are. Pure: no page, no clock, no chance.

// Numbers stand in strings, one letter each: 0 is "#", and "\" is passed over.
function unpack(text) {
  const numbers = new Uint16Array(text.length);
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
    this.kinds = kinds;
    // By kind and what a lamp shows.
    const shows = [0, 1, ...ground.varying];
    this.width = shows.length;
    this.table = new Float64Array(7 * this.width).fill(1);
    for (let kind = 0; kind < SILENT; kind++) {
      const error = kind < 3 ? doubt.named : doubt.rest;
      shows.forEach((truth, at) => { this.table[kind * this.width + at] = lampLikelihood(kind % 3, truth, error); });
    }
    const ways = { neighbours: [], shifted: [], rows: [] };
    let start = 0;
    const rows = ground.lampRows.map((length) => { start += length; return [start - length, length]; });
    rows.forEach(([from, length], index) => {
      for (let lamp = from; lamp + 1 < from + length; lamp++) {
        ways.neighbours.push([[lamp, kinds[lamp + 1]], [lamp + 1, kinds[lamp]]]);
      }
      if (length > 2) {
        for (const step of [1, length - 1]) {
          ways.shifted.push(Array.from({ length }, (_, column) => [from + ((column + step) % length), kinds[from + column]]));
        }
      }
      for (const [other, otherLength] of rows.slice(index + 1)) {
        if (otherLength !== length || length < 2) continue;
        const order = [];
        for (let column = 0; column < length; column++) {
          order.push([from + column, kinds[other + column]], [other + column, kinds[from + column]]);
        }
        ways.rows.push(order);
      }
    });
    this.straight = 1;
    this.slips = [];
    this.slipsOf = kinds.map(() => []);
    for (const [name, orders] of Object.entries(ways)) {
      for (const whole of orders) {
        // Only what is reported otherwise than without the slip counts.
        const order = whole.filter(([to, kind]) => kinds[to] !== kind);
        if (order.length === 0) continue;
        const weight = doubt[name] / orders.length;
        this.straight -= weight;
        order.forEach(([to]) => this.slipsOf[to].push(this.slips.length));
        this.slips.push({ weight, order });
      }
    }
    // Slips that a change bears on carry the number of its turn.
    this.marks = new Float64Array(this.slips.length);
    this.turn = 0;
  }

  // The probability of the report, with what is needed to work out a change of it.
  parts(truth) {
    const { table, width, kinds } = this;
    let product = 1;
    for (let lamp = 0; lamp < kinds.length; lamp++) product *= table[kinds[lamp] * width + truth[lamp]];
    const ratios = new Float64Array(this.slips.length);
    let sum = this.straight;
    this.slips.forEach(({ weight, order }, at) => {
      let ratio = weight;
      for (const [to, kind] of order) ratio *= table[kind * width + truth[to]] / table[kinds[to] * width + truth[to]];
      ratios[at] = ratio;
      sum += ratio;
    });
    return { product, ratios, sum, whole: product * sum };
  }

  // The most that any truth can gain by these lamps showing something else, with and without slips.
  most(lamps) {
    const { table, width, kinds, slips } = this;
    let product = 1;
    for (const [lamp, now] of lamps) {
      const said = [kinds[lamp]];
      for (const at of this.slipsOf[lamp]) for (const [to, kind] of slips[at].order) if (to === lamp) said.push(kind);
      let most = 1;
      for (const kind of said) {
        const row = table.subarray(kind * width, (kind + 1) * width);
        most = Math.max(most, row[now] / Math.min(...row));
      }
      product *= most;
    }
    return product;
  }

  // By how much the report gets more probable when these lamps show something else.
  changed(parts, truth, lamps) {
    const { table, width, kinds } = this;
    let straight = 1;
    for (const [lamp, now] of lamps) straight *= table[kinds[lamp] * width + now] / table[kinds[lamp] * width + truth[lamp]];
    this.turn += 1;
    for (const [lamp] of lamps) for (const at of this.slipsOf[lamp]) this.marks[at] = this.turn;
    // Added up anew: what is subtracted from a large sum loses its digits.
    let sum = this.straight;
    for (let at = 0; at < this.slips.length; at++) {
      let ratio = parts.ratios[at];
      if (this.marks[at] === this.turn) {
        for (const [to, kind] of this.slips[at].order) {
          for (const [lamp, now] of lamps) {
            if (lamp !== to) continue;
            ratio *= table[kind * width + now] / table[kind * width + truth[lamp]];
            ratio /= table[kinds[lamp] * width + now] / table[kinds[lamp] * width + truth[lamp]];
          }
        }
      }
      sum += ratio;
    }
    return (straight * sum) / parts.sum;
  }
}

// How probable it is that the machine still stood after each thing that was tried, by what is there: a remedy can fail,
// and people can be wrong about whether it runs. See diagnose/src/running.rs.
class Standstill {
  // tried: in order, each { remedy, move } with numbers of the ground, remedy -1 and move 0 for none.
  constructor(ground, tried, doubt) {
    this.ground = ground;
    this.tried = tried;
    this.doubt = doubt;
    this.frames = new Map();
    // After which of these moves something holds anything otherwise, by stage, behaviour and whether it is in play.
    this.after = new Map(ground.inTheWay.map(([stage, behaviour, inPlay, after]) => [`${stage} ${behaviour} ${inPlay}`, after]));
  }

  // What two in play do otherwise than each by itself, as bits: both left, only the first left, only the second left.
  together({ name, odd, stage }, first, second) {
    if (name === 0 || second < 0) return 0;
    const { behaviour, together } = this.ground;
    const one = behaviour[first], other = behaviour[second];
    const bits = together.get(`${stage} ${odd ? 0 : 1} ${Math.min(one, other)} ${Math.max(one, other)}`) || 0;
    return one <= other ? bits : (bits & 1) | ((bits & 2) << 1) | ((bits & 4) >> 1);
  }

  // What classes come to in rows of one kind, those after one stage and as always, or not so: by class the number of
  // what it comes to, latent and in play.
  frame(odd, stage) {
    // Where nothing was tried all rows are alike.
    const name = this.tried.length === 0 ? 0 : odd ? -1 - stage : stage;
    if (!this.frames.has(name)) {
      const { ground, tried } = this;
      const kinds = [], known = new Map();
      const number = (kind) => {
        const key = `${kind.cures} ${kind.disturbs} ${kind.holds}`;
        if (!known.has(key)) {
          known.set(key, kinds.length);
          kinds.push(kind);
        }
        return known.get(key);
      };
      const of = (inPlay) => Uint16Array.from(ground.classes, (row) => {
        let cures = 0;
        tried.forEach((one, at) => { if (one.remedy >= 0 && one.remedy === row.remedy) cures |= 1 << at; });
        // What disturbs is in the way anyway where something has gone otherwise.
        const disturbs = odd && row.disturbs === 1;
        const holds = disturbs ? 0 : this.holds(this.after.get(`${stage} ${row.behaviour} ${inPlay}`));
        return number({ cures, disturbs, holds });
      });
      this.frames.set(name, { name, odd, stage, latent: of(0), inPlay: of(1), kinds, factors: new Map() });
    }
    return this.frames.get(name);
  }

  // After which of the things tried it holds anything otherwise, as bits. Moves were played one by one: what any of
  // them has changed is taken to stay so.
  holds(after) {
    if (after === undefined) return 0;
    let now = after.has(0), bits = 0;
    const begun = now;
    this.tried.forEach((one, at) => {
      if (one.move > 0 && after.has(one.move) !== begun) now = !begun;
      if (now) bits |= 1 << at;
    });
    return bits;
  }

  // For a row with these classes in play (-1: none): the probability with nothing else there, by kind of a class that is latent
  // beside it, and (with nothing in play) by two of them.
  factors(frame, first, second) {
    const together = this.together(frame, first, second);
    const key = first < 0 ? 0 : ((frame.inPlay[first] + 1) * 65536 + (second < 0 ? 0 : frame.inPlay[second] + 1)) * 8 + together;
    let found = frame.factors.get(key);
    if (!found) {
      const own = [first, second].filter((of) => of >= 0).map((of) => frame.inPlay[of]);
      const count = frame.kinds.length;
      const all = (more) => this.probability(frame, [...own, ...more], together);
      const beside = own.length < 2 ? Float64Array.from(frame.kinds, (_, kind) => all([kind])) : null;
      const two = own.length > 0 ? null : Array.from({ length: count }, (_, a) => Float64Array.from(frame.kinds, (_, b) => all([a, b])));
      const alone = all([]);
      found = { alone, beside, two, most: Math.max(alone, ...(beside || [])) };
      frame.factors.set(key, found);
    }
    return found;
  }

  probability({ odd, kinds }, there, together) {
    const { remedy: fails, wrongRuns } = this.doubt;
    const all = there.map((kind) => kinds[kind]);
    const runs = (gone, at) => {
      const left = all.filter((_, bit) => !(gone & (1 << bit)));
      if (left.length === 0) return true;
      if (odd && (gone === 0 || left.some((one) => one.disturbs))) return false;
      const holds = left.some((one) => one.holds & (1 << at));
      return holds === ((together & (gone === 0 ? 1 : gone === 2 ? 2 : 4)) !== 0);
    };
    // By which of them are gone, as bits.
    let states = new Map([[0, 1]]);
    this.tried.forEach((_, at) => {
      all.forEach((one, bit) => {
        if (!(one.cures & (1 << at))) return;
        const next = new Map();
        const add = (state, weight) => next.set(state, (next.get(state) || 0) + weight);
        for (const [state, weight] of states) {
          if (state & (1 << bit)) add(state, weight);
          else {
            add(state | (1 << bit), weight * (1 - fails));
            add(state, weight * fails);
          }
        }
        states = next;
      });
      for (const [state, weight] of states) {
        states.set(state, weight * (runs(state, at) ? wrongRuns : 1 - wrongRuns));
      }
    });
    let sum = 0;
    for (const weight of states.values()) sum += weight;
    return sum;
  }
}

class Weigher {
  constructor(data) {
    this.data = data;
    for (const ground of data.grounds) {
      if (ground.ready) continue;
      ground.ready = true;
      ground.truths = ground.truths.map(unpack);
      ground.vectors = ground.vectors.map(unpack);
      ground.latent = ground.latent.map(unpack);
      ground.lists = ground.lists.map(unpack);
      ground.inTheWay.forEach((one) => { one[3] = new Set(unpack(one[3])); });
      ground.remedyMoves = new Map(ground.remedyMoves);
      const together = unpack(ground.together);
      ground.together = new Map();
      for (let at = 0; at < together.length; at += 4) {
        const [stage, one, other, flags] = together.subarray(at, at + 4);
        ground.together.set(`${stage} ${flags & 1} ${one} ${other}`, flags >> 1);
      }
      for (const key of ["signTruth", "signVector", "signLook", "signLatent", "signList", "rowStage", "rowStanding", "rowSign", "rowFirst", "rowSecond"]) {
        ground[key] = unpack(ground[key]);
      }
      ground.weight = Float64Array.from(unpack(ground.rowWeight), (code) => ground.listed * 2 ** (-code / data.weightSteps));
      ground.odd = Uint8Array.from(ground.rowStanding, (standing) => (data.asAlways.includes(standing) ? 0 : 1));
      ground.behaviour = Uint16Array.from(ground.classes, (row) => row.behaviour);
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
  // lamps: by lamp null or { state, rest }, answers: Map from question to answer, tried: what was done in vain, in
  // order, each { remedy } or { routine, action } }
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
    const tried = (evidence.tried || []).map((one) => {
      if (one.remedy !== undefined) return { remedy: one.remedy, move: ground.remedyMoves.get(one.remedy) || 0 };
      const here = one.routine === ground.routineNamed ? ground.sameAction[one.action] : -1;
      return { remedy: -1, move: here >= 0 ? ground.actionMoves[here] : 0 };
    });
    return { kinds, reports, answers, deeds, tried, slips: this.data.doubt.missing ** Math.min(missing, 3) };
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
    const lamps = ground.truths.map((truth) => report.parts(truth));
    const vectors = Float64Array.from(ground.vectors, (vector) => this.answered(ground, told, vector, null));
    const asked = new Set(told.answers.map(([question]) => question));
    // What of each change bears on the report.
    const bears = ground.changes.map((change) => {
      const seen = change.lamps.filter(([lamp]) => told.kinds[lamp] !== SILENT || report.slipsOf[lamp].length > 0);
      const answers = change.answers.filter(([question]) => asked.has(question));
      if (seen.length === 0 && answers.length === 0) return null;
      const others = (question) => Math.max(ground.answersHere[question] - 1, 1);
      const most = answers.reduce((product, [question]) => (product * others(question)) / data.questions[question].error, report.most(seen));
      return { lamps: seen, answers: answers.length > 0, most };
    });
    // By how much a latent class changes the probability of what was seen.
    const ratio = (sign, numbers) => {
      let shown = bears[numbers[0]].lamps, product = 1;
      if (numbers.length > 1) {
        // What two of them darken is dark.
        const all = new Map(shown);
        for (const [lamp, shows] of bears[numbers[1]].lamps) all.set(lamp, all.get(lamp) === 0 ? 0 : shows);
        shown = [...all];
      }
      if (shown.length > 0) {
        const truth = ground.signTruth[sign];
        product = report.changed(lamps[truth], ground.truths[truth], shown);
      }
      if (numbers.some((number) => bears[number].answers)) {
        const vector = ground.signVector[sign];
        const answers = numbers.flatMap((number) => ground.changes[number].answers);
        product *= this.answered(ground, told, ground.vectors[vector], { answers }) / vectors[vector];
      }
      return product;
    };
    // Whether two changes are about the same lamp or question.
    const meet = (one, other) =>
      bears[one].lamps.some(([lamp]) => bears[other].lamps.some(([also]) => also === lamp)) ||
      ground.changes[one].answers.some(([question]) => asked.has(question) && ground.changes[other].answers.some(([also]) => also === question));
    // The rows by themselves.
    const rows = ground.rowSign.length;
    const mass = new Float64Array(rows);
    const still = new Standstill(ground, told.tried, data.doubt);
    const frameOf = (row) => still.frame(ground.odd[row] === 1, ground.rowStage[row]);
    const factorsOf = (row, frame) => still.factors(frame, ground.rowFirst[row] - 1, ground.rowSecond[row] - 1);
    let total = 0;
    for (let row = 0; row < rows; row++) {
      const sign = ground.rowSign[row];
      const said = complaint === null ? 1 : data.complaints[ground.rowStanding[row]][complaint];
      const seen = lamps[ground.signTruth[sign]].whole * vectors[ground.signVector[sign]];
      mass[row] = ground.weight[row] * said * told.deeds[ground.rowStage[row]] * seen;
      total += mass[row];
    }
    const found = { nothing: 0, total: 0, classes: new Float64Array(ground.classes.length), looks: new Map(), cases: [] };
    const count = ground.classes.length;
    // By how rows stand and what is latent: the weight of the rows, by kind of what is latent beside them.
    const backgrounds = new Map();
    const background = (latent, frame) => {
      const key = `${frame.name} ${latent}`;
      if (!backgrounds.has(key)) backgrounds.set(key, { latent, frame, weights: new Float64Array(frame.kinds.length) });
      return backgrounds.get(key).weights;
    };
    // By class: its share beside what is in play, times how much likelier it makes what was seen.
    const own = new Float64Array(count);
    const share = (latent, of) => ground.odds[of] * ground.latentValues[ground.latent[latent][ground.behaviour[of]]];
    const put = (row, weight, set, change = -1) => {
      if (weight > total * 1e-9) found.cases.push({ weight, sign: ground.rowSign[row], set, change, stage: ground.rowStage[row] });
    };
    // Rows stand in the order of their signs.
    for (let row = 0; row < rows; ) {
      const sign = ground.rowSign[row], latent = ground.signLatent[sign] - 1;
      let end = row, alone = false, most = 0;
      // By how these rows stand: their weight by kind of what is latent, and the sum of that by kind.
      const frames = new Map();
      for (; end < rows && ground.rowSign[end] === sign; end++) {
        most = Math.max(most, mass[end]);
        if (ground.rowSecond[end] !== 0 || latent < 0 || mass[end] <= 0) continue;
        alone = true;
        const frame = frameOf(end);
        const { beside } = factorsOf(end, frame);
        if (!frames.has(frame)) frames.set(frame, { weights: new Float64Array(frame.kinds.length), sums: new Float64Array(frame.kinds.length) });
        const { weights } = frames.get(frame);
        beside.forEach((factor, kind) => { weights[kind] += mass[end] * factor; });
      }
      const likelier = [];
      const list = ground.lists[ground.signList[sign]];
      if (alone) {
        for (let of = 0; of < count; of++) own[of] = share(latent, of);
        for (const [frame, { weights }] of frames) {
          const all = background(latent, frame);
          weights.forEach((weight, kind) => { all[kind] += weight; });
        }
        for (let at = 0; at < list.length; at += 2) {
          const of = list[at], number = list[at + 1];
          // What is far-fetched even if this explains all that it bears on need not be worked out.
          if (bears[number] === null || most * bears[number].most <= total * 1e-11) continue;
          const factor = ratio(sign, [number]);
          if (factor > 1.5) likelier.push({ of, number, usual: own[of] });
          const more = own[of] * (factor - 1);
          own[of] += more;
          for (const [frame, { weights }] of frames) found.classes[of] += weights[frame.latent[of]] * more;
        }
        for (const [frame, { sums }] of frames) for (let of = 0; of < count; of++) sums[frame.latent[of]] += own[of];
      }
      let whole = 0;
      for (; row < end; row++) {
        if (mass[row] <= 0) continue;
        const first = ground.rowFirst[row] - 1, second = ground.rowSecond[row] - 1;
        const frame = frameOf(row);
        const factors = factorsOf(row, frame);
        let sum = mass[row] * factors.alone;
        if (first < 0) {
          found.nothing += sum;
          put(row, sum, []);
          const joint = (a, b) => a.usual * b.usual * ratio(sign, [a.number, b.number]);
          if (latent >= 0) sum += this.two(ground, own, { likelier, joint, meet, frame, factors }, mass[row], found, (weight, of) => {
            const at = list.findIndex((one, place) => place % 2 === 0 && one === of);
            put(row, weight, [of], at < 0 ? -1 : list[at + 1]);
          });
        } else if (second < 0) {
          if (latent >= 0) {
            let extra = 0;
            frames.get(frame).sums.forEach((beside, kind) => { extra += beside * factors.beside[kind]; });
            for (const [other, part] of ground.excluded[first]) {
              const less = own[other] * part * factors.beside[frame.latent[other]];
              extra -= less;
              found.classes[other] -= mass[row] * less;
            }
            sum += mass[row] * Math.max(extra, 0);
          }
          found.classes[first] += sum;
          put(row, sum, [first]);
        } else {
          found.classes[first] += sum;
          if (second !== first) found.classes[second] += sum;
          put(row, sum, [first, second]);
        }
        whole += sum;
      }
      found.total += whole;
      const look = ground.signLook[sign];
      found.looks.set(look, (found.looks.get(look) || 0) + whole);
    }
    for (const { latent, frame, weights } of backgrounds.values()) {
      for (let of = 0; of < count; of++) found.classes[of] += weights[frame.latent[of]] * share(latent, of);
    }
    return { ...found, unknown: this.unlisted(ground, told, complaint) };
  }

  // Nothing is in play: each class by itself, and each two that don't exclude each other, are there all the same.
  // The classes by themselves stand in the background already. Gives the weight of all of them.
  two(ground, own, { likelier, joint, meet, frame, factors }, mass, found, put) {
    // What has got likelier by what was seen is gone through two by two, as two can explain the same; of the others
    // only sums are needed, by kind.
    const special = new Set(likelier.map(({ of }) => of));
    const kindOf = frame.latent;
    const kinds = frame.kinds.map((_, kind) => kind);
    const sums = [0, 1].map(() => kinds.map(() => 0)), groups = [0, 1].map(() => kinds.map(() => new Map()));
    ground.classes.forEach((one, of) => {
      if (own[of] <= 0) return;
      const which = special.has(of) ? 1 : 0, kind = kindOf[of];
      sums[which][kind] += own[of];
      const those = groups[which][kind];
      for (const [group, odds] of one.groups) those.set(group, (those.get(group) || 0) + (own[of] * odds) / one.odds);
    });
    // What can be there beside a class.
    const others = (of, which) => {
      const one = ground.classes[of];
      let all = 0;
      for (const kind of kinds) {
        let sum = sums[which][kind];
        for (const [group, odds] of one.groups) sum -= ((groups[which][kind].get(group) || 0) * odds) / one.odds;
        all += Math.max(sum, 0) * factors.two[kindOf[of]][kind];
      }
      return all;
    };
    let total = 0;
    const pairs = new Map();
    for (let of = 0; of < own.length; of++) {
      if (own[of] <= 0) continue;
      total += own[of] * factors.beside[kindOf[of]];
      const usual = own[of] * others(of, 0);
      if (special.has(of)) {
        total += usual;
        pairs.set(of, usual);
      } else {
        total += usual / 2;
        pairs.set(of, usual + own[of] * others(of, 1));
      }
    }
    likelier.forEach((a, at) => {
      const apart = new Map(ground.excluded[a.of]);
      for (const b of likelier.slice(at + 1)) {
        const both = meet(a.number, b.number) ? joint(a, b) : own[a.of] * own[b.of];
        const more = both * Math.max(1 - (apart.get(b.of) || 0), 0) * factors.two[kindOf[a.of]][kindOf[b.of]];
        total += more;
        pairs.set(a.of, pairs.get(a.of) + more);
        pairs.set(b.of, pairs.get(b.of) + more);
      }
    });
    pairs.forEach((more, of) => {
      found.classes[of] += mass * more;
      put(mass * (own[of] * factors.beside[kindOf[of]] + more), of);
    });
    return mass * total;
  }

  shows(ground, truth, lamp) {
    const shows = ground.truths[truth][lamp];
    return shows < 2 ? shows : ground.varying[shows - 2];
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
        usual += told.reports.reduce((product, [lamp, state]) => product * lampLikelihood(state, this.shows(ground, truth, lamp), 0.12), 1);
      }
      lamps = 0.5 * random + (0.5 * usual) / ground.passing.length;
    }
    let rest = complaint === null ? 1 : 0.25;
    rest *= told.deeds.reduce((sum, deed) => sum + deed, 0) / told.deeds.length;
    for (const [question] of told.answers) rest /= ground.answersHere[question];
    rest *= (1 - this.data.doubt.stopsByItself) ** told.tried.length;
    return ((ground.listed * unlisted) / (1 - unlisted)) * rest * lamps;
  }
}

if (typeof module !== "undefined") module.exports = { Weigher, LampReport, unpack, reported, lampLikelihood, SILENT };
