// Which points of which channels are shown: pure list arithmetic.

/** @import {Probe} from "../types.js" */

export const MOST_PROBES = 8;
export const POINTS = 5;
/** More traces than this are too low to read on a laptop. */
const MOST_AT_FIRST = 4;

/**
 * The probes to begin with: each channel before and after its path while there
 * is room, else its smooth point alone.
 * @param {number} channels
 * @returns {Probe[]}
 */
export function defaultProbes(channels) {
  /** @type {Probe[]} */
  const probes = [];
  const both = channels * 2 <= MOST_AT_FIRST;
  for (let channel = 0; channel < channels && probes.length < MOST_PROBES; channel++) {
    if (both) probes.push({ channel, point: 0 });
    probes.push({ channel, point: 3 });
  }
  return probes;
}

/**
 * @param {Probe[]} probes
 * @param {Probe} probe
 */
export function hasProbe(probes, probe) {
  return probes.some((p) => p.channel === probe.channel && p.point === probe.point);
}

/**
 * Sets or lifts a probe; the list stays in order of channel and point. Null when
 * all are in use.
 * @param {Probe[]} probes
 * @param {Probe} probe
 * @returns {Probe[]|null}
 */
export function toggleProbe(probes, probe) {
  if (hasProbe(probes, probe)) return probes.filter((p) => p.channel !== probe.channel || p.point !== probe.point);
  if (probes.length >= MOST_PROBES) return null;
  return [...probes, probe].sort((a, b) => a.channel - b.channel || a.point - b.point);
}

/**
 * What was remembered, as far as it is sound for so many channels.
 * @param {unknown} stored
 * @param {number} channels
 * @returns {Probe[]}
 */
export function restoreProbes(stored, channels) {
  if (!Array.isArray(stored)) return defaultProbes(channels);
  /** @type {Probe[]} */
  let probes = [];
  for (const p of stored) {
    const channel = p?.channel;
    const point = p?.point;
    if (!Number.isInteger(channel) || !Number.isInteger(point)) continue;
    if (channel < 0 || channel >= channels || point < 0 || point >= POINTS) continue;
    if (!hasProbe(probes, { channel, point })) probes = toggleProbe(probes, { channel, point }) ?? probes;
  }
  return stored.length > 0 && probes.length === 0 ? defaultProbes(channels) : probes;
}
