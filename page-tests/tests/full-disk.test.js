// A disk that fills while somebody works: what is said, what stays, and that it goes on when there is room again.

import assert from "node:assert/strict";
import { existsSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { told } from "../lib/browser.js";
import { empty, room as freshRoom, openOnSmallDisk } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const room = underWatch();

const MB = 1 << 20;
/** Size of the disk, of the recording, and of what another program writes meanwhile: the program keeps 64 MB free. */
const [DISK_MB, RECORDING_MB, OTHER_MB] = [256, 100, 140];
/** So that the upload takes some seconds, in bytes per second. */
const UPLOAD_PER_S = 12 * MB;

/** A recording of 16 bits, with a hit every second. */
function recording() {
  const [rateHz, n] = [48_000, (RECORDING_MB * MB) / 2];
  const bytes = Buffer.alloc(44 + 2 * n);
  bytes.write("RIFF", 0, "ascii");
  bytes.writeUInt32LE(36 + 2 * n, 4);
  bytes.write("WAVEfmt ", 8, "ascii");
  bytes.writeUInt32LE(16, 16);
  bytes.writeUInt16LE(1, 20);
  bytes.writeUInt16LE(1, 22);
  bytes.writeUInt32LE(rateHz, 24);
  bytes.writeUInt32LE(2 * rateHz, 28);
  bytes.writeUInt16LE(2, 32);
  bytes.writeUInt16LE(16, 34);
  bytes.write("data", 36, "ascii");
  bytes.writeUInt32LE(2 * n, 40);
  for (let hit = rateHz; hit < n; hit += rateHz) {
    for (let i = 0; i < 2000 && hit + i < n; i++)
      bytes.writeInt16LE(Math.round(9000 * Math.sin(i / 5) * Math.exp(-i / 500)), 44 + 2 * (hit + i));
  }
  const path = join(freshRoom(), "hall.wav");
  writeFileSync(path, bytes);
  return path;
}

/** Bytes of all files below a folder. @param {string} folder @returns {number} */
function size(folder) {
  let sum = 0;
  for (const name of readdirSync(folder, { recursive: true, encoding: "utf8" })) {
    const found = statSync(join(folder, name), { throwIfNoEntry: false });
    if (found?.isFile()) sum += found.size;
  }
  return sum;
}

test("the disk fills in the middle of an upload, then wholly: said, nothing lost, and it goes on", async () => {
  const { served, disk } = await openOnSmallDisk(empty(), DISK_MB);
  const page = await room.watched.window(served.link);
  // The browser says of every answer of that kind that it is an error.
  room.watched.expected.push(/507 \(Insufficient Storage\)/);
  await page.goto("/takes");
  const log = readFileSync(join(disk, "shootout.toml"), "utf8");
  const slow = await page.context().newCDPSession(page);
  await slow.send("Network.enable");
  const network = { offline: false, latency: 0, downloadThroughput: -1, uploadThroughput: UPLOAD_PER_S };
  await slow.send("Network.emulateNetworkConditions", network);
  const answers = /** @type {number[]} */ ([]);
  page.on("response", (answer) => {
    if (answer.url().includes("/takes/files")) answers.push(answer.status());
  });
  const file = recording();
  await page.locator("#files").setInputFiles(file);
  const before = size(disk);
  for (let i = 0; size(disk) < before + 8 * MB; i++) {
    assert.ok(i < 300, "nothing arrives");
    await new Promise((done) => setTimeout(done, 50));
  }
  // Somebody else fills the disk meanwhile.
  const other = join(disk, "other.bin");
  writeFileSync(other, Buffer.alloc(OTHER_MB * MB));
  const said = page.locator(".progress .trouble");
  await said.waitFor();
  assert.match((await said.textContent()) ?? "", /hall\.wav.*the disk has \d+ MB free, of which 67 MB are kept free/);
  assert.ok(size(disk) - OTHER_MB * MB <= before, "what had come is removed");
  assert.deepEqual(answers, [507]);
  assert.equal(readFileSync(join(disk, "shootout.toml"), "utf8"), log);

  // Now to the last byte: nothing can be written any more, not even the log.
  await slow.send("Network.emulateNetworkConditions", { ...network, uploadThroughput: -1 });
  let n = 0;
  for (let piece = 16 * MB; piece >= 512; piece = Math.floor(piece / 2)) {
    try {
      for (;;) writeFileSync(join(disk, `other-${n++}.bin`), Buffer.alloc(piece));
    } catch {
      // No room for a piece of this size.
    }
  }
  await page.goto("/plan");
  await page.locator("#new-mics").fill("Heron 3");
  await page.locator("#new-mics").press("Enter");
  await told(page, /No space left|no room|disk/i);
  assert.equal(readFileSync(join(disk, "shootout.toml"), "utf8"), log, "the log is as it was");
  assert.equal(await page.inputValue("#new-mics"), "Heron 3", "what was typed is still there");

  // There is room again: both go on.
  for (const name of readdirSync(disk)) if (name.startsWith("other")) rmSync(join(disk, name));
  await page.locator("#new-mics").press("Enter");
  await told(page, "Heron 3 is in the log.");
  await page.goto("/takes");
  await page.locator("#files").setInputFiles(file);
  const there = join(disk, "takes", "hall.wav");
  for (let i = 0; !existsSync(there); i++) {
    assert.ok(i < 600, `it does not come in: ${await page.locator(".progress").textContent()}`);
    await new Promise((done) => setTimeout(done, 100));
  }
  await page.locator(".progress", { hasText: "hall.wav: is in the folder; SHA-256 begins" }).waitFor();
  assert.equal(statSync(there).size, RECORDING_MB * MB + 44);
  assert.match(readFileSync(join(disk, "shootout.toml"), "utf8"), /Heron 3/);
  await page.context().close();
  await served.end();
});
