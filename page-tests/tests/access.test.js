// What keeps nobody out: an automated check of every page, and pages that fit, from a telephone to a desk, at 200 % too.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { test } from "node:test";
import { threeMicrophones } from "../lib/more.js";
import { bench, demo } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

const AXE = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
/** Rules of WCAG 2.2 at the levels A and AA, and what is good practice. */
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
/** Least width and height of what is pressed, in CSS pixels: WCAG 2.2, success criterion 2.5.8. */
const LEAST_TARGET_PX = 24;

/** Every page, also with three microphones and with a take that is looked at. */
const PAGES = [
  "/plan",
  "/takes",
  "/takes?take=takes/drum-together-1-moorhen.wav:1",
  "/compare?source=drum-together",
  "/compare?source=voice",
  "/bridge?source=drum-together",
  "/measure",
  "/listen?source=drum-together",
  "/write-up",
  "/no-such-page",
];

/** A session of measurements: its data sheets hold the longest tables. */
const measured = underWatch(bench);
const room = underWatch(demo, (room) => {
  threeMicrophones(room.served.folder);
  room.watched.expected.push(/404 \(Not Found\)/);
});

/** Opens all that can be opened, so that it is looked at too. @param {import("../lib/browser.js").Page} page */
async function unfold(page) {
  await page.evaluate(() => {
    for (const details of document.querySelectorAll("details")) details.open = true;
  });
  const others = page.locator("table.distances");
  if (/source=voice/.test(page.url())) await others.waitFor();
}

/**
 * Every page, and the data sheets of the session, all that can be opened open.
 * @param {Parameters<import("../lib/browser.js").Watched["window"]>[1]} options of the window
 * @param {(page: import("../lib/browser.js").Page, address: string) => Promise<void>} look
 */
async function visited(options, look) {
  for (const [place, addresses] of /** @type {const} */ ([
    [room, PAGES],
    [measured, ["/measure"]],
  ])) {
    const page = await place.watched.window(place.served.link, options);
    for (const address of addresses) {
      await page.goto(address);
      await unfold(page);
      await look(page, place === room ? address : `session ${address}`);
    }
    await page.context().close();
  }
}

for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
  test(`axe finds nothing, ${colorScheme}`, async () => {
    const options = { colorScheme, bypassCSP: true };
    /** @type {Record<string, string[]>} */
    const all = {};
    await visited(options, async (page, address) => {
      await page.addScriptTag({ path: AXE });
      const found = await page.evaluate(async (tags) => {
        const { axe } = /** @type {any} */ (window);
        const { violations, passes } = await axe.run({ exclude: ["iframe"] }, { runOnly: tags });
        return {
          n: passes.length,
          violations: violations.flatMap((/** @type {any} */ v) =>
            v.nodes.map((/** @type {any} */ n) => `${v.id}: ${n.target.join(" ")}: ${n.failureSummary}`),
          ),
        };
      }, TAGS);
      assert.ok(found.n > 10, `only ${found.n} rules looked at ${address}`);
      if (found.violations.length > 0) all[address] = found.violations;
    });
    assert.deepEqual(all, {});
  });
}

/** Windows: a telephone, a tablet, a desk, and a desk at 200 %. */
const WINDOWS = [
  { name: "390", viewport: { width: 390, height: 844 }, hasTouch: true },
  { name: "820", viewport: { width: 820, height: 1180 }, hasTouch: true },
  { name: "1440", viewport: { width: 1440, height: 900 } },
  { name: "1440 at 200 %", viewport: { width: 720, height: 450 }, deviceScaleFactor: 2 },
];

for (const { name, ...options } of WINDOWS) {
  test(`pages fit at ${name}: no sideways scrolling, no text cut off, targets large enough`, async () => {
    /** @type {Record<string, string[]>} */
    const all = {};
    await visited(options, async (page, address) => {
      const wrong = [
        ...(await page.evaluate(tooWide)),
        ...(await page.evaluate(cutOff)),
        ...(await page.evaluate(tooSmall, LEAST_TARGET_PX)),
      ];
      if (wrong.length > 0) all[address] = wrong;
    });
    assert.deepEqual(all, {});
  });
}

/** In the browser: by how much the page is too wide, and what reaches farthest to the right. */
function tooWide() {
  const { scrollWidth, clientWidth } = document.documentElement;
  if (scrollWidth <= clientWidth) return [];
  const right = (/** @type {Element} */ element) => element.getBoundingClientRect().right;
  const all = [...document.body.querySelectorAll("*")].sort((a, b) => right(b) - right(a)).slice(0, 3);
  return [`${scrollWidth - clientWidth} px too wide, such as: ${all.map((e) => e.outerHTML.slice(0, 90)).join(" | ")}`];
}

/** In the browser: texts whose box hides a part of them. */
function cutOff() {
  const out = [];
  for (const element of document.body.querySelectorAll("*")) {
    const style = getComputedStyle(element);
    if (element.closest(".unseen, svg, .skip") || style.display === "none" || element.clientWidth === 0) continue;
    const hides = (/** @type {string} */ overflow) => overflow === "hidden" || overflow === "clip";
    const isText = [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.textContent?.trim());
    // What is shortened with dots must say all of it elsewhere.
    const isTold = style.textOverflow === "ellipsis" && element.getAttribute("title") === element.textContent;
    const isCut =
      (hides(style.overflowX) && element.scrollWidth > element.clientWidth + 1) ||
      (hides(style.overflowY) && element.scrollHeight > element.clientHeight + 1);
    if (isText && isCut && !isTold) out.push(`cut off: ${element.outerHTML.slice(0, 120)}`);
    // A choice is read whole: its words fit the field.
    if (element instanceof HTMLSelectElement && element.selectedOptions[0]) {
      const pen = /** @type {CanvasRenderingContext2D} */ (document.createElement("canvas").getContext("2d"));
      pen.font = style.font;
      const room =
        element.clientWidth - Number.parseFloat(style.paddingLeft) - Number.parseFloat(style.paddingRight) - 18;
      const words = element.selectedOptions[0].text;
      if (pen.measureText(words).width > room + 2) out.push(`cut off: select ${element.id}: ${words}`);
    }
  }
  return out;
}

/**
 * In the browser: what is pressed and is smaller than it should be. As the criterion has it, a link within a sentence and
 * a target with room around it (a circle of the least width that meets no other target) may be smaller.
 * @param {number} least
 */
function tooSmall(least) {
  const targets = [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
    .map((element) => ({ element, box: (element.closest("label") ?? element).getBoundingClientRect() }))
    .filter(({ element, box }) => {
      const style = getComputedStyle(element);
      return (
        box.width > 0 && style.visibility !== "hidden" && style.opacity !== "0" && !element.matches(".skip, :disabled")
      );
    });
  const isSmall = (/** @type {DOMRect} */ box) => box.width < least - 0.5 || box.height < least - 0.5;
  return targets
    .filter(({ element, box }) => {
      if (!isSmall(box)) return false;
      const sentence = element.closest("p, li, figcaption, td, th");
      if (element.matches("a") && sentence && sentence.textContent !== element.textContent) return false;
      const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
      return targets.some(({ element: other, box: b }) => {
        if (other === element || other.contains(element) || element.contains(other)) return false;
        if (other.closest("label") && other.closest("label") === element.closest("label")) return false;
        const [dx, dy] = isSmall(b)
          ? [Math.abs(b.left + b.width / 2 - x) / 2, Math.abs(b.top + b.height / 2 - y) / 2]
          : [Math.max(b.left - x, x - b.right, 0), Math.max(b.top - y, y - b.bottom, 0)];
        return Math.hypot(dx, dy) < least / 2 - 0.5;
      });
    })
    .map(
      ({ element, box }) =>
        `too small: ${element.outerHTML.slice(0, 110)} ${box.width.toFixed(0)}×${box.height.toFixed(0)}`,
    );
}
