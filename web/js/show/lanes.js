// The traces of the Show view: which, their scales and their curves.

import { ColumnCache } from "../columns.js";
import { pixelRatio } from "../scene/canvas.js";
import { curveOf, reach } from "../trace/curve.js";
import { Lane } from "../trace/lanes.js";
import { showLanesWords as W } from "../words.js";

/** @import {Channel, Probe} from "../types.js" */
/** @import {Rings} from "../rings.js" */
/** @import {ShowLane} from "../scene/show.js" */
/** @import {View} from "../trace/view.js" */

export const MOST_LANES = 3;
/** Points shown: as measured, and after the whole path. */
export const RAW = 0;
export const CLEANED = 3;
const POINTS = 5;

/**
 * What of a list of traces there is, at most three; the first channel's cleaned one for none.
 * @param {unknown} list
 * @param {number} channels
 * @returns {Probe[]}
 */
export function soundLanes(list, channels) {
  /** @type {Probe[]} */
  const sound = [];
  for (const p of Array.isArray(list) ? list : []) {
    const there = Number.isInteger(p?.channel) && Number.isInteger(p?.point) && p.channel >= 0 && p.channel < channels && p.point >= 0 && p.point < POINTS;
    if (there && sound.length < MOST_LANES && !sound.some((s) => s.channel === p.channel && s.point === p.point)) sound.push({ channel: p.channel, point: p.point });
  }
  return sound.length > 0 ? sound : [{ channel: 0, point: CLEANED }];
}

/**
 * A trace's name for a room: short, with its channel where there are several.
 * @param {Probe} p
 * @param {Channel[]} channels
 */
export function laneName(p, channels) {
  const point = W.points[p.point];
  return channels.length > 1 ? `${channels[p.channel]?.label ?? ""} ${point}` : point;
}

export class ShowLanes {
  constructor() {
    /** @type {{lane: Lane, cache: ColumnCache, key: string}[]} */
    this.list = [];
    /** @type {Rings|null} */
    this.rings = null;
  }

  /**
   * Lanes for probes, kept where they were there before.
   * @param {Probe[]} probes
   * @param {Rings} rings
   * @param {Channel[]} channels
   * @returns {boolean} whether all are new
   */
  set(probes, rings, channels) {
    const old = rings === this.rings ? this.list : [];
    this.rings = rings;
    this.list = probes.filter((p) => p.channel < Math.min(channels.length, rings.channels)).map((p) => {
      const { unit, stepVolts } = channels[p.channel];
      const key = `${p.channel} ${p.point} ${unit}`;
      return old.find((l) => l.key === key) ?? { lane: new Lane(p, unit, stepVolts ?? 0), cache: new ColumnCache(8192), key };
    });
    return old.length === 0;
  }

  /** Names and ranges. @param {Channel[]} channels */
  named(channels) {
    return this.list.map(({ lane }) => ({ name: laneName(lane.probe, channels), unit: lane.unit, low: lane.low, high: lane.high }));
  }

  /** Their ranges are found anew. */
  reset() {
    for (const { lane } of this.list) lane.auto.reset();
  }

  /**
   * @param {View} view
   * @param {Channel[]} channels
   * @param {number} elapsed seconds since the last drawing
   * @param {number} left of the plot
   * @returns {{lanes: ShowLane[], moved: boolean}} moved: a range is on its way
   */
  draw(view, channels, elapsed, left) {
    const rings = this.rings;
    let moved = false;
    if (!rings) return { lanes: [], moved };
    const lanes = this.list.map(({ lane, cache }) => {
      const curve = curveOf(rings, lane.probe, view, { cache, ratio: pixelRatio(), left });
      [lane.seenLow, lane.seenHigh] = reach(curve);
      moved = lane.settle(elapsed, !Number.isFinite(lane.low)) || moved;
      return { name: laneName(lane.probe, channels), unit: lane.unit, curve, low: lane.low, high: lane.high };
    });
    return { lanes, moved };
  }

  /**
   * As they are now, for paper.
   * @param {View} view
   * @param {Channel[]} channels
   * @param {number} ratio
   * @param {number} left
   * @returns {ShowLane[]}
   */
  paper(view, channels, ratio, left) {
    const rings = this.rings;
    if (!rings) return [];
    return this.list.map(({ lane }) => ({ name: laneName(lane.probe, channels), unit: lane.unit, curve: curveOf(rings, lane.probe, view, { cache: new ColumnCache(view.widthPx), ratio, left }), low: lane.low, high: lane.high }));
  }
}
