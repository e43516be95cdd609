// The glossary behind dotted words: one dialog, in which the word asked for stands first.

import { button, dialog, fill, h } from "./dom.js";
import * as words from "./words.js";
import { glossaryWords as W } from "./words.js";

/** @type {{box: HTMLDialogElement, list: HTMLElement}|null} */
let opened = null;

/**
 * Shows the glossary, with these words first.
 * @param {string[]} first keys of words.glossary
 */
function show(first) {
  if (!opened) {
    const list = h("dl", { class: "glossary" });
    opened = { box: dialog("glossary-dialog", words.glossaryTitle, list), list };
  }
  const rest = Object.keys(words.glossary).filter((k) => !first.includes(k));
  fill(opened.list, ...[...first, ...rest].flatMap((k) => {
    const [name, text] = words.glossary[k];
    return [h("dt", { class: first.includes(k) ? "asked" : "" }, name), h("dd", {}, text)];
  }));
  if (!opened.box.open) opened.box.showModal();
  opened.box.scrollTop = 0;
}

/**
 * A dotted word.
 * @param {string} id of the button: term-<id>
 * @param {string} text
 * @param {string[]} about keys of words.glossary that are explained first
 */
export function term(id, text, about) {
  const names = about.map((k) => words.glossary[k][0]).join(", ");
  return button(`term-${id}`, text, () => show(about), { class: "term", title: W.explained(names), "aria-label": W.explained2(text, names) });
}
