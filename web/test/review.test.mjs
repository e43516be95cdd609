import assert from "node:assert/strict";
import { test } from "node:test";
import { timeStep } from "../js/scales.js";
import { breaksOf, decodeBeats, decodePiece, extentIn, firstFrom, intervalsOf, medianRate, MOST_COLUMNS, rateTrend, runsOut, suffices, wanted, Window } from "../js/review/window.js";

test("a window stays in the recording and zooms about a sample", () => {
  const w = new Window(1000);
  w.zoom(0.1, 300);
  assert.deepEqual([w.from, w.to], [270, 370]); // 300 stays at 30 % of the width
  w.pan(-400);
  assert.deepEqual([w.from, w.to], [0, 100]);
  w.pan(5000);
  assert.deepEqual([w.from, w.to], [900, 1000]);
  w.zoom(100);
  assert.deepEqual([w.from, w.to], [0, 1000]);
  w.zoom(1e-9);
  assert.equal(w.span, 16);
  w.reveal(10);
  assert.ok(w.from <= 10 && w.to > 10 && w.from >= 0);
});

test("what is asked for surrounds the window and hangs on the index", () => {
  const length = 86_400_000;
  for (const [from, to, px] of [[0, length, 1200], [1000, 2000, 1200], [123_456, 7_654_321, 800], [length - 5000, length, 3000], [40, 90, 1900]]) {
    const w = { from, to, length };
    const q = wanted(w, px);
    assert.ok(q.columns >= 1 && q.columns <= MOST_COLUMNS, `${q.columns} columns`);
    assert.ok(q.from <= from && q.to >= Math.min(to, length), JSON.stringify([w, q]));
    // Columns of whole numbers of samples, no wider than a pixel needs, on their multiples.
    const per = q.to === length ? 1 : (q.to - q.from) / q.columns;
    assert.ok(Number.isInteger(per) && q.from % per === 0, `${per} samples a column from ${q.from}`);
    assert.ok(per <= Math.max(1, ((to - from) / px) * 1.6), `${per} samples a column for ${(to - from) / px} a pixel`);
    // Moved by a few samples the columns lie on the same ones.
    assert.equal(wanted({ from: from + 3, to: to + 3, length }, px).from % per, 0);
    assert.ok(suffices({ ...q, exact: true, share: 1, low: [], high: [] }, w, px), JSON.stringify([w, q]));
    assert.ok(!suffices({ ...q, exact: false, share: 0.3, low: [], high: [] }, w, px));
  }
  const w = { from: 10_000, to: 20_000, length };
  const q = { ...wanted(w, 1000), exact: true, share: 1, low: [], high: [] };
  assert.ok(suffices(q, { from: 12_000, to: 22_000, length }, 1000), "within the margin");
  assert.ok(suffices(q, { from: 20_000, to: 30_000, length }, 1000) && suffices(q, { from: 0, to: 10_000, length }, 1000), "a page on, a page back");
  assert.ok(!suffices(q, { from: 24_000, to: 34_000, length }, 1000), "beyond the margin");
  assert.ok(!runsOut(q, w) && runsOut(q, { from: 20_000, to: 30_000, length }) && !runsOut(q, { from: 0, to: 10_000, length }), "the next piece is had in time");
  assert.ok(!suffices(q, { from: 14_000, to: 15_000, length }, 1000), "ten times finer");
});

test("a view is decoded as server/API.md lays it out", () => {
  const b = Buffer.alloc(32 + 8 * 2 * 3);
  b.writeUInt32LE(2, 0);
  b.writeUInt32LE(3, 4);
  b.writeBigInt64LE(600n, 8);
  b.writeBigInt64LE(900n, 16);
  b.writeFloatLE(0.5, 24);
  b.writeUInt32LE(0, 28);
  [1, 2, NaN, 4, 5, NaN, -1, -2, -3, 0, 0, 0].forEach((v, i) => b.writeFloatLE(v, 32 + 4 * i));
  const p = decodePiece(b.buffer.slice(b.byteOffset, b.byteOffset + b.length));
  assert.deepEqual([p.from, p.to, p.columns, p.share, p.exact], [600, 900, 3, 0.5, false]);
  assert.deepEqual([...p.low[1]], [-1, -2, -3]);
  assert.deepEqual([...p.high[0]].slice(0, 2), [4, 5]);
  assert.deepEqual(extentIn(p, 0, 600, 900), [1, 5]);
  assert.deepEqual(extentIn(p, 0, 700, 800), [2, 5]);
  const [low, high] = extentIn(p, 0, 800, 900);
  assert.ok(low > high, "a stretch without values");
  assert.throws(() => decodePiece(new ArrayBuffer(40)));
});

test("ticks, marks and the median rate", () => {
  assert.equal(timeStep(0.7), 1);
  assert.equal(timeStep(25), 30);
  assert.equal(timeStep(90_000), 172_800);
  const beats = [0, 500, 1000, 1600, 2100].map((sample) => ({ sample }));
  assert.equal(firstFrom(beats, 501), 2);
  assert.equal(firstFrom(beats, 0), 0);
  assert.equal(firstFrom(beats, 9999), 5);
  // Intervals 500, 500, 600, 500 at 500 Hz: the median is 1 s.
  assert.equal(medianRate(intervalsOf(beats, [], 0, 5), 500), 60);
  assert.equal(medianRate(intervalsOf(beats, [], 0, 2), 500), 0);
  // No interval over missing samples, but over a hole of 0.1 s.
  const breaks = breaksOf([{ first: 100, samples: 50 }, { first: 1100, samples: 51 }, { first: 2100, samples: 400 }], 500);
  assert.deepEqual(intervalsOf(beats, breaks, 0, 5), [NaN, 500, 500, Infinity, Infinity]);
  assert.deepEqual(intervalsOf(beats, breaks, 2, 3), [500]);
  assert.deepEqual(intervalsOf(beats.slice(1), breaks, 0, 1), [NaN]);
  assert.equal(medianRate(intervalsOf(beats, breaks, 0, 5), 500), 60);
});

test("the trend of the rate has the median of each part and leaves holes", () => {
  const beats = [];
  for (let s = 0; s < 10; s++) beats.push({ sample: s * 100 }); // 60 bpm at 100 Hz
  for (let s = 0; s < 20; s++) beats.push({ sample: 3000 + s * 50 }); // 120 bpm after 20 s without
  const t = rateTrend({ beats, breaks: [] }, 4000, 4, 100);
  assert.equal(t[0], 60);
  assert.ok(Number.isNaN(t[1]) && Number.isNaN(t[2]));
  assert.equal(t[3], 120); // the hole of 21 s is no interval
  assert.ok(rateTrend({ beats: [], breaks: [] }, 100, 2, 100).every(Number.isNaN));
  const two = [{ sample: 0 }, { sample: 100 }];
  assert.ok(rateTrend({ beats: two, breaks: [{ sample: 50 }] }, 200, 1, 100).every(Number.isNaN));
});

test("compact beats are read back", () => {
  const b = new DataView(new ArrayBuffer(4 + 4 + 20 + 4 + 10 + 4 + 9));
  b.setUint32(0, 2, true);
  b.setUint32(4, 2, true);
  b.setFloat64(8, 250, true);
  b.setFloat64(16, 21_600_000_000, true);
  [97, 3, 1, 1].forEach((v, i) => b.setUint8(24 + i, v));
  b.setUint32(28, 1, true);
  b.setFloat64(32, 7, true);
  b.setUint8(40, 100);
  b.setUint32(42, 1, true);
  b.setFloat64(46, 33, true);
  b.setUint8(54, "V".charCodeAt(0));
  assert.deepEqual(decodeBeats(b.buffer), { channels: [[{ sample: 250, kind: "ecg", quality: 0.97 }, { sample: 21_600_000_000, kind: "ecg", quality: 0.03 }], [{ sample: 7, kind: "pulse", quality: 1 }]], annotated: [{ sample: 33, type: "V" }] });
});
