import assert from "node:assert/strict";
import { test } from "node:test";

globalThis.window = /** @type {any} */ ({});
const { browserAddress, mediaProblem, processingOf } = await import("../js/audio-input.js");
const { place } = await import("../js/audio-response.js");
const { cornersText, costText } = await import("../js/drawers/soundcard.js");

test("what the browser still does to the sound is found in its settings", () => {
  assert.deepEqual(processingOf({ echoCancellation: false, noiseSuppression: false, autoGainControl: false }), { on: [], unsure: [] });
  // The newer form of the setting is a word: "all", "remote-only".
  assert.deepEqual(processingOf({ echoCancellation: "all", noiseSuppression: true }), { on: ["echoCancellation", "noiseSuppression"], unsure: ["autoGainControl"] });
});

test("an input's address is what the program makes of its name", () => {
  // As TestBrowserGapsAreMarked in acquire/soundcard has it.
  assert.equal(browserAddress("a  b?c", { id: "", channels: 2, side: "right", keep: "full" }), "sound:browser/a b c?keep=full&side=right");
  assert.equal(browserAddress("USB Audio: Mono (1234:5678)", { id: "", channels: 1, side: "left", keep: "slow" }), "sound:browser/USB Audio: Mono (1234:5678)");
});

test("refusals are sentences", () => {
  const refused = new Error("x");
  refused.name = "NotAllowedError";
  assert.match(mediaProblem(refused), /Allow the microphone/);
  assert.equal(mediaProblem(new Error("own words")), "own words");
});

/**
 * @param {number} first
 * @param {number[]} samples
 */
function frame(first, samples) {
  const b = new ArrayBuffer(32 + 4 * samples.length);
  const d = new DataView(b);
  d.setBigInt64(8, BigInt(first), true);
  d.setUint32(24, samples.length, true);
  new Float32Array(b, 32).set(samples);
  return b;
}

test("frames fall into their places, and what is lost stays missing", () => {
  const into = new Float32Array(6).fill(NaN);
  assert.equal(place(into, frame(90, [1, 1]), 100), false);
  assert.equal(place(into, frame(98, [7, 8, 1, 2]), 100), false);
  assert.equal(place(into, frame(103, [4]), 100), false);
  assert.equal(place(into, frame(104, [5, 6, 9]), 100), true);
  assert.deepEqual([...into], [1, 2, NaN, 4, 5, 6]);
});

test("corners and cost in words", () => {
  assert.equal(cornersText({ freqHz: [], gainDb: [], phaseDegrees: [], trust: [], passbandDb: -6, trustedLowHz: 0.5, trustedHighHz: 242, corners: [{ freqHz: 15.96, rising: false }] }).replaceAll("\u00a0", " "), "−3 dB at 16.0 Hz (falling), against −6.0 dB at best. The sweep came through from 0.50 to 242 Hz.");
  const channel = /** @type {any} */ ({ unit: "V", coupling: { cornerHz: 8, floorHz: 0.05, gainDb: 44, noiseTimes: 2, noiseLowHz: 0.5, noiseHighHz: 40.5 } });
  // 1 µV/√Hz far above the corner, over 40 Hz: 6.3 µV; twice that.
  const text = costText(channel, { noise: { known: true, centreHz: 1e6, voltsPerRootHz: 1e-6 } }).replaceAll("\u00a0", " ");
  assert.match(text, /grows 2(\.00)? times \(6\.0 dB\): from 6\.3 µV to 13 µV rms/);
  assert.equal(costText(/** @type {any} */ ({ unit: "V", coupling: null }), undefined), "");
});
