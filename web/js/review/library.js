// Requests about recordings, and their shapes (server/API.md).

import { long, request, send, sentence } from "../api.js";
import { decodeBeats } from "./window.js";
import { reviewLibraryWords as W } from "../words.js";

/** @import {RecordedVariability} from "../drawers/rhythm.js" */
/** @import * as Wire from "../wire.js" */

/** One recording in the list. @typedef {Wire.Entry} Entry */
/** @typedef {Wire.LibraryNote} RecordedNote */
/** @typedef {Wire.ChannelDetail} RecordedChannel */
/** What is said of a channel afterwards. @typedef {Wire.Sent<Wire.ChannelChange>} ChannelChange */
/** @typedef {Wire.Detail} Detail */
/** @typedef {Wire.RecorderState} Running */
/** @typedef {Wire.Trashed} Trashed */
/** @typedef {Wire.Mark} Mark */
/** A beat edited by hand, in samples: where it stands now, undefined when removed, and where it had been found, undefined when added. @typedef {Wire.Edit} Edit */
/** Found beats against annotated ones. @typedef {Wire.Score} Score */
/** @typedef {Wire.Average} Average */
/** @typedef {Wire.Stretch} Stretch */
/** How a text file was read. @typedef {Wire.LibraryReading} Reading */
/** @typedef {Wire.Preview} Preview */

/** Reading through a day takes some seconds, finding its beats a minute. */
const LONG_MS = 600_000;

/** @param {string} id @returns {`/recordings/${string}`} */
const at = (id) => `/recordings/${encodeURIComponent(id)}`;

export const library = {
  list: () => request("GET", "/recordings", undefined, LONG_MS),
  /** The same at once; median rates and numbers of notes may be missing. */
  briefList: () => request("GET", "/recordings?brief=1"),
  /** @param {string} id @returns {Promise<Detail>} */
  get: (id) => request("GET", at(id), undefined, LONG_MS),
  /** The same at once, without notes and gaps. @param {string} id @returns {Promise<Detail>} */
  brief: (id) => request("GET", `${at(id)}?notes=0`),
  /** @param {string} id @param {{name?: string, note?: string, channels?: ChannelChange[]}} what @returns {Promise<Entry>} */
  change: (id, what) => request("PATCH", at(id), what),
  /** @param {string} id */
  trash: (id) => request("DELETE", at(id)),
  /** @param {string} id @returns {Promise<Entry>} */
  restore: (id) => request("POST", `${at(id)}/restore`),
  /** Deletes these in the trash for good. @param {string[]} ids @returns {Promise<{deleted: Trashed[]}>} */
  emptyTrash: (ids) => request("DELETE", "/trash", { ids }, LONG_MS),
  /** @param {{name?: string, minutes?: number, keepMinutes?: number, note?: string}} what @returns {Promise<Running>} */
  start: (what) => request("POST", "/recording", what),
  /** @returns {Promise<Running>} */
  stop: () => request("DELETE", "/recording"),
  /** @returns {Promise<Running|null>} */
  running: () => request("GET", "/recording"),
  /** @param {number} minutes @param {string} name @returns {Promise<Running>} */
  keep: (minutes, name) => request("POST", "/keep", { minutes, name }),
  /** @param {string} id @param {number} sample @param {string} text @param {number} durationSeconds 0 for a moment */
  addNote: (id, sample, text, durationSeconds) => request("POST", `${at(id)}/notes`, { sample, text, durationSeconds }),
  /** @param {string} id @param {number} sample @param {string} text */
  removeNote: (id, sample, text) => request("DELETE", `${at(id)}/notes`, { sample, text }),
  /** @param {string} id @param {string} query @returns {Promise<ArrayBuffer>} */
  view: async (id, query) => (await send("GET", `${at(id)}/view?${query}`)).arrayBuffer(),
  /** @param {string} id @returns {Promise<{channels: Mark[][], annotated: import("./annotated.js").Annotated[]}>} those stored, by channel, and those annotated */
  beats: async (id) => decodeBeats(await (await send("GET", `${at(id)}/beats?as=compact`, undefined, LONG_MS)).arrayBuffer()),
  /** @param {string} id @param {number} channel @param {Edit[]} take @param {Edit[]} put @returns {Promise<{edits: Record<string, Edit[]>}>} */
  editBeats: (id, channel, take, put) => request("PATCH", `${at(id)}/beats`, { channel, take, put }),
  /** @param {string} id @param {number} channel @param {(share: number) => void} progress @param {AbortSignal} ended @returns {Promise<Mark[][]>} those found in a channel */
  findBeats: async (id, channel, progress, ended) => decodeBeats(await long(`${at(id)}/beats?as=compact&find=${channel}`, progress, ended, LONG_MS)).channels,
  /** @param {string} id @param {number} channel @param {number} from @param {number} to @param {string} how learning=, seconds left out, and found=1 @param {AbortSignal} ended @param {(share: number) => void} progress @returns {Promise<Score>} */
  score: async (id, channel, from, to, how, ended, progress) => JSON.parse(new TextDecoder().decode(await long(`${at(id)}/score?channel=${channel}&from=${from}&to=${to}&${how}`, progress, ended, LONG_MS))),
  /** @param {string} id @param {number} channel @param {number} from @param {number} to @param {AbortSignal} ended @param {(share: number) => void} progress @returns {Promise<RecordedVariability>} */
  variability: async (id, channel, from, to, ended, progress) => JSON.parse(new TextDecoder().decode(await long(`${at(id)}/variability?channel=${channel}&from=${from}&to=${to}`, progress, ended, LONG_MS))),
  /** @param {string} id @param {number} channel @param {number} from @param {number} to @param {AbortSignal} [ended] @returns {Promise<Stretch>} */
  analysis: (id, channel, from, to, ended) => request("GET", `${at(id)}/analysis?channel=${channel}&from=${from}&to=${to}`, undefined, LONG_MS, ended),
  /** @param {string} id @param {number} channel @param {number} from @param {number} to @param {string} query what is taken out, as "what=beats" */
  taken: (id, channel, from, to, query) => `/api/v1${at(id)}/taken?${query}&channel=${channel}&from=${from}&to=${to}`,
  /** Where recordings are downloaded as one archive. @param {string[]} ids @param {string} as @returns {Promise<string>} */
  archive: async (ids, as) => "/api/v1/archives/" + (await request("POST", "/archives", { ids, as })).id,
  /** @param {string} id @param {"edf"|"csv"|"wav"} as */
  file: (id, as) => `/api/v1${at(id)}/file?as=${as}`,
  /** What of a recording that file does not hold. @param {string} id @param {"edf"|"csv"|"wav"} as @returns {Promise<import("../wire.d.ts").FileLost>} */
  fileLost: (id, as) => request("GET", `${at(id)}/file/lost?as=${as}`, undefined, LONG_MS),
};

/**
 * @param {string} name
 * @param {Record<string, string>} answers how to read it
 */
const asQuery = (name, answers) => new URLSearchParams([["name", name], ...Object.entries(answers).filter(([, v]) => v !== "")]).toString();

/**
 * How a file would be read, by its beginning.
 * @param {File} file
 * @param {number} bytes
 * @param {Record<string, string>} answers
 * @returns {Promise<Preview>}
 */
export async function preview(file, bytes, answers) {
  const whole = file.size <= bytes ? "&whole=1" : "";
  return request("POST", `/recordings/preview?${asQuery(file.name, answers)}${whole}`, file.slice(0, bytes));
}

/**
 * Sends a recording to the library: a file, or a record's files.
 * @param {File[]} files
 * @param {Record<string, string>} answers how a text file is read
 * @param {(share: number) => void} progress
 * @param {AbortSignal} ended
 * @returns {Promise<Wire.Imported>}
 */
export function bring(files, answers, progress, ended) {
  return new Promise((resolve, reject) => {
    const x = new XMLHttpRequest();
    x.open("POST", `/api/v1/recordings?progress=1&${asQuery(files[0].name, answers)}`);
    // Half of the way is sending, half is reading.
    x.upload.addEventListener("progress", (e) => {
      if (e.lengthComputable && e.total > 0) progress(e.loaded / e.total / 2);
    });
    const lines = () => x.responseText.split("\n").slice(0, -1);
    x.addEventListener("progress", () => {
      const share = (lines().map((l) => JSON.parse(l)).findLast((l) => typeof l.share === "number") ?? {}).share;
      if (share !== undefined) progress(0.5 + share / 2);
    });
    x.addEventListener("load", () => {
      /** @type {Partial<Wire.Imported> & {error?: string}} */
      let last;
      try {
        last = JSON.parse(x.status === 200 ? lines().at(-1) ?? "" : x.responseText);
      } catch {
        last = { error: W.theServerAnswered(x.status) };
      }
      if (x.status === 200 && last.id) resolve(/** @type {Wire.Imported} */ (last));
      else reject(new Error(sentence(last.error ?? W.theServerAnswered(x.status))));
    });
    x.addEventListener("error", () => reject(new Error(W.theFileDidNotArrive)));
    x.addEventListener("abort", () => reject(new Error(W.theFileDidNotArrive)));
    if (ended.aborted) reject(new Error(W.theFileDidNotArrive));
    ended.addEventListener("abort", () => x.abort());
    if (files.length === 1) {
      x.setRequestHeader("Content-Type", "application/octet-stream");
      x.send(files[0]);
      return;
    }
    const form = new FormData();
    for (const f of files) form.append("file", f, f.name);
    x.send(form);
  });
}

/**
 * The address that plays a recording from a sample on.
 * @param {string} address
 * @param {number} sample
 * @param {number} speed
 */
export function replayAddress(address, sample, speed) {
  return `${address}${address.includes("?") ? "&" : "?"}hold=1&from=${Math.max(0, Math.round(sample))}&speed=${speed}`;
}

/** Speeds offered for a replay. */
export const SPEEDS = [0.1, 0.25, 0.5, 1, 2, 5, 10, 20, 50, 100];

/** The speed of the replays to come, chosen in Recordings or in Review; it holds until the page is loaded anew. */
export const replays = { speed: 1 };
