//go:build ignore

// Makes the small recordings of this folder anew, byte for byte: invented boards of an
// evening class, one format each, with the truth beside them. Run by go generate.
package main

import (
	"bytes"
	"encoding/binary"
	"flag"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
)

const seconds = 20

func main() {
	log.SetFlags(0)
	time.Local = time.UTC // what is written holds a time of day
	folder := flag.String("out", "testdata", "folder to write to")
	flag.Parse()
	must(os.MkdirAll(*folder, 0o755))
	finger, chest := simulate.Finger(), simulate.Chest()
	finger.Seed, chest.Seed = 7, 8
	finger.MotionPerMinute, chest.MotionPerMinute = 0, 0
	clip := board(filepath.Join(*folder, "lamp_clip_a"), "INVENTED lamp clip A", finger)
	lead := board(filepath.Join(*folder, "chest_lead_a"), "INVENTED chest lead A", chest)
	clip.edf()
	clip.convert(".bdf", ".csv", ".wav")
	clip.lines()
	clip.truth()
	lead.record()
	lead.truth()
}

// made is one invented board's recording, its files named by base and an ending.
type made struct {
	base, name string
	config     simulate.Config
	info       acquire.Info
	counts     [][]int32
	beats      []simulate.Beat
}

func board(base, name string, c simulate.Config) made {
	g, err := simulate.New(c)
	must(err)
	n := int(seconds * c.RateHz)
	m := made{base: base, name: name, config: c, counts: [][]int32{make([]int32, n)}}
	g.Next(m.counts)
	m.info = acquire.Info{Name: name, ClaimedRateHz: c.RateHz, Channels: g.Channels()}
	m.beats = g.Truth().Beats[0]
	return m
}

// edf writes an EDF+ file.
func (m made) edf() {
	path := m.base + ".edf"
	remove(path)
	w, err := recording.Create(path, recording.Header{Info: m.info, Started: time.Date(2025, 3, 4, 19, 30, 0, 0, time.UTC), NoSync: true})
	must(err)
	must(w.Write(m.counts, 0))
	must(w.Annotate(5*int64(m.config.RateHz), 0, "the trimmer stands in the middle"))
	must(w.Close())
}

// convert makes the same in other formats from it.
func (m made) convert(endings ...string) {
	for _, e := range endings {
		remove(m.base + e)
		must(recording.Convert(m.base+".edf", m.base+e, recording.OpenOptions{}, recording.ExportOptions{}))
	}
}

// lines are what the board prints.
func (m made) lines() {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s, rate %g Hz\nt_us,pulse [mV]\n", m.name, m.config.RateHz)
	for i, v := range m.counts[0] {
		fmt.Fprintf(&b, "%d,%.1f\n", int64(float64(i)*1e6/m.config.RateHz), 1000*m.info.Channels[0].Value(v))
	}
	write(m.base+"_lines.txt", b.Bytes())
}

// truth lists the beats: the sample of the R peak, or of the pulse's foot and peak.
func (m made) truth() {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s: where the beats are, in samples from 0, %g a second\nfoot,peak\n", m.name, m.config.RateHz)
	for _, v := range m.beats {
		fmt.Fprintf(&b, "%d,%d\n", v.Foot, v.Sample)
	}
	write(m.base+"_truth.csv", b.Bytes())
}

// record writes a header, a signal file of format 16 and beat annotations, as the open
// databases have them: each annotation is a word of code and samples since the last one.
func (m made) record() {
	name := filepath.Base(m.base)
	c := m.info.Channels[0]
	perMillivolt := 1 / (1000 * c.VoltsPerCount)
	write(m.base+".hea", fmt.Appendf(nil, "%s 1 %g %d\n%s.dat 16 %.6g(%d)/mV %d %d %d 0 0 %s\n# %s\n", name, m.config.RateHz, len(m.counts[0]), name,
		perMillivolt, int(-c.OffsetVolts/c.VoltsPerCount), m.config.Bits, 1<<(m.config.Bits-1), m.counts[0][0], c.Label, m.name))
	var dat, atr []byte
	for _, v := range m.counts[0] {
		dat = binary.LittleEndian.AppendUint16(dat, uint16(int16(v)))
	}
	last := int64(0)
	for _, b := range m.beats {
		step := b.Sample - last
		if step > 1023 { // SKIP: the step in two words, the high one first
			atr = binary.LittleEndian.AppendUint16(atr, 59<<10)
			atr = binary.LittleEndian.AppendUint16(atr, uint16(step>>16))
			atr = binary.LittleEndian.AppendUint16(atr, uint16(step))
			step = 0
		}
		atr = binary.LittleEndian.AppendUint16(atr, 1<<10|uint16(step)) // 1: a normal beat
		last = b.Sample
	}
	write(m.base+".dat", dat)
	write(m.base+".atr", binary.LittleEndian.AppendUint16(atr, 0))
}

func write(path string, data []byte) { must(os.WriteFile(path, data, 0o644)) }

func remove(path string) {
	if err := os.Remove(path); err != nil && !os.IsNotExist(err) {
		must(err)
	}
}

func must(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
