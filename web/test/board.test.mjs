// Boards in words and numbers.
import assert from "node:assert/strict";
import { test } from "node:test";
import { asShown, boardFigures, cornersText, differences, gainText, parseValue, partOf, sameBoard, sideBySide, valueText, withPart, withStage } from "../js/board/words.js";

const plain = (text) => text.replaceAll("\u00a0", " ");
const BOARD = { board: 1, supplyVolts: 5, stages: [{ stage: "generator", parts: { source: "1k" } }, { stage: "low-pass", parts: { resistor: "4k7", trimmer: { value: "20k", at: 0.45 }, capacitor: 1e-6 } }] };

test("values are read as people write them", () => {
  for (const [text, want] of [["4k7", 4700], ["10 kΩ", 1e4], ["100 nF", 1e-7], ["0,47u", 4.7e-7], ["2u2", 2.2e-6], ["1e-6", 1e-6], ["1M", 1e6], ["10 mA", 0.01], ["47", 47], ["0R47", 0.47]]) {
    assert.equal(parseValue(text), want, text);
  }
  for (const text of ["", "k", "27 cows", "-5k", "Infinity", "NaN", "1k2k", "0x10"]) assert.ok(Number.isNaN(parseValue(text)), text);
});

test("values are written with prefix and unit, and read back", () => {
  for (const [v, unit, want] of [[4700, "Ω", "4.7 kΩ"], [1e-6, "F", "1 µF"], [4.7e-10, "F", "470 pF"], [0.01, "A", "10 mA"], [1e6, "Ω", "1 MΩ"], [999.99999999, "Ω", "1 kΩ"]]) {
    assert.equal(plain(valueText(v, unit)), want);
    assert.ok(Math.abs(parseValue(valueText(v, unit)) / v - 1) < 1e-3);
  }
});

test("a changed part leaves the board it came from alone", () => {
  const next = withPart(BOARD, 1, "trimmer", { at: 0.9 });
  assert.deepEqual(next.stages[1].parts.trimmer, { value: 20e3, at: 0.9 });
  assert.equal(BOARD.stages[1].parts.trimmer.at, 0.45);
  assert.deepEqual(partOf(withPart(BOARD, 1, "resistor", { value: 10 }).stages[1].parts.resistor), { value: 10 });
  assert.ok(sameBoard(BOARD, structuredClone(BOARD)) && !sameBoard(BOARD, next) && !sameBoard(BOARD, null));
  const more = withStage(BOARD, 2, "sallen-key");
  assert.equal(more.stages.length, 3);
  assert.equal(more.stages[2].parts.first, 10e3);
  assert.equal(BOARD.stages.length, 2);
});

test("volts at the output are shown as the channel's scale says", () => {
  assert.deepEqual(asShown([1, 2], { gain: 2, invert: false, midRailVolts: null }), [0.5, 1]);
  assert.deepEqual(asShown([1, 4], { gain: 1, invert: true, midRailVolts: 2.5 }), [4, 1]);
});

test("differences name the part", () => {
  const before = [{ ref: "R4", unit: "Ω", value: 1e4 }, { ref: "P1", unit: "Ω", value: 2e4, at: 0.45 }, { ref: "C9", unit: "F", value: 1e-6 }];
  const after = [{ ref: "R4", unit: "Ω", value: 2.7e4 }, { ref: "P1", unit: "Ω", value: 2e4, at: 0.9 }, { ref: "C1", unit: "F", value: 1e-7 }];
  assert.deepEqual(sideBySide(before, after).map(plain), ["A: R4 10 kΩ, B: 27 kΩ", "A: P1 20 kΩ at 45 %, B: 20 kΩ at 90 %", "A: C9 1 µF, B: none", "A: C1 none, B: 100 nF"]);
  assert.deepEqual(differences(before, after).map(plain), ["R4 10 kΩ → 27 kΩ", "P1 at 45 % → 90 %", "C1 100 nF added", "C9 removed"]);
});

test("corners, gain and figures in words", () => {
  assert.equal(plain(cornersText({ lowHz: 0.374, highHz: 16.64, peakDb: 0 })), "0.374 Hz to 16.6 Hz");
  assert.equal(plain(cornersText({ lowHz: null, highHz: null, peakDb: 0 })), "all frequencies");
  assert.equal(plain(gainText(40)), "× 100");
  const rows = boardFigures({
    corners: { lowHz: 0.5, highHz: 16, peakDb: 40, peakHz: 3 }, humDb: -10, settlingSeconds: null, stages: [{ title: "gain" }],
    span: { clipsFirst: 0, inputVolts: 0.01, lowVolts: 0.02, highVolts: 3.5, restVolts: 2.5 },
    noise: { voltsRms: 1e-3, lowHz: 0.5, highHz: 15, sources: [{ name: "R1", what: "resistor" }] },
  }, { cornerHighHz: { low: 14, high: 18 } });
  const text = plain(rows.map((r) => r.join(": ")).join("\n"));
  for (const part of ["0.500 Hz to 16.0 Hz; 95 of 100 boards 14.0 to 18.0 Hz", "never", "gain, from 10.0 mV at the sensor", "most from R1 (resistor)"]) assert.ok(text.includes(part), `${part} in ${text}`);
});
