// Pieces of one recording as they are asked for: the newest wish wins, one request
// is under way at a time, and what the server still works on is asked for again.

import { library } from "./library.js";
import { decodePiece, runsOut, suffices, wanted } from "./window.js";

/** @import {Piece, Window} from "./window.js" */
/** @import {PathSettings} from "../types.js" */

const AGAIN_MS = 350;

export class PieceSource {
  /**
   * @param {string} id
   * @param {{arrived: () => void, failed: (e: unknown) => void}} options
   */
  constructor(id, options) {
    this.id = id;
    this.options = options;
    /** @type {Piece|null} */
    this.piece = null;
    /** The whole recording. @type {Piece|null} */
    this.overview = null;
    this.pathText = "";
    this.generation = 0;
    this.under = 0;
    /** @type {{from: number, to: number, length: number, widthPx: number}|null} */
    this.wish = null;
    this.timer = 0;
    this.gone = false;
    this.latencyMs = NaN;
    /** @type {() => void} */
    this.begun = () => {};
    /** The first piece is there, or cannot be had. @type {Promise<void>} */
    this.first = new Promise((resolve) => (this.begun = resolve));
  }

  /** @param {(PathSettings|null)[]} paths by channel; null is as recorded */
  setPaths(paths) {
    const text = paths.some((p) => p) ? JSON.stringify(paths) : "";
    if (text === this.pathText) return;
    this.pathText = text;
    this.generation++;
    this.piece = null;
    if (this.wish) void this.#fetch();
  }

  /**
   * @param {Window} w
   * @param {number} widthPx
   */
  want(w, widthPx) {
    this.wish = { from: w.from, to: w.to, length: w.length, widthPx };
    if (!this.piece || !suffices(this.piece, w, widthPx) || runsOut(this.piece, w)) void this.#fetch();
  }

  /** @param {Piece|null} piece that does not show all yet */
  waiting(piece = this.piece) {
    return piece !== null && !piece.exact;
  }

  async #fetch() {
    const wish = this.wish;
    if (!wish || this.under > 0 || this.gone) return;
    window.clearTimeout(this.timer);
    this.under++;
    const generation = this.generation;
    const q = wanted(wish, wish.widthPx);
    const begun = performance.now();
    let failed = false;
    try {
      const buffer = await library.view(this.id, `from=${q.from}&to=${q.to}&columns=${q.columns}${this.#path()}`);
      if (this.gone) return;
      this.latencyMs = performance.now() - begun;
      if (generation === this.generation) this.piece = decodePiece(buffer);
      this.options.arrived();
    } catch (e) {
      failed = true;
      if (!this.gone) this.options.failed(e);
    } finally {
      this.under--;
      this.begun();
    }
    if (failed || this.gone || !this.wish) return;
    if (generation !== this.generation) void this.#fetch();
    else if (this.waiting()) this.timer = window.setTimeout(() => this.#fetch(), AGAIN_MS);
    else if (wish !== this.wish && this.piece && (!suffices(this.piece, this.wish, this.wish.widthPx) || runsOut(this.piece, this.wish))) void this.#fetch();
  }

  #path() {
    return this.pathText ? "&path=" + encodeURIComponent(this.pathText) : "";
  }

  /**
   * The whole recording, as recorded.
   * @param {number} columns
   */
  async fetchOverview(columns) {
    try {
      const piece = decodePiece(await library.view(this.id, `columns=${Math.max(50, Math.min(2000, Math.round(columns)))}`));
      if (this.gone) return;
      this.overview = piece;
      this.options.arrived();
      if (this.waiting(piece)) window.setTimeout(() => void (this.gone || this.fetchOverview(columns)), AGAIN_MS * 2);
    } catch (e) {
      if (!this.gone) this.options.failed(e);
    }
  }

  /**
   * One sample's value by channel.
   * @param {number} sample
   * @returns {Promise<number[]>}
   */
  async at(sample) {
    const piece = this.piece;
    const i = Math.round(sample);
    if (piece && piece.exact && piece.to - piece.from === piece.columns && i >= piece.from && i < piece.to) return piece.low.map((row) => row[i - piece.from]);
    const one = decodePiece(await library.view(this.id, `from=${i}&to=${i + 1}&columns=1${this.#path()}`));
    return one.low.map((row) => row[0]);
  }

  destroy() {
    this.gone = true;
    window.clearTimeout(this.timer);
  }
}
