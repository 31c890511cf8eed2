// Two windows, the command line and a text editor on one folder; a log that is broken and mended; names that mean harm.

import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { told } from "../lib/browser.js";
import { demo, empty, open } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const room = underWatch();

/** @param {string} folder */
const logOf = (folder) => join(folder, "shootout.toml");

/**
 * @param {string} folder
 * @param {(log: string) => string} change
 */
function byHand(folder, change) {
  const log = readFileSync(logOf(folder), "utf8");
  const changed = change(log);
  assert.notEqual(changed, log, "the edit by hand changed nothing");
  writeFileSync(logOf(folder), changed);
}

test("an edit in one window, by hand or by the command line appears in the other", async () => {
  const served = await open(demo());
  const [one, other] = [await room.watched.window(served.link), await room.watched.window(served.link)];
  await Promise.all([one.goto("/plan"), other.goto("/plan")]);
  await one.locator("#name-heron").fill("Heron the Third");
  await one.locator("#name-heron").blur();
  await other.waitForFunction(() => document.querySelector("#name-heron")?.getAttribute("value") === "Heron the Third");

  const since = Date.now();
  byHand(served.folder, (log) => log.replace("margin_db = 1.0", "margin_db = 2.5"));
  for (const page of [one, other]) {
    await page.waitForFunction(() => document.querySelector("#margin_db")?.getAttribute("value") === "2.5");
  }
  const took = Date.now() - since;
  assert.ok(took < 5000, `an edit by hand appeared after ${took} ms`);
  console.log(`an edit by hand appeared in both windows after ${took} ms`);

  // What is being typed is not taken away by what comes in; the page follows when it is left.
  await one.locator("#temperature_c").fill("21");
  byHand(served.folder, (log) => log.replace("margin_db = 2.5", "margin_db = 3.5"));
  await told(one, "changed elsewhere");
  assert.equal(await one.locator("#temperature_c").inputValue(), "21");
  await one.locator("#temperature_c").blur();
  await one.waitForFunction(() => document.querySelector("#margin_db")?.getAttribute("value") === "3.5");
  await one.waitForFunction(() => document.querySelector("#temperature_c")?.getAttribute("value") === "21");
  assert.match(readFileSync(logOf(served.folder), "utf8"), /temperature_c = 21/);
  await room.watched.close();
  await served.end();
});

test("a conflicting edit is refused and said, and nothing is lost", async () => {
  room.watched.expected.push(/409 \(Conflict\)/);
  const served = await open(demo());
  const page = await room.watched.window(served.link);
  await page.goto("/plan");
  await page.locator("#year-heron").fill("1950");
  byHand(served.folder, (log) => log.replace("year = 2019", "year = 2018"));
  await told(page, "changed elsewhere");
  await page.locator("#year-heron").blur();
  await page.locator("#state.trouble").waitFor();
  await page.waitForFunction(() => document.querySelector("#year-heron")?.getAttribute("value") === "2018");
  assert.match(readFileSync(logOf(served.folder), "utf8"), /year = 2018/);

  // A paragraph that somebody wrote is kept before the eyes.
  await page.goto("/write-up");
  const words = page.locator("#words-0");
  const other = await room.watched.window(served.link);
  await other.goto("/write-up");
  await words.fill("My long paragraph.");
  await other.locator("#words-0").fill("Another's.");
  await other.locator("#words-0").blur();
  await told(other, "Saved.");
  await told(page, "changed elsewhere");
  // The page is slow to come, and the folder changes once more while it does: two redraws are underway at once.
  await page.route("**/write-up", async (route) => {
    await new Promise((resolve) => setTimeout(resolve, 700));
    await route.continue();
  });
  await words.blur();
  await told(page, "Another's");
  byHand(served.folder, (log) => log.replace("year = 2018", "year = 2017"));
  await page.locator("p", { hasText: "Now in the log: “Another's.”" }).waitFor();
  await page.waitForTimeout(1500);
  await page.unroute("**/write-up");
  assert.equal(await words.inputValue(), "My long paragraph.");
  assert.match(readFileSync(logOf(served.folder), "utf8"), /Another's\./);
  await page.getByRole("button", { name: "Put mine in their place" }).click();
  await told(page, "Saved.");
  assert.match(readFileSync(logOf(served.folder), "utf8"), /My long paragraph\./);

  // Or they are given up, and the page follows again.
  await other.waitForFunction(() => document.querySelector("#words-0")?.textContent === "My long paragraph.");
  await words.fill("Mine once more.");
  await other.locator("#words-0").fill("Theirs stays.");
  await other.locator("#words-0").blur();
  await told(page, "changed elsewhere");
  await words.blur();
  await page.locator("p", { hasText: "Now in the log: “Theirs stays.”" }).waitFor();
  await page.getByRole("button", { name: "Leave what is in the log" }).click();
  await page.waitForFunction(() => {
    const field = document.querySelector("#words-0");
    return field instanceof HTMLTextAreaElement && field.value === "Theirs stays.";
  });
  assert.equal(await page.locator("[data-unsaved]").count(), 0, "nothing holds the page back");
  assert.match(readFileSync(logOf(served.folder), "utf8"), /Theirs stays\./);
  await room.watched.close();
  await served.end();
});

test("a broken log is said with its line and a mark under the place; mended, the page goes on", async () => {
  room.watched.expected.push(/422 \(Unprocessable/);
  const served = await open(demo());
  const page = await room.watched.window(served.link);
  // The page is slow to listen: what comes in between must not be lost to it.
  await page.route("**/events*", async (route) => {
    await new Promise((resolve) => setTimeout(resolve, 1500));
    await route.continue();
  });
  await page.goto("/plan");
  const whole = readFileSync(logOf(served.folder), "utf8");
  byHand(served.folder, (log) => log.replace("margin_db = 1.0", "margin_db = = 1.0"));
  const words = page.locator("#told pre");
  await words.waitFor();
  const said = (await words.textContent()) ?? "";
  assert.match(said, /margin_db = = 1\.0/, "the line");
  assert.match(said, /^\s*\|?\s*\^/m, "the mark");
  assert.match(said, /\b2\b/, "the number of the line");
  writeFileSync(logOf(served.folder), whole.replace("margin_db = 1.0", "margin_db = 1.5"));
  await words.waitFor({ state: "detached" });
  await page.waitForFunction(() => document.querySelector("#margin_db")?.getAttribute("value") === "1.5");

  // The same where the page is opened while the log is broken.
  byHand(served.folder, (log) => log.replace("margin_db = 1.5", "margin_db = = 1.5"));
  await page.goto("/takes");
  await page.getByText("margin_db = = 1.5").first().waitFor();
  writeFileSync(logOf(served.folder), whole);
  await page.locator("table.takes").first().waitFor();
  await room.watched.close();
  await served.end();
});

test("names that mean harm are shown as text", async () => {
  const NAMES = [
    `<img src=x onerror="document.title='harm'">`,
    `"quotes" 'and' \\backslashes\\ & </script><script>document.title='harm'</script>`,
    "long ".repeat(40).trim(),
    "right \u202Eto left\u202C and עברית",
    "😀 moorhen 🎙️",
    "{{7*7}} %s %n $(id) `id`",
  ];
  const served = await open(empty(NAMES[0]));
  const page = await room.watched.window(served.link);
  await page.goto("/plan");
  for (const [i, name] of NAMES.entries()) {
    const group = i % 2 === 0 ? "mics" : "sources";
    await page.locator(`#new-${group}`).fill(name);
    await page.locator(`button[data-add=${group}]`).click();
    await page.waitForFunction((name) => {
      const fields = [...document.querySelectorAll("input[type=text]")];
      return fields.some((field) => field.id.startsWith("name-") && field.getAttribute("value") === name);
    }, name);
  }
  const takes = join(process.env.FAIRTAKE_DEMO ?? "", "takes");
  await page.goto("/takes");
  const sound = readFileSync(join(takes, "drum-1-moorhen.wav"));
  const files = [
    `<img src=x onerror=alert(1)>.wav`,
    `"q" & 'r'.wav`,
    `${"l".repeat(200)}.wav`,
    "\u202Elevon.wav",
    "😀.wav",
  ];
  await page.locator("#files").setInputFiles(files.map((name) => ({ name, mimeType: "audio/wav", buffer: sound })));
  await page
    .locator("#incoming li")
    .nth(files.length - 1)
    .waitFor();
  await page
    .locator("#incoming li.done, #incoming li.trouble")
    .nth(files.length - 1)
    .waitFor();
  await page.locator("#assign tr[data-file]").first().waitFor();
  const text = (await page.locator("main").textContent()) ?? "";
  assert.ok(text.includes("<img src=x"), "the name of the file is shown as it is");
  for (const address of ["/plan", "/takes", "/compare", "/listen", "/write-up"]) {
    await page.goto(address);
    assert.equal(await page.locator("img").count(), 0, address);
    assert.equal(await page.locator("script:not([src])").count(), 0, address);
    assert.ok(!(await page.title()).startsWith("harm"), address);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(wide <= 0, `${address} is ${wide} px too wide`);
  }
  await room.watched.close();
  await served.end();
});
