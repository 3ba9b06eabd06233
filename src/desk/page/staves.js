// Staves in a box: drawn line by line as they come into view, and walked through by keyboard.
"use strict";

import { get } from "./server.js";
import { make } from "./parts.js";

const UNITS_OF_PIXEL = 2.344;
// So many pixels beside a note are as good as on it.
const REACH = 30;
// Lines so near to what is seen are drawn, in pixels.
const NEAR = 400;
const [NARROWEST, WIDEST] = [1500, 2800];

// Shapes stand once for all drawings; the styles of their boxes in a sheet of their own.
const known = { shapes: 0, heads: 0 };
const sheet = new CSSStyleSheet();
document.adoptedStyleSheets.push(sheet);
const styled = new Set();

// Asks for the shapes that newer drawings use; one question after the other.
let learning = Promise.resolve();
export const learn = () => {
  learning = learning.then(async () => {
    const more = await get(`/shapes?shapes=${known.shapes}&heads=${known.heads}`);
    if (!more) return;
    [known.shapes, known.heads] = more.counts;
    document.getElementById("shapes").insertAdjacentHTML("beforeend", more.shapes);
  });
  return learning;
};

export const put = (box, drawn) => {
  for (const rule of drawn.style.split("\n")) {
    if (!rule || styled.has(rule)) continue;
    styled.add(rule);
    sheet.insertRule(rule);
  }
  box.innerHTML = drawn.markup;
};

// What rings and brackets at notes mean, where there are any.
export const showLegend = (box, parts) => {
  const has = (what) => parts?.some((part) => part[what].length);
  const sign = (shape) => { const drawn = make("span", {}); drawn.innerHTML = `<svg viewBox="0 0 24 14" aria-hidden="true">${shape}</svg>`; return drawn; };
  const all = [
    has("outside") && [sign('<ellipse cx="12" cy="7" rx="9" ry="5.5"/>'), " outside the range"],
    has("moved") && [sign('<path d="M2 13V9H22V13M8 9L12 1L16 9z"/>'), " moved an octave, up or down as the arrow points"],
  ].filter(Boolean);
  box.replaceChildren(...all.flatMap((one, place) => [place ? "; " : "", ...one]));
};

// The copy in lines; `onchoose` hears of the spot that is clicked.
export const copyStaves = (box, onchoose) => {
  let asked = 0;
  let kept = new Map();
  let shown = [];
  const observer = new IntersectionObserver((entries) => {
    for (const entry of entries) if (entry.isIntersecting) entry.target.dataset.wanted = "";
    draw();
  }, { rootMargin: `${NEAR}px` });

  let drawing = false;
  const draw = async () => {
    if (drawing) return;
    drawing = true;
    busyNow();
    try {
      for (;;) {
        const missing = shown.filter((line) => line.box.isConnected && line.box.dataset.wanted !== undefined && !line.drawn);
        if (!missing.length) return;
        const some = missing.slice(0, 12);
        const drawn = await get(`/copy/lines?keys=${some.map((line) => line.key).join(",")}`);
        if (!drawn) return;
        await learn();
        for (const line of some) {
          line.drawn = true;
          if (drawn[line.key]) fill(line, drawn[line.key]);
        }
      }
    } finally {
      drawing = false;
      busyNow();
    }
  };

  const fill = (line, drawn) => {
    kept.set(line.key, drawn);
    put(line.box, drawn);
    line.box.classList.add("drawn");
    // Lines that are not drawn yet take as much room as those that are.
    box.style.setProperty("--line", `${line.box.getBoundingClientRect().height}px`);
    box.dispatchEvent(new CustomEvent("drawn", { detail: line }));
  };

  const spots = () => [...box.querySelectorAll(".line:not(.old) .spot:is([data-main], [data-own])")];
  const step = (from, by) => {
    const all = spots();
    const to = all[all.indexOf(from) + by];
    if (!to) return;
    from.tabIndex = -1;
    to.tabIndex = 0;
    to.focus();
    to.scrollIntoView({ block: "nearest" });
  };
  // A click beside a note means the note.
  const nearest = ({ clientX, clientY }) => {
    let [best, least] = [null, REACH];
    for (const spot of spots()) {
      const { left, right, top, bottom } = spot.getBoundingClientRect();
      const far = Math.hypot(clientX - (left + right) / 2, clientY - (top + bottom) / 2);
      if (far < least) [best, least] = [spot, far];
    }
    return best;
  };
  box.addEventListener("click", (event) => {
    const spot = event.target.closest(".spot") ?? nearest(event);
    if (spot) onchoose(spot);
  });
  box.addEventListener("keydown", (event) => {
    const spot = event.target.closest(".spot");
    if (!spot) return;
    if (event.key === "ArrowRight") step(spot, 1);
    else if (event.key === "ArrowLeft") step(spot, -1);
    else if (event.key === "Enter" || event.key === " ") onchoose(spot);
    else return;
    event.preventDefault();
  });
  // One spot at a time is in the order of the Tab key.
  box.addEventListener("focusin", (event) => {
    const spot = event.target.closest(".spot");
    if (spot) for (const other of box.querySelectorAll('.spot[tabindex="0"]')) if (other !== spot) other.tabIndex = -1;
  });

  const busyNow = () => box.setAttribute("aria-busy", String(drawing || asking > 0));
  let asking = 0;
  const show = async () => {
    asking += 1;
    busyNow();
    try {
      return await lay();
    } finally {
      asking -= 1;
      busyNow();
    }
  };

  const lay = async () => {
    asked += 1;
    const own = asked;
    const width = Math.round(Math.min(Math.max(box.clientWidth * UNITS_OF_PIXEL, NARROWEST), WIDEST));
    const copy = await get(`/copy?width=${width}`);
    if (!copy || own !== asked) return copy;
    const old = new Map(shown.map((line) => [line.key, line]));
    shown = [];
    const children = [];
    for (const part of copy.parts) {
      if (copy.parts.length > 1) children.push(make("h3", {}, part.name));
      for (const line of part.lines) {
        const same = old.get(line.key);
        if (same) {
          old.delete(line.key);
          shown.push(same);
          children.push(same.box);
          continue;
        }
        const place = make("div", { class: "line", "data-part": part.id, "data-first": part.is_first ? "yes" : "no" });
        const fresh = { key: line.key, bars: line.bars, box: place, drawn: false };
        shown.push(fresh);
        children.push(place);
        if (kept.has(line.key)) {
          fresh.drawn = true;
          fill(fresh, kept.get(line.key));
        }
      }
    }
    // What was drawn before stays to be seen until the new line is there.
    const before = [...box.querySelectorAll(".line")];
    shown.forEach((line, place) => {
      if (!line.drawn && before[place] && !old.has(line.key) && before.length === shown.length) {
        line.box.innerHTML = before[place].innerHTML;
        line.box.classList.add("old");
        line.box.inert = true;
      }
    });
    const focused = document.activeElement?.closest?.(".spot");
    const at = focused && box.contains(focused) ? [focused.dataset.at, focused.dataset.kind] : null;
    observer.disconnect();
    // A line that stays is not touched: the focus may be in it.
    const there = [...box.children];
    if (there.length === children.length) there.forEach((child, place) => child !== children[place] && child.replaceWith(children[place]));
    else box.replaceChildren(...children);
    shown.forEach((line) => observer.observe(line.box));
    for (const line of shown) {
      const { top, bottom } = line.box.getBoundingClientRect();
      if (bottom > -NEAR && top < innerHeight + NEAR) line.box.dataset.wanted = "";
    }
    draw();
    box.addEventListener("drawn", () => {
      if (!at) return;
      const again = spots().find((spot) => spot.dataset.at === at[0] && spot.dataset.kind === at[1]);
      if (again) { again.tabIndex = 0; again.focus({ preventScroll: true }); }
    }, { once: true });
    kept = new Map(shown.filter((line) => kept.has(line.key)).map((line) => [line.key, kept.get(line.key)]));
    return copy;
  };
  box.addEventListener("drawn", (event) => {
    event.detail.box.classList.remove("old");
    event.detail.box.inert = false;
    if (!box.querySelector('.spot[tabindex="0"]')) box.querySelector(".spot")?.setAttribute("tabindex", "0");
  });
  // Brings the keyboard back to a place, as soon as it is drawn again.
  let wanted = null;
  let lights = false;
  const goTo = (at) => {
    wanted = at;
    if (!drawing && asking === 0) find();
  };
  const find = () => {
    const spot = wanted && spots().find((one) => one.dataset.at === wanted && one.dataset.kind !== "mark");
    if (!spot) return;
    wanted = null;
    if (lights) spot.classList.add("lit");
    lights = false;
    for (const other of box.querySelectorAll('.spot[tabindex="0"]')) other.tabIndex = -1;
    spot.tabIndex = 0;
    spot.focus({ preventScroll: true });
  };
  box.addEventListener("drawn", find);
  // Brings a place into view, drawn or not, and goes there.
  const bring = ({ part, bar, at }) => {
    const line = shown.find((one) => one.box.dataset.part === part && one.bars[0] <= bar && bar <= one.bars[1]);
    if (!line) return;
    line.box.dataset.wanted = "";
    line.box.scrollIntoView({ block: "center" });
    for (const lit of box.querySelectorAll(".spot.lit")) lit.classList.remove("lit");
    lights = true;
    goTo(at);
    draw();
  };
  return { show, spots, goTo, bring };
};
