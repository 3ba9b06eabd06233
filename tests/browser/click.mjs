// How soon the desk shows the staves that a click has changed:
//   node click.mjs CHROMIUM ADDRESS
// Lays twenty accents on notes of the part, one after the other, and prints the median of the milliseconds from the
// click to the painted line, with the longest.
import puppeteer from "puppeteer-core";

const [chromium, address] = process.argv.slice(2);
const TURNS = 20;

/** Runs in the page: chooses the note, presses the button, and waits until the mark is painted. */
async function lay(turn) {
  const idle = () => new Promise((done) => {
    const look = () => document.querySelector('#view-mark [aria-busy="true"]') ? requestAnimationFrame(look) : done();
    look();
  });
  await idle();
  const notes = [...document.querySelectorAll('#view-mark .line:not(.old) .spot[data-kind="note"][data-main]')];
  const spot = notes[(turn * 7 + 3) % notes.length];
  spot.scrollIntoView({ block: "center" });
  await idle();
  const { at } = spot.dataset;
  document.querySelector(`#view-mark .line:not(.old) .spot[data-kind="note"][data-at="${at}"]`).dispatchEvent(new MouseEvent("click", { bubbles: true }));
  const button = [...document.querySelectorAll("#view-mark .card button")].find((b) => b.textContent === "Accent");
  const before = document.querySelectorAll("#view-mark .marks li").length;
  const begin = performance.now();
  button.click();
  await new Promise((done) => {
    const look = () => {
      const laid = document.querySelectorAll("#view-mark .marks li").length > before;
      const drawn = laid && document.querySelector(`#view-mark .line:not(.old) .spot[data-own][data-at="${at}"]`);
      // The second frame begins when the first has been painted.
      if (drawn) requestAnimationFrame(() => requestAnimationFrame(done));
      else requestAnimationFrame(look);
    };
    look();
  });
  return performance.now() - begin;
}

const browser = await puppeteer.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu"] });
try {
  const page = await browser.newPage();
  await page.setViewport({ width: 1200, height: 900 });
  await page.goto(address);
  await page.waitForFunction(() => document.querySelector("#view-decide .findings"), { timeout: 60000 });
  await page.evaluate(() => { location.hash = "mark"; });
  await page.waitForFunction(() => document.querySelector("#view-mark .spot"), { timeout: 60000 });
  const times = [];
  for (let turn = 0; turn < TURNS; turn += 1) times.push(await page.evaluate(lay, turn));
  times.sort((a, b) => a - b);
  console.log(`${times[TURNS / 2].toFixed(0)} ms, the longest ${times.at(-1).toFixed(0)} ms`);
} finally {
  await browser.close();
}
