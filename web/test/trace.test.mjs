import assert from "node:assert/strict";
import { test } from "node:test";
import { Rings } from "../js/rings.js";
import { csvOf, lanePath, svgOf } from "../js/trace/export.js";
import { withoutLone } from "../js/trace/paint.js";
import { calibrated, heightFor, secondsFor, spanFor } from "../js/trace/paper.js";
import { Lane } from "../js/trace/lanes.js";
import { LIGHT } from "../js/theme.js";

/** A ring of one channel and one point with the values given from index 0. */
function ringOf(values) {
  const r = new Rings(1, 1, 1000);
  r.push({ history: false, gapBefore: false, sequence: 0, first: 0, samples: values.length, channels: 1, points: 1, rateHz: 100, epoch: 1, ageMs: 0, data: Float32Array.from(values) });
  return r;
}

const lane = { name: "ecg, <raw>", unit: "V", channel: 0, point: 0, colour: "#000000", width: 1, dashes: "", top: 10, height: 100, low: 0, high: 2, ticks: [{ y: 60, text: "1" }], unitText: "V", beats: [{ x: 30, filled: true, text: "" }] };
const scene = (over) => ({ title: "A & B", subtitle: "today", width: 200, height: 150, left: 20, axis: 126, palette: LIGHT, lanes: [lane], overlaid: false, times: [{ x: 40, text: "0:01" }], verticals: [], horizontals: [], gaps: [], notes: [], cursors: null, from: 0, to: 4, samplesPerPx: 0.1, xOf: (i) => 20 + i * 10, mmPerPx: 0, ...over });

test("a lane's path: every sample at its place, broken where there is none", () => {
  assert.equal(lanePath(scene({}), lane, ringOf([0, 2, NaN, 1])), "M20 110L30 10M50 60");
});

test("a lane's path: lowest and highest of each pixel when several samples share one", () => {
  const s = scene({ samplesPerPx: 2, to: 4, xOf: (i) => i });
  assert.equal(lanePath(s, lane, ringOf([0, 2, 1, 2])), "M1 110L1 10L3 10L3 60");
});

test("the drawing: title and names escaped, true millimetres when asked for", () => {
  const plain = svgOf(scene({}), ringOf([0, 1, 2, 1]));
  assert.match(plain, /<title>A &amp; B<\/title>/);
  assert.match(plain, /ecg, &lt;raw&gt;/);
  assert.match(plain, /width="200" height="212"/);
  assert.match(plain, /not a medical device/);
  // 0.25 mm a pixel: 200 px are 50 mm, two seconds at 25 mm/s.
  assert.match(svgOf(scene({ mmPerPx: 0.25 }), ringOf([0, 1, 2, 1])), /width="50mm" height="53mm" viewBox="0 0 200 212"/);
});

test("the numbers: seconds, names with units, empty where there is no value, beats in front", () => {
  const text = csvOf({ from: 1, to: 6, rateHz: 100, title: "x", lanes: [{ name: "ecg, raw", unit: "V", channel: 0, point: 0 }], beats: [{ name: "ecg", samples: [0, 3] }] }, ringOf([9, 0.5, NaN, -0.25, 2, 9]));
  assert.equal(text, ["# Learning aid, not a medical device.", "# x", "# rate 100 Hz", "# first sample 1", "# beats of ecg, s: 0.020000", "time_s,\"ecg, raw [V]\"", "0.000000,0.5", "0.020000,-0.25", "0.030000,2", "0.040000,9", ""].join("\r\n"));
});

test("true millimetres: a card of 85.6 mm, 25 mm a second, 10 mm a millivolt", () => {
  // 85.60 mm (ISO/IEC 7810 ID-1) over 323.5 dots are 96 dots an inch: 25.4/96 mm each.
  assert.ok(Math.abs(calibrated((85.6 * 96) / 25.4, 85.6, 1) - 25.4 / 96) < 1e-12);
  assert.ok(Math.abs(calibrated((85.6 * 96) / 25.4, 85.6, 2) - 25.4 / 192) < 1e-12, "two device pixels to one of the page");
  assert.ok(Number.isNaN(calibrated(20, 85.6, 1)), "6 dots an inch is no screen");
  assert.equal(secondsFor(250, 25), 10);
  assert.ok(Math.abs(spanFor(40, 10000) - 0.004) < 1e-15, "40 mm at 10 mm/mV are 4 mV");
  assert.equal(heightFor(0.002), 10000);
  assert.equal(heightFor(1.5), 10, "behind an amplifier");
  const l = new Lane({ channel: 0, point: 0 }, "V", 0);
  l.seenLow = 0.9;
  l.seenHigh = 1.1;
  l.trueSpan = 4;
  l.settle(0.1, true);
  assert.ok(Math.abs(l.high - l.low - 4) < 1e-9 && Math.abs((l.high + l.low) / 2 - 1) < 1e-9);
});

test("one corrupt number does not flatten the trace; a real peak counts", () => {
  const wave = Array.from({ length: 400 }, (_, i) => 2.5 + Math.sin(i / 10));
  const seen = (values) => withoutLone(Math.min(...values), Math.max(...values), 0, values.length, (k) => values[k], (k) => values[k]);
  const calm = seen(wave);
  assert.deepEqual(seen(wave.with(200, 9e6)), calm);
  assert.deepEqual(seen(wave.with(5, -4000)), calm);
  const peak = wave.with(200, 12).with(201, 14).with(202, 13).with(203, 11).with(204, 9);
  assert.equal(seen(peak)[1], 14, "five samples are no lone one");
  assert.equal(seen(wave.with(200, 9))[1], 9, "four times is no fault");
});
