// The trace: lanes of ink on paper that glides with the samples.

import { ColumnCache } from "../columns.js";
import { button, fill, h, select, setText } from "../dom.js";
import { clockTime, duration, quantity } from "../format.js";
import { register } from "../scene/picture.js";
import { niceStep, SECONDS_ACROSS, stepSeconds } from "../scales.js";
import { fiducial } from "../store.js";
import { POINT_NAMES, POINT_TITLES, STYLES, theme } from "../theme.js";
import { Lane, placeLanes, shareSpan } from "./lanes.js";
import { hatch, see, strokeColumns, strokeSamples } from "./paint.js";
import { GUESS_MM_PER_CSS, heightFor, HEIGHTS, secondsFor, spanFor, SPEEDS } from "./paper.js";
import { advance, asideCss, between, View } from "./view.js";
import { traceWords as W } from "../words.js";

/** @import {Channel, Frame, Gap, Note, Probe} from "../types.js" */
/** @import {Rings} from "../rings.js" */
/** @import {BeatList} from "../store.js" */
/** @import {FrameLoop} from "../loop.js" */

const GUTTER_CSS = 76;
const GUTTER_NARROW_CSS = 52;
const AXIS_CSS = 24;
const TOP_CSS = 2;
const HEAD_CSS = 24;
const BOTTOM_CSS = 4;
const MOST_TEXTS = 600;
/** Columns drawn again where new ink joins the old. */
const SEAM_CSS = 5;
/** Columns before them, for the pen to come in as it went. */
const LEAD_COLUMNS = 48;
const LEAST_INTERVAL_TEXT_CSS = 52;
/** Seconds across by zooming. */
const LEAST_SECONDS = 0.1;
const MOST_SECONDS = 600;
/** A rectangle smaller than this was no zoom; less high, it is one in time alone. */
const LEAST_ZOOM_CSS = 8;
const FLAT_ZOOM_CSS = 18;
/** Beats closer than this are ticks, without rings and intervals. */
const DENSE_BEATS_CSS = 9;
/** Millimetre lines nearer than this are left out. */
const LEAST_MM_PX = 3.5;

/**
 * @typedef {object} TraceOptions
 * @property {FrameLoop} loop
 * @property {boolean} turns the paper turns instead of gliding
 * @property {(text: string) => void} announce
 * @property {(text: string, index: number) => void} addNote
 * @property {(scales: Record<string, {span: number, middle: number}>) => void} scalesChanged
 * @property {(what: {secondsAcross: number, overlaid: boolean}) => void} viewChanged
 * @property {(head: number) => void} painted the paper was drawn to this sample, live
 * @property {() => void} calibrate asks for the screen's true size
 * @property {() => void} save offers what is seen as a file
 * @property {{on: boolean, mmPerSecond: number, mmPerVolt: number}} paper
 * @property {(paper: {on: boolean, mmPerSecond: number, mmPerVolt: number}) => void} paperChanged
 */

/** Values of a channel's first point from a sample on. @typedef {{channel: number, first: number, values: number[]}} Ghost */
/** What a zoom changed, to go back. @typedef {{seconds: number, held: boolean, end: number, spans: {lane: Lane, span: number, middle: number}[]}} Before */

export class TracePanel {
  /**
   * @param {HTMLElement} root
   * @param {TraceOptions} options
   */
  constructor(root, options) {
    this.root = root;
    this.options = options;
    this.view = new View();
    this.view.turns = options.turns;
    /** @type {Rings|null} */
    this.rings = null;
    /** @type {Channel[]} */
    this.channels = [];
    /** @type {BeatList[]} */
    this.beats = [];
    /** @type {Gap[]} */
    this.gaps = [];
    /** Stretches this page lost. @type {Gap[]} */
    this.holes = [];
    /** @type {Note[]} */
    this.notes = [];
    /** @type {Lane[]} */
    this.lanes = [];
    /** @type {ColumnCache[]} */
    this.caches = [];
    this.overlaid = false;
    this.selected = 0;
    this.head = 0;
    this.lastDraw = 0;
    this.ratio = 1;
    this.leftPx = 0;
    this.baseDirty = true;
    this.sized = false;
    this.cursors = { on: false, a: 0, b: 0, active: "a" };
    /** Draws over the traces, as a drawer asks. @type {((ctx: CanvasRenderingContext2D) => void)|null} */
    this.annotate = null;
    /** @type {Ghost|null} */
    this.ghost = null;
    /** @type {Before[]} */
    this.zooms = [];
    this.zooming = false;
    this.paper = { ...options.paper };
    /** Of a device pixel; 0 until the screen is calibrated. */
    this.mmPerDevicePx = 0;
    /** @type {Map<number, string>} */
    this.timeTexts = new Map();
    this.timeStep = 0;
    /** @type {Map<number, string>} */
    this.intervalTexts = new Map();
    /** @type {string|CanvasPattern} */
    this.hatching = "";
    this.paperShown = "";
    /** What the ink on the canvas shows; anything else needs it drawn anew. */
    this.inked = { origin: -1, samplesPerPx: 0, version: -1, gaps: /** @type {unknown} */ (null), holes: /** @type {unknown} */ (null) };
    this.labelWidthPx = 0;
    this.gapWordsEnd = 0;

    this.base = h("canvas", { class: "trace-base", "aria-hidden": "true" });
    this.ink = h("canvas", { class: "trace-ink", "aria-hidden": "true" });
    this.top = h("canvas", { class: "trace-top", "data-testid": "trace-canvas", tabindex: "0", role: "application", "aria-roledescription": "signal trace", "aria-label": W.signalTraceArrowKeysScroll });
    this.labels = h("div", { class: "lane-labels" });
    this.stale = h("div", { class: "stale", "data-testid": "stale", hidden: true });
    this.readout = h("div", { class: "cursor-readout", "data-testid": "cursor-readout", hidden: true });
    this.handles = {
      a: this.#handle("a", W.cursorA),
      b: this.#handle("b", W.cursorB),
    };
    this.rubber = h("div", { class: "rubber", hidden: true });
    this.sheet = h("div", { class: "sheet", "data-testid": "sheet" }, this.base, this.ink, this.top, this.labels, this.rubber, this.handles.a, this.handles.b, this.stale);
    this.scrubThumb = h("div", { class: "scrub-thumb" });
    this.scrub = h("div", { class: "scrub", role: "slider", tabindex: "0", "data-testid": "scrub", "aria-label": W.positionInTheLastTen, "aria-valuemin": "0", "aria-valuemax": "0", "aria-valuenow": "0", "aria-valuetext": "live" }, this.scrubThumb);
    this.freezeButton = button("freeze", W.freeze, () => this.toggleFreeze(), { "aria-pressed": "false", title: W.holdThePaperStillSpace });
    this.liveButton = button("live", W.backToLive, () => this.live(), { hidden: true, class: "accent", title: W.followTheNewestSampleEnd });
    this.secondsSelect = select("seconds-across", SECONDS_ACROSS.map((s) => [String(s), `${s} s`]), (v) => this.setSeconds(Number(v)), { "aria-label": W.secondsAcross });
    this.layoutButton = button("overlay", W.overlay, () => this.setOverlaid(!this.overlaid), { "aria-pressed": "false", title: W.layAllProbesOverEach });
    this.autoButton = button("auto-all", W.autoScale, () => this.autoAll(), { title: W.letEveryTraceFindIts });
    this.cursorButton = button("cursors", W.cursors, () => this.toggleCursors(), { "aria-pressed": "false", title: W.twoCursorsTimeDifferenceAnd });
    this.zoomButton = button("zoom", W.zoom, () => this.zoomKey(), { "aria-pressed": "false", title: W.dragOverWhatYouWant });
    this.zoomOutButton = button("zoom-out", W.zoomOut, () => this.zoomOut(), { hidden: true, title: W.backToWhatWasSeen });
    this.paperButton = button("paper", "mm", () => this.setPaper({ on: !this.paper.on }), { "aria-pressed": "false", title: W.trueMillimetresOnTheScreen });
    this.speedSelect = select("paper-speed", SPEEDS.map((v) => [String(v), `${v} mm/s`]), (v) => this.setPaper({ mmPerSecond: Number(v) }), { "aria-label": W.paperSpeed });
    this.heightSelect = select("paper-height", HEIGHTS.map((v) => [String(v.mmPerVolt), v.text]), (v) => this.setPaper({ mmPerVolt: Number(v) }), { "aria-label": W.heightOfAChestSignal, title: W.mmMVNeedsTheBoards });
    this.calibrateButton = button("calibrate", W.screen, () => options.calibrate(), { title: W.fitABarToA });
    this.paperGroup = h("span", { class: "paper-group", hidden: true }, this.speedSelect, this.heightSelect, this.calibrateButton);
    this.saveButton = button("save", W.save, () => options.save(), { title: W.whatIsSeenAsA });
    this.noteButton = button("note-add", W.note, () => this.#openNote(), { title: W.writeANoteAtThe });
    this.noteInput = h("input", { type: "text", id: "note-text", "data-testid": "note-text", maxlength: "400", placeholder: W.whatHappenedHere, "aria-label": W.note });
    this.noteForm = h("form", { class: "note-form", hidden: true }, this.noteInput, h("button", { type: "submit", "data-testid": "note-save" }, W.keep));
    this.noteForm.addEventListener("submit", (e) => {
      e.preventDefault();
      const text = this.noteInput.value.trim();
      if (text) this.options.addNote(text, this.noteIndex);
      this.#closeNote();
    });
    this.noteInput.addEventListener("keydown", (e) => {
      if (e.key === "Escape") this.#closeNote();
    });
    this.noteIndex = 0;
    this.where = h("span", { class: "where", "data-testid": "where" });
    root.append(this.#toolbar(), this.sheet, this.readout, this.scrub);
    const base = this.base.getContext("2d", { alpha: false });
    const ink = this.ink.getContext("2d");
    const top = this.top.getContext("2d");
    if (!base || !ink || !top) throw new Error(W.thisBrowserCannotDrawOn);
    this.baseCtx = base;
    this.inkCtx = ink;
    this.topCtx = top;
    this.resizer = new ResizeObserver(() => {
      this.sized = false;
      options.loop.dirty(this);
    });
    this.resizer.observe(this.sheet);
    this.#listen();
    register(this.top, { draw: () => this.repaint(), paper: () => null });
    this.#showPaper();
    options.loop.add(this);
  }

  // --- controls ---------------------------------------------------------

  #toolbar() {
    return h("div", { class: "toolbar", role: "toolbar", "aria-label": W.trace },
      this.freezeButton, this.liveButton,
      h("span", { class: "group" },
        button("seconds-less", "−", () => this.setSeconds(stepSeconds(this.view.secondsAcross, -1)), { "aria-label": W.fewerSecondsAcross, class: "step" }),
        this.secondsSelect,
        button("seconds-more", "+", () => this.setSeconds(stepSeconds(this.view.secondsAcross, 1)), { "aria-label": W.moreSecondsAcross, class: "step" })),
      this.autoButton, this.layoutButton, this.cursorButton, this.zoomButton, this.zoomOutButton, this.paperButton, this.paperGroup, this.noteButton, this.noteForm, this.saveButton, this.where);
  }

  #openNote() {
    this.noteIndex = Math.round(this.view.held ? this.cursors.on ? this.cursors.a : this.view.end : this.head);
    this.noteForm.hidden = false;
    this.noteButton.hidden = true;
    this.noteInput.value = "";
    this.noteInput.focus();
  }

  #closeNote() {
    this.noteForm.hidden = true;
    this.noteButton.hidden = false;
    this.noteButton.focus();
  }

  /**
   * @param {"a"|"b"} name
   * @param {string} title
   */
  #handle(name, title) {
    const e = h("div", { class: `cursor-handle cursor-${name}`, role: "slider", tabindex: "0", hidden: true, "data-testid": `cursor-${name}`, "aria-label": title, "aria-valuenow": "0" }, name.toUpperCase());
    e.addEventListener("pointerdown", (down) => {
      down.preventDefault();
      e.setPointerCapture(down.pointerId);
      e.focus();
      const move = (/** @type {PointerEvent} */ m) => this.#cursorTo(name, m.clientX);
      const up = () => {
        e.removeEventListener("pointermove", move);
        e.removeEventListener("pointerup", up);
        e.removeEventListener("pointercancel", up);
      };
      e.addEventListener("pointermove", move);
      e.addEventListener("pointerup", up);
      e.addEventListener("pointercancel", up);
    });
    e.addEventListener("keydown", (k) => {
      const step = (k.shiftKey ? 20 : 1) * this.view.samplesPerPx * this.ratio;
      if (k.key === "ArrowLeft") this.cursors[name] -= step;
      else if (k.key === "ArrowRight") this.cursors[name] += step;
      else if (k.key === "ArrowUp" || k.key === "ArrowDown") this.#cursorToBeat(name, k.key === "ArrowUp" ? 1 : -1);
      else return;
      k.preventDefault();
      k.stopPropagation();
      this.#cursorMoved(name);
    });
    return e;
  }

  #listen() {
    this.top.addEventListener("pointerdown", (down) => {
      if (down.button !== 0 || !this.rings) return;
      this.top.setPointerCapture(down.pointerId);
      if (this.zooming || down.shiftKey) {
        this.#stretch(down);
        return;
      }
      let last = down.clientX;
      let moved = false;
      this.#selectAt(down.offsetY);
      const move = (/** @type {PointerEvent} */ m) => {
        if (!moved && Math.abs(m.clientX - down.clientX) < 4) return;
        moved = true;
        this.scrollBy(-(m.clientX - last) * this.ratio * this.view.samplesPerPx);
        last = m.clientX;
      };
      const up = () => {
        this.top.removeEventListener("pointermove", move);
        this.top.removeEventListener("pointerup", up);
        this.top.removeEventListener("pointercancel", up);
      };
      this.top.addEventListener("pointermove", move);
      this.top.addEventListener("pointerup", up);
      this.top.addEventListener("pointercancel", up);
    });
    this.top.addEventListener("dblclick", () => this.zoomOut(true));
    this.top.addEventListener("wheel", (w) => {
      if (w.ctrlKey) {
        w.preventDefault();
        this.setSeconds(stepSeconds(this.view.secondsAcross, w.deltaY));
        return;
      }
      const scrolls = document.documentElement.scrollHeight > window.innerHeight + 2;
      const delta = w.deltaX !== 0 ? w.deltaX : w.shiftKey || !scrolls ? w.deltaY : 0;
      if (delta === 0) return;
      w.preventDefault();
      this.scrollBy(delta * this.ratio * this.view.samplesPerPx);
    }, { passive: false });
    const scrubTo = (/** @type {PointerEvent} */ e) => {
      if (!this.rings) return;
      const box = this.scrub.getBoundingClientRect();
      const share = (e.clientX - box.left) / Math.max(1, box.width);
      const span = this.rings.end - this.rings.start;
      this.scrollBy(this.rings.start + share * span + this.view.samplesAcross / 2 - this.view.end);
    };
    this.scrub.addEventListener("pointerdown", (e) => {
      this.scrub.setPointerCapture(e.pointerId);
      scrubTo(e);
      this.scrub.addEventListener("pointermove", scrubTo);
      this.scrub.addEventListener("pointerup", () => this.scrub.removeEventListener("pointermove", scrubTo), { once: true });
    });
    this.scrub.addEventListener("keydown", (e) => {
      const page = this.view.samplesAcross;
      const by = { ArrowLeft: -page / 10, ArrowRight: page / 10, PageUp: -page, PageDown: page, Home: -Infinity, End: Infinity }[e.key];
      if (by === undefined) return;
      e.preventDefault();
      e.stopPropagation();
      this.scrollBy(by);
    });
  }

  toggleFreeze() {
    if (this.view.held) this.live();
    else {
      this.view.held = true;
      this.#held();
      this.options.announce(W.frozen);
    }
  }

  live() {
    this.view.held = false;
    this.view.follow(this.head);
    this.#held();
    this.options.announce(W.live);
  }

  /** @param {number} samples to the right */
  scrollBy(samples) {
    if (!this.rings) return;
    if (samples === Infinity) return this.live();
    if (samples === -Infinity) samples = -this.rings.capacity;
    this.view.scroll(samples, this.rings.start, this.head);
    this.#held();
  }

  /**
   * Holds the paper with a sample on it, in the middle when it was not.
   * @param {number} sample
   */
  holdAt(sample) {
    if (!this.rings) return;
    const across = this.view.samplesAcross;
    const margin = across * 0.08;
    this.view.held = true;
    if (sample < this.view.end - across + margin || sample > this.view.end - margin) this.view.end = sample + across / 2;
    this.view.clamp(this.rings.start, this.rings.end);
    this.#held();
  }

  #held() {
    const held = this.view.held;
    this.freezeButton.setAttribute("aria-pressed", String(held));
    setText(this.freezeButton, held ? W.frozen2 : W.freeze);
    this.liveButton.hidden = !held;
    this.root.classList.toggle("held", held);
    this.options.loop.dirty(this);
  }

  /** @param {number} seconds */
  setSeconds(seconds) {
    if (!(seconds >= LEAST_SECONDS && seconds <= MOST_SECONDS)) return;
    if (this.paper.on) this.setPaper({ on: false });
    this.#setAcross(seconds);
    this.options.viewChanged({ secondsAcross: seconds, overlaid: this.overlaid });
  }

  /** @param {number} seconds */
  #setAcross(seconds) {
    this.view.secondsAcross = seconds;
    const value = String(seconds);
    const own = [...this.secondsSelect.options].find((o) => o.dataset.own);
    if (own && own.value !== value) own.remove();
    if (![...this.secondsSelect.options].some((o) => o.value === value)) this.secondsSelect.prepend(h("option", { value, "data-own": "yes" }, duration(seconds)));
    this.secondsSelect.value = value;
    if (this.rings) this.view.clamp(this.rings.start, this.head);
    this.view.follow(this.head);
    for (const lane of this.lanes) lane.auto.reset();
    this.options.loop.dirty(this);
  }

  // --- zoom ---------------------------------------------------------------

  /** With cursors: what lies between them. Else the next drag over the paper zooms. */
  zoomKey() {
    if (this.cursors.on) {
      const { a, b } = this.cursors;
      if (Math.abs(b - a) >= 1) this.zoomTo(Math.min(a, b), Math.max(a, b));
      return;
    }
    this.#setZooming(!this.zooming);
    if (this.zooming) this.options.announce(W.dragOverWhatYouWant2);
  }

  /** @param {boolean} on */
  #setZooming(on) {
    this.zooming = on;
    this.zoomButton.setAttribute("aria-pressed", String(on));
    this.root.classList.toggle("zooming", on);
  }

  /** @param {PointerEvent} down */
  #stretch(down) {
    const x0 = down.offsetX;
    const y0 = down.offsetY;
    const lane = this.overlaid ? null : (this.lanes.find((l) => y0 * this.ratio >= l.topPx && y0 * this.ratio <= l.topPx + l.heightPx) ?? null);
    const box = () => {
      const top = lane ? lane.topPx / this.ratio : 0;
      const bottom = lane ? (lane.topPx + lane.heightPx) / this.ratio : this.sheet.clientHeight - AXIS_CSS;
      const flat = !lane || Math.abs(y1 - y0) < FLAT_ZOOM_CSS;
      const clampX = (/** @type {number} */ x) => Math.min(this.sheet.clientWidth, Math.max(this.leftPx / this.ratio, x));
      const clampY = (/** @type {number} */ y) => Math.min(bottom, Math.max(top, y));
      return { left: clampX(Math.min(x0, x1)), right: clampX(Math.max(x0, x1)), top: flat ? top : clampY(Math.min(y0, y1)), bottom: flat ? bottom : clampY(Math.max(y0, y1)), flat };
    };
    let x1 = x0;
    let y1 = y0;
    const wasHeld = this.view.held;
    this.view.held = true;
    this.#held();
    const move = (/** @type {PointerEvent} */ m) => {
      x1 = m.offsetX;
      y1 = m.offsetY;
      const b = box();
      this.rubber.hidden = b.right - b.left < 2;
      Object.assign(this.rubber.style, { left: `${b.left}px`, top: `${b.top}px`, width: `${b.right - b.left}px`, height: `${b.bottom - b.top}px` });
    };
    const up = (/** @type {PointerEvent} */ e) => {
      this.top.removeEventListener("pointermove", move);
      this.top.removeEventListener("pointerup", up);
      this.top.removeEventListener("pointercancel", up);
      this.rubber.hidden = true;
      const b = box();
      if (e.type === "pointercancel" || b.right - b.left < LEAST_ZOOM_CSS) {
        if (!wasHeld) this.live();
        return;
      }
      const index = (/** @type {number} */ x) => this.view.indexAt(x * this.ratio - this.leftPx);
      const value = (/** @type {number} */ y) => (lane ? lane.low + (1 - (y * this.ratio - lane.topPx) / lane.heightPx) * (lane.high - lane.low) : 0);
      if (b.flat || !lane) this.zoomTo(index(b.left), index(b.right));
      else this.zoomTo(index(b.left), index(b.right), lane, value(b.bottom), value(b.top));
      const zoom = this.zooms[this.zooms.length - 1];
      if (zoom) zoom.held = wasHeld;
      this.#setZooming(false);
    };
    this.top.addEventListener("pointermove", move);
    this.top.addEventListener("pointerup", up);
    this.top.addEventListener("pointercancel", up);
  }

  /**
   * Shows the samples [from, to], and of one lane the values [low, high].
   * @param {number} from
   * @param {number} to
   * @param {Lane} [lane]
   * @param {number} [low]
   * @param {number} [high]
   */
  zoomTo(from, to, lane, low = 0, high = 0) {
    this.zooms.push({ seconds: this.view.secondsAcross, held: this.view.held && this.view.end < this.head, end: this.view.end, spans: this.lanes.map((l) => ({ lane: l, span: l.span, middle: l.middle })) });
    if (this.paper.on) this.setPaper({ on: false });
    const seconds = Math.min(MOST_SECONDS, Math.max(LEAST_SECONDS, (to - from) / this.view.rateHz));
    this.view.held = true;
    this.#setAcross(Number(seconds.toPrecision(4)));
    this.view.end = (from + to + this.view.samplesAcross) / 2;
    if (this.rings) this.view.clamp(this.rings.start, this.rings.end);
    if (lane && high > low) {
      lane.span = high - low;
      lane.middle = (high + low) / 2;
      this.#scalesChanged();
    }
    this.#held();
    this.#showZooms();
    this.options.announce(W.zoomedTo(duration(seconds)));
  }

  /** @param {boolean} [all] to what was seen before the first zoom */
  zoomOut(all = false) {
    const to = all ? this.zooms[0] : this.zooms[this.zooms.length - 1];
    if (!to) return;
    this.zooms.length = all ? 0 : this.zooms.length - 1;
    this.#setAcross(to.seconds);
    for (const s of to.spans) {
      s.lane.span = s.span;
      s.lane.middle = s.middle;
      if (s.span === 0) s.lane.auto.reset();
    }
    this.#scalesChanged();
    if (to.held) {
      this.view.held = true;
      this.view.end = to.end;
    } else {
      this.view.held = false;
      this.view.follow(this.head);
    }
    this.#held();
    this.#showZooms();
    this.options.announce(W.across(duration(to.seconds)));
  }

  #showZooms() {
    this.zoomOutButton.hidden = this.zooms.length === 0;
  }

  // --- true millimetres -----------------------------------------------------

  /** @param {{on?: boolean, mmPerSecond?: number, mmPerVolt?: number}} what */
  setPaper(what) {
    const was = this.paper.on;
    Object.assign(this.paper, what);
    if (this.paper.on && !was) {
      this.paperBefore = this.view.secondsAcross;
      if (this.mmPerDevicePx === 0) this.options.calibrate();
      const chest = this.lanes.find((l) => this.#isChest(l));
      if (chest && !(this.paper.mmPerVolt > 0)) this.paper.mmPerVolt = heightFor(chest.seenHigh - chest.seenLow);
    }
    if (!(this.paper.mmPerVolt > 0)) this.paper.mmPerVolt = 10000;
    for (const l of this.lanes) {
      l.trueSpan = 0;
      l.auto.reset();
    }
    this.#showPaper();
    if (!this.paper.on && was) this.#setAcross(this.paperBefore ?? 10);
    this.options.paperChanged({ ...this.paper });
    this.sized = false;
    this.options.loop.dirty(this);
  }

  #showPaper() {
    this.paperButton.setAttribute("aria-pressed", String(this.paper.on));
    this.paperGroup.hidden = !this.paper.on;
    this.speedSelect.value = String(this.paper.mmPerSecond);
    this.heightSelect.value = String(this.paper.mmPerVolt);
    this.root.classList.toggle("uncalibrated", this.paper.on && this.mmPerDevicePx === 0);
    setText(this.calibrateButton, this.mmPerDevicePx > 0 ? W.screen : W.screenNotMeasured);
  }

  /** @param {number} mmPerDevicePx 0 for unknown */
  setScreen(mmPerDevicePx) {
    this.mmPerDevicePx = mmPerDevicePx;
    this.#showPaper();
    this.sized = false;
    this.options.loop.dirty(this);
  }

  /** The scale in words. */
  paperText() {
    const height = this.lanes.some((l) => l.trueSpan > 0) ? W.and(HEIGHTS.find((v) => v.mmPerVolt === this.paper.mmPerVolt)?.text ?? "") : "";
    return `${this.paper.mmPerSecond} mm/s${height}${this.mmPerDevicePx > 0 ? "" : W.screenNotMeasured2}`;
  }

  /** Where the time axis lies, device pixels. */
  get axisTopPx() {
    return this.base.height - Math.round(AXIS_CSS * this.ratio);
  }

  /** Of a device pixel of the canvas, as good as is known. */
  get mmPerPx() {
    const device = window.devicePixelRatio || 1;
    const mm = this.mmPerDevicePx > 0 ? this.mmPerDevicePx : GUESS_MM_PER_CSS / device;
    return (mm * device) / this.ratio;
  }

  /** @param {Lane} lane */
  #isChest(lane) {
    return lane.unit === "V" && this.channels[lane.probe.channel]?.kind === "ecg";
  }

  /** Seconds and spans that the millimetres ask for. */
  #placePaper() {
    if (!this.paper.on) return;
    const mm = this.mmPerPx;
    const seconds = Number(secondsFor(this.view.widthPx * mm, this.paper.mmPerSecond).toPrecision(6));
    if (seconds !== this.view.secondsAcross && seconds >= LEAST_SECONDS) this.#setAcross(seconds);
    for (const l of this.lanes) {
      l.trueSpan = this.#isChest(l) && !this.overlaid ? spanFor(l.heightPx * mm, this.paper.mmPerVolt) : 0;
      if (l.trueSpan > 0) l.span = 0;
    }
  }

  /** @param {boolean} overlaid */
  setOverlaid(overlaid) {
    this.overlaid = overlaid;
    this.layoutButton.setAttribute("aria-pressed", String(overlaid));
    this.root.classList.toggle("overlaid", overlaid);
    this.sized = false;
    this.#buildLabels();
    this.options.viewChanged({ secondsAcross: this.view.secondsAcross, overlaid });
    this.options.loop.dirty(this);
  }

  /**
   * Spans by channel and point, as scalesChanged tells them; automatic where there is none.
   * @param {Record<string, {span: number, middle: number}>} scales
   */
  setScales(scales) {
    for (const lane of this.lanes) {
      const own = scales[`${lane.probe.channel}.${lane.probe.point}`];
      lane.span = own?.span ?? 0;
      lane.middle = own?.middle ?? lane.middle;
      if (!own) lane.auto.reset();
    }
    this.#scalesChanged();
  }

  autoAll() {
    if (this.paper.on) this.setPaper({ on: false });
    for (const lane of this.lanes) lane.setSpan(0);
    this.#scalesChanged();
  }

  /** @param {1|-1} direction */
  stepSpan(direction) {
    if (this.paper.on) this.setPaper({ on: false });
    for (const lane of this.overlaid ? this.lanes : this.lanes.slice(this.selected, this.selected + 1)) lane.stepSpan(direction);
    this.#scalesChanged();
  }

  /** @param {number} share */
  shiftSelected(share) {
    const lane = this.lanes[this.selected];
    if (!lane) return;
    lane.shift(share);
    this.#scalesChanged();
  }

  /** @param {number} by */
  selectNext(by) {
    if (this.lanes.length === 0) return;
    this.selected = (this.selected + by + this.lanes.length) % this.lanes.length;
    this.#markSelected();
    this.options.announce(this.laneName(this.lanes[this.selected]) + " chosen.");
  }

  /** @param {number} offsetYCss */
  #selectAt(offsetYCss) {
    const y = offsetYCss * this.ratio;
    const at = this.lanes.findIndex((l) => y >= l.topPx - HEAD_CSS * this.ratio && y <= l.topPx + l.heightPx);
    if (at >= 0 && !this.overlaid) {
      this.selected = at;
      this.#markSelected();
    }
  }

  #markSelected() {
    [...this.labels.children].forEach((c, i) => c.classList.toggle("chosen", i === this.selected));
    this.#showReadout();
  }

  #scalesChanged() {
    /** @type {Record<string, {span: number, middle: number}>} */
    const scales = {};
    for (const l of this.lanes) if (l.span > 0) scales[`${l.probe.channel}.${l.probe.point}`] = { span: l.span, middle: l.middle };
    this.#buildLabels();
    this.options.scalesChanged(scales);
    this.options.loop.dirty(this);
  }

  // --- cursors ----------------------------------------------------------

  toggleCursors() {
    this.cursors.on = !this.cursors.on;
    this.cursorButton.setAttribute("aria-pressed", String(this.cursors.on));
    if (this.cursors.on) {
      this.view.held = true;
      this.#held();
      const across = this.view.samplesAcross;
      this.cursors.a = this.view.end - across * 0.62;
      this.cursors.b = this.view.end - across * 0.38;
      this.#cursorToBeat("a", 0);
      this.#cursorToBeat("b", 1);
      this.handles.a.hidden = false;
      this.handles.b.hidden = false;
      this.#showReadout();
      this.handles.a.focus();
    } else {
      // Hidden, a handle would take the focus along.
      if (document.activeElement === this.handles.a || document.activeElement === this.handles.b) this.cursorButton.focus();
      this.handles.a.hidden = true;
      this.handles.b.hidden = true;
      this.readout.hidden = true;
    }
    this.options.loop.dirty(this);
  }

  /**
   * @param {"a"|"b"} name
   * @param {number} clientX
   */
  #cursorTo(name, clientX) {
    const box = this.sheet.getBoundingClientRect();
    this.cursors[name] = this.view.indexAt((clientX - box.left) * this.ratio - this.leftPx);
    this.#cursorMoved(name);
  }

  /**
   * To the beat nearest (0), the one before (−1) or the next (1).
   * @param {"a"|"b"} name
   * @param {number} direction
   */
  #cursorToBeat(name, direction) {
    const list = this.beats[this.lanes[this.selected]?.probe.channel ?? 0];
    if (!list || list.beats.length === 0) return;
    const here = name === "b" && direction === 1 && this.cursors.b - this.cursors.a < this.view.samplesAcross * 0.3 && !this.handles.b.matches(":focus") ? this.cursors.a : this.cursors[name];
    const at = list.indexFrom(here + (direction > 0 ? 1 : 0));
    const beat = direction < 0 ? list.beats[at - 1] : list.beats[Math.min(at, list.beats.length - 1)];
    if (beat && beat.sample > this.view.indexAt(0) && beat.sample <= this.view.end) this.cursors[name] = beat.sample;
  }

  /** @param {"a"|"b"} name */
  #cursorMoved(name) {
    const low = this.view.indexAt(0);
    this.cursors[name] = Math.round(Math.min(Math.max(this.cursors[name], low), this.view.end));
    this.#showReadout();
    this.options.loop.dirty(this);
  }

  #showReadout() {
    if (!this.cursors.on || !this.rings) return;
    const { a, b } = this.cursors;
    const d = between(a, b, this.view.rateHz);
    this.readout.hidden = false;
    const rows = this.lanes.map((lane, i) => {
      const va = this.rings?.at(lane.probe.channel, lane.probe.point, Math.round(a)) ?? NaN;
      const vb = this.rings?.at(lane.probe.channel, lane.probe.point, Math.round(b)) ?? NaN;
      return h("tr", { class: i === this.selected ? "chosen" : "" }, h("th", {}, this.laneName(lane)), h("td", {}, quantity(va, lane.unit)), h("td", {}, quantity(vb, lane.unit)), h("td", {}, quantity(vb - va, lane.unit)));
    });
    fill(this.readout,
      h("div", { class: "delta" }, h("b", { "data-testid": "delta-t" }, "Δt " + duration(d.seconds)), h("b", { "data-testid": "delta-bpm" }, Number.isFinite(d.bpm) ? `${d.bpm.toFixed(1)}\u00a0bpm` : "–"), h("span", {}, quantity(d.hz, "Hz"))),
      h("table", {}, h("tr", {}, h("td"), h("td", {}, "A"), h("td", {}, "B"), h("td", {}, "ΔV")), rows));
    for (const name of /** @type {const} */ (["a", "b"])) {
      this.handles[name].setAttribute("aria-valuenow", String(Math.round(this.cursors[name])));
      this.handles[name].setAttribute("aria-valuetext", W.difference(clockTime(this.cursors[name] / this.view.rateHz, 0.01), duration(d.seconds)));
    }
  }

  // --- data -------------------------------------------------------------

  /**
   * What is on the paper: rings, channels and the probes set.
   * @param {Rings|null} rings
   * @param {Channel[]} channels
   * @param {Probe[]} probes
   * @param {Record<string, {span: number, middle: number}>} scales
   */
  show(rings, channels, probes, scales) {
    this.rings = rings;
    this.channels = channels;
    const before = this.lanes;
    this.lanes = probes.filter((p) => channels[p.channel]).map((p) => {
      const channel = channels[p.channel];
      const old = before.find((l) => l.probe.channel === p.channel && l.probe.point === p.point && l.unit === channel.unit);
      if (old) return old;
      const lane = new Lane(p, channel.unit, channel.stepVolts ?? 0);
      const s = scales[`${p.channel}.${p.point}`];
      if (s && s.span > 0) {
        lane.span = s.span;
        lane.middle = s.middle;
      }
      return lane;
    });
    this.selected = Math.min(this.selected, Math.max(0, this.lanes.length - 1));
    this.caches = this.lanes.map((_, i) => this.caches[i] ?? new ColumnCache(4096));
    for (const c of this.caches) c.samplesPerColumn = 0;
    this.sized = false;
    this.#buildLabels();
    this.options.loop.dirty(this);
  }

  /** The epoch changed: clean paper. */
  clear() {
    this.view.held = false;
    this.head = 0;
    this.timeTexts.clear();
    this.intervalTexts.clear();
    for (const l of this.lanes) l.auto.reset();
    if (this.cursors.on) this.toggleCursors();
    this.zooms.length = 0;
    this.#showZooms();
    this.#held();
  }

  /** @param {Frame} frame already in the rings */
  push(frame) {
    if (frame.rateHz !== this.view.rateHz) {
      this.view.rateHz = frame.rateHz;
      this.timeTexts.clear();
      this.intervalTexts.clear();
    }
    this.options.loop.dirty(this);
  }

  get palette() {
    return theme.palette;
  }

  /** The colours changed. */
  repaint() {
    this.sized = false;
    this.#buildLabels();
    this.options.loop.dirty(this);
  }

  /**
   * What the first point of a channel would be behind a changed board: drawn dashed over it.
   * @param {Ghost|null} ghost
   */
  setGhost(ghost) {
    if (ghost === null && this.ghost === null) return;
    this.ghost = ghost;
    this.options.loop.dirty(this);
  }

  /** @param {CanvasRenderingContext2D} ctx */
  #drawGhost(ctx) {
    const { ghost, view, ratio, leftPx } = this;
    if (!ghost) return;
    const lane = this.lanes.find((l) => l.probe.channel === ghost.channel && l.probe.point === 0);
    if (!lane) return;
    const step = Math.max(1, Math.floor(view.samplesPerPx));
    const from = Math.max(0, Math.ceil((view.indexAt(0) - ghost.first) / step) * step);
    const to = Math.min(ghost.values.length, Math.floor(view.end - ghost.first) + 1);
    if (from >= to) return;
    ctx.save();
    ctx.beginPath();
    ctx.rect(leftPx, lane.topPx, view.widthPx, lane.heightPx);
    ctx.clip();
    ctx.strokeStyle = this.palette.traces[1];
    ctx.fillStyle = this.palette.traces[1];
    ctx.lineWidth = 1.8 * ratio;
    ctx.setLineDash([6 * ratio, 4 * ratio]);
    ctx.beginPath();
    let x = 0;
    let y = 0;
    for (let i = from; i < to; i += step) {
      x = leftPx + view.xPx(ghost.first + i);
      y = lane.yPx(ghost.values[i]);
      ctx.lineTo(x, y);
    }
    ctx.stroke();
    ctx.setLineDash([]);
    ctx.font = `${11 * ratio}px ${FONT}`;
    ctx.textAlign = "right";
    ctx.textBaseline = "bottom";
    ctx.fillText("predicted", x - 6 * ratio, lane.topPx + lane.heightPx - 4 * ratio);
    ctx.restore();
  }

  /** @param {string} text "" hides it */
  setStale(text) {
    this.stale.hidden = text === "";
    if (text) setText(this.stale, text);
  }

  /** @param {Lane} lane */
  laneName(lane) {
    const label = this.channels[lane.probe.channel]?.label ?? "";
    return this.channels.length > 1 ? `${label}, ${POINT_TITLES[lane.probe.point]}` : POINT_TITLES[lane.probe.point];
  }

  #buildLabels() {
    fill(this.labels, ...this.lanes.map((lane, i) => {
      const id = `span-${lane.probe.channel}-${POINT_NAMES[lane.probe.point]}`;
      const swatch = h("canvas", { class: "swatch", width: 44, height: 16, "aria-hidden": "true" });
      this.#swatch(swatch, lane);
      const now = lane.span > 0 ? lane.span : 0;
      const list = this.#spanChoices(lane, now);
      const s = select(id, list, (v) => {
        if (this.paper.on) this.setPaper({ on: false });
        lane.setSpan(Number(v));
        this.selected = i;
        this.#scalesChanged();
      }, { class: "span", "aria-label": W.spanOf(this.laneName(lane)), title: W.spanTheHeightOfThe });
      s.value = String(now);
      const chip = h("div", { class: "lane-label" + (i === this.selected ? " chosen" : ""), "data-testid": `lane-${lane.probe.channel}-${POINT_NAMES[lane.probe.point]}` }, swatch, h("span", {}, this.laneName(lane)), s);
      return chip;
    }));
    this.#placeLabels();
  }

  /**
   * @param {Lane} lane
   * @param {number} now
   * @returns {[string, string][]}
   */
  #spanChoices(lane, now) {
    /** @type {[string, string][]} */
    const list = [["0", W.autoRange]];
    const steps = lane.unit === "counts" ? [1e6, 1e5, 1e4, 5e3, 2e3, 1e3, 500, 200, 100, 50, 20, 10] : [10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005, 0.0002, 0.0001];
    if (lane.unit !== "counts" && lane.unit !== "V") steps.unshift(...[1000, 500, 200, 100, 50, 20]);
    if (now > 0 && !steps.includes(now)) steps.push(now);
    steps.sort((a, b) => b - a);
    for (const s of steps) list.push([String(s), "range " + quantity(s, lane.unit, 1)]);
    return list;
  }

  /**
   * @param {HTMLCanvasElement} canvas
   * @param {Lane} lane
   */
  #swatch(canvas, lane) {
    const ctx = canvas.getContext("2d");
    if (!ctx) return;
    const style = this.styleOf(lane);
    ctx.strokeStyle = this.colourOf(lane);
    ctx.lineWidth = style.width * 2;
    if (style.off > 0) ctx.setLineDash([style.on * 2, style.off * 2]);
    ctx.beginPath();
    ctx.moveTo(1, 8);
    ctx.lineTo(43, 8);
    ctx.stroke();
  }

  /** @param {Lane} lane */
  colourOf(lane) {
    const { traces, others } = this.palette;
    return (lane.probe.channel % 2 === 1 ? others : traces)[lane.probe.point];
  }

  /** @param {Lane} lane */
  styleOf(lane) {
    return STYLES[lane.probe.point];
  }

  #placeLabels() {
    [...this.labels.children].forEach((chip, i) => {
      const lane = this.lanes[i];
      if (!lane || !(chip instanceof HTMLElement)) return;
      chip.style.top = this.overlaid ? "" : `${lane.topPx / this.ratio - HEAD_CSS + 3}px`;
    });
    const first = this.labels.firstElementChild;
    this.labelWidthPx = this.overlaid ? this.view.widthPx : (first instanceof HTMLElement ? first.offsetWidth : 0) * this.ratio;
    this.labels.style.paddingLeft = `${this.leftPx / this.ratio + 6}px`;
  }

  // --- drawing ----------------------------------------------------------

  #size() {
    const widthCss = this.sheet.clientWidth;
    const heightCss = this.sheet.clientHeight;
    this.ratio = Math.min(2, window.devicePixelRatio || 1);
    const width = Math.max(2, Math.round(widthCss * this.ratio));
    const height = Math.max(2, Math.round(heightCss * this.ratio));
    for (const c of [this.base, this.top]) {
      if (c.width !== width) c.width = width;
      if (c.height !== height) c.height = height;
    }
    const gutter = widthCss < 600 ? GUTTER_NARROW_CSS : GUTTER_CSS;
    this.leftPx = Math.round(gutter * this.ratio);
    this.view.widthPx = Math.max(1, width - this.leftPx);
    if (this.ink.width !== this.view.widthPx) this.ink.width = this.view.widthPx;
    if (this.ink.height !== height) this.ink.height = height;
    this.ink.style.left = `${this.leftPx / this.ratio}px`;
    this.ink.style.width = `${this.view.widthPx / this.ratio}px`;
    this.ink.style.height = `${height / this.ratio}px`;
    placeLanes(this.lanes, Math.round(TOP_CSS * this.ratio), height - Math.round((AXIS_CSS + TOP_CSS + BOTTOM_CSS) * this.ratio), Math.round(HEAD_CSS * this.ratio), this.overlaid);
    this.#placePaper();
    this.hatching = hatch(this.inkCtx, this.palette.gridStrong, this.ratio);
    this.#placeLabels();
    this.baseDirty = true;
    this.sized = true;
  }

  /** @param {number} now */
  draw(now) {
    if (!this.sized) this.#size();
    const elapsed = this.lastDraw > 0 ? Math.min(0.5, (now - this.lastDraw) / 1000) : 0;
    this.lastDraw = now;
    const rings = this.rings;
    let again = false;
    if (rings) {
      this.head = advance(this.head, rings.end, this.view.rateHz, elapsed);
      again = this.head < rings.end && !this.view.held;
      this.view.clamp(rings.start, rings.end);
      this.view.follow(this.head);
      for (const lane of this.lanes) {
        if (lane.settle(elapsed, this.view.turns)) {
          this.baseDirty = true;
          again = true;
        }
      }
      if (this.overlaid) shareSpan(this.lanes);
    }
    const moved = this.baseDirty;
    if (moved) this.#drawBase();
    this.#drawInk(moved);
    this.#drawTop();
    this.#afterDraw();
    if (rings && !this.view.held) this.options.painted(this.head);
    return again;
  }

  #drawBase() {
    const ctx = this.baseCtx;
    const { palette, ratio, leftPx } = this;
    const { width, height } = this.base;
    ctx.fillStyle = palette.paper;
    ctx.fillRect(0, 0, width, height);
    ctx.lineWidth = Math.max(1, Math.round(ratio));
    ctx.textBaseline = "middle";
    ctx.textAlign = "right";
    const half = ctx.lineWidth / 2;
    const shown = this.overlaid ? this.lanes.slice(0, 1) : this.lanes;
    shown.forEach((lane, i) => {
      lane.makeTicks(Math.min(Math.max(lane.heightPx < 34 * ratio ? 1 : 2, Math.floor(lane.heightPx / ratio / 21)), Math.max(3, Math.floor(lane.heightPx / ratio / 32))), this.overlaid);
      ctx.font = `${11.5 * ratio}px ${FONT}`;
      ctx.strokeStyle = palette.grid;
      ctx.fillStyle = palette.faint;
      if (lane.trueSpan > 0) this.#drawMillimetres(ctx, lane, width, half);
      for (let t = 0; t < lane.ticks.count; t++) {
        const y = Math.round(lane.yPx(lane.ticks.first + t * lane.ticks.step)) + half;
        if (!(lane.trueSpan > 0)) {
          ctx.beginPath();
          ctx.moveTo(leftPx, y);
          ctx.lineTo(width, y);
          ctx.stroke();
        }
        if (y < lane.topPx + 3 * ratio) continue;
        ctx.fillText(lane.tickTexts[t], leftPx - 8 * ratio, Math.min(y, lane.topPx + lane.heightPx - 6 * ratio), leftPx - 10 * ratio);
      }
      ctx.font = `italic ${11.5 * ratio}px ${SERIF}`;
      ctx.fillText(lane.unitText, leftPx - 8 * ratio, lane.topPx - 12 * ratio);
      if (i > 0) {
        const y = Math.round(lane.topPx - HEAD_CSS * ratio) + half;
        ctx.strokeStyle = palette.gridStrong;
        ctx.beginPath();
        ctx.moveTo(leftPx, y);
        ctx.lineTo(width, y);
        ctx.stroke();
      }
    });
    ctx.strokeStyle = palette.gridStrong;
    const axisY = height - Math.round(AXIS_CSS * ratio) + half;
    ctx.beginPath();
    ctx.moveTo(leftPx, axisY);
    ctx.lineTo(width, axisY);
    ctx.stroke();
    ctx.strokeStyle = palette.margin;
    ctx.beginPath();
    ctx.moveTo(leftPx - half, 0);
    ctx.lineTo(leftPx - half, height);
    ctx.stroke();
    this.baseDirty = false;
  }

  /**
   * A line each millimetre and a stronger one each five, about 0 V.
   * @param {CanvasRenderingContext2D} ctx
   * @param {Lane} lane
   * @param {number} width
   * @param {number} half
   */
  #drawMillimetres(ctx, lane, width, half) {
    const { palette, leftPx } = this;
    const volts = 1 / this.paper.mmPerVolt;
    const fine = lane.heightPx / (lane.trueSpan / volts) >= LEAST_MM_PX * this.ratio;
    for (const strong of [false, true]) {
      if (!strong && !fine) continue;
      ctx.strokeStyle = strong ? palette.gridStrong : palette.grid;
      ctx.beginPath();
      for (let k = Math.ceil(lane.low / volts); k * volts <= lane.high; k++) {
        if ((k % 5 === 0) !== strong) continue;
        const y = Math.round(lane.yPx(k * volts)) + half;
        ctx.moveTo(leftPx, y);
        ctx.lineTo(width, y);
      }
      ctx.stroke();
    }
    ctx.strokeStyle = palette.grid;
  }

  /**
   * Grid in time, gaps and traces: all that travels with the paper. What is there
   * already is moved; only new columns are drawn, unless something else changed.
   * @param {boolean} anew
   */
  #drawInk(anew) {
    const ctx = this.inkCtx;
    const { view, rings, inked } = this;
    const { width, height } = this.ink;
    if (!rings || this.lanes.length === 0) {
      ctx.clearRect(0, 0, width, height);
      inked.origin = -1;
      return;
    }
    const axisTop = height - Math.round(AXIS_CSS * this.ratio);
    const columns = view.inColumns;
    const origin = view.originColumns;
    if (columns) {
      for (let i = 0; i < this.lanes.length; i++) {
        if (this.caches[i].size < width + 8) this.caches[i] = new ColumnCache(width);
        const { channel, point } = this.lanes[i].probe;
        this.caches[i].update(rings, channel, point, view.samplesPerPx, Math.max(0, origin - width), origin);
        see(this.lanes[i], view, this.caches[i]);
      }
    }
    const by = origin - inked.origin;
    const kept = !anew && columns && !view.turns && inked.origin >= 0 && by >= 0 && by < width / 2 && inked.samplesPerPx === view.samplesPerPx && inked.version === rings.version && inked.gaps === this.gaps && inked.holes === this.holes;
    if (kept && by === 0) return;
    const seam = kept ? Math.ceil(SEAM_CSS * this.ratio) : 0;
    const left = kept ? width - by - seam : 0;
    ctx.save();
    if (kept) {
      ctx.globalCompositeOperation = "copy";
      ctx.drawImage(this.ink, -by, 0);
      ctx.globalCompositeOperation = "source-over";
      ctx.beginPath();
      ctx.rect(left, 0, width - left, height);
      ctx.clip();
    }
    ctx.clearRect(left, 0, width - left, height);
    this.#drawTimeLines(ctx, axisTop, left);
    for (const gap of this.gaps) this.#drawGap(ctx, gap, axisTop);
    for (const hole of this.holes) this.#drawGap(ctx, hole, axisTop);
    ctx.lineJoin = "round";
    for (let i = 0; i < this.lanes.length; i++) {
      const lane = this.lanes[i];
      const style = this.styleOf(lane);
      ctx.strokeStyle = this.colourOf(lane);
      ctx.fillStyle = ctx.strokeStyle;
      ctx.lineWidth = style.width * this.ratio;
      if (columns) strokeColumns(ctx, lane, view, this.caches[i], Math.max(0, origin - width + left - LEAD_COLUMNS), style);
      else strokeSamples(ctx, lane, view, rings, style, this.ratio);
    }
    ctx.restore();
    inked.origin = columns ? origin : -1;
    inked.samplesPerPx = view.samplesPerPx;
    inked.version = rings.version;
    inked.gaps = this.gaps;
    inked.holes = this.holes;
  }

  #drawTop() {
    const ctx = this.topCtx;
    const { ratio, leftPx, rings } = this;
    const { width, height } = this.top;
    ctx.clearRect(0, 0, width, height);
    const axisTop = height - Math.round(AXIS_CSS * ratio);
    if (!rings || this.lanes.length === 0) return;
    ctx.save();
    ctx.beginPath();
    ctx.rect(leftPx, 0, width - leftPx, height);
    ctx.clip();
    this.#drawTimes(ctx, axisTop);
    this.gapWordsEnd = 0;
    for (const gap of this.gaps) this.#drawGapWords(ctx, gap, axisTop, "");
    for (const hole of this.holes) this.#drawGapWords(ctx, hole, axisTop, W.lostOnTheWayTo);
    this.#drawBeats(ctx);
    this.#drawNotes(ctx, axisTop);
    this.#drawGhost(ctx);
    if (this.annotate) this.annotate(ctx);
    if (this.cursors.on) this.#drawCursors(ctx, axisTop);
    ctx.restore();
  }

  /** Seconds between lines of the grid. */
  secondsStep() {
    return niceStep(this.view.secondsAcross / Math.max(2, Math.floor(this.view.widthPx / this.ratio / 92)));
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {number} axisTop
   * @param {number} leftPx of what is drawn
   */
  #drawTimeLines(ctx, axisTop, leftPx) {
    const { view } = this;
    ctx.lineWidth = Math.max(1, Math.round(this.ratio));
    if (this.paper.on) {
      this.#drawMillimetresAcross(ctx, axisTop, leftPx);
      return;
    }
    const step = this.secondsStep() * view.rateHz;
    const first = Math.ceil(Math.max(0, view.indexAt(leftPx - 1)) / step);
    const last = Math.floor(view.end / step);
    ctx.strokeStyle = this.palette.grid;
    ctx.beginPath();
    for (let k = first; k <= last; k++) {
      const x = Math.round(view.xPx(k * step)) + 0.5;
      ctx.moveTo(x, 0);
      ctx.lineTo(x, axisTop + 4 * this.ratio);
    }
    ctx.stroke();
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {number} axisTop
   * @param {number} leftPx of what is drawn
   */
  #drawMillimetresAcross(ctx, axisTop, leftPx) {
    const { view, palette, ratio } = this;
    const step = view.rateHz / this.paper.mmPerSecond;
    const fine = step / view.samplesPerPx >= LEAST_MM_PX * ratio;
    const first = Math.ceil(Math.max(0, view.indexAt(leftPx - 1)) / step);
    const last = Math.floor(view.end / step);
    for (const strong of [false, true]) {
      if (!strong && !fine) continue;
      ctx.strokeStyle = strong ? palette.gridStrong : palette.grid;
      ctx.beginPath();
      for (let k = first; k <= last; k++) {
        if ((k % 5 === 0) !== strong) continue;
        const x = Math.round(view.xPx(k * step)) + 0.5;
        ctx.moveTo(x, 0);
        ctx.lineTo(x, axisTop + (strong ? 4 : 0) * ratio);
      }
      ctx.stroke();
    }
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {number} axisTop
   */
  #drawTimes(ctx, axisTop) {
    const { view, ratio, leftPx, palette } = this;
    const step = this.secondsStep();
    if (step !== this.timeStep) {
      this.timeStep = step;
      this.timeTexts.clear();
    }
    const first = Math.ceil(Math.max(0, view.indexAt(0)) / view.rateHz / step);
    const last = Math.floor(view.end / view.rateHz / step);
    ctx.fillStyle = palette.faint;
    ctx.font = `${11.5 * ratio}px ${FONT}`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    for (let k = first; k <= last; k++) {
      let text = this.timeTexts.get(k);
      if (text === undefined) {
        if (this.timeTexts.size > MOST_TEXTS) this.timeTexts.clear();
        text = clockTime(k * step, step);
        this.timeTexts.set(k, text);
      }
      const x = leftPx + view.xPx(k * step * view.rateHz);
      if (x > leftPx + 14 * ratio && x < leftPx + view.widthPx - 14 * ratio) ctx.fillText(text, x, axisTop + 14 * ratio);
    }
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {Gap} gap
   * @param {number} axisTop
   */
  #drawGap(ctx, gap, axisTop) {
    const { view, ratio, palette } = this;
    if (gap.index > view.end || gap.index + gap.samples < view.indexAt(0)) return;
    const x1 = view.xPx(gap.index);
    const x2 = Math.max(x1 + 2 * ratio, view.xPx(gap.index + gap.samples));
    ctx.fillStyle = palette.gap;
    ctx.fillRect(x1, 0, x2 - x1, axisTop);
    ctx.fillStyle = this.hatching;
    ctx.fillRect(x1, 0, x2 - x1, axisTop);
  }

  /**
   * The words of a gap, over the traces.
   * @param {CanvasRenderingContext2D} ctx
   * @param {Gap} gap
   * @param {number} axisTop
   * @param {string} words
   */
  #drawGapWords(ctx, gap, axisTop, words) {
    const { view, ratio, leftPx, palette } = this;
    if (gap.index > view.end || gap.index + gap.samples < view.indexAt(0)) return;
    const x1 = leftPx + view.xPx(gap.index);
    const reason = words || gap.reason;
    const text = (gap.text ??= W.gap(duration(gap.samples / view.rateHz), reason ? ": " + reason : ""));
    ctx.font = `italic ${12 * ratio}px ${SERIF}`;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    const w = ctx.measureText(text).width;
    const from = Math.max(leftPx + 4 * ratio, x1 + 6 * ratio);
    if (from < this.gapWordsEnd) return; // over the words of the gap before; the Board drawer lists all
    this.gapWordsEnd = from + w + 8 * ratio;
    ctx.globalAlpha = 0.85;
    ctx.fillStyle = palette.paper;
    ctx.fillRect(from - 3 * ratio, axisTop - 22 * ratio, w + 6 * ratio, 17 * ratio);
    ctx.globalAlpha = 1;
    ctx.fillStyle = palette.ink;
    ctx.fillText(text, from, axisTop - 13.5 * ratio);
  }

  /** @param {CanvasRenderingContext2D} ctx */
  #drawBeats(ctx) {
    const { view, ratio, leftPx, palette, rings } = this;
    if (!rings) return;
    const from = view.indexAt(0);
    ctx.lineWidth = Math.max(1, 1.2 * ratio);
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.font = `${10.5 * ratio}px ${FONT}`;
    for (let i = 0; i < this.lanes.length; i++) {
      const lane = this.lanes[i];
      const list = this.beats[lane.probe.channel];
      if (!list) continue;
      const first = !this.lanes.slice(0, i).some((l) => l.probe.channel === lane.probe.channel);
      if (this.overlaid && !first) continue;
      const beats = list.beats;
      const top = lane.topPx;
      const dense = beats.length > 1 && ((beats[beats.length - 1].sample - beats[0].sample) / (beats.length - 1) / view.samplesPerPx) < DENSE_BEATS_CSS * ratio;
      for (let k = list.indexFrom(from); k < beats.length && beats[k].sample <= view.end; k++) {
        const beat = beats[k];
        const x = leftPx + view.xPx(beat.sample);
        ctx.strokeStyle = palette.mark;
        ctx.fillStyle = palette.mark;
        ctx.beginPath();
        if (first && !dense) {
          ctx.moveTo(x - 3.5 * ratio, top);
          ctx.lineTo(x + 3.5 * ratio, top);
          ctx.lineTo(x, top + 6 * ratio);
          ctx.closePath();
          if (beat.quality >= 0.5) ctx.fill();
          else ctx.stroke();
        } else {
          ctx.moveTo(x, top);
          ctx.lineTo(x, top + 6 * ratio);
          ctx.stroke();
        }
        if (!first || dense) continue;
        if (lane.probe.point === 0 || lane.probe.point === 4) {
          this.#ring(ctx, lane, beat.sample, x);
          if (fiducial(beat) < beat.sample) this.#footMark(ctx, lane, beat.foot);
        }
        if (k > 0) this.#interval(ctx, list, k, x, top);
      }
    }
  }

  /**
   * A small ring on the trace at the very sample of the beat.
   * @param {CanvasRenderingContext2D} ctx
   * @param {Lane} lane
   * @param {number} sample
   * @param {number} x
   */
  #ring(ctx, lane, sample, x) {
    const v = this.rings?.at(lane.probe.channel, lane.probe.point, sample) ?? NaN;
    if (v !== v) return;
    const y = lane.yPx(v);
    if (y < lane.topPx || y > lane.topPx + lane.heightPx) return;
    ctx.fillStyle = this.palette.paper;
    ctx.beginPath();
    ctx.arc(x, y, 3.2 * this.ratio, 0, 2 * Math.PI);
    ctx.fill();
    ctx.stroke();
    ctx.fillStyle = this.palette.mark;
  }

  /**
   * A short stroke under the trace at a pulse's foot.
   * @param {CanvasRenderingContext2D} ctx
   * @param {Lane} lane
   * @param {number} sample
   */
  #footMark(ctx, lane, sample) {
    const y = lane.yPx(this.rings?.at(lane.probe.channel, lane.probe.point, sample) ?? NaN) + 2 * this.ratio;
    const x = Math.round(this.leftPx + this.view.xPx(sample)) + 0.5;
    if (!(y > lane.topPx && y < lane.topPx + lane.heightPx)) return;
    ctx.beginPath();
    ctx.moveTo(x, y);
    ctx.lineTo(x, y + 6 * this.ratio);
    ctx.stroke();
  }

  /**
   * The interval to the beat before, in milliseconds, between the two marks; of a
   * pulse from foot to foot, as in the Intervals drawer.
   * @param {CanvasRenderingContext2D} ctx
   * @param {BeatList} list
   * @param {number} k
   * @param {number} x
   * @param {number} top
   */
  #interval(ctx, list, k, x, top) {
    const { view, ratio, leftPx, palette } = this;
    const beat = list.beats[k];
    const before = list.beats[k - 1];
    const samples = fiducial(beat) - fiducial(before);
    const x0 = leftPx + view.xPx(before.sample);
    if (x - x0 < LEAST_INTERVAL_TEXT_CSS * ratio || !(samples > 0) || samples > 3 * view.rateHz || x0 < leftPx + this.labelWidthPx) return;
    let text = this.intervalTexts.get(samples);
    if (text === undefined) {
      if (this.intervalTexts.size > MOST_TEXTS) this.intervalTexts.clear();
      text = `${Math.round((samples / view.rateHz) * 1000)} ms`;
      this.intervalTexts.set(samples, text);
    }
    ctx.fillStyle = palette.faint;
    ctx.fillText(text, (x + x0) / 2, top - 9 * ratio);
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {number} axisTop
   */
  #drawNotes(ctx, axisTop) {
    const { view, ratio, leftPx, palette } = this;
    ctx.font = `italic ${12.5 * ratio}px ${SERIF}`;
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    for (const note of this.notes) {
      if (note.index > view.end || note.index < view.indexAt(0) - view.samplesAcross) continue;
      const x = leftPx + view.xPx(note.index);
      ctx.fillStyle = palette.margin;
      ctx.fillRect(x, 0, Math.max(1, ratio), axisTop);
      const w = ctx.measureText(note.text).width;
      ctx.fillStyle = palette.paper;
      ctx.fillRect(x + 3 * ratio, axisTop - 42 * ratio, w + 8 * ratio, 18 * ratio);
      ctx.fillStyle = palette.ink;
      ctx.fillText(note.text, x + 6 * ratio, axisTop - 33 * ratio);
    }
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {number} axisTop
   */
  #drawCursors(ctx, axisTop) {
    const { view, ratio, leftPx, palette } = this;
    const xa = leftPx + view.xPx(this.cursors.a);
    const xb = leftPx + view.xPx(this.cursors.b);
    ctx.globalAlpha = 0.06;
    ctx.fillStyle = palette.mark;
    ctx.fillRect(Math.min(xa, xb), 0, Math.abs(xb - xa), axisTop);
    ctx.globalAlpha = 1;
    ctx.fillRect(Math.round(xa), 0, Math.max(1, ratio), axisTop);
    ctx.fillRect(Math.round(xb), 0, Math.max(1, ratio), axisTop);
  }

  #afterDraw() {
    const { view, ratio, rings } = this;
    if (this.cursors.on) {
      for (const name of /** @type {const} */ (["a", "b"])) {
        const x = (this.leftPx + view.xPx(this.cursors[name])) / ratio;
        const aside = asideCss(x, (this.leftPx + view.xPx(this.cursors[name === "a" ? "b" : "a"])) / ratio, name === "a");
        this.handles[name].style.transform = `translateX(${(x + aside).toFixed(1)}px)`;
        this.handles[name].classList.toggle("outside", x < this.leftPx / ratio - 1 || x > this.sheet.clientWidth + 1);
      }
    }
    if (!rings) return;
    const span = Math.max(1, Math.max(rings.end - rings.start, view.samplesAcross));
    const left = Math.max(0, (view.end - view.samplesAcross - rings.start) / span);
    const size = Math.min(1, view.samplesAcross / span);
    const shown = `${(left * 1000) | 0}/${(size * 1000) | 0}/${view.held}`;
    if (shown === this.paperShown) return;
    this.paperShown = shown;
    this.scrubThumb.style.left = `${(Math.min(left, 1 - size) * 100).toFixed(2)}%`;
    this.scrubThumb.style.width = `${(size * 100).toFixed(2)}%`;
    const back = (rings.end - view.end) / view.rateHz;
    const text = view.held ? W.back(duration(Math.max(0, back))) : "live";
    setText(this.where, view.held ? text : "");
    this.scrub.setAttribute("aria-valuemin", String(Math.round(rings.start / view.rateHz)));
    this.scrub.setAttribute("aria-valuemax", String(Math.round(rings.end / view.rateHz)));
    this.scrub.setAttribute("aria-valuenow", String(Math.round(view.end / view.rateHz)));
    this.scrub.setAttribute("aria-valuetext", text);
  }

  destroy() {
    this.options.loop.remove(this);
    this.resizer.disconnect();
    this.root.replaceChildren();
  }
}

const FONT = 'system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif';
const SERIF = "\"Iowan Old Style\", \"Palatino Linotype\", Palatino, Georgia, \"DejaVu Serif\", serif";
