// Recordings become takes of a measurement by clicks, a take's angle is corrected, and the data sheets follow.

import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { told } from "../lib/browser.js";
import { bench, open } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const room = underWatch();

test("takes of a measurement are entered and corrected without the log being opened", async () => {
  const folder = bench();
  const log = join(folder, "shootout.toml");
  const full = readFileSync(log, "utf8");
  // As if nobody had logged the moorhen's takes, nor typed the calibrator.
  const [head, ...takes] = full.split("\n[[takes]]\n");
  const kept = takes.filter((take) => !take.includes('mic = "moorhen"'));
  const bare = head.replace(/\[calibrator\]\nlevel_db = 94\nclass = "1"\n/, "");
  assert.ok(kept.length === takes.length - 3 && bare !== head, "the session is another one");
  writeFileSync(log, [bare, ...kept].join("\n[[takes]]\n"));

  const served = await open(folder);
  const page = await room.watched.window(served.link);
  await page.goto("/measure");
  assert.equal(await page.locator("#sheet-moorhen").count(), 0);

  // Three recordings wait; an incomplete row is said and not sent.
  const rows = page.locator("#assign-measured tbody tr");
  assert.equal(await rows.count(), 3);
  for (let i = 0; i < 3; i += 1) {
    const row = rows.nth(i);
    await row.locator('[name="take"]').check();
    await row.locator('[name="mic"]').selectOption("moorhen");
    await row.locator('[name="placement"]').fill(String(i + 1));
    await row.locator('[name="gain_db"]').fill("50");
    await row.locator('[name="distance_mm"]').fill("1000");
    await row.locator('[name="source"]').selectOption("box");
  }
  await rows.nth(0).locator('[name="excitation"]').selectOption("");
  await page.getByRole("button", { name: "Enter in the log" }).click();
  await told(page, "what was played");
  for (let i = 0; i < 3; i += 1) {
    await rows.nth(i).locator('[name="excitation"]').selectOption("excitations/sweep.wav");
  }
  await page.getByRole("button", { name: "Enter in the log" }).click();
  await told(page, "3 takes are in the log.");
  await page.locator("#sheet-moorhen").waitFor();
  assert.equal(await page.locator("#assign-measured").count(), 0);
  assert.ok((await page.locator("#sheet-moorhen svg").count()) > 0, "its own response is drawn");

  // The calibrator is typed; then there are sensitivities.
  const sensitivity = page.locator("#sheet-moorhen").getByRole("row", { name: /^sensitivity \d/ });
  assert.equal(await sensitivity.count(), 0);
  await page.locator("#calibrator-level").fill("94");
  await page.locator("#calibrator-level").blur();
  await told(page, "Saved.");
  await page.locator("#calibrator-class").selectOption("1");
  await sensitivity.first().waitFor();

  // A field of a logged take.
  await page.locator("#logged ~ details > summary").click();
  const angle = page.locator('[id="angle_deg-takes/heron-030deg.wav:1"]');
  assert.equal(await angle.inputValue(), "30");
  await angle.fill("31");
  await angle.blur();
  await page.waitForFunction(
    () => document.getElementById("angle_deg-takes/heron-030deg.wav:1")?.getAttribute("value") === "31",
  );

  // A microphone's file: one that is not there is refused where it is typed, one that is goes into the log.
  await page.locator("#mic-files ~ details > summary").click();
  const published = page.locator("#published-of-moorhen");
  room.watched.expected.push(/status of 404 .*\/log\)/);
  await published.fill("none.txt");
  await published.blur();
  await page.getByText("none.txt").first().waitFor();
  // What was refused goes, and the field holds again what the log has.
  await page.waitForFunction(() => document.getElementById("published-of-moorhen")?.getAttribute("data-was") === '""');
  assert.doesNotMatch(readFileSync(log, "utf8"), /none\.txt/);
  await published.fill("heron-published.txt");
  await published.blur();
  await page.waitForFunction(
    () => document.getElementById("published-of-moorhen")?.getAttribute("value") === "heron-published.txt",
  );
  const after = readFileSync(log, "utf8");
  assert.equal(after.match(/published = "heron-published\.txt"/g)?.length, 2);
  assert.match(after, /angle_deg = 31/);
  assert.match(after, /\[calibrator\]\nlevel_db = 94\nclass = "1"/);
  await room.watched.close();
  await served.end();
});
