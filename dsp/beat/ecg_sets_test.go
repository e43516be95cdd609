package beat

import (
	"archive/tar"
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

// ecgCase is a lead with its reference beats and what of it is scored.
type ecgCase struct {
	name     string
	rateHz   float64
	x        []float64
	ref      score.Reference
	learning float64 // seconds
	own      string  // name of x, as for once; "" where something was done to it
}

// mitCases are one lead, 0 or 1, of the development records of the MIT-BIH Arrhythmia
// Database that are there, in counts of 5 µV, the learning period of EC57 left out.
func mitCases(t testing.TB, lead int) []ecgCase {
	t.Helper()
	data := openData(t, "mitdb")
	var list []ecgCase
	for _, name := range devRecords {
		if _, err := fs.Stat(data, name+".atr"); err != nil {
			continue
		}
		r := readMIT(t, name)
		list = append(list, ecgCase{name, mitdata.RateHz, r.leads[lead], r.ref, score.Learning, fmt.Sprintf("%s/%d", name, lead+1)})
	}
	return list
}

// found are the beats of a case by the detector as it is.
func (c ecgCase) found(t testing.TB) []int64 {
	t.Helper()
	find := func() []int64 { return runECG(t, c.x, c.rateHz, defaultECGParams()) }
	if c.own == "" {
		return find()
	}
	return once("beats of "+c.own, find)
}

// otherCases are the ECG leads of bidmc and challenge2015 fit for scoring.
func otherCases(t testing.TB) []ecgCase {
	t.Helper()
	var list []ecgCase
	for _, name := range present(t, pulseRecords) {
		r := readRecord(t, name)
		for _, l := range ecgLeads(t, name) {
			end := int64(len(l.x)) - int64(0.5*r.rateHz)
			ref := score.Reference{Samples: r.sure, Uncertain: r.unsure, Excluded: []score.Span{{First: end, Last: math.MaxInt64}}}
			list = append(list, ecgCase{name + " " + l.name, r.rateHz, l.x, ref, 0, name + " " + l.name})
		}
	}
	return list
}

// marks reads "sample,sure" lines.
func marks(t testing.TB, data fs.FS, name string) (r score.Reference) {
	t.Helper()
	b, err := fs.ReadFile(data, name)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Fields(string(b))[1:] {
		sample, sure, _ := strings.Cut(l, ",")
		if s := int64(number(t, sample)); sure == "1" {
			r.Samples = append(r.Samples, s)
		} else {
			r.Uncertain = append(r.Uncertain, s)
		}
	}
	return r
}

// motionCases are the recordings of an AD8232 in motion (Kalouskova 2024). What its
// SOURCE.md calls unfit is not scored: degree 4 and 0.3 s around it, recording pauses, the
// unlabelled end, places where the derived beats skip; nor the first 5 s, in which a
// detector may still learn.
func motionCases(t testing.TB) []ecgCase {
	t.Helper()
	data := openData(t, "cvut-motion")
	b, err := fs.ReadFile(data, "records.csv")
	if err != nil {
		t.Fatal(err)
	}
	var list []ecgCase
	for _, line := range strings.Fields(string(b))[1:] {
		f := strings.Split(line, ",")
		if _, err := fs.Stat(data, f[0]+".csv.gz"); err != nil {
			continue
		}
		c := ecgCase{name: f[0], rateHz: number(t, f[4]), ref: marks(t, data, "derived/"+f[0]+"_r.csv"), learning: 5}
		c.x = motionSignal(t, f[0])
		exclude := func(first, last float64) {
			c.ref.Excluded = append(c.ref.Excluded, score.Span{First: int64(first), Last: int64(last)})
		}
		labels, err := fs.ReadFile(data, f[0]+"_labels.csv")
		if err != nil {
			t.Fatal(err)
		}
		end := 0.0
		for _, l := range strings.Fields(string(labels))[1:] {
			g := strings.Split(l, ";")
			if end = number(t, g[1]); g[3] == "4" {
				exclude(number(t, g[0])-0.3*c.rateHz, end+0.3*c.rateHz)
			}
		}
		exclude(min(end, float64(len(c.x))-0.5*c.rateHz), math.MaxInt32)
		if f[6] != "" {
			at := number(t, f[6])
			exclude(at-c.rateHz, at+4*c.rateHz)
		}
		s := c.ref.Samples
		for i := 1; i < len(s); i++ {
			var near []int64
			for k := max(i-4, 1); k < min(i+5, len(s)); k++ {
				near = append(near, s[k]-s[k-1])
			}
			slices.Sort(near)
			if float64(s[i]-s[i-1]) > 1.5*float64(near[len(near)/2]) {
				exclude(float64(s[i-1])+0.15*c.rateHz+1, float64(s[i])-0.15*c.rateHz-1)
			}
		}
		list = append(list, c)
	}
	return list
}

// wristCases are the chest leads of Wrist PPG During Exercise (Jarchi and Casson 2017).
func wristCases(t testing.TB) []ecgCase {
	t.Helper()
	data := openData(t, "wrist")
	names, err := fs.Glob(data, "*.edf.gz")
	if err != nil {
		t.Fatal(err)
	}
	var list []ecgCase
	for _, file := range names {
		name := strings.TrimSuffix(file, ".edf.gz")
		b := readGzip(t, data, file)
		const signals, perRecord = 5, 256
		b = b[256*(signals+1):]
		c := ecgCase{name: name, rateHz: perRecord, ref: marks(t, data, "derived/"+name+"_r.csv"), learning: 5}
		for i := 0; i+2*signals*perRecord <= len(b); i += 2 * signals * perRecord {
			for k := range perRecord { // the chest lead comes first
				c.x = append(c.x, float64(int16(binary.LittleEndian.Uint16(b[i+2*k:]))))
			}
		}
		last := slices.Max(c.ref.Samples)
		c.ref.Excluded = append(c.ref.Excluded, score.Span{First: last + 60, Last: math.MaxInt64})
		list = append(list, c)
	}
	return list
}

// ludbCases are all leads of LUDB's odd records (Kalyakulina et al. 2020), the paced ones
// apart. As its SOURCE.md has it each is played twice with its ends brought together and
// the second pass is scored, from the first mark to the last.
func ludbCases(t testing.TB) (unpaced, paced []ecgCase) {
	t.Helper()
	data := openData(t, "ludb")
	if _, err := fs.Stat(data, "ludb_odd.tar.gz"); err != nil {
		t.Skip(err)
	}
	files := map[string][]byte{}
	for r := tar.NewReader(bytes.NewReader(readGzip(t, data, "ludb_odd.tar.gz"))); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if files[h.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
	rows, err := csv.NewReader(bytes.NewReader(files["ludb.csv"])).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	pacing := slices.Index(rows[0], "Cardiac pacing")
	for _, row := range rows[1:] {
		name := strings.TrimSpace(row[0])
		hea, ok := files["data/"+name+".hea"]
		if !ok {
			continue
		}
		lines := strings.Split(string(hea), "\n")
		dat := files["data/"+name+".dat"]
		for lead := range 12 {
			f := strings.Fields(lines[1+lead])
			short := f[len(f)-1]
			var x []float64
			for i := 2 * lead; i+1 < len(dat); i += 24 {
				x = append(x, float64(int16(binary.LittleEndian.Uint16(dat[i:]))))
			}
			ann, err := mitdata.Decode(bytes.NewReader(files["data/"+name+"."+short]))
			if err != nil {
				t.Fatal(err)
			}
			c := ecgCase{name: path.Join(name, short), rateHz: 500}
			n := len(x)
			slope := (x[n-1] - x[0]) / float64(n)
			for i := range x {
				x[i] -= slope * float64(i)
			}
			c.x = slices.Concat(x, x, x[:n/10])
			for _, a := range ann {
				if a.Code == 1 {
					c.ref.Samples = append(c.ref.Samples, a.Sample+int64(n))
				}
			}
			if len(c.ref.Samples) == 0 || c.name == "103/iii" { // flutter: unfit, says SOURCE.md
				continue
			}
			c.ref.Excluded = []score.Span{{First: 0, Last: c.ref.Samples[0] - 76}, {First: c.ref.Samples[len(c.ref.Samples)-1] + 76, Last: math.MaxInt64}}
			if strings.TrimSpace(row[pacing]) != "" {
				paced = append(paced, c)
			} else {
				unpaced = append(unpaced, c)
			}
		}
	}
	return unpaced, paced
}

// withHum adds hum of a peak in counts of 5 µV, with a third and a fifth harmonic of 0.3
// and 0.15 of it.
func withHum(list []ecgCase, hz, peak float64) []ecgCase {
	var out []ecgCase
	for _, c := range list {
		y := slices.Clone(c.x)
		for i := range y {
			w := 2 * math.Pi * hz * float64(i) / c.rateHz
			y[i] += peak * (math.Sin(w) + 0.3*math.Sin(3*w+1) + 0.15*math.Sin(5*w+2))
		}
		c.x, c.own = y, ""
		out = append(out, c)
	}
	return out
}

// withNoise adds a noise record to each as the noise stress test does; see noisy.
func withNoise(list []ecgCase, noise []float64, snr float64) []ecgCase {
	var out []ecgCase
	for _, c := range list {
		c.x, c.own = noisy(annotated{c.name, c.x, c.ref}, noise, snr).x, ""
		out = append(out, c)
	}
	return out
}

// withSmall makes ventricular beats (annotated V) and what follows them so many times as high,
// or all but them; records with fewer than 100 of them are left out.
func withSmall(t testing.TB, list []ecgCase, early bool, share float64) []ecgCase {
	t.Helper()
	data := openData(t, "mitdb")
	var out []ecgCase
	for _, c := range list {
		marks, err := mitdata.Annotations(data, c.name)
		if err != nil {
			t.Fatal(err)
		}
		gain, n := make([]float64, len(c.x)), 0
		for i := range gain {
			gain[i] = 1
		}
		for _, a := range marks {
			if a.Code != 5 {
				continue
			}
			n++
			// From 0.15 s before to 0.25 s after the mark, each side fading over 0.15 s.
			for k := -108; k <= 144; k++ {
				i, outside := int(a.Sample)+k, max(-54-k, k-90, 0)
				if i >= 0 && i < len(gain) {
					gain[i] = min(gain[i], 1-(1-share)*0.5*(1+math.Cos(math.Pi*float64(outside)/54)))
				}
			}
		}
		if n < 100 {
			continue
		}
		if !early {
			for i, g := range gain {
				gain[i] = 1 + share - g
			}
		}
		x := slices.Clone(c.x)
		slow := x[0]
		for i, v := range x { // what is slower than 0.3 Hz stays
			slow += (v - slow) / 200
			x[i] = slow + gain[i]*(v-slow)
		}
		c.x, c.own = x, ""
		out = append(out, c)
	}
	return out
}
