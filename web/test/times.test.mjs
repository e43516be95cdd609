import assert from "node:assert/strict";
import { test } from "node:test";
import { Times } from "../js/review/times.js";

test("from the beginning", () => {
  const t = new Times();
  t.begin(undefined);
  assert.equal(t.known, false);
  assert.equal(t.text(83.5, 0.1), "1:23.5");
  for (const [text, seconds] of [["83.5", 83.5], ["1:23,5", 83.5], ["1:02:03", 3723], ["0:07", 7], ["90", 90]]) assert.equal(t.parse(text), seconds, text);
  for (const text of ["", "now", "1:75", "1:2:3:4", "-3", "1.5:20"]) assert.ok(Number.isNaN(t.parse(text)), text);
});

test("by the clock on the wall, past midnight too", () => {
  const t = new Times();
  t.begin(new Date(2026, 2, 1, 23, 59, 30, 250).toISOString());
  t.clock = true;
  assert.equal(t.text(0, 0.01), "23:59:30.25");
  assert.equal(t.text(29.999, 1), "00:00:00");
  assert.equal(t.text(40, 1), "00:00:10");
  assert.equal(t.parse("23:59:31"), 0.75);
  assert.equal(t.parse("00:00:10"), 39.75);
  assert.equal(t.parse("23:59"), 86400 - 30.25, "the next day");
  assert.equal(t.parse("12"), 12, "seconds of the recording");
  assert.ok(Number.isNaN(t.parse("24:00")));
  t.clock = false;
  assert.equal(t.text(40, 1), "0:40");
});
