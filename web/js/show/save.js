// What the Show view saves: its traces, as they were at the press, and their samples.

import { save } from "../save.js";
import { csvOf } from "../trace/csv.js";
import { INVENTED, showSaveWords as W } from "../words.js";
import { laneName } from "./lanes.js";

/** @import {ShowView} from "../show.js" */
/** @import {Scene} from "../scene/scene.js" */

/** @typedef {{scene: Scene, numbers: string}} Kept */

/**
 * Offers what is seen as a file; the view goes on meanwhile.
 * @param {ShowView} show
 */
export function saveShow(show) {
  const { options, view, lanes } = show;
  const source = options.source();
  const channels = options.channels();
  const subtitle = [source.lost ? "" : W.reads(show.number.textContent ?? "–", show.state.textContent ?? ""), new Date().toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "medium" })].filter(Boolean).join(", ");
  const title = source.invented ? `${INVENTED} ${source.name}` : source.name;
  const scene = show.paper();
  const beats = options.beats()[show.channel]?.beats ?? [];
  const numbers = !lanes.rings ? "" : csvOf({
    from: Math.max(0, Math.ceil(view.indexAt(0))), to: Math.floor(view.end) + 1, rateHz: view.rateHz, title: `${title}, ${subtitle}`,
    lanes: lanes.list.map(({ lane }) => ({ name: laneName(lane.probe, channels), unit: lane.unit, channel: lane.probe.channel, point: lane.probe.point })),
    beats: [{ name: channels[show.channel]?.label ?? "", samples: beats.map((b) => b.sample) }],
  }, lanes.rings);
  show.kept = scene && { scene, numbers };
  save({ root: show.sheet, name: "show", title, subtitle, what: W.asAtThePress, numbers: () => numbers, closed: () => (show.kept = null) });
}
