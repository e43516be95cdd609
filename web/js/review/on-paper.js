// What Review gives to a sheet of paper: the window that is seen.

import { significant } from "../format.js";
import { boardText } from "../board/words.js";
import { commonSettings, pathWords, putOnPaper } from "../paper.js";
import { PAPER_CSS } from "../scene/picture.js";
import { scaleWords } from "./channels.js";
import { library } from "./library.js";
import { reviewOnPaperWords as W } from "../words.js";

/** @import {PathSettings} from "../types.js" */
/** @import {Average, Detail} from "./library.js" */
/** @import {TypicalBeat} from "../paper.js" */
/** @import {Sheet} from "./sheet.js" */

/**
 * @param {Sheet} sheet
 * @param {Detail} detail
 * @param {{channel: number, where: string, paths: (PathSettings|null)[]}} at channel: that is judged; where: the window in words; paths: laid over, by channel
 */
export function reviewPaper(sheet, detail, at) {
  const { window: w } = sheet;
  const [from, to] = [Math.max(0, Math.floor(w.from)), Math.min(detail.samples, Math.ceil(w.to))];
  const began = detail.started ? W.recorded(new Date(detail.started).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" })) : "";
  const name = detail.name || detail.id;
  const shown = detail.channelDetails.map((c, i) => ({ c, over: at.paths[i] ?? null, i })).filter(({ i }) => sheet.shown[i]);
  putOnPaper({
    title: name, invented: detail.invented, what: W.ofTheRecording(at.where, name),
    settings: [
      ...commonSettings({ source: detail.note || detail.format, time: [at.where, began].filter(Boolean).join(", "), rateHz: detail.rateHz }),
      ...shown.flatMap(({ c, over }) => /** @type {[string, string][]} */ ([[c.label, over ? W.drawnAfter(pathWords(over)) : W.drawnAsRecorded(pathWords(c.path))], [W.voltsOf(c.label), scaleWords(c)], [W.boardOf(c.label), c.board ? boardText(c.board) : ""]])),
    ],
    lanes: shown.length,
    scene: (height, marked) => {
      const { beats, annotated } = sheet;
      if (!marked) Object.assign(sheet, { beats: [], annotated: [] });
      const scene = sheet.source?.piece ? sheet.scene(PAPER_CSS, height) : null;
      return Object.assign(sheet, { beats, annotated }) && scene;
    },
    judged: async (ended) => {
      const s = await library.analysis(detail.id, at.channel, from, to, ended);
      const label = detail.channelDetails[at.channel]?.label ?? "";
      const judged = W.ofTo(label, sheet.times.text(s.from / s.rateHz, 0.1), sheet.times.text(s.to / s.rateHz, 0.1));
      return { of: judged, settings: s.medianBpm > 0 ? [[W.medianRate, W.bpmBeats(significant(s.medianBpm, 3), s.beats.length)]] : [], typical: typical(s.average, s.unit), report: s.report };
    },
  });
}

/** @param {Average} a @param {string} unit @returns {TypicalBeat|null} */
function typical(a, unit) {
  if (a.beats === 0 || a.median.length < 2) return null;
  return { x: a.median.map((_, k) => a.fromSeconds + k * a.stepSeconds), middle: a.median, low: a.low, high: a.high, unit, words: W.medianOf(a.beats) };
}
