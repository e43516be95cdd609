// Check of a stretch of a recording: swing, hum, noise and the rest, judged as live.

import { h, setText } from "../dom.js";
import { MeterSection } from "../drawers/check.js";
import { figures, SECTIONS } from "../drawers/figures.js";
import { significant } from "../format.js";
import { library } from "./library.js";
import { StretchPanel } from "./stretch.js";
import { reviewFiguresWords as W } from "../words.js";

/** @import {Stretch} from "./library.js" */

/** Shorter stretches say little. */
const LEAST_SECONDS = 1;

/** @type {[string, string][]} */
const SAVED = [["what=figures", W.figures], ["what=spectrum", W.spectrum], ["what=typical", W.typicalBeat], ["what=signal&point=scale", W.signalCsv], ["what=signal", W.filteredCsv], ["what=signal&as=edf", W.filteredEdf], ["what=signal&as=wav", W.filteredWav]];

/** @extends {StretchPanel<Stretch>} */
export class RecordedCheck extends StretchPanel {
  /** @param {import("./stretch.js").StretchOptions} options */
  constructor(options) {
    super(options, { id: "review-check", title: W.check, least: LEAST_SECONDS, fits: () => true, none: W.theRecordingHasNoChannel, takes: SAVED });
    this.rate = h("p", { class: "summary", "data-testid": "review-check-rate" });
    this.sections = SECTIONS.map((s) => ({ ...s, section: new MeterSection(s.id, s.title, "review-check") }));
    this.body.append(this.rate, ...this.sections.map((s) => s.section.root));
    this.root.append(this.head, this.where, this.state, this.work, this.body);
  }

  /** @param {string} id @param {number} from @param {number} to @param {AbortSignal} ended */
  ask(id, from, to, ended) {
    return library.analysis(id, this.channel, from, to, ended);
  }

  draw() {
    const { data } = this;
    if (!data) return;
    setText(this.where, W.judgedTheLongestPartWithout(this.span(data.from / data.rateHz, data.to / data.rateHz)));
    setText(this.rate, data.medianBpm > 0 ? W.medianRateBpmBeats(significant(data.medianBpm, 3), data.beats.length) : "");
    this.rate.hidden = !(data.medianBpm > 0);
    const verdicts = data.report.verdicts ?? [];
    for (const { id, topics, section } of this.sections) section.show(figures(id, data.report), verdicts.filter((v) => topics.includes(v.topic)));
  }
}
