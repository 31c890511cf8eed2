// Sound files for the tests: real recordings, found as the outside checks find them, joined to takes.

import { spawnSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { basename, dirname, extname } from "node:path";

/** The package whose sounds are used; none of its sets is named here. */
const PACKAGE = "hydrogen-drumkits";
/** A group of hits of one drum has at least this many. */
const FEWEST_HITS = 5;

/**
 * Files of single hits, grouped by folder and by name without the number at its end.
 * @returns {string[][]}
 */
export function hits() {
  const listing = spawnSync("dpkg", ["-L", PACKAGE], { encoding: "utf8" });
  if (listing.status !== 0) throw new Error(`the package ${PACKAGE} is not installed: apt-get install ${PACKAGE}`);
  /** @type {Map<string, string[]>} */
  const groups = new Map();
  for (const path of listing.stdout.split("\n").sort()) {
    if (!/\.(flac|wav)$/i.test(path)) continue;
    const key = `${dirname(path)}/${basename(path, extname(path)).replace(/[\W_]*\d+$/, "")}`;
    groups.set(key, [...(groups.get(key) ?? []), path]);
  }
  return [...groups.values()].filter((group) => group.length >= FEWEST_HITS);
}

/**
 * A file of one channel with 32-bit float.
 * @param {number} rateHz
 * @param {Float32Array} samples
 */
export function wav(rateHz, samples) {
  const data = Buffer.from(samples.buffer, samples.byteOffset, samples.byteLength);
  const head = Buffer.alloc(44);
  head.write("RIFF", 0, "ascii");
  head.writeUInt32LE(36 + data.length, 4);
  head.write("WAVEfmt ", 8, "ascii");
  head.writeUInt32LE(16, 16);
  head.writeUInt16LE(3, 20);
  head.writeUInt16LE(1, 22);
  head.writeUInt32LE(rateHz, 24);
  head.writeUInt32LE(rateHz * 4, 28);
  head.writeUInt16LE(4, 32);
  head.writeUInt16LE(32, 34);
  head.write("data", 36, "ascii");
  head.writeUInt32LE(data.length, 40);
  return Buffer.concat([head, data]);
}

/**
 * One take of several hits with quiet between them.
 * @param {Float32Array[]} pieces
 * @param {number} rateHz
 * @returns {Float32Array}
 */
export function joined(pieces, rateHz) {
  const [lead, gap, longest] = [1, 0.7, 1.5].map((s) => Math.round(s * rateHz));
  const cut = pieces.map((piece) => {
    const x = piece.slice(0, longest);
    const fade = Math.min(Math.round(0.1 * rateHz), x.length);
    for (let i = 0; i < fade; i++) x[x.length - 1 - i] *= i / fade;
    return x;
  });
  const out = new Float32Array(lead + cut.reduce((n, x) => n + x.length + gap, 0) + gap);
  let at = lead;
  for (const x of cut) {
    out.set(x, at);
    at += x.length + gap;
  }
  return out;
}

/** Takes of each microphone, and hits in each take. */
const [TAKES, HITS] = [2, 8];

/**
 * Two takes of two microphones from real hits: the browser decodes them and gives the second microphone a high shelf.
 * @param {import("playwright-core").Page} page
 * @param {string[][]} groups
 * @param {number} shelfDb
 */
export async function twoMicrophones(page, groups, shelfDb) {
  const rate = 48000;
  for (const group of groups) {
    /** @type {Float32Array[]} */
    const pieces = [];
    for (const path of group) {
      const base64 = readFileSync(path).toString("base64");
      const piece = await page.evaluate(decode, { base64, rate });
      const samples = new Float32Array(new Uint8Array(Buffer.from(piece, "base64")).buffer);
      if (isSingleHit(samples, rate)) pieces.push(samples);
    }
    if (pieces.length < FEWEST_HITS) continue;
    const made = [];
    for (let k = 0; k < TAKES; k++) {
      const chosen = Array.from({ length: HITS }, (_, i) => pieces[(k * HITS + i) % pieces.length]);
      const take = joined(chosen, rate);
      noisy(take, 2e-5, k + 1);
      const base64 = Buffer.from(take.buffer).toString("base64");
      const shelved = Buffer.from(await page.evaluate(shelf, { base64, rate, shelfDb }), "base64");
      const other = new Float32Array(new Uint8Array(shelved).buffer);
      made.push({ name: `tape-${k + 1}-left.wav`, bytes: wav(rate, take) });
      made.push({ name: `tape-${k + 1}-right.wav`, bytes: wav(rate, other) });
    }
    return made;
  }
  throw new Error(`no group of ${FEWEST_HITS} single hits of one drum was found in ${PACKAGE}`);
}

/**
 * One hit that is neither clipped nor quiet and dies away.
 * @param {Float32Array} x
 * @param {number} rateHz
 */
function isSingleHit(x, rateHz) {
  const peak = x.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const end = x.subarray(-Math.round(0.02 * rateHz)).reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  return x.length >= 0.5 * rateHz && peak > 0.05 && peak < 0.99 && end < peak / 100;
}

/**
 * Adds the noise of a quiet room, since no recording has silence of zeros.
 * @param {Float32Array} x
 * @param {number} height
 * @param {number} seed
 */
function noisy(x, height, seed) {
  let state = seed;
  for (let i = 0; i < x.length; i++) {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    x[i] = 0.5 * x[i] + height * (state / 2 ** 31 - 1);
  }
}

/**
 * In the browser: the first channel of a sound file.
 * @param {{ base64: string, rate: number }} asked
 */
async function decode({ base64, rate }) {
  const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
  const buffer = await new OfflineAudioContext(1, 1, rate).decodeAudioData(bytes.buffer);
  const out = new Uint8Array(buffer.getChannelData(0).slice().buffer);
  let letters = "";
  for (let i = 0; i < out.length; i += 8192) letters += String.fromCharCode(...out.subarray(i, i + 8192));
  return btoa(letters);
}

/**
 * In the browser: a sound with more or less above 4 kHz.
 * @param {{ base64: string, rate: number, shelfDb: number }} asked
 */
async function shelf({ base64, rate, shelfDb }) {
  const samples = new Float32Array(Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0)).buffer);
  const context = new OfflineAudioContext(1, samples.length, rate);
  const buffer = context.createBuffer(1, samples.length, rate);
  buffer.copyToChannel(samples, 0);
  const source = new AudioBufferSourceNode(context, { buffer });
  const filter = new BiquadFilterNode(context, { type: "highshelf", frequency: 4000, gain: shelfDb });
  source.connect(filter).connect(context.destination);
  source.start();
  const out = new Uint8Array((await context.startRendering()).getChannelData(0).slice().buffer);
  let letters = "";
  for (let i = 0; i < out.length; i += 8192) letters += String.fromCharCode(...out.subarray(i, i + 8192));
  return btoa(letters);
}
