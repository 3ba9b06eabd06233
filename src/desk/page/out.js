// Hand out: headings and paper, the files, and what was proved.
"use strict";

import { change, desk, get, handOut, practise, say } from "./server.js";
import { button, labelled, make, pick } from "./parts.js";
import { left } from "./mark.js";
import { inRange } from "./play.js";

const ABOUT = {
  "part.pdf": "The part as pages (PDF)", "clean.musicxml": "The part as MusicXML", "notes.md": "Critical notes",
  "practice.pdf": "The practice sheet as pages (PDF)", "practice.musicxml": "The practice sheet as MusicXML",
  "my-marks.toml": "Your marks, as a mark sheet for obelus", "decisions.toml": "Your decisions, for obelus", "desk.toml": "The scores, instrument, key and headings of this desk",
};

const links = (files) => make("ul", { class: "files" }, files.map((file) => make("li", {}, make("a", { href: `/files/${file}`, download: file }, ABOUT[file] ?? file), ` (${file})`)));
const typed = (command) => [make("p", {}, "The same on the command line:"), make("pre", { tabindex: "0" }, command)];

const place = ({ from, to }) => from.bar === to.bar ? `bar ${from.bar}` : `bars ${from.bar} to ${to.bar}`;
const stretch = (own) => make("li", {}, `${place(own)}: ${own.why}${own.lies_badly ? "; it lies badly on this instrument" : ""}. ${own.start.beat} = ${own.ladder.join(", ")}`);

let boxes = null;
let written = null;

const result = async (done) => {
  written = desk.state.version;
  const { told } = done;
  const { player = {} } = desk.state.settings;
  const range = player.instrument || player.for ? inRange(await get("/copy/range")) : [];
  const { bars, notes, marks } = told.proved;
  boxes.result.replaceChildren(
    make("h3", {}, "The files are written"),
    make("p", {}, `Of the editor's changes ${told.taken_out} are taken out, ${told.put_back} are put right as in the source, ${told.kept} are kept plainly and ${told.set_apart} kept and set apart${told.not_kept ? `; ${told.not_kept} that were to stay could not be kept` : ""}. Marks of your own: ${told.own}. The part was read back and every bar, note and mark compared: ${bars} bars, ${notes} notes, ${marks} marks.`),
    desk.state.open ? make("p", {}, `${desk.state.open} findings were not decided: they are as in the source.`) : "",
    ...range,
    ...left(done),
    links(done.files.filter((file) => !file.startsWith("practice."))),
    ...typed(done.command),
    make("h3", {}, "To practise at home"),
    make("p", {}, "The hardest stretches of the part with fingerings, a metronome ladder and exercises."),
    make("p", {}, button("Write a practice sheet", async () => { const sheet = await practise(); if (sheet) practised(sheet); })),
    boxes.practice);
  boxes.practice.replaceChildren();
};

const practised = ({ told, files, remarks, command }) => {
  const { stretches, warnings } = told;
  const nothing = "No stretch has to begin slower than the piece: there is nothing to break into exercises.";
  say(stretches.length ? "Done: the practice sheet is written." : nothing);
  boxes.practice.replaceChildren(
    stretches.length ? make("ol", {}, stretches.map(stretch)) : make("p", {}, nothing),
    ...[...new Set([...warnings, ...remarks])].map((text) => make("p", {}, text)),
    stretches.length ? links(files) : "", ...typed(command));
};

export const show = (section, { state }) => {
  if (!boxes) {
    boxes = { fields: make("div", { class: "fields" }), result: make("div", { "aria-live": "polite" }), practice: make("div", { "aria-live": "polite" }) };
    section.append(boxes.fields,
      make("p", {}, button("Write the files", async () => { const done = await handOut(); if (done) { say("Done: the files are written."); result(done); } }, { class: "next" })),
      boxes.result,
      make("p", { class: "hint" }, "The edition may be in copyright where you live. Taking out the editor's marks does not change that; your local law decides."));
  }
  if (written !== null && written !== state.version) {
    written = null;
    boxes.result.replaceChildren(make("p", {}, "Something has changed since the files were written; write them again."));
  }
  const pages = { ...state.settings.pages };
  const set = (key) => (value) => change({ do: "pages", pages: { ...pages, [key]: value } });
  const text = (name, key, hint) => {
    const field = make("input", { type: "text", value: pages[key] ?? "", placeholder: hint, onchange: (event) => set(key)(event.target.value || null) });
    return labelled(name, field);
  };
  boxes.fields.replaceChildren(...(state.staves ? [
    text("Title", "title", "as in the source"), text("Subtitle", "subtitle", "as in the source"), text("Composer", "composer", "as in the source"),
    labelled("Paper", pick([[null, "A4"], ["letter", "Letter"]], pages.paper ?? null, set("paper"))),
    labelled("Height of a staff in millimetres", make("input", {
      type: "number", min: "3", max: "12", step: "0.1", value: pages["staff-size"] ?? "", placeholder: "as suits the pages",
      onchange: (event) => event.target.reportValidity() && set("staff-size")(event.target.value || null),
    })),
  ] : [make("p", {}, "This build prints no pages; the part is handed out as MusicXML.")]));
};
