// What is being brought in, shown in the Recordings drawer; it goes on when the drawer closes.

import { sentence } from "../api.js";
import { button, fill, h, setText } from "../dom.js";
import { clockTime, rate } from "../format.js";
import { droppedFiles, importFiles } from "../import.js";
import { library } from "../review/library.js";
import { importBoxWords as W } from "../words.js";

/** @import {Outcome} from "../import.js" */

/** Files that are on their way or came, and who is told. */
const state = {
  /** @type {AbortController|null} */
  running: null,
  /** @type {{files: File[], instead?: Outcome}[]} */
  waiting: [],
  name: "",
  share: 0,
  /** @type {Outcome[]} */
  outcomes: [],
  heard: new EventTarget(),
};
const changed = () => state.heard.dispatchEvent(new Event("changed"));

/**
 * @param {File[]} files
 * @param {Outcome} [instead] that is read anew, and goes to the trash then
 */
export async function bringIn(files, instead) {
  if (files.length === 0) return;
  state.waiting.push({ files, instead });
  if (state.running) return;
  state.outcomes = [];
  const ended = new AbortController();
  state.running = ended;
  try {
    for (let some = state.waiting.shift(); some; some = state.waiting.shift()) await bringSome(some, ended.signal);
  } finally {
    state.running = null;
    changed();
  }
}

/** @param {Outcome} o */
function came(o) {
  state.outcomes.push(o);
  Object.assign(state, { name: "", share: 0 });
  changed();
}

/**
 * @param {{files: File[], instead?: Outcome}} some
 * @param {AbortSignal} signal
 */
async function bringSome({ files, instead }, signal) {
  try {
    await importFiles(files, {
      signal,
      ask: !!instead,
      progress: (name, share) => {
        Object.assign(state, { name, share });
        changed();
      },
      done: (o) => {
        came(o);
        if (!o.entry) return;
        const told = () => window.dispatchEvent(new CustomEvent("recordings-changed"));
        if (instead?.entry) void library.trash(instead.entry.id).then(told, told);
        else told();
      },
    });
  } catch (e) {
    // A file that cannot be read stops none of those that wait.
    came({ name: files[0].name, told: [], error: e instanceof Error ? e.message : String(e) });
  }
}

/**
 * Takes files that are dropped anywhere on the page.
 * @param {() => boolean} allowed
 * @param {() => void} open shows the Recordings drawer
 */
export function takeDrops(allowed, open) {
  const files = (/** @type {DragEvent} */ e) => allowed() && !!e.dataTransfer?.types.includes("Files");
  const show = (/** @type {boolean} */ on) => document.body.classList.toggle("dropping", on);
  for (const name of /** @type {const} */ (["dragenter", "dragover"])) window.addEventListener(name, (e) => {
    if (!files(e)) return;
    e.preventDefault();
    show(true);
  });
  window.addEventListener("dragleave", (e) => {
    if (!e.relatedTarget) show(false);
  });
  window.addEventListener("drop", (e) => {
    show(false);
    if (!files(e) || !e.dataTransfer) return;
    e.preventDefault();
    open();
    void droppedFiles(e.dataTransfer).then(bringIn);
  });
}

export class ImportBox {
  /** @param {(o: Outcome) => void} arrived */
  constructor(arrived) {
    const picker = (/** @type {string} */ id, /** @type {Record<string, any>} */ more) => {
      const input = h("input", { type: "file", id, "data-testid": id, multiple: true, class: "unseen", tabindex: "-1", "aria-hidden": "true", ...more });
      input.addEventListener("change", () => {
        void bringIn([...(input.files ?? [])]);
        input.value = "";
      });
      return input;
    };
    this.file = picker("upload-file", { accept: ".edf,.bdf,.csv,.txt,.tsv,.log,.jsonl,.wav,.hea,.dat,.mat,.atr,.gz" });
    this.folder = picker("upload-folder", { webkitdirectory: true });
    this.buttons = h("span", { class: "owner-only row" }, button("upload", W.importFiles, () => this.file.click(), { title: W.whatFiles }), button("upload-all", W.aFolder, () => this.folder.click(), { class: "quiet", title: W.allInAFolder }), this.file, this.folder);
    this.now = h("span", {});
    this.bar = h("progress", { max: "1", value: "0", "aria-label": W.arriving });
    this.progress = h("div", { class: "import-now", "data-testid": "import-now", hidden: true }, h("div", { class: "row" }, this.now, h("span", { class: "spring" }), button("import-cancel", W.cancel, () => state.running?.abort())), this.bar);
    this.list = h("ul", { class: "import-outcomes", "data-testid": "import-outcomes", "aria-live": "polite" });
    this.arrived = arrived;
    this.key = "";
    this.seen = state.outcomes.length;
    this.ended = new AbortController();
    state.heard.addEventListener("changed", () => this.#show(), { signal: this.ended.signal });
    this.#show();
  }

  #show() {
    this.progress.hidden = !state.running;
    setText(this.now, state.name ? W.bringing(state.name) : W.looking);
    this.bar.value = state.share;
    const key = JSON.stringify([!!state.running, ...state.outcomes.map((o) => [o.name, o.error])]);
    if (key === this.key) return;
    this.key = key;
    if (this.seen > state.outcomes.length) this.seen = 0;
    fill(this.list, ...state.outcomes.map((o) => h("li", { class: o.error ? "error" : "" }, o.error ? W.notHere(o.name, sentence(o.error)) : W.isHere(o.entry?.name || o.name), o.entry ? h("small", {}, W.whatCame(rate(o.entry.rateHz), clockTime(Math.floor(o.entry.seconds)))) : null, ...o.told.map((t) => h("small", {}, sentence(t))),
      o.again ? h("small", {}, W.asBefore, " ", h("button", { type: "button", class: "quiet", onclick: () => void bringIn([/** @type {File} */ (o.again)], o) }, W.readDifferently)) : null)),
      state.outcomes.length > 0 && !state.running ? h("li", {}, button("import-clear", W.clearThisList, () => {
        state.outcomes = [];
        changed();
      }, { class: "quiet" })) : null);
    for (; this.seen < state.outcomes.length; this.seen++) this.arrived(state.outcomes[this.seen]);
  }

  destroy() {
    this.ended.abort();
  }
}
