// The board's own stages at the left of the signal path: each a block with its parts, its
// little response and what the typical beat looks like behind it, as predicted.

import { button, fill, h, select, setText } from "../dom.js";
import { quantity } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { cornersText, gainText, kindTitle, parseValue, partOf, roleTitle, stageTitle, valueText } from "./words.js";
import { boardStripWords as W } from "../words.js";

/** @import {BoardModel} from "./model.js" */
/** @import {BoardStage, Role} from "./words.js" */

const CURVE_LOW_DB = -42;
const CURVE_HIGH_DB = 4;
const E24 = 1; // among a part's preferred values

/** @typedef {{root: HTMLElement, title: HTMLElement, response: Plot, beat: Plot, words: HTMLElement, rest: HTMLElement, inputs: {role: Role, input: HTMLInputElement, slider: HTMLInputElement|null, ref: HTMLElement, place: HTMLElement|null, near: HTMLElement}[]}} StageBlock */

export class BoardStrip {
  /**
   * @param {{board: BoardModel, openParts: () => void}} options
   */
  constructor(options) {
    this.options = options;
    this.model = options.board;
    this.name = h("p", { class: "strong", "data-testid": "onboard-name" });
    this.words = h("p", { class: "small", "data-testid": "onboard-words" });
    this.curve = h("div", { class: "curve" });
    this.foldButton = button("onboard-fold", W.stages, () => this.fold(!this.folded), { class: "small-button", "aria-expanded": "false", "aria-controls": "board-stages" });
    this.openButton = button("onboard-open", W.drawIt, () => this.#open(), { class: "small-button" });
    this.stages = h("div", { class: "board-stages", id: "board-stages", role: "group", "aria-label": W.stagesOnTheBoard });
    this.head = h("section", { class: "block block-board", "aria-label": W.onTheBoard, "data-testid": "block-board" }, h("div", { class: "block-head" }, h("h3", {}, W.onTheBoard)), this.name, this.words, this.curve, h("div", { class: "row board-buttons" }, this.foldButton, this.openButton));
    this.root = h("div", { class: "board-strip owner-only" }, this.head, this.stages);
    this.plot = new Plot(this.curve, { label: W.responseOfTheWholeBoard, bare: true });
    /** @type {StageBlock[]} */
    this.blocks = [];
    this.shape = "";
    this.folded = prefs.get("board folded", true);
    /** @type {(() => void)|null} */
    this.unwatch = null;
    this.unsubscribe = this.model.subscribe(() => this.#show());
    this.fold(this.folded);
  }

  #open() {
    this.options.openParts();
    if (this.model.draft) this.fold(false);
  }

  /** @param {boolean} folded */
  fold(folded) {
    this.folded = folded;
    prefs.set("board folded", folded);
    if (!folded) {
      void this.model.learn();
      this.unwatch ??= this.model.watch();
    } else {
      this.unwatch?.();
      this.unwatch = null;
    }
    this.#show();
  }

  #show() {
    const { draft, computed, known } = this.model;
    this.foldButton.hidden = draft === null;
    setText(this.foldButton, this.folded ? W.stages : W.fold);
    this.foldButton.setAttribute("aria-expanded", String(!this.folded));
    setText(this.openButton, draft ? W.parts : W.drawIt);
    this.root.classList.toggle("unfolded", !this.folded && draft !== null);
    this.stages.hidden = this.folded || draft === null || known === null;
    setText(this.name, draft ? draft.name || W.aBoardWithoutAName : "");
    setText(this.words, this.model.error || (!draft ? W.thePartYouSolderDraw : computed ? cornersText(computed.figures.corners) + ", " + gainText(computed.figures.corners.peakDb) + (this.model.ghosted ? W.changedNotSoldered : this.model.changes ? W.drawnNotSoldered : "") : ""));
    this.curve.hidden = !computed;
    if (computed) this.#response(this.plot, computed.figures.freqHz, computed.figures.whole.gainDb, computed.figures.corners.peakDb);
    if (this.stages.hidden) return;
    this.#build();
    this.blocks.forEach((b, i) => this.#showStage(b, i));
  }

  /**
   * @param {Plot} plot
   * @param {number[]} x
   * @param {number[]} gainDb
   * @param {number} peakDb
   */
  #response(plot, x, gainDb, peakDb) {
    plot.set({ low: x[0], high: x[x.length - 1], log: true }, { low: CURVE_LOW_DB, high: CURVE_HIGH_DB }, [{ x, y: gainDb.map((g) => g - peakDb), colour: "ink", width: 1.5, dash: [5, 3] }]);
  }

  /** The blocks, when stages or their parts have changed. */
  #build() {
    const { draft, known } = this.model;
    if (!draft || !known) return;
    const shape = JSON.stringify(draft.stages.map((s) => [s.stage, s.name, Object.keys(s.parts ?? {}).sort()]));
    if (shape === this.shape) return;
    this.shape = shape;
    for (const b of this.blocks) {
      b.response.destroy();
      b.beat.destroy();
    }
    this.blocks = draft.stages.map((stage, i) => this.#stage(stage, i));
    const kinds = known.kinds.filter((k) => !k.sensor && k.stage !== "difference" && k.stage !== "instrumentation");
    const add = select("onboard-add", [["", "+ stage"], ...kinds.map((k) => /** @type {[string, string]} */ ([k.stage, kindTitle(k.stage)]))], (kind) => {
      if (kind) this.model.addStage(draft.stages.length, kind);
    }, { "aria-label": W.addAStageAtThe });
    const wire = () => h("span", { class: "wire", "aria-hidden": "true" });
    fill(this.stages, ...this.blocks.flatMap((b) => [wire(), b.root]), add);
  }

  /**
   * @param {BoardStage} stage
   * @param {number} i
   * @returns {StageBlock}
   */
  #stage(stage, i) {
    const title = h("h3", {}, stageTitle(stage));
    const kind = this.model.known?.kinds.find((k) => k.stage === stage.stage);
    const response = h("div", { class: "curve" });
    const beat = h("div", { class: "curve" });
    const words = h("p", { class: "small" });
    const rest = h("p", { class: "small" });
    const roles = kind?.roles ?? [];
    const inputs = roles.filter((r) => stage.parts?.[r.role] !== undefined).map((role) => this.#part(i, role, title.textContent ?? ""));
    const absent = roles.filter((r) => stage.parts?.[r.role] === undefined);
    const more = absent.length === 0 ? null : select(`onboard-more-${i}`, [["", "+ part"], ...absent.map((r) => /** @type {[string, string]} */ ([r.role, roleTitle(r.role)]))], (role) => {
      const r = absent.find((a) => a.role === role);
      if (r) this.model.edit(i, role, { value: r.unit === "F" ? 1e-7 : 1e4 });
    }, { "aria-label": W.addAPartTo(title.textContent) });
    const fixed = kind?.sensor || stage.stage === "difference" || stage.stage === "instrumentation";
    const remove = fixed ? null : button(`onboard-remove-${i}`, "×", () => this.model.removeStage(i), { class: "quiet", "aria-label": W.takeOutStage(i + 1, title.textContent) });
    const root = h("section", { class: "block block-stage", "aria-label": W.stage(i + 1, title.textContent), "data-testid": `onboard-stage-${i}` },
      h("div", { class: "block-head" }, title, remove),
      h("div", { class: "pair-curves" }, response, beat), words,
      h("div", { class: "board-parts" }, inputs.map((p) => h("div", { class: "board-part" }, h("label", { for: p.input.id }, p.ref, " ", roleTitle(p.role.role)), p.input, p.near, p.slider, p.place))), more, rest);
    return {
      root, title, words, rest, inputs: inputs,
      response: new Plot(response, { label: W.responseOfStagePredicted(i + 1), bare: true }),
      beat: new Plot(beat, { label: W.theTypicalBeatBehindStage(i + 1), bare: true }),
    };
  }

  /**
   * @param {number} stage
   * @param {Role} role
   * @param {string} title
   */
  #part(stage, role, title) {
    const id = `onboard-part-${stage}-${role.role}`;
    const input = h("input", { type: "text", id, "data-testid": id, autocomplete: "off", spellcheck: "false", inputmode: "text" });
    input.addEventListener("change", () => {
      const text = input.value.trim();
      if (text === "" && role.optional) {
        this.model.takeOut(stage, role.role);
        return;
      }
      const v = parseValue(text);
      input.setAttribute("aria-invalid", String(!(v > 0)));
      if (v > 0) this.model.edit(stage, role.role, { value: v });
    });
    input.addEventListener("keydown", (e) => {
      if (e.key !== "ArrowUp" && e.key !== "ArrowDown") return;
      const near = this.#partOf(stage, role.role)?.near?.[E24];
      if (!near) return;
      e.preventDefault();
      const to = e.key === "ArrowUp" ? near.higher : near.lower;
      input.value = valueText(to, role.unit);
      this.model.edit(stage, role.role, { value: to });
    });
    let slider = null;
    let place = null;
    if (role.trimmer) {
      slider = h("input", { type: "range", min: "0", max: "100", step: "1", id: id + "-at", "data-testid": id + "-at", "aria-label": W.trimmerOfPercentOfIts(title) });
      const s = slider;
      slider.addEventListener("input", () => this.model.edit(stage, role.role, { at: Number(s.value) / 100 }));
      place = h("span", { class: "small place" });
    }
    const near = h("span", { class: "near", role: "group", "aria-label": W.nearestValuesFor(roleTitle(role.role)), hidden: true });
    return { role, input, slider, place, near, ref: h("b", {}, "") };
  }

  /**
   * @param {number} stage
   * @param {string} role
   */
  #partOf(stage, role) {
    return this.model.computed?.parts.find((p) => p.stage === stage && p.role === role);
  }

  /**
   * @param {StageBlock} block
   * @param {number} i
   */
  #showStage(block, i) {
    const { draft, computed, look, comparison } = this.model;
    const stage = draft?.stages[i];
    if (!stage) return;
    for (const p of block.inputs) {
      const part = partOf(stage.parts?.[p.role.role]);
      if (!part) continue;
      const known = this.#partOf(i, p.role.role);
      setText(p.ref, known?.ref ?? "");
      const text = valueText(part.value, p.role.unit);
      const wrong = p.input.getAttribute("aria-invalid") === "true"; // stays to be corrected
      if (document.activeElement !== p.input && !wrong && p.input.value !== text) p.input.value = text;
      if (known?.near?.length) p.input.title = W.nearestInE12E24E96(valueText(known.near[0].nearest, p.role.unit), valueText(known.near[1].nearest, p.role.unit), valueText(known.near[2].nearest, p.role.unit));
      this.#showNear(p, i, part.value, known);
      if (p.slider && p.place) {
        const at = Math.round(100 * (part.at ?? 0.5));
        if (document.activeElement !== p.slider) p.slider.value = String(at);
        const measured = known && comparison?.trimmers?.[known.ref];
        setText(p.place, `${at}\u00a0%` + (measured !== undefined ? W.byTheMeasuredCorner(Math.round(100 * measured)) : ""));
        p.slider.setAttribute("aria-valuetext", W.percentOfItsWay(at));
      }
    }
    const f = computed?.figures.stages[i];
    if (!computed || !f) return;
    this.#response(block.response, computed.figures.freqHz, f.curve.gainDb, f.corners.peakDb);
    setText(block.words, `${gainText(f.corners.peakDb)}, ${cornersText(f.corners)}`);
    const hum = f.humVoltsPerNanoamp > 1e-5 ? W.n1NAOfHumInto(quantity(f.humVoltsPerNanoamp, "V")) : "";
    setText(block.rest, W.restsAt(quantity(f.room.restVolts, "V")) + (i === computed.figures.span.clipsFirst ? W.clipsFirst : "") + hum);
    const beat = look?.stages?.[i] ?? [];
    if (beat.length > 1) {
      const low = Math.min(...beat);
      const high = Math.max(...beat);
      const room = Math.max(high - low, 1e-9) * 0.1;
      block.beat.set({ low: 0, high: beat.length - 1 }, { low: low - room, high: high + room }, [{ x: beat.map((/** @type {number} */ _, /** @type {number} */ k) => k), y: beat, colour: "trace3", width: 1.5, dash: [5, 3] }]);
      block.beat.canvas.title = W.predictedTheTypicalBeatBehind(quantity(high - low, "V"));
    } else {
      block.beat.set({ low: 0, high: 1 }, { low: 0, high: 1 }, []);
    }
  }

  /**
   * Buttons for the nearest values that can be bought, where the value is none of them.
   * @param {StageBlock["inputs"][number]} p
   * @param {number} stage
   * @param {number} value
   * @param {import("../wire.js").BoardPart|undefined} known
   */
  #showNear(p, stage, value, known) {
    const close = (/** @type {number} */ v) => Math.abs(v / value - 1) < 1e-3;
    const off = known?.near?.length === 3 && known.value === value && !close(known.near[E24].nearest);
    const key = off ? String(value) : "";
    if (p.near.dataset.key === key) return;
    p.near.dataset.key = key;
    p.near.hidden = !off;
    fill(p.near, ...(off ? known.near.map((n) => h("button", { type: "button", class: "quiet", onclick: () => this.model.edit(stage, p.role.role, { value: n.nearest }) }, `E${n.series} ${valueText(n.nearest, p.role.unit)}`)) : []));
  }

  destroy() {
    this.unsubscribe();
    this.unwatch?.();
    this.plot.destroy();
  }
}
