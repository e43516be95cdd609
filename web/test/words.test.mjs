// All texts of the page stand in js/words.js, so that another language is one file.

import assert from "node:assert/strict";
import { readdirSync, readFileSync, statSync } from "node:fs";
import path from "node:path";
import { test } from "node:test";
import * as words from "../js/words.js";
import { isText, texts } from "./texts.mjs";

const js = path.join(import.meta.dirname, "..", "js");

/** @param {string} folder @returns {string[]} */
function modules(folder) {
  return readdirSync(folder).flatMap((name) => {
    const file = path.join(folder, name);
    if (statSync(file).isDirectory()) return modules(file);
    return name.endsWith(".js") && file !== path.join(js, "words.js") && !name.endsWith("worklet.js") ? [file] : [];
  });
}

test("no module but words.js holds texts", () => {
  const left = modules(js).flatMap((file) => texts(readFileSync(file, "utf8"), file).found.map((f) => `${path.relative(js, file)}: ${JSON.stringify(f.text.replaceAll("\0", "…"))}`));
  assert.deepEqual(left, []);
});

test("what is a text is told from what is none", () => {
  for (const text of ["Find beats", "Hum", "no signal", "\0 beats found.", "Cancel (\0 % done)", "Reading …"]) assert.ok(isText(text), text);
  for (const text of ["row between", "ecg"]) assert.ok(!texts(`h("div", { class: ${JSON.stringify(text)} })`, "a.js").found.length, text);
  for (const code of ["e.key === \"Page Up\"", "document.querySelector(\"dialog button\")", "`/channels/${n}/path`", "`${x} Hz`"]) assert.equal(texts(code, "a.js").found.length, 0, code);
  assert.equal(texts("button(\"a\", \"Find beats\", f)", "a.js").found.length, 1);
});

test("every text is used", () => {
  const all = modules(js).map((file) => readFileSync(file, "utf8")).join("\n");
  const unused = Object.entries(words).filter(([name]) => name.endsWith("Words")).flatMap(([name, entries]) => {
    const file = modules(js).find((f) => readFileSync(f, "utf8").match(new RegExp(`\\b${name} as W\\b`)));
    const source = file ? readFileSync(file, "utf8") : "";
    return Object.keys(entries).filter((key) => !new RegExp(`\\bW\\.${key}\\b`).test(source)).map((key) => `${name}.${key}`);
  });
  assert.ok(all.length > 100_000);
  assert.deepEqual(unused, []);
});

test("buttons that hide different things have different names", () => {
  const { boardStripWords: b, pathWords: p } = words;
  assert.equal(new Set([b.fold, b.stages, p.fold, p.unfold]).size, 4);
});

test("index.html holds no texts but the name and what stands without JavaScript", () => {
  const html = readFileSync(path.join(js, "..", "index.html"), "utf8");
  const body = html.slice(html.indexOf("<body>")).replace(/<noscript>.*<\/noscript>/s, "");
  const shown = [...body.matchAll(/>([^<]*[A-Za-z][^<]*)</g)].map((m) => m[1].trim());
  assert.deepEqual(shown, ["Pulsewright"]);
  assert.deepEqual([...body.matchAll(/ (title|aria-label|placeholder)="/g)].map((m) => m[0]), []);
  for (const [where] of words.page) assert.ok(where.startsWith("#") ? html.includes(`id="${where.slice(1)}"`) : html.includes(`class="${where.slice(1)}"`), where);
});
