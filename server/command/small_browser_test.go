//go:build !windows

package command

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestNothingGoesOnUnseen: at 1280×800 every choice of the signal path is read whole, and three recordings stand in the
// drawer beside it; in a hand menu and toolbar say where they go on, and the rate stays while Check is read.
func TestNothingGoesOnUnseen(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger"))
	ready(t, ctx)
	soon(t, ctx, "a rate", `S().state === "reading"`, 60*time.Second)
	script(t, ctx, `at("cautions-ack")?.click(); if (shown("guide")) press("guide-close");
		(async () => { for (const name of ["Class 4b before", "Class 4b after", "lamp clip B"]) await fetch("/api/v1/keep", {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify({minutes: 1, name})});
		press("drawer-recordings"); })()`)
	soon(t, ctx, "three recordings", `at("recordings-list")?.children.length === 3`, 20*time.Second)
	soon(t, ctx, "all of them written", `!document.querySelector(".recording.now")`, 20*time.Second)
	sized(t, ctx, 1280, 800)
	picture(t, ctx, "path")
	if cut := look[[]string](t, ctx, `[...document.querySelectorAll("#path-strip select")].filter((e) => { const now = e.offsetWidth, was = e.style.cssText; e.style.cssText = "field-sizing: content; flex: none; max-width: none; width: max-content"; const whole = e.offsetWidth; e.style.cssText = was; return whole > now + 1 }).map((e) => e.id)`); len(cut) > 0 {
		t.Errorf("cut off: %v", cut)
	}
	if n := look[int](t, ctx, `(() => { const b = document.querySelector(".drawer-body").getBoundingClientRect(); return [...document.querySelectorAll(".recording-line")].filter((e) => e.getBoundingClientRect().bottom <= b.bottom).length })()`); n < 3 {
		t.Errorf("%d recordings of 3 are seen in the drawer without scrolling", n)
	}
	script(t, ctx, `press("drawer-close")`)
	sized(t, ctx, 390, 844)
	for _, row := range []string{".drawer-tabs", ".trace .toolbar"} {
		ends := fmt.Sprintf(`((e) => [e.classList.contains("more-before"), e.classList.contains("more-after")].join())(document.querySelector(%q))`, row)
		to := func(place, want string) {
			t.Helper()
			script(t, ctx, fmt.Sprintf(`document.querySelector(%q).scrollLeft = %s`, row, place))
			soon(t, ctx, row+" at "+place, ends+` === "`+want+`"`, 5*time.Second)
		}
		to("0", "false,true")
		to("30", "true,true")
		to("9999", "true,false")
	}
	picture(t, ctx, "ends")
	script(t, ctx, `press("drawer-check"); document.querySelector("#trace").scrollIntoView()`)
	for _, place := range []string{"0", "9999"} {
		script(t, ctx, `scrollTo(0, `+place+`)`)
		time.Sleep(300 * time.Millisecond)
		if !look[bool](t, ctx, `(() => { const e = document.querySelector(".rate-number"), r = e.getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight && document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2)?.closest(".reading") !== null })()`) {
			t.Errorf("in Check, scrolled to %s, the rate is out of sight", place)
		}
	}
	picture(t, ctx, "check")
}

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
