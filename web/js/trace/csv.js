// What is seen as numbers. Pure: samples go in, text comes out.

import { AID } from "../words.js";

/** @import {Rings} from "../rings.js" */

/** A field of CSV. @param {string} name */
export function quoted(name) {
  return /[",\r\n]|^[# ]|^$/.test(name) ? `"${name.replace(/"/g, '""')}"` : name;
}

/**
 * Rows of the samples in [from, to): time since the first in seconds, then one
 * column a trace. Samples without a value are empty; rows without any are left
 * out. Beats and the first sample's place stand in comments in front.
 * @param {{from: number, to: number, rateHz: number, lanes: {name: string, unit: string, channel: number, point: number}[], beats: {name: string, samples: number[]}[], title: string}} s
 * @param {Rings} rings
 */
export function csvOf(s, rings) {
  const from = Math.max(rings.start, s.from);
  const to = Math.min(rings.end, s.to);
  const digits = Math.max(6, Math.ceil(Math.log10(s.rateHz)) + 3);
  const seconds = (/** @type {number} */ i) => ((i - from) / s.rateHz).toFixed(digits);
  const rows = [`# ${AID}`, `# ${s.title.replace(/[\r\n]+/g, " ")}`, `# rate ${Number(s.rateHz.toPrecision(10))} Hz`, `# first sample ${from}`];
  for (const b of s.beats) {
    const inside = b.samples.filter((i) => i >= from && i < to);
    if (inside.length > 0) rows.push(`# beats of ${b.name.replace(/[\r\n]+/g, " ")}, s: ${inside.map(seconds).join(" ")}`);
  }
  rows.push(["time_s", ...s.lanes.map((l) => quoted(l.name + (l.unit ? ` [${l.unit}]` : "")))].join(","));
  const columns = s.lanes.map((l) => rings.ring(l.channel, l.point));
  for (let i = from; i < to; i++) {
    const values = columns.map((c) => c[i % rings.capacity]);
    if (values.every((v) => Number.isNaN(v))) continue;
    // A float32 is told by nine digits (IEEE 754).
    rows.push([seconds(i), ...values.map((v) => (Number.isNaN(v) ? "" : String(Number(v.toPrecision(9)))))].join(","));
  }
  return rows.join("\r\n") + "\r\n";
}
