import assert from "node:assert/strict";
import { test } from "node:test";

const { PRESETS, fitting, spanOf } = await import("../js/converters.js");

test("full scale runs from 0, or from minus the reference", () => {
  assert.deepEqual(spanOf({ volts: 5, bits: 10, signed: false }), { low: 0, high: 5, lowCount: 0, highCount: 1023 });
  assert.deepEqual(spanOf({ volts: 4.096, bits: 16, signed: true }), { low: -4.096, high: 4.096, lowCount: -32768, highCount: 32767 });
});

test("counts tell how many bits they fit", () => {
  assert.deepEqual(fitting(12, 1019), { bits: 10, signed: false });
  assert.deepEqual(fitting(0, 255), { bits: 8, signed: false });
  assert.deepEqual(fitting(100, 1024), { bits: 12, signed: false });
  assert.deepEqual(fitting(-20, 2040), { bits: 12, signed: true });
  assert.deepEqual(fitting(-9000, 100), { bits: 16, signed: true });
  assert.equal(fitting(5, 5), null);
  assert.equal(fitting(0.5, 1000), null);
  assert.equal(fitting(0, 2 ** 30), null);
});

test("sound levels are those of the dB scales", () => {
  // +6 dBV is 1.995 V rms, +18 dBu 6.153 V rms (0 dBu is 0.7746 V: 1 mW into 600 Ω); times √2.
  const volts = (/** @type {string} */ id) => PRESETS.find((p) => p.id === id)?.volts ?? 0;
  assert.ok(Math.abs(volts("home") - 2.822) < 0.001);
  assert.ok(Math.abs(volts("studio") - 8.701) < 0.001);
});
