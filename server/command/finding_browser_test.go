//go:build !windows

package command

import (
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
)

// TestFindBeatsOfADay: over a day's recording Find beats and Intervals tell how far they are, can
// be cancelled, and the program is free for other work then.
func TestFindBeatsOfADay(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	var list struct{ Folder string }
	asks(t, "GET", address+"/api/v1/recordings", "", &list)
	config := simulate.Chest()
	g, err := simulate.New(config)
	if err != nil {
		t.Fatal(err)
	}
	minute := [][]int32{make([]int32, 60*int(config.RateHz))}
	g.Next(minute)
	w, err := recording.Create(filepath.Join(list.Folder, "day.edf"), recording.Header{Info: acquire.Info{ClaimedRateHz: config.RateHz, Channels: g.Channels()}, NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	for i := range int64(24 * 60) {
		if err := w.Write(minute, i*int64(len(minute[0]))); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	open(t, ctx, address)
	script(t, ctx, `document.querySelector('[data-testid=drawer-recordings]').click()`)
	soon(t, ctx, "the recording", `document.querySelector('[data-testid=recording-0]')`, 5*time.Second)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("recording-0").click()`)
	soon(t, ctx, "Find beats", `at("review-find-beats") && !at("review-find-beats").hidden && at("review-find-beats").textContent === "Find beats"`, 20*time.Second)
	script(t, ctx, `at("review-find-beats").click()`)
	soon(t, ctx, "how far it is", `/^Cancel \([1-9]\d? % done\)$/.test(at("review-find-beats").textContent)`, 20*time.Second)
	picture(t, ctx, "finding")
	script(t, ctx, `at("review-find-beats").click()`)
	soon(t, ctx, "the end of it", `at("review-find-beats").textContent === "Find beats" && at("review-error").textContent === ""`, 5*time.Second)

	script(t, ctx, `at("review-intervals-open").click(); const s = at("review-intervals-stretch"); s.value = "all"; s.dispatchEvent(new Event("change"));`)
	soon(t, ctx, "the offer", `!at("review-intervals-work").hidden && at("review-intervals-work").textContent === "Work it out"`, 10*time.Second)
	script(t, ctx, `at("review-intervals-work").click()`)
	soon(t, ctx, "how far it is", `/ [1-9]\d? %$/.test(at("review-intervals-state").textContent) && at("review-intervals-work").textContent === "Cancel"`, 30*time.Second)
	script(t, ctx, `at("review-intervals-work").click()`)
	soon(t, ctx, "that it was cancelled", `at("review-intervals-state").textContent === "Cancelled." && at("review-intervals-work").textContent === "Work it out"`, 5*time.Second)
	// Nothing of it goes on: a short stretch is answered at once.
	asks(t, "GET", address+"/api/v1/recordings/"+url.PathEscape("day.edf")+"/beats?find=0&to=10000", "", nil)
}
