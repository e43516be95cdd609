// What a person changes on a drawn board while the program still works on what was there
// before must stay.

import assert from "node:assert/strict";
import { test } from "node:test";

import { BoardModel } from "../js/board/model.js";

const drawn = () => ({ board: 1, name: "lamp clip", kind: "pulse", supplyVolts: 5, stages: [{ stage: "low-pass", parts: { trimmer: { value: 20000, at: 0.45 } } }] });

/**
 * A server that answers when it is told to.
 * @param {(path: string, sent: any) => any} answerTo
 */
function server(answerTo) {
  /** @type {{path: string, sent: any, answer: () => void}[]} */
  const waiting = [];
  globalThis.window = /** @type {any} */ (globalThis);
  globalThis.fetch = /** @type {any} */ ((/** @type {string} */ path, /** @type {any} */ init) => new Promise((resolve) => {
    const sent = JSON.parse(init.body);
    waiting.push({ path, sent, answer: () => resolve({ ok: true, status: 200, text: async () => JSON.stringify(answerTo(path, sent)), json: async () => answerTo(path, sent) }) });
  }));
  return waiting;
}

/** @param {() => boolean} condition */
async function until(condition) {
  for (let i = 0; i < 500 && !condition(); i++) await new Promise((resolve) => setTimeout(resolve, 5));
  assert.ok(condition());
}

const at = (/** @type {any} */ board) => board.stages[0].parts.trimmer.at;

test("a trimmer turned while the figures are worked out stays turned", async () => {
  const waiting = server((_, sent) => ({ board: sent.board, figures: {}, parts: [], cautions: [] }));
  const model = new BoardModel({ channel: () => 0, problem: assert.fail });
  model.draw(/** @type {any} */ (drawn()));
  await until(() => waiting.length === 1);
  model.edit(0, "trimmer", { at: 0.95 });
  waiting[0].answer();
  await until(() => waiting.length === 2);
  assert.equal(at(model.draft), 0.95);
  assert.equal(at(waiting[1].sent.board), 0.95);
  waiting[1].answer();
  await until(() => model.computed !== null);
  assert.equal(at(model.draft), 0.95);
  model.destroy();
});

test("a trimmer turned while what is soldered is told stays turned", async () => {
  const waiting = server((_, sent) => ({ board: sent.board, figures: {}, parts: [], cautions: [] }));
  const model = new BoardModel({ channel: () => 0, problem: (text) => assert.equal(text, "") });
  model.draw(/** @type {any} */ (drawn()));
  const kept = model.keep();
  await until(() => waiting.some((w) => w.path.endsWith("/channels/0/board")));
  model.edit(0, "trimmer", { at: 0.95 });
  for (const w of waiting) w.answer();
  await kept;
  assert.equal(at(model.present), 0.45);
  assert.equal(at(model.draft), 0.95);
  assert.ok(model.changes);
  model.destroy();
});
