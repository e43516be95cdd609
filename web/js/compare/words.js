// The difference between two stretches in plain words, from the meters' reports. No DOM.

import { decibels, percent, SECTIONS, worst } from "../drawers/figures.js";
import { fixed, quantity, significant } from "../format.js";
import { compareWordsWords as W } from "../words.js";

/** @import {Grade} from "../drawers/figures.js" */
/** @import {Stretch} from "../review/library.js" */

/** Heights closer than this are called alike. */
const ALIKE = 1.1;
/** Hum closer than this, in dB, is called alike. */
const ALIKE_DB = 1.5;
/** @type {Record<string, string>} */
const KINDS = { ecg: W.anECG, pulse: W.aPulse, other: W.anotherSignal };
/** Heights this far apart are not seen on one scale. */
const FAR = 12;
const RANK = { poor: 0, fair: 1, good: 2, unknown: -1 };

/**
 * Grades of the Check drawer's topics, side by side.
 * @param {Stretch} a
 * @param {Stretch} b
 * @returns {{title: string, a: Grade, b: Grade}[]}
 */
export function grades(a, b) {
  const of = (/** @type {Stretch} */ s, /** @type {string[]} */ topics) => worst((s.report.verdicts ?? []).filter((/** @type {{topic: string}} */ v) => topics.includes(v.topic)));
  return SECTIONS.map((s) => ({ title: s.title, a: of(a, s.topics), b: of(b, s.topics) }));
}

/** @param {string[]} list */
function joined(list) {
  return list.length < 2 ? list.join("") : W.and(list.slice(0, -1).join(", "), list[list.length - 1]);
}

/** "2.4 times", "12 %" more or less. @param {number} ratio above 1 */
function times(ratio) {
  return ratio < 1.95 ? `${fixed(100 * (ratio - 1), 0)} %` : W.times(significant(ratio, 2));
}

/** Clipped share of a report, NaN when not known. @param {Stretch["report"]} r */
function clipped(r) {
  const c = r.clipping;
  return c.known || c.converterKnown ? c.converterLowShare + c.converterHighShare + c.flatLowShare + c.flatHighShare : NaN;
}

/** Whether two would not be seen on one scale. @param {Stretch} a @param {Stretch} b */
export function farApart(a, b) {
  if (a.unit !== b.unit) return true;
  const height = (/** @type {Stretch} */ s) => (s.report.pulse.known ? s.report.pulse.heightVolts : s.report.level.known ? s.report.level.swingVolts : 0);
  const ratio = height(a) / height(b);
  return ratio > FAR || ratio < 1 / FAR;
}

/**
 * Sentences on what differs; the first sums up.
 * @param {Stretch} a
 * @param {Stretch} b
 * @returns {string[]}
 */
export function differences(a, b) {
  /** @type {string[]} */
  const said = [];
  const ra = a.report;
  const rb = b.report;
  const list = grades(a, b).filter((g) => g.a !== "unknown" && g.b !== "unknown");
  const better = list.filter((g) => RANK[g.b] > RANK[g.a]).map((g) => g.title.toLowerCase());
  const worse = list.filter((g) => RANK[g.b] < RANK[g.a]).map((g) => g.title.toLowerCase());
  if (better.length > 0 || worse.length > 0) said.push([better.length > 0 ? W.bIsGradedBetterIn(joined(better)) : "", worse.length > 0 ? W.worseIn(better.length > 0 ? "and" : W.bIsGraded, joined(worse)) : ""].filter(Boolean).join(" ") + ".");
  if (a.kind !== b.kind) said.push(W.aIsAndBTheir(KINDS[a.kind] ?? a.kind, KINDS[b.kind] ?? b.kind));
  const alike = a.unit === b.unit;
  const apart = farApart(a, b);
  if (!alike) said.push(W.aIsInAndB(a.unit, b.unit));
  if (alike && ra.pulse.known && rb.pulse.known && ra.pulse.heightVolts > 0 && rb.pulse.heightVolts > 0) {
    const ratio = rb.pulse.heightVolts / ra.pulse.heightVolts;
    const heights = W.inAInB(quantity(ra.pulse.heightVolts, a.unit), quantity(rb.pulse.heightVolts, b.unit));
    if (apart) said.push(W.theTwoLieOnScales(heights));
    else if (ratio < ALIKE && ratio > 1 / ALIKE) said.push(W.theHeartbeatsAreAboutEqually(heights));
    else if (ratio > 1) said.push(ratio < 1.95 ? W.theHeartbeatIsHigherIn(times(ratio), heights) : W.theHeartbeatIsAsHigh(times(ratio), heights));
    else said.push(ratio > 1 / 1.95 ? W.theHeartbeatIsLowerIn(fixed(100 * (1 - ratio), 0), heights) : W.theHeartbeatIsAsHigh2(times(1 / ratio), heights));
  } else if (ra.pulse.known !== rb.pulse.known) said.push(W.theHeartbeatsHeightIsKnown(ra.pulse.known ? "A" : "B"));
  const foundA = ra.hum.known && ra.hum.found;
  const foundB = rb.hum.known && rb.hum.found;
  if (foundA && foundB && ra.hum.toPulseKnown && rb.hum.toPulseKnown) {
    const d = rb.hum.toPulseDb - ra.hum.toPulseDb;
    const both = W.inAInB(decibels(ra.hum.toPulseDb), decibels(rb.hum.toPulseDb));
    said.push(Math.abs(d) < ALIKE_DB ? W.humComparedWithThePulse(both) : W.bHasHumComparedWith(decibels(Math.abs(d)), d < 0 ? "less" : "more", both));
  } else if (foundA && foundB && alike) {
    const ratio = rb.hum.voltsRms / ra.hum.voltsRms;
    said.push(W.humIsRmsInA(quantity(ra.hum.voltsRms, a.unit), quantity(rb.hum.voltsRms, b.unit), decibels(20 * Math.log10(ratio))));
  } else if (foundA !== foundB && ra.hum.known && rb.hum.known) {
    const [with_, name, unit, none] = foundA ? [ra, "A", a.unit, "B"] : [rb, "B", b.unit, "A"];
    said.push(W.hasRmsOfHumIn(name, quantity(with_.hum.voltsRms, unit), none));
  }
  if (ra.noise.known && rb.noise.known && ra.pulse.known && rb.pulse.known) {
    const d = 20 * Math.log10(rb.noise.inHeartbeatBandVolts / rb.pulse.heightVolts / (ra.noise.inHeartbeatBandVolts / ra.pulse.heightVolts));
    if (Number.isFinite(d)) said.push(Math.abs(d) < ALIKE_DB ? W.noiseComparedWithThePulse : W.bHasNoiseComparedWith(decibels(Math.abs(d)), d < 0 ? "less" : "more"));
  }
  const ca = clipped(ra);
  const cb = clipped(rb);
  if (ca > 0 || cb > 0) said.push(W.clippedOfAOfB(ca > 0 ? percent(ca) : "none", cb > 0 ? percent(cb) : "none"));
  if (alike && !apart && ra.drift.known && rb.drift.known && ra.drift.swingVolts > 0 && rb.drift.swingVolts > 0) {
    const ratio = rb.drift.swingVolts / ra.drift.swingVolts;
    if (ratio > 1.5 || ratio < 1 / 1.5) said.push(W.theLevelWandersIn(times(Math.max(ratio, 1 / ratio)), Math.max(ratio, 1 / ratio) < 1.95 ? "more" : W.asFar, ratio > 1 ? "B" : "A"));
  }
  if (a.medianBpm > 0 && b.medianBpm > 0) said.push(W.medianRateBpmInA(significant(a.medianBpm, 3), significant(b.medianBpm, 3)));
  if (better.length + worse.length === 0) {
    // No headline where decibels apart follow.
    const text = W.everyItemHasTheSame;
    if (said.some((s) => /dB (less|more) /.test(s))) said.push(text);
    else said.unshift(text);
  }
  return said;
}
