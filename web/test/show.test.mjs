import assert from "node:assert/strict";
import { test } from "node:test";
import { Rings } from "../js/rings.js";
import { barOf, showPlot, showScene } from "../js/scene/show.js";
import { laneName, soundLanes } from "../js/show/lanes.js";
import { typicalBeat } from "../js/show/typical.js";

const curve = { low: [0, 1], high: [0, 1], size: 2, from: 0, to: 2, x0: 0, dx: 100 };
/** @param {import("../js/scene/show.js").ShowLane[]} lanes @param {object} [more] */
const picture = (lanes, more) => ({ width: 1000, height: 400, text: 40, line: 3, hair: 1, lanes, from: 0, to: 2500, rateHz: 250, every: 1, gaps: [], beats: [], ...more });
/** @param {string} unit @param {number} low @param {number} high */
const lane = (unit, low, high) => ({ name: "raw", unit, curve, low, high });

test("an I-bar is the longest round value that fits, and as long as it says", () => {
  for (const [range, want] of [[1, 0.5], [0.66, 0.2], [0.67, 0.5], [2.7, 2], [0.0134, 0.01]]) assert.ok(Math.abs(barOf(range) - want) < 1e-9 * want, `${range}: ${barOf(range)}, want ${want}`);
  for (const [low, high, says] of /** @type {[number, number, string][]} */ ([[2, 3.7, "1\u00a0V"], [-0.3, 0.5, "0.5\u00a0V"], [0, 0.0134, "10\u00a0mV"]])) {
    const { items } = showScene(picture([lane("V", low, high), lane("V", low, high)]));
    const words = items.flatMap((i) => (i.kind === "words" ? [i.text] : []));
    assert.equal(words.filter((w) => w === says).length, 2, `${says} in ${words}`);
    const trace = items.find((i) => i.kind === "trace");
    const after = trace && items[items.indexOf(trace) + 1];
    assert.ok(trace?.kind === "trace" && after?.kind === "lines");
    assert.ok(Math.abs((after.at[3] - after.at[1]) / trace.scale - barOf(high - low)) < 1e-9, "its pixels by the trace's scale");
  }
});

test("the bar of a second is as long as a second of the trace", () => {
  const p = picture([lane("V", 0, 1)]);
  const { left, right } = showPlot(p);
  const bar = showScene(p).items.filter((i) => i.kind === "lines").at(-1);
  assert.ok(bar?.kind === "lines" && Math.abs(bar.at[2] - bar.at[0] - (right - left) / 10) < 1e-9);
});

test("three lanes lie apart, each with its name; a scale not known yet has no bar", () => {
  const { items } = showScene(picture([lane("V", 0, 1), lane("counts", 0, 1000), lane("V", NaN, NaN)]));
  const traces = items.flatMap((i) => (i.kind === "trace" ? [[i.top, i.bottom]] : []));
  assert.equal(traces.length, 2);
  assert.ok(traces[0][1] < traces[1][0]);
  assert.equal(items.filter((i) => i.kind === "words" && i.text === "raw").length, 3);
  assert.ok(items.some((i) => i.kind === "words" && i.text === "500\u00a0counts"));
});

test("traces that there are not are left out, and more than three", () => {
  const p = (/** @type {number} */ channel, /** @type {number} */ point) => ({ channel, point });
  assert.deepEqual(soundLanes([p(0, 0), p(4, 1), p(0, 9), p(0, 0), p(1, 3), p(0, 1), p(0, 2)], 2), [p(0, 0), p(1, 3), p(0, 1)]);
  for (const nothing of [null, "x", [], [p(3, 0)]]) assert.deepEqual(soundLanes(nothing, 1), [p(0, 3)]);
  const channels = /** @type {any[]} */ ([{ label: "finger" }, { label: "chest" }]);
  assert.equal(laneName(p(1, 0), channels), "chest raw");
  assert.equal(laneName(p(0, 3), channels.slice(0, 1)), "cleaned");
});

test("the typical beat is the mean of whole good beats, and how far they reach", () => {
  const rings = new Rings(1, 1, 1000);
  // Beats every 100 samples, of heights 1, 2, 3 … at their mark alone.
  const data = new Float32Array(1000).map((_, i) => (i % 100 === 50 ? 1 + Math.floor(i / 100) : 0));
  rings.push(/** @type {any} */ ({ first: 0, samples: 1000, channels: 1, points: 1, data }));
  const beats = Array.from({ length: 10 }, (_, k) => ({ sample: 50 + 100 * k, foot: 0, kind: "ecg", amplitude: 1, quality: k === 4 ? 0 : 1 }));
  const t = typicalBeat(rings, { channel: 0, point: 0 }, beats, { rateHz: 100, end: 790 });
  // Of those before 790 the last would not be whole: marks 50 … 650 without the poor fifth.
  assert.ok(t);
  assert.equal(t.beats, 6);
  assert.equal(t.mean.length, 101);
  assert.ok(Math.abs(t.mean[35] - (1 + 2 + 3 + 4 + 6 + 7) / 6) < 1e-9);
  assert.deepEqual([t.low[35], t.high[35], t.mean[34]], [1, 7, 0]);
  assert.equal(typicalBeat(rings, { channel: 0, point: 0 }, beats, { rateHz: 100, end: 200 }), null, "too few");
});

test("the typical beat keeps its height where there is little room", () => {
  const typical = { mean: [0, 1, 0], low: [0, 0.9, 0], high: [0.1, 1.1, 0.1], seconds: 0.8, beats: 5 };
  for (const height of [120, 180, 400]) {
    const beat = showScene(picture([lane("V", 0, 1)], { height, inset: "beside", typical: { title: "typical", typical } })).items.findLast((i) => i.kind === "path");
    assert.ok(beat?.kind === "path");
    const span = Math.max(...beat.y) - Math.min(...beat.y);
    assert.ok(span >= 0.5 * (height - 100) && span > 40, `${span} of ${height}`);
  }
});

test("no word lies across a trace, a rule or another word; a narrow picture has the typical beat under its traces", () => {
  const typical = { title: "typical", typical: { mean: [0, 1, 0], low: [0, 0.9, 0], high: [0.1, 1.1, 0.1], seconds: 0.8, beats: 5 } };
  for (const [width, height, text, inset] of /** @type {[number, number, number, string][]} */ ([[1280, 400, 54, "beside"], [1280, 250, 54, "beside"], [1920, 560, 81, ""], [390, 204, 22, "under"], [390, 320, 22, "under"]])) {
    for (const names of [["raw"], ["raw", "cleaned"], ["finger no drift", "finger cleaned", "chest beat finder"]]) {
      const { items } = showScene(picture(names.map((name) => ({ ...lane("V", -0.3, 0.5), name })), { width, height, text, inset, typical: inset ? typical : undefined }));
      /** @type {{what: string, x0: number, x1: number, y0: number, y1: number}[]} */
      const boxes = [];
      const seen = items.flatMap((i) => (i.kind === "words" ? [i.text] : []));
      assert.equal(seen.includes("0.8\u00a0s") || seen.includes("typical 0.8\u00a0s"), inset !== "", seen.join());
      for (const i of items) {
        if (i.kind === "words") {
          const wide = Math.min(0.55 * i.size * i.text.length, i.most ?? Infinity);
          const x0 = i.align === "right" ? i.x - wide : i.x;
          boxes.push({ what: i.text, x0, x1: x0 + wide, y0: i.y - 0.36 * i.size, y1: i.y + 0.36 * i.size });
        }
        if (i.kind === "trace") boxes.push({ what: "trace", x0: i.x0, x1: showPlot(/** @type {any} */ ({ width, text, inset, lanes: names.map((name) => ({ ...lane("V", -0.3, 0.5), name })) })).right, y0: i.top, y1: i.bottom });
        if (i.kind === "path") boxes.push({ what: "typical beat", x0: Math.min(...i.x), x1: Math.max(...i.x), y0: Math.min(...i.y), y1: Math.max(...i.y) });
        if (i.kind === "lines" && i.colour === "ink") for (let k = 0; k < i.at.length; k += 4) if (i.at[k + 1] === i.at[k + 3] && i.at[k + 2] === width) boxes.push({ what: "rule", x0: i.at[k], x1: width, y0: i.at[k + 1], y1: i.at[k + 1] });
      }
      for (const [k, a] of boxes.entries()) {
        for (const b of boxes.slice(k + 1)) if (seen.includes(a.what) || seen.includes(b.what)) assert.ok(a.x1 <= b.x0 || b.x1 <= a.x0 || a.y1 <= b.y0 || b.y1 <= a.y0, `${width}×${height} ${names}: ${JSON.stringify(a)} over ${JSON.stringify(b)}`);
        if (seen.includes(a.what)) assert.ok(a.x0 >= 0 && a.x1 <= width && a.y0 >= 0 && a.y1 <= height, `${JSON.stringify(a)} is cut at ${width}×${height}`);
      }
    }
  }
});
