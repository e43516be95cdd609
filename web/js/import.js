// Files brought in: recordings at once, records of several files together, text files after a look at how
// they would be read.

import { sentence } from "./api.js";
import { button, dialog, fill, h, numberField, select, setText } from "./dom.js";
import { clockTime, rate as rateText, significant } from "./format.js";
import { bring, preview } from "./review/library.js";
import { traceData } from "./scene/svg.js";
import { importWords as W } from "./words.js";

/** @import {Entry, Preview, Reading} from "./review/library.js" */

/** Bytes of a text file that are looked at first. */
export const LOOKED_AT = 512 << 10;
const SETTLE_MS = 250;
const TEXT = /\.(csv|txt|tsv|log|jsonl)(\.gz)?$/i;
const ANNOTATIONS = /\.atr(\.gz)?$/i;
const KNOWN = /\.(edf|bdf|wav|csv|txt|tsv|log|jsonl)(\.gz)?$/i;
const SVG = "http://www.w3.org/2000/svg";

/** @typedef {{name: string, files: File[]}} Bundle one recording: a file, or a record's files @typedef {{name: string, entry?: Entry, told: string[], error?: string, again?: File}} Outcome */

/**
 * Puts files together that are one recording: a header (.hea) with the files that it names and its annotations.
 * @template {{name: string, text?: () => Promise<string>}} F
 * @param {F[]} files
 * @returns {Promise<{bundles: {name: string, files: F[]}[], alone: string[]}>} alone: files that are none by themselves; annotations (.atr) without a header are, and come last
 */
export async function bundlesOf(files) {
  const left = new Map(files.map((f) => [f.name.toLowerCase(), f]));
  /** @type {{name: string, files: F[]}[]} */
  const bundles = [];
  // A header of segments takes the segments' headers along.
  const heads = files.filter((f) => /\.hea(\.gz)?$/i.test(f.name)).sort((a, b) => a.name.length - b.name.length || a.name.localeCompare(b.name));
  for (const head of heads) {
    if (!left.delete(head.name.toLowerCase())) continue;
    const members = [head];
    for (let i = 0; i < members.length; i++) {
      if (!/\.hea$/i.test(members[i].name)) continue;
      const base = members[i].name.replace(/\.hea$/i, "").toLowerCase();
      const named = ((await members[i].text?.()) ?? "").split(/\r?\n/).filter((l) => l && !l.startsWith("#")).map((l) => l.trim().split(/\s+/)[0].toLowerCase());
      for (const name of [base + ".atr", base + ".dat", ...named, ...named.map((n) => n + ".hea"), ...named.map((n) => n + ".gz")]) {
        const f = left.get(name);
        if (!f) continue;
        left.delete(name);
        members.push(f);
      }
    }
    bundles.push({ name: head.name, files: members });
  }
  /** @type {string[]} */
  const alone = [];
  for (const f of files) {
    if (!left.has(f.name.toLowerCase())) continue;
    if (KNOWN.test(f.name) || ANNOTATIONS.test(f.name)) bundles.push({ name: f.name, files: [f] });
    else alone.push(f.name);
  }
  // Annotations go to a recording that is there by then.
  bundles.sort((a, b) => Number(ANNOTATIONS.test(a.name)) - Number(ANNOTATIONS.test(b.name)));
  return { bundles, alone };
}

/**
 * The files of a drop, those in folders too.
 * @param {DataTransfer} data
 * @returns {Promise<File[]>}
 */
export async function droppedFiles(data) {
  const entries = [...data.items].map((i) => i.webkitGetAsEntry?.() ?? null);
  if (entries.every((e) => !e?.isDirectory)) return [...data.files];
  /** @type {File[]} */
  const list = [];
  /** @param {FileSystemEntry|null} e */
  const walk = async (e) => {
    if (!e || list.length > 2000) return;
    if (e.isFile) list.push(await new Promise((ok, no) => /** @type {FileSystemFileEntry} */ (e).file(ok, no)));
    else {
      const reader = /** @type {FileSystemDirectoryEntry} */ (e).createReader();
      for (;;) {
        /** @type {FileSystemEntry[]} */
        const some = await new Promise((ok, no) => reader.readEntries(ok, no));
        if (some.length === 0) break;
        for (const one of some) await walk(one);
      }
    }
  };
  for (const e of entries) await walk(e);
  return list.filter((f) => !f.name.startsWith("."));
}

/** What a person may say of a text file. @typedef {{rate: string, time: string, separator: string, decimal: string, columns: string, unit: string, dates: string, names: string, kind: string}} Answers */

/** @returns {Answers} */
const nothingSaid = () => ({ rate: "", time: "", separator: "", decimal: "", columns: "", unit: "", dates: "", names: "", kind: "" });

const SIGNS = { ",": "comma", ";": "semicolon", "\t": "tab", " ": "blank", "|": "|", ">": "" };

/**
 * What was remembered, as answers.
 * @param {Reading} r
 * @returns {Answers}
 */
export function answersOf(r) {
  return {
    rate: r.rateHz ? String(r.rateHz) : "", time: r.time ?? "", separator: r.separator ? (SIGNS[/** @type {keyof SIGNS} */ (r.separator)] ?? r.separator) : "",
    decimal: r.decimal === "," ? "comma" : r.decimal === "." ? "point" : "", columns: (r.columns ?? []).join(","), unit: (r.units ?? []).join(","), dates: r.dates ?? "", names: r.names ?? "", kind: (r.kinds ?? []).join(","),
  };
}

/**
 * The answers that columns' roles and units come to. Columns are told by number, since names may hold commas.
 * @param {{role: string, unit: string}[]} columns
 * @param {string} timeUnit of the time column; "" is what the file says
 */
export function columnAnswers(columns, timeUnit) {
  const time = columns.findIndex((c) => c.role === "time");
  const signals = columns.flatMap((c, i) => (c.role === "signal" ? [i] : []));
  return {
    time: time < 0 ? "none" : `${time + 1}${timeUnit ? ` [${timeUnit}]` : ""}`,
    columns: signals.map((i) => i + 1).join(","),
    unit: signals.every((i) => columns[i].unit.trim() === "") ? "" : signals.map((i) => columns[i].unit.trim().replaceAll(",", " ") || "counts").join(","),
  };
}

/**
 * What was said, and what was shown as taken and not changed, which is confirmed by that: "1 [ms]" also where "1" was said.
 * @param {Answers} said
 * @param {{about: string, taken: string}[]} doubts
 * @returns {Answers}
 */
export function confirmed(said, doubts) {
  const taken = doubts.filter((d) => d.taken.startsWith(said[/** @type {keyof Answers} */ (d.about)] ?? ""));
  return { ...said, ...Object.fromEntries(taken.map((d) => [d.about, d.taken])) };
}

class ImportDialog {
  constructor() {
    this.rateInput = numberField("import-rate");
    this.rateInput.addEventListener("input", () => this.#change({ rate: this.rateInput.value.trim().replace(",", ".") }));
    this.rateNote = h("small", {});
    this.separator = select("import-separator", [["", W.found], ["comma", W.comma], ["semicolon", W.semicolon], ["tab", W.tab], ["blank", W.blank], ["|", W.bar]], (separator) => this.#change({ separator, time: "", columns: "", unit: "" }));
    this.decimal = select("import-decimal", [["", W.found], ["point", W.point], ["comma", W.comma]], (decimal) => this.#change({ decimal }));
    this.dates = select("import-dates", [["", W.found], ["day-first", W.dayFirst], ["month-first", W.monthFirst]], (dates) => this.#change({ dates }));
    this.names = select("import-names", [["", W.found], ["first-row", W.inTheFirstRow], ["none", W.nowhere]], (names) => this.#change({ names }));
    this.kind = select("import-kind", [["", W.byTheNames], ["pulse", W.pulse], ["ecg", W.ecg], ["other", W.other]], (kind) => this.#change({ kind }));
    this.timeUnit = select("import-time-unit", [["", W.asTheFileSays], ["s", "s"], ["ms", "ms"], ["us", "µs"], ["min", "min"]], () => this.#columnsChanged());
    this.doubts = h("ul", { class: "import-doubts", "data-testid": "import-doubts" });
    this.table = h("table", { class: "import-table", "data-testid": "import-table" });
    this.picture = h("div", { class: "import-traces", "data-testid": "import-traces" });
    this.result = h("p", { class: "hint", role: "status", "data-testid": "import-result" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "import-error" });
    this.all = h("input", { type: "checkbox", id: "import-all", "data-testid": "import-all" });
    this.allRow = h("label", { class: "check" }, this.all, h("span", {}, W.sameForTheRest));
    this.go = button("import-go", W.importText, () => this.#end("import"), { class: "accent" });
    const field = (/** @type {string} */ label, /** @type {HTMLElement} */ input, /** @type {HTMLElement|null} */ note = null) => h("label", { class: "field" }, h("span", {}, label), input, note);
    this.fields = { rate: field(W.sampleRateHz, this.rateInput, this.rateNote), separator: field(W.betweenColumns, this.separator), decimal: field(W.decimalSign, this.decimal), dates: field(W.datesBegin, this.dates), names: field(W.namesStand, this.names), time: field(W.timeIsIn, this.timeUnit), kind: field(W.whatItShows, this.kind) };
    this.dialog = dialog("import-dialog", W.readAFile, this.doubts, h("div", { class: "import-scroll", tabindex: "0", role: "region", "aria-label": W.firstRows }, this.table),
      h("div", { class: "import-fields" }, ...Object.values(this.fields)), this.picture, this.result, this.error, this.allRow,
      h("div", { class: "dialog-foot" }, button("import-skip", W.leaveItOut, () => this.#end("skip")), this.go));
    this.title = /** @type {HTMLElement} */ (this.dialog.querySelector("h2"));
    this.dialog.addEventListener("close", () => this.#end("skip"));
    this.turn = 0;
    this.timer = 0;
  }

  /**
   * Asks how a text file is to be read.
   * @param {File} file
   * @param {Answers} said
   * @param {Preview} first what was found with it
   * @param {number} more files that follow
   * @returns {Promise<{answers: Answers, all: boolean}|null>} null: it is left out
   */
  ask(file, said, first, more) {
    this.file = file;
    this.answers = said;
    setText(this.title, W.read(file.name));
    this.all.checked = false;
    this.allRow.hidden = more === 0;
    this.timeUnit.value = /\[(\w+)\]$/.exec(said.time)?.[1] ?? "";
    for (const [input, name] of /** @type {[HTMLInputElement|HTMLSelectElement, keyof Answers][]} */ ([[this.rateInput, "rate"], [this.separator, "separator"], [this.decimal, "decimal"], [this.dates, "dates"], [this.names, "names"], [this.kind, "kind"]])) input.value = said[name];
    this.#show(first);
    this.dialog.showModal();
    return new Promise((ok) => {
      this.answer = ok;
    });
  }

  /** @param {"import"|"skip"} what */
  #end(what) {
    const answer = this.answer;
    if (!answer) return;
    if (what === "import" && (!this.answers || this.go.disabled)) return;
    this.answer = undefined;
    this.turn++;
    window.clearTimeout(this.timer);
    this.dialog.close();
    answer(what === "import" && this.answers ? { answers: confirmed(this.answers, this.asked ?? []), all: this.all.checked } : null);
  }

  /** @param {Partial<Answers>} more */
  #change(more) {
    this.answers = { ...nothingSaid(), ...this.answers, ...more };
    this.turn++; // a look on its way is of what was said before
    window.clearTimeout(this.timer);
    this.go.disabled = true;
    this.timer = window.setTimeout(() => void this.#look(), SETTLE_MS);
  }

  async #look() {
    const mine = ++this.turn;
    if (!this.file || !this.answers) return;
    try {
      const p = await preview(this.file, LOOKED_AT, this.answers);
      if (mine === this.turn) this.#show(p);
    } catch (e) {
      if (mine !== this.turn) return;
      setText(this.error, e instanceof Error ? e.message : String(e));
      fill(this.picture);
      setText(this.result, "");
    }
  }

  #columnsChanged() {
    this.#change(columnAnswers(this.columns ?? [], this.timeUnit.value));
  }

  /** @param {Preview} p */
  #show(p) {
    const t = p.text;
    if (!t) return;
    this.asked = t.doubts;
    const clocked = t.columns.some((c) => c.role === "time");
    setText(this.error, !p.noRate ? "" : clocked ? W.whichUnit : W.noRate);
    this.go.disabled = p.noRate;
    this.columns = t.columns.map((c) => ({ ...c }));
    fill(this.doubts, ...t.doubts.map((d) => h("li", {}, `${sentence(d.text)} ${d.taken ? W.isThatRight : W.sayIt}`)));
    this.doubts.hidden = t.doubts.length === 0;
    const asked = new Set(t.doubts.map((d) => d.about));
    if (p.noRate) asked.add(clocked ? "time" : "rate");
    for (const [name, e] of Object.entries(this.fields)) e.classList.toggle("asked", asked.has(name));
    this.fields.dates.hidden = !asked.has("dates") && !this.answers?.dates;
    this.fields.names.hidden = !asked.has("names") && !this.answers?.names;
    this.fields.time.hidden = !clocked;
    setText(this.rateNote, t.clockTells ? W.fromTheTimes(rateText(t.rateHz)) : t.rateHz > 0 && !this.answers?.rate ? W.fromTheFile(rateText(t.rateHz)) : "");
    for (const [s, found] of /** @type {[HTMLSelectElement, string][]} */ ([[this.separator, t.separator], [this.decimal, t.decimal]])) {
      const name = SIGNS[/** @type {keyof SIGNS} */ (found)];
      setText(s.options[0], W.foundAs([...s.options].find((o) => o.value === (s === this.decimal && found === "." ? "point" : name))?.text ?? found));
    }
    this.#showTable(t);
    this.#showTraces(p);
    const told = p.remarks.filter((r) => !t.doubts.some((d) => r.startsWith(d.text)));
    setText(this.result, [p.noRate ? "" : W.wouldBe(p.channels.length, rateText(t.rateHz), p.whole ? clockTime(Math.floor(p.seconds)) : "", p.channels.map((c) => W.kinds[c.kind] ?? c.kind).join(", ")), p.whole ? "" : W.beginningOnly, ...told.map(sentence)].filter(Boolean).join(" "));
  }

  /** @param {NonNullable<Preview["text"]>} t */
  #showTable(t) {
    const focused = document.activeElement instanceof HTMLElement && this.table.contains(document.activeElement) ? document.activeElement : null;
    const typed = focused instanceof HTMLInputElement ? { value: focused.value, from: focused.selectionStart, to: focused.selectionEnd } : null;
    const role = (/** @type {number} */ i) => {
      const s = select(`import-role-${i}`, [["signal", W.signal], ["time", W.time], ["none", W.leftOut], ...(t.columns[i].role === "date" ? /** @type {[string, string][]} */ ([["date", W.date]]) : [])], (value) => {
        if (!this.columns) return;
        if (value === "time") {
          for (const c of this.columns) if (c.role === "time") c.role = "none";
          this.timeUnit.value = "";
        }
        this.columns[i].role = /** @type {typeof this.columns[number]["role"]} */ (value);
        this.#columnsChanged();
      }, { "aria-label": W.columnIs(i + 1) });
      s.value = t.columns[i].role;
      return s;
    };
    const unit = (/** @type {number} */ i) => {
      const input = h("input", { type: "text", id: `import-unit-${i}`, "data-testid": `import-unit-${i}`, maxlength: "40", size: "5", list: "import-units", value: t.columns[i].unit, placeholder: W.counts, "aria-label": W.unitOf(i + 1), hidden: t.columns[i].role !== "signal" });
      input.addEventListener("input", () => {
        if (this.columns) this.columns[i].unit = input.value;
        this.#columnsChanged();
      });
      input.addEventListener("blur", () => (input.value = this.columns?.[i]?.unit ?? ""));
      return input;
    };
    const cells = t.columns.map((c, i) => h("th", { scope: "col", class: c.role === "signal" ? "signal" : "" }, h("span", { class: "import-name" }, c.name || W.column(i + 1)), role(i), unit(i)));
    fill(this.table, h("thead", {}, h("tr", {}, cells)), h("tbody", {}, t.rows.map((r) => h("tr", {}, t.columns.map((c, i) => h("td", { class: c.role === "none" ? "out" : "" }, r[i] ?? ""))))));
    if (!document.getElementById("import-units")) this.dialog.append(h("datalist", { id: "import-units" }, ["V", "mV", "µV"].map((u) => h("option", { value: u }))));
    const again = focused && document.getElementById(focused.id);
    again?.focus();
    if (!typed || !(again instanceof HTMLInputElement)) return;
    again.value = typed.value;
    again.setSelectionRange(typed.from, typed.to);
  }

  /** @param {Preview} p */
  #showTraces(p) {
    fill(this.picture, ...p.channels.slice(0, 4).map((c) => {
      const low = Math.min(...c.low.filter((v) => v !== null)), high = Math.max(...c.high.filter((v) => v !== null));
      const svg = document.createElementNS(SVG, "svg");
      svg.setAttribute("viewBox", `0 0 ${c.low.length} 40`);
      svg.setAttribute("preserveAspectRatio", "none");
      svg.setAttribute("aria-hidden", "true");
      const path = document.createElementNS(SVG, "path");
      path.setAttribute("d", traceIn(c.low, c.high, low, high));
      svg.append(path);
      const ends = Number.isFinite(low) ? W.fromTo(significant(low, 4), significant(high, 4), c.unit || W.counts) : W.noValue;
      return h("figure", {}, svg, h("figcaption", {}, `${c.label}: ${ends}`));
    }));
  }
}

/**
 * The trace in a box 40 high, one wide for each column.
 * @param {(number|null)[]} low
 * @param {(number|null)[]} high
 * @param {number} least
 * @param {number} most
 */
function traceIn(low, high, least, most) {
  const span = most - least;
  const known = (/** @type {(number|null)[]} */ list) => list.map((v) => v ?? NaN);
  return traceData({ kind: "trace", low: known(low), high: known(high), size: low.length, from: 0, to: low.length, x0: 0.5, dx: 1, top: 2, bottom: 38, base: span > 0 ? least : least - 18, scale: span > 0 ? 36 / span : 1, colour: "ink", width: 1 });
}

/** @type {ImportDialog|undefined} */
let asking;

/**
 * Brings files in, one after another: a bad one stops none.
 * @param {File[]} files
 * @param {{progress: (name: string, share: number) => void, done: (o: Outcome) => void, signal: AbortSignal, ask?: boolean}} tell ask: also where it is known how
 */
export async function importFiles(files, tell) {
  const { bundles, alone } = await bundlesOf(files);
  for (const name of alone) if (!/\.(dat|mat)(\.gz)?$/i.test(name) || bundles.length === 0) tell.done({ name, told: [], error: /\.(dat|mat)(\.gz)?$/i.test(name) ? W.headerMissing : W.notARecording });
  /** @type {Answers|null} */
  let same = null;
  for (const [i, b] of bundles.entries()) {
    if (tell.signal.aborted) return;
    try {
      let answers = nothingSaid(), remembered = false;
      if (b.files.length === 1 && TEXT.test(b.name)) {
        const how = await howToRead(b.files[0], same, bundles.slice(i + 1).filter((x) => TEXT.test(x.name)).length, tell.ask === true);
        if (!how) {
          tell.done({ name: b.name, told: [], error: W.wasLeftOut });
          continue;
        }
        answers = how.answers;
        remembered = how.remembered === true;
        if (how.all) same = answers;
      }
      const entry = await bring(b.files, answers, (share) => tell.progress(b.name, share), tell.signal);
      tell.done({ name: b.name, entry, told: entry.told, again: remembered ? b.files[0] : undefined });
    } catch (e) {
      tell.done({ name: b.name, told: [], error: tell.signal.aborted ? W.cancelled : e instanceof Error ? e.message : String(e) });
    }
  }
}

/**
 * How a text file is read: as it says itself, as files with this head were read before, or as a person says.
 * @param {File} file
 * @param {Answers|null} same said for this file with those before
 * @param {number} more text files that follow
 * @param {boolean} must ask also what is known
 * @returns {Promise<{answers: Answers, all: boolean, remembered?: boolean}|null>}
 */
async function howToRead(file, same, more, must) {
  let answers = same ?? nothingSaid();
  let p = await preview(file, LOOKED_AT, answers);
  if (p.text?.ours || !p.text) return { answers, all: false };
  if (!same && p.remembered) {
    const before = answersOf(p.remembered);
    try {
      p = await preview(file, LOOKED_AT, before);
      answers = before;
    } catch {
      // What was said then does not fit this file.
    }
    if (!must && answers === before && !p.noRate && !p.text?.doubts.some((d) => d.taken)) return { answers, all: false, remembered: true };
  }
  if (same && !p.noRate) return { answers, all: true };
  asking ??= new ImportDialog();
  return asking.ask(file, answers, p, more);
}
