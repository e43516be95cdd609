//go:build !windows

package command

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// inShow opens a source in the Show view with the helpers of ready.
func inShow(t *testing.T, ctx context.Context, address string) {
	t.Helper()
	open(t, ctx, address)
	soon(t, ctx, "a reading", `window.pulsewright?.stats?.().state === "reading"`, 60*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click(); if (!S().show.open) press("show-open")`)
	soon(t, ctx, "the Show view", `S().show.open && at("show-rate").textContent !== "–"`, 10*time.Second)
}

func sized(t *testing.T, ctx context.Context, width, height int64) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height)); err != nil {
		t.Fatal(err)
	}
	time.Sleep(400 * time.Millisecond)
}

// TestShowIsReadFromTheBack measures the capitals that Chromium paints: a picture 1.2 m wide is
// read at 200 times their height, the rate at 30 m, words at 12 m, scales at 7 m. (200 times
// is an arc of 17', over three times the 5' of the letter that sharp eyes make out, ISO 8596.)
func TestShowIsReadFromTheBack(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	inShow(t, ctx, program(t, "demo:both?motion=0"))
	script(t, ctx, `press("show-both"); press("show-typical");
		window.capital = (font, sign) => { const c = document.createElement("canvas").getContext("2d"); c.font = font; return c.measureText(sign).actualBoundingBoxAscent; };
		window.metres = (px) => 200 * 1.2 * px / innerWidth;
		window.fontOf = (id) => { const s = getComputedStyle(at(id)); return s.fontWeight + " " + s.fontSize + " " + s.fontFamily; };
		window.inside = (e) => { const r = e.getBoundingClientRect(); return r.left >= -1 && r.right <= innerWidth + 1 && r.top >= -1 && r.bottom <= innerHeight + 1 && e.scrollWidth <= e.clientWidth + 2; }`)
	soon(t, ctx, "two lanes with their scales", `S().show.lanes.length === 2 && S().show.ranges.every((r) => r.low < r.high) && S().show.typical >= 3`, 20*time.Second)
	for _, size := range [][2]int64{{1024, 768}, {1280, 720}, {1280, 800}, {1600, 900}, {1920, 1080}} {
		sized(t, ctx, size[0], size[1])
		got := look[[]float64](t, ctx, `[metres(capital(fontOf("show-rate"), at("show-rate").textContent)), metres(capital(fontOf("show-state"), "H")), metres(capital(S().show.textPx + 'px system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif', "H")), at("show-trace").clientHeight / innerHeight]`)
		t.Logf("%d×%d: rate %.1f m, words %.1f m, scales %.1f m; traces %.0f %% of the height", size[0], size[1], got[0], got[1], got[2], 100*got[3])
		for i, want := range []float64{30, 12, 7, 0.5} {
			if got[i] < want {
				t.Errorf("%d×%d: %.2f, want at least %g", size[0], size[1], got[i], want)
			}
		}
		for _, id := range []string{"show-state", "show-label", "show-source"} {
			if !look[bool](t, ctx, fmt.Sprintf(`inside(at(%q))`, id)) {
				t.Errorf("%d×%d: %s is not wholly on the screen", size[0], size[1], id)
			}
		}
		// Three digits have room too.
		if !look[bool](t, ctx, `(() => { const e = at("show-rate"), was = e.textContent; e.textContent = "188"; at("show").style.setProperty("--digits", 3); const ok = inside(e) && inside(at("show-state")) && e.getBoundingClientRect().right <= at("show-state").getBoundingClientRect().left; e.textContent = was; at("show").style.setProperty("--digits", was.length); return ok })()`) {
			t.Errorf("%d×%d: a rate of three digits leaves no room for the words", size[0], size[1])
		}
		// Nothing moves when the buttons fade.
		if got := look[[]float64](t, ctx, `[true, false].map((idle) => { at("show").classList.toggle("idle", idle); return at("show-trace").getBoundingClientRect().height })`); got[0] != got[1] {
			t.Errorf("%d×%d: the traces are %.0f pixels high without the buttons and %.0f with them", size[0], size[1], got[0], got[1])
		}
		// The buttons, while they are seen, cover nothing of it.
		if !look[bool](t, ctx, `(() => { at("show").dispatchEvent(new PointerEvent("pointermove")); const c = document.querySelector(".show-controls").getBoundingClientRect(); return !at("show").classList.contains("idle") && c.bottom <= innerHeight + 1 && document.querySelector(".show-foot").getBoundingClientRect().bottom <= c.top + 1 && at("show-state").getBoundingClientRect().bottom <= c.top })()`) {
			t.Errorf("%d×%d: the buttons cover words, or lie outside", size[0], size[1])
		}
		picture(t, ctx, fmt.Sprintf("%d", size[0]))
		// The longest reason for no rate is read whole, above the foot, and leaves a trace.
		if !look[bool](t, ctx, `(() => {
			const put = {"show-rate": "–", "show-state": "Signal too small", "show-reason": "The beats are smaller than 0.15 mV: better contact of the electrodes, another place for them, and say the gain of the board."};
			const was = Object.keys(put).map((id) => [id, at(id).textContent]);
			at("show").classList.add("none");
			for (const id in put) at(id).textContent = put[id];
			const reason = at("show-reason").getBoundingClientRect(), ok = reason.bottom <= document.querySelector(".show-foot").getBoundingClientRect().top + 1 && reason.right <= innerWidth && at("show-trace").clientHeight >= 0.29 * innerHeight;
			at("show").classList.remove("none");
			for (const [id, text] of was) at(id).textContent = text;
			return ok })()`) {
			t.Errorf("%d×%d: the longest reason for no rate does not fit", size[0], size[1])
		}
	}
	t.Logf("painting two traces and the typical beat, 1920 wide: %v", look[[]float64](t, ctx, `[S().paintMedianMs, S().paintP99Ms]`))
}

// TestShowCutsNothing: with two traces, the typical beat and a line of words, frozen, the rate is whole in its row, says
// that it is live, and leaves the traces their room; what is typed is read on both grounds.
func TestShowCutsNothing(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	inShow(t, ctx, program(t, "demo:finger?motion=0&hum=0"))
	script(t, ctx, `press("show-both"); press("show-typical"); press("show-present");
		{ const e = at("show-line-input"); e.value = "Look at the second wave"; e.dispatchEvent(new Event("input")); }
		window.within = (e, f) => { const [r, q] = [e, f].map((x) => x.getBoundingClientRect()); return r.top >= q.top - 1 && r.bottom <= q.bottom + 1 && r.left >= q.left && r.right <= q.right; };
		window.light = (c) => c.match(/[\d.]+/g).slice(0, 3).map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)).reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
		window.contrast = (e) => { const s = getComputedStyle(e), [a, b] = [light(s.color), light(s.backgroundColor)].sort((a, b) => b - a); return (a + 0.05) / (b + 0.05); };`)
	soon(t, ctx, "the typical beat", `S().show.typical >= 3`, 20*time.Second)
	if unit := look[string](t, ctx, `at("show-unit").textContent`); unit != "bpm" {
		t.Errorf("the trace runs, and the unit reads %q", unit)
	}
	script(t, ctx, `press("show-freeze")`)
	soon(t, ctx, "the live rate under a frozen trace", `shown("show-held") && at("show-unit").textContent === "bpm, live now"`, 5*time.Second)
	for _, size := range [][2]int64{{1920, 1080}, {1366, 768}, {844, 390}, {390, 844}, {1280, 800}} {
		sized(t, ctx, size[0], size[1])
		for _, rate := range []string{"75", "188"} {
			cut := look[string](t, ctx, fmt.Sprintf(`(() => {
				at("show").dispatchEvent(new PointerEvent("pointermove"));
				const words = document.querySelector(".show-words"), number = at("show-rate"), was = number.textContent;
				number.textContent = %[1]q;
				at("show").style.setProperty("--digits", %[2]d);
				const cut = [number, document.querySelector(".show-say")].filter((e) => !within(e, words)).map((e) => e.className).concat(within(document.querySelector(".show-controls"), at("show")) ? [] : ["controls"]);
				const high = number.getBoundingClientRect().height / innerHeight, traces = at("show-trace").clientHeight / innerHeight;
				number.textContent = was;
				at("show").style.setProperty("--digits", was.length);
				return cut.concat(high < 0.1 ? ["small rate"] : [], traces < 0.23 || (innerHeight > 700 && innerWidth > innerHeight && traces < 0.48) ? ["traces have " + traces] : []).join() })()`, rate, len(rate)))
			if cut != "" {
				t.Errorf("%d×%d, a rate of %s: cut off or too small: %s", size[0], size[1], rate, cut)
			}
		}
		picture(t, ctx, fmt.Sprintf("%d", size[0]))
	}
	for range 2 {
		if poor := look[[]string](t, ctx, `[...at("show").querySelectorAll("input, button, select, textarea")].filter((e) => contrast(e) < 7).map((e) => e.id)`); len(poor) > 0 {
			t.Errorf("on the %s ground poor contrast: %v", look[string](t, ctx, `S().show.ground`), poor)
		}
		script(t, ctx, `press("show-ground")`)
		picture(t, ctx, look[string](t, ctx, `S().show.ground`))
	}
}

// TestShowLanes: before and after a block, raw and cleaned, finger and chest; three at most; the
// typical beat; the recording sign; the tick's lateness in words; the choice is remembered.
func TestShowLanes(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:both?motion=0")
	inShow(t, ctx, address)
	lanes := func(what, want string) {
		t.Helper()
		soon(t, ctx, what, fmt.Sprintf(`S().show.lanes.join(" ") === %q`, want), 5*time.Second)
	}
	lanes("one trace", "0:3")
	script(t, ctx, `press("show-both")`)
	lanes("raw and cleaned", "0:0 0:3")
	picture(t, ctx, "both")
	script(t, ctx, `press("show-traces"); press("show-lane-0-1"); `)
	lanes("three of one channel", "0:0 0:1 0:3")
	if !look[bool](t, ctx, `(at("show-lane-1-3").disabled && !at("show-lane-0-0").disabled)`) {
		t.Error("a fourth trace can be chosen")
	}
	picture(t, ctx, "chooser")
	script(t, ctx, `press("show-lane-0-0"); press("show-lane-0-1"); press("show-lane-1-3"); press("show-choose-close")`)
	lanes("finger and chest", "0:3 1:3")
	// The I-bars have the length they say: each is a round number of volts of its lane.
	soon(t, ctx, "both scales", `S().show.ranges.every((r) => r.low < r.high)`, 10*time.Second)
	script(t, ctx, `press("show-typical")`)
	soon(t, ctx, "the typical beat", `S().show.typical >= 3`, 20*time.Second)
	for _, size := range [][2]int64{{1920, 1080}, {390, 844}, {1280, 800}} {
		sized(t, ctx, size[0], size[1])
		picture(t, ctx, fmt.Sprintf("finger-chest-%d", size[0]))
	}
	script(t, ctx, `press("show-sound")`)
	soon(t, ctx, "how late the tick is", `/^The sound comes \d\.\d s after the beat\.$/.test(at("show-late").textContent)`, 30*time.Second)
	// At once: before a beat is confirmed, and saying so.
	script(t, ctx, `press("show-early")`)
	soon(t, ctx, "ticks before the beats are confirmed", `S().show.early.ticks >= 12 && /before the beat is confirmed\. All/.test(at("show-late").textContent)`, 40*time.Second)
	if early := look[struct {
		Ticks, Wrong int
		LateSeconds  float64
	}](t, ctx, `S().show.early`); early.LateSeconds > 0.45 || early.Wrong > 0 {
		t.Errorf("ticks at once: %+v, want none wrong and 0.45 s at most", early)
	} else {
		t.Logf("ticks at once: %+v", early)
	}
	script(t, ctx, `press("show-early")`)
	script(t, ctx, `fetch("/api/v1/recording", {method: "POST", headers: {"Content-Type": "application/json"}, body: '{"name":"lesson"}'})`)
	soon(t, ctx, "the recording sign", `shown("show-recording") && at("show-recording").textContent === "Recording"`, 10*time.Second)
	picture(t, ctx, "recording")
	script(t, ctx, `fetch("/api/v1/recording", {method: "DELETE"})`)
	soon(t, ctx, "the sign to go", `!shown("show-recording")`, 10*time.Second)
	inShow(t, ctx, address)
	lanes("the choice remembered", "0:3 1:3")
	soon(t, ctx, "a screen that stays on", `S().show.awake`, 5*time.Second)
	script(t, ctx, `press("show-leave")`)
	soon(t, ctx, "a screen that may go dark again", `!S().show.awake`, 5*time.Second)
	// What is wrong is said in Show too: a ninth probe, of eight that there are.
	for _, key := range []string{"2", "3", "5", "x", "2", "3"} {
		keyDown(t, ctx, key)
	}
	soon(t, ctx, "the problem on the page", `/probes/.test(at("banner").textContent) && shown("banner")`, 5*time.Second)
	script(t, ctx, `press("show-open")`)
	soon(t, ctx, "the problem in Show", `shown("show-problem") && /probes/.test(at("show-problem").textContent)`, 5*time.Second)
	picture(t, ctx, "problem")
}

// TestPresenterMovesThoseWhoFollow: freeze, zoom, traces, pointer and a line of words of the
// owner's page are seen on a watcher's; a press there looks alone, another follows again; the
// end of it lets the watcher's trace go on.
func TestPresenterMovesThoseWhoFollow(t *testing.T) {
	t.Parallel()
	needNetwork(t)
	owner, watcher := browser(t, 1280, 720), browser(t, 1280, 720)
	open(t, owner, program(t, "demo:both?motion=0"))
	link, _ := shareFromPage(t, owner)
	ready(t, owner)
	script(t, owner, `press("drawer-close")`)
	open(t, watcher, link)
	soon(t, watcher, "frames on the watcher's page", frames, 30*time.Second)
	ready(t, watcher)
	script(t, watcher, `at("cautions-ack")?.click()`)
	soon(t, owner, "a reading, and more than two seconds to go back in", `S().state === "reading" && S().lastIndex > 1000`, 60*time.Second)
	script(t, owner, `at("cautions-ack")?.click(); press("show-open"); press("show-present"); press("show-both")`)
	soon(t, watcher, "the way to follow", `shown("follow-open")`, 10*time.Second)
	script(t, watcher, `press("follow-open")`)
	same := func(what, of string) {
		t.Helper()
		// The owner's may still be on its way: a place is kept within what is drawn.
		for limit := time.Now().Add(10 * time.Second); ; time.Sleep(50 * time.Millisecond) {
			want, got := look[string](t, owner, "JSON.stringify("+of+")"), look[string](t, watcher, "JSON.stringify("+of+")")
			if got == want {
				return
			}
			if time.Now().After(limit) {
				t.Fatalf("waiting for %s: the watcher's is %s, the owner's %s", what, got, want)
			}
		}
	}
	soon(t, watcher, "to follow", `S().show.following && /follow the presenter/.test(at("show-who").textContent)`, 10*time.Second)
	same("the traces", "S().show.lanes")
	script(t, owner, `press("show-freeze")`)
	keyDown(t, owner, "+")
	keyDown(t, owner, "+")
	same("the seconds across", "S().show.secondsAcross")
	same("where it is frozen", "[S().show.held, S().show.end]")
	end := look[float64](t, owner, "S().show.end")
	keyDown(t, owner, kb.ArrowLeft)
	soon(t, owner, "the trace half a second back", fmt.Sprintf("Math.abs(S().show.end - (%g - S().show.secondsAcross * 25)) < 1", end), 5*time.Second)
	same("where it was moved to", "[S().show.held, S().show.end]")
	script(t, owner, `{ const e = at("show-line-input"); e.value = "Look at the notch"; e.dispatchEvent(new Event("input")); }`)
	soon(t, watcher, "the line of words", `at("show-line").textContent === "Look at the notch"`, 10*time.Second)
	keyDown(t, owner, "p")
	if err := chromedp.Do(owner, chromedp.MouseEvent("mouseMoved", 320, 230)); err != nil {
		t.Fatal(err)
	}
	const height = `((b) => (%s - b.top) / b.height)(at("show-trace").getBoundingClientRect())` // in the traces, which are lower above two rows of buttons
	soon(t, watcher, "the pointer", fmt.Sprintf(`(() => { const m = S().show.ring.match(/translate\(([\d.]+)px, ([\d.]+)px\)/); return m && Math.abs(m[1] - 320) < 3 && Math.abs(%s - %g) < 0.02 })()`, fmt.Sprintf(height, "m[2]"), look[float64](t, owner, fmt.Sprintf(height, "230"))), 10*time.Second)
	picture(t, owner, "owner")
	picture(t, watcher, "watcher")

	// Alone: what the presenter does is not seen, and the watcher's own hand works.
	script(t, watcher, `press("show-follow")`)
	soon(t, watcher, "to look alone", `!S().show.following && !S().show.held && at("show-line").textContent === "" && S().show.ring === ""`, 10*time.Second)
	script(t, watcher, `press("show-freeze")`)
	soon(t, watcher, "its own freeze", `S().show.held`, 5*time.Second)
	script(t, watcher, `press("show-follow")`)
	same("the presenter's freeze again", "[S().show.held, S().show.end, S().show.lanes]")
	// A hand of its own ends following too.
	script(t, watcher, `press("show-raw")`)
	soon(t, watcher, "alone by its own hand", `!S().show.following && S().show.lanes.join() === "0:0"`, 5*time.Second)
	keyDown(t, watcher, "a")
	same("the presenter's traces", "S().show.lanes")

	// Reloaded, the owner's page still presents what it did; its end ends it for all.
	before := look[string](t, owner, "JSON.stringify([S().show.held, S().show.end, S().show.lanes, S().show.secondsAcross])")
	open(t, owner, look[string](t, owner, "location.href"))
	soon(t, owner, "to present after a reload", `window.pulsewright?.stats?.().show.presenting`, 30*time.Second)
	ready(t, owner)
	soon(t, owner, "what it showed before", fmt.Sprintf("JSON.stringify([S().show.held, S().show.end, S().show.lanes, S().show.secondsAcross]) === %q", before), 10*time.Second)
	soon(t, watcher, "the same still", fmt.Sprintf("JSON.stringify([S().show.held, S().show.end, S().show.lanes, S().show.secondsAcross]) === %q", before), 10*time.Second)
	script(t, owner, `at("cautions-ack")?.click(); if (!S().show.open) press("show-open"); if (S().show.presenting) press("show-present")`)
	soon(t, watcher, "the end", `!S().show.following && !S().show.held && !shown("show-follow")`, 10*time.Second)
	if text := look[string](t, watcher, `document.querySelector("[data-testid=show-join-open]").hidden ? "" : "a watcher can share"`); text != "" {
		t.Error(text)
	}
}

// TestJoining: the short link stands in Show, large, with its picture code; a page whose link is
// closed says so in Show and goes on by itself when its browser came in anew.
func TestJoining(t *testing.T) {
	t.Parallel()
	needNetwork(t)
	owner, watcher := browser(t, 1280, 720), browser(t, 1280, 720)
	address := program(t, "demo:finger")
	inShow(t, owner, address)
	keyDown(t, owner, "j")
	soon(t, owner, "that it is not shared", `shown("show-join-share")`, 10*time.Second)
	picture(t, owner, "closed")
	script(t, owner, `press("show-join-share")`)
	soon(t, owner, "the link", `at("show-join-link")?.textContent && at("show-join-qr").naturalWidth > 200`, 10*time.Second)
	link := look[string](t, owner, `at("show-join-link").textContent`)
	if high := look[float64](t, owner, `at("show-join-qr").clientHeight / innerHeight`); high < 0.6 {
		t.Errorf("the picture code takes %.0f %% of the height", 100*high)
	}
	answer, err := http.Get(strings.TrimSuffix(address, "/") + "/api/v1/share/qr?for=short&view=show")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	bitmap, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	samePicture(t, bitmap, "http://"+link+"?view=show")
	for _, size := range [][2]int64{{1920, 1080}, {390, 844}, {1280, 800}} {
		sized(t, owner, size[0], size[1])
		if !look[bool](t, owner, `[at("show-join-link"), at("show-join-qr")].every((e) => { const r = e.getBoundingClientRect(); return r.left >= 0 && r.right <= innerWidth && r.top >= 0 && r.bottom <= innerHeight })`) {
			t.Errorf("at %d×%d link or picture code is not wholly on the screen", size[0], size[1])
		}
		picture(t, owner, fmt.Sprintf("join-%d", size[0]))
	}
	open(t, watcher, "http://"+link+"?view=show")
	soon(t, watcher, "Show by the short link", `window.pulsewright?.stats?.().show.open && window.pulsewright.stats().frames > 10`, 30*time.Second)
	ready(t, watcher)
	script(t, watcher, `at("cautions-ack")?.click()`)
	script(t, owner, `fetch("/api/v1/share", {method: "PUT", headers: {"Content-Type": "application/json"}, body: '{"on":true,"renew":true}'})`)
	soon(t, watcher, "the closed link in Show", `at("show-state").textContent === "No connection" && /closed your link/.test(at("show-reason").textContent)`, 15*time.Second)
	picture(t, watcher, "link-closed")
	soon(t, owner, "another link", fmt.Sprintf(`at("show-join-link").textContent !== %q`, link), 15*time.Second)
	// The new link in another tab of that browser.
	script(t, watcher, fmt.Sprintf(`fetch("http://%s", {credentials: "same-origin"})`, look[string](t, owner, `at("show-join-link").textContent`)))
	soon(t, watcher, "frames again", `S().state !== "" && at("show-state").textContent !== "No connection"`, 20*time.Second)
}
