package library

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const threeSamples = "# rate 100 Hz\npulse\n1\n2\n3\n"

// TestEmptyTrash deletes what was named and nothing else.
func TestEmptyTrash(t *testing.T) {
	recorder, store := begin(t)
	for _, name := range []string{"a.csv", "b.csv", "c.csv", "d.csv"} {
		e, err := store.Add(name, strings.NewReader(threeSamples), Reading{})
		if err == nil {
			err = store.SetNote(e.ID, "of "+name)
		}
		if err == nil && name != "d.csv" {
			err = store.Trash(e.ID)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	left := func() (ids []string) {
		for _, x := range store.Trashed() {
			ids = append(ids, x.ID)
		}
		return ids
	}
	for _, body := range []string{`{}`, `{"ids":[]}`, ``} {
		if code, answer := ask(t, store, recorder, "DELETE", "/trash", body); code < 400 || code >= 500 || len(left()) != 3 {
			t.Errorf("body %q: %d %s, left %v; nothing was named", body, code, answer, left())
		}
	}
	// d is not in the trash, the rest are no names.
	code, answer := ask(t, store, recorder, "DELETE", "/trash", `{"ids":["a.csv","c.csv","d.csv","../d.csv","*",""]}`)
	var out struct{ Deleted []Trashed }
	if err := json.Unmarshal(answer, &out); err != nil || code != http.StatusOK || len(out.Deleted) != 2 || out.Deleted[0].Bytes != int64(len(threeSamples)) {
		t.Errorf("%d %s, want a.csv and c.csv deleted", code, answer)
	}
	if !slices.Equal(left(), []string{"b.csv"}) {
		t.Errorf("left in the trash: %v, want b.csv", left())
	}
	if _, err := store.Path("d.csv"); err != nil {
		t.Errorf("d.csv was not in the trash: %v", err)
	}
	data, err := os.ReadFile(filepath.Join(store.Folder(), notesName))
	if err != nil || strings.Contains(string(data), "of a.csv") || !strings.Contains(string(data), "of b.csv") || !strings.Contains(string(data), "of d.csv") {
		t.Errorf("remarks kept: %s, %v", data, err)
	}
}
