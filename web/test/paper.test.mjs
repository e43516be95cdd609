import assert from "node:assert/strict";
import { test } from "node:test";
import { titleOf } from "../js/trace/on-paper.js";
import { gridScene, pathWords, typicalScene } from "../js/paper.js";
import { svgOf } from "../js/scene/svg.js";
import { LIGHT } from "../js/theme.js";

/** @import {PathSettings} from "../js/types.js" */

/** @type {PathSettings} */
const off = { drift: { on: false, cutoffHz: 0.3, order: 1 }, hum: { mode: "off", freqHz: 50, bandwidthHz: 4, harmonics: 1 }, smooth: { shape: "off", cutoffHz: 15, order: 2 } };

test("a path in words: each step, or that it is left out", () => {
  assert.equal(pathWords(off), "drift not removed; hum not removed; not smoothed");
  const on = structuredClone(off);
  Object.assign(on.drift, { on: true });
  Object.assign(on.hum, { mode: "cancel", freqHz: 0, harmonics: 3 });
  Object.assign(on.smooth, { shape: "butterworth", cutoffHz: 40, order: 4 });
  assert.equal(pathWords(on, 59.98), "drift below 0.3 Hz removed (order 1); hum of 59.98 Hz removed by a canceller (and its multiples, 3 in all); smoothed: above 40 Hz removed (Butterworth, order 4)");
  Object.assign(on.hum, { mode: "notch", harmonics: 1 });
  assert.match(pathWords(on), /; hum removed by a notch;/, "hum that is not found yet has no frequency");
  on.hum.freqHz = 60;
  assert.match(pathWords(on, 50), /hum of 60 Hz/, "the path's own frequency comes first");
});

test("millimetre paper: a line for each millimetre, none twice, the tenth ones strongest, true length", () => {
  const s = gridScene({ width: 23, height: 11 });
  const of = s.items.map((i) => (i.kind === "lines" ? i.at : []));
  assert.deepEqual(of.map((at) => at.length / 4), [19 + 9, 2 + 1, 3 + 2]);
  assert.deepEqual(of[2].slice(4, 8), [100, 0, 100, 110]);
  assert.equal(new Set(of.flatMap((at) => Array.from({ length: at.length / 4 }, (_, k) => at.slice(4 * k, 4 * k + 4).join()))).size, 24 + 12);
  assert.match(svgOf(s, LIGHT, { title: "", mmPerPx: 0.1 }), /width="23mm" height="11mm"/);
});

test("a typical beat: its band lies inside the chart, its middle at its place", () => {
  const s = typicalScene({ x: [0, 0.4, 0.8], middle: [0, 2, 1], low: [-1, 1, 0], high: [1, 3, 2], unit: "V", words: "" });
  const clip = s.items.find((i) => i.kind === "clip");
  const paths = clip?.kind === "clip" ? clip.items.filter((i) => i.kind === "path") : [];
  assert.equal(paths.length, 2);
  const [band, middle] = paths;
  assert.ok(clip?.kind === "clip" && Array.from(band.y).every((y) => y > clip.y && y < clip.y + clip.height));
  const [a, b, c] = Array.from(middle.y);
  assert.ok(Math.abs((a - b) / (a - c) - 2) < 1e-6 && b < c);
});

test("a sheet of a port is headed by its channels, of a demo or recording by its name", () => {
  assert.equal(titleOf({ address: "serial:/dev/ttyACM0", name: "/dev/ttyACM0, 115200 baud" }, ["lamp clip", "lead"]), "lamp clip, lead – /dev/ttyACM0, 115200 baud");
  assert.equal(titleOf({ address: "file:bench.edf", name: "bench 3" }, ["lamp clip"]), "bench 3");
});
