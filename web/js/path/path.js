// The signal path as the control: blocks on a wire with probes between them.

import { BoardStrip } from "../board/strip.js";
import { term } from "../glossary.js";
import { button, byArrows, fill, h, numberField, select, setText } from "../dom.js";
import { duration, numberOf, quantity, rate, significant } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { POINT_TITLES } from "../theme.js";
import { delayAt, removed } from "./removed.js";
import { hasProbe } from "./probes.js";
import { pathWords as W } from "../words.js";

/** @import {Channel, Kind, PathResponse, PathSettings, Probe, Reading, ServerState} from "../types.js" */
/** @import {BoardModel} from "../board/model.js" */
/** @import {Rings} from "../rings.js" */

const RESPONSE_POINTS = 160;
/** What was taken away is measured over so many seconds. */
const MEASURED_SECONDS = 4;
/** Where delay is taken, in the middle of what matters of each kind. */
const DELAY_AT_HZ = { pulse: 3, ecg: 12, other: 5 };
const CURVE_LOW_DB = -42;
const CURVE_HIGH_DB = 4;

/**
 * @typedef {object} PathOptions
 * @property {BoardModel} board
 * @property {() => void} openParts the drawer of the board's parts
 * @property {(channel: number) => void} chooseChannel
 * @property {(edit: import("./sending.js").Edit) => void} setPath
 * @property {(channel: number) => PathSettings|undefined} pathNow with what is on its way
 * @property {(channel: number, kind: Kind) => void} setKind
 * @property {(channel: number, kind: Kind) => void} setPreset
 * @property {(probe: Probe) => void} toggleProbe
 * @property {(channel: number) => void} openScale
 * @property {() => void} openSource
 * @property {() => void} undo
 * @property {() => void} redo
 * @property {(channel: number, points: number) => Promise<PathResponse>} response
 */

/** What each block's dotted title explains. @type {Record<string, string[]>} */
const TERMS = {
  scale: ["count", "midrail"],
  drift: ["drift", "highpass", "order"],
  hum: ["hum", "notch", "canceller", "rms"],
  smooth: ["lowpass", "butterworth", "rc", "order", "delay"],
  beats: ["beat", "rpeak", "foot", "rr"],
};

export class PathPanel {
  /**
   * @param {HTMLElement} root
   * @param {PathOptions} options
   */
  constructor(root, options) {
    this.root = root;
    this.options = options;
    this.channel = 0;
    /** @type {ServerState|null} */
    this.server = null;
    /** @type {Probe[]} */
    this.probes = [];
    /** @type {PathResponse|null} */
    this.curves = null;
    this.curvesFor = "";
    this.owner = true;
    this.#build();
  }

  #build() {
    const o = this.options;
    this.tabs = h("div", { class: "tabs", role: "tablist", "aria-label": W.channel });
    const preset = (/** @type {Kind} */ kind, /** @type {string} */ name, /** @type {string} */ what) => button(`preset-${kind}`, name, () => o.setPreset(this.channel, kind), { class: "quiet owner-only", "aria-label": W.pathForA(name.toLowerCase()), title: what });
    this.presets = h("span", { class: "presets" }, h("span", { class: "presets-word" }, W.preset), preset("pulse", W.finger, W.pulseDriftBelow03), preset("ecg", W.chest, W.ecgDriftBelow05));
    /** For buttons of others. */
    this.tools = h("span", {});
    this.undoButton = button("undo", W.undo, o.undo, { class: "quiet", disabled: true, title: W.undoTheLastSettingCtrl });
    this.redoButton = button("redo", W.redo, o.redo, { class: "quiet", disabled: true, title: W.redoItCtrlShiftZ });
    this.foldButton = button("path-fold", W.fold, () => this.fold(!this.folded), { class: "quiet", "aria-expanded": "true", "aria-controls": "path-strip", title: W.giveTheTraceThePaths });
    this.head = h("div", { class: "path-head" }, h("h2", {}, W.signalPath), this.tabs, this.presets, h("span", { class: "spring" }), this.tools, this.undoButton, this.redoButton, this.foldButton);

    this.sourceName = h("p", { class: "strong", "data-testid": "path-source" });
    this.sourceRate = h("p", { class: "small" });
    this.sourceHealth = h("p", { class: "small" });
    const source = this.#block("source", W.source, [this.sourceName, this.sourceRate, this.sourceHealth, button("path-open-source", W.choose, o.openSource, { class: "small-button" })]);

    this.scaleText = h("p", { class: "strong", "data-testid": "scale-text" });
    this.scaleMore = h("p", { class: "small" });
    this.kindSelect = select("kind", [["pulse", "pulse"], ["ecg", "ECG"], ["other", "other"]], (v) => o.setKind(this.channel, /** @type {Kind} */ (v)), { "aria-label": W.kindOfSignal });
    const scale = this.#block("scale", W.scale, [this.scaleText, this.scaleMore, button("scale-open", W.setVolts, () => o.openScale(this.channel), { class: "small-button" })]);

    this.driftOn = this.#check("drift-on", W.removeDrift, (on) => this.#change((p) => (p.drift.on = on), on ? W.driftOn : W.driftOff));
    this.driftCut = this.#number("drift-cutoff", "below", "Hz", 0.05, (v) => this.#change((p) => (p.drift.cutoffHz = v), W.driftCutoff));
    this.driftOrder = select("drift-order", orders(4), (v) => this.#change((p) => (p.drift.order = Number(v)), W.driftOrder), { "aria-label": W.orderOfTheHighPass });
    this.driftCurve = h("div", { class: "curve" });
    this.driftAway = h("p", { class: "away", "data-testid": "drift-removed" });
    const drift = this.#block("drift", W.drift, [h("div", { class: "row" }, this.driftCut.row, this.driftOrder), this.driftCurve, this.driftAway], this.driftOn.row);

    this.humMode = select("hum-mode", [["off", "off"], ["notch", "notch"], ["cancel", "canceller"]], (v) => this.#change((p) => (p.hum.mode = /** @type {typeof p.hum.mode} */ (v)), "hum " + v), { "aria-label": W.howHumIsRemoved });
    this.humFreq = select("hum-freq", [["0", "found"], ["50", "50 Hz"], ["60", "60 Hz"], ["100", "100 Hz"], ["120", "120 Hz"]], (v) => this.#change((p) => (p.hum.freqHz = Number(v)), W.humFrequency), { "aria-label": W.humFrequency2 });
    this.humWidth = this.#number("hum-bandwidth", "width", "Hz", 0.5, (v) => this.#change((p) => (p.hum.bandwidthHz = v), W.humWidth));
    this.humHarmonics = select("hum-harmonics", [1, 2, 3, 4, 5, 6, 7].map((n) => [String(n), `× ${n}`]), (v) => this.#change((p) => (p.hum.harmonics = Number(v)), W.humHarmonics), { "aria-label": W.harmonics, title: W.fundamentalAndItsMultiples });
    this.humCurve = h("div", { class: "curve" });
    this.humAway = h("p", { class: "away", "data-testid": "hum-removed" });
    const hum = this.#block("hum", W.hum, [h("div", { class: "row" }, this.humFreq, this.humHarmonics, this.humWidth.row), this.humCurve, this.humAway], this.humMode);

    this.smoothShape = select("smooth-shape", [["off", "off"], ["rc", "RC"], ["butterworth", W.butterworth]], (v) => this.#change((p) => (p.smooth.shape = /** @type {typeof p.smooth.shape} */ (v)), "smooth " + v), { "aria-label": W.shapeOfTheLowPass });
    this.smoothCut = this.#number("smooth-cutoff", "above", "Hz", 1, (v) => this.#change((p) => (p.smooth.cutoffHz = v), W.smoothCutoff));
    this.smoothOrder = select("smooth-order", orders(8), (v) => this.#change((p) => (p.smooth.order = Number(v)), W.smoothOrder), { "aria-label": W.orderOfTheLowPass });
    this.smoothCurve = h("div", { class: "curve" });
    this.smoothAway = h("p", { class: "away", "data-testid": "smooth-removed" });
    const smooth = this.#block("smooth", W.smooth, [h("div", { class: "row" }, this.smoothCut.row, this.smoothOrder), this.smoothCurve, this.smoothAway], this.smoothShape);

    this.beatsText = h("p", { class: "strong", "data-testid": "path-rate" });
    this.beatsMore = h("p", { class: "small" });
    const beats = this.#block("beats", W.beats, [this.beatsText, this.beatsMore], this.kindSelect);

    /** @type {HTMLButtonElement[]} */
    this.dots = POINT_TITLES.map((title, point) => {
      const name = ["scale", "drift", "hum", "smooth", "beats"][point];
      const b = h("button", { type: "button", class: `probe probe-${point}`, id: `probe-${name}`, "data-testid": `probe-${name}`, "aria-pressed": "false", "aria-label": W.probe(point + 1, title), title: W.probe2(title, point + 1) }, h("span", { class: "probe-dot" }), h("span", { class: "probe-number", "aria-hidden": "true" }, String(point + 1)));
      b.addEventListener("click", () => o.toggleProbe({ channel: this.channel, point }));
      return b;
    });
    const wire = () => h("span", { class: "wire", "aria-hidden": "true" });
    this.boardStrip = new BoardStrip({ board: o.board, openParts: o.openParts });
    this.strip = h("div", { class: "strip", id: "path-strip" },
      this.boardStrip.root, wire(), source, wire(), scale, this.#node(0), drift, this.#node(1), hum, this.#node(2), smooth, this.#node(3), beats, this.#node(4));
    this.root.append(this.head, this.strip);
    const plot = (/** @type {HTMLElement} */ root, /** @type {string} */ label) => new Plot(root, { label, bare: true });
    this.folded = false;
    if (prefs.get("path folded", false)) this.fold(true);
    this.plots = { drift: plot(this.driftCurve, W.responseOfTheDriftStage), hum: plot(this.humCurve, W.responseOfTheHumStage), smooth: plot(this.smoothCurve, W.responseOfTheSmoothStage) };
  }

  /** @param {boolean} folded */
  fold(folded) {
    this.folded = folded;
    if (this.strip) this.strip.hidden = folded;
    if (this.foldButton) {
      setText(this.foldButton, folded ? W.unfold : W.fold);
      this.foldButton.setAttribute("aria-expanded", String(!folded));
    }
    prefs.set("path folded", folded);
  }

  /** @param {number} point */
  #node(point) {
    return h("span", { class: `node node-${point}` }, this.dots?.[point]);
  }

  /**
   * @param {string} id
   * @param {string} title
   * @param {(Node|null)[]} content
   * @param {Node} [beside]
   */
  #block(id, title, content, beside) {
    return h("section", { class: `block block-${id}`, "aria-label": title, "data-testid": `block-${id}` }, h("div", { class: "block-head" }, h("h3", {}, TERMS[id] ? term(id, title, TERMS[id]) : title), beside ?? null), ...content);
  }

  /**
   * @param {string} id
   * @param {string} label
   * @param {(on: boolean) => void} action
   */
  #check(id, label, action) {
    const input = h("input", { type: "checkbox", id, "data-testid": id, "aria-label": label });
    input.addEventListener("change", () => action(input.checked));
    return { input, row: h("label", { class: "check", title: label }, input, h("span", { "aria-hidden": "true" }, "on")) };
  }

  /**
   * @param {string} id
   * @param {string} word
   * @param {string} unit
   * @param {number} step
   * @param {(value: number) => void} action
   */
  #number(id, word, unit, step, action) {
    const input = numberField(id, { "aria-label": `${word} ${unit}` });
    const typed = () => delete input.dataset.editing;
    input.addEventListener("input", () => (input.dataset.editing = "yes"));
    input.addEventListener("blur", typed);
    input.addEventListener("change", () => {
      typed();
      const v = numberOf(input.value) ?? 0;
      if (v > 0) action(v);
      else this.update(this.server, this.probes, this.owner);
    });
    byArrows(input, step);
    return { input, row: h("label", { class: "number" }, h("span", {}, word), input, h("span", {}, unit)) };
  }

  /**
   * @param {(path: PathSettings) => void} edit
   * @param {string} label
   */
  #change(edit, label) {
    if (this.server?.channels[this.channel]) this.options.setPath({ channel: this.channel, label, edit });
  }

  /**
   * Shows a state.
   * @param {ServerState|null} server
   * @param {Probe[]} probes
   * @param {boolean} owner
   */
  update(server, probes, owner) {
    this.server = server;
    this.probes = probes;
    this.owner = owner;
    const channels = server?.channels ?? [];
    if (this.channel >= channels.length) this.channel = 0;
    this.#showTabs(channels);
    const channel = channels[this.channel];
    this.root.classList.toggle("empty", !channel);
    this.root.classList.toggle("second", this.channel % 2 === 1);
    this.dots?.forEach((dot, point) => {
      const on = hasProbe(probes, { channel: this.channel, point });
      dot.setAttribute("aria-pressed", String(on));
    });
    if (!server || !channel) return;
    this.#showSource(server);
    this.#showScale(channel, server.source?.address?.startsWith("sound:") === true);
    this.#showSettings(channel, owner);
    this.#fetchCurves(channel, server);
  }

  /** @param {Channel[]} channels */
  #showTabs(channels) {
    if (!this.tabs) return;
    const key = channels.map((c) => c.label).join("\n") + this.channel;
    if (this.tabs.dataset.key === key) return;
    this.tabs.dataset.key = key;
    this.tabs.hidden = channels.length < 2;
    fill(this.tabs, ...channels.map((c, i) => h("button", { type: "button", role: "tab", "aria-selected": String(i === this.channel), "data-testid": `channel-${i}`, onclick: () => this.choose(i) }, c.label)));
  }

  /** @param {number} channel */
  choose(channel) {
    const n = this.server?.channels.length ?? 0;
    if (n === 0) return;
    this.channel = (channel + n) % n;
    this.options.chooseChannel(this.channel);
    this.update(this.server, this.probes, this.owner);
  }

  /** @param {ServerState} server */
  #showSource(server) {
    const clock = server.clock;
    if (!this.sourceName || !this.sourceRate || !this.sourceHealth) return;
    setText(this.sourceName, server.source?.name ?? "");
    const used = clock?.usedRateHz || server.sourceRateHz || server.rateHz;
    const thin = server.decimation > 1 ? W.shownAt(rate(server.rateHz, 4)) : "";
    setText(this.sourceRate, `${rate(used)}${thin}`);
    const bad = server.health?.unreadable ?? 0;
    const detail = server.health?.detail ?? "";
    const advice = detail.split("; ").find((part) => part.startsWith("lines such as"));
    setText(this.sourceHealth, advice ?? (bad > 0 ? W.unreadableLines(bad.toLocaleString("en")) : detail));
  }

  /**
   * @param {Channel} channel
   * @param {boolean} sound it comes from a sound input
   */
  #showScale(channel, sound) {
    if (!this.scaleText || !this.scaleMore) return;
    const s = channel.scale;
    let text = W.countsScaleUnknown;
    if (s.source === "converter") text = W.vOverBits(significant(s.referenceVolts, 3), s.bits);
    else if (s.source === "board" && channel.unit !== "counts") text = W.givenByTheSource(channel.unit === "V" ? W.volts : channel.unit);
    setText(this.scaleText, text);
    /** @type {string[]} */
    const more = [];
    if (channel.stepVolts) more.push(W.step(quantity(channel.stepVolts, channel.unit)));
    if (s.gain !== 1 && s.gain) more.push(W.gainDividedOut(significant(s.gain, 3)));
    if (s.invert) more.push("inverted");
    if (s.supplyHighVolts !== null && s.supplyHighVolts !== undefined) more.push(W.railsV(significant(s.supplyLowVolts ?? 0, 3), significant(s.supplyHighVolts, 3)));
    if (s.source === "fullscale") setText(this.scaleText, W.fullScale(quantity(s.fullScaleVolts, "V")));
    if (channel.coupling) more.push(W.hzCouplingUndone(significant(channel.coupling.cornerHz, 2)));
    else if (sound) more.push(W.shapeDistortedByTheSound);
    setText(this.scaleMore, more.join(" · ") || (channel.unit === "counts" ? W.enterReferenceAndBitsTo : ""));
  }

  /**
   * @param {Channel} channel
   * @param {boolean} owner
   */
  #showSettings(channel, owner) {
    const p = this.options.pathNow(this.channel) ?? channel.path;
    set(this.driftOn?.input, p.drift.on);
    value(this.driftCut?.input, p.drift.cutoffHz);
    value(this.driftOrder, p.drift.order);
    value(this.humMode, p.hum.mode);
    value(this.humFreq, p.hum.freqHz);
    if (this.humFreq && this.humFreq.value === "") {
      this.humFreq.append(h("option", { value: String(p.hum.freqHz) }, `${p.hum.freqHz} Hz`));
      this.humFreq.value = String(p.hum.freqHz);
    }
    const found = this.humFreq?.options[0];
    if (found) setText(found, channel.humHz && p.hum.freqHz === 0 ? W.autoHz(significant(channel.humHz, 3)) : "auto");
    value(this.humWidth?.input, p.hum.bandwidthHz);
    value(this.humHarmonics, p.hum.harmonics);
    value(this.smoothShape, p.smooth.shape);
    value(this.smoothCut?.input, p.smooth.cutoffHz);
    value(this.smoothOrder, p.smooth.order);
    value(this.kindSelect, channel.kind);
    this.root.querySelector(".block-drift")?.classList.toggle("off", !p.drift.on);
    this.root.querySelector(".block-hum")?.classList.toggle("off", p.hum.mode === "off");
    this.root.querySelector(".block-smooth")?.classList.toggle("off", p.smooth.shape === "off");
    for (const e of this.root.querySelectorAll(".strip input, .strip select, .small-button")) {
      if (e instanceof HTMLInputElement || e instanceof HTMLSelectElement || e instanceof HTMLButtonElement) e.disabled = !owner;
    }
    if (this.smoothOrder) this.smoothOrder.disabled = !owner || p.smooth.shape === "rc";
  }

  /**
   * @param {Channel} channel
   * @param {ServerState} server
   */
  #fetchCurves(channel, server) {
    const key = JSON.stringify([server.epoch, this.channel, channel.path, channel.humHz, Math.round(server.rateHz * 10)]);
    if (key === this.curvesFor) return;
    this.curvesFor = key;
    this.options.response(this.channel, RESPONSE_POINTS).then((r) => {
      if (key !== this.curvesFor) return;
      this.curves = r;
      this.#drawCurves();
    }, () => {
      this.curvesFor = "";
    });
  }

  #drawCurves() {
    const r = this.curves;
    const path = this.server?.channels[this.channel]?.path;
    if (!r || !this.plots || !path) return;
    const x = { low: r.freqHz[0], high: r.freqHz[r.freqHz.length - 1], log: true };
    const y = { low: CURVE_LOW_DB, high: CURVE_HIGH_DB };
    const rules = [{ y: 0 }];
    const colour = this.channel % 2 === 1 ? "other" : "trace";
    this.plots.drift.set(x, y, [{ x: r.freqHz, y: r.drift.gainDb, colour: colour + 1 }], rules);
    this.plots.hum.set(x, y, [{ x: r.freqHz, y: r.hum.gainDb, colour: colour + 2 }], rules);
    this.plots.smooth.set(x, y, [{ x: r.freqHz, y: r.smooth.gainDb, colour: colour + 3 }], rules);
  }

  /**
   * Measures what each stage takes away. Called about twice a second.
   * @param {Rings|null} rings
   */
  measure(rings) {
    const channel = this.server?.channels[this.channel];
    if (!rings || !channel || !this.server || rings.channels <= this.channel) return;
    const to = rings.end;
    const from = to - Math.round(MEASURED_SECONDS * this.server.rateHz);
    const atHz = DELAY_AT_HZ[channel.kind] ?? 5;
    const r = this.curves;
    const lag = (/** @type {"drift"|"hum"|"smooth"} */ stage) => (r ? Math.max(0, Math.round(delayAt(r.freqHz, r[stage].delaySeconds, atHz) * (this.server?.rateHz ?? 0))) : 0);
    const p = channel.path;
    const d = removed(rings, this.channel, 1, from, to, 0);
    if (this.driftAway) setText(this.driftAway, p.drift.on ? d.count === 0 ? "measuring …" : W.removedOffsetRmsDrift(quantity(d.mean, channel.unit), quantity(d.rms, channel.unit, 2)) : W.removesNothing);
    const u = removed(rings, this.channel, 2, from, to, lag("hum"));
    if (this.humAway) setText(this.humAway, p.hum.mode !== "off" ? u.count === 0 ? "measuring …" : W.removedRmsHum(quantity(u.rms, channel.unit, 2)) : W.removesNothing);
    const s = removed(rings, this.channel, 3, from, to, lag("smooth"));
    const late = r && p.smooth.shape !== "off" ? W.delaysTheTraceBy(duration(delayAt(r.freqHz, r.smooth.delaySeconds, atHz))) : "";
    if (this.smoothAway) setText(this.smoothAway, p.smooth.shape !== "off" ? s.count === 0 ? "measuring …" : W.removedRms(quantity(s.rms, channel.unit, 2), late) : W.removesNothing);
  }

  /** @param {Reading|undefined} reading */
  showReading(reading) {
    const channel = this.server?.channels[this.channel];
    if (!this.beatsText || !this.beatsMore) return;
    setText(this.beatsText, reading?.state === "reading" ? `${Math.round(reading.rateBpm)}\u00a0bpm` : (reading?.state ?? "–"));
    const late = channel?.latencySeconds ? W.foundInTheSignalAt(significant(Math.ceil(channel.latencySeconds * 10) / 10, 2)) : "";
    setText(this.beatsMore, late);
  }

  /**
   * @param {boolean} canUndo
   * @param {boolean} canRedo
   */
  showHistory(canUndo, canRedo) {
    if (this.undoButton) this.undoButton.disabled = !canUndo;
    if (this.redoButton) this.redoButton.disabled = !canRedo;
  }

  destroy() {
    for (const p of Object.values(this.plots ?? {})) p.destroy();
    this.boardStrip?.destroy();
    this.root.replaceChildren();
  }
}

/**
 * @param {number} most
 * @returns {[string, string][]}
 */
function orders(most) {
  return Array.from({ length: most }, (_, i) => [String(i + 1), W.order(i + 1)]);
}

/**
 * @param {HTMLInputElement|undefined} input
 * @param {boolean} on
 */
function set(input, on) {
  if (input) input.checked = on;
}

/**
 * Sets a control unless somebody is typing in it.
 * @param {HTMLInputElement|HTMLSelectElement|undefined} control
 * @param {string|number} v
 */
function value(control, v) {
  if (!control) return;
  if (control === document.activeElement && control instanceof HTMLInputElement && control.dataset.editing === "yes") return;
  const text = typeof v === "number" ? String(Number(v.toPrecision(6))) : v;
  if (control.value !== text) control.value = text;
}
