// How fast the page is: medians of several runs, printed for people. No time is asserted, since machines differ; that the
// page shows what it should is.

import assert from "node:assert/strict";
import { linkSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { demo, empty, open } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

/** Runs of which the median is told. */
const RUNS = 5;

const room = underWatch();

/** @param {number[]} times */
const median = (times) => [...times].sort((a, b) => a - b)[Math.floor(times.length / 2)];

/**
 * @param {string} what
 * @param {number[]} times in ms
 */
const tell = (what, times) => console.log(`${what}: median ${median(times).toFixed(0)} ms of ${times.length}`);

/**
 * Until the tables of what was shown last are here: each redraw begins on a page at rest. Returns after how many ms.
 * @param {import("playwright-core").Page} page
 */
async function atRest(page) {
  const begun = performance.now();
  await page.waitForFunction(() => document.querySelector("#evidence:not([data-later]) table") !== null);
  const took = performance.now() - begun;
  await page.waitForTimeout(200);
  return took;
}

/** Counts stretches of more than 50 ms in which the page could not answer. @param {import("playwright-core").Page} page */
const watchLongTasks = (page) =>
  page.addInitScript(() => {
    const told = /** @type {any} */ (window);
    told.longTasks = [];
    new PerformanceObserver((list) => told.longTasks.push(...list.getEntries().map((e) => e.duration))).observe({
      type: "longtask",
      buffered: true,
    });
  });

/** @param {import("playwright-core").Page} page @returns {Promise<number[]>} */
const longTasks = (page) => page.evaluate(() => /** @type {any} */ (window).longTasks);

/**
 * From a change in the page until the picture is another and drawn.
 * @param {import("playwright-core").Page} page
 * @param {{ id: string, value: string } | { zoom: string }} change
 */
function redraw(page, change) {
  return page.evaluate(
    (change) =>
      new Promise((done) => {
        const before = document.querySelector("#picture");
        const begun = performance.now();
        const seen = new MutationObserver(() => {
          const now = document.querySelector("#picture :is(.wide, .one) svg");
          if (!now || document.querySelector("#picture") === before) return;
          seen.disconnect();
          requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begun)));
        });
        seen.observe(document.body, { childList: true, subtree: true });
        if ("zoom" in change) /** @type {HTMLElement} */ (document.querySelector(`[data-zoom=${change.zoom}]`)).click();
        else {
          const field = /** @type {HTMLInputElement} */ (document.getElementById(change.id));
          field.value = change.value;
          field.dispatchEvent(new Event("change", { bubbles: true }));
        }
      }),
    change,
  );
}

test("the demo: first picture, redraws, zoom", async () => {
  const served = await open(demo());
  const page = await room.watched.window(served.link);
  await watchLongTasks(page);
  await page.goto("/compare?source=drum-together");
  await page.locator("#picture :is(.wide, .one) svg").waitFor();
  const [first, margins, matches, zooms] = [[], [], [], []].map(() => /** @type {number[]} */ ([]));
  for (let i = 0; i < RUNS; i++) {
    await page.goto("/compare?source=drum-together");
    await page.locator("#picture :is(.wide, .one) svg").waitFor();
    first.push(
      await page.evaluate(() => {
        const paint = performance.getEntriesByName("first-contentful-paint")[0];
        return paint ? paint.startTime : performance.now();
      }),
    );
  }
  const tables = /** @type {number[]} */ ([]);
  for (let i = 0; i < RUNS; i++) {
    margins.push(await redraw(page, { id: "margin", value: String(1.1 + i / 10) }));
    tables.push(await atRest(page));
  }
  for (let i = 0; i < RUNS; i++) {
    matches.push(await redraw(page, { id: "match", value: ["none", "loudness"][i % 2] }));
    await atRest(page);
  }
  for (let i = 0; i < RUNS; i++) {
    zooms.push(await redraw(page, { zoom: i % 2 === 0 ? "in" : "all" }));
    await atRest(page);
  }
  tell("warm page to first picture", first);
  tell("redraw after a new margin", margins);
  tell("the tables below, after that", tables);
  tell("redraw after another match", matches);
  tell("redraw after zooming", zooms);
  const tasks = await longTasks(page);
  console.log(`tasks longer than 50 ms: ${tasks.length}, the longest ${Math.max(0, ...tasks).toFixed(0)} ms`);
  assert.equal(zooms.length, RUNS);
});

/** How many microphones and sources. */
const [MICS, SOURCES] = [20, 3];

/** A shootout of many microphones: the demo's takes, linked under other names. */
function many() {
  const folder = empty("Many microphones in the boathouse");
  const from = join(process.env.FAIRTAKE_DEMO ?? "", "takes");
  mkdirSync(join(folder, "takes"), { recursive: true });
  let log = readFileSync(join(folder, "shootout.toml"), "utf8");
  for (let s = 1; s <= SOURCES; s++) log += `\n[sources.s${s}]\nname = "source ${s}"\nplaying = "percussive"\n`;
  for (let m = 1; m <= MICS; m++) log += `\n[mics.m${m}]\nname = "Moorhen ${m}"\n`;
  for (let s = 1; s <= SOURCES; s++) {
    for (let m = 1; m <= MICS; m++) {
      for (const k of [1, 2]) {
        const file = `takes/s${s}-m${m}-${k}.wav`;
        linkSync(join(from, `drum-together-${k}-${m % 2 === 0 ? "heron" : "moorhen"}.wav`), join(folder, file));
        log += `\n[[takes]]\nfile = "${file}"\nmic = "m${m}"\nsource = "s${s}"\nplacement = ${k}\nperformance = ${k}\n`;
      }
    }
  }
  writeFileSync(join(folder, "shootout.toml"), log);
  return folder;
}

test(`${MICS} microphones × ${SOURCES} sources`, async () => {
  const served = await open(many());
  const page = await room.watched.window(served.link);
  page.setDefaultTimeout(120_000);
  await watchLongTasks(page);
  for (const address of ["/plan", "/takes", "/compare", "/listen", "/write-up"]) {
    /** @type {number[]} */
    const times = [];
    let cold = 0;
    let tasks = 0;
    for (let i = 0; i <= RUNS; i++) {
      const begun = performance.now();
      await page.goto(address, { timeout: 120_000 });
      await page.locator("h1").waitFor();
      if (i === 0) cold = performance.now() - begun;
      else times.push(performance.now() - begun);
      tasks = Math.max(tasks, ...(await longTasks(page)));
    }
    tell(`${address}, first ${cold.toFixed(0)} ms, longest task ${tasks.toFixed(0)} ms; then`, times);
  }
  await page.goto("/takes");
  const rows = await page.locator("table.takes tbody tr").count();
  assert.equal(rows, MICS * SOURCES * 2);
  // From a key to the letter that is seen.
  const field = page.locator("table.takes input[type=text]").first();
  await field.focus();
  await page.evaluate(() => {
    const told = /** @type {any} */ (window);
    told.latencies = [];
    document.addEventListener("keydown", () => {
      const begun = performance.now();
      requestAnimationFrame(() => requestAnimationFrame(() => told.latencies.push(performance.now() - begun)));
    });
  });
  for (const letter of "position") await page.keyboard.press(letter, { delay: 30 });
  await page.waitForFunction(() => /** @type {any} */ (window).latencies.length === 8);
  tell("from a key to the second frame after it", await page.evaluate(() => /** @type {any} */ (window).latencies));
});
