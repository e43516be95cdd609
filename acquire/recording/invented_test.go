package recording

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// TestInventedStays: what nobody measured says so in the recording field of EDF+ and
// after every change of format; what was measured never does.
func TestInventedStays(t *testing.T) {
	for _, invented := range []bool{true, false} {
		folder := t.TempDir()
		path := filepath.Join(folder, "a.edf")
		w, err := Create(path, Header{Info: acquire.Info{Name: strings.Repeat("a long name ", 9), Invented: invented, ClaimedRateHz: 250, Channels: []acquire.Channel{lampClip()}}, RateHz: 250, Started: anEvening})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write([][]int32{make([]int32, 500)}, 0); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		// The local recording identification: bytes 88 to 167 of the header (Kemp and Olivan 2003).
		if field := string(raw[88:168]); strings.Contains(field, "INVENTED") != invented {
			t.Errorf("invented %v: the recording field is %q", invented, field)
		}
		f, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, as := range []string{"b.csv", "counts.csv", "c.wav", "d.bdf"} {
			to := filepath.Join(folder, as)
			if as == "d.bdf" {
				err = ExportEDF(to, f, ExportOptions{})
			} else {
				err = exportTo(to, f)
			}
			if err != nil {
				t.Fatal(err)
			}
			g, err := Open(to)
			if err != nil {
				t.Fatal(err)
			}
			if got := g.Describe().Invented; got != invented {
				t.Errorf("%s: invented %v, want %v", as, got, invented)
			}
			g.Close()
		}
		f.Close()
	}
}

// exportTo writes a file by the ending of its name; names that begin with counts hold counts.
func exportTo(path string, f *File) error {
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	defer out.Close()
	if strings.HasSuffix(path, ".wav") {
		return ExportWAV(out, f, ExportOptions{})
	}
	return ExportCSV(out, f, ExportOptions{Counts: strings.HasPrefix(filepath.Base(path), "counts")})
}
