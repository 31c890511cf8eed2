// The work page in a real browser: node run.js PATH_TO_FAIRTAKE [PART_OF_A_TEST_FILE'S_NAME ...]
//
// Needs Node 20 or later and Chromium (at /usr/bin/chromium, or where the variable CHROMIUM says). Makes one demo shootout,
// which tests copy, in a folder of its own that is removed at the end.

import { spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const [program, ...parts] = process.argv.slice(2);

/** @param {string} words @returns {never} */
function giveUp(words) {
  console.error(`error: ${words}`);
  process.exit(2);
}

if (!program) giveUp("which program? usage: node run.js PATH_TO_FAIRTAKE [TEST ...]");
if (!existsSync(program)) giveUp(`there is no program at ${program}; build it with: cargo build --package fairtake`);
if (!existsSync(join(here, "node_modules", "playwright-core"))) giveUp("the packages are missing; run: npm ci");
const chromium = process.env.CHROMIUM ?? "/usr/bin/chromium";
if (!existsSync(chromium)) giveUp(`no browser at ${chromium}; install chromium, or name one in the variable CHROMIUM`);

const tests = readdirSync(join(here, "tests"))
  .filter((name) => name.endsWith(".test.js") && (parts.length === 0 || parts.some((part) => name.includes(part))))
  .sort()
  .map((name) => join("tests", name));
if (tests.length === 0) giveUp(`no test is called ${parts.join(" or ")}`);

const room = mkdtempSync(join(tmpdir(), "fairtake-page-"));
try {
  const demo = join(room, "demo");
  const made = spawnSync(resolve(program), ["demo", demo, "--no-page"], { encoding: "utf8" });
  if (made.status !== 0) giveUp(`the demo was not made: ${made.stderr || made.error}`);
  const ran = spawnSync(
    process.execPath,
    ["--test", "--test-concurrency=2", "--test-timeout=150000", "--test-reporter=spec", ...tests],
    {
      cwd: here,
      stdio: "inherit",
      env: { ...process.env, FAIRTAKE: resolve(program), FAIRTAKE_ROOM: room, FAIRTAKE_DEMO: demo },
    },
  );
  if (ran.status !== 0) console.error("\nerror: the work page failed in the browser; the first failure stands above");
  process.exitCode = ran.status ?? 1;
} finally {
  rmSync(room, { recursive: true, force: true });
}
