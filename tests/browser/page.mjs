// Opens pages of audits and rankings in headless Chromium, as a desktop and as a phone:
//   node page.mjs CHROMIUM PICTURES-OR--  PAGE REPORT [PAGE REPORT …]
// REPORT is the JSON of the same audit, or ranking. Prints what is wrong; exit status 1 if anything is.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const [chromium, pictures, ...pairs] = process.argv.slice(2);
const VIEWS = [
  { name: "desktop", width: 1200, height: 900, scheme: "light" },
  { name: "desktop-dark", width: 1200, height: 900, scheme: "dark" },
  { name: "phone", width: 360, height: 740, scheme: "light", isMobile: true, hasTouch: true },
  { name: "phone-dark", width: 360, height: 740, scheme: "dark", isMobile: true, hasTouch: true },
];
let checks = 0;
const faults = [];

function same(place, what, found, wanted) {
  checks += 1;
  const [a, b] = [found, wanted].map((v) => JSON.stringify(v));
  if (a !== b) faults.push(`${place}: ${what}: ${a}, not ${b}`);
}

/** Counts by category and status without those that are 0, keys in order. */
function sorted(totals) {
  const flat = Object.entries(totals).flatMap(([c, counts]) => Object.entries(counts).map(([s, n]) => [`${c} ${s}`, n]));
  return Object.fromEntries(flat.filter(([, n]) => n > 0).sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** What stands in the page, part by part. */
function inPage() {
  const count = (items, number) => {
    const out = {};
    for (const item of items) {
      const [c, s] = [item.dataset.category, item.dataset.status];
      out[c] ??= {};
      out[c][s] = (out[c][s] ?? 0) + number(item);
    }
    return out;
  };
  return [...document.querySelectorAll("section.part")].map((part) => {
    const all = (selector) => [...part.querySelectorAll(selector)];
    const links = all('a[href^="#"]').map((a) => a.getAttribute("href").slice(1));
    return {
      chips: count(all(".bars .chip"), (chip) => Number(chip.dataset.count)),
      notes: count(all(".notes tr[data-status]"), () => 1),
      passages: all(".passages > li").length,
      bars: all(".bars tbody tr:not(.clean)").length,
      strip: all(".strip li").length,
      dead: links.filter((id) => !document.getElementById(id)),
      pictures: all(":is(svg, .system):not([aria-hidden], [role=none])").length,
      named: all(":is(svg, .system)[role][aria-label]").length,
    };
  });
}

/** A row and a strip of bars for each edition that was compared, and a line for each other. */
async function rows(page, place, editions) {
  const compared = editions.filter((e) => e.rank !== null);
  const found = await page.$$eval(".ranking tbody", (all) => all.map((body) => ({
    file: body.querySelector("th bdi").textContent,
    figures: [...body.querySelectorAll("td[data-what]")].map((td) => td.textContent),
    high: [...body.querySelectorAll("svg rect")].reduce((sum, r) => sum + Number(r.getAttribute("width")), 0),
  })));
  same(place, "editions", found.map((e) => e.file), compared.map((e) => e.file));
  same(place, "bars with a hand", found.map((e) => e.high), compared.map((e) => e.bars.compared - e.bars.without_finding));
  same(place, "ranks", found.map((e) => Number(e.figures[0])), compared.map((e) => e.rank));
  same(place, "the others", await page.$$eval("#left + ul li", (all) => all.length), editions.length - compared.length);
}

async function filters(page, place, report) {
  for (const [index, part] of report.parts.entries()) {
    const form = `#p${index + 1} form.filters`;
    const visible = () =>
      page.$$eval(`#p${index + 1} .notes tr[data-status]`, (rows) => rows.filter((r) => r.offsetParent !== null).length);
    if (part.findings.length === 0) continue;
    const of = (test) => part.findings.filter(test).length;
    const { category, status } = part.findings[0];
    await page.$$eval(`${form} button`, (buttons) => buttons.find((b) => b.dataset.all === "false").click());
    same(place, "rows with no category", await visible(), 0);
    await page.click(`${form} input[value="${category}"]`);
    same(place, `rows of ${category}`, await visible(), of((f) => f.category === category));
    await page.click(`${form} input[value="${status}"]`);
    same(place, `${category}, not ${status}`, await visible(), of((f) => f.category === category && f.status !== status));
    // A link from the strip brings a hidden bar back.
    await page.$$eval(`${form} button`, (buttons) => buttons.find((b) => b.dataset.all === "false").click());
    await page.$eval(`#p${index + 1} .strip a[href$="-b${part.findings[0].bar_index}"]`, (a) => a.click());
    await page.waitForFunction((f) => [...document.querySelectorAll(`${f} input`)].every((i) => i.checked), { timeout: 5000 }, form);
    same(place, "rows after the link", await visible(), part.findings.length);
    same(place, "what it says", await page.$eval(`${form} output`, (o) => o.textContent), `${part.findings.length} of ${part.findings.length} findings`);
  }
}

/** Waits until what was scrolled to has been laid out, which may move it. */
const settled = (page) => page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));

/** Marks and rows light each other; a mark that was followed stays lit until Escape or Back. */
async function pointing(page, place, report) {
  for (const [index, part] of report.parts.entries()) {
    const own = `#p${index + 1}`;
    if ((await page.$(`${own} .staves`)) === null || part.findings.length === 0) continue;
    const bright = (name) =>
      page.$eval(own, (section, name) => ({
        rows: [...section.querySelectorAll(`.notes tr.${name}`)].map((row) => row.dataset.row),
        marks: [...section.querySelectorAll(`.staves .${name}`)].map((mark) => mark.dataset.rows.split(" ")),
        other: [...section.querySelectorAll(`.staves a[data-rows]:not(.${name})`)].flatMap((mark) => mark.dataset.rows.split(" ")),
      }), name);
    const within = (selector) =>
      page.$eval(selector, (item) => {
        const { top, bottom } = item.getBoundingClientRect();
        return top >= 0 && bottom <= innerHeight;
      });
    for (const row of [0, part.findings.length - 1]) {
      await page.hover(`${own} .notes tr[data-row="${row}"] td:last-child`);
      const { rows, marks, other } = await bright("near");
      same(place, `row ${row} is lit`, rows, [String(row)]);
      same(place, `marks of row ${row}`, marks.length > 0 && marks.every((all) => all.includes(String(row))), true);
      same(place, `marks of row ${row} that stay dark`, other.filter((o) => o === String(row)), []);
    }
    // Of marks that lie on each other the nearest is meant, whichever is on top.
    const links = await page.$$(`${own} .score a[data-rows]:not(.again, .cross)`);
    for (const link of links.slice(0, 20)) {
      for (let turn = 0; turn < 2; turn += 1) {
        await link.evaluate((link) => link.scrollIntoView({ block: "center" }));
        await settled(page);
      }
      const [x, y, rows] = await link.evaluate((link) => {
        const { left, top, width, height } = link.querySelector("rect").getBoundingClientRect();
        return [left + width / 2, top + height / 2, link.dataset.rows];
      });
      await page.mouse.move(x, y);
      await settled(page);
      same(place, "the mark at the pointer", (await bright("near")).rows.join(" "), rows);
    }
    const [first] = links;
    const wanted = await first.evaluate((link) => link.dataset.rows.split(" "));
    for (let turn = 0; turn < 2; turn += 1) {
      await first.evaluate((link) => link.scrollIntoView({ block: "center", inline: "center" }));
      await settled(page);
    }
    await first.hover();
    same(place, "rows of a mark", (await bright("near")).rows, wanted);
    const before = await page.evaluate(() => location.hash);
    const arrived = (start) => page.waitForFunction((start) => location.hash.startsWith(start), { timeout: 5000 }, start);
    await first.click();
    await arrived(`${own}-r${wanted[0]}`);
    await settled(page);
    same(place, "a mark leads to its row", await within(`${own} .notes tr[data-row="${wanted[0]}"]`), true);
    await page.mouse.move(0, 0);
    same(place, "the row stays lit", (await bright("lit")).rows, [wanted[0]]);
    await page.keyboard.press("Escape");
    same(place, "Escape ends it", (await bright("lit")).rows, []);
    // By keyboard from the row to its mark, and back again.
    await page.focus(`${own} .notes tr[data-row="${wanted[0]}"] a.chip`);
    await page.keyboard.press("Enter");
    await arrived(`${own}-m`);
    await settled(page);
    const mark = await page.evaluate(() => location.hash);
    const { marks } = await bright("lit");
    same(place, "a row lights its marks", marks.length > 0 && marks.every((all) => all.includes(wanted[0])), true);
    same(place, "a row leads to its mark", await within(`${own} .score a${mark}`), true);
    await page.$eval(`${own} .score a${mark}`, (link) => link.focus());
    await page.keyboard.press("Enter");
    await arrived(`${own}-r${wanted[0]}`);
    for (const hash of [mark, `${own}-r${wanted[0]}`, before]) {
      await page.evaluate(() => history.back());
      await page.waitForFunction((hash) => location.hash === hash, { timeout: 5000 }, hash);
    }
    await page.waitForFunction((own) => !document.querySelector(`${own} .lit`), { timeout: 5000 }, own);
    checks += 1;
    const large = await page.$$eval(`${own} .score a[data-rows]:not(.near, .lit) > rect`, (all) => {
      // Half of the seam lies outside on each side, and can be pointed at, too.
      const seam = (rect) => Number.parseFloat(getComputedStyle(rect).strokeWidth);
      const sizes = all.map((rect) => [rect.getBoundingClientRect(), seam(rect)]).filter(([box]) => box.width > 0);
      return sizes.length > 0 && sizes.every(([box, seam]) => Math.min(box.width, box.height) + seam >= 24);
    });
    same(place, "marks are large enough for a finger", large, true);
  }
}

/** Links to folded parts open them, without scripts, too. */
async function unfold(page, place, address) {
  const open = (id) => page.$eval(`#${id} > details`, (fold) => fold.open);
  const folded = await page.$$eval("section.part > details:not([open])", (folds) => folds.map((fold) => fold.parentElement.id));
  if (place.startsWith("folded")) same(place, "folded parts", folded, ["p2"]);
  if (folded.length === 0) return;
  await page.setJavaScriptEnabled(false);
  await page.goto(`${address}#${folded[0]}-found`);
  same(place, "without scripts an address opens a part", await open(folded[0]), true);
  await page.setJavaScriptEnabled(true);
  await page.goto(address);
  for (const id of folded) {
    await page.click(`.jump a[href="#${id}-found"]`);
    await settled(page);
    same(place, `a link opens ${id}`, await open(id), true);
  }
}

/** Runs in the page: what is not seen of the staves on a narrow screen, and what scrolls sideways. */
function hiddenInStaves() {
  const out = { notes: 0, hidden: [], sideways: [] };
  const wide = document.documentElement.clientWidth;
  for (const fold of document.querySelectorAll("details")) fold.open = true;
  for (const item of document.querySelectorAll(".staves, .system, .piece")) {
    if (item.scrollWidth > item.clientWidth && item.clientWidth > 0) out.sideways.push(item.outerHTML.slice(0, 80));
  }
  for (const note of document.querySelectorAll(".staves .note > .notehead")) {
    const piece = note.closest(".piece");
    piece.style.contentVisibility = "visible";
    const [own, around] = [note, piece].map((item) => item.getBoundingClientRect());
    out.notes += 1;
    const seen = own.width > 2 && own.left >= around.left && own.right <= around.right && own.top >= around.top && own.bottom <= around.bottom;
    if (!seen || around.left < 0 || around.right > wide) out.hidden.push(`${piece.parentElement.getAttribute("aria-label")}: ${Math.round(own.left)} ${Math.round(own.top)}`);
    piece.style.contentVisibility = "";
  }
  return out;
}

async function check(browser, file, report, view) {
  const place = `${basename(file)}, ${view.name}`;
  const page = await browser.newPage();
  const asked = [];
  const errors = [];
  page.on("request", (request) => asked.push(request.url()));
  page.on("pageerror", (error) => errors.push(error.message));
  page.on("console", (message) => message.type() === "error" && errors.push(message.text()));
  await page.setViewport(view);
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: view.scheme }]);
  const address = pathToFileURL(resolve(file)).href;
  await page.goto(address);
  for (const [index, found] of (await page.evaluate(inPage)).entries()) {
    const part = report.parts[index];
    same(place, "chips", sorted(found.chips), sorted(part.totals));
    same(place, "notes", sorted(found.notes), sorted(part.totals));
    same(place, "passages", found.passages, part.passages.length);
    same(place, "bars", found.bars, part.bars.length);
    same(place, "links that lead nowhere", found.dead, []);
    same(place, "pictures with names", found.named, found.pictures);
    if (part.bars.length > 0) same(place, "the strip has every bar", found.strip >= part.bars.length, true);
  }
  if (report.editions) await rows(page, place, report.editions);
  else same(place, "parts", await page.$$eval("section.part", (parts) => parts.length), report.parts.length);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  same(place, "pixels beyond the screen", wide, 0);
  // The page lets no script in but its own; the debugger may.
  await page.evaluate(axe);
  const { violations, passes } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
  same(place, "accessibility", violations.map((v) => `${v.id}: ${v.nodes.length} × ${v.nodes[0].html.slice(0, 120)} ${v.nodes[0].failureSummary}`), []);
  same(place, "accessibility rules that applied", passes.length > 10, true);
  if (pictures !== "-") await page.screenshot({ path: join(pictures, `${basename(file, ".html")}-${view.name}.png`), fullPage: true });
  if (view.isMobile && view.scheme === "light" && (await page.$(".staves")) !== null) {
    const { notes, hidden, sideways } = await page.evaluate(hiddenInStaves);
    same(place, "notes that are not seen", hidden, []);
    same(place, "staves that scroll sideways", sideways, []);
    same(place, "staves have notes", notes > 0, true);
    await page.goto(address);
  }
  if (report.parts) {
    await unfold(page, place, address);
    await pointing(page, place, report);
    await filters(page, place, report);
  }
  same(place, "requests", asked.filter((url) => url.split("#")[0] !== address && !url.startsWith("data:")).map((url) => url.slice(0, 200)), []);
  same(place, "errors", errors, []);
  await page.close();
}

const browser = await puppeteer.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu"] });
try {
  for (let at = 0; at + 1 < pairs.length; at += 2) {
    const report = JSON.parse(readFileSync(pairs[at + 1], "utf8"));
    for (const view of VIEWS) await check(browser, pairs[at], report, view);
  }
} finally {
  await browser.close();
}
console.log(faults.length === 0 ? `${checks} checks` : faults.join("\n"));
process.exitCode = faults.length === 0 ? 0 : 1;
