// The browser, and what is watched in every test: no request leaves the machine, nothing is complained of.

import assert from "node:assert/strict";
import { existsSync } from "node:fs";
import { chromium } from "playwright-core";

/** @typedef {import("playwright-core").Page} Page */
/** @typedef {import("playwright-core").BrowserContextOptions} Options */

const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";

const FLAGS = [
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
  "--disable-dev-shm-usage",
  "--autoplay-policy=no-user-gesture-required",
];

/** A browser under watch. */
export class Watched {
  /** @param {import("playwright-core").Browser} browser */
  constructor(browser) {
    this.browser = browser;
    /** Every address that was asked for. @type {string[]} */
    this.requests = [];
    /** Whatever the browser or a script complained of. @type {string[]} */
    this.complaints = [];
    /** Answers that a test expects to be refusals, by address and status. @type {RegExp[]} */
    this.expected = [];
  }

  /**
   * A window of its own.
   * @param {string} link
   * @param {Options} options
   * @returns {Promise<Page>}
   */
  async window(link, options = {}) {
    const context = await this.browser.newContext({
      viewport: { width: 1440, height: 900 },
      baseURL: link,
      ...options,
    });
    context.setDefaultTimeout(15_000);
    const page = await context.newPage();
    page.on("request", (request) => this.requests.push(request.url()));
    page.on("websocket", (socket) => this.requests.push(socket.url()));
    page.on("pageerror", (error) => this.complaints.push(`error in a script: ${error.stack ?? error}`));
    page.on("console", (message) => {
      if (message.type() !== "error" && message.type() !== "warning") return;
      this.complaints.push(`${message.type()} on the console: ${message.text()} (${message.location().url})`);
    });
    // A violation of the policy is told to the page; the console is not asked alone.
    await page.addInitScript(() => {
      document.addEventListener("securitypolicyviolation", (event) =>
        console.error(`policy: ${event.violatedDirective} against ${event.blockedURI || "inline"}`),
      );
    });
    return page;
  }

  /** Closes every window, before the program that serves them ends. */
  async close() {
    await Promise.all(this.browser.contexts().map((context) => context.close()));
  }

  /** Lets the browser go; fails if anything was complained of or left the machine. */
  async end() {
    await this.browser.close();
    const outside = this.requests.filter((url) => !/^(http:\/\/127\.0\.0\.1:\d+\/|data:|blob:|about:)/.test(url));
    assert.deepEqual(outside, [], "requests that left the machine");
    assert.ok(this.requests.length > 0, "no request was seen at all: the watch does not work");
    const unexpected = this.complaints.filter((words) => !this.expected.some((pattern) => pattern.test(words)));
    assert.deepEqual(unexpected, [], "complaints of the browser");
  }
}

/** @returns {Promise<Watched>} */
export async function browser() {
  if (!existsSync(CHROMIUM)) {
    throw new Error(`no browser at ${CHROMIUM}: install chromium, or name one in the variable CHROMIUM`);
  }
  return new Watched(await chromium.launch({ executablePath: CHROMIUM, args: FLAGS }));
}

/**
 * Until the page says it in its line at the top.
 * @param {Page} page
 * @param {string | RegExp} words
 */
export async function told(page, words) {
  await page.locator("#state").filter({ hasText: words }).waitFor();
}

/**
 * True if the focus can be seen: an outline of some width around what has it, or around what stands for it.
 * @param {Page} page
 */
export function focusIsSeen(page) {
  return page.evaluate(() => {
    const active = document.activeElement;
    if (!active || active === document.body) return false;
    const drawn = (/** @type {Element} */ element) => {
      const style = getComputedStyle(element);
      return style.outlineStyle !== "none" && Number.parseFloat(style.outlineWidth) >= 2;
    };
    const place = active.closest(".drop") ?? active;
    const box = active.getBoundingClientRect();
    const isInView = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
    return (drawn(active) || drawn(place)) && isInView;
  });
}
