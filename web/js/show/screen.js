// The whole screen, and a screen that does not go dark, where the browser can.

export class Screen {
  /** @param {(full: boolean) => void} changed */
  constructor(changed) {
    /** @type {WakeLockSentinel|null} */
    this.lock = null;
    this.wanted = false;
    document.addEventListener("fullscreenchange", () => changed(document.fullscreenElement !== null));
    document.addEventListener("visibilitychange", () => void this.#ask());
  }

  /** Whether the browser can keep the screen from going dark. */
  static get staysOn() {
    return "wakeLock" in navigator;
  }

  /** @param {boolean} wanted */
  keepOn(wanted) {
    this.wanted = wanted;
    if (wanted) void this.#ask();
    else {
      void this.lock?.release().catch(() => {});
      this.lock = null;
    }
  }

  async #ask() {
    if (!this.wanted || document.hidden || !Screen.staysOn || (this.lock && !this.lock.released)) return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      if (this.wanted) this.lock = lock;
      else await lock.release();
    } catch {
      // Refused, as with a low battery: the screen goes dark as it is set to.
    }
  }

  /** @returns {Promise<boolean>} whether it could */
  async toggleFull() {
    try {
      if (document.fullscreenElement) await document.exitFullscreen();
      else await document.documentElement.requestFullscreen();
      return true;
    } catch {
      return false;
    }
  }

  leaveFull() {
    if (document.fullscreenElement) void document.exitFullscreen().catch(() => {});
  }
}
