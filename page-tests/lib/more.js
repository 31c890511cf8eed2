// Shootouts for tests, made of the demo's.

import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";

/**
 * Makes the witness of the voice a microphone that is compared, so that there are three.
 * @param {string} folder
 */
export function threeMicrophones(folder) {
  const path = join(folder, "shootout.toml");
  const log = readFileSync(path, "utf8");
  const changed = log.replaceAll('role = "witness"', 'role = "compared"');
  if (changed === log) throw new Error("the demo has no witness any more");
  writeFileSync(path, changed);
}
