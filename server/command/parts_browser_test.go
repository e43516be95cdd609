//go:build !windows

package command

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestPartsOfLampClipA is what a newcomer does: draws lamp clip A, says it is soldered, turns
// the virtual trimmer, sees the corner move, the ghost and what is measured; changes a part
// by its name; at three sizes nothing overflows.
func TestPartsOfLampClipA(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger?motion=0")
	open(t, ctx, address)
	text := func(id string) string {
		return look[string](t, ctx, fmt.Sprintf(`document.querySelector('[data-testid=%s]')?.textContent ?? ""`, id))
	}
	soon(t, ctx, "the block of the board", `document.querySelector('[data-testid=onboard-open]')?.offsetParent`, 20*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), document.querySelector('[data-testid=onboard-open]').click(), true)`)
	soon(t, ctx, "the examples", `document.querySelector('[data-testid=parts-start]')`, 10*time.Second)
	picture(t, ctx, "empty")
	time.Sleep(time.Second)
	choose := func(id, value string) {
		look[bool](t, ctx, fmt.Sprintf(`(() => { const s = document.querySelector('[data-testid=%s]'); s.value = %q; s.dispatchEvent(new Event("change", {bubbles: true})); s.dispatchEvent(new Event("input", {bubbles: true})); return true })()`, id, value))
	}
	choose("parts-start", "lamp_clip_a")
	soon(t, ctx, "the corners of lamp clip A", `/0\.374 Hz to 16\.6 Hz/.test(document.querySelector('[data-testid=board-corners]')?.textContent.replaceAll("\u00a0", " ") ?? "")`, 20*time.Second)
	soon(t, ctx, "what to press first", `/^No ghost yet.*press .This is what is soldered/.test(document.querySelector('[data-testid=parts-ghost-words]').textContent) && window.pulsewright.stats().ghost === 0`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=parts-ghost-words]').scrollIntoView({block: "end"}), true)`)
	picture(t, ctx, "drawn")
	look[bool](t, ctx, `(document.querySelector('[data-testid=parts-keep]').click(), true)`)
	soon(t, ctx, "that it is soldered", `document.querySelector('[data-testid=parts-keep]').hidden && !document.querySelector('[data-testid=parts-away]').hidden`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=onboard-fold]').click(), true)`)
	soon(t, ctx, "the stages", `document.querySelectorAll('.block-stage').length === 5`, 10*time.Second)
	soon(t, ctx, "what is measured", `/rest at the output: measured/.test(document.querySelector('[data-testid=parts-compare]')?.textContent ?? "")`, 60*time.Second)
	picture(t, ctx, "soldered")

	choose("onboard-part-3-trimmer-at", "95")
	soon(t, ctx, "the corner of the turned trimmer", `/to 8\.\d+ Hz/.test(document.querySelector('[data-testid=board-corners]').textContent.replaceAll("\u00a0", " "))`, 10*time.Second)
	soon(t, ctx, "the ghost in words", `/typical beat would be .* high instead of/.test(document.querySelector('[data-testid=parts-ghost-words]').textContent)`, 30*time.Second)
	if s := text("parts-changes"); !strings.Contains(s, "P1 at 45") || !strings.Contains(s, "95") {
		t.Errorf("what changed: %q", s)
	}
	soon(t, ctx, "the trimmer in words", `/95 % of P1: hum/.test(document.querySelector('[data-testid=parts-turn-words]').textContent)`, 20*time.Second)
	soon(t, ctx, "the ghost over the trace", `window.pulsewright.stats().ghost > 100`, 10*time.Second)
	picture(t, ctx, "turned")
	look[bool](t, ctx, `(document.querySelector('[data-testid=parts-ghost-words]').scrollIntoView({block: "end"}), true)`)
	picture(t, ctx, "ghost")
	look[bool](t, ctx, `(document.querySelector('[data-testid=parts-compare]').scrollIntoView({block: "end"}), true)`)
	picture(t, ctx, "compared")
	choose("onboard-part-0-load", "27k")
	soon(t, ctx, "the changed load", `/R3 10 kΩ → 27 kΩ/.test(document.querySelector('[data-testid=parts-changes]').textContent.replaceAll("\u00a0", " "))`, 10*time.Second)
	choose("onboard-part-0-load", "14.3k")
	soon(t, ctx, "the nearest values", `/E12 15 kΩ.*E24 15 kΩ.*E96 14\.3 kΩ/.test(document.querySelector('[data-testid=onboard-stage-0] .near').textContent.replaceAll("\u00a0", " "))`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=onboard-stage-0] .near button').click(), true)`)
	soon(t, ctx, "the value of E12", `/R3 10 kΩ → 15 kΩ/.test(document.querySelector('[data-testid=parts-changes]').textContent.replaceAll("\u00a0", " "))`, 10*time.Second)
	choose("onboard-part-0-load", "27 cows")
	if got := look[string](t, ctx, `document.querySelector('[data-testid=onboard-part-0-load]').getAttribute("aria-invalid")`); got != "true" {
		t.Errorf("27 cows: aria-invalid %q", got)
	}
	for _, size := range [][2]int64{{1280, 800}, {1920, 1080}, {390, 844}} {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1])); err != nil {
			t.Fatal(err)
		}
		time.Sleep(300 * time.Millisecond)
		if wide := look[float64](t, ctx, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
			t.Errorf("at %d the page is %v pixels too wide", size[0], wide)
		}
		picture(t, ctx, fmt.Sprintf("at-%d", size[0]))
		if high := look[float64](t, ctx, `document.querySelector(".sheet").clientHeight`); high < 180 || size[0] > 760 && high < 290 {
			t.Errorf("at %d with the board unfolded the traces have %.0f pixels", size[0], high)
		}
	}
	// On a phone the trace is seen above the part that is turned, the drawer below it.
	if got := look[string](t, ctx, `(() => {
		const part = document.querySelector('[data-testid=onboard-part-3-trimmer-at]'), box = (e) => document.querySelector(e).getBoundingClientRect();
		part.scrollIntoView();
		const trace = box(".sheet"), middle = (trace.bottom + box("#drawer").top) / 2;
		scrollBy(0, part.getBoundingClientRect().top - middle);
		const r = part.getBoundingClientRect(), over = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2), sheet = box(".sheet");
		return [sheet.top >= 0 && sheet.height >= 150, over === part, box("#drawer").height <= innerHeight / 2].join(" ");
	})()`); got != "true true true" {
		t.Errorf("on a phone, the trace seen, the part reached, the drawer at most half of the height: %s", got)
	}
	picture(t, ctx, "turned-390")
	look[bool](t, ctx, `(document.querySelector('[data-testid=drawer-close]').click(), true)`)
	time.Sleep(500 * time.Millisecond)
	look[bool](t, ctx, `(document.querySelector('.block-board').scrollIntoView(), true)`)
	picture(t, ctx, "strip-390")
	look[bool](t, ctx, `(window.scrollTo(0, 0), true)`)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1920, 1080)); err != nil {
		t.Fatal(err)
	}
	time.Sleep(500 * time.Millisecond)
	picture(t, ctx, "strip-1920")
}
