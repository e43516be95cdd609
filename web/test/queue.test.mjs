import assert from "node:assert/strict";
import { test } from "node:test";
import { Queue } from "../js/queue.js";

test("what is asked for while something is awaited is done after it, and the same only once", async () => {
  const queue = new Queue();
  const done = [];
  /** @type {() => void} */
  let answer = () => {};
  void queue.do("keep", () => new Promise((resolve) => (answer = () => {
    done.push("keep");
    resolve();
  })));
  const stop = async () => void done.push("stop");
  void queue.do("stop", stop);
  const last = queue.do("stop", stop);
  await new Promise((resolve) => setTimeout(resolve, 5));
  assert.deepEqual(done, []);
  assert.equal(queue.busy, true);
  answer();
  await last;
  assert.deepEqual(done, ["keep", "stop"]);
  await queue.do("stop", stop);
  assert.deepEqual(done, ["keep", "stop", "stop"]);
  assert.equal(queue.busy, false);
});
