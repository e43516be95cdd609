//go:build !windows

package command

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pulsewright/acquire/simulate/simulatetest"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/variability"
)

// marksNow reads the beat marks off the picture itself: in each channel's first lane
// the middles of what is drawn two pixels below the lane's top.
const marksNow = `(() => {
	const s = window.pulsewright.stats();
	const c = document.querySelector("canvas.trace-top");
	const g = c.getContext("2d");
	const lanes = [];
	for (const r of s.ranges) {
		if (lanes.some((l) => l.channel === r.channel)) continue;
		const d = g.getImageData(0, r.topPx + 2, c.width, 1).data;
		const xs = [];
		let from = -1;
		for (let x = s.leftPx; x <= c.width; x++) {
			const ink = x < c.width && d[4 * x + 3] > 100;
			if (ink && from < 0) from = x;
			if (!ink && from >= 0) { xs.push((from + x - 1) / 2); from = -1; }
		}
		lanes.push({channel: r.channel, xs});
	}
	return {lanes, left: s.leftPx, width: c.width - s.leftPx, end: s.shownEnd, seconds: s.secondsAcross};
})()`

// TestBeatMarksStandAtTheTrueBeats: on the held paper of a demo of an ECG and a pulse
// every mark stands within 10 ms (half the width of a stroke of the QRS complex) of an
// R peak or a pulse's peak of the simulation's own account, and every true beat that
// could be told by then has its mark.
func TestBeatMarksStandAtTheTrueBeats(t *testing.T) {
	const source = "demo:both?speed=3&motion=0&variation=0.06"
	const rateHz = 250
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, source))
	soon(t, ctx, "beats on both channels", `window.pulsewright?.stats?.().beats.filter((n) => n > 20).length === 2`, 60*time.Second)
	if err := chromedp.Do(ctx, chromedp.KeyEvent(" ")); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the paper to stand still", `window.pulsewright.stats().held`, 5*time.Second)
	time.Sleep(400 * time.Millisecond)
	picture(t, ctx, "held")
	type seen struct {
		Lanes []struct {
			Channel int
			Xs      []float64
		}
		Left, Width, End, Seconds float64
	}
	s := look[seen](t, ctx, marksNow)
	per := s.Seconds * rateHz / s.Width
	origin := s.End / per
	if per >= 1.5 { // whole columns
		origin = math.Floor(origin)
	}
	_, g := simulatetest.Demo(t, source, int64(s.End)+2*rateHz)
	truth := g.Truth()
	if len(s.Lanes) != 2 {
		t.Fatalf("marks in %d channels: %+v", len(s.Lanes), s)
	}
	limit := 0.010*rateHz + per
	worst := 0.0
	for _, lane := range s.Lanes {
		var marks []float64
		for _, x := range lane.Xs {
			marks = append(marks, (x+0.5-s.Left-s.Width+origin)*per)
		}
		nearest := func(at float64, list []float64) float64 {
			best := math.Inf(1)
			for _, x := range list {
				best = math.Min(best, math.Abs(x-at))
			}
			return best
		}
		var beats []float64
		for _, b := range truth.Beats[lane.Channel] {
			at := float64(b.Sample)
			beats = append(beats, at)
			shown := at > s.End-s.Width*per+10 && at < s.End-1.2*rateHz // told by then
			if shown && nearest(at, marks) > limit {
				t.Errorf("channel %d: a beat at sample %.0f without a mark within %.1f samples", lane.Channel, at, limit)
			}
		}
		for _, m := range marks {
			d := nearest(m, beats)
			worst = math.Max(worst, d)
			if d > limit {
				t.Errorf("channel %d: a mark at sample %.1f, %.1f samples from any beat", lane.Channel, m, d)
			}
		}
		if len(marks) < 7 {
			t.Errorf("channel %d: only %d marks over %g s", lane.Channel, len(marks), s.Seconds)
		}
	}
	t.Logf("worst mark %.1f samples (%.0f ms) off at %.2f samples a pixel", worst, 1000*worst/rateHz, per)
}

// TestIntervalsDrawer: the drawer shows the measures of the simulation's own beats, the
// pulse's arrival and the breath, reads out single intervals by key, and fits.
func TestIntervalsDrawer(t *testing.T) {
	const source = "demo:both?speed=25&motion=0&breath=14&variation=0.05"
	const rateHz = 250
	ctx := browser(t, 1280, 800)
	address := program(t, source)
	open(t, ctx, address)
	soon(t, ctx, "the page", `document.querySelector('[data-testid=drawer-intervals]')`, 20*time.Second)
	if err := chromedp.Do(ctx, chromedp.KeyEvent("i")); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "what is needed, said at first", `/needs 5 min/.test(document.querySelector('[data-testid=intervals-absent]')?.textContent ?? "")`, 20*time.Second)
	text := func(id string) string {
		return strings.ReplaceAll(look[string](t, ctx, fmt.Sprintf(`document.querySelector('[data-testid=%s]')?.textContent ?? ""`, id)), "\u00a0", " ")
	}
	if early := text("intervals-absent"); !regexp.MustCompile(`SDNN.*needs 5 min of beats; there are`).MatchString(early) {
		t.Errorf("before five minutes: %q", early)
	}
	soon(t, ctx, "SDNN after five minutes", `document.querySelector('[data-testid=measure-sdnn]')`, 90*time.Second)
	// The samples of the first and the last interval shown, with the figures shown.
	var from, to float64
	values := map[string]float64{}
	for id, value := range look[map[string]string](t, ctx, `(() => {
		const d = document.querySelector('[data-testid=intervals-strip]').dataset;
		const out = {from: d.from, to: d.to};
		for (const e of document.querySelectorAll('[data-testid^=measure-]')) out[e.dataset.testid.slice(8)] = e.dataset.value + " " + e.textContent;
		return out;
	})()`) {
		switch number, _, _ := strings.Cut(value, " "); id {
		case "from":
			from, _ = strconv.ParseFloat(number, 64)
		case "to":
			to, _ = strconv.ParseFloat(number, 64)
		default:
			values[id], _ = strconv.ParseFloat(number, 64)
			shown := strings.TrimPrefix(value, number+" ")
			if strings.HasSuffix(shown, "\u00a0ms") {
				if ms, err := strconv.ParseFloat(strings.TrimSuffix(shown, "\u00a0ms"), 64); err != nil || math.Abs(ms/1000/values[id]-1) > 0.01 {
					t.Errorf("%s is shown as %q, its value is %g s", id, shown, values[id])
				}
			}
		}
	}
	_, g := simulatetest.Demo(t, source, int64(to)+rateHz)
	truth, config := g.Truth(), g.Config()
	var intervals []variability.Interval
	beats := truth.Beats[0]
	for i := 1; i < len(beats); i++ {
		if at := float64(beats[i].Sample); at > from-10 && at < to+10 {
			intervals = append(intervals, variability.Interval{Seconds: float64(beats[i].Sample-beats[i-1].Sample) / config.RateHz, Mark: variability.Normal, Quality: 1})
		}
	}
	want := variability.Of(beat.ECG, intervals, 0)
	for id, tolerance := range map[string]float64{"meanNN": 0.001, "sdnn": 0.03, "rmssd": 0.05, "sd1": 0.05, "sd2": 0.03, "lf": 0.05, "hf": 0.05} {
		if !(math.Abs(values[id]/want.Value(id)-1) <= tolerance) {
			t.Errorf("%s %g, the simulation's beats give %g", id, values[id], want.Value(id))
		}
	}
	if name := text("intervals-name"); name != "ecg: heart rate variability" {
		t.Errorf("it is called %q", name)
	}
	if out := text("intervals-left-out"); !regexp.MustCompile(`^3\d\d intervals`).MatchString(out) {
		t.Errorf("%q: about 360 intervals in five minutes at 72 per minute", out)
	}
	soon(t, ctx, "the breath", `/^14 breaths per minute/.test(document.querySelector('[data-testid=intervals-breathing]').textContent)`, 20*time.Second)
	// 0.2 s to the pulse's start, its tangents' foot 0.056 s later (Tang et al. 2020 at
	// 72 per minute), the trimmer's pole at 30 Hz 0.005 s.
	arrival := text("intervals-arrival-text")
	if m := regexp.MustCompile(`^(\d+) ms from R`).FindStringSubmatch(arrival); m == nil {
		t.Errorf("the pulse's arrival: %q", arrival)
	} else if ms, _ := strconv.Atoi(m[1]); ms < 241 || ms > 283 {
		t.Errorf("the pulse arrives %d ms after R, want 261", ms)
	}
	if newest := text("intervals-newest"); !regexp.MustCompile(`^Newest beat: \d{3,4} ms after the one before, (clear|good|fair|poor)\.$`).MatchString(newest) {
		t.Errorf("the newest beat in words: %q", newest)
	}
	// Read out by key.
	look[bool](t, ctx, `(document.querySelector('[data-testid=intervals-strip]').focus(), true)`)
	if err := chromedp.Do(ctx, chromedp.KeyEvent(kb.ArrowLeft)); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "an interval read out", `/ms, \d+ per minute, used; beats (clear|good)/.test(document.querySelector('[data-testid=intervals-readout]').textContent.replaceAll("\u00a0", " "))`, 5*time.Second)
	if err := chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the paper held at the interval", `window.pulsewright.stats().held`, 5*time.Second)
	if value := look[string](t, ctx, `document.querySelector('[data-testid=intervals-strip]').getAttribute("aria-valuetext")`); !strings.Contains(value, "per minute") {
		t.Errorf("a screen reader hears %q", value)
	}
	if label := look[string](t, ctx, `document.querySelector('[data-testid=intervals-strip]').getAttribute("aria-label")`); !regexp.MustCompile(`\d+ used intervals from \d+ to \d+ ms`).MatchString(label) {
		t.Errorf("the strip is called %q", label)
	}
	if help := look[string](t, ctx, `document.querySelector('#help-dialog').textContent`); !strings.Contains(help, "Intervals drawer") {
		t.Error("the keys do not tell of the drawer")
	}
	picture(t, ctx, "ecg")
	// The finger's.
	look[bool](t, ctx, `(document.activeElement.blur(), true)`)
	if err := chromedp.Do(ctx, chromedp.KeyEvent("x")); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the pulse's name", `document.querySelector('[data-testid=intervals-name]').textContent === "pulse: pulse rate variability"`, 10*time.Second)
	if caveats := text("intervals-caveats"); !strings.Contains(caveats, "From a finger") {
		t.Errorf("a finger's caveats: %q", caveats)
	}
	for _, size := range [][2]int64{{1280, 800}, {1920, 1080}, {390, 844}} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1])); err != nil {
			t.Fatal(err)
		}
		soon(t, ctx, fmt.Sprintf("the page to fit in %d pixels", size[0]), "document.documentElement.scrollWidth <= document.documentElement.clientWidth", 5*time.Second)
		if wide := look[float64](t, ctx, `(() => { const b = document.querySelector(".drawer-body"); return b.scrollWidth - b.clientWidth })()`); wide > 0 {
			t.Errorf("at %d pixels the drawer is %v pixels too wide inside", size[0], wide)
		}
		picture(t, ctx, fmt.Sprint(size[0]))
	}
}
