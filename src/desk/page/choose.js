// Choose: edition and source, the instrument, and which line lies beside which.
"use strict";

import { change, choose, get } from "./server.js";
import { labelled, make, pick } from "./parts.js";

let instruments = null;

const chooser = (side, name) => {
  const field = make("input", { type: "file", accept: ".musicxml,.xml,.mxl", onchange: (event) => event.target.files[0] && choose(side, event.target.files[0]) });
  const box = make("div", { class: "drop" },
    make("h3", {}, side === "edition" ? "The edition" : "The plain source"),
    make("p", {}, name ?? "None yet."),
    labelled(name ? "Choose another" : "Choose a file, or drop it here", field));
  box.addEventListener("dragover", (event) => { event.preventDefault(); box.classList.add("over"); });
  box.addEventListener("dragleave", () => box.classList.remove("over"));
  box.addEventListener("drop", (event) => {
    event.preventDefault();
    box.classList.remove("over");
    const file = event.dataTransfer.files[0];
    if (file) choose(side, file);
  });
  return box;
};

export const instrumentField = (state, text, key) => {
  const { player } = { player: {}, ...state.settings };
  const options = [[null, "none"], ...(instruments ?? []).map((name) => [name, name])];
  return labelled(text, pick(options, player[key] ?? null, (value) => change({ do: "player", player: { ...player, [key]: value } })));
};

export const knowInstruments = async () => {
  instruments ??= (await get("/instruments")) ?? [];
  return instruments;
};

const spoken = (line) => [line.name || line.id, line.staff && `staff ${line.staff}`, line.voice && `voice ${line.voice}`].filter(Boolean).join(", ");

export const show = async (section, { state, pair }) => {
  await knowInstruments();
  const lines = { ...state.settings.lines };
  const children = [
    section.querySelector("h2"),
    make("p", {}, "Scores are MusicXML (.musicxml, .xml, .mxl). They stay on this machine, in ", make("b", {}, state.folder), "."),
    make("div", { class: "two" }, chooser("edition", state.edition), chooser("source", state.source)),
    instrumentField(state, "The instrument that plays it", "instrument"),
  ];
  if (pair) {
    const { audit } = pair;
    const known = (side, own) => [...audit.parts.map(own), ...audit.not_compared[side]];
    const names = (side, own) => [[null, "whatever fits best"], ...new Map(known(side, own).map((line) => [line.id, [line.id, line.name || line.id]])).values()];
    const set = (key) => (value) => change({ do: "lines", lines: { ...lines, [key]: value } });
    children.push(
      make("h3", {}, "What lies beside what"),
      make("ul", {}, audit.parts.map((part) => make("li", {}, `${spoken(part.part)}: beside ${spoken(part.source_part)} of the source, ${part.notes.matched} of ${part.notes.edition} notes meet`)),
        audit.not_compared.edition.map((alone) => make("li", {}, `${spoken(alone)}: nothing in the source; it is left as it is`))),
      make("div", { class: "fields" },
        labelled("Only this part of the edition", pick(names("edition", (p) => p.part), lines.part ?? null, set("part"))),
        labelled("beside this part of the source", pick(names("source", (p) => p.source_part), lines["source-part"] ?? null, set("source-part")))),
    );
    if (audit.warnings.length) children.push(make("h3", {}, "Warnings"), make("ul", {}, audit.warnings.map((text) => make("li", {}, text))));
    children.push(make("p", {}, make("a", { href: "#decide", class: "next" }, "Decide what stays")));
  }
  section.replaceChildren(...children);
};
