import assert from "node:assert/strict";
import test from "node:test";

import { answerName, holds, isLive } from "../js/cautions.js";

test("who is asked: everything but demos and recordings", () => {
  for (const a of ["serial:/dev/ttyACM0?baud=115200", "sound:browser", "tcp:board:4000", "udp:4000", "stdin:"]) assert.ok(isLive(a), a);
  for (const a of ["", "demo:chest", "file:walk.edf"]) assert.ok(!isLive(a), a);
});

test("an answer holds two hours, and no longer than until electrodes appear", () => {
  const hour = 3600 * 1000;
  assert.ok(!holds(undefined, 0, false));
  assert.ok(holds({ is: "finger", at: hour }, 2.9 * hour, false));
  assert.ok(!holds({ is: "finger", at: hour }, 3 * hour, false), "after two hours");
  assert.ok(!holds({ is: "yes", at: hour }, 0.5 * hour, true), "the clock was set back");
  assert.ok(!holds({ is: "nobody", at: hour }, 1.1 * hour, true), "an ECG appeared");
  assert.ok(holds({ is: "yes", at: hour }, 1.1 * hour, true));
});

test("one answer for a source however its address grows", () => {
  assert.equal(answerName("serial:/dev/ttyACM0"), answerName("serial:/dev/ttyACM0?baud=115200"));
  assert.equal(answerName("sound:browser"), answerName("sound:browser/Built-in Audio?side=left"));
  assert.equal(answerName("serial:browser"), answerName("serial:browser/USB 2a1b?baud=115200"));
  assert.notEqual(answerName("tcp:a:1"), answerName("tcp:b:1"));
});
