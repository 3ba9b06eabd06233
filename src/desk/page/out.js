// Hand out: headings and paper, the files, and what was proved.
"use strict";

import { change, handOut } from "./server.js";
import { button, labelled, make, pick } from "./parts.js";
import { left } from "./mark.js";

const ABOUT = {
  "part.pdf": "The part as pages (PDF)", "clean.musicxml": "The part as MusicXML", "notes.md": "Critical notes",
  "my-marks.toml": "Your marks (mark sheet)", "decisions.toml": "Your decisions", "desk.toml": "The settings of this desk",
};

let boxes = null;

const result = (done) => {
  const { told } = done;
  const { bars, notes, marks } = told.proved;
  boxes.result.replaceChildren(
    make("h3", {}, "Written and proved"),
    make("p", {}, `${told.taken_out} taken out, ${told.put_back} put back, ${told.kept} kept, ${told.own} of your own. Read back and compared: ${bars} bars, ${notes} notes, ${marks} marks.`),
    ...left(done),
    make("ul", { class: "files" }, done.files.map((file) => make("li", {}, make("a", { href: `/files/${file}`, download: file }, ABOUT[file] ?? file), ` (${file})`))),
    make("p", {}, "The same on the command line:"), make("pre", { tabindex: "0" }, done.command));
};

export const show = (section, { state }) => {
  if (!boxes) {
    boxes = { fields: make("div", { class: "fields" }), result: make("div", { "aria-live": "polite" }) };
    section.append(boxes.fields,
      make("p", {}, button("Write the files", async () => { const done = await handOut(); if (done) result(done); }, { class: "next" })),
      boxes.result,
      make("p", { class: "hint" }, "The edition may be in copyright where you live. Taking out the editor's marks does not change that; your local law decides."));
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
    text("Height of a staff in millimetres", "staff-size", "as suits the pages"),
  ] : [make("p", {}, "This build prints no pages; the part is handed out as MusicXML.")]));
};
