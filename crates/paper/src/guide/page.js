"use strict";
// The screens: complaint, last thing done, lamps, then question after question. Everything that was said can be changed.

(async () => {
  const main = document.getElementById("main");
  const NAMES = { en: "English", de: "Deutsch", es: "Español" };
  const COMPLAINTS = ["wont-start", "stops-midway", "wont-finish", "wrong-result"];
  const LISTED = 6;
  // So many things tried have room in a code.
  const MOST_TRIED = 3;
  // After so many single lamps all the others are better looked at together.
  const MOST_LOOKED = 3;
  // Above this probability of something that is not in the file, readings should be taken again first.
  const FITS_BADLY = 0.3;
  let data, weigher;
  let language = 0;

  const fresh = () => ({
    complaint: undefined, routine: null, last: null, lastKnown: undefined, lamps: [], rest: false, lampsKnown: false,
    // In the order in which they came: { question, answer } with null for "don't know", or { tried … }.
    said: [], out: new Set(), looked: 0, screen: "complaint",
  });
  let state = fresh();

  // A text in the language chosen, with its places filled.
  const t = (text, ...fill) => {
    let one = Array.isArray(text) ? text[language] : text;
    for (const part of fill) one = one.replace("{}", part);
    return one;
  };
  const p = (key, ...fill) => t(data.page[key], ...fill);

  function make(tag, attributes, ...children) {
    const one = document.createElement(tag);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (key.startsWith("on")) one.addEventListener(key.slice(2), value);
      else if (value !== false && value !== undefined) one.setAttribute(key, value === true ? "" : value);
    }
    for (const child of children.flat()) if (child !== null && child !== undefined) one.append(child);
    return one;
  }
  const button = (text, act, attributes) => make("button", { type: "button", onclick: act, ...attributes }, text);
  const percent = (share) => {
    const whole = share * 100;
    return whole >= 99.5 ? ">99 %" : whole >= 0.95 ? `${whole.toFixed(0)} %` : whole > 0 ? "<1 %" : "0 %";
  };

  function show(...children) {
    main.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined));
    scrollTo(0, 0);
    const head = main.querySelector("h1");
    if (head) {
      head.tabIndex = -1;
      head.focus({ preventScroll: true });
    }
  }

  const go = (screen) => {
    state.screen = screen;
    draw();
  };

  function choices(list) {
    return make("ul", { class: "choices-list" }, list.map((one) => make("li", {}, one)));
  }

  const lampCount = () => data.lamps.reduce((sum, row) => sum + row.lamps.length, 0);
  const hasLast = () => data.routines.some((routine) => routine.actions.length > 0);

  // ---- screens ------------------------------------------------------------------------------------------------

  function complaintScreen() {
    const one = (number) =>
      button([make("strong", {}, p(`complaint${number}`)), make("span", {}, p(`complaint${number}more`))], () => {
        state.complaint = number;
        go(state.lampsKnown ? "result" : hasLast() ? "last" : "lamps");
      }, { class: "choice", "data-complaint": number, "aria-current": state.complaint === number });
    show(make("h1", {}, p("complaint")), choices([0, 1, 2, 3].map(one)));
  }

  function lastScreen() {
    const then = () => go(state.lampsKnown ? "result" : "lamps");
    const set = (routine, last) => () => {
      Object.assign(state, { routine, last, lastKnown: routine !== null });
      then();
    };
    const blocks = data.routines.map((routine, number) => [
      data.routines.length > 1 ? make("h2", {}, t(routine.words)) : null,
      choices([
        button(p("poweredOn"), set(number, -1), { class: "choice" }),
        ...routine.actions.map((action, at) => button(t(action.words), set(number, at), { class: "choice", "data-last": `${number}.${at}` })),
      ]),
    ]);
    show(
      make("h1", {}, p("last")), make("p", { class: "more" }, p("lastMore")),
      choices([button(p("unknown"), set(null, null), { class: "choice quiet", "data-last": "unknown" })]),
      blocks.flat(),
      button(p("back"), () => go("complaint"), { class: "quiet" }),
    );
  }

  // Lit is a full disc with rays, dark an empty ring, flickering half a disc, not seen a dotted ring.
  function glyph(shown) {
    const NS = "http://www.w3.org/2000/svg";
    const svg = document.createElementNS(NS, "svg");
    svg.setAttribute("viewBox", "0 0 24 24");
    svg.setAttribute("aria-hidden", "true");
    const put = (tag, attributes) => {
      const one = document.createElementNS(NS, tag);
      for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
      svg.append(one);
    };
    if (shown === 0) {
      put("circle", { cx: 12, cy: 12, r: 6, class: "full" });
      for (let ray = 0; ray < 8; ray++) put("line", { x1: 12, y1: 3.5, x2: 12, y2: 0.8, transform: `rotate(${ray * 45} 12 12)`, class: "stroke" });
    } else if (shown === 1) put("circle", { cx: 12, cy: 12, r: 6, class: "ring" });
    else if (shown === 2) {
      put("circle", { cx: 12, cy: 12, r: 6, class: "ring" });
      put("path", { d: "M12 6 a6 6 0 0 1 0 12 z", class: "full" });
      put("path", { d: "M19.5 7 l2 3 l-2 2 l2 4", class: "stroke" });
    } else put("circle", { cx: 12, cy: 12, r: 6, class: "dots" });
    return svg;
  }

  const shownAs = (lamp) => (state.lamps[lamp] !== null ? state.lamps[lamp] : state.rest ? 1 : 3);
  const WORDS = ["lit", "dark", "flickers", "unseen"];

  function lampsScreen() {
    if (state.lamps.length === 0) state.lamps = new Array(lampCount()).fill(null);
    let number = 0;
    const draws = [];
    const rows = data.lamps.map((row) => {
      const lamps = row.lamps.map((lamp) => {
        const at = number++;
        const one = button("", () => {
          // From what it shows on to the next; with "all others dark" that is where a lamp comes back to.
          const order = state.rest ? [null, 0, 2, 1] : [null, 0, 1, 2];
          state.lamps[at] = order[(order.indexOf(state.lamps[at]) + 1) % order.length];
          redraw();
        }, { class: "lamp", "data-lamp": at });
        const redraw = () => {
          const shown = shownAs(at);
          one.className = `lamp is-${WORDS[shown]}`;
          one.setAttribute("aria-label", `${p("lampAria", lamp.label, p(WORDS[shown]))}${t(lamp.words) ? `, ${t(lamp.words)}` : ""}`);
          one.replaceChildren(make("b", {}, lamp.label), glyph(shown), make("span", {}, p(WORDS[shown])));
          if (t(lamp.words)) one.title = t(lamp.words);
        };
        redraw();
        draws.push(redraw);
        return one;
      });
      return make("section", { class: "row", "aria-label": t(row.title) }, make("h2", {}, t(row.title)), make("div", { class: "lamps" }, lamps));
    });
    const rest = make("input", { type: "checkbox", id: "rest", onchange: () => {
      state.rest = rest.checked;
      draws.forEach((redraw) => redraw());
    } });
    rest.checked = state.rest;
    show(
      make("h1", {}, p("lamps")), make("p", { class: "more" }, p("lampsMore")),
      make("label", { class: "rest", for: "rest" }, rest, p("restDark")),
      rows,
      make("div", { class: "bar" },
        button(p("back"), () => go(hasLast() ? "last" : "complaint"), { class: "quiet" }),
        button(p("next"), () => {
          state.lampsKnown = true;
          go("result");
        }, { class: "go", id: "next" })),
    );
  }

  // ---- what is known ------------------------------------------------------------------------------------------

  const answers = () => new Map(state.said.filter((one) => one.answer !== undefined && one.answer !== null).map((one) => [one.question, one.answer]));
  const lampReports = () => Array.from({ length: lampCount() }, (_, lamp) => {
    const own = state.lamps[lamp];
    if (own !== null && own !== undefined) return { state: own, rest: false };
    return state.rest ? { state: 1, rest: true } : null;
  });
  const evidence = () => ({
    complaint: state.complaint === undefined ? null : state.complaint,
    routine: state.routine, last: state.last, lamps: lampReports(), answers: answers(),
    tried: state.said.filter((one) => one.runs === false),
  });

  function entered() {
    return {
      ...evidence(),
      answers: state.said.filter((one) => one.answer !== undefined).map((one) => [one.question, one.answer]),
      tried: state.said.filter((one) => one.runs !== undefined || one.cannot !== undefined),
    };
  }

  // The same as lines that `lampwise call` understands.
  function asText() {
    const all = entered();
    const labels = data.lamps.flatMap((row) => row.lamps.map((lamp) => lamp.label));
    const lines = [`${data.machine}${data.version ? `, ${data.version}` : ""}`, "", "who: operator"];
    if (all.complaint !== null) lines.push(`complaint: ${COMPLAINTS[all.complaint]}`);
    if (all.routine !== null) {
      const routine = data.routines[all.routine];
      lines.push(`routine: ${routine.name}`, `did: ${all.last < 0 ? "powered on" : routine.actions[all.last].short}`);
    }
    const named = (wanted) => labels.filter((_, lamp) => all.lamps[lamp] && !all.lamps[lamp].rest && all.lamps[lamp].state === wanted).join(" ");
    const lamps = [[named(0), "on"], [named(1), "off"], [named(2), "flickers"]].filter(([names]) => names).map((one) => one.join(" "));
    if (state.rest) lamps.push("rest off");
    if (lamps.length) lines.push(`lamps: ${lamps.join(", ")}`);
    for (const one of state.said) {
      if (one.runs !== undefined) {
        lines.push(one.remedy !== undefined ? `tried: ${data.remedies.rows[one.remedy].key}` : `then: ${data.routines[one.routine].actions[one.action].short}`);
        lines.push(`runs: ${one.runs ? "yes" : "no"}`);
      } else if (one.cannot !== undefined) lines.push(`cannot: ${one.cannot}`);
      else {
        const question = data.questions[one.question];
        if (one.answer === null) lines.push(`unknown: ${question.key}`);
        else if (question.stands !== undefined) lines.push(`saw: ${question.name} ${question.keys[one.answer]}`);
        else lines.push(`found: ${question.name}: ${question.keys[one.answer]}`);
      }
    }
    return lines.join("\n");
  }

  const answerWords = (question, answer) => {
    if (answer === null) return p("unknown");
    const list = data.questions[question].answers;
    return answer < list.length ? t(list[answer]) : p("between");
  };
  const questionWords = (question) => {
    const row = data.questions[question];
    return row.stands !== undefined ? p("whereStands", t(row.stands)) : t(row.words);
  };

  // Whether lamps as reported make a part of a condition true; null if they don't show it.
  function toldBy(part, kinds) {
    if (part === null || part === true || part === false) return part;
    if (typeof part === "number") {
      const state = kinds[part] % 3;
      return kinds[part] === SILENT || state === 2 ? null : state === 0;
    }
    const [how, inner] = part;
    if (how === "not") {
      const value = toldBy(inner, kinds);
      return value === null ? null : !value;
    }
    const values = inner.map((one) => toldBy(one, kinds));
    const decides = how !== "all";
    return values.includes(decides) ? decides : values.includes(null) ? null : !decides;
  }

  // Where it stands: places with their probability, the likeliest first, each with its likeliest look.
  function places(found) {
    const all = new Map();
    for (const one of found.looks) {
      const ground = data.grounds[one.ground];
      const [steps, , , , running] = ground.looks[one.look];
      const names = running ? [...new Set(steps.map((step) => t(data.alternatives[ground.alternative].steps[step])))] : [];
      const key = names.join("|");
      const place = all.get(key) || { names, weight: 0, best: null };
      place.weight += one.weight;
      if (!place.best || one.weight > place.best.weight) place.best = one;
      all.set(key, place);
    }
    return [...all.values()].sort((a, b) => b.weight - a.weight);
  }

  // What the start, or the step, needs, and what of it is missing; as the program's answer has it.
  function needs(place) {
    const ground = data.grounds[place.best.ground];
    const [, onward, starts, held, running, timedOut] = ground.looks[place.best.look];
    if (!running) return { start: false, list: [], held: [] };
    const { transitions, interlocks } = data.alternatives[ground.alternative];
    const { kinds } = weigher.told(ground, evidence());
    const list = ([number, holds]) => transitions[number].needs.map((need, at) => {
      const told = toldBy(need.part, kinds);
      const met = told === null ? holds[at] === "1" : told;
      return { words: t(need.words), state: met ? "met" : need.byHand ? "byHand" : "missing", told };
    });
    const ofMode = (number) => ground.mode < 0 || transitions[number].mode === ground.mode;
    const open = (list) => list.filter((one) => transitions[one[0]].needs.length > 0);
    const lacking = (one) => list(one).filter((need) => need.told === false && need.state === "missing").length;
    let chosen = state.complaint === 0 ? open(starts).find((one) => ofMode(one[0])) : undefined;
    if (!chosen) {
      const rank = (one) => [ofMode(one[0]) ? 1 : 0, transitions[one[0]].start ? 0 : 1, lacking(one), -one[0]];
      const better = (a, b) => {
        const [x, y] = [rank(a), rank(b)];
        const at = x.findIndex((value, place) => value !== y[place]);
        return at >= 0 && x[at] > y[at];
      };
      chosen = open(onward).reduce((best, one) => (!best || better(one, best) ? one : best), undefined);
    }
    return {
      start: chosen ? transitions[chosen[0]].start : false,
      list: chosen ? list(chosen) : [],
      held: [...held.map((one) => t(interlocks[one])), ...(timedOut ? [p("timedOut")] : [])],
    };
  }

  // ---- the result ---------------------------------------------------------------------------------------------

  function before(said) {
    if (said.length === 0) return null;
    return make("div", { class: "caution", role: "note" }, make("h3", {}, p("before")), said.map((one) => make("p", {}, t(one))));
  }

  function picture(row, words) {
    if (!row.picture || !data.pictures[row.picture[0]]) return null;
    const [name, across, down] = row.picture;
    return make("figure", { class: "picture" },
      make("img", { src: data.pictures[name], alt: words }),
      make("i", { style: `left:${across * 100}%;top:${down * 100}%`, "aria-hidden": "true" }));
  }

  function questionCard(question, replace) {
    const row = data.questions[question];
    const give = (answer) => () => {
      const one = { question, answer };
      if (answer === null) state.out.add(row.key);
      else state.out.delete(row.key);
      if (replace === undefined) state.said.push(one);
      else state.said[replace] = one;
      go("result");
    };
    const count = data.grounds[0].sameAnswer[question].length;
    return make("section", { class: "card ask", "data-question": question },
      before(row.before),
      make("h2", {}, p("ask")),
      make("p", { class: "words" }, questionWords(question)),
      t(row.place) ? make("p", { class: "more" }, `${p("place")}: ${t(row.place)}`) : null,
      picture(row, questionWords(question)),
      choices([
        ...Array.from({ length: count }, (_, answer) => button(answerWords(question, answer), give(answer), { class: "choice", "data-answer": answer })),
        button(p("unknown"), give(null), { class: "choice quiet", "data-answer": "unknown" }),
      ]));
  }

  const lampAt = (lamp) => data.lamps.flatMap((row) => row.lamps)[lamp];

  function lampCard(lamp) {
    const { label, words } = lampAt(lamp);
    const give = (shown) => () => {
      if (shown === null) state.out.add(`lamp:${label}`);
      else {
        if (state.lamps.length === 0) state.lamps = new Array(lampCount()).fill(null);
        state.lamps[lamp] = shown;
      }
      state.looked += 1;
      go("result");
    };
    const one = (shown) => button([glyph(shown), make("span", {}, p(WORDS[shown]))], give(shown), { class: "choice lamp-choice", "data-answer": shown });
    return make("section", { class: "card ask", "data-look": label },
      make("h2", {}, p("ask")),
      make("p", { class: "words" }, p("isLit", label)),
      t(words) ? make("p", { class: "more" }, t(words)) : null,
      choices([one(0), one(1), one(2), button(p("unknown"), give(null), { class: "choice quiet", "data-answer": "unknown" })]),
      button(p("allLamps"), () => go("lamps"), { class: "quiet" }));
  }

  function otherLampsCard() {
    return make("section", { class: "card ask", "data-look": "others" },
      make("h2", {}, p("ask")),
      make("p", { class: "words" }, p("lamps")),
      choices([
        button(p("allLamps"), () => {
          state.out.add("lamps");
          go("lamps");
        }, { class: "choice", "data-answer": "lamps" }),
        button(p("unknown"), () => {
          state.out.add("lamps");
          go("result");
        }, { class: "choice quiet", "data-answer": "unknown" }),
      ]));
  }

  function tryCard(next, found) {
    let row, words, record, key;
    if (next.goOn) {
      const healthy = found.cases.find((one) => one.set.length === 0);
      const routine = healthy ? Math.max(data.grounds[healthy.ground].routineNamed, 0) : 0;
      const actions = data.routines[routine].actions;
      const action = Math.min(healthy ? healthy.stage : 0, actions.length - 1);
      if (action < 0) return null;
      row = actions[action];
      words = p("goOn", t(row.words));
      record = { routine, action };
      key = "go-on";
    } else {
      row = data.remedies.rows[next.remedy];
      words = t(row.words);
      record = { remedy: next.remedy };
      key = `remedy:${row.key}`;
    }
    const give = (runs) => () => {
      state.said.push({ ...record, runs });
      go("result");
    };
    return make("section", { class: "card ask", "data-try": key },
      before(row.before),
      make("h2", {}, p("try")),
      make("p", { class: "words" }, words),
      picture(row, words),
      make("p", {}, p(next.goOn ? "tryLook" : "tryThen")),
      choices([
        button(p("runs"), give(true), { class: "choice", "data-answer": "runs" }),
        button(p("still"), give(false), { class: "choice", "data-answer": "still" }),
        button(p("cannot"), () => {
          state.out.add(key);
          state.said.push({ ...record, cannot: key, words });
          go("result");
        }, { class: "choice quiet", "data-answer": "cannot" }),
      ]));
  }

  function codeCard(title, more) {
    const code = encode(data, entered());
    const text = make("textarea", { readonly: true, rows: 6, "aria-label": p("copy") });
    text.value = code ? `${asText()}\n\n${code}` : asText();
    const copy = button(p("copy"), async () => {
      try {
        await navigator.clipboard.writeText(text.value);
      } catch (_) {
        text.select();
        document.execCommand("copy");
      }
      copy.textContent = p("copied");
    }, { class: "quiet" });
    return make("section", { class: "card code" },
      make("h2", {}, title), make("p", {}, code ? more : p("tooLong")),
      code ? make("p", { class: "letters", id: "code", "aria-label": code.replace(/-/g, ", ") }, code.split("-").map((group) => make("span", {}, group))) : null,
      make("details", {}, make("summary", {}, p("copy")), text, copy));
  }

  function saidList() {
    const rows = [];
    const put = (what, value, act) => rows.push(make("li", {}, make("span", {}, make("b", {}, what), " ", value), act ? button(p("change"), act, { class: "quiet small" }) : null));
    if (state.complaint !== undefined) put(p("complaint"), p(`complaint${state.complaint}`), () => go("complaint"));
    if (state.lastKnown !== undefined) {
      const value = state.routine === null ? p("unknown") : state.last < 0 ? p("poweredOn") : t(data.routines[state.routine].actions[state.last].words);
      put(p("last"), value, () => go("last"));
    }
    const labels = data.lamps.flatMap((row) => row.lamps.map((lamp) => lamp.label));
    const lit = labels.filter((_, lamp) => state.lamps[lamp] === 0);
    const flicker = labels.filter((_, lamp) => state.lamps[lamp] === 2);
    const dark = labels.filter((_, lamp) => state.lamps[lamp] === 1);
    const lamps = [[lit, "lit"], [flicker, "flickers"], [dark, "dark"]].filter(([names]) => names.length).map(([names, word]) => `${names.join(" ")} ${p(names.length > 1 ? `${word}Several` : word)}`);
    if (state.rest) lamps.push(p("restDark"));
    put(p("lamps"), lamps.join("; ") || p("unseen"), () => go("lamps"));
    state.said.forEach((one, at) => {
      if (one.question !== undefined) put(questionWords(one.question), answerWords(one.question, one.answer), () => {
        state.changing = at;
        go("question");
      });
      else if (one.cannot !== undefined) put(one.words, p("cannot"), () => {
        state.out.delete(one.cannot);
        state.said.splice(at, 1);
        go("result");
      });
      else {
        const words = one.remedy !== undefined ? t(data.remedies.rows[one.remedy].words) : t(data.routines[one.routine].actions[one.action].words);
        put(words, p(one.runs ? "runs" : "still"), () => {
          // Whatever was said after it was said of another machine.
          state.said.length = at;
          go("result");
        });
      }
    });
    return make("section", { class: "said" }, make("h2", {}, p("told")), make("ul", {}, rows),
      againButton());
  }

  // All is lost by it, so it is tapped twice.
  function againButton() {
    const one = button(p("again"), () => {
      one.textContent = p("againSure");
      one.addEventListener("click", () => {
        state = fresh();
        draw();
      });
    }, { class: "quiet", "data-again": true });
    return one;
  }

  function causesList(found) {
    const all = [...found.causes].map((probability, cause) => ({ probability, words: t(data.causes[cause].words) }));
    all.push({ probability: found.nothing, words: p("nothingWrong") }, { probability: found.unknown, words: p("notInFile"), always: true });
    all.sort((a, b) => b.probability - a.probability);
    const worth = all.filter((one, at) => one.always || (at < 40 && one.probability >= 0.005));
    const row = (one) => make("li", {},
      make("span", { class: "share" }, percent(one.probability)),
      make("span", { class: "cause" }, one.words, make("i", { class: "measure", style: `width:${Math.min(one.probability, 1) * 100}%`, "aria-hidden": "true" })));
    const first = worth.filter((one, at) => at < LISTED || one.always), rest = worth.filter((one) => !first.includes(one));
    return make("section", { class: "causes" }, make("h2", {}, p("causes")), make("ul", {}, first.map(row)),
      rest.length ? make("details", {}, make("summary", {}, `${p("more")} (${rest.length})`), make("ul", {}, rest.map(row))) : null);
  }

  function standsCard(found) {
    const all = places(found).filter((place, at) => at === 0 || (at < 3 && place.weight > 0.05));
    if (all.length === 0) return null;
    const wanted = needs(all[0]);
    const known = found.looks.reduce((sum, one) => sum + one.weight, 0);
    const mark = { met: "✓", missing: "✗", byHand: "☞" };
    const need = (one) => make("li", { class: one.state }, make("b", { "aria-hidden": "true" }, mark[one.state]), make("span", {}, one.words), make("em", {}, p(one.state)));
    const order = ["missing", "byHand"];
    const open = order.flatMap((state) => wanted.list.filter((one) => one.state === state));
    const met = wanted.list.filter((one) => one.state === "met");
    return make("section", { class: "card stands" },
      make("h2", {}, p("stands")),
      make("ul", { class: "places" }, all.map((place) => make("li", {},
        make("span", { class: "share" }, percent(place.weight / known)), make("span", {}, place.names.join(" + ") || p("notRunning"))))),
      wanted.list.length ? [
        make("h3", {}, p(wanted.start ? "startNeeds" : "waits")),
        make("ul", { class: "needs" }, open.map(need)),
        met.length ? make("details", { open: open.length === 0 }, make("summary", {}, p("allMet", String(met.length))), make("ul", { class: "needs" }, met.map(need))) : null,
      ] : null,
      wanted.held.length ? [make("h3", {}, p("heldBy")), make("ul", { class: "needs" }, wanted.held.map((one) => make("li", { class: "missing" }, make("b", { "aria-hidden": "true" }, "✗"), make("span", {}, one))))] : null);
  }

  function resultScreen() {
    show(make("h1", {}, p("working")));
    // Let the words be seen before the phone is busy.
    setTimeout(() => {
      const found = weigher.weigh(evidence());
      const lastTried = state.said.filter((one) => one.runs !== undefined).pop();
      let card;
      if (lastTried && lastTried.runs) card = codeCard(p("over"), p("overMore"));
      else {
        const next = new Chooser(data, found, evidence(), state.out).next();
        const room = evidence().tried.length < MOST_TRIED;
        if (next && next.ask !== undefined) card = questionCard(next.ask);
        else if (next && next.lamp !== undefined) card = state.looked < MOST_LOOKED ? lampCard(next.lamp) : otherLampsCard();
        else if (next && room) card = tryCard(next, found);
        card = card || codeCard(p("call"), p("callMore"));
      }
      if (lastTried && lastTried.runs) {
        show(make("h1", {}, t(data.machine)), card, saidList());
        return;
      }
      const doubt = found.unknown > FITS_BADLY
        ? make("section", { class: "caution" }, make("p", {}, p("fitsBadly")), button(p("lookAgain"), () => go("lamps"))) : null;
      show(make("h1", {}, t(data.machine)), doubt, standsCard(found), card, causesList(found), saidList());
    }, 20);
  }

  // What was entered stays where the page is loaded anew; where a browser keeps nothing, it is lost as before.
  const KEPT = () => `guide ${data.code.mark} ${data.version}`;
  function keep() {
    try {
      sessionStorage.setItem(KEPT(), JSON.stringify({ ...state, out: [...state.out], language }));
    } catch { /* Nothing is kept here. */ }
  }
  function kept() {
    try {
      const { language: spoken, ...rest } = JSON.parse(sessionStorage.getItem(KEPT()));
      state = { ...fresh(), ...rest, out: new Set(rest.out) };
      language = spoken;
    } catch { /* Nothing was kept. */ }
  }

  function draw() {
    keep();
    document.documentElement.lang = data.languages[language];
    document.querySelectorAll("[data-languages]").forEach((text) =>
      [...text.children].forEach((one, at) => { one.hidden = at !== language; }));
    document.getElementById("reviewed").textContent = p("notReviewed");
    document.getElementById("languages").replaceChildren(...data.languages.map((tag, at) =>
      button(NAMES[tag] || tag, () => {
        language = at;
        draw();
      }, { lang: tag, class: "language", "aria-pressed": String(at === language) })));
    if (state.screen === "complaint") complaintScreen();
    else if (state.screen === "last") lastScreen();
    else if (state.screen === "lamps") lampsScreen();
    else if (state.screen === "question") show(make("h1", {}, t(data.machine)), questionCard(state.said[state.changing].question, state.changing), button(p("back"), () => go("result"), { class: "quiet" }));
    else resultScreen();
  }

  try {
    const holder = document.getElementById("data");
    data = JSON.parse(await unpacked(ofBase64(holder.textContent)));
    holder.remove();
  } catch (error) {
    show(make("h1", {}, String(error.message || error)));
    return;
  }
  weigher = new Weigher(data);
  const wanted = data.languages.indexOf((navigator.language || "en").slice(0, 2));
  language = Math.max(wanted, 0);
  kept();
  // For tests: what is weighed, without tapping it in.
  window.guide = {
    weigh: (one) => weigher.weigh(one),
    next: (one) => new Chooser(data, weigher.weigh(one), one, new Set()).next(),
    encode: (one) => encode(data, one),
    causes: data.causes,
  };
  draw();
  document.body.dataset.ready = "yes";
})();
