import assert from "node:assert/strict";
import { test } from "node:test";
import { clockTime, duration, numberOf, prefixFor, quantity, rate, significant, stepDecimals } from "../js/format.js";
import { AutoRange, linearTicks, logTicks, nextStep, niceStep, stepSeconds } from "../js/scales.js";
import { contrast, DARK, LIGHT } from "../js/theme.js";

test("steps are of the series 1-2-5 and never below what was asked", () => {
  for (const [x, want] of [[1, 1], [1.01, 2], [2, 2], [2.3, 5], [5.1, 10], [0.0011, 0.002], [0.3, 0.5], [7e-6, 1e-5], [49, 50], [0.1 + 0.2, 0.5]]) {
    assert.ok(Math.abs(niceStep(x) / want - 1) < 1e-12, `${x}: ${niceStep(x)}`);
  }
  assert.equal(niceStep(0), 1);
  assert.equal(niceStep(NaN), 1);
});

test("stepping up the series and down again returns", () => {
  let x = 1e-4;
  const up = [];
  for (let i = 0; i < 18; i++) up.push((x = nextStep(x, 1)));
  for (let i = 16; i >= 0; i--) assert.ok(Math.abs((x = nextStep(x, -1)) / up[i] - 1) < 1e-9, `${x} against ${up[i]}`);
  assert.ok(Math.abs(nextStep(3, -1) - 2) < 1e-12);
  assert.ok(Math.abs(nextStep(1.5, -1) - 1) < 1e-12);
});

test("ticks lie within the range and on multiples of the step", () => {
  const t = linearTicks(2.41, 2.69, 5);
  assert.equal(t.step, 0.1);
  assert.ok(Math.abs(t.first - 2.5) < 1e-12);
  assert.equal(t.count, 2);
  const z = linearTicks(-1, 1, 4);
  assert.deepEqual([z.step, z.first, z.count], [0.5, -1, 5]);
  assert.deepEqual(logTicks(1, 1000, 4), [1, 10, 100, 1000]);
  assert.deepEqual(logTicks(0.5, 20, 20), [0.5, 1, 2, 5, 10, 20]);
});

test("an automatic range widens at once, does not fidget, narrows when mostly empty", () => {
  const r = new AutoRange({ fill: 0.5, padding: 0.1, least: 0.01 });
  assert.equal(r.update(Infinity, -Infinity), false);
  assert.equal(r.update(0, 1), true);
  assert.ok(r.low < 0 && r.high > 1);
  assert.equal(r.update(0.1, 0.9), false);
  assert.equal(r.update(0.1, 1.5), true);
  assert.ok(r.high > 1.5);
  assert.equal(r.update(0.7, 0.8), true);
  assert.ok(r.high - r.low < 0.2);
  r.update(2.5, 2.5);
  assert.ok(r.high - r.low >= 0.01, "a flat line has a range");
  assert.equal(r.update(2.5, 2.5), false);
});

test("seconds across step along the list and stop at its ends", () => {
  assert.equal(stepSeconds(10, 1), 20);
  assert.equal(stepSeconds(10, -1), 5);
  assert.equal(stepSeconds(7.3, 1), 10, "from a zoom to the next of the list");
  assert.equal(stepSeconds(600, 1), 600);
  assert.equal(stepSeconds(1, -1), 1);
});

test("engineering units", () => {
  assert.deepEqual(prefixFor(0.012, "V"), { factor: 1e-3, unit: "mV" });
  assert.equal(quantity(0.0123, "V"), "12.3\u00a0mV");
  assert.equal(quantity(-4.2e-6, "V", 2), "−4.2\u00a0µV");
  assert.equal(quantity(2.5, "V"), "2.50\u00a0V");
  assert.equal(quantity(0.9999999, "V"), "1.00\u00a0V");
  assert.equal(quantity(512, "counts"), "512\u00a0counts");
  assert.equal(quantity(NaN, "V"), "–");
  assert.equal(significant(1234.5, 3), "1235");
  assert.equal(rate(250), "250\u00a0Hz");
  assert.equal(rate(249.871), "249.87\u00a0Hz");
  assert.equal(rate(1000.3), "1.0003\u00a0kHz");
  assert.equal(rate(0), "unknown");
  assert.equal(stepDecimals(0.5), 1);
  assert.equal(stepDecimals(20), 0);
  assert.equal(stepDecimals(0.002), 3);
});

test("times", () => {
  assert.equal(clockTime(7), "0:07");
  assert.equal(clockTime(59.96, 0.1), "1:00.0");
  assert.equal(clockTime(750.5, 0.5), "12:30.5");
  assert.equal(clockTime(3661), "1:01:01");
  assert.equal(duration(0.8204), "820\u00a0ms");
  assert.equal(duration(1.25), "1.25\u00a0s");
  assert.equal(duration(185), "3\u00a0min 5\u00a0s");
});

// WCAG 2: black on white is 21:1 by definition; #767676 on white is the known
// 4.54:1. Lines need 3:1, text 4.5:1.
test("contrast of traces and text on their ground", () => {
  assert.ok(Math.abs(contrast("#000000", "#ffffff") - 21) < 1e-9);
  assert.ok(Math.abs(contrast("#767676", "#ffffff") - 4.54) < 0.01);
  for (const p of [LIGHT, DARK]) {
    for (const c of [...p.traces, ...p.others]) assert.ok(contrast(c, p.paper) >= 3, `${c} on ${p.paper}: ${contrast(c, p.paper)}`);
    for (const c of [p.ink, p.faint]) assert.ok(contrast(c, p.paper) >= 4.5, `${c} on ${p.paper}: ${contrast(c, p.paper)}`);
  }
});

test("a number is written with a decimal point or comma", () => {
  for (const [text, want] of /** @type {[string, number|null][]} */ ([["1.65", 1.65], [" 1,65 ", 1.65], ["−2", -2], [",5", 0.5], ["1e-3", 1e-3], ["", null]])) assert.equal(numberOf(text), want, text);
  for (const text of ["1.000,5", "1,6,5", "1.65 V", "x", "0x10", "Infinity"]) assert.ok(Number.isNaN(numberOf(text)), text);
});
