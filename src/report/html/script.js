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
