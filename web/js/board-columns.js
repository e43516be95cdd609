// What a board's columns are: names, units, kinds, which one is its clock. Said in the
// option names of its address, and remembered for the board.

import { button, fill, h, setText } from "./dom.js";
import { boardColumnsWords as W } from "./words.js";

/** @typedef {{name: string, unit: string, use: string, clock?: string, looks?: string}} Column */
/** @typedef {{name: string, use: string, unit: string, kind: string, volts?: boolean}} Said use is signal, nothing, or a clock's name; volts: they are set in another way than by the unit */
/** @typedef {{address: string, columns?: Column[], channels?: {label: string, kind: string}[]}} Board */
/** @typedef {{kind: string, from: {kind: string}, scale: {source: string}}} Set */

/** Signs that part names, units and kinds in an address. */
const PARTING = /[,[\]()]/;

/**
 * A name that the board gives, without such signs.
 * @param {string} name
 */
const fit = (name) => name.replace(new RegExp(PARTING, "g"), " ").replace(/\s+/g, " ").trim();

/**
 * What the form begins with: what was found, and what is set for its channels.
 * @param {Board} board
 * @param {Set[]} [set]
 * @returns {Said[]}
 */
export function foundColumns(board, set = []) {
  let channel = 0;
  return (board.columns ?? []).map((c, i) => {
    if (c.use !== "signal") return { name: c.name === "-" ? "" : c.name, use: c.clock || "nothing", unit: "", kind: "" };
    const now = set[channel];
    const described = board.channels?.[channel++];
    const found = { name: fit(c.name) || described?.label || `ch${i + 1}`, use: "signal", unit: c.unit, kind: described?.kind ?? "" };
    if (!now) return found;
    return { ...found, kind: now.from.kind === "usual" ? "" : now.kind, volts: ["converter", "fullscale"].includes(now.scale.source) };
  });
}

/**
 * The kinds that the form says otherwise than they are set. An address says them as well, but not what was set since.
 * @param {Said[]} found
 * @param {Said[]} said
 */
export function changedKinds(found, said) {
  const signals = found.map((was, i) => ({ was, now: said[i] })).filter(({ was }) => was.use === "signal");
  return signals.map(({ was, now }, channel) => ({ channel, kind: now?.use === "signal" && now.kind !== was.kind ? now.kind : "" })).filter(({ kind }) => kind);
}

/**
 * A column as an address names it.
 * @param {Said} c
 */
export function columnText(c) {
  if (c.use === "nothing") return "-";
  if (c.use !== "signal") return c.use;
  const name = c.name.trim();
  const sign = name.match(PARTING);
  if (sign) throw new Error(W.aNameMayNotHave(name, sign[0]));
  if (!name || name === "-") throw new Error(W.giveEachSignalAName);
  return name + (c.unit ? ` [${c.unit}]` : "") + (c.kind ? ` (${c.kind})` : "");
}

/**
 * The address that opens the board with these columns; none: as the board says.
 * @param {string} address
 * @param {Said[]} columns
 */
export function addressWith(address, columns) {
  const [place, options] = address.split(/\?(.*)/s);
  const query = new URLSearchParams(options ?? "");
  for (const c of columns) if (c.use === "signal") columnText(c);
  if (columns.length > 0 && !columns.some((c) => c.use === "signal")) throw new Error(W.leaveAtLeastOneColumn);
  query.delete("kind"); // said column by column now
  query.set("names", columns.map(columnText).join(","));
  return `${place}?${query}`;
}

export class ColumnsForm {
  /**
   * @param {(address: string, told: string) => void} open told: what the page says once it is open
   * @param {(channel: number, kind: string) => Promise<unknown>} setKind
   */
  constructor(open, setKind) {
    this.open = open;
    this.setKind = setKind;
    /** @type {Board|null} */
    this.board = null;
    /** @type {Said[]} */
    this.found = [];
    this.rows = h("div", { class: "columns-rows" });
    this.looks = h("div", {});
    this.error = h("p", { class: "error", role: "alert" });
    const form = h("form", { "data-testid": "columns-form" }, this.rows, h("p", { class: "warning", "data-testid": "columns-anew" }, W.aNewTraceBegins), this.looks, this.error,
      h("div", { class: "row" }, h("button", { type: "submit", class: "accent", "data-testid": "columns-apply" }, W.useTheseColumns),
        button("columns-forget", W.asTheBoardSays, () => this.#apply([]), { class: "quiet" })));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      this.#apply(this.#said());
    });
    this.element = h("details", { class: "explain", "data-testid": "columns" }, h("summary", {}, W.columnsOfThisBoard),
      h("p", { class: "hint" }, W.sayWhatEachNumberOf), form);
    this.element.hidden = true;
  }

  /**
   * @param {Board|null|undefined} board the source that is open
   * @param {Set[]} [set] what is set for its channels
   */
  show(board, set) {
    this.board = board?.columns?.length ? board : null;
    this.element.hidden = !this.board;
    setText(this.error, "");
    if (!this.board) return;
    const found = foundColumns(this.board, set);
    this.found = found;
    fill(this.rows, ...found.map((c, i) => this.#row(c, i)));
    const volts = found.map((c, i) => ({ c, i })).filter(({ c, i }) => !c.volts && this.board?.columns?.[i].looks === "V");
    fill(this.looks, ...volts.map(({ c, i }) => h("p", {}, W.looksLikeVoltsIsIt(c.name),
      button(`columns-volts-${i}`, W.yesVolts, () => this.#apply(found.map((d, k) => (k === i ? { ...d, unit: "V" } : d)))))));
  }

  /**
   * @param {Said} c
   * @param {number} i
   */
  #row(c, i) {
    const pick = (/** @type {string} */ id, /** @type {string} */ label, /** @type {string} */ value, /** @type {[string, string][]} */ list) => {
      if (!list.some(([v]) => v === value)) list.push([value, value]);
      return h("label", { class: "pick" }, h("span", {}, label), h("select", { "data-column": `${id}-${i}`, "data-testid": `column-${id}-${i}` }, list.map(([v, text]) => h("option", { value: v, selected: v === value }, text))));
    };
    return h("fieldset", { class: "picks" }, h("legend", {}, W.column(i + 1)),
      h("label", { class: "pick" }, h("span", {}, W.name), h("input", { type: "text", maxlength: "32", value: c.name, "data-column": `name-${i}`, "data-testid": `column-name-${i}` })),
      pick("use", W.itIs, c.use, [["signal", W.aSignal], ["t_us", W.theBoardsClockInS], ["t_ms", W.theBoardsClockInMs], ["t_s", W.theBoardsClockInS2], ["seq", W.aCounterOfLines], ["nothing", W.leftOut]]),
      pick("unit", W.unit, c.unit, /** @type {[string, string][]} */ ([["", "counts"], ["V", "V"], ["mV", "mV"], ["uV", "µV"]]).map(([v, text]) => [v, c.volts && v === c.unit ? W.voltsAsSet : text])),
      pick("kind", W.kind, c.kind, [["", W.notSaid], ["pulse", "pulse"], ["ecg", "ECG"], ["other", W.somethingElse]]));
  }

  /** @returns {Said[]} */
  #said() {
    const value = (/** @type {string} */ id) => /** @type {HTMLInputElement|HTMLSelectElement} */ (this.rows.querySelector(`[data-column="${id}"]`)).value;
    return (this.board?.columns ?? []).map((_, i) => ({ name: value(`name-${i}`), use: value(`use-${i}`), unit: value(`unit-${i}`), kind: value(`kind-${i}`) }));
  }

  /** @param {Said[]} columns */
  async #apply(columns) {
    if (!this.board) return;
    try {
      const address = addressWith(this.board.address, columns);
      for (const { channel, kind } of changedKinds(this.found, columns)) await this.setKind(channel, kind);
      this.open(address, W.aNewTraceBegan);
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    }
  }
}
