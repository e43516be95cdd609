//go:build !windows

package command

import (
	"encoding/base64"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pulsewright/acquire/recording"
)

// TestWhyDrawerSteps steps through a chest signal's decisions by mouse and by
// keyboard: every beat of the page is one that was taken, places between are not.
func TestWhyDrawerSteps(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:chest?motion=6"))
	soon(t, ctx, "beats", `window.pulsewright?.stats?.().beats[0] >= 12`, 60*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click()`)
	keystroke(t, ctx, "y")
	soon(t, ctx, "a verdict", `/^Taken/.test(at("why-verdict").textContent)`, 15*time.Second)
	if !look[bool](t, ctx, `S().held`) {
		t.Error("the paper is not held while stepping")
	}
	time0 := `document.querySelector("[data-testid=why-facts] dd").textContent`
	for _, c := range []control{
		{id: "why-beat-back", probe: time0}, {id: "why-place-back", probe: time0}, {id: "why-place-on", probe: time0}, {id: "why-beat-on", probe: time0, before: `press("why-beat-back"); press("why-beat-back")`},
	} {
		for _, by := range []string{"mouse", "keyboard"} {
			use(t, ctx, c, by)
		}
	}
	// From a beat to the place before it and on: the verdicts differ as the marks do.
	script(t, ctx, `press("why-beat-back")`)
	taken := look[string](t, ctx, `at("why-verdict").textContent`)
	for range 6 {
		script(t, ctx, `press("why-place-back")`)
		if refused := look[string](t, ctx, `at("why-verdict").textContent`); strings.HasPrefix(refused, "Not taken: ") {
			if !strings.HasPrefix(taken, "Taken: ") {
				t.Errorf("a beat's verdict is %q", taken)
			}
			picture(t, ctx, "refused")
			break
		}
	}
	if got := look[string](t, ctx, `at("why-verdict").textContent`); !strings.HasPrefix(got, "Not taken: ") {
		t.Errorf("six places before a beat none was refused; the last says %q", got)
	}
	if reached := look[string](t, ctx, `at("why-facts").textContent`); !strings.Contains(reached, "Score needed") {
		t.Errorf("the facts of a refused place name no threshold: %s", reached)
	}
	script(t, ctx, `fetch("/api/v1/beats?from=0&to=100000").then((r) => r.json()).then(async (b) => {
		const last = b.channels[0].at(-1).sample;
		const why = await (await fetch("/api/v1/channels/0/why?from=0&to=" + (last + 1))).json();
		const taken = new Map(why.candidates.map((c) => [c.sample, c.taken]));
		window.same = b.channels[0].every((x) => taken.get(x.sample) === true) && [...taken].filter(([, on]) => on).length === b.channels[0].length;
	})`)
	soon(t, ctx, "beats and places taken to be the same", `window.same === true`, 10*time.Second)
	// A place in the list by mouse and by keyboard.
	for _, by := range []string{"mouse", "keyboard"} {
		id := look[string](t, ctx, `[...document.querySelectorAll("[data-testid=why-list] button")].find((b) => !b.getAttribute("aria-current")).dataset.testid`)
		use(t, ctx, control{id: id, probe: fmt.Sprintf(`at(%q)?.getAttribute("aria-current")`, id)}, by)
	}
}

// TestSavedNumbersComeBack saves what is seen as numbers and as a drawing; the
// numbers, opened as a recording, are the samples of the page.
func TestSavedNumbersComeBack(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "six seconds", `window.pulsewright?.stats?.().lastIndex > 1500`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click(); { const s = at("seconds-across"); s.value = "5"; s.dispatchEvent(new Event("change")); } press("freeze"); press("save")`)
	soon(t, ctx, "the dialog", `dialogOpen() === "save-dialog"`, 5*time.Second)
	script(t, ctx, `press("save-csv"); press("save"); press("save-svg"); press("save"); press("save-png")`)
	soon(t, ctx, "three files", `saved.filter((b) => /csv|png/.test(b.type)).length >= 2`, 10*time.Second)
	script(t, ctx, `saved.find((b) => /csv/.test(b.type)).text().then((x) => (window.csv = x)); saved.find((b) => /svg/.test(b.type)).text().then((x) => (window.svg = x));
		{ const r = new FileReader(); r.onload = () => (window.png = r.result); r.readAsDataURL(saved.find((b) => /png/.test(b.type))); }`)
	soon(t, ctx, "the files' text", `window.csv && window.svg && window.png`, 10*time.Second)
	file := filepath.Join(t.TempDir(), "seen.csv")
	if err := os.WriteFile(file, []byte(look[string](t, ctx, `window.csv`)), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info := f.Describe()
	if len(info.Channels) != 2 || info.Channels[0].Unit != "V" || math.Abs(info.ClaimedRateHz-250) > 0.01 || info.LengthSamples < 1240 || info.LengthSamples > 1252 {
		t.Fatalf("read back: %+v, want two channels in V, 5 s at 250 Hz", info)
	}
	counts := [][]int32{make([]int32, info.LengthSamples), make([]int32, info.LengthSamples)}
	if _, err := f.ReadAt(counts, 0); err != nil {
		t.Fatal(err)
	}
	var first int
	if _, err := fmt.Sscanf(look[string](t, ctx, `window.csv.match(/first sample (\d+)/)[1]`), "%d", &first); err != nil {
		t.Fatal(err)
	}
	page := look[[]float64](t, ctx, fmt.Sprintf(`Array.from({length: %d}, (_, i) => pulsewright.sample(0, 0, %d + i))`, info.LengthSamples, first))
	for i, want := range page {
		if got := info.Channels[0].Value(counts[0][i]); math.Abs(got-want) > 1e-6 {
			t.Fatalf("sample %d: %.9g V in the file, %.9g V on the page", i, got, want)
		}
	}
	svg := look[string](t, ctx, `window.svg`)
	if !strings.HasPrefix(svg, "<svg ") || strings.Count(svg, "<path d=") < 2+4 || !strings.Contains(svg, "not a medical device") {
		t.Errorf("the drawing has %d paths in %d bytes, want two traces and the marks of some beats", strings.Count(svg, "<path d="), len(svg))
	}
	png, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(look[string](t, ctx, `window.png`), "data:image/png;base64,"))
	if err != nil || len(png) < 10000 || string(png[1:4]) != "PNG" {
		t.Errorf("the picture: %v, %d bytes", err, len(png))
	}
	if folder := os.Getenv("PULSEWRIGHT_PICTURES"); folder != "" {
		_ = os.WriteFile(filepath.Join(folder, "saved.png"), png, 0o644)
	}
}

// TestZoomAndTrueMillimetres drags over a second of the paper and gets that second;
// with the screen measured, 25 mm of it are a second.
func TestZoomAndTrueMillimetres(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:chest"))
	soon(t, ctx, "eleven seconds", `window.pulsewright?.stats?.().lastIndex > 2750`, 60*time.Second)
	ready(t, ctx)
	script(t, ctx, `at("cautions-ack")?.click()`)
	// The plot is 10 s wide: a tenth of it is a second.
	width := look[float64](t, ctx, `S().paper.widthPx`)
	box := look[[]float64](t, ctx, `(() => { const r = at("trace-canvas").getBoundingClientRect(); return [r.right, r.top + r.height / 2] })()`)
	script(t, ctx, `press("zoom")`)
	x := box[0] - 0.5*width
	if err := chromedp.Do(ctx, chromedp.MouseEvent("mousePressed", x, box[1], chromedp.Button("left"), chromedp.ClickCount(1)),
		chromedp.MouseEvent("mouseMoved", x+0.05*width, box[1]+3, chromedp.Button("left")),
		chromedp.MouseEvent("mouseMoved", x+0.1*width, box[1]+3, chromedp.Button("left")),
		chromedp.MouseEvent("mouseReleased", x+0.1*width, box[1]+3, chromedp.Button("left"), chromedp.ClickCount(1))); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "a zoom", `S().zooms === 1`, 5*time.Second)
	if got := look[float64](t, ctx, `S().secondsAcross`); math.Abs(got-1) > 0.01 {
		t.Errorf("a tenth of 10 s zoomed in is %g s across, want 1 s", got)
	}
	keystroke(t, ctx, "Z")
	soon(t, ctx, "ten seconds again", `S().zooms === 0 && S().secondsAcross === 10`, 5*time.Second)

	// A bar of 400 CSS pixels that fits the long edge of a bank card, 85.6 mm.
	script(t, ctx, `at("fit-length").value = "400"; at("fit-length").dispatchEvent(new Event("input")); press("fit-use")`)
	keystroke(t, ctx, "m")
	soon(t, ctx, "millimetres", `S().paper.on && S().paper.measured && S().secondsAcross !== 10`, 5*time.Second)
	want := width * 85.6 / 400 / 25
	if got := look[float64](t, ctx, `S().secondsAcross`); math.Abs(got/want-1) > 1e-4 {
		t.Errorf("%g s across a plot of %g px of 85.6/400 mm each at 25 mm/s, want %g s", got, width, want)
	}
	script(t, ctx, `at("paper-height").value = "10"; at("paper-height").dispatchEvent(new Event("change"))`)
	soon(t, ctx, "the lane at rest", `(() => { const r = S().ranges[0], still = r.low === window.low && r.high === window.high; window.low = r.low; window.high = r.high; return still && S().paper.mmPerVolt === 10 })()`, 5*time.Second)
	// 10 mm/V: the lane's height in mm, a tenth of it in volts.
	lane := look[[]float64](t, ctx, `(() => { const r = S().ranges[0]; return [r.high - r.low, r.heightPx] })()`)
	if wantVolts := lane[1] * 85.6 / 400 / 10; math.Abs(lane[0]/wantVolts-1) > 1e-3 {
		t.Errorf("a lane of %g px spans %g V at 10 mm/V, want %g V", lane[1], lane[0], wantVolts)
	}
	picture(t, ctx, "mm")
	keyDown(t, ctx, "m")
	soon(t, ctx, "ten seconds again", `S().secondsAcross === 10`, 5*time.Second)
}

// TestSettingsAreKeptForEachSource: path, probes and paper of one source are found
// again after another was open.
func TestSettingsAreKeptForEachSource(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "a second", `window.pulsewright?.stats?.().lastIndex > 250`, 40*time.Second)
	ready(t, ctx)
	source := func(address string) {
		epoch := look[int](t, ctx, `S().epoch`)
		script(t, ctx, fmt.Sprintf(`fetch("/api/v1/source", {method: "PUT", headers: {"Content-Type": "application/json"}, body: JSON.stringify({address: %q})})`, address))
		soon(t, ctx, address, fmt.Sprintf(`S().epoch !== %d && S().lastIndex > 100 && S().channels.length > 0`, epoch), 20*time.Second)
		script(t, ctx, `at("cautions-ack")?.click()`)
	}
	script(t, ctx, `{ const e = at("drift-cutoff"); e.value = "0.7"; e.dispatchEvent(new Event("change")); } press("probe-hum"); { const s = at("seconds-across"); s.value = "20"; s.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "the cutoff", `S().channels[0].path.drift.cutoffHz === 0.7`, 10*time.Second)
	source("demo:chest")
	if look[bool](t, ctx, `(S().channels[0].path.drift.cutoffHz === 0.7 || S().secondsAcross === 20 || S().probes.some((p) => p.point === 2))`) {
		t.Error("the chest has the finger's settings")
	}
	source("demo:finger")
	soon(t, ctx, "the finger's settings", `S().channels[0].path.drift.cutoffHz === 0.7 && S().secondsAcross === 20 && S().probes.some((p) => p.point === 2)`, 10*time.Second)
}

// TestBoardDrawerLeadsToPlaces: a note in the Board drawer leads to its place on the
// paper, by mouse and by keyboard.
func TestBoardDrawerLeadsToPlaces(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	soon(t, ctx, "eight seconds", `window.pulsewright?.stats?.().lastIndex > 2000`, 40*time.Second)
	ready(t, ctx)
	script(t, ctx, `{ const s = at("seconds-across"); s.value = "2"; s.dispatchEvent(new Event("change")); }
		fetch("/api/v1/notes", {method: "POST", headers: {"Content-Type": "application/json"}, body: '{"index": 700, "text": "finger warmed"}'})`)
	soon(t, ctx, "the note", `S().notes === 1`, 10*time.Second)
	keystroke(t, ctx, "b")
	soon(t, ctx, "the note's place", `[...document.querySelectorAll(".places button")].length === 1`, 5*time.Second)
	script(t, ctx, `document.querySelector(".places button").dataset.testid = "place"`)
	for _, by := range []string{"mouse", "keyboard"} {
		use(t, ctx, control{id: "place", probe: `S().held`, before: `if (S().held) press("live")`}, by)
		if end, seconds := look[float64](t, ctx, `S().shownEnd`), 2*250.0; end < 700 || end-seconds > 700 {
			t.Errorf("by %s: sample 700 is not on the paper, which shows %g to %g", by, end-seconds, end)
		}
	}
}

// TestUndoCoversSpanAndSeconds: seconds across, a span and the overlay go back one by one
// and forth again; a zoom has its own way back.
func TestUndoCoversSpanAndSeconds(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	script(t, ctx, `window.S = () => pulsewright.stats(); window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); window.pick = (e, v) => { e.value = v; e.dispatchEvent(new Event("change")); };
		window.now = () => JSON.stringify([S().secondsAcross, document.querySelector(".lane-label select").value, S().overlaid])`)
	soon(t, ctx, "the traces", `document.querySelector(".lane-label select")`, 10*time.Second)
	states := []string{look[string](t, ctx, "now()")}
	for _, change := range []string{`pick(at("seconds-across"), "5")`, `((e) => pick(e, [...e.options].map((o) => o.value).find((v) => Number(v) > 0 && v !== e.value)))(document.querySelector(".lane-label select"))`, `at("overlay").click()`} {
		script(t, ctx, change)
		states = append(states, look[string](t, ctx, "now()"))
		if n := len(states); states[n-1] == states[n-2] || look[int](t, ctx, "S().settings.done") != n-1 {
			t.Fatalf("%s: %s, before %s, %d changes to undo", change, states[n-1], states[n-2], look[int](t, ctx, "S().settings.done"))
		}
	}
	for _, way := range []string{"undo", "redo"} {
		for i := range 3 {
			script(t, ctx, fmt.Sprintf(`at(%q).click()`, way))
			want := states[2-i]
			if way == "redo" {
				want = states[i+1]
			}
			soon(t, ctx, fmt.Sprintf("%s %d", way, i+1), fmt.Sprintf("now() === %q", want), 5*time.Second)
		}
	}
	script(t, ctx, `at("overlay").click()`)
	before := look[int](t, ctx, "S().settings.done")
	keyDown(t, ctx, "c")
	keyDown(t, ctx, "z")
	soon(t, ctx, "the zoom", "S().zooms === 1", 5*time.Second)
	keyDown(t, ctx, "Z")
	if n := look[int](t, ctx, "S().settings.done"); n != before {
		t.Errorf("a zoom and its way back left %d changes to undo, before %d", n, before)
	}
}
