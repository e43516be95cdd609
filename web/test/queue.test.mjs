import assert from "node:assert/strict";
import { test } from "node:test";
import { Queue, spaced } from "../js/queue.js";
import { Spoken } from "../js/reading.js";

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

test("a board that goes just after the rate was said is said too, and soon", async () => {
  globalThis.window = /** @type {any} */ (globalThis);
  /** @type {string[]} */
  const said = [];
  const spoken = new Spoken(spaced((text) => said.push(text), 40));
  spoken.tell("72 beats per minute", "reading");
  spoken.tell("73 beats per minute", "reading");
  spoken.tell("searching", "searching");
  spoken.tell("the source is away", "no signal");
  assert.deepEqual(said, ["72 beats per minute"]);
  await new Promise((resolve) => setTimeout(resolve, 120));
  assert.deepEqual(said, ["72 beats per minute", "the source is away"]);
  spoken.tell("the source is away", "no signal");
  spoken.tell("74 beats per minute", "reading");
  assert.deepEqual(said.slice(2), ["74 beats per minute"]);
});
