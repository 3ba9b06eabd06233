// Decide: source above edition, and beside them the list of what was found.
"use strict";

import { change, desk, get } from "./server.js";
import { ANSWERS, SIGNS, WORDS, button, called, keepFocus, kind, labelled, make, pick } from "./parts.js";
import { learn, put } from "./staves.js";

const SVG = "http://www.w3.org/2000/svg";
// Signs beside what is decided, in units of the staves.
const DECIDED = {
  out: "M0 0L280 -280M0 -280L280 0", keep: "M0 -130L110 0L330 -330", apart: "M90 -330H0V40H90M210 -330H300V40H210",
};

let built = null;
// What of the decisions cannot be so, by part and finding, and where the user's own marks stand.
let otherwise = { version: null, all: new Map(), marks: [] };
let part = 0;
let chosen = null;
let boxes = {};

const findings = () => desk.pair.audit.parts[part].findings;

const reading = (f) => {
  if (f.edition_reading && f.source_reading) return `${f.edition_reading}; in the source ${f.source_reading}`;
  return f.edition_reading ?? f.source_reading ?? "";
};

// The edition's reading, and what the source has; a sign that is called as its category is not said twice.
const readings = (f) => {
  const own = f.edition_reading ?? (f.source_reading && f.status === "omitted" ? f.source_reading : "");
  const shown = [f.category, `${f.category}-mark`].includes(own) ? "" : own;
  return [make("span", { class: "reading" }, shown), f.status === "altered" && f.source_reading ? `; in the source ${f.source_reading}` : ""];
};

const other = (index) => otherwise.all.get(`${part}/${index}`);
const word = (index) => {
  const [said, ours] = desk.state.decisions[part][index];
  const told = other(index);
  if (told) return told.stays ? "stays" : "not kept";
  return ours ? WORDS[findings()[index].status][said] : "open";
};

// Asks what cannot be so; nobody waits for it.
const learnOtherwise = async () => {
  const { version } = desk.state;
  if (otherwise.version === version) return;
  otherwise.version = version;
  const told = await get("/otherwise");
  if (!told || told.version !== desk.state.version) return;
  otherwise = { version, all: new Map(told.otherwise.map((one) => [`${one.part}/${one.finding}`, one])), marks: told.marks };
  paint();
  card();
};

// Of the notes of one passage, the first of a picture has the sign for all.
const isTold = (mark, f, said, told) => {
  if (f?.passage == null || ![...NOTES, "octave", "pitch"].includes(f.category)) return false;
  const svg = mark.ownerSVGElement;
  const key = `${f.passage} ${said}`;
  const known = told.get(svg) ?? new Set();
  told.set(svg, known);
  return known.has(key) || !known.add(key);
};

// A sign at the upper right of a mark.
const sign = (mark, said) => {
  if ((mark.lastChild.dataset.decided ?? "open") === said) return;
  mark.querySelector(".decided")?.remove();
  const rect = mark.querySelector("rect");
  if (!rect || !DECIDED[said]) return;
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("class", "decided");
  path.dataset.decided = said;
  path.setAttribute("d", DECIDED[said]);
  path.setAttribute("transform", `translate(${Number(rect.getAttribute("x")) + Number(rect.getAttribute("width"))} ${Number(rect.getAttribute("y")) + 150})`);
  mark.append(path);
};

// What is decided looks decided, in the list and in the staves.
const paint = () => {
  const all = desk.state.decisions[part];
  for (const item of boxes.list.querySelectorAll("li[data-finding]")) {
    const [said, ours] = all[item.dataset.finding];
    item.dataset.said = other(item.dataset.finding) ? "otherwise" : ours ? said : "open";
    item.querySelector(".said").textContent = word(item.dataset.finding);
    item.querySelector("button").setAttribute("aria-current", String(Number(item.dataset.finding) === chosen));
  }
  const told = new Map();
  for (const mark of boxes.staves.querySelectorAll("[data-rows]")) {
    const rows = mark.dataset.rows.split(" ").map(Number);
    const said = new Set(rows.map((row) => (all[row]?.[1] ? all[row][0] : "open")));
    const now = said.size === 1 ? [...said][0] : "open";
    if (mark.matches("a")) sign(mark, isTold(mark, findings()[rows[0]], now, told) ? "open" : now);
    mark.dataset.said = now;
    mark.classList.toggle("lit", rows.includes(chosen));
  }
  // One mark at a time is in the order of the Tab key.
  const marks = inOrder();
  const stop = marks.find((mark) => mark === document.activeElement) ?? marks.find((mark) => mark.matches(".lit")) ?? marks[0];
  for (const mark of marks) mark.tabIndex = mark === stop ? 0 : -1;
};

// The marks in the staves by their places in the piece.
const inOrder = () => [...boxes.staves.querySelectorAll("a[data-rows]")].sort((a, b) => parseInt(a.dataset.rows, 10) - parseInt(b.dataset.rows, 10));

const decide = (which, said) => change({ do: "decide", which, said });

const card = () => keepFocus(boxes.card, fill);

const fill = () => {
  const f = findings()[chosen];
  boxes.card.classList.toggle("chosen", Boolean(f));
  if (!f) return boxes.card.replaceChildren(make("p", {}, "Choose something in the staves or in the list. Keys: N next, P previous, O take out (as in the source), K keep, A set apart, L leave open, Ctrl+Z undo; arrow keys go from mark to mark. What stays open is as in the source. Set apart: kept, but dashed or in brackets, as critical editions do."));
  const own = { finding: { part, finding: chosen } };
  const apart = desk.pair.can_be_apart[part][chosen];
  const passage = f.passage === null ? null : desk.pair.passages[part][f.passage];
  const [now, ours] = desk.state.decisions[part][chosen];
  const ofPassage = f.passage === null ? null : desk.state.passages[part][f.passage];
  const three = (which, able = apart, said = null, words = ANSWERS.many) => ["out", "keep", "apart", "open"].filter((one) => (able || one !== "apart") && words[one]).map((one) =>
    button(words[one], () => decide(which, one), said === null ? {} : { "aria-pressed": String(one === said) }));
  const why = other(chosen);
  boxes.card.replaceChildren(...[
    button("Close", () => choose(null, "staves"), { class: "close" }),
    make("h3", {}, `${SIGNS[f.status]} ${called(f.category)}, bar ${f.bar}, beat ${f.beat}`),
    make("p", {}, `${DEEDS[f.status]}: ${reading(f) || f.category}. Now: `, make("b", {}, word(chosen)), why ? `: ${why.why}.` : "."),
    make("div", { class: "keys", role: "group", "aria-label": "This one" }, three(own, apart, ours ? now : "open", ANSWERS[f.status])),
    passage && make("div", { class: "more" },
      make("p", {}, `Its passage, ${passage[0]}: ${passage[1]}.`),
      make("div", { class: "keys", role: "group", "aria-label": "The passage" }, three({ passage: { part, passage: f.passage } }, true, ofPassage ?? "open", OF_PASSAGE[desk.pair.audit.parts[part].passages[f.passage].kind]))),
    onIt(f),
    make("details", {}, make("summary", {}, `More of this kind, or all in bar ${f.bar}`),
      make("p", {}, `All of this kind: ${kind(f.category)}`),
      make("div", { class: "keys", role: "group", "aria-label": `All ${f.category}` }, three({ category: f.category }, true)),
      make("p", {}, `All in bar ${f.bar}`),
      make("div", { class: "keys", role: "group", "aria-label": `Bar ${f.bar}` }, three({ bars: { part, from: f.bar_index, to: f.bar_index } }, true))),
  ].filter(Boolean));
};

const OF_PASSAGE = { "inserted-passage": ANSWERS.added, cut: { ...ANSWERS.omitted, apart: ANSWERS.added.apart } };
const DEEDS = { added: "The editor added", omitted: "The editor left out", altered: "The editor changed" };

// The user's own marks that go where these notes go.
const onIt = (f) => {
  const passage = f.passage === null ? null : desk.pair.audit.parts[part].passages[f.passage];
  if (!passage && !NOTES.includes(f.category)) return null;
  const [first, last] = passage ? [passage.from.bar_index, passage.to.bar_index] : [f.bar_index, f.bar_index];
  const own = otherwise.marks.filter(({ bar }) => bar !== null && first <= bar && bar <= last);
  return own.length ? make("p", { class: "loss" }, `Your marks here: ${own.map(({ about }) => about).join("; ")}. If its note goes, a mark goes with it; undo brings both back.`) : null;
};
const NOTES = ["note", "rhythm", "tie", "written-out"];

const choose = (index, from) => {
  chosen = index;
  paint();
  card();
  const item = boxes.list.querySelector(`li[data-finding="${index}"]`);
  const mark = boxes.staves.querySelector(`a[data-rows~="${index}"]`);
  // What is not drawn yet is brought near: it is drawn then.
  const bars = desk.pair.bars[part].length;
  const far = boxes.staves.querySelectorAll(".music-piece");
  const near = far[Math.floor(((findings()[index]?.bar_index ?? 0) / Math.max(bars, 1)) * far.length)];
  // On a narrow screen the list is far away, and what is chosen is in sight already.
  if (from !== "list" && matchMedia("(min-width: 60.01rem)").matches) item?.scrollIntoView({ block: "nearest" });
  if (from !== "staves") (mark ?? near)?.scrollIntoView({ block: "center", inline: "nearest" });
  if (from === "key") boxes.card.focus({ preventScroll: true });
};

const wide = () => {
  const numbers = desk.pair.bars[part];
  const options = numbers.map((number, index) => [String(index), `bar ${number}`]);
  const from = pick(options, "0", () => {});
  const to = pick(options, "0", () => {});
  const categories = [...new Set(findings().map((f) => f.category))].sort();
  const category = pick(categories.map((c) => [c, kind(c)]), categories[0], () => {});
  const row = (name, which, words = ["out", "keep", "apart", "open"]) => make("div", { class: "keys", role: "group", "aria-label": name },
    words.map((said) => button(ANSWERS.many[said], () => decide(which(), said))));
  return make("details", { class: "wide" }, make("summary", {}, "Decide many at once"),
    labelled("All of this kind", category), row("Category", () => ({ category: category.value })),
    make("div", { class: "fields" }, labelled("From", from), labelled("to", to)),
    row("Bars", () => ({ bars: { part, from: Math.min(from.value, to.value), to: Math.max(from.value, to.value) } })),
    make("p", {}, "All that is still open"), row("All that is open", () => "rest", ["out", "keep", "apart"]));
};

const build = async (section) => {
  const { pair, state } = desk;
  const one = pair.audit.parts.length === 1;
  boxes = {
    staves: make("div", { class: "music" }),
    list: make("ol", { class: "findings" }),
    card: make("div", { class: "card", "aria-live": "polite", tabindex: "-1" }),
  };
  for (const [index, f] of findings().entries()) {
    boxes.list.append(make("li", { id: `p${part + 1}-r${index}`, "data-finding": index },
      button("", () => choose(index, "list"), { class: f.status })));
    boxes.list.lastChild.firstChild.append(
      make("span", { class: "where" }, `${f.bar}:${f.beat}`), ` ${SIGNS[f.status]} ${called(f.category)} `,
      ...readings(f), make("span", { class: "said" }));
  }
  const parts = one ? null : labelled("Part", pick(pair.audit.parts.map((p, i) => [String(i), p.part.name || p.part.id]), String(part), (value) => {
    part = Number(value);
    chosen = null;
    built = null;
    show(section, desk);
  }));
  const summary = make("ul", { class: "summary" }, pair.summaries[part].map((sentence) => make("li", {}, sentence)));
  section.replaceChildren(section.querySelector("h2"),
    make("div", { class: "beside" }, make("div", {}, ...[parts].filter(Boolean), summary, boxes.staves), make("div", { class: "panel" }, boxes.card, wide(), make("h3", {}, "What was found ", make("small", {}, "(bar:beat)")), boxes.list)));
  card();
  paint();
  if (!state.staves) return compass(`This build draws no staves: ${state.how}`);
  await draw();
};

// Where no staves can be drawn: the pitches of both sides over time.
const compass = async (why) => {
  const own = built;
  const drawn = await get(`/compass/${part}`);
  if (drawn === null || own !== built) return;
  const picture = make("div", {});
  put(picture, drawn);
  boxes.staves.replaceChildren(make("p", {}, `${why}. Decide in the list.`), picture);
};

// Piece by piece, as they come into view.
const draw = async () => {
  const own = built;
  const told = await get(`/staves/${part}`);
  if (told === null || own !== built) return;
  if (told.why) return compass(told.why);
  const observer = new IntersectionObserver((entries) => {
    for (const { isIntersecting, target } of entries) {
      if (!isIntersecting) continue;
      observer.unobserve(target);
      piece(target, own);
    }
  }, { rootMargin: "600px" });
  const places = Array.from({ length: told.pieces }, (_, place) => make("div", { class: "music-piece", "data-piece": place }));
  boxes.staves.replaceChildren(
    make("p", { class: "hint legend", id: `p${part + 1}-score` }, "The source above, the edition below, in the edition's key. + added, − left out, ~ changed; brackets and dashes show what the editor added, decided or not. What you have decided: ",
      shape("keep"), " kept, ", shape("apart"), " set apart, ", shape("out"), " as in the source."),
    ...places);
  places.forEach((place) => observer.observe(place));
};

const shape = (said) => {
  const drawn = make("span", {});
  drawn.innerHTML = `<svg viewBox="-60 -390 450 490" aria-hidden="true"><path class="decided" d="${DECIDED[said]}"/></svg>`;
  return drawn;
};

const piece = async (place, own) => {
  const drawn = await get(`/staves/${part}/${place.dataset.piece}`);
  if (drawn === null || own !== built) return;
  await learn();
  put(place, drawn);
  place.classList.add("drawn");
  paint();
};

const step = (by) => {
  const count = findings().length;
  if (count) choose(chosen === null ? (by > 0 ? 0 : count - 1) : (chosen + by + count) % count, "key");
};

addEventListener("click", (event) => {
  const mark = event.target.closest?.("#view-decide .staves a[data-rows]");
  if (!mark) return;
  event.preventDefault();
  const rows = mark.dataset.rows.split(" ").map(Number);
  // The same mark again leads to the next finding about it.
  choose(rows[(rows.indexOf(chosen) + 1) % rows.length], "staves");
});

addEventListener("keydown", (event) => {
  if (document.getElementById("view-decide").hidden || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.matches("input, textarea, select") || !desk.pair) return;
  const mark = event.target.closest("#view-decide .staves a[data-rows]");
  const along = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (mark && along) {
    const marks = inOrder();
    const to = marks[marks.indexOf(mark) + along];
    if (to) {
      mark.tabIndex = -1;
      to.tabIndex = 0;
      to.focus();
    }
    return event.preventDefault();
  }
  const key = event.key.toLowerCase();
  const said = { o: "out", k: "keep", a: "apart", l: "open" }[key];
  if (key === "n") step(1);
  else if (key === "p") step(-1);
  else if (said && chosen !== null) decide({ finding: { part, finding: chosen } }, said);
  else return;
  event.preventDefault();
});

export const show = (section, { pair }) => {
  if (part >= pair.audit.parts.length) part = 0;
  const name = `${pair.number}/${part}`;
  if (built !== name) {
    built = name;
    chosen = null;
    build(section);
    return learnOtherwise();
  }
  paint();
  card();
  learnOtherwise();
};
