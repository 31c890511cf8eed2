// Steps of blind tests in the browser: making one, beginning a sitting, answering by keyboard.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

/** @typedef {import("./browser.js").Page} Page */

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
/** A telephone. */
export const NARROW = { viewport: { width: 390, height: 844 }, hasTouch: true };

/** Nothing that a screen reader or a person with little sight would stumble over. @param {Page} page */
export async function clean(page) {
  const problems =
    await page.evaluate(`(() => { ${AXE}; })(); axe.run(document, { resultTypes: ["violations"] }).then((r) =>
    r.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.html).join(" | ")))`);
  assert.deepEqual(problems, []);
}

/** No part lies beyond the right edge. @param {Page} page */
export async function fits(page) {
  const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(over <= 0, `the page is ${over} px too wide`);
}

/**
 * Makes a test on the owner's page, and returns the addresses of its result and of its start.
 * @param {Page} page
 * @param {string} kind
 * @param {number} n
 */
export async function make(page, kind, n) {
  await page.goto("/blind?source=drum-together");
  await page.selectOption("#kind", kind);
  await page.fill("#n-trials", String(n));
  await page.fill("#n-catch", "0");
  await page.fill("#seconds", "0.5");
  await page.fill("#title", `Drum, ${kind}`);
  await page.click("text=Make the test");
  await page.waitForURL(/\/blind\/test\?id=/);
  return { result: page.url(), start: `/t/${new URL(page.url()).searchParams.get("id")}` };
}

/** Begins a sitting. @param {Page} page @param {string} start */
export async function begin(page, start) {
  await page.goto(start);
  assert.match(await page.innerText("main"), /Start quiet/);
  await clean(page);
  await fits(page);
  await page.fill("#listener", "Wren");
  await page.keyboard.press("Enter");
  await page.waitForURL(/\/s\//);
}

/** Waits for a trial, and until its sounds can be played. @param {Page} page @param {number} trial */
export async function ready(page, trial) {
  await page.waitForSelector(`main[data-trial="${trial}"]`);
  await page.waitForFunction(() => document.getElementById("state")?.textContent?.startsWith("Ready"));
}

/** By keyboard alone. @param {Page} page @param {string} kind @param {number} n */
export async function byKeyboard(page, kind, n) {
  for (let trial = 0; trial < n; trial++) {
    await ready(page, trial);
    assert.equal(await page.isDisabled("#keep"), true, "nothing was heard yet");
    const keys = await page.$$eval("[data-key]", (all) => all.map((b) => b.getAttribute("data-key") ?? ""));
    for (const key of keys) {
      await page.keyboard.press(key);
      await page.waitForSelector(`[data-key="${key}"].heard`);
      if (kind.startsWith("lik") && key !== "0") {
        await page.keyboard.press("Shift+ArrowRight");
        await page.keyboard.press("ArrowLeft");
      }
    }
    if (!kind.startsWith("lik")) await page.keyboard.press(trial % 2 ? "ArrowLeft" : "ArrowRight");
    if (trial === 0) {
      await clean(page);
      await fits(page);
    }
    await page.waitForFunction(() => !(/** @type {HTMLButtonElement} */ (document.getElementById("keep")).disabled));
    await page.keyboard.press("Enter");
  }
  await page.waitForSelector("main[data-ended]");
}
