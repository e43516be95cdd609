//go:build !windows

package command

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestFirmwareDrawer: the page shows the path it runs as C, follows its settings, and
// says why not where it cannot be.
func TestFirmwareDrawer(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	soon(t, ctx, "the Firmware button", `document.querySelector('[data-testid=drawer-firmware]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), document.querySelector('[data-testid=drawer-firmware]').click(), true)`)
	const code = `document.querySelector('[data-testid=firmware-code]')?.textContent ?? ""`
	soon(t, ctx, "the code", `/PULSEWRIGHT_RATE_HZ 250/.test(`+code+`)`, 10*time.Second)
	if text := look[string](t, ctx, code); !strings.Contains(text, "low-pass, 15 Hz, order 2") || strings.Count(text, "int64_t sum") != 1 {
		t.Errorf("the code is %.400q", text)
	}
	picture(t, ctx, "exact")
	set := func(id, value string) {
		look[bool](t, ctx, `(() => { const s = document.querySelector('[data-testid=`+id+`]'); s.value = "`+value+`"; s.dispatchEvent(new Event("change", {bubbles: true})); return true })()`)
	}
	set("firmware-form", "small")
	soon(t, ctx, "small arithmetic", `/int32_t sum/.test(`+code+`)`, 10*time.Second)
	set("smooth-cutoff", "20")
	soon(t, ctx, "the path's change", `/low-pass, 20 Hz/.test(`+code+`)`, 10*time.Second)
	saved := look[string](t, ctx, `document.querySelector('[data-testid=firmware-save]').getAttribute("href")`)
	look[bool](t, ctx, `(fetch("`+saved+`").then((r) => r.text()).then((x) => (window.savedCode = x)), true)`)
	soon(t, ctx, "the file to save", `window.savedCode === `+code, 10*time.Second)
	set("hum-mode", "cancel")
	soon(t, ctx, "why not", `/choose the notch/i.test(document.querySelector('[data-testid=firmware-problem]').textContent)`, 10*time.Second)
	set("hum-mode", "notch")
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	soon(t, ctx, "the code again", `!document.querySelector('[data-testid=firmware-code]').closest("[hidden]")`, 10*time.Second)
	if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
		t.Errorf("with the drawer at 390 pixels the page is %v pixels too wide", wide)
	}
	picture(t, ctx, "narrow")
}
