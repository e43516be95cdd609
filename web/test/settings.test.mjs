// Settings that are changed faster than the program answers.

import assert from "node:assert/strict";
import { test } from "node:test";

import { Sending } from "../js/path/sending.js";
import { History, takenBack } from "../js/store.js";

/** Promises that are kept when it is told. */
function later() {
  const waiting = [];
  return { waiting, ask: (what) => new Promise((ok, no) => waiting.push({ what, ok, no })) };
}

const settle = () => new Promise((resolve) => setTimeout(resolve, 2));

/** A path on its way to a program that answers when it is told to. */
function path() {
  const { waiting, ask } = later();
  const history = new History();
  const p = { waiting, history, received: { cutoff: 0.5, shape: "butterworth" }, log: [] };
  p.sending = new Sending({ history, put: async (_, sent) => {
    p.log.push(sent);
    await ask(sent);
    return sent;
  }, received: () => p.received });
  p.set = (name, v) => p.sending.change({ channel: 0, label: name, edit: (now) => (now[name] = v) });
  p.answer = async () => {
    await settle();
    waiting.shift().ok();
    await settle();
  };
  return p;
}

test("a change is built on the one before, whose state has not come", async () => {
  const p = path();
  void p.set("cutoff", 0.7);
  void p.set("shape", "rc");
  await p.answer();
  await p.answer();
  assert.deepEqual(p.log.at(-1), { cutoff: 0.7, shape: "rc" });
  p.received = { cutoff: 0.7, shape: "butterworth" };
  assert.equal(p.sending.now(0).shape, "rc", "an older state is not shown");
  p.received = { cutoff: 0.7, shape: "rc" };
  p.sending.now(0);
  p.received = { cutoff: 0.9, shape: "rc" };
  assert.equal(p.sending.now(0).cutoff, 0.9, "after its state another's change is shown");
});

test("where the state comes before the answer, the next state is shown", async () => {
  const p = path();
  void p.set("cutoff", 0.7);
  await settle();
  p.received = { cutoff: 0.7, shape: "butterworth" };
  await p.answer();
  p.received = { cutoff: 0.5, shape: "butterworth" };
  assert.equal(p.sending.now(0).cutoff, 0.5);
});

test("an arrow key pressed thrice goes up thrice, and the newest waits while one is sent", async () => {
  const p = path();
  const shown = [];
  for (const v of [0.55, 0.61, 0.67]) {
    void p.set("cutoff", v);
    await settle();
    shown.push(p.sending.now(0).cutoff);
    p.received = { ...p.received }; // an older state comes
    shown.push(p.sending.now(0).cutoff);
  }
  assert.deepEqual(shown, [0.55, 0.55, 0.61, 0.61, 0.67, 0.67]);
  assert.equal(p.log.length, 1);
  await p.answer();
  await p.answer();
  assert.deepEqual(p.log.map((s) => s.cutoff), [0.55, 0.67]);
  assert.equal(p.waiting.length, 0);
});

test("a refused change goes, and the next is built without it", async () => {
  const p = path();
  const refused = p.set("cutoff", 99);
  const next = p.set("shape", "rc");
  await settle();
  p.waiting.shift().no(new Error("no"));
  await assert.rejects(refused);
  await p.answer();
  await next;
  assert.deepEqual(p.log.at(-1), { cutoff: 0.5, shape: "rc" });
  assert.equal(p.history.done.length, 1);
});

test("a change made while an undo is awaited is built on what was undone, and ends redo", async () => {
  const p = path();
  void p.set("cutoff", 0.7);
  await p.answer();
  const undone = p.history.undo();
  void p.set("shape", "rc");
  await p.answer();
  assert.equal(await undone, "cutoff");
  await p.answer();
  assert.deepEqual(p.log.at(-1), { cutoff: 0.5, shape: "rc" });
  assert.equal(await p.history.redo(), "");
});

const change = (label, ask) => ({ label, undo: () => ask(label), redo: () => ask(label) });

test("two fast undos are asked one after the other", async () => {
  const { waiting, ask } = later();
  const h = new History();
  h.record(change("one", ask));
  h.record(change("two", ask));
  const both = [h.undo(), h.undo()];
  await settle();
  assert.deepEqual(waiting.map((w) => w.what), ["two"]);
  waiting[0].ok();
  await settle();
  waiting[1].ok();
  assert.deepEqual(await Promise.all(both), ["two", "one"]);
});

test("what is recorded at once while an undo is awaited stays to be undone, and ends redo", async () => {
  const { waiting, ask } = later();
  const h = new History();
  h.record(change("cutoff", ask));
  const undone = h.undo();
  await settle();
  h.record(change("probe", ask));
  waiting[0].ok();
  await undone;
  assert.deepEqual([h.done.map((c) => c.label), h.undone], [["probe"], []]);
});

test("a new source has nothing of the old one to undo or redo", async () => {
  for (const way of ["undo", "redo", "make"]) {
    const { waiting, ask } = later();
    const h = new History();
    h.record(change("old", ask));
    if (way === "redo") {
      const undone = h.undo();
      await settle();
      waiting.shift().ok();
      await undone;
    }
    const asked = way === "make" ? h.make(async () => {
      await ask("old");
      return change("old", ask);
    }) : h[way]();
    const second = h.make(() => assert.fail("sent to another source"));
    await settle();
    h.clear();
    waiting[0].ok();
    await asked;
    await second;
    assert.deepEqual([h.done, h.undone], [[], []], way);
  }
});

test("a scale taken back leaves what was measured since", () => {
  const before = { source: "board", gain: 1, fullScaleVolts: 1, couplingHz: 0, midRailVolts: null };
  const after = { ...before, source: "fullscale", gain: 2, fullScaleVolts: 3 };
  const measured = { ...after, fullScaleVolts: 2.5, couplingHz: 0.4 };
  assert.deepEqual(takenBack(measured, before, after), { ...before, fullScaleVolts: 2.5, couplingHz: 0.4 });
  assert.deepEqual(takenBack({ ...before, couplingHz: 0.4 }, after, before), { ...after, couplingHz: 0.4 });
});

test("a scale for all columns leaves each its gain and polarity", async () => {
  const { scalesOf } = await import("../js/scale-dialog.js");
  const channels = /** @type {any} */ ([{ scale: { source: "board", bits: 0, gain: 1, invert: false } }, { scale: { source: "unknown", bits: 0, gain: 101, invert: true } }]);
  const scale = /** @type {any} */ ({ source: "converter", bits: 10, gain: 11, invert: false });
  assert.deepEqual(scalesOf(0, scale, channels, true), [{ channel: 0, scale }, { channel: 1, scale: { source: "converter", bits: 10, gain: 101, invert: true } }]);
  assert.deepEqual(scalesOf(0, scale, channels, false), [{ channel: 0, scale }]);
});
