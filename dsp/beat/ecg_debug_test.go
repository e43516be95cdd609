package beat

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

func TestDebugErrors(t *testing.T) {
	want := os.Getenv("DBG")
	if want == "" {
		t.Skip()
	}
	data := openData(t, "mitdb")
	for _, name := range strings.Split(want, ",") {
		x, second, _ := mitdata.Signal(data, name)
		if os.Getenv("LEAD2") != "" {
			x = second
		}
		ann, _ := mitdata.Annotations(data, name)
		code := map[int64]int{}
		for _, a := range ann {
			code[a.Sample] = a.Code
		}
		ref := score.FromAnnotations(ann)
		d, _ := NewECG(360)
		var cands []Candidate
		d.Explain(func(c Candidate) { cands = append(cands, c) })
		var got []int64
		for _, b := range d.Process(nil, x) {
			got = append(got, b.Sample)
		}
		r, _ := score.Match(ref, got, score.Config{RateHz: 360})
		show := func(kind string, s int64) {
			fmt.Printf("%s %s %d (%.2f s) code %d\n", name, kind, s, float64(s)/360, code[s])
			for _, c := range cands {
				if c.Sample > s-200 && c.Sample < s+200 {
					fmt.Printf("    %+4d ms f %.1f thr %.1f agree %.2f floor %.1f taken %v %s\n", (c.Sample-s)*1000/360, c.Feature, c.Threshold, c.Agreement, c.Floor, c.Taken, c.Reason)
				}
			}
		}
		for _, s := range r.Missed {
			show("MISSED", s)
		}
		for _, s := range r.Extra {
			show("EXTRA", s)
		}
	}
}
