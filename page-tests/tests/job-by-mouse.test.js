// The whole job by mouse, from an empty folder to the report on disk.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { told } from "../lib/browser.js";
import { empty, logHolds } from "../lib/program.js";
import { stages } from "../lib/stages.js";
import { underWatch } from "../lib/watch.js";
import { hits, twoMicrophones } from "../lib/wav.js";

/** @type {import("../lib/browser.js").Page} */
let page;

const room = underWatch(
  () => empty(),
  async (room) => {
    page = await room.watched.window(room.served.link);
  },
);

const stage = stages();
const DEMO_TAKES = join(process.env.FAIRTAKE_DEMO ?? "", "takes");
/** What the second microphone of the real recordings has more above 4 kHz, in dB. */
const SHELF_DB = 6;

/** @param {string} word */
async function step(word) {
  await page.locator("nav a", { hasText: word }).click();
  await page.locator("h1", { hasText: word }).waitFor();
  await page.waitForLoadState("domcontentloaded");
}

/**
 * @param {"mics" | "sources"} group
 * @param {string} name
 */
async function add(group, name) {
  await page.locator(`#new-${group}`).fill(name);
  await page.locator(`button[data-add=${group}]`).click();
  await told(page, `${name} is in the log`);
}

stage("a new shootout begins with the plan", async () => {
  await page.goto("/");
  assert.match(page.url(), /\/plan$/);
  await add("mics", "Moorhen");
  await add("mics", "Heron");
  await add("sources", "Drum together");
  await add("sources", "Real drum");
  const session = page.locator("section.plan-of").filter({ hasText: "Session: Drum together" });
  // One directly after the other, faster than the page is drawn anew.
  await session.locator("fieldset label", { hasText: "Moorhen" }).locator("input").check();
  await session.locator("fieldset label", { hasText: "Heron" }).locator("input").check();
  const sheet = session.locator(".sheet li");
  await sheet.filter({ hasText: "Heron" }).first().waitFor();
  const n = await sheet.count();
  assert.ok(n >= 2, `${n} steps`);
  for (const i of [0, 1]) await sheet.nth(i).locator("input").check();
  await logHolds(room.served.folder, /ticked = \[\s*".*",\s*".*"/);
  await page.reload();
  assert.deepEqual(await Promise.all([0, 1].map((i) => sheet.nth(i).locator("input").isChecked())), [true, true]);
  const log = readFileSync(join(room.served.folder, "shootout.toml"), "utf8");
  assert.match(log, /\[plans\.drum-together\]/);
});

stage("files come in by the file dialog and by dropping", async () => {
  await step("Takes");
  const [rounds, mics] = [
    [1, 2, 3, 4],
    ["moorhen", "heron"],
  ];
  const files = rounds.flatMap((k) => mics.map((mic) => join(DEMO_TAKES, `drum-together-${k}-${mic}.wav`)));
  await page.locator("#files").setInputFiles(files);
  await page
    .locator("#incoming li.done")
    .nth(files.length - 1)
    .waitFor();
  const rows = page.locator("#assign tr[data-file]");
  await rows.nth(files.length - 1).waitFor();

  // Real recordings of one drum, as two microphones that differ by a known shelf.
  const sounds = await twoMicrophones(page, hits(), SHELF_DB);
  for (const { name, bytes } of sounds) {
    await page.evaluate(
      async ({ name, base64 }) => {
        const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
        const data = new DataTransfer();
        data.items.add(new File([bytes], name, { type: "audio/wav" }));
        const target = document.querySelector("#drop");
        for (const kind of ["dragenter", "dragover", "drop"]) {
          target?.dispatchEvent(new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true }));
        }
      },
      { name, base64: bytes.toString("base64") },
    );
  }
  await page
    .locator("#incoming li.done")
    .nth(files.length + sounds.length - 1)
    .waitFor();
  await rows.nth(files.length + sounds.length - 1).waitFor();
  assert.equal(await page.locator("#incoming li.trouble").count(), 0);
  // The same bytes again are known, and nothing is overwritten.
  await page.locator("#files").setInputFiles(files[0]);
  await page.locator("#incoming li", { hasText: "was there already" }).waitFor();
});

stage("takes are assigned: what the names suggest is filled in, the rest is chosen", async () => {
  const row = (/** @type {string} */ name) => page.locator(`#assign tr[data-file$="${name}.wav"]`);
  const suggested = row("drum-together-2-heron");
  assert.equal(await suggested.locator("[name=mic]").inputValue(), "heron");
  assert.equal(await suggested.locator("[name=source]").inputValue(), "drum-together");
  // A number before the microphone counts passes of playing; here the microphones were set up anew for each.
  assert.equal(await suggested.locator("[name=performance]").inputValue(), "2");
  for (const k of [1, 2, 3, 4]) {
    for (const mic of ["moorhen", "heron"]) {
      await row(`drum-together-${k}-${mic}`).locator("[name=placement]").fill(String(k));
    }
  }
  for (const k of [1, 2]) {
    for (const mic of ["Moorhen", "Heron"]) {
      const unnamed = row(`tape-${k}-${mic === "Moorhen" ? "left" : "right"}`);
      await unnamed.locator("[name=source]").selectOption({ label: "Real drum" });
      await unnamed.locator("[name=mic]").selectOption({ label: mic });
      await unnamed.locator("[name=performance]").fill(String(k));
      await unnamed.locator("[name=placement]").fill(String(k));
      assert.ok(await unnamed.locator("[name=take]").isChecked(), "who is given a microphone is wanted");
    }
  }
  await page.getByRole("button", { name: "Enter in the log" }).click();
  await told(page, "12 takes are in the log");
  const table = page.locator("table.takes tbody tr");
  await table.nth(11).waitFor();
  assert.equal(await table.count(), 12);
  await page.locator("a", { hasText: "drum-together-1-moorhen.wav" }).click();
  await page.locator("#wave .mark-onset").first().waitFor();
  assert.match(page.url(), /take=/);
});

stage("an event is set by hand and kept", async () => {
  const before = await page.locator(".mark-onset").count();
  assert.ok(before > 2);
  await page.locator(".mark-onset").first().click();
  await page.keyboard.press("Delete");
  await page.locator("#save-events").click();
  await page.getByText("set by hand").waitFor();
  assert.equal(await page.locator(".mark-onset").count(), before - 1);
  await page.locator("#detect-events").click();
  await page.locator("#detect-events").waitFor({ state: "detached" });
  assert.equal(await page.locator(".mark-onset").count(), before);
});

/** Numbers of a read-out, with their signs. @param {string} words */
const numbers = (words) =>
  [...words.replaceAll("−", "-").matchAll(/(?<![A-Za-z\d])[+-]?\d+\.\d+/g)].map((found) => Number(found[0]));

stage("the read-out says the numbers of compare.json", async () => {
  await step("Compare");
  await page.locator("#picture :is(.wide, .one) svg").waitFor();
  const twin = await (await page.request.get(`/compare.json${new URL(page.url()).search}`)).json();
  const bands = twin.found.comparison.bands;
  const readings = page.locator("#picture :is(.wide, .one) rect.reading");
  const n = await readings.count();
  assert.ok(n > 20, `${n} places can be read`);
  for (const share of [0.1, 0.35, 0.5, 0.75, 0.95]) {
    const reading = readings.nth(Math.floor(share * n));
    const centre = Number(await reading.getAttribute("data-centre"));
    const box = await reading.boundingBox();
    assert.ok(box);
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 3);
    const words = (await page.locator("#readout").textContent()) ?? "";
    const band = bands.find((/** @type {any} */ b) => Math.abs(b.centre_hz - centre) <= 0.0501);
    assert.ok(band, `no band at ${centre} Hz: ${words}`);
    if (band.difference_db === null) continue;
    const said = numbers(words.slice(words.indexOf(":")));
    const close = (/** @type {number} */ a, /** @type {number} */ b) => Math.abs(a - b) <= 0.05 + 1e-9;
    assert.ok(said.length >= 5, words);
    const [reference, against, difference, low, high] = said;
    assert.ok(close(reference, band.reference_db), `${words}: reference ${band.reference_db}`);
    assert.ok(close(difference, band.difference_db), `${words}: difference ${band.difference_db}`);
    // Ends of an interval are rounded outwards, so that it never says less than was found.
    assert.equal(low, Math.floor(band.simultaneous_low_db * 10) / 10, words);
    assert.equal(high, Math.ceil(band.simultaneous_high_db * 10) / 10, words);
    assert.ok(Math.abs(against - reference - difference) < 0.001, `${words}: the levels differ by something else`);
    assert.ok(words.includes(band.verdict.replaceAll("-", " ")), `${words}: ${band.verdict}`);
  }
});

stage("settings redraw, zooming looks closer, hiding stays", async () => {
  const readings = page.locator("#picture :is(.wide, .one) rect.reading");
  const before = await readings.count();
  await page.locator("#bands").selectOption("3");
  await page.waitForFunction(
    (n) => document.querySelectorAll("#picture :is(.wide, .one) rect.reading").length < n / 2,
    before,
  );
  await page.locator("#margin").fill("3");
  await page.locator("#margin").press("Enter");
  await page.waitForURL(/margin=3/);
  await page.locator("#match").selectOption("none");
  await page.waitForURL(/match=none/);
  await page.waitForFunction(() => document.querySelector("#match")?.getAttribute("name") === "match");
  await page.locator("#match").selectOption("loudness");
  await page.waitForURL(/match=loudness/);

  const hidden = () =>
    page
      .locator("#picture .pointwise")
      .first()
      .evaluate((band) => getComputedStyle(band).visibility === "hidden");
  assert.equal(await hidden(), false);
  await page.locator('input[data-show="bands"]').uncheck();
  assert.equal(await hidden(), true);
  await page.locator("#bands").selectOption("12");
  await page.waitForURL(/bands=12/);
  await page.waitForFunction(() => document.querySelectorAll("#picture :is(.wide, .one) rect.reading").length > 60);
  assert.equal(await hidden(), true, "what is hidden stays hidden when the picture is drawn anew");
  await page.locator('input[data-show="bands"]').check();

  await page.getByRole("button", { name: "Closer" }).click();
  await page.waitForURL(/from=/);
  const closer = await readings.count();
  assert.ok(closer > 10 && closer < 70, `${closer} places can be read after looking closer`);
  await page.getByRole("button", { name: "Whole axis" }).click();
  await page.waitForURL((url) => !url.searchParams.has("from"));
  await page.locator("#picture").evaluate((figure) => figure.scrollIntoView({ behavior: "instant" }));
  const box = await page.locator("#picture :is(.wide, .one) svg").boundingBox();
  assert.ok(box);
  await page.mouse.move(box.x + box.width * 0.4, box.y + 150);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.6, box.y + 170, { steps: 4 });
  await page.mouse.up();
  await page.waitForURL(/from=/);
  const from = Number(new URL(page.url()).searchParams.get("from"));
  assert.ok(from > 150 && from < 600, `looks from ${from} Hz`);
  await page.getByRole("button", { name: "Whole axis" }).click();
  await page.waitForURL((url) => !url.searchParams.has("from"));
});

stage("a known difference between real recordings is found, and a finding leads to its evidence", async () => {
  await page.locator("#source").selectOption({ label: "Real drum" });
  await page.waitForURL(/source=real-drum/);
  await page.locator("#reference").selectOption({ label: "Moorhen" });
  await page.locator("h2", { hasText: "Heron against Moorhen" }).waitFor();
  const twin = await (await page.request.get(`/compare.json${new URL(page.url()).search}`)).json();
  const high = twin.found.comparison.bands.filter(
    (/** @type {any} */ b) => b.centre_hz > 9000 && b.difference_db !== null,
  );
  const low = twin.found.comparison.bands.filter(
    (/** @type {any} */ b) => b.centre_hz < 1000 && b.difference_db !== null,
  );
  const mean = (/** @type {any[]} */ list) => list.reduce((sum, b) => sum + b.difference_db, 0) / list.length;
  assert.ok(high.length > 0 && low.length > 0, "nothing was measured high up or low down");
  // The shelf is seen between high and low, whatever the match takes off all of it.
  assert.ok(
    Math.abs(mean(high) - mean(low) - SHELF_DB) < 0.5,
    `${mean(high) - mean(low)} dB where ${SHELF_DB} were made`,
  );

  await page.locator("#source").selectOption({ label: "Drum together" });
  await page.waitForURL(/source=drum-together/);
  // One that begins high enough that the picture is not the whole axis again.
  const findings = await page.locator('button.finding[data-evidence="regions"]').all();
  const spans = await Promise.all(findings.map(async (f) => Number(await f.getAttribute("data-from"))));
  const span = Math.max(...spans);
  assert.ok(span > 60, `no finding begins above 60 Hz: ${spans}`);
  await findings[spans.indexOf(span)].click();
  await page.locator("#regions.pointed").waitFor();
  await page.waitForURL(/from=/);
  const from = Number(new URL(page.url()).searchParams.get("from"));
  assert.ok(Math.abs(from - Math.max(span / 2, 20)) < 1, `the finding begins at ${span} Hz, the picture at ${from} Hz`);
  assert.equal(await page.evaluate(() => document.activeElement?.id), "picture");
});

stage("listening: play, switch, stop", async () => {
  await step("Listen");
  for (const [label, key] of [
    ["Real drum", "real-drum"],
    ["Drum together", "drum-together"],
  ]) {
    await page.locator("#source").selectOption({ label });
    await page.waitForURL(new RegExp(`source=${key}`));
  }
  const at = page.locator("#at");
  await at.filter({ hasText: "of" }).waitFor();
  const place = async () => Number.parseFloat((await at.textContent()) ?? "");
  await page.locator("#play").click();
  await page.locator("#play", { hasText: "Stop" }).waitFor();
  const first = await place();
  await page.waitForFunction(
    (was) => Number.parseFloat(document.querySelector("#at")?.textContent ?? "") !== was,
    first,
  );
  const second = page.locator("button.voice[data-mic]").nth(1);
  const name = (await second.getAttribute("data-name")) ?? "";
  await second.click();
  assert.equal(await second.getAttribute("aria-pressed"), "true");
  await at.filter({ hasText: name }).waitFor();
  await page.locator("button.voice[data-imposed]").first().click();
  await page.locator("#matched").uncheck();
  await page.locator("#matched").check();
  await page.locator("#loop-what").selectOption("1");
  await page.locator("#play").click();
  await page.locator("#play", { hasText: "Play" }).waitFor();
});

stage("own words are kept and stand in the report that is written", async () => {
  const words = 'Heron is brighter on the rim; we like <em>both</em> & "mean" it.';
  await step("Write up");
  const field = page.locator("textarea").first();
  await field.fill(words);
  await field.blur();
  await told(page, "Saved.");
  await page.reload();
  assert.equal(await field.inputValue(), words);
  await page.locator("#export").click();
  await page.locator("#exported", { hasText: "Written:" }).waitFor();
  const report = readFileSync(join(room.served.folder, "report.html"), "utf8");
  assert.ok(report.includes("Heron is brighter on the rim; we like &lt;em&gt;both&lt;/em&gt; &amp;"), "own words");
  await page.frameLocator("iframe").getByText("Heron is brighter on the rim").waitFor();
  // A second time nothing is overwritten unasked.
  room.watched.expected.push(/409 \(Conflict\)/);
  await page.locator("#export").click();
  await told(page, "report.html is in the folder already");
});
