package library

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
)

var twelve = acquire.Channel{Label: "pulse", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 5.0 / 4096, MaxCount: 4095}

// feed tells a recorder n samples from position first on; sample i has the count i mod 4096.
func feed(r *Recorder, first int64, n int) {
	for done := 0; done < n; {
		k := min(4, n-done)
		counts := make([]int32, k)
		for i := range counts {
			counts[i] = int32((first + int64(done+i)) % 4096)
		}
		r.Samples(first+int64(done), [][]int32{counts})
		done += k
	}
}

func begin(t *testing.T) (*Recorder, *Store) {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "recordings")
	r := NewRecorder(folder, func(text string) { t.Error("problem told:", text) }, nil)
	r.wait = 10 * time.Millisecond
	r.Begin(1, acquire.Info{Address: "demo:finger", Channels: []acquire.Channel{twelve}}, 250, time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC))
	return r, NewStore(folder)
}

// check reads a recording and compares it with what feed told from position start on.
func check(t *testing.T, store *Store, id string, start int64, n int64, gap func(i int64) bool) *recording.File {
	t.Helper()
	path, err := store.Path(id)
	if err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if f.Len() != n {
		t.Fatalf("%s holds %d samples, want %d", id, f.Len(), n)
	}
	counts := [][]int32{make([]int32, n)}
	if got, err := f.ReadAt(counts, 0); int64(got) != n {
		t.Fatalf("read %d of %d samples: %v", got, n, err)
	}
	for i, v := range counts[0] {
		want := int32((start + int64(i)) % 4096)
		if gap != nil && gap(int64(i)) {
			want = acquire.MissingCount
		}
		if v != want {
			t.Fatalf("sample %d is %d, want %d", i, v, want)
		}
	}
	return f
}

func TestRecordWithNotesBeatsAndAGap(t *testing.T) {
	r, store := begin(t)
	if _, err := r.Stop(); !errors.Is(err, ErrNotRecording) {
		t.Errorf("stopping nothing: %v", err)
	}
	feed(r, 0, 1000)
	if _, err := r.Start("lamp clip", 0, 0, "first try"); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Start("again", 0, 0, ""); !errors.Is(err, ErrRecording) {
		t.Errorf("a second recording at once: %v", err)
	}
	feed(r, 1000, 1000)
	r.Beats(0, []beat.Beat{{Sample: 1500, Kind: beat.Pulse, Quality: 0.9}, {Sample: 1700, Kind: beat.Pulse, Quality: 0.9}}, 1)
	r.Note(1600, "trimmer turned")
	r.Gap(2000, 500, "the source was away")
	feed(r, 2500, 500)
	state, err := r.Stop()
	if err != nil {
		t.Fatal(err)
	}
	f := check(t, store, state.ID, 1000, 2000, func(i int64) bool { return i >= 1000 && i < 1500 })
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

// TestBeatsOfTwoChannels: a beat keeps its channel and is no note for a person.
func TestBeatsOfTwoChannels(t *testing.T) {
	r, store := begin(t)
	r.Begin(2, acquire.Info{Channels: []acquire.Channel{twelve, twelve}}, 250, time.Now())
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
		t.Errorf("beats are replayed as notes: %q", notes)
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
	if _, err := r.Keep("x", 1); !errors.Is(err, ErrNothing) {
		t.Errorf("keeping nothing: %v", err)
	}
	feed(r, 0, 250*60*11) // eleven minutes: one more than is remembered
	state, err := r.Keep("what was that", 2)
	if err != nil {
		t.Fatal(err)
	}
	check(t, store, state.ID, 250*60*9, 250*60*2, nil)
	state, err = r.Keep("all", 10)
	if err != nil {
		t.Fatal(err)
	}
	check(t, store, state.ID, 250*60, 250*60*10, nil)
	// A recording may begin in the past and go on.
	if _, err = r.Start("on", 0, 0.5, ""); err != nil {
		t.Fatal(err)
	}
	feed(r, 250*60*11, 1000)
	if state, err = r.Stop(); err != nil {
		t.Fatal(err)
	}
	check(t, store, state.ID, 250*60*11-250*30, 250*30+1000, nil)
}

// TestCountsBeyond24Bits: a board that prints millivolts with four decimals and states
// no range needs 26 bits; nothing of that is lost.
func TestCountsBeyond24Bits(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "recordings")
	r := NewRecorder(folder, func(text string) { t.Error("problem told:", text) }, nil)
	r.wait = 10 * time.Millisecond
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
	path, err := NewStore(folder).Path(state.ID)
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
	feed(r, 0, 100)
	state, err := r.Start("short", 0.1, 0, "") // 6 s
	if err != nil {
		t.Fatal(err)
	}
	feed(r, 100, 250*10)
	for i := 0; r.State() != nil; i++ {
		if i > 500 {
			t.Fatal("the recording did not end")
		}
		time.Sleep(10 * time.Millisecond)
	}
	check(t, store, state.ID, 100, 250*6, nil)
}

func TestNewSourceEndsTheRecording(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 100)
	state, err := r.Start("first", 0, 0, "")
	if err != nil {
		t.Fatal(err)
	}
	feed(r, 100, 100)
	r.Begin(2, acquire.Info{Channels: []acquire.Channel{twelve, twelve}}, 100, time.Now())
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
	check(t, store, state.ID, 100, 100, nil)
}

func TestBoardThatChangesItsChannelsEndsTheRecordingLoudly(t *testing.T) {
	told := make(chan string, 1)
	r := NewRecorder(t.TempDir(), func(text string) { told <- text }, nil)
	info := acquire.Info{Address: "serial:x", Channels: []acquire.Channel{twelve}}
	r.Begin(1, info, 250, time.Now())
	feed(r, 0, 100)
	if _, err := r.Start("walk", 0, 0, ""); err != nil {
		t.Fatal(err)
	}
	info.Channels = []acquire.Channel{twelve, twelve}
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
	r := NewRecorder(filepath.Join(folder, "x"), nil, nil)
	r.Begin(1, acquire.Info{Channels: []acquire.Channel{twelve}}, 250, time.Now())
	feed(r, 0, 10)
	if _, err := r.Start("x", 0, 0, ""); err == nil || !strings.Contains(err.Error(), "-data") {
		t.Errorf("recording into a read-only folder: %v, want the remedy", err)
	}
	feed(r, 10, 10)
}

func TestRenameNoteTrashRestoreAndUpload(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 500)
	one, err := r.Keep("one", 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := store.SetNote(one.ID, "board B"); err != nil {
		t.Fatal(err)
	}
	id, err := store.Rename(one.ID, "lamp/../clip: two")
	if err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(id, "/\\:") || !strings.HasPrefix(id, one.ID[:19]) {
		t.Errorf("the renamed file is %q: want a safe name behind the old time", id)
	}
	if e, err := store.Get(id); err != nil || e.Note != "board B" {
		t.Errorf("the note did not move along: %+v, %v", e, err)
	}
	if err := store.Trash(id); err != nil {
		t.Fatal(err)
	}
	if list, _ := store.List(); len(list) != 0 {
		t.Errorf("trashed, but listed: %v", list)
	}
	if trash := store.Trashed(); len(trash) != 1 || trash[0].ID != id || trash[0].Bytes == 0 {
		t.Errorf("in the trash: %+v, want %s", trash, id)
	}
	back, err := store.Restore(id)
	if err != nil || back != id {
		t.Errorf("restored as %q, %v", back, err)
	}
	check(t, store, back, 0, 500, nil)
	if trash := store.Trashed(); len(trash) != 0 {
		t.Errorf("restored, but in the trash: %+v", trash)
	}

	e, err := store.Add("../../evil.csv", strings.NewReader("# rate 100 Hz\npulse\n1\n2\n3\n"))
	if err != nil {
		t.Fatal(err)
	}
	if e.ID != "evil.csv" || e.RateHz != 100 {
		t.Errorf("taken in as %+v", e)
	}
	if again, err := store.Add("evil.csv", strings.NewReader("# rate 100 Hz\npulse\n1\n2\n3\n")); err != nil || again.ID != "evil 2.csv" {
		t.Errorf("the same name again: %+v, %v; nothing may be overwritten", again, err)
	}
	for name, content := range map[string]string{"x.exe": "MZ", "x.edf": "not a recording", "noext": "1\n2\n"} {
		if e, err := store.Add(name, strings.NewReader(content)); err == nil {
			t.Errorf("%s was taken in as %+v", name, e)
		}
	}
	files, _ := filepath.Glob(filepath.Join(store.Folder(), ".incoming*"))
	if len(files) != 0 {
		t.Errorf("left behind: %v", files)
	}
}

func TestIDsCannotLeaveTheFolder(t *testing.T) {
	_, store := begin(t)
	outside := filepath.Join(filepath.Dir(store.Folder()), "secret.csv")
	if err := os.WriteFile(outside, []byte("1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_ = os.MkdirAll(store.Folder(), 0o755)
	_ = os.Symlink(outside, filepath.Join(store.Folder(), "link.csv"))
	for _, id := range []string{"../secret.csv", "..", ".", "", "/etc/passwd", `..\secret.csv`, ".settings.json", ".trash", "a/b.edf", "x\x00.edf", "link.csv", "none.edf"} {
		if p, err := store.Path(id); !errors.Is(err, ErrNoRecording) {
			t.Errorf("id %q led to %q, %v", id, p, err)
		}
		if err := store.Trash(id); err == nil {
			t.Errorf("id %q could be trashed", id)
		}
		if _, err := store.Restore(id); err == nil {
			t.Errorf("id %q could be restored", id)
		}
	}
}

func TestSettingsAreRememberedBySource(t *testing.T) {
	folder := t.TempDir()
	s := NewSettings(folder, nil)
	scale := channel.Scale{Source: "converter", ReferenceVolts: 3.3, Bits: 12, Gain: 1}
	for volts := range 200 { // a slider that is drawn: the last place counts
		scale.ReferenceVolts = float64(volts)
		s.Save("serial:/dev/board?baud=9600", []channel.Settings{{Label: "pulse", Kind: "pulse", Scale: scale}})
	}
	s.Close()
	if said, ok := NewSettings(folder, nil).Load("serial:/dev/board?baud=115200", 0, "pulse"); !ok || *said.Kind != "pulse" || *said.Scale != scale {
		t.Fatalf("remembered are %+v, %v; want %+v", said, ok, scale)
	}
	if _, ok := s.Load("serial:/dev/board", 0, "ecg"); ok {
		t.Error("a channel with another name got the settings")
	}
}

// TestClockThatJumps: the computer's clock is set back an hour and forth again while
// recording; samples count the time, and no recording takes the place of another.
func TestClockThatJumps(t *testing.T) {
	r, store := begin(t)
	info := acquire.Info{Address: "demo:finger", Channels: []acquire.Channel{twelve}}
	start := time.Date(2026, 3, 1, 19, 42, 5, 0, time.UTC)
	ids := map[string]bool{}
	for epoch, t0 := range []time.Time{start, start, start.Add(-time.Hour), start, start.Add(1000 * time.Hour)} {
		r.Begin(uint32(epoch+2), info, 250, t0)
		feed(r, 0, 300)
		state, err := r.Start("lamp clip", 0, 1, "")
		if err != nil {
			t.Fatal(err)
		}
		feed(r, 300, 700)
		if _, err := r.Stop(); err != nil {
			t.Fatal(err)
		}
		if ids[state.ID] {
			t.Errorf("two recordings are called %q", state.ID)
		}
		ids[state.ID] = true
		check(t, store, state.ID, 0, 1000, nil).Close()
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

// TestBriefList: without reading annotations the list is the same but for the median
// rate and the number of notes; read once, they are there in the brief one too.
func TestBriefList(t *testing.T) {
	r, store := begin(t)
	feed(r, 0, 100)
	if _, err := r.Start("lamp clip", 0, 1, "a note"); err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		feed(r, int64(100+200*i), 200)
		r.Beats(0, []beat.Beat{{Sample: int64(200 * i), Kind: beat.Pulse, Quality: 0.9}}, 1)
	}
	state, err := r.Stop()
	if err != nil {
		t.Fatal(err)
	}
	list := func(f func() ([]Entry, error)) Entry {
		t.Helper()
		l, err := f()
		if err != nil || len(l) != 1 {
			t.Fatalf("%v, %v", l, err)
		}
		return l[0]
	}
	brief := list(store.Brief)
	if brief.ID != state.ID || brief.Seconds != 4.4 || brief.RateHz != 250 || brief.MedianBPM != 0 || brief.Annotations != 0 {
		t.Errorf("brief: %+v", brief)
	}
	// Beats 200 samples apart at 250 Hz are 75 a minute.
	full := list(store.List)
	if full.MedianBPM != 75 || full.Annotations != 1 || full.Seconds != brief.Seconds {
		t.Errorf("full: %+v", full)
	}
	if again := list(store.Brief); again.MedianBPM != 75 || again.Annotations != 1 {
		t.Errorf("brief after it was read: %+v", again)
	}
	if _, err := store.loadPyramid(state.ID); err != nil {
		t.Fatal(err)
	}
	id, err := store.Rename(state.ID, "board B")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.loadPyramid(id); err != nil {
		t.Errorf("the overview did not move along: %v", err)
	}
	if err := store.Trash(id); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(store.pyramidPath(id)); err == nil {
		t.Error("the overview of a recording in the trash is left behind")
	}
}
