import assert from "node:assert/strict";
import { test } from "node:test";
import { recorded } from "./recorded.js";
import { initialState, reduce } from "../js/store.js";

test("a recorded stream brings the page to what it says", () => {
  const of = (type) => recorded.find((m) => m.type === type);
  // As on connecting: who one is, the state, then the rest.
  const list = [of("you"), of("state"), ...recorded.filter((m) => m.type !== "you" && m.type !== "state")];
  let state = initialState();
  for (const m of list) state = reduce(state, m);
  assert.equal(state.owner, true);
  assert.equal(state.server.channels.length, 2);
  assert.equal(state.readings[of("reading").channel].rateBpm, of("reading").rateBpm);
  assert.deepEqual(state.meters[of("meters").channel], of("meters").report);
  assert.equal(state.server.clock.usedRateHz, of("clock").usedRateHz);
  assert.ok(state.server.notes.some((n) => n.text === "pressed the clip"));
  // One of another epoch changes nothing.
  assert.equal(reduce(state, { ...of("reading"), epoch: state.server.epoch + 1, rateBpm: 1 }), state);
});
