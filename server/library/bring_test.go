package library

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
)

// doubtful is a text file of 125 Hz that does not say it, in volts that it does not say.
func doubtful(rows int) string {
	var b strings.Builder
	b.WriteString("when;lamp clip;room\n")
	for i := range rows {
		fmt.Fprintf(&b, "%d;%d,%02d;%d\n", 8*i, i%3, i%100, i%7)
	}
	return b.String()
}

// TestSaidOnImportStays: how a text file is to be read, its unit and kind hold wherever it is opened
// afterwards, through renaming, trash and a copy; a file of the same head is previewed with them.
func TestSaidOnImportStays(t *testing.T) {
	store := NewStore(t.TempDir())
	how := Reading{Kinds: []string{"ecg"}}
	how.Time, how.Columns, how.Units = "when [ms]", []string{"2"}, []string{"mV"}
	e, err := store.Add("evening class.txt.gz", packed(t, doubtful(500)), how)
	if err != nil {
		t.Fatal(err)
	}
	if e.ID != "evening class.csv" || len(e.Channels) != 1 || e.Told == nil {
		t.Fatalf("%+v", e)
	}
	check := func(id string) {
		t.Helper()
		got, err := store.Get(id)
		if err != nil {
			t.Fatal(err)
		}
		reviews := NewReviews(store)
		defer reviews.Close()
		detail, err := reviews.Detail(id, false)
		if err != nil {
			t.Fatal(err)
		}
		c := detail.ChannelDetails[0]
		if math.Abs(got.RateHz-125) > 1e-9 || len(got.Channels) != 1 || c.Kind != "ecg" || c.Unit != "V" || c.Label != "lamp clip" {
			t.Errorf("%s: %g Hz, %v, %+v", id, got.RateHz, got.Channels, c)
		}
		part, err := reviews.Part(id, 0, 0, 100)
		if err != nil {
			t.Fatal(err)
		}
		defer part.Rec.File.Close()
		if v := part.Rec.Info.Channels[0].VoltsPerCount; math.Abs(v-1e-5) > 1e-12 {
			t.Errorf("%s: a count is %g V", id, v)
		}
	}
	check(e.ID)
	id, err := store.Rename(e.ID, "another evening")
	if err != nil {
		t.Fatal(err)
	}
	check(id)
	id = trashAndRestore(t, store, id)
	check(id)
	check2 := NewStore(store.Folder())
	if got, err := check2.Get(id); err != nil || math.Abs(got.RateHz-125) > 1e-9 {
		t.Errorf("another run: %+v, %v", got, err)
	}
	_, f := edfCopy(t, store, id)
	if d := f.Describe(); math.Abs(d.ClaimedRateHz-125) > 1e-9 || len(d.Channels) != 1 || d.Channels[0].Unit != "V" {
		t.Errorf("the copy is %+v", d)
	}

	p, err := store.Preview("next.csv", []byte(doubtful(300)), true, Reading{})
	if err != nil || p.Remembered == nil || p.Remembered.Time != "when [ms]" || p.Remembered.Kinds[0] != "ecg" {
		t.Fatalf("%+v, %v", p.Remembered, err)
	}
	p, err = store.Preview("next.csv", []byte(doubtful(300)), true, *p.Remembered)
	if err != nil || len(p.Channels) != 1 || math.Abs(p.Seconds-2.4) > 1e-9 || p.NoRate {
		t.Errorf("%+v, %v", p, err)
	}
	if low, high := p.Channels[0].Low[0], p.Channels[0].High[250]; low == nil || *low != 0 || high == nil || math.Abs(*high-1.5e-3) > 1e-9 {
		t.Errorf("the trace's first and 251st column are %v and %v V", *low, *high)
	}
}

func packed(t *testing.T, text string) io.Reader {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if _, err := io.WriteString(z, text); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return &b
}

// TestPreviewOfABeginning: a cut file is looked at up to its last whole line, packed or not, and one
// without a rate is shown all the same.
func TestPreviewOfABeginning(t *testing.T) {
	store := NewStore(t.TempDir())
	text := "pulse [V]\n" + strings.Repeat("1.5\n1.25\n", 1000)
	p, err := store.Preview("a.csv", []byte(text[:1003]), false, Reading{})
	if err != nil || !p.NoRate || p.Text.RateHz != 0 || len(p.Channels) != 1 || p.Whole || *p.Channels[0].Low[219] < 1.25 {
		t.Errorf("%+v, %v", p, err)
	}
	all, err := io.ReadAll(packed(t, text+fmt.Sprint(strings.Repeat("0.5\n", 1<<18))))
	if err != nil {
		t.Fatal(err)
	}
	how := Reading{}
	how.RateHz = 100
	if p, err = store.Preview("a.csv.gz", all[:len(all)/2], false, how); err != nil || p.NoRate || p.Text.RateHz != 100 || p.Whole {
		t.Errorf("%+v, %v", p, err)
	}
	for _, wrong := range []struct{ name, head, want string }{
		{"a.csv", "words\nand words\n", "no row of numbers"},
		{"a.csv.gz", "words", "not packed so"},
		{"a.pdf", "\x00\x01", "not a format"},
		{"a.csv", "", "empty"},
	} {
		if _, err := store.Preview(wrong.name, []byte(wrong.head), true, Reading{}); err == nil || !strings.Contains(err.Error(), wrong.want) {
			t.Errorf("%q: %v, want %q in it", wrong.head, err, wrong.want)
		}
	}
}

// parts gives files as a request of several parts does.
func parts(t *testing.T, files map[string][]byte) func() (*multipart.Part, error) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for name, data := range files {
		p, err := w.CreateFormFile("file", name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	w.Close()
	return multipart.NewReader(&b, w.Boundary()).NextPart
}

// TestAddRecord: a record's files become one EDF+ with its beats; what is missing is named, nothing is left over.
func TestAddRecord(t *testing.T) {
	store := NewStore(t.TempDir())
	files := map[string][]byte{}
	for _, ext := range []string{".hea", ".dat", ".atr"} {
		data, err := os.ReadFile("../../testdata/chest_lead_a" + ext)
		if err != nil {
			t.Fatal(err)
		}
		files["chest_lead_a"+ext] = data
	}
	e, err := store.AddRecord(parts(t, files), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open("../../testdata/chest_lead_a.hea")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	g, err := Open(filepath.Join(store.Folder(), e.ID), recording.OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	marked, _, _ := recording.TakeMarked(g.Annotations(), 250)
	if !sameSamples(t, f, g) || len(marked) < 20 || !e.Invented {
		t.Errorf("the record came as %+v with %d beats", e, len(marked))
	}
	for _, wrong := range []struct {
		files map[string][]byte
		want  string
	}{
		{map[string][]byte{"chest_lead_a.hea": files["chest_lead_a.hea"]}, "chest_lead_a.dat"},
		{map[string][]byte{"chest_lead_a.dat": files["chest_lead_a.dat"]}, ".hea"},
		{map[string][]byte{"a.hea": []byte("a 1 250\n../../x.dat 16 200 0 0 0 0 0 x\n")}, "own folder"},
		{map[string][]byte{".hea": []byte("x")}, "give each its name"},
		{map[string][]byte{}, "no header"},
		{map[string][]byte{"a.hea": files["chest_lead_a.hea"], "b2.hea": files["chest_lead_a.hea"], "chest_lead_a.dat": files["chest_lead_a.dat"]}, "one record at a time"},
	} {
		_, err := store.AddRecord(parts(t, wrong.files), Reading{})
		if err == nil || !strings.Contains(err.Error(), wrong.want) || strings.Contains(err.Error(), store.Folder()) {
			t.Errorf("%v, want %q in it and no folder", err, wrong.want)
		}
	}
	onlyThese(t, store, e.ID)
}

func sameSamples(t *testing.T, f, g *recording.File) bool {
	t.Helper()
	if f.Len() != g.Len() {
		return false
	}
	a, b := [][]int32{make([]int32, f.Len())}, [][]int32{make([]int32, f.Len())}
	for _, r := range []struct {
		f *recording.File
		c [][]int32
	}{{f, a}, {g, b}} {
		if _, err := r.f.ReadAt(r.c, 0); err != nil && err != io.EOF {
			t.Fatal(err)
		}
	}
	ca, cb := f.Describe().Channels[0], g.Describe().Channels[0]
	for i := range a[0] {
		va, vb := float64(a[0][i])*ca.VoltsPerCount+ca.OffsetVolts, float64(b[0][i])*cb.VoltsPerCount+cb.OffsetVolts
		if math.Abs(va-vb) > 1e-9 {
			return false
		}
	}
	return true
}

// onlyThese tells that nothing but the recordings is in the folder.
func onlyThese(t *testing.T, store *Store, ids ...string) {
	t.Helper()
	found, err := os.ReadDir(store.Folder())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range found {
		if strings.HasPrefix(e.Name(), incoming) {
			t.Errorf("left over: %s", e.Name())
		}
	}
	list, err := store.List()
	if err != nil || len(list) != len(ids) {
		t.Errorf("%d recordings, want %v; %v", len(list), ids, err)
	}
}

// TestImportEnds: an import that is cancelled while a long text is read keeps nothing.
func TestImportEnds(t *testing.T) {
	store := NewStore(t.TempDir())
	ctx, stop := context.WithCancelCause(context.Background())
	enough := errors.New("enough")
	how := Reading{}
	how.Context = ctx
	how.Time = "when [ms]"
	told := 0
	how.Progress = func(share float64) {
		if told++; share > 0.3 {
			stop(enough)
		}
	}
	_, err := store.Add("long.csv", strings.NewReader(doubtful(200_000)), how)
	if err == nil || !strings.Contains(err.Error(), "enough") || told < 3 {
		t.Errorf("%v after %d shares", err, told)
	}
	if err != nil && strings.Contains(err.Error(), store.Folder()) {
		t.Errorf("a path in %q", err)
	}
	onlyThese(t, store)
}

// TestNothingOfAnotherFile: what was said of a file that somebody removed by hand does not come to the next of its name;
// a bomb is refused; a note that reads as one of the program's stays a note.
func TestNothingOfAnotherFile(t *testing.T) {
	store := NewStore(t.TempDir())
	how := Reading{Kinds: []string{"ecg"}}
	how.RateHz = 250
	e, err := store.Add("a.csv", strings.NewReader("ppg\n1\n2\n3\n"), how)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(store.SetNote(e.ID, "old remark"), store.AddMark(e.ID, recording.Annotation{Sample: 1, Text: "beat pulse 0.9"})); err != nil {
		t.Fatal(err)
	}
	if marks := store.Marks(e.ID); len(marks) != 1 || !recording.IsNote(marks[0].Text) || !strings.Contains(marks[0].Text, "beat pulse 0.9") {
		t.Errorf("the note is %+v", marks)
	}
	if err := os.Remove(filepath.Join(store.Folder(), e.ID)); err != nil {
		t.Fatal(err)
	}
	again, err := store.Add("a.csv", strings.NewReader("t_ms,x\n0,1\n4,2\n8,3\n"), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	if again.ID != e.ID || again.Note != "" || again.RateHz != 250 || len(store.Marks(e.ID)) > 0 || !Said(filepath.Join(store.Folder(), e.ID)).Empty() {
		t.Errorf("the new file is %+v", again)
	}
	if _, err := store.Add("bomb.csv.gz", packed(t, strings.Repeat("1,2\n", 40<<20)), Reading{}); err == nil || !strings.Contains(err.Error(), "far more than a packed recording does") {
		t.Errorf("a bomb: %v", err)
	}
	onlyThese(t, store, e.ID)
}

// TestTwoProgramsOnAFolder: what two stores of one folder say at the same time is all kept.
func TestTwoProgramsOnAFolder(t *testing.T) {
	folder := t.TempDir()
	a, b := NewStore(folder), NewStore(folder)
	var ids []string
	for n := range 8 {
		e, err := a.Add(fmt.Sprintf("r%d.csv", n), strings.NewReader("t_ms,x\n0,1\n4,2\n8,3\n"), Reading{})
		if err != nil {
			t.Fatal(err)
		}
		ids = append(ids, e.ID)
	}
	kind := "ecg"
	var wait sync.WaitGroup
	for k, store := range []*Store{a, b} {
		for n, id := range ids {
			wait.Go(func() {
				err := store.AddMark(id, recording.Annotation{Sample: int64(k), Text: fmt.Sprintf("note of program %d", k)})
				if k == n%2 {
					err = errors.Join(err, store.Say(id, []ChannelChange{{Said: channel.Said{Kind: &kind}}}), store.SetNote(id, "a remark"))
				}
				if err != nil {
					t.Error(err)
				}
			})
		}
	}
	wait.Wait()
	for _, id := range ids {
		e, err := a.Get(id)
		if err != nil || e.Note != "a remark" || len(a.Marks(id)) != 2 || *Said(filepath.Join(folder, id)).Of(0).Kind != "ecg" {
			t.Errorf("%s: %+v, %d notes, %v", id, e, len(a.Marks(id)), err)
		}
	}
}
