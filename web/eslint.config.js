const browser = Object.fromEntries(["window", "document", "DOMParser", "location", "localStorage", "navigator", "URL", "URLSearchParams", "AudioContext", "AudioWorkletNode", "performance", "requestAnimationFrame", "fetch", "AbortController", "AbortSignal", "TextDecoder", "DOMException", "WebSocket", "ResizeObserver", "Node", "HTMLElement", "HTMLInputElement", "HTMLSelectElement", "HTMLButtonElement", "HTMLTextAreaElement", "structuredClone", "Event", "Blob", "Image", "XMLHttpRequest", "MutationObserver", "EventTarget", "CustomEvent", "FormData"].map((n) => [n, "readonly"]));
const node = Object.fromEntries(["console", "process", "Buffer", "URL", "setInterval", "clearInterval", "setTimeout", "clearTimeout", "structuredClone", "Event", "EventTarget"].map((n) => [n, "readonly"]));
const rules = {
  "no-unused-vars": ["error", { argsIgnorePattern: "^_", varsIgnorePattern: "^_", ignoreRestSiblings: true }],
  "no-undef": "error", "prefer-const": "error", "no-var": "error", eqeqeq: "error", "no-shadow": "error", "no-empty": "error",
  "no-eval": "error", "no-implied-eval": "error", "no-unreachable": "error", "no-dupe-keys": "error", "no-fallthrough": "error",
  "no-restricted-properties": ["error", { property: "innerHTML", message: "Build elements with h() of dom.js." }, { property: "outerHTML" }, { property: "insertAdjacentHTML" }],
};
export default [
  { files: ["js/**/*.js"], languageOptions: { ecmaVersion: 2023, sourceType: "module", globals: { ...browser, clearTimeout: "readonly", clearInterval: "readonly" } }, rules },
  { files: ["test/**/*.mjs", "*.js"], languageOptions: { ecmaVersion: 2023, sourceType: "module", globals: node }, rules },
];
