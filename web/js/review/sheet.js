// The sheet of a recording: an overview strip and the window on it, drawn from
// columns; wheel, drag and keys move it, two cursors measure.

import { drag, h, setText } from "../dom.js";
import { clockTime, quantity } from "../format.js";
import { AutoRange } from "../scales.js";
import { fit, paint, pixelRatio } from "../scene/canvas.js";
import { Cursors } from "../scene/cursors.js";
import { PAPER_CSS, register } from "../scene/picture.js";
import { AXIS, places, sheetScene } from "../scene/sheet.js";
import { theme } from "../theme.js";
import { quoted } from "../trace/csv.js";
import { annotatedItems, byHandItem, stretchItems } from "./annotated.js";
import { Times } from "./times.js";
import { breaksOf, extentIn, firstFrom, rateTrend, Window } from "./window.js";
import { reviewSheetWords as W } from "../words.js";

/** @import {Detail, Mark, RecordedNote} from "./library.js" */
/** @import {PieceSource} from "./source.js" */
/** @import {Piece} from "./window.js" */
/** @import {FrameLoop} from "../loop.js" */
/** @import {Item, Scene} from "../scene/scene.js" */
/** @import {SheetLane} from "../scene/sheet.js" */

const GUTTER_CSS = 70;
const GUTTER_NARROW_CSS = 50;
/** Lanes shown at first. */
const MOST_LANES = 6;
/** Fewer beats make no trend. */
const LEAST_TREND_BEATS = 12;
/** On paper, as print.css has it. */
const PAPER_HEIGHT_CSS = 450;
/** A mark is outlined below. */
const GOOD = 0.4;
const NARROW_CSS = 760;

/**
 * @typedef {object} SheetOptions
 * @property {FrameLoop} loop
 * @property {() => void} moved the window is another
 * @property {() => void} cursorsMoved
 */

export class Sheet {
  /** @param {SheetOptions} options */
  constructor(options) {
    this.options = options;
    /** @type {Detail|null} */
    this.detail = null;
    /** @type {PieceSource|null} */
    this.source = null;
    this.window = new Window(1);
    this.rateHz = 1;
    this.times = new Times();
    /** By channel. @type {Mark[][]} */
    this.beats = [];
    /** Beats somebody annotated, and what their score says. @type {import("./annotated.js").Annotated[]} */
    this.annotated = [];
    /** @type {import("./annotated.js").Faults|null} */
    this.faults = null;
    /** @type {RecordedNote[]} */
    this.notes = [];
    /** @type {AutoRange[]} */
    this.ranges = [];
    this.locked = false;
    /** Channels shown after a path. @type {boolean[]} */
    this.filtered = [];
    /** Channels that have a lane. @type {boolean[]} */
    this.shown = [];
    this.cursors = new Cursors({
      id: "review-cursor",
      perPx: () => this.window.span / this.plotWidth,
      sampleAt: (x) => this.sampleAt(x),
      moved: (name, sample) => this.setCursor(name, sample),
      beats: () => this.beats.find((b) => b.length > 0) ?? [],
    });
    this.overviewWidth = 0;
    this.canvas = h("canvas", { class: "review-canvas", "data-testid": "review-canvas", tabindex: "0", role: "application", "aria-roledescription": "recording", "aria-label": W.recordingArrowKeysScrollPlus });
    this.working = h("p", { class: "review-working", role: "status", "data-testid": "review-working", hidden: true });
    this.box = h("div", { class: "review-box" }, this.canvas, this.cursors.handles.a, this.cursors.handles.b, this.working);
    this.strip = h("canvas", { class: "review-strip", "data-testid": "review-strip", tabindex: "0", role: "slider", "aria-label": W.placeInTheRecording, "aria-valuemin": "0", "aria-valuemax": "100", "aria-valuenow": "0" });
    const ctx = this.canvas.getContext("2d", { alpha: false });
    const strip = this.strip.getContext("2d", { alpha: false });
    if (!ctx || !strip) throw new Error(W.thisBrowserCannotDrawOn);
    this.ctx = ctx;
    this.stripCtx = strip;
    this.paintMs = NaN;
    /** Rate over the whole recording. @type {Float32Array|null} */
    this.trend = null;
    this.trendKey = "";
    this.resizer = new ResizeObserver(() => this.moved());
    this.resizer.observe(this.box);
    this.#listen();
    register(this.strip, { draw: () => {}, paper: () => this.stripScene(PAPER_CSS, this.strip.clientHeight) });
    register(this.canvas, { draw: () => options.loop.dirty(this), paper: () => this.scene(PAPER_CSS, PAPER_HEIGHT_CSS), seen: () => (this.detail ? this.scene(this.box.clientWidth, this.box.clientHeight) : null), numbers: () => this.#numbers() });
  }

  /**
   * Another recording, or the same anew, with the lanes, paths and cursors that it had.
   * @param {Detail} detail
   * @param {PieceSource} source
   * @param {number} from of the window at first
   * @param {number} to
   */
  show(detail, source, from, to) {
    const same = this.detail?.id === detail.id;
    this.detail = detail;
    this.source = source;
    this.rateHz = detail.rateHz > 0 ? detail.rateHz : 1;
    this.times.begin(detail.started);
    this.window = new Window(detail.samples);
    this.window.set(from, to);
    this.beats = [];
    this.annotated = [];
    this.notes = detail.notes;
    this.ranges = detail.channelDetails.map(() => new AutoRange({ fill: 0.4, padding: 0.1 }));
    if (!same) {
      this.filtered = detail.channelDetails.map(() => false);
      this.shown = detail.channelDetails.map((_, i) => i < MOST_LANES);
      this.cursors.on = false;
    }
    this.overviewWidth = 0;
    this.moved();
  }

  clear() {
    this.detail = null;
    this.source = null;
  }

  /** The window, its size or what is in it changed. */
  moved() {
    this.#want();
    this.options.moved();
    this.options.loop.dirty(this);
  }

  get gutter() {
    return window.innerWidth <= NARROW_CSS ? GUTTER_NARROW_CSS : GUTTER_CSS;
  }

  /** CSS pixels. @returns {number} */
  get plotWidth() {
    return Math.max(1, this.box.clientWidth - this.gutter);
  }

  #want() {
    if (!this.source || this.box.clientWidth < 2) return;
    const widthPx = Math.round(this.plotWidth * pixelRatio());
    this.source.want(this.window, widthPx);
    if (Math.abs(this.overviewWidth - widthPx) > 40) {
      this.overviewWidth = widthPx;
      const { source } = this;
      void source.first.then(() => source.fetchOverview(widthPx));
    }
  }

  arrived() {
    this.options.loop.dirty(this);
  }

  // --- moving -------------------------------------------------------------

  /** @param {number} share of the window to the right */
  pan(share) {
    this.window.pan(share * this.window.span);
    this.moved();
  }

  /**
   * @param {number} factor
   * @param {number} [about]
   */
  zoom(factor, about) {
    const inside = this.cursors.on && this.cursors.a > this.window.from && this.cursors.a < this.window.to ? this.cursors.a : undefined;
    this.window.zoom(factor, about ?? inside);
    this.moved();
  }

  /** @param {number} sample */
  goTo(sample) {
    const most = 20 * this.rateHz;
    if (this.window.span > most) this.window.set(sample - most / 2, sample + most / 2);
    else this.window.reveal(sample);
    this.moved();
  }

  /** @param {number} seconds */
  setSeconds(seconds) {
    const middle = (this.window.from + this.window.to) / 2;
    const half = (seconds * this.rateHz) / 2;
    this.window.set(middle - half, middle + half);
    this.moved();
  }

  /** @param {number} clientX @returns {number} */
  sampleAt(clientX) {
    const x = clientX - this.canvas.getBoundingClientRect().left - this.gutter;
    return this.window.from + (x / this.plotWidth) * this.window.span;
  }

  #listen() {
    this.canvas.addEventListener("wheel", (w) => {
      w.preventDefault();
      const lines = w.deltaMode === 1 ? 16 : 1;
      if (w.ctrlKey) this.zoom(Math.exp((w.deltaY * lines) / 300), this.sampleAt(w.clientX));
      else {
        const delta = (w.deltaX || w.deltaY) * lines;
        this.window.pan((delta * this.window.span) / this.plotWidth);
        this.moved();
      }
    }, { passive: false });
    drag(this.canvas, (down) => {
      let last = down.clientX;
      return (m) => {
        this.window.pan((-(m.clientX - last) * this.window.span) / this.plotWidth);
        last = m.clientX;
        this.moved();
      };
    });
    this.canvas.addEventListener("dblclick", (e) => this.zoom(e.shiftKey ? 3 : 1 / 3, this.sampleAt(e.clientX)));
    const place = (/** @type {PointerEvent} */ e) => {
      const box = this.strip.getBoundingClientRect();
      const share = (e.clientX - box.left - this.gutter) / Math.max(1, box.width - this.gutter);
      const half = this.window.span / 2;
      this.window.set(share * this.window.length - half, share * this.window.length + half);
      this.moved();
    };
    drag(this.strip, (down) => {
      place(down);
      return place;
    });
    this.strip.addEventListener("wheel", (w) => {
      w.preventDefault();
      this.zoom(Math.exp(w.deltaY / 300));
    }, { passive: false });
  }

  // --- cursors --------------------------------------------------------------

  /**
   * @param {"a"|"b"} name
   * @param {number} sample
   */
  setCursor(name, sample) {
    this.cursors[name] = Math.round(Math.min(Math.max(sample, 0), this.window.length - 1));
    this.window.reveal(this.cursors[name]);
    this.options.cursorsMoved();
    this.moved();
  }

  toggleCursors() {
    const { cursors, window: w } = this;
    if (cursors.on) cursors.on = false;
    else cursors.begin(w.from, w.to);
    this.options.cursorsMoved();
    this.options.loop.dirty(this);
    this.#placeHandles();
    cursors.focus(this.canvas);
  }

  /** Time, difference and rate between the cursors. */
  measure() {
    return this.cursors.measure(this.rateHz);
  }

  #placeHandles() {
    const { gutter, plotWidth, window: w } = this;
    this.cursors.place((sample) => gutter + ((sample - w.from) / w.span) * plotWidth, gutter, gutter + plotWidth);
    this.cursors.say(this.rateHz);
  }

  // --- painting ---------------------------------------------------------------

  draw() {
    const begun = performance.now();
    const { detail, source } = this;
    if (!detail || !source || !fit(this.canvas, this.box)) return;
    this.#settle();
    const { clientWidth, clientHeight } = this.box;
    this.ctx.fillStyle = theme.palette.paper;
    this.ctx.fillRect(0, 0, this.canvas.width, this.canvas.height);
    paint(this.ctx, this.scene(clientWidth, clientHeight).items, theme.palette);
    this.#placeHandles();
    if (fit(this.strip, this.strip)) {
      this.stripCtx.fillStyle = theme.palette.paper;
      this.stripCtx.fillRect(0, 0, this.strip.width, this.strip.height);
      paint(this.stripCtx, this.stripScene(this.strip.clientWidth, this.strip.clientHeight).items, theme.palette);
    }
    const { window: w } = this;
    this.strip.setAttribute("aria-valuenow", String(Math.round((100 * w.from) / w.length)));
    this.strip.setAttribute("aria-valuetext", W.toOf(this.times.text(w.from / this.rateHz), this.times.text(w.to / this.rateHz), clockTime(w.length / this.rateHz)));
    const waits = source.waiting();
    this.working.hidden = !waits;
    if (waits && source.piece) setText(this.working, `${this.filtered.some(Boolean) ? W.filteringTheWholeRecording : W.readingTheRecording}, ${Math.round(100 * source.piece.share)} %`);
    this.paintMs = performance.now() - begun;
  }

  /** What a channel is drawn from. @param {number} c @returns {Piece|null} */
  #pieceOf(c) {
    const { source, window: w } = this;
    if (!source) return null;
    if (source.piece && source.piece.to > w.from && source.piece.from < w.to) return source.piece;
    return this.filtered[c] ? null : source.overview;
  }

  /** Lets the ranges follow what is seen. */
  #settle() {
    this.detail?.channelDetails.forEach(({ unit }, c) => {
      const range = this.ranges[c];
      const piece = this.shown[c] ? this.#pieceOf(c) : null;
      if (!piece || (this.locked && range.low < range.high)) return;
      const [low, high] = extentIn(piece, c, this.window.from, this.window.to);
      // Whole numbers without a scale are a converter's counts.
      range.least = unit === "counts" && Number.isInteger(low) && Number.isInteger(high) ? 4 : 1e-6;
      range.update(low, high);
    });
  }

  /**
   * @param {number} width
   * @param {number} height
   * @returns {Scene}
   */
  scene(width, height) {
    const { detail, window: w, gutter: left } = this;
    const px = (width - left) / w.span;
    const channels = (detail?.channelDetails ?? []).map((_, c) => c).filter((c) => this.shown[c]);
    const at = places(channels.length, height, false);
    return sheetScene({
      width, height, left, x0: left - w.from * px, perSample: px, rateHz: this.rateHz, overlaid: false, mmSamples: 0,
      lanes: channels.map((c, i) => this.#lane(c, at[i], left - w.from * px, px)),
      gaps: (detail?.gaps ?? []).map((g) => ({ index: g.first, samples: g.samples, text: "" })),
      notes: this.notes.slice(firstFrom(this.notes, w.from), firstFrom(this.notes, w.to)).map((n) => ({ index: n.sample, text: n.text })),
      cursors: this.cursors.on ? this.cursors : null,
      zeroSeconds: this.times.zero, timeText: (seconds, step) => this.times.label(seconds, step),
      over: stretchItems(this.notes, { from: w.from, to: w.to, rateHz: this.rateHz, height: height - AXIS, x: (sample) => left + (sample - w.from) * px }).concat(at.flatMap((lane, i) => {
        const x = (/** @type {number} */ sample) => left + (sample - w.from) * px;
        const beats = this.beats[channels[i]] ?? [];
        return [...annotatedItems(this, lane, x, px), byHandItem(beats.slice(firstFrom(beats, Math.ceil(w.from)), firstFrom(beats, w.to)), lane, x)];
      })),
    });
  }

  /**
   * @param {number} c channel
   * @param {{top: number, height: number}} at
   * @param {number} x0 of sample 0
   * @param {number} px of a sample
   * @returns {SheetLane}
   */
  #lane(c, at, x0, px) {
    const { window: w, filtered } = this;
    const { label = "", unit = "" } = this.detail?.channelDetails[c] ?? {};
    const range = this.ranges[c];
    const piece = this.#pieceOf(c);
    const per = piece ? (piece.to - piece.from) / piece.columns : 1;
    const beats = this.beats[c] ?? [];
    return {
      name: label + (filtered[c] ? W.afterItsPath : W.asRecorded), unit, ...at, low: range.low, high: range.high,
      colour: filtered[c] ? "trace3" : "trace0", style: { width: filtered[c] ? 1.6 : 1.1, on: 1, off: 0 },
      curve: piece && {
        low: piece.low[c], high: per === 1 ? piece.low[c] : piece.high[c], size: piece.columns,
        from: Math.max(0, Math.floor((w.from - piece.from) / per) - 1), to: Math.min(piece.columns, Math.ceil((w.to - piece.from) / per) + 1),
        x0: x0 + (piece.from + (per > 1 ? per / 2 : 0)) * px, dx: per * px,
      },
      beats: beats.slice(firstFrom(beats, Math.ceil(w.from)), firstFrom(beats, w.to)).map((b) => ({ sample: b.sample, good: b.quality >= GOOD })),
      signs: true, mmVolts: 0,
    };
  }

  /**
   * The whole recording in small: its first channel, the rate, notes and the window.
   * @param {number} width
   * @param {number} height
   * @returns {Scene}
   */
  stripScene(width, height) {
    const { window: w, gutter: left } = this;
    const inner = width - left;
    /** @type {Item[]} */
    const items = [];
    const piece = this.source?.overview;
    if (piece) {
      const [low, high] = extentIn(piece, 0, 0, w.length);
      const dx = inner / piece.columns;
      items.push({ kind: "trace", low: piece.low[0], high: piece.high[0], size: piece.columns, from: 0, to: piece.columns, x0: left + dx / 2, dx, top: 0, bottom: height - 3, base: low, scale: low < high ? (height - 6) / (high - low) : 0, colour: "faint", width: Math.max(1, Math.min(dx, 1.5)) });
    }
    items.push(...this.#trend(left, inner, height));
    const x = (/** @type {number} */ sample) => left + (sample / w.length) * inner;
    items.push({ kind: "lines", at: this.notes.filter((n) => !n.board).flatMap((n) => [x(n.sample), 0, x(n.sample), 6]), colour: "ink", width: 1.5 });
    const [a, b] = [x(w.from), Math.max(x(w.from) + 3, x(w.to))];
    items.push({ kind: "box", x: a, y: 0, width: b - a, height, colour: "trace3", alpha: 0.14 });
    items.push({ kind: "path", x: [a, b, b, a, a], y: [1, 1, height - 1, height - 1, 1], colour: "trace3", width: 1.5 });
    items.push({ kind: "lines", at: [left, 0, left, height], colour: "margin" });
    return { width, height, items };
  }

  /**
   * The rate over the whole recording, from its lowest to its highest.
   * @param {number} left
   * @param {number} inner
   * @param {number} height
   * @returns {Item[]}
   */
  #trend(left, inner, height) {
    const { window: w } = this;
    const list = this.beats.find((b) => b.length > LEAST_TREND_BEATS);
    if (!list) return [];
    const parts = Math.max(8, Math.min(Math.floor(inner / 3), Math.floor(list.length / 4)));
    const key = `${parts} ${list.length} ${this.detail?.id}`;
    if (key !== this.trendKey) {
      this.trendKey = key;
      this.trend = rateTrend({ beats: list, breaks: breaksOf(this.detail?.gaps ?? [], this.rateHz) }, w.length, parts, this.rateHz);
    }
    const trend = this.trend ?? new Float32Array(0);
    const known = trend.filter((v) => !Number.isNaN(v));
    if (known.length === 0) return [];
    const [low, high] = [Math.min(...known), Math.max(...known)];
    const middle = (low + high) / 2;
    const scale = (height - 16) / Math.max(high - low, 10);
    const y = (/** @type {number} */ v) => height / 2 - (v - middle) * scale;
    const dx = inner / trend.length;
    /** @type {(colour: string, width: number) => Item} */
    const line = (colour, width) => ({ kind: "trace", low: trend, high: trend, size: trend.length, from: 0, to: trend.length, x0: left + dx / 2, dx, top: 0, bottom: height, base: middle - height / 2 / scale, scale, colour, width });
    /** @type {(text: string, y: number) => Item} */
    const words = (text, at) => ({ kind: "words", x: left - 7, y: at, text, colour: "faint", size: 11, align: "right" });
    const numbers = high - low >= 4
      ? [words(String(Math.round(high)), Math.max(8, y(high))), words(String(Math.round(low)), Math.min(height - 8, y(low))), words("bpm", height / 2)]
      : [words(`${Math.round(middle)} bpm`, height / 2)];
    return [line("paper", 4.5), line("trace1", 1.8), ...numbers];
  }

  /** What is drawn, as lines of CSV: samples, or lowest and highest of those that share a pixel. */
  #numbers() {
    const { detail, window: w, rateHz } = this;
    const channels = (detail?.channelDetails ?? []).map((c, i) => ({ ...c, i, piece: this.#pieceOf(i) })).filter((c) => this.shown[c.i] && c.piece);
    const piece = channels[0]?.piece;
    if (!piece) return "";
    const per = (piece.to - piece.from) / piece.columns;
    const one = per === 1;
    const rows = [["time_s", ...channels.flatMap((c) => (one ? [c.label] : [W.lowest(c.label), W.highest(c.label)]).map((name) => quoted(`${name} [${c.unit}]`)))].join(",")];
    const text = (/** @type {number} */ v) => (Number.isNaN(v) ? "" : String(Number(v.toPrecision(9))));
    for (let k = Math.max(0, Math.ceil((w.from - piece.from) / per)); k < piece.columns && piece.from + k * per < w.to; k++) {
      rows.push([((piece.from + k * per) / rateHz).toFixed(6), ...channels.flatMap(({ i }) => (one ? [text(piece.low[i][k])] : [text(piece.low[i][k]), text(piece.high[i][k])]))].join(","));
    }
    return rows.join("\r\n");
  }

  /** A value with its unit. @param {number} c @param {number} v */
  value(c, v) {
    return quantity(v, this.detail?.channelDetails[c]?.unit ?? "");
  }
}
