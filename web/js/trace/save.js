// What the live trace saves: the sheet as it is seen and its samples; it stands still meanwhile.

import { save } from "../save.js";
import { csvOf } from "./csv.js";
import { traceSaveWords as W } from "../words.js";

/** @import {TracePanel} from "./trace.js" */

/**
 * The wall clock of the left edge; now where it is not known.
 * @param {TracePanel} trace
 * @param {string} began wall clock of index 0
 */
export function beganAt({ view }, began) {
  const at = Date.parse(began);
  return Number.isFinite(at) ? new Date(at + (Math.max(0, view.end - view.samplesAcross) / view.rateHz) * 1000) : new Date();
}

/**
 * @param {TracePanel} trace
 * @param {string} title
 * @param {string} began wall clock of index 0
 */
export function saveTrace(trace, title, began) {
  const { view, paper, mm, lanes, rings } = trace;
  const thaw = rings !== null && !view.held;
  if (thaw) trace.toggleFreeze();
  const when = beganAt(trace, began);
  save({
    root: trace.sheet, name: "trace", title, when, mmPerPx: paper.on ? mm.perCss : 0,
    subtitle: `${when.toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "medium" })}${paper.on ? `, ${mm.text()}` : ""}`,
    what: W.sAcross(lanes.length === 1 ? W.oneTrace : lanes.length + " traces", Number(view.secondsAcross.toPrecision(3))),
    numbers: (heading) => rings ? csvOf({
      from: Math.max(0, Math.ceil(view.indexAt(0))), to: Math.floor(view.end) + 1, rateHz: view.rateHz, title: heading,
      lanes: lanes.map((l) => ({ name: trace.laneName(l), unit: l.unit, channel: l.probe.channel, point: l.probe.point })),
      beats: trace.channels.map((c, i) => ({ name: c.label, samples: (trace.beats[i]?.beats ?? []).map((b) => b.sample) })),
    }, rings) : "",
    print: () => (trace.printTrue = true),
    closed: () => {
      if (thaw) trace.live();
    },
  });
}
