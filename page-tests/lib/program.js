// The program under test: folders made with it, and its page served.

import { spawn, spawnSync } from "node:child_process";
import { cpSync, existsSync, mkdtempSync, readFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/** Path of the program, given by `run.js`. */
const PROGRAM = process.env.FAIRTAKE ?? "";
if (!existsSync(PROGRAM)) throw new Error(`there is no program at "${PROGRAM}"; run: node run.js PATH_TO_FAIRTAKE`);

/** How long the program may take to serve, in ms. A demo is made and compared before. */
const PATIENCE_MS = 120_000;

/** A folder of this run for everything that is written; removed by `run.js`. */
export function room() {
  return mkdtempSync(join(process.env.FAIRTAKE_ROOM ?? tmpdir(), "folder-"));
}

/**
 * The demo shootout, made once by `run.js`, copied for a test that changes it.
 * @returns {string}
 */
export function demo() {
  const folder = join(room(), "demo");
  cpSync(process.env.FAIRTAKE_DEMO ?? "", folder, { recursive: true });
  return folder;
}

/** A session of calibrated measurements, made anew. */
export function bench() {
  const folder = join(room(), "bench");
  const made = spawnSync(PROGRAM, ["demo", "--bench", folder], { encoding: "utf8" });
  if (made.status !== 0) throw new Error(`the session was not made: ${made.stderr}`);
  return folder;
}

/**
 * A new, empty shootout.
 * @param {string} title
 */
export function empty(title = "Test in the boathouse") {
  const folder = join(room(), "new");
  const made = spawnSync(PROGRAM, ["new", folder, "--title", title], { encoding: "utf8" });
  if (made.status !== 0) throw new Error(`a new folder was not made: ${made.stderr}`);
  return folder;
}

/**
 * What the program says on standard output.
 * @param {string[]} args
 */
export function asked(args) {
  const done = spawnSync(PROGRAM, args, { encoding: "utf8", maxBuffer: 1 << 28 });
  return { status: done.status, out: done.stdout, err: done.stderr };
}

/** What was started and has not ended. @type {Set<Served>} */
const running = new Set();

// A test that is broken off leaves nothing behind either.
for (const signal of ["SIGTERM", "SIGINT"]) process.on(signal, () => process.exit(1));
process.on("exit", () => {
  for (const { child } of running) child.kill("SIGKILL");
});

/** Ends every program that a test left running, also one that failed. */
export async function endAll() {
  await Promise.all([...running].map((served) => served.end()));
}

/** A page that is served. */
export class Served {
  /**
   * @param {string} link without a slash at its end
   * @param {import("node:child_process").ChildProcess} child
   * @param {string} folder
   */
  constructor(link, child, folder) {
    this.link = link;
    this.child = child;
    this.folder = folder;
    running.add(this);
  }

  /** Ends the program. */
  async end() {
    if (!running.delete(this)) return;
    const ended = new Promise((done) => this.child.once("exit", done));
    this.child.kill("SIGTERM");
    await ended;
  }
}

/**
 * Starts the program and waits for its link.
 * @param {string[]} args
 * @param {string} folder
 * @param {string[]} [through] a command that makes itself into the program at its end
 * @returns {Promise<Served>}
 */
function started(args, folder, through = []) {
  // No PATH: the program finds nothing that could open a window.
  const [command, ...rest] = [...through, PROGRAM, ...args];
  const child = spawn(command ?? PROGRAM, rest, {
    stdio: ["ignore", "pipe", "pipe"],
    env: { ...process.env, PATH: "" },
  });
  return new Promise((done, fail) => {
    let [out, err] = ["", ""];
    const late = setTimeout(() => {
      child.kill("SIGKILL");
      fail(new Error(`no link within ${PATIENCE_MS} ms from: fairtake ${args.join(" ")}\n${err}`));
    }, PATIENCE_MS);
    child.stderr?.on("data", (piece) => {
      err += piece;
    });
    child.stdout?.on("data", (piece) => {
      out += piece;
      const link = /http:\/\/127\.0\.0\.1:\d+/.exec(out);
      if (!link || !out.includes("\n", link.index)) return;
      clearTimeout(late);
      done(new Served(link[0], child, folder));
    });
    child.once("exit", (code) => {
      clearTimeout(late);
      fail(new Error(`fairtake ${args.join(" ")} ended with ${code}: ${err}`));
    });
  });
}

/** @param {string} folder */
export function open(folder) {
  return started(["open", folder, "--quiet", "--port", "0"], folder);
}

/**
 * Serves a folder that is made anew on a disk of its own, of so many megabytes: a file system in memory, seen by the program alone
 * (a mount in a namespace of its own, which Linux may forbid). `disk` is where it is seen from here.
 * @param {string} folder
 * @param {number} megabytes
 */
export async function openOnSmallDisk(folder, megabytes) {
  const mount = `PATH=/usr/sbin:/usr/bin:/sbin:/bin; export PATH; cp -r "$0" "$0.copy" && mount -t tmpfs -o size=${megabytes}m none "$0" && cp -r "$0.copy/." "$0" && PATH= exec "$@"`;
  const through = ["/usr/bin/unshare", "--map-root-user", "--mount", "/bin/sh", "-c", mount, folder];
  const served = await started(["open", folder, "--quiet", "--port", "0"], folder, through);
  return { served, disk: `/proc/${served.child.pid}/root${folder}` };
}

/**
 * Until the log of a folder holds something; fails with the log where it does not come to.
 * @param {string} folder
 * @param {RegExp} pattern
 */
export async function logHolds(folder, pattern) {
  let log = "";
  for (let i = 0; i < 100; i++) {
    log = readFileSync(join(folder, "shootout.toml"), "utf8");
    if (pattern.test(log)) return;
    await new Promise((done) => setTimeout(done, 50));
  }
  throw new Error(`the log does not hold ${pattern}:\n${log}`);
}
