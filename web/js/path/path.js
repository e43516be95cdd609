// The signal path as the control: blocks on a wire with probes between them.

import { BoardStrip } from "../board/strip.js";
import { term } from "../glossary.js";
import { button, fill, h, select, setText } from "../dom.js";
import { duration, quantity, rate, significant } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { POINT_TITLES } from "../theme.js";
import { delayAt, removed } from "./removed.js";
import { hasProbe } from "./probes.js";

/** @import {Channel, Kind, PathResponse, PathSettings, Probe, Reading, ServerState} from "../types.js" */
/** @import {BoardModel} from "../board/model.js" */
/** @import {Palette} from "../theme.js" */
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
 * @property {Palette} palette
 * @property {BoardModel} board
 * @property {() => void} openParts the drawer of the board's parts
 * @property {(channel: number) => void} chooseChannel
 * @property {(channel: number, path: PathSettings, label: string) => void} setPath
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
    this.palette = options.palette;
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
    this.tabs = h("div", { class: "tabs", role: "tablist", "aria-label": "Channel" });
    const preset = (/** @type {Kind} */ kind, /** @type {string} */ name, /** @type {string} */ what) => button(`preset-${kind}`, name, () => o.setPreset(this.channel, kind), { class: "quiet owner-only", "aria-label": `Path for a ${name.toLowerCase()}`, title: what });
    this.presets = h("span", { class: "presets" }, h("span", { class: "presets-word" }, "Preset:"), preset("pulse", "Finger", "Pulse: drift below 0.3 Hz, hum, and above 15 Hz removed"), preset("ecg", "Chest", "ECG: drift below 0.5 Hz, hum with harmonics, and above 40 Hz removed"));
    /** For buttons of others. */
    this.tools = h("span", {});
    this.undoButton = button("undo", "Undo", o.undo, { class: "quiet", disabled: true, title: "Undo the last setting (Ctrl Z)" });
    this.redoButton = button("redo", "Redo", o.redo, { class: "quiet", disabled: true, title: "Redo it (Ctrl Shift Z)" });
    this.foldButton = button("path-fold", "Fold", () => this.fold(!this.folded), { class: "quiet", "aria-expanded": "true", "aria-controls": "path-strip", title: "Give the trace the path's room, and back (d)" });
    this.head = h("div", { class: "path-head" }, h("h2", {}, "Signal path"), this.tabs, this.presets, h("span", { class: "spring" }), this.tools, this.undoButton, this.redoButton, this.foldButton);

    this.sourceName = h("p", { class: "strong", "data-testid": "path-source" });
    this.sourceRate = h("p", { class: "small" });
    this.sourceHealth = h("p", { class: "small" });
    const source = this.#block("source", "Source", [this.sourceName, this.sourceRate, this.sourceHealth, button("path-open-source", "Choose …", o.openSource, { class: "small-button" })]);

    this.scaleText = h("p", { class: "strong", "data-testid": "scale-text" });
    this.scaleMore = h("p", { class: "small" });
    this.kindSelect = select("kind", [["pulse", "pulse"], ["ecg", "ECG"], ["other", "other"]], (v) => o.setKind(this.channel, /** @type {Kind} */ (v)), { "aria-label": "Kind of signal" });
    const scale = this.#block("scale", "Scale", [this.scaleText, this.scaleMore, button("scale-open", "Set volts …", () => o.openScale(this.channel), { class: "small-button" })]);

    this.driftOn = this.#check("drift-on", "Remove drift", (on) => this.#change((p) => (p.drift.on = on), on ? "drift on" : "drift off"));
    this.driftCut = this.#number("drift-cutoff", "below", "Hz", 0.05, (v) => this.#change((p) => (p.drift.cutoffHz = v), "drift cutoff"));
    this.driftOrder = select("drift-order", orders(4), (v) => this.#change((p) => (p.drift.order = Number(v)), "drift order"), { "aria-label": "Order of the high-pass" });
    this.driftCurve = h("div", { class: "curve" });
    this.driftAway = h("p", { class: "away", "data-testid": "drift-removed" });
    const drift = this.#block("drift", "Drift", [h("div", { class: "row" }, this.driftCut.row, this.driftOrder), this.driftCurve, this.driftAway], this.driftOn.row);

    this.humMode = select("hum-mode", [["off", "off"], ["notch", "notch"], ["cancel", "canceller"]], (v) => this.#change((p) => (p.hum.mode = /** @type {any} */ (v)), "hum " + v), { "aria-label": "How hum is removed" });
    this.humFreq = select("hum-freq", [["0", "found"], ["50", "50 Hz"], ["60", "60 Hz"], ["100", "100 Hz"], ["120", "120 Hz"]], (v) => this.#change((p) => (p.hum.freqHz = Number(v)), "hum frequency"), { "aria-label": "Hum frequency" });
    this.humWidth = this.#number("hum-bandwidth", "width", "Hz", 0.5, (v) => this.#change((p) => (p.hum.bandwidthHz = v), "hum width"));
    this.humHarmonics = select("hum-harmonics", [1, 2, 3, 4, 5, 6, 7].map((n) => [String(n), `× ${n}`]), (v) => this.#change((p) => (p.hum.harmonics = Number(v)), "hum harmonics"), { "aria-label": "Harmonics", title: "Fundamental and its multiples" });
    this.humCurve = h("div", { class: "curve" });
    this.humAway = h("p", { class: "away", "data-testid": "hum-removed" });
    const hum = this.#block("hum", "Hum", [h("div", { class: "row" }, this.humFreq, this.humHarmonics, this.humWidth.row), this.humCurve, this.humAway], this.humMode);

    this.smoothShape = select("smooth-shape", [["off", "off"], ["rc", "RC"], ["butterworth", "Butterworth"]], (v) => this.#change((p) => (p.smooth.shape = /** @type {any} */ (v)), "smooth " + v), { "aria-label": "Shape of the low-pass" });
    this.smoothCut = this.#number("smooth-cutoff", "above", "Hz", 1, (v) => this.#change((p) => (p.smooth.cutoffHz = v), "smooth cutoff"));
    this.smoothOrder = select("smooth-order", orders(8), (v) => this.#change((p) => (p.smooth.order = Number(v)), "smooth order"), { "aria-label": "Order of the low-pass" });
    this.smoothCurve = h("div", { class: "curve" });
    this.smoothAway = h("p", { class: "away", "data-testid": "smooth-removed" });
    const smooth = this.#block("smooth", "Smooth", [h("div", { class: "row" }, this.smoothCut.row, this.smoothOrder), this.smoothCurve, this.smoothAway], this.smoothShape);

    this.beatsText = h("p", { class: "strong", "data-testid": "path-rate" });
    this.beatsMore = h("p", { class: "small" });
    const beats = this.#block("beats", "Beats", [this.beatsText, this.beatsMore], this.kindSelect);

    /** @type {HTMLButtonElement[]} */
    this.dots = POINT_TITLES.map((title, point) => {
      const name = ["scale", "drift", "hum", "smooth", "beats"][point];
      const b = h("button", { type: "button", class: `probe probe-${point}`, id: `probe-${name}`, "data-testid": `probe-${name}`, "aria-pressed": "false", "aria-label": `Probe ${point + 1}, ${title}`, title: `Probe ${title} (${point + 1})` }, h("span", { class: "probe-dot" }), h("span", { class: "probe-number", "aria-hidden": "true" }, String(point + 1)));
      b.addEventListener("click", () => o.toggleProbe({ channel: this.channel, point }));
      return b;
    });
    const wire = () => h("span", { class: "wire", "aria-hidden": "true" });
    this.boardStrip = new BoardStrip({ palette: this.palette, board: o.board, openParts: o.openParts });
    this.strip = h("div", { class: "strip", id: "path-strip" },
      this.boardStrip.root, wire(), source, wire(), scale, this.#node(0), drift, this.#node(1), hum, this.#node(2), smooth, this.#node(3), beats, this.#node(4));
    this.root.append(this.head, this.strip);
    const plot = (/** @type {HTMLElement} */ root, /** @type {string} */ label) => new Plot(root, { palette: this.palette, label, bare: true });
    this.folded = false;
    if (prefs.get("path folded", false)) this.fold(true);
    this.plots = { drift: plot(this.driftCurve, "Response of the drift stage"), hum: plot(this.humCurve, "Response of the hum stage"), smooth: plot(this.smoothCurve, "Response of the smooth stage") };
  }

  /** @param {boolean} folded */
  fold(folded) {
    this.folded = folded;
    if (this.strip) this.strip.hidden = folded;
    if (this.foldButton) {
      setText(this.foldButton, folded ? "Unfold" : "Fold");
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
    const input = h("input", { type: "number", id, "data-testid": id, min: "0", step: "any", inputmode: "decimal", "aria-label": `${word} ${unit}` });
    input.addEventListener("change", () => {
      const v = Number(input.value);
      if (input.value.trim() !== "" && Number.isFinite(v) && v > 0) action(v);
      else this.update(this.server, this.probes, this.owner);
    });
    input.addEventListener("keydown", (e) => {
      if (e.key !== "ArrowUp" && e.key !== "ArrowDown") return;
      e.preventDefault();
      const v = Number(input.value) || step;
      const by = e.key === "ArrowUp" ? 1.1 : 1 / 1.1;
      input.value = String(Number((v * by).toPrecision(2)) === v ? Number((v * by * by).toPrecision(3)) : Number((v * by).toPrecision(2)));
      input.dispatchEvent(new Event("change"));
    });
    return { input, row: h("label", { class: "number" }, h("span", {}, word), input, h("span", {}, unit)) };
  }

  /**
   * @param {(path: PathSettings) => void} edit
   * @param {string} label
   */
  #change(edit, label) {
    const now = this.server?.channels[this.channel]?.path;
    if (!now) return;
    const next = structuredClone(now);
    edit(next);
    this.options.setPath(this.channel, next, label);
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
    const thin = server.decimation > 1 ? `, shown at ${rate(server.rateHz, 4)}` : "";
    setText(this.sourceRate, `${rate(used)}${thin}`);
    const bad = server.health?.unreadable ?? 0;
    const detail = server.health?.detail ?? "";
    const advice = detail.split("; ").find((part) => part.startsWith("lines such as"));
    setText(this.sourceHealth, advice ?? (bad > 0 ? `${bad.toLocaleString("en")} unreadable lines` : detail));
  }

  /**
   * @param {Channel} channel
   * @param {boolean} sound it comes from a sound input
   */
  #showScale(channel, sound) {
    if (!this.scaleText || !this.scaleMore) return;
    const s = channel.scale;
    let text = "counts, scale unknown";
    if (s.source === "converter") text = `${significant(s.referenceVolts, 3)}\u00a0V over ${s.bits}\u00a0bits`;
    else if (s.source === "board" && channel.unit !== "counts") text = `${channel.unit === "V" ? "Volts" : channel.unit}, given by the source`;
    setText(this.scaleText, text);
    /** @type {string[]} */
    const more = [];
    if (channel.stepVolts) more.push(`step ${quantity(channel.stepVolts, channel.unit)}`);
    if (s.gain !== 1 && s.gain) more.push(`gain ${significant(s.gain, 3)} divided out`);
    if (s.invert) more.push("inverted");
    if (s.supplyHighVolts !== null && s.supplyHighVolts !== undefined) more.push(`rails ${significant(s.supplyLowVolts ?? 0, 3)}…${significant(s.supplyHighVolts, 3)}\u00a0V`);
    if (s.source === "fullscale") setText(this.scaleText, `${quantity(s.fullScaleVolts, "V")} full scale`);
    if (channel.coupling) more.push(`${significant(channel.coupling.cornerHz, 2)}\u00a0Hz coupling undone`);
    else if (sound) more.push("Shape distorted by the sound card, timing usable.");
    setText(this.scaleMore, more.join(" · ") || (channel.unit === "counts" ? "Enter reference and bits to see volts." : ""));
  }

  /**
   * @param {Channel} channel
   * @param {boolean} owner
   */
  #showSettings(channel, owner) {
    const p = channel.path;
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
    if (found) setText(found, channel.humHz && p.hum.freqHz === 0 ? `auto: ${significant(channel.humHz, 3)} Hz` : "auto");
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
    const colours = this.channel % 2 === 1 ? this.palette.others : this.palette.traces;
    this.plots.drift.set(x, y, [{ x: r.freqHz, y: r.drift.gainDb, colour: colours[1] }], rules);
    this.plots.hum.set(x, y, [{ x: r.freqHz, y: r.hum.gainDb, colour: colours[2] }], rules);
    this.plots.smooth.set(x, y, [{ x: r.freqHz, y: r.smooth.gainDb, colour: colours[3] }], rules);
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
    if (this.driftAway) setText(this.driftAway, p.drift.on ? d.count === 0 ? "measuring …" : `removed: ${quantity(d.mean, channel.unit)} offset, ${quantity(d.rms, channel.unit, 2)} rms drift` : "removes nothing");
    const u = removed(rings, this.channel, 2, from, to, lag("hum"));
    if (this.humAway) setText(this.humAway, p.hum.mode !== "off" ? u.count === 0 ? "measuring …" : `removed: ${quantity(u.rms, channel.unit, 2)} rms hum` : "removes nothing");
    const s = removed(rings, this.channel, 3, from, to, lag("smooth"));
    const late = r && p.smooth.shape !== "off" ? `; delays the trace by ${duration(delayAt(r.freqHz, r.smooth.delaySeconds, atHz))}` : "";
    if (this.smoothAway) setText(this.smoothAway, p.smooth.shape !== "off" ? s.count === 0 ? "measuring …" : `removed: ${quantity(s.rms, channel.unit, 2)} rms${late}` : "removes nothing");
  }

  /** @param {Reading|undefined} reading */
  showReading(reading) {
    const channel = this.server?.channels[this.channel];
    if (!this.beatsText || !this.beatsMore) return;
    setText(this.beatsText, reading?.state === "reading" ? `${Math.round(reading.rateBpm)}\u00a0bpm` : (reading?.state ?? "–"));
    const late = channel?.latencySeconds ? `Found in the signal at probe 1. The filters only change what is drawn. A beat appears at most ${significant(Math.ceil(channel.latencySeconds * 10) / 10, 2)}\u00a0s late.` : "";
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

  /** @param {Palette} palette */
  setPalette(palette) {
    this.palette = palette;
    for (const p of Object.values(this.plots ?? {})) p.palette = palette;
    this.boardStrip?.setPalette(palette);
    this.#drawCurves();
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
  return Array.from({ length: most }, (_, i) => [String(i + 1), `order ${i + 1}`]);
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
