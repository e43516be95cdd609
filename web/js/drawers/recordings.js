// The Recordings drawer: record, keep the past, and the list of what was recorded.

import { api } from "../api.js";
import { openCompare } from "../compare/compare.js";
import { button, fill, h, leadTo, select, setText } from "../dom.js";
import { bytes, clockTime, rate, significant } from "../format.js";
import { Queue } from "../queue.js";
import { prefs } from "../store.js";
import { ImportBox } from "./import-box.js";
import { library, replayAddress, replays, SPEEDS } from "../review/library.js";
import { openReview } from "../review/review.js";
import { INVENTED } from "../words.js";
import { drawerRecordingsWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Entry, Running, Trashed} from "../review/library.js" */
/** @import {PageState, Store} from "../store.js" */

const TICK_MS = 1000;
/** The list is asked for again so long after while rates are worked out. */
const RATES_MS = 2000;
const KEPT_MINUTES = 10;
/** Notes offered as a place to begin at. */
const MOST_NOTES = 8;
/** With more recordings a field finds them by name. */
const FIND_FROM = 8;
/** Recordings named one by one before they are deleted. */
const MOST_NAMED = 5;

/**
 * @param {string} [text] an RFC 3339 time
 */
export function when(text) {
  const t = text ? new Date(text) : null;
  if (!t || Number.isNaN(t.getTime()) || t.getFullYear() < 1900) return "";
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  return `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())} ${two(t.getHours())}:${two(t.getMinutes())}`;
}

/** How the list can be sorted. @type {[string, string][]} */
const SORTS = [["newest", W.newestFirst], ["oldest", W.oldestFirst], ["name", W.byName], ["longest", W.longestFirst], ["bpm", W.byMedianRate], ["rate", W.bySampleRate]];

/**
 * A list in an order of SORTS; what is alike stays as it was.
 * @param {Entry[]} list newest first
 * @param {string} by
 */
export function sorted(list, by) {
  const name = (/** @type {Entry} */ e) => e.name || e.id;
  /** @type {Record<string, (a: Entry, b: Entry) => number>} */
  const orders = {
    oldest: (a, b) => list.indexOf(b) - list.indexOf(a),
    name: (a, b) => name(a).localeCompare(name(b), undefined, { numeric: true }),
    longest: (a, b) => b.seconds - a.seconds,
    bpm: (a, b) => (a.medianBpm || Infinity) - (b.medianBpm || Infinity) || 0,
    rate: (a, b) => b.rateHz - a.rateHz,
  };
  return orders[by] ? [...list].sort(orders[by]) : list;
}

/**
 * What is known of a recording in a line.
 * @param {Entry} e
 */
export function summary(e) {
  const parts = [when(e.started), clockTime(Math.floor(e.seconds)), rate(e.rateHz), e.channels.length === 1 ? e.channels[0] : W.channels(e.channels.length)];
  const kinds = [...new Set(e.kinds ?? [])].filter((k) => (k === "ecg" || k === "pulse") && !(e.channels.length === 1 && e.channels[0].toLowerCase() === k)).map((k) => (k === "ecg" ? W.ecg : W.pulse));
  if (kinds.length > 0) parts.push(kinds.join(", "));
  if (e.medianBpm > 0) parts.push(`${significant(e.medianBpm, 2)}\u00a0bpm`);
  if (e.annotations > 0) parts.push(e.annotations === 1 ? "1 note" : W.notes(e.annotations));
  parts.push(bytes(e.bytes));
  return parts.filter(Boolean).join(" · ");
}

/**
 * Places in the past where a recording can begin: minutes, and notes.
 * @param {{index: number, text: string}[]} notes
 * @param {number} newest one past the newest sample
 * @param {number} rateHz
 * @returns {[string, string][]} minutes and text
 */
export function beginnings(notes, newest, rateHz) {
  /** @type {[string, string][]} */
  const list = [["0", "now"]];
  for (const m of [1, 2, 5, KEPT_MINUTES]) list.push([String(m), W.minAgo(m)]);
  const recent = notes.filter((n) => rateHz > 0 && newest - n.index > 0 && newest - n.index < KEPT_MINUTES * 60 * rateHz).slice(-MOST_NOTES).reverse();
  // A little before the note, for the asking takes time too.
  for (const n of recent) list.push([W.note(n.index), W.at(n.text.length > 30 ? n.text.slice(0, 29) + "…" : n.text)]);
  return list;
}

/**
 * What emptying the trash would lose.
 * @param {Trashed[]} list
 */
export function whatIsLost(list) {
  const names = list.slice(0, MOST_NAMED).map((t) => t.name || t.id);
  if (list.length > MOST_NAMED) names.push(W.more(list.length - MOST_NAMED));
  const last = names.pop() ?? "";
  const all = names.length > 0 ? W.and(names.join(", "), last) : last;
  const size = bytes(list.reduce((sum, t) => sum + t.bytes, 0));
  return list.length === 1 ? W.deleteForGoodItsOf(all, size) : W.deleteForGoodTheirOf(all, size);
}

/** How the ids of a recording's fields begin, wherever it stands in the list. @param {string} id */
const fieldId = (id) => "recording-" + encodeURIComponent(id);

/**
 * Seconds of the recording under way: those told with the state, and the signal that came since. A board that is away adds none.
 * @param {{recording: unknown, lastIndex: number, rateHz: number}|null} server
 * @param {number} end one past the newest sample
 */
export function recordedSeconds(server, end) {
  const told = /** @type {{seconds: number}|null|undefined} */ (server?.recording);
  if (!server || !told) return 0;
  return told.seconds + (server.rateHz > 0 ? Math.max(0, end - server.lastIndex) / server.rateHz : 0);
}

/** What the button shows, and who shows the same. */
const counted = { seconds: 0, also: /** @type {Set<() => void>} */ (new Set()) };

/**
 * The drawer's button tells of a recording under way, the drawer open or not.
 * @param {Store} store
 * @param {() => number} end one past the newest sample
 */
export function watchRecording(store, end) {
  const b = document.getElementById("drawer-recordings");
  if (!b) return;
  const mark = h("span", { class: "recording-mark", "data-testid": "recording-mark", hidden: true });
  b.append(mark);
  const show = () => {
    const { server } = store.state;
    mark.hidden = !server?.recording;
    counted.seconds = recordedSeconds(server, end());
    setText(mark, clockTime(Math.floor(counted.seconds)));
    for (const tell of counted.also) tell();
  };
  /** @type {unknown} */
  let before;
  store.subscribe((state) => {
    const running = state.server?.recording;
    if (running === before) return;
    before = running;
    show();
  });
  window.setInterval(show, TICK_MS);
  show();
}

class RecordingsPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.gone = false;
    this.queue = new Queue();
    this.owner = true;
    /** @type {Entry[]} */
    this.list = [];
    /** @type {Running|null} */
    this.running = null;
    this.runningName = "";
    /** The recording under way whose end was warned of. */
    this.warned = "";
    this.openId = "";
    /** What the last download of each lost, in words. @type {Map<string, string>} */
    this.lost = new Map();
    /** What is written and not yet saved, by recording. @type {Map<string, {name?: string, note?: string}>} */
    this.drafts = new Map();
    this.shownKey = "";
    this.trashKey = "";
    this.turn = 0;
    /** @type {Set<string>} */
    this.chosen = new Set();
    this.timer = 0;
    this.count = () => this.#run(this.running);
    this.again = 0;
    this.error = h("p", { class: "error", role: "alert", "data-testid": "recordings-error" });
    this.said = h("p", { class: "recordings-said", role: "status", "data-testid": "recordings-said" });
    if (!ctx.store.state.owner) {
      root.append(h("p", { class: "hint" }, W.recordingsAreTheOwnersAlone));
      return;
    }
    root.append(this.#recordForm(), this.error, this.said, this.#listPart());
    this.timer = window.setInterval(() => this.#tick(), TICK_MS);
    counted.also.add(this.count);
    this.heard = new AbortController();
    window.addEventListener("recordings-changed", () => void this.refresh(), { signal: this.heard.signal });
    this.changed(ctx.store.state);
    void this.refresh();
  }

  // --- recording ------------------------------------------------------------

  #recordForm() {
    this.name = h("input", { type: "text", id: "record-name", "data-testid": "record-name", maxlength: "80", placeholder: W.nameEGLampClip, "aria-label": W.nameOfTheRecording });
    this.from = select("record-from", beginnings([], 0, 0), () => {}, { "aria-label": W.begin });
    this.from.addEventListener("focus", () => this.#fillFrom());
    this.from.addEventListener("pointerdown", () => this.#fillFrom());
    this.length = select("record-for", [["0", W.untilStopped], ["0.5", "30 s"], ["1", "1 min"], ["2", "2 min"], ["5", "5 min"], ["10", "10 min"], ["30", "30 min"], ["60", "1 h"], ["480", "8 h"], ["1440", "24 h"]], () => {}, { "aria-label": W.howLong });
    this.note = h("input", { type: "text", id: "record-note", "data-testid": "record-note", maxlength: "400", placeholder: W.firstNoteOptional, "aria-label": W.firstNote });
    this.start = button("record-start", W.record, () => this.#start(), { class: "accent" });
    this.keepMinutes = select("keep-minutes", [1, 2, 3, 5, KEPT_MINUTES].map((m) => [String(m), `${m} min`]), () => {}, { "aria-label": W.howMuchOfThePast });
    this.keepMinutes.value = "5";
    this.keep = button("keep", W.keep, () => this.#keep(), { title: W.writeTheMinutesJustGone });
    this.idle = h("form", { class: "record-form owner-only" },
      this.name,
      h("div", { class: "row" }, h("label", { class: "pair" }, h("span", {}, W.begin), this.from), h("label", { class: "pair" }, h("span", {}, "for"), this.length)),
      h("div", { class: "row record-go" }, this.note, this.start));
    this.idle.addEventListener("submit", (e) => {
      e.preventDefault();
      void this.#start();
    });
    this.state = h("p", { class: "record-state", "data-testid": "record-state" });
    this.stop = button("record-stop", W.stop, () => this.#stop(), { class: "accent" });
    this.liveNote = h("input", { type: "text", id: "record-live-note", "data-testid": "record-live-note", maxlength: "400", placeholder: W.whatHappenedHere, "aria-label": W.noteAtTheNewestSample });
    const noteForm = h("form", { class: "row" }, this.liveNote, h("button", { type: "submit", "data-testid": "record-live-note-add" }, W.note2));
    noteForm.addEventListener("submit", (e) => {
      e.preventDefault();
      const text = this.liveNote?.value.trim() ?? "";
      if (text) void this.#do("note " + text, async () => {
        await api.note(text);
        if (this.liveNote?.value.trim() === text) this.liveNote.value = ""; // else the next is being written
        this.#say(W.noted);
      });
    });
    this.active = h("div", { class: "record-form", hidden: true }, h("div", { class: "row" }, this.state, h("span", { class: "spring" }), h("span", { class: "owner-only" }, this.stop)), h("div", { class: "owner-only" }, noteForm));
    const past = h("div", { class: "row record-past owner-only" }, h("span", { class: "hint" }, W.orSaveTheLast), this.keepMinutes, this.keep);
    return h("section", { class: "record-part", "aria-label": W.record }, this.idle, this.active, past);
  }

  #fillFrom() {
    const { server } = this.ctx.store.state;
    const list = beginnings(server?.notes ?? [], this.ctx.rings()?.end ?? 0, server?.rateHz ?? 0);
    const key = list.map((l) => l.join()).join("|");
    if (!this.from || this.from.dataset.key === key) return;
    const value = this.from.value;
    this.from.dataset.key = key;
    fill(this.from, ...list.map(([v, text]) => h("option", { value: v }, text)));
    if (list.some((l) => l[0] === value)) this.from.value = value;
  }

  /** Minutes into the past that the choice of a beginning means now. */
  #pastMinutes() {
    const value = this.from?.value ?? "0";
    if (!value.startsWith("note ")) return Number(value);
    const rateHz = this.ctx.store.state.server?.rateHz ?? 0;
    const newest = this.ctx.rings()?.end ?? 0;
    const seconds = rateHz > 0 ? (newest - Number(value.slice(5))) / rateHz + 0.5 : 0;
    return Math.min(KEPT_MINUTES, Math.max(0, seconds / 60));
  }

  #start() {
    const what = { name: this.name?.value.trim() ?? "", minutes: Number(this.length?.value ?? 0), keepMinutes: this.#pastMinutes(), note: this.note?.value.trim() ?? "" };
    return this.#do("record", async () => {
      const running = await library.start(what);
      this.#run(running);
      if (this.note?.value.trim() === what.note) this.note.value = "";
      this.#say(W.recording);
      leadTo(this.stop);
      void this.refresh();
    });
  }

  #stop() {
    return this.#do("stop", async () => {
      const done = await library.stop();
      this.#run(null);
      this.#say(W.recorded(clockTime(Math.floor(done.seconds))));
      leadTo(this.start);
      void this.refresh();
    });
  }

  #keep() {
    const [minutes, name] = [Number(this.keepMinutes?.value ?? 5), this.name?.value.trim() ?? ""];
    return this.#do("keep", async () => {
      const done = await library.keep(minutes, name);
      this.#say(W.kept(clockTime(Math.floor(done.seconds))));
      void this.refresh();
    });
  }

  /** @param {Running|null} running */
  #run(running) {
    this.running = running;
    if (this.idle) this.idle.hidden = !!running;
    if (this.active) this.active.hidden = !running;
    if (running && this.state) setText(this.state, W.recording2(running.name || W.withoutAName, clockTime(Math.floor(counted.seconds)), bytes(running.bytes)));
    const row = this.list.find((e) => running && e.id === running.id);
    const line = row && this.items?.querySelector(".now .recording-line");
    if (running && row && line) setText(line, summary(Object.assign(row, { seconds: counted.seconds, bytes: running.bytes })));
  }

  async #tick() {
    if (document.hidden || this.gone || !this.running) return;
    try {
      const running = await library.running();
      if (this.gone || this.queue.busy) return;
      const ended = this.running && !running;
      this.#run(running);
      if (ended) {
        this.#say(W.theRecordingEnded);
        void this.refresh();
      }
    } catch {
      // The banner tells that the program is away.
    }
  }

  // --- the list ---------------------------------------------------------------

  #listPart() {
    this.imports = new ImportBox((o) => {
      if (o.entry) this.openId = o.entry.id;
      if (o.entry) this.ctx.announce(W.isHere(o.entry.name));
      void this.refresh();
    });
    this.find = h("input", { type: "search", id: "recordings-find", "data-testid": "recordings-find", placeholder: W.findByNameOrNote, "aria-label": W.findByNameOrNote, hidden: true });
    this.find.addEventListener("input", () => this.#show());
    this.compare = button("recordings-compare", W.compare, () => this.#compare(), { hidden: true, title: W.layTheTwoMarkedRecordings });
    this.sort = select("recordings-sort", SORTS, (v) => {
      prefs.set("recordingsSort", v);
      this.#show();
    }, { "aria-label": W.sort });
    this.sort.value = prefs.get("recordingsSort", "newest");
    if (!this.sort.value) this.sort.value = "newest";
    this.sortRow = h("div", { class: "row", hidden: true }, this.find, this.sort);
    this.manyCount = h("span", { "data-testid": "recordings-chosen" });
    this.manyAs = select("recordings-as", [["edf", "EDF+"], ["csv", "CSV"], ["wav", "WAV"]], () => {}, { "aria-label": W.formatOfTheDownload });
    this.many = h("div", { class: "row recordings-many", role: "group", "aria-label": W.chosenRecordings, hidden: true }, this.manyCount, h("span", { class: "spring" }),
      button("recordings-all", W.chooseAll, () => this.#chooseAll()), button("recordings-none", W.chooseNone, () => this.#choose([])),
      button("recordings-download", W.download, () => this.#download(), { title: W.downloadTheChosen }), this.manyAs,
      button("recordings-trash", W.deleteText, () => this.#trashChosen(), { class: "owner-only", title: W.toTheTrashItCan }));
    this.items = h("ul", { class: "recordings", "data-testid": "recordings-list" });
    this.where = h("p", { class: "hint", "data-testid": "recordings-folder" });
    this.trashItems = h("ul", { class: "recordings" });
    this.trashTitle = h("summary", { "data-testid": "trash" });
    this.trashPart = h("details", { class: "fold", hidden: true }, this.trashTitle, this.trashItems);
    return h("section", { class: "recordings-part", "aria-label": W.recordings },
      h("div", { class: "row" }, h("h3", {}, W.recorded2), h("span", { class: "spring" }), this.compare,
        this.imports.buttons),
      this.imports.progress, this.imports.list, this.sortRow, this.many, this.items, this.trashPart, this.where);
  }

  async refresh() {
    const mine = ++this.turn;
    try {
      // What takes reading through large files comes after.
      for (const ask of [library.briefList, library.list]) {
        const answer = await ask();
        if (this.gone || mine !== this.turn) return;
        this.#take(answer);
        window.clearTimeout(this.again);
        if (answer.rating) this.again = window.setTimeout(() => void this.#rates(), RATES_MS);
      }
    } catch (e) {
      this.#failed(e);
    }
  }

  /** Median rates are being worked out: they are shown as they come. */
  async #rates() {
    if (!this.gone && !document.hidden) return this.refresh();
    if (!this.gone) this.again = window.setTimeout(() => void this.#rates(), RATES_MS);
  }

  /** @param {Awaited<ReturnType<typeof library.list>>} answer */
  #take(answer) {
    const key = JSON.stringify([answer, this.openId]);
    if (key === this.shownKey) return;
    this.shownKey = key;
    this.list = answer.recordings;
    const known = new Set(this.list.map((e) => e.id));
    for (const id of this.chosen) if (!known.has(id)) this.chosen.delete(id);
    const trash = answer.trash ?? [];
    const trashKey = JSON.stringify(trash);
    if (trashKey !== this.trashKey) this.#showTrash(trash); // else what is asked there stays
    this.trashKey = trashKey;
    if (this.where) setText(this.where, W.savedIn(answer.folder));
    this.#show();
  }

  /** @param {Trashed[]} list */
  #showTrash(list) {
    if (!this.trashPart || !this.trashTitle || !this.trashItems) return;
    this.trashPart.hidden = list.length === 0;
    setText(this.trashTitle, W.trash(list.length === 1 ? W.oneRecording : W.recordings2(list.length), bytes(list.reduce((sum, t) => sum + t.bytes, 0))));
    fill(this.trashItems, ...list.map((t, i) => h("li", { class: "recording row" }, h("span", { class: "trash-name" }, t.name || t.id), h("span", { class: "spring" }),
      h("span", { class: "hint" }, bytes(t.bytes)), button(`trash-${i}`, W.restore, () => this.#restore(t.id), { "aria-label": W.restore2(t.name || t.id) }))),
    list.length > 0 ? h("li", {}, button("trash-empty", W.emptyTheTrash, () => this.#askEmpty(list))) : null);
  }

  /**
   * Says what would be lost, in place of the button that asked.
   * @param {Trashed[]} list what is seen, and no more than that is deleted
   */
  #askEmpty(list) {
    const last = this.trashItems?.lastElementChild;
    if (!last) return;
    const keep = button("trash-keep", list.length === 1 ? W.keepIt : W.keepThem, () => {
      this.#showTrash(list);
      document.getElementById("trash-empty")?.focus();
    });
    fill(last, h("div", { class: "trash-ask", role: "group", "aria-labelledby": "trash-ask" },
      h("p", { id: "trash-ask", "data-testid": "trash-ask" }, whatIsLost(list)),
      h("div", { class: "row" }, keep, button("trash-delete", W.deleteForGood, () => this.#empty(list), { class: "danger" }))));
    keep.focus();
  }

  /** @param {Trashed[]} list */
  #empty(list) {
    return this.#do("empty", async () => {
      const { deleted } = await library.emptyTrash(list.map((t) => t.id));
      this.#say(W.deletedForGoodAreFree(deleted.length === 1 ? W.oneRecordingIs : W.recordingsAre(deleted.length), bytes(deleted.reduce((sum, t) => sum + t.bytes, 0))));
      void this.refresh();
      document.getElementById("upload")?.focus();
    });
  }

  /** @param {string} id */
  #restore(id) {
    return this.#do("restore " + id, async () => {
      const back = await library.restore(id);
      this.openId = back.id;
      this.#say(W.isBack(back.name || back.id));
      void this.refresh();
    });
  }

  #show() {
    if (!this.items || !this.find || !this.sort || !this.sortRow) return;
    this.find.hidden = this.list.length < FIND_FROM;
    this.sortRow.hidden = this.list.length < 2;
    const wanted = this.find.hidden ? "" : this.find.value.trim().toLowerCase();
    const shown = sorted(this.list, this.sort.value).filter((e) => !wanted || `${e.name} ${e.note} ${e.id}`.toLowerCase().includes(wanted));
    const focused = /** @type {HTMLInputElement|null} */ (this.items.contains(document.activeElement) ? document.activeElement : null);
    const [id, from, to] = [focused?.id, focused?.selectionStart, focused?.selectionEnd];
    fill(this.items, ...shown.map((e, i) => this.#item(e, i)));
    if (shown.length === 0) this.items.append(h("li", { class: "hint" }, this.list.length === 0 ? W.nothingYetTheLastTen : W.noMatch));
    const again = /** @type {HTMLInputElement|null} */ (id ? document.getElementById(id) : null);
    again?.focus();
    if (typeof from === "number" && typeof to === "number") again?.setSelectionRange(from, to);
    this.shown = shown;
    this.#showCompare();
  }

  /** @param {string[]} ids */
  #choose(ids) {
    this.chosen = new Set(ids);
    this.#show();
  }

  #chooseAll() {
    this.#choose((this.shown ?? []).map((e) => e.id));
  }

  #download() {
    const ids = (this.shown ?? this.list).filter((e) => this.chosen.has(e.id)).map((e) => e.id);
    return this.#do("download", async () => {
      const a = h("a", { href: await library.archive(ids, this.manyAs?.value ?? "edf"), download: "", hidden: true, "data-testid": "recordings-archive" });
      document.getElementById("recordings-archive")?.remove();
      a.id = "recordings-archive";
      this.many?.append(a);
      a.click();
      this.#say(W.downloading(ids.length === 1 ? W.oneRecording : W.recordings2(ids.length)));
    });
  }

  #trashChosen() {
    const gone = this.list.filter((e) => this.chosen.has(e.id) && !e.recording);
    return this.#do("trash", async () => {
      for (const e of gone) await library.trash(e.id);
      this.chosen.clear();
      this.openId = "";
      const undo = button("recordings-undo", W.undo, () => this.#restoreAll(gone.map((e) => e.id)));
      const name = gone.length === 1 ? gone[0].name || gone[0].id : W.recordings2(gone.length);
      fill(this.said, h("span", {}, gone.length === 1 ? W.isInTheTrash(name) : W.areInTheTrash(name)), " ", undo);
      this.ctx.announce(W.isInTheTrashUndo(name));
      void this.refresh();
      leadTo(undo);
    });
  }

  /** @param {string[]} ids */
  #restoreAll(ids) {
    return this.#do("restore", async () => {
      for (const id of ids) await library.restore(id);
      this.#say(W.areBack(ids.length === 1 ? W.oneRecordingIs : W.recordingsAre(ids.length)));
      void this.refresh();
    });
  }

  #showCompare() {
    if (this.many && this.manyCount) {
      this.many.hidden = this.chosen.size === 0;
      setText(this.manyCount, W.chosen(this.chosen.size));
    }
    if (!this.compare) return;
    this.compare.hidden = this.list.filter((e) => !e.problem).length < 2;
    this.compare.disabled = this.chosen.size !== 2 || this.list.some((e) => this.chosen.has(e.id) && e.problem);
    setText(this.compare, this.chosen.size === 2 ? W.compareTheTwo : W.compare);
    this.compare.title = this.chosen.size === 2 ? W.layTheTwoMarkedRecordings : W.markTwoRecordingsFirst;
  }

  /**
   * @param {Entry} e
   * @param {number} i
   */
  #item(e, i) {
    const open = this.openId === e.id;
    const id = `recording-${i}`;
    const mark = h("input", { type: "checkbox", id: id + "-mark", "data-testid": id + "-mark", "aria-label": W.choose(e.name || e.id), title: W.choose2 });
    mark.checked = this.chosen.has(e.id);
    mark.addEventListener("change", () => {
      if (mark.checked) this.chosen.add(e.id);
      else this.chosen.delete(e.id);
      this.#showCompare();
    });
    const more = button(id + "-more", open ? W.less : W.more2, () => {
      this.openId = open ? "" : e.id;
      this.#show();
    }, { class: "quiet", "aria-expanded": String(open), "aria-label": W.about(open ? W.less : W.more2, e.name || e.id) });
    const title = button(id, e.name || e.id, () => openReview(this.ctx, e.id), { class: "recording-name", disabled: e.problem !== "", title: W.lookAtIt });
    const tag = e.invented ? h("span", { class: "invented" }, INVENTED) : null;
    const item = h("li", { class: "recording" + (e.recording ? " now" : ""), "data-recording": e.id },
      h("div", { class: "recording-head" }, mark, title, tag, e.recording ? h("span", { class: "recording-now" }, W.beingRecorded) : null, h("span", { class: "spring" }), more),
      h("p", { class: "recording-line", title: e.problem || summary(e) }, e.problem ? h("span", { class: "warning" }, e.problem) : summary(e)),
      e.note ? h("p", { class: "recording-note" }, e.note) : null,
      open ? this.#more(e, id) : null);
    for (const f of /** @type {NodeListOf<HTMLElement>} */ (item.querySelectorAll("[data-testid]"))) f.id = fieldId(e.id) + f.dataset.testid?.slice(id.length);
    return item;
  }

  /**
   * @param {Entry} e
   * @param {string} id
   */
  #more(e, id) {
    const speed = select(id + "-speed", SPEEDS.map((n) => [String(n), `${n}×`]), (v) => (replays.speed = Number(v)), { "aria-label": W.speedOfTheReplay });
    speed.value = String(replays.speed);
    const name = h("input", { type: "text", "data-testid": id + "-name", value: this.drafts.get(e.id)?.name ?? e.name, maxlength: "80", "aria-label": W.name, disabled: e.recording });
    const note = h("textarea", { "data-testid": id + "-note", rows: "2", maxlength: "1500", placeholder: W.whatItIsOfBoard, "aria-label": W.noteOnThisRecording });
    note.value = this.drafts.get(e.id)?.note ?? e.note;
    name.addEventListener("input", () => this.drafts.set(e.id, { ...this.drafts.get(e.id), name: name.value }));
    note.addEventListener("input", () => this.drafts.set(e.id, { ...this.drafts.get(e.id), note: note.value }));
    const form = h("form", { class: "recording-edit owner-only" }, name, note, h("div", { class: "row" }, h("button", { type: "submit", "data-testid": id + "-save" }, W.saveNameAndNote)));
    form.addEventListener("submit", (ev) => {
      ev.preventDefault();
      void this.#save(e, { name: name.value.trim(), note: note.value.trim() });
    });
    const lost = h("p", { class: "hint", role: "status", "data-testid": id + "-lost" }, this.lost.get(e.id) ?? "");
    const link = (/** @type {"edf"|"csv"|"wav"} */ as, /** @type {string} */ text) => h("a", { href: library.file(e.id, as), download: "", "data-testid": `${id}-as-${as}`, "aria-label": W.downloadAs(e.name || e.id, text), onclick: () => void this.#tellLost(lost, e.id, as) }, text);
    return h("div", { class: "recording-more" },
      e.problem ? null : h("div", { class: "row" }, button(id + "-review", W.lookAtIt, () => openReview(this.ctx, e.id)),
        h("span", { class: "owner-only row" }, button(id + "-replay", W.replay, () => this.#replay(e), { title: W.playItIntoTheLive }), speed)),
      h("p", { class: "row" }, h("span", { class: "hint" }, W.download), e.problem ? null : [link("edf", "EDF+"), link("csv", "CSV"), link("wav", "WAV")]), lost,
      form,
      h("div", { class: "row owner-only" }, button(id + "-delete", W.deleteText, () => this.#trash(e), { disabled: e.recording, title: e.recording ? W.stopTheRecordingFirst : W.toTheTrashItCan })));
  }

  /**
   * Says beside a download what of the recording it does not hold.
   * @param {HTMLElement} root
   * @param {string} id
   * @param {"edf"|"csv"|"wav"} as
   */
  async #tellLost(root, id, as) {
    try {
      const { lost } = await library.fileLost(id, as);
      this.lost.set(id, lost.length > 0 ? W.notInTheDownload(lost.join("; ")) : "");
    } catch (e) {
      this.lost.set(id, e instanceof Error ? e.message : String(e));
    }
    setText(root, this.lost.get(id) ?? "");
  }

  /**
   * @param {Entry} e
   * @param {{name: string, note: string}} written
   */
  #save(e, written) {
    const draft = this.drafts.get(e.id);
    return this.#do("save " + JSON.stringify([e.id, written]), async () => {
      /** @type {{name?: string, note?: string}} */
      const what = {};
      if (written.name !== e.name && !e.recording) what.name = written.name;
      if (written.note !== e.note) what.note = written.note;
      if (Object.keys(what).length === 0) return void this.drafts.delete(e.id);
      const entry = await library.change(e.id, what);
      const later = this.drafts.get(e.id);
      this.drafts.delete(e.id);
      if (later && later !== draft) this.drafts.set(entry.id, later); // written on meanwhile
      if (this.chosen.delete(e.id)) this.chosen.add(entry.id);
      this.openId = entry.id;
      const focused = document.activeElement; // it stays in the field, though the recording has another id
      if (focused && this.items?.contains(focused)) focused.id = focused.id.replace(fieldId(e.id), fieldId(entry.id));
      const row = this.list.find((r) => r.id === e.id);
      if (row) Object.assign(row, { id: entry.id, name: entry.name, note: entry.note });
      this.#say(W.saved);
      void this.refresh();
    });
  }

  /** @param {Entry} e */
  #replay(e) {
    if (this.running && this.warned !== this.running.id) {
      this.warned = this.running.id;
      setText(this.error, W.isBeingRecordedAndWould(this.running.name || W.aRecording));
      return;
    }
    return this.#do("replay " + e.id, async () => {
      await api.open(replayAddress(e.address, 0, replays.speed));
      this.#say(W.replaying(e.name || e.id));
    });
  }

  /** @param {Entry} e */
  #trash(e) {
    return this.#do("trash " + e.id, async () => {
      await library.trash(e.id);
      this.openId = "";
      const undo = button("recordings-undo", W.undo, () => this.#restore(e.id));
      fill(this.said, h("span", {}, W.isInTheTrash(e.name || e.id)), " ", undo);
      this.ctx.announce(W.isInTheTrashUndo(e.name || e.id));
      void this.refresh();
      leadTo(undo);
    });
  }

  #compare() {
    const list = this.list.filter((e) => this.chosen.has(e.id));
    if (list.length !== 2) return;
    // The older one is A.
    list.reverse();
    openCompare(this.ctx, list.map((e) => ({ id: e.id, channel: -1, from: 0, to: Infinity })));
  }

  // --- saying things ------------------------------------------------------------

  /**
   * After what was asked for before.
   * @param {string} wish
   * @param {() => Promise<void>} what
   */
  #do(wish, what) {
    return this.queue.do(wish, async () => {
      setText(this.error, "");
      try {
        await what();
      } catch (e) {
        this.#failed(e);
      }
    });
  }

  /** @param {unknown} e */
  #failed(e) {
    if (!this.gone) setText(this.error, e instanceof Error ? e.message : String(e));
  }

  /** @param {string} text */
  #say(text) {
    fill(this.said, text);
    this.ctx.announce(text);
  }

  /** @param {PageState} state */
  changed(state) {
    if (!this.items) return;
    this.owner = state.owner;
    const running = state.server?.recording ?? null;
    const name = running?.name ?? "";
    if (name === this.runningName && !!running === !!this.running) return;
    const ended = this.running && !running && !this.queue.busy;
    this.runningName = name;
    this.#run(/** @type {Running|null} */ (running));
    if (ended) this.#say(W.theRecordingEnded);
    if (!this.queue.busy) void this.refresh();
  }

  destroy() {
    this.gone = true;
    this.heard?.abort();
    this.imports?.destroy();
    counted.also.delete(this.count);
    window.clearInterval(this.timer);
    window.clearTimeout(this.again);
  }
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "recordings", title: W.recordings, key: "r", create: (root, ctx) => new RecordingsPanel(root, ctx) };
