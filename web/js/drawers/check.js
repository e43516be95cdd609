// The Check drawer: is the board good? The meters' figures with verdicts in plain
// words, the hum of two minutes, and a comparison with a board remembered.

import { request } from "../api.js";
import { button, h, select, setText } from "../dom.js";
import { prefixFor, quantity } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { compare, figures, HumStrip, SECTIONS, SIGNS, typeset, worst } from "./figures.js";
import { DemoTrimmer, TrimmerAdvice } from "./trimmer.js";
import { WireFinder } from "./wire.js";
import { drawerCheckWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PageState, Store} from "../store.js" */
/** @import {Grade, Report, Verdict} from "./figures.js" */
/** @typedef {{name: string, at: string, report: Report}} Remembered */

const MOST_REMEMBERED = 12;
const SVG = "http://www.w3.org/2000/svg";

/** Noted while the drawer is closed too; what was before is the server's to tell. @type {Map<number, HumStrip>} */
const strips = new Map();
/** @type {Store|null} */
let noting = null;

/** @param {Store} store */
function noteHum(store) {
  if (noting) return;
  noting = store;
  store.subscribe((state, before) => {
    if (state.meters === before.meters) return;
    if (state.server?.epoch !== before.server?.epoch || state.server?.t0 !== before.server?.t0) strips.clear();
    state.meters.forEach((report, channel) => {
      if (report === before.meters[channel]) return;
      const strip = strips.get(channel) ?? new HumStrip();
      strips.set(channel, strip);
      strip.add(performance.now() / 1000, report);
    });
  });
}

/**
 * @param {number} channel
 * @param {() => void} done
 */
async function askPast(channel, done) {
  try {
    const { humStrip } = await request("GET", `/channels/${channel}/meters`);
    const strip = strips.get(channel) ?? new HumStrip();
    strips.set(channel, strip);
    strip.fill(performance.now() / 1000, humStrip);
    done();
  } catch {
    // The strip fills as reports come.
  }
}

class CheckPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    /** @type {PageState["server"]|undefined} */
    this.server = undefined;
    /** @type {Report|undefined} */
    this.report = undefined;
    this.channel = -1;
    this.summaryKey = "";
    noteHum(ctx.store);
    this.summary = h("ul", { class: "grades", "aria-label": W.grades, "data-testid": "check-summary" });
    this.wait = h("p", { class: "hint", "data-testid": "check-wait" }, W.waitingForTheMeters);
    this.rails = new RailBar();
    this.chart = h("div", { class: "chart", "data-testid": "hum-strip" });
    this.plot = new Plot(this.chart, { label: W.humOfTheLastTwo });
    this.demo = new DemoTrimmer(ctx);
    this.advice = new TrimmerAdvice(ctx, this.demo);
    this.scale = button("check-scale", W.voltsRailsAndMidRail, () => ctx.openScale(ctx.channel()), { class: "quiet" });
    /** @type {Map<string, MeterSection>} */
    this.sections = new Map();
    this.body = h("div", { class: "check-body" });
    for (const s of SECTIONS) {
      const section = new MeterSection(s.id, s.title);
      this.sections.set(s.id, section);
      if (s.id === "level") section.extra.append(this.rails.root, this.scale);
      if (s.id === "hum") section.extra.append(this.chart, h("p", { class: "hint" }, W.theLastTwoMinutesLogarithmic), this.demo.root, this.advice.root);
      this.body.append(section.root);
    }
    this.memory = new Memory(ctx);
    this.body.append(this.memory.root);
    this.wire = new WireFinder(ctx);
    root.append(this.wire.root, this.wait, this.summary, this.body);
    this.body.hidden = true;
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const channel = this.ctx.channel();
    const report = state.meters[channel];
    const server = state.server;
    if (server !== this.server) {
      this.server = server;
      this.scale.disabled = server?.owner === false;
      this.demo.changed(state);
      this.advice.changed(state);
    }
    this.wire.changed(state);
    if (report === this.report && channel === this.channel) return;
    if (channel !== this.channel) {
      this.advice.answer.hidden = true;
      askPast(channel, () => this.ctx.dirty());
    }
    this.report = report;
    this.channel = channel;
    this.wait.hidden = !!report;
    this.body.hidden = this.summary.hidden = !report;
    this.memory.show(report ?? null);
    if (!report) return;
    /** @type {Verdict[]} */
    const verdicts = report.verdicts ?? [];
    for (const s of SECTIONS) this.sections.get(s.id)?.show(figures(s.id, report), verdicts.filter((v) => s.topics.includes(v.topic)));
    this.#summary();
    this.rails.show(report, server?.channels[channel]);
    this.ctx.dirty();
  }

  #summary() {
    const key = SECTIONS.map((s) => this.sections.get(s.id)?.grade).join();
    if (key === this.summaryKey) return;
    this.summaryKey = key;
    const focused = this.summary.contains(document.activeElement) ? /** @type {HTMLElement} */ (document.activeElement).dataset.section : "";
    this.summary.replaceChildren(...SECTIONS.map((s) => {
      const section = /** @type {MeterSection} */ (this.sections.get(s.id));
      return h("li", {}, h("button", { type: "button", class: `grade-link ${section.grade}`, "data-section": s.id, onclick: () => section.reveal(), "aria-label": `${s.title}: ${section.grade}` },
        h("span", { class: "sign", "aria-hidden": "true" }, SIGNS[section.grade]), s.title.replace(" and swing", "")));
    }));
    if (focused) /** @type {HTMLElement|null} */ (this.summary.querySelector(`[data-section="${focused}"]`))?.focus();
  }

  draw() {
    const strip = strips.get(this.ctx.channel());
    const extent = strip?.extent();
    if (!strip || !extent) return;
    const unit = this.report?.unit ?? "V";
    const p = prefixFor(extent.high, unit);
    const now = performance.now() / 1000;
    const x = strip.points.map((q) => q.at - now);
    this.plot.set({ low: -strip.seconds, high: 0, unit: "s", label: "ago" }, { low: extent.low / p.factor, high: extent.high / p.factor, log: true, unit: p.unit + " rms" }, [
      { x, y: strip.points.map((q) => q.goal / p.factor), colour: "faint", dash: [3, 4] },
      { x, y: strip.points.map((q) => q.hum / p.factor), colour: "trace2", width: 2.2 },
    ]);
    const last = strip.points[strip.points.length - 1];
    const first = strip.points[0];
    this.chart.dataset.reachSeconds = (now - first.at).toFixed(0);
    this.plot.canvas.setAttribute("aria-label", W.humOfTheLastTwo2(quantity(first.hum, unit), quantity(last.hum, unit)));
  }

  destroy() {
    this.plot.destroy();
    this.advice.destroy();
  }
}

/** One topic: grade, figures, verdict, remedy. */
export class MeterSection {
  /**
   * @param {string} id
   * @param {string} title
   * @param {string} [place] begins the names of its parts
   */
  constructor(id, title, place = "check") {
    this.id = id;
    this.place = place;
    /** @type {Grade} */
    this.grade = "unknown";
    this.sign = h("span", { class: "sign", "aria-hidden": "true" });
    this.word = h("span", {});
    this.chip = h("span", { class: "grade unknown", "data-testid": `${place}-grade-${id}` }, this.sign, this.word);
    this.heading = h("h3", { tabindex: "-1" }, title);
    this.verdicts = h("div", { class: "words", "data-testid": `${place}-words-${id}` });
    this.facts = h("dl", { class: "facts" });
    this.extra = h("div", { class: "extra" });
    this.root = h("section", { class: "meter", "data-testid": `${place}-${id}` }, h("div", { class: "meter-head" }, this.heading, this.chip), this.verdicts, this.facts, this.extra);
    /** @type {HTMLElement[]} */
    this.values = [];
    this.terms = "";
    this.said = "";
  }

  reveal() {
    this.root.scrollIntoView({ block: "start" });
    this.heading.focus({ preventScroll: true });
  }

  /**
   * @param {[string, string][]} rows
   * @param {Verdict[]} verdicts
   */
  show(rows, verdicts) {
    this.grade = worst(verdicts);
    this.chip.className = "grade " + this.grade;
    setText(this.sign, SIGNS[this.grade]);
    setText(this.word, this.grade);
    const said = verdicts.map((v) => v.text + "\n" + v.remedy).join("\n");
    if (said !== this.said) {
      this.said = said;
      this.verdicts.replaceChildren(...verdicts.flatMap((v) => [h("p", { class: "verdict" }, typeset(v.text)), ...(v.remedy ? [h("p", { class: "remedy" }, typeset(v.remedy))] : [])]));
    }
    const terms = rows.map((r) => r[0]).join("\n");
    if (terms !== this.terms) {
      this.terms = terms;
      this.values = rows.map((r, i) => h("dd", { "data-testid": `${this.place}-${this.id}-${i}` }, r[1]));
      this.facts.replaceChildren(...rows.flatMap((r, i) => [h("dt", {}, r[0]), this.values[i]]));
    } else rows.forEach((r, i) => setText(this.values[i], r[1]));
  }
}

/** The rails with the signal's extent in them. */
class RailBar {
  constructor() {
    const shape = (/** @type {string} */ name, /** @type {Record<string, string>} */ attributes) => {
      const e = document.createElementNS(SVG, name);
      for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
      return e;
    };
    this.svg = shape("svg", { class: "rail-bar", role: "img", "data-testid": "rail-bar" });
    this.extent = shape("rect", { class: "extent", y: "3", height: "16" });
    this.mid = shape("line", { class: "mid", y1: "0", y2: "22" });
    this.mean = shape("line", { class: "mean", y1: "1", y2: "21" });
    this.svg.append(shape("rect", { class: "supply", x: "0", y: "3", width: "100%", height: "16" }), this.mid, this.extent, this.mean);
    this.low = h("span", {});
    this.name = h("span", {});
    this.high = h("span", {});
    this.root = h("div", { class: "rails" }, this.svg, h("p", { class: "hint ends" }, this.low, this.name, this.high));
  }

  /**
   * @param {Report} r
   * @param {import("../types.js").Channel|undefined} channel
   */
  show(r, channel) {
    const rails = railsOf(channel);
    this.root.hidden = !rails || !r.level.known;
    if (!rails || !r.level.known) return;
    const share = (/** @type {number} */ v) => Math.min(1, Math.max(0, (v - rails.low) / (rails.high - rails.low)));
    const percent = (/** @type {number} */ v) => (100 * v).toFixed(2) + "%";
    const from = share(r.level.lowVolts);
    this.extent.setAttribute("x", percent(from));
    this.extent.setAttribute("width", percent(Math.max(0.005, share(r.level.highVolts) - from)));
    for (const [line, v] of /** @type {[Element, number|null][]} */ ([[this.mean, r.level.meanVolts], [this.mid, rails.mid]])) {
      line.toggleAttribute("hidden", v === null);
      if (v === null) continue;
      line.setAttribute("x1", percent(share(v)));
      line.setAttribute("x2", percent(share(v)));
    }
    setText(this.low, quantity(rails.low, r.unit));
    setText(this.high, quantity(rails.high, r.unit));
    setText(this.name, rails.supply ? W.supplyRails : W.convertersRange);
    this.svg.setAttribute("aria-label", W.theSignalLiesFromTo(quantity(r.level.lowVolts, r.unit), quantity(r.level.highVolts, r.unit), quantity(rails.low, r.unit), quantity(rails.high, r.unit)));
  }
}

/**
 * The rails in the signal's unit: the supply's, or the converter's ends.
 * @param {import("../types.js").Channel|undefined} c
 */
function railsOf(c) {
  if (!c) return null;
  const s = c.scale;
  const gain = s.gain > 0 ? s.gain : 1;
  const mid = s.midRailVolts === null ? null : s.midRailVolts / gain;
  if (s.supplyLowVolts !== null && s.supplyHighVolts !== null) return { low: s.supplyLowVolts / gain, high: s.supplyHighVolts / gain, mid, supply: true };
  if (c.lowVolts === undefined || c.highVolts === undefined || !(c.highVolts > c.lowVolts)) return null;
  return { low: c.lowVolts, high: c.highVolts, mid, supply: false };
}

/** "Remember this", and before and after side by side. */
class Memory {
  /** @param {DrawerContext} ctx */
  constructor(ctx) {
    this.ctx = ctx;
    /** @type {Report|null} */
    this.report = null;
    this.key = "";
    /** @type {Remembered[]} */
    this.list = [];
    this.name = h("input", { type: "text", id: "remember-name", "data-testid": "remember-name", maxlength: "60", placeholder: W.nameSuchAsBefore, "aria-label": W.nameOfWhatIsRemembered });
    const form = h("form", { class: "row" }, this.name, h("button", { type: "submit", "data-testid": "remember" }, W.rememberThis));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      this.#remember();
    });
    this.choice = select("remembered", [], () => this.#compare(), { "aria-label": W.compareWith });
    this.forget = button("forget", W.deleteText, () => this.#forget(), { class: "quiet" });
    this.with = h("div", { class: "row" }, h("label", { for: "remembered" }, W.compareWith), this.choice, this.forget);
    this.rows = h("tbody", {});
    this.beforeHead = h("th", { scope: "col" }, "before");
    this.table = h("table", { class: "compare", "data-testid": "compare" },
      h("caption", { class: "unseen" }, W.figuresBeforeAndNowWith),
      h("thead", {}, h("tr", {}, h("td", {}), this.beforeHead, h("th", { scope: "col" }, "now"), h("th", { scope: "col" }, "change"))), this.rows);
    this.root = h("section", { class: "meter" }, h("div", { class: "meter-head" }, h("h3", {}, W.beforeAndAfter)),
      h("p", { class: "hint" }, W.rememberTheBoardAsIt), form, this.with, this.table);
  }

  /** @param {Report|null} report */
  show(report) {
    this.report = report;
    const key = W.check(this.ctx.store.state.server?.source?.address ?? "", this.ctx.channel());
    if (key !== this.key) {
      this.key = key;
      this.list = prefs.get(key, /** @type {Remembered[]} */ ([]));
      this.#fill();
    }
    this.#compare();
  }

  #fill(chosen = this.list.length - 1) {
    this.choice.replaceChildren(...this.list.map((m, i) => h("option", { value: String(i) }, `${m.name}, ${when(m.at)}`)));
    this.choice.value = String(chosen);
    this.with.hidden = this.table.hidden = this.list.length === 0;
  }

  #remember() {
    if (!this.report) return;
    this.list = prefs.get(this.key, this.list); // another tab may have remembered more
    const name = this.name.value.trim() || (this.list.length === 0 ? "before" : W.board(this.list.length + 1));
    this.list = [...this.list, { name, at: new Date().toISOString(), report: structuredClone(this.report) }].slice(-MOST_REMEMBERED);
    prefs.set(this.key, this.list);
    this.name.value = "";
    this.#fill();
    this.#compare();
    this.ctx.announce(W.rememberedAs(name));
  }

  #forget() {
    const gone = this.list[Number(this.choice.value)];
    this.list = prefs.get(this.key, this.list).filter((m) => m.at !== gone?.at || m.name !== gone.name);
    prefs.set(this.key, this.list);
    this.#fill();
    this.#compare();
    if (this.list.length === 0) this.name.focus();
  }

  #compare() {
    const before = this.list[Number(this.choice.value)];
    if (!before || !this.report) return;
    setText(this.beforeHead, before.name);
    const rows = compare(before.report, this.report);
    if (this.rows.childElementCount !== rows.length) this.rows.replaceChildren(...rows.map((r) => h("tr", {}, h("th", { scope: "row" }, r.name), h("td", {}), h("td", {}), h("td", {}))));
    rows.forEach((r, i) => {
      const cells = this.rows.children[i].children;
      setText(cells[1], r.before);
      setText(cells[2], r.after);
      setText(cells[3], r.change);
    });
  }
}

/** @param {string} iso */
function when(iso) {
  const d = new Date(iso);
  const today = d.toDateString() === new Date().toDateString();
  return d.toLocaleString("en", today ? { hour: "2-digit", minute: "2-digit", hour12: false } : { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hour12: false });
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "check", title: W.check2, key: "k", create: (root, ctx) => new CheckPanel(root, ctx) };
