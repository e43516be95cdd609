import assert from "node:assert/strict";
import { test } from "node:test";
import { decodeFrame, decodeFrames, encodeFrame } from "../js/frames.js";

// Typed by hand from the table in server/API.md: flags 3, sequence 7, first 2^33,
// 2 samples, 1 channel, 1 point, 250 Hz, epoch 5, age 9 ms, samples 1.5 and NaN.
const HEX = "5057 01 03 07000000 0000000002000000 02000000 0100 0100 0000000000406f40 05000000 09000000 0000c03f 0000c07f";

function bytes(hex, shift = 0) {
  const clean = hex.replaceAll(" ", "");
  const b = new Uint8Array(clean.length / 2 + shift);
  for (let i = 0; i < clean.length / 2; i++) b[i + shift] = parseInt(clean.slice(2 * i, 2 * i + 2), 16);
  return b.buffer;
}

test("a frame typed from the interface's table decodes", () => {
  for (const shift of [0, 1, 4]) {
    const f = decodeFrame(bytes(HEX, shift), shift);
    assert.equal(f.history, true);
    assert.equal(f.gapBefore, true);
    assert.equal(f.sequence, 7);
    assert.equal(f.first, 2 ** 33);
    assert.equal(f.samples, 2);
    assert.equal(f.channels, 1);
    assert.equal(f.points, 1);
    assert.equal(f.rateHz, 250);
    assert.equal(f.epoch, 5);
    assert.equal(f.ageMs, 9);
    assert.equal(f.data[0], 1.5);
    assert.ok(Number.isNaN(f.data[1]));
  }
});

test("the encoder gives those bytes", () => {
  const f = decodeFrame(bytes(HEX));
  assert.deepEqual(new Uint8Array(encodeFrame(f)), new Uint8Array(bytes(HEX)));
});

test("a frame cut at any byte, too long, of another magic or version is refused", () => {
  const whole = bytes(HEX);
  for (let n = 0; n < whole.byteLength; n++) assert.throws(() => decodeFrame(whole.slice(0, n)), RangeError, `cut to ${n} bytes`);
  assert.throws(() => decodeFrame(bytes(HEX + "00")), /need 48/);
  assert.throws(() => decodeFrame(bytes(HEX.replace("5057", "5058"))), /PW/);
  assert.throws(() => decodeFrame(bytes(HEX.replace("5057 01", "5057 02"))), /version 2/);
  assert.throws(() => decodeFrame(bytes(HEX.replace("0000000000406f40", "0000000000000000"))), /rate of 0 Hz/);
});

test("history is frames preceded by their lengths; one cut is refused", () => {
  const two = bytes("30000000" + HEX + "30000000" + HEX);
  assert.equal(decodeFrames(two).length, 2);
  assert.equal(decodeFrames(new ArrayBuffer(0)).length, 0);
  assert.throws(() => decodeFrames(two.slice(0, 50)), RangeError);
  assert.throws(() => decodeFrames(two.slice(0, 100)), RangeError);
});
