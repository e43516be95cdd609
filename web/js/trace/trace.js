// The trace: lanes of ink on paper that glides with the samples.

import { ColumnCache } from "../columns.js";
import { fill, h, setText } from "../dom.js";
import { duration, quantity } from "../format.js";
import { paint, pixelRatio } from "../scene/canvas.js";
import { Cursors } from "../scene/cursors.js";
import { register } from "../scene/picture.js";
import { baseItems, inkItems, places, sheetScene, topItems } from "../scene/sheet.js";
import { OVERLAID, POINT_TITLES, STYLES, theme } from "../theme.js";
import { reach } from "./curve.js";
import { Labels } from "./labels.js";
import { Lane, shareSpan } from "./lanes.js";
import { Millimetres } from "./millimetres.js";
import { listen, Scrub } from "./pointer.js";
import { paperScene, sheetOf, withOver } from "./sheet.js";
import { Toolbar } from "./toolbar.js";
import { advance, LEAST_SECONDS, MOST_SECONDS, View } from "./view.js";
import { Zoom } from "./zoom.js";
import { traceWords as W } from "../words.js";

/** @import {Channel, Frame, Gap, Note, Probe} from "../types.js" */
/** @import {Rings} from "../rings.js" */
/** @import {BeatList} from "../store.js" */
/** @import {FrameLoop} from "../loop.js" */
/** @import {Item} from "../scene/scene.js" */
/** @import {Sheet} from "../scene/sheet.js" */
/** @import {Place} from "./sheet.js" */

const GUTTER_CSS = 76;
const GUTTER_NARROW_CSS = 52;
const NARROW_CSS = 600;
/** Columns drawn again where new ink joins the old. */
const SEAM_CSS = 5;
/** Columns before them, for the pen to come in as it went. */
const LEAD_COLUMNS = 48;

/**
 * @typedef {object} TraceOptions
 * @property {FrameLoop} loop
 * @property {boolean} turns the paper turns instead of gliding
 * @property {(text: string) => void} announce
 * @property {(text: string, index: number) => Promise<boolean>} addNote whether it is kept
 * @property {(scales: Record<string, {span: number, middle: number}>) => void} scalesChanged
 * @property {(what: {secondsAcross: number, overlaid: boolean}) => void} viewChanged
 * @property {(head: number) => void} painted the paper was drawn to this sample, live
 * @property {() => void} calibrate asks for the screen's true size
 * @property {() => void} save offers what is seen as a file
 * @property {() => void} sheet offers what is seen as a handout or a lab sheet
 * @property {{on: boolean, mmPerSecond: number, mmPerVolt: number}} paper
 * @property {(paper: {on: boolean, mmPerSecond: number, mmPerVolt: number}) => void} paperChanged
 */

/** Values of a channel's first point from a sample on. @typedef {{channel: number, first: number, values: number[]}} Ghost */

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
    // Of the sheet and, at its left, of the plot: CSS pixels.
    this.width = 0;
    this.height = 0;
    this.left = 0;
    this.baseDirty = true;
    this.sized = false;
    /** Draws over the traces, as a drawer asks. @type {((s: Sheet) => Item[])|null} */
    this.annotate = null;
    /** @type {Ghost|null} */
    this.ghost = null;
    this.paper = { ...options.paper };
    /** The next sheet of paper is true to scale, even where the screen is not. */
    this.printTrue = false;
    /** What the ink on the canvas shows; anything else needs it drawn anew. */
    this.inked = { origin: -1, samplesPerPx: 0, version: -1, gaps: /** @type {unknown} */ (null), holes: /** @type {unknown} */ (null) };
    this.cursors = new Cursors({
      id: "cursor", perPx: () => this.view.samplesPerPx * this.ratio,
      sampleAt: (x) => this.indexAt(x - this.sheet.getBoundingClientRect().left),
      moved: (name, sample) => this.#cursorMoved(name, sample),
      beats: () => (this.beats[this.lanes[this.selected]?.probe.channel ?? 0]?.beats ?? []).filter((b) => b.sample > this.view.indexAt(0) && b.sample <= this.view.end),
    });
    this.mm = new Millimetres(this);
    this.zoom = new Zoom(this);
    this.labels = new Labels(this);
    this.scrub = new Scrub(this);
    this.toolbar = new Toolbar(this);

    this.base = h("canvas", { class: "trace-base", "aria-hidden": "true" });
    this.ink = h("canvas", { class: "trace-ink", "aria-hidden": "true" });
    this.top = h("canvas", { class: "trace-top", "data-testid": "trace-canvas", tabindex: "0", role: "application", "aria-roledescription": "signal trace", "aria-label": W.signalTraceArrowKeysScroll });
    this.stale = h("div", { class: "stale", "data-testid": "stale", hidden: true });
    this.readout = h("div", { class: "cursor-readout", "data-testid": "cursor-readout", hidden: true });
    /** @type {HTMLElement} */
    this.sheet = h("div", { class: "sheet", "data-testid": "sheet" }, this.base, this.ink, this.top, this.labels.root, this.zoom.rubber, this.cursors.handles.a, this.cursors.handles.b, this.stale);
    root.append(this.toolbar.root, this.sheet, this.readout, this.scrub.root);
    const base = this.base.getContext("2d", { alpha: false });
    const ink = this.ink.getContext("2d");
    const top = this.top.getContext("2d");
    if (!base || !ink || !top) throw new Error(W.thisBrowserCannotDrawOn);
    this.baseCtx = base;
    this.inkCtx = ink;
    this.topCtx = top;
    this.resizer = new ResizeObserver(() => this.repaint());
    this.resizer.observe(this.sheet);
    listen(this, this.top);
    register(this.top, { draw: () => {
      this.labels.build();
      this.repaint();
    }, paper: () => paperScene(this), seen: () => this.seenScene() });
    this.toolbar.showPaper();
    options.loop.add(this);
  }

  // --- what is seen -------------------------------------------------------

  toggleFreeze() {
    if (this.view.held) this.live();
    else {
      this.hold();
      this.options.announce(W.frozen);
    }
  }

  live() {
    this.hold(false);
    this.options.announce(W.live);
  }

  hold(held = true) {
    this.view.held = held;
    if (!held) this.view.follow(this.head);
    this.toolbar.showHeld(held);
    this.root.classList.toggle("held", held);
    this.options.loop.dirty(this);
  }

  /** @param {number} samples to the right */
  scrollBy(samples) {
    if (!this.rings) return;
    if (samples === Infinity) {
      this.live();
      return;
    }
    this.view.scroll(Math.max(samples, -this.rings.capacity), this.rings.start, this.head);
    this.hold(this.view.held);
  }

  /**
   * Holds the paper with a sample on it, in the middle when it was not.
   * @param {number} sample
   */
  holdAt(sample) {
    if (!this.rings) return;
    const across = this.view.samplesAcross;
    const margin = across * 0.08;
    if (sample < this.view.end - across + margin || sample > this.view.end - margin) this.view.end = sample + across / 2;
    this.view.held = true;
    this.view.clamp(this.rings.start, this.rings.end);
    this.hold();
  }

  /** @param {number} seconds */
  setSeconds(seconds) {
    if (!(seconds >= LEAST_SECONDS && seconds <= MOST_SECONDS)) return;
    this.mm.off();
    this.setAcross(seconds);
    this.options.viewChanged({ secondsAcross: seconds, overlaid: this.overlaid });
  }

  /** Without telling anybody. @param {number} seconds */
  setAcross(seconds) {
    this.view.secondsAcross = seconds;
    this.toolbar.showSeconds(seconds);
    if (this.rings) this.view.clamp(this.rings.start, this.head);
    this.view.follow(this.head);
    for (const lane of this.lanes) lane.auto.reset();
    this.options.loop.dirty(this);
  }

  /** @param {boolean} overlaid */
  setOverlaid(overlaid) {
    this.overlaid = overlaid;
    this.toolbar.overlay.setAttribute("aria-pressed", String(overlaid));
    this.root.classList.toggle("overlaid", overlaid);
    this.labels.build();
    this.options.viewChanged({ secondsAcross: this.view.secondsAcross, overlaid });
    this.repaint();
  }

  // --- lanes and their ranges -----------------------------------------------

  /** @param {Lane} lane */
  isChest(lane) {
    return lane.unit === "V" && this.channels[lane.probe.channel]?.kind === "ecg";
  }

  /** @param {Lane} lane */
  laneName(lane) {
    const label = this.channels[lane.probe.channel]?.label ?? "";
    return this.channels.length > 1 ? `${label}, ${POINT_TITLES[lane.probe.point]}` : POINT_TITLES[lane.probe.point];
  }

  /** @param {Lane} lane */
  colourOf(lane) {
    return (lane.probe.channel % 2 === 1 ? "other" : "trace") + lane.probe.point;
  }

  /** @param {Lane} lane */
  styleOf(lane) {
    return this.overlaid ? OVERLAID[this.lanes.indexOf(lane) % OVERLAID.length] : STYLES[lane.probe.point];
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
    this.scalesChanged();
  }

  autoAll() {
    this.mm.off();
    for (const lane of this.lanes) lane.setSpan(0);
    this.scalesChanged();
  }

  /** @param {number} i lane @param {number} span 0 for automatic */
  setSpan(i, span) {
    this.mm.off();
    this.lanes[i].setSpan(span);
    this.selected = i;
    this.scalesChanged();
  }

  /** @param {1|-1} direction */
  stepSpan(direction) {
    this.mm.off();
    for (const lane of this.overlaid ? this.lanes : this.lanes.slice(this.selected, this.selected + 1)) lane.stepSpan(direction);
    this.scalesChanged();
  }

  /** @param {number} share */
  shiftSelected(share) {
    const lane = this.lanes[this.selected];
    if (!lane) return;
    lane.shift(share);
    this.scalesChanged();
  }

  scalesChanged() {
    /** @type {Record<string, {span: number, middle: number}>} */
    const scales = {};
    for (const l of this.lanes) if (l.span > 0) scales[`${l.probe.channel}.${l.probe.point}`] = { span: l.span, middle: l.middle };
    this.labels.build();
    this.options.scalesChanged(scales);
    this.options.loop.dirty(this);
  }

  /** @param {number} by */
  selectNext(by) {
    if (this.lanes.length === 0) return;
    this.select((this.selected + by + this.lanes.length) % this.lanes.length);
    this.options.announce(this.laneName(this.lanes[this.selected]) + " chosen.");
  }

  /** @param {number} i */
  select(i) {
    this.selected = i;
    this.labels.choose();
    this.#showReadout();
  }

  // --- cursors ----------------------------------------------------------

  toggleCursors() {
    const { cursors, view } = this;
    if (cursors.on) cursors.on = false;
    else {
      this.hold();
      cursors.begin(view.indexAt(0), view.end);
    }
    this.toolbar.cursors.setAttribute("aria-pressed", String(cursors.on));
    this.readout.hidden = !cursors.on;
    this.#showReadout();
    this.#placeHandles();
    cursors.focus(this.toolbar.cursors);
    this.options.loop.dirty(this);
  }

  /** @param {"a"|"b"} name @param {number} sample */
  #cursorMoved(name, sample) {
    this.cursors[name] = Math.round(Math.min(Math.max(sample, this.view.indexAt(0)), this.view.end));
    this.#showReadout();
    this.options.loop.dirty(this);
  }

  #placeHandles() {
    this.cursors.place((i) => this.left + this.view.xPx(i) / this.ratio, this.left, this.width);
  }

  #showReadout() {
    const { cursors, rings, view } = this;
    if (!cursors.on || !rings) return;
    const d = cursors.measure(view.rateHz);
    const rows = this.lanes.map((lane, i) => {
      const { channel, point } = lane.probe;
      const [va, vb] = [cursors.a, cursors.b].map((at) => rings.at(channel, point, Math.round(at)));
      return h("tr", { class: i === this.selected ? "chosen" : "" }, h("th", {}, this.laneName(lane)), [va, vb, vb - va].map((v) => h("td", {}, quantity(v, lane.unit))));
    });
    fill(this.readout,
      h("div", { class: "delta" }, h("b", { "data-testid": "delta-t" }, "Δt " + duration(d.seconds)), h("b", { "data-testid": "delta-bpm" }, Number.isFinite(d.bpm) ? `${d.bpm.toFixed(1)}\u00a0bpm` : "–"), h("span", {}, quantity(d.hz, "Hz"))),
      h("table", {}, h("tr", {}, h("td"), h("td", {}, "A"), h("td", {}, "B"), h("td", {}, "ΔV")), rows));
    cursors.say(view.rateHz);
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
      if (s && s.span > 0) Object.assign(lane, s);
      return lane;
    });
    this.selected = Math.min(this.selected, Math.max(0, this.lanes.length - 1));
    this.caches = this.lanes.map((_, i) => this.caches[i] ?? new ColumnCache(4096));
    for (const c of this.caches) c.samplesPerColumn = 0;
    this.labels.build();
    this.repaint();
  }

  /** The epoch changed: clean paper. */
  clear() {
    this.head = 0;
    for (const l of this.lanes) l.auto.reset();
    if (this.cursors.on) this.toggleCursors();
    this.zoom.clear();
    this.hold(false);
  }

  /** @param {Frame} frame already in the rings */
  push(frame) {
    this.view.rateHz = frame.rateHz;
    this.options.loop.dirty(this);
  }

  /** All of it, with its places. */
  repaint() {
    this.sized = false;
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

  /** @param {string} text "" hides it */
  setStale(text) {
    this.stale.hidden = text === "";
    if (text) setText(this.stale, text);
  }

  /** The sample at a place of the sheet. @param {number} x CSS pixels @returns {number} */
  indexAt(x) {
    return this.view.indexAt((x - this.left) * this.ratio);
  }

  // --- the scene --------------------------------------------------------

  /** What is seen, as it is seen. */
  seenScene() {
    return this.rings && this.lanes.length > 0 ? sheetScene(withOver(this, sheetOf(this, { ...this.#place(), named: true }))) : null;
  }

  /** The place on the screen. @returns {Place} */
  #place() {
    const { view, caches, ratio, left, width, height } = this;
    return { view, caches, ratio, left, width, height, mmPerCss: this.paper.on ? this.mm.perCss : 0, named: false };
  }

  // --- drawing ----------------------------------------------------------

  #size() {
    this.width = this.sheet.clientWidth;
    this.height = this.sheet.clientHeight;
    this.ratio = pixelRatio();
    const width = Math.max(2, Math.round(this.width * this.ratio));
    const height = Math.max(2, Math.round(this.height * this.ratio));
    const leftPx = Math.round((this.width < NARROW_CSS ? GUTTER_NARROW_CSS : GUTTER_CSS) * this.ratio);
    this.left = leftPx / this.ratio;
    this.view.widthPx = Math.max(1, width - leftPx);
    for (const [c, w] of /** @type {[HTMLCanvasElement, number][]} */ ([[this.base, width], [this.ink, this.view.widthPx], [this.top, width]])) {
      if (c.width !== w) c.width = w;
      if (c.height !== height) c.height = height;
    }
    Object.assign(this.ink.style, { left: `${this.left}px`, width: `${this.view.widthPx / this.ratio}px`, height: `${height / this.ratio}px` });
    const at = places(this.lanes.length, this.height, this.overlaid);
    this.lanes.forEach((l, i) => Object.assign(l, at[i]));
    this.#fitPaper();
    this.caches = this.caches.map((c) => (c.size < this.view.widthPx + 8 ? new ColumnCache(this.view.widthPx) : c));
    this.labels.place();
    this.baseDirty = true;
    this.sized = true;
  }

  /** Seconds and spans that the millimetres ask for. */
  #fitPaper() {
    if (!this.paper.on) return;
    const { perCss } = this.mm;
    const seconds = this.mm.across((this.view.widthPx / this.ratio) * perCss);
    if (seconds !== this.view.secondsAcross) this.setAcross(seconds);
    for (const l of this.lanes) {
      l.trueSpan = this.mm.span(l, l.height * perCss);
      if (l.trueSpan > 0) l.span = 0;
    }
  }

  /** @param {number} now */
  draw(now) {
    if (!this.sized) this.#size();
    const elapsed = this.lastDraw > 0 ? Math.min(0.5, (now - this.lastDraw) / 1000) : 0;
    this.lastDraw = now;
    const { rings, view } = this;
    let again = false;
    if (rings) {
      this.head = advance(this.head, rings.end, view.rateHz, elapsed);
      again = this.head < rings.end && !view.held;
      view.clamp(rings.start, rings.end);
      view.follow(this.head);
    }
    const s = sheetOf(this, this.#place());
    if (this.#settle(s, elapsed)) again = this.baseDirty = true;
    const moved = this.baseDirty;
    const { palette } = theme;
    if (moved) {
      this.baseCtx.fillStyle = palette.paper;
      this.baseCtx.fillRect(0, 0, this.base.width, this.base.height);
      paint(this.baseCtx, baseItems(s), palette);
      this.baseDirty = false;
    }
    this.#drawInk(moved, s);
    this.topCtx.clearRect(0, 0, this.top.width, this.top.height);
    if (rings && s.lanes.length > 0) paint(this.topCtx, [{ kind: "clip", x: s.left, y: 0, width: s.width - s.left, height: s.height, items: topItems({ ...withOver(this, s), clear: this.labels.width }) }], palette);
    if (this.cursors.on) this.#placeHandles();
    this.scrub.show();
    if (rings && !view.held) this.options.painted(this.head);
    return again;
  }

  /** Lets the ranges follow what is seen. @param {Sheet} s @param {number} elapsed seconds @returns {boolean} whether one moved */
  #settle(s, elapsed) {
    let moved = false;
    this.lanes.forEach((lane, i) => {
      const { curve } = s.lanes[i];
      if (!curve) return;
      [lane.seenLow, lane.seenHigh] = reach(curve);
      moved = lane.settle(elapsed, this.view.turns) || moved;
    });
    if (this.overlaid) shareSpan(this.lanes);
    this.lanes.forEach((lane, i) => Object.assign(s.lanes[i], { low: lane.low, high: lane.high }));
    return moved;
  }

  /**
   * Grid in time, gaps and traces: all that travels with the paper. What is there
   * already is moved; only new columns are drawn, unless something else changed.
   * @param {boolean} anew
   * @param {Sheet} s
   */
  #drawInk(anew, s) {
    const ctx = this.inkCtx;
    const { view, rings, inked } = this;
    const { width, height } = this.ink;
    if (!rings || s.lanes.length === 0) {
      ctx.clearRect(0, 0, width, height);
      inked.origin = -1;
      return;
    }
    const origin = view.originColumns;
    const by = origin - inked.origin;
    const kept = !anew && view.inColumns && !view.turns && inked.origin >= 0 && by >= 0 && by < width / 2 && inked.samplesPerPx === view.samplesPerPx && inked.version === rings.version && inked.gaps === this.gaps && inked.holes === this.holes;
    if (kept && by === 0) return;
    const left = kept ? width - by - Math.ceil(SEAM_CSS * this.ratio) : 0;
    ctx.save();
    if (kept) {
      ctx.globalCompositeOperation = "copy";
      ctx.drawImage(this.ink, -by, 0);
      ctx.globalCompositeOperation = "source-over";
      ctx.beginPath();
      ctx.rect(left, 0, width - left, height);
      ctx.clip();
      for (const { curve } of s.lanes) if (curve) curve.from = Math.max(curve.from, origin - width + left - LEAD_COLUMNS);
    }
    ctx.clearRect(left, 0, width - left, height);
    paint(ctx, inkItems({ ...s, left: s.left + left / this.ratio }), theme.palette, { left: s.left });
    ctx.restore();
    Object.assign(inked, { origin: view.inColumns ? origin : -1, samplesPerPx: view.samplesPerPx, version: rings.version, gaps: this.gaps, holes: this.holes });
  }

  destroy() {
    this.options.loop.remove(this);
    this.resizer.disconnect();
    this.root.replaceChildren();
  }
}
