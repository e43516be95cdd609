// The view for a room: one trace, the rate as large as it goes, its state in
// words for the back row. Controls fade while nobody moves.

import { sentence } from "./api.js";
import { BeatSound } from "./beat-sound.js";
import { ColumnCache } from "./columns.js";
import { button, fill, h, setText } from "./dom.js";
import { readingHeading, qualityWord, quantity } from "./format.js";
import { prefs } from "./store.js";
import { niceStep, stepSeconds } from "./scales.js";
import { Lane } from "./trace/lanes.js";
import { hatch, see, strokeColumns, strokeSamples } from "./trace/paint.js";
import { advance, View } from "./trace/view.js";
import * as words from "./words.js";
import { showWords as W } from "./words.js";

/** @import {Channel, Gap, Probe, Reading} from "./types.js" */
/** @import {BeatList} from "./store.js" */
/** @import {FrameLoop} from "./loop.js" */
/** @import {Rings} from "./rings.js" */
/** @import {Key} from "./keys.js" */

/** Controls stay so long after the last movement. */
const IDLE_MS = 4000;
/** Below three flashes a second at any rate: WCAG 2.3.1. */
const LEAST_BETWEEN_FLASHES_MS = 340;
const LAMP_MS = 130;
const STALE_AFTER_MS = 3000;
const TOLD_MS = 7000;
/** Beats reported later than this are no news for the ear. */
const LATE_BEAT_SECONDS = 1.5;
const POINTER_STEP = 0.02;
/** Capitals of 2.8 % of the height can be read at six heights; these are larger. */
const TEXT_SHARE = 0.042;
/** Points shown: as measured, and after the whole path. */
const RAW = 0;
const CLEANED = 3;

/** Ink and ground with the greatest contrast; the grid keeps 3:1 for the back row. */
const LOOKS = {
  light: { paper: "#ffffff", ink: "#000000", trace: "#000000", grid: "#949494", mark: "#0a5a8c", gap: "#8a8a8a" },
  dark: { paper: "#1b1e22", ink: "#ffffff", trace: "#ffffff", grid: "#70757b", mark: "#8cc7ee", gap: "#8f8f8f" },
};

/**
 * @typedef {object} ShowOptions
 * @property {FrameLoop} loop
 * @property {boolean} still no gliding, no lamp
 * @property {() => Rings|null} rings
 * @property {() => BeatList[]} beats
 * @property {() => number} channel the one chosen in the page, to begin with
 * @property {() => Channel[]} channels
 * @property {() => Gap[]} gaps
 * @property {() => {rateHz: number, secondsAcross: number}} scale
 * @property {() => Reading|undefined} reading of the channel shown
 * @property {(text: string) => void} announce
 * @property {() => {name: string, invented: boolean, wired: boolean}} source wired: electrodes on a person at this computer
 * @property {(open: boolean) => void} changed
 */

export class ShowView {
  /** @param {ShowOptions} options */
  constructor(options) {
    this.options = options;
    this.open = false;
    this.view = new View();
    this.view.turns = options.still;
    this.cache = new ColumnCache(8192);
    /** @type {Lane|null} */
    this.lane = null;
    this.laneFor = "";
    /** @type {Rings|null} */
    this.ringsShown = null;
    this.head = 0;
    this.lastDraw = 0;
    this.sized = false;
    this.ratio = 1;
    this.flashedAt = 0;
    this.offAt = 0;
    this.idleAt = 0;
    this.lastFrameAt = 0;
    this.said = "";
    /** @type {"light"|"dark"} */
    this.ground = prefs.get("show ground", /** @type {"light"|"dark"|""} */ ("")) || "light";
    this.sound = new BeatSound();
    this.pointer = { on: false, x: 0.5, y: 0.4 };
    this.channel = 0;
    this.point = prefs.get("show raw", false) ? RAW : CLEANED;
    /** @type {string|CanvasPattern} */
    this.hatching = "";

    this.canvas = h("canvas", { class: "show-trace", role: "img", "aria-label": W.signalTrace, "data-testid": "show-trace" });
    this.number = h("span", { class: "show-number", "data-testid": "show-rate" }, "–");
    this.lamp = h("span", { class: "show-lamp", "aria-hidden": "true" });
    this.lamp.hidden = options.still;
    this.state = h("p", { class: "show-state", "data-testid": "show-state" });
    this.reason = h("p", { class: "show-reason", "data-testid": "show-reason" });
    this.held = h("p", { class: "show-held", hidden: true }, W.frozen);
    this.told = h("p", { class: "show-held show-told", hidden: true, "data-testid": "show-told" });
    this.tellTimer = 0;
    this.label = h("p", { class: "show-label", "data-testid": "show-label" });
    this.invented = h("b", { class: "invented", hidden: true, "data-testid": "show-invented" }, words.INVENTED);
    this.sourceName = h("span", { "data-testid": "show-source" });
    this.projector = h("b", { class: "show-projector", hidden: true, "data-testid": "show-projector" }, words.wired.projector);
    this.foot = h("p", { class: "show-foot" }, this.invented, this.sourceName, h("span", {}, words.AID), this.projector);
    this.ring = h("div", { class: "show-pointer", "aria-hidden": "true", "data-testid": "show-pointer", hidden: true });
    this.freezeButton = button("show-freeze", W.freeze, () => this.toggleFreeze(), { "aria-pressed": "false", title: W.freezeTheTraceSpace });
    this.pointerButton = button("show-point", W.pointer, () => this.togglePointer(), { "aria-pressed": "false", title: W.aRingThatFollowsThe });
    this.soundButton = button("show-sound", W.beatSound, () => this.toggleSound(), { "aria-pressed": "false", title: W.aSoftTickAtEach });
    this.rawButton = button("show-raw", W.raw, () => this.toggleRaw(), { "aria-pressed": String(this.point === RAW), title: W.asMeasuredBeforeTheSignal });
    this.channelButton = button("show-channel", W.nextSignal, () => this.nextChannel(), { title: W.theNextChannelX });
    this.groundButton = button("show-ground", "", () => this.toggleGround(), { title: W.lightOrDarkGroundT });
    this.leaveButton = button("show-leave", W.leave, () => this.leave(), { title: W.backToThePageEsc });
    this.controls = h("div", { class: "show-controls", role: "toolbar", "aria-label": W.showView }, this.freezeButton, this.pointerButton, this.soundButton, this.rawButton, this.channelButton, this.groundButton, this.leaveButton);
    this.root = h("section", { class: "show", id: "show", "data-testid": "show", "aria-label": W.showView, tabindex: "-1", hidden: true },
      h("div", { class: "show-sheet" }, this.canvas, this.held, this.told),
      h("div", { class: "show-words" },
        h("div", { class: "show-rate" }, this.number, h("span", { class: "show-unit" }, this.lamp, "bpm")),
        h("div", { class: "show-say" }, this.label, this.state, this.reason)),
      this.foot, this.controls, this.ring);
    document.body.append(this.root);
    const ctx = this.canvas.getContext("2d", { alpha: false });
    if (!ctx) throw new Error(W.thisBrowserCannotDrawOn);
    this.ctx = ctx;
    this.resizer = new ResizeObserver(() => {
      this.sized = false;
      options.loop.dirty(this);
    });
    this.root.addEventListener("pointermove", (e) => this.#moved(e));
    this.root.addEventListener("pointerdown", (e) => this.#moved(e));
    this.root.addEventListener("focusin", () => this.#awake());
    /** @param {KeyboardEvent} e */
    this.keyListener = (e) => this.#key(e);
    this.#applyGround();
  }

  // --- coming and going ---------------------------------------------------

  show() {
    if (this.open) return;
    this.open = true;
    this.from = document.activeElement;
    this.root.hidden = false;
    document.documentElement.classList.add("showing");
    for (const e of document.body.children) if (e !== this.root && e.id !== "live-region" && e instanceof HTMLElement && e.tagName !== "DIALOG") e.inert = true;
    // Before the page's own keys, which do not hold here.
    document.addEventListener("keydown", this.keyListener, true);
    this.view.secondsAcross = Math.min(window.innerWidth < window.innerHeight ? 5 : 10, this.options.scale().secondsAcross);
    this.channel = this.options.channel();
    // Until somebody chooses, the ground is the page's.
    this.ground = prefs.get("show ground", /** @type {"light"|"dark"|""} */ ("")) || (document.documentElement.dataset.theme === "dark" ? "dark" : "light");
    this.#applyGround();
    this.laneFor = "";
    this.sized = false;
    this.resizer.observe(this.canvas);
    this.options.loop.add(this);
    this.options.changed(true);
    remember(true);
    this.showReading();
    this.#awake();
    this.root.focus();
    this.options.announce(W.showViewEscapeLeavesIt);
  }

  leave() {
    if (!this.open) return;
    this.open = false;
    this.sound.stop();
    this.#pressed(this.soundButton, false);
    this.#setHeld(false);
    if (this.pointer.on) this.togglePointer();
    this.options.loop.remove(this);
    this.resizer.disconnect();
    document.removeEventListener("keydown", this.keyListener, true);
    window.clearTimeout(this.idleAt);
    for (const e of document.body.children) if (e instanceof HTMLElement) e.inert = false;
    document.documentElement.classList.remove("showing");
    this.root.hidden = true;
    remember(false);
    this.options.changed(false);
    if (this.from instanceof HTMLElement) this.from.focus();
  }

  // --- controls -------------------------------------------------------------

  /** @param {KeyboardEvent} e */
  #key(e) {
    if (document.querySelector("dialog[open]")) return;
    if (e.key === "Tab" || e.ctrlKey || e.metaKey || e.altKey) return;
    if (e.target instanceof HTMLButtonElement && (e.key === " " || e.key === "Enter")) {
      e.stopImmediatePropagation();
      return;
    }
    e.stopImmediatePropagation();
    const keys = /** @type {Record<string, () => void>} */ ({
      Escape: () => this.leave(),
      " ": () => this.toggleFreeze(),
      p: () => this.togglePointer(),
      m: () => this.toggleSound(),
      t: () => this.toggleGround(),
      r: () => this.toggleRaw(),
      x: () => this.nextChannel(),
      "+": () => this.#across(-1),
      "-": () => this.#across(1),
      ArrowLeft: () => this.#nudge(-POINTER_STEP, 0),
      ArrowRight: () => this.#nudge(POINTER_STEP, 0),
      ArrowUp: () => this.#nudge(0, -POINTER_STEP),
      ArrowDown: () => this.#nudge(0, POINTER_STEP),
    });
    const run = keys[e.key.length === 1 ? e.key.toLowerCase() : e.key];
    if (!run) return;
    e.preventDefault();
    run();
  }

  /** For the list of keys. @returns {Key[]} */
  static help() {
    return [
      { key: "", shown: "space", what: W.freezeOrGoOn, run: () => {} },
      { key: "", shown: "p", what: W.aPointerForMouseFinger, run: () => {} },
      { key: "", shown: "m", what: W.aSoftTickAtEach2, run: () => {} },
      { key: "", shown: "r", what: W.asMeasuredOrCleaned, run: () => {} },
      { key: "", shown: "x", what: W.theNextChannel, run: () => {} },
      { key: "", shown: "t", what: W.lightOrDarkGround, run: () => {} },
      { key: "", shown: "+ −", what: W.fewerOrMoreSecondsAcross, run: () => {} },
      { key: "", shown: W.esc, what: W.backToThePage, run: () => {} },
    ];
  }

  toggleFreeze() {
    this.#setHeld(!this.view.held);
    this.options.announce(this.view.held ? W.frozen2 : W.live);
  }

  /** @param {boolean} held */
  #setHeld(held) {
    this.view.held = held;
    this.held.hidden = !held;
    this.#pressed(this.freezeButton, held);
    this.options.loop.dirty(this);
  }

  togglePointer() {
    this.pointer.on = !this.pointer.on;
    this.ring.hidden = !this.pointer.on;
    this.root.classList.toggle("pointing", this.pointer.on);
    this.#pressed(this.pointerButton, this.pointer.on);
    this.#placePointer();
  }

  async toggleSound() {
    if (this.sound.on) this.sound.stop();
    else {
      const why = await this.sound.start();
      if (why) this.#tell(why);
    }
    this.#pressed(this.soundButton, this.sound.on);
  }

  /** Something to read for a while, for eyes and ears. @param {string} text */
  #tell(text) {
    this.options.announce(text);
    setText(this.told, text);
    this.told.hidden = false;
    window.clearTimeout(this.tellTimer);
    this.tellTimer = window.setTimeout(() => (this.told.hidden = true), TOLD_MS);
  }

  toggleRaw() {
    this.point = this.point === RAW ? CLEANED : RAW;
    prefs.set("show raw", this.point === RAW);
    this.#pressed(this.rawButton, this.point === RAW);
    this.options.announce(this.point === RAW ? W.asMeasured : W.afterTheSignalPath);
    this.options.loop.dirty(this);
  }

  nextChannel() {
    const n = this.options.channels().length;
    if (n < 2) return;
    this.channel = (this.channel + 1) % n;
    this.options.announce(this.options.channels()[this.channel].label);
    this.showReading();
    this.options.loop.dirty(this);
  }

  toggleGround() {
    this.ground = this.ground === "light" ? "dark" : "light";
    prefs.set("show ground", this.ground);
    this.#applyGround();
  }

  #applyGround() {
    this.root.dataset.ground = this.ground;
    setText(this.groundButton, this.ground === "light" ? W.dark : W.light);
    this.groundButton.setAttribute("aria-label", this.ground === "light" ? W.darkGround : W.lightGround);
    this.hatching = "";
    this.options.loop.dirty(this);
  }

  /** @param {number} direction */
  #across(direction) {
    this.view.secondsAcross = stepSeconds(this.view.secondsAcross, direction);
    this.lane?.auto.reset();
    this.options.loop.dirty(this);
  }

  /**
   * @param {HTMLButtonElement} b
   * @param {boolean} on
   */
  #pressed(b, on) {
    b.setAttribute("aria-pressed", String(on));
  }

  /** @param {PointerEvent} e */
  #moved(e) {
    this.#awake();
    this.pointer.x = e.clientX / Math.max(1, window.innerWidth);
    this.pointer.y = e.clientY / Math.max(1, window.innerHeight);
    this.#placePointer();
  }

  /**
   * @param {number} dx shares of the width and height
   * @param {number} dy
   */
  #nudge(dx, dy) {
    if (!this.pointer.on) return;
    this.pointer.x = Math.min(1, Math.max(0, this.pointer.x + dx));
    this.pointer.y = Math.min(1, Math.max(0, this.pointer.y + dy));
    this.#placePointer();
  }

  #placePointer() {
    if (this.pointer.on) this.ring.style.transform = `translate(${this.pointer.x * window.innerWidth}px, ${this.pointer.y * window.innerHeight}px)`;
  }

  #awake() {
    this.root.classList.remove("idle");
    window.clearTimeout(this.idleAt);
    this.idleAt = window.setTimeout(() => {
      if (!this.controls.contains(document.activeElement) && !this.controls.matches(":hover")) this.root.classList.add("idle");
    }, IDLE_MS);
  }

  // --- data -----------------------------------------------------------------

  /** A frame came and lies in the rings. */
  push() {
    this.lastFrameAt = performance.now();
    if (this.open) this.options.loop.dirty(this);
  }

  /**
   * Beats of the shown channel were reported.
   * @param {number} sample of the newest
   * @param {number} arrivedMs performance.now() when the report arrived
   */
  beat(sample, arrivedMs) {
    const rings = this.options.rings();
    if (!this.open || !rings || sample < rings.end - LATE_BEAT_SECONDS * this.options.scale().rateHz) return;
    if (this.options.reading()?.state !== "reading") return;
    this.sound.tick(arrivedMs);
    const now = performance.now();
    if (this.options.still || now - this.flashedAt < LEAST_BETWEEN_FLASHES_MS) return;
    this.flashedAt = now;
    this.lamp.classList.add("on");
    window.clearTimeout(this.offAt);
    this.offAt = window.setTimeout(() => this.lamp.classList.remove("on"), LAMP_MS);
  }

  /** The reading, or how old the samples are, changed. */
  showReading() {
    if (!this.open) return;
    const r = this.options.reading();
    const silent = this.lastFrameAt > 0 && performance.now() - this.lastFrameAt > STALE_AFTER_MS;
    const say = readingWords(r, silent);
    setText(this.number, say.number);
    setText(this.state, say.state);
    setText(this.reason, say.reason);
    const channels = this.options.channels();
    this.channelButton.hidden = channels.length < 2;
    setText(this.label, channels.length > 1 ? (channels[this.channel]?.label ?? "") : "");
    this.root.classList.toggle("none", say.number === "–");
    const source = this.options.source();
    setText(this.sourceName, source.name);
    this.invented.hidden = !source.invented;
    this.projector.hidden = !source.wired;
  }

  // --- drawing --------------------------------------------------------------

  #size() {
    this.sized = true;
    this.ratio = Math.min(2, window.devicePixelRatio || 1);
    const width = Math.max(2, Math.round(this.canvas.clientWidth * this.ratio));
    const height = Math.max(2, Math.round(this.canvas.clientHeight * this.ratio));
    if (this.canvas.width !== width) this.canvas.width = width;
    if (this.canvas.height !== height) this.canvas.height = height;
    this.view.widthPx = width;
    this.textPx = Math.round(Math.max(20, TEXT_SHARE * window.innerHeight) * this.ratio);
    this.hatching = "";
    this.cache.samplesPerColumn = 0;
    if (this.lane) this.#place(this.lane);
  }

  /** @param {Lane} lane */
  #place(lane) {
    const text = this.textPx ?? 24;
    lane.topPx = Math.round(text * 1.15);
    lane.heightPx = Math.max(8, this.canvas.height - lane.topPx - Math.round(text * 1.9));
  }

  /** @param {number} now */
  draw(now) {
    if (!this.open) return false;
    if (!this.sized) this.#size();
    const { ctx, view } = this;
    const look = LOOKS[this.ground];
    const width = this.canvas.width;
    const height = this.canvas.height;
    ctx.fillStyle = look.paper;
    ctx.fillRect(0, 0, width, height);
    const rings = this.options.rings();
    const channels = this.options.channels();
    if (this.channel >= channels.length) this.channel = 0;
    const channel = channels[this.channel];
    if (!rings || !channel || this.channel >= rings.channels) return false;
    /** @type {Probe} */
    const probe = { channel: this.channel, point: this.point };
    const wanted = `${probe.channel} ${probe.point} ${channel.unit}`;
    if (wanted !== this.laneFor || rings !== this.ringsShown || !this.lane) {
      this.lane = new Lane(probe, channel.unit, channel.stepVolts ?? 0);
      this.cache.samplesPerColumn = 0;
      this.laneFor = wanted;
      this.ringsShown = rings;
      this.head = rings.end;
      this.#setHeld(false);
      this.#place(this.lane);
    }
    const lane = this.lane;
    const elapsed = this.lastDraw ? Math.min(0.1, (now - this.lastDraw) / 1000) : 0;
    this.lastDraw = now;
    view.rateHz = this.options.scale().rateHz;
    this.head = advance(this.head, rings.end, view.rateHz, elapsed);
    view.follow(this.head);
    view.clamp(rings.start, this.head);
    this.#grid(lane, look);
    ctx.strokeStyle = look.trace;
    ctx.fillStyle = look.trace;
    ctx.lineJoin = "round";
    const style = { width: 1, on: 1, off: 0 };
    ctx.lineWidth = Math.max(2.5, Math.min(window.innerHeight * 0.004, window.innerWidth * 0.006)) * this.ratio;
    if (view.inColumns) {
      const to = view.originColumns;
      const from = Math.max(0, to - view.widthPx);
      this.cache.update(rings, probe.channel, probe.point, view.samplesPerPx, from, to);
      see(lane, view, this.cache);
      const moved = lane.settle(elapsed, !Number.isFinite(lane.low));
      strokeColumns(ctx, lane, view, this.cache, from, style);
      if (moved) return true;
    } else {
      if (!Number.isFinite(lane.low)) strokeSamples(ctx, lane, view, rings, style, 100);
      const moved = lane.settle(elapsed, !Number.isFinite(lane.low));
      strokeSamples(ctx, lane, view, rings, style, 100);
      if (moved) return true;
    }
    this.#beats(lane, look);
    return this.head < rings.end && !view.held;
  }

  /**
   * Seconds as hairlines, gaps hatched, and what a second and a step up measure.
   * @param {Lane} lane
   * @param {typeof LOOKS.light} look
   */
  #grid(lane, look) {
    const { ctx, view, ratio } = this;
    const bottom = lane.topPx + lane.heightPx;
    const text = this.textPx ?? 24;
    ctx.lineWidth = Math.max(1, Math.round(0.0018 * window.innerHeight * ratio));
    ctx.strokeStyle = look.grid;
    ctx.beginPath();
    const second = view.rateHz;
    const every = view.secondsAcross > 20 ? 5 : 1;
    for (let s = Math.ceil(view.indexAt(0) / second / every) * every; s * second <= view.end; s += every) {
      const x = Math.round(view.xPx(s * second)) + 0.5;
      ctx.moveTo(x, lane.topPx);
      ctx.lineTo(x, bottom);
    }
    const step = Number.isFinite(lane.low) ? niceStep((lane.high - lane.low) / 5) : 0;
    if (step > 0) {
      for (let k = Math.ceil(lane.low / step); k * step <= lane.high; k++) {
        const y = Math.round(lane.yPx(k * step)) + 0.5;
        ctx.moveTo(0, y);
        ctx.lineTo(view.widthPx, y);
      }
    }
    ctx.stroke();
    this.hatching ||= hatch(ctx, look.gap, ratio);
    ctx.fillStyle = this.hatching;
    for (const g of this.options.gaps()) {
      const x = Math.max(0, view.xPx(g.index));
      const end = Math.min(view.widthPx, view.xPx(g.index + g.samples));
      if (end > x) ctx.fillRect(x, lane.topPx, end - x, lane.heightPx);
    }
    // Below: what a square of the grid is across and up.
    ctx.fillStyle = look.ink;
    ctx.strokeStyle = look.ink;
    ctx.lineWidth = 3 * ratio;
    ctx.font = `${text}px system-ui, "Segoe UI", "DejaVu Sans", sans-serif`;
    ctx.textBaseline = "middle";
    ctx.textAlign = "left";
    const y = bottom + text * 0.95;
    const long = (every * second) / view.samplesPerPx;
    const left = text * 0.6;
    bar(ctx, left, y, left + long, y, text * 0.22);
    ctx.fillText(`${every}\u00a0s`, left + long + text * 0.4, y);
    if (!(step > 0) || lane.unit === "") return;
    const label = quantity(step, lane.unit, 1);
    const right = view.widthPx - text * 0.5;
    ctx.textAlign = "right";
    ctx.fillText(label, right, y);
    // Between two lines: no measure itself, so it never runs into the trace.
    const at = right - ctx.measureText(label).width - text * 0.8;
    bar(ctx, at, y + text * 0.5, at, y - text * 0.5, text * 0.3);
  }

  /**
   * @param {Lane} lane
   * @param {typeof LOOKS.light} look
   */
  #beats(lane, look) {
    const list = this.options.beats()[lane.probe.channel];
    if (!list) return;
    const { ctx, view } = this;
    const text = this.textPx ?? 24;
    const size = text * 0.28;
    const top = text * 0.32;
    ctx.fillStyle = look.mark;
    for (let i = list.indexFrom(view.indexAt(0)); i < list.beats.length && list.beats[i].sample <= view.end; i++) {
      const x = view.xPx(list.beats[i].sample);
      ctx.beginPath();
      ctx.moveTo(x - size, top);
      ctx.lineTo(x + size, top);
      ctx.lineTo(x, top + size * 1.6);
      ctx.fill();
    }
  }

  stats() {
    return { open: this.open, held: this.view.held, ground: this.ground, pointer: this.pointer.on, channel: this.channel, point: this.point, secondsAcross: this.view.secondsAcross, sound: this.sound.stats(), end: this.view.end };
  }

  destroy() {
    this.leave();
    this.sound.stop();
    window.clearTimeout(this.offAt);
    fill(this.root);
    this.root.remove();
  }
}

/**
 * The reading in words for a room.
 * @param {Reading|undefined} r
 * @param {boolean} silent nothing has arrived for some seconds
 * @returns {{number: string, state: string, reason: string}}
 */
export function readingWords(r, silent) {
  if (silent) return { number: "–", state: W.noReadingNothingArrives, reason: W.theBoardOrTheConnection };
  if (!r) return { number: "–", state: W.searchingForBeats, reason: "" };
  if (r.state === "reading" && r.rateBpm > 0) return { number: String(Math.round(r.rateBpm)), state: upper(W.signal(qualityWord(r.quality))), reason: "" };
  return { number: "–", state: upper(readingHeading(r.state)), reason: r.reason ? sentence(r.reason) : "" };
}

/** @param {string} text */
function upper(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * A line with crossed ends.
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x1
 * @param {number} y1
 * @param {number} x2
 * @param {number} y2
 * @param {number} end half an end's length
 */
function bar(ctx, x1, y1, x2, y2, end) {
  const dx = x1 === x2 ? end : 0;
  const dy = x1 === x2 ? 0 : end;
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.moveTo(x1 - dx, y1 - dy);
  ctx.lineTo(x1 + dx, y1 + dy);
  ctx.moveTo(x2 - dx, y2 - dy);
  ctx.lineTo(x2 + dx, y2 + dy);
  ctx.stroke();
}

/**
 * Whether an address asks for the show view.
 * @param {string} search
 */
export function asksForShow(search) {
  return new URLSearchParams(search).get("view") === "show";
}

/**
 * Keeps the view in the address, so that a reload comes back to it.
 * @param {boolean} open
 */
function remember(open) {
  const address = new URL(location.href);
  if (open) address.searchParams.set("view", "show");
  else address.searchParams.delete("view");
  window.history.replaceState(null, "", address);
}
