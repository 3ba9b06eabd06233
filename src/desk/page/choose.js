// Choose: edition and source, the instrument, and what is compared.
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

// A part, and a staff or a voice of it where it has several; `side` is what their options begin with.
const lineFields = (parts, lines, set, side, title, whose) => {
  const [part, staff, voice] = ["part", "staff", "voice"].map((name) => side + name);
  const number = (name) => (value) => set({ [name]: value === null ? null : Number(value), ...(name === staff && { [voice]: null }) });
  // The file of settings may have a name in place of an id.
  const own = parts.length === 1 ? parts[0] : parts.find((one) => [one.id, one.name].includes(lines[part]));
  const fields = parts.length > 1 || lines[part] ? [labelled(title, pick([[null, "the best match"], ...parts.map((one) => [one.id, one.name || one.id])], lines[part] ? own?.id ?? null : null,
    (value) => set({ [part]: value, [staff]: null, [voice]: null })))] : [];
  const field = (name, what, all) => labelled(`Only this ${what} ${whose}`, pick([[null, `every ${what}`], ...all.map((one) => [String(one), `${what} ${one}`])], lines[name]?.toString() ?? null, number(name)));
  if (own?.staves > 1) fields.push(field(staff, "staff", Array.from({ length: own.staves }, (_, place) => place + 1)));
  const voices = own?.voices[lines[staff] ?? 0] ?? [];
  if (voices.length > 1 || lines[voice]) fields.push(field(voice, "voice", [...new Set([...voices, lines[voice]].filter(Boolean))]));
  return make("div", { class: "fields" }, fields);
};

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
    const set = (changed) => change({ do: "lines", lines: { ...lines, ...changed } });
    children.push(
      make("h3", {}, "What is compared"),
      make("ul", {}, audit.parts.map((part) => make("li", {}, `${spoken(part.part)}: with ${spoken(part.source_part)} of the source; ${part.notes.matched} of ${part.notes.edition} notes match`)),
        audit.not_compared.edition.map((alone) => make("li", {}, `${spoken(alone)}: nothing in the source; it is left as it is`))),
      lineFields(pair.lines[0], lines, set, "", "Only this part of the edition", "of the edition"),
      lineFields(pair.lines[1], lines, set, "source-", "beside this part of the source", "of the source"),
    );
    if (audit.warnings.length) children.push(make("h3", {}, "Warnings"), make("ul", {}, audit.warnings.map((text) => make("li", {}, text))));
    children.push(make("p", {}, make("a", { href: "#decide", class: "next" }, "Decide what stays")));
  }
  section.replaceChildren(...children);
};
