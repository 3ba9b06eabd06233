// Play it on: the instrument, the keys that lie well on it, and the part in the one that is chosen.
"use strict";

import { change, desk, get } from "./server.js";
import { button, labelled, make } from "./parts.js";
import { copyStaves, showLegend } from "./staves.js";
import { instrumentField, knowInstruments } from "./choose.js";

let boxes = null;
let staves = null;
let version = null;
let ranked = null;

const set = (more) => change({ do: "player", player: { ...desk.state.settings.player, ...more } });

const table = (instrument, report) => {
  const of = report.parts[0]?.instruments[0];
  if (!of) return make("p", {}, "There are no notes to be ranked.");
  const { player = {} } = desk.state.settings;
  const now = player.transpose ?? "in the same key";
  const row = (key) => {
    const name = key.transposition.name;
    const isOwn = name === now || (!player.transpose && key.transposition.semitones === 0);
    const choose = () => set({ key: null, transpose: key.transposition.semitones === 0 && key.transposition.steps === 0 ? null : name, fit: key.octave_changes.length > 0 });
    return make("tr", { "aria-current": isOwn ? "true" : null },
      make("td", { "data-what": "Rank" }, String(key.rank)),
      make("th", { scope: "row", "data-what": "Key" }, key.key ?? key.signature),
      make("td", {}, isOwn ? "chosen" : button("Choose", choose, { "aria-label": `Choose ${key.key ?? key.signature}, ${name}` })),
      make("td", { "data-what": "From the edition" }, name),
      make("td", { "data-what": "Range" }, key.outside === 0 ? "all within" : `${key.outside} outside${key.octave_changes.length ? `, ${key.outside_after} after octave changes` : ""}`),
      make("td", { "data-what": "Why" }, key.reason));
  };
  const [best, rest] = [of.transpositions.slice(0, 6), of.transpositions.slice(6)];
  const head = () => make("thead", {}, make("tr", {}, ["Rank", "Key", "Choice", "From the edition", "Range", "Why"].map((text) => make("th", { scope: "col" }, text))));
  return make("div", {},
    of.better_octave ? make("p", {}, of.better_octave.fits) : null,
    make("div", { class: "wide-table", tabindex: "0", role: "group", "aria-label": "Keys" }, make("table", {}, make("caption", {}, `Keys on the ${instrument}, the best first`), head(), make("tbody", {}, best.map(row)))),
    rest.length ? make("details", {}, make("summary", {}, `${rest.length} more keys`), make("div", { class: "wide-table", tabindex: "0", role: "group", "aria-label": "More keys" }, make("table", {}, head(), make("tbody", {}, rest.map(row))))) : null);
};

// What leaves the range and which phrases were moved; `go` brings a place into view.
export const inRange = (parts, go) => {
  if (!parts) return [make("p", {}, "Choose an instrument to see what leaves its range.")];
  const list = (title, all) => all.length ? [make("h3", {}, title), make("ul", { class: "places" }, all.map((one) =>
    make("li", {}, go ? button(one.what, () => go(one)) : one.what, go ? " " : ", ", one.why)))] : [];
  return parts.flatMap((part) => [
    make("p", {}, parts.length > 1 ? `${part.name}: ${part.summary}` : part.summary),
    ...list("Phrases that obelus moved an octave", part.moved),
    ...list("Not moved, because a line joins them to a note that stays", part.not_moved),
    ...list("Outside the range", part.outside),
  ]);
};

export const show = async (section, { state }) => {
  await knowInstruments();
  if (!boxes) {
    boxes = {
      fields: make("div", { class: "fields" }),
      keys: make("div", {}),
      range: make("div", { class: "told", "aria-live": "polite" }),
      legend: make("p", { class: "hint legend" }),
      staves: make("div", { class: "staves copy", role: "group", "aria-label": "The part in the key that is chosen" }),
    };
    section.append(boxes.fields, boxes.keys, boxes.range, boxes.legend, boxes.staves);
    staves = copyStaves(boxes.staves, () => {});
  }
  const { player = {} } = state.settings;
  const fit = make("input", { type: "checkbox", checked: Boolean(player.fit), onchange: (event) => set({ fit: event.target.checked }) });
  boxes.fields.replaceChildren(
    instrumentField(state, "The instrument", "instrument"),
    instrumentField(state, "Write it as this instrument reads it", "for"),
    make("div", { class: "field" }, labelled("Move phrases an octave where they leave the range", fit)));
  if (version === state.version) return;
  version = state.version;
  const copy = state.staves ? staves.show() : null;
  const { instrument } = player;
  const name = instrument && `${instrument}/${state.pair}/${JSON.stringify(state.decisions)}`;
  if (name !== ranked?.name) {
    const report = instrument ? await get(`/keys?instrument=${encodeURIComponent(instrument)}`) : null;
    ranked = { name, instrument, report };
  }
  boxes.keys.replaceChildren(ranked?.report ? table(instrument, ranked.report) : "");
  await copy;
  const parts = instrument || player.for ? await get("/copy/range") : null;
  boxes.range.replaceChildren(...inRange(parts, state.staves ? staves.bring : null));
  showLegend(boxes.legend, parts);
};
