// The view for a room: up to three traces, the rate as large as it goes, its state in
// words for the back row. Controls fade while nobody moves. One page can present to the others.

import { sentence } from "./api.js";
import { BeatSound } from "./beat-sound.js";
import { fill, h, setText } from "./dom.js";
import { fixed, readingHeading, signalWords } from "./format.js";
import { quantile } from "./loop.js";
import { prefs } from "./store.js";
import { stepSeconds } from "./scales.js";
import { fit, paint, pixelRatio } from "./scene/canvas.js";
import { PAPER_CSS, register } from "./scene/picture.js";
import { showPlot, showScene } from "./scene/show.js";
import { Chooser } from "./show/choose.js";
import { Controls, pressed } from "./show/controls.js";
import { Join } from "./show/join.js";
import { EarlyBeats } from "./show/early.js";
import { CLEANED, laneName, RAW, ShowLanes, soundLanes } from "./show/lanes.js";
import { Present } from "./show/present.js";
import { saveShow } from "./show/save.js";
import { Screen } from "./show/screen.js";
import { typicalBeat } from "./show/typical.js";
import { LIGHT } from "./theme.js";
import { advance, View } from "./trace/view.js";
import * as words from "./words.js";
import { showWords as W } from "./words.js";

/** @import {Channel, Gap, Presentation, Probe, Reading, Report} from "./types.js" */
/** @import {BeatList} from "./store.js" */
/** @import {FrameLoop} from "./loop.js" */
/** @import {Rings} from "./rings.js" */

/** Controls stay so long after the last movement. */
const IDLE_MS = 4000;
/** Below three flashes a second at any rate: WCAG 2.3.1. */
const LEAST_BETWEEN_FLASHES_MS = 340;
const LAMP_MS = 130;
const STALE_AFTER_MS = 3000;
const TOLD_MS = 7000;
/** Beats reported later than this are no news for the ear. */
const LATE_BEAT_SECONDS = 1.5;
/** Where beats are looked for. */
const BAND_PASS = 4;
/** The lateness told is the middle one of so many ticks. */
const LATE_KEPT = 9;
const POINTER_STEP = 0.02;
/**
 * Size of scales and names, as a share of the width: capitals of 0.7 of it are a 34th of the
 * picture's width, 35 mm of 1.2 m, and are read at 200 times their height, 7 m.
 */
const TEXT_SHARE = 0.0424;
/** On a screen that is higher than wide, held in a hand. */
const HAND_SHARE = 0.026;
/** A line of words longer than this, one row beside the sign of a frozen trace, is written smaller. */
const SHORT_LINE = 14;

/** Ink and ground with the greatest contrast; the grid keeps 3:1 for the back row, words behind the traces 7:1. */
const LOOKS = {
  light: { ...LIGHT, paper: "#ffffff", ink: "#000000", faint: "#595959", traces: ["#000000"], grid: "#949494", mark: "#0a5a8c", gap: "#8a8a8a" },
  dark: { ...LIGHT, paper: "#1b1e22", ink: "#ffffff", faint: "#a6a6a6", traces: ["#ffffff"], grid: "#70757b", mark: "#8cc7ee", gap: "#8f8f8f" },
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
 * @property {() => {rateHz: number, secondsAcross: number, epoch: number, ageMs: number}} scale ageMs: of the newest sample when it arrived
 * @property {() => Reading|undefined} reading of the first trace's channel
 * @property {() => Report|undefined} report of its meters
 * @property {(text: string) => void} announce
 * @property {() => {name: string, address: string, invented: boolean, wired: boolean, owner: boolean, recording: boolean, problem: string, away: string, lost: string}} source wired: electrodes on a person at this computer; away: why the source does not run; lost: why there is no connection
 * @property {(open: boolean) => void} changed
 * @property {(offered: boolean) => void} offered another page presents, or no longer
 */

export class ShowView {
  /** @param {ShowOptions} options */
  constructor(options) {
    this.options = options;
    this.open = false;
    this.view = new View();
    this.view.turns = options.still;
    this.lanes = new ShowLanes();
    /** This page's own choice of traces. @type {Probe[]} */
    this.chosen = [{ channel: 0, point: CLEANED }];
    this.lanesFor = "";
    this.typical = prefs.get("show typical", false);
    /** Where this page held the trace before it was loaded anew. @type {Presentation["frozen"]} */
    this.adopted = null;
    /** Held because the presenter holds it. */
    this.followedHeld = false;
    this.textPx = 0;
    this.typicalFor = "";
    /** @type {import("./scene/show.js").Typical|null} */
    this.typicalMade = null;
    this.present = new Present({ changed: () => this.#followed(), failed: (text) => this.#tell(text), adopt: (p) => this.#adopt(p) });
    this.screen = new Screen((full) => pressed(this.controls.full, full));
    this.join = new Join();
    this.chooser = new Chooser({ channels: options.channels, lanes: () => this.probes, set: (list) => this.#choose(list) });
    /** Seconds from a beat to its tick, the newest last. @type {number[]} */
    this.lateness = [];
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
    this.early = new EarlyBeats();
    this.atOnce = false;
    /** What is being saved. @type {import("./show/save.js").Kept|null} */
    this.kept = null;
    this.pointer = { on: false, x: 0.5, y: 0.4 };

    this.canvas = h("canvas", { class: "show-trace", role: "img", "aria-label": W.signalTrace, "data-testid": "show-trace" });
    this.number = h("span", { class: "show-number", "data-testid": "show-rate" }, "–");
    this.lamp = h("span", { class: "show-lamp", "aria-hidden": "true" });
    this.lamp.hidden = options.still;
    this.state = h("p", { class: "show-state", "data-testid": "show-state" });
    this.reason = h("p", { class: "show-reason", "data-testid": "show-reason" });
    this.recording = h("b", { class: "show-recording", "data-testid": "show-recording", hidden: true }, W.recording);
    this.held = h("b", { class: "show-held", hidden: true, "data-testid": "show-held" }, W.frozen);
    this.unit = h("span", { "data-testid": "show-unit" }, W.bpm);
    this.problem = h("p", { class: "show-problem", role: "alert", "data-testid": "show-problem" });
    this.line = h("p", { class: "show-line", "data-testid": "show-line" });
    this.told = h("p", { class: "show-told", hidden: true, "data-testid": "show-told" });
    this.tellTimer = 0;
    this.label = h("span", { class: "show-label", "data-testid": "show-label" });
    this.late = h("p", { class: "show-late", "data-testid": "show-late" });
    this.invented = h("b", { class: "invented", hidden: true, "data-testid": "show-invented" }, words.INVENTED);
    this.sourceName = h("span", { "data-testid": "show-source" });
    this.projector = h("b", { class: "show-projector", hidden: true, "data-testid": "show-projector" }, words.wired.projector);
    this.who = h("b", { "data-testid": "show-who" });
    this.foot = h("p", { class: "show-foot" }, this.invented, this.sourceName, h("span", {}, words.AID), this.who, this.projector);
    this.ring = h("div", { class: "show-pointer", "aria-hidden": "true", "data-testid": "show-pointer", hidden: true });
    this.controls = new Controls(this);
    this.sheet = h("div", { class: "show-sheet" }, this.canvas, this.told, this.chooser.root);
    this.words = h("div", { class: "show-words" },
      h("div", { class: "show-rate" }, this.number),
      h("div", { class: "show-say" }, h("p", { class: "show-unit" }, this.lamp, this.unit, this.label), this.state, this.reason, this.late));
    this.root = h("section", { class: "show", id: "show", "data-testid": "show", "aria-label": W.showView, tabindex: "-1", hidden: true },
      h("div", { class: "show-top" }, this.recording, this.held, this.problem, this.line), this.sheet, this.words, this.foot, this.controls.root, this.ring, this.join.root);
    document.body.append(this.root);
    const ctx = this.canvas.getContext("2d", { alpha: false });
    if (!ctx) throw new Error(W.thisBrowserCannotDrawOn);
    this.ctx = ctx;
    this.resizer = new ResizeObserver(() => options.loop.dirty(this));
    register(this.canvas, { draw: () => options.loop.dirty(this), paper: () => this.paper(), seen: () => this.kept?.scene ?? null, numbers: () => this.kept?.numbers ?? "" });
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
    this.#ownLanes();
    // Until somebody chooses, the ground is the page's.
    this.ground = prefs.get("show ground", /** @type {"light"|"dark"|""} */ ("")) || (document.documentElement.dataset.theme === "dark" ? "dark" : "light");
    this.#applyGround();
    this.screen.keepOn(true);
    this.resizer.observe(this.canvas);
    this.options.loop.add(this);
    this.options.changed(true);
    remember(true);
    this.#followed();
    this.#awake();
    this.root.focus();
    this.options.announce(W.showViewEscapeLeavesIt);
  }

  leave() {
    if (!this.open) return;
    if (this.present.driving) this.togglePresent();
    this.open = false;
    this.chooser.close();
    this.join.close();
    this.screen.keepOn(false);
    this.screen.leaveFull();
    this.sound.stop();
    pressed(this.controls.sound, false);
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
    if (e.target === this.controls.line && e.key !== "Escape") {
      e.stopImmediatePropagation();
      return;
    }
    if (e.key === "Tab" || e.ctrlKey || e.metaKey || e.altKey) return;
    if (e.target instanceof HTMLButtonElement && (e.key === " " || e.key === "Enter")) {
      e.stopImmediatePropagation();
      return;
    }
    e.stopImmediatePropagation();
    const keys = /** @type {Record<string, () => void>} */ ({
      Escape: () => this.#back(),
      " ": () => this.toggleFreeze(),
      p: () => this.togglePointer(),
      m: () => this.toggleSound(),
      t: () => this.toggleGround(),
      r: () => this.toggleRaw(),
      b: () => this.toggleBoth(),
      n: () => this.toggleTypical(),
      f: () => void this.toggleFull(),
      j: () => this.options.source().owner && this.join.toggle(),
      g: () => this.togglePresent(),
      a: () => this.present.offered && this.present.look(!this.present.alone),
      x: () => this.nextChannel(),
      e: () => this.save(),
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

  /** Escape: out of what lies over Show, then out of Show. */
  #back() {
    if (this.join.open) this.join.close();
    else if (!this.chooser.root.hidden) this.chooser.close();
    else if (document.activeElement === this.controls.line) this.root.focus();
    else this.leave();
  }

  /** A person changes what is seen: who followed looks alone from now on. */
  #own() {
    if (!this.present.followed) return;
    this.view.secondsAcross = this.present.followed.secondsAcross;
    this.chosen = this.probes;
    this.present.look(true);
    this.#tell(W.youLookAloneNow);
  }

  toggleFreeze() {
    const held = !this.view.held;
    this.#own();
    this.#setHeld(held);
    this.options.announce(held ? W.frozenAloud : W.live);
  }

  /** @param {boolean} held */
  #setHeld(held) {
    this.view.held = held;
    this.held.hidden = !held;
    setText(this.unit, held ? W.bpmLive : W.bpm);
    pressed(this.controls.freeze, held);
    this.options.loop.dirty(this);
    this.shared();
  }

  togglePointer() {
    this.pointer.on = !this.pointer.on;
    this.root.classList.toggle("pointing", this.pointer.on);
    pressed(this.controls.pointer, this.pointer.on);
    this.#placePointer();
  }

  async toggleSound() {
    if (this.sound.on) this.sound.stop();
    else {
      const why = await this.sound.start();
      if (why) this.#tell(why);
    }
    pressed(this.controls.sound, this.sound.on);
    this.controls.early.hidden = !this.sound.on;
    setText(this.late, "");
  }

  /** Ticks before or after a beat is confirmed. */
  toggleEarly() {
    this.atOnce = !this.atOnce;
    this.early = new EarlyBeats();
    this.lateness = [];
    setText(this.late, this.atOnce ? W.theSoundComesBefore : "");
    pressed(this.controls.early, this.atOnce);
  }

  /** Sounds a beat as it comes. @param {Rings} rings */
  #soundEarly(rings) {
    const scale = this.options.scale();
    const samples = (this.options.beats()[this.channel]?.beats ?? []).slice(-12).map((b) => b.sample);
    const signal = { ring: rings.ring(this.channel, BAND_PASS), capacity: rings.capacity, start: rings.start, end: rings.end, rateHz: scale.rateHz };
    if (!this.early.push(signal, samples) || this.options.reading()?.state !== "reading") return;
    this.sound.tick(performance.now());
    const { ticks, wrong, lateSeconds } = this.early.stats();
    if (ticks > 0 && !Number.isNaN(lateSeconds)) setText(this.late, W.theSoundComesAtOnce(fixed(lateSeconds + scale.ageMs / 1000, 1), wrong, ticks));
  }

  /** Something to read for a while, for eyes and ears. @param {string} text */
  #tell(text) {
    this.options.announce(text);
    setText(this.told, text);
    this.told.hidden = false;
    window.clearTimeout(this.tellTimer);
    this.tellTimer = window.setTimeout(() => (this.told.hidden = true), TOLD_MS);
  }

  /** The traces seen. @returns {Probe[]} */
  get probes() {
    return soundLanes(this.present.followed?.lanes ?? this.chosen, this.options.channels().length);
  }

  /** Whose rate and beats are shown. */
  get channel() {
    return this.probes[0].channel;
  }

  /** The choice for this source, remembered or the page's channel cleaned. */
  #ownLanes() {
    const { address } = this.options.source();
    this.lanesFor = address;
    this.chosen = soundLanes(prefs.get("show lanes " + address, [{ channel: this.options.channel(), point: CLEANED }]), this.options.channels().length);
  }

  /** @param {Probe[]} list */
  #choose(list) {
    this.#own();
    this.chosen = list;
    prefs.set("show lanes " + this.options.source().address, list);
    this.#seen();
    this.options.announce(list.map((p) => laneName(p, this.options.channels())).join(", "));
  }

  /** Other traces are seen. */
  #seen() {
    const { probes } = this;
    pressed(this.controls.raw, probes.length === 1 && probes[0].point === RAW);
    pressed(this.controls.both, this.#isBoth());
    this.showReading();
    this.options.loop.dirty(this);
    this.shared();
  }

  toggleRaw() {
    const { channel, point } = this.probes[0];
    this.#choose([{ channel, point: this.probes.length === 1 && point === RAW ? CLEANED : RAW }]);
  }

  /** As measured above, cleaned below. */
  #isBoth() {
    const [a, b, c] = this.probes;
    return !c && a?.point === RAW && b?.point === CLEANED && a.channel === b.channel;
  }

  toggleBoth() {
    const { channel } = this.probes[0];
    this.#choose(this.#isBoth() ? [{ channel, point: CLEANED }] : [{ channel, point: RAW }, { channel, point: CLEANED }]);
  }

  nextChannel() {
    const n = this.options.channels().length;
    if (n < 2) return;
    const channel = (this.channel + 1) % n;
    this.#choose(soundLanes(this.probes.map((p) => ({ channel, point: p.point })), n));
  }

  toggleTypical() {
    const on = !this.inset;
    this.#own();
    this.typical = on;
    prefs.set("show typical", this.typical);
    this.#followed();
    this.shared();
  }

  /** Whether the typical beat is seen. */
  get inset() {
    return this.present.followed?.typical ?? this.typical;
  }

  async toggleFull() {
    if (!(await this.screen.toggleFull())) this.#tell(W.thisBrowserHasNoFull);
    else if (document.fullscreenElement && !Screen.staysOn) this.#tell(W.theScreenMayGoDark);
  }

  save() {
    saveShow(this);
  }

  // --- presenting and following -----------------------------------------------

  togglePresent() {
    if (!this.options.source().owner) return;
    if (this.present.driving) this.present.end();
    else this.present.begin(() => this.presentation());
    this.options.announce(this.present.driving ? W.youPresent : W.youNoLongerPresent);
    this.#followed();
  }

  /** Goes on where this page presented before it was loaded anew. @param {Presentation} p */
  #adopt(p) {
    if (!this.open) return false;
    this.chosen = p.lanes;
    this.typical = p.typical;
    this.view.secondsAcross = p.secondsAcross;
    this.controls.line.value = p.line;
    this.adopted = p.frozen?.epoch === this.options.scale().epoch ? p.frozen : null;
    return true;
  }

  /** What this page shows, for those who follow. @returns {Presentation} */
  presentation() {
    const { present, view } = this;
    return { on: true, by: present.name, frozen: view.held ? { epoch: this.options.scale().epoch, end: view.end } : null, secondsAcross: view.secondsAcross, lanes: this.probes, typical: this.typical, pointer: this.#pointed(), line: this.controls.line.value.trim() };
  }

  /** Something that others may follow changed. */
  shared() {
    if (this.present.driving) {
      this.present.put(() => this.presentation());
      this.#showLine();
    }
  }

  /** Where the pointer is, in shares of the traces or the words. @returns {Presentation["pointer"]} */
  #pointed() {
    if (!this.pointer.on) return null;
    const [x, y] = [this.pointer.x * window.innerWidth, this.pointer.y * window.innerHeight];
    for (const [on, e] of /** @type {["traces"|"words", HTMLElement][]} */ ([["traces", this.sheet], ["words", this.words]])) {
      const r = e.getBoundingClientRect();
      if (x >= r.left && x <= r.right && y >= r.top && y <= r.bottom) return { on, x: (x - r.left) / r.width, y: (y - r.top) / r.height };
    }
    return null;
  }

  /** What another page presents, or whether this one follows, changed. */
  #followed() {
    const { present } = this;
    const p = present.followed;
    this.options.offered(present.offered);
    if (!this.open) return;
    this.controls.follow.hidden = !present.offered;
    setText(this.controls.follow, present.alone ? W.follow : W.lookAlone);
    setText(this.who, present.driving ? W.youPresent : p ? W.youFollow : present.offered ? W.youLookAlone : "");
    pressed(this.controls.present, present.driving);
    this.controls.line.hidden = !present.driving;
    pressed(this.controls.typical, this.inset);
    if (p) this.view.secondsAcross = p.secondsAcross;
    const held = p ? p.frozen?.epoch === this.options.scale().epoch : this.view.held && !this.followedHeld;
    this.followedHeld = p !== null && held;
    if (held !== this.view.held) this.#setHeld(held);
    this.#showLine();
    this.#placePointer();
    this.#seen();
  }

  #showLine() {
    const text = this.present.driving ? this.controls.line.value.trim() : this.present.followed?.line ?? "";
    setText(this.line, text);
    this.line.classList.toggle("long", text.length > SHORT_LINE);
    this.root.classList.toggle("worded", text !== "" || this.problem.textContent !== "");
  }

  toggleGround() {
    this.ground = this.ground === "light" ? "dark" : "light";
    prefs.set("show ground", this.ground);
    this.#applyGround();
  }

  #applyGround() {
    this.root.dataset.ground = this.ground;
    setText(this.controls.ground, this.ground === "light" ? W.dark : W.light);
    this.controls.ground.setAttribute("aria-label", this.ground === "light" ? W.darkGround : W.lightGround);
    this.options.loop.dirty(this);
  }

  /** @param {number} direction */
  #across(direction) {
    this.#own();
    this.view.secondsAcross = stepSeconds(this.view.secondsAcross, direction);
    this.lanes.reset();
    this.options.loop.dirty(this);
    this.shared();
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
    if (!this.pointer.on) {
      this.#scroll(Math.sign(dx));
      return;
    }
    this.pointer.x = Math.min(1, Math.max(0, this.pointer.x + dx));
    this.pointer.y = Math.min(1, Math.max(0, this.pointer.y + dy));
    this.#placePointer();
  }

  /** A tenth of the picture along the frozen trace. @param {number} direction */
  #scroll(direction) {
    if (!this.view.held || direction === 0) return;
    this.#own();
    this.view.held = true;
    this.#setHeld(true);
    this.view.end += (direction * this.view.samplesAcross) / 10;
    this.options.loop.dirty(this);
  }

  #placePointer() {
    const p = this.pointer.on ? null : this.present.followed?.pointer;
    this.ring.hidden = !this.pointer.on && !p;
    let [x, y] = [this.pointer.x * window.innerWidth, this.pointer.y * window.innerHeight];
    if (p) {
      const r = (p.on === "words" ? this.words : this.sheet).getBoundingClientRect();
      [x, y] = [r.left + p.x * r.width, r.top + p.y * r.height];
    }
    if (!this.ring.hidden) this.ring.style.transform = `translate(${x}px, ${y}px)`;
    this.shared();
  }

  #awake() {
    this.root.classList.remove("idle");
    window.clearTimeout(this.idleAt);
    this.idleAt = window.setTimeout(() => {
      if (!this.controls.root.contains(document.activeElement) && !this.controls.root.matches(":hover")) this.root.classList.add("idle");
    }, IDLE_MS);
  }

  // --- data -----------------------------------------------------------------

  /** A frame came and lies in the rings. */
  push() {
    this.lastFrameAt = performance.now();
    if (!this.open) return;
    this.options.loop.dirty(this);
    const rings = this.options.rings();
    if (rings && this.sound.on && this.atOnce) this.#soundEarly(rings);
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
    if (this.atOnce) this.early.confirm(sample, this.options.scale().rateHz);
    const delay = this.atOnce ? NaN : this.sound.tick(arrivedMs);
    if (delay >= 0) this.#tickedLate((rings.end - sample) / this.options.scale().rateHz + (this.options.scale().ageMs + delay) / 1000);
    const now = performance.now();
    if (this.options.still || now - this.flashedAt < LEAST_BETWEEN_FLASHES_MS) return;
    this.flashedAt = now;
    this.lamp.classList.add("on");
    window.clearTimeout(this.offAt);
    this.offAt = window.setTimeout(() => this.lamp.classList.remove("on"), LAMP_MS);
  }

  /** Says how long after its beat a tick is heard. @param {number} seconds */
  #tickedLate(seconds) {
    this.lateness = [...this.lateness, seconds].slice(-LATE_KEPT);
    setText(this.late, W.theSoundComes(fixed(quantile([...this.lateness].sort((a, b) => a - b), 0.5), 1)));
  }

  /** The reading, or how old the samples are, changed. */
  showReading() {
    if (!this.open) return;
    const source = this.options.source();
    const channels = this.options.channels();
    if (source.address !== this.lanesFor && channels.length > 0) this.#ownLanes();
    const r = this.options.reading();
    const silent = this.lastFrameAt > 0 && performance.now() - this.lastFrameAt > STALE_AFTER_MS;
    const say = source.lost ? { number: "–", state: W.noConnection, reason: source.lost } : readingWords(r, silent, source.away, this.options.report());
    setText(this.number, say.number);
    this.root.style.setProperty("--digits", String(say.number.length));
    setText(this.state, say.state);
    setText(this.reason, say.reason);
    this.controls.channel.hidden = channels.length < 2;
    setText(this.label, channels.length > 1 ? (channels[this.channel]?.label ?? "") : "");
    this.root.classList.toggle("none", say.number === "–");
    setText(this.sourceName, source.name);
    this.invented.hidden = !source.invented;
    this.projector.hidden = !source.wired;
    this.recording.hidden = !source.recording;
    setText(this.problem, source.lost ? "" : source.problem);
    this.#showLine();
    this.controls.join.hidden = this.controls.present.hidden = !source.owner;
  }

  // --- drawing --------------------------------------------------------------

  /** Makes the lanes ready; null for nothing to draw. */
  #ready() {
    const rings = this.options.rings();
    const channels = this.options.channels();
    if (!rings || channels.length === 0) return null;
    if (this.lanes.set(this.probes, rings, channels)) {
      this.head = rings.end;
      if (!this.present.followed) this.#setHeld(false);
    }
    if (this.adopted && this.adopted.end <= rings.end) {
      this.view.end = this.adopted.end;
      this.adopted = null;
      this.#setHeld(true);
    }
    return this.lanes.list.length > 0 ? { rings, channels } : null;
  }

  /** @param {number} now */
  draw(now) {
    if (!this.open || !fit(this.canvas, this.canvas)) return false;
    const { ctx, view, canvas } = this;
    const look = LOOKS[this.ground];
    ctx.fillStyle = look.paper;
    ctx.fillRect(0, 0, canvas.width, canvas.height);
    const shown = this.#ready();
    if (!shown) return false;
    const { rings, channels } = shown;
    const elapsed = this.lastDraw ? Math.min(0.1, (now - this.lastDraw) / 1000) : 0;
    this.lastDraw = now;
    const hand = window.innerWidth < window.innerHeight;
    const text = hand ? HAND_SHARE * window.innerHeight : TEXT_SHARE * window.innerWidth;
    const size = { width: canvas.clientWidth, height: canvas.clientHeight, text: Math.round(Math.max(20, text)), line: Math.max(2.5, Math.min(window.innerHeight * 0.004, window.innerWidth * 0.006)), hair: 0.0018 * window.innerHeight, inset: this.#insetPlace(hand) };
    const plot = showPlot({ ...size, lanes: this.lanes.named(channels) });
    view.widthPx = Math.round((plot.right - plot.left) * pixelRatio());
    view.rateHz = this.options.scale().rateHz;
    this.head = advance(this.head, rings.end, view.rateHz, elapsed);
    view.follow(this.head);
    const frozen = this.present.followed?.frozen;
    if (frozen && view.held) view.end = frozen.end;
    else view.clamp(rings.start, this.head);
    if (view.held) this.shared(); // where it is held may have moved, while little is kept
    const { lanes, moved } = this.lanes.draw(view, channels, elapsed, plot.left);
    this.textPx = size.text;
    paint(ctx, this.#scene(lanes, view, size).items, look);
    return moved || (this.head < rings.end && !view.held);
  }

  /**
   * @param {import("./scene/show.js").ShowLane[]} lanes
   * @param {View} view
   * @param {{width: number, height: number, text: number, line: number, hair: number, inset: ""|"beside"|"under"}} size
   */
  #scene(lanes, view, size) {
    const from = view.indexAt(0);
    const list = this.options.beats()[this.channel];
    const beats = list ? list.beats.slice(list.indexFrom(from)).map((b) => b.sample).filter((i) => i <= view.end) : [];
    const typical = size.inset ? { title: W.typical, typical: this.#typicalNow(view.end, list) } : undefined;
    return showScene({ ...size, lanes, from, to: view.indexAt(view.widthPx), rateHz: view.rateHz, every: view.secondsAcross > 20 ? 5 : 1, gaps: this.options.gaps(), beats, typical });
  }

  /** Beside the traces, or under them where the picture is narrow. @param {boolean} narrow @returns {""|"beside"|"under"} */
  #insetPlace(narrow) {
    return !this.inset ? "" : narrow ? "under" : "beside";
  }

  /**
   * Made anew with each beat.
   * @param {number} end
   * @param {BeatList|undefined} list
   */
  #typicalNow(end, list) {
    const { rings } = this.lanes;
    const last = list?.beats.findLast((b) => b.sample < end);
    if (!rings || !list || !last) return null;
    const rateHz = this.view.rateHz;
    const key = `${last.sample} ${this.lanes.list[0].key} ${Math.floor((end - last.sample) / (0.25 * rateHz))}`;
    if (key !== this.typicalFor) {
      this.typicalFor = key;
      this.typicalMade = typicalBeat(rings, this.probes[0], list.beats, { rateHz, end });
    }
    return this.typicalMade;
  }

  /** The traces for a sheet of paper; null for nothing to show. */
  paper() {
    const shown = this.open ? this.#ready() : null;
    if (!shown) return null;
    const size = { width: PAPER_CSS, height: PAPER_HEIGHT_CSS, text: PAPER_TEXT_CSS, line: 1.5, hair: 1, inset: this.#insetPlace(false) };
    const plot = showPlot({ ...size, lanes: this.lanes.named(shown.channels) });
    const view = Object.assign(new View(), this.view, { widthPx: (plot.right - plot.left) * PAPER_RATIO });
    return this.#scene(this.lanes.paper(view, shown.channels, PAPER_RATIO, plot.left), view, size);
  }

  stats() {
    const { lanes, present } = this;
    return { open: this.open, held: this.view.held, ground: this.ground, pointer: this.pointer.on, channel: this.channel, point: this.probes[0].point, lanes: this.probes.map((p) => `${p.channel}:${p.point}`),
      ranges: lanes.list.map(({ lane }) => ({ low: lane.low, high: lane.high })), secondsAcross: this.view.secondsAcross, sound: this.sound.stats(), early: this.early.stats(), end: this.view.end, textPx: this.textPx, typical: this.inset && this.typicalMade ? this.typicalMade.beats : 0,
      awake: this.screen.lock !== null && !this.screen.lock.released, presenting: present.driving, following: present.followed !== null, ring: this.ring.hidden ? "" : this.ring.style.transform };
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
 * @param {string} [away] why the source does not run
 * @param {Report} [report]
 * @returns {{number: string, state: string, reason: string}}
 */
export function readingWords(r, silent, away = "", report) {
  if (silent) return { number: "–", state: W.nothingArrives, reason: away || W.theBoardOrTheConnection };
  if (!r) return { number: "–", state: away ? W.nothingArrives : W.searchingForBeats, reason: away };
  if (r.state === "reading" && r.rateBpm > 0) return { number: String(Math.round(r.rateBpm)), state: upper(signalWords(r.quality, report)), reason: "" };
  return { number: "–", state: upper(readingHeading(r.state).replace(W.noReadingPrefix, "")), reason: r.reason ? sentence(r.reason) : "" };
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
