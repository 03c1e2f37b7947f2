"use strict";
// What to ask or to do next: the smallest expected minutes until the machine runs, looked one step ahead, with the
// prices of docs/next-check.md. Only what an operator may do is proposed.

const GO_ON = -1;
// Minutes that a question has to save, beyond its own, to be worth the trouble of being asked.
const WORTH = 0.1;

class Chooser {
  // found: what Weigher.weigh gives; evidence: what it was given; out: keys of what nobody knows or can do.
  constructor(data, found, evidence, out) {
    this.data = data;
    this.answers = evidence.answers;
    this.lamps = evidence.lamps;
    this.out = out;
    this.tried = new Set((evidence.tried || []).map((one) => (one.remedy === undefined ? GO_ON : one.remedy)));
    this.cases = [];
    const known = new Map();
    let sum = 0;
    // At least 99.9 % of the weight, and no more ways than a phone can go through at once.
    for (const one of found.cases) {
      if (sum > 0.999 * (1 - found.unknown) || this.cases.length > 1500) break;
      sum += one.weight;
      const ground = data.grounds[one.ground];
      const needs = one.set.length === 0 ? [GO_ON] : [...new Set(one.set.map((of) => this.remedyOf(ground.classes[of].remedy)))];
      const vector = ground.signVector[one.sign], truth = ground.signTruth[one.sign];
      const key = [one.ground, vector, truth, one.change, needs].join();
      if (known.has(key)) known.get(key).weight += one.weight;
      else {
        const fresh = { weight: one.weight, needs, ground, vector: ground.vectors[vector], truth: ground.truths[truth], change: one.change < 0 ? null : ground.changes[one.change] };
        known.set(key, fresh);
        this.cases.push(fresh);
      }
    }
    // Whatever is not in the file answers anything, and only the last resort helps.
    this.cases.push({ weight: found.unknown, needs: [null], ground: null });
    // What needs the same is priced together.
    this.groups = [];
    const groups = new Map();
    this.cases.forEach((one) => {
      const key = one.needs.join();
      if (!groups.has(key)) {
        groups.set(key, this.groups.length);
        this.groups.push(one.needs);
      }
      one.group = groups.get(key);
    });
    this.repairs = new Map();
    for (const needs of this.groups) for (const need of needs) if (need !== null) this.repairs.set(need, this.repair(need));
  }

  remedyOf(remedy) {
    return remedy < 0 ? null : remedy;
  }

  repair(need) {
    const { remedies, doubt } = this.data;
    if (need === GO_ON) return { minutes: remedies.goOn, onSite: false, fails: 0 };
    const row = remedies.rows[need];
    const own = row.key !== undefined && !this.out.has(`remedy:${row.key}`);
    return { minutes: row.minutes, onSite: !own, fails: doubt.remedy };
  }

  weights(factor) {
    const sums = new Float64Array(this.groups.length);
    for (const one of this.cases) sums[one.group] += one.weight * (factor ? factor(one) : 1);
    return sums;
  }

  // Minutes times weight until the machine runs if remedies are tried in the best order, with that order; `more` is one
  // that is taken to have been tried in vain, beside those that were.
  byRepairs(sums, more) {
    const isTried = (need) => need === more || this.tried.has(need);
    const { visit, lastResort } = this.data.remedies;
    const score = new Map();
    let total = 0;
    sums.forEach((weight, group) => {
      total += weight;
      const open = this.groups[group].filter((need) => !isTried(need));
      if (weight <= 0 || open.length === 0) return;
      for (const need of open) if (need !== null) score.set(need, (score.get(need) || 0) + weight / open.length);
    });
    const worth = (need) => score.get(need) / this.repairs.get(need).minutes;
    let order = [...score.keys()].sort((a, b) => worth(b) - worth(a) || a - b);
    // The visit is worth as much as the best beginning of what can be done after it.
    let probability = 0, minutes = visit, best = 0;
    for (const need of order) {
      const repair = this.repairs.get(need);
      if (!repair.onSite) continue;
      probability += score.get(need);
      minutes += repair.minutes;
      best = Math.max(best, probability / minutes);
    }
    const first = (need) => !this.repairs.get(need).onSite && worth(need) >= best;
    order = [...order.filter(first), ...order.filter((need) => !first(need))];
    const elapsed = new Map();
    let now = 0, there = false, left = total, spent = 0, end = 0, least = total * lastResort;
    order.forEach((need, place) => {
      const repair = this.repairs.get(need);
      now += repair.minutes + (repair.onSite && !there ? visit : 0);
      there = there || repair.onSite;
      elapsed.set(need, now);
      spent += score.get(need) * now;
      left -= score.get(need);
      const cost = spent + Math.max(left, 0) * (now + lastResort);
      if (cost < least) [end, least] = [place + 1, cost];
    });
    order = order.slice(0, end);
    const rank = new Map(order.map((need, place) => [need, place]));
    const inTheEnd = (end > 0 ? elapsed.get(order[end - 1]) : 0) + lastResort;
    let cost = 0;
    sums.forEach((weight, group) => {
      if (weight <= 0) return;
      let last = -1, helps = 1, open = false, hopeless = false;
      for (const need of this.groups[group]) {
        if (isTried(need)) {
          helps *= 1 - this.repairs.get(need).fails;
          continue;
        }
        open = true;
        if (need === null || !rank.has(need)) hopeless = true;
        else {
          helps *= 1 - this.repairs.get(need).fails;
          last = Math.max(last, rank.get(need));
        }
      }
      cost += weight * (!open || hopeless ? inTheEnd : helps * elapsed.get(order[last]) + (1 - helps) * inTheEnd);
    });
    return { cost, order };
  }

  likelihood(one, question, answer) {
    const row = this.data.questions[question];
    if (!one.ground) return 1 / row.answers2;
    const here = one.ground.sameAnswer[question][answer];
    if (here < 0) return 1 / row.answers2;
    const other = one.change && one.change.answers.find(([which]) => which === question);
    const shares = one.ground.shares[question][other ? other[1] : one.vector[question]];
    return reported(shares, here, row.error);
  }

  // How probable this case makes it that a lamp shows this state.
  lampLikelihood(one, lamp, state) {
    const here = one.ground ? one.ground.sameLamp[lamp] : -1;
    if (here < 0) return 1 / 3;
    const other = one.change && one.change.lamps.find(([which]) => which === here);
    const shows = other ? other[1] : one.truth[here];
    return lampLikelihood(state, shows < 2 ? shows : one.ground.varying[shows - 2], this.data.doubt.named);
  }

  // What is read by several questions is asked once: by the check that has words of its own for it.
  open(row, question) {
    if (this.answers.has(question) || this.out.has(row.key)) return false;
    if (row.reads === null) return true;
    return this.data.questions.every((other, number) => {
      if (number === question || other.reads !== row.reads) return true;
      if (this.answers.has(number) || this.out.has(other.key)) return false;
      return (row.stands === undefined) !== (other.stands === undefined) ? row.stands === undefined : question < number;
    });
  }

  // The best thing for an operator to do: { ask }, { lamp }, { remedy }, { goOn } or nothing.
  next() {
    const sums = this.weights();
    const total = sums.reduce((sum, one) => sum + one, 0);
    const without = this.byRepairs(sums);
    let best = null;
    this.data.questions.forEach((row, question) => {
      if (!this.open(row, question)) return;
      row.answers2 = this.data.grounds[0].sameAnswer[question].length;
      let cost = total * row.minutes;
      for (let answer = 0; answer < row.answers2; answer++) {
        cost += this.byRepairs(this.weights((one) => this.likelihood(one, question, answer))).cost;
      }
      if (!best || cost < best.cost) best = { cost, ask: question };
    });
    this.data.lamps.flatMap((row) => row.lamps).forEach(({ label }, lamp) => {
      if (this.lamps[lamp] || this.out.has("lamps") || this.out.has(`lamp:${label}`)) return;
      let cost = total * this.data.lampMinutes;
      for (const state of [LIT, DARK, FLICKERS]) {
        cost += this.byRepairs(this.weights((one) => this.lampLikelihood(one, lamp, state))).cost;
      }
      if (!best || cost < best.cost) best = { cost, lamp };
    });
    if (best && best.cost > without.cost - WORTH * total) best = null;
    for (const need of without.order.slice(0, 6)) {
      const repair = this.repairs.get(need);
      if (repair.onSite || this.tried.has(need) || (need === GO_ON && this.out.has("go-on"))) continue;
      const after = sums.map((weight, group) => (this.groups[group].every((one) => one === need) ? weight * repair.fails : weight));
      const cost = total * repair.minutes + this.byRepairs(after, need).cost;
      const first = need === without.order[0];
      if (best ? cost < best.cost : first) best = need === GO_ON ? { cost, goOn: true } : { cost, remedy: need };
    }
    return best;
  }
}

if (typeof module !== "undefined") module.exports = { Chooser, GO_ON };
