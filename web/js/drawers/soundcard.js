// The Sound drawer: a sound input's level, its coupling, and a board's frequency
// response measured through output and input.

import { api, request, sentence } from "../api.js";
import { AudioInput } from "../audio-input.js";
import { CardBench, ResponseBench } from "../audio-response.js";
import { button, fill, h, numberField, select, setText } from "../dom.js";
import { numberOf, quantity, significant } from "../format.js";
import { Plot } from "../plot.js";
import { decibels } from "./figures.js";
import { drawerSoundcardWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PageState} from "../store.js" */
/** @import {Channel, PathResponse} from "../types.js" */
/** @import {Measured} from "../audio-response.js" */

/** Begins the value of a choice that is no browser's device. */
const CARD = "card:";

export const DISTORTED = W.shapeDistortedByTheSound;

/**
 * What undoing the coupling costs, in words.
 * @param {Channel} channel
 * @param {import("../types.js").Report|undefined} report newest meters
 */
export function costText(channel, report) {
  const c = channel.coupling;
  if (!c) return "";
  const grows = W.noiseFromToHzGrows(significant(c.noiseLowHz, 2), significant(c.noiseHighHz, 2), significant(c.noiseTimes, 3), decibels(20 * Math.log10(c.noiseTimes)));
  const noise = report?.noise;
  if (!noise?.known || channel.unit !== "V") return grows + ".";
  // The density is measured behind the correction, whose gain there is known.
  const f = noise.centreHz;
  const gain = Math.sqrt((f * f + c.cornerHz * c.cornerHz) / (f * f + c.floorHz * c.floorHz));
  const before = (noise.voltsPerRootHz / gain) * Math.sqrt(c.noiseHighHz - c.noiseLowHz);
  return W.fromToRms(grows, quantity(before, "V", 2), quantity(before * c.noiseTimes, "V", 2));
}

/**
 * The −3 dB points in words.
 * @param {Measured} m
 */
export function cornersText(m) {
  const band = m.trustedHighHz > 0 ? W.theSweepCameThroughFrom(significant(m.trustedLowHz, 2), significant(m.trustedHighHz, 2)) : "";
  if (m.corners.length === 0) return W.no3DBPointWithin(band);
  const each = m.corners.map((c) => `${significant(c.freqHz, 3)} Hz (${c.rising ? "rising" : "falling"})`);
  return W.n3DBAtAgainstAt(each.join(", "), decibels(m.passbandDb), band);
}

class SoundPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.over = false;
    this.root = root;
    /** @type {import("../types.js").Choice[]} sound cards of the program itself */
    this.cards = [];
    /** @type {ResponseBench|CardBench} */
    this.bench = new ResponseBench();
    /** @type {Measured|null} */
    this.measured = null;
    /** @type {PathResponse|null} */
    this.pathResponse = null;
    this.error = h("p", { class: "error", role: "alert", "data-testid": "sound-error" });
    this.what = h("p", { "data-testid": "sound-what" });
    this.sending = h("p", { class: "hint" });
    this.stop = button("sound-stop", W.stopSending, () => ctx.audio.stop());
    this.shape = h("p", { class: "warning", role: "status", "data-testid": "sound-shape" });
    root.append(h("section", { class: "sound-part" }, this.what, this.shape, this.sending, this.stop, this.error));
    this.#level(root);
    this.#coupling(root);
    this.#response(root);
    this.changed(ctx.store.state);
    void this.#show();
  }

  /** @param {HTMLElement} root */
  #level(root) {
    this.method = select("level-method", [["tone", W.a1KHzTone], ["step", W.aDirectVoltage]], () => this.#methodText());
    this.volts = numberField("level-volts");
    this.methodHint = h("p", { class: "hint" });
    this.levelNow = h("p", { "data-testid": "level-now" });
    this.measureLevel = button("level-measure", W.measure, () => this.#calibrate(this.method?.value ?? "tone", numberOf(this.volts?.value ?? "") ?? 0));
    root.append(h("section", { class: "sound-part" }, h("h3", {}, W.level), this.levelNow,
      h("label", { class: "field" }, h("span", {}, W.iConnect), this.method),
      h("label", { class: "field" }, h("span", {}, W.itsVoltage), h("span", { class: "with-unit" }, this.volts, h("span", {}, "V"))),
      this.methodHint, h("div", { class: "row" }, this.measureLevel)));
    this.#methodText();
  }

  #methodText() {
    if (!this.methodHint || !this.method) return;
    setText(this.methodHint, this.method.value === "tone" ? W.feedTheToneToThe
      : W.withNothingElseOnThe);
  }

  /** @param {HTMLElement} root */
  #coupling(root) {
    this.couplingNow = h("p", { "data-testid": "coupling-now" });
    this.cost = h("p", { class: "hint", "data-testid": "coupling-cost" });
    this.undo = h("input", { type: "checkbox", id: "coupling-undo", "data-testid": "coupling-undo" });
    this.corner = numberField("coupling-corner");
    this.floor = select("coupling-floor", [["0.02", W.n002HzMostFaithful], ["0.05", "0.05 Hz"], ["0.1", "0.1 Hz"], ["0.2", W.n02HzQuickestTo]], () => this.#setCoupling());
    this.undo.addEventListener("change", () => this.#setCoupling());
    this.corner.addEventListener("change", () => this.#setCoupling());
    root.append(h("section", { class: "sound-part" }, h("h3", {}, W.undoTheSoundCardsHigh),
      h("p", { class: "hint" }, W.aCapacitorInTheSound),
      this.couplingNow, this.cost,
      h("div", { class: "row" }, button("coupling-measure", W.measureByAStep, () => this.#calibrate("step", 0))),
      h("p", { class: "hint" }, W.connectADirectVoltageTo),
      h("label", { class: "check" }, this.undo, h("span", {}, W.undoIt)),
      h("label", { class: "field" }, h("span", {}, W.corner), h("span", { class: "with-unit" }, this.corner, h("span", {}, "Hz"))),
      h("label", { class: "field" }, h("span", {}, W.downTo), this.floor)));
  }

  /** @param {HTMLElement} root */
  #response(root) {
    const missing = AudioInput.missing();
    this.device = h("select", { id: "response-device", "data-testid": "response-device" }, missing ? null : h("option", { value: "" }, W.theBrowsersDefaultInput));
    this.level = select("response-level", [["0.02", W.n2OfFullScale], ["0.1", "10 %"], ["0.3", "30 %"], ["0.7", "70 %"]], () => {});
    this.level.value = "0.1";
    this.seconds = select("response-seconds", [["5", W.n5SAQuickLook], ["20", "20 s"], ["60", W.n60SLeastNoise]], () => this.#closeBench());
    this.seconds.value = "20";
    this.openBench = button("response-open", W.openTheSoundCard, () => this.#openBench());
    this.loop = button("response-loop", W.n1LoopBackRun, () => this.#run("loop"), { disabled: true });
    this.board = button("response-board", W.n2RunThroughTheBoard, () => this.#run("board"), { disabled: true });
    this.stopRun = button("response-stop", W.stop, () => this.bench.stop(), { hidden: true });
    this.bar = h("progress", { max: "1", value: "0", "aria-label": W.progressOfTheRun, hidden: true });
    this.said = h("p", { class: "hint", role: "status", "data-testid": "response-said" });
    this.corners = h("p", { class: "readout", "data-testid": "response-corners" });
    this.gainChart = h("div", { class: "chart" });
    this.phaseChart = h("div", { class: "chart small" });
    this.legend = h("p", { class: "hint" });
    this.plots = h("div", { class: "extra", hidden: true }, this.corners, this.gainChart, this.phaseChart, this.legend);
    this.gainPlot = new Plot(this.gainChart, { label: W.gainOfTheBoardAgainst });
    this.phasePlot = new Plot(this.phaseChart, { label: W.phaseOfTheBoardAgainst });
    root.append(h("section", { class: "sound-part" }, h("h3", {}, W.frequencyResponseOfABoard),
      h("p", { class: "warning" }, W.neverWithAPersonConnected),
      missing ? h("p", { class: "hint" }, missing) : null, h("div", { class: "extra" },
        h("label", { class: "field" }, h("span", {}, W.input), this.device), h("label", { class: "field" }, h("span", {}, W.outputLevel), this.level),
        h("label", { class: "field" }, h("span", {}, W.oneSweepLasts), this.seconds),
        h("p", { class: "hint" }, W.firstJoinOutputAndInput),
        h("div", { class: "row" }, this.openBench, this.loop, this.board, this.stopRun), this.bar, this.said),
      this.plots));
    void this.#listCards();
  }

  /** The sound cards of a program that was built with them. */
  async #listCards() {
    try {
      this.cards = (await api.sources()).sounds;
      if (!this.over) this.device?.append(...this.#cardOptions());
    } catch {
      // A watcher's page, or no answer: the browser's input remains.
    }
  }

  #cardOptions() {
    return this.cards.map((c) => h("option", { value: CARD + c.name }, W.ofTheProgramItself(c.name)));
  }

  #channel() {
    return this.ctx.store.state.server?.channels[this.ctx.channel()];
  }

  /** @param {PageState} state */
  changed(state) {
    const server = state.server;
    const channel = this.#channel();
    const owner = state.owner;
    // A watcher sees what the sound is, not what is measured of it.
    for (const part of [...this.root.children].slice(1)) if (part instanceof HTMLElement) part.hidden = !owner;
    const address = server?.source?.address ?? "";
    const isSound = address.startsWith("sound:");
    setText(this.what, !server ? "" : isSound ? `${server.source.name}. ${server.health?.detail ? sentence(server.health.detail) : ""}` : W.thePresentSourceIsNot);
    setText(this.shape, isSound && channel && !channel.coupling ? DISTORTED : "");
    this.shape.hidden = this.shape.textContent === "";
    const audio = this.ctx.audio.state;
    setText(this.sending, audio.text);
    this.sending.hidden = audio.text === "";
    this.stop.hidden = audio.state !== "on";
    if (!channel || !this.levelNow || !this.couplingNow || !this.undo || !this.corner || !this.floor || !this.cost) return;
    const s = channel.scale;
    setText(this.levelNow, s.source === "fullscale" ? W.fullScaleIsAsMeasured(quantity(s.fullScaleVolts, "V")) : isSound ? W.unknownTheTraceIsIn : "");
    const c = channel.coupling;
    setText(this.couplingNow, c ? W.cornerHzUndoneDownTo(significant(c.cornerHz, 3), significant(c.floorHz, 2), decibels(c.gainDb)) : W.off);
    setText(this.cost, costText(channel, state.meters[this.ctx.channel()]));
    if (document.activeElement !== this.corner && c) this.corner.value = String(Number(c.cornerHz.toPrecision(3)));
    this.undo.checked = c !== null && c !== undefined;
    if (c && document.activeElement !== this.floor) this.floor.value = [...this.floor.options].reduce((best, o) => (Math.abs(Number(o.value) - c.floorHz) < Math.abs(Number(best) - c.floorHz) ? o.value : best), "0.05");
    for (const e of [this.measureLevel, this.undo, this.corner, this.floor]) if (e) e.disabled = !owner;
  }

  /** @param {import("../types.js").Message} m */
  message(m) {
    const channel = this.#channel();
    if (m.type === "meters" && m.channel === this.ctx.channel() && channel && this.cost) setText(this.cost, costText(channel, m.report));
  }

  /** @param {unknown} e */
  #failed(e) {
    if (!this.over) setText(this.error, e instanceof Error ? e.message : String(e));
  }

  /**
   * @param {string} method
   * @param {number} volts
   */
  async #calibrate(method, volts) {
    setText(this.error, "");
    try {
      const got = await request("POST", `/channels/${this.ctx.channel()}/calibration`, { method, volts });
      const parts = [];
      if (got.fullScaleVolts > 0) parts.push(W.fullScaleIs(quantity(got.fullScaleVolts, "V")));
      if (got.step) parts.push(W.theCouplingsCornerIsHz(significant(got.step.cornerHz, 3)));
      this.ctx.announce(parts.join(", ") + ".");
    } catch (e) {
      this.#failed(e);
    }
  }

  async #setCoupling() {
    const channel = this.#channel();
    if (!channel || !this.undo || !this.corner || !this.floor) return;
    setText(this.error, "");
    const hz = numberOf(this.corner.value) ?? 0;
    if (this.undo.checked && !(hz > 0)) {
      setText(this.error, W.measureTheCornerOrWrite);
      this.undo.checked = false;
      return;
    }
    if (!this.undo.checked && !channel.coupling) return;
    const number = this.ctx.channel();
    try {
      const { scale } = (await api.state()).channels[number];
      await api.scale(number, { ...scale, couplingHz: this.undo.checked ? hz : 0, couplingFloorHz: Number(this.floor.value) });
    } catch (e) {
      this.#failed(e);
      this.changed(this.ctx.store.state);
    }
  }

  #closeBench() {
    void this.bench.close();
    if (this.loop) this.loop.disabled = true;
    if (this.board) this.board.disabled = true;
    if (this.said) setText(this.said, "");
  }

  async #openBench() {
    setText(this.error, "");
    if (!this.loop || !this.board || !this.said || !this.device || !this.seconds) return;
    const chosen = this.device.value;
    await this.bench.close();
    this.bench = chosen.startsWith(CARD) ? new CardBench() : new ResponseBench();
    this.bench.seconds = Number(this.seconds.value);
    try {
      setText(this.said, W.opening);
      await this.bench.start(chosen.startsWith(CARD) ? chosen.slice(CARD.length) : chosen);
      if (!chosen.startsWith(CARD)) {
        const list = await this.ctx.audio.list();
        fill(this.device, h("option", { value: "" }, W.theBrowsersDefaultInput), ...list.map((d) => h("option", { value: d.id }, d.name)), ...this.#cardOptions());
        this.device.value = chosen;
      }
      this.loop.disabled = this.board.disabled = false;
      setText(this.said, this.bench.warning || W.openKeepItOpenFor);
    } catch (e) {
      setText(this.said, "");
      this.#failed(e);
    }
  }

  /** @param {"loop"|"board"} kind */
  async #run(kind) {
    const { loop, board, stopRun, bar, said, level } = this;
    if (!loop || !board || !stopRun || !bar || !said || !level) return;
    setText(this.error, "");
    loop.disabled = board.disabled = true;
    stopRun.hidden = bar.hidden = false;
    setText(said, kind === "loop" ? W.loopBackRun : W.runThroughTheBoard);
    try {
      const got = await this.bench.run(kind, Number(level.value), (share) => (bar.value = share));
      setText(said, W.peak(kind === "loop" ? "Loop-back" : W.board, got.level, kind === "loop" ? W.nowPutTheBoardBetween : ""));
      await this.#show();
    } catch (e) {
      setText(said, "");
      this.#failed(e);
    } finally {
      loop.disabled = board.disabled = !this.bench.open;
      stopRun.hidden = bar.hidden = true;
    }
  }

  async #show() {
    if (!this.ctx.store.state.owner) return;
    try {
      const [state, path] = await Promise.all([request("GET", "/response"), api.response(this.ctx.channel(), 300).catch(() => null)]);
      if (this.over) return;
      this.measured = state.response;
      this.pathResponse = path;
      this.#draw();
    } catch (e) {
      if (this.ctx.store.state.owner) this.#failed(e);
    }
  }

  #draw() {
    const m = this.measured;
    if (!this.plots || !this.gainPlot || !this.phasePlot || !this.corners || !this.legend) return;
    this.plots.hidden = m === null;
    if (!m) return;
    const x = { low: 0.5, high: 2000, log: true, unit: "Hz", label: "frequency" };
    const path = this.pathResponse;
    const gains = [...m.gainDb, ...(path ? path.whole.gainDb.filter((g) => Number.isFinite(g)) : [])];
    const top = Math.ceil((Math.max(...gains) + 3) / 10) * 10;
    const low = Math.max(top - 100, Math.floor((Math.min(...m.gainDb) - 3) / 10) * 10);
    const curves = [];
    if (path) curves.push({ x: path.freqHz, y: path.whole.gainDb, colour: "faint", width: 1.6, dash: [7, 4] });
    curves.push({ x: m.freqHz, y: m.gainDb, colour: "trace3", width: 2 });
    this.gainPlot.set(x, { low, high: top, unit: "dB", label: "gain" }, curves, m.corners.slice(0, 6).map((c) => ({ x: c.freqHz })));
    const trusted = m.freqHz.map((_, i) => i).filter((i) => m.freqHz[i] >= m.trustedLowHz && m.freqHz[i] <= m.trustedHighHz);
    const phase = trusted.map((i) => m.phaseDegrees[i]); // of noise it is a random walk
    const least = phase.length ? Math.floor(Math.min(...phase) / 45) * 45 : -45;
    const most = phase.length ? Math.ceil(Math.max(...phase) / 45) * 45 : 0;
    this.phasePlot.set(x, { low: least, high: Math.max(most, least + 45), unit: "°", label: "phase" }, [{ x: trusted.map((i) => m.freqHz[i]), y: phase, colour: "trace3", width: 2 }]);
    setText(this.corners, cornersText(m));
    const doubt = m.trust.filter((t) => t < 0.98).length;
    setText(this.legend, W.solidTheBoardDotted3(path ? W.dashedThePathInSoftware : "", doubt > m.freqHz.length / 20 ? W.atOfFrequenciesNoiseOr(doubt, m.freqHz.length) : ""));
  }

  destroy() {
    this.over = true;
    void this.bench.close();
    this.gainPlot?.destroy();
    this.phasePlot?.destroy();
  }
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "sound", title: W.soundInput, key: "u", create: (root, ctx) => new SoundPanel(root, ctx) };
