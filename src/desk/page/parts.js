// Elements, made by hand: what comes from files is always text.
"use strict";

export const make = (tag, attributes = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name in element && typeof value === "boolean") element[name] = value;
    else if (value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return element;
};

export const button = (text, onclick, more = {}) => make("button", { type: "button", onclick, ...more }, text);

let count = 0;
export const labelled = (text, field) => {
  field.id ||= `f${(count += 1)}`;
  return make("div", { class: "field" }, make("label", { for: field.id }, text), field);
};

export const pick = (options, chosen, onchange) => {
  const field = make("select", { onchange: (event) => onchange(event.target.value || null) });
  for (const [value, text] of options) field.append(make("option", { value: value ?? "", selected: value === chosen }, text));
  return field;
};

export const SIGNS = { added: "+", omitted: "−", altered: "~" };
// What can be done about a finding, and what then is so, by what the editor did.
export const ANSWERS = {
  added: { out: "Take out", keep: "Keep", apart: "Set apart", open: "Leave open" },
  omitted: { out: "Put back", keep: "Leave out", open: "Leave open" },
  altered: { out: "As in the source", keep: "As in the edition", apart: "Set apart", open: "Leave open" },
  many: { out: "As in the source", keep: "As in the edition", apart: "Set apart", open: "Leave open" },
};
export const WORDS = {
  added: { out: "taken out", keep: "kept", apart: "set apart" },
  omitted: { out: "put back", keep: "left out" },
  altered: { out: "as in the source", keep: "as in the edition", apart: "set apart" },
};
// Kinds of findings, as a player would call them.
const KINDS = {
  note: "notes added or left out", pitch: "notes of another pitch", octave: "notes in another octave", rhythm: "notes of another length",
  spelling: "notes spelled otherwise", "written-out": "ornaments written out",
};
export const called = (category) => (category === "written-out" ? "written-out ornament" : category);
export const kind = (category) => KINDS[category] ?? category;

// Builds a box anew; the button that had the focus has it again.
export const keepFocus = (box, build) => {
  const name = (item) => `${item.getAttribute("aria-label") ?? item.textContent} ${item.closest("[role=group]")?.getAttribute("aria-label") ?? ""}`;
  const { activeElement } = document;
  const had = box.contains(activeElement) && activeElement.matches("button") ? name(activeElement) : null;
  build();
  if (had !== null) [...box.querySelectorAll("button")].find((item) => name(item) === had)?.focus({ preventScroll: true });
};
