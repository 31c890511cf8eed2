// Tests that go on from one another, as a job does.

import { test } from "node:test";

/**
 * Makes a function that declares one stage after the other; after a failure the rest fails at once.
 * @returns {(name: string, stage: () => Promise<void>) => void}
 */
export function stages() {
  let failed = "";
  return (name, stage) => {
    test(name, async () => {
      if (failed) throw new Error(`not reached: "${failed}" failed`);
      try {
        await stage();
      } catch (error) {
        failed = name;
        throw error;
      }
    });
  };
}
