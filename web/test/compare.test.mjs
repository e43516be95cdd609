import assert from "node:assert/strict";
import { test } from "node:test";
import { differences, grades } from "../js/compare/words.js";

/** A report as the server's meters give it. */
function report({ height = 1, humDb = -40, hum = 0.0035, noise = 0.001, clipped = 0, wander = 0.1, verdicts = [] }) {
  return {
    unit: "V", verdicts,
    level: { known: true }, pulse: { known: true, heightVolts: height, beats: 20 },
    clipping: { known: true, converterKnown: true, converterLowShare: 0, converterHighShare: clipped, flatLowShare: 0, flatHighShare: 0 },
    hum: { known: true, found: hum > 0, voltsRms: hum, toPulseKnown: hum > 0, toPulseDb: humDb, limitVoltsRms: 1e-5 },
    noise: { known: true, inHeartbeatBandVolts: noise }, drift: { known: true, swingVolts: wander }, settling: { known: false },
  };
}
const stretch = (what, more = {}) => ({ channel: "pulse", kind: "pulse", unit: "V", rateHz: 250, from: 0, to: 1000, medianBpm: 72, report: report(what), ...more });
const said = (a, b) => differences(a, b).join("\n");

test("alike boards are called alike", () => {
  const text = said(stretch({}), stretch({}));
  assert.match(text, /^Every item has the same grade/);
  assert.match(text, /equally high: 1\.00.V in A, 1\.00.V in B/);
  assert.match(text, /Hum compared with the pulse is about the same/);
  assert.match(text, /Noise compared with the pulse is about the same/);
  assert.doesNotMatch(text, /Clipped|wanders/);
});

test("heights are told as shares and times", () => {
  assert.match(said(stretch({ height: 1 }), stretch({ height: 1.5 })), /50 % higher in B/);
  assert.match(said(stretch({ height: 1 }), stretch({ height: 3 })), /3\.0 times as high in B/);
  assert.match(said(stretch({ height: 1 }), stretch({ height: 0.7 })), /30 % lower in B/);
  assert.match(said(stretch({ height: 1 }), stretch({ height: 0.25 })), /4\.0 times as high in A/);
  const far = said(stretch({ height: 0.001, wander: 0.0001 }), stretch({ height: 1 }));
  assert.match(far, /scales far apart: 1\.00.mV in A, 1\.00.V in B/);
  assert.doesNotMatch(far, /wanders|times as high/);
});

test("hum, noise, clipping and wander", () => {
  const text = said(stretch({ humDb: -20, hum: 0.035, noise: 0.001, wander: 0.1 }), stretch({ humDb: -42.5, hum: 0.0026, noise: 0.01, clipped: 0.03, wander: 0.4 }));
  assert.match(text, /B has 22\.5 dB less hum compared with the pulse: −20\.0 dB in A, −42\.5 dB in B/);
  assert.match(text, /B has 20\.0 dB more noise/); // 0.01 over 0.001 is 20 dB
  assert.match(text, /Clipped: none of A, 3\.0 % of B/);
  assert.match(text, /wanders 4\.0 times as far in B/);
  assert.doesNotMatch(text, /^Every item/); // no headline where hum differs by 22 dB
  assert.match(said(stretch({}), stretch({ hum: 0 })), /A has 3\.50.mV rms of hum; in B none is found/);
});

test("grades come first, units that differ are said", () => {
  const v = (topic, grade) => ({ topic, grade, text: "", remedy: "" });
  const a = stretch({ verdicts: [v("hum", "poor"), v("noise", "good"), v("drift", "fair")] });
  const b = stretch({ verdicts: [v("hum", "good"), v("noise", "fair"), v("drift", "fair")] });
  assert.equal(differences(a, b)[0], "B is graded better in hum and worse in noise.");
  assert.deepEqual(grades(a, b).find((g) => g.title === "Hum"), { title: "Hum", a: "poor", b: "good" });
  const text = said(stretch({}), stretch({}, { unit: "counts", kind: "ecg" }));
  assert.match(text, /A is in V and B in counts/);
  assert.match(text, /A is a pulse and B an ECG/);
  assert.doesNotMatch(text, /equally high/);
});
