// Reads every drawn system of pages of the audit in headless Chromium, with the letters that the pages bring:
//   node score.mjs CHROMIUM PAGE [PAGE …]
// Prints as JSON, of each page, how many pictures, notes and marks it has, and what lies outside its picture, on
// other words, or on noteheads. All lengths are units of the drawing: a staff space is 180.
import { basename, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [chromium, ...pages] = process.argv.slice(2);

/** Runs in the page. */
function inPage() {
  // What a box may lie beyond its picture, and two boxes on each other, before it is seen.
  const EDGE = 2;
  const TOUCH = 45;
  // How far a sign may be from what it is about: two staff spaces.
  const NEAR = 360;
  const SIGNATURES = ["clef", "keySig", "meterSig"];
  const KINDS = [...SIGNATURES, "verse", "fing", "dynam", "dir", "tempo", "reh", "harm", "mNum", "flag", "ending", "sign", "notehead"];
  // What may lie on no beam.
  const LYING = ["verse", "dynam", "dir", "tempo", "reh", "harm", "mNum"];
  const out = { pictures: 0, notes: 0, outside: [], astray: [], collisions: [], rows: [], places: [] };
  /** The box of words by their letters: a font's own height is much more. */
  const letters = (element) => {
    if (element.tagName !== "text" || element.getNumberOfChars() === 0) return undefined;
    const { x, width } = element.getBBox();
    const tops = [];
    const bottoms = [];
    for (const one of [element, ...element.querySelectorAll("tspan")]) {
      if (![...one.childNodes].some((n) => n.nodeType === Node.TEXT_NODE && n.data.trim() !== "")) continue;
      const size = parseFloat(one.getAttribute("font-size") ?? getComputedStyle(one).fontSize);
      const line = one.getStartPositionOfChar(0).y;
      tops.push(line - size * (one.getAttribute("font-family") === null ? 0.7 : 0.45));
      bottoms.push(line + size * 0.15);
    }
    if (tops.length === 0) return undefined;
    const y = Math.min(...tops);
    // A plus or minus is no taller than this.
    if (element.classList.contains("sign")) return { x, y: y + 0.25 * width, width, height: 0.8 * width };
    return { x, y, width, height: Math.max(...bottoms) - y };
  };
  /** The box of something drawn, in units of its picture. */
  const box = (element, picture) => {
    const own = letters(element) ?? element.getBBox();
    const turn = picture.getScreenCTM().inverse().multiply(element.getScreenCTM());
    const xs = [];
    const ys = [];
    for (const [x, y] of [[own.x, own.y], [own.x + own.width, own.y], [own.x, own.y + own.height], [own.x + own.width, own.y + own.height]]) {
      const there = new DOMPoint(x, y).matrixTransform(turn);
      xs.push(there.x);
      ys.push(there.y);
    }
    return { left: Math.min(...xs), top: Math.min(...ys), right: Math.max(...xs), bottom: Math.max(...ys) };
  };
  /** How much a beam and a box share, down and across, where both are. */
  const sharedWith = (corners, box) => {
    const xs = corners.map((c) => c.x);
    const left = Math.max(box.left, Math.min(...xs));
    const right = Math.min(box.right, Math.max(...xs));
    const heights = corners.flatMap((a, n) => {
      const b = corners[(n + 1) % corners.length];
      const ends = [Math.max(left, Math.min(a.x, b.x)), Math.min(right, Math.max(a.x, b.x))];
      if (ends[0] > ends[1]) return [];
      return a.x === b.x ? [a.y, b.y] : ends.map((x) => a.y + ((b.y - a.y) * (x - a.x)) / (b.x - a.x));
    });
    return [Math.min(box.bottom, Math.max(...heights)) - Math.max(box.top, Math.min(...heights)), right - left];
  };
  const kind = (element) => {
    for (let one = element; one !== null && one.tagName !== "svg"; one = one.parentElement) {
      const found = KINDS.find((k) => one.classList.contains(k));
      if (found !== undefined) return found;
    }
    return "other";
  };
  for (const picture of document.querySelectorAll(".system")) {
    picture.style.contentVisibility = "visible";
    // All pieces of a system have the same units, side by side.
    const { x, y, height } = picture.querySelector(".names").viewBox.baseVal;
    const view = { x, y, width: Number(getComputedStyle(picture).getPropertyValue("--w")), height };
    out.pictures += 1;
    const boxes = [];
    // Of each mark, where it is without its sign, and where the sign is.
    const marks = new Map();
    const signs = [];
    for (const element of picture.querySelectorAll("text, path, use, rect, polygon, polyline, ellipse, line, circle")) {
      // What can be pointed at is not drawn, nor what only a narrow screen shows.
      if (element.closest("a, clipPath, .head, .again") !== null) continue;
      const b = box(element, element.ownerSVGElement);
      if (![b.left, b.top, b.right, b.bottom].every(Number.isFinite)) {
        out.outside.push(`${kind(element)}: nowhere`);
        continue;
      }
      const beyond = Math.max(view.x - b.left, view.y - b.top, b.right - view.x - view.width, b.bottom - view.y - view.height);
      const said = element.textContent.trim().slice(0, 30);
      if (beyond > EDGE) out.outside.push(`${picture.getAttribute("aria-label")}: ${kind(element)} ${said} by ${Math.round(beyond)}`);
      const owner = element.closest("[data-rows]");
      if (owner !== null && kind(element) === "sign") signs.push([owner, b]);
      else if (owner !== null && (!owner.classList.contains("note") || kind(element) === "notehead")) {
        const all = marks.get(owner) ?? b;
        const [left, top] = ["left", "top"].map((side) => Math.min(all[side], b[side]));
        const [right, bottom] = ["right", "bottom"].map((side) => Math.max(all[side], b[side]));
        marks.set(owner, { left, top, right, bottom });
      }
      // The tie under an elision lies under its letters.
      const isText = element.tagName === "text" && !/^[\uE550-\uE552]?$/.test(said);
      const isGlyph = element.tagName === "use" && ["notehead", ...SIGNATURES].includes(kind(element));
      if (isText || isGlyph) boxes.push({ ...b, kind: kind(element), said, isText, piece: element.ownerSVGElement });
    }
    for (const beam of picture.querySelectorAll(".beam polygon")) {
      if (beam.closest("a, clipPath, .head, .again") !== null) continue;
      const turn = beam.ownerSVGElement.getScreenCTM().inverse().multiply(beam.getScreenCTM());
      const corners = [...beam.points].map((p) => new DOMPoint(p.x, p.y).matrixTransform(turn));
      const on = (word) => {
        const [down, across] = sharedWith(corners, word);
        return across > TOUCH && down > TOUCH;
      };
      for (const word of boxes.filter((b) => b.isText && LYING.includes(b.kind) && b.piece === beam.ownerSVGElement && on(b))) {
        out.collisions.push({ kinds: `${word.kind} on beam`, said: `${picture.getAttribute("aria-label")}: ${word.said}` });
      }
    }
    for (const [owner, sign] of signs) {
      const mark = marks.get(owner);
      const away = mark === undefined ? Infinity : Math.max(mark.left - sign.right, sign.left - mark.right, mark.top - sign.bottom, sign.top - mark.bottom);
      if (away > NEAR) out.astray.push(`${picture.getAttribute("aria-label")}: the sign of a ${owner.getAttribute("class")} by ${Math.round(away)}`);
    }
    const score = picture.closest(".staves.score");
    if (score !== null) {
      const system = [...score.querySelectorAll(".system")].indexOf(picture);
      for (const [owner, { left }] of marks) {
        if (owner.classList.contains("flag")) continue;
        out.places.push({ part: score.dataset.part, rows: owner.dataset.rows.split(" ").map(Number), system, left, class: owner.getAttribute("class") });
      }
    }
    out.notes += picture.closest(".passages") === null ? picture.querySelectorAll(".note > .notehead").length : 0;
    for (const [place, one] of boxes.entries()) {
      for (const other of boxes.slice(place + 1)) {
        const kinds = [one, other].map((b) => b.kind).sort();
        const isOnHead = kinds.filter((k) => k === "notehead").length === 1;
        if (!one.isText && !other.isText && !isOnHead) continue;
        const across = Math.min(one.right, other.right) - Math.max(one.left, other.left);
        const down = Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top);
        if (across <= TOUCH || down <= TOUCH) continue;
        out.collisions.push({ kinds: kinds.join(" on "), said: `${picture.getAttribute("aria-label")}: ${one.said} / ${other.said}` });
      }
    }
  }
  for (const part of document.querySelectorAll("section.part")) {
    const marks = [...part.querySelectorAll(":scope > .staves [data-rows], :scope .staves [data-rows]")];
    out.rows.push([...new Set(marks.flatMap((mark) => mark.dataset.rows.split(" ").filter((r) => r !== "")))].length);
  }
  return out;
}

const browser = await puppeteer.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu"] });
const told = {};
try {
  for (const file of pages) {
    const page = await browser.newPage();
    await page.setViewport({ width: 1200, height: 900 });
    await page.goto(pathToFileURL(resolve(file)).href);
    await page.evaluate(() => document.fonts.ready.then(() => Promise.all([...document.fonts].map((f) => f.load()))).then(() => true));
    told[basename(file, ".html")] = await page.evaluate(inPage);
    await page.close();
  }
} finally {
  await browser.close();
}
console.log(JSON.stringify(told));
