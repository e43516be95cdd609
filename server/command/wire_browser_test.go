//go:build !windows

package command

import (
	"fmt"
	"math"
	"sync/atomic"
	"testing"
	"time"
)

// An input that hangs in the air, found on the page: looked at as it is, then touched.
func TestFaultIsFoundOnThePage(t *testing.T) {
	var touched, mended atomic.Bool
	board := boardOverTCP(t, func(n int) string {
		hum := 140.0 // counts, of 1023
		if touched.Load() {
			hum = 900
		}
		if mended.Load() {
			hum = 4
		}
		v := 380 + hum*math.Sin(2*math.Pi*50.02*float64(n)/250)
		return fmt.Sprintf("%d\n", int(max(0, min(1023, v))))
	})
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "tcp:"+board+"?rate=250&bits=10&reference=5&kind=other"))
	soon(t, ctx, "samples", "window.pulsewright?.stats?.().lastIndex > 1000", 30*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=wired-nobody]')?.click(), document.querySelector('[data-testid=drawer-check]').click(), true)`)
	soon(t, ctx, "the finder", `document.querySelector('[data-testid=wire-start]')?.offsetParent`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=wire-start]').click(), true)`)
	soon(t, ctx, "the first action", `/nobody may be connected/.test(document.querySelector('[data-testid=wire-text]').textContent) && !document.querySelector('[data-testid=wire-done]').hidden`, 20*time.Second)
	picture(t, ctx, "asked")
	touched.Store(true)
	look[bool](t, ctx, `(document.querySelector('[data-testid=wire-done]').click(), true)`)
	soon(t, ctx, "the fault", `/hangs in the air/.test(document.querySelector('[data-testid=wire-text]').textContent)`, 20*time.Second)
	picture(t, ctx, "found")
	if by := look[string](t, ctx, `document.querySelector('[data-testid=wire-by]').textContent`); by == "" {
		t.Error("it does not say what the fault was recognised by")
	}
	if remedy := look[string](t, ctx, `document.querySelector('[data-testid=wire-remedy]').textContent`); remedy == "" {
		t.Error("no remedy")
	}
	soon(t, ctx, "when it was found", `/^(Found at|Of before: found at) \d\d:\d\d:\d\d/.test(document.querySelector('[data-testid=wire-age]').textContent)`, 5*time.Second)
	mended.Store(true)
	soon(t, ctx, "that it is of before", `/^Of before: found at/.test(document.querySelector('[data-testid=wire-age]').textContent)`, 30*time.Second)
	picture(t, ctx, "of-before")
}
