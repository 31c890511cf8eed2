// Blind tests in the browser: each kind to its end by keyboard, on a narrow screen.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { test } from "node:test";
import { begin, byKeyboard, clean, fits, make, NARROW } from "../lib/blind.js";
import { demo } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const room = underWatch(demo);

for (const kind of ["which", "odd_one", "prefer", "likeness", "liking"]) {
  test(`${kind}: to its end by keyboard, at 390 px, and its result`, async () => {
    const owner = await room.watched.window(room.served.link);
    const made = await make(owner, kind, 3);
    const page = await room.watched.window(room.served.link, NARROW);
    await begin(page, made.start);
    const seal = await page.innerText("code.seal");
    await byKeyboard(page, kind, 3);
    await clean(page);
    await fits(page);
    // What was sealed is what is revealed.
    assert.equal(await page.innerText("code.seal"), seal);
    const key = await page.evaluate(async () => (await fetch(`${location.pathname}/key.txt`)).text());
    assert.equal(createHash("sha256").update(key).digest("hex"), seal);
    await owner.goto(made.result);
    const words = await owner.innerText("main");
    assert.match(words, /to the end/);
    assert.match(words, /What it does not say/);
    if (kind === "which") assert.match(words, /What was measured/);
    if (kind === "prefer")
      assert.match(words, /again alike[\s\S]*of 2[\s\S]*left chosen|left chosen[\s\S]*of 3/, words);
    if (kind === "liking") assert.match(words, /median 59/, words);
    // The hidden copy was not found: 59 is below 90.
    if (kind === "likeness") assert.match(words, /One rater was left out/, words);
    await clean(owner);
    await page.context().close();
    await owner.context().close();
  });
}

test("the form follows what is ticked, keeps what was typed, and refuses what makes no test", async () => {
  const owner = await room.watched.window(room.served.link);
  await owner.goto("/blind?source=drum");
  const ticked = () =>
    owner.$$eval("input[name=test-mic]:checked", (all) => all.map((m) => m.getAttribute("value")).sort());
  const said = () => owner.innerText("#mics-said");
  await owner.click("summary:has-text('with an equaliser')");
  await owner.check("input[value='heron~moorhen']");
  assert.deepEqual(await ticked(), ["heron~moorhen", "moorhen"], "beside the one that it becomes like");
  assert.equal(await said(), "");
  assert.equal(await owner.inputValue("#n-control"), "16", "its playing is that of its microphone");
  assert.ok(await owner.isDisabled("#equal-spectrum"));
  await owner.uncheck("input[value='moorhen']");
  assert.match(await said(), /takes two microphones; 1 is ticked/);
  assert.ok(await owner.isDisabled("text=Make the test"));
  await owner.check("input[value='heron']");
  assert.equal(await owner.inputValue("#n-control"), "0", "both are one microphone at one playing");
  assert.ok(await owner.isEnabled("#may-end-early"));
  await owner.selectOption("#kind", "liking");
  await owner.uncheck("input[value='heron']");
  await owner.check("input[value='moorhen~heron']");
  assert.deepEqual(await ticked(), ["heron", "heron~moorhen", "moorhen~heron"]);
  await clean(owner);
  await owner.selectOption("#kind", "which");
  assert.match(await said(), /3 are ticked/);
  await owner.uncheck("input[value='heron']");
  assert.match(await said(), /is heard beside .* or .*: tick one of them too/);
  // A number that was typed stays, also where news draws the page again.
  await owner.uncheck("input[value='moorhen~heron']");
  await owner.check("input[value='moorhen']");
  await owner.fill("#n-control", "6");
  await owner.fill("#n-trials", "20");
  await owner.selectOption("#kind", "prefer");
  assert.equal(await owner.inputValue("#n-control"), "0");
  await owner.selectOption("#kind", "odd_one");
  assert.equal(await owner.inputValue("#n-control"), "6");
  const other = await room.watched.window(room.served.link);
  await make(other, "liking", 2);
  await owner.waitForSelector("h3:has-text('Drum, liking')");
  assert.deepEqual(await ticked(), ["heron~moorhen", "moorhen"]);
  assert.equal(await owner.inputValue("#kind"), "odd_one");
  assert.equal(await owner.inputValue("#n-trials"), "20");
  assert.equal(await owner.inputValue("#n-control"), "6");
  await other.context().close();
  await owner.context().close();
});

test("control trials are proposed where microphones were played in turn, and sittings can be fixed", async () => {
  const owner = await room.watched.window(room.served.link);
  const proposed = async (/** @type {string} */ source) => {
    await owner.goto(`/blind?source=${source}`);
    return owner.inputValue("#n-control");
  };
  assert.equal(await proposed("drum-together"), "0");
  assert.equal(await proposed("drum"), "16");
  assert.match(await owner.innerText("main"), /as many of them as trials that count are proposed/);
  await clean(owner);
  // A preference has no right answer, so that there is nothing to control.
  await owner.selectOption("#kind", "prefer");
  assert.ok((await owner.isDisabled("#n-control")) && (await owner.isDisabled("#may-end-early")));
  assert.equal(await owner.inputValue("#n-control"), "0");
  await owner.selectOption("#kind", "which");
  assert.equal(await owner.inputValue("#n-control"), "16");
  await owner.fill("#n-sittings", "4");
  await owner.fill("#seconds", "0.5");
  await owner.click("text=Make the test");
  await owner.waitForURL(/\/blind\/test\?id=/);
  const words = await owner.innerText("main");
  assert.match(words, /16 trials that count, 16 control, 2 in which all are the same/);
  assert.match(words, /Fixed beforehand: 4 sittings/);
  await owner.context().close();
});
