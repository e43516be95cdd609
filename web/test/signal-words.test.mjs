import assert from "node:assert/strict";
import { test } from "node:test";

const { signalWords } = await import("../js/format.js");
const { readingWords } = await import("../js/show.js");

/** @param {string} grade */
const report = (grade) => ({ verdicts: [{ topic: "noise", grade: "poor" }, { topic: "hum", grade }] });

test("a signal in which Check finds much hum is not called clear", () => {
  assert.equal(signalWords(0.98, report("good")), "clear signal");
  assert.equal(signalWords(0.98, report("fair")), "clear signal");
  assert.equal(signalWords(0.98, undefined), "clear signal");
  assert.equal(signalWords(0.98, report("poor")), "clear beats in much hum");
  const r = { state: "reading", rateBpm: 72, quality: 0.7, reason: "" };
  assert.equal(readingWords(r, false, "", report("poor")).state, "Good beats in much hum");
});
