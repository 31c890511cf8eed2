// Sound files for the tests: real recordings, found as the outside checks find them, joined to takes.

import { spawnSync } from "node:child_process";
import { writeFileSync } from "node:fs";
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
 * Writes a file of one channel with 32-bit float.
 * @param {string} path
 * @param {number} rateHz
 * @param {Float32Array} samples
 */
export function write(path, rateHz, samples) {
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
  writeFileSync(path, Buffer.concat([head, data]));
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
