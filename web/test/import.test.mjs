// Files that are brought in.

import assert from "node:assert/strict";
import { test } from "node:test";

import { bringIn } from "../js/drawers/import-box.js";
import { confirmed } from "../js/import.js";

/** A server that takes files when it is told to; the other requests it answers at once. */
function server() {
  const s = { waiting: [], asked: [], changes: 0 };
  const window = new EventTarget();
  window.addEventListener("recordings-changed", () => s.changes++);
  globalThis.window = window;
  globalThis.fetch = async (path, init) => {
    s.asked.push(`${init.method} ${path}`);
    return { ok: true, text: async () => "" };
  };
  globalThis.XMLHttpRequest = class extends EventTarget {
    upload = new EventTarget();
    open() {}
    setRequestHeader() {}
    send(file) {
      s.waiting.push((entry) => {
        this.status = entry ? 200 : 400;
        this.responseText = JSON.stringify(entry ?? { error: "no" }) + "\n";
        this.dispatchEvent(new Event("load"));
      });
      s.asked.push(file.name);
    }
  };
  return s;
}

const settle = () => new Promise((resolve) => setTimeout(resolve, 5));

test("a file queued behind one that is read differently does not put that one in the trash", async () => {
  const s = server();
  const all = bringIn([{ name: "a.edf" }], { name: "a.edf", told: [], entry: { id: "a" } });
  void bringIn([{ name: "b.edf" }]);
  await settle();
  s.waiting[0](null);
  await settle();
  s.waiting[1]({ id: "b", told: [] });
  await all;
  assert.deepEqual(s.asked, ["a.edf", "b.edf"]);
  const again = bringIn([{ name: "c.edf" }]);
  void bringIn([{ name: "a.edf" }], { name: "a.edf", told: [], entry: { id: "a" } });
  await settle();
  s.waiting[2]({ id: "c", told: [] });
  await settle();
  s.waiting[3]({ id: "a2", told: [] });
  await again;
  assert.deepEqual(s.asked.slice(2), ["c.edf", "a.edf", "DELETE /api/v1/recordings/a"]);
});

test("a file that cannot be read stops no other", async () => {
  const s = server();
  await bringIn([{ name: "a.hea", text: async () => {
    throw new Error("gone");
  } }]);
  const next = bringIn([{ name: "b.edf" }]);
  await settle();
  assert.equal(s.waiting.length, 1);
  s.waiting[0]({ id: "b", told: [] });
  await next;
  await settle();
  assert.equal(s.changes, 1);
});

test("what was shown as taken is confirmed where nothing else was said", () => {
  const said = { rate: "", time: "1", decimal: "comma", dates: "" };
  const doubts = [{ about: "decimal", taken: "point" }, { about: "dates", taken: "day-first" }, { about: "time", taken: "1 [ms]" }, { about: "unit", taken: "" }];
  assert.deepEqual(confirmed(said, doubts), { rate: "", time: "1 [ms]", decimal: "comma", dates: "day-first", unit: "" });
});
