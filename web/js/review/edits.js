// What an edit of a beat by hand changes: what is told to the server, and what comes and goes in the
// list that is shown. Pure, no DOM.

/** @import {Edit, Mark} from "./library.js" */
/** Edits taken away and put in, and the beats that go and come with them. @typedef {{take: Edit[], put: Edit[], out: Mark[], into: Mark[]}} Change */

/** Two beats are no nearer, seconds; as the server has it. */
export const LEAST_APART = 0.1;
/** A decimated channel's beats lie so near to where they were put, seconds. */
const SAME = 0.01;

/**
 * The edit by which a beat stands where it does.
 * @param {Edit[]} edits of its channel
 * @param {Mark} mark
 * @param {number} rateHz
 */
function editOf(edits, mark, rateHz) {
  return edits.find((e) => e.at !== undefined && Math.abs(e.at - mark.sample) < Math.max(1, SAME * rateHz));
}

/** @param {number} sample @param {string} kind @returns {Change} */
export function added(sample, kind) {
  return { take: [], put: [{ at: sample }], out: [], into: [{ sample, kind, quality: 1, byHand: true }] };
}

/** @param {Edit[]} edits @param {Mark} mark @param {number} rateHz @returns {Change} */
export function removed(edits, mark, rateHz) {
  const before = editOf(edits, mark, rateHz);
  if (!before) return { take: [], put: [{ was: mark.sample }], out: [mark], into: [] };
  return { take: [before], put: before.was === undefined ? [] : [{ was: before.was }], out: [mark], into: [] };
}

/** @param {Edit[]} edits @param {Mark} mark @param {number} to @param {number} rateHz @returns {Change} */
export function moved(edits, mark, to, rateHz) {
  const before = editOf(edits, mark, rateHz);
  const was = before ? before.was : mark.sample;
  const into = [{ sample: to, kind: mark.kind, quality: 1, byHand: true }];
  return { take: before ? [before] : [], put: [was === undefined ? { at: to } : { at: to, was }], out: [mark], into };
}

/** The change that takes another back. @param {Change} c @returns {Change} */
export function undone(c) {
  return { take: c.put, put: c.take, out: c.into, into: c.out };
}

/** The beats after a change. @param {Mark[]} list in order @param {Change} c @returns {Mark[]} */
export function changed(list, c) {
  const gone = new Set(c.out.map((m) => m.sample));
  return [...list.filter((m) => !gone.has(m.sample)), ...c.into].sort((a, b) => a.sample - b.sample);
}

/** The edits of a channel after a change. @param {Edit[]} edits @param {Change} c @returns {Edit[]} */
export function changedEdits(edits, c) {
  return [...edits.filter((e) => ![...c.take, ...c.put].some((t) => t.at === e.at && t.was === e.was)), ...c.put];
}

/**
 * A channel's beats as the server gave them, with changes made meanwhile, of which it may have known some.
 * @param {Mark[]} list
 * @param {Change[]} changes
 * @param {number} rateHz
 */
export function changedMeanwhile(list, changes, rateHz) {
  const near = Math.max(1, SAME * rateHz);
  return changes.reduce((l, c) => changed(l.filter((m) => ![...c.out, ...c.into].some((x) => Math.abs(x.sample - m.sample) < near)), c), list);
}

/**
 * The place nearest to one wanted that is far enough from the other beats, NaN when there is none near.
 * @param {Mark[]} list
 * @param {number} sample
 * @param {number} rateHz
 * @param {Mark|null} except the beat that is moved
 * @param {number} length samples of the recording
 */
export function freePlace(list, sample, rateHz, except, length) {
  const apart = Math.ceil(LEAST_APART * rateHz);
  const others = list.filter((m) => m !== except);
  const i = others.findIndex((m) => m.sample > sample);
  const next = i < 0 ? Infinity : others[i].sample;
  const before = others[(i < 0 ? others.length : i) - 1]?.sample ?? -Infinity;
  const low = Math.max(0, before + apart);
  const high = Math.min(length - 1, next - apart);
  return low > high ? NaN : Math.min(Math.max(Math.round(sample), low), high);
}

/**
 * Where values stand out most from their middle, among those within reach of a place: a beat is there.
 * @param {Float32Array} values
 * @param {number} at
 * @param {number} reach
 */
export function standsOut(values, at, reach) {
  const known = [...values].filter((v) => v === v).sort((a, b) => a - b);
  const middle = known[known.length >> 1];
  let best = at;
  for (let i = Math.max(0, at - reach); i <= Math.min(values.length - 1, at + reach); i++) {
    if (Math.abs(values[i] - middle) > Math.abs(values[best] - middle) || values[best] !== values[best]) best = i;
  }
  return best;
}

/** How many were added, moved, removed. @param {Edit[]} edits */
export function counts(edits) {
  const gone = edits.filter((e) => e.at === undefined).length;
  const elsewhere = edits.filter((e) => e.at !== undefined && e.was !== undefined).length;
  return { added: edits.length - gone - elsewhere, moved: elsewhere, removed: gone };
}
