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
    if (kind === "liking") assert.match(words, /median 59/, words);
    // The hidden copy was not found: 59 is below 90.
    if (kind === "likeness") assert.match(words, /One rater was left out/, words);
    await clean(owner);
    await page.context().close();
    await owner.context().close();
  });
}
