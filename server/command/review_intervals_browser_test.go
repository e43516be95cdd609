//go:build !windows

package command

import (
	"bytes"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pulsewright/acquire/simulate"
	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/variability"
)

// TestReviewShowsIntervals: the panel beside a recording shows the measures of the
// whole of it, of what lies between the cursors and of what is seen, the pulse's
// arrival and the breath that the simulation has, and follows what is chosen.
func TestReviewShowsIntervals(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	const rate, seconds = 250.0, 300
	config := simulate.Both()
	config.RateHz, config.MotionPerMinute, config.BreathsPerMinute = rate, 0, 14
	path := filepath.Join(t.TempDir(), "both.edf")
	_, g := simulatetest.Record(t, config, seconds*rate, path)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	address := program(t, "demo:finger")
	r, err := http.NewRequest("POST", address+"/api/v1/recordings?name=both.edf", bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/octet-stream")
	answer, err := http.DefaultClient.Do(r)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("uploading: %v, %v", answer, err)
	}
	answer.Body.Close()

	open(t, ctx, address)
	script(t, ctx, `document.querySelector('[data-testid=drawer-recordings]').click()`)
	soon(t, ctx, "the recording", `document.querySelector('[data-testid=recording-0]')`, 5*time.Second)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("recording-0").click()`)
	soon(t, ctx, "the review", reviewNow+`.piece?.exact`, 10*time.Second)
	keyDown(t, ctx, "i")
	shown := func(what string) {
		t.Helper()
		soon(t, ctx, what, `!at("review-intervals").hidden && at("review-intervals-state").textContent === "" && !at("review-intervals").hasAttribute("aria-busy") && at("review-intervals-where").textContent`, 20*time.Second)
	}
	shown("the measures")
	picture(t, ctx, "review-intervals")

	var truth []variability.Interval
	for _, b := range g.Truth().Beats[0] {
		truth = append(truth, variability.Interval{Seconds: b.IntervalSeconds, Mark: variability.Normal, Quality: 1})
	}
	want := variability.Of("ecg", truth, 0)
	for id, tolerance := range map[string]float64{"meanNN": 0.001, "sdnn": 0.03, "rmssd": 0.06, "hf": 0.15} {
		got := look[float64](t, ctx, fmt.Sprintf(`Number(at("review-intervals").querySelector('[data-testid="measure-%s"]')?.dataset.value ?? NaN)`, id))
		if !(math.Abs(got/want.Value(id)-1) <= tolerance) {
			t.Errorf("%s %g, the simulation's beats give %g", id, got, want.Value(id))
		}
	}
	text := func(id string) string {
		t.Helper()
		return strings.ReplaceAll(look[string](t, ctx, fmt.Sprintf(`at(%q).textContent`, id)), "\u00a0", " ")
	}
	if said := text("review-intervals-where"); !strings.HasPrefix(said, "0:00 to 5:00;") {
		t.Errorf("it says what it is of by %q", said)
	}
	var breaths, least, most, told, places int
	if n, _ := fmt.Sscanf(text("review-intervals-breathing"), "%d breaths per minute in the middle, %d to %d; known in %d of %d", &breaths, &least, &most, &told, &places); n != 5 || breaths < 13 || breaths > 15 || told < places/2 {
		t.Errorf("breathing: %q; the simulation breathes 14 times a minute", text("review-intervals-breathing"))
	}
	var arrival int
	if n, _ := fmt.Sscanf(text("review-intervals-arrival"), "%d ms from R", &arrival); n != 1 || arrival < 242 || arrival > 282 { // as in server's TestVariability
		t.Errorf("arrival: %q, want about 262 ms", text("review-intervals-arrival"))
	}
	if said := text("review-intervals-left-out"); !strings.Contains(said, "intervals") {
		t.Errorf("left out: %q", said)
	}

	// The other channel, and a finger's name for it.
	script(t, ctx, `((e) => { e.value = "1"; e.dispatchEvent(new Event("change")); })(at("review-intervals-channel"))`)
	soon(t, ctx, "the pulse's measures", `at("review-intervals-name").textContent === "pulse: pulse rate variability"`, 20*time.Second)

	// Between the cursors.
	script(t, ctx, `((e) => { e.value = "between"; e.dispatchEvent(new Event("change")); })(at("review-intervals-stretch"))`)
	soon(t, ctx, "what to do", `/cursors/.test(at("review-intervals-state").textContent)`, 5*time.Second)
	keyDown(t, ctx, "c")
	soon(t, ctx, "what lies between", `/^0:11 to 0:19/.test(at("review-intervals-where").textContent) && /^Mean|Needs|needs/.test(at("review-intervals-absent").textContent + at("review-intervals-measures").textContent)`, 10*time.Second)
	keyDown(t, ctx, "c")

	// What is seen follows the window; a click on the strip goes there.
	script(t, ctx, `((e) => { e.value = "seen"; e.dispatchEvent(new Event("change")); })(at("review-intervals-stretch"))`)
	soon(t, ctx, "what is seen", `/^0:00 to 0:30/.test(at("review-intervals-where").textContent)`, 20*time.Second)
	script(t, ctx, `at("review-canvas").focus()`)
	keyDown(t, ctx, "-")
	keyDown(t, ctx, "-")
	soon(t, ctx, "more of it", `/^0:00 to 1:0[678]/.test(at("review-intervals-where").textContent)`, 20*time.Second)
	script(t, ctx, `((e) => { e.value = "all"; e.dispatchEvent(new Event("change")); })(at("review-intervals-stretch"))`)
	shown("all again")
	soon(t, ctx, "all again", `/^0:00 to 5:00/.test(at("review-intervals-where").textContent)`, 20*time.Second)
	script(t, ctx, `at("review-intervals-strip").focus()`)
	keyDown(t, ctx, kb.End)
	keyDown(t, ctx, kb.Enter)
	if s := look[reviewStats](t, ctx, reviewNow); s.To < 295*rate {
		t.Errorf("at the last interval the window ends at %g s", s.To/rate)
	}
	if said := text("review-intervals-readout"); !strings.Contains(said, "4:5") || !strings.Contains(said, " ms") {
		t.Errorf("read out: %q", said)
	}
	// Check stands in its place: the simulation's pulse of 1 V on the second channel.
	keyDown(t, ctx, "k")
	soon(t, ctx, "Check", `!at("review-check").hidden && at("review-intervals").hidden && /^0:00 to/.test(at("review-check-where").textContent)`, 20*time.Second)
	script(t, ctx, `((e) => { e.value = "1"; e.dispatchEvent(new Event("change")); })(at("review-check-channel"))`)
	soon(t, ctx, "the pulse's figures", `/^(9[0-9][0-9] mV|1(\\.[01]\\d*)? V)/.test(at("review-check-level-3").textContent.replace(/\u00a0/g, " "))`, 20*time.Second)
	soon(t, ctx, "hum and rate", `/ rms$/.test(at("review-check-hum-0").textContent) && /Median rate/.test(at("review-check-rate").textContent)`, 5*time.Second)
	picture(t, ctx, "review-check")
	script(t, ctx, `window.saved = {};
		for (const a of document.querySelectorAll("#review-check a, #review-intervals a")) {
			fetch(a.href).then(async (r) => { window.saved[a.textContent] = r.status + " " + (await r.text()).slice(0, 400); });
		}`)
	for label, begins := range map[string]string{"Figures": "200 figure,value", "Spectrum": "200 freq_hz", "Typical beat": "200 time_s,median", "Signal (CSV)": "200 # Learning aid", "Filtered (EDF+)": "200 0  ", "Filtered (WAV)": "200 RIFF",
		"Intervals": "200 sample,time_s,interval_s", "Measures": "200 id,name", "Beats": "200 sample,time_s,kind"} {
		soon(t, ctx, "Save: "+label, fmt.Sprintf("(window.saved[%q] ?? '').startsWith(%q)", label, begins), 20*time.Second)
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	if wide := look[float64](t, ctx, `((d) => d.scrollWidth - d.clientWidth)(document.querySelector("dialog.review"))`); wide > 0 {
		t.Errorf("at 390 pixels the review is %v pixels too wide", wide)
	}
	picture(t, ctx, "review-intervals-390")
	keyDown(t, ctx, "i")
	soon(t, ctx, "Intervals again", `!at("review-intervals").hidden && at("review-check").hidden`, 5*time.Second)
	keyDown(t, ctx, "i")
	if look[bool](t, ctx, `!at("review-intervals").hidden`) {
		t.Errorf("i does not put it away; the focus is on %s", look[string](t, ctx, `document.activeElement.outerHTML.slice(0, 200)`))
	}
}
