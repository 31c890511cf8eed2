// What every file of tests begins and ends with: a browser under watch, and nothing left running.

import { after, before } from "node:test";
import { browser } from "./browser.js";
import { endAll, open } from "./program.js";

/**
 * @typedef {object} Room
 * @property {import("./browser.js").Watched} watched the browser
 * @property {import("./program.js").Served} served the page, where a folder was given
 */

/**
 * A browser for the tests of a file, closed and judged after the last one; with a folder also its page.
 * @param {() => string} [folder] makes the folder
 * @param {(room: Room) => Promise<void> | void} [begin] what else comes before the first test; Node 20 does not wait for one hook
 *   before it begins the next
 * @returns {Room} filled before the first test
 */
export function underWatch(folder, begin) {
  const room = /** @type {Room} */ ({});
  before(async () => {
    if (folder) room.served = await open(folder());
    room.watched = await browser();
    await begin?.(room);
  });
  after(async () => {
    await room.watched.close();
    await endAll();
    await room.watched.end();
  });
  return room;
}
