// The Parts drawer: the board as drawn, its figures, the ghost of the live trace behind a
// changed board, and what is measured held against what is predicted.

import { button, fill, h, select, setText } from "../dom.js";
import { fixed, quantity, significant } from "../format.js";
import { Plot } from "../plot.js";
import { boardFigures, differences, parseValue, partOf, valueText } from "../board/words.js";
import { typeset } from "./figures.js";
import { drawerPartsWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Board} from "../board/words.js" */

const EXAMPLE_NAMES = /** @type {Record<string, string>} */ ({ lamp_clip_a: W.lampClipA, lamp_clip_b: W.lampClipB, chest_lead_a: W.chestLeadA });
const GHOST_SECONDS = 2;
const MOST_FILE_BYTES = 65536;
/** @type {Board} */
const EMPTY = { board: 1, name: W.myBoard, kind: "pulse", supplyVolts: 5, midRail: { top: 10e3, bottom: 10e3, bypass: 1e-5, buffered: true }, converter: { referenceVolts: 5, bits: 10, rateHz: 250 }, stages: [{ stage: "phototransistor", parts: { load: 10e3, lamp: 0.01, transfer: 0.01 } }] };

/**
 * How high the typical beat would be; nothing where that is as it is.
 * @param {number[]} ghost
 * @param {number[]} typical
 */
export function beatWords(ghost, typical) {
  const [would, is] = [ghost, typical].map((b) => quantity(Math.max(...b) - Math.min(...b), "V"));
  return typical.length > 1 && would !== is ? [W.theTypicalBeatWouldBe(would, is)] : [];
}

class PartsPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.model = ctx.board;
    this.start = select("parts-start", [["", W.startFrom], ...Object.entries(EXAMPLE_NAMES), ["empty", W.anEmptyBoard], ["file", W.aFile]], (v) => this.#begin(v), { "aria-label": W.startFromAnExampleOr });
    this.file = h("input", { type: "file", accept: ".json", hidden: true, "aria-label": W.aBoardsFile, "data-testid": "parts-file" });
    this.file.addEventListener("change", () => void this.#read());
    this.keep = button("parts-keep", W.thisIsWhatIsSoldered, () => void this.model.keep(), { class: "accent" });
    this.back = button("parts-back", W.backToWhatIsSoldered, () => this.model.back());
    this.download = button("parts-download", W.download, () => this.#download());
    this.away = button("parts-away", W.takeTheBoardAway, () => void this.model.keep(null));
    this.error = h("p", { class: "error", role: "alert", "data-testid": "parts-error" });
    this.changed_ = h("p", { class: "verdict", "data-testid": "parts-changes", "aria-live": "polite" });
    this.hint = h("p", { class: "hint" }, W.aBoardIsASupply);
    this.facts = h("dl", { class: "facts", "data-testid": "parts-figures" });
    this.responseRoot = h("div", { class: "chart" });
    this.response = new Plot(this.responseRoot, { label: W.responseOfTheBoardPredicted });
    this.responseWords = h("p", { class: "hint" });
    this.ghostRoot = h("div", { class: "chart" });
    this.ghost = new Plot(this.ghostRoot, { label: W.theSignalAndAsIt });
    this.beatRoot = h("div", { class: "chart small" });
    this.beat = new Plot(this.beatRoot, { label: W.theTypicalBeatAndAs });
    this.ghostWords = h("p", { class: "hint", "data-testid": "parts-ghost-words" });
    this.turnRoot = h("div", { class: "chart small" });
    this.turn = new Plot(this.turnRoot, { label: W.humAndSignalAgainstThe });
    this.turnWords = h("p", { class: "hint", "data-testid": "parts-turn-words" });
    this.rows = h("ul", { class: "board-rows", "data-testid": "parts-compare" });
    this.cautions = h("ul", { class: "board-cautions" });
    this.tolerance = select("parts-tolerance", [["0", W.eachItsOwn], ["0.01", "1 %"], ["0.05", "5 %"], ["0.1", "10 %"], ["0.2", "20 %"]], (v) => this.model.setTolerance(Number(v)), { "aria-label": W.toleranceOfTheParts });
    this.whole = this.#wholeForm();
    this.drawn = h("div", { class: "parts-drawn" },
      this.changed_, h("h3", {}, W.figuresPredicted), this.facts,
      h("h3", {}, W.responsePredicted), this.responseRoot, h("label", { class: "pick" }, h("span", {}, W.partsTolerance), this.tolerance), this.responseWords,
      h("h3", {}, W.theSignalAndItsGhost), this.ghostRoot, this.beatRoot, this.ghostWords,
      this.turnHead = h("h3", {}, W.turningTheTrimmer), this.turnRoot, this.turnWords,
      h("h3", {}, W.adviceAndMeasuredAgainstPredicted), this.rows,
      h("h3", {}, W.mind), this.cautions);
    root.append(this.hint, h("div", { class: "row" }, this.start, this.file), h("div", { class: "row" }, this.keep, this.back, this.download, this.away), this.error, this.whole.root, this.drawn);
    this.unsubscribe = this.model.subscribe(() => this.#show());
    this.unwatch = this.model.watch();
    void this.model.learn();
    this.#show();
  }

  /** Supply, op amp, mid-rail and converter. */
  #wholeForm() {
    const field = (/** @type {string} */ id, /** @type {string} */ label, /** @type {(b: Board) => string} */ get, /** @type {(b: Board, v: number) => void} */ set) => {
      const input = h("input", { type: "text", id: "parts-" + id, "data-testid": "parts-" + id, autocomplete: "off" });
      input.addEventListener("change", () => {
        const v = parseValue(input.value.replace(/\s*V$/, ""));
        input.setAttribute("aria-invalid", String(!(v > 0)));
        if (!(v > 0) || !this.model.draft) return;
        const next = structuredClone(this.model.draft);
        set(next, v);
        this.model.draw(next);
      });
      return { input, get, row: h("label", { class: "part" }, h("span", {}, label), input) };
    };
    const fields = [
      field("supply", W.supply, (b) => b.supplyVolts + " V", (b, v) => (b.supplyVolts = v)),
      field("top", W.midRailUpper, (b) => (b.midRail ? valueText(partOf(b.midRail.top)?.value ?? 0, "Ω") : ""), (b, v) => ((b.midRail ??= { top: v, bottom: v, buffered: true }).top = v)),
      field("bottom", W.midRailLower, (b) => (b.midRail ? valueText(partOf(b.midRail.bottom)?.value ?? 0, "Ω") : ""), (b, v) => ((b.midRail ??= { top: v, bottom: v, buffered: true }).bottom = v)),
      field("bypass", W.midRailBypass, (b) => (b.midRail?.bypass ? valueText(partOf(b.midRail.bypass)?.value ?? 0, "F") : ""), (b, v) => {
        if (b.midRail) b.midRail.bypass = v;
      }),
      field("reference", W.convertersReference, (b) => (b.converter ? b.converter.referenceVolts + " V" : ""), (b, v) => ((b.converter ??= { referenceVolts: v, bits: 10, rateHz: 250 }).referenceVolts = v)),
      field("bits", W.itsBits, (b) => (b.converter ? String(b.converter.bits) : ""), (b, v) => ((b.converter ??= { referenceVolts: b.supplyVolts, bits: Math.round(v), rateHz: 250 }).bits = Math.round(v))),
    ];
    const amp = select("parts-opamp", [[W.singleSupplyQuadBipolar, W.singleSupplyQuadBipolar], [W.railToRailCMOS, W.railToRailCMOS]], (v) => {
      if (!this.model.draft) return;
      const next = structuredClone(this.model.draft);
      next.opAmp = v;
      this.model.draw(next);
    });
    const kind = select("parts-kind", [["pulse", "pulse"], ["ecg", "ECG"]], (v) => {
      if (this.model.draft) this.model.draw({ ...structuredClone(this.model.draft), kind: v });
    });
    const root = h("details", { class: "fold" }, h("summary", {}, W.supplyMidRailConverterOp),
      h("div", { class: "parts" }, h("label", { class: "part" }, h("span", {}, W.signal), kind), h("label", { class: "part" }, h("span", {}, W.opAmps), amp), fields.map((f) => f.row)));
    return { root, fields, amp, kind };
  }

  /** @param {string} what */
  #begin(what) {
    this.start.value = "";
    if (what === "file") this.file.click();
    else if (what === "empty") this.model.draw(structuredClone(EMPTY));
    else if (this.model.known?.examples[what]) this.model.draw(structuredClone(this.model.known.examples[what]));
  }

  async #read() {
    const file = this.file.files?.[0];
    this.file.value = "";
    if (!file) return;
    try {
      if (file.size > MOST_FILE_BYTES) throw new Error(W.hasBytesABoardHas(file.name, file.size, MOST_FILE_BYTES));
      this.model.draw(JSON.parse(await file.text()));
    } catch (e) {
      setText(this.error, e instanceof SyntaxError ? W.isNotABoardsFile(file.name) : e instanceof Error ? e.message : String(e));
    }
  }

  #download() {
    if (!this.model.draft) return;
    const url = URL.createObjectURL(new Blob([JSON.stringify(this.model.draft, null, 2) + "\n"], { type: "application/json" }));
    const link = h("a", { href: url, download: (this.model.draft.name || "board").replace(/[^\w.-]+/g, "_") + ".board.json" });
    document.body.append(link);
    link.click();
    link.remove();
    window.setTimeout(() => URL.revokeObjectURL(url), 1000);
  }

  #show() {
    const m = this.model;
    const { draft, computed } = m;
    setText(this.error, m.error);
    this.hint.hidden = draft !== null;
    this.drawn.hidden = this.whole.root.hidden = draft === null;
    this.keep.hidden = !m.changes;
    this.keep.disabled = m.error !== "";
    this.back.hidden = !m.changes || m.present === null;
    this.download.hidden = draft === null;
    this.away.hidden = m.present === null || m.changes;
    if (!draft) return;
    for (const f of this.whole.fields) if (document.activeElement !== f.input) f.input.value = f.get(draft);
    this.whole.amp.value = typeof draft.opAmp === "string" ? draft.opAmp : draft.opAmp ? "" : W.singleSupplyQuadBipolar;
    this.whole.kind.value = draft.kind ?? "pulse";
    if (!computed) return;
    const list = m.before && m.changes ? differences(m.before.parts, computed.parts) : [];
    setText(this.changed_, list.length > 0 ? W.changedNotSoldered + list.join("; ") + "." : "");
    this.changed_.hidden = list.length === 0;
    fill(this.facts, ...boardFigures(computed.figures, computed.spread).flatMap(([term, value, id]) => [h("dt", {}, term), h("dd", { "data-testid": id }, value)]));
    fill(this.cautions, ...computed.cautions.map((c) => h("li", {}, c)));
    this.#showResponse();
    this.#showGhost();
    this.#showTurn();
    this.#showCompared();
  }

  #showResponse() {
    const { computed, before, changes } = this.model;
    const s = computed?.spread;
    if (!computed || !s) return;
    const f = computed.figures;
    const top = Math.max(f.corners.peakDb, before ? before.figures.corners.peakDb : -Infinity);
    /** @type {import("../scene/chart.js").Curve[]} */
    const curves = [{ x: s.freqHz, y: s.lowDb, band: s.highDb, colour: "trace3" }];
    if (changes && before) curves.push({ x: before.figures.freqHz, y: before.figures.whole.gainDb, colour: "faint", width: 1.4, dash: [2, 3], label: W.asSoldered });
    curves.push({ x: f.freqHz, y: f.whole.gainDb, colour: "trace3", width: 2, dash: [7, 4], label: "predicted" });
    const rules = [];
    if (f.corners.lowHz) rules.push({ x: f.corners.lowHz, label: significant(f.corners.lowHz, 2) + " Hz" });
    if (f.corners.highHz) rules.push({ x: f.corners.highHz, label: significant(f.corners.highHz, 3) + " Hz" });
    this.response.set({ low: f.freqHz[0], high: f.freqHz[f.freqHz.length - 1], log: true, unit: "Hz", label: "frequency" }, { low: top - 50, high: top + 16, unit: "dB" }, curves, rules);
    setText(this.responseWords, W.shadedWhere95Of100);
  }

  #showGhost() {
    const { look, lookError, present, ghosted } = this.model;
    if (!look?.ghost) {
      this.ghost.set({ low: 0, high: GHOST_SECONDS, unit: "s" }, { low: 0, high: 1, unit: "V" }, []);
      setText(this.ghostWords, lookError || (present ? W.waitingForTheSignal : W.firstSayWhatIsSoldered));
      return;
    }
    const n = Math.min(look.volts.length, Math.round(GHOST_SECONDS * look.rateHz));
    const from = look.volts.length - n;
    const volts = look.volts.slice(from);
    const ghost = look.ghost.volts.slice(from);
    const x = volts.map((_, i) => i / look.rateHz);
    const all = ghosted ? [...volts, ...ghost] : volts;
    const low = Math.min(...all);
    const high = Math.max(...all);
    const room = Math.max(0.01, 0.08 * (high - low));
    /** @type {import("../scene/chart.js").Curve[]} */
    const curves = [{ x, y: volts, colour: "ink", width: 1.4, label: "measured" }];
    if (ghosted) curves.push({ x, y: ghost, colour: "trace1", width: 2, dash: [6, 4], label: "predicted" });
    this.ghost.set({ low: 0, high: GHOST_SECONDS, unit: "s" }, { low: low - room, high: high + room, unit: "V" }, curves);
    this.#showBeat();
    const parts = [];
    if (ghosted) {
      parts.push(...beatWords(look.typicalGhost, look.typical));
      if (look.ghost.clipped > 0.001) parts.push(W.itWouldBeCutOff(significant(100 * look.ghost.clipped, 2)));
      parts.push(W.honestFromToHzOutside(significant(look.ghost.lowHz, 2), significant(look.ghost.highHz, 3)));
    } else {
      parts.push(present ? W.changeAPartOrTurn : W.firstSayWhatIsSoldered);
    }
    setText(this.ghostWords, parts.join(" "));
  }

  /** The typical beat about its mean, as it is and as it would be. */
  #showBeat() {
    const { look, ghosted } = this.model;
    this.beatRoot.hidden = !look || look.typical.length < 2;
    if (!look || this.beatRoot.hidden) return;
    const x = look.typical.map((_, i) => i / look.rateHz - look.beatBeforeSeconds);
    const all = ghosted ? [...look.typical, ...look.typicalGhost] : look.typical;
    const low = Math.min(...all);
    const high = Math.max(...all);
    const room = 0.1 * (high - low);
    /** @type {import("../scene/chart.js").Curve[]} */
    const curves = [{ x, y: look.typical, colour: "ink", width: 1.4, label: W.typicalBeat }];
    if (ghosted) curves.push({ x, y: look.typicalGhost, colour: "trace1", width: 2, dash: [6, 4], label: "predicted" });
    this.beat.set({ low: x[0], high: x[x.length - 1], unit: "s", label: W.fromThePeak }, { low: low - room, high: high + room, unit: "V" }, curves);
  }

  #showTurn() {
    const { turned, computed, present, draft } = this.model;
    const hidden = !turned || !computed;
    this.turnRoot.hidden = this.turnWords.hidden = this.turnHead.hidden = hidden;
    if (!turned || !computed) return;
    const x = turned.places.map((p) => 100 * p.at);
    const hum = turned.places.map((p) => p.humDb);
    const signal = turned.places.map((p) => p.signalDb);
    const now = 100 * (computed.parts.find((p) => p.ref === turned.trimmer)?.at ?? 0);
    const rules = [{ x: now, label: significant(now, 2) + " %" }];
    const measured = this.model.comparison?.trimmers?.[turned.trimmer];
    if (measured !== undefined) rules.push({ x: 100 * measured, label: "measured" });
    this.turn.set({ low: 0, high: 100, unit: "%", label: turned.trimmer }, { low: Math.min(...hum, ...signal) - 2, high: Math.max(...hum, ...signal, 0) + 7, unit: "dB" },
      [{ x, y: hum, colour: "trace2", width: 2, dash: [7, 4], label: "hum" }, { x, y: signal, colour: "trace3", width: 2, dash: [2, 3], label: "signal" }], rules);
    const at = (/** @type {"humDb"|"signalDb"} */ key) => {
      const places = turned.places;
      const i = Math.min(places.length - 2, Math.max(0, Math.floor((now / 100) * (places.length - 1))));
      const w = (now / 100) * (places.length - 1) - i;
      return places[i][key] + w * (places[i + 1][key] - places[i][key]);
    };
    setText(this.turnWords, W.atOfHumDBSignal(significant(now, 2), turned.trimmer, fixed(at("humDb"), 1), fixed(at("signalDb"), 1), present && draft ? W.whatIsSoldered : W.theMiddleOfTheDrawing, quantity(computed.figures.settlingSeconds, "s")));
  }

  #showCompared() {
    const c = this.model.comparison;
    if (!c) {
      fill(this.rows, h("li", { class: "hint" }, this.model.lookError || W.waitingForTheSignal));
      return;
    }
    const items = c.rows.map((r) => h("li", { class: r.agrees ? "good" : "poor" }, h("span", { class: "sign", "aria-hidden": "true" }, r.agrees ? "✓" : "✗"),
      W.measuredPredicted(r.what, quantity(r.measured, r.unit), quantity(r.predicted, r.unit), r.agrees ? "" : ". " + typeset(r.text))));
    if (c.sweep) items.unshift(h("li", { class: c.sweep.agrees ? "good" : "poor" }, h("span", { class: "sign", "aria-hidden": "true" }, c.sweep.agrees ? "✓" : "✗"), "response: " + typeset(c.sweep.text)));
    for (const [ref, at] of Object.entries(c.trimmers)) items.push(h("li", {}, W.standsAtByTheMeasured(ref, Math.round(100 * Number(at)), significant(c.cornerHz, 3))));
    items.unshift(...(c.advice ?? []).map((/** @type {string} */ a) => h("li", { class: "remedy", "data-testid": "parts-advice" }, typeset(a))));
    items.push(...c.missing.map((/** @type {string} */ m) => h("li", { class: "unknown" }, h("span", { class: "sign", "aria-hidden": "true" }, "?"), typeset(m))));
    fill(this.rows, ...items);
  }

  destroy() {
    this.unsubscribe();
    this.unwatch();
    for (const p of [this.response, this.ghost, this.beat, this.turn]) p.destroy();
  }
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "parts", title: W.parts, key: "p", inPath: true, create: (root, ctx) => new PartsPanel(root, ctx) };
