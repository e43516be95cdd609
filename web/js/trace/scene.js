// Gathers what the trace shows into a scene for export.js, in CSS pixels.

import { clockTime, duration } from "../format.js";
import { between } from "./view.js";
import { traceSceneWords as W } from "../words.js";

/** @import {Scene} from "./export.js" */
/** @import {TracePanel} from "./trace.js" */

/**
 * @param {TracePanel} t
 * @param {string} title
 * @param {string} subtitle
 * @returns {Scene}
 */
export function sceneOf(t, title, subtitle) {
  const { view, ratio, palette } = t;
  const css = (/** @type {number} */ px) => px / ratio;
  const left = css(t.leftPx);
  const width = left + css(view.widthPx);
  const axis = css(t.axisTopPx);
  const xOf = (/** @type {number} */ index) => left + css(view.xPx(index));
  const from = Math.max(0, Math.ceil(view.indexAt(0)));
  const to = Math.floor(view.end) + 1;
  const rate = view.rateHz;
  const step = t.secondsStep();
  /** @type {{x: number, text: string}[]} */
  const times = [];
  for (let k = Math.ceil(from / rate / step); k * step * rate <= view.end; k++) times.push({ x: xOf(k * step * rate), text: clockTime(k * step, step) });
  /** @type {{x: number, strong: boolean}[]} */
  const verticals = [];
  const grid = t.paper.on ? rate / t.paper.mmPerSecond : step * rate;
  for (let k = Math.ceil(from / grid); k * grid <= view.end; k++) verticals.push({ x: xOf(k * grid), strong: t.paper.on && k % 5 === 0 });
  /** @type {{y: number, strong: boolean}[]} */
  const horizontals = [];
  const shown = t.overlaid ? t.lanes.slice(0, 1) : t.lanes;
  for (const l of shown) {
    if (l.trueSpan > 0) {
      const volts = 1 / t.paper.mmPerVolt;
      for (let k = Math.ceil(l.low / volts); k * volts <= l.high; k++) horizontals.push({ y: css(l.yPx(k * volts)), strong: k % 5 === 0 });
    } else for (let k = 0; k < l.ticks.count; k++) horizontals.push({ y: css(l.yPx(l.ticks.first + k * l.ticks.step)), strong: false });
  }
  /** @type {Set<number>} */
  const marked = new Set();
  const inside = (/** @type {number} */ index) => index >= view.indexAt(0) && index <= view.end;
  return {
    title, subtitle, width, height: css(t.base.height), left, axis, palette, overlaid: t.overlaid, times, verticals, horizontals, from, to,
    samplesPerPx: view.samplesPerPx * ratio, xOf, mmPerPx: t.paper.on ? t.mmPerPx * ratio : 0,
    lanes: t.lanes.map((l) => {
      const style = t.styleOf(l);
      const first = !marked.has(l.probe.channel);
      marked.add(l.probe.channel);
      const list = first ? (t.beats[l.probe.channel]?.beats ?? []) : [];
      return {
        name: t.laneName(l), unit: l.unit, channel: l.probe.channel, point: l.probe.point, colour: t.colourOf(l), width: style.width,
        dashes: style.off > 0 ? `${style.on} ${style.off}` : "", top: css(l.topPx), height: css(l.heightPx), low: l.low, high: l.high,
        ticks: l.tickTexts.map((text, k) => ({ y: css(l.yPx(l.ticks.first + k * l.ticks.step)), text })), unitText: l.unitText,
        beats: list.filter((b) => inside(b.sample)).map((b) => ({ x: xOf(b.sample), filled: b.quality >= 0.5, text: "" })),
      };
    }),
    gaps: [...t.gaps, ...t.holes].filter((g) => g.index <= view.end && g.index + g.samples >= from)
      .map((g) => ({ x1: Math.max(left, xOf(g.index)), x2: Math.min(width, xOf(g.index + g.samples)), text: W.gap(duration(g.samples / rate), g.reason ? ": " + g.reason : "") })),
    notes: t.notes.filter((n) => inside(n.index)).map((n) => ({ x: xOf(n.index), text: n.text })),
    cursors: t.cursors.on ? { a: xOf(t.cursors.a), b: xOf(t.cursors.b), text: cursorText(t) } : null,
  };
}

/** @param {TracePanel} t */
function cursorText(t) {
  const d = between(t.cursors.a, t.cursors.b, t.view.rateHz);
  return `Δt ${duration(d.seconds)}${Number.isFinite(d.bpm) ? `, ${d.bpm.toFixed(1)}\u00a0bpm` : ""}`;
}
