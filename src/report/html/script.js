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
// Marks in the staves and rows of the notes find each other.
for (const part of document.querySelectorAll("section.part")) {
  const marks = [...part.querySelectorAll(".staves [data-rows]")];
  if (marks.length === 0) continue;
  const rows = [...part.querySelectorAll(".notes tr[data-row]")];
  const of = new Map(rows.map((row) => [row.dataset.row, [row]]));
  for (const mark of marks) for (const row of mark.dataset.rows.split(" ")) of.get(row)?.push(mark);
  const light = (numbers) => {
    for (const item of part.querySelectorAll(".lit")) item.classList.remove("lit");
    for (const number of numbers) for (const item of of.get(number) ?? []) item.classList.add("lit");
  };
  const go = (item) => item?.scrollIntoView({ block: "center", inline: "center" });
  const named = (target) => {
    const mark = target.closest(".staves [data-rows]");
    if (mark) return mark.dataset.rows.split(" ");
    const row = target.closest(".notes tr[data-row]");
    return row ? [row.dataset.row] : [];
  };
  for (const kind of ["pointerover", "focusin"]) part.addEventListener(kind, (event) => light(named(event.target)));
  part.addEventListener("click", (event) => {
    const numbers = named(event.target);
    if (numbers.length === 0 || event.target.closest("a")) return;
    light(numbers);
    const items = of.get(numbers[0]) ?? [];
    // The first is the row, the second its first mark in the whole score.
    const mark = items.find((item) => item.matches(`#${part.id} > .staves *`));
    go(event.target.closest("tr") ? mark : items[0]);
  });
}
