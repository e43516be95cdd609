import assert from "node:assert/strict";
import { test } from "node:test";
import { compare, HumStrip, hzToStop, parsePart, percent, STOPS, stopToHz, typeset, wireHint, worst } from "../js/drawers/figures.js";

const REPORT = {
  unit: "V",
  level: { known: true, swingVolts: 1, meanVolts: 2.5 }, pulse: { known: true, heightVolts: 1, beats: 8 },
  clipping: { known: true, converterKnown: true, converterLowShare: 0, converterHighShare: 0, flatLowShare: 0, flatHighShare: 0 },
  hum: { known: true, found: true, voltsRms: 0.1, toPulseKnown: true, toPulseDb: -11, limitVoltsRms: 0.001 },
  noise: { known: false }, drift: { known: false }, settling: { known: false },
};

test("the line beside the rate says what is wrong with the wire", () => {
  assert.equal(wireHint(undefined), "");
  assert.equal(wireHint(REPORT), "");
  const hum = { ...REPORT.hum, toPulseDb: 60 };
  assert.match(wireHint({ ...REPORT, hum }), /mains hum/);
  assert.match(wireHint({ ...REPORT, pulse: { ...REPORT.pulse, beats: 0 }, hum: { ...hum, toPulseDb: -1 } }), /mains hum/);
  assert.equal(wireHint({ ...REPORT, hum: { ...hum, found: false } }), "");
  assert.match(wireHint({ ...REPORT, level: { ...REPORT.level, stuck: true } }), /stands still/);
});

test("the slider's ends are 1 and 200 Hz, then out", () => {
  assert.equal(stopToHz(0), 1);
  assert.equal(stopToHz(STOPS), 200);
  assert.equal(stopToHz(STOPS + 1), 0);
  for (let s = 0; s <= STOPS + 1; s++) assert.equal(hzToStop(stopToHz(s)), s);
  // Geometric mean of 1 and 200 is √200 = 14.14.
  assert.ok(Math.abs(stopToHz(STOPS / 2) - 14.1) < 0.05);
});

test("parts are read as people write them", () => {
  const close = (got, want) => assert.ok(Math.abs(got / want - 1) < 1e-12, `${got} is not ${want}`);
  close(parsePart("4k7", "Ω"), 4700);
  close(parsePart("4.7 kΩ", "Ω"), 4700);
  close(parsePart("100 nF", "F"), 1e-7);
  close(parsePart("0,1 µF", "F"), 1e-7);
  close(parsePart("2u2", "F"), 2.2e-6);
  assert.equal(parsePart("  ", "F"), null);
  for (const bad of ["much", "4k7k", "-3", "1 V"]) assert.ok(Number.isNaN(parsePart(bad, "Ω")), bad);
});

test("the change from before to now is told with its sign, ratios in dB", () => {
  const after = structuredClone(REPORT);
  after.hum.voltsRms = 0.01; // a tenth: −20 dB
  after.pulse.heightVolts = 2; // twice: 6.02 dB
  const rows = new Map(compare(REPORT, after).map((r) => [r.name, r.change]));
  assert.equal(rows.get("Hum, rms"), "−20.0 dB");
  assert.equal(rows.get("Pulse height"), "+6.0 dB");
  assert.equal(rows.get("Noise"), "–");
});

test("the worst grade leads; a share under one in ten thousand is not called none", () => {
  const v = (grade) => ({ topic: "", grade, text: "", remedy: "" });
  assert.equal(worst([v("good"), v("poor"), v("fair")]), "poor");
  assert.equal(worst([]), "unknown");
  assert.equal(percent(0), "0 %");
  assert.equal(percent(1e-6), "under 0.01 %");
  assert.equal(typeset("19.7 % of the pulse (-14 dB)"), "19.7 % of the pulse (−14 dB)");
});

test("the strip keeps two minutes and shows at least a decade", () => {
  const s = new HumStrip();
  for (let t = 0; t <= 300; t++) s.add(t, REPORT);
  assert.equal(s.points[0].at, 180);
  s.fill(300.5, [{ ...REPORT, agoSeconds: 400 }, { ...REPORT, agoSeconds: 119 }, { ...REPORT, agoSeconds: 1 }]);
  assert.deepEqual(s.points.map((p) => p.at), [181.5, 299.5, 300]);
  const e = s.extent();
  assert.ok(e && e.high / e.low >= 10 - 1e-9 && e.low < 0.1 && e.high > 0.1);
});
