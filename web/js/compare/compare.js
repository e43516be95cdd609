// Compare: two recordings or two stretches beside each other, in words, as the
// typical beat, as spectra, as traces from a beat on, and in the Check drawer's figures.

import { request } from "../api.js";
import { sideBySide } from "../board/words.js";
import { button, fill, h, select, setText } from "../dom.js";
import { compare, SIGNS } from "../drawers/figures.js";
import { clockTime, prefixFor, significant } from "../format.js";
import { Plot } from "../plot.js";
import { save } from "../save.js";
import { library } from "../review/library.js";
import { decodePiece } from "../review/window.js";
import { differences, farApart, grades } from "./words.js";
import { AID, INVENTED } from "../words.js";
import { compareWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Detail, Entry, Stretch} from "../review/library.js" */
/** @import {Curve} from "../scene/chart.js" */
/** What is compared: samples [from, to) of a channel; to Infinity is the end. A channel below 0 is chosen to go with the other side. @typedef {{id: string, channel: number, from: number, to: number}} Side */

const NAMES = /** @type {const} */ (["A", "B"]);
const TRACE_SECONDS = 4;
/** Ahead of the beat that traces begin with. */
const LEAD_SECONDS = 0.4;
const MOST_TRACE_POINTS = 4000;
const LEAST_HZ = 0.25;

/** @type {CompareView|null} */
let view = null;

/**
 * Opens the comparison. One side given takes the place `as`, the other stays what it
 * was, or is another recording.
 * @param {DrawerContext} ctx
 * @param {Side[]} sides
 * @param {0|1} [as]
 */
export function openCompare(ctx, sides, as = 0) {
  view ??= new CompareView(ctx);
  void view.open(sides, as);
}

/**
 * Reads a place in time: seconds, m:ss or h:mm:ss; NaN when it is none.
 * @param {string} text
 */
export function parseTime(text) {
  const parts = text.trim().replace(",", ".").split(":");
  if (parts.length > 3 || parts.some((p) => !/^\d+(\.\d*)?$/.test(p))) return NaN;
  return parts.reduce((sum, p) => 60 * sum + Number(p), 0);
}

/**
 * What the boards of two sides differ in, part by part; empty when not both were drawn.
 * @param {SideForm[]} forms
 * @returns {Promise<string[]>}
 */
async function boardsApart(forms) {
  const drawn = forms.map((f) => f.detail?.channelDetails[f.side?.channel ?? 0]?.board);
  const whole = drawn.filter((b) => !!b);
  if (whole.length < drawn.length) return [];
  const [a, b] = await Promise.all(whole.map((board) => request("POST", "/board/figures", { board })));
  const list = sideBySide(a.parts, b.parts);
  return list.length > 0 ? list.map((s) => W.boards(s)) : [W.bothBoardsAreDrawnAlike];
}

/** One side's choices. */
class SideForm {
  /**
   * @param {"A"|"B"} name
   * @param {() => void} changed
   */
  constructor(name, changed) {
    this.name = name;
    this.changed = changed;
    /** @type {Detail|null} */
    this.detail = null;
    /** @type {Side|null} */
    this.side = null;
    const id = "compare-" + name.toLowerCase();
    this.pick = select(id, [], (v) => this.#recording(v), { "aria-label": W.recording(name) });
    this.channel = select(id + "-channel", [], (v) => {
      if (this.side) this.side.channel = Number(v);
      changed();
    }, { "aria-label": W.channelOf(name) });
    this.from = this.#time(id + "-from", W.beginsAt(name));
    this.to = this.#time(id + "-to", W.endsAt(name));
    this.whole = button(id + "-whole", "whole", () => {
      if (!this.side) return;
      this.side.from = 0;
      this.side.to = Infinity;
      this.#showTimes();
      changed();
    }, { class: "quiet", "aria-label": W.theWholeOf(name) });
    this.judged = h("p", { class: "hint" });
    this.save = h("p", { class: "row save" });
    this.root = h("fieldset", { class: `compare-side compare-${name}` }, h("legend", {}, h("span", { class: "compare-swatch", "aria-hidden": "true" }), name), this.pick, this.channel,
      h("div", { class: "row" }, h("label", { class: "pair" }, h("span", {}, "from"), this.from), h("label", { class: "pair" }, h("span", {}, "to"), this.to), this.whole), this.judged, this.save);
  }

  /**
   * @param {string} id
   * @param {string} label
   */
  #time(id, label) {
    const input = h("input", { type: "text", id, "data-testid": id, "aria-label": label, class: "compare-time", placeholder: "m:ss" });
    input.addEventListener("change", () => {
      const { side, detail } = this;
      if (!side || !detail) return;
      const from = parseTime(this.from.value);
      const to = this.to.value.trim() === "" ? Infinity : parseTime(this.to.value);
      input.setAttribute("aria-invalid", String(!(from >= 0 && to > from)));
      if (!(from >= 0 && to > from)) return;
      side.from = Math.round(from * detail.rateHz);
      side.to = to * detail.rateHz >= detail.samples ? Infinity : Math.round(to * detail.rateHz);
      this.changed();
    });
    return input;
  }

  /** Links that save what was judged. @param {Stretch} s */
  saves(s) {
    const { side, name } = this;
    if (!side) return;
    const link = (/** @type {string} */ what, /** @type {string} */ text) =>
      h("a", { href: library.taken(side.id, side.channel, s.from, s.to, `what=${what}`), download: "", "aria-label": W.saveOf(text, name), "data-testid": `compare-${name.toLowerCase()}-save-${what}` }, text);
    fill(this.save, h("span", { class: "hint" }, W.save), link("figures", W.figuresFile), link("spectrum", W.spectrumFile), link("typical", W.typicalBeatFile));
  }

  /** @param {Entry[]} list */
  offer(list) {
    fill(this.pick, ...list.map((e) => h("option", { value: e.id }, `${e.invented ? INVENTED + " " : ""}${e.name || e.id}${e.started ? `, ${e.started.slice(0, 10)}` : ""}`)));
  }

  /** @param {string} id */
  #recording(id) {
    this.side = { id, channel: -1, from: 0, to: Infinity };
    this.changed();
  }

  /** @param {Side} side */
  async load(side) {
    this.side = side;
    const detail = this.detail?.id === side.id ? this.detail : await library.brief(side.id);
    if (this.side !== side) return; // another was chosen meanwhile
    this.detail = detail;
    side.channel = Math.min(side.channel, detail.channelDetails.length - 1);
    side.from = Math.min(side.from, Math.max(0, detail.samples - 1));
    this.pick.value = side.id;
    fill(this.channel, ...detail.channelDetails.map((c, i) => h("option", { value: String(i) }, c.label)));
    this.channel.hidden = detail.channelDetails.length < 2;
    this.#showTimes();
  }

  /** Chooses the channel of the kind, when none is chosen. @param {string|undefined} kind */
  settle(kind) {
    const { side, detail } = this;
    if (!side || !detail) return;
    if (side.channel < 0) side.channel = Math.max(0, detail.channelDetails.findIndex((c) => c.kind === kind));
    this.channel.value = String(side.channel);
  }

  /** Kind of the channel chosen, or of the only one. */
  kind() {
    const list = this.detail?.channelDetails ?? [];
    return list.length === 1 ? list[0].kind : list[this.side?.channel ?? -1]?.kind;
  }

  #showTimes() {
    const { side, detail } = this;
    if (!side || !detail) return;
    this.from.value = clockTime(side.from / detail.rateHz, 0.1);
    this.to.value = clockTime(Math.min(side.to, detail.samples) / detail.rateHz, 0.1);
    this.whole.disabled = side.from === 0 && side.to === Infinity;
  }
}

class CompareView {
  /** @param {DrawerContext} ctx */
  constructor(ctx) {
    this.ctx = ctx;
    this.turn = 0;
    /** @type {(Stretch|null)[]} */
    this.stretches = [null, null];
    /** @type {{x: number[], y: number[]}[]} */
    this.traces = [];
    this.forms = NAMES.map((name) => new SideForm(name, () => this.#judge()));
    this.error = h("p", { class: "error", role: "alert", "data-testid": "compare-error" });
    this.words = h("ul", { class: "compare-words", "data-testid": "compare-words", "aria-live": "polite" });
    this.same = h("input", { type: "checkbox", id: "compare-same", "data-testid": "compare-same" });
    this.same.addEventListener("change", () => this.#draw());
    this.table = h("table", { class: "compare", "data-testid": "compare-figures" });
    this.gradeTable = h("table", { class: "compare compare-grades", "data-testid": "compare-grades" });
    const chart = () => h("div", { class: "chart" });
    this.boxes = { beat: chart(), trace: chart(), spectrum: chart() };
    this.beatWords = h("p", { class: "hint", "data-testid": "compare-beat-words" });
    this.dialog = h("dialog", { class: "compare-view", id: "compare", "data-testid": "compare", "aria-labelledby": "compare-title" },
      h("header", { class: "review-head" }, h("h2", { id: "compare-title", tabindex: "-1" }, W.compare),
        h("span", { class: "spring" }), button("compare-swap", W.swapAAndB, () => this.#swap()),
        button("compare-save", W.saveSeen, () => save({ root: this.dialog, name: "compare", title: W.compare, subtitle: this.forms.map((f, i) => `${NAMES[i]}: ${f.detail?.invented ? INVENTED + " " : ""}${f.detail?.name ?? ""}`).join(", ") }), { title: W.whatIsSeenAsA }),
        h("button", { type: "button", class: "quiet close", "aria-label": W.close, "data-testid": "compare-close", onclick: () => this.dialog.close() }, "×")),
      h("div", { class: "compare-sides" }, this.forms.map((f) => f.root)), this.error,
      h("div", { class: "compare-body" },
        h("section", { class: "compare-say" }, h("h3", {}, W.inWords), this.words),
        h("section", {}, h("div", { class: "row" }, h("h3", {}, W.typicalBeat), h("span", { class: "spring" }), h("label", { class: "check" }, this.same, h("span", {}, W.scaleToTheSameHeight))), this.boxes.beat, this.beatWords),
        h("section", {}, h("h3", {}, W.spectra), this.boxes.spectrum, h("p", { class: "hint" }, W.densityOverFrequencyBothLogarithmic)),
        h("section", {}, h("h3", {}, W.tracesAlignedAtABeat), this.boxes.trace, h("p", { class: "hint" }, W.asRecordedAlignedAtThe)),
        h("section", {}, h("h3", {}, W.figures), this.table),
        h("section", {}, h("h3", {}, W.grades), this.gradeTable)), h("p", { class: "print-aid" }, AID));
    document.body.append(this.dialog);
    const plot = (/** @type {HTMLElement} */ root, /** @type {string} */ label) => new Plot(root, { label });
    this.plots = { beat: plot(this.boxes.beat, W.typicalBeatOfAAnd), trace: plot(this.boxes.trace, W.tracesOfAAndB), spectrum: plot(this.boxes.spectrum, W.spectraOfAAndB) };
    this.dialog.addEventListener("close", () => this.turn++);
  }

  /**
   * @param {Side[]} sides
   * @param {0|1} as
   */
  async open(sides, as) {
    if (!this.dialog.open) this.dialog.showModal();
    setText(this.error, "");
    try {
      const { recordings } = await library.briefList();
      const list = recordings.filter((e) => !e.problem);
      for (const f of this.forms) f.offer(list);
      const known = (/** @type {Side|null} */ s) => (s && list.some((e) => e.id === s.id) ? s : null);
      /** @type {(Side|null)[]} */
      const next = sides.length > 1 ? sides : [known(this.forms[0].side), known(this.forms[1].side)];
      if (sides.length === 1) next[as] = sides[0];
      const one = next[0] ?? next[1];
      const other = list.find((e) => e.id !== one?.id) ?? list[0];
      for (const i of [0, 1]) if (!next[i] && other) this.forms[i].side = { id: other.id, channel: -1, from: 0, to: Infinity };
        else this.forms[i].side = next[i];
      await this.#judge();
    } catch (e) {
      this.#failed(e);
    }
  }

  #swap() {
    const [a, b] = this.forms;
    [a.side, b.side] = [b.side, a.side];
    [a.detail, b.detail] = [b.detail, a.detail];
    void this.#judge();
  }

  async #judge() {
    const mine = ++this.turn;
    setText(this.error, "");
    this.dialog.classList.add("working");
    try {
      await Promise.all(this.forms.map((f) => {
        if (!f.side) throw new Error(W.thereIsNoRecordingTo);
        return f.load(f.side);
      }));
      if (mine !== this.turn) return;
      this.forms.forEach((f, i) => f.settle(this.forms[1 - i].kind()));
      const done = await Promise.all(this.forms.map(async (f) => {
        if (!f.side) throw new Error(W.thereIsNoRecordingTo);
        const { id, channel, from, to } = f.side;
        const end = Math.min(to, f.detail?.samples ?? to);
        const stretch = await library.analysis(id, channel, Math.floor(from), Math.ceil(end));
        return { stretch, trace: await traceOf(f.side, stretch) };
      }));
      const boards = await boardsApart(this.forms);
      if (mine !== this.turn) return;
      this.stretches = done.map((d) => d.stretch);
      this.traces = done.map((d) => d.trace);
      this.forms.forEach((f, i) => {
        const s = done[i].stretch;
        setText(f.judged, W.judgedToBeats(clockTime(s.from / s.rateHz, 0.1), clockTime(s.to / s.rateHz, 0.1), s.beats.length));
        f.saves(s);
      });
      this.#show(done[0].stretch, done[1].stretch);
      this.words.append(...boards.map((b) => h("li", { "data-testid": "compare-board" }, b)));
    } catch (e) {
      if (mine === this.turn) this.#failed(e);
    } finally {
      if (mine === this.turn) this.dialog.classList.remove("working");
    }
  }

  /**
   * @param {Stretch} a
   * @param {Stretch} b
   */
  #show(a, b) {
    if (farApart(a, b) || a.kind !== b.kind) this.same.checked = true;
    this.same.disabled = a.unit !== b.unit;
    fill(this.words, ...differences(a, b).map((s, i) => h("li", { class: i === 0 ? "verdict" : "" }, s)));
    const rows = compare(a.report, b.report);
    const rate = (/** @type {Stretch} */ s) => (s.medianBpm > 0 ? `${significant(s.medianBpm, 3)}\u00a0bpm` : "–");
    rows.unshift({ name: W.medianRate, before: rate(a), after: rate(b), change: "" });
    const head = (/** @type {string[]} */ names) => h("thead", {}, h("tr", {}, h("th", {}, h("span", { class: "unseen" }, W.what)), names.map((n) => h("th", { scope: "col" }, n))));
    fill(this.table, head(["A", "B", "B − A"]), h("tbody", {}, rows.map((r) => h("tr", {}, h("th", { scope: "row" }, r.name), h("td", {}, r.before), h("td", {}, r.after), h("td", {}, r.change)))));
    const grade = (/** @type {import("../drawers/figures.js").Grade} */ g) => h("td", {}, h("span", { class: `grade ${g}` }, h("span", { class: "sign", "aria-hidden": "true" }, SIGNS[g]), g));
    fill(this.gradeTable, head(["A", "B"]), h("tbody", {}, grades(a, b).map((g) => h("tr", {}, h("th", { scope: "row" }, g.title), grade(g.a), grade(g.b)))));
    this.#draw();
  }

  #draw() {
    const [a, b] = this.stretches;
    if (!a || !b) return;
    this.dialog.toggleAttribute("data-invented", this.forms.some((f) => f.detail?.invented === true));
    const look = [{ colour: "trace0", width: 1.6, dash: [] }, { colour: "trace1", width: 2.2, dash: [7, 3] }];
    const list = [a, b];
    const same = this.same.checked || a.unit !== b.unit;
    // Typical beat.
    const heights = list.map((s) => (same ? Math.max(...s.average.median) - Math.min(...s.average.median) || 1 : 1));
    const beats = list.map((s, i) => ({ x: s.average.median.map((_, k) => s.average.fromSeconds + k * s.average.stepSeconds), median: s.average.median.map((v) => v / heights[i]), low: s.average.low.map((v) => v / heights[i]), high: s.average.high.map((v) => v / heights[i]) }));
    const all = beats.flatMap((q) => [...q.low, ...q.high]);
    const unit = same ? "" : a.unit;
    if (all.length > 0) {
      const p = prefixFor(Math.max(...all.map(Math.abs)), unit);
      const extent = padded(all.map((v) => v / p.factor));
      /** @type {Curve[]} */
      const curves = beats.flatMap((q, i) => [{ x: q.x, y: q.low.map((v) => v / p.factor), band: q.high.map((v) => v / p.factor), colour: look[i].colour }]);
      beats.forEach((q, i) => curves.push({ ...look[i], x: q.x, y: q.median.map((v) => v / p.factor), label: NAMES[i] }));
      const xs = beats.flatMap((q) => [q.x[0] ?? 0, q.x[q.x.length - 1] ?? 0]);
      this.plots.beat.set({ low: Math.min(...xs), high: Math.max(...xs), unit: "s", label: W.fromTheBeat }, { ...extent, unit: same ? W.ofItsHeight : p.unit }, curves, [{ x: 0 }]);
    } else this.plots.beat.set({ low: 0, high: 1, unit: "s" }, { low: 0, high: 1 }, []);
    setText(this.beatWords, list.map((s, i) => `${NAMES[i]}: ${s.average.beats === 0 ? W.noBeatsToLayTogether : W.medianOfBeats(s.average.beats)}`).join(", ") + W.shadedEightBeatsInTen);
    // Spectra.
    const density = list.map((s) => s.spectrum);
    const top = Math.max(...density.map((d) => d.freqHz[d.freqHz.length - 1] ?? 0));
    const values = density.flatMap((d) => d.densityVoltsPerRootHz.filter((v, k) => v > 0 && d.freqHz[k] >= LEAST_HZ));
    if (values.length > 0 && top > 1) {
      const high = Math.max(...values);
      const p = prefixFor(high, a.unit === b.unit ? a.unit : "");
      this.plots.spectrum.set({ low: LEAST_HZ, high: top, log: true, unit: "Hz" }, { low: Math.max(Math.min(...values), high * 1e-7) / p.factor, high: (high * 1.6) / p.factor, log: true, unit: `${p.unit}/√Hz` },
        density.map((d, i) => ({ ...look[i], width: look[i].width * 0.8, x: d.freqHz, y: d.densityVoltsPerRootHz.map((v) => v / p.factor), label: NAMES[i] })));
    }
    // Traces.
    const lines = this.traces.map((t) => {
      const height = same ? Math.max(...t.y.filter(Number.isFinite)) - Math.min(...t.y.filter(Number.isFinite)) || 1 : 1;
      return { x: t.x, y: t.y.map((v) => v / height) };
    });
    const ys = lines.flatMap((t) => t.y.filter(Number.isFinite));
    if (ys.length > 0) {
      const p = prefixFor(Math.max(...ys.map(Math.abs)), unit);
      this.plots.trace.set({ low: -LEAD_SECONDS, high: TRACE_SECONDS - LEAD_SECONDS, unit: "s", label: W.fromABeat }, { ...padded(ys.map((v) => v / p.factor)), unit: same ? W.ofItsSwing : p.unit },
        lines.map((t, i) => ({ ...look[i], x: t.x, y: t.y.map((v) => v / p.factor), label: NAMES[i] })));
    }
  }

  /** @param {unknown} e */
  #failed(e) {
    setText(this.error, e instanceof Error ? e.message : String(e));
  }
}

/** @param {number[]} values */
function padded(values) {
  const low = values.reduce((m, v) => Math.min(m, v), Infinity);
  const high = values.reduce((m, v) => Math.max(m, v), -Infinity);
  const pad = 0.08 * (high - low || 1);
  return { low: low - pad, high: high + pad };
}

/**
 * Some seconds as recorded from the first whole beat on, about their middle.
 * @param {Side} side
 * @param {Stretch} s
 * @returns {Promise<{x: number[], y: number[]}>}
 */
async function traceOf(side, s) {
  const lead = Math.round(LEAD_SECONDS * s.rateHz);
  const first = s.beats.find((b) => b.sample - lead >= s.from)?.sample ?? s.from + lead;
  const from = Math.max(0, first - lead);
  const to = Math.min(s.to, from + Math.round(TRACE_SECONDS * s.rateHz));
  const columns = Math.max(1, Math.min(MOST_TRACE_POINTS, to - from));
  const piece = decodePiece(await library.view(side.id, `from=${from}&to=${to}&columns=${columns}`));
  const per = (piece.to - piece.from) / piece.columns;
  const y = Array.from(piece.low[side.channel], (v, i) => (v + piece.high[side.channel][i]) / 2);
  const sorted = y.filter(Number.isFinite).sort((p, q) => p - q);
  const middle = sorted[sorted.length >> 1] ?? 0;
  return { x: y.map((_, i) => (piece.from + (i + 0.5) * per - first) / s.rateHz), y: y.map((v) => v - middle) };
}
