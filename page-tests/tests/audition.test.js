// Switching between microphones, rendered without a sound card and held against the clips sample by sample.

import assert from "node:assert/strict";
import { test } from "node:test";
import { demo } from "../lib/program.js";
import { underWatch } from "../lib/watch.js";

/** @type {import("../lib/browser.js").Page} */
let page;

underWatch(demo, async (room) => {
  page = await room.watched.window(room.served.link);
  await page.goto("/listen?source=drum-together");
});

/**
 * What is rendered: clips of noise and tones whose every sample differs, or those of the demo; orders at moments.
 * @typedef {{ at: number, do: "hear" | "stop" | "gain" | "start", lane?: number, gain?: number }} Order
 * @typedef {{ clips: "noise" | "demo", gains: number[], loop: boolean, offset?: number, span?: [number, number], orders: Order[], seconds: number }} Case
 * @typedef {{ out: Float32Array, clips: Float32Array[], rate: number, startFrame: number }} Rendered
 */

/** When a case starts to play, in seconds. */
const START_S = 0.05;

/** @param {string} text */
function samples(text) {
  const bytes = Buffer.from(text, "base64");
  return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
}

/** @param {Case} asked @returns {Promise<Rendered>} */
async function render(asked) {
  const { out, clips, ...rest } = await page.evaluate(
    async ({ asked, START_S }) => {
      const path = "/web/audition.js";
      /** @type {typeof import("../../crates/fairtake-page/web/audition.js")} */
      const { Player, Voice, stretch } = await import(path);
      const rate = 48000;
      const context = new OfflineAudioContext(1, Math.round(asked.seconds * rate), rate);
      /** @type {AudioBuffer[]} */
      let buffers;
      if (asked.clips === "demo") {
        buffers = await Promise.all(
          ["moorhen", "heron"].map(async (mic) => {
            const answer = await fetch(`/listen/clip?source=drum-together&moment=0&mic=${mic}`);
            return context.decodeAudioData(await answer.arrayBuffer());
          }),
        );
      } else {
        let seed = 1;
        const random = () => {
          seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
          return seed / 2 ** 31 - 1;
        };
        buffers = asked.gains.map((_, k) => {
          const n = Math.round(0.4 * rate);
          const x = new Float32Array(n);
          // A tone of its own with a little noise on it: large enough that a step is seen, smooth enough that it is found.
          for (let i = 0; i < n; i++)
            x[i] = 0.8 * Math.sin((2 * Math.PI * (60 + 35 * k) * i) / rate) + 0.002 * random();
          const fade = 240;
          for (let i = 0; i < fade; i++) {
            const share = (1 - Math.cos((Math.PI * (i + 0.5)) / fade)) / 2;
            x[i] *= share;
            x[n - 1 - i] *= share;
          }
          const buffer = context.createBuffer(1, n, rate);
          buffer.copyToChannel(x, 0);
          return buffer;
        });
      }
      const span = asked.span;
      if (span) buffers = buffers.map((b) => stretch(context, b, span));
      const player = new Player(context, context.destination);
      const voices = buffers.map((b, i) => new Voice(b, asked.gains[i]));
      player.start(voices, { at: START_S, offset: asked.offset ?? 0, loop: asked.loop, heard: 0 });
      /** Orders by the block of the rendering before which they are given. @type {Map<number, (() => void)[]>} */
      const given = new Map();
      for (const order of asked.orders) {
        const carryOut = () => {
          if (order.do === "hear") player.hear(order.lane ?? 0, order.at);
          if (order.do === "gain") player.setGain(order.lane ?? 0, order.gain ?? 1, order.at);
          if (order.do === "stop") player.stop();
          if (order.do === "start") {
            player.start(voices, { at: order.at + 0.03, offset: 0.1, loop: asked.loop, heard: order.lane ?? 0 });
          }
        };
        // As in the page, an order is given when the time has come, a little ahead of it.
        const block = Math.ceil(((order.at - 0.005) * rate) / 128);
        if (block <= 0) carryOut();
        else given.set(block, [...(given.get(block) ?? []), carryOut]);
      }
      for (const [block, orders] of given) {
        context.suspend((block * 128) / rate).then(() => {
          for (const order of orders) order();
          context.resume();
        });
      }
      const out = await context.startRendering();
      /** As text, since numbers one by one take long on their way. @param {AudioBuffer} buffer */
      const text = (buffer) => {
        const bytes = new Uint8Array(buffer.getChannelData(0).slice().buffer);
        let letters = "";
        for (let i = 0; i < bytes.length; i += 8192) letters += String.fromCharCode(...bytes.subarray(i, i + 8192));
        return btoa(letters);
      };
      return {
        out: text(out),
        clips: buffers.map(text),
        rate,
        startFrame: Math.round(START_S * rate),
      };
    },
    { asked, START_S },
  );
  return { ...rest, out: samples(out), clips: clips.map(samples) };
}

const SWITCH_S = 0.012;

/** Largest step between neighbouring samples. @param {Float32Array} x */
const largestStep = (x) => x.reduce((most, v, i) => (i === 0 ? 0 : Math.max(most, Math.abs(v - x[i - 1]))), 0);
/** @param {Float32Array} x */
const peak = (x) => x.reduce((most, v) => Math.max(most, Math.abs(v)), 0);

/**
 * The largest step that a click-free output may have.
 *
 * The output is y[n] = Σ g_k[n] x_k[n]. From one sample to the next it changes by
 *   Σ g_k[n+1] (x_k[n+1] − x_k[n]) + Σ (g_k[n+1] − g_k[n]) x_k[n].
 * The shares of all gains add up to at most 1, so the first sum is at most the largest step of any clip. A gain moves along
 * a raised cosine of length T over a height of at most 1, whose steepest slope is π / (2 T), so by at most π / (2 T f) per
 * sample at the rate f; chords of the curve are no steeper than it. What one lane gains the others lose together, so the
 * second sum is at most twice that, times the highest sample. To this comes the rounding of 32-bit floats.
 * @param {Rendered} rendered
 */
function bound({ clips, rate }) {
  const slope = Math.PI / (2 * SWITCH_S * rate);
  return Math.max(...clips.map(largestStep)) + 2 * slope * Math.max(...clips.map(peak)) + 1e-6;
}

/**
 * @param {Rendered} rendered
 * @param {string} what
 */
function isClickFree(rendered, what) {
  const [step, most] = [largestStep(rendered.out), bound(rendered)];
  assert.ok(step <= most, `${what}: a step of ${step} where ${most} may be`);
  assert.ok(peak(rendered.out) > 0.01, `${what}: nothing was heard, so nothing was tested`);
}

/**
 * The output is the clip, at the same index, times its gain, in every sample of a stretch.
 * @param {Rendered} rendered
 * @param {{ from: number, to: number, lane: number, gain?: number, offset?: number }} where in seconds of the rendering
 */
function isTheClip({ out, clips, rate, startFrame }, { from, to, lane, gain = 1, offset = 0 }) {
  const clip = clips[lane];
  const first = Math.round(offset * rate);
  let worst = 0;
  for (let n = Math.ceil(from * rate); n < to * rate; n++) {
    const expected = Math.fround(clip[(n - startFrame + first) % clip.length]) * gain;
    worst = Math.max(worst, Math.abs(out[n] - expected));
  }
  assert.ok(worst <= 1e-6, `lane ${lane} from ${from} to ${to} s: up to ${worst} away from the clip`);
}

test("before and after a switch the output is the clip at the same sample", async () => {
  for (const clips of /** @type {const} */ (["noise", "demo"])) {
    const rendered = await render({
      clips,
      gains: [1, 1],
      loop: false,
      seconds: 0.4,
      orders: [{ at: 0.2, do: "hear", lane: 1 }],
    });
    isTheClip(rendered, { from: START_S + SWITCH_S, to: 0.2, lane: 0 });
    isTheClip(rendered, { from: 0.2 + SWITCH_S + 1e-4, to: 0.4, lane: 1 });
    isClickFree(rendered, `one switch, ${clips}`);
  }
});

test("a start anywhere, also between two samples, is on a sample", async () => {
  const offset = 0.1 + 0.37 / 48000;
  const rendered = await render({ clips: "noise", gains: [1, 1], loop: false, seconds: 0.3, offset, orders: [] });
  isTheClip(rendered, { from: START_S + SWITCH_S, to: 0.3, lane: 0, offset: 0.1 });
  isClickFree(rendered, "start in the middle of a sound");
});

test("gains hold, and a change of one while it is heard is click-free", async () => {
  const rendered = await render({
    clips: "noise",
    gains: [0.5, 0.25],
    loop: false,
    seconds: 0.4,
    orders: [
      { at: 0.12, do: "gain", lane: 0, gain: 1 },
      { at: 0.2, do: "hear", lane: 1 },
      { at: 0.3, do: "gain", lane: 1, gain: 0.75 },
    ],
  });
  isTheClip(rendered, { from: START_S + SWITCH_S, to: 0.12, lane: 0, gain: 0.5 });
  isTheClip(rendered, { from: 0.133, to: 0.2, lane: 0, gain: 1 });
  isTheClip(rendered, { from: 0.213, to: 0.3, lane: 1, gain: 0.25 });
  isTheClip(rendered, { from: 0.313, to: 0.4, lane: 1, gain: 0.75 });
  isClickFree(rendered, "gains");
});

test("a switch during a switch, at every stage of it, among three", async () => {
  for (const share of [0.02, 0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 0.98]) {
    for (const next of [0, 2]) {
      const second = 0.2 + share * SWITCH_S;
      const rendered = await render({
        clips: "noise",
        gains: [1, 1, 1],
        loop: false,
        seconds: 0.35,
        orders: [
          { at: 0.2, do: "hear", lane: 1 },
          { at: second, do: "hear", lane: next },
          { at: second + 0.3 * SWITCH_S, do: "hear", lane: 1 },
        ],
      });
      isTheClip(rendered, { from: second + 1.3 * SWITCH_S + 1e-4, to: 0.35, lane: 1 });
      isClickFree(rendered, `switch to ${next} after ${share} of a switch`);
    }
  }
});

test("a switch while the start still fades in, and before it", async () => {
  for (const at of [0.005, START_S - 0.001, START_S, START_S + 0.003, START_S + 0.009]) {
    const rendered = await render({
      clips: "noise",
      gains: [1, 1],
      loop: false,
      seconds: 0.2,
      offset: 0.1,
      orders: [{ at, do: "hear", lane: 1 }],
    });
    isTheClip(rendered, { from: Math.max(at, START_S) + SWITCH_S + 1e-4, to: 0.2, lane: 1, offset: 0.1 });
    isClickFree(rendered, `switch at ${at} s`);
  }
});

test("a loop goes round on the sample, with a switch at its join", async () => {
  for (const at of [0.446, 0.45, 0.4545]) {
    const rendered = await render({
      clips: "noise",
      gains: [1, 1],
      loop: true,
      seconds: 1,
      orders: [{ at, do: "hear", lane: 1 }],
    });
    isTheClip(rendered, { from: START_S + SWITCH_S, to: at, lane: 0 });
    isTheClip(rendered, { from: at + SWITCH_S + 1e-4, to: 1, lane: 1 });
    isClickFree(rendered, `join with a switch at ${at} s`);
  }
  const part = await render({ clips: "noise", gains: [1, 1], loop: true, seconds: 1, span: [0.1, 0.254], orders: [] });
  assert.equal(part.clips[0].length, 0.154 * 48000);
  isTheClip(part, { from: START_S + SWITCH_S, to: 1, lane: 0 });
  isClickFree(part, "join of a stretch");
});

test("stop and start again are click-free, also in the middle of a move", async () => {
  for (const at of [0.04, 0.055, 0.1, 0.205, 0.21]) {
    /** @type {Order[]} */
    const orders = [
      { at, do: "stop" },
      { at: 0.3, do: "start", lane: 1 },
    ];
    if (at > 0.2) orders.unshift({ at: 0.2, do: "hear", lane: 1 });
    const rendered = await render({ clips: "noise", gains: [1, 1], loop: true, seconds: 0.5, offset: 0.13, orders });
    // An order waits for the next block of 128 samples.
    const over = at + SWITCH_S + 128 / 48000;
    assert.equal(peak(rendered.out.slice(Math.ceil(over * 48000), 0.3 * 48000)), 0, `not silent after ${at} s`);
    if (at > START_S) assert.ok(peak(rendered.out.slice(0, Math.floor(at * 48000))) > 0.01, "it did not play before");
    isClickFree(rendered, `stop at ${at} s`);
  }
});

test("sound that is the same in all stays the same through any switching: shares add up to one", async () => {
  const heard = await page.evaluate(async () => {
    const path = "/web/audition.js";
    /** @type {typeof import("../../crates/fairtake-page/web/audition.js")} */
    const { Player, Voice } = await import(path);
    const context = new OfflineAudioContext(1, 24000, 48000);
    const buffer = context.createBuffer(1, 24000, 48000);
    buffer.copyToChannel(new Float32Array(24000).fill(1), 0);
    const player = new Player(context, context.destination);
    const voices = [1, 2, 3].map(() => new Voice(buffer, 1));
    player.start(voices, { at: 0.01, offset: 0, loop: false, heard: 0 });
    for (let k = 1; k < 40; k++) player.hear(k % 3, 0.03 + 0.0047 * k);
    return [...(await context.startRendering()).getChannelData(0)];
  });
  const playing = heard.slice(Math.ceil(0.023 * 48000), -1);
  assert.ok(Math.max(...heard) <= 1 + 1e-6, `louder than the clip: ${Math.max(...heard)}`);
  assert.ok(Math.min(...playing) > 0.999, `falls to ${Math.min(...playing)}`);
});
