import assert from "node:assert/strict";
import { test } from "node:test";
import { leadOn, stepsDone } from "../js/guide.js";
import { defaultProbes, restoreProbes, toggleProbe } from "../js/path/probes.js";
import { delayAt, removed } from "../js/path/removed.js";
import { Rings } from "../js/rings.js";
import { BeatList, History, initialState, reduce, sameRun } from "../js/store.js";
import { places } from "../js/scene/sheet.js";
import { Lane, shareSpan } from "../js/trace/lanes.js";
import { advance, between, View } from "../js/trace/view.js";

const STATE = { type: "state", epoch: 3, rateHz: 250, sourceRateHz: 250, decimation: 1, clock: {}, channels: [{ label: "pulse" }], gaps: [], text: ["hello"] };

test("the reducer takes messages of its epoch only and leaves the rest alone", () => {
  let s = reduce(initialState(), { type: "reading", epoch: 3, channel: 0 });
  assert.equal(s.readings.length, 0, "nothing before the first state");
  s = reduce(s, STATE);
  assert.deepEqual(s.text, ["hello"]);
  const before = s;
  assert.equal(reduce(s, { type: "reading", epoch: 2, channel: 0, state: "reading" }), before);
  assert.equal(reduce(s, { type: "unheard of", epoch: 3 }), before);
  s = reduce(s, { type: "reading", epoch: 3, channel: 1, state: "searching" });
  assert.equal(s.readings[1].state, "searching");
  assert.equal(s.server, before.server);
  s = reduce(s, { type: "gap", epoch: 3, index: 500, samples: 10, reason: "unplugged" });
  s = reduce(s, { type: "gap", epoch: 3, index: 100, samples: 5, reason: "" });
  s = reduce(s, { type: "gap", epoch: 3, index: 500, samples: 40, reason: "unplugged" });
  assert.deepEqual(s.server.gaps.map((g) => [g.index, g.samples]), [[100, 5], [500, 40]]);
  s = reduce(s, { type: "clock", epoch: 3, usedRateHz: 256, claimedRateHz: 250, measuredRateHz: 256, uncertaintyHz: 0.1, warning: "w" });
  assert.equal(s.server.rateHz, 256);
  assert.equal(s.server.clock.warning, "w");
  s = reduce(s, { type: "text", epoch: 3, lines: ["a", "b"] });
  assert.deepEqual(s.text, ["hello", "a", "b"]);
  s = reduce(s, { ...STATE, text: undefined });
  assert.equal(s.readings.length, 2, "the same epoch keeps what is known");
  s = reduce(s, { ...STATE, epoch: 4, text: undefined });
  assert.equal(s.readings.length, 0);
  assert.deepEqual(s.text, []);
});

test("a program started anew is another run though its epoch is the same", () => {
  const a = { epoch: 1, t0: "2026-11-25T10:00:00Z" };
  assert.ok(sameRun(a, { epoch: 1, t0: "2026-11-25T10:00:00.500Z" }));
  assert.ok(!sameRun(a, { epoch: 1, t0: "2026-11-25T10:00:30Z" }));
  assert.ok(!sameRun(a, { epoch: 2, t0: a.t0 }));
  assert.ok(!sameRun(null, a));
  let s = reduce(initialState(), { ...STATE, t0: a.t0 });
  s = reduce(s, { type: "reading", epoch: 3, channel: 0, state: "reading" });
  s = reduce(s, { ...STATE, t0: "2026-11-25T11:00:00Z" });
  assert.equal(s.readings.length, 0);
});

test("beats come in any order and twice, and lie in order once", () => {
  const list = new BeatList(5);
  const beat = (sample, quality = 1) => ({ sample, foot: sample, kind: "ecg", amplitude: 1, quality });
  list.add([beat(300), beat(500)]);
  list.add([beat(100), beat(300, 0.5), beat(400)]);
  assert.deepEqual(list.beats.map((b) => b.sample), [100, 300, 400, 500]);
  assert.equal(list.beats[1].quality, 0.5);
  assert.equal(list.indexFrom(301), 2);
  assert.equal(list.indexFrom(300), 1);
  list.add([beat(600), beat(700)]);
  assert.deepEqual(list.beats.map((b) => b.sample), [300, 400, 500, 600, 700]);
});

test("undo and redo; a failed undo can be tried again", async () => {
  const h = new History();
  const log = [];
  let broken = true;
  h.record({ label: "one", undo: async () => log.push("-1"), redo: async () => log.push("+1") });
  h.record({ label: "two", undo: async () => {
    if (broken) throw new Error("no");
    log.push("-2");
  }, redo: async () => log.push("+2") });
  await assert.rejects(h.undo());
  broken = false;
  assert.equal(await h.undo(), "two");
  assert.equal(await h.undo(), "one");
  assert.equal(await h.undo(), "");
  assert.equal(await h.redo(), "one");
  assert.deepEqual(log, ["-2", "-1", "+1"]);
  h.record({ label: "three", undo: async () => {}, redo: async () => {} });
  assert.equal(await h.redo(), "", "a new change ends what was undone");
});

test("probes: defaults, eight at most, only sound ones are remembered", () => {
  assert.deepEqual(defaultProbes(1), [{ channel: 0, point: 0 }, { channel: 0, point: 3 }]);
  assert.equal(defaultProbes(2).length, 4);
  assert.equal(defaultProbes(3).length, 3, "six traces would be 45 px high");
  assert.deepEqual(defaultProbes(5).map((p) => p.point), [3, 3, 3, 3, 3]);
  assert.equal(defaultProbes(20).length, 8);
  let p = [0, 1, 2, 3].flatMap((channel) => [{ channel, point: 0 }, { channel, point: 3 }]);
  assert.equal(toggleProbe(p, { channel: 0, point: 4 }), null);
  p = toggleProbe(p, { channel: 0, point: 0 });
  p = toggleProbe(p, { channel: 0, point: 4 });
  assert.deepEqual(p[1], { channel: 0, point: 4 });
  assert.deepEqual(restoreProbes([{ channel: 1, point: 0 }, { channel: 0, point: 9 }, { channel: 0, point: 2 }, { channel: 0, point: 2 }], 1), [{ channel: 0, point: 2 }]);
  assert.deepEqual(restoreProbes([], 1), [], "none at all is a choice");
  assert.deepEqual(restoreProbes("rubbish", 1), defaultProbes(1));
});

test("the playhead glides at the samples' pace and never passes the newest", () => {
  // Blocks of 100 ms at 1000 Hz, drawn at 60 Hz.
  let head = 0;
  let newest = 0;
  const steps = [];
  for (let frame = 0; frame < 600; frame++) {
    newest = Math.floor(frame / 6) * 100;
    const before = head;
    head = advance(head, newest, 1000, 1 / 60);
    assert.ok(head <= newest && head >= before);
    if (frame > 300) steps.push(head - before);
  }
  assert.ok(newest - head < 200, "at most two blocks behind");
  assert.ok(Math.max(...steps) < 60, "no jump of a whole block");
  assert.equal(advance(0, 10000, 1000, 1 / 60), 10000, "far behind: at once");
});

test("view: places, scrolling, and the way back to live", () => {
  const v = new View();
  v.rateHz = 250;
  v.secondsAcross = 10;
  v.widthPx = 1000;
  v.follow(5000);
  assert.equal(v.samplesPerPx, 2.5);
  assert.equal(v.xPx(5000), 1000);
  assert.equal(v.xPx(2500), 0);
  assert.equal(v.indexAt(500), 3750);
  v.scroll(-1000, 0, 5000);
  assert.equal(v.end, 4000);
  assert.equal(v.held, true);
  v.follow(6000);
  assert.equal(v.end, 4000);
  v.scroll(-1e9, 1000, 6000);
  assert.equal(v.end, 3500, "not beyond the oldest kept");
  v.scroll(1e9, 1000, 6000);
  assert.equal(v.held, false);
  v.turns = true;
  v.follow(6001);
  assert.equal(v.end, 6250, "turning paper ends on half windows");
  const d = between(1000, 1205, 250);
  assert.equal(d.seconds, 0.82);
  assert.ok(Math.abs(d.bpm - 73.1707) < 1e-3);
});

test("lanes: places, fixed span about the middle, one span for lanes laid over each other", () => {
  const lanes = [new Lane({ channel: 0, point: 0 }, "V", 0), new Lane({ channel: 0, point: 3 }, "V", 0)];
  assert.deepEqual(places(2, 230, false), [{ top: 26, height: 76 }, { top: 126, height: 76 }]);
  assert.deepEqual(places(2, 230, true), [{ top: 26, height: 176 }, { top: 26, height: 176 }]);
  lanes[0].seenLow = 2.4;
  lanes[0].seenHigh = 2.6;
  lanes[1].seenLow = -0.01;
  lanes[1].seenHigh = 0.01;
  for (const l of lanes) l.settle(0.1, true);
  assert.ok(lanes[0].high > 2.6 && lanes[0].low < 2.4);
  shareSpan(lanes);
  assert.ok(Math.abs(lanes[0].high - lanes[0].low - (lanes[1].high - lanes[1].low)) < 1e-12);
  lanes[0].setSpan(0.5);
  lanes[0].settle(0.1, true);
  assert.ok(Math.abs(lanes[0].low - 2.25) < 1e-9 && Math.abs(lanes[0].high - 2.75) < 1e-9);
  lanes[0].stepSpan(-1);
  assert.equal(lanes[0].span, 0.2);
});

test("what a stage took away: offset as mean, a sine as A/√2, its delay taken out", () => {
  const n = 1000;
  const r = new Rings(1, 2, 2000);
  const lag = 5;
  const data = new Float32Array(2 * n);
  for (let i = 0; i < n; i++) {
    const kept = (k) => Math.sin((2 * Math.PI * k) / 200);
    data[i] = 2.5 + kept(i) + 0.2 * Math.sin((2 * Math.PI * i) / 10);
    data[n + i] = kept(i - lag);
  }
  r.push({ history: false, gapBefore: false, sequence: 0, first: 0, samples: n, channels: 1, points: 2, rateHz: 500, epoch: 1, ageMs: 0, data });
  const out = removed(r, 0, 1, 100, 900, lag);
  assert.equal(out.count, 800);
  assert.ok(Math.abs(out.mean - 2.5) < 1e-4);
  assert.ok(Math.abs(out.rms - 0.2 / Math.SQRT2) < 1e-4);
  assert.ok(Number.isNaN(removed(r, 0, 1, 5000, 6000, 0).rms));
  assert.equal(delayAt([1, 10, 100], [3, 2, 1], 12), 2);
});

test("first steps: a demo is not yet a source, counts not yet a scale, searching not yet a rate", () => {
  const server = (address) => ({ source: { address }, rateHz: 250 });
  assert.deepEqual(stepsDone(null, undefined, undefined), [false, false, false]);
  assert.deepEqual(stepsDone(server("demo:finger"), { unit: "V" }, { state: "reading" }), [false, false, false]);
  assert.deepEqual(stepsDone(server("serial:x"), { unit: "counts" }, { state: "reading" }), [true, false, false]);
  assert.deepEqual(stepsDone(server("serial:x"), { unit: "V" }, { state: "searching" }), [true, true, false]);
  assert.deepEqual(stepsDone(server("serial:x"), { unit: "V" }, { state: "reading" }), [true, true, true]);
});

test("first steps: a page loaded anew goes to what is left; one that was done stays where a person went back to", () => {
  const none = [false, false, false];
  assert.equal(leadOn(0, none, [true, true, false]), 2);
  assert.equal(leadOn(0, none, [true, true, true]), 2);
  assert.equal(leadOn(0, none, [true, false, false]), 1);
  assert.equal(leadOn(0, [true, false, false], [true, true, false]), 0);
  assert.equal(leadOn(1, [true, false, false], [true, true, false]), 2);
});

test("a replay paused, wound on or looped is shown so at once", () => {
  let s = reduce(initialState(), { type: "state", epoch: 1, t0: "2026-03-04T19:30:00Z", playback: { position: 0, length: 100, speed: 1, loop: false } });
  s = reduce(s, { type: "playback", position: 40, length: 100, speed: 0, loop: true });
  assert.deepEqual(s.server.playback, { position: 40, length: 100, speed: 0, loop: true });
});
