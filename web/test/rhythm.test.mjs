import assert from "node:assert/strict";
import { test } from "node:test";
import { absentByReason, agoText, arrivalText, breathingText, intervalText, leftOut, measureText, overTime, scatter, span, strip } from "../js/drawers/rhythm.js";

const plain = (/** @type {string} */ s) => s.replaceAll("\u00a0", " ");

/** @param {[number, string][]} list ms and mark */
function intervals(list) {
  let at = 0;
  return list.map(([ms, mark], i) => {
    at += ms / 1000;
    return { sample: 100 * (i + 1), atSeconds: at, seconds: ms / 1000, mark: /** @type {any} */ (mark), quality: 0.9 };
  });
}

test("measures carry the trade's units", () => {
  const m = (/** @type {string} */ unit, /** @type {number|null} */ value) => plain(measureText({ id: "x", name: "x", unit, value, neededSeconds: 0 }));
  assert.equal(m("s", 0.0423), "42.3 ms");
  assert.equal(m("s²", 0.000975), "975 ms²");
  assert.equal(m("%", 12.34), "12 %");
  assert.equal(m("", 1.5), "1.50");
  assert.equal(m("1/min", 71.23), "71.2 per minute");
  assert.equal(m("s", null), "–");
});

test("no pair of the scatter reaches across an interval that is left out", () => {
  const list = intervals([[800, "normal"], [820, "normal"], [500, "ectopic"], [1100, "ectopic"], [810, "normal"], [790, "normal"], [805, "unsure"], [800, "normal"], [30000, "gap"], [800, "normal"], [805, "normal"]]);
  const s = scatter(list);
  assert.deepEqual(s.x.map(Math.round), [800, 810, 800]);
  assert.deepEqual(s.y.map(Math.round), [820, 790, 805]);
});

test("the strip breaks its line where an interval is left out and keeps all marks", () => {
  const list = intervals([[800, "normal"], [820, "normal"], [500, "ectopic"], [1500, "ectopic"], [810, "normal"], [805, "unsure"]]);
  const range = span(list);
  const s = strip(list, range, list[list.length - 1].atSeconds);
  assert.equal(s.line.x.length, 6);
  assert.deepEqual(s.line.y.map((y) => Number.isNaN(y)), [false, false, true, true, false, true]);
  assert.equal(s.normal.x.length, 3);
  assert.deepEqual(s.ectopic.y, [range.low, range.high]);
  assert.equal(s.unsure.x.length, 1);
  assert.equal(s.beyond, 2);
  assert.ok(Math.abs(s.normal.x[2] + 0.805) < 1e-9);
});

test("the span holds what is used in whole steps", () => {
  assert.deepEqual(span([]), { low: 600, high: 1200 });
  assert.deepEqual(span(intervals([[800, "normal"], [800, "normal"], [300, "ectopic"]])), { low: 700, high: 900 });
  const wide = span(intervals([[600, "normal"], [1200, "normal"]]));
  assert.ok(wide.low <= 600 && wide.high >= 1200 && wide.low % 100 === 0);
});

test("reasons are said once for all measures they hold for", () => {
  const m = (/** @type {string} */ name, /** @type {number|null} */ value, absent = "") => ({ id: name, name, unit: "s", value, absent, neededSeconds: 0 });
  assert.deepEqual(absentByReason([m("RMSSD", 0.03), m("SDNN", null, "needs 5 min"), m("LF power, 0.04–0.15 Hz", null, "needs 5 min"), m("TINN", null, "needs 20 min")]),
    [{ reason: "needs 5 min", names: ["SDNN", "LF power"] }, { reason: "needs 20 min", names: ["TINN"] }]);
});

test("words", () => {
  const r = { name: "", spanSeconds: 0, usedSeconds: 0, intervals: 402, used: 390, ectopic: 8, unsure: 4, gaps: 1, leftOutShare: 12 / 402, timingSeconds: 0, measures: [] };
  assert.equal(leftOut(r), "402 intervals; 3 % left out: 8 off the rhythm, 4 beside an unsure beat or at an unsure sample rate. Differences are never taken across a left-out interval. 1 gap in the signal gives no interval.");
  assert.equal(leftOut({ ...r, ectopic: 0, unsure: 0, gaps: 0 }), "402 intervals, none left out.");
  assert.equal(plain(intervalText(intervals([[812, "normal"]])[0], agoText(12.3))), "12.3 s before: 812 ms, 74 per minute, used; beats clear");
  assert.equal(breathingText({ perMinute: null, absent: "the signs disagree", quality: 0, highestPerMinute: 35, signs: [] }), "Cannot tell: the signs disagree.");
  assert.equal(breathingText({ perMinute: 15.2, quality: 0.9, highestPerMinute: 35, signs: [] }), "15 breaths per minute, clear.");
  assert.equal(plain(arrivalText({ ecg: 0, pulse: 1, ecgLabel: "", pulseLabel: "", medianSeconds: 0.262, spreadSeconds: 0.008, pairs: 34, peaks: 35, quality: 0.9, caveat: "" })), "262 ms from R to the pulse’s foot, middle half within 8 ms; 34 of 35 R peaks in 30 s, steady.");
});

test("what was told now and then is summed up by its middle and extremes", () => {
  assert.equal(overTime([null, 14, 15, null, 19, 16], " breaths per minute"), "16 breaths per minute in the middle, 14 to 19; known in 4 of 6 places.");
  assert.equal(overTime([null, 12], " a minute"), "12 a minute in the middle; known in 1 of 2 places.");
  assert.equal(overTime([null], ""), "");
});
