import assert from "node:assert/strict";
import { test } from "node:test";
import { chartNumbers, chartScene } from "../js/scene/chart.js";
import { colourOf, framed, stacked, walk, withDots } from "../js/scene/scene.js";
import { sheetScene } from "../js/scene/sheet.js";
import { svgOf, traceData } from "../js/scene/svg.js";
import { DARK, LIGHT, OVERLAID } from "../js/theme.js";

/** @import {Item, Scene, Trace} from "../js/scene/scene.js" */

/** @type {Trace} */
const trace = { kind: "trace", low: [], high: [], size: 1, from: 0, to: 0, x0: 20, dx: 10, top: 10, bottom: 110, base: 0, scale: 50, colour: "trace0", width: 1 };
/** @param {number[]} values @param {Partial<Trace>} [more] */
const samples = (values, more) => ({ ...trace, low: values, high: values, size: values.length, to: values.length, ...more });
/** The points of the paths of one class, [x, y] each. @param {string} svg @param {string} name */
const points = (svg, name) => [...svg.matchAll(new RegExp(`<path d="([^"]*)"[^>]* class="${name}"`, "g"))].map((m) => [...m[1].matchAll(/[ML]([-\d.]+) ([-\d.]+)/g)].map((p) => [Number(p[1]), Number(p[2])]));
/** @param {Item[]} items @returns {Scene} */
const scene = (...items) => ({ width: 200, height: 120, items });

test("a trace of samples: each at its place, broken where there is none, held in its lane", () => {
  assert.equal(traceData(samples([0, 2, NaN, 1, 9])), "M20 110L20 110L30 10M50 60L50 60L60 10");
  assert.equal(traceData(samples([0, 2, NaN, 1], { from: 3, to: 6 })), "M50 60L50 60L60 110L70 10", "value k of a ring stands at k modulo its size");
});

test("a trace of columns: lowest and highest of each, joined at the nearer end", () => {
  assert.equal(traceData({ ...trace, low: [0, 1, NaN, 0], high: [2, 2, NaN, 1], size: 4, to: 4, dx: 1 }), "M20 110L20 10L21 10L21 60M23 110L23 60");
});

test("a dashed trace keeps all its points on paper", () => {
  const svg = svgOf(scene(samples([0, 1, 2, 1, 0], { on: 9, off: 4 })), LIGHT, { title: "x" });
  assert.deepEqual(points(svg, "trace"), [[[20, 110], [20, 110], [30, 60], [40, 10], [50, 60], [60, 110]]]);
  assert.match(svg, /stroke-dasharray="9 4"/);
});

test("samples far apart are dots too, but for those beyond the lane", () => {
  const [, dots] = withDots(samples([0, 9, 1]));
  assert.deepEqual(dots.kind === "marks" && dots.at, [20, 110, 40, 60]);
  assert.equal(withDots(samples([0, 1], { dx: 3 })).length, 1);
});

test("the drawing: words escaped, colours of the palette, true millimetres when asked for", () => {
  const s = scene({ kind: "words", x: 5, y: 10, text: "ecg, <raw> & \u0001\"b\"", colour: "faint", size: 10, align: "right" }, { kind: "clip", x: 0, y: 0, width: 50, height: 50, items: [{ kind: "box", x: 1, y: 2, width: 3, height: 4, colour: "gap", hatch: "gridStrong" }] });
  const svg = svgOf(s, DARK, { title: "A & B" });
  assert.match(svg, /<title>A &amp; B<\/title>/);
  assert.ok(svg.includes("ecg, &lt;raw&gt; &amp; &quot;b&quot;</text>"));
  assert.ok(svg.includes(`fill="${DARK.faint}"`) && svg.includes(`fill="${DARK.gap}"`) && svg.includes(`fill="${DARK.paper}"`) && svg.includes(`stroke="${DARK.gridStrong}"`));
  assert.match(svg, /width="200" height="120"/);
  // 0.25 mm a pixel: 200 px are 50 mm, two seconds at 25 mm/s.
  assert.match(svgOf(s, LIGHT, { title: "", mmPerPx: 0.25 }), /width="50mm" height="30mm" viewBox="0 0 200 120"/);
  assert.equal(colourOf(LIGHT, "trace3"), LIGHT.traces[3]);
  assert.equal(colourOf(LIGHT, "other1"), LIGHT.others[1]);
  assert.equal(colourOf(LIGHT, "#123456"), "#123456");
});

test("a chart: points where its axes put them, on a linear and a logarithmic one", () => {
  const chart = { x: { low: 1, high: 100, log: true, unit: "Hz" }, y: { low: 0, high: 10, unit: "V" }, curves: [{ x: [1, 10, 100], y: [0, 5, NaN], colour: "ink", label: "gain" }, { x: [10], y: [10], colour: "mark", mark: /** @type {const} */ ("dot") }], rules: [{ x: 10, label: "corner" }], bare: false };
  const s = chartScene(chart, 262, 144); // 200 by 100 between the axes' margins
  const svg = svgOf(s, LIGHT, { title: "x" });
  assert.deepEqual(points(svg, "curve"), [[[54, 108], [154, 58]]]);
  const clip = s.items.find((i) => i.kind === "clip");
  const dots = clip?.kind === "clip" && clip.items.find((i) => i.kind === "marks");
  assert.deepEqual(dots && dots.kind === "marks" && dots.at, [154, 8]);
  for (const words of ["gain", "corner", "100", "Hz"]) assert.ok(svg.includes(`>${words}</text>`), words);
  assert.equal(chartScene({ ...chart, bare: true }, 262, 144).items.length, 1, "a thumbnail has no axes");
});

test("a chart's numbers: a row for each point, with the axes' units", () => {
  const axis = { low: 0, high: 1 };
  assert.equal(chartNumbers({ x: { ...axis, label: "frequency", unit: "Hz" }, y: { ...axis, unit: "mV, rms" }, curves: [{ x: [1, 2], y: [3, 4], colour: "ink", label: "a, b" }, { x: [1], y: [0.5], band: [0.75], colour: "ink" }], rules: [], bare: false }),
    ["curve,frequency [Hz],\"[mV, rms]\",upper", "\"a, b\",1,3,", "\"a, b\",2,4,", "2,1,0.5,0.75"].join("\r\n"));
});

test("scenes one below the other, with a heading and a line below", () => {
  const one = scene({ kind: "box", x: 0, y: 0, width: 5, height: 5, colour: "ink" });
  const both = framed(stacked([one, { ...one, width: 300 }]), { title: "T", subtitle: "S", foot: "F" });
  assert.deepEqual([both.width, both.height], [300, 44 + 240 + 18]);
  const svg = svgOf(both, LIGHT, { title: "T" });
  assert.match(svg, /<svg x="0" y="44" width="300" height="240" viewBox="0 0 300 240">\n<svg x="0" y="0" width="200" height="120"/);
  assert.match(svg, /<svg x="0" y="120" width="300"/);
  for (const words of ["T", "S", "F"]) assert.ok(svg.includes(`>${words}</text>`));
});

test("eight traces laid over each other are told apart by their lines alone", () => {
  /** @type {Set<string>} */
  const seen = new Set();
  for (const style of OVERLAID) {
    // What a pen draws of 240 columns: pieces and their lengths, and how thick.
    /** @type {number[]} */
    const pieces = [];
    walk({ ...trace, ...style, low: new Array(240).fill(1), high: new Array(240).fill(1), size: 240, to: 240, x0: 0, dx: 1 }, { moveTo: () => pieces.push(0), lineTo: () => pieces[pieces.length - 1]++ }, 0.4);
    seen.add(`${style.width} ${pieces.length} ${pieces[1] ?? "whole"}`);
  }
  assert.equal(seen.size, 8);
  const widths = OVERLAID.slice(0, 4).filter((s) => s.off === 0).map((s) => s.width);
  assert.ok(widths[1] >= 2 * widths[0], "whole lines differ in thickness twofold");
  // Samples 12 pixels apart: still pieces of line, and gaps between them.
  let lines = 0;
  walk({ ...trace, ...OVERLAID[3], low: [0, 1, 0, 1, 0, 1, 0, 1], high: [0, 1, 0, 1, 0, 1, 0, 1], size: 8, to: 8, dx: 12 }, { moveTo: () => {}, lineTo: () => lines++ }, 0.4);
  assert.equal(lines, 4, "two stubs and two lines of eight samples");
});

test("on paper intervals get smaller letters, and those without room are counted", () => {
  const texts = (/** @type {number} */ every, /** @type {boolean} */ paper) => {
    const beats = Array.from({ length: 11 }, (_, i) => ({ sample: 20 + i * every, good: true, text: "800 ms" }));
    const lane = { name: paper ? "raw" : "", unit: "V", colour: "trace0", style: { width: 1, on: 1, off: 0 }, top: 24, height: 100, low: 0, high: 1, curve: null, beats, signs: true, mmVolts: 0 };
    const { items } = sheetScene({ width: 700, height: 160, left: 50, x0: 50, perSample: 1, rateHz: 100, lanes: [lane], overlaid: false, mmSamples: 0, gaps: [], notes: [], cursors: null, ...(paper ? { unwritten: (/** @type {number} */ n) => `${n} more` } : {}) });
    const words = items.flatMap((i) => (i.kind === "clip" ? i.items : [i])).flatMap((i) => (i.kind === "words" ? [i] : []));
    const more = words.find((w) => / more$/.test(w.text));
    assert.ok(!more || more.y < lane.top && words.every((w) => w.text !== "800 ms" || w.x + 15 < more.x - 30), "beside the intervals, not over the trace");
    return { written: words.filter((w) => w.text === "800 ms"), more: more?.text ?? "" };
  };
  assert.deepEqual([texts(45, false).written.length, texts(45, false).more], [0, ""], "on a screen there is zooming");
  const paper = texts(45, true);
  assert.ok(paper.written.length >= 8 && paper.written.every((w) => w.size < 10), `${paper.written.length} written`);
  assert.equal(paper.more, `${10 - paper.written.length} more`);
  assert.equal(texts(15, true).more, "10 more", "too dense for any");
  assert.equal(texts(58, true).more, "1 more", "below the name");
});

test("an interval that may lack a beat says so, in words where there is room", () => {
  const words = (/** @type {number} */ wide) => {
    const lane = { name: "", unit: "V", colour: "trace0", style: { width: 1, on: 1, off: 0 }, top: 24, height: 100, low: 0, high: 1, curve: null, beats: [{ sample: 20, good: true }, { sample: 20 + wide, good: true, text: "1720 ms", more: "1720 ms: a beat may be missing" }], signs: true, mmVolts: 0 };
    const { items } = sheetScene({ width: 700, height: 160, left: 50, x0: 50, perSample: 1, rateHz: 100, lanes: [lane], overlaid: false, mmSamples: 0, gaps: [], notes: [], cursors: null });
    return items.flatMap((i) => (i.kind === "clip" ? i.items : [i])).flatMap((i) => (i.kind === "words" && i.text.startsWith("1720") ? [i.text] : []));
  };
  assert.deepEqual([words(300), words(100)], [["1720 ms: a beat may be missing"], ["1720 ms ?"]]);
});
