// Mark: the clean part as it now stands, and marks of one's own on it.
"use strict";

import { change, desk, get } from "./server.js";
import { button, keepFocus, labelled, make } from "./parts.js";
import { copyStaves, showLegend } from "./staves.js";

const SIGNS = [
  ["Breath", { breath: true }], ["Fermata", { fermata: true }],
  ["Staccato", { articulation: "staccato" }], ["Tenuto", { articulation: "tenuto" }], ["Accent", { articulation: "accent" }],
  ["Trill", { ornament: "trill-mark" }], ["Mordent", { ornament: "mordent" }], ["Upper mordent", { ornament: "inverted-mordent" }], ["Turn", { ornament: "turn" }],
];
const DYNAMICS = ["pp", "p", "mp", "mf", "f", "ff"];
const SPANS = [["Slur", { slur: true }], ["Crescendo", { hairpin: "crescendo" }], ["Diminuendo", { hairpin: "diminuendo" }]];
const TEXTS = [
  ["Fingering", "fingering", "0 12 45"], ["Expression", "expression", "dolce"], ["Tempo", "tempo", "Allegro"],
  ["Metronome", "metronome", "quarter = 66"], ["Other words", "text", "echo"],
];

let version = null;
let boxes = null;
let staves = null;
let here = null;
let waiting = null;

// Where a spot is; the spot itself may be drawn anew meanwhile.
const place = (spot) => {
  const { dataset: { first, part } } = spot.closest(".line");
  const staff = Number(spot.dataset.staff);
  return { at: spot.dataset.at, base: { ...(first === "no" && { part }), ...(staff !== 1 && { staff }) } };
};

const at = (there, kind) => ({ ...there.base, at: there.at, ...kind });

// What waits for a second note: a span for its end, a mark that is moved for its new place.
const wait = (text, then) => {
  waiting = then;
  boxes.card.classList.add("chosen", "waiting");
  boxes.card.replaceChildren(make("p", { role: "status" }, text), button("Cancel", stop));
  if (here && desk.state.staves) staves.goTo(here.at);
};

const stop = () => {
  waiting = null;
  palette();
};

// The keyboard goes on from where the mark was laid.
const add = async (mark) => {
  const { activeElement } = document;
  const byKey = boxes.card.contains(activeElement) && activeElement.matches(":focus-visible");
  const done = await change({ do: "mark", mark });
  if (done && byKey) staves.goTo(mark.at ?? mark.from);
};

const choose = (spot) => {
  if (waiting) {
    const then = waiting;
    stop();
    return then(place(spot));
  }
  here = { ...place(spot), spot, about: spot.getAttribute("aria-label") };
  for (const lit of boxes.staves.querySelectorAll(".spot.lit")) lit.classList.remove("lit");
  spot.classList.add("lit");
  if (spot.dataset.own !== undefined) return own(Number(spot.dataset.own));
  palette();
};

const close = () => {
  here?.spot?.classList.remove("lit");
  here?.spot?.focus({ preventScroll: true });
  here = null;
  palette();
};

const palette = () => {
  boxes.card.classList.remove("waiting");
  boxes.card.classList.toggle("chosen", Boolean(here));
  if (!here) return boxes.card.replaceChildren(make("p", {}, "Choose a note or a rest in the staves, then a mark. Arrow keys go from one to the next."));
  const from = here;
  const field = (name, key, example) => {
    const input = make("input", { type: "text", placeholder: example, size: "14" });
    return make("form", { class: "words", onsubmit: (event) => { event.preventDefault(); if (input.value.trim()) add(at(from, { [key]: input.value })); } },
      labelled(name, input), make("button", { type: "submit" }, "Add"));
  };
  boxes.card.replaceChildren(
    button("Close", close, { class: "close" }),
    make("h3", {}, from.about[0].toUpperCase() + from.about.slice(1)),
    make("div", { class: "keys", role: "group", "aria-label": "Signs" }, SIGNS.map(([name, kind]) => button(name, () => add(at(from, kind))))),
    make("div", { class: "keys", role: "group", "aria-label": "Dynamics" }, DYNAMICS.map((sign) => button(sign, () => add(at(from, { dynamics: sign })), { class: "sign" }))),
    make("div", { class: "keys", role: "group", "aria-label": "From here to another note" }, SPANS.map(([name, kind]) => button(`${name} to …`, () =>
      wait(`Choose the note at which the ${name.toLowerCase()} ends.`, (to) => add({ ...from.base, from: from.at, to: to.at, ...kind }))))),
    ...TEXTS.map((one) => field(...one)),
  );
  boxes.card.querySelector(".keys button").focus({ preventScroll: true });
};

const moved = (mark, there) => {
  const { part, staff, at: old, from, to, ...kind } = mark;
  return old === undefined ? { ...there.base, from: there.at, to, ...kind } : at(there, kind);
};

const own = (index) => {
  const { mark, about } = desk.state.marks[index] ?? {};
  if (!mark) return palette();
  const span = mark.from !== undefined;
  const move = (text, changed) => wait(text, (there) => change({ do: "edit-mark", place: index, mark: changed(there) }));
  boxes.card.classList.remove("waiting");
  boxes.card.classList.add("chosen");
  boxes.card.replaceChildren(
    button("Close", close, { class: "close" }),
    make("h3", {}, "Your mark"), make("p", {}, about),
    make("div", { class: "keys", role: "group", "aria-label": "Your mark" },
      button("Remove", () => change({ do: "remove-mark", place: index })),
      button(span ? "Begin it at …" : "Move it to …", () => move("Choose its new place.", (there) => moved(mark, there))),
      span ? button("End it at …", () => move("Choose the note at which it ends.", (there) => ({ ...mark, to: there.at }))) : null),
  );
  boxes.card.querySelector(".keys button").focus({ preventScroll: true });
};

// Without staves a place is said by its bar and its beat.
const byNumber = () => {
  const bar = make("input", { type: "text", size: "5", required: true });
  const beat = make("input", { type: "text", size: "5", required: true, placeholder: "1" });
  const go = (event) => {
    event.preventDefault();
    const there = { at: `${bar.value.trim()}:${beat.value.trim()}`, base: {}, about: `bar ${bar.value.trim()}, beat ${beat.value.trim()}` };
    if (waiting) {
      const then = waiting;
      stop();
      return then(there);
    }
    here = there;
    palette();
  };
  boxes.staves.hidden = true;
  return make("form", { onsubmit: go },
    make("p", {}, `This build draws no staves: ${desk.state.how}. Say the bar and the beat, then choose a mark.`),
    make("div", { class: "fields" }, labelled("Bar", bar), labelled("Beat", beat), make("button", { type: "submit" }, "Go there")));
};

// In the bars of the copy, where it is there.
let listed = null;
const list = (marks = desk.state.marks.map(({ about }) => about)) => {
  const now = JSON.stringify(marks);
  if (now === listed) return;
  listed = now;
  keepFocus(boxes.list, () => fill(marks));
  boxes.none.hidden = marks.length > 0;
};

const fill = (marks) => boxes.list.replaceChildren(...marks.map((about, index) =>
    make("li", {}, button(about, () => {
      const spot = boxes.staves.querySelector(`.spot[data-own="${index}"]`);
      spot?.scrollIntoView({ block: "center" });
      if (spot) choose(spot);
      else own(index);
    }), " ", button("Remove", () => change({ do: "remove-mark", place: index }), { "aria-label": `Remove ${about}` }))));

export const show = async (section, { state }) => {
  if (!boxes) {
    boxes = {
      staves: make("div", { class: "staves copy", role: "group", "aria-label": "The clean part" }),
      list: make("ol", { class: "marks" }),
      none: make("p", {}, "None yet."),
      card: make("div", { class: "card" }),
      told: make("div", { class: "told" }),
      legend: make("p", { class: "hint legend" }),
    };
    section.append(boxes.told, boxes.legend, make("div", { class: "beside" }, boxes.staves,
      make("div", { class: "panel" }, boxes.card, make("h3", {}, "Your marks"), boxes.none, boxes.list)));
    if (!state.staves) section.querySelector(".beside").prepend(byNumber());
    staves = copyStaves(boxes.staves, choose);
    addEventListener("keydown", (event) => {
      if (event.key !== "Escape" || section.hidden) return;
      if (waiting) stop();
      else if (here) close();
    });
    palette();
  }
  if (version === state.version) return;
  version = state.version;
  list();
  here = null;
  palette();
  const copy = await (state.staves ? staves.show() : get("/copy?width=2000"));
  if (!copy) return;
  if (copy.marks.length === desk.state.marks.length) list(copy.marks);
  boxes.told.replaceChildren(...(copy.lost ? [make("p", { class: "loss" }, copy.lost)] : []), ...left(copy));
  showLegend(boxes.legend, copy.range);
};

// Bars that stay as the edition has them, and what else is to be known.
export const left = ({ told }) => [
  ...told.left.map((bar) => make("p", {}, `Bar ${bar.bar} of the edition stays as it is there: ${bar.reason}.`)),
  ...(told.warnings.length
    ? [make("details", { open: true, class: "remarks" }, make("summary", {}, told.warnings.length === 1 ? "1 remark" : `${told.warnings.length} remarks`),
      make("ul", { tabindex: "0" }, told.warnings.map((text) => make("li", {}, text))))]
    : []),
];
