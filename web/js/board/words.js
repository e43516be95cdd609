// Boards in words and numbers: parts as text, what a stage is called, what changed. No DOM.

import { fixed, quantity, significant } from "../format.js";
import { boardWordsWords as W } from "../words.js";

const NBSP = "\u00a0";

/** @import * as Wire from "../wire.js" */
/** @typedef {Wire.PartObject} PartObject */
/** @typedef {number|string|PartObject} Part */
/** @typedef {Wire.Stage} BoardStage */
/** A `*.board.json`, see dsp/board/FORMAT.md. @typedef {Wire.Board} Board */
/** @typedef {Wire.RoleInfo} Role */
/** @typedef {Wire.KindInfo} StageKind */

/** What stages are called on the page. @type {Record<string, string>} */
const TITLES = {
  phototransistor: W.phototransistor, photodiode: W.photodiode, electrodes: W.electrodes, generator: W.sourceOfVolts,
  difference: W.differenceAmplifier, instrumentation: W.instrumentationAmplifier, coupling: W.coupling,
  "non-inverting": W.gain, inverting: W.invertingGain, "low-pass": "Low-pass", "sallen-key": "Sallen–Key", buffer: W.buffer, divider: W.divider,
};

/**
 * Volts at the board's output as the channel shows them.
 * @param {number[]} volts
 * @param {{gain: number, invert: boolean, midRailVolts: number|null}} scale
 */
export function asShown(volts, scale) {
  const gain = scale.gain || 1;
  const turn = 2 * (scale.midRailVolts ?? 0);
  return volts.map((v) => (scale.invert ? turn - v : v) / gain);
}

/** @param {BoardStage} stage */
export function stageTitle(stage) {
  return stage.name || TITLES[stage.stage] || stage.stage;
}

/** @param {string} kind */
export function kindTitle(kind) {
  return TITLES[kind] ?? kind;
}

/** What parts are called. @type {Record<string, string>} */
const ROLES = {
  load: "load", lamp: W.lampsCurrent, transfer: W.lightThatArrives, capacitance: W.sensorsOwn, series: W.inEachWire, third: W.thirdElectrode, skin: W.skinEach, bias: W.toTheMiddleEach,
  source: "source", in: "in", feedback: "feedback", feedbackCapacitor: W.acrossIt, arm: W.armEach, gain: W.setsTheGain, capacitor: "capacitor", resistor: "resistor", leg: "leg",
  legCapacitor: W.inTheLeg, inCapacitor: W.atTheInput, trimmer: "trimmer", first: "first", second: "second", top: "upper", bottom: "lower",
};

/** @param {string} role */
export function roleTitle(role) {
  return ROLES[role] ?? role;
}

const EXPONENTS = /** @type {Record<string, string>} */ ({ p: "e-12", n: "e-9", u: "e-6", "µ": "e-6", "μ": "e-6", m: "e-3", R: "e0", k: "e3", K: "e3", M: "e6", G: "e9" });

/**
 * Reads "4k7", "10 kΩ", "100 nF", "0,47u", "1e-6"; NaN when it is no value.
 * @param {string} text
 */
export function parseValue(text) {
  const s = text.trim().replace(",", ".").replace("−", "-").replace(/\s*(?:Ω|ohm|F|A)$/, "").trim();
  if (/^\d+(?:\.\d*)?(?:[eE][-+]?\d+)?$/.test(s)) return Number(s);
  const plain = /^(\d+(?:\.\d*)?)\s*([pnuµμmkKMGR])$/.exec(s);
  if (plain) return Number(plain[1] + EXPONENTS[plain[2]]);
  const inside = /^(\d+)([pnuµμmkKMGR])(\d+)$/.exec(s);
  if (inside) return Number(`${inside[1]}.${inside[3]}${EXPONENTS[inside[2]]}`);
  return NaN;
}

/**
 * A part's value with its unit: "4.7 kΩ".
 * @param {number} value
 * @param {string} unit
 */
export function valueText(value, unit) {
  if (unit === "") return significant(value, 3);
  for (const [prefix, factor] of /** @type {[string, number][]} */ ([["G", 1e9], ["M", 1e6], ["k", 1e3], ["", 1], ["m", 1e-3], ["µ", 1e-6], ["n", 1e-9], ["p", 1e-12]])) {
    if (Math.abs(value) >= factor * (1 - 1e-9) || prefix === "p") return String(Number((value / factor).toPrecision(4))) + NBSP + prefix + unit;
  }
  return String(value);
}

/**
 * A part as an object, its text read.
 * @param {Part|undefined} part
 * @returns {PartObject|null}
 */
export function partOf(part) {
  if (part === undefined) return null;
  if (typeof part === "number") return { value: part };
  if (typeof part === "string") return { value: parseValue(part) };
  return { ...part, value: typeof part.value === "number" ? part.value : parseValue(String(part.value)) };
}

/** @param {string} role @param {Part} part */
function partText(role, part) {
  const p = partOf(part);
  if (!p) return "";
  const number = Number(p.value);
  if (role === "transfer") return String(number);
  const value = valueText(number, role === "lamp" ? "A" : /apacit/.test(role) ? "F" : "Ω");
  return p.at === undefined ? value : W.turnedTo(value, String(Math.round(100 * p.at)));
}

/**
 * A board in a sentence: supply, stages with their parts, converter.
 * @param {Board} board
 */
export function boardText(board) {
  const { midRail: m, converter: c } = board;
  const list = [W.supply(valueText(board.supplyVolts, "V"))];
  if (m) list.push(W.midRail(partText("top", m.top), partText("bottom", m.bottom)));
  for (const s of board.stages) {
    const parts = Object.entries(s.parts ?? {}).map(([role, part]) => `${roleTitle(role)} ${partText(role, part)}`).join(", ");
    list.push(stageTitle(s) + (parts ? `: ${parts}` : ""));
  }
  if (c) list.push(W.converter(valueText(c.referenceVolts, "V"), c.bits));
  return (board.name ? board.name + ": " : "") + list.join("; ") + ".";
}

/**
 * A copy of a board with a part's value or place changed.
 * @param {Board} board
 * @param {number} stage
 * @param {string} role
 * @param {Partial<PartObject>} change
 * @returns {Board}
 */
export function withPart(board, stage, role, change) {
  const next = structuredClone(board);
  const s = next.stages[stage];
  s.parts ??= {};
  const now = partOf(s.parts[role]) ?? { value: 0 };
  s.parts[role] = { ...now, ...change };
  return next;
}

/** What a new stage begins with. @type {Record<string, Record<string, Part>>} */
const FIRST_PARTS = {
  phototransistor: { load: 10e3, lamp: 0.01, transfer: 0.01 }, photodiode: { load: 1e6, lamp: 0.01, transfer: 1e-4 },
  electrodes: { series: 100e3, third: 100e3 }, generator: { source: 50 },
  difference: { in: 100e3, feedback: 1e6 }, instrumentation: { arm: 22e3, gain: 10e3, in: 10e3, feedback: 10e3 },
  coupling: { capacitor: 1e-6, resistor: 1e6 }, "non-inverting": { feedback: 100e3, leg: 10e3 }, inverting: { in: 10e3, feedback: 100e3 },
  "low-pass": { resistor: 1e3, trimmer: { value: 20e3, at: 0.5 }, capacitor: 1e-6 }, "sallen-key": { first: 10e3, second: 10e3, feedbackCapacitor: 2.2e-6, capacitor: 1e-6 },
  buffer: {}, divider: { top: 10e3, bottom: 10e3 },
};

/**
 * A copy with a stage more, before the place.
 * @param {Board} board
 * @param {number} place
 * @param {string} kind
 * @returns {Board}
 */
export function withStage(board, place, kind) {
  const next = structuredClone(board);
  next.stages.splice(place, 0, { stage: kind, parts: structuredClone(FIRST_PARTS[kind] ?? {}) });
  return next;
}

/** @param {Board} a @param {Board|null} b */
export function sameBoard(a, b) {
  return b !== null && JSON.stringify(a) === JSON.stringify(b);
}

/**
 * What is different between two boards' parts: "R4 10 kΩ → 27 kΩ".
 * @param {{ref: string, unit: string, value: number, at?: number}[]} before
 * @param {{ref: string, unit: string, value: number, at?: number}[]} after
 */
export function differences(before, after) {
  /** @type {string[]} */
  const list = [];
  for (const p of after) {
    const old = before.find((q) => q.ref === p.ref);
    if (!old) list.push(W.added(p.ref, valueText(p.value, p.unit)));
    else if (old.value !== p.value) list.push(`${p.ref} ${valueText(old.value, p.unit)} → ${valueText(p.value, p.unit)}`);
    else if ((old.at ?? 0) !== (p.at ?? 0)) list.push(W.at(p.ref, fixed(100 * (old.at ?? 0), 0), NBSP, fixed(100 * (p.at ?? 0), 0), NBSP));
  }
  for (const q of before) if (!after.some((p) => p.ref === q.ref)) list.push(W.takenOut(q.ref));
  return list;
}

/**
 * What two recordings' boards differ in: "A: R4 10 kΩ, B: 27 kΩ".
 * @param {{ref: string, unit: string, value: number, at?: number}[]} a
 * @param {{ref: string, unit: string, value: number, at?: number}[]} b
 */
export function sideBySide(a, b) {
  const text = (/** @type {{unit: string, value: number, at?: number}|undefined} */ p) => (p ? valueText(p.value, p.unit) + (p.at === undefined ? "" : W.at2(fixed(100 * p.at, 0), NBSP)) : "none");
  const refs = [...new Set([...a, ...b].map((p) => p.ref))];
  return refs.map((ref) => ({ ref, a: text(a.find((p) => p.ref === ref)), b: text(b.find((p) => p.ref === ref)) })).filter((r) => r.a !== r.b).map((r) => `A: ${r.ref} ${r.a}, B: ${r.b}`);
}

/** @param {{lowHz: number|null, highHz: number|null, peakDb: number}} corners */
export function cornersText(corners) {
  const hz = (/** @type {number} */ v) => significant(v, 3) + NBSP + "Hz";
  const band = corners.lowHz && corners.highHz ? `${hz(corners.lowHz)} to ${hz(corners.highHz)}` : corners.highHz ? W.upTo(hz(corners.highHz)) : corners.lowHz ? W.from(hz(corners.lowHz)) : W.allFrequencies;
  return band;
}

/** A gain as people say it: "× 101", or a share. @param {number} db */
export function gainText(db) {
  return "×" + NBSP + significant(10 ** (db / 20), 3);
}

/**
 * The figures of a board: term and value.
 * @param {Wire.Figures} f
 * @param {Wire.Spread|null|undefined} spread
 * @returns {[string, string, string][]} term, value, test id
 */
export function boardFigures(f, spread) {
  const hz = (/** @type {{low: number, high: number}|null} */ r) => (r ? W.n95Of100BoardsTo(significant(r.low, 3), significant(r.high, 3), NBSP) : "");
  const first = f.span.clipsFirst >= 0 ? f.stages[f.span.clipsFirst].title : W.theConverter;
  const loudest = f.noise.sources[0];
  /** @type {[string, string, string][]} */
  const rows = [
    [W.passes, cornersText(f.corners) + hz(spread?.cornerHighHz ?? null), "board-corners"],
    [W.gain, `${gainText(f.corners.peakDb)} (${fixed(f.corners.peakDb, 1)}${NBSP}dB)`, "board-gain"],
    [W.hum50Hz, W.dBAgainstTheBestFrequency(fixed(f.humDb, 1), NBSP), "board-hum"],
    [W.settles, f.settlingSeconds === null ? "never" : quantity(f.settlingSeconds, "s"), "board-settling"],
    [W.span, W.toAtRest(quantity(f.span.lowVolts, "V"), quantity(f.span.highVolts, "V"), quantity(f.span.restVolts, "V")), "board-span"],
    [W.clipsFirst, W.fromAtTheSensor(first, quantity(f.span.inputVolts, "V")), "board-clips"],
    [W.noise, W.rmsToHz(quantity(f.noise.voltsRms, "V"), fixed(f.noise.lowHz, 1), fixed(f.noise.highHz, 0), NBSP, loudest ? W.mostFrom(loudest.name, loudest.what) : ""), "board-noise"],
  ];
  if (spread?.bodyVoltsPerNanoamp) rows.push([W.humIntoTheBody, W.forEachNAOrLess(quantity(spread.bodyVoltsPerNanoamp, "V")), "board-body"]);
  return rows;
}
