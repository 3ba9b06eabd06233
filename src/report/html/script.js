// Filters for the table of bars and the notes. The page is whole without this.
"use strict";
for (const form of document.querySelectorAll("form.filters")) {
  const within = (selector) => [...document.querySelectorAll(`table[data-part="${form.dataset.part}"]${selector}`)];
  const notes = within(".notes tr[data-status]");
  const groups = within(".notes tbody");
  const bars = within(".bars tbody tr");
  const chips = within(".bars .chip");
  const boxes = (name) => [...form.querySelectorAll(`input[name="${name}"]`)];
  const chosen = (name) => new Set(boxes(name).filter((box) => box.checked).map((box) => box.value));
  const apply = () => {
    const [statuses, categories] = [chosen("status"), chosen("category")];
    const clean = form.elements.clean.checked;
    for (const item of [...notes, ...chips]) {
      item.hidden = !statuses.has(item.dataset.status) || !categories.has(item.dataset.category);
    }
    for (const bar of bars) {
      bar.hidden = bar.classList.contains("clean") ? !clean : !bar.querySelector(".chip:not([hidden])");
    }
    for (const group of groups) {
      group.hidden = !group.querySelector("tr:not([hidden])");
    }
    const shown = notes.filter((note) => !note.hidden).length;
    form.querySelector("output").textContent = `${shown} of ${notes.length} findings`;
  };
  form.addEventListener("change", apply);
  for (const button of form.querySelectorAll("button[data-all]")) {
    button.addEventListener("click", () => {
      for (const box of boxes("category")) box.checked = button.dataset.all === "true";
      apply();
    });
  }
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  // Browsers keep what was ticked over a reload.
  apply();
}
// A link to a bar that the filters hide shows it again.
addEventListener("hashchange", () => {
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!target || !target.hidden) return;
  for (const form of document.querySelectorAll("form.filters")) {
    for (const box of form.querySelectorAll("input")) box.checked = true;
    form.dispatchEvent(new Event("change"));
  }
  target.scrollIntoView();
});
// Marks in the staves and rows of the notes light each other: near ones while they are pointed at, those that were
// followed until another is, Escape, or Back.
document.documentElement.classList.add("scripted");
const target = () => document.getElementById(decodeURIComponent(location.hash.slice(1)));
const followed = [];
// Of marks that lie on each other the one nearest to the pointer.
const nearest = (event) => {
  const all = document.elementsFromPoint(event.clientX, event.clientY).map((item) => item.closest(".staves a[data-rows]"));
  const far = (link) => {
    const rect = link.querySelector("rect");
    const { left, top, right, bottom } = rect.getBoundingClientRect();
    const around = 60 * (right - left) / rect.width.baseVal.value;
    const beside = (at, from, to) => Math.max(from + around - at, 0, at - to + around);
    const outside = Math.hypot(beside(event.clientX, left, right), beside(event.clientY, top, bottom));
    return outside + Math.hypot(event.clientX - (left + right) / 2, event.clientY - (top + bottom) / 2) / 1000;
  };
  return [...new Set(all)].filter((link) => link).map((link) => [far(link), link]).sort(([a], [b]) => a - b)[0]?.[1];
};
for (const part of document.querySelectorAll("section.part")) {
  const marks = [...part.querySelectorAll(".staves a[data-rows]")];
  const of = new Map([...part.querySelectorAll(".notes tr[data-row]")].map((row) => [row.dataset.row, [row]]));
  for (const mark of marks) for (const row of mark.dataset.rows.split(" ")) of.get(row)?.push(mark);
  const shown = {};
  const light = (name, numbers) => {
    if (shown[name] === numbers.join(" ")) return;
    shown[name] = numbers.join(" ");
    for (const item of part.querySelectorAll(`.${name}`)) item.classList.remove(name);
    for (const number of numbers) for (const item of of.get(number) ?? []) item.classList.add(name);
  };
  const named = (item) => {
    const own = item?.closest(".staves a[data-rows], .notes tr[data-row]");
    if (!own || !part.contains(own)) return [];
    return own.dataset.row ? [own.dataset.row] : own.dataset.rows.split(" ");
  };
  const point = (event) => light("near", named(event.target.closest(".staves") ? nearest(event) : event.target));
  for (const kind of ["pointerover", "pointermove"]) part.addEventListener(kind, point);
  part.addEventListener("focusin", (event) => light("near", named(event.target)));
  part.addEventListener("pointerleave", () => light("near", []));
  followed.push((item) => light("lit", named(item)));
  part.addEventListener("click", (event) => {
    const row = event.target.closest(".notes tr[data-row]");
    if (row && !event.target.closest("a") && getSelection().isCollapsed) row.querySelector("a.chip")?.click();
  });
}
const follow = (item) => {
  for (let fold = item?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  for (const light of followed) light(item);
};
addEventListener("hashchange", () => follow(target()));
addEventListener("keydown", (event) => event.key === "Escape" && follow(null));
addEventListener("click", (event) => {
  const link = event.target.closest('a[href^="#"]');
  // Not by keyboard, and not to open it elsewhere.
  const isPlain = event.detail > 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey;
  const meant = link?.dataset.rows && isPlain ? nearest(event) : undefined;
  if (meant && meant !== link) {
    event.preventDefault();
    location.hash = meant.getAttribute("href");
  }
  // The same link again changes no address.
  if (link) requestAnimationFrame(() => {
    const item = target();
    follow(item);
    if (item?.matches("[data-row], [data-rows]")) item.scrollIntoView({ block: "center", inline: "center" });
  });
});
follow(target());
