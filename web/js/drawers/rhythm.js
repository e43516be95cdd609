// What the Intervals drawer says and where it puts its marks; no DOM here.

import { fixed, qualityWord, significant } from "../format.js";
import { drawerRhythmWords as W } from "../words.js";

/** @typedef {"normal"|"ectopic"|"unsure"|"gap"} IntervalMark */
/** @typedef {{sample: number, atSeconds: number, seconds: number, mark: IntervalMark, quality: number}} Interval */
/** @typedef {{id: string, name: string, unit: string, value: number|null, absent?: string, caveat?: string, neededSeconds: number}} Measure */
/** @typedef {{name: string, spanSeconds: number, usedSeconds: number, intervals: number, used: number, ectopic: number, unsure: number, gaps: number, leftOutShare: number, timingSeconds: number, measures: Measure[]}} Report */
/** @typedef {{perMinute: number|null, absent?: string, quality: number, highestPerMinute: number, signs: {name: string, perMinute: number, clarity: number}[]}} Breathing */
/** @typedef {{medianSeconds: number|null, spreadSeconds: number|null, absent?: string, pairs: number, peaks: number, quality: number, caveat: string}} Arrived */
/** @typedef {Arrived & {ecg: number, pulse: number, ecgLabel: string, pulseLabel: string}} Arrival */
/** @typedef {{channel: string, kind: string, rateHz: number, from: number, to: number, report: Report, intervals: Interval[], edited: {added: number, moved: number, removed: number}, breathing: (Breathing & {atSeconds: number})[], arrival: {ecgLabel: string, pulseLabel: string, at: (Arrived & {atSeconds: number})[]}|null}} RecordedVariability */
/** @typedef {{epoch: number, channel: number, label: string, kind: string, windowSeconds: number, sinceSeconds: number, report: Report, intervals: Interval[], breathing: Breathing, arrival: Arrival|null}} Variability */

const NBSP = "\u00a0";

/** What each measure tells, in plain words. @type {Record<string, string>} */
export const MEANINGS = {
  meanNN: W.theUsualTimeFromBeat,
  meanRate: W.n60OverIt,
  rmssd: W.howMuchNeighbouringIntervalsDiffer,
  pnn50: W.shareOfNeighboursThatDiffer,
  sd1: W.widthOfTheScatterAcross,
  sd2: W.lengthOfTheScatterAlong,
  sdnn: W.spreadOfAllIntervals,
  vlf: W.slowSway,
  lf: W.wavesOfAbout10S,
  hf: W.wavesOfTheBreath,
  lfhf: W.lfPowerOverHFPower,
  triangular: W.allIntervalsOverTheHistograms,
  tinn: W.baseOfTheHistogramsTriangle,
  sdann: W.spreadOfFiveMinuteMeans,
  sdnnIndex: W.meanOfFiveMinuteSpreads,
};

export const MARK_WORDS = { normal: "used", ectopic: W.leftOutOffTheRhythm, unsure: W.leftOutUnsureBeat, gap: W.noIntervalAGap };

/**
 * A measure's value with its unit: times in ms, powers in ms².
 * @param {Measure} m
 */
export function measureText(m) {
  if (m.value === null || m.value === undefined) return "–";
  switch (m.unit) {
    case "s":
      return significant(m.value * 1000, 3) + NBSP + "ms";
    case "s²":
      return significant(m.value * 1e6, 3) + NBSP + "ms²";
    case "%":
      return significant(m.value, 2) + NBSP + "%";
    case "1/min":
      return significant(m.value, 3) + NBSP + W.perMinute;
    default:
      return significant(m.value, 3);
  }
}

/**
 * The measures that have no value, by reason.
 * @param {Measure[]} measures
 * @returns {{reason: string, names: string[]}[]}
 */
export function absentByReason(measures) {
  /** @type {Map<string, string[]>} */
  const by = new Map();
  for (const m of measures) {
    if (m.value !== null && m.value !== undefined) continue;
    const reason = m.absent ?? "";
    const names = by.get(reason) ?? [];
    names.push(shortName(m));
    by.set(reason, names);
  }
  return [...by].map(([reason, names]) => ({ reason, names }));
}

/** A name without its band. @param {Measure} m */
export function shortName(m) {
  return m.name.split(",")[0];
}

/**
 * How many are left out, in a sentence.
 * @param {Report} r
 */
export function leftOut(r) {
  if (r.intervals === 0) return W.noIntervalsYet;
  const out = r.ectopic + r.unsure;
  const all = `${r.intervals} ${r.intervals === 1 ? "interval" : "intervals"}`;
  const gaps = r.gaps > 0 ? W.asNone(r.gaps, r.gaps === 1 ? W.gapCounts : W.gapsCount) : "";
  if (out === 0) return W.noneLeftOut(all, gaps);
  const parts = [];
  if (r.ectopic > 0) parts.push(W.offTheRhythm(r.ectopic));
  if (r.unsure > 0) parts.push(W.besideAnUnsureBeat(r.unsure));
  const share = 100 * r.leftOutShare;
  return W.leftOutDifferencesAreNever(all, share < 1 ? W.under1 : fixed(share, 0), parts.join(", "), gaps);
}

/**
 * The axis in ms that holds the intervals: whole steps of 50 or 100 ms, 200 ms at
 * least, and not ruled by a few that are left out.
 * @param {Interval[]} list
 * @returns {{low: number, high: number}}
 */
export function span(list) {
  const used = list.filter((i) => i.mark === "normal").map((i) => i.seconds * 1000);
  const all = used.length > 0 ? used : list.filter((i) => i.mark !== "gap").map((i) => i.seconds * 1000);
  if (all.length === 0) return { low: 600, high: 1200 };
  let low = Math.min(...all);
  let high = Math.max(...all);
  const middle = (low + high) / 2;
  const half = Math.max(100, (high - low) * 0.6);
  low = middle - half;
  high = middle + half;
  const step = high - low > 600 ? 100 : 50;
  return { low: Math.max(0, Math.floor(low / step) * step), high: Math.ceil(high / step) * step };
}

/**
 * Points of the interval strip: a line through neighbours that are used, and the
 * marks by kind. x is seconds from a moment, y ms; what lies beyond the span is put
 * on its edge.
 * @param {Interval[]} list
 * @param {{low: number, high: number}} range
 * @param {number} zeroSeconds the moment
 */
export function strip(list, range, zeroSeconds) {
  /** @type {Record<"line"|"normal"|"ectopic"|"unsure", {x: number[], y: number[]}>} */
  const out = { line: { x: [], y: [] }, normal: { x: [], y: [] }, ectopic: { x: [], y: [] }, unsure: { x: [], y: [] } };
  let beyond = 0;
  for (const i of list) {
    const x = i.atSeconds - zeroSeconds;
    if (i.mark === "gap") {
      out.line.x.push(x);
      out.line.y.push(NaN);
      continue;
    }
    const ms = i.seconds * 1000;
    const y = Math.min(range.high, Math.max(range.low, ms));
    if (y !== ms) beyond++;
    out[i.mark].x.push(x);
    out[i.mark].y.push(y);
    out.line.x.push(x);
    out.line.y.push(i.mark === "normal" ? y : NaN);
  }
  return { ...out, beyond };
}

/**
 * Points of the scatter in ms: each used interval against the next, where the next
 * is used too.
 * @param {Interval[]} list
 */
export function scatter(list) {
  /** @type {number[]} */
  const x = [];
  /** @type {number[]} */
  const y = [];
  for (let i = 1; i < list.length; i++) {
    if (list[i].mark !== "normal" || list[i - 1].mark !== "normal") continue;
    x.push(list[i - 1].seconds * 1000);
    y.push(list[i].seconds * 1000);
  }
  return { x, y };
}

/**
 * How long before the newest beat.
 * @param {number} seconds
 */
export function agoText(seconds) {
  return seconds < 0.05 ? "newest" : W.before(seconds < 100 ? significant(seconds, 3) + NBSP + "s" : clock(seconds));
}

/**
 * One interval in words.
 * @param {Interval} i
 * @param {string} when it ended
 */
export function intervalText(i, when) {
  if (i.mark === "gap") return W.aGapNoInterval(when);
  return W.msPerMinuteBeats(when, fixed(i.seconds * 1000, 0), NBSP, fixed(60 / i.seconds, 0), MARK_WORDS[i.mark], qualityWord(i.quality));
}

/** @param {number} seconds */
function clock(seconds) {
  return `${Math.floor(seconds / 60)}${NBSP}min ${Math.floor(seconds % 60)}${NBSP}s`;
}

/**
 * @param {Breathing} b
 */
export function breathingText(b) {
  if (b.perMinute === null) return W.cannotTell(b.absent);
  return W.breathsPerMinute(fixed(b.perMinute, 0), b.quality >= 0.8 ? "clear" : b.quality >= 0.6 ? "good" : "fair");
}

/**
 * What the signs say by themselves.
 * @param {Breathing} b
 */
export function signsText(b) {
  const parts = b.signs.map((s) => `${s.name} ${s.perMinute > 0 ? fixed(s.perMinute, 1) : "none"}`);
  const limit = b.highestPerMinute > 0 ? W.upToAMinuteHalf(fixed(b.highestPerMinute, 0)) : "";
  return (parts.length > 0 ? W.fromBeatAMinute(parts.join(", ")) : "") + limit;
}

/**
 * @param {Arrival} a
 */
export function arrivalText(a) {
  if (a.medianSeconds === null) return W.cannotTell(a.absent);
  const word = a.quality >= 0.8 ? "steady" : a.quality >= 0.6 ? W.fairlySteady : "unsteady";
  return W.msFromRToThe(fixed(a.medianSeconds * 1000, 0), NBSP, fixed((a.spreadSeconds ?? 0) * 1000, 0), NBSP, a.pairs, a.peaks, NBSP, word);
}

/**
 * The chief measures that have a value.
 * @param {Report} r
 */
export function chiefParts(r) {
  const parts = [];
  for (const id of ["meanRate", "sdnn", "rmssd"]) {
    const m = r.measures.find((x) => x.id === id);
    if (m && m.value !== null && m.value !== undefined) parts.push(id === "meanRate" ? `${fixed(m.value, 0)}${NBSP}bpm` : `${m.name}${NBSP}${measureText(m)}`);
  }
  return parts;
}

/**
 * Middle and extremes of figures told now and then, in a sentence.
 * @param {(number|null)[]} list null where nothing could be told
 * @param {string} unit behind each figure
 * @returns {string} "" when nothing was told
 */
export function overTime(list, unit) {
  const told = list.filter((v) => v !== null).sort((a, b) => a - b);
  if (told.length === 0) return "";
  const middle = (told[(told.length - 1) >> 1] + told[told.length >> 1]) / 2;
  const range = told.length > 1 ? W.to(fixed(told[0], 0), fixed(told[told.length - 1], 0)) : "";
  return W.inTheMiddleKnownIn(fixed(middle, 0), unit, range, told.length, list.length);
}

/**
 * The chief figures in a line.
 * @param {Variability} v
 */
export function summaryText(v) {
  const parts = chiefParts(v.report);
  if (v.breathing.perMinute !== null) parts.push(W.breathsPerMinute2(fixed(v.breathing.perMinute, 0)));
  if (v.arrival && v.arrival.medianSeconds !== null) parts.push(W.pulseMsAfterR(fixed(v.arrival.medianSeconds * 1000, 0), NBSP));
  return parts.length > 0 ? parts.join(" · ") : "";
}

/**
 * The strip in a sentence, for screen readers.
 * @param {Interval[]} list
 * @param {Report} report
 */
export function stripText(list, report) {
  const used = list.filter((i) => i.mark === "normal").map((i) => i.seconds * 1000);
  if (used.length === 0) return W.intervalStripNoIntervalsYet;
  return W.intervalStripUsedIntervalsFrom(used.length, fixed(Math.min(...used), 0), fixed(Math.max(...used), 0), leftOut(report));
}
