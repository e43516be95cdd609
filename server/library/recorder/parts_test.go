package recorder_test

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
	"pulsewright/server/library/recorder"
	"pulsewright/server/library/recorder/recordertest"
)

// TestChangedRateGoesOnInTheNextPart: where a board's rate changed the recording ends, and its
// next part begins there, with the samples that came until that was known; each has its own rate,
// nothing is lost, and it is told. What is kept afterwards is two recordings, too.
func TestChangedRateGoesOnInTheNextPart(t *testing.T) {
	told := make(chan string, 10)
	r, folder := recordertest.Begin(t, recorder.Config{Problem: func(text string) { told <- text }})
	recordertest.Feed(r, 0, 2500)
	first, err := r.Start("walk", 0, 0, "begins")
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Feed(r, 2500, 5000)
	r.Beats(0, []beat.Beat{{Sample: 5000, Kind: beat.ECG, Quality: 0.9}, {Sample: 6500, Kind: beat.ECG, Quality: 0.9}}, 1)
	why := "the samples come unevenly"
	r.Engine(6200, channel.Event{Doubt: &why})
	recordertest.Feed(r, 7500, 500)
	r.Engine(8000, channel.Event{RateHz: 200})
	r.Moved(6000, 200)
	r.Rate(200)
	recordertest.Feed(r, 8000, 3000)
	select {
	case text := <-told:
		if !strings.Contains(text, "walk ended, since the board's rate changed from 250.0 to 200.0 samples a second; it goes on as walk part 2") {
			t.Errorf("told %q", text)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("nobody was told that the recording goes on in another file")
	}
	second, err := r.Stop()
	if err != nil || second.Name != "walk part 2" {
		t.Fatalf("the second part: %+v, %v", second, err)
	}
	if err := r.Close(); err != nil { // waits for the first part
		t.Fatal(err)
	}
	check := func(id string, fed recordertest.Fed, rate, startSeconds float64, has ...string) {
		t.Helper()
		f := recordertest.Check(t, filepath.Join(folder, id), fed)
		info := f.Describe()
		began := info.Started.Sub(time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC)).Seconds()
		if math.Abs(info.ClaimedRateHz-rate) > 1e-9 || math.Abs(began-startSeconds) > 0.001 {
			t.Errorf("%s: %v Hz, began after %v s, want %v Hz after %v s", id, info.ClaimedRateHz, began, rate, startSeconds)
		}
		if all := texts(f); !containsAll(all, has) {
			t.Errorf("%s lacks one of %q:\n%s", id, has, all)
		}
	}
	check(first.ID, recordertest.Fed{Start: 2500, Samples: 3500}, 250, 10, "0 begins", "2500 beat ecg 0.90", "3499 the board's rate changed from 250.0 to 200.0 samples a second: the recording goes on as its next part")
	parts := []string{"0 the board's rate changed from 250.0 to 200.0 samples a second", "500 beat ecg 0.90", `200 engine {"doubt"`, `2000 engine {"rateHz":200}`}
	check(second.ID, recordertest.Fed{Start: 6000, Samples: 5000}, 200, 24, parts...)

	kept, err := r.Keep("kept", 10)
	if err != nil || len(kept.Earlier) != 1 || kept.Name != "kept part 2" {
		t.Fatalf("kept %+v, %v; want one recording of before and part 2", kept, err)
	}
	check(kept.Earlier[0], recordertest.Fed{Samples: 6000}, 250, 0, "5000 beat ecg 0.90")
	check(kept.ID, recordertest.Fed{Start: 6000, Samples: 5000}, 200, 24, parts[1:]...)
	// 30 s are 25 s at 200 Hz, and 5 s of before.
	if kept, err = r.Keep("", 0.5); err != nil || len(kept.Earlier) != 1 {
		t.Fatalf("kept %+v, %v", kept, err)
	}
	check(kept.Earlier[0], recordertest.Fed{Start: 4750, Samples: 1250}, 250, 19, "250 beat ecg 0.90")
	if kept, err = r.Keep("short", 0.25); err != nil || len(kept.Earlier) != 0 || kept.Name != "short" {
		t.Fatalf("kept %+v, %v", kept, err)
	}
	check(kept.ID, recordertest.Fed{Start: 8000, Samples: 3000}, 200, 34)
}

func texts(f *recording.File) string {
	var list []string
	for _, a := range f.Annotations() {
		list = append(list, fmt.Sprintf("%d %s", a.Sample, a.Text))
	}
	return strings.Join(list, "\n")
}

func containsAll(text string, list []string) bool {
	for _, s := range list {
		if !strings.Contains(text, s) {
			return false
		}
	}
	return true
}
