import assert from "node:assert/strict";
import { test } from "node:test";
import { URLSearchParams } from "node:url";

const { addressWith, changedKinds, columnText, foundColumns } = await import("../js/board-columns.js");

const board = {
  address: "serial:/dev/ttyACM0?baud=115200&kind=ecg&usb=2A1B%3A00FF%3A7",
  columns: [{ name: "", unit: "", use: "clock", clock: "t_ms" }, { name: "", unit: "", use: "signal", looks: "V" }, { name: "lead", unit: "mV", use: "signal" }, { name: "-", unit: "", use: "nothing" }],
  channels: [{ label: "ch1", kind: "" }, { label: "lead", kind: "ecg" }],
};

test("the form begins with what was found", () => {
  assert.deepEqual(foundColumns(board).map(columnText), ["t_ms", "ch1", "lead [mV] (ecg)", "-"]);
  assert.deepEqual(foundColumns({ address: "demo:finger" }), []);
});

test("the form shows what is set and says only kinds that it changes", () => {
  const set = [{ kind: "ecg", from: { kind: "said" }, scale: { source: "converter" } }, { kind: "pulse", from: { kind: "usual" }, scale: { source: "board" } }];
  const found = foundColumns(board, set);
  assert.deepEqual(found.map((c) => [c.kind, c.volts]), [["", undefined], ["ecg", true], ["", false], ["", undefined]]);
  assert.deepEqual(changedKinds(found, found), []);
  assert.deepEqual(changedKinds(found, found.map((c, i) => (i === 2 ? { ...c, kind: "other" } : i === 1 ? { ...c, kind: "" } : c))), [{ channel: 1, kind: "other" }]);
  assert.deepEqual(changedKinds(found, []), []);
});

test("the address says the columns and keeps the rest", () => {
  const said = foundColumns(board);
  said[1] = { ...said[1], name: "finger left x", unit: "V", kind: "pulse" };
  const made = addressWith(board.address, said);
  assert.ok(made.startsWith("serial:/dev/ttyACM0?"));
  const query = new URLSearchParams(made.split("?")[1]);
  assert.equal(query.get("names"), "t_ms,finger left x [V] (pulse),lead [mV] (ecg),-");
  assert.equal(query.get("baud"), "115200");
  assert.equal(query.get("usb"), "2A1B:00FF:7");
  assert.equal(query.get("kind"), null);
  assert.equal(new URLSearchParams(addressWith(board.address, []).split("?")[1]).get("names"), "");
});

test("what cannot be is said", () => {
  const said = foundColumns(board);
  assert.throws(() => addressWith(board.address, said.map((c) => ({ ...c, use: "nothing" }))), /at least one/);
  assert.throws(() => columnText({ name: "finger, left", use: "signal", unit: "", kind: "" }), /finger, left.*sign ,/);
  assert.deepEqual(foundColumns({ ...board, columns: [{ name: "raw (A0)", unit: "", use: "signal" }] }).map(columnText), ["raw A0"]);
  assert.throws(() => columnText({ name: " ", use: "signal", unit: "", kind: "" }), /name/);
});
