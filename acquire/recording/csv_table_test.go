package recording

import (
	"fmt"
	"strings"
	"testing"
)

// TestCSVFirstRow: names that are numbers are names, a first row that is broken is a row, what sums a table up is
// neither; what could be both is asked, and the answer decides it.
func TestCSVFirstRow(t *testing.T) {
	const values = "512,1.5\n530,1.4\n498,1.6\n515,1.5\n514,1.4\n"
	clocked := ""
	for i := range 12 {
		clocked += fmt.Sprintf("%.3f,%d\n", 0.004*float64(i), 512+i%3)
	}
	at250 := OpenOptions{RateHz: 250}
	named := func(o OpenOptions, names string) OpenOptions { o.Names = names; return o }
	for _, c := range []struct {
		name, text string
		options    OpenOptions
		labels     string
		first      string // sample of each channel
		samples    int64
		doubt      string // its text, "" for none
		told       string
	}{
		{"counted, decimals below", "0,1\n" + values, at250, "column 0|column 1", "512 15", 5, `"0 | 1" was taken for the columns' names`, "-names none"},
		{"counted, confirmed", "0,1\n" + values, named(at250, "first-row"), "column 0|column 1", "512 15", 5, "", ""},
		{"counted, denied", "0,1\n" + values, named(at250, "none"), "channel 1|channel 2", "0 10", 6, "", ""},
		{"counted, far from the values", "1,2\n512,700\n530,690\n498,710\n515,705\n", at250, "column 1|column 2", "512 700", 4, `"1 | 2" was taken for`, ""},
		{"counted, as those below", "0,1\n4,2\n8,3\n12,4\n", named(at250, ""), "channel 1|channel 2", "0 1", 4, "", ""},
		{"counted beside an index", ",0,1\n0,512,1.5\n1,530,1.4\n2,498,1.6\n", OpenOptions{RateHz: 250, Columns: []string{"2", "3"}}, "column 0|column 1", "512 15", 3, "", ""},
		{"one column, decimals below", "0\n0.5\n0.6\n0.4\n", at250, "column 0", "5", 3, `"0" was taken for`, ""},
		{"one column", "0\n512\n513\n500\n", at250, "channel 1", "0", 4, "", ""},
		{"a clock, and numbers for names", "time,1,2\n0.000,512,3\n0.004,530,4\n0.008,498,3\n", OpenOptions{}, "column 1|column 2", "512 3", 3, "", ""},
		{"said that it is names", "250,12\n" + values, named(at250, "first-row"), "column 250|column 12", "512 15", 5, "", ""},
		{"a broken first row", "0.000,ERR\n" + clocked[10:], OpenOptions{}, "channel 1", "missing", 12, `"0.000 | ERR" was taken for a sample`, "-names first-row"},
		{"a broken first row below names", "time,adc\n0.000,ERR\n" + clocked[10:], OpenOptions{}, "adc", "missing", 12, "", ""},
		{"words and numbers", "lamp,5\n" + values, at250, "lamp|column 5", "512 15", 5, `"lamp | 5" was taken for the columns' names`, "-names none"},
		{"a mean below the names", "time,adc\nMean,513.8\nMax,530\n" + clocked, OpenOptions{}, "adc", "512", 12, "", "2 rows below the names were left out"},
		{"means below the names", "time,a,b\nMean,513.8,1.5\n" + strings.ReplaceAll(clocked, "\n", ",3\n"), OpenOptions{}, "a|b", "512 3", 12, "", "1 row below the names was left out"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := openBytes([]byte(c.text), "a.csv", c.options)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			var labels, first []string
			for _, ch := range f.Describe().Channels {
				labels = append(labels, ch.Label)
			}
			for _, counts := range all(t, f) {
				if first = append(first, fmt.Sprint(counts[0])); counts[0] < -1e9 {
					first[len(first)-1] = "missing"
				}
			}
			if strings.Join(labels, "|") != c.labels || strings.Join(first, " ") != c.first || f.Len() != c.samples {
				t.Errorf("%q, first %q, %d samples; want %q, %q, %d", labels, first, f.Len(), c.labels, c.first, c.samples)
			}
			asked := ""
			for _, d := range f.Text().Doubts {
				if d.About == "names" {
					asked = d.Text
				}
			}
			if !strings.Contains(asked, c.doubt) || c.doubt == "" && asked != "" {
				t.Errorf("asked %q, want %q", asked, c.doubt)
			}
			if told := strings.Join(f.Remarks(), "; "); !strings.Contains(told, c.told) {
				t.Errorf("told %q, want %q in it", told, c.told)
			}
		})
	}
	if err := (&OpenOptions{Names: "yes"}).Check(); err == nil || !strings.Contains(err.Error(), `names "yes": give first-row or none`) {
		t.Error(err)
	}
}
