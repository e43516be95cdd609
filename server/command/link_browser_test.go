//go:build !windows

package command

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pulsewright/server/channel"
)

// TestLinkAndColumns: a board without header prints volts as text and stands still 80 ms a second. The
// Link drawer shows how evenly it samples; Set volts says that decimals need no bits; the column is
// made volts in one press and named, and stays so when the board is opened again.
func TestLinkAndColumns(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	b := newBench(t)
	running, cancel := context.WithCancel(t.Context())
	defer cancel()
	go func() {
		start := time.Now()
		for at := 0.0; running.Err() == nil; at += 0.004 {
			if math.Mod(at, 1) < 0.004 {
				at += 0.08
			}
			time.Sleep(time.Until(start.Add(time.Duration(at * 1e9))))
			b.write(fmt.Appendf(nil, "%.3f\r\n", 2.5+0.5*math.Sin(2*math.Pi*at*1.2)+0.2*math.Sin(4*math.Pi*at*1.2)))
		}
	}()
	address := program(t, "serial:"+b.link+"?baud=115200")
	open(t, ctx, address)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); `)
	soon(t, ctx, "the question", `at("wired-dialog")?.open`, 10*time.Second)
	script(t, ctx, `at("wired-nobody").click(); at("drawer-board").click()`)
	soon(t, ctx, "the clock's chart", `at("clock-chart") && !at("clock-chart").hidden`, 30*time.Second)
	soon(t, ctx, "its pauses", `/Regular pauses\d+ ms every [\d.]+ s/.test(at("clock-facts").textContent.replaceAll("\u00a0", " "))`, 40*time.Second)
	if got := look[string](t, ctx, `at("board-lost").textContent + "; " + at("board-clock").textContent`); got != "unknown: the board sends no time and no counter; when it arrives; no column is taken as a clock" {
		t.Errorf("of lost samples and the clock: %q", got)
	}
	picture(t, ctx, "link")
	script(t, ctx, `at("drawer-firmware").click()`)
	soon(t, ctx, "which rate the firmware is made for", `/Its rate(as measured, |250 Hz, a usual rate; measured )\d+(\.\d+)? ± [\d.]+ Hz/.test(at("firmware-facts")?.textContent) && /^\/\/   rate    \d.* ± /m.test(at("firmware-code").textContent)`, 20*time.Second)
	picture(t, ctx, "firmware")
	script(t, ctx, `at("drawer-firmware").click(); at("scale-open").click()`)
	soon(t, ctx, "that decimals need no bits", `at("scale-dialog")?.open && !at("scale-decimals").hidden`, 5*time.Second)
	picture(t, ctx, "decimals")
	script(t, ctx, `at("scale-dialog").close(); at("source-open").click()`)
	soon(t, ctx, "the columns", `at("columns") && !at("columns").hidden`, 5*time.Second)
	script(t, ctx, `at("columns").open = true; at("columns").scrollIntoView()`)
	if got := look[string](t, ctx, `at("columns-anew")?.checkVisibility() ? at("columns-anew").textContent : ""`); !strings.Contains(got, "begins a new trace. The trace on the page is lost") {
		t.Errorf("before the columns are chosen the page says of the trace: %q", got)
	}
	everyScreen(t, ctx, "dialog[open]")
	script(t, ctx, `at("columns-volts-0").click()`)
	soon(t, ctx, "that a new trace began", `/A new trace began/.test(at("banner").textContent) && !at("banner").hidden`, 10*time.Second)
	picture(t, ctx, "opened-anew")
	units := func() string {
		var state struct {
			Channels []struct{ Label, Unit, Kind string }
		}
		asks(t, "GET", address+"/api/v1/state", "", &state)
		if len(state.Channels) != 1 {
			return ""
		}
		return fmt.Sprint(state.Channels[0])
	}
	wait := func(want string) {
		t.Helper()
		for end := time.Now().Add(20 * time.Second); units() != want; time.Sleep(100 * time.Millisecond) {
			script(t, ctx, `if (at("wired-dialog")?.open) at("wired-nobody").click()`)
			if time.Now().After(end) {
				t.Fatalf("the channel is %s, want %s", units(), want)
			}
		}
	}
	wait("{ch1 V pulse}")
	script(t, ctx, `at("source-open").click()`)
	soon(t, ctx, "the columns again", `at("columns") && !at("columns").hidden && at("column-unit-0").value === "V"`, 10*time.Second)
	script(t, ctx, `at("column-name-0").value = "lamp clip"; at("column-kind-0").value = "pulse"; at("columns-apply").click()`)
	wait("{lamp clip V pulse}")
	asks(t, "PUT", address+"/api/v1/source", `{"address":"demo:finger"}`, nil)
	asks(t, "PUT", address+"/api/v1/source", fmt.Sprintf(`{"address":%q}`, "serial:"+b.link+"?baud=115200"), nil)
	wait("{lamp clip V pulse}") // remembered
	// What is set stays when the column is named anew, and the form shows it.
	asks(t, "PUT", address+"/api/v1/channels/0/kind", `{"kind":"ecg"}`, nil)
	asks(t, "PUT", address+"/api/v1/channels/0/scale", `{"source":"converter","referenceVolts":3.3,"bits":12,"gain":-2}`, nil)
	soon(t, ctx, "the page to know of them", `window.pulsewright.stats().channels[0]?.scale.gain === -2`, 10*time.Second)
	script(t, ctx, `at("source-open").click()`)
	soon(t, ctx, "the columns as set", `at("columns") && !at("columns").hidden && at("column-kind-0").value === "ecg" && at("column-unit-0").selectedOptions[0].textContent === "V, as set under Volts"`, 10*time.Second)
	script(t, ctx, `at("column-name-0").value = "Brust"; at("columns-apply").click()`)
	wait("{Brust V ecg}")
	var state struct {
		Channels []struct{ Scale channel.Scale }
	}
	asks(t, "GET", address+"/api/v1/state", "", &state)
	if c := state.Channels[0].Scale; c.Source != channel.ScaleConverter || c.Bits != 12 || c.Gain != -2 {
		t.Errorf("after naming the column the scale is %+v", c)
	}
	// The top bar counts what is recorded, as the drawer does: no time in which the board is away.
	asks(t, "POST", address+"/api/v1/recording", `{}`, nil)
	script(t, ctx, `at("wired-nobody")?.click(); at("drawer-recordings").click()`)
	soon(t, ctx, "the recording", `!at("recording-mark").hidden && at("recording-mark").textContent >= "0:02" && at("record-state")?.textContent.includes(" " + at("recording-mark").textContent)`, 15*time.Second)
	b.unplug()
	soon(t, ctx, "the board to be away", `window.pulsewright.stats().state === "no signal"`, 10*time.Second)
	soon(t, ctx, "no rate and no quality", `document.querySelector(".quality").dataset.lit === "0" && at("rate").textContent === "–" && !/bpm/.test(at("path-rate").textContent)`, 10*time.Second)
	time.Sleep(1500 * time.Millisecond) // the mark is written once a second
	script(t, ctx, `window.away = at("recording-mark").textContent`)
	time.Sleep(3 * time.Second)
	if got := look[string](t, ctx, `[window.away, at("recording-mark").textContent, at("record-state").textContent.includes(" " + window.away)].join(" ")`); !strings.HasSuffix(got, " true") || strings.Fields(got)[0] != strings.Fields(got)[1] {
		t.Errorf("a board that is away is counted: %s", got)
	}
}
