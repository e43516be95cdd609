// Sheets of paper for a class: a handout to draw and write on, and a lab sheet with Check's
// figures. One page each, A4 or Letter upright, white, built only to be printed.

import { button, dialog, h, setText } from "./dom.js";
import { figures, SECTIONS, SIGNS, typeset, worst } from "./drawers/figures.js";
import { rate } from "./format.js";
import { chartScene } from "./scene/chart.js";
import { paperPalette } from "./scene/picture.js";
import { svgOf } from "./scene/svg.js";
import { AID, INVENTED } from "./words.js";
import { paperWords as W } from "./words.js";

/** @import {PathSettings, Report} from "./types.js" */
/** @import {Item, Scene} from "./scene/scene.js" */

/** A typical beat, as many values each, `x` in seconds. @typedef {{x: number[], middle: number[], low: number[], high: number[], unit: string, words: string}} TypicalBeat */
/** What only the lab sheet needs. `of`: what the figures are of. @typedef {{of: string, settings: [string, string][], typical: TypicalBeat|null, report: Report|null}} Judged */
/**
 * @typedef {object} Paper
 * @property {string} title
 * @property {boolean} invented
 * @property {string} what said above the choices
 * @property {[string, string][]} settings term and words
 * @property {number} lanes of the scene
 * @property {(height: number, marked: boolean) => Scene|null} scene as wide as the sheet, CSS pixels; null while nothing is drawn; marked: with its beats
 * @property {(ended: AbortSignal) => Promise<Judged>} judged
 * @property {() => void} [closed]
 */

/** The trace: so high for two lanes, more for each further one, up to MOST_LANES. */
const HANDOUT_SCENE = { css: 350, each: 40 };
const LAB_SCENE = { css: 240, each: 25 };
const MOST_LANES = 5;
const TYPICAL_CSS = { width: 330, height: 170 };
/** The empty grid is cut where the sheet ends. */
const GRID_MM = { width: 186, height: 120 };
const UNITS_PER_MM = 10;
const ANSWER_LINES = 3;
/** Steps of smaller letters, until all stands on one page (print.css). */
const FITS = 4;

/**
 * A path in words.
 * @param {PathSettings} p
 * @param {number} [humHz] that is found, where the path has no frequency of its own
 */
export function pathWords(p, humHz = 0) {
  const hum = p.hum.freqHz || humHz;
  const hz = (/** @type {number} */ v) => String(Number(v.toPrecision(4)));
  return [
    p.drift.on ? W.driftRemoved(hz(p.drift.cutoffHz), p.drift.order) : W.driftStays,
    p.hum.mode === "off" ? W.humStays : W.humRemoved(p.hum.mode === "notch" ? "notch" : "canceller", hum > 0 ? hz(hum) : "", p.hum.harmonics),
    p.smooth.shape === "off" ? W.notSmoothed : W.smoothed(hz(p.smooth.cutoffHz), p.smooth.shape === "rc" ? "RC" : W.butterworth, p.smooth.order),
  ].join("; ");
}

/**
 * Millimetre paper: lines a millimetre apart, stronger at 5 and at 10 mm. Ten units are a millimetre.
 * @param {{width: number, height: number}} mm
 * @returns {Scene}
 */
export function gridScene(mm) {
  const [width, height] = [mm.width * UNITS_PER_MM, mm.height * UNITS_PER_MM];
  /** @type {number[][]} */
  const at = [[], [], []];
  const of = (/** @type {number} */ k) => at[k % 10 === 0 ? 2 : k % 5 === 0 ? 1 : 0];
  for (let k = 0; k <= mm.width; k++) of(k).push(k * UNITS_PER_MM, 0, k * UNITS_PER_MM, height);
  for (let k = 0; k <= mm.height; k++) of(k).push(0, k * UNITS_PER_MM, width, k * UNITS_PER_MM);
  return { width, height, items: at.map((own, i) => /** @type {Item} */ ({ kind: "lines", at: own, colour: ["grid", "gridStrong", "#b5b0a4"][i], width: [0.8, 1.2, 1.6][i] })) };
}

/**
 * @param {TypicalBeat} t
 * @returns {Scene}
 */
export function typicalScene(t) {
  const [low, high] = [Math.min(...t.low), Math.max(...t.high)];
  const pad = 0.08 * (high - low || 1);
  return chartScene({
    x: { low: t.x[0], high: t.x[t.x.length - 1], unit: "s" }, y: { low: low - pad, high: high + pad, unit: t.unit }, rules: [], bare: false,
    curves: [{ x: t.x, y: t.low, band: t.high, colour: "faint" }, { x: t.x, y: t.middle, colour: "trace0", width: 1.4 }],
  }, TYPICAL_CSS.width, TYPICAL_CSS.height);
}

/** @param {Scene} scene @param {string} title @param {number} [mmPerPx] */
function drawing(scene, title, mmPerPx) {
  return document.importNode(new DOMParser().parseFromString(svgOf(scene, paperPalette(), { title, mmPerPx }), "image/svg+xml").documentElement, true);
}

/** @param {Paper} p @param {{css: number, each: number}} high @param {boolean} [marked] */
function sceneOf(p, high, marked = true) {
  return p.scene(high.css + high.each * Math.min(MOST_LANES - 2, Math.max(0, p.lanes - 2)), marked);
}

/** @param {...string} names */
function lines(...names) {
  return h("p", { class: "sheet-line" }, names.flatMap((name) => [h("span", {}, name), h("i", {})]));
}

/** @param {[string, string][]} rows */
function settings(rows) {
  return h("dl", { class: "sheet-settings" }, rows.filter((r) => r[1]).flatMap(([term, text]) => [h("dt", {}, term), h("dd", {}, text)]));
}

/** @param {Paper} p @param {string} name */
function head(p, name) {
  return h("header", { class: "sheet-head" }, h("h1", {}, p.title, p.invented ? " " : null, p.invented ? h("b", { class: "sheet-invented" }, INVENTED) : null), h("span", {}, name));
}

/** @param {Scene} scene @param {Paper} p @param {string} question */
function handout(scene, p, question) {
  return [
    head(p, W.handout), lines(W.name, W.date), drawing(scene, p.title), settings(p.settings),
    h("p", { class: "sheet-hint" }, W.drawHere), h("div", { class: "sheet-grid" }, drawing(gridScene(GRID_MM), W.drawHere, 1 / UNITS_PER_MM)),
    question ? h("p", { class: "sheet-question" }, question) : null, lines(W.answer), ...Array.from({ length: ANSWER_LINES - 1 }, () => lines("")),
  ];
}

/** @param {Scene} scene @param {Paper} p @param {Judged} j */
function labSheet(scene, p, j) {
  const beat = j.typical
    ? [drawing(typicalScene(j.typical), W.typicalBeat), h("p", { class: "sheet-hint" }, j.typical.words)]
    : [h("p", { class: "sheet-hint" }, W.noTypicalBeat)];
  return [
    head(p, W.labSheet), lines(W.name), drawing(scene, p.title),
    h("div", { class: "sheet-pair" }, h("section", {}, h("h2", {}, W.typicalBeat), ...beat), h("section", {}, h("h2", {}, W.settings), settings([...p.settings, ...j.settings]))),
    h("h2", {}, W.check, " ", h("small", {}, j.of)), j.report ? h("div", { class: "sheet-check" }, meters(j.report)) : h("p", {}, W.noFigures),
    h("span", { class: "sheet-spring" }),
  ];
}

/** Check's topics: grade, figures, verdict, remedy. @param {Report} report */
function meters(report) {
  return SECTIONS.map((s) => {
    const verdicts = (report.verdicts ?? []).filter((v) => s.topics.includes(v.topic));
    const grade = worst(verdicts);
    const rows = figures(s.id, report);
    return h("section", {}, h("h3", {}, s.title, " ", h("span", { class: "sheet-grade" }, `${SIGNS[grade]} ${grade}`)),
      rows.length > 0 ? h("p", {}, rows.flatMap(([term, value], i) => [i > 0 ? "; " : "", `${term}: `, h("b", {}, value)])) : null,
      verdicts.flatMap((v) => [h("p", {}, typeset(v.text)), v.remedy ? h("p", { class: "sheet-remedy" }, typeset(v.remedy)) : null]));
  });
}

/** Letters as large as one page has room for. @param {HTMLElement} sheet */
function fit(sheet) {
  for (let k = 1; k <= FITS && sheet.scrollHeight > sheet.clientHeight; k++) sheet.dataset.fit = String(k);
}

class PaperDialog {
  constructor() {
    /** @type {Paper|null} */
    this.paper = null;
    /** @type {HTMLElement|null} */
    this.sheet = null;
    /** @type {AbortController|null} */
    this.asking = null;
    this.what = h("p", { class: "hint", "data-testid": "sheet-what" });
    this.state = h("p", { role: "status", class: "hint" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "sheet-error" });
    this.question = h("input", { type: "text", id: "sheet-question", "data-testid": "sheet-question", maxlength: "200", placeholder: W.howManyBeats });
    this.marks = h("input", { type: "checkbox", id: "sheet-marks", "data-testid": "sheet-marks" });
    this.marks.checked = true;
    const options = h("div", { class: "sheet-options" }, h("label", { for: "sheet-question" }, W.questionOnTheHandout), this.question, h("label", { class: "check" }, this.marks, h("span", {}, W.markTheBeats)));
    const choice = (/** @type {string} */ id, /** @type {string} */ name, /** @type {string} */ text, /** @type {(p: Paper, scene: Scene) => void} */ run, /** @type {(p: Paper) => Scene|null} */ draw) => {
      const b = button(id, "", () => {
        const scene = this.paper && draw(this.paper);
        if (this.paper && scene) run(this.paper, scene);
      }, { class: "choice" });
      b.append(h("b", {}, name), h("span", {}, text));
      return b;
    };
    this.choices = [
      choice("sheet-handout", W.handout, W.onTheHandout, (p, scene) => this.#print(handout(scene, p, this.question.value.trim())), (p) => sceneOf(p, HANDOUT_SCENE, this.marks.checked)),
      choice("sheet-lab", W.labSheet, W.onTheLabSheet, (p, scene) => void this.#lab(p, scene), (p) => sceneOf(p, LAB_SCENE)),
    ];
    this.dialog = dialog("sheet-dialog", W.paper, this.what, this.error, options, h("div", { class: "choice-list" }, this.choices), this.state, h("p", { class: "hint" }, W.onePageUpright));
    this.dialog.addEventListener("close", () => {
      this.asking?.abort();
      this.paper?.closed?.();
    });
    window.addEventListener("afterprint", () => this.#clear());
  }

  /** @param {Paper} p */
  show(p) {
    if (this.dialog.open) return;
    this.paper = p;
    const ready = sceneOf(p, HANDOUT_SCENE) !== null;
    setText(this.error, "");
    setText(this.what, ready ? p.what : W.nothingIsDrawnYet);
    this.#wait("", !ready);
    this.dialog.showModal();
  }

  /** @param {string} text @param {boolean} [disabled] */
  #wait(text, disabled = text !== "") {
    setText(this.state, text);
    for (const b of this.choices) b.disabled = disabled;
  }

  /** @param {Paper} p @param {Scene} scene */
  async #lab(p, scene) {
    const asking = new AbortController();
    this.asking = asking;
    setText(this.error, "");
    this.#wait(W.workingOutTheFigures);
    try {
      const judged = await p.judged(asking.signal);
      if (!asking.signal.aborted) this.#print(labSheet(scene, p, judged));
    } catch (e) {
      if (!asking.signal.aborted) setText(this.error, e instanceof Error ? e.message : String(e));
    } finally {
      if (this.asking === asking) this.#wait("");
    }
  }

  /** @param {(Element|null)[]} content */
  #print(content) {
    this.#clear();
    this.sheet = h("article", { class: "print-sheet", "data-testid": "print-sheet" }, ...content, h("footer", {}, AID));
    document.body.append(this.sheet);
    fit(this.sheet);
    this.dialog.close();
    window.print();
  }

  #clear() {
    this.sheet?.remove();
    this.sheet = null;
  }
}

/** The rows that all sheets have. @param {{source: string, time: string, rateHz: number}} s @returns {[string, string][]} */
export function commonSettings(s) {
  return [[W.source, s.source], [W.time, s.time], [W.sampleRate, s.rateHz > 0 ? rate(s.rateHz) : ""]];
}

/** @type {PaperDialog|null} */
let one = null;

/** Offers what is seen as a handout or a lab sheet. @param {Paper} paper */
export function putOnPaper(paper) {
  one ??= new PaperDialog();
  one.show(paper);
}
