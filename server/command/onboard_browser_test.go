//go:build !windows

package command

import (
	"testing"
	"time"
)

// TestAsTheBoardSeesIt: in the Firmware drawer the board's whole program runs on the live
// signal, its rate is the page's, and what is to be saved is the program.
func TestAsTheBoardSeesIt(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	soon(t, ctx, "the Firmware button", `document.querySelector('[data-testid=drawer-firmware]')`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), document.querySelector('[data-testid=drawer-firmware]').click(), true)`)
	const code = `document.querySelector('[data-testid=firmware-code]')?.textContent ?? ""`
	soon(t, ctx, "the code", `/PULSEWRIGHT_RATE_HZ 250/.test(`+code+`)`, 10*time.Second)
	look[bool](t, ctx, `(() => { const s = document.querySelector('[data-testid=firmware-whole]'); s.value = "ino"; s.dispatchEvent(new Event("change", {bubbles: true})); return true })()`)
	soon(t, ctx, "the whole program", `/void loop\(\)/.test(`+code+`)`, 10*time.Second)
	if name := look[string](t, ctx, `document.querySelector('[data-testid=firmware-save]').getAttribute("download")`); name != "pulsewright_board.ino" {
		t.Errorf("the file is called %q", name)
	}
	look[bool](t, ctx, `(document.querySelector('[data-testid=firmware-seen-all]').open = true)`)
	const seen = `document.querySelector('[data-testid=firmware-seen]').textContent`
	soon(t, ctx, "both rates alike", `(() => { const m = /Board: (\d+) bpm, (\d+) beats. This page: (\d+) bpm, (\d+) beats/.exec(`+seen+`); return m && Math.abs(m[1] - m[3]) <= 2 && Math.abs(m[2] - m[4]) <= 1 })()`, 40*time.Second)
	if tall := look[float64](t, ctx, `document.querySelector('.firmware-seen canvas').getBoundingClientRect().height`); tall < 100 || tall > 300 {
		t.Errorf("the plot is %v pixels high", tall)
	}
	look[bool](t, ctx, `(document.querySelector('.firmware-seen').scrollIntoView({block: "center"}), true)`)
	time.Sleep(time.Second) // another look
	picture(t, ctx, "seen")
	if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
		t.Errorf("the page is %v pixels too wide", wide)
	}
}
