// What a person changes on a drawn board while the program still works on what was there
// before must stay.

import assert from "node:assert/strict";
import { test } from "node:test";

import { BoardModel } from "../js/board/model.js";
import { beatWords } from "../js/drawers/parts.js";

const drawn = (where = 0.45) => ({ board: 1, name: "lamp clip", kind: "pulse", supplyVolts: 5, stages: [{ stage: "low-pass", parts: { trimmer: { value: 20000, at: where } } }] });

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

/** What the server tells of its channels. @param {any[]} boards by channel @param {string} [unit] @param {string} [address] */
const state = (boards, unit = "V", address = "demo:both") => /** @type {any} */ ({ server: { owner: true, source: { address }, channels: boards.map((board) => ({ board, unit })) } });

/** A model that is told of a channel. @param {(text: string) => void} [problem] */
function modelOf(problem = (text) => assert.equal(text, "")) {
  let channel = 0;
  const model = new BoardModel({ channel: () => channel, problem });
  return { model, tell: (/** @type {any} */ s, n = channel) => {
    channel = n;
    model.changed(s);
  } };
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

const figures = (/** @type {string} */ path, /** @type {any} */ sent) => (path.endsWith("/turn") ? { places: [] } : { board: sent.board, figures: { of: sent.board && at(sent.board) }, parts: [], cautions: [] });

test("what is drawn and not soldered stays with its channel and source", () => {
  server(figures);
  const { model, tell } = modelOf();
  tell(state([null, null], "counts"));
  model.draw(/** @type {any} */ (drawn()));
  tell(state([null, null], "V"));
  assert.equal(at(model.draft), 0.45, "volts are said");
  tell(state([drawn(), drawn(0.2)]));
  model.edit(0, "trimmer", { at: 0.95 });
  tell(state([drawn(), drawn(0.2)]), 1);
  assert.equal(at(model.draft), 0.2);
  tell(state([drawn(), drawn(0.2)]), 0);
  assert.equal(at(model.draft), 0.95, "back on its channel");
  tell(state([]));
  assert.equal(model.draft, null);
  tell(state([drawn(), null]));
  assert.equal(at(model.draft), 0.95, "the source is open again");
  tell(state([null, null], "V", "demo:finger"));
  assert.equal(model.draft, null, "another source");
  tell(state([drawn(), null]));
  assert.ok(model.changes);
  tell(state([null, null]));
  assert.equal(model.draft, null, "the board is taken away");
  model.destroy();
});

test("figures that come for another channel's board, or the board before, change nothing", async () => {
  const waiting = server(figures);
  const { model, tell } = modelOf();
  tell(state([drawn(), drawn(0.2)]));
  await until(() => waiting.length === 1);
  tell(state([drawn(), drawn(0.2)]), 1);
  waiting[0].answer();
  await until(() => waiting.length === 2);
  assert.equal(at(model.draft), 0.2);
  waiting[1].answer();
  await until(() => model.computed !== null);
  assert.equal(at(model.draft), 0.2);
  assert.equal(at(model.before?.board), 0.2);

  const before = waiting.length;
  model.edit(0, "trimmer", { at: 0.95 });
  model.setTolerance(0.1);
  await until(() => waiting.length === before + 1);
  const kept = model.keep();
  await until(() => waiting.length === before + 2);
  waiting[before + 1].answer();
  await kept;
  waiting[before].answer();
  await until(() => waiting.length === before + 3);
  assert.equal(at(model.draft), 0.95);
  waiting[before + 2].answer();
  await until(() => !!model.before);
  assert.equal(at(model.before?.board), 0.95);
  assert.equal(at(model.draft), 0.95);
  model.destroy();
});

test("a comparison and a board said to be soldered are of the channel they were asked for", async () => {
  const waiting = server((path, sent) => (path.includes("/channels/") ? { board: sent.board, of: path } : figures(path, sent)));
  globalThis.document = /** @type {any} */ ({ hidden: false });
  const { model, tell } = modelOf();
  const looks = (/** @type {number} */ n) => waiting.filter((w) => w.path.endsWith(`/channels/${n}/board/look`));
  tell(state([drawn(), drawn(0.2)]));
  const unwatch = model.watch();
  await until(() => looks(0).length === 1);
  looks(0)[0].answer();
  await until(() => waiting.some((w) => w.path.endsWith("/channels/0/board/compare")));
  tell(state([drawn(), drawn(0.2)]), 1);
  for (const w of waiting) w.answer();
  await until(() => looks(1).length > 0);
  assert.equal(model.comparison, null);

  model.edit(0, "trimmer", { at: 0.7 });
  const kept = model.keep();
  tell(state([drawn(), drawn(0.2)]), 0);
  for (const w of waiting) w.answer();
  await kept;
  assert.equal(at(model.present), 0.45);
  assert.equal(at(model.draft), 0.45);
  tell(state([drawn(), drawn(0.7)]), 1);
  assert.equal(model.changes, false);
  unwatch();
  model.destroy();
});

test("a board whose taking away is refused stays", async () => {
  server(figures);
  globalThis.fetch = /** @type {any} */ (async () => ({ ok: false, status: 409, json: async () => ({ error: "no" }) }));
  let said = "";
  const { model, tell } = modelOf((text) => (said = text));
  tell(state([drawn()]));
  await model.keep(null);
  assert.equal(said, "No.");
  assert.equal(at(model.draft), 0.45);
  server((_, sent) => ({ board: sent.board })).push = /** @type {any} */ ((/** @type {any} */ w) => w.answer());
  await model.keep(null);
  assert.equal(model.draft, null);
  assert.equal(model.present, null);
  model.destroy();
});

test("nothing soldered, a trimmer is held against itself in the middle", async () => {
  const waiting = server((path, sent) => (path.endsWith("/turn") ? { places: [] } : { ...figures(path, sent), parts: [{ ref: "P1", stage: 0, role: "trimmer", at: at(sent.board) || undefined }] }));
  waiting.push = /** @type {any} */ ((/** @type {any} */ w) => (Array.prototype.push.call(waiting, w), w.answer()));
  const { model, tell } = modelOf();
  const turns = () => waiting.filter((w) => w.path.endsWith("/turn")).map((w) => at(w.sent.board));
  tell(state([null]));
  for (const where of [0.7, 0]) {
    model.draw(/** @type {any} */ (drawn(where)));
    await until(() => model.computed !== null && at(model.computed.board) === where && model.turned !== null);
  }
  assert.deepEqual(turns(), [0.5]);
  tell(state([drawn(0.2)]));
  await until(() => turns().length === 2);
  assert.deepEqual(turns(), [0.5, 0.2]);
  model.destroy();
});

test("a ghost as high as the beat is no news", () => {
  assert.deepEqual(beatWords([0, 0.8461], [0, 0.8459]), []);
  assert.match(beatWords([0, 0.5], [0, 0.846])[0], /500\u00a0mV high instead of 846/);
  assert.deepEqual(beatWords([], []), []);
});

test("there is a ghost only of what was said to be soldered", () => {
  server(() => ({}));
  const { model, tell } = modelOf();
  tell(state([null]));
  model.draw(/** @type {any} */ (drawn()));
  model.edit(0, "trimmer", { at: 0.95 });
  assert.deepEqual([model.changes, model.ghosted], [true, false]);
  tell(state([drawn()]));
  assert.deepEqual([model.changes, model.ghosted], [true, true], "the trimmer stands elsewhere than it is soldered");
  model.back();
  assert.deepEqual([model.changes, model.ghosted], [false, false]);
  model.destroy();
});
