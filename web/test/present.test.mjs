import assert from "node:assert/strict";
import { test } from "node:test";

/** @type {any} */ (globalThis).window = globalThis;
const { Present } = await import("../js/show/present.js");

/** @param {boolean} [adopts] */
function page(adopts = true) {
  /** @type {any[]} */
  const sent = [];
  /** @type {any} */ (globalThis).fetch = async (/** @type {string} */ url, /** @type {{body: string}} */ init) => {
    sent.push(JSON.parse(init.body));
    return new globalThis.Response("{}", { headers: { "Content-Type": "application/json" } });
  };
  return { sent, present: new Present({ changed: () => {}, failed: (text) => assert.fail(text), adopt: () => adopts }) };
}
/** @param {string} by @param {string} [line] @returns {import("../js/types.js").Presentation} */
const shown = (by, line = "") => ({ on: true, by, frozen: null, secondsAcross: 4, lanes: [{ channel: 0, point: 3 }], typical: false, pointer: null, line });

test("a page follows another, looks alone when asked, also after the connection was lost, and follows the next presentation", () => {
  const { present } = page();
  for (const by of ["teacher", ""]) {
    present.take(shown(by));
    assert.equal(present.followed?.by, by);
    present.look(true);
    present.take(shown(by, "more"));
    assert.equal(present.followed, null);
    present.forget();
    assert.equal(present.offered, false);
    present.take(shown(by));
    assert.equal(present.followed, null, "still alone");
    present.look(false);
    assert.equal(present.followed?.by, by);
    present.look(true);
    present.take({ ...shown(by), on: false });
    present.take(shown(by));
    assert.equal(present.followed?.by, by, "a new presentation");
    present.take({ ...shown(by), on: false });
  }
});

test("a page does not follow itself; another that presents takes over; one that cannot go on ends it", async () => {
  const { present } = page();
  present.begin(() => shown(present.name));
  present.take(shown(present.name));
  assert.deepEqual([present.driving, present.followed], [true, null]);
  present.take(shown("other"));
  assert.deepEqual([present.driving, present.followed?.by], [false, "other"]);
  const late = page(false);
  late.present.take(shown(late.present.name));
  await new Promise((done) => setTimeout(done, 20));
  assert.deepEqual([late.present.driving, late.sent.at(-1)], [false, { on: false }]);
});

test("moved often, the newest is sent and not all; the end comes last", async () => {
  const { present, sent } = page();
  present.begin(() => shown(present.name, "0"));
  for (let n = 1; n <= 50; n++) {
    present.put(() => shown(present.name, String(n)));
    if (n % 10 === 0) await new Promise((done) => setTimeout(done, 10));
  }
  await new Promise((done) => setTimeout(done, 250));
  assert.ok(sent.length >= 1 && sent.length <= 5, `${sent.length} requests for 51 changes`);
  assert.equal(sent.at(-1).line, "50");
  present.put(() => shown(present.name, "51"));
  present.end();
  await new Promise((done) => setTimeout(done, 150));
  assert.deepEqual(sent.at(-1), { on: false });
});

test("ended and begun again at once, it presents: what comes of the end is of before", async () => {
  const { present, sent } = page();
  present.begin(() => shown(present.name));
  present.take(shown(present.name));
  present.end();
  present.begin(() => shown(present.name, "again"));
  present.take({ ...shown(""), on: false });
  assert.equal(present.driving, true);
  await new Promise((done) => setTimeout(done, 150));
  assert.deepEqual(sent.map((p) => p.on), [false, true]);
  present.take(shown(present.name, "again"));
  present.end();
  present.take(shown(present.name, "late"));
  assert.equal(present.driving, false, "what comes late of its own does not begin it again");
  await new Promise((done) => setTimeout(done, 50));
  present.take({ ...shown(""), on: false });
  present.take(shown("other"));
  assert.equal(present.followed?.by, "other");
});
