package board

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Turned is what a board does with a trimmer at one place.
type Turned struct {
	At float64 `json:"at"` // 0 to 1
	// HumDB and SignalDB are the gain at 50 Hz, and over the board's band in the mean
	// of powers weighted 1/f², against those where the trimmer stands in the board.
	HumDB           float64  `json:"humDb"`
	SignalDB        float64  `json:"signalDb"`
	CornerHz        *float64 `json:"cornerHz"` // upper; nil for none
	SettlingSeconds *float64 `json:"settlingSeconds"`
}

// Turn gives the board's hum, signal, upper corner and settling at so many places of a
// trimmer, 2 to 50, from end to end. The weight 1/f² stands for a beat, whose power falls
// so above its rate (own choice; a pulse falls faster, an ECG more slowly).
func (b *Board) Turn(ref string, places int) ([]Turned, error) {
	if places < 2 || places > 50 {
		return nil, fmt.Errorf("board: trimmer at %d places: it must be 2 to 50", places)
	}
	components := b.Components()
	which := -1
	for i, c := range components {
		if c.Ref == ref && c.Letter == "P" {
			which = i
		}
	}
	if which < 0 {
		return nil, fmt.Errorf("board: there is no trimmer %q", short([]byte(ref)))
	}
	values := make([]float64, len(components))
	for i := range components {
		values[i] = components[i].effective()
	}
	hum, signal := b.humAndSignal(b.build(components, values))
	all := make([]Turned, places)
	for i := range all {
		t := &all[i]
		t.At = float64(i) / float64(places-1)
		values[which] = components[which].Value * math.Max(t.At, trimmerEnd)
		k := b.build(components, values)
		h, s := b.humAndSignal(k)
		t.HumDB, t.SignalDB = 20*math.Log10(h/hum), 20*math.Log10(s/signal)
		t.CornerHz = k.corners(func(x []complex128) complex128 { return at(x, k.out) }).HighHz
		t.SettlingSeconds = k.settling()
	}
	return all, nil
}

// humAndSignal are the gain at 50 Hz and the weighted gain over the band.
func (b *Board) humAndSignal(k *circuit) (hum, signal float64) {
	s := newSolver(k)
	hum = cmplx.Abs(k.gain(s, complex(0, 2*math.Pi*50)))
	low, high := b.Band()
	weight := 0.0
	for _, hz := range Grid(low, high, 8) {
		// On a logarithmic grid a hertz is as wide as the frequency: f/f² = 1/f.
		signal += square(k.gain(s, complex(0, 2*math.Pi*hz))) / hz
		weight += 1 / hz
	}
	return hum, math.Sqrt(signal / weight)
}
