//go:build !windows

package command

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// TestVoltsOfAllColumns: what is said of the converter for one column of a board holds for the others that have no volts
// yet, and is taken back for all at once; the rate at the top says whose it is.
func TestVoltsOfAllColumns(t *testing.T) {
	board := boardOverTCP(t, func(n int) string {
		v := int(480 + 300*math.Sin(2*math.Pi*1.2*float64(n)/250))
		return fmt.Sprintf("%d,%d\n", v, 1000-v)
	})
	ctx := browser(t, 1280, 800)
	address := program(t, "tcp:"+board+"?rate=250")
	open(t, ctx, address)
	soon(t, ctx, "samples", "window.pulsewright?.stats?.().lastIndex > 500", 30*time.Second)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("wired-nobody")?.click()`)
	soon(t, ctx, "whose rate it is", `!at("rate-name").hidden && at("rate-name").textContent !== ""`, 10*time.Second)
	script(t, ctx, `at("scale-open").click()`)
	soon(t, ctx, "the offer, taken", `at("scale-dialog").open && at("scale-all").checked && at("scale-all").closest("label").offsetParent !== null`, 5*time.Second)
	picture(t, ctx, "offered")
	script(t, ctx, `{ at("scale-source").value = "converter"; at("scale-source").dispatchEvent(new Event("change"));
		at("scale-reference").value = "5"; at("scale-bits").value = "10"; at("scale-rail-low").value = "0"; at("scale-rail-high").value = "5"; at("scale-apply").click(); }`)
	soon(t, ctx, "volts in both columns", `!at("scale-dialog").open`, 10*time.Second)
	told := func() string {
		var state struct{ Channels []struct{ Unit string } }
		asks(t, "GET", address+"/api/v1/state", "", &state)
		return state.Channels[0].Unit + "," + state.Channels[1].Unit
	}
	if u := told(); u != "V,V" {
		t.Errorf("units %s", u)
	}
	picture(t, ctx, "both")
	script(t, ctx, `at("undo").click()`)
	soon(t, ctx, "both taken back", `at("undo").disabled`, 10*time.Second)
	if u := told(); u != "counts,counts" {
		t.Errorf("taken back: units %s", u)
	}
}
