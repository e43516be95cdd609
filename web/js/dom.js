// Small helpers to build elements; no markup strings, no inline styles.

import { numberOf } from "./format.js";
import { domWords as W } from "./words.js";

/**
 * @typedef {string|number|Node|null|undefined|false} Child
 */

/**
 * Makes an element. Attributes: `class`, any attribute; `on…` a listener; a
 * boolean sets or leaves out.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, any>} [attributes]
 * @param {...(Child|Child[])} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function h(tag, attributes = {}, ...children) {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on") && typeof value === "function") e.addEventListener(name.slice(2), value);
    else if (value === true) e.setAttribute(name, "");
    else e.setAttribute(name, String(value));
  }
  append(e, children.flat());
  return e;
}

/**
 * Marks a row that is scrolled sideways where it goes on.
 * @param {HTMLElement} row
 */
export function tellsWhereItGoesOn(row) {
  const mark = () => {
    row.classList.toggle("more-before", row.scrollLeft > 2);
    row.classList.toggle("more-after", row.scrollLeft + row.clientWidth < row.scrollWidth - 2);
  };
  row.addEventListener("scroll", mark, { passive: true });
  new ResizeObserver(mark).observe(row);
  new MutationObserver(mark).observe(row, { childList: true, subtree: true, attributeFilter: ["hidden"] });
}

/**
 * @param {Element} parent
 * @param {Child[]} children
 */
function append(parent, children) {
  for (const c of children) {
    if (c === null || c === undefined || c === false) continue;
    parent.append(c instanceof Node ? c : String(c));
  }
}

/**
 * Replaces all children.
 * @param {Element} parent
 * @param {...Child} children
 */
export function fill(parent, ...children) {
  parent.replaceChildren();
  append(parent, children);
}

/**
 * Replaces all children but the field that has the focus, which its data-testid tells: it stays, with what is being written in it.
 * @param {Element} parent
 * @param {...Child} children
 */
export function refill(parent, ...children) {
  const held = /** @type {HTMLInputElement|null} */ (parent.contains(document.activeElement) ? document.activeElement : null);
  const fresh = document.createElement("div");
  append(fresh, children);
  const twin = held?.dataset.testid ? /** @type {HTMLInputElement|null} */ (fresh.querySelector(`[data-testid="${held.dataset.testid}"]`)) : null;
  if (!held || !twin) return parent.replaceChildren(...fresh.childNodes);
  if (held.type === "text") {
    if (held.value === held.defaultValue) held.value = twin.value; // nothing is written yet
    held.defaultValue = twin.defaultValue;
  }
  for (let old = parent, now = /** @type {Element} */ (fresh); old !== held; ) {
    const stays = /** @type {Element} */ ([...old.children].find((e) => e.contains(held)));
    const goes = /** @type {Element} */ ([...now.children].find((e) => e.contains(twin)));
    const at = [...now.childNodes].indexOf(goes);
    const rest = [...now.childNodes];
    for (const e of [...old.childNodes]) if (e !== stays) e.remove();
    stays.before(...rest.slice(0, at));
    stays.after(...rest.slice(at + 1));
    if (stays !== held) for (const { name, value } of goes.attributes) stays.setAttribute(name, value);
    [old, now] = [stays, goes];
  }
}

/**
 * Sets text only when it changed, so that screen readers and layout rest.
 * @param {Node} node
 * @param {string} text
 */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/**
 * The element with an id, which index.html must have.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const e = document.getElementById(id);
  if (!e) throw new Error(W.indexHtmlHasNo(id));
  return e;
}

/**
 * Leads the focus to what follows from what a person did, unless that person writes in a field by now.
 * @param {HTMLElement|null|undefined} next
 */
export function leadTo(next) {
  if (!document.activeElement?.matches("textarea, input:not([type=checkbox], [type=radio], [type=range])")) next?.focus();
}

/**
 * A button.
 * @param {string} id also its data-testid
 * @param {string} label
 * @param {() => void} action
 * @param {Record<string, any>} [attributes]
 */
export function button(id, label, action, attributes = {}) {
  return h("button", { type: "button", id, "data-testid": id, onclick: action, ...attributes }, label);
}

/**
 * A field for a number with decimals, to be read with numberOf: of a field of the type number a browser drops a decimal comma, or point, without a word.
 * @param {string} id also its data-testid
 * @param {Record<string, any>} [attributes]
 */
export function numberField(id, attributes = {}) {
  return h("input", { type: "text", class: "decimal", inputmode: "decimal", autocomplete: "off", id, "data-testid": id, ...attributes });
}

/**
 * The arrow keys turn a number field up and down by a tenth.
 * @param {HTMLInputElement} input
 * @param {number} first what an empty one begins with
 */
export function byArrows(input, first) {
  input.addEventListener("keydown", (e) => {
    if (e.key !== "ArrowUp" && e.key !== "ArrowDown") return;
    e.preventDefault();
    const v = numberOf(input.value) || first;
    const by = e.key === "ArrowUp" ? 1.1 : 1 / 1.1;
    input.value = String(Number((v * by).toPrecision(2)) === v ? Number((v * by * by).toPrecision(3)) : Number((v * by).toPrecision(2)));
    input.dispatchEvent(new Event("change"));
  });
}

/**
 * A select with its choices.
 * @param {string} id also its data-testid
 * @param {[string, string][]} choices value and text
 * @param {(value: string) => void} action
 * @param {Record<string, any>} [attributes]
 */
export function select(id, choices, action, attributes = {}) {
  const s = h("select", { id, "data-testid": id, ...attributes }, choices.map(([value, text]) => h("option", { value }, text)));
  s.addEventListener("change", () => action(s.value));
  return s;
}

/**
 * A dialog with a heading and a close button, added to the page.
 * @param {string} id
 * @param {string} title
 * @param {...Child} content
 */
export function dialog(id, title, ...content) {
  const d = h("dialog", { id, "data-testid": id, "aria-labelledby": id + "-title" },
    h("div", { class: "dialog-head" }, h("h2", { id: id + "-title", tabindex: "-1", autofocus: true }, title),
      h("button", { type: "button", class: "quiet close", "aria-label": W.close, "data-testid": id + "-close", onclick: () => d.close() }, "×")),
    ...content);
  document.body.append(d);
  return d;
}

/**
 * Follows a pointer held down on an element.
 * @param {HTMLElement} e
 * @param {(down: PointerEvent) => ((m: PointerEvent) => void)|null} begin null: not this time
 * @param {(up: PointerEvent) => void} [end]
 */
export function drag(e, begin, end) {
  e.addEventListener("pointerdown", (down) => {
    const move = down.button === 0 ? begin(down) : null;
    if (!move) return;
    down.preventDefault();
    e.focus({ preventScroll: true });
    e.setPointerCapture(down.pointerId);
    const up = (/** @type {PointerEvent} */ u) => {
      e.removeEventListener("pointermove", move);
      e.removeEventListener("pointerup", up);
      e.removeEventListener("pointercancel", up);
      end?.(u);
    };
    e.addEventListener("pointermove", move);
    e.addEventListener("pointerup", up);
    e.addEventListener("pointercancel", up);
  });
}
