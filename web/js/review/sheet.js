// The sheet of a recording: an overview strip and the window on it, drawn from
// columns; wheel, drag and keys move it, two cursors measure.

import { h, setText } from "../dom.js";
import { clockTime, duration, fixed, prefixFor, quantity, stepDecimals } from "../format.js";
import { AutoRange, linearTicks, timeStep } from "../scales.js";
import { register } from "../scene/picture.js";
import { column, hatch } from "../trace/paint.js";
import { asideCss, between } from "../trace/view.js";
import { theme } from "../theme.js";
import { paintAnnotated } from "./annotated.js";
import { extentIn, firstFrom, rateTrend, Window } from "./window.js";
import { reviewSheetWords as W } from "../words.js";

/** @import {Palette} from "../theme.js" */
/** @import {Detail, Mark, RecordedNote} from "./library.js" */
/** @import {PieceSource} from "./source.js" */
/** @import {Piece} from "./window.js" */
/** @import {FrameLoop} from "../loop.js" */

const GUTTER_CSS = 70;
const GUTTER_NARROW_CSS = 50;
const AXIS_CSS = 24;
const HEAD_CSS = 22;
const LANE_GAP_CSS = 22;
const LEAST_BEAT_CSS = 3.5;
/** Lanes shown at first. */
const MOST_LANES = 6;
/** Fewer beats make no trend. */
const LEAST_TREND_BEATS = 12;
const FONT = 'system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif';
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
    this.cursors = { on: false, a: 0, b: 0 };
    this.ratio = 1;
    this.leftPx = 0;
    this.widthPx = 1;
    this.overviewWidth = 0;
    this.canvas = h("canvas", { class: "review-canvas", "data-testid": "review-canvas", tabindex: "0", role: "application", "aria-roledescription": "recording", "aria-label": W.recordingArrowKeysScrollPlus });
    this.handles = { a: this.#handle("a", W.cursorA), b: this.#handle("b", W.cursorB) };
    this.working = h("p", { class: "review-working", role: "status", "data-testid": "review-working", hidden: true });
    this.box = h("div", { class: "review-box" }, this.canvas, this.handles.a, this.handles.b, this.working);
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
    this.hatchKey = "";
    /** @type {string|CanvasPattern} */
    this.hatching = "";
    this.resizer = new ResizeObserver(() => this.moved());
    this.resizer.observe(this.box);
    this.#listen();
    register(this.canvas, { draw: () => options.loop.dirty(this), paper: () => null });
  }

  /**
   * @param {Detail} detail
   * @param {PieceSource} source
   * @param {number} from of the window at first
   * @param {number} to
   */
  show(detail, source, from, to) {
    this.detail = detail;
    this.source = source;
    this.rateHz = detail.rateHz > 0 ? detail.rateHz : 1;
    this.window = new Window(detail.samples);
    this.window.set(from, to);
    this.beats = [];
    this.annotated = [];
    this.notes = detail.notes;
    this.ranges = detail.channelDetails.map(() => new AutoRange({ fill: 0.4, padding: 0.1 }));
    this.filtered = detail.channelDetails.map(() => false);
    this.shown = detail.channelDetails.map((_, i) => i < MOST_LANES);
    this.cursors.on = false;
    this.overviewWidth = 0;
    this.#placeHandles();
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

  #want() {
    const { clientWidth: width } = this.box;
    if (!this.source || width < 2) return;
    this.ratio = Math.min(2, window.devicePixelRatio || 1);
    this.leftPx = (window.innerWidth <= NARROW_CSS ? GUTTER_NARROW_CSS : GUTTER_CSS) * this.ratio;
    this.widthPx = Math.max(1, Math.round(width * this.ratio - this.leftPx));
    this.source.want(this.window, this.widthPx);
    if (Math.abs(this.overviewWidth - this.widthPx) > 40) {
      this.overviewWidth = this.widthPx;
      const { source, widthPx } = this;
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

  /** @param {number} sample */
  xPx(sample) {
    return this.leftPx + ((sample - this.window.from) / this.window.span) * this.widthPx;
  }

  /** @param {number} clientX */
  sampleAt(clientX) {
    const x = (clientX - this.canvas.getBoundingClientRect().left) * this.ratio - this.leftPx;
    return this.window.from + (x / this.widthPx) * this.window.span;
  }

  #listen() {
    this.canvas.addEventListener("wheel", (w) => {
      w.preventDefault();
      const lines = w.deltaMode === 1 ? 16 : 1;
      if (w.ctrlKey) this.zoom(Math.exp((w.deltaY * lines) / 300), this.sampleAt(w.clientX));
      else {
        const delta = (w.deltaX || w.deltaY) * lines;
        this.window.pan((delta * this.ratio * this.window.span) / this.widthPx);
        this.moved();
      }
    }, { passive: false });
    drag(this.canvas, (down) => {
      let last = down.clientX;
      return (m) => {
        this.window.pan((-(m.clientX - last) * this.ratio * this.window.span) / this.widthPx);
        last = m.clientX;
        this.moved();
      };
    });
    this.canvas.addEventListener("dblclick", (e) => this.zoom(e.shiftKey ? 3 : 1 / 3, this.sampleAt(e.clientX)));
    const place = (/** @type {PointerEvent} */ e) => {
      const box = this.strip.getBoundingClientRect();
      const left = this.leftPx / this.ratio;
      const share = (e.clientX - box.left - left) / Math.max(1, box.width - left);
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
   * @param {string} title
   */
  #handle(name, title) {
    const e = h("div", { class: `cursor-handle cursor-${name}`, role: "slider", tabindex: "0", hidden: true, "data-testid": `review-cursor-${name}`, "aria-label": title, "aria-valuenow": "0" }, name.toUpperCase());
    drag(e, () => {
      e.focus();
      return (m) => this.setCursor(name, this.sampleAt(m.clientX));
    });
    e.addEventListener("keydown", (k) => {
      const px = (k.shiftKey ? 20 : 1) * (this.window.span / this.widthPx) * this.ratio;
      const step = Math.max(k.shiftKey ? 20 : 1, px);
      if (k.key === "ArrowLeft") this.setCursor(name, this.cursors[name] - step);
      else if (k.key === "ArrowRight") this.setCursor(name, this.cursors[name] + step);
      else if (k.key === "ArrowUp" || k.key === "ArrowDown") this.#cursorToBeat(name, k.key === "ArrowUp" ? 1 : -1);
      else return;
      k.preventDefault();
      k.stopPropagation();
    });
    return e;
  }

  /**
   * @param {"a"|"b"} name
   * @param {number} direction
   */
  #cursorToBeat(name, direction) {
    const list = this.beats.find((b) => b.length > 0);
    if (!list) return;
    const here = Math.round(this.cursors[name]);
    const i = direction > 0 ? firstFrom(list, here + 1) : firstFrom(list, here) - 1;
    if (list[i]) this.setCursor(name, list[i].sample);
  }

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
    cursors.on = !cursors.on;
    if (cursors.on) {
      cursors.a = Math.round(w.from + w.span * 0.38);
      cursors.b = Math.round(w.from + w.span * 0.62);
      const list = this.beats.find((b) => b.length > 0);
      if (list) {
        const i = firstFrom(list, (w.from + w.to) / 2);
        if (list[i - 1]?.sample >= w.from && list[i]?.sample < w.to) {
          cursors.a = list[i - 1].sample;
          cursors.b = list[i].sample;
        }
      }
    }
    this.options.cursorsMoved();
    this.options.loop.dirty(this);
    const focused = document.activeElement === this.handles.a || document.activeElement === this.handles.b;
    this.#placeHandles();
    if (cursors.on) this.handles.a.focus();
    else if (focused) this.canvas.focus(); // hidden, a handle would take the focus along
  }

  /** Time, difference and rate between the cursors. */
  measure() {
    return between(this.cursors.a, this.cursors.b, this.rateHz);
  }

  #placeHandles() {
    for (const name of /** @type {const} */ (["a", "b"])) {
      const e = this.handles[name];
      e.hidden = !this.cursors.on;
      if (!this.cursors.on) continue;
      const x = this.xPx(this.cursors[name]);
      e.classList.toggle("outside", x < this.leftPx || x > this.leftPx + this.widthPx);
      const aside = asideCss(x / this.ratio, this.xPx(this.cursors[name === "a" ? "b" : "a"]) / this.ratio, name === "a");
      e.style.transform = `translateX(${(x / this.ratio + aside).toFixed(1)}px)`;
      e.setAttribute("aria-valuenow", String(this.cursors[name]));
      e.setAttribute("aria-valuetext", W.difference(clockTime(this.cursors[name] / this.rateHz, 0.001), duration(this.measure().seconds)));
    }
  }

  // --- painting ---------------------------------------------------------------

  draw() {
    const begun = performance.now();
    const { detail, source, ctx, canvas, ratio } = this;
    if (!detail || !source) return;
    const width = Math.round(this.box.clientWidth * ratio);
    const height = Math.round(this.box.clientHeight * ratio);
    if (width < 2 || height < 2) return;
    if (canvas.width !== width) canvas.width = width;
    if (canvas.height !== height) canvas.height = height;
    const palette = theme.palette;
    ctx.fillStyle = palette.paper;
    ctx.fillRect(0, 0, width, height);
    ctx.font = `${12 * ratio}px ${FONT}`;
    const bottom = height - AXIS_CSS * ratio;
    this.#time(palette, bottom);
    this.#gaps(palette, bottom);
    const lanes = detail.channelDetails.map((_, c) => c).filter((c) => this.shown[c]);
    const top = HEAD_CSS * ratio;
    const each = (bottom - top) / Math.max(1, lanes.length);
    const near = source.piece && source.piece.to > this.window.from && source.piece.from < this.window.to ? source.piece : null;
    for (const [i, c] of lanes.entries()) {
      const piece = near ?? (this.filtered[c] ? null : source.overview);
      this.#lane(palette, c, piece, top + i * each + LANE_GAP_CSS * ratio, each - (LANE_GAP_CSS + 4) * ratio);
    }
    this.#notes(palette, bottom);
    this.#cursorLines(palette, bottom);
    ctx.strokeStyle = palette.margin;
    ctx.lineWidth = Math.max(1, ratio);
    line(ctx, this.leftPx - 0.5, 0, this.leftPx - 0.5, height);
    this.#placeHandles();
    this.#strip(palette);
    const piece = source.piece;
    const waits = source.waiting();
    this.working.hidden = !waits;
    if (waits && piece) setText(this.working, `${this.filtered.some(Boolean) ? W.filteringTheWholeRecording : W.readingTheRecording}, ${Math.round(100 * piece.share)} %`);
    this.paintMs = performance.now() - begun;
  }

  /**
   * @param {Palette} palette
   * @param {number} bottom
   */
  #time(palette, bottom) {
    const { ctx, ratio, rateHz, window: w } = this;
    const seconds = w.span / rateHz;
    const step = timeStep((seconds * 84 * ratio) / this.widthPx);
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.lineWidth = Math.max(1, Math.round(ratio));
    for (let k = Math.ceil(w.from / rateHz / step); k * step <= w.to / rateHz; k++) {
      const x = Math.round(this.xPx(k * step * rateHz)) + 0.5;
      ctx.strokeStyle = palette.grid;
      line(ctx, x, 0, x, bottom);
      ctx.fillStyle = palette.faint;
      if (x > this.leftPx + 16 * ratio && x < this.leftPx + this.widthPx - 24 * ratio) ctx.fillText(clockTime(k * step, step), x, bottom + 13 * ratio);
    }
    ctx.strokeStyle = palette.gridStrong;
    line(ctx, this.leftPx, bottom + 0.5, this.leftPx + this.widthPx, bottom + 0.5);
  }

  /**
   * @param {Palette} palette
   * @param {number} bottom
   */
  #gaps(palette, bottom) {
    const { ctx, detail, window: w } = this;
    if (!detail) return;
    const key = palette.gridStrong + this.ratio;
    if (this.hatchKey !== key) {
      this.hatchKey = key;
      this.hatching = hatch(ctx, palette.gridStrong, this.ratio);
    }
    for (const g of detail.gaps) {
      if (g.first > w.to || g.first + g.samples < w.from) continue;
      const a = Math.max(this.leftPx, this.xPx(g.first));
      const b = Math.min(this.leftPx + this.widthPx, this.xPx(g.first + g.samples));
      ctx.fillStyle = palette.gap;
      ctx.fillRect(a, 0, Math.max(1, b - a), bottom);
      ctx.fillStyle = this.hatching;
      ctx.fillRect(a, 0, Math.max(1, b - a), bottom);
    }
  }

  /**
   * @param {Palette} palette
   * @param {number} c
   * @param {Piece|null} piece
   * @param {number} top
   * @param {number} height
   */
  #lane(palette, c, piece, top, height) {
    const { ctx, ratio, detail, window: w } = this;
    if (!detail || height < 8) return;
    const { unit, label } = detail.channelDetails[c];
    const range = this.ranges[c];
    if (piece) {
      const [low, high] = extentIn(piece, c, w.from, w.to);
      // Whole numbers without a scale are a converter's counts.
      range.least = unit === "counts" && Number.isInteger(low) && Number.isInteger(high) ? 4 : 1e-6;
      if (!this.locked || !(range.low < range.high)) range.update(low, high);
    }
    const words = `${label}${this.filtered[c] ? W.afterItsPath : W.asRecorded}`;
    const known = range.low < range.high;
    const bottom = top + height;
    const scale = known ? height / (range.high - range.low) : 0;
    if (known) {
      const t = linearTicks(range.low, range.high, height / ratio / 34);
      const p = prefixFor(Math.max(Math.abs(range.low), Math.abs(range.high)), unit);
      const decimals = stepDecimals(t.step / p.factor);
      ctx.textAlign = "right";
      ctx.textBaseline = "middle";
      ctx.lineWidth = Math.max(1, Math.round(ratio));
      for (let i = 0; i < t.count; i++) {
        const v = t.first + i * t.step;
        const y = Math.round(bottom - (v - range.low) * scale) + 0.5;
        ctx.strokeStyle = palette.grid;
        line(ctx, this.leftPx, y, this.leftPx + this.widthPx, y);
        ctx.fillStyle = palette.faint;
        ctx.fillText(fixed(v / p.factor, decimals), this.leftPx - 7 * ratio, y);
      }
      ctx.fillStyle = palette.ink;
      ctx.fillText(p.unit, this.leftPx - 7 * ratio, top - 11 * ratio);
    }
    if (piece && known) {
      ctx.save();
      ctx.beginPath();
      ctx.rect(this.leftPx, top, this.widthPx, height);
      ctx.clip();
      ctx.strokeStyle = this.filtered[c] ? palette.traces[3] : palette.traces[0];
      ctx.lineWidth = (this.filtered[c] ? 1.6 : 1.1) * ratio;
      ctx.lineJoin = "round";
      this.#stroke(piece, c, bottom, scale, range.low);
      ctx.restore();
    }
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ctx.fillStyle = palette.ink;
    ctx.fillText(words, this.leftPx + 8 * ratio, top - 11 * ratio);
    paintAnnotated(this, palette, top, bottom);
    this.#beatMarks(palette, c, top, this.leftPx + 18 * ratio + ctx.measureText(words).width);
  }

  /**
   * @param {Piece} piece
   * @param {number} c
   * @param {number} bottom
   * @param {number} scale pixels per unit
   * @param {number} base
   */
  #stroke(piece, c, bottom, scale, base) {
    const { ctx } = this;
    const per = (piece.to - piece.from) / piece.columns;
    const low = piece.low[c];
    const high = piece.high[c];
    const first = Math.max(0, Math.floor((this.window.from - piece.from) / per) - 1);
    const last = Math.min(piece.columns, Math.ceil((this.window.to - piece.from) / per) + 1);
    const px = this.widthPx / this.window.span;
    const middle = per > 1 ? per / 2 : 0;
    const dots = per === 1 && px > 9 * this.ratio;
    let lastY = NaN;
    ctx.beginPath();
    for (let i = first; i < last; i++) {
      const a = low[i];
      if (a !== a) {
        lastY = NaN;
        continue;
      }
      const x = this.leftPx + (piece.from + i * per + middle - this.window.from) * px;
      const y1 = bottom - (a - base) * scale;
      const y2 = bottom - (high[i] - base) * scale;
      lastY = column(ctx, x, y1, y2, lastY);
    }
    ctx.stroke();
    if (!dots) return;
    const side = 3 * this.ratio;
    ctx.fillStyle = ctx.strokeStyle;
    for (let i = first; i < last; i++) ctx.fillRect(this.leftPx + (piece.from + i - this.window.from) * px - side / 2, bottom - (low[i] - base) * scale - side / 2, side, side);
  }

  /**
   * @param {Palette} palette
   * @param {number} c
   * @param {number} top
   * @param {number} clear marks begin right of it
   */
  #beatMarks(palette, c, top, clear) {
    const list = this.beats[c];
    if (!list || list.length === 0) return;
    const { ctx, ratio, window: w } = this;
    const a = firstFrom(list, Math.ceil(w.from));
    const b = firstFrom(list, w.to);
    if ((b - a) * LEAST_BEAT_CSS * ratio > this.widthPx) return;
    const half = Math.min(4, (this.widthPx / ratio / (b - a + 1)) * 0.4) * ratio;
    const y = top - 6 * ratio;
    for (let i = a; i < b; i++) {
      const x = this.xPx(list[i].sample);
      if (x < clear) continue;
      ctx.fillStyle = list[i].quality < 0.4 ? palette.faint : palette.mark;
      ctx.beginPath();
      ctx.moveTo(x - half, y - 5 * ratio);
      ctx.lineTo(x + half, y - 5 * ratio);
      ctx.lineTo(x, y + 2 * ratio);
      if (list[i].quality < 0.4) {
        ctx.closePath();
        ctx.strokeStyle = palette.faint;
        ctx.lineWidth = ratio;
        ctx.stroke();
      } else ctx.fill();
    }
  }

  /**
   * @param {Palette} palette
   * @param {number} bottom
   */
  #notes(palette, bottom) {
    const { ctx, ratio, notes, window: w } = this;
    let free = -Infinity;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    for (let i = firstFrom(notes, w.from); i < notes.length && notes[i].sample < w.to; i++) {
      const x = Math.round(this.xPx(notes[i].sample)) + 0.5;
      ctx.strokeStyle = palette.faint;
      ctx.lineWidth = ratio;
      ctx.setLineDash([2 * ratio, 4 * ratio]);
      line(ctx, x, 0, x, bottom);
      ctx.setLineDash([]);
      if (x < free) continue;
      const text = notes[i].text.length > 42 ? notes[i].text.slice(0, 41) + "…" : notes[i].text;
      const width = ctx.measureText(text).width;
      const right = this.leftPx + this.widthPx;
      const at = Math.min(x + 4 * ratio, right - width - 4 * ratio);
      if (at < free) continue;
      ctx.fillStyle = palette.paper;
      ctx.fillRect(at - 3 * ratio, 2 * ratio, width + 6 * ratio, 17 * ratio);
      ctx.fillStyle = palette.ink;
      ctx.fillText(text, at, 11 * ratio);
      free = at + width + 10 * ratio;
    }
  }

  /**
   * @param {Palette} palette
   * @param {number} bottom
   */
  #cursorLines(palette, bottom) {
    if (!this.cursors.on) return;
    const { ctx, ratio } = this;
    ctx.strokeStyle = palette.mark;
    ctx.lineWidth = 1.2 * ratio;
    for (const name of /** @type {const} */ (["a", "b"])) {
      const x = this.xPx(this.cursors[name]);
      if (x >= this.leftPx && x <= this.leftPx + this.widthPx) line(ctx, x, HEAD_CSS * ratio, x, bottom);
    }
  }

  /** @param {Palette} palette */
  #strip(palette) {
    const { strip, stripCtx: ctx, ratio, source, window: w } = this;
    const width = Math.round(strip.clientWidth * ratio);
    const height = Math.round(strip.clientHeight * ratio);
    if (width < 2 || height < 2) return;
    if (strip.width !== width) strip.width = width;
    if (strip.height !== height) strip.height = height;
    ctx.fillStyle = palette.paper;
    ctx.fillRect(0, 0, width, height);
    const inner = width - this.leftPx;
    const piece = source?.overview;
    if (piece) {
      const [low, high] = extentIn(piece, 0, 0, w.length);
      const scale = low < high ? (height - 6 * ratio) / (high - low) : 0;
      ctx.strokeStyle = palette.faint;
      ctx.lineWidth = Math.max(1, inner / piece.columns);
      ctx.lineJoin = "round";
      ctx.beginPath();
      let pen = false;
      for (let i = 0; i < piece.columns; i++) {
        const v = piece.low[0][i];
        if (v !== v) {
          pen = false;
          continue;
        }
        const x = this.leftPx + ((i + 0.5) / piece.columns) * inner;
        const y = height - 3 * ratio - (v - low) * scale;
        if (pen) ctx.lineTo(x, y);
        else ctx.moveTo(x, y + 0.5);
        ctx.lineTo(x, height - 3 * ratio - (piece.high[0][i] - low) * scale);
        pen = true;
      }
      ctx.lineWidth = Math.max(ratio, Math.min(ctx.lineWidth, 1.5 * ratio));
      ctx.stroke();
    }
    this.#trend(palette, inner, height);
    ctx.fillStyle = palette.ink;
    for (const n of this.notes) if (!n.board) ctx.fillRect(this.leftPx + (n.sample / w.length) * inner, 0, Math.max(1, 1.5 * ratio), 6 * ratio);
    const a = this.leftPx + (w.from / w.length) * inner;
    const b = Math.max(a + 3 * ratio, this.leftPx + (w.to / w.length) * inner);
    ctx.globalAlpha = 0.14;
    ctx.fillStyle = palette.traces[3];
    ctx.fillRect(a, 0, b - a, height);
    ctx.globalAlpha = 1;
    ctx.strokeStyle = palette.traces[3];
    ctx.lineWidth = 1.5 * ratio;
    ctx.strokeRect(a, ratio, b - a, height - 2 * ratio);
    ctx.strokeStyle = palette.margin;
    ctx.lineWidth = Math.max(1, ratio);
    line(ctx, this.leftPx - 0.5, 0, this.leftPx - 0.5, height);
    strip.setAttribute("aria-valuenow", String(Math.round((100 * w.from) / w.length)));
    strip.setAttribute("aria-valuetext", W.toOf(clockTime(w.from / this.rateHz), clockTime(w.to / this.rateHz), clockTime(w.length / this.rateHz)));
  }

  /**
   * The rate over the whole recording, from its lowest to its highest.
   * @param {Palette} palette
   * @param {number} inner width of the strip
   * @param {number} height
   */
  #trend(palette, inner, height) {
    const { stripCtx: ctx, ratio, window: w } = this;
    const list = this.beats.find((b) => b.length > LEAST_TREND_BEATS);
    if (!list) return;
    const parts = Math.max(8, Math.min(Math.floor(inner / (3 * ratio)), Math.floor(list.length / 4)));
    const key = `${parts} ${list.length} ${this.detail?.id}`;
    if (key !== this.trendKey) {
      this.trendKey = key;
      this.trend = rateTrend(list, w.length, parts, this.rateHz);
    }
    const trend = this.trend ?? new Float32Array(0);
    let low = Infinity;
    let high = -Infinity;
    for (const v of trend) {
      if (v < low) low = v;
      if (v > high) high = v;
    }
    if (!(low <= high)) return;
    const middle = (low + high) / 2;
    const span = Math.max(high - low, 10);
    const y = (/** @type {number} */ v) => height / 2 - ((v - middle) / span) * (height - 16 * ratio);
    ctx.lineJoin = "round";
    for (const [colour, width] of /** @type {[string, number][]} */ ([[palette.paper, 4.5], [palette.traces[1], 1.8]])) {
      ctx.strokeStyle = colour;
      ctx.lineWidth = width * ratio;
      ctx.beginPath();
      let pen = false;
      for (let i = 0; i < trend.length; i++) {
        if (trend[i] !== trend[i]) {
          pen = false;
          continue;
        }
        const x = this.leftPx + ((i + 0.5) / trend.length) * inner;
        if (pen) ctx.lineTo(x, y(trend[i]));
        else ctx.moveTo(x, y(trend[i]));
        pen = true;
      }
      ctx.stroke();
    }
    ctx.font = `${11 * ratio}px ${FONT}`;
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    ctx.fillStyle = palette.faint;
    const right = this.leftPx - 7 * ratio;
    if (high - low >= 4) {
      ctx.fillText(String(Math.round(high)), right, Math.max(8 * ratio, y(high)));
      ctx.fillText(String(Math.round(low)), right, Math.min(height - 8 * ratio, y(low)));
      ctx.fillText("bpm", right, height / 2);
    } else ctx.fillText(`${Math.round(middle)} bpm`, right, height / 2);
  }

  /** A value with its unit. @param {number} c @param {number} v */
  value(c, v) {
    return quantity(v, this.detail?.channelDetails[c]?.unit ?? "");
  }
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x1
 * @param {number} y1
 * @param {number} x2
 * @param {number} y2
 */
function line(ctx, x1, y1, x2, y2) {
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.stroke();
}

/**
 * Follows a pointer held down on an element.
 * @param {HTMLElement} e
 * @param {(down: PointerEvent) => (m: PointerEvent) => void} begin
 */
function drag(e, begin) {
  e.addEventListener("pointerdown", (down) => {
    if (down.button !== 0) return;
    down.preventDefault();
    e.focus({ preventScroll: true });
    e.setPointerCapture(down.pointerId);
    const move = begin(down);
    const up = () => {
      e.removeEventListener("pointermove", move);
      e.removeEventListener("pointerup", up);
      e.removeEventListener("pointercancel", up);
    };
    e.addEventListener("pointermove", move);
    e.addEventListener("pointerup", up);
    e.addEventListener("pointercancel", up);
  });
}
