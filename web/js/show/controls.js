// The buttons of the Show view, and the keys for the list of keys.

import { button, h } from "../dom.js";
import { showControlsWords as W } from "../words.js";

/** @import {Key} from "../keys.js" */
/** @import {ShowView} from "../show.js" */

const MOST_LINE = 60;

export class Controls {
  /** @param {ShowView} show */
  constructor(show) {
    const toggle = (/** @type {string} */ id, /** @type {string} */ label, /** @type {() => unknown} */ action, /** @type {string} */ title) => button(id, label, () => void action(), { "aria-pressed": "false", title });
    this.follow = button("show-follow", W.lookAlone, () => show.present.look(!show.present.alone), { title: W.followOrAlone, hidden: true });
    this.freeze = toggle("show-freeze", W.freeze, () => show.toggleFreeze(), W.freezeTheTraceSpace);
    this.pointer = toggle("show-point", W.pointer, () => show.togglePointer(), W.aRingThatFollowsThe);
    this.sound = toggle("show-sound", W.beatSound, () => show.toggleSound(), W.aSoftTickAtEach);
    this.early = toggle("show-early", W.atOnce, () => show.toggleEarly(), W.soundsBeforeItIsConfirmed);
    this.early.hidden = true;
    this.raw = toggle("show-raw", W.raw, () => show.toggleRaw(), W.asMeasuredBeforeTheSignal);
    this.both = toggle("show-both", W.beforeAndAfter, () => show.toggleBoth(), W.rawAboveCleaned);
    this.channel = button("show-channel", W.nextSignal, () => show.nextChannel(), { title: W.theNextChannelX });
    this.traces = button("show-traces", W.traces, () => show.chooser.toggle(), { title: W.whichTraces });
    this.typical = toggle("show-typical", W.typicalBeat, () => show.toggleTypical(), W.theMeanOfBeats);
    this.ground = button("show-ground", "", () => show.toggleGround(), { title: W.lightOrDarkGroundT });
    this.full = toggle("show-full", W.fullScreen, () => show.toggleFull(), W.fullScreenF);
    this.join = button("show-join-open", W.join, () => show.join.toggle(), { title: W.howToJoinJ });
    this.present = toggle("show-present", W.present, () => show.togglePresent(), W.allWhoFollowSee);
    this.line = h("input", { type: "text", id: "show-line-input", class: "show-line-input", "data-testid": "show-line-input", maxlength: String(MOST_LINE), placeholder: W.aLineOfWords, "aria-label": W.aLineOfWords, hidden: true });
    this.line.addEventListener("input", () => show.shared());
    this.save = button("show-save", W.save, () => show.save(), { title: W.saveThisViewE });
    this.leave = button("show-leave", W.leave, () => show.leave(), { title: W.backToThePageEsc });
    this.root = h("div", { class: "show-controls", role: "toolbar", "aria-label": W.showView }, this.follow, this.freeze, this.pointer, this.sound, this.early, this.raw, this.both, this.channel, this.traces,
      this.typical, this.ground, this.full, this.save, this.join, this.present, this.line, this.leave);
  }
}

/** @param {HTMLButtonElement} b @param {boolean} on */
export function pressed(b, on) {
  b.setAttribute("aria-pressed", String(on));
}

/** For the list of keys. @returns {Key[]} */
export function showKeys() {
  return /** @type {[string, string][]} */ ([["space", W.freezeOrGoOn], ["p", W.aPointerForMouseFinger], ["m", W.aSoftTickAtEach2], ["r", W.asMeasuredOrCleaned], ["b", W.rawAboveCleaned2], ["n", W.theTypicalBeat], ["x", W.theNextChannel],
    ["t", W.lightOrDarkGround], ["+ −", W.fewerOrMoreSecondsAcross], ["← →", W.alongTheFrozenTrace], ["f", W.fullScreen2], ["j", W.howToJoin], ["g", W.presentToAll], ["a", W.followOrLookAlone], ["e", W.saveThisView], [W.esc, W.backToThePage]]).map(([shown, what]) => ({ key: "", shown, what, run: () => {} }));
}
