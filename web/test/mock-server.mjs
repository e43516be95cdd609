// A development server: the page with an invented two-channel signal, for work on
// the page alone. Not a test. `node test/mock-server.mjs [port]`; options in the
// source address: mock:finger, mock:two, mock:recording, mock:silent, mock:gaps.
import { createServer } from "node:http";
import { readFile } from "node:fs/promises";
import { extname, join, normalize } from "node:path";
import { fileURLToPath } from "node:url";
import { WebSocketServer } from "ws";
import { encodeFrame } from "../js/frames.js";

const root = fileURLToPath(new URL("..", import.meta.url));
const types = { ".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml" };
const RATE = Number(process.env.MOCK_RATE ?? 500);
const CHANNELS = Number(process.env.MOCK_CHANNELS ?? 1);
const POINTS = 5;
const path = { drift: { on: true, cutoffHz: 0.3, order: 1 }, hum: { mode: "notch", freqHz: 0, bandwidthHz: 5, harmonics: 1 }, smooth: { shape: "butterworth", cutoffHz: 15, order: 2 } };
const scale = { source: "converter", referenceVolts: 5, bits: 10, signed: false, supplyLowVolts: 0, supplyHighVolts: 5, midRailVolts: 2.5, gain: 1, invert: false };
let epoch = 1;
let began = Date.now();
let state;
function restart(address) {
  epoch++;
  began = Date.now() - 45000;
  const labels = ["pulse", "ecg", "third", "fourth"];
  const chest = address.includes("chest");
  const channels = Array.from({ length: address.includes("two") ? 2 : CHANNELS }, (_, i) => ({ label: chest ? "ecg" : labels[i], kind: chest || i === 1 ? "ecg" : "pulse", unit: "V", path: structuredClone(path), scale: { ...scale }, humHz: 50, latencySeconds: 0.9, stepVolts: 5 / 1024, lowVolts: 0, highVolts: 5 }));
  state = { version: "dev", epoch, t0: new Date(began).toISOString(), owner: true, status: "running", statusText: "", source: { address, name: address, claimedRateHz: RATE, channels: [] }, rateHz: RATE, sourceRateHz: RATE, decimation: 1, lastIndex: 0, clock: { claimedRateHz: RATE, measuredRateHz: RATE * 1.0002, uncertaintyHz: 0.02, usedRateHz: RATE, exact: false, warning: address.includes("slow") ? "The board claims 512 Hz but sends 500 Hz: the measured rate is used." : "" }, channels, playback: address.includes("recording") ? { position: 0, length: 300 * RATE, speed: 1, loop: true } : null, recording: null, watchers: 1, gaps: [], notes: [{ index: 30 * RATE, text: "finger warmed" }], health: { lines: 12000, unreadable: 3, lastUnreadable: "25\\x00", lostSamples: 0, lostUnknown: true, detail: "115200 baud, found by trying" }, text: ["lamp clip v2 ready", "gain 12"], problem: "" };
  if (address.includes("gaps")) state.gaps = [{ index: 38 * RATE, samples: Math.round(1.4 * RATE), reason: "unplugged" }];
}
restart("mock:finger");
const BEAT = 0.82;
const wave = (phase) => Math.exp(-((phase - 0.22) ** 2) / 0.006) + 0.35 * Math.exp(-((phase - 0.5) ** 2) / 0.012);
const qrs = (phase) => Math.exp(-((phase - 0.22) ** 2) / 0.00012) - 0.2 * Math.exp(-((phase - 0.25) ** 2) / 0.0001) + 0.25 * Math.exp(-((phase - 0.5) ** 2) / 0.003) + 0.12 * Math.exp(-((phase - 0.07) ** 2) / 0.0006);
function value(channel, point, i) {
  const t = i / RATE;
  for (const g of state.gaps) if (i >= g.index && i < g.index + g.samples) return NaN;
  const beat = (state.channels[channel].kind === "ecg" ? qrs : wave)((t % BEAT) / BEAT) * 0.09;
  const drift = 0.05 * Math.sin(0.9 * t) + 0.01 * Math.sin(3.1 * t);
  const hum = 0.012 * Math.sin(2 * Math.PI * 50 * t) + 0.003 * Math.sin(2 * Math.PI * 150 * t);
  const noise = 0.004 * (((Math.sin(i * 12.9898) * 43758.5453) % 1) - 0.5);
  return [2.5 + beat + drift + hum + noise, beat + 0.2 * drift + hum + noise, beat + 0.2 * drift + noise, beat + 0.15 * drift, beat * 1.2][point];
}
function frame(first, samples, sequence, history) {
  const channels = state.channels.length;
  const data = new Float32Array(channels * POINTS * samples);
  let at = 0;
  for (let c = 0; c < channels; c++) for (let p = 0; p < POINTS; p++) for (let i = 0; i < samples; i++) data[at++] = value(c, p, first + i);
  return Buffer.from(encodeFrame({ history, gapBefore: false, sequence, first, samples, channels, points: POINTS, rateHz: RATE, epoch, ageMs: 3, data }));
}
const now = () => Math.floor(((Date.now() - began) / 1000) * RATE);
const beatsBetween = (from, to) => {
  const list = [];
  for (let k = Math.ceil(from / RATE / BEAT); k * BEAT * RATE < to; k++) list.push({ sample: Math.round((k + 0.22) * BEAT * RATE), foot: Math.round((k + 0.08) * BEAT * RATE), kind: "pulse", amplitude: 0.09, quality: k % 9 === 0 ? 0.4 : 0.95 });
  return list;
};
const server = createServer(async (q, r) => {
  const url = new URL(q.url, "http://x");
  const json = (v, status = 200) => r.writeHead(status, { "Content-Type": "application/json" }).end(JSON.stringify(v));
  let body = "";
  for await (const c of q) body += c;
  const sent = body ? JSON.parse(body) : null;
  if (url.pathname.startsWith("/api/v1/")) {
    const p = url.pathname.slice(8);
    const channel = /^channels\/(\d+)\/(.*)$/.exec(p);
    if (p === "state") return json({ ...state, lastIndex: now() });
    if (p === "sources") return json({ demos: ["finger", "two", "chest", "recording", "gaps", "silent", "slow"].map((n) => ({ address: "mock:" + n, name: n, what: "An invented " + n + " signal." })), ports: [{ address: "serial:/dev/ttyACM0", name: "/dev/ttyACM0", what: "USB serial" }], recordings: [], sounds: [], problems: [] });
    if (p === "source") {
      if (!sent.address.startsWith("mock:")) return json({ error: `source address "${sent.address}": unknown scheme: use mock: here` }, 400);
      restart(sent.address);
      tell();
      return json(state);
    }
    if (p === "beats") return json({ epoch, channels: state.channels.map(() => beatsBetween(0, now())), gaps: [], notes: [] });
    if (p === "history") {
      const from = Math.max(0, Number(url.searchParams.get("from")));
      const to = Math.min(now(), Number(url.searchParams.get("to")));
      if (to <= from) return r.end();
      const f = frame(from, to - from, 0, true);
      const head = Buffer.alloc(4);
      head.writeUInt32LE(f.length);
      return r.end(Buffer.concat([head, f]));
    }
    if (p === "notes") {
      state.notes = [...state.notes, { index: sent.index ?? now(), text: sent.text }];
      tell();
      return json(sent);
    }
    if (p === "playback") {
      Object.assign(state.playback, sent);
      state.lastIndex = now();
      tell();
      return json(state.playback);
    }
    if (channel) {
      const c = state.channels[Number(channel[1])];
      if (channel[2] === "path") {
        if (sent.smooth.cutoffHz > 0.49 * RATE) return json({ error: `signal path: smooth: cutoff ${sent.smooth.cutoffHz} Hz; must be below half the rate, ${RATE / 2} Hz` }, 422);
        c.path = sent;
        tell();
        return json(sent);
      }
      if (channel[2] === "kind") c.kind = sent.kind;
      if (channel[2] === "scale") c.scale = sent;
      if (channel[2] === "path/response") {
        const freqHz = Array.from({ length: 160 }, (_, i) => 0.05 * (RATE / 2 / 0.05) ** (i / 159));
        const stage = (f) => ({ gainDb: freqHz.map(f), delaySeconds: freqHz.map(() => 0.015) });
        return json({ freqHz, drift: stage((f) => (c.path.drift.on ? -10 * Math.log10(1 + (c.path.drift.cutoffHz / f) ** 2) : 0)), hum: stage((f) => 10 * Math.log10((f * f - 2500) ** 2 / ((f * f - 2500) ** 2 + (5 * f) ** 2) + 1e-9)), smooth: stage((f) => -10 * Math.log10(1 + (f / c.path.smooth.cutoffHz) ** 4)), whole: stage(() => 0) });
      }
      tell();
      return json(c);
    }
    return json({ error: "there is nothing at " + p }, 404);
  }
  const file = normalize(url.pathname === "/" ? "/index.html" : url.pathname);
  try {
    const data = await readFile(join(root, file));
    r.writeHead(200, { "Content-Type": types[extname(file)] ?? "text/plain", "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'" }).end(data);
  } catch {
    json({ error: "no file" }, 404);
  }
});
const sockets = new WebSocketServer({ server, path: "/api/v1/stream", handleProtocols: () => "pulsewright.v1" });
const say = (socket, m) => socket.send(JSON.stringify(m));
function tell() {
  for (const s of sockets.clients) say(s, { type: "state", ...state, lastIndex: now() });
}
sockets.on("connection", (socket) => {
  let of = -1;
  let at = 0;
  let sequence = 0;
  let ticks = 0;
  const timer = setInterval(() => {
    const n = now();
    if (of !== epoch) {
      of = epoch;
      say(socket, { type: "state", ...state, lastIndex: n });
      at = n;
      for (let i = Math.max(0, n - 60 * RATE); i < n; i += 1000) socket.send(frame(i, Math.min(1000, n - i), 0, true));
      state.channels.forEach((_, c) => say(socket, { type: "beats", epoch, channel: c, beats: beatsBetween(n - 60 * RATE, n - 0.5 * RATE) }));
    }
    if (state.source.address.includes("silent") && ticks > 200) return;
    if (n > at) socket.send(frame(at, n - at, sequence++, false));
    at = n;
    if (ticks++ % 60 === 0) {
      state.channels.forEach((_, c) => {
        say(socket, { type: "beats", epoch, channel: c, beats: beatsBetween(n - 3 * RATE, n - 0.7 * RATE) });
        const bad = ticks % 1200 > 900;
        say(socket, { type: "reading", epoch, channel: c, index: n, state: bad ? "no signal" : "reading", rateBpm: bad ? 0 : 60 / BEAT, quality: bad ? 0 : 0.92, reason: bad ? "No pulse is seen: is a finger on the sensor?" : "Twelve beats in a row look alike." });
      });
    }
  }, 16);
  socket.on("message", (data) => {
    const m = JSON.parse(String(data));
    say(socket, { type: "pong", id: m.id });
  });
  socket.on("close", () => clearInterval(timer));
});
server.listen(Number(process.argv[2] ?? 8199), "127.0.0.1", () => console.log("http://127.0.0.1:" + server.address().port + "/"));
