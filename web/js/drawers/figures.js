// What the Check drawer says about a report (dsp/meter): topics in order, figures
// in words, differences between two reports, the parts a trimmer is set with. No DOM.

import { duration, fixed, quantity, significant } from "../format.js";
import { drawerFiguresWords as W } from "../words.js";

/** @import * as Wire from "../wire.js" */
/** @typedef {Wire.Verdict["grade"]} Grade */
/** @typedef {Omit<Wire.Verdict, "code"> & {code?: string}} Verdict */
/** A meter.Report, see dsp/meter/report.go. @typedef {Wire.Report} Report */

/** Sections of the drawer and the verdicts' topics each takes. @type {{id: string, title: string, topics: string[]}[]} */
export const SECTIONS = [
  { id: "hum", title: W.hum, topics: ["hum"] },
  { id: "level", title: W.levelAndSwing, topics: ["signal", "swing"] },
  { id: "clipping", title: W.clipping, topics: ["clipping"] },
  { id: "noise", title: W.noise, topics: ["noise"] },
  { id: "drift", title: W.drift, topics: ["drift"] },
  { id: "settling", title: W.settling, topics: ["settling"] },
  { id: "polarity", title: W.polarity, topics: ["polarity"] },
];

/** Signs that tell grades apart without colour. */
export const SIGNS = { good: "✓", fair: "~", poor: "✗", unknown: "?" };

const ORDER = ["poor", "fair", "unknown", "good"];

/**
 * The worst grade of some verdicts; unknown when there is none.
 * @param {Verdict[]} verdicts
 * @returns {Grade}
 */
export function worst(verdicts) {
  for (const g of ORDER) if (verdicts.some((v) => v.grade === g)) return /** @type {Grade} */ (g);
  return "unknown";
}

/** A true minus sign before numbers in a sentence of the server. @param {string} text */
export function typeset(text) {
  return text.replace(/(^|[\s(])-(?=\d)/g, "$1−");
}

/** @param {number} share 0…1 */
export function percent(share) {
  if (!Number.isFinite(share)) return "–";
  if (share === 0) return "0 %";
  const p = 100 * share;
  return (Math.abs(p) < 0.01 ? W.under001 : p >= 10 ? fixed(p, 0) : significant(p, 2)) + " %";
}

/** @param {number} db */
export function decibels(db) {
  return Number.isFinite(db) ? fixed(db, 1) + " dB" : "–";
}

/**
 * The figures of a section: term and value; the value says why it is not known.
 * @param {string} id
 * @param {Report} r
 * @returns {[string, string][]}
 */
export function figures(id, r) {
  const u = r.unit;
  const q = (/** @type {number} */ v) => quantity(v, u);
  const known = (/** @type {{known: boolean, reason: string}} */ group, /** @type {() => string} */ text) => (group.known ? text() : group.reason ? W.notKnown + typeset(group.reason) : W.notKnown2);
  switch (id) {
    case "level": {
      const l = r.level;
      return [
        [W.fromTo, known(l, () => `${q(l.lowVolts)} to ${q(l.highVolts)}`)],
        [W.swing, known(l, () => q(l.swingVolts) + (l.railKnown ? W.ofThe(percent(l.railShare), l.railReason ? W.convertersRange : "supply") : ""))],
        [W.mean, known(l, () => q(l.meanVolts) + (l.midRailKnown ? `, ${q(Math.abs(l.midRailOffsetVolts))} ${l.midRailOffsetVolts < 0 ? "below" : "above"} mid-rail` : ""))],
        [W.pulseHeight, known(r.pulse, () => q(r.pulse.heightVolts) + (r.pulse.beats > 0 ? W.beats(r.pulse.beats) : W.fromTheSwing))],
      ];
    }
    case "clipping": {
      const c = r.clipping;
      const converter = !c.converterKnown ? W.notKnown + typeset(c.converterReason) : c.converterLowShare + c.converterHighShare === 0 ? "none" : W.atTheBottomAtThe(percent(c.converterLowShare), percent(c.converterHighShare));
      const flat = (/** @type {number} */ share, /** @type {number} */ at) => (share > 0 ? `${percent(share)} at ${q(at)}` : "none");
      return [
        [W.atTheConvertersEnds, converter],
        [W.flatTops, known(c, () => flat(c.flatHighShare, c.flatHighVolts))],
        [W.flatBottoms, known(c, () => flat(c.flatLowShare, c.flatLowVolts))],
      ];
    }
    case "hum": {
      const m = r.hum;
      if (m.known && !m.found) return [[W.hum, W.noneFoundItWouldBe(q(m.limitVoltsRms))]];
      return [
        [W.hum, known(m, () => `${q(m.voltsRms)} rms`)],
        [W.againstThePulse, m.known && m.toPulseKnown ? decibels(m.toPulseDb) : W.notKnown2],
        [W.frequency, known(m, () => significant(m.freqHz, 4) + " Hz")],
      ];
    }
    case "noise": {
      const n = r.noise;
      const root = u + "/√Hz";
      return [
        [W.density, known(n, () => W.aboutHz(quantity(n.voltsPerRootHz, root), significant(n.centreHz, 2)))],
        [W.convertersOwnLimit, n.converterKnown ? quantity(n.limitVoltsPerRootHz, root) : W.notKnown + typeset(n.converterReason)],
        [W.total, known(n, () => (n.converterKnown ? W.converterStepsRms(significant(n.rmsInSteps, 2)) : "–"))],
        [W.inTheHeartbeatsBand, known(n, () => q(n.inHeartbeatBandVolts) + " rms")],
      ];
    }
    case "drift": {
      const d = r.drift;
      return [
        [W.slopeOver(duration(r.seconds)), known(d, () => (r.seconds < 60 ? q(d.voltsPerMinute / 60) + W.aSecond : q(d.voltsPerMinute) + W.aMinute))],
        [W.wander, known(d, () => q(d.swingVolts))],
      ];
    }
    case "settling": {
      const s = r.settling;
      if (!s.known) return [];
      return [[W.afterAStepOf + q(s.stepVolts), duration(s.seconds)]];
    }
    default:
      return [];
  }
}

/** What two reports are compared in. `ratio`: told in dB too. @type {{name: string, unit: string, digits?: number, ratio?: boolean, value: (r: Report) => number}[]} */
const COMPARED = [
  { name: W.swing, unit: "V", value: (r) => (r.level.known ? r.level.swingVolts : NaN) },
  { name: W.meanLevel, unit: "V", value: (r) => (r.level.known ? r.level.meanVolts : NaN) },
  { name: W.pulseHeight, unit: "V", ratio: true, value: (r) => (r.pulse.known ? r.pulse.heightVolts : NaN) },
  { name: W.clipped, unit: "%", value: (r) => (r.clipping.known || r.clipping.converterKnown ? 100 * (r.clipping.converterLowShare + r.clipping.converterHighShare + r.clipping.flatLowShare + r.clipping.flatHighShare) : NaN) },
  { name: W.humRms, unit: "V", ratio: true, value: (r) => (r.hum.found ? r.hum.voltsRms : NaN) },
  { name: W.humToPulse, unit: "dB", value: (r) => (r.hum.toPulseKnown ? r.hum.toPulseDb : NaN) },
  { name: W.noise, unit: "V/√Hz", ratio: true, value: (r) => (r.noise.known ? r.noise.voltsPerRootHz : NaN) },
  { name: W.wander, unit: "V", value: (r) => (r.drift.known ? r.drift.swingVolts : NaN) },
  { name: W.settling, unit: "s", value: (r) => (r.settling.known ? r.settling.seconds : NaN) },
];

/**
 * Before and after side by side, with the change from one to the other.
 * @param {Report} before
 * @param {Report} after
 * @returns {{name: string, before: string, after: string, change: string}[]}
 */
export function compare(before, after) {
  return COMPARED.map((c) => {
    const unitOf = (/** @type {Report} */ r) => c.unit.replace(/^V/, r.unit);
    const show = (/** @type {number} */ v, /** @type {string} */ unit) => (!Number.isFinite(v) ? "–" : unit === "dB" ? decibels(v) : unit === "%" ? percent(v / 100) : quantity(v, unit));
    const a = c.value(before);
    const b = c.value(after);
    let change = "–";
    if (Number.isFinite(a) && Number.isFinite(b) && before.unit === after.unit) {
      if (c.ratio && a > 0 && b > 0) change = signed(decibels(20 * Math.log10(b / a)));
      else change = signed(show(b - a, unitOf(after)));
    }
    return { name: c.name, before: show(a, unitOf(before)), after: show(b, unitOf(after)), change };
  });
}

/** @param {string} text */
function signed(text) {
  return text === "–" || text.startsWith("−") || /^0(\.0*)?(\s|$)/.test(text) ? text : "+" + text;
}

// --- trimmer and parts ---------------------------------------------------------

/** The slider's stops: 0 … STOPS are 1 … 200 Hz, one further is "out". */
export const STOPS = 120;
const LOW_HZ = 1;
const HIGH_HZ = 200;

/**
 * The corner at a stop, 0 for "out".
 * @param {number} stop
 */
export function stopToHz(stop) {
  if (stop > STOPS) return 0;
  return Number((LOW_HZ * (HIGH_HZ / LOW_HZ) ** (Math.max(0, stop) / STOPS)).toPrecision(3));
}

/**
 * The stop nearest to a corner.
 * @param {number} hz 0: out
 */
export function hzToStop(hz) {
  if (!(hz > 0)) return STOPS + 1;
  return Math.min(STOPS, Math.max(0, Math.round((STOPS * Math.log(hz / LOW_HZ)) / Math.log(HIGH_HZ / LOW_HZ))));
}

/** @type {Record<string, number>} */
const PREFIX = { p: 1e-12, n: 1e-9, u: 1e-6, µ: 1e-6, μ: 1e-6, m: 1e-3, "": 1, R: 1, r: 1, k: 1e3, K: 1e3, M: 1e6 };

/**
 * A part's value as people write it: "4.7k", "4k7", "100 nF", "0,1 µF", "10 kΩ".
 * @param {string} text
 * @param {"F"|"Ω"} unit
 * @returns {number|null} null when empty, NaN when it cannot be read
 */
export function parsePart(text, unit) {
  const t = text.replace(/\s+/g, "").replace(",", ".");
  if (t === "") return null;
  const bare = t.replace(unit === "F" ? /(F|f)$/ : /(Ω|Ω|ohms?|Ohms?)$/, "");
  const infix = /^(\d+)([pnuµμmRrkKM])(\d+)$/.exec(bare);
  if (infix) return PREFIX[infix[2]] * Number(`${infix[1]}.${infix[3]}`);
  const plain = /^(\d+\.?\d*|\.\d+)(e[+-]?\d+)?([pnuµμmRrkKM]?)$/.exec(bare);
  if (!plain) return NaN;
  return Number(plain[1] + (plain[2] ?? "")) * PREFIX[plain[3]];
}

/**
 * A part's value to read, "4.70 kΩ", "1.00 µF", "22.0 MΩ".
 * @param {number} v
 * @param {"F"|"Ω"} unit
 * @param {number} [digits]
 */
export function part(v, unit, digits = 3) {
  if (!Number.isFinite(v)) return "–";
  if (v >= 999_500) return significant(v / 1e6, digits) + "\u00a0M" + unit;
  if (v < 1e-9) return significant(v / 1e-12, digits) + "\u00a0p" + unit;
  return quantity(v, unit, digits);
}

/** Hum of two minutes for each channel, by the page's clock. */
export class HumStrip {
  /** @param {number} [seconds] */
  constructor(seconds = 120) {
    this.seconds = seconds;
    /** @type {{at: number, hum: number, found: boolean, goal: number}[]} */
    this.points = [];
  }

  clear() {
    this.points.length = 0;
  }

  /**
   * Takes over what the server noted before this page looked.
   * @param {number} nowSeconds
   * @param {Wire.HumPoint[]} past oldest first
   */
  fill(nowSeconds, past) {
    const own = this.points;
    this.points = [];
    for (const p of past) this.add(nowSeconds - p.agoSeconds, p);
    const last = this.points.length > 0 ? this.points[this.points.length - 1].at : -Infinity;
    this.points.push(...own.filter((p) => p.at > last));
  }

  /**
   * @param {number} atSeconds
   * @param {Pick<Wire.HumPoint, "hum"|"pulse">} r
   */
  add(atSeconds, r) {
    const m = r.hum;
    // Peak to peak 1 % of the pulse is −40 dB.
    const goal = r.pulse.known ? (r.pulse.heightVolts * 0.01) / (2 * Math.SQRT2) : NaN;
    this.points.push({ at: atSeconds, hum: m.known ? (m.found ? m.voltsRms : m.limitVoltsRms) : NaN, found: m.found === true, goal });
    while (this.points.length > 0 && this.points[0].at < atSeconds - this.seconds) this.points.shift();
  }

  /**
   * Lowest and highest value for a logarithmic axis, at least a decade; null without one.
   * @returns {{low: number, high: number}|null}
   */
  extent() {
    let low = Infinity;
    let high = -Infinity;
    for (const p of this.points) {
      for (const v of [p.hum, p.goal]) {
        if (!(v > 0)) continue;
        low = Math.min(low, v);
        high = Math.max(high, v);
      }
    }
    if (!(high > 0)) return null;
    low /= 1.5;
    high *= 1.5;
    const short = Math.sqrt(10 / (high / low));
    return short > 1 ? { low: low / short, high: high * short } : { low, high };
  }
}

/**
 * What the meters know of the wire where no rate is read, for the line beside the rate; "" where
 * they know nothing. The limits are those of the verdict on the swing (dsp/meter).
 * @param {Report|undefined} r
 */
export function wireHint(r) {
  if (r?.level.stuck) return W.theSignalStandsStillUse;
  const hum = r?.hum;
  if (hum?.known && hum.found && hum.toPulseKnown && (hum.toPulseDb > 0 || (r?.pulse.beats === 0 && hum.toPulseDb > -6))) return W.mostlyMainsHumComesUse;
  return "";
}
