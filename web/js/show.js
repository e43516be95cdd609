// The view for a room: one trace, the rate as large as it goes, its state in
// words for the back row. Controls fade while nobody moves.

import { sentence } from "./api.js";
import { BeatSound } from "./beat-sound.js";
import { ColumnCache } from "./columns.js";
import { button, fill, h, setText } from "./dom.js";
import { readingHeading, qualityWord } from "./format.js";
import { prefs } from "./store.js";
import { stepSeconds } from "./scales.js";
import { fit, paint, pixelRatio } from "./scene/canvas.js";
import { PAPER_CSS, register } from "./scene/picture.js";
import { showScene } from "./scene/show.js";
import { LIGHT } from "./theme.js";
import { curveOf, reach } from "./trace/curve.js";
import { Lane } from "./trace/lanes.js";
import { advance, View } from "./trace/view.js";
import * as words from "./words.js";
import { showWords as W } from "./words.js";

/** @import {Channel, Gap, Reading} from "./types.js" */
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
  light: { ...LIGHT, paper: "#ffffff", ink: "#000000", traces: ["#000000"], grid: "#949494", mark: "#0a5a8c", gap: "#8a8a8a" },
  dark: { ...LIGHT, paper: "#1b1e22", ink: "#ffffff", traces: ["#ffffff"], grid: "#70757b", mark: "#8cc7ee", gap: "#8f8f8f" },
};
/** On paper. */
const PAPER_HEIGHT_CSS = 420;
const PAPER_TEXT_CSS = 20;
const PAPER_RATIO = 4;

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
    this.resizer = new ResizeObserver(() => options.loop.dirty(this));
    register(this.canvas, { draw: () => options.loop.dirty(this), paper: () => this.#paper() });
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

  /** The lane shown, new for another signal; null for none. */
  #lane() {
    const rings = this.options.rings();
    const channels = this.options.channels();
    if (this.channel >= channels.length) this.channel = 0;
    const channel = channels[this.channel];
    if (!rings || !channel || this.channel >= rings.channels) return null;
    const wanted = `${this.channel} ${this.point} ${channel.unit}`;
    if (wanted !== this.laneFor || rings !== this.ringsShown || !this.lane) {
      this.lane = new Lane({ channel: this.channel, point: this.point }, channel.unit, channel.stepVolts ?? 0);
      this.cache.samplesPerColumn = 0;
      this.laneFor = wanted;
      this.ringsShown = rings;
      this.head = rings.end;
      this.#setHeld(false);
    }
    return { lane: this.lane, rings };
  }

  /** @param {number} now */
  draw(now) {
    if (!this.open || !fit(this.canvas, this.canvas)) return false;
    const { ctx, view, canvas } = this;
    const look = LOOKS[this.ground];
    ctx.fillStyle = look.paper;
    ctx.fillRect(0, 0, canvas.width, canvas.height);
    const shown = this.#lane();
    if (!shown) return false;
    const { lane, rings } = shown;
    const elapsed = this.lastDraw ? Math.min(0.1, (now - this.lastDraw) / 1000) : 0;
    this.lastDraw = now;
    view.widthPx = canvas.width;
    view.rateHz = this.options.scale().rateHz;
    this.head = advance(this.head, rings.end, view.rateHz, elapsed);
    view.follow(this.head);
    view.clamp(rings.start, this.head);
    const curve = curveOf(rings, lane.probe, view, { cache: this.cache, ratio: pixelRatio(), left: 0 });
    [lane.seenLow, lane.seenHigh] = reach(curve);
    const moved = lane.settle(elapsed, !Number.isFinite(lane.low));
    const text = Math.round(Math.max(20, TEXT_SHARE * window.innerHeight));
    const line = Math.max(2.5, Math.min(window.innerHeight * 0.004, window.innerWidth * 0.006));
    paint(ctx, this.#scene(lane, view, curve, { width: canvas.clientWidth, height: canvas.clientHeight, text, line, hair: 0.0018 * window.innerHeight }).items, look);
    return moved || (this.head < rings.end && !view.held);
  }

  /**
   * @param {Lane} lane
   * @param {View} view
   * @param {import("./scene/sheet.js").Curve} curve
   * @param {{width: number, height: number, text: number, line: number, hair: number}} size
   */
  #scene(lane, view, curve, size) {
    const from = view.indexAt(0);
    const list = this.options.beats()[lane.probe.channel];
    const beats = list ? list.beats.slice(list.indexFrom(from)).map((b) => b.sample).filter((i) => i <= view.end) : [];
    return showScene({ ...size, curve, low: lane.low, high: lane.high, unit: lane.unit, from, to: view.indexAt(view.widthPx), rateHz: view.rateHz, every: view.secondsAcross > 20 ? 5 : 1, gaps: this.options.gaps(), beats });
  }

  #paper() {
    const shown = this.open ? this.#lane() : null;
    if (!shown) return null;
    const { lane, rings } = shown;
    const view = Object.assign(new View(), this.view, { widthPx: PAPER_CSS * PAPER_RATIO });
    const curve = curveOf(rings, lane.probe, view, { cache: new ColumnCache(view.widthPx), ratio: PAPER_RATIO, left: 0 });
    return this.#scene(lane, view, curve, { width: PAPER_CSS, height: PAPER_HEIGHT_CSS, text: PAPER_TEXT_CSS, line: 1.5, hair: 1 });
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
