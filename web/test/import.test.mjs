// Files that are brought in.

import assert from "node:assert/strict";
import { test } from "node:test";

import { confirmed } from "../js/import.js";

test("what was shown as taken is confirmed where nothing else was said", () => {
  const said = { rate: "", time: "1", decimal: "comma", dates: "" };
  const doubts = [{ about: "decimal", taken: "point" }, { about: "dates", taken: "day-first" }, { about: "time", taken: "1 [ms]" }, { about: "unit", taken: "" }];
  assert.deepEqual(confirmed(said, doubts), { rate: "", time: "1 [ms]", decimal: "comma", dates: "day-first", unit: "" });
});
