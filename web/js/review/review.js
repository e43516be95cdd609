// Review: one recording on the whole page. Overview and window, notes, beats, two
// cursors, a path laid over the whole file, and replay from a place.

import { api } from "../api.js";
import { prefs } from "../store.js";
import { openCompare } from "../compare/compare.js";
import { button, fill, h, refill, select, setText } from "../dom.js";
import { clockTime, duration, qualityWord, quantity, rate, significant } from "../format.js";
import { withNotes } from "./annotated.js";
import { ChannelFields } from "./channels.js";
import { RecordedCheck } from "./figures.js";
import { RecordedIntervals } from "./intervals.js";
import { library, replayAddress, replays, SPEEDS } from "./library.js";
import { BeatEditor } from "./editor.js";
import { reviewPaper } from "./on-paper.js";
import { PathFields } from "./path-fields.js";
import { Sheet } from "./sheet.js";
import { RecordedScore } from "./score.js";
import { PieceSource } from "./source.js";
import { breaksOf, firstFrom, intervalsOf, medianRate } from "./window.js";
import { save } from "../save.js";
import { AID, INVENTED } from "../words.js";
import { reviewWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Detail, Mark, RecordedNote} from "./library.js" */
/** @import {PathSettings} from "../types.js" */
/** @typedef {"intervals"|"check"|"score"} Beside */

const MOST_ROWS = 120;
/** More lines of the board than this are hidden at first. */
const MOST_BOARD_LINES = 30;
const ZOOM = 1.5;
/** Shown on opening. */
const FIRST_SECONDS = 30;
const VALUE_PAUSE_MS = 60;
const LIST_PAUSE_MS = 90;
/** As in page.css: what stands beside the sheet then comes below it. */
const NARROW_CSS = 760;
const SECONDS = [1, 2, 5, 10, 20, 60, 300, 1800];

/** @type {ReviewView|null} */
let view = null;

/**
 * Opens a recording for looking at.
 * @param {DrawerContext} ctx
 * @param {string} id
 * @param {{from: number, to: number}} [place]
 */
export function openReview(ctx, id, place) {
  view ??= new ReviewView(ctx);
  void view.open(id, place);
}

class ReviewView {
  /** @param {DrawerContext} ctx */
  constructor(ctx) {
    this.ctx = ctx;
    /** @type {Detail|null} */
    this.detail = null;
    /** @type {PieceSource|null} */
    this.source = null;
    /** @type {(PathSettings|null)[]} */
    this.paths = [];
    this.beatChannel = 0;
    /** Somebody chose that channel. */
    this.beatsChosen = false;
    this.pathChannel = 0;
    this.listKey = "";
    this.valueTimer = 0;
    /** How often the cursors' values were wanted. */
    this.valueTurn = 0;
    this.beatTimer = 0;
    this.opening = 0;
    /** @type {AbortController|null} finding the beats of a channel */
    this.finding = null;
    /** Notes and beats are still on their way. */
    this.reading = false;
    this.openMs = NaN;
    /** The recording under way whose end was warned of. */
    this.warned = "";
    this.sheet = new Sheet({ loop: ctx.loop, moved: () => this.#moved(), cursorsMoved: () => this.#cursorsMoved() });
    const beside = {
      go: (/** @type {number} */ sample) => this.sheet.goTo(sample),
      time: (/** @type {number} */ seconds, /** @type {number} */ step) => this.sheet.times.text(seconds, step),
      place: () => {
        const { window: w, cursors: c } = this.sheet;
        return { from: w.from, to: w.to, cursors: /** @type {[number, number]|null} */ (c.on ? [Math.min(c.a, c.b), Math.max(c.a, c.b)] : null) };
      },
    };
    /** Panels in place of the list of notes and beats, one at a time. */
    this.panels = { intervals: new RecordedIntervals(beside), check: new RecordedCheck(beside), score: new RecordedScore(beside, (faults) => {
      this.sheet.faults = faults;
      ctx.loop.dirty(this.sheet);
      this.#showFound();
    }) };
    this.editor = new BeatEditor({ sheet: this.sheet, channel: () => this.beatChannel, changed: () => this.#edited(), saved: () => this.#editsSaved(), find: () => void this.#findBeats(), reload: () => void this.#reload(), announce: ctx.announce, failed: (e) => this.#failed(e) });
    this.title = h("h2", { id: "review-title", tabindex: "-1", "data-testid": "review-title" });
    this.facts = h("p", { class: "review-facts", "data-testid": "review-facts" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "review-error" });
    this.where = h("span", { class: "where", "data-testid": "review-where" });
    this.readout = h("div", { class: "review-readout", "data-testid": "review-readout", hidden: true });
    this.dialog = h("dialog", { class: "review", id: "review", "data-testid": "review", "aria-labelledby": "review-title" },
      h("header", { class: "review-head" }, h("div", {}, this.title, this.facts), h("button", { type: "button", class: "quiet close", "aria-label": W.close, "data-testid": "review-close", onclick: () => this.dialog.close() }, "×")),
      this.error, this.#toolbar(), this.editor.help, h("div", { class: "review-main" }, this.sheet.box, this.sheet.strip), this.#side(), ...this.#beside().map((p) => p.root), h("p", { class: "print-aid" }, AID));
    this.dialog.addEventListener("close", () => this.#closed());
    this.dialog.addEventListener("keydown", (e) => this.#key(e));
    document.body.append(this.dialog);
    Object.assign(window, { pulsewrightReview: () => this.stats() });
  }

  #toolbar() {
    this.seconds = select("review-seconds", [["", ""], ...SECONDS.map((s) => /** @type {[string, string]} */ ([String(s), s < 60 ? `${s} s` : `${s / 60} min`])), ["all", "all"]], (v) => {
      if (v === "all") {
        this.sheet.window.set(0, Infinity);
        this.sheet.moved();
      } else if (v) this.sheet.setSeconds(Number(v));
    }, { "aria-label": W.timeAcross });
    this.cursorButton = button("review-cursors", W.cursors, () => this.#toggleCursors(), { "aria-pressed": "false", title: W.twoCursorsTimeDifferenceAnd });
    this.lockButton = button("review-lock", W.lockScale, () => this.#toggleLock(), { "aria-pressed": "false", title: W.keepTheHeightOfThe });
    this.noteInput = h("input", { type: "text", id: "review-note", "data-testid": "review-note", maxlength: "400", placeholder: W.whatIsToBeSeen, "aria-label": W.note });
    this.noteSpan = h("input", { type: "checkbox", id: "review-note-span", "data-testid": "review-note-span" });
    this.noteSpanLabel = h("label", { class: "check", hidden: true }, this.noteSpan, h("span", {}, W.fromAToB));
    this.noteForm = h("form", { class: "note-form", hidden: true }, this.noteInput, this.noteSpanLabel, h("button", { type: "submit", "data-testid": "review-note-save" }, W.keep));
    this.noteForm.addEventListener("submit", (e) => {
      e.preventDefault();
      void this.#addNote();
    });
    this.noteButton = button("review-note-add", W.note, () => this.#openNote(), { title: W.writeANoteAtCursor, class: "owner-only" });
    /** @type {Record<Beside, HTMLButtonElement>} */
    this.panelButtons = {
      check: button("review-check-open", W.check, () => this.#togglePanel("check"), { "aria-pressed": "false", "aria-controls": "review-check", title: W.swingHumAndNoiseOf }),
      intervals: button("review-intervals-open", W.intervals, () => this.#togglePanel("intervals"), { "aria-pressed": "false", "aria-controls": "review-intervals", title: W.fromBeatToBeatStrip }),
      score: button("review-score-open", W.score, () => this.#togglePanel("score"), { "aria-pressed": "false", "aria-controls": "review-score", title: W.foundAgainstAnnotated, hidden: true }),
    };
    this.goInput = h("input", { type: "text", id: "review-go", "data-testid": "review-go", maxlength: "20", size: "10", "aria-label": W.goToTime });
    this.goForm = h("form", { class: "note-form", hidden: true }, this.goInput, h("button", { type: "submit" }, W.go));
    this.goForm.addEventListener("submit", (e) => {
      e.preventDefault();
      this.#goToTime();
    });
    this.goButton = button("review-go-open", W.goTo, () => this.#openGo(), { title: W.goToTimeKey });
    this.clockButton = button("review-clock", W.clock, () => this.#toggleClock(), { "aria-pressed": "false", title: W.clockTimeOnTheAxis });
    this.sheet.times.clock = prefs.get("reviewClock", false);
    this.speed = select("review-speed", SPEEDS.map((n) => [String(n), `${n}×`]), (v) => (replays.speed = Number(v)), { "aria-label": W.speedOfTheReplay });
    return h("div", { class: "toolbar", role: "toolbar", "aria-label": W.recording },
      h("span", { class: "group" },
        button("review-out", "−", () => this.sheet.zoom(ZOOM), { class: "step", "aria-label": W.moreTimeAcross, title: W.moreTimeAcross2 }), this.seconds,
        button("review-in", "+", () => this.sheet.zoom(1 / ZOOM), { class: "step", "aria-label": W.lessTimeAcross, title: W.lessTimeAcross2 })),
      this.lockButton, this.cursorButton, button("review-save", W.saveSeen, () => this.#save(), { title: W.whatIsSeenAsA }), button("review-sheet", W.sheet, () => this.#paper(), { title: W.aHandoutOrALab }), this.noteButton, this.noteForm, this.panelButtons.check, this.panelButtons.intervals, this.panelButtons.score, this.editor.open, this.editor.bar,
      h("span", { class: "owner-only group-loose" }, button("review-replay", W.replayFromHere, () => this.#replay(), { title: W.playItIntoTheLive }), this.speed),
      h("span", { class: "group-loose" }, button("review-as-a", W.compareAsA, () => this.#compare(0), { title: W.thisStretchOrWhatLies }), button("review-as-b", W.asB, () => this.#compare(1), { "aria-label": W.compareAsB })),
      this.goButton, this.goForm, this.clockButton, this.where);
  }

  #side() {
    this.noteList = h("ol", { class: "review-list", "data-testid": "review-notes" });
    this.boardCheck = h("input", { type: "checkbox", id: "review-board", "data-testid": "review-board" });
    this.boardCheck.addEventListener("change", () => this.#showNotes());
    this.boardLabel = h("label", { class: "check", hidden: true }, this.boardCheck, h("span", {}));
    this.noteCount = h("small", {});
    this.beatPick = select("review-beat-channel", [], (v) => {
      this.beatChannel = Number(v);
      this.beatsChosen = true;
      this.#showBeats(true);
      this.editor.toggle(false);
      this.editor.tell();
    }, { "aria-label": W.channelOfTheBeats });
    this.beatWords = h("p", { class: "hint", "data-testid": "review-beat-words" });
    this.beatList = h("ol", { class: "review-list", "data-testid": "review-beats" });
    this.findBeats = button("review-find-beats", W.findBeats, () => this.#findBeats(), { title: W.runTheBeatFinderOver, hidden: true });
    this.pathPick = select("review-path-channel", [], (v) => {
      this.pathChannel = Number(v);
      this.#showPath();
    }, { "aria-label": W.channelOfThePath });
    this.pathOn = select("review-path-on", [["off", W.asRecorded], ["on", "filtered"]], (v) => this.#setPath(v === "on" ? this.fields?.path ?? null : null), { "aria-label": W.howTheChannelIsShown });
    this.fields = new PathFields((p) => this.#setPath(p));
    this.pathRecorded = button("review-path-recorded", W.asSetWhenRecorded, () => this.#setPath(this.detail?.channelDetails[this.pathChannel]?.path ?? null), { class: "quiet" });
    this.pathLive = button("review-path-live", W.asSetOnTheLive, () => {
      const live = this.ctx.store.state.server?.channels ?? [];
      const c = live[this.pathChannel] ?? live[0];
      if (c) this.#setPath(structuredClone(c.path));
    }, { class: "quiet" });
    this.channels = new ChannelFields({ say: (change) => this.#say(change) });
    this.laneChecks = h("div", { class: "row" });
    this.laneSection = h("section", { hidden: true }, h("h3", {}, W.traces), this.laneChecks);
    this.side = h("aside", { class: "review-side", "aria-label": W.cursorsNotesBeatsAndPath },
      this.readout,
      h("section", {}, h("div", { class: "row" }, h("h3", {}, W.notes), this.noteCount, h("span", { class: "spring" }), this.boardLabel), this.noteList),
      h("section", {}, h("div", { class: "row" }, h("h3", {}, W.beats), h("span", { class: "spring" }), this.beatPick,
        button("review-beat-before", "‹", () => this.#beat(-1), { "aria-label": W.beatBefore, title: W.beatBeforeShiftB, class: "step" }), button("review-beat-next", "›", () => this.#beat(1), { "aria-label": W.nextBeat, title: W.nextBeatB, class: "step" })),
      this.beatWords, this.editor.said, this.findBeats, this.beatList),
      this.laneSection,
      this.channels.root,
      h("section", {}, h("div", { class: "row" }, h("h3", {}, W.path), h("span", { class: "spring" }), this.pathPick, this.pathOn), this.fields.root, h("div", { class: "row" }, this.pathRecorded, this.pathLive)),
      h("details", { class: "review-keys" }, h("summary", {}, W.keyboard), keysHelp()));
    return this.side;
  }

  // --- opening ----------------------------------------------------------------

  /**
   * @param {string} id
   * @param {{from: number, to: number}} [place]
   */
  async open(id, place) {
    const mine = ++this.opening;
    const begun = performance.now();
    this.#fail("");
    if (!this.dialog.open) this.dialog.showModal();
    try {
      const detail = await library.brief(id);
      if (mine !== this.opening) return;
      if (detail.problem || detail.samples === 0) throw new Error(detail.problem || W.thereIsNoSampleIn);
      this.reading = true;
      this.#show(detail, place);
      this.openMs = performance.now() - begun;
      await this.source?.first; // the trace before the notes
      await this.editor.busy; // and what is being saved
      const whole = await library.get(id).finally(() => (this.reading = false));
      if (mine !== this.opening) return;
      detail.notes = withNotes(whole.notes, detail.notes);
      detail.gaps = whole.gaps;
      detail.edits = this.editor.read(whole.edits); // one list with the editor's
      this.#showNotes();
      const { channels, annotated } = await library.beats(id);
      if (mine !== this.opening) return;
      this.sheet.beats = channels.map((list, c) => this.editor.beats(c, list.length > 0 ? list : this.sheet.beats[c] ?? [])); // or found meanwhile
      this.sheet.annotated = annotated;
      if (this.panelButtons) this.panelButtons.score.hidden = annotated.length === 0;
      if (!this.beatsChosen) this.beatChannel = Math.max(0, channels.findIndex((b) => b.length > 0));
      if (this.beatPick) this.beatPick.value = String(this.beatChannel);
      this.#showBeats(true);
      this.#findEdited(whole.edits);
      this.ctx.loop.dirty(this.sheet);
    } catch (e) {
      if (mine === this.opening) this.#failed(e);
    }
  }

  /**
   * Shows a recording. What was laid over it, its window and what is being written stay when it is the same as before.
   * @param {Detail} detail
   * @param {{from: number, to: number}} [place]
   */
  #show(detail, place) {
    const same = this.detail?.id === detail.id;
    const panel = /** @type {Beside[]} */ (Object.keys(this.panels)).find((name) => same && this.panels[name].open);
    this.source?.destroy();
    this.detail = detail;
    this.source = new PieceSource(detail.id, { arrived: () => this.sheet.arrived(), failed: (e) => this.#failed(e) });
    if (!same) this.#begin(detail);
    this.source.setPaths(this.paths);
    for (const p of this.#beside()) p.show(detail);
    this.#togglePanel(panel ?? "intervals", panel !== undefined);
    this.editor.toggle(false);
    this.editor.show(detail.id, {});
    if (this.speed) this.speed.value = String(replays.speed);
    this.dialog.toggleAttribute("data-invented", detail.invented);
    fill(this.title, detail.name || detail.id, detail.invented ? " " : null, detail.invented ? h("span", { class: "invented", "data-testid": "review-invented" }, INVENTED) : null);
    setText(this.facts, [detail.started ? new Date(detail.started).toLocaleString("sv-SE") : "", clockTime(Math.floor(detail.seconds)), rate(detail.rateHz), detail.channelDetails.map((c) => c.label).join(", "), detail.format, detail.note, ...detail.remarks].filter(Boolean).join(" · "));
    const options = detail.channelDetails.map((c, i) => h("option", { value: String(i) }, c.label));
    for (const [pick, channel] of /** @type {const} */ ([[this.beatPick, this.beatChannel], [this.pathPick, this.pathChannel]])) {
      if (!pick) continue;
      fill(pick, ...options.map((o) => o.cloneNode(true)));
      pick.value = String(channel);
      pick.hidden = detail.channelDetails.length < 2;
    }
    this.ctx.loop.add(this.sheet);
    this.#showClock(detail);
    const { from, to } = place ?? (same ? this.sheet.window : { from: 0, to: FIRST_SECONDS * detail.rateHz });
    this.sheet.show(detail, this.source, from, to);
    this.#showLanes();
    this.channels?.show(detail);
    this.#showNotes();
    this.#showBeats(true);
    if (!same) this.#showPath();
    this.#cursorsMoved();
    if (!same || !this.dialog.contains(document.activeElement)) this.sheet.canvas.focus();
  }

  /** Another recording: nothing is laid over it yet. @param {Detail} detail */
  #begin(detail) {
    this.paths = detail.channelDetails.map(() => null);
    this.pathChannel = 0;
    this.beatChannel = 0;
    this.beatsChosen = false;
    if (this.panelButtons) this.panelButtons.score.hidden = true;
  }

  /**
   * Says something of a channel and shows the same place anew.
   * @param {import("./library.js").ChannelChange} change
   */
  async #say(change) {
    const { detail } = this;
    if (!detail) return;
    await library.change(detail.id, { channels: [change] });
    window.dispatchEvent(new Event("recordings-changed"));
    if (this.detail?.id === detail.id) void this.open(detail.id);
  }

  /** Which channels have a lane. */
  #showLanes() {
    const { detail, laneSection, laneChecks, sheet } = this;
    if (!detail || !laneSection || !laneChecks) return;
    laneSection.hidden = detail.channelDetails.length < 2;
    refill(laneChecks, ...detail.channelDetails.map((c, i) => {
      const box = h("input", { type: "checkbox", id: `review-lane-${i}`, "data-testid": `review-lane-${i}` });
      box.checked = sheet.shown[i];
      box.addEventListener("change", () => {
        sheet.shown[i] = box.checked;
        this.ctx.loop.dirty(sheet);
      });
      return h("label", { class: "check" }, box, h("span", {}, c.label));
    }));
  }

  #closed() {
    this.opening++;
    this.finding?.abort();
    this.source?.destroy();
    this.source = null;
    this.ctx.loop.remove(this.sheet);
    this.sheet.clear();
    for (const p of this.#beside()) p.close();
    this.detail = null;
  }

  // --- the window ---------------------------------------------------------------

  #moved() {
    const { window: w, rateHz } = this.sheet;
    if (!this.detail) return;
    const span = w.span / rateHz;
    setText(this.where, `${this.sheet.times.text(w.from / rateHz, span < 20 ? 0.01 : 1)} to ${this.sheet.times.text(w.to / rateHz, span < 20 ? 0.01 : 1)}`);
    if (this.seconds) {
      const same = SECONDS.find((s) => Math.abs(s / span - 1) < 0.01);
      this.seconds.options[0].textContent = duration(span);
      this.seconds.value = w.span >= w.length ? "all" : same ? String(same) : "";
    }
    // The list follows when the window rests.
    window.clearTimeout(this.beatTimer);
    this.beatTimer = window.setTimeout(() => this.#showBeats(false), LIST_PAUSE_MS);
    for (const p of this.#beside()) p.follow();
    this.editor.place();
  }

  #beside() {
    return Object.values(this.panels);
  }

  /** @param {Beside} which @param {boolean} [open] */
  #togglePanel(which, open = !this.panels[which].open) {
    const within = this.#beside().some((p) => p.root.contains(document.activeElement)); // the keys stay here
    for (const [name, panel] of Object.entries(this.panels)) {
      panel.toggle(open && name === which);
      this.panelButtons?.[/** @type {Beside} */ (name)].setAttribute("aria-pressed", String(panel.open));
    }
    if (this.side) this.side.hidden = open;
    this.dialog.classList.toggle("with-panel", open);
    if (within) this.sheet.canvas.focus();
    if (open && window.innerWidth <= NARROW_CSS) this.panels[which].root.scrollIntoView({ block: "nearest" });
  }

  #toggleScore() {
    if (this.sheet.annotated.length > 0) this.#togglePanel("score");
  }

  /** What is scored is seen: the beats of a channel in which none are stored are found. */
  #showFound() {
    const { detail, panels: { score } } = this;
    if (!detail || !score.data || !this.sheet.faults || this.finding || this.sheet.beats[score.channel]?.length) return;
    this.beatChannel = score.channel;
    if (this.beatPick) this.beatPick.value = String(score.channel);
    void this.#findBeats();
  }

  /** To the next miss, or the one before. @param {1|-1} direction */
  #fault(direction) {
    const { score } = this.panels;
    if (score.open) score.step(direction);
    else this.#toggleScore();
  }

  /** @param {Detail} detail */
  #showClock(detail) {
    this.sheet.times.begin(detail.started);
    if (this.clockButton) this.clockButton.hidden = !this.sheet.times.known;
    this.clockButton?.setAttribute("aria-pressed", String(this.sheet.times.clock));
  }

  #toggleClock() {
    const { times } = this.sheet;
    if (!this.detail || !times.known) return;
    times.clock = !times.clock;
    prefs.set("reviewClock", times.clock);
    this.#showClock(this.detail);
    this.#showNotes();
    this.#showBeats(true);
    for (const p of this.#beside()) p.draw();
    this.sheet.moved();
  }

  #openGo() {
    if (!this.goForm || !this.goInput || !this.goButton) return;
    this.goForm.hidden = false;
    this.goButton.hidden = true;
    this.goInput.value = this.sheet.times.text(this.sheet.window.from / this.sheet.rateHz);
    this.goInput.focus();
    this.goInput.select();
  }

  #closeGo() {
    if (!this.goForm || !this.goButton) return;
    this.goForm.hidden = true;
    this.goButton.hidden = false;
    this.sheet.canvas.focus();
  }

  /** The time that was written comes to the middle. */
  #goToTime() {
    const { sheet } = this;
    const text = this.goInput?.value ?? "";
    const seconds = sheet.times.parse(text);
    const length = sheet.window.length / sheet.rateHz;
    if (!(seconds <= length)) return this.#fail(Number.isNaN(seconds) ? W.noTime(text) : W.beyondTheEnd(text, sheet.times.text(length)));
    this.#fail("");
    const half = sheet.window.span / 2;
    sheet.window.set(seconds * sheet.rateHz - half, seconds * sheet.rateHz + half);
    sheet.moved();
    this.#closeGo();
  }

  #toggleLock() {
    this.sheet.locked = !this.sheet.locked;
    this.lockButton?.setAttribute("aria-pressed", String(this.sheet.locked));
    this.ctx.loop.dirty(this.sheet);
  }

  #toggleCursors() {
    this.sheet.toggleCursors();
    this.cursorButton?.setAttribute("aria-pressed", String(this.sheet.cursors.on));
  }

  #cursorsMoved() {
    const { cursors } = this.sheet;
    this.readout.hidden = !cursors.on;
    this.cursorButton?.setAttribute("aria-pressed", String(cursors.on));
    for (const p of this.#beside()) p.follow();
    if (!cursors.on) return;
    window.clearTimeout(this.valueTimer);
    this.#showReadout(null, null);
    const mine = ++this.valueTurn;
    this.valueTimer = window.setTimeout(() => this.#values(mine), VALUE_PAUSE_MS);
  }

  /** @param {number} mine the turn, of which only the last is shown */
  async #values(mine) {
    const { a, b } = this.sheet.cursors;
    const source = this.source;
    if (!source) return;
    try {
      const [va, vb] = await Promise.all([source.at(a), source.at(b)]);
      if (mine === this.valueTurn && source === this.source) this.#showReadout(va, vb);
    } catch (e) {
      if (mine === this.valueTurn) this.#failed(e);
    }
  }

  /**
   * @param {number[]|null} va by channel; null is being asked for
   * @param {number[]|null} vb
   */
  #showReadout(va, vb) {
    const d = this.sheet.measure();
    const rows = (this.detail?.channelDetails ?? []).map((c, i) => h("tr", {}, h("th", { scope: "row" }, c.label), ...[va?.[i], vb?.[i], va && vb ? vb[i] - va[i] : undefined].map((v) => h("td", {}, v === undefined ? "…" : quantity(v, c.unit)))));
    fill(this.readout, h("b", { "data-testid": "review-delta-t" }, "Δt " + duration(d.seconds)), h("b", { "data-testid": "review-delta-bpm" }, Number.isFinite(d.bpm) ? `${d.bpm.toFixed(1)}\u00a0bpm` : "–"),
      h("table", {}, h("thead", {}, h("tr", {}, h("th", {}, h("span", { class: "unseen" }, W.channel)), ...["A", "B", "ΔV"].map((t) => h("th", { scope: "col" }, t)))), h("tbody", {}, rows)));
  }

  /** Cursor A when it is set, else null. */
  #marked() {
    return this.sheet.cursors.on ? Math.min(this.sheet.cursors.a, this.sheet.cursors.b) : null;
  }

  // --- notes --------------------------------------------------------------------

  #openNote() {
    if (!this.noteForm || !this.noteInput || !this.noteButton || !this.ctx.store.state.owner) return;
    this.noteForm.hidden = false;
    this.noteButton.hidden = true;
    this.noteInput.value = "";
    if (this.noteSpanLabel) this.noteSpanLabel.hidden = !this.sheet.cursors.on;
    this.noteInput.focus();
  }

  #closeNote() {
    if (!this.noteForm || !this.noteButton) return;
    this.noteForm.hidden = true;
    this.noteButton.hidden = false;
    this.noteButton.focus();
  }

  async #addNote() {
    const text = this.noteInput?.value.trim() ?? "";
    const { detail } = this;
    if (!text || !detail || !this.noteForm) return this.#closeNote();
    this.noteForm.inert = true;
    const sample = Math.round(this.#marked() ?? (this.sheet.window.from + this.sheet.window.to) / 2);
    const { cursors, rateHz } = this.sheet;
    const durationSeconds = cursors.on && this.noteSpan?.checked ? Math.abs(cursors.b - cursors.a) / rateHz : 0;
    try {
      await library.addNote(detail.id, sample, text, durationSeconds);
      const now = this.detail?.id === detail.id ? this.detail : detail; // read anew meanwhile
      now.notes = withNotes(now.notes, [{ sample, text, board: false, added: true, onsetSeconds: sample / detail.rateHz, durationSeconds }]);
      this.#closeNote();
      this.#showNotes();
      this.#fail("");
      this.ctx.announce(W.noted);
    } catch (e) {
      this.#failed(e);
    }
    this.noteForm.inert = false;
  }

  /** @param {RecordedNote} n */
  async #removeNote(n) {
    const { detail } = this;
    if (!detail) return;
    try {
      await library.removeNote(detail.id, n.sample, n.text);
      const { notes } = this.detail?.id === detail.id ? this.detail : detail;
      const i = notes.findIndex((m) => m.sample === n.sample && m.text === n.text);
      if (i >= 0) notes.splice(i, 1);
      this.#showNotes();
      this.ctx.announce(W.theNoteIsGone);
    } catch (e) {
      this.#failed(e);
    }
  }

  #showNotes() {
    const { detail, noteList, boardLabel, boardCheck } = this;
    if (!detail || !noteList || !boardLabel || !boardCheck) return;
    const lines = detail.notes.filter((n) => n.board).length;
    if (boardLabel.hidden && lines > 0) boardCheck.checked = lines <= MOST_BOARD_LINES;
    boardLabel.hidden = lines === 0;
    setText(/** @type {Element} */ (boardLabel.lastElementChild), W.theBoardsLines(lines));
    const shown = detail.notes.filter((n) => !n.board || boardCheck.checked);
    this.sheet.notes = shown;
    if (this.noteCount) setText(this.noteCount, shown.length > 0 ? String(shown.length) : "");
    fill(noteList, ...shown.slice(0, 500).map((n, i) => h("li", {},
      button(`review-note-${i}`, "", () => this.sheet.goTo(n.sample), { class: "review-row", title: W.goThere }),
      n.added ? button(`review-note-${i}-remove`, "×", () => this.#removeNote(n), { class: "quiet owner-only", "aria-label": W.takeAwayTheNote(n.text) }) : null)));
    [...noteList.children].forEach((li, i) => {
      const row = li.querySelector(".review-row");
      if (row) fill(row, h("span", { class: "review-time" }, this.#noteTime(shown[i])), h("span", {}, shown[i].text));
    });
    if (shown.length === 0) fill(noteList, h("li", { class: "hint" }, this.reading ? W.reading : W.noNotesYetPressN));
    this.ctx.loop.dirty(this.sheet);
  }

  /** When a note is, or from when to when. @param {RecordedNote} n */
  #noteTime(n) {
    const { times, rateHz } = this.sheet;
    const at = n.sample / rateHz;
    return times.text(at, 0.1) + (n.durationSeconds > 0 ? `\u2009–\u2009${times.text(at + n.durationSeconds, 0.1)}` : "");
  }

  // --- beats --------------------------------------------------------------------

  /** @param {boolean} fresh */
  #showBeats(fresh) {
    const { beatList, beatWords, findBeats, detail } = this;
    if (!beatList || !beatWords || !findBeats || !detail) return;
    /** @type {Mark[]} */
    const list = this.sheet.beats[this.beatChannel] ?? [];
    const { window: w, rateHz } = this.sheet;
    const kind = detail.channelDetails[this.beatChannel]?.kind ?? "other";
    const asOther = list.length > 0 && list[0].kind !== kind;
    findBeats.hidden = this.reading || kind === "other" || list.length > 0 && !asOther;
    const a = firstFrom(list, Math.ceil(w.from));
    const b = firstFrom(list, w.to);
    const key = `${this.beatChannel} ${kind} ${list.length} ${a} ${b}`;
    if (!fresh && key === this.listKey) return;
    this.listKey = key;
    const intervals = intervalsOf(list, breaksOf(detail.gaps ?? [], rateHz), a, b);
    const median = medianRate(intervals.slice(1), rateHz);
    setText(beatWords, list.length === 0 ? this.reading ? W.reading : W.noBeatsAreStoredFor : W.hereInAll((b - a).toLocaleString("en"), median > 0 ? W.medianBpm(significant(median, 3)) : "", list.length.toLocaleString("en"), asOther ? W.foundAsBeforeTheKind(list[0].kind === "ecg" ? W.anECG : W.aPulse) : ""));
    const shown = list.slice(a, Math.min(b, a + MOST_ROWS));
    fill(beatList, ...shown.map((m, i) => {
      const seconds = intervals[i] / rateHz;
      return h("li", {}, h("button", { type: "button", class: "review-row", onclick: () => this.#toBeat(a + i) },
        h("span", { class: "review-time" }, this.sheet.times.text(m.sample / rateHz, 0.01)),
        h("span", {}, seconds === Infinity ? W.gap : seconds > 0 && seconds < 10 ? `${significant(60 / seconds, 3)}\u00a0bpm` : "–"), h("span", { class: "hint" }, m.byHand ? W.byHand : qualityWord(m.quality))));
    }));
    if (b - a > MOST_ROWS) beatList.append(h("li", { class: "hint" }, W.andMoreZoomInTo(b - a - MOST_ROWS)));
  }

  async #findBeats() {
    const { detail, findBeats } = this;
    if (!detail || !findBeats) return;
    if (this.finding) {
      this.finding.abort();
      return;
    }
    const channel = this.beatChannel;
    const finding = new AbortController();
    this.finding = finding;
    const tell = (/** @type {number} */ share) => setText(findBeats, W.cancelDone(Math.floor(100 * share)));
    tell(0);
    try {
      const channels = await library.findBeats(detail.id, channel, tell, finding.signal);
      if (detail.id === this.detail?.id) {
        this.sheet.beats[channel] = this.editor.beats(channel, channels[channel]);
        this.#showBeats(true);
        this.ctx.loop.dirty(this.sheet);
        this.ctx.announce(W.beatsFound(channels[channel].length));
      }
    } catch (e) {
      if (finding.signal.aborted) this.ctx.announce(W.cancelled);
      else this.#failed(e);
    } finally {
      if (this.finding === finding) this.finding = null;
      setText(findBeats, W.findBeats);
    }
  }

  /** Edited beats are among those found: where none are stored they are found at once. @param {Record<string, import("./library.js").Edit[]>} edits */
  #findEdited(edits) {
    const channel = Number(Object.keys(edits).find((c) => edits[c].length > 0 && (!this.beatsChosen || Number(c) === this.beatChannel)) ?? -1);
    if (channel < 0 || this.finding || this.sheet.beats[channel]?.length) return;
    this.beatChannel = channel;
    if (this.beatPick) this.beatPick.value = String(channel);
    this.editor.tell();
    void this.#findBeats();
  }

  /** Beats were edited: what is made of them follows. */
  #edited() {
    this.sheet.trendKey = "";
    this.#showBeats(true);
    this.ctx.loop.dirty(this.sheet);
  }

  /** The server has them too. */
  #editsSaved() {
    for (const panel of [this.panels.intervals, this.panels.score]) {
      panel.key = "";
      panel.follow();
    }
  }

  /** The same place, as the server has it. */
  async #reload() {
    const { detail } = this;
    if (!detail) return;
    this.beatsChosen = true;
    await this.open(detail.id);
    if (this.detail?.id !== detail.id || this.sheet.beats[this.beatChannel]?.length) return;
    void this.#findBeats();
  }

  /** @param {number} i */
  #toBeat(i) {
    const list = this.sheet.beats[this.beatChannel] ?? [];
    const m = list[i];
    if (!m) return;
    if (this.sheet.cursors.on) {
      this.sheet.cursors.a = list[i - 1]?.sample ?? m.sample;
      this.sheet.cursors.b = m.sample;
      this.#cursorsMoved();
    }
    this.sheet.goTo(m.sample);
  }

  /** @param {1|-1} direction */
  #beat(direction) {
    const list = this.sheet.beats[this.beatChannel] ?? [];
    const { window: w, cursors } = this.sheet;
    const here = cursors.on ? cursors.b : (w.from + w.to) / 2;
    const i = direction > 0 ? firstFrom(list, Math.floor(here) + 1) : firstFrom(list, Math.ceil(here)) - 1;
    const m = list[i];
    if (!m) return;
    if (cursors.on) return this.#toBeat(i);
    const half = w.span / 2;
    w.set(m.sample - half, m.sample + half);
    this.sheet.moved();
  }

  // --- path ---------------------------------------------------------------------

  #showPath() {
    const { detail, fields, pathOn } = this;
    if (!detail || !fields || !pathOn) return;
    const c = detail.channelDetails[this.pathChannel];
    const p = this.paths[this.pathChannel];
    if (this.pathPick) this.pathPick.value = String(this.pathChannel);
    pathOn.value = p ? "on" : "off";
    fields.show(p ?? structuredClone(c.path));
    fields.root.hidden = !p;
  }

  /** @param {PathSettings|null} p */
  #setPath(p) {
    this.paths[this.pathChannel] = p;
    this.sheet.filtered = this.paths.map((x) => !!x);
    const range = this.sheet.ranges[this.pathChannel];
    range?.reset();
    this.#fail("");
    this.source?.setPaths(this.paths);
    this.#showPath();
    this.#cursorsMoved();
    this.sheet.moved();
  }

  // --- leaving --------------------------------------------------------------------

  async #replay() {
    const { detail } = this;
    if (!detail || !this.ctx.store.state.owner) return;
    const from = this.#marked() ?? this.sheet.window.from;
    const running = this.ctx.store.state.server?.recording;
    if (running && this.warned !== running.id) {
      this.warned = running.id;
      this.#fail(W.isBeingRecordedAndWould(running.name || W.aRecording));
      return;
    }
    try {
      const paths = this.paths.slice();
      await api.open(replayAddress(detail.address, from, replays.speed));
      for (const [c, p] of paths.entries()) if (p) await api.path(c, p);
      this.dialog.close();
      this.ctx.announce(W.replayingFrom(detail.name || detail.id, clockTime(from / this.sheet.rateHz)));
    } catch (e) {
      this.#failed(e);
    }
  }

  #save() {
    const { detail } = this;
    if (!detail) return;
    const name = detail.name || detail.id;
    save({ root: this.sheet.box, name: "recording", title: detail.invented ? `${INVENTED} ${name}` : name, subtitle: this.where.textContent ?? "" });
  }

  #paper() {
    if (this.detail) reviewPaper(this.sheet, this.detail, { channel: this.panels.check.channel, where: this.where.textContent ?? "", paths: this.paths });
  }

  /** @param {0|1} side */
  #compare(side) {
    const { detail } = this;
    if (!detail) return;
    const { cursors, window: w } = this.sheet;
    const stretch = cursors.on && Math.abs(cursors.a - cursors.b) > this.sheet.rateHz ? [Math.min(cursors.a, cursors.b), Math.max(cursors.a, cursors.b)] : [w.from, w.to];
    openCompare(this.ctx, [{ id: detail.id, channel: this.pathChannel, from: Math.floor(stretch[0]), to: w.span >= w.length && !cursors.on ? Infinity : Math.ceil(stretch[1]) }], side);
  }

  /** @param {KeyboardEvent} e */
  #key(e) {
    const target = e.target;
    const writing = target instanceof HTMLInputElement && target.type !== "checkbox" || target instanceof HTMLSelectElement;
    if (this.detail && !writing && this.editor.key(e)) return;
    if (e.defaultPrevented || e.altKey || e.metaKey || e.ctrlKey || !this.detail) return;
    if (writing) {
      if (e.key === "Escape" && target === this.noteInput) {
        e.preventDefault();
        e.stopPropagation();
        this.#closeNote();
      } else if (e.key === "Escape" && target === this.goInput) {
        e.preventDefault();
        e.stopPropagation();
        this.#closeGo();
      }
      return;
    }
    const { sheet } = this;
    /** @type {Record<string, () => void>} */
    const keys = {
      ArrowLeft: () => sheet.pan(-0.1), ArrowRight: () => sheet.pan(0.1), PageUp: () => sheet.pan(-1), PageDown: () => sheet.pan(1),
      Home: () => sheet.pan(-Infinity), End: () => sheet.pan(Infinity), "+": () => sheet.zoom(1 / ZOOM), "=": () => sheet.zoom(1 / ZOOM), "-": () => sheet.zoom(ZOOM),
      c: () => this.#toggleCursors(), n: () => this.#openNote(), a: () => this.#toggleLock(), b: () => this.#beat(1), B: () => this.#beat(-1), p: () => void this.#replay(), i: () => this.#togglePanel("intervals"), k: () => this.#togglePanel("check"), P: () => this.#paper(),
      g: () => this.#openGo(), t: () => this.#toggleClock(),
      e: () => this.ctx.store.state.owner && this.editor.toggle(), s: () => this.#toggleScore(), m: () => this.#fault(1), M: () => this.#fault(-1),
    };
    const run = keys[e.key];
    if (!run) return;
    e.preventDefault();
    e.stopPropagation();
    run();
  }

  /** @param {string} text */
  #fail(text) {
    setText(this.error, text);
  }

  /** @param {unknown} e */
  #failed(e) {
    this.#fail(e instanceof Error ? e.message : String(e));
  }

  /** For tests and the curious. */
  stats() {
    const { window: w, cursors, paintMs, rateHz } = this.sheet;
    return { open: this.dialog.open, id: this.detail?.id ?? "", from: w.from, to: w.to, length: w.length, rateHz, cursors: { on: cursors.on, a: cursors.a, b: cursors.b }, paintMs, viewMs: this.source?.latencyMs ?? NaN, openMs: this.openMs,
      piece: this.source?.piece ? { from: this.source.piece.from, to: this.source.piece.to, exact: this.source.piece.exact } : null, notes: this.detail?.notes.length ?? 0, beats: this.sheet.beats.map((b) => b.length), annotated: this.sheet.annotated.length, edits: this.editor.edits, marks: this.sheet.beats, chosen: this.editor.chosen?.sample ?? null, faults: this.sheet.faults, ranges: this.sheet.ranges.map((r) => [r.low, r.high]) };
  }
}

function keysHelp() {
  const rows = [["← →", "scroll"], [W.pgUpPgDn, W.aPageBackAndForth], [W.homeEnd, W.beginningAndEnd], ["+ −", W.lessOrMoreTimeAcross], ["c", W.twoCursorsOnOneJump], ["n", W.writeANote], ["g", W.goToTime], ["t", W.clockTimeOnTheAxis2], ["b", W.nextBeatWithShiftThe], ["a", W.lockTheScale], ["k", W.checkSwingHumNoise], ["i", W.fromBeatToBeatIntervals], ["s", W.scoreAgainst], ["m", W.nextMiss], ["e", W.editBeatsKeys], ["p", W.replayFromHere2], [W.shiftP, W.aHandoutOrALab], [W.esc, "close"]];
  return h("dl", { class: "keys" }, rows.flatMap(([k, what]) => [h("dt", {}, k.split(" ").map((x) => h("kbd", {}, x))), h("dd", {}, what)]));
}
