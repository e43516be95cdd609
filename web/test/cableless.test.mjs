import assert from "node:assert/strict";
import { test } from "node:test";

const { cablelessAddress } = await import("../js/cableless.js");

test("a board without a cable gets its address", () => {
  const c = { how: "tcp", host: " clip.local ", here: "192.168.1.5", port: "3333", path: "/tmp/a b" };
  assert.equal(cablelessAddress(c), "tcp:clip.local:3333");
  assert.equal(cablelessAddress({ ...c, host: "fe80::1" }), "tcp:[fe80::1]:3333");
  assert.equal(cablelessAddress({ ...c, how: "udp" }), "udp:192.168.1.5:3333");
  assert.equal(cablelessAddress({ ...c, how: "tcp-listen", here: "" }), "tcp-listen:3333");
  assert.equal(cablelessAddress({ ...c, how: "fifo" }), "fifo:/tmp/a b");
});

test("what is missing is said", () => {
  const c = { how: "tcp", host: "h", here: "", port: "3333", path: "" };
  assert.throws(() => cablelessAddress({ ...c, host: " " }), /name or address/);
  assert.throws(() => cablelessAddress({ ...c, host: "http://h" }), /leave out/);
  assert.throws(() => cablelessAddress({ ...c, how: "fifo" }), /path/);
  for (const port of ["", "0", "65536", "3.5", "x"]) assert.throws(() => cablelessAddress({ ...c, how: "udp", port }), /1 to 65535/);
});
