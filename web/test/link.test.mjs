// The Link drawer's words.

import assert from "node:assert/strict";
import test from "node:test";
import { clockWords } from "../js/drawer-board.js";

const column = (use, clock = "", name = "") => ({ name, unit: "", use, clock });

test("the column that is taken as the clock is named", () => {
  assert.equal(clockWords([column("clock", "t_us"), column("signal")]), "column 1 is taken as the board’s clock, in microseconds");
  assert.equal(clockWords([column("counter", "seq", "n"), column("signal"), column("clock", "t_ms", "millis")]), "column 3 (millis) is taken as the board’s clock, in milliseconds; column 1 (n) is taken as a counter of lines");
  assert.equal(clockWords([column("signal")]), "when it arrives; no column is taken as a clock");
});
