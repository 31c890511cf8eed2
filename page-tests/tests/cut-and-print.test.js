// One long recording is cut in the page, and a run sheet is printed.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { told } from "../lib/browser.js";
import { demo, logHolds, open } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";
import { wav } from "../lib/wav.js";

const room = underWatch();

const RATE = 48000;
const HITS = 10;

/** Two rows of hits with seven seconds of a quiet room between them. */
function evening() {
  const [row, quiet] = [HITS * 0.8, 7];
  const x = new Float32Array(Math.round((1 + 2 * row + quiet + 2) * RATE));
  let state = 1;
  const noise = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 31 - 1;
  };
  for (let i = 0; i < x.length; i++) x[i] = 2e-5 * noise();
  for (let hit = 0; hit < 2 * HITS; hit++) {
    const at = 1 + 0.8 * hit + (hit >= HITS ? quiet : 0);
    const from = Math.round(at * RATE);
    for (let i = 0; i < 0.5 * RATE; i++) x[from + i] += 0.3 * noise() * Math.exp((-i / RATE) * 25);
  }
  return wav(RATE, x);
}

test("a long recording is cut where microphones were changed, and stays as it was", async () => {
  const served = await open(demo());
  const path = join(served.folder, "evening.wav");
  writeFileSync(path, evening());
  const hash = () => createHash("sha256").update(readFileSync(path)).digest("hex");
  const was = hash();
  const log = readFileSync(join(served.folder, "shootout.toml"), "utf8");
  const page = await room.watched.window(served.link);
  await page.goto("/takes");
  const summary = page.locator("summary", { hasText: "Cut evening.wav" });
  await summary.click();
  const form = page.locator("form.cut");
  await form.locator('[name="source"]').selectOption({ label: "frame drum, 40 cm, in turn" });
  await form.getByRole("button", { name: "Show the parts" }).click();
  await told(page, "2 parts. Say whose each is.");
  // Nothing is written before that is said.
  assert.equal(readFileSync(join(served.folder, "shootout.toml"), "utf8"), log);
  const picks = form.locator(".parts select");
  assert.equal(await picks.count(), 2);
  await form.getByRole("button", { name: /^Cut, and enter/ }).click();
  await told(page, "Choose a microphone for every part");
  await picks.nth(0).selectOption({ label: "Moorhen 12" });
  await picks.nth(1).selectOption({ label: "Heron 3" });
  await form.getByRole("button", { name: /^Cut, and enter/ }).click();
  await told(page, "2 parts were cut");
  await logHolds(served.folder, /evening-1-moorhen\.wav/);
  await logHolds(served.folder, /evening-2-heron\.wav/);
  const rows = page.locator("table.takes tr", { hasText: "evening-" });
  await rows.nth(1).waitFor();
  assert.equal(await rows.count(), 2);
  for (const row of await rows.all()) assert.match(await row.innerText(), /\b10\b/, "ten events in each part");
  assert.equal(hash(), was, "the long recording is as it was");
  await room.watched.close();
  await served.end();
});

test("a run sheet is printed alone, with a box for what is left and a mark for what is recorded", async () => {
  const served = await open(demo());
  const page = await room.watched.window(served.link);
  await page.goto("/plan");
  await page.emulateMedia({ media: "print" });
  await page.evaluate(() => {
    window.print = () => {
      const boxes = [...document.querySelectorAll("input[type=checkbox]")];
      document.body.dataset.paper = JSON.stringify({
        words: document.body.innerText,
        boxes: boxes.filter((box) => box.getClientRects().length > 0).length,
      });
    };
  });
  const sheet = page.locator("section.sheet").first();
  await sheet.evaluate((section) => {
    const button = section.querySelector("button[data-print]");
    if (button instanceof HTMLButtonElement) button.click();
  });
  const paper = JSON.parse((await page.locator("body").getAttribute("data-paper")) ?? "null");
  assert.match(paper.words, /Session: frame drum, 40 cm, in turn/);
  assert.match(paper.words, /Heron 3, placement 4/);
  assert.match(paper.words, /✓/);
  for (const other of [/together/, /Microphones/, /Write up/, /speaking voice/])
    assert.doesNotMatch(paper.words, other);
  // The plan asks for four placements of two microphones; three of each are recorded.
  assert.equal(paper.boxes, 2);
  await room.watched.close();
  await served.end();
});
