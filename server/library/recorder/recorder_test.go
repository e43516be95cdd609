package recorder_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/library"
	"pulsewright/server/library/overview"
	"pulsewright/server/library/recorder"
	"pulsewright/server/library/recorder/recordertest"
)

func begin(t *testing.T) (*recorder.Recorder, *library.Store) {
	t.Helper()
	r, folder := recordertest.Begin(t, recorder.Config{})
	return r, library.NewStore(folder)
}

func TestRecordWithNotesBeatsAndAGap(t *testing.T) {
	r, store := begin(t)
	if _, err := r.Stop(); !errors.Is(err, recorder.ErrNotRecording) {
		t.Errorf("stopping nothing: %v", err)
	}
	recordertest.Feed(r, 0, 1000)
	if _, err := r.Start("lamp clip", 0, 0, "first try"); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Start("again", 0, 0, ""); !errors.Is(err, recorder.ErrRecording) {
		t.Errorf("a second recording at once: %v", err)
	}
	recordertest.Feed(r, 1000, 1000)
	r.Beats(0, []beat.Beat{{Sample: 1500, Kind: beat.Pulse, Quality: 0.9}, {Sample: 1700, Kind: beat.Pulse, Quality: 0.9}}, 1)
	r.Note(1600, "trimmer turned")
	r.Gap(2000, 500, "the source was away")
	recordertest.Feed(r, 2500, 500)
	state, err := r.Stop()
	if err != nil {
		t.Fatal(err)
	}
	f := recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 1000, Samples: 2000, Missing: func(i int64) bool { return i >= 1000 && i < 1500 }})
	var texts []string
	for _, a := range f.Annotations() {
		texts = append(texts, fmt.Sprintf("%d %s", a.Sample, a.Text))
	}
	all := strings.Join(texts, "\n")
	for _, want := range []string{"0 first try", "500 beat pulse 0.90", "600 trimmer turned", "1000 gap: the source was away"} {
		if !strings.Contains(all, want) {
			t.Errorf("annotations lack %q:\n%s", want, all)
		}
	}
	list, err := store.List()
	if err != nil || len(list) != 1 {
		t.Fatalf("list %v, %v", list, err)
	}
	e := list[0]
	// Two beats 200 samples apart at 250 Hz: 75 a minute.
	if e.Name != "lamp clip" || e.Seconds != 8 || e.RateHz != 250 || math.Abs(e.MedianBPM-75) > 1e-6 || e.Problem != "" {
		t.Errorf("entry %+v", e)
	}
}

// TestLengthAtTheRateFound: how long a recording is, is told at the rate that the file has, not at the first estimate.
func TestLengthAtTheRateFound(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
	if _, err := r.Start("late rate", 0, 0, ""); err != nil {
		t.Fatal(err)
	}
	recordertest.Feed(r, 500, 1000)
	r.Rate(200)
	state, err := r.Stop()
	if err != nil {
		t.Fatal(err)
	}
	if e, err := store.Get(state.ID); err != nil || e.Seconds != 5 || state.Seconds != e.Seconds {
		t.Errorf("told %g s, the list has %g s, %v; want 5", state.Seconds, e.Seconds, err)
	}
}

// TestBeatsOfTwoChannels: a beat keeps its channel and is no note for a person.
func TestBeatsOfTwoChannels(t *testing.T) {
	r, store := begin(t)
	r.Begin(2, acquire.Info{Channels: []acquire.Channel{recordertest.Channel, recordertest.Channel}}, 250, time.Now())
	for i := range int64(1000) {
		r.Samples(i, [][]int32{{1}, {2}})
	}
	r.Beats(0, []beat.Beat{{Sample: 100, Kind: beat.ECG, Quality: 0.9}, {Sample: 300, Kind: beat.ECG, Quality: 0.9}}, 1)
	r.Beats(1, []beat.Beat{{Sample: 150, Kind: beat.Pulse, Quality: 0.8}}, 1)
	state, err := r.Keep("two", 1)
	if err != nil {
		t.Fatal(err)
	}
	path, err := store.Path(state.ID)
	if err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if notes := f.NotesBetween(0, f.Len()); len(notes) != 0 {
		t.Errorf("beats are replayed as notes: %v", notes)
	}
	got := ""
	for _, a := range f.Annotations() {
		if kind, _, channel, ok := recording.ParseBeat(a.Text); ok {
			got += fmt.Sprintf("%d %s %d;", a.Sample, kind, channel)
		}
	}
	if got != "100 ecg 0;150 pulse 1;300 ecg 0;" {
		t.Errorf("beats %s", got)
	}
	if e, err := store.Get(state.ID); err != nil || math.Abs(e.MedianBPM-75) > 1e-6 {
		t.Errorf("median %g bpm of the first channel, %v; want 75", e.MedianBPM, err)
	}
}

func TestKeepReachesBack(t *testing.T) {
	r, store := begin(t)
	if _, err := r.Keep("x", 1); !errors.Is(err, recorder.ErrNothing) {
		t.Errorf("keeping nothing: %v", err)
	}
	recordertest.Feed(r, 0, 250*60*11) // eleven minutes: one more than is remembered
	state, err := r.Keep("what was that", 2)
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 250 * 60 * 9, Samples: 250 * 60 * 2})
	state, err = r.Keep("all", 10)
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 250 * 60, Samples: 250 * 60 * 10})
	// A recording may begin in the past and go on.
	if _, err = r.Start("on", 0, 0.5, ""); err != nil {
		t.Fatal(err)
	}
	recordertest.Feed(r, 250*60*11, 1000)
	if state, err = r.Stop(); err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 250*60*11 - 250*30, Samples: 250*30 + 1000})
}

// TestCountsBeyond24Bits: a board that prints millivolts with four decimals and states
// no range needs 26 bits; nothing of that is lost.
func TestCountsBeyond24Bits(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "recordings")
	r := recorder.New(recorder.Config{Folder: folder, Problem: func(text string) { t.Error("problem told:", text) }, LateWait: 10 * time.Millisecond})
	r.Begin(1, acquire.Info{Address: "serial:bench", Channels: []acquire.Channel{{Label: "mV", Digits: 4}}}, 250, time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC))
	want := make([]int32, 2000)
	for i := range want {
		want[i] = int32(25001234 + 1e6*math.Sin(float64(i)/7))
	}
	r.Samples(0, [][]int32{want[:500]})
	if _, err := r.Start("fine", 0, 10, ""); err != nil {
		t.Fatal(err)
	}
	r.Samples(500, [][]int32{want[500:]})
	state, err := r.Stop()
	if err != nil {
		t.Fatal(err)
	}
	path, err := library.NewStore(folder).Path(state.ID)
	if err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got := [][]int32{make([]int32, len(want))}
	if n, err := f.ReadAt(got, 0); n != len(want) {
		t.Fatalf("read %d of %d: %v", n, len(want), err)
	}
	if !slices.Equal(got[0], want) {
		t.Error("counts of 26 bits did not come back")
	}
	if c := f.Describe().Channels; len(c) != 1 || c[0].Value(got[0][0]) != 2500.1234 {
		t.Errorf("channels %+v", c)
	}
}

func TestSetTimeEndsByItself(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 100)
	state, err := r.Start("short", 0.1, 0, "") // 6 s
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Feed(r, 100, 250*10)
	for i := 0; r.State() != nil; i++ {
		if i > 500 {
			t.Fatal("the recording did not end")
		}
		time.Sleep(10 * time.Millisecond)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 100, Samples: 250 * 6})
}

func TestNewSourceEndsTheRecording(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 100)
	state, err := r.Start("first", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Feed(r, 100, 100)
	r.Begin(2, acquire.Info{Channels: []acquire.Channel{recordertest.Channel, recordertest.Channel}}, 100, time.Now())
	r.Samples(0, [][]int32{{1}, {2}})
	for i := 0; ; i++ {
		if !r.Busy(state.ID) {
			break
		}
		if i > 500 {
			t.Fatal("the first recording was not closed")
		}
		time.Sleep(10 * time.Millisecond)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 100, Samples: 100})
}

func TestBoardThatChangesItsChannelsEndsTheRecordingLoudly(t *testing.T) {
	told := make(chan string, 1)
	r := recorder.New(recorder.Config{Folder: t.TempDir(), Problem: func(text string) { told <- text }})
	info := acquire.Info{Address: "serial:x", Channels: []acquire.Channel{recordertest.Channel}}
	r.Begin(1, info, 250, time.Now())
	recordertest.Feed(r, 0, 100)
	if _, err := r.Start("walk", 0, 0, ""); err != nil {
		t.Fatal(err)
	}
	info.Channels = []acquire.Channel{recordertest.Channel, recordertest.Channel}
	r.Begin(2, info, 250, time.Now())
	select {
	case text := <-told:
		if !strings.Contains(text, "walk ended") {
			t.Errorf("told %q", text)
		}
	case <-time.After(10 * time.Second):
		t.Error("nobody was told that the recording ended")
	}
}

func TestFullDiskIsToldAndAcquisitionGoesOn(t *testing.T) {
	if os.Getuid() == 0 {
		t.Skip("SKIP: root may write everywhere, a read-only folder needs another user")
	}
	folder := t.TempDir()
	if err := os.Chmod(folder, 0o555); err != nil {
		t.Fatal(err)
	}
	r := recorder.New(recorder.Config{Folder: filepath.Join(folder, "x")})
	r.Begin(1, acquire.Info{Channels: []acquire.Channel{recordertest.Channel}}, 250, time.Now())
	recordertest.Feed(r, 0, 10)
	if _, err := r.Start("x", 0, 0, ""); err == nil || !strings.Contains(err.Error(), "-data") {
		t.Errorf("recording into a read-only folder: %v, want the remedy", err)
	}
	recordertest.Feed(r, 10, 10)
}

// TestClockThatJumps: the computer's clock is set back an hour and forth again while
// recording; samples count the time, and no recording takes the place of another.
func TestClockThatJumps(t *testing.T) {
	r, store := begin(t)
	info := acquire.Info{Address: "demo:finger", Channels: []acquire.Channel{recordertest.Channel}}
	start := time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC)
	ids := map[string]bool{}
	for epoch, t0 := range []time.Time{start, start, start.Add(-time.Hour), start, start.Add(1000 * time.Hour)} {
		r.Begin(uint32(epoch+2), info, 250, t0)
		recordertest.Feed(r, 0, 300)
		state, err := r.Start("lamp clip", 0, 1, "")
		if err != nil {
			t.Fatal(err)
		}
		recordertest.Feed(r, 300, 700)
		if _, err := r.Stop(); err != nil {
			t.Fatal(err)
		}
		if ids[state.ID] {
			t.Errorf("two recordings are called %q", state.ID)
		}
		ids[state.ID] = true
		recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Samples: 1000}).Close()
	}
	list, err := store.List()
	if err != nil || len(list) != 5 {
		t.Fatalf("%d recordings are listed, want 5: %v", len(list), err)
	}
	for _, e := range list {
		if math.Abs(e.Seconds-4) > 1e-6 {
			t.Errorf("%s is %g s long, want 4", e.ID, e.Seconds)
		}
	}
}

// TestGapThatBeginsLate: where a gap is told after a jump in position, the recording has
// one gap from the last sample to the next.
func TestGapThatBeginsLate(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 300)
	state, err := r.Start("late", 0, 1, "")
	if err != nil {
		t.Fatal(err)
	}
	r.Gap(310, 20, "unplugged")
	recordertest.Feed(r, 330, 100)
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	f := recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Samples: 430, Missing: func(i int64) bool { return i >= 300 && i < 330 }})
	if gaps := f.Gaps(); len(gaps) != 1 || gaps[0] != (recording.Gap{First: 300, Samples: 30}) {
		t.Errorf("gaps %v", gaps)
	}
}

// TestBeatsAtBothEnds: a beat is told up to a second after its sample. One of before the
// start is not in the recording, those of its last second are, of a recording that is stopped, that
// ends by itself and that is kept afterwards.
func TestBeatsAtBothEnds(t *testing.T) {
	for _, way := range []string{"stopped", "by itself", "kept"} {
		t.Run(way, func(t *testing.T) {
			r, folder := recordertest.Begin(t, recorder.Config{LateWait: 10 * time.Second})
			store := library.NewStore(folder)
			recordertest.Feed(r, 0, 1000)
			var state *recorder.State
			minutes := 0.0
			if way == "by itself" {
				minutes = 2.0 / 60
			}
			if way != "kept" {
				var err error
				if state, err = r.Start(way, minutes, 0, ""); err != nil {
					t.Fatal(err)
				}
			}
			recordertest.Feed(r, 1000, 100)
			pulses(r, 900, 1050) // the first belongs before the start
			recordertest.Feed(r, 1100, 400)
			done := make(chan *recorder.State, 1)
			go func() {
				s := state
				switch way {
				case "stopped":
					s, _ = r.Stop()
				case "kept":
					s, _ = r.Keep(way, 2.0/60)
				}
				done <- s
			}()
			for !r.Waits() {
				time.Sleep(time.Millisecond)
			}
			recordertest.Feed(r, 1500, 200)
			pulses(r, 1250, 1480, 1520) // the last one belongs after the end
			recordertest.Feed(r, 1700, 400)
			select {
			case state = <-done:
			case <-time.After(5 * time.Second):
				t.Fatal("it waits for its beats for ever")
			}
			for i := 0; r.Busy(state.ID); i++ {
				if i > 500 {
					t.Fatal("it is not closed")
				}
				time.Sleep(10 * time.Millisecond)
			}
			f := recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 1000, Samples: 500})
			if got := beatsOf(f); !slices.Equal(got, []int64{50, 250, 480}) {
				t.Errorf("beats at %v, want 50, 250, 480", got)
			}
		})
	}
}

// TestViewsMadeWhileRecording: a recording that ends has the very pyramid that reading
// it gives, gaps and missing samples included; one with counts out of range has none.
func TestViewsMadeWhileRecording(t *testing.T) {
	for _, strange := range []bool{false, true} {
		r, store := begin(t)
		recordertest.Feed(r, 0, 10)
		state, err := r.Start("made", 0, 1, "")
		if err != nil {
			t.Fatal(err)
		}
		recordertest.Feed(r, 10, 5000)
		r.Gap(5010, 700, "unplugged")
		recordertest.Feed(r, 5710, 3333)
		r.Samples(9043, [][]int32{{acquire.MissingCount, 7}})
		if strange {
			r.Samples(9045, [][]int32{{5000}})
		} else {
			r.Samples(9045, [][]int32{{50}})
		}
		recordertest.Feed(r, 9146, 1000) // a jump without a word
		if _, err := r.Stop(); err != nil {
			t.Fatal(err)
		}
		made, err := overview.Load(store.Folder(), state.ID)
		if strange {
			if err == nil {
				t.Error("a recording with counts that were not stored has a pyramid of them")
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		path, err := store.Path(state.ID)
		if err != nil {
			t.Fatal(err)
		}
		f, err := recording.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		read, err := overview.Build(t.Context(), f, func(float64) {})
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(made, read) {
			t.Errorf("made while recording: %+v\nread: %+v", made, read)
		}
	}
}

// pulses tells beats at samples of the first channel.
func pulses(r *recorder.Recorder, at ...int64) {
	for _, s := range at {
		r.Beats(0, []beat.Beat{{Sample: s, Kind: beat.Pulse, Quality: 0.9}}, 1)
	}
}

// beatsOf are the samples of a recording's beats.
func beatsOf(f *recording.File) []int64 {
	var list []int64
	for _, a := range f.Annotations() {
		if _, _, _, ok := recording.ParseBeat(a.Text); ok {
			list = append(list, a.Sample)
		}
	}
	return list
}

// TestSilentSourceEndsTheWait: no beat is waited for when nothing comes any more.
func TestSilentSourceEndsTheWait(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
	state, err := r.Start("silent", 0, 1, "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Samples: 500})
}

// TestANoteMovesNoTime: a note far ahead keeps the memory and the recording as they are.
func TestANoteMovesNoTime(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
	state, err := r.Start("on", 1, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	r.Note(1<<40, "from the future")
	recordertest.Feed(r, 500, 500)
	if s := r.State(); s == nil || s.ID != state.ID {
		t.Error("the note ended the recording")
	}
	kept, err := r.Keep("kept", 1)
	if err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), kept.ID), recordertest.Fed{Samples: 1000})
	if _, err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	recordertest.Check(t, filepath.Join(store.Folder(), state.ID), recordertest.Fed{Start: 500, Samples: 500})
}

// TestANewRecordingClearsTheOldProblem: that one stopped by itself is told until a new one runs.
func TestANewRecordingClearsTheOldProblem(t *testing.T) {
	told := make(chan string, 4)
	r, folder := recordertest.Begin(t, recorder.Config{Problem: func(text string) { told <- text }})
	recordertest.Feed(r, 0, 100)
	state, err := r.Start("lost", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(folder, state.ID)); err != nil {
		t.Fatal(err)
	}
	next := func() string {
		select {
		case text := <-told:
			return text
		case <-time.After(10 * time.Second):
			t.Fatal("nothing was told")
			return ""
		}
	}
	recordertest.Feed(r, 100, 100)
	if text := next(); !strings.Contains(text, "stopped") {
		t.Errorf("told %q", text)
	}
	for i := 0; r.Busy(state.ID); i++ {
		if i > 500 {
			t.Fatal("it does not end")
		}
		time.Sleep(10 * time.Millisecond)
	}
	if _, err := r.Start("again", 0, 0, ""); err != nil {
		t.Fatal(err)
	}
	if text := next(); text != "" {
		t.Errorf("told %q, want that all is well", text)
	}
	if _, err := r.Stop(); err != nil {
		t.Error(err)
	}
}
