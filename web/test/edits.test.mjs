import assert from "node:assert/strict";
import { test } from "node:test";
import { withNotes } from "../js/review/annotated.js";
import { added, changed, changedEdits, changedMeanwhile, counts, freePlace, moved, removed, standsOut, undone } from "../js/review/edits.js";

const mark = (sample, byHand) => ({ sample, kind: "ecg", quality: 1, ...(byHand ? { byHand } : {}) });
const RATE = 250;

test("edits tell what becomes of a found beat, and an edited one is edited further", () => {
  assert.deepEqual(removed([], mark(100), RATE).put, [{ was: 100 }]);
  const first = moved([], mark(100), 104, RATE);
  assert.deepEqual([first.take, first.put], [[], [{ at: 104, was: 100 }]]);
  const second = moved(first.put, mark(104, true), 99, RATE);
  assert.deepEqual([second.take, second.put], [[{ at: 104, was: 100 }], [{ at: 99, was: 100 }]]);
  const gone = removed(second.put, mark(99, true), RATE);
  assert.deepEqual([gone.take, gone.put], [[{ at: 99, was: 100 }], [{ was: 100 }]]);
  const extra = removed([{ at: 500 }], mark(500, true), RATE);
  assert.deepEqual([extra.take, extra.put], [[{ at: 500 }], []], "what was added is gone without a trace");
  assert.deepEqual(counts([{ at: 1 }, { was: 2 }, { at: 3, was: 4 }, { was: 5 }]), { added: 1, moved: 1, removed: 2 });
});

test("a change undone gives the list as it was", () => {
  const list = [mark(100), mark(300), mark(500)];
  for (const c of [added(200, "ecg"), removed([], list[1], RATE), moved([], list[2], 480, RATE)]) {
    const after = changed(list, c);
    assert.notDeepEqual(after, list);
    assert.deepEqual(after.map((m) => m.sample), after.map((m) => m.sample).sort((a, b) => a - b));
    assert.deepEqual(changed(after, undone(c)), list);
  }
});

test("no beat comes nearer to another than 0.1 s, nor outside of the recording", () => {
  const list = [mark(100), mark(200), mark(240)];
  assert.equal(freePlace(list, 110, RATE, null, 1000), 125);
  assert.equal(freePlace(list, 190, RATE, null, 1000), 175);
  assert.ok(Number.isNaN(freePlace(list, 220, RATE, null, 1000)), "no room between");
  assert.equal(freePlace(list, 220, RATE, list[1], 1000), 215);
  assert.equal(freePlace(list, 5000, RATE, null, 1000), 999);
  assert.equal(freePlace([], -4, RATE, null, 1000), 0);
});

test("a beat is where the values stand out, up or down", () => {
  const values = new Float32Array(150).fill(2.5);
  values[80] = 3.4;
  values[20] = 9; // out of reach
  assert.equal(standsOut(values, 75, 12), 80);
  values[80] = 1.2;
  assert.equal(standsOut(values, 75, 12), 80);
  assert.equal(standsOut(values, 120, 12), 120, "nothing stands out: where it was asked for");
});

test("what is edited while beats and edits are read comes with them, known to the server or not", () => {
  const read = [mark(100), mark(300), mark(500)];
  const changes = [added(200, "ecg"), removed([], mark(300), RATE), moved([{ at: 200 }], mark(200, true), 220, RATE)];
  const want = [100, 220, 500];
  for (let known = 0; known <= changes.length; known++) {
    const list = changes.slice(0, known).reduce(changed, read);
    assert.deepEqual(changedMeanwhile(list, changes, RATE).map((m) => m.sample), want, `${known} known`);
    const edits = changes.slice(0, known).reduce(changedEdits, []);
    assert.deepEqual(changes.reduce(changedEdits, edits).sort((a, b) => (a.at ?? 0) - (b.at ?? 0)), [{ was: 300 }, { at: 220 }], `${known} known`);
  }
  assert.deepEqual(changedMeanwhile([mark(101), mark(500)], [added(100, "ecg")], RATE).map((m) => m.sample), [100, 500], "a decimated channel has it a little elsewhere");
  const note = (sample, text) => ({ sample, text });
  assert.deepEqual(withNotes([note(10, "a"), note(30, "c")], [note(20, "b"), note(10, "a")]).map((n) => n.text), ["a", "b", "c"]);
});
