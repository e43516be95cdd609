// What the live trace gives to a sheet of paper; it stands still meanwhile.

import { boardText } from "../board/words.js";
import { commonSettings, pathWords, putOnPaper } from "../paper.js";
import { scaleWords } from "../review/channels.js";
import { typicalBeat } from "../show/typical.js";
import { beganAt } from "./save.js";
import { paperScene } from "./sheet.js";
import { traceOnPaperWords as W } from "../words.js";

/** @import {Report, ServerState} from "../types.js" */
/** @import {TypicalBeat} from "../paper.js" */
/** @import {TracePanel} from "./trace.js" */

/** `rate`: in words, as it is shown; `channel`: of it and of the report. @typedef {{server: ServerState, channel: number, report: Report|undefined, rate: string}} Now */

/**
 * @param {TracePanel} trace
 * @param {() => Now|null} now
 */
export function tracePaper(trace, now) {
  const first = now();
  if (!first) return;
  const { view } = trace;
  const thaw = trace.rings !== null && !view.held;
  if (thaw) trace.toggleFreeze();
  const { source, channels, rateHz, t0 } = first.server;
  const time = beganAt(trace, t0).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "medium" });
  const across = W.secondsFrom(Number(view.secondsAcross.toPrecision(3)), time);
  const shown = channels.map((c, i) => ({ c, i })).filter(({ i }) => trace.lanes.some((l) => l.probe.channel === i));
  putOnPaper({
    title: titleOf(source, shown.map(({ c }) => c.label)), invented: source?.invented === true, what: across,
    settings: [
      ...commonSettings({ source: source?.device ?? source?.address ?? "", time: across, rateHz }),
      ...shown.flatMap(({ c }) => /** @type {[string, string][]} */ ([[W.pathOf(c.label), pathWords(c.path, c.humHz)], [W.voltsOf(c.label), scaleWords(c, W.asTheSourceSays)], [W.boardOf(c.label), c.board ? boardText(c.board) : ""]])),
    ],
    lanes: trace.overlaid ? 1 : trace.lanes.length,
    scene: (height, marked) => {
      const { beats } = trace;
      if (!marked) trace.beats = [];
      const scene = paperScene(trace, height);
      trace.beats = beats;
      return scene;
    },
    judged: async () => {
      const n = now() ?? first;
      const label = channels[n.channel]?.label ?? "";
      const at = new Date().toLocaleTimeString("en-GB");
      return { of: n.report ? W.newestOf(label, Number(n.report.seconds.toPrecision(2)), at) : label, settings: [[W.rateAt(at), n.rate]], typical: typical(trace, n.channel), report: n.report ?? null };
    },
    closed: () => {
      if (thaw) trace.live();
    },
  });
}

/**
 * What is seen: a demo and a recording have a name; of a port, the channels first.
 * @param {ServerState["source"]} source
 * @param {string[]} labels
 */
export function titleOf(source, labels) {
  const name = source?.name ?? "";
  return /^(demo|file):/.test(source?.address ?? "") ? name : [labels.join(", "), name].filter(Boolean).join(" – ");
}

/**
 * The typical beat of what is seen, at the chosen trace's point or the channel's first.
 * @param {TracePanel} trace
 * @param {number} channel
 * @returns {TypicalBeat|null}
 */
function typical(trace, channel) {
  const { rings, view, lanes } = trace;
  const own = lanes.filter((l) => l.probe.channel === channel);
  const lane = own.find((l) => l === lanes[trace.selected]) ?? own[0];
  const t = rings && lane && typicalBeat(rings, lane.probe, trace.beats[channel]?.beats ?? [], { rateHz: view.rateHz, end: Math.floor(view.end) + 1 });
  if (!t) return null;
  return { x: t.mean.map((_, i) => i / view.rateHz), middle: t.mean, low: t.low, high: t.high, unit: lane.unit, words: W.meanOf(trace.laneName(lane), t.beats) };
}
