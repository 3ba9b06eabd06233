// How soon Chromium shows the first staves of a page of the audit:
//   node paint.mjs CHROMIUM PAGE
// Prints seconds from the navigation until they are painted, the least of three loads.
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [chromium, file] = process.argv.slice(2);

/** Runs in the page before all else: brings the first system into view as soon as it is there. */
function watch() {
  globalThis.painted = new Promise((done) => {
    const look = () => {
      const system = document.querySelector(".score .system");
      if (system === null || system.getBoundingClientRect().height === 0) return requestAnimationFrame(look);
      system.scrollIntoView();
      // The second frame begins when the first has been painted.
      requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() / 1000)));
    };
    requestAnimationFrame(look);
  });
}

const browser = await puppeteer.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-gpu"] });
try {
  const times = [];
  for (let turn = 0; turn < 3; turn += 1) {
    const page = await browser.newPage();
    await page.setViewport({ width: 1200, height: 900 });
    await page.evaluateOnNewDocument(watch);
    await page.goto(pathToFileURL(resolve(file)).href);
    times.push(await page.evaluate(() => globalThis.painted));
    await page.close();
  }
  console.log(Math.min(...times).toFixed(2));
} finally {
  await browser.close();
}
