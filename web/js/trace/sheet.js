// What the trace is drawn from: its lanes as plain data, for the screen and for paper.

import { ColumnCache } from "../columns.js";
import { duration } from "../format.js";
import { PAPER_CSS } from "../scene/picture.js";
import { places, sheetScene } from "../scene/sheet.js";
import { fiducial } from "../store.js";
import { curveOf } from "./curve.js";
import { GUESS_MM_PER_CSS } from "./paper.js";
import { View } from "./view.js";
import { traceSheetWords as W } from "../words.js";

/** @import {Gap} from "../types.js" */
/** @import {Item, Scene} from "../scene/scene.js" */
/** @import {BeatMark, Sheet} from "../scene/sheet.js" */
/** @import {Lane} from "./lanes.js" */
/** @import {TracePanel} from "./trace.js" */

/** Beats closer than this have no rings and intervals. */
const DENSE_BEATS_CSS = 9;
/** Points whose curve carries rings at the beats. */
const RINGED = [0, 4];
/** On paper: high for up to two lanes and each further one, columns for one of CSS. */
const PAPER_HEIGHT_CSS = 340;
const PAPER_LANE_CSS = 120;
const PAPER_LEFT_CSS = 52;
const PAPER_FOOT_CSS = 18;
const PAPER_RATIO = 4;

/** Where a view lies: ratio is the view's pixels for one of CSS. @typedef {{view: View, caches: ColumnCache[], ratio: number, left: number, width: number, height: number, mmPerCss: number, named: boolean}} Place */

/**
 * What a view of the lanes is drawn from.
 * @param {TracePanel} t
 * @param {Place} on
 * @returns {Sheet}
 */
export function sheetOf(t, on) {
  const { rings, overlaid, paper } = t;
  const { view, ratio, left, width, height } = on;
  const at = places(t.lanes.length, height, overlaid);
  const seen = (/** @type {Gap} */ g) => g.index <= view.end && g.index + g.samples >= view.indexAt(0);
  const gap = (/** @type {string} */ words) => (/** @type {Gap} */ g) => ({ index: g.index, samples: g.samples, text: W.gap(duration(g.samples / view.rateHz), words || g.reason ? ": " + (words || g.reason) : "") });
  return {
    width, height, left, x0: left + view.xPx(0) / ratio, perSample: 1 / (view.samplesPerPx * ratio), rateHz: view.rateHz, overlaid,
    mmSamples: on.mmPerCss > 0 ? view.rateHz / paper.mmPerSecond : 0,
    lanes: t.lanes.map((l, i) => {
      const first = t.lanes.findIndex((o) => o.probe.channel === l.probe.channel) === i;
      return {
        name: on.named ? t.laneName(l) : "", unit: l.unit, colour: t.colourOf(l), style: t.styleOf(l), ...at[i], low: l.low, high: l.high,
        curve: rings && curveOf(rings, l.probe, view, { cache: on.caches[i], ratio, left }),
        beats: overlaid && !first ? [] : beatsOf(t, l, on), signs: first, mmVolts: l.trueSpan > 0 ? 1 / paper.mmPerVolt : 0,
      };
    }),
    gaps: [...t.gaps.filter(seen).map(gap("")), ...t.holes.filter(seen).map(gap(W.lostOnTheWayTo))],
    notes: t.notes, cursors: t.cursors.on ? t.cursors : null, ...(on.named ? { unwritten: W.unwritten } : {}),
  };
}

/** How many intervals to each side an interval is compared with. */
const BESIDE = 4;

/**
 * Whether an interval is about two of those beside it, which are even: a beat between may be missing.
 * @param {number[]} intervals 0: none
 * @param {number} i
 */
export function mayMiss(intervals, i) {
  const beside = [...intervals.slice(Math.max(0, i - BESIDE), i), ...intervals.slice(i + 1, i + 1 + BESIDE)].filter((v) => v > 0).sort((a, b) => a - b);
  if (beside.length < BESIDE) return false;
  const times = intervals[i] / beside[beside.length >> 1];
  return beside[beside.length - 1] <= 1.4 * beside[0] && times >= 1.7 && times <= 2.3;
}

/**
 * @param {TracePanel} t
 * @param {Lane} lane
 * @param {Place} on
 * @returns {BeatMark[]}
 */
function beatsOf(t, lane, { view, ratio }) {
  const { channel, point } = lane.probe;
  const { rings } = t;
  const list = t.beats[channel];
  if (!list || !rings) return [];
  const seen = list.beats.slice(list.indexFrom(view.indexAt(0)), list.indexFrom(view.end + 1));
  const dense = seen.length * DENSE_BEATS_CSS * ratio > view.widthPx;
  const ringed = !dense && RINGED.includes(point);
  // Of a pulse from foot to foot, as in the Intervals drawer.
  const intervals = seen.map((b, i) => (i > 0 ? fiducial(b) - fiducial(seen[i - 1]) : 0));
  return seen.map((b, i) => {
    /** @type {BeatMark} */
    const mark = { sample: b.sample, good: b.quality >= 0.5 };
    if (dense) return mark;
    if (ringed) mark.value = rings.at(channel, point, b.sample);
    if (ringed && fiducial(b) < b.sample) mark.foot = { sample: b.foot, value: rings.at(channel, point, b.foot) };
    const samples = intervals[i];
    if (samples > 0 && samples <= 3 * view.rateHz) {
      mark.text = `${Math.round((samples / view.rateHz) * 1000)} ms`;
      if (mayMiss(intervals, i)) mark.more = W.mayMiss(mark.text);
    }
    return mark;
  });
}

/** The prediction over its lane. @param {TracePanel} t @param {Sheet} s @returns {Item[]} */
function ghostItems(t, s) {
  const { ghost } = t;
  const lane = ghost && s.lanes[t.lanes.findIndex((l) => l.probe.channel === ghost.channel && l.probe.point === 0)];
  if (!ghost || !lane) return [];
  const step = Math.max(1, Math.floor(1 / s.perSample));
  const x0 = s.x0 + ghost.first * s.perSample;
  const from = Math.max(0, Math.ceil((s.left - x0) / s.perSample / step) * step);
  const to = Math.min(ghost.values.length, Math.floor((s.width - x0) / s.perSample) + 1);
  /** @type {number[]} */
  const x = [];
  /** @type {number[]} */
  const y = [];
  for (let i = from; i < to; i += step) {
    x.push(x0 + i * s.perSample);
    y.push(lane.top + lane.height * (1 - (ghost.values[i] - lane.low) / (lane.high - lane.low)));
  }
  if (x.length === 0) return [];
  const cut = y.some((v) => v < lane.top || v > lane.top + lane.height);
  return [{ kind: "clip", x: s.left, y: lane.top, width: s.width - s.left, height: lane.height, items: [
    { kind: "path", x, y, colour: "trace1", width: 1.8, dash: [6, 4] },
    { kind: "words", x: x[x.length - 1] - 6, y: lane.top + lane.height - 10, text: cut ? W.predictedCut : "predicted", colour: "trace1", size: 11, align: "right" },
  ] }];
}

/** @param {TracePanel} t @param {Sheet} s @returns {Sheet} with what lies over the traces */
export function withOver(t, s) {
  return { ...s, over: [...ghostItems(t, s), ...(t.annotate?.(s) ?? [])] };
}

/**
 * What is seen, for a sheet of paper: as much of it as there is room for where millimetres are true.
 * @param {TracePanel} t
 * @param {number} [height] without the line that says millimetres
 * @returns {Scene|null}
 */
export function paperScene(t, height = PAPER_HEIGHT_CSS + Math.max(0, t.lanes.length - 2) * (t.overlaid ? 0 : PAPER_LANE_CSS)) {
  const { rings, lanes, mm } = t;
  if (!rings || lanes.length === 0) return null;
  const trueScale = t.paper.on || t.printTrue;
  const mmPerCss = trueScale ? GUESS_MM_PER_CSS : 0; // of CSS's own inch
  const view = Object.assign(new View(), t.view, { widthPx: (PAPER_CSS - PAPER_LEFT_CSS) * PAPER_RATIO });
  if (trueScale) view.secondsAcross = mm.across((PAPER_CSS - PAPER_LEFT_CSS) * mmPerCss);
  const s = sheetOf(t, { view, caches: lanes.map(() => new ColumnCache(view.widthPx)), ratio: PAPER_RATIO, left: PAPER_LEFT_CSS, width: PAPER_CSS, height, mmPerCss, named: true });
  if (!trueScale) return sheetScene(withOver(t, s));
  mm.settle();
  s.lanes.forEach((l, i) => {
    const span = mm.span(lanes[i], l.height * mmPerCss);
    const middle = (l.low + l.high) / 2;
    Object.assign(l, span > 0 ? { low: middle - span / 2, high: middle + span / 2, mmVolts: 1 / t.paper.mmPerVolt } : { mmVolts: 0 });
  });
  const scene = sheetScene(withOver(t, s));
  return { ...scene, height: height + PAPER_FOOT_CSS, items: [...scene.items, { kind: "words", x: PAPER_CSS - 4, y: height + PAPER_FOOT_CSS / 2, text: mm.text(true), colour: "ink", size: 11, align: "right" }] };
}
