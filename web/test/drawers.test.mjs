import assert from "node:assert/strict";
import { test } from "node:test";
import { DRAWERS } from "../js/drawers/list.js";

test("each drawer has an id and a key of its own", () => {
  assert.ok(DRAWERS.length >= 10);
  for (const what of /** @type {const} */ (["id", "key", "title"])) assert.equal(new Set(DRAWERS.map((d) => d[what])).size, DRAWERS.length, what);
});
