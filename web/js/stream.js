// The websocket: connects, reconnects with patience, decodes, tells what was lost.

import { sentence } from "./api.js";
import { decodeFrame } from "./frames.js";
import { streamWords as W } from "./words.js";

/** @import {Frame} from "./types.js" */

const SUBPROTOCOL = "pulsewright.v1";
const FIRST_RETRY_MS = 400;
const LAST_RETRY_MS = 5000;
const PING_EVERY_MS = 5000;
/** The owner closed the link this page came by. */
const LINK_CLOSED = 4401;
/** So often a page whose link was closed looks whether its browser came in anew. */
const LOOK_AGAIN_MS = 5000;
/** Two pings without an answer: the connection is dead though it looks open. */
const DEAD_AFTER_MS = 2.5 * PING_EVERY_MS;

/**
 * @typedef {object} StreamHandlers
 * @property {(frame: Frame) => void} frame
 * @property {(message: any) => void} message
 * @property {(status: "connecting"|"open"|"lost", text: string) => void} status
 * @property {(frames: number) => void} lost frames this page missed
 */

export class Stream {
  /**
   * @param {string} url
   * @param {StreamHandlers} handlers
   */
  constructor(url, handlers) {
    this.url = url;
    this.handlers = handlers;
    /** @type {WebSocket|null} */
    this.socket = null;
    this.retryMs = FIRST_RETRY_MS;
    this.retryTimer = 0;
    this.pingTimer = 0;
    this.pingId = 0;
    this.pingSent = 0;
    this.heard = 0;
    this.sequence = -1;
    /** Round trip in milliseconds, NaN until measured. */
    this.roundTripMs = NaN;
    this.closed = false;
  }

  connect() {
    if (this.closed) return;
    clearTimeout(this.retryTimer);
    this.handlers.status("connecting", W.connecting);
    const socket = new WebSocket(this.url, SUBPROTOCOL);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    this.sequence = -1;
    socket.onopen = () => {
      this.heard = performance.now();
      this.retryMs = FIRST_RETRY_MS;
      this.handlers.status("open", "");
      this.pingTimer = window.setInterval(() => this.#ping(), PING_EVERY_MS);
    };
    socket.onmessage = (event) => {
      this.heard = performance.now();
      if (event.data instanceof ArrayBuffer) this.#frame(event.data);
      else this.#message(event.data);
    };
    socket.onclose = (event) => {
      if (event.code === LINK_CLOSED) this.#end(socket, event.reason);
      else {
        this.#lost(socket, event.reason);
        void this.#ask();
      }
    };
  }

  /** @param {ArrayBuffer} data */
  #frame(data) {
    let frame;
    try {
      frame = decodeFrame(data);
    } catch (e) {
      this.handlers.message({ type: "problem", text: W.thePageGotAFrame + (e instanceof Error ? e.message : e) });
      return;
    }
    if (!frame.history) {
      if (this.sequence >= 0 && frame.sequence !== ((this.sequence + 1) >>> 0)) {
        const missed = (frame.sequence - this.sequence - 1) >>> 0;
        if (missed < 1e6) this.handlers.lost(missed);
      }
      this.sequence = frame.sequence;
    }
    this.handlers.frame(frame);
  }

  /** @param {string} text */
  #message(text) {
    const message = JSON.parse(text);
    if (message.type === "pong") {
      if (message.id === this.pingId) this.roundTripMs = performance.now() - this.pingSent;
      return;
    }
    this.handlers.message(message);
  }

  #ping() {
    const now = performance.now();
    if (now - this.heard > DEAD_AFTER_MS) {
      this.socket?.close();
      if (this.socket) this.#lost(this.socket, W.nothingHeard);
      return;
    }
    if (this.socket?.readyState !== WebSocket.OPEN) return;
    this.pingId++;
    this.pingSent = now;
    this.socket.send(JSON.stringify({ type: "ping", id: this.pingId }));
  }

  /**
   * Asks whether this page may still come in: a refused websocket does not say why.
   */
  async #ask() {
    try {
      const answer = await fetch("/api/v1/state");
      if (answer.status === 401) this.#end(this.socket, (await answer.json()).error);
    } catch {
      // The program is away; the next attempt will tell.
    }
  }

  /**
   * This page may not come in. A new link, opened in this browser, lets it in again.
   * @param {WebSocket|null} socket
   * @param {string} reason
   */
  #end(socket, reason) {
    if (socket !== this.socket) return;
    this.socket = null;
    clearInterval(this.pingTimer);
    clearTimeout(this.retryTimer);
    if (!this.closed) {
      this.handlers.status("lost", sentence(reason));
      this.retryTimer = window.setTimeout(() => void this.#lookAgain(), LOOK_AGAIN_MS);
    }
    this.closed = true;
    socket?.close();
  }

  async #lookAgain() {
    try {
      if ((await fetch("/api/v1/state")).ok) {
        this.closed = false;
        this.retryMs = FIRST_RETRY_MS;
        this.connect();
        return;
      }
    } catch {
      // The program is away.
    }
    this.retryTimer = window.setTimeout(() => void this.#lookAgain(), LOOK_AGAIN_MS);
  }

  /**
   * @param {WebSocket} socket
   * @param {string} reason
   */
  #lost(socket, reason) {
    if (socket !== this.socket) return;
    this.socket = null;
    clearInterval(this.pingTimer);
    if (this.closed) return;
    const wait = this.retryMs;
    this.retryMs = Math.min(LAST_RETRY_MS, this.retryMs * 1.7);
    this.handlers.status("lost", W.noConnectionToPulsewrightTrying(reason ? ` (${reason})` : ""));
    this.retryTimer = window.setTimeout(() => this.connect(), wait * (0.8 + 0.4 * Math.random()));
  }

  close() {
    this.closed = true;
    clearTimeout(this.retryTimer);
    clearInterval(this.pingTimer);
    this.socket?.close();
  }
}
