import assert from "node:assert/strict";
import { test } from "node:test";
import { EarlyBeats } from "../js/show/early.js";

const RATE = 250;

/** A pulse of so many bpm: a peak, and a second wave of 0.4 of its height; sign −1 is upside down. */
function signal(seconds, bpm, sign = 1, silence = [Infinity, Infinity]) {
  const n = seconds * RATE, x = new Float32Array(n), beats = [];
  for (let i = 0; i < n; i++) {
    const t = i / RATE;
    const p = (t * bpm) / 60 - Math.floor((t * bpm) / 60);
    const s = p * (60 / bpm);
    const on = t < silence[0] || t > silence[1];
    x[i] = on ? sign * (Math.exp(-(((s - 0.2) / 0.06) ** 2)) + 0.4 * Math.exp(-(((s - 0.45) / 0.06) ** 2)) - 0.15) : -0.15 * sign;
    if (on && Math.abs(s - 0.2) < 0.5 / RATE) beats.push(i);
  }
  return { x, beats };
}

/** Runs it as the page does: 4 samples a frame, a beat confirmed 0.9 s after it. */
function run({ x, beats }, early = new EarlyBeats()) {
  const told = [];
  let confirmed = 0;
  for (let end = 4; end <= x.length; end += 4) {
    while (confirmed < beats.length && beats[confirmed] + 0.9 * RATE < end) early.confirm(beats[confirmed++], RATE);
    if (early.push({ ring: x, capacity: x.length, start: 0, end, rateHz: RATE }, beats.slice(0, confirmed))) told.push(end);
  }
  return { told, stats: early.stats() };
}

test("beats are told as they come, each once, and the second wave is none", () => {
  for (const [bpm, sign] of [[50, 1], [75, 1], [75, -1], [130, 1]]) {
    const s = signal(60, bpm, sign);
    const { told, stats } = run(s);
    const expected = s.beats.filter((b) => b > told[0] - 0.3 * RATE).length;
    assert.ok(Math.abs(told.length - expected) <= 1, `${bpm} bpm: ${told.length} told of ${expected}`);
    assert.equal(stats.wrong, 0);
    assert.ok(stats.lateSeconds > 0 && stats.lateSeconds < 0.1, `${bpm} bpm: ${stats.lateSeconds} s late`);
  }
});

test("a tick that no beat follows is counted", () => {
  const s = signal(60, 75);
  s.x.set(s.x.slice(s.beats[30] - 20, s.beats[30] + 30), s.beats[40] + 120); // an artefact like a beat, between two
  s.beats = s.beats.filter((_, i) => i !== 20); // and one that the program does not confirm
  const { stats } = run(s);
  assert.ok(stats.wrong >= 1, `${stats.wrong} wrong`);
});

test("nothing is told before beats are known, and in silence", () => {
  const s = signal(40, 75, 1, [20, 30]);
  const { told } = run(s);
  assert.ok(told[0] > s.beats[3]);
  assert.equal(told.filter((t) => t > 20.5 * RATE && t < 30 * RATE).length, 0);
});
