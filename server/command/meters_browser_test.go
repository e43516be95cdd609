//go:build !windows

package command

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestSpectrumDrawer: the density read out with the keyboard at the simulated mains is
// that of a sine, and after a single-pole low-pass falls as the pole says.
//
// At 256 Hz a segment of 4 s has its bin 200 at 50 Hz, where a sine of A volts rms
// gives A/√(1.5 bins) with a Hann window (Heinzel et al. 2002, ENBW); a pole at f0
// made with a prewarped bilinear transform passes 1/√(1 + (tan(πf/fs)/tan(πf0/fs))²).
func TestSpectrumDrawer(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger?rate=256&hum=0.12&trimmer=0&wander=0&harmonics=&flicker=0&motion=0&noise=0.0005&bits=16&high=4.9")
	open(t, ctx, address)
	soon(t, ctx, "the Spectrum button", `document.querySelector('[data-testid=drawer-spectrum]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), fetch("/api/v1/channels/0/path", {method: "PUT", headers: {"Content-Type": "application/json"}, body: JSON.stringify({drift: {on: false, cutoffHz: 0.5, order: 1}, hum: {mode: "off", freqHz: 0, bandwidthHz: 5, harmonics: 1}, smooth: {shape: "rc", cutoffHz: 10, order: 1}})}), true)`)
	keys := func(text string, actions ...chromedp.KeyOption) {
		t.Helper()
		if err := chromedp.Do(ctx, chromedp.KeyEvent(text, actions...)); err != nil {
			t.Fatal(err)
		}
	}
	// By its key, then to bin 200 with the arrows.
	keys("f")
	soon(t, ctx, "the chart", `document.querySelector('[data-testid=spectrum-chart] canvas') && /1[0-9]* averages|[2-9] averages/.test(document.querySelector('[data-testid=spectrum-note]').textContent)`, 30*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=spectrum-chart]').focus(), true)`)
	keys(kb.Home)
	for range 19 {
		keys(kb.ArrowRight, chromedp.KeyModifiers(8)) // Shift: ten bins
	}
	for range 9 {
		keys(kb.ArrowRight)
	}
	readout := func() (hz, volts, pathDB float64) {
		t.Helper()
		text := look[string](t, ctx, `document.querySelector('[data-testid=spectrum-readout]').textContent`)
		parts := strings.Split(strings.NewReplacer("\u00a0", " ", "−", "-").Replace(text), ", ")
		var unit string
		if len(parts) != 3 {
			t.Fatalf("the read-out is %q", text)
		}
		if _, err := fmt.Sscanf(parts[0], "%f Hz", &hz); err != nil {
			t.Fatalf("the read-out is %q: %v", text, err)
		}
		if _, err := fmt.Sscanf(parts[1], "%f %s", &volts, &unit); err != nil {
			t.Fatalf("the read-out is %q: %v", text, err)
		}
		scale, ok := map[string]float64{"V/√Hz": 1, "mV/√Hz": 1e-3, "µV/√Hz": 1e-6}[unit]
		if !ok {
			t.Fatalf("the read-out is %q: what unit is %q?", text, unit)
		}
		if _, err := fmt.Sscanf(parts[2], "path %f dB", &pathDB); err != nil {
			t.Fatalf("the read-out is %q: %v", text, err)
		}
		return hz, volts * scale, pathDB
	}
	hz, before, pathDB := readout()
	if hz != 50 {
		t.Fatalf("the arrows led to %v Hz, want 50", hz)
	}
	if want := 0.12 / math.Sqrt(1.5*0.25); math.Abs(before/want-1) > 0.02 {
		t.Errorf("the density at 50 Hz is %.4g V/√Hz, want %.4g", before, want)
	}
	pole := 1 / math.Hypot(1, math.Tan(math.Pi*50/256)/math.Tan(math.Pi*10/256))
	if want := 20 * math.Log10(pole); math.Abs(pathDB-want) > 0.3 { // the curve's points stand 1 % apart
		t.Errorf("the path's response at 50 Hz is %.2f dB, want %.2f", pathDB, want)
	}
	soon(t, ctx, "the hum's lines", `/hum and its harmonics/.test(document.querySelector('[data-testid=spectrum-legend]').textContent)`, 10*time.Second)
	picture(t, ctx, "scale")

	// Another point, linear axes, more seconds: by their controls.
	look[bool](t, ctx, `(() => { for (const id of ["spectrum-log-freq", "spectrum-log-level"]) document.querySelector("[data-testid=" + id + "]").click(); for (const [id, v] of [["spectrum-point", "3"], ["spectrum-seconds", "20"]]) { const s = document.querySelector("[data-testid=" + id + "]"); s.value = v; s.dispatchEvent(new Event("change", {bubbles: true})); } return true })()`)
	soon(t, ctx, "the density after smoothing", `/smooth/i.test(document.querySelector('[data-testid=spectrum-legend]').textContent) && / 20(\.0*)?\s*s/.test(document.querySelector('[data-testid=spectrum-note]').textContent.replaceAll("\u00a0", " "))`, 40*time.Second)
	// The window may still hold what the path gave before it was set.
	after := 0.0
	for deadline := time.Now().Add(40 * time.Second); time.Now().Before(deadline) && math.Abs(after/before/pole-1) > 0.03; time.Sleep(500 * time.Millisecond) {
		_, after, _ = readout()
	}
	if got := after / before; math.Abs(got/pole-1) > 0.03 {
		t.Errorf("after smoothing 50 Hz is %.4g of before, want %.4g from the single pole", got, pole)
	}
	t.Logf("50 Hz: %.4g V/√Hz (closed form %.4g), smoothed %.4f of it (closed form %.4f)", before, 0.12/math.Sqrt(1.5*0.25), after/before, pole)
	picture(t, ctx, "smooth-linear")

	// Kept over a reload; the trace's own keys are back when the drawer is closed.
	if err := chromedp.Do(ctx, chromedp.Reload()); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the page again", `document.querySelector('[data-testid=drawer-spectrum]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=drawer-spectrum]').getAttribute("aria-expanded") !== "true" && document.querySelector('[data-testid=drawer-spectrum]').click(), true)`)
	soon(t, ctx, "the remembered point", `document.querySelector('[data-testid=spectrum-point]')?.value === "3" && !document.querySelector('[data-testid=spectrum-log-level]').checked`, 10*time.Second)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "a chart on a phone", `document.querySelector('[data-testid=spectrum-chart]').clientWidth > 200`, 5*time.Second)
	if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
		t.Errorf("with the drawer at 390 pixels the page is %v pixels too wide", wide)
	}
	picture(t, ctx, "narrow")
}

// TestCheckRemembers: a board remembered is compared with the board changed, also
// after a reload, and the hum strip reaches back to before the page was opened.
func TestCheckRemembers(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger?motion=0&flicker=0&harmonics=0&drift=0&swing=0&wander=0")
	open(t, ctx, address)
	soon(t, ctx, "the Check button", `document.querySelector('[data-testid=drawer-check]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), true)`)
	hum := func() float64 { return look[float64](t, ctx, humNow) }
	high := humSettled(t, time.Now(), hum)
	if err := chromedp.Do(ctx, chromedp.KeyEvent("k")); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the strip's past in the drawer just opened", `/Hum of the last two minutes, from/.test(document.querySelector('.chart canvas').getAttribute("aria-label")) && document.querySelector('[data-testid=hum-strip]')?.dataset.reachSeconds >= 4`, 5*time.Second)
	soon(t, ctx, "a report", `!document.querySelector('[data-testid=remember]')?.closest("[hidden]")`, 20*time.Second)
	look[bool](t, ctx, `(() => { const n = document.querySelector('[data-testid=remember-name]'); n.value = "lamp clip A"; n.form.requestSubmit(); return true })()`)
	soon(t, ctx, "the comparison", `/lamp clip A/.test(document.querySelector('[data-testid=compare] thead').textContent)`, 5*time.Second)

	// The trimmer turned down to 10 Hz: 50 Hz falls by √(1+(50/30)²)/√(1+5²) (closed form).
	look[bool](t, ctx, `(fetch("/api/v1/demo", {method: "PUT", headers: {"Content-Type": "application/json"}, body: JSON.stringify({trimmerHz: 10})}), true)`)
	at := time.Now()
	low := humSettled(t, at, hum)
	want := math.Hypot(1, 50.0/30) / math.Hypot(1, 5)
	if math.Abs(low/high/want-1) > 0.06 {
		t.Errorf("hum fell to %.4f of before, want %.4f", low/high, want)
	}
	if err := chromedp.Do(ctx, chromedp.Reload()); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the Check button again", `document.querySelector('[data-testid=drawer-check]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=drawer-check]').getAttribute("aria-expanded") !== "true" && document.querySelector('[data-testid=drawer-check]').click(), true)`)
	soon(t, ctx, "the comparison after a reload", `/lamp clip A/.test(document.querySelector('[data-testid=compare] thead')?.textContent ?? "")`, 20*time.Second)
	row := look[[]string](t, ctx, `[...document.querySelectorAll('[data-testid=compare] tbody tr')].map((r) => [...r.children].map((c) => c.textContent)).find((r) => r[0] === "Hum, rms")`)
	if len(row) != 4 {
		t.Fatalf("the comparison has no row for hum: %q", row)
	}
	change := strings.NewReplacer("\u00a0", " ", "−", "-").Replace(row[3])
	i := strings.Index(change, "dB")
	if i < 0 {
		t.Fatalf("the change of the hum is %q, without dB", change)
	}
	var dB float64
	fields := strings.FieldsFunc(change[:i], func(r rune) bool { return !(r == '-' || r == '.' || r >= '0' && r <= '9') })
	if _, err := fmt.Sscan(fields[len(fields)-1], &dB); err != nil {
		t.Fatalf("the change of the hum is %q: %v", change, err)
	}
	if wantDB := 20 * math.Log10(want); math.Abs(dB-wantDB) > 0.5 {
		t.Errorf("the hum's change is shown as %v dB, the single pole gives %.2f dB", dB, wantDB)
	}
	t.Logf("hum %s → %s, change %s; the single pole gives %.2f dB", row[1], row[2], row[3], 20*math.Log10(want))
	look[bool](t, ctx, `(document.querySelector('[data-testid=compare]').scrollIntoView(), true)`)
	picture(t, ctx, "compared")
	look[bool](t, ctx, `(document.querySelector('[data-testid=forget]').click(), true)`)
	soon(t, ctx, "nothing remembered", `document.querySelector('[data-testid=compare]').hidden`, 5*time.Second)
}
