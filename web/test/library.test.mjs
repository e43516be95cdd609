import assert from "node:assert/strict";
import { test } from "node:test";

globalThis.window ??= /** @type {any} */ ({ addEventListener() {}, matchMedia: () => ({ matches: false, addEventListener() {} }) });
globalThis.localStorage ??= /** @type {any} */ ({ getItem: () => null, setItem() {} });
const { recordedSeconds, sorted, summary } = await import("../js/drawers/recordings.js");

const entry = (name, more) => ({ id: name + ".edf", name, address: "", seconds: 10, rateHz: 250, channels: ["a"], bytes: 1, medianBpm: 0, note: "", annotations: 0, recording: false, problem: "", ...more });

test("the list in every order", () => {
  const list = [entry("walk 10", { seconds: 5, medianBpm: 90 }), entry("walk 9", { seconds: 50, rateHz: 500 }), entry("rest", { seconds: 20, medianBpm: 60 })];
  const names = (by) => sorted(list, by).map((e) => e.name).join("|");
  assert.equal(names("newest"), "walk 10|walk 9|rest");
  assert.equal(names("oldest"), "rest|walk 9|walk 10");
  assert.equal(names("name"), "rest|walk 9|walk 10");
  assert.equal(names("longest"), "walk 9|rest|walk 10");
  assert.equal(names("bpm"), "rest|walk 10|walk 9", "what has no rate comes last");
  assert.equal(names("rate"), "walk 9|walk 10|rest");
});

test("a line tells the kind where the channel's name does not", () => {
  assert.match(summary(entry("a", { kinds: ["ecg"], channels: ["lead I"] })), /lead I · ECG/);
  assert.doesNotMatch(summary(entry("a", { kinds: ["ecg"], channels: ["ecg"] })), /ECG/);
  assert.match(summary(entry("a", { kinds: ["ecg", "pulse", ""], channels: ["a", "b", "c"], medianBpm: 71.6 })), /3 channels · ECG, pulse · 72.bpm/);
});

test("a recording's seconds are those of its signal, not of the clock on the wall", () => {
  const server = { recording: { seconds: 2 }, lastIndex: 1000, rateHz: 250 };
  assert.equal(recordedSeconds(server, 1500), 4);
  assert.equal(recordedSeconds(server, 1500), 4); // however long the board is away
  assert.equal(recordedSeconds(server, 0), 2); // no sample of this page yet
  assert.equal(recordedSeconds({ ...server, rateHz: 0 }, 1500), 2);
  assert.equal(recordedSeconds({ ...server, recording: null }, 1500), 0);
  assert.equal(recordedSeconds(null, 1500), 0);
});
