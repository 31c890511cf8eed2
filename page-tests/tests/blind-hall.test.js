// Blind tests in the browser: by pointer, in several windows, by invitation, and for an audience.

import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { once } from "node:events";
import { test } from "node:test";
import { begin, byKeyboard, clean, make, NARROW, ready } from "../lib/blind.js";
import { demo } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const room = underWatch(demo);

test("by pointer, with a comment; the page goes on after it was closed, and an answer given elsewhere stands", async () => {
  const owner = await room.watched.window(room.served.link);
  const made = await make(owner, "which", 3);
  let page = await room.watched.window(room.served.link, NARROW);
  await begin(page, made.start);
  const at = page.url();
  await ready(page, 0);
  for (const button of await page.$$("[data-sound]")) await button.click();
  const stone = await page.$("#stone");
  const box = await stone?.boundingBox();
  assert.ok(box && box.height >= 44, "a thumb finds the stone");
  await page.mouse.click(box.x + box.width - 6, box.y + box.height / 2);
  assert.equal(await page.getAttribute("#stone", "aria-valuetext"), "with the right one");
  await page.click("summary");
  await page.fill("#comment", "a little softer?");
  await page.click("#keep");
  await ready(page, 1);
  await page.context().close();
  // Another window, as on another device.
  page = await room.watched.window(room.served.link);
  await page.goto(at);
  await ready(page, 1);
  const other = await room.watched.window(room.served.link);
  await other.goto(at);
  await ready(other, 1);
  for (const one of [page, other]) {
    for (const button of await one.$$("[data-sound]")) await button.click();
    await one.keyboard.press("ArrowLeft");
    await one.waitForFunction(() => !(/** @type {HTMLButtonElement} */ (document.getElementById("keep")).disabled));
  }
  room.watched.expected.push(/409/);
  await page.click("#keep");
  await ready(page, 2);
  await other.click("#keep");
  await ready(other, 2);
  page.on("dialog", (dialog) => void dialog.accept());
  await page.click("#leave");
  await page.waitForSelector("main[data-ended]");
  assert.match(await page.innerText("main"), /You left before the end/);
  await owner.goto(made.result);
  assert.match(await owner.innerText("main"), /a little softer\?/);
  owner.on("dialog", (dialog) => void dialog.accept());
  await owner.click("text=Delete the test with all answers");
  await owner.waitForURL(/\/blind$/);
  for (const one of [page, other, owner]) await one.context().close();
});

test("playback begins quiet, and its volume stays where it was set", async () => {
  const owner = await room.watched.window(room.served.link);
  const made = await make(owner, "prefer", 3);
  await begin(owner, made.start);
  await ready(owner, 0);
  assert.equal(await owner.inputValue("#volume"), "-30");
  await owner.focus("#volume");
  await owner.keyboard.press("ArrowLeft");
  assert.equal(await owner.innerText("#volume-db"), "−31 dB");
  await owner.focus("main");
  for (const key of ["1", "2", "ArrowRight", "Enter"]) {
    await owner.keyboard.press(key);
    if (key < "3") await owner.waitForSelector(`[data-key="${key}"].heard`);
  }
  await ready(owner, 1);
  assert.equal(await owner.inputValue("#volume"), "-31");
  await owner.context().close();
});

test("an audience listens at an address of its own and sees nothing else of the folder", async () => {
  const owner = await room.watched.window(room.served.link);
  const made = await make(owner, "odd_one", 2);
  const hall = spawn(process.env.FAIRTAKE ?? "", ["listen", room.served.folder, "--serve", "127.0.0.1:0"]);
  try {
    let said = "";
    while (!said.includes(made.start)) said += String((await once(hall.stdout, "data"))[0]);
    const link =
      said
        .split("\n")
        .find((line) => line.includes(made.start))
        ?.split("  ")[0] ?? "";
    const page = await room.watched.window(link, NARROW);
    await begin(page, link);
    await byKeyboard(page, "odd_one", 2);
    room.watched.expected.push(/404/);
    assert.equal((await page.goto(new URL("/takes", link).href))?.status(), 404);
    assert.match(await page.innerText("main"), /cannot be shown/);
    await owner.goto(made.result);
    assert.match(await owner.innerText("main"), /to the end/);
    await page.context().close();
    await owner.context().close();
  } finally {
    hall.kill();
  }
});

test("codes are shown until they are copied, and each begins one sitting", async () => {
  const owner = await room.watched.window(room.served.link);
  await owner.goto("/blind?source=drum-together");
  await owner.fill("#n-codes", "3");
  await owner.fill("#seconds", "0.5");
  await owner.fill("#title", "By invitation");
  await owner.click("text=Make the test");
  await owner.waitForSelector("#codes");
  const codes = (await owner.innerText("#codes")).trim().split("\n");
  assert.equal(codes.length, 3);
  // News of the change draws the page again, and the codes stay.
  await owner.waitForSelector("h3 a:has-text('By invitation')");
  assert.equal((await owner.innerText("#codes")).trim().split("\n").length, 3);
  await clean(owner);
  await owner.click("text=I have copied them");
  await owner.click("h3 a:has-text('By invitation')");
  await owner.waitForURL(/\/blind\/test\?id=/);
  assert.match(await owner.innerText("main"), /3 codes are not used yet/);
  const start = `/t/${new URL(owner.url()).searchParams.get("id")}`;
  const page = await room.watched.window(room.served.link);
  for (const [code, said] of [
    ["AAAA-AAAA", /not known/],
    [codes[0].toLowerCase(), null],
    [codes[0], /used already/],
  ]) {
    room.watched.expected.push(/403/);
    await page.goto(start);
    await page.fill("#code", String(code));
    await page.click("button:has-text('Begin')");
    if (said)
      await page.waitForFunction(
        (s) => new RegExp(s).test(document.getElementById("state")?.textContent ?? ""),
        /** @type {RegExp} */ (said).source,
      );
    else await page.waitForURL(/\/s\//);
  }
  await page.context().close();
  await owner.context().close();
});
