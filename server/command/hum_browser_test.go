//go:build !windows

package command

import (
	"testing"
	"time"
)

// A rate may be sure in hum that is larger than the pulse: the page then calls the beats clear and not the signal, as Check
// calls the hum poor.
func TestBrowserCallsNoHumClear(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	open(t, ctx, program(t, "demo:finger?hum=2"))
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("drawer-check").click()`)
	soon(t, ctx, "the verdict on the hum", `/larger than the pulse/.test(document.body.innerText)`, 30*time.Second)
	soon(t, ctx, "a rate with what it is worth", `/ beats in much hum$/.test(at("reading-state").textContent)`, 30*time.Second)
	picture(t, ctx, "hum")
	everyScreen(t, ctx, ".rate-words")
}
