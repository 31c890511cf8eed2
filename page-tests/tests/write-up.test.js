// Everything is written up from the page, its files are found, and own words are held against the findings.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { existsSync, readdirSync, readFileSync, statSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { test } from "node:test";
import { told } from "../lib/browser.js";
import { demo, open } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const AXE = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
/** Rules of WCAG 2.2 at the levels A and AA, and what is good practice. */
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

const room = underWatch();

/** Every file below a folder, by name. @param {string} folder @returns {string[]} */
function files(folder) {
  return readdirSync(folder, { recursive: true, encoding: "utf8" })
    .filter((name) => statSync(join(folder, name)).isFile())
    .sort();
}

test("everything is exported from the page, with its size said before, and every file is there", async () => {
  const served = await open(demo());
  const page = await room.watched.window(served.link);
  await page.goto("/write-up");
  const target = join(served.folder, "write-up");
  assert.ok(!existsSync(target));
  await page.locator("#blind").check();
  await page.locator("#size-square").check();
  await page.locator("#colours").selectOption("dark");
  await page.locator("#pieces").selectOption("event");
  await page.locator("#moving_size").selectOption("square");
  await page.locator("#moving").selectOption("video");
  await page.locator("#licence").fill("CC BY 4.0, the boathouse");
  await page.locator("#gap_s").fill("0.25");
  await page.locator("#moments").fill("2");
  await page.locator("#decade").selectOption("50");
  const lines = page.locator("#moving-lines li");
  await lines
    .filter({ hasText: /frames of 1080 × 1080 px; as frames about \d+ MB/ })
    .nth(3)
    .waitFor();
  // Half as many frames a second are half as many frames.
  const frames = async () => Number(/(\d+) frames/.exec((await lines.first().textContent()) ?? "")?.[1]);
  const usual = await frames();
  await page.locator("#frame_rate").fill("12.5");
  await page.waitForFunction((n) => {
    const now = /(\d+) frames/.exec(document.querySelector("#moving-lines li")?.textContent ?? "");
    return now !== null && Math.abs(Number(now[1]) - n / 2) <= 1;
  }, usual);
  // The program is run without a search path: there is no ffmpeg, and that is said before.
  await lines.filter({ hasText: "No video can be made: there is no ffmpeg on this machine" }).waitFor();
  assert.ok(!existsSync(target), "nothing is written before that is said");
  // What was chosen stays when the page is drawn anew.
  await page.locator("textarea").first().fill("Heron was recorded 77.7 dB louder.");
  await page.locator("textarea").first().blur();
  await told(page, "Saved.");
  const warned = page.locator(".disagrees").first();
  await warned.filter({ hasText: "“77.7 dB” agrees with no number of the findings" }).waitFor();
  assert.ok(await page.locator("#blind").isChecked());
  assert.equal(await page.locator("#pieces").inputValue(), "event");
  assert.equal(await page.locator("#moments").inputValue(), "2");
  await page.locator("#moving").selectOption("");

  await page.locator("#write-everything").click();
  await page.locator("#writing", { hasText: /^Writing \d+ of \d+: / }).waitFor();
  await page.locator("#writing", { hasText: /^Written: \d+ files in write-up$/ }).waitFor({ timeout: 100_000 });
  await page.locator("#remarks li", { hasText: "LUFS, true peak" }).first().waitFor();

  const there = files(target);
  const manifest = readFileSync(join(target, "manifest.sha256"), "utf8").trim().split("\n");
  for (const line of manifest) {
    const [hash, name] = line.split("  ");
    const bytes = readFileSync(join(target, name ?? ""));
    assert.equal(createHash("sha256").update(bytes).digest("hex"), hash, name);
  }
  assert.deepEqual(
    manifest
      .map((line) => line.split("  ")[1])
      .concat("manifest.sha256")
      .sort(),
    there,
  );
  for (const name of [
    "report.html",
    "report.pdf",
    "LICENCE.txt",
    "data/findings.json",
    "data/bands.csv",
    "words/spoken-60-s.txt",
    "reels/voice.wav",
    "reels/voice.vtt",
    "reels/voice.srt",
    "blind/voice.wav",
    "key/voice.txt",
    "figures/voice-heron-against-moorhen-screen-step-5.png",
    "figures/voice-heron-against-moorhen-square.svg",
    "figures/voice-heron-against-moorhen-upright-large.png",
  ])
    assert.ok(there.includes(name), `${name} is missing in\n${there.join("\n")}`);
  assert.ok(readFileSync(join(target, "report.html"), "utf8").includes("77.7 dB louder"), "own words are the user's");
  assert.equal(readFileSync(join(target, "LICENCE.txt"), "utf8"), "CC BY 4.0, the boathouse\n");

  // The page lists every file with a link, and what a link gives is the file.
  await page.getByText("All files of write-up").click();
  const links = page.locator("section.written ul.files a");
  assert.equal(await links.count(), there.length - 1);
  for (const name of [
    "report.pdf",
    "reels/voice.wav",
    "figures/voice-heron-against-moorhen-square.svg",
    "key/voice.txt",
  ]) {
    const address = await links.filter({ hasText: new RegExp(`^${name}$`) }).getAttribute("href");
    const given = await page.request.get(address ?? "");
    assert.equal(given.status(), 200, name);
    assert.ok((await given.body()).equals(readFileSync(join(target, name))), name);
  }
  // A picture opens in a window of its own, with its fonts, and nothing is complained of.
  const opened = page.waitForEvent("popup");
  await links.filter({ hasText: "figures/voice-heron-against-moorhen-square.svg" }).click();
  const picture = await opened;
  await picture.waitForLoadState();
  assert.equal(await picture.evaluate(() => document.documentElement.localName), "svg");
  await picture.close();

  // A second one goes beside the first, which stays as it was.
  const first = readFileSync(join(target, "manifest.sha256"), "utf8");
  await page.locator("#blind").uncheck();
  await page.locator("#write-everything").click();
  await page.locator("#writing", { hasText: /^Written: \d+ files in write-up-2$/ }).waitFor({ timeout: 100_000 });
  assert.equal(readFileSync(join(target, "manifest.sha256"), "utf8"), first);
  assert.equal(await page.locator("section.written").count(), 2);
  await room.watched.close();
  await served.end();
});

for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
  test(`what is said and listed around a write-up is clean and fits, ${colorScheme}`, async () => {
    const served = await open(demo());
    const page = await room.watched.window(served.link, { colorScheme, bypassCSP: true });
    await page.goto("/write-up");
    await page.locator("textarea").first().fill("Heron was recorded 77.7 dB louder.");
    await page.locator("textarea").first().blur();
    await page.locator(".disagrees").first().waitFor();
    await page.locator("#write-everything").click();
    await page.locator("#writing", { hasText: /^Written: / }).waitFor({ timeout: 100_000 });
    await page.locator("#moving").selectOption("video");
    await page.locator("#moving-lines li").nth(3).waitFor();
    await page.locator("section.written summary").click();
    await page.addScriptTag({ path: AXE });
    const found = await page.evaluate(async (runOnly) => {
      const axe = /** @type {any} */ (window).axe;
      const { violations } = await axe.run(document, { runOnly });
      return violations.map((/** @type {any} */ v) => `${v.id}: ${v.nodes[0].html}`);
    }, TAGS);
    assert.deepEqual(found, []);
    for (const width of [390, 820, 1440]) {
      await page.setViewportSize({ width, height: 900 });
      const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      assert.ok(over <= 0, `at ${width} px the page is ${over} px too wide`);
    }
    await room.watched.close();
    await served.end();
  });
}
