package library

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire/recording"
	"pulsewright/server/library/recorder"
	"pulsewright/server/library/recorder/recordertest"
)

// shownChannel is what GET /recordings/{id} tells of a channel.
type shownChannel struct {
	Label string
	Kind  string
	Unit  string
	Scale struct {
		Source                        string
		Gain                          float64
		Invert                        bool
		SupplyLowVolts, MidRailVolts  *float64
		SupplyHighVolts, StepVolts    *float64
		FullScaleVolts, ReferenceVolt float64
	}
	From      map[string]string
	StepVolts float64
}

func toldOf(t *testing.T, r *recorder.Recorder, store *Store, id string) shownChannel {
	t.Helper()
	code, body := ask(t, store, r, "GET", "/recordings/"+url.PathEscape(id), "")
	var d struct {
		Channels       []string
		ChannelDetails []shownChannel
	}
	if err := json.Unmarshal(body, &d); code != http.StatusOK || err != nil || len(d.ChannelDetails) != 1 {
		t.Fatalf("%s: %d %s %v", id, code, body, err)
	}
	if d.Channels[0] != d.ChannelDetails[0].Label {
		t.Errorf("the list says %q, the details %q", d.Channels[0], d.ChannelDetails[0].Label)
	}
	return d.ChannelDetails[0]
}

const chestLeadSaid = `{"channels":[{"channel":0,"label":"chest lead","kind":"ecg","scale":{"source":"converter","referenceVolts":5,"bits":10,"gain":100,"invert":true,
	"supplyLowVolts":0,"supplyHighVolts":5,"midRailVolts":2.5,"fullScaleVolts":0,"couplingHz":0,"couplingFloorHz":0,"signed":false}}]}`

// TestSaidAfterwards: what is said of a channel of a recording that was brought in, a CSV of plain
// numbers, stays beside it, follows it everywhere, is inside of its EDF+ download, and no
// sample changes. The step is 5 V ÷ 2^10 ÷ 100.
func TestSaidAfterwards(t *testing.T) {
	r, store := begin(t)
	e, err := store.Add("board.csv", strings.NewReader("# rate 250 Hz\nvalue\n512\n513\n600\n400\n512\n"), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	id := e.ID
	before, err := os.ReadFile(store.Folder() + "/" + id)
	if err != nil {
		t.Fatal(err)
	}
	if c := toldOf(t, r, store, id); c.Unit != "counts" || c.Label != "value" {
		t.Errorf("nothing was said, and it is %+v", c)
	}
	if code, answer := ask(t, store, r, "PATCH", "/recordings/"+id, chestLeadSaid); code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	asSaid := func(id, place string) {
		t.Helper()
		c := toldOf(t, r, store, id)
		if c.Label != "chest lead" || c.Kind != "ecg" || c.Unit != "V" || !c.Scale.Invert || c.Scale.Gain != 100 || c.Scale.SupplyHighVolts == nil || *c.Scale.SupplyHighVolts != 5 {
			t.Errorf("it is %+v", c)
		}
		if c.StepVolts != 5.0/1024/100 || c.From["kind"] != place {
			t.Errorf("a count is %g V, the kind from %q", c.StepVolts, c.From["kind"])
		}
	}
	asSaid(id, "said")
	if id, err = store.Rename(id, "second try"); err != nil {
		t.Fatal(err)
	}
	asSaid(id, "said")
	id = trashAndRestore(t, store, id)
	asSaid(id, "said")
	if after, err := os.ReadFile(store.Folder() + "/" + id); err != nil || string(after) != string(before) {
		t.Errorf("the file itself changed: %v", err)
	}

	code, edf := ask(t, store, r, "GET", "/recordings/"+url.PathEscape(id)+"/file?as=edf", "")
	if code != http.StatusOK {
		t.Fatalf("%d %s", code, edf)
	}
	copied, err := store.Add("copied.bdf", strings.NewReader(string(edf)), Reading{})
	if err != nil {
		t.Fatal(err)
	}
	asSaid(copied.ID, "recorded")
	path, err := store.Path(copied.ID)
	if err != nil {
		t.Fatal(err)
	}
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if label := f.Describe().Channels[0].Label; label != "chest lead" {
		t.Errorf("the copy's own label is %q", label)
	}
	counts := [][]int32{make([]int32, 5)}
	if n, err := f.ReadAt(counts, 0); n != 5 || err != nil || counts[0][0] != 512 || counts[0][2] != 600 || counts[0][3] != 400 {
		t.Errorf("the copy holds %v: %v", counts, err)
	}
	if _, csv := ask(t, store, r, "GET", "/recordings/"+url.PathEscape(id)+"/file?as=csv", ""); !strings.Contains(string(csv), "chest lead [V]") {
		t.Errorf("CSV: %s", csv)
	}

	if code, answer := ask(t, store, r, "PATCH", "/recordings/"+url.PathEscape(id), `{"channels":[{"channel":0,"forget":true}]}`); code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	if c := toldOf(t, r, store, id); c.Unit != "counts" || c.Label != "value" {
		t.Errorf("taken back, and it is %+v", c)
	}
}

// TestSaidWrongly: a mistake is told in words and nothing of the request is kept.
func TestSaidWrongly(t *testing.T) {
	r, store := begin(t)
	recordertest.Feed(r, 0, 500)
	state, err := r.Keep("lamp", 1)
	if err != nil {
		t.Fatal(err)
	}
	for body, want := range map[string]string{
		`{"channels":[{"channel":0,"kind":"ecg"},{"channel":1,"kind":"ecg"}]}`:                  "counted from 0",
		`{"channels":[{"channel":0,"kind":"toe"}]}`:                                             "toe",
		`{"channels":[{"channel":0,"label":""}]}`:                                               "give one",
		`{"channels":[{"channel":0,"scale":{"source":"converter","gain":0}}]}`:                  "reference",
		`{"channels":[{"channel":0,"scale":{"source":"board","gain":1,"midRailVolts":1e300}}]}`: "mid-rail",
		`{"channels":[{"channel":0,"unit":"a unit that is far too long to be a unit"}]}`:        "unit",
		`{"channels":[{"channel":0,"label":"lamp` + `\u0007` + `"}]}`:                           "control",
		`{"channels":[{"channel":0,"kind":"ecg"},{"channel":0,"kind":"pulse"}]}`:                "twice",
		`{"channels":[{"channel":0,"label":"lamp` + "\u202e" + `"}]}`:                           "U+202E",
		`{"channels":[{"channel":-1,"kind":"ecg"}]}`:                                            "channel -1",
	} {
		code, answer := ask(t, store, r, "PATCH", "/recordings/"+url.PathEscape(state.ID), body)
		if code < 400 || code > 499 || !strings.Contains(string(answer), want) {
			t.Errorf("%s: %d %s, want %q", body, code, answer, want)
		}
	}
	if c := toldOf(t, r, store, state.ID); c.Kind != "pulse" {
		t.Errorf("something was kept: %+v", c)
	}
}

// TestRemarkAndSaidGoAlong: the remark on a recording and what was said of its channels are in every download, in an
// archive of recordings as they are too, and a remark taken away stays away; a recording of which nothing was said is
// in it as it is.
func TestRemarkAndSaidGoAlong(t *testing.T) {
	r, store := begin(t)
	const board, remark = "value\n512\n513\n600\n400\n512\n", "said note; ä\n\"B\""
	e, err := store.Add("board.csv", strings.NewReader(board), Reading{OpenOptions: recording.OpenOptions{RateHz: 250}})
	if err != nil {
		t.Fatal(err)
	}
	if code, answer := ask(t, store, r, "PATCH", "/recordings/"+e.ID, chestLeadSaid); code != http.StatusOK {
		t.Fatalf("%d %s", code, answer)
	}
	if err := store.SetNote(e.ID, remark); err != nil {
		t.Fatal(err)
	}
	taken := func(id, as string) (string, *bytes.Reader) {
		t.Helper()
		var b bytes.Buffer
		if err := store.Archive(context.Background(), &b, []string{id}, as); err != nil {
			t.Fatal(err)
		}
		z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
		if err != nil || len(z.File) != 1 {
			t.Fatal(err)
		}
		f, err := z.File[0].Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		return "copy of " + z.File[0].Name, bytes.NewReader(data)
	}
	add := func(name string, r io.Reader) Imported {
		t.Helper()
		copied, err := store.Add(name, r, Reading{})
		if err != nil {
			t.Fatal(err)
		}
		return copied
	}
	text := func(_ string, r io.Reader) string {
		data, _ := io.ReadAll(r) // of memory
		return string(data)
	}
	from := e.ID
	for _, as := range []string{"wav", "", "csv", "", "edf", ""} {
		copied := add(taken(from, as))
		if copied.Note != remark || copied.Channels[0] != "chest lead" || copied.Kinds[0] != "ecg" {
			t.Errorf("from %s as %q: %+v", from, as, copied.Entry)
		}
		from = copied.ID
	}
	for _, as := range []string{"", "edf", "csv", "wav"} {
		if err := store.SetNote(from, ""); err != nil {
			t.Fatal(err)
		}
		copied := add(taken(from, as))
		list, err := store.List()
		if err != nil || copied.Note != "" || slices.ContainsFunc(list, func(e Entry) bool { return e.ID == from && e.Note != "" }) {
			t.Errorf("as %q: the remark that was taken away is there again: %q, %v", as, copied.Note, err)
		}
	}
	if e, err = store.Add("board 2.csv", strings.NewReader(board), Reading{OpenOptions: recording.OpenOptions{RateHz: 250}}); err != nil {
		t.Fatal(err)
	}
	if text := text(taken(e.ID, "")); !strings.Contains(text, "# rate 250 Hz") {
		t.Errorf("how it is read is not in it: %q", text)
	}
	const plain = "# rate 250 Hz\n" + board
	if e, err = store.Add("board 3.csv", strings.NewReader(plain), Reading{}); err != nil {
		t.Fatal(err)
	}
	if text := text(taken(e.ID, "")); text != plain {
		t.Errorf("nothing was said, and it is %q", text)
	}
}
