// What is held down: nothing is swapped away between a press and its end.

/** Keys and buttons that are held down. @type {Set<string>} */
const held = new Set();
/** Told when none is held any more. @type {(() => void)[]} */
let waiting = [];
/** Nobody presses longer than this in milliseconds, but for a key whose end the browser does not tell. */
const LONGEST_PRESS_MS = 1000;

/** What is pressed is pressed and let go on one thing: nothing is swapped away in between. @returns {Promise<void>} */
export function released() {
  if (held.size === 0) return Promise.resolve();
  return new Promise((go) => {
    waiting.push(go);
    setTimeout(go, LONGEST_PRESS_MS);
  });
}

/** @param {string} what */
function letGo(what) {
  held.delete(what);
  if (held.size > 0) return;
  // What the release itself sets off comes first.
  const all = waiting;
  waiting = [];
  setTimeout(() => {
    for (const go of all) go();
  });
}

document.addEventListener("keydown", (event) => held.add(event.code), true);
document.addEventListener("keyup", (event) => letGo(event.code), true);
document.addEventListener("pointerdown", () => held.add("pointer"), true);
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => letGo("pointer"), true);
window.addEventListener("blur", () => {
  held.clear();
  letGo("");
});
