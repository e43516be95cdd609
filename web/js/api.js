// Requests to the server; every failure becomes an Error with a sentence for a person.

import { apiWords as W } from "./words.js";

/** @import {AnswerTo, BodyOf} from "./wire.js" */
/** @import {Choices, Channel, Kind, PathResponse, PathSettings, ScaleSettings, ServerState} from "./types.js" */

const BASE = "/api/v1";
const TIMEOUT_MS = 35000;
const NEWLINE = 10;

/**
 * @param {string} method
 * @param {string} path below /api/v1
 * @param {unknown} [body] sent as JSON
 * @param {number} [timeoutMs] for long work
 * @param {AbortSignal} [ended] nobody waits for the answer any more
 * @returns {Promise<Response>}
 */
export async function send(method, path, body, timeoutMs = TIMEOUT_MS, ended) {
  const timeout = AbortSignal.timeout(timeoutMs);
  /** @type {RequestInit} */
  const init = { method, signal: ended ? AbortSignal.any([timeout, ended]) : timeout };
  if (body instanceof Float32Array || body instanceof Blob) {
    init.body = /** @type {BodyInit} */ (/** @type {unknown} */ (body));
    init.headers = { "Content-Type": "application/octet-stream" };
  } else if (body !== undefined) {
    init.body = JSON.stringify(body);
    init.headers = { "Content-Type": "application/json" };
  }
  let answer;
  try {
    answer = await fetch(BASE + path, init);
  } catch (e) {
    const slow = e instanceof DOMException && e.name === "TimeoutError";
    throw new Error(slow ? W.noAnswerFromPulsewrightIn(timeoutMs / 1000) : W.pulsewrightCannotBeReachedIs, { cause: e });
  }
  if (!answer.ok) throw new Error(sentence(await errorText(answer)));
  return answer;
}

/** @param {Response} answer */
async function errorText(answer) {
  try {
    const body = await answer.json();
    if (typeof body.error === "string" && body.error !== "") return body.error;
  } catch {
    // Not JSON: the status has to do.
  }
  return W.theServerAnswered(answer.status, answer.statusText);
}

/** The part of the program that an error names first; a person need not know it. */
const PART = /^(?:acquire|serialport|soundcard|recording|playback|simulate|session|library|filter|signalpath|meter|beat|mains|spectrum): /;

/** @param {string} said */
export function sentence(said) {
  const text = said.replace(PART, "");
  const t = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?…]$/.test(t) ? t : t + ".";
}

/**
 * @template {string} M
 * @template {string} P
 * @param {M} method
 * @param {P} path
 * @param {BodyOf<M, P>} [body]
 * @param {number} [timeoutMs]
 * @param {AbortSignal} [ended]
 * @returns {Promise<AnswerTo<M, P>>} the answer's JSON, null when it has no body
 */
export async function request(method, path, body, timeoutMs, ended) {
  const answer = await send(method, path, body, timeoutMs, ended);
  const text = await answer.text();
  return JSON.parse(text === "" ? "null" : text);
}

/**
 * Asks for long work, which tells how far it is: lines {"share"} or {"error"} until share is 1,
 * then the answer.
 * @param {string} path
 * @param {(share: number) => void} progress
 * @param {AbortSignal} [ended] ends the work
 * @param {number} [timeoutMs]
 * @returns {Promise<ArrayBuffer>} the answer
 */
export async function long(path, progress, ended, timeoutMs) {
  const body = (await send("GET", `${path}${path.includes("?") ? "&" : "?"}progress=1`, undefined, timeoutMs, ended)).body?.getReader();
  if (!body) throw new Error(W.theAnswerIsEmptyIs);
  /** @type {Uint8Array[]} */
  const parts = [];
  /** @type {number[]} */
  let line = [];
  for (let answering = false; ; ) {
    const { done, value } = await body.read();
    if (done) {
      if (!answering) throw new Error(W.theAnswerBreaksOffIs);
      return new Blob(/** @type {BlobPart[]} */ (parts)).arrayBuffer();
    }
    let at = 0;
    while (!answering && at < value.length) {
      const end = value.indexOf(NEWLINE, at);
      line.push(...value.subarray(at, end < 0 ? value.length : end));
      at = end < 0 ? value.length : end + 1;
      if (end < 0) break;
      const { share, error } = JSON.parse(new TextDecoder().decode(Uint8Array.from(line)));
      line = [];
      if (error !== undefined) throw new Error(sentence(error));
      progress(share);
      answering = share === 1;
    }
    if (answering && at < value.length) parts.push(value.subarray(at));
  }
}

/** @param {string} path whose answer is plain text */
export async function requestText(path) {
  return (await send("GET", path)).text();
}

/**
 * @param {string} method
 * @param {string} path
 * @returns {Promise<ArrayBuffer>}
 */
export async function binary(method, path) {
  return (await send(method, path)).arrayBuffer();
}

export const api = {
  /** @returns {Promise<ServerState>} */
  state: () => request("GET", "/state"),
  /** @returns {Promise<Choices>} */
  sources: () => request("GET", "/sources"),
  /** @param {string} address */
  open: (address) => request("PUT", "/source", { address }),
  /** @param {{position?: number, speed?: number, loop?: boolean, skipGaps?: boolean}} what */
  playback: (what) => request("PUT", "/playback", what),
  /**
   * @param {number} channel
   * @param {Kind} kind
   */
  kind: (channel, kind) => request("PUT", `/channels/${channel}/kind`, { kind }),
  /**
   * The kind with its path, also where it has the kind already.
   * @param {number} channel
   * @param {Kind} kind
   */
  preset: (channel, kind) => request("PUT", `/channels/${channel}/kind`, { kind, preset: true }),
  /**
   * @param {number} channel
   * @param {PathSettings} path
   * @returns {Promise<PathSettings>}
   */
  path: (channel, path) => request("PUT", `/channels/${channel}/path`, path),
  /**
   * @param {number} channel
   * @param {number} points
   * @returns {Promise<PathResponse>}
   */
  response: (channel, points) => request("GET", `/channels/${channel}/path/response?points=${points}`),
  /**
   * @param {number} channel
   * @param {ScaleSettings} scale
   */
  scale: (channel, scale) => request("PUT", `/channels/${channel}/scale`, scale),
  /**
   * @param {string} text
   * @param {number} [index]
   */
  note: (text, index) => request("POST", "/notes", index === undefined ? { text } : { text, index }),
  /**
   * @param {number} from
   * @param {number} to
   * @returns {Promise<ArrayBuffer>}
   */
  history: async (from, to) => (await send("GET", `/history?from=${from}&to=${to}`)).arrayBuffer(),
  /**
   * @param {number} from
   * @param {number} to
   */
  beats: (from, to) => request("GET", `/beats?from=${from}&to=${to}`),
};
