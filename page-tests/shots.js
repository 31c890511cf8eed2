// Pictures of every page to be looked at: node shots.js LINK FOLDER_FOR_PICTURES, with a page that is served at LINK.

import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { browser } from "./lib/browser.js";

const [link, into] = process.argv.slice(2);
if (!link || !into) {
  console.error("usage: node shots.js LINK FOLDER_FOR_PICTURES");
  process.exit(2);
}

/** Pages with what is opened on them. */
const PAGES = {
  plan: "/plan",
  takes: "/takes",
  "takes-open": "/takes?take=takes/drum-together-1-moorhen.wav:1",
  compare: "/compare?source=drum-together",
  listen: "/listen?source=drum-together",
  "write-up": "/write-up",
};

mkdirSync(into, { recursive: true });
const watched = await browser();
for (const width of [1440, 820, 390]) {
  for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
    const page = await watched.window(link, { viewport: { width, height: 900 }, colorScheme });
    for (const [name, address] of Object.entries(PAGES)) {
      await page.goto(address);
      await page.waitForTimeout(400);
      await page.screenshot({ path: join(into, `${name}-${width}-${colorScheme}.png`), fullPage: name !== "write-up" });
    }
    await page.context().close();
  }
}
await watched.end();
