// The whole job by keyboard alone: nothing in here touches the mouse. At every stop of the Tab key the focus can be seen.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { focusIsSeen, told } from "../lib/browser.js";
import { empty, logHolds } from "../lib/program.js";
import { stages } from "../lib/stages.js";
import { underWatch } from "../lib/watch.js";

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
/** More stops than any page has. */
const MOST_STOPS = 250;

/**
 * Goes on with Tab until something has the focus.
 * @param {string} selector
 * @param {string} key
 */
async function tabTo(selector, key = "Tab") {
  for (let i = 0; i < MOST_STOPS; i++) {
    if (await page.evaluate((selector) => document.activeElement?.matches(selector) ?? false, selector)) return;
    await page.keyboard.press(key);
    const what = await page.evaluate(() => document.activeElement?.outerHTML.slice(0, 160) ?? "");
    if (!what.startsWith("<body") && !what.startsWith("<iframe")) {
      assert.ok(await focusIsSeen(page), `the focus cannot be seen on ${what}`);
    }
  }
  assert.fail(`${selector} is not reached with ${key}`);
}

/** @param {string} word */
async function step(word) {
  const address = `/${word.toLowerCase().replace(" ", "-")}`;
  await tabTo(`nav a[href="${address}"]`);
  await page.keyboard.press("Enter");
  await page.locator("h1", { hasText: word }).waitFor();
  await page.waitForLoadState("domcontentloaded");
}

/** @param {string} name @param {"mics" | "sources"} group */
async function add(name, group) {
  await tabTo(`#new-${group}`);
  await page.keyboard.type(name);
  await page.keyboard.press("Enter");
  await told(page, `${name} is in the log`);
  assert.equal(await page.evaluate(() => document.activeElement?.id), `new-${group}`, "ready for the next name");
}

stage("plan: names typed one after the other, microphones ticked", async () => {
  await page.goto("/");
  await add("Moorhen", "mics");
  await add("Heron", "mics");
  await add("Drum together", "sources");
  // Two numbers, typed without waiting for the first to be saved.
  await tabTo("#distance_mm-drum-together");
  await page.keyboard.type("250");
  await page.keyboard.press("Tab");
  await page.keyboard.type("200");
  await page.keyboard.press("Tab");
  await page.keyboard.type("15");
  await page.keyboard.press("Tab");
  await page.waitForFunction(() => {
    const was = (/** @type {string} */ id) => document.getElementById(id)?.dataset.was;
    return Number(was("distance_mm-drum-together")) === 250 && Number(was("radius_mm-drum-together")) === 200;
  });
  await page.waitForFunction(() => Number(document.getElementById("angle_deg-drum-together")?.dataset.was) === 15);
  // A redraw that was asked for earlier arrives in the middle of a number: nothing is sent half, no letter is lost.
  await page.route("**/plan", async (route) => {
    const answer = await route.fetch();
    await new Promise((done) => setTimeout(done, 400));
    await route.fulfill({ response: answer });
  });
  const sent = /** @type {string[]} */ ([]);
  page.on("request", (request) => sent.push(...(request.url().endsWith("/log") ? [request.postData() ?? ""] : [])));
  await tabTo("#new-sources");
  await page.keyboard.type("Voice");
  const redrawn = page.waitForResponse((response) => response.url().endsWith("/plan"));
  await page.keyboard.press("Enter");
  await tabTo("#distance_mm-drum-together");
  await page.keyboard.type("2");
  await redrawn;
  await page.locator("#distance_mm-voice").waitFor();
  await page.keyboard.type("60");
  await page.keyboard.press("Tab");
  await page.waitForFunction(() => Number(document.getElementById("distance_mm-drum-together")?.dataset.was) === 260);
  assert.deepEqual(
    sent.filter((change) => change.includes("distance_mm")).map((change) => JSON.parse(change)[0].to),
    [260],
    "sent once and whole",
  );
  await page.unrouteAll({ behavior: "wait" });
  for (const mic of ["moorhen", "heron"]) {
    await tabTo(`#plan-${mic}-drum-together`);
    await page.keyboard.press("Space");
  }
  await page.locator(".sheet li", { hasText: "Heron" }).first().waitFor();
  await tabTo(".sheet li input");
  await page.keyboard.press("Space");
  for (const pattern of [/distance_mm = 260/, /radius_mm = 200/, /angle_deg = 15/, /ticked = \[/]) {
    await logHolds(room.served.folder, pattern);
  }
});

stage("takes: files chosen, assigned and looked at", async () => {
  // Asked for beforehand: the driver takes a moment to stand in for the dialog.
  const asked = page.waitForEvent("filechooser");
  await step("Takes");
  await tabTo("#files");
  await page.keyboard.press("Enter");
  const chooser = await asked;
  const mics = ["moorhen", "heron"];
  await chooser.setFiles([1, 2].flatMap((k) => mics.map((mic) => join(DEMO_TAKES, `drum-together-${k}-${mic}.wav`))));
  await page.locator("#assign tr[data-file]").nth(3).waitFor();
  for (const mic of mics) {
    await tabTo(`tr[data-file$="drum-together-2-${mic}.wav"] [name=placement]`);
    await page.keyboard.press("ArrowUp");
    assert.equal(await page.evaluate(() => document.activeElement?.matches('[name="placement"]')), true);
  }
  await tabTo("#assign button[type=submit]");
  await page.keyboard.press("Enter");
  await told(page, "4 takes are in the log");
  await page.locator("table.takes tbody tr").nth(3).waitFor();
  await tabTo('a[href*="drum-together-2-heron"]');
  await page.keyboard.press("Enter");
  await page.locator("#wave .mark-onset").first().waitFor();
  const n = await page.locator(".mark-onset").count();
  await tabTo(".mark-onset");
  const place = () => page.evaluate(() => document.activeElement?.getAttribute("aria-label"));
  const before = await place();
  await page.keyboard.press("Shift+ArrowRight");
  assert.notEqual(await place(), before);
  await page.keyboard.press("Delete");
  assert.equal(await page.locator(".mark-onset").count(), n - 1);
  await tabTo("#save-events + button");
  await page.keyboard.press("Enter");
  assert.equal(await page.locator(".mark-onset").count(), n);
  await tabTo("#save-events");
  await page.keyboard.press("Enter");
  await page.getByText("set by hand").waitFor();
  await tabTo("#detect-events");
  await page.keyboard.press("Enter");
  await page.locator("#detect-events").waitFor({ state: "detached" });
});

stage("compare: read out with the arrows, settings by letters, zoom, evidence", async () => {
  await step("Compare");
  await page.locator("#picture :is(.wide, .one) svg").waitFor();
  await tabTo("#picture");
  await page.keyboard.press("ArrowRight");
  const readout = page.locator("#readout");
  const first = (await readout.textContent()) ?? "";
  assert.match(first, /Hz: /);
  await page.keyboard.press("End");
  const last = (await readout.textContent()) ?? "";
  assert.match(last, /kHz: /);
  await page.keyboard.press("Home");
  assert.equal(await readout.textContent(), first);
  await tabTo('[data-show="bands"]');
  await page.keyboard.press("Space");
  assert.equal(await page.locator("#picture.no-bands").count(), 1);
  await page.keyboard.press("Space");
  await tabTo('[data-zoom="in"]');
  await page.keyboard.press("Enter");
  await page.waitForURL(/from=/);
  await page.waitForFunction(() => document.activeElement?.getAttribute("data-zoom") === "in");
  await tabTo('[data-zoom="all"]');
  await page.keyboard.press("Enter");
  await page.waitForURL((url) => !url.searchParams.has("from"));
  await page.waitForFunction(() => document.activeElement?.closest("#picture") !== null);
  await tabTo('button.finding[data-evidence="regions"]');
  await page.keyboard.press("Enter");
  await page.locator("#regions.pointed").waitFor();
  await page.waitForFunction(() => document.activeElement?.id === "picture");
  assert.ok(await focusIsSeen(page));
  await tabTo("#bands", "Shift+Tab");
  await page.keyboard.press("ArrowDown");
  await page.waitForURL(/bands=24/);
  await page.waitForFunction(() => document.activeElement?.id === "bands");
});

stage("listen: space, numbers, letters and arrows", async () => {
  await step("Listen");
  const at = page.locator("#at");
  await at.filter({ hasText: " of " }).waitFor();
  // The keys work from wherever the focus is, but for what uses them itself.
  await page.keyboard.press("Escape");
  await tabTo("#play");
  await page.keyboard.press("Space");
  await page.locator("#play", { hasText: "Stop" }).waitFor();
  const second = page.locator("button.voice[data-mic]").nth(1);
  await page.keyboard.press("2");
  assert.equal(await second.getAttribute("aria-pressed"), "true");
  await page.keyboard.press("1");
  assert.equal(await second.getAttribute("aria-pressed"), "false");
  await page.keyboard.press("d");
  await page.locator('button.voice[data-imposed][aria-pressed="true"]').waitFor();
  await page.keyboard.press("d");
  assert.equal(await page.locator('button.voice[data-mic][aria-pressed="true"]').count(), 1);
  await tabTo("#matched");
  await page.keyboard.press("Space");
  assert.equal(await page.locator("#matched").isChecked(), false, "the space bar belongs to a box that has the focus");
  await page.locator("#play", { hasText: "Stop" }).waitFor();
  await page.keyboard.press("Space");
  await tabTo("#loop", "Shift+Tab");
  const looped = await page.locator("#loop").isChecked();
  await page.keyboard.press("l");
  assert.equal(await page.locator("#loop").isChecked(), !looped);
  await page.keyboard.press("ArrowRight");
  await tabTo("#play", "Shift+Tab");
  await page.keyboard.press("Space");
  await page.locator("#play", { hasText: "Play" }).waitFor();
});

stage("write up: own words, and the report on disk", async () => {
  await step("Write up");
  await tabTo("textarea");
  await page.keyboard.type("Typed without a mouse.");
  await page.keyboard.press("Tab");
  await told(page, "Saved.");
  await tabTo("#export");
  await page.keyboard.press("Enter");
  await page.locator("#exported", { hasText: "Written:" }).waitFor();
  assert.match(readFileSync(join(room.served.folder, "report.html"), "utf8"), /Typed without a mouse\./);
});
