import assert from "node:assert/strict";
import { test } from "node:test";
import { binAt, gainAt, humLines, levelRange } from "../js/drawers/density.js";

test("hum lines stop at half the rate", () => {
  assert.deepEqual(humLines(50, 125), [50, 100]);
  assert.deepEqual(humLines(60, 50), []);
  assert.deepEqual(humLines(0, 125), []);
});

test("stages in a row add their decibels", () => {
  const r = { freqHz: [1], drift: { gainDb: [-3] }, hum: { gainDb: [-20] }, smooth: { gainDb: [-1] }, whole: { gainDb: [-24] } };
  assert.deepEqual([0, 1, 2, 3].map((p) => gainAt(r, p)[0]), [-24, -3, -23, -24]);
});

test("the level axis leaves 0 Hz out and holds whole decades", () => {
  assert.deepEqual(levelRange([[100, 0.05, 0.5]], true), { low: 0.01, high: 1 });
  assert.equal(levelRange([[100, 0.02, 0.5]], false).low, 0);
  assert.ok(levelRange([[100, 0.02, 0.5]], false).high < 1);
});

test("a frequency finds its bin", () => {
  assert.equal(binAt([0, 0.25, 0.5, 0.75], 0.6), 2);
  assert.equal(binAt([0, 0.25, 0.5, 0.75], 99), 3);
});
