// The desk: five views on one state that the server holds.
"use strict";

import { desk, follow, listen, refresh, turn } from "./server.js";
import * as choose from "./choose.js";
import * as decide from "./decide.js";
import * as mark from "./mark.js";
import * as play from "./play.js";
import * as out from "./out.js";

const views = { choose, decide, mark, play, out };
const by = (id) => document.getElementById(id);

const current = () => {
  const named = location.hash.slice(1);
  if (!desk.pair) return "choose";
  return named in views ? named : "decide";
};

const show = () => {
  const { state } = desk;
  if (!state) return;
  const name = current();
  for (const link of document.querySelectorAll("nav a")) {
    const own = link.hash.slice(1);
    if (own === name) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
    const closed = !desk.pair && own !== "choose";
    link.toggleAttribute("aria-disabled", closed);
    if (closed) link.setAttribute("aria-disabled", "true");
  }
  for (const own of Object.keys(views)) by(`view-${own}`).hidden = own !== name;
  const title = desk.pair?.audit.edition.title ?? desk.pair?.audit.source.title ?? "Desk";
  by("title").textContent = by("title").title = title;
  document.title = `${title} – obelus desk`;
  for (const way of ["undo", "redo"]) {
    by(way).disabled = !state[way];
    by(way).title = state[way] ? `${way === "undo" ? "Undo (Ctrl+Z)" : "Redo (Ctrl+Y)"}: ${state[way]}` : "";
  }
  by("open").textContent = state.open === undefined ? "" : state.open === 0 ? "All decided" : `${state.open} open`;
  by("open").title = "What is open is as in the source: additions are taken out, what is missing comes back";
  const told = [...state.faults, ...state.news, ...(state.remarks ?? [])];
  if (told.length) by("fault").textContent = told.join(" ");
  if (name === "choose" || desk.pair) views[name].show(by(`view-${name}`), desk);
};

// What is scrolled to stands below the head, however high that is.
const head = new ResizeObserver(() => {
  const own = getComputedStyle(by("top")).display === "contents" ? by("said") : by("top");
  document.documentElement.style.setProperty("--top", `${own.offsetHeight}px`);
});
for (const part of ["top", "said", "status", "fault"]) head.observe(by(part));

listen(show);
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  by("main").focus();
});
// A file that misses its box would open in the place of the desk.
for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());
addEventListener("hashchange", () => {
  show();
  by("main").focus({ preventScroll: true });
  scrollTo(0, 0);
});
by("undo").addEventListener("click", () => turn("undo"));
by("redo").addEventListener("click", () => turn("redo"));
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input, textarea, select")) return;
  const key = event.key.toLowerCase();
  const way = key === "z" ? (event.shiftKey ? "redo" : "undo") : key === "y" ? "redo" : null;
  if (!way) return;
  if (!by(way).disabled) turn(way);
  event.preventDefault();
});
await refresh();
follow();
