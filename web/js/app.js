// Wires the page: stream → rings and store → panels; controls → server.

import { api, sentence } from "./api.js";
import { AudioInput } from "./audio-input.js";
import { BoardModel } from "./board/model.js";
import { asShown } from "./board/words.js";
import { BoardPort } from "./board-port.js";
import { Cautions, isLive } from "./cautions.js";
import { byId, setText } from "./dom.js";
import { wireHint } from "./drawers/figures.js";
import { takeDrops } from "./drawers/import-box.js";
import { DRAWERS } from "./drawers/list.js";
import { watchRecording } from "./drawers/recordings.js";
import { DrawerHost } from "./drawers.js";
import { rate, significant, wholeSeconds } from "./format.js";
import { decodeFrames } from "./frames.js";
import { Guide } from "./guide.js";
import { Keys } from "./keys.js";
import { FrameLoop, quantile } from "./loop.js";
import { PathPanel } from "./path/path.js";
import { MOST_PROBES, restoreProbes, toggleProbe } from "./path/probes.js";
import { Sending } from "./path/sending.js";
import { PlaybackPanel } from "./playback.js";
import { spaced } from "./queue.js";
import { ReadingPanel } from "./reading.js";
import { ringCapacity, Rings } from "./rings.js";
import { ScaleDialog } from "./scale-dialog.js";
import { fromPaper, pageFoot, repaint, toPaper } from "./scene/picture.js";
import { SECONDS_ACROSS, stepSeconds } from "./scales.js";
import { asksForShow, ShowView } from "./show.js";
import { showKeys } from "./show/controls.js";
import { SourcePicker } from "./sources.js";
import { BeatList, History, prefs, sameRun, Store, takenBack } from "./store.js";
import { Stream } from "./stream.js";
import { DARK, DARK_STRONG, LIGHT, LIGHT_STRONG, theme } from "./theme.js";
import { CalibrateDialog, screenMm } from "./trace/calibrate.js";
import { tracePaper } from "./trace/on-paper.js";
import { saveTrace } from "./trace/save.js";
import { TracePanel } from "./trace/trace.js";
import { WatchOnly } from "./watch-only.js";
import * as words from "./words.js";
import { appWords as W } from "./words.js";

/** @import {Channel, Frame, Kind, Message, Probe, ScaleSettings} from "./types.js" */
/** @import {PageState} from "./store.js" */

const STALE_AFTER_MS = 1500;
const SLOW_TICK_MS = 500;
const ANNOUNCE_GAP_MS = 1500;
/** As in page.css: a drawer then rises from below. */
const NARROW_CSS = 760;
/** The past is fetched in pieces of so many seconds. */
const FETCH_SECONDS = 60;
/** A state message's last index may lag behind the frames by less than this. */
const BACK_SECONDS = 3;
/** Changes of span or seconds that follow each other so fast are undone together. */
const ONE_CHANGE_MS = 1000;

const store = new Store();
const undo = new History();
const sending = new Sending({ history: undo, put: api.path, received: (channel) => channels()[channel]?.path });
const loop = new FrameLoop();
const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
/** @type {Rings|null} */
let rings = null;
/** @type {BeatList[]} */
let beats = [];
/** @type {Probe[]} */
let probes = [];
let probesFor = "";
let epoch = -1;
let lastFrameAt = performance.now();
let lastAgeMs = 0;
/** How old the sample at the paper's edge was when it was painted, milliseconds since it arrived in the program. */
const edgeAges = new Float64Array(600);
let paintings = 0;
let backfilling = false;
/** Raised when what is held is asked for once more: what was asked for before is of another unit. */
let anew = 0;
/** How the trace is looked at. @type {Look} */
let look = { secondsAcross: 10, overlaid: false, scales: {} };
/** The newest change of it that can be undone. @type {import("./store.js").Change|null} */
let lookChange = null;
let lookAt = 0;
/** It is being put, not changed by a person. */
let restoring = false;
let zooms = 0;

// --- words ------------------------------------------------------------------

for (const [where, what, text] of words.page) {
  const e = document.querySelector(where);
  if (!(e instanceof HTMLElement)) continue;
  if (what === "text") e.textContent = text;
  else e.setAttribute(what, text);
}

// --- theme ----------------------------------------------------------------

const darkQuery = window.matchMedia("(prefers-color-scheme: dark)");
const contrastQuery = window.matchMedia("(prefers-contrast: more)");
/** @type {"light"|"dark"|""} */
let themeChoice = prefs.get("theme", /** @type {"light"|"dark"|""} */ (""));

function isDark() {
  return themeChoice ? themeChoice === "dark" : darkQuery.matches;
}

function applyTheme() {
  theme.strong = contrastQuery.matches;
  theme.palette = theme.strong ? (isDark() ? DARK_STRONG : LIGHT_STRONG) : isDark() ? DARK : LIGHT;
  document.documentElement.dataset.theme = isDark() ? "dark" : "light";
  setText(byId("theme"), isDark() ? words.theme.light : words.theme.dark);
  repaint();
}

// --- saying things ----------------------------------------------------------

const announce = spaced((/** @type {string} */ text) => {
  byId("live-region").textContent = text;
}, ANNOUNCE_GAP_MS);

/** @param {string} text "" takes the banner away */
function problem(text) {
  store.dispatch({ type: "problem", text });
}

/** @param {unknown} e */
function failed(e) {
  problem(e instanceof Error ? e.message : String(e));
}

// --- panels -----------------------------------------------------------------

const audio = new AudioInput({ changed: showAudio });
const port = new BoardPort({ changed: showPort });
const cautions = new Cautions();
byId("cautions-open").after(" ", cautions.said, " ", cautions.person);
const picker = new SourcePicker({ opened: (_, told = "") => problem(told), mayOpen: (a) => cautions.mayOpen(a), audio, port, state: () => store.state.server });
const reading = new ReadingPanel(byId("reading"), { announce, still });
const playback = new PlaybackPanel(byId("playback"), { problem });
const scaleDialog = new ScaleDialog({ set: changeScales });

const trace = new TracePanel(byId("trace"), {
  loop,
  turns: still,
  announce,
  addNote: (text, index) => api.note(text, index).then(() => {
    problem("");
    return true;
  }, (e) => {
    failed(e);
    return false;
  }),
  scalesChanged: (scales) => {
    prefs.set("scales " + address(), scales);
    lookChanged("range", { ...look, scales });
  },
  viewChanged: (what) => {
    prefs.set("view " + address(), what);
    lookChanged(what.overlaid === look.overlaid ? W.secondsAcross : "overlay", { ...look, ...what });
  },
  painted: (head) => {
    if (!rings) return;
    edgeAges[paintings++ % edgeAges.length] = lastAgeMs + performance.now() - lastFrameAt + ((rings.end - head) / trace.view.rateHz) * 1000;
  },
  calibrate: () => calibrate.show(),
  save: () => save(),
  sheet: () => sheet(),
  paper: { mmPerSecond: 25, mmPerVolt: 0, ...prefs.get("paper", {}), on: false },
  paperChanged: (what) => prefs.set("paper", what),
});
const calibrate = new CalibrateDialog({ measured: (mm) => trace.mm.setScreen(mm) });
trace.mm.setScreen(screenMm());
const save = () => saveTrace(trace, sourceName(), store.state.server?.t0 ?? "");
const sheet = () => tracePaper(trace, () => store.state.server && { server: store.state.server, channel: path.channel, report: store.state.meters[path.channel], rate: reading.words() });

/** @type {BoardModel} */
const board = new BoardModel({ channel: () => path.channel, problem });
/** @type {PathPanel} */
const path = new PathPanel(byId("path"), {
  board,
  openParts: () => drawers?.open("parts"),
  chooseChannel: () => {
    showReading(store.state);
    board.changed(store.state);
  },
  setPath: changePath,
  pathNow: (channel) => sending.now(channel),
  setKind: changeKind,
  setPreset: changePreset,
  toggleProbe: setProbe,
  openScale,
  openSource: () => picker.show(),
  undo: () => stepBack(),
  redo: () => stepForward(),
  response: (channel, points) => api.response(channel, points),
});

const watchOnly = new WatchOnly({ follow: () => show.show() });
/** @type {ShowView} */
const show = new ShowView({
  loop,
  still,
  rings: () => rings,
  beats: () => beats,
  channel: () => trace.lanes[trace.selected]?.probe.channel ?? path.channel,
  channels,
  gaps: () => trace.gaps,
  scale: () => ({ rateHz: trace.view.rateHz, secondsAcross: trace.view.secondsAcross, epoch, ageMs: lastAgeMs }),
  reading: () => store.state.readings[showChannel()],
  report: () => store.state.meters[showChannel()],
  announce,
  source: () => ({ name: store.state.server?.source?.name ?? "", address: address(), invented: invented(), wired: cautions.wired && owner(), owner: owner(), recording: !!store.state.server?.recording, problem: store.state.problem, away: statusWords(), lost: store.state.connection === "lost" ? store.state.connectionText : "" }),
  offered: (offered) => watchOnly.offer(offered),
  // What lies behind it is not painted.
  changed: (open) => (open ? loop.remove(trace) : loop.add(trace)),
});
const guide = new Guide(byId("guide"), {
  openSource: () => picker.show(),
  openSketch: () => picker.showSketch(),
  openScale: () => openScale(path.channel),
  preset: (kind) => void changePreset(path.channel, kind),
  openCheck: () => drawers?.open("check"),
  changed: () => loop.allDirty(),
});

/** The channel of the show view or of the chosen trace. */
function showChannel() {
  if (show.open) return show.channel;
  return trace.lanes[trace.selected]?.probe.channel ?? path.channel;
}

/** @type {DrawerHost|null} */
let drawers = null;
drawers = new DrawerHost(byId("drawer"), DRAWERS, {
  buttons: byId("drawer-buttons"),
  pathButtons: path.tools ?? byId("path"),
  loop,
  opened: () => {
    if (document.body.classList.contains("with-drawer") && window.innerWidth <= NARROW_CSS) byId("trace").scrollIntoView();
    loop.allDirty();
  },
  context: {
    store,
    rings: () => rings,
    beats: () => beats,
    channel: () => path.channel,
    trace,
    openScale,
    audio,
    board,
    announce,
    problem,
  },
});

/** @param {import("./audio-input.js").InputState} s */
function showAudio(s) {
  showSending("audio-state", s);
  drawers?.changed(store.state);
}

/** @param {import("./board-port.js").PortState} s */
function showPort(s) {
  showSending("port-state", s);
}

/**
 * @param {string} id
 * @param {{state: string, text: string, warning: string}} s
 */
function showSending(id, s) {
  const e = byId(id);
  const text = s.text + (s.warning ? " " + s.warning : "");
  e.hidden = text === "";
  e.classList.toggle("warning", s.warning !== "" || s.state === "lost");
  setText(e, text);
  if (s.state === "lost") announce(s.text);
}

board.subscribe(() => {
  const scale = channels()[board.channel]?.scale;
  const seen = board.ghosted && scale ? board.look : null;
  trace.setGhost(seen?.ghost ? { channel: board.channel, first: seen.first, values: asShown(seen.ghost.volts, scale) } : null);
});

/** Once: a page loaded anew goes on with the sound it was sending. */
const unwatch = store.subscribe((state) => {
  if (!state.server) return;
  unwatch();
  if (owner() && state.server.status === "waiting" && address().startsWith("sound:browser")) audio.resume().catch(failed);
  if (owner() && state.server.status === "waiting" && address().startsWith("serial:browser")) port.resume().catch(failed);
});

watchRecording(store, () => rings?.end ?? 0);
takeDrops(() => store.state.owner, () => {
  if (drawers?.openId !== "recordings") drawers?.open("recordings");
});

/**
 * The lowest and highest count held of a channel whose scale nobody said.
 * @param {number} channel
 */
function countsSeen(channel) {
  const c = channels()[channel];
  if (!rings || !c || c.unit !== "counts" || c.scale.gain !== 1 || c.scale.invert) return null;
  let low = Infinity, high = -Infinity;
  for (const v of rings.ring(channel, 0)) {
    if (v < low) low = v;
    if (v > high) high = v;
  }
  return high >= low ? { low, high } : null;
}

function channels() {
  return store.state.server?.channels ?? [];
}

function address() {
  return store.state.server?.source?.address ?? "";
}

/** Nobody measured it: a demo, or a recording of one. */
function invented() {
  return store.state.server?.source?.invented === true;
}

/** For pictures and files: with the tag of what is invented. */
function sourceName() {
  const name = store.state.server?.source?.name ?? "";
  return invented() ? `${words.INVENTED} ${name}` : name;
}

function owner() {
  return store.state.server?.owner !== false;
}

// --- how the trace is looked at, with undo -------------------------------------

/** @typedef {{secondsAcross: number, overlaid: boolean, scales: Record<string, {span: number, middle: number}>}} Look */

/** @param {Look} next */
async function putLook(next) {
  restoring = true;
  trace.setSeconds(next.secondsAcross);
  trace.setOverlaid(next.overlaid);
  trace.setScales(next.scales);
  restoring = false;
  look = next;
}

/**
 * Takes down what a person changed. What follows at once, as when a key is held down,
 * is one change with what came before. A zoom has its own way back.
 * @param {string} label
 * @param {Look} next
 */
function lookChanged(label, next) {
  const before = look;
  look = next;
  const zoomed = trace.zoom.list.length !== zooms;
  zooms = trace.zoom.list.length;
  if (restoring || zoomed || JSON.stringify(before) === JSON.stringify(next)) return;
  const now = performance.now();
  const last = undo.done[undo.done.length - 1];
  if (last && last === lookChange && last.label === label && now - lookAt < ONE_CHANGE_MS) {
    undo.undone.length = 0;
    last.redo = () => putLook(next);
  } else {
    lookChange = { label, undo: () => putLook(before), redo: () => putLook(next) };
    undo.record(lookChange);
  }
  lookAt = now;
  showHistory();
}

// --- settings, with undo -------------------------------------------------------

/** @param {import("./path/sending.js").Edit} edit */
async function changePath(edit) {
  try {
    await sending.change(edit);
    problem("");
  } catch (e) {
    failed(e);
    showPath(store.state);
  }
  showHistory();
}

/**
 * @param {number} channel
 * @param {Kind} kind
 */
async function changeKind(channel, kind) {
  await putKind(channel, W.kindOfSignal, () => api.kind(channel, kind));
}

/**
 * @param {number} channel
 * @param {Kind} kind
 */
async function changePreset(channel, kind) {
  const chest = kind === "ecg";
  if (await putKind(channel, chest ? W.pathForAChest : W.pathForAFinger, () => api.preset(channel, kind))) announce(chest ? W.setForAChest : W.setForAFinger);
}

/**
 * @param {number} channel
 * @param {string} label
 * @param {() => Promise<Channel>} ask for a kind with its path
 * @returns {Promise<boolean>} whether it was done
 */
async function putKind(channel, label, ask) {
  const put = async () => sending.took(channel, (await ask()).path);
  try {
    await undo.make(async () => {
      const kind = channels()[channel]?.kind, before = sending.settled(channel);
      if (!kind || !before) return null;
      await put();
      return { label, undo: async () => {
        await api.kind(channel, kind);
        await sending.put(channel, before);
      }, redo: put };
    });
    problem("");
    return true;
  } catch (e) {
    failed(e);
    showPath(store.state);
    return false;
  } finally {
    showHistory();
  }
}

/** @param {number} channel */
function openScale(channel) {
  if (channels()[channel]) scaleDialog.show(channel, channels(), countsSeen(channel));
}

/** @param {import("./scale-dialog.js").ScaleOf[]} scales */
async function changeScales(scales) {
  const now = async () => (await api.state()).channels.map((c) => c.scale);
  await undo.make(async () => {
    const before = await now();
    /** @type {ScaleSettings[]} */
    const after = [];
    for (const { channel, scale } of scales) {
      const { couplingHz, couplingFloorHz } = before[channel]; // measured, maybe while the dialog was open
      after[channel] = (await api.scale(channel, { ...scale, couplingHz, couplingFloorHz })).scale;
    }
    const back = async (/** @type {ScaleSettings[]} */ from, /** @type {ScaleSettings[]} */ to) => {
      const current = await now();
      for (const { channel } of scales) await api.scale(channel, takenBack(current[channel], from[channel], to[channel]));
    };
    return { label: "scale", undo: () => back(before, after), redo: () => back(after, before) };
  });
  problem("");
  showHistory();
}

async function stepBack() {
  try {
    const what = await undo.undo();
    if (what) announce(W.undone(what));
  } catch (e) {
    failed(e);
  }
  showHistory();
}

async function stepForward() {
  try {
    const what = await undo.redo();
    if (what) announce(W.doneAgain(what));
  } catch (e) {
    failed(e);
  }
  showHistory();
}

function showHistory() {
  path.showHistory(undo.done.length > 0, undo.undone.length > 0);
}

/** @param {Probe} probe */
function setProbe(probe) {
  const next = toggleProbe(probes, probe);
  if (!next) {
    problem(W.allProbesAreInUse(MOST_PROBES));
    return;
  }
  const before = probes;
  const put = async (/** @type {Probe[]} */ list) => {
    probes = list;
    prefs.set("probes " + address(), probes);
    showTrace();
    showPath(store.state);
  };
  void put(next);
  undo.record({ label: next.length > before.length ? W.probeSet : W.probeRemoved, undo: () => put(before), redo: () => put(next) });
  showHistory();
}

// --- stream ---------------------------------------------------------------------

/** @param {Frame} frame */
function takeFrame(frame) {
  const server = store.state.server;
  if (!server || frame.epoch !== server.epoch) return;
  if (!rings || rings.channels !== frame.channels || rings.points !== frame.points || rings.capacity < ringCapacity(frame.rateHz, frame.channels * frame.points) * 0.7) {
    rings = new Rings(frame.channels, frame.points, ringCapacity(frame.rateHz, frame.channels * frame.points));
    showTrace();
  }
  rings.push(frame);
  if (!frame.history) {
    lastFrameAt = performance.now();
    lastAgeMs = frame.ageMs;
  }
  trace.push(frame);
  show.push();
  drawers?.push(frame);
}

/** @param {Message} m */
function takeMessage(m) {
  // Indices that went back are another run of a recording with one and the same t0.
  const wentBack = rings !== null && m.type === "state" && m.lastIndex < rings.end - BACK_SECONDS * trace.view.rateHz;
  if (m.type === "state" && (wentBack || !sameRun(store.state.server, m))) newEpoch(m.epoch);
  if (m.type === "beats" && m.epoch === epoch && m.beats) takeBeats(m);
  if (m.type === "dropped") {
    repair();
    return;
  }
  if (m.type === "presenter") show.present.take(m);
  store.dispatch(m);
  drawers?.message(m);
}

/** @param {number} next */
function newEpoch(next) {
  epoch = next;
  rings = null;
  beats = [];
  probesFor = "";
  undo.clear();
  sending.clear();
  trace.clear();
  trace.gaps = [];
  trace.holes = [];
  trace.show(null, [], [], {});
  showHistory();
}

/** @param {Message & {type: "beats"}} m */
function takeBeats(m) {
  const arrived = performance.now();
  const known = beats[m.channel]?.last();
  (beats[m.channel] ??= new BeatList()).add(m.beats);
  trace.beats = beats;
  loop.dirty(trace);
  const last = m.beats[m.beats.length - 1];
  const news = last && (!known || last.sample > known.sample);
  if (news && m.channel === showChannel()) show.beat(last.sample, arrived);
  if (m.channel === path.channel && last && rings && (!known || last.sample > known.sample) && last.sample > rings.end - 3 * trace.view.rateHz) reading.beat();
}

/** Fetches what this page missed, so that a slow moment leaves no hole. */
async function repair() {
  if (!rings || backfilling) return;
  const r = rings;
  const hole = findHole(r);
  if (!hole) return;
  trace.holes = [hole];
  await fetchPast(hole.index, hole.index + hole.samples);
  if (rings === r) trace.holes = findHole(r) ? trace.holes : [];
}

/**
 * The newest stretch of the last minute without values that is not a known gap.
 * @param {Rings} r
 */
function findHole(r) {
  const from = Math.max(r.start, Math.floor(r.end - 60 * trace.view.rateHz));
  const ring = r.ring(0, 0);
  let to = -1;
  for (let i = r.end - 1; i >= from; i--) {
    const missing = Number.isNaN(ring[i % r.capacity]) && !trace.gaps.some((g) => i >= g.index && i < g.index + g.samples);
    if (missing && to < 0) to = i + 1;
    if (!missing && to >= 0) return { index: i + 1, samples: to - i - 1, reason: "" };
  }
  return null;
}

/**
 * @param {number} from
 * @param {number} to
 */
async function fetchPast(from, to) {
  const of = anew;
  backfilling = true;
  try {
    const buffer = await api.history(Math.floor(from), Math.ceil(to));
    if (of !== anew) return;
    for (const frame of decodeFrames(buffer)) if (frame.epoch === epoch) takeFrame({ ...frame, history: true });
  } catch (e) {
    failed(e);
  } finally {
    if (of === anew) backfilling = false;
  }
}

/**
 * Whether a channel's scale changed, so that its past is in another unit now.
 * @param {Channel[]} before
 * @param {Channel[]} now
 */
function rescaled(before, now) {
  return now.some((c, i) => before[i] && JSON.stringify(c.scale) !== JSON.stringify(before[i].scale));
}

/** What is held is asked for once more. */
async function readAnew() {
  const of = ++anew;
  const to = rings?.end ?? (store.state.server?.lastIndex ?? -1) + 1;
  rings = null;
  await fetchPast(Math.max(0, to - FETCH_SECONDS * trace.view.rateHz), to);
  if (of === anew) await fillPast();
}

/** After connecting: the beats of the minutes kept, then the samples before the first minute, piece by piece. */
async function fillPast() {
  const of = epoch, unit = anew;
  const server = store.state.server;
  if (!server || backfilling) return;
  try {
    const answer = await api.beats(0, server.lastIndex + 1);
    if (answer.epoch !== epoch || unit !== anew) return;
    (answer.channels ?? []).forEach((list, channel) => (beats[channel] ??= new BeatList()).add(list ?? []));
    trace.beats = beats;
  } catch {
    // The marks of the past are a convenience; live ones come by the stream.
  }
  for (let pieces = 0; pieces < 12; pieces++) {
    const r = rings;
    if (!r || of !== epoch || unit !== anew || r.start <= 0) return;
    const before = r.start;
    await fetchPast(Math.max(0, r.start - FETCH_SECONDS * trace.view.rateHz), r.start);
    if (r.start >= before) return;
  }
}

const scheme = location.protocol === "https:" ? "wss" : "ws";
const stream = new Stream(`${scheme}://${location.host}/api/v1/stream${location.search}`, {
  frame: takeFrame,
  message: takeMessage,
  status: (status, text) => {
    store.dispatch({ type: "connection", status, text });
    if (status === "lost") show.present.forget();
    if (status === "open") window.setTimeout(fillPast, 1200);
  },
  lost: (frames) => {
    store.dispatch({ type: "lost", frames });
    window.setTimeout(repair, 300);
  },
});

// --- showing the state ------------------------------------------------------------

store.subscribe((state, before) => {
  if (state.server !== before.server) {
    const server = state.server;
    if (server && trace.gaps !== server.gaps) {
      trace.gaps = server.gaps;
      trace.notes = server.notes ?? [];
      loop.dirty(trace);
    }
    if (server && trace.notes !== server.notes) {
      trace.notes = server.notes ?? [];
      loop.dirty(trace);
    }
    if (server && before.server && sameRun(before.server, server) && rescaled(before.server.channels, server.channels)) void readAnew();
    if (server?.channels !== before.server?.channels) showTrace();
    showPath(state);
    showSource(state);
    playback.update(server, owner());
    considerCautions();
  }
  if (state.readings !== before.readings || state.meters !== before.meters || state.server !== before.server || state.connection !== before.connection || state.problem !== before.problem) showReading(state);
  if (state.text !== before.text || state.server?.health !== before.server?.health) showBoard(state);
  watchOnly.update(owner(), isLive(address()));
  guide.update(state.server, channels()[path.channel], state.readings[path.channel], owner());
  showBanner(state);
  showStatus(state);
  drawers?.changed(state);
});

function showTrace() {
  const list = channels();
  const here = `${epoch} ${address()} ${list.length}`;
  if (probesFor !== here && list.length > 0) {
    probes = restoreProbes(prefs.get("probes " + address(), /** @type {unknown} */ (null)), list.length);
    probesFor = here;
    const view = prefs.get("view " + address(), { secondsAcross: 10, overlaid: false });
    restoring = true;
    trace.setSeconds(view.secondsAcross);
    trace.setOverlaid(view.overlaid === true);
    restoring = false;
    look = { secondsAcross: trace.view.secondsAcross, overlaid: trace.overlaid, scales: prefs.get("scales " + address(), {}) };
  }
  trace.beats = beats;
  trace.show(rings, list, probes, prefs.get("scales " + address(), {}));
}

/** @param {PageState} state */
function showPath(state) {
  path.update(state.server, probes, owner());
  board.changed(state);
}

/** @param {PageState} state */
function showReading(state) {
  const r = state.readings[path.channel];
  const c = state.server?.channels[path.channel];
  const silent = !!r && r.state !== "reading" && r.state !== "off";
  const hint = silent ? wireHint(state.meters[path.channel]) : "";
  reading.show(r && hint ? { ...r, reason: hint } : r, c, state.meters[path.channel], (state.server?.channels.length ?? 0) > 1);
  path.showReading(r);
  show.showReading();
}

/**
 * A sentence without the source's name in front, which stands beside it.
 * @param {string} text
 * @param {string} name
 */
function withoutName(text, name) {
  const head = name.split(",")[0] + ": ";
  const at = text.indexOf(head);
  return at >= 0 ? text.slice(at + head.length) : text;
}

/** Why the source does not run, "" when it does. */
function statusWords() {
  const server = store.state.server;
  if (!server || server.status === "running") return "";
  if (server.statusText && server.statusText !== server.status) return sentence(withoutName(server.statusText, server.source?.name ?? ""));
  return words.status[server.status] || server.status;
}

/** Who says the rate that was not measured. @param {import("./wire.js").Info | undefined} source */
function saidRate(source) {
  if (new URLSearchParams(source?.address.split("?")[1]).has("rate")) return W.saidBySetting;
  if (source?.address.startsWith("sound:")) return W.saidBySound;
  return source?.columns?.some((c) => c.use === "clock") ? W.saidByClock : W.saidByBoard;
}

/** @param {PageState} state */
function showSource(state) {
  const server = state.server;
  if (!server) return;
  setText(byId("source-name"), server.source?.name || W.noSource);
  byId("source-invented").hidden = !invented();
  document.title = server.source?.name ? W.pulsewright(sourceName()) : W.pulsewright2;
  setText(byId("source-status"), statusWords());
  const clock = server.clock;
  const e = byId("clock");
  const used = clock?.usedRateHz || server.sourceRateHz;
  if (!(used > 0)) setText(e, W.measuringTheSampleRate);
  else if (clock?.measuredRateHz > 0 && !clock.exact) {
    const unsure = clock.uncertaintyHz > 0 ? ` ± ${significant(clock.uncertaintyHz, 1)}` : "";
    setText(e, W.measured(rate(clock.measuredRateHz), unsure, clock.claimedRateHz > 0 ? saidRate(server.source)(rate(clock.claimedRateHz)) : ""));
  } else setText(e, W.sampleRate(rate(used)));
  const warning = clock?.doubt ? sentence(clock.doubt) : clock?.warning ?? "";
  const w = byId("clock-warning");
  setText(w, warning);
  w.title = warning; // where there is no room for all of it
  w.hidden = warning === "";
  document.body.dataset.status = server.status;
}

/** @param {PageState} state */
function showBoard(state) {
  const health = state.server?.health;
  const last = state.text[state.text.length - 1];
  setText(byId("board-text"), last ?? W.nothingButNumbersSoFar);
  const bad = health?.unreadable ?? 0;
  setText(byId("board-unreadable"), bad > 0 ? W.unreadable(bad.toLocaleString("en"), bad === 1 ? "line" : "lines") : "");
  byId("board-text").classList.toggle("silent", !last);
}

/** @param {PageState} state */
function showBanner(state) {
  const banner = byId("banner");
  const text = state.connection === "lost" ? state.connectionText : state.problem;
  banner.hidden = text === "";
  setText(byId("banner-text"), text);
  byId("banner-close").hidden = state.connection === "lost";
  banner.classList.toggle("lost", state.connection === "lost");
}

/** @param {PageState} state */
function showStatus(state) {
  const gone = state.server?.status === "waiting" || state.server?.status === "failed";
  const text = state.connection === "open" ? (!state.server ? W.connectedWaiting : gone ? W.connectedNoSource : "connected") : state.connection === "connecting" ? "connecting …" : W.notConnected;
  setText(byId("connection"), text);
  byId("connection").dataset.connection = state.connection;
  setText(byId("dropped"), state.dropped > 0 ? W.framesLostByThisPage(state.dropped.toLocaleString("en")) : "");
}

function considerCautions() {
  const server = store.state.server;
  if (server) cautions.consider({ address: address(), status: server.status, electrodes: server.channels.some((c) => c.kind === "ecg"), owner: owner() });
}

/** Twice a second: ages, measures, positions. */
function slowTick() {
  if (document.hidden) return;
  const now = performance.now();
  const server = store.state.server;
  const silent = now - lastFrameAt;
  const expected = server?.status === "running" && !playback.atEnd;
  const stale = !!server && !!rings && silent > STALE_AFTER_MS && (expected || store.state.connection !== "open" || server.status === "waiting");
  trace.setStale(stale ? W.nothingHasArrivedFor(wholeSeconds(silent / 1000)) : "");
  if (stale) {
    reading.age(silent);
    path.showReading(undefined);
  } else reading.root.classList.remove("old");
  show.showReading();
  path.measure(rings);
  if (rings) playback.tick(rings.end);
  considerCautions();
}
window.setInterval(slowTick, SLOW_TICK_MS);

// --- keys ---------------------------------------------------------------------------

const keys = new Keys([
  { title: W.paper, keys: [
    { key: " ", shown: "space", what: W.freezeOrGoOn, run: () => trace.toggleFreeze() },
    { key: "ArrowLeft", shown: "← →", what: W.scrollBackAndForth, run: () => trace.scrollBy(-trace.view.samplesAcross / 10) },
    { key: "ArrowRight", shown: "", what: "", run: () => trace.scrollBy(trace.view.samplesAcross / 10) },
    { key: "PageUp", shown: W.pgUpPgDn, what: W.aPageBackAndForth, run: () => trace.scrollBy(-trace.view.samplesAcross) },
    { key: "PageDown", shown: "", what: "", run: () => trace.scrollBy(trace.view.samplesAcross) },
    { key: "Home", shown: W.home, what: W.theOldestThatIsKept, run: () => trace.scrollBy(-Infinity) },
    { key: "End", shown: W.end, what: W.backToLive, run: () => trace.live() },
    { key: "+", shown: "+ −", what: W.fewerOrMoreSecondsAcross, run: () => trace.setSeconds(stepSeconds(trace.view.secondsAcross, -1)) },
    { key: "-", shown: "", what: "", run: () => trace.setSeconds(stepSeconds(trace.view.secondsAcross, 1)) },
  ] },
  { title: W.traces, keys: [
    { key: "ArrowUp", shown: "↑ ↓", what: W.chooseATrace, run: () => trace.selectNext(-1) },
    { key: "ArrowDown", shown: "", what: "", run: () => trace.selectNext(1) },
    { key: "[", shown: "[ ]", what: W.smallerOrLargerRange, run: () => trace.stepSpan(-1) },
    { key: "]", shown: "", what: "", run: () => trace.stepSpan(1) },
    { key: ",", shown: ", .", what: W.moveItDownOrUp, run: () => trace.shiftSelected(0.1) },
    { key: ".", shown: "", what: "", run: () => trace.shiftSelected(-0.1) },
    { key: "a", shown: "a", what: W.automaticRanges, run: () => trace.autoAll() },
    { key: "o", shown: "o", what: W.layTracesOverEachOther, run: () => trace.setOverlaid(!trace.overlaid) },
    { key: "c", shown: "c", what: W.twoCursorsOnACursor, run: () => trace.toggleCursors() },
    { key: "n", shown: "n", what: W.writeANote, run: () => trace.toolbar.note.click() },
    { key: "z", shown: "z", what: W.zoomBetweenTheCursorsOr, run: () => trace.zoom.key() },
    { key: "Z", shown: W.shiftZ, what: W.zoomOut, run: () => trace.zoom.out() },
    { key: "m", shown: "m", what: W.trueMillimetres25MmS, run: () => trace.mm.set({ on: !trace.paper.on }) },
    { key: "e", shown: "e", what: W.saveThisView, run: save },
    { key: "P", shown: W.shiftP, what: W.aHandoutOrALab, run: sheet },
  ] },
  { title: W.path, keys: [
    ...[0, 1, 2, 3, 4].map((point) => ({ key: String(point + 1), shown: point === 0 ? "1 … 5" : "", what: W.setOrRemoveAProbe, run: () => setProbe({ channel: path.channel, point }) })),
    { key: "Tab", shown: "", what: "", run: () => {} },
    { key: "x", shown: "x", what: W.nextChannel, run: () => path.choose(path.channel + 1) },
    { key: "d", shown: "d", what: W.foldThePathAwayAnd, run: () => path.fold(!path.folded) },
    { key: "Ctrl+z", shown: W.ctrlZ, what: W.undoASetting, run: stepBack },
    { key: "Ctrl+Shift+z", shown: W.ctrlShiftZ, what: W.redoIt, run: stepForward },
    { key: "Ctrl+y", shown: "", what: "", run: stepForward },
  ].filter((k) => k.key !== "Tab") },
  { title: W.page, keys: [
    { key: "s", shown: "s", what: W.chooseASource, run: () => {
      if (owner()) picker.show();
    } },
    { key: "w", shown: "w", what: W.showViewForARoom, run: () => show.show() },
    { key: "t", shown: "t", what: W.lightOrDarkGround, run: toggleTheme },
    { key: "h", shown: "h", what: W.theFirstSteps, run: () => guide.toggle() },
    ...DRAWERS.map((d) => ({ key: d.key, shown: d.key, what: d.title + " drawer", run: () => drawers?.toggle(d.id) })),
    { key: "Escape", shown: W.esc, what: W.closeTheDrawer, run: () => drawers?.close() },
    { key: "?", shown: "?", what: W.thisList, run: () => keys.showHelp() },
  ] },
  { title: W.inTheShowView, keys: showKeys() },
]);

function toggleTheme() {
  themeChoice = isDark() ? "light" : "dark";
  prefs.set("theme", themeChoice);
  applyTheme();
}

byId("source-open").addEventListener("click", () => picker.show());
byId("show-open").addEventListener("click", () => show.show());
byId("theme").addEventListener("click", toggleTheme);
byId("help").addEventListener("click", () => keys.showHelp());
byId("cautions-open").addEventListener("click", () => cautions.show());
byId("board-open").addEventListener("click", () => drawers?.toggle("board"));
byId("banner-close").addEventListener("click", () => problem(""));
darkQuery.addEventListener("change", applyTheme);
contrastQuery.addEventListener("change", applyTheme);
window.addEventListener("beforeprint", () => {
  document.documentElement.dataset.theme = "light"; // paper is white whatever the screen is
  toPaper();
  // A handout and a lab sheet are one page, which says it itself.
  if (document.querySelector(".print-sheet")) return;
  const read = document.querySelector("#help-dialog[open], #glossary-dialog[open], #cautions-dialog[open]");
  const view = document.querySelector("dialog.compare-view[open]") ?? document.querySelector("dialog.review[open]");
  noFoot = pageFoot(!read && (view ? view.hasAttribute("data-invented") : invented()) ? `${words.INVENTED} · ${words.AID}` : words.AID);
});
let noFoot = () => {};
window.addEventListener("afterprint", () => {
  noFoot();
  noFoot = () => {};
  trace.printTrue = false;
  fromPaper();
  applyTheme();
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) loop.allDirty();
});

applyTheme();
stream.connect();
if (asksForShow(location.search)) show.show();

/** For tests and the curious: what the page is doing. */
const pulsewright = {
  stats: () => ({
    ...loop.stats(),
    dropped: store.state.dropped,
    lastIndex: rings ? rings.end : 0,
    firstIndex: rings ? rings.start : 0,
    epoch,
    rateText: reading.text(),
    state: store.state.readings[path.channel]?.state ?? "",
    roundTripMs: stream.roundTripMs,
    ageMs: lastAgeMs,
    probes: probes.map((p) => ({ ...p })),
    channel: path.channel,
    channels: channels().map((c) => ({ kind: c.kind, path: c.path, scale: c.scale })),
    playback: store.state.server?.playback ?? null,
    notes: store.state.server?.notes?.length ?? 0,
    cursors: { on: trace.cursors.on, a: trace.cursors.a, b: trace.cursors.b },
    overlaid: trace.overlaid,
    edgeAgeMs: [0.5, 0.99].map((q) => quantile([...edgeAges.subarray(0, paintings)].sort((a, b) => a - b), q)),
    settings: { done: undo.done.length, undone: undo.undone.length },
    beats: beats.map((b) => b?.beats.length ?? 0),
    shownEnd: trace.view.end,
    ghost: trace.ghost?.values.length ?? 0,
    held: trace.view.held,
    show: show.stats(),
    secondsAcross: trace.view.secondsAcross,
    zooms: trace.zoom.list.length,
    paper: { ...trace.paper, mmPerPx: trace.mm.perCss / trace.ratio, widthPx: trace.view.widthPx, measured: trace.mm.perDevicePx > 0 },
    ranges: trace.lanes.map((l) => ({ channel: l.probe.channel, point: l.probe.point, low: l.low, high: l.high, unit: l.unit, heightPx: l.height * trace.ratio, topPx: l.top * trace.ratio })),
    leftPx: trace.left * trace.ratio,
  }),
  /**
   * A sample as the page holds it.
   * @param {number} channel
   * @param {number} point
   * @param {number} index
   */
  sample: (channel, point, index) => rings?.at(channel, point, index) ?? NaN,
  /** Samples without a value in [from, to) of a point. @param {number} channel @param {number} point @param {number} from @param {number} to */
  missing: (channel, point, from, to) => {
    let n = 0;
    for (let i = from; i < to; i++) if (Number.isNaN(rings?.at(channel, point, i) ?? NaN)) n++;
    return n;
  },
  choices: SECONDS_ACROSS,
};
Object.assign(window, { pulsewright });
