import assert from "node:assert/strict";
import { test } from "node:test";

// The module registers a drawer on import and touches no page before that.
const { places, step } = await import("../js/drawers/why.js");

const c = (sample, taken, reason = "x") => ({ sample, feature: 1, threshold: 2, agreement: 0, floor: 0, taken, reason });

test("decisions about one sample are one place, the last word counts", () => {
  const list = places([c(10, false, "below the threshold"), c(10, true, "found looking back"), c(20, false)]);
  assert.deepEqual(list.map((p) => [p.sample, p.last.taken, p.verdicts.length]), [[10, true, 2], [20, false, 1]]);
});

test("stepping: to the next place or the next beat, and nowhere beyond the ends", () => {
  const list = places([c(10, true), c(20, false), c(30, true)]);
  assert.equal(step(list, 10, 1, false)?.sample, 20);
  assert.equal(step(list, 10, 1, true)?.sample, 30);
  assert.equal(step(list, 30, -1, true)?.sample, 10);
  assert.equal(step(list, 15, -1, false)?.sample, 10);
  assert.equal(step(list, 30, 1, false), undefined);
  assert.equal(step([], 5, -1, true), undefined);
});
