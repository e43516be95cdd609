// Finds the texts for people in a module, by its syntax: what reads like words, and does not stand where only a
// program reads (class names, addresses, events, codes). Units are no words.
import ts from "typescript";

const UNITS = new Set(["Hz", "kHz", "bpm", "dB", "ms", "rms", "mV", "uV", "px", "MB", "GiB", "min", "nV", "pp"]);
const NOT = new Set(["class", "className", "id", "for", "role", "type", "href", "rel", "style", "method", "font", "colour", "color", "d", "transform", "accept", "pattern", "autocomplete", "inputmode", "viewBox", "points", "cssText", "innerHTML", "credentials", "headers", "signal", "fill", "stroke", "filter", "key", "code", "headline"]);
const CALLS = new Set(["querySelector", "querySelectorAll", "addEventListener", "removeEventListener", "setAttribute", "getAttribute", "createElement", "createElementNS", "getContext", "matchMedia", "setProperty", "getPropertyValue", "closest", "matches", "Event", "CustomEvent", "startsWith", "endsWith", "includes", "indexOf", "split", "replace", "replaceAll", "test", "RegExp", "getItem", "setItem", "removeItem", "byId", "getElementById", "toLocaleString", "toggle", "add", "remove", "contains", "localeCompare", "DOMException", "register", "registerProcessor", "Blob", "postMessage", "send", "request", "binary", "requestText"]);

/** @param {string} text static parts, joined by a NUL for each hole */
export function isText(text) {
  const parts = text.split("\0").join(" \u2423 ");
  if (/[{}<>=]|:\/\/|\bvar\(|\[data-|^\s*[#./]|\bpx\b|^--|system-ui|sans-serif|^(GET|PUT|POST|DELETE|PATCH)$/.test(parts) && !/[a-z] [a-z]+ [a-z]/.test(parts)) return false;
  if (/system-ui|serif|no-cache|application\/|text\/plain|Content-Type|\[data-|https?:/.test(parts)) return false;
  const words = parts.match(/[A-Za-zÀ-ž’]{2,}/g) ?? [];
  const real = words.filter((w) => !UNITS.has(w));
  if (real.length === 0) return false;
  const solid = parts.replaceAll("\u2423", " ").trim();
  if (/^[A-Z][a-z]+( …|\.|:|…|\?)?$/.test(solid)) return true; // a label of one word
  if (!/\s/.test(solid) && !text.includes("\0")) return false;
  if (text.includes("\0")) return /(^|[\s(“„])[A-Za-z’]{2,}([\s.,;:?!)”]|$)/.test(parts) && real.some((w) => w.length > 2 || /\s/.test(solid)) && / /.test(text.replaceAll("\0", "")) ;
  return /[A-Za-z’,.;:)?!…] +[A-Za-z(“‘0-9+−–×]/.test(solid);
}

const nameOf = (n) => (n && (ts.isIdentifier(n) || ts.isStringLiteral(n) || ts.isPrivateIdentifier(n)) ? n.text : "");

/** Whether a literal stands where no text for people stands. */
function elsewhere(node) {
  let n = node;
  for (let p = node.parent; p; n = p, p = p.parent) {
    if (ts.isImportDeclaration(p) || ts.isExportDeclaration(p) || ts.isCaseClause(p) && p.expression === n || ts.isElementAccessExpression(p) && p.argumentExpression === n) return true;
    if (ts.isBinaryExpression(p)) {
      const op = p.operatorToken.kind;
      if ([ts.SyntaxKind.EqualsEqualsEqualsToken, ts.SyntaxKind.ExclamationEqualsEqualsToken, ts.SyntaxKind.InKeyword].includes(op)) return true;
      if (op === ts.SyntaxKind.EqualsToken && p.right === n && ts.isPropertyAccessExpression(p.left) && NOT.has(p.left.name.text)) return true;
    }
    if (ts.isPropertyAssignment(p)) {
      if (p.name === n) return true;
      const name = nameOf(p.name);
      return NOT.has(name) || name.startsWith("data-") || /^aria-(?!label$|description$|valuetext$)/.test(name);
    }
    if (ts.isCallExpression(p) || ts.isNewExpression(p)) {
      const f = p.expression;
      const name = ts.isPropertyAccessExpression(f) ? f.name.text : nameOf(f);
      if (p.expression !== n && CALLS.has(name)) {
        if (name === "setAttribute" && ["title", "aria-label", "placeholder", "aria-valuetext"].includes(p.arguments[0]?.text) && p.arguments[1] === n) return false;
        return true;
      }
      return ts.isPropertyAccessExpression(f) && ts.isIdentifier(f.expression) && f.expression.text === "prefs"; // keys of what is remembered
    }
    if (ts.isFunctionLike(p) || ts.isStatement(p) && !ts.isReturnStatement(p) && !ts.isThrowStatement(p) && !ts.isVariableStatement(p) && !ts.isExpressionStatement(p)) return false;
  }
  return false;
}

/**
 * @param {string} source
 * @param {string} file
 */
export function texts(source, file) {
  const tree = ts.createSourceFile(file, source, ts.ScriptTarget.ES2023, true, ts.ScriptKind.JS);
  /** @type {{node: ts.Node, text: string, spans: ts.Expression[]}[]} */
  const found = [];
  const visit = (/** @type {ts.Node} */ n) => {
    let text = null, spans = [];
    if (ts.isStringLiteral(n) || ts.isNoSubstitutionTemplateLiteral(n)) text = n.text;
    else if (ts.isTemplateExpression(n)) {
      text = n.head.text + n.templateSpans.map((s) => "\0" + s.literal.text).join("");
      spans = n.templateSpans.map((s) => s.expression);
    }
    if (text !== null && !(ts.isTaggedTemplateExpression(n.parent)) && isText(text) && !elsewhere(n)) found.push({ node: n, text, spans });
    ts.forEachChild(n, visit);
  };
  visit(tree);
  return { tree, found };
}
