//go:build !windows

package command

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestSmallScreens: on 1024×768 the trace has 40 % of the height with the path, a drawer and the
// first steps open; at 200 % zoom of 1280×720, which is 640×360 of the page's pixels, a trace is
// seen without scrolling, and the page is not too wide. Four traces laid over each other have
// lines of four looks whatever their colours.
func TestSmallScreens(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:both"))
	ready(t, ctx)
	soon(t, ctx, "a second of two channels", `S().lastIndex > 250 && S().channels.length === 2`, 40*time.Second)
	script(t, ctx, `at("cautions-ack")?.click()`)
	seen := func() (share, top, wide float64) {
		got := look[[]float64](t, ctx, `(() => { const r = document.querySelector(".sheet").getBoundingClientRect(); const over = innerWidth < 760 && shown("drawer") ? at("drawer").getBoundingClientRect().top : innerHeight; return [(Math.min(over, r.bottom) - Math.max(0, r.top)) / innerHeight, r.top, document.documentElement.scrollWidth - document.documentElement.clientWidth] })()`)
		return got[0], got[1], got[2]
	}
	for _, c := range []struct {
		width, height int64
		opened        string
		least         float64
	}{
		{1024, 768, ``, 0.4},
		{1024, 768, `press("drawer-check")`, 0.4},
		{1024, 768, `if (!shown("guide")) document.dispatchEvent(new KeyboardEvent("keydown", {key: "h", bubbles: true}))`, 0.4},
		{640, 360, `press("drawer-close"); if (shown("guide")) press("guide-close"); scrollTo(0, 0)`, 0.4},
		{640, 360, `press("drawer-check")`, 0.4},
	} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(c.width, c.height, chromedp.EmulateScale(float64(1280/c.width)))); err != nil {
			t.Fatal(err)
		}
		script(t, ctx, c.opened)
		time.Sleep(500 * time.Millisecond)
		share, top, wide := seen()
		t.Logf("%d×%d %s: %.0f %% of the height, from %.0f", c.width, c.height, c.opened, 100*share, top)
		if share < c.least {
			t.Errorf("%d×%d: the trace has %.0f %% of the height, want %.0f", c.width, c.height, 100*share, 100*c.least)
		}
		if wide > 0 {
			t.Errorf("%d×%d: the page is %v pixels too wide", c.width, c.height, wide)
		}
		picture(t, ctx, fmt.Sprintf("%d-%d", c.width, len(c.opened)))
	}
	script(t, ctx, `press("drawer-close"); press("overlay"); dispatchEvent(new Event("beforeprint"))`)
	looks := look[[]string](t, ctx, `[...new Set([...document.querySelectorAll("#trace .on-paper path.trace")].map((p) => p.getAttribute("stroke-width") + " " + p.getAttribute("stroke-dasharray")))]`)
	if len(looks) != 4 {
		t.Errorf("four traces laid over each other have lines of %d looks: %q", len(looks), looks)
	}
	script(t, ctx, `dispatchEvent(new Event("afterprint"))`)
}
