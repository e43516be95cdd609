// Beats that somebody annotated in a recording, at the foot of each lane: a ring, with the letter of its
// type where it is not a normal one; what the score says of them while its panel is open.

import { firstFrom } from "./window.js";

/** @import {Item} from "../scene/scene.js" */
/** @import {Sheet} from "./sheet.js" */
/** @typedef {{sample: number, type: string}} Annotated */
/** What the score says: where annotated beats were missed, and found ones are not annotated. @typedef {{missed: number[], extra: number[], at: number}} Faults */

/** Rings nearer to each other are not drawn. */
const LEAST_APART_CSS = 5;

/**
 * Notes as read, with those added meanwhile.
 * @param {import("./library.js").RecordedNote[]} read
 * @param {import("./library.js").RecordedNote[]} more
 */
export function withNotes(read, more) {
  const added = more.filter((n) => !read.some((r) => r.sample === n.sample && r.text === n.text));
  return [...read, ...added].sort((a, b) => a.sample - b.sample);
}

/**
 * The stretches that notes speak of: a ground and a bar at the top, both ends marked.
 * @param {import("./library.js").RecordedNote[]} notes
 * @param {{from: number, to: number, rateHz: number, height: number, x: (sample: number) => number}} sheet
 * @returns {Item[]}
 */
export function stretchItems(notes, { from, to, rateHz, height, x }) {
  return notes.flatMap((n) => {
    const end = n.sample + n.durationSeconds * rateHz;
    if (!(n.durationSeconds > 0) || n.sample >= to || end <= from) return [];
    const [a, b] = [x(Math.max(n.sample, from)), x(Math.min(end, to))];
    return /** @type {Item[]} */ ([{ kind: "box", x: a, y: 0, width: b - a, height, colour: "trace2", alpha: 0.09 }, { kind: "lines", at: [a, 1.5, b, 1.5, x(n.sample), 0, x(n.sample), 9, x(end), 0, x(end), 9], colour: "trace2", width: 2 }]);
  });
}

/**
 * A bar over each beat of a lane that was added or moved by hand.
 * @param {import("./library.js").Mark[]} beats those that are seen
 * @param {{top: number}} lane
 * @param {(sample: number) => number} x
 * @returns {Item}
 */
export function byHandItem(beats, lane, x) {
  return { kind: "lines", at: beats.filter((b) => b.byHand).flatMap((b) => [x(b.sample) - 5, lane.top - 8, x(b.sample) + 5, lane.top - 8]), colour: "trace3", width: 2 };
}

/**
 * @param {Pick<Sheet, "window"|"annotated"|"faults">} sheet
 * @param {{top: number, height: number}} lane
 * @param {(sample: number) => number} x
 * @param {number} px of a sample
 * @returns {Item[]}
 */
export function annotatedItems(sheet, lane, x, px) {
  const { window: w, annotated, faults } = sheet;
  const seen = annotated.slice(firstFrom(annotated, Math.ceil(w.from)), firstFrom(annotated, w.to));
  if (seen.length * LEAST_APART_CSS > w.span * px) return [];
  const y = lane.top + lane.height - 7;
  const set = new Set(faults?.missed ?? []);
  const missed = seen.filter((a) => set.has(a.sample));
  const extra = (faults?.extra ?? []).filter((sample) => sample >= w.from && sample < w.to);
  const at = (/** @type {number[]} */ samples) => samples.flatMap((sample) => [x(sample), y]);
  return [
    { kind: "marks", mark: "ring", at: at(seen.filter((a) => !set.has(a.sample)).map((a) => a.sample)), size: 3.5, colour: "mark", width: 1.4 },
    { kind: "marks", mark: "ring", at: at(missed.map((a) => a.sample)), size: 3.5, colour: "trace1", width: 1.4 },
    { kind: "marks", mark: "cross", at: at(extra), size: 4, colour: "trace1", width: 1.4 },
    { kind: "lines", at: [...missed.map((a) => a.sample), ...extra].flatMap((sample) => [x(sample), lane.top, x(sample), y - 5]), colour: "trace1", width: 1.4 },
    ...seen.filter((a) => a.type !== "N" && a.type !== "?").map((a) => /** @type {Item} */ ({ kind: "words", x: x(a.sample) + 6, y, text: a.type, colour: "ink", size: 12 })),
  ];
}
