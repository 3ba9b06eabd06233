// Works at the desk in headless Chromium, as a desktop and as a phone, with the pointer and with the keyboard alone:
//   node desk.mjs CHROMIUM PICTURES-OR-- VIEW ADDRESS
// Decides, marks, chooses a key, hands out, undoes all and does it again; axe-core looks at every state. Prints what is
// wrong; exit status 1 if anything is. The files that it leaves are compared by whoever called it.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import puppeteer from "puppeteer-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const [chromium, pictures, view, address] = process.argv.slice(2);
const VIEWS = {
  pointer: { width: 1200, height: 900, scheme: "light" },
  keyboard: { width: 1200, height: 900, scheme: "dark" },
  phone: { width: 360, height: 740, scheme: "light", isMobile: true, hasTouch: true },
  stuck: { width: 1200, height: 900, scheme: "light" },
  hostile: { width: 360, height: 740, scheme: "light" },
  "phone-dark": { width: 360, height: 740, scheme: "dark", isMobile: true, hasTouch: true },
};
const own = VIEWS[view];
const faults = [];
let checks = 0;

function check(holds, what) {
  checks += 1;
  if (!holds) faults.push(`${view}: ${what}`);
}

const browser = await puppeteer.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu"] });
const context = await browser.createBrowserContext();
const page = await context.newPage();
await page.setViewport({ width: own.width, height: own.height, isMobile: own.isMobile ?? false, hasTouch: own.hasTouch ?? false });
await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: own.scheme }]);
page.on("pageerror", (error) => faults.push(`${view}: ${error.message}`));
page.on("console", (message) => message.type() === "error" && faults.push(`${view}: ${message.text()}`));
page.on("request", (request) => {
  if (!request.url().startsWith(new URL(address).origin) && !request.url().startsWith("data:")) faults.push(`${view}: asks ${request.url()}`);
});

const text = (selector) => page.$eval(selector, (item) => item.textContent.trim());
const until = (what, ...given) => page.waitForFunction(what, { timeout: 30000 }, ...given).catch(async (error) => {
  throw new Error(`${error.message} ${what} ${given}; the page says "${await text("#status")}", "${await text("#fault")}"`);
});
/** Waits until the page says so. */
const said = (part) => until((part) => document.getElementById("status").textContent.includes(part), part).catch(async () => {
  throw new Error(`"${part}" is not said, but "${await text("#status")}" and "${await text("#fault")}"`);
});

async function look(name) {
  const { violations } = await page.evaluate(async (axe) => {
    // The policy of the page holds for scripts in it, not for what the browser is told from outside.
    if (!window.axe) (0, eval)(axe);
    return window.axe.run(document, { resultTypes: ["violations"] });
  }, axe);
  for (const one of violations) {
    faults.push(`${view}, ${name}: ${one.id}: ${one.help}: ${one.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(" | ")}`);
  }
  checks += 1;
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  check(wide <= 0, `${name}: the page is ${wide} px wider than the screen`);
  if (pictures === "--") return;
  await page.screenshot({ path: join(pictures, `desk-${view}-${name}.png`) });
  // Those of the documentation.
  const shown = { kept: "desk-decide.png", marked: "desk-mark.png" }[name];
  if (view !== "pointer" || !shown) return;
  await page.evaluate(() => scrollTo(0, 0));
  await page.screenshot({ path: join(pictures, shown), clip: { x: 0, y: 0, width: own.width, height: 640 } });
}

/** Brings something into view and waits until it stands still there and nothing lies on it; then it is clicked. */
async function click(handle) {
  await handle.evaluate((item) => new Promise((done) => {
    let [last, same, frames] = [null, 0, 0];
    const look = () => {
      const { left, top, width, height } = item.getBoundingClientRect();
      const on = document.elementFromPoint(left + width / 2, top + height / 2);
      const free = on !== null && (item.contains(on) || on.contains(item) && on !== document.documentElement);
      if (!free && frames % 20 === 0) item.scrollIntoView({ block: "center" });
      same = free && top === last ? same + 1 : 0;
      last = top;
      frames += 1;
      if (same > 15 || frames > 600) done();
      else requestAnimationFrame(look);
    };
    item.scrollIntoView({ block: "center" });
    look();
  }));
  await handle.click();
}

/** Presses a button by its words: clicked, or reached and pressed by key. */
async function press(within, words, nth = 0) {
  const found = await page.evaluateHandle((within, words, nth) =>
    [...document.querySelectorAll(`${within} button`)].filter((b) => b.textContent.trim() === words)[nth], within, words, nth);
  const button = found.asElement();
  if (!button) throw new Error(`there is no button "${words}" in ${within}`);
  if (view === "keyboard") {
    await button.focus();
    await page.keyboard.press("Enter");
  } else {
    await click(button);
  }
}

async function go(name) {
  const link = await page.$(`nav a[href="#${name}"]`);
  if (view === "keyboard") {
    await link.focus();
    await page.keyboard.press("Enter");
  } else {
    await click(link);
  }
  await until((name) => !document.getElementById(`view-${name}`).hidden, name);
}

/** Chooses a spot in the staves: clicked where it lies, or walked to with the arrow keys. */
async function spot(selector) {
  await until((selector) => document.querySelector(selector) && !document.querySelector('[aria-busy="true"]'), selector);
  if (view === "keyboard") {
    await page.evaluate(() => document.querySelector('#view-mark .spot[tabindex="0"]').focus());
    for (let steps = 0; steps < 400; steps += 1) {
      if (await page.evaluate((selector) => document.activeElement.matches(selector), selector)) break;
      const before = await page.evaluate((selector) =>
        document.activeElement.compareDocumentPosition(document.querySelector(selector)) & Node.DOCUMENT_POSITION_PRECEDING, selector);
      await page.keyboard.press(before ? "ArrowLeft" : "ArrowRight");
    }
    await page.keyboard.press("Enter");
  } else {
    // High enough that the card of what was chosen before does not cover it.
    await page.evaluate((selector) => {
      document.querySelector(selector).scrollIntoView({ block: "start" });
      scrollBy(0, -innerHeight / 5);
    }, selector);
    await until((selector) => document.querySelector(selector) && !document.querySelector('[aria-busy="true"]'), selector);
    // Lines above may be drawn meanwhile, and move it.
    await page.evaluate((selector) => new Promise((done) => {
      const at = () => document.querySelector(selector)?.getBoundingClientRect().top;
      let [last, same] = [at(), 0];
      const look = () => {
        const now = at();
        same = now === last ? same + 1 : 0;
        last = now;
        if (same > 20) done();
        else requestAnimationFrame(look);
      };
      look();
    }), selector);
    for (let tries = 3; tries > 0; tries -= 1) {
      try {
        await (await page.$(`${selector} > rect`)).click();
        break;
      } catch (error) {
        // The line was drawn anew meanwhile.
        if (tries === 1 || !/detached/.test(error.message)) throw error;
      }
    }
  }
}

/** The first note of a bar, counted among the bars that have one. */
async function note(bar) {
  // Lines that are drawn anew have no notes until they are there.
  await until(() => !document.querySelector('#view-mark .line:not(.drawn) ~ .line.drawn, [aria-busy="true"]'));
  await until((bar) => new Set([...document.querySelectorAll('#view-mark .line:not(.old) .spot[data-kind="note"][data-main][data-staff="1"]')].map((s) => s.dataset.at.split(":")[0])).size > bar, bar);
  const at = await page.evaluate((bar) => {
    const all = [...document.querySelectorAll('#view-mark .line:not(.old) .spot[data-kind="note"][data-main][data-staff="1"]')].map((s) => s.dataset.at);
    const number = [...new Set(all.map((at) => at.split(":")[0]))][bar];
    return all.find((at) => at.split(":")[0] === number);
  }, bar);
  return `#view-mark .line:not(.old) .spot[data-kind="note"][data-main][data-staff="1"][data-at="${at}"]`;
}
/** What is in sight shows the newest state; lines farther away are drawn when they come near. */
const isNew = (view) => [...document.querySelectorAll(`${view} .line.old`)].every((line) => {
  const { top, bottom } = line.getBoundingClientRect();
  return bottom < 0 || top > innerHeight;
});
const drawnOwn = async (count) => {
  await until((count) => document.querySelectorAll("#view-mark .marks li").length === count, count);
  await until(isNew, "#view-mark");
};

/** Scores that try to be more than text: every view shows them as what they are. */
async function harmless() {
  await page.evaluateOnNewDocument(() => {
    globalThis.pwned = 0;
    globalThis.alert = () => { globalThis.pwned += 1; };
  });
  await page.goto(address);
  await until(() => document.querySelector("#view-decide .findings li"));
  for (const name of ["decide", "mark", "play", "out", "choose"]) {
    await go(name);
    await until(() => !document.querySelector('[aria-busy="true"]') && document.getElementById("busy").hidden);
    await look(name);
    const strange = await page.evaluate(() => document.querySelectorAll("img, iframe, object, embed, script:not([src^='/page/'])").length);
    check(strange === 0, `${name}: ${strange} elements came out of a file`);
  }
  check((await text("#title")).includes("<img src=x"), "the title is shown as it is");
  check(await page.evaluate(() => globalThis.pwned) === 0, "something of the file was run");
}

/** The engraver never answers: what is decided and handed out needs no staves. */
async function withoutStaves() {
  await page.goto(address);
  await until(() => document.querySelector("#view-decide .findings li"));
  await page.focus("#main");
  for (const said of ["keep", "take out"]) {
    const begin = Date.now();
    await page.keyboard.press("n");
    await page.keyboard.press(said === "keep" ? "k" : "o");
    await until((said) => document.getElementById("status").textContent.includes(said), said);
    check(Date.now() - begin < 5000, `${said}: it took ${Date.now() - begin} ms`);
  }
  await until(() => !document.getElementById("busy").hidden);
  await page.click("#leave");
  await until(() => document.getElementById("busy").hidden);
  await go("choose");
  await look("choose");
}

async function wholeWay() {
  await page.goto(address);
  await until(() => document.querySelector("#view-decide .staves .note"));
  await look("decide");

  const { kept, passage, category } = await page.evaluate(async () => {
    const { audit, can_be_apart: apart } = await (await fetch("/pair")).json();
    const all = audit.parts[0].findings;
    const fingering = all.findIndex((f) => f.category === "fingering");
    const kept = fingering < 0 ? all.findIndex((f) => f.status === "added" && f.passage === null) : fingering;
    const able = all.filter((f, place) => apart[0][place] && f.passage === null && f.category !== all[kept].category)
      .sort((a, b) => (b.category === "articulation") - (a.category === "articulation"))[0];
    return { kept, passage: all.findIndex((f) => f.passage !== null), category: able.category };
  });
  let changes = 9;

  // One addition is kept, a fingering where there is one.
  const item = await page.$(`#view-decide .findings li:nth-child(${kept + 1}) button`);
  if (view === "keyboard") {
    changes += 2;
    await page.focus("#main");
    for (let steps = 0; steps <= kept; steps += 1) await page.keyboard.press("n");
    const row = await page.$eval('#view-decide .findings button[aria-current="true"]', (b) => {
      const { top, bottom } = b.getBoundingClientRect();
      return top >= document.getElementById("top").getBoundingClientRect().bottom && bottom <= innerHeight;
    });
    check(row, "the row that is chosen is in view");
    await page.keyboard.press("Tab");
    check(await page.evaluate(() => document.activeElement.matches("#view-decide .card button")), "after N, Tab goes to the buttons");
    // The marks in the staves are one stop, and the arrow keys go along them.
    check(await page.$$eval('#view-decide .staves a[tabindex="0"]', (all) => all.length) === 1, "the staves are one stop of the Tab key");
    await page.$eval('#view-decide .staves a[tabindex="0"]', (mark) => mark.focus());
    const rows = () => page.evaluate(() => document.activeElement.dataset.rows);
    const first = await rows();
    await page.keyboard.press("ArrowLeft");
    const before = await rows();
    await page.keyboard.press("ArrowRight");
    check(before !== first && await rows() === first, "arrow keys go from mark to mark and back");
    await page.keyboard.press("o");
    await said("take out added");
    await page.keyboard.press("l");
    await said("leave open added");
    await page.keyboard.press("k");
  } else {
    await click(item);
    await press("#view-decide .card", "Keep");
  }
  await said("keep added");
  check(await item.evaluate((b) => b.parentElement.dataset.said) === "keep", "what is kept looks kept in the list");
  check(await page.evaluate((n) => document.querySelector(`#view-decide .staves a[data-rows~="${n}"]`)?.dataset.said, kept) === "keep", "and in the staves");
  // What was done stays in view, and the way back from it.
  const inView = await page.evaluate(() => {
    scrollTo(0, document.body.scrollHeight);
    return ["status", "undo"].every((id) => {
      const { top, bottom } = document.getElementById(id).getBoundingClientRect();
      return top >= 0 && bottom <= innerHeight;
    });
  });
  check(inView, "what was done and Undo stay in view");
  await page.evaluate(() => scrollTo(0, 0));
  await look("kept");

  // One passage is left as in the edition: from the first finding in it.
  if (passage >= 0) {
    changes += 1;
    await page.evaluate((n) => document.querySelector(`#view-decide .findings li:nth-child(${n + 1}) button`).click(), passage);
    const keep = '#view-decide .card [aria-label="The passage"] button:nth-child(2)';
    await press('#view-decide .card [aria-label="The passage"]', await text(keep));
    await until(() => document.querySelectorAll('#view-decide .findings li[data-said="keep"]').length > 1);
  }

  // One category is set apart.
  const folded = await page.$("#view-decide .wide summary");
  await folded.evaluate((s) => { s.parentElement.open = true; });
  await page.select("#view-decide .wide select", category);
  await press('#view-decide .wide [aria-label="Category"]', "Set apart");
  await said(`of ${category}`);
  await look("apart");

  // Five marks of one's own: one a slur over a barline, one moved, one taken away.
  await go("mark");
  await until(() => document.querySelector("#view-mark .spot"));
  await look("mark");
  if (category === "articulation") await until(() => document.querySelector("#view-mark .spot path.apart"));
  await spot(await note(1));
  await look("palette");
  await press("#view-mark .card", "mf");
  await drawnOwn(1);
  await spot(await note(2));
  await press("#view-mark .card", "Slur to …");
  await spot(await note(3));
  await drawnOwn(2);
  check(/slur, bar (\w+), beat \S+ to bar (?!\1,)/.test(await text("#view-mark .marks")), "the slur goes over its barline");
  await spot(await note(4));
  await press("#view-mark .card", "Breath");
  await drawnOwn(3);
  await spot(await note(5));
  await press("#view-mark .card", "Trill");
  await drawnOwn(4);
  await spot(await note(6));
  const words = await page.evaluateHandle(() => [...document.querySelectorAll("#view-mark .words")].find((f) => f.textContent.includes("Expression")).querySelector("input"));
  await words.asElement().type("cantabile");
  await page.keyboard.press("Enter");
  await drawnOwn(5);
  await until(() => document.querySelector("#view-mark .staves .own") && !document.querySelector('[aria-busy="true"]'));
  await until(isNew, "#view-mark");
  await look("marked");
  const breath = await page.evaluate(() => [...document.querySelectorAll("#view-mark .marks li")].findIndex((li) => li.textContent.includes("breath")));
  await press(`#view-mark .marks li:nth-child(${breath + 1})`, await text(`#view-mark .marks li:nth-child(${breath + 1}) button`));
  await press("#view-mark .card", "Move it to …");
  await spot(await note(7));
  await said("move breath from bar");
  const trill = await page.evaluate(() => [...document.querySelectorAll("#view-mark .marks li")].findIndex((li) => li.textContent.includes("trill")));
  await press(`#view-mark .marks li:nth-child(${trill + 1})`, "Remove");
  await drawnOwn(4);

  // Another key, where an instrument is known.
  await go("play");
  await until(() => document.querySelector("#view-play .staves .note") && !document.querySelector('#view-play [aria-busy="true"]'));
  if (await page.evaluate(async () => (await (await fetch("/state")).json()).settings.player?.instrument)) {
    changes += 1;
    await until(() => document.querySelector("#view-play table"));
    await look("play");
    // One in which phrases change their octaves, where there is one: they are marked, listed and gone to.
    const nth = await page.evaluate(() => {
      const keys = [...document.querySelectorAll("#view-play tr")].filter((row) => row.querySelector("button"));
      return Math.max(0, keys.findIndex((row) => row.textContent.includes("after octave changes")));
    });
    await press("#view-play", "Choose", nth);
    await said("choose instrument and key");
    await until(isNew, "#view-play");
    // The list is that of the key before until the new one is there.
    await until(async () => {
      const parts = await (await fetch("/copy/range")).json();
      const listed = parts.flatMap((part) => [...part.moved, ...part.not_moved, ...part.outside]).map((one) => one.what);
      const shown = [...document.querySelectorAll("#view-play .places button")].map((item) => item.textContent);
      return listed.join() === shown.join() && !document.querySelector('#view-play [aria-busy="true"]');
    });
    const moved = await page.$("#view-play .places button");
    if (moved) {
      await press("#view-play .places", await text("#view-play .places button"));
      await until(() => document.querySelector("#view-play .spot.lit"));
      check(await page.evaluate(() => document.querySelector("#view-play .line:has(.spot.lit) path.moved") !== null), "a bracket stands over what was moved");
      check((await text("#view-play .legend")).includes("moved an octave"), "and is explained");
      check(/moved an octave (up|down)/.test(await page.$eval("#view-play .spot.lit", (spot) => spot.getAttribute("aria-label"))), "and said");
    }
    await look("moved");
  }

  // Handed out.
  await go("out");
  await look("out");
  await press("#view-out", "Write the files");
  await until(() => document.querySelector("#view-out .files"));
  await look("handed-out");
  check((await text("#view-out")).includes("Marks of your own: 4."), "four marks of one's own are handed out");

  // All undone, and all done again.
  let steps = 0;
  while (!(await page.$eval("#undo", (b) => b.disabled))) {
    const version = await page.evaluate(async () => (await (await fetch("/state")).json()).version);
    await page.evaluate(() => document.getElementById("undo").click());
    await until(async (version) => (await (await fetch("/state")).json()).version > version, version);
    await until(async () => (await (await fetch("/state")).json()).undo === null || !document.getElementById("undo").disabled);
    steps += 1;
    if (steps > 40) throw new Error("undo does not end");
  }
  check(steps === changes, `${steps} steps were undone, not ${changes}`);
  for (let again = 0; again < steps; again += 1) {
    const version = await page.evaluate(async () => (await (await fetch("/state")).json()).version);
    await page.evaluate(() => document.getElementById("redo").click());
    await until(async (version) => (await (await fetch("/state")).json()).version > version, version);
  }

  // A second tab of the same browser: it hears of the change, and an old one is told.
  const other = await context.newPage();
  await other.goto(new URL(address).origin);
  await other.waitForFunction(() => document.querySelector("#view-decide .findings li"), { timeout: 30000 });
  await other.bringToFront();
  await other.keyboard.press("n");
  await other.keyboard.press("o");
  await other.waitForFunction(() => document.getElementById("status").textContent.includes("take out"), { timeout: 30000 });
  await page.bringToFront();
  await until(() => document.getElementById("undo").title.includes("take out"));
  await other.evaluate(() => document.getElementById("undo").click());
  await until(() => !document.getElementById("undo").title.includes("take out"));
  checks += 2;
  await other.close();
  await go("choose");
  await look("choose");
}

try {
  await ({ hostile: harmless, stuck: withoutStaves }[view] ?? wholeWay)();
} catch (error) {
  faults.push(`${view}: ${error.message}`);
  if (pictures !== "--") await page.screenshot({ path: join(pictures, `desk-${view}-fault.png`) });
}
await browser.close();
for (const fault of faults) console.log(fault);
console.log(`${checks} checks`);
process.exit(faults.length ? 1 : 0);
