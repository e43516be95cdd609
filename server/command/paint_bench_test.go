//go:build !windows

package command

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// BenchmarkPaint measures in Chromium what one frame of the trace costs, how far apart
// frames are, and how old the newest sample is when it is painted, with 1, 4 and 8
// traces of two channels at 1 kHz on a page 1920 wide. A frame's budget at 60 a
// second is 16.7 ms; x-budget is the median's share of it.
//
//	go test -run - -bench Paint -benchtime 1x ./server/command
func BenchmarkPaint(b *testing.B) {
	for _, traces := range []int{1, 4, 8} {
		b.Run(fmt.Sprint("traces=", traces), func(b *testing.B) {
			ctx := browser(b, 1920, 1080)
			open(b, ctx, program(b, "demo:both?rate=1000&bits=12"))
			soon(b, ctx, "a page", `window.pulsewright?.stats?.().lastIndex > 1000`, 60*time.Second)
			ready(b, ctx)
			script(b, ctx, `at("cautions-ack")?.click(); at("guide-close")?.click()`)
			script(b, ctx, fmt.Sprintf(`for (const c of [0, 1]) { press("channel-" + c); for (const [i, name] of ["drift", "hum", "smooth", "scale"].entries()) {
				const want = %d === 8 || (%d === 4 ? i >= 2 : c === 0 && i === 3);
				if ((at("probe-" + name).getAttribute("aria-pressed") === "true") !== want) press("probe-" + name); } }`, traces, traces))
			soon(b, ctx, "the traces", fmt.Sprintf(`S().probes.length === %d`, traces), 10*time.Second)
			var s struct {
				PaintMedianMs, PaintP99Ms, IntervalMedianMs, IntervalP99Ms float64
				EdgeAgeMs                                                  [2]float64
				Frames                                                     int
			}
			for b.Loop() {
				time.Sleep(13 * time.Second) // the page keeps ten seconds' frames
				before, at := look[int](b, ctx, `S().frames`), time.Now()
				time.Sleep(4 * time.Second)
				s.Frames = look[int](b, ctx, `S().frames`) - before
				b.ReportMetric(float64(s.Frames)/time.Since(at).Seconds(), "frames/s")
				s = look[struct {
					PaintMedianMs, PaintP99Ms, IntervalMedianMs, IntervalP99Ms float64
					EdgeAgeMs                                                  [2]float64
					Frames                                                     int
				}](b, ctx, `S()`)
			}
			b.ReportMetric(s.PaintMedianMs, "paint-median-ms")
			b.ReportMetric(s.PaintP99Ms, "paint-p99-ms")
			b.ReportMetric(s.IntervalP99Ms, "interval-p99-ms")
			b.ReportMetric(s.EdgeAgeMs[0], "age-median-ms")
			b.ReportMetric(s.EdgeAgeMs[1], "age-p99-ms")
			b.ReportMetric(s.PaintMedianMs*60/1000, "x-budget")
		})
	}
}

// BenchmarkHour runs an hour of two channels through a page at a hundred times the
// pace and reports the page's memory after collecting garbage, at its tenth and
// sixtieth minute; it fails when that has grown by more than a fifth, which a list
// that is never cut would.
//
//	go test -run - -bench Hour -benchtime 1x ./server/command
func BenchmarkHour(b *testing.B) {
	ctx := browser(b, 1280, 800, chromedp.Flag("js-flags", "--expose-gc"), chromedp.Flag("enable-precise-memory-info", true))
	open(b, ctx, program(b, "demo:both?speed=100"))
	soon(b, ctx, "a page", `window.pulsewright?.stats?.().lastIndex > 100`, 60*time.Second)
	ready(b, ctx)
	script(b, ctx, `at("cautions-ack")?.click()`)
	heap := func(minutes int) float64 {
		soon(b, ctx, fmt.Sprint(minutes, " minutes"), fmt.Sprintf(`S().lastIndex > %d`, minutes*60*250), 5*time.Minute)
		return look[float64](b, ctx, `(gc(), gc(), performance.memory.usedJSHeapSize)`)
	}
	for b.Loop() {
		early := heap(11) // the ten minutes kept are full
		late := heap(60)
		b.ReportMetric(early/1e6, "MB-at-11min")
		b.ReportMetric(late/1e6, "MB-at-60min")
		b.ReportMetric(late/early, "growth")
		if late > 1.2*early {
			b.Errorf("the page's memory grew from %.1f to %.1f MB between the eleventh and the sixtieth minute", early/1e6, late/1e6)
		}
	}
}
