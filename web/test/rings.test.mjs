import assert from "node:assert/strict";
import { test } from "node:test";
import { ColumnCache, extent } from "../js/columns.js";
import { MAX_SAMPLES, ringCapacity, Rings } from "../js/rings.js";

const NOTHING = { history: false, gapBefore: false, sequence: 0, rateHz: 250, epoch: 1, ageMs: 0 };
/** Value of sample i on a trace: told from the index, so that any misplaced sample shows. */
const truth = (trace, i) => Math.fround(trace * 1e5 + i);
function frame(first, samples, traces = 2) {
  const data = new Float32Array(traces * samples);
  for (let t = 0; t < traces; t++) for (let i = 0; i < samples; i++) data[t * samples + i] = truth(t, first + i);
  return { ...NOTHING, first, samples, channels: 1, points: traces, data };
}

test("samples stay at their index over many turns of the ring, in any piece size", () => {
  for (const piece of [1, 3, 7, 64, 99, 100, 250]) {
    const r = new Rings(1, 2, 100);
    for (let at = 0; at < 1000; at += piece) r.push(frame(at, piece));
    assert.equal(r.end - r.start, 100);
    for (let i = r.start; i < r.end; i++) {
      assert.equal(r.at(0, 0, i), truth(0, i));
      assert.equal(r.at(0, 1, i), truth(1, i));
    }
    assert.ok(Number.isNaN(r.at(0, 0, r.start - 1)));
    assert.ok(Number.isNaN(r.at(0, 0, r.end)));
  }
});

test("indices skipped are NaN, also after a skip longer than the ring", () => {
  const r = new Rings(1, 1, 100);
  r.push(frame(0, 30, 1));
  r.push(frame(50, 10, 1));
  for (let i = 30; i < 50; i++) assert.ok(Number.isNaN(r.at(0, 0, i)), `sample ${i}`);
  assert.equal(r.at(0, 0, 29), 29);
  assert.equal(r.at(0, 0, 50), 50);
  r.push(frame(1000, 5, 1));
  assert.equal(r.start, 905);
  for (let i = 905; i < 1000; i++) assert.ok(Number.isNaN(r.at(0, 0, i)), `sample ${i}`);
  assert.equal(r.at(0, 0, 1004), 1004);
});

test("the past is filled in behind what is there, and a hole in the middle is mended", () => {
  const r = new Rings(1, 1, 100);
  r.push(frame(200, 20, 1));
  const version = r.version;
  r.push(frame(150, 40, 1));
  assert.ok(r.version > version);
  assert.equal(r.start, 150);
  assert.equal(r.end, 220);
  assert.ok(Number.isNaN(r.at(0, 0, 195)));
  r.push(frame(190, 10, 1));
  for (let i = 150; i < 220; i++) assert.equal(r.at(0, 0, i), i);
  r.push(frame(0, 130, 1));
  assert.equal(r.start, 120);
  for (let i = 120; i < 130; i++) assert.equal(r.at(0, 0, i), i);
  r.push(frame(0, 10, 1));
  assert.equal(r.start, 120);
});

test("capacity: ten minutes, less when memory would not do", () => {
  assert.ok(ringCapacity(250, 10) >= 600 * 250);
  assert.ok(ringCapacity(4000, 80) * 80 <= MAX_SAMPLES);
});

test("extent over the ring's seam, without NaN", () => {
  const ring = new Float32Array([5, 6, NaN, -3, 4]);
  const out = new Float32Array(2);
  extent(ring, 5, 3, 7, out);
  assert.deepEqual([...out], [-3, 6]);
  extent(ring, 5, 2, 3, out);
  assert.deepEqual([...out], [Infinity, -Infinity]);
});

test("column cache equals the columns computed anew, while scrolling and after a mend", () => {
  const r = new Rings(1, 1, 2000);
  const cache = new ColumnCache(50);
  const spc = 7.3;
  let seed = 1;
  const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  const values = Array.from({ length: 1600 }, random);
  const push = (first, samples) => r.push({ ...NOTHING, first, samples, channels: 1, points: 1, data: Float32Array.from(values.slice(first, first + samples)) });
  for (let at = 0; at < 1500; at += 11) {
    if (at >= 700 && at < 760) continue;
    push(at, 11);
    const to = Math.floor(r.end / spc) + 1;
    const from = Math.max(0, to - 50);
    if (at === 880) push(700, 60);
    cache.update(r, 0, 0, spc, from, to);
    for (let k = from; k < to; k++) {
      let low = Infinity;
      let high = -Infinity;
      for (let i = Math.ceil(k * spc); i < Math.ceil((k + 1) * spc); i++) {
        const v = r.at(0, 0, i);
        if (v < low) low = v;
        if (v > high) high = v;
      }
      assert.equal(cache.low[k % cache.size], low, `column ${k} at ${at}`);
      assert.equal(cache.high[k % cache.size], high, `column ${k} at ${at}`);
    }
  }
});
