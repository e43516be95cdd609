//go:build !windows

package command

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// humNow is the newest report's hum, in volts rms, as the program measures it; the
// count of samples looked at tells that the window is new.
const humNow = `(fetch("/api/v1/channels/0/meters").then((r) => r.json()).then((m) => (window.metersNow = m.report)), window.metersNow?.hum.voltsRms ?? 0)`

// humSettled waits until the meters' window of two seconds lies wholly behind a turn
// of the trimmer, and two readings a second apart agree within 3 %.
func humSettled(t *testing.T, after time.Time, look func() float64) float64 {
	t.Helper()
	before := 0.0
	for deadline := after.Add(40 * time.Second); time.Now().Before(deadline); time.Sleep(time.Second) {
		hum := look()
		if time.Since(after) > 5*time.Second && hum > 0 && math.Abs(hum/before-1) < 0.03 {
			return hum
		}
		before = hum
	}
	t.Fatal("the hum did not settle in 40 s")
	return 0
}

// TestCheckDrawerShowsTheTrimmerTurned: the practice board's trimmer turned down is
// seen in the Check drawer, and the advised corner, set, leaves the hum predicted.
//
// The simulated mains pass a single pole, so 50 Hz hum falls from corner a to b by
// √(1+(50/a)²)/√(1+(50/b)²) (closed form of an RC low-pass).
func TestCheckDrawerShowsTheTrimmerTurned(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger?motion=0&flicker=0&harmonics=0")
	open(t, ctx, address)
	soon(t, ctx, "the Check button", `document.querySelector('[data-testid=drawer-check]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), document.querySelector('[data-testid=drawer-check]').click(), true)`)
	soon(t, ctx, "a hum figure", `/rms/.test(document.querySelector('[data-testid=check-hum-0]')?.textContent ?? "")`, 40*time.Second)
	hum := func() float64 { return look[float64](t, ctx, humNow) }
	high := humSettled(t, time.Now(), hum)

	turn := func(stop string) time.Time {
		look[bool](t, ctx, `(() => { const s = document.querySelector('[data-testid=trimmer-slider]'); s.value = "`+stop+`"; s.dispatchEvent(new Event("input", {bubbles: true})); return true })()`)
		return time.Now()
	}
	soon(t, ctx, "the trimmer's corner", `(fetch("/api/v1/state").then((r) => r.json()).then((s) => (window.trimmerNow = s.trimmerHz)), window.trimmerNow > 0)`, 5*time.Second)
	from := look[float64](t, ctx, `window.trimmerNow`)
	at := turn("52") // about 10 Hz
	soon(t, ctx, "the turned corner", fmt.Sprintf(`(fetch("/api/v1/state").then((r) => r.json()).then((s) => (window.trimmerNow = s.trimmerHz)), window.trimmerNow !== %v)`, from), 10*time.Second)
	to := look[float64](t, ctx, `window.trimmerNow`)
	low := humSettled(t, at, hum)
	pole := func(corner float64) float64 { return 1 / math.Hypot(1, 50/corner) }
	want := pole(to) / pole(from)
	t.Logf("corner %.3g → %.3g Hz: hum %.3g → %.3g V, factor %.4f, closed form %.4f", from, to, high, low, low/high, want)
	if got := low / high; math.Abs(got/want-1) > 0.06 {
		t.Errorf("hum fell to %.4f of before, want %.4f from the single pole", got, want)
	}
	shown := look[string](t, ctx, `document.querySelector('[data-testid=check-hum-0]').textContent`)
	var figure float64
	if _, err := fmt.Sscanf(shown, "%f\u00a0mV rms", &figure); err != nil || math.Abs(figure/1000/low-1) > 0.06 {
		t.Errorf("the drawer shows %q, the program measures %.4g V rms", shown, low)
	}
	picture(t, ctx, "turned")

	// Back up, ask for advice, set it.
	at = turn("78")
	humSettled(t, at, hum)
	look[bool](t, ctx, `(document.querySelector('[data-testid=advice]').open = true, document.querySelector('[data-testid=advice-ask]').click(), true)`)
	soon(t, ctx, "advice", `document.querySelector('[data-testid=advice-set]')?.offsetParent && document.querySelector('.advice .facts').dataset.humVoltsRms`, 15*time.Second)
	predicted := look[float64](t, ctx, `Number(document.querySelector('.advice .facts').dataset.humVoltsRms)`)
	look[bool](t, ctx, `(document.querySelector('[data-testid=advice-set]').click(), true)`)
	got := humSettled(t, time.Now(), hum)
	// So little hum lies near the noise in two seconds: the mean power of eight readings.
	power := got * got
	for range 7 {
		time.Sleep(2 * time.Second)
		h := hum()
		power += h * h
	}
	got = math.Sqrt(power / 8)
	dB := 20 * math.Log10(got/predicted)
	t.Logf("predicted %.4g V rms, measured %.4g V rms: %.2f dB", predicted, got, dB)
	if !(math.Abs(dB) <= 1) {
		t.Errorf("hum %.4g V rms at the advised corner, predicted %.4g: %.2f dB apart, want 1 dB or less", got, predicted, dB)
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
		t.Errorf("with the drawer at 390 pixels the page is %v pixels too wide", wide)
	}
	picture(t, ctx, "narrow")
}
