// What the channels of a recording are: name, kind, unit and volts, said afterwards. It is
// kept beside the recording; the file stays as it was recorded.

import { button, h, refill, select, setText } from "../dom.js";
import { quantity } from "../format.js";
import { ScaleDialog } from "../scale-dialog.js";
import { reviewChannelsWords as W } from "../words.js";

/** @import {ChannelChange, Detail, RecordedChannel} from "./library.js" */
/** @import {Channel} from "../types.js" */

/**
 * In words how the counts of a channel become its values.
 * @param {Pick<RecordedChannel, "scale"|"stepVolts"|"unit">} c
 * @param {string} [given] where neither converter nor full scale are set
 */
export function scaleWords(c, given = W.voltsAsTheRecordingSays) {
  const s = c.scale;
  if (!s) return "";
  const parts = [];
  if (s.source === "unknown") parts.push(W.countsNobodySaidWhatOne);
  else if (s.source === "converter") parts.push(W.vReferenceBits(short(s.referenceVolts), s.bits, s.signed ? W.signed : ""));
  else if (s.source === "fullscale") parts.push(W.fullScaleV(short(s.fullScaleVolts ?? 0)));
  else parts.push(given);
  if (s.source !== "unknown" && c.stepVolts) parts.push(W.oneCountIs(quantity(c.stepVolts, c.unit)));
  if (s.gain !== 1) parts.push(W.gainDividedOut(short(s.gain)));
  if (s.invert) parts.push(W.turnedUpsideDown);
  if (s.supplyLowVolts !== null || s.supplyHighVolts !== null) parts.push(W.railsAnd(rail(s.supplyLowVolts), rail(s.supplyHighVolts)));
  if (s.midRailVolts !== null) parts.push(`mid-rail ${rail(s.midRailVolts)}`);
  return parts.join("; ") + ".";
}

/** @param {number} v */
function short(v) {
  return String(Number(v.toPrecision(4)));
}

/** @param {number|null} v */
function rail(v) {
  return v === null ? "unknown" : `${v < 0 ? "−" : ""}${short(Math.abs(v))} V`;
}

/**
 * Whether somebody said something of a channel after it was recorded.
 * @param {RecordedChannel} c
 */
export function saidAfterwards(c) {
  return Object.values(c.from ?? {}).includes("said");
}

export class ChannelFields {
  /** @param {{say: (change: ChannelChange) => Promise<unknown>}} options */
  constructor(options) {
    this.options = options;
    this.list = h("div", { class: "review-channels" });
    this.error = h("p", { class: "error", role: "alert" });
    this.root = h("section", { "data-testid": "review-channels" }, h("h3", {}, W.channels), this.list, this.error);
    /** @type {Detail|null} */
    this.detail = null;
    /** @type {ScaleDialog|null} */
    this.scale = null; // made when first needed
  }

  /** @param {Detail} detail */
  show(detail) {
    setText(this.error, "");
    this.detail = detail;
    refill(this.list, ...detail.channelDetails.map((c, i) => this.#channel(c, i)));
  }

  /**
   * @param {RecordedChannel} c
   * @param {number} i
   */
  #channel(c, i) {
    const text = (/** @type {"label"|"unit"} */ field, /** @type {string} */ word, /** @type {string} */ value, /** @type {number} */ most) => {
      const input = h("input", { type: "text", maxlength: most, value, "data-testid": `review-channel-${i}-${field}` });
      input.addEventListener("change", () => this.#say({ channel: i, [field]: input.value.trim() }));
      return h("label", { class: "field" }, h("span", {}, word), input);
    };
    const kind = select(`review-channel-${i}-kind`, [["pulse", "pulse"], ["ecg", "ECG"], ["other", "other"]], (v) => void this.#say({ channel: i, kind: v }));
    kind.value = c.kind;
    const asBoard = c.scale?.source === "board";
    return h("div", { class: "review-channel", role: "group", "aria-label": c.label },
      text("label", W.name, c.label, 80), h("label", { class: "field" }, h("span", {}, W.kind), kind),
      asBoard ? text("unit", W.unitOfTheNumbers, c.numbersUnit || (c.unit === "counts" ? "" : c.unit), 16) : null,
      h("p", { class: "hint", "data-testid": `review-channel-${i}-scale-words` }, scaleWords(c)),
      h("div", { class: "row" }, button(`review-channel-${i}-scale`, W.voltsRailsGain, () => this.#openScale(i)),
        saidAfterwards(c) ? button(`review-channel-${i}-forget`, W.asRecorded, () => void this.#say({ channel: i, forget: true }), { class: "quiet", title: W.takeBackWhatWasSaid }) : null));
  }

  /** @param {number} i */
  #openScale(i) {
    const c = this.detail?.channelDetails[i];
    this.scale ??= new ScaleDialog({ id: "review-scale", set: async (scales) => {
      for (const change of scales) await this.#say(change, true);
    } });
    if (c?.scale) this.scale.show(i, /** @type {Channel[]} */ (/** @type {unknown} */ (this.detail?.channelDetails)));
  }

  /**
   * @param {ChannelChange} change
   * @param {boolean} [loud] whoever asked tells the mistake
   */
  async #say(change, loud = false) {
    setText(this.error, "");
    try {
      await this.options.say(change);
    } catch (e) {
      if (loud) throw e;
      setText(this.error, e instanceof Error ? e.message : String(e));
    }
  }
}
