//go:build !windows

package command

import (
	"testing"
	"time"
)

// TestFlashesBelowThreeASecond counts how often the beat lamps of page and Show light up
// at 220 beats a minute: never more than three times within a second (WCAG 2.3.1).
func TestFlashesBelowThreeASecond(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:chest?bpm=220"))
	ready(t, ctx)
	soon(t, ctx, "a reading", `S().state === "reading"`, 40*time.Second)
	for _, lamp := range []string{".lamp", ".show-lamp"} {
		if lamp == ".show-lamp" {
			script(t, ctx, `press("show-open")`)
		}
		script(t, ctx, `window.watching?.disconnect(); window.lit = []; let was = false; window.watching = new MutationObserver(() => { const on = document.querySelector("`+lamp+`").classList.contains("on"); if (on && !was) lit.push(performance.now()); was = on; }); window.watching.observe(document.querySelector("`+lamp+`"), {attributes: true})`)
		soon(t, ctx, "flashes of "+lamp, `lit.length > 12`, 30*time.Second)
		at := look[[]float64](t, ctx, `lit`)
		least, most := 1e9, 0
		for i := range at {
			if i > 0 {
				least = min(least, at[i]-at[i-1])
			}
			n := 0
			for _, other := range at {
				if other >= at[i] && other < at[i]+1000 {
					n++
				}
			}
			most = max(most, n)
		}
		t.Logf("%s: %d flashes, at least %.0f ms apart, at most %d in a second", lamp, len(at), least, most)
		if most > 3 {
			t.Errorf("%s flashes %d times in a second", lamp, most)
		}
	}
}
