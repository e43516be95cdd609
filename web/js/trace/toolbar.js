// The buttons over the trace, and the form for a note.

import { button, h, select, setText, tellsWhereItGoesOn } from "../dom.js";
import { duration } from "../format.js";
import { SECONDS_ACROSS, stepSeconds } from "../scales.js";
import { HEIGHTS, SPEEDS } from "./paper.js";
import { traceToolbarWords as W } from "../words.js";

/** @import {TracePanel} from "./trace.js" */

export class Toolbar {
  /** @param {TracePanel} trace */
  constructor(trace) {
    this.trace = trace;
    const { mm, zoom, options } = trace;
    const seconds = (/** @type {1|-1} */ by) => () => trace.setSeconds(stepSeconds(trace.view.secondsAcross, by));
    this.freeze = button("freeze", W.freeze, () => trace.toggleFreeze(), { "aria-pressed": "false", title: W.holdThePaperStillSpace });
    this.live = button("live", W.backToLive, () => trace.live(), { hidden: true, class: "accent", title: W.followTheNewestSampleEnd });
    this.seconds = select("seconds-across", SECONDS_ACROSS.map((s) => [String(s), `${s} s`]), (v) => trace.setSeconds(Number(v)), { "aria-label": W.secondsAcross });
    this.overlay = button("overlay", W.overlay, () => trace.setOverlaid(!trace.overlaid), { "aria-pressed": "false", title: W.layAllProbesOverEach });
    this.cursors = button("cursors", W.cursors, () => trace.toggleCursors(), { "aria-pressed": "false", title: W.twoCursorsTimeDifferenceAnd });
    this.zoom = button("zoom", W.zoom, () => zoom.key(), { "aria-pressed": "false", title: W.dragOverWhatYouWant });
    this.zoomOut = button("zoom-out", W.zoomOut, () => zoom.out(), { hidden: true, title: W.backToWhatWasSeen });
    this.mm = button("paper", "mm", () => mm.set({ on: !trace.paper.on }), { "aria-pressed": "false", title: W.trueMillimetresOnTheScreen });
    this.speed = select("paper-speed", SPEEDS.map((v) => [String(v), `${v} mm/s`]), (v) => mm.set({ mmPerSecond: Number(v) }), { "aria-label": W.paperSpeed });
    this.height = select("paper-height", HEIGHTS.map((v) => [String(v.mmPerVolt), v.text]), (v) => mm.set({ mmPerVolt: Number(v) }), { "aria-label": W.heightOfAChestSignal, title: W.mmMVNeedsTheBoards });
    this.screen = button("calibrate", W.screen, () => options.calibrate(), { title: W.fitABarToA });
    this.mmGroup = h("span", { class: "paper-group", hidden: true }, this.speed, this.height, this.screen);
    this.note = button("note-add", W.note, () => this.#openNote(), { title: W.writeANoteAtThe });
    this.noteInput = h("input", { type: "text", id: "note-text", "data-testid": "note-text", maxlength: "400", placeholder: W.whatHappenedHere, "aria-label": W.note });
    this.noteForm = h("form", { class: "note-form", hidden: true }, this.noteInput, h("button", { type: "submit", "data-testid": "note-save" }, W.keep));
    this.noteIndex = 0;
    this.noteForm.addEventListener("submit", (e) => {
      e.preventDefault();
      void this.#keepNote();
    });
    this.noteInput.addEventListener("keydown", (e) => {
      if (e.key === "Escape") this.#closeNote();
    });
    this.where = h("span", { class: "where", "data-testid": "where" });
    this.root = h("div", { class: "toolbar", role: "toolbar", "aria-label": W.trace },
      this.freeze, this.live,
      h("span", { class: "group" },
        button("seconds-less", "−", seconds(-1), { "aria-label": W.fewerSecondsAcross, class: "step" }), this.seconds,
        button("seconds-more", "+", seconds(1), { "aria-label": W.moreSecondsAcross, class: "step" })),
      button("auto-all", W.autoScale, () => trace.autoAll(), { title: W.letEveryTraceFindIts }), this.overlay, this.cursors, this.zoom, this.zoomOut, this.mm, this.mmGroup, this.note, this.noteForm,
      button("save", W.save, () => options.save(), { title: W.whatIsSeenAsA }), button("sheet-open", W.sheet, () => options.sheet(), { title: W.aHandoutOrALab }), this.where);
    tellsWhereItGoesOn(this.root);
  }

  async #keepNote() {
    const text = this.noteInput.value.trim();
    this.noteForm.inert = true;
    const kept = text === "" || (await this.trace.options.addNote(text, this.noteIndex));
    this.noteForm.inert = false;
    if (kept) this.#closeNote();
    else this.noteInput.focus();
  }

  #openNote() {
    if (!this.noteForm.hidden) return this.noteInput.focus();
    const { view, cursors, head } = this.trace;
    this.noteIndex = Math.round(view.held ? (cursors.on ? cursors.a : view.end) : head);
    this.noteForm.hidden = false;
    this.note.hidden = true;
    this.noteInput.value = "";
    this.noteInput.focus();
  }

  #closeNote() {
    this.noteForm.hidden = true;
    this.note.hidden = false;
    this.note.focus();
  }

  /** @param {boolean} held */
  showHeld(held) {
    this.freeze.setAttribute("aria-pressed", String(held));
    setText(this.freeze, held ? W.frozen : W.freeze);
    this.live.hidden = !held;
  }

  /** @param {number} seconds */
  showSeconds(seconds) {
    const value = String(seconds);
    const options = [...this.seconds.options];
    const own = options.find((o) => o.dataset.own);
    if (own && own.value !== value) own.remove();
    if (!options.some((o) => o.value === value)) this.seconds.prepend(h("option", { value, "data-own": "yes" }, duration(seconds)));
    this.seconds.value = value;
  }

  showPaper() {
    const { paper, mm } = this.trace;
    this.mm.setAttribute("aria-pressed", String(paper.on));
    this.mmGroup.hidden = !paper.on;
    this.speed.value = String(paper.mmPerSecond);
    this.height.value = String(paper.mmPerVolt);
    setText(this.screen, mm.perDevicePx > 0 ? W.screen : W.screenNotMeasured);
  }
}
