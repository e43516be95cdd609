// Decoding of the stream's binary frames; the layout stands in server/API.md.

import { framesWords as W } from "./words.js";

/** @import {Frame} from "./types.js" */

export const HEADER_BYTES = 40;
const MAGIC_P = 0x50;
const MAGIC_W = 0x57;
const littleEndian = new Uint8Array(new Uint16Array([1]).buffer)[0] === 1;

/**
 * Decodes one frame. The samples are a view into the buffer where alignment and
 * byte order allow, else a copy.
 * @param {ArrayBuffer} buffer
 * @param {number} [offset] in bytes
 * @param {number} [length] in bytes
 * @returns {Frame}
 * @throws {RangeError} when it is not a whole frame of version 1
 */
export function decodeFrame(buffer, offset = 0, length = buffer.byteLength - offset) {
  if (length < HEADER_BYTES) {
    throw new RangeError(W.frameOfBytesAtLeast(length, HEADER_BYTES));
  }
  const view = new DataView(buffer, offset, length);
  if (view.getUint8(0) !== MAGIC_P || view.getUint8(1) !== MAGIC_W) {
    throw new RangeError(W.frameDoesNotBeginWith);
  }
  if (view.getUint8(2) !== 1) {
    throw new RangeError(W.frameOfVersionThisPage(view.getUint8(2)));
  }
  const flags = view.getUint8(3);
  const samples = view.getUint32(16, true);
  const channels = view.getUint16(20, true);
  const points = view.getUint16(22, true);
  const floats = channels * points * samples;
  if (length !== HEADER_BYTES + 4 * floats) {
    throw new RangeError(W.frameOfBytesChannelsPoints(length, channels, points, samples, HEADER_BYTES + 4 * floats));
  }
  const rateHz = view.getFloat64(24, true);
  if (!(rateHz > 0)) {
    throw new RangeError(W.frameWithARateOf(rateHz));
  }
  let data;
  if (littleEndian && (offset + HEADER_BYTES) % 4 === 0) {
    data = new Float32Array(buffer, offset + HEADER_BYTES, floats);
  } else {
    data = new Float32Array(floats);
    for (let i = 0; i < floats; i++) data[i] = view.getFloat32(HEADER_BYTES + 4 * i, true);
  }
  return {
    history: (flags & 1) !== 0,
    gapBefore: (flags & 2) !== 0,
    sequence: view.getUint32(4, true),
    first: Number(view.getBigInt64(8, true)),
    samples,
    channels,
    points,
    rateHz,
    epoch: view.getUint32(32, true),
    ageMs: view.getUint32(36, true),
    data,
  };
}

/**
 * Decodes the answer of GET /history: frames, each preceded by its u32 length.
 * @param {ArrayBuffer} buffer
 * @returns {Frame[]}
 */
export function decodeFrames(buffer) {
  const view = new DataView(buffer);
  /** @type {Frame[]} */
  const frames = [];
  let at = 0;
  while (at < buffer.byteLength) {
    if (at + 4 > buffer.byteLength) throw new RangeError(W.historyEndsInsideALength);
    const length = view.getUint32(at, true);
    if (at + 4 + length > buffer.byteLength) throw new RangeError(W.historyEndsInsideAFrame);
    frames.push(decodeFrame(buffer, at + 4, length));
    at += 4 + length;
  }
  return frames;
}

/**
 * Encodes a frame; for tests and the development server.
 * @param {Omit<Frame, "data"> & {data: ArrayLike<number>}} f
 * @returns {ArrayBuffer}
 */
export function encodeFrame(f) {
  const floats = f.channels * f.points * f.samples;
  const buffer = new ArrayBuffer(HEADER_BYTES + 4 * floats);
  const view = new DataView(buffer);
  view.setUint8(0, MAGIC_P);
  view.setUint8(1, MAGIC_W);
  view.setUint8(2, 1);
  view.setUint8(3, (f.history ? 1 : 0) | (f.gapBefore ? 2 : 0));
  view.setUint32(4, f.sequence, true);
  view.setBigInt64(8, BigInt(f.first), true);
  view.setUint32(16, f.samples, true);
  view.setUint16(20, f.channels, true);
  view.setUint16(22, f.points, true);
  view.setFloat64(24, f.rateHz, true);
  view.setUint32(32, f.epoch, true);
  view.setUint32(36, f.ageMs, true);
  for (let i = 0; i < floats; i++) view.setFloat32(HEADER_BYTES + 4 * i, f.data[i], true);
  return buffer;
}
