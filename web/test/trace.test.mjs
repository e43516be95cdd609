import assert from "node:assert/strict";
import { test } from "node:test";
import { Rings } from "../js/rings.js";
import { ColumnCache } from "../js/columns.js";
import { places, sheetScene } from "../js/scene/sheet.js";
import { svgOf } from "../js/scene/svg.js";
import { csvOf } from "../js/trace/csv.js";
import { curveOf, reach } from "../js/trace/curve.js";
import { mayMiss } from "../js/trace/sheet.js";
import { View } from "../js/trace/view.js";
import { calibrated, heightFor, secondsFor, spanFor } from "../js/trace/paper.js";
import { Lane } from "../js/trace/lanes.js";
import { LIGHT } from "../js/theme.js";

/** A ring of one channel and one point with the values given from index 0. */
function ringOf(values) {
  const r = new Rings(1, 1, 1000);
  r.push({ history: false, gapBefore: false, sequence: 0, first: 0, samples: values.length, channels: 1, points: 1, rateHz: 100, epoch: 1, ageMs: 0, data: Float32Array.from(values) });
  return r;
}

test("a curve of a view: samples, or columns of lowest and highest where several share a pixel", () => {
  const rings = ringOf([0, 2, NaN, 1, 5, 3]);
  const view = Object.assign(new View(), { secondsAcross: 0.06, rateHz: 100, widthPx: 120, end: 6 });
  const on = { cache: new ColumnCache(200), ratio: 2, left: 10 };
  const samples = curveOf(rings, { channel: 0, point: 0 }, view, on);
  const { from, to, x0, dx } = samples;
  assert.deepEqual({ from, to, x0, dx }, { from: 0, to: 6, x0: 10, dx: 10 }, "20 of the view's pixels a sample are 10 of CSS");
  assert.deepEqual(reach(samples), [0, 5]);
  view.widthPx = 3; // two samples a column
  const columns = curveOf(rings, { channel: 0, point: 0 }, view, { ...on, ratio: 1 });
  const svg = svgOf(sheetScene({ width: 13, height: 136, left: 10, x0: 10, perSample: 0.5, rateHz: 100, overlaid: false, mmSamples: 0, gaps: [], notes: [], cursors: null,
    lanes: [{ name: "a", unit: "V", colour: "ink", style: { width: 1, on: 1, off: 0 }, top: 10, height: 100, low: 0, high: 5, curve: columns, beats: [], signs: true, mmVolts: 0 }] }), LIGHT, { title: "" });
  assert.match(svg, /d="M10.5 110L10.5 70L11.5 90L12.5 50L12.5 10"/);
});

test("a sheet: scales, times, gaps, beats with their intervals, notes and cursors in their places", () => {
  const lane = { name: "ecg", unit: "V", colour: "trace0", style: { width: 1, on: 1, off: 0 }, ...places(1, 300, false)[0], low: -1, high: 1, curve: null, signs: true, mmVolts: 0,
    beats: [{ sample: 100, good: true, value: 1 }, { sample: 180, good: false, text: "800 ms", value: 5, foot: { sample: 170, value: 0 } }] };
  const s = { width: 460, height: 300, left: 60, x0: 60, perSample: 2, rateHz: 100, overlaid: false, mmSamples: 0, lanes: [lane], gaps: [{ index: 20, samples: 10, text: "gap 100 ms" }], notes: [{ index: 50, text: "warm <finger>" }], cursors: { a: 110, b: 120 } };
  const flat = (items) => items.flatMap((i) => (i.kind === "clip" ? flat(i.items) : [i]));
  const all = flat(sheetScene(s).items);
  const words = all.filter((i) => i.kind === "words");
  const word = (text) => words.find((w) => w.text === text);
  assert.equal(word("800 ms").x, 340, "between its two beats");
  assert.equal(word("0:01.0").x, 260);
  assert.ok(word("ecg") && word("gap 100 ms") && word("warm <finger>"));
  const marks = all.filter((i) => i.kind === "marks").map((m) => [m.mark, m.at]);
  assert.deepEqual(marks, [["down", [260, lane.top]], ["down", [420, lane.top]], ["ring", [260, lane.top]]], "no ring beyond the lane");
  assert.ok(all.some((i) => i.kind === "box" && i.hatch && i.x === 100 && i.width === 20));
  assert.ok(all.some((i) => i.kind === "box" && i.alpha && i.x === 280 && i.width === 20), "between the cursors");
  assert.ok(all.some((i) => i.kind === "lines" && i.at[0] === 400 && i.at[1] === lane.top + lane.height / 2 + 2), "the foot");
  // 2 px a sample and 4 samples a millimetre: each fifth line is stronger.
  const mm = flat(sheetScene({ ...s, mmSamples: 4, lanes: [{ ...lane, mmVolts: 0.1 }] }).items).filter((i) => i.kind === "lines" && i.colour === "gridStrong");
  assert.ok(mm.some((i) => i.at.length === 4 * 11 && i.at[4] - i.at[0] === 40), "a strong line each 40 px");
  assert.ok(mm.some((i) => Math.abs(i.at[1] - i.at[5] - (lane.height / 20) * 5) < 1e-9), "and each half volt");
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
  const seen = (values) => reach({ low: values, high: values, size: values.length, from: 0, to: values.length });
  const calm = seen(wave);
  assert.deepEqual(seen(wave.with(200, 9e6)), calm);
  assert.deepEqual(seen(wave.with(5, -4000)), calm);
  const peak = wave.with(200, 12).with(201, 14).with(202, 13).with(203, 11).with(204, 9);
  assert.equal(seen(peak)[1], 14, "five samples are no lone one");
  assert.equal(seen(wave.with(200, 9))[1], 9, "four times is no fault");
});

test("a ghost that leaves its lane's range says so", async () => {
  const { withOver } = await import("../js/trace/sheet.js");
  const words = (values) => {
    const t = { ghost: { channel: 0, first: 0, values }, lanes: [{ probe: { channel: 0, point: 0 } }] };
    const s = { left: 0, x0: 0, width: 100, perSample: 10, lanes: [{ top: 10, height: 100, low: 0, high: 5 }] };
    return withOver(/** @type {any} */ (t), /** @type {any} */ (s)).over[0].items.find((i) => i.kind === "words").text;
  };
  assert.equal(words([1, 2, 4.9, 0.1]), "predicted");
  assert.match(words([1, 2, 5.5, 0.1]), /goes beyond this range/);
});

test("an interval of two even ones beside it says that a beat may be missing", () => {
  assert.ok(mayMiss([0, 860, 850, 870, 1720, 855, 845], 4));
  assert.ok(mayMiss([0, 860, 850, 870, 880, 1720], 5), "the newest one");
  assert.ok(!mayMiss([0, 860, 850, 870, 1300, 855, 845], 4), "a pause after an early beat");
  assert.ok(!mayMiss([0, 500, 850, 1170, 1720, 655, 845], 4), "an uneven rhythm");
  assert.ok(!mayMiss([0, 860, 850, 1720], 3), "too few to say");
});
