package board

import (
	"fmt"
	"math"
	"sort"
)

// Measured is a board's response as measured, by a sweep or otherwise.
type Measured struct {
	FreqHz []float64 `json:"freqHz"`
	GainDB []float64 `json:"gainDb"`
	// Shape says that the gain's level means nothing, only its shape.
	Shape bool `json:"shape"`
}

// Suspect is a part that, changed alone, explains what was measured.
type Suspect struct {
	Ref     string  `json:"ref"`
	Stage   int     `json:"stage"`
	Role    string  `json:"role"`
	Unit    string  `json:"unit"`
	Nominal float64 `json:"nominal"`
	Value   float64 `json:"value"` // that explains it
	// At is where a trimmer would stand, nil for other parts.
	At *float64 `json:"at"`
	// OffDB is what is still not explained, rms.
	OffDB float64 `json:"offDb"`
	Text  string  `json:"text"`
}

// Comparison is measured against predicted.
type Comparison struct {
	// OffDB is how far the prediction is off, rms, and WorstDB at most, at WorstHz.
	OffDB   float64 `json:"offDb"`
	WorstDB float64 `json:"worstDb"`
	WorstHz float64 `json:"worstHz"`
	Agrees  bool    `json:"agrees"`
	// Suspects explain the difference, the likeliest first; those that measuring a
	// response cannot tell apart stand together. Empty when nothing alone explains it.
	Suspects []Suspect `json:"suspects"`
	Text     string    `json:"text"`
}

const (
	agreesDB = 0.5 // rms: parts of 5 % make about as much
	// A part is a suspect when it leaves at most so much, in dB rms, or times what
	// the best one leaves, whichever is more (own choice, on the faults of the test).
	explainsDB, explainsTimes = 0.1, 1.5
	// explainsShare of the difference must be gone for anything to be a suspect.
	explainsShare = 0.4
	suspectTimes  = 20.0 // how far a value is looked for, up and down
	mostSuspects  = 6
	mostSearched  = 20 // frequencies, while parts are tried
)

// Compare looks for the one part that explains what was measured. FreqHz must rise within
// 0.001 Hz and 1 MHz; GainDB is of its length.
func (b *Board) Compare(m Measured) (*Comparison, error) {
	if len(m.FreqHz) < 5 || len(m.FreqHz) > 500 || len(m.GainDB) != len(m.FreqHz) {
		return nil, fmt.Errorf("board: measured response of %d frequencies and %d gains: it must be 5 to 500 of each", len(m.FreqHz), len(m.GainDB))
	}
	for i, hz := range m.FreqHz {
		if !(hz >= leastHz && hz <= mostHz) || !(math.Abs(m.GainDB[i]) <= 400) {
			return nil, fmt.Errorf("board: measured response: %g dB at %g Hz: frequencies lie from %g to %g Hz, gains within 400 dB", m.GainDB[i], hz, leastHz, mostHz)
		}
	}
	finder := &finder{board: b, components: b.Components(), measured: m}
	c := &Comparison{Suspects: []Suspect{}}
	off := finder.difference(nil)
	for i, d := range off {
		if math.Abs(d) > math.Abs(c.WorstDB) {
			c.WorstDB, c.WorstHz = d, m.FreqHz[i]
		}
	}
	c.OffDB = rms(off)
	if c.OffDB <= agreesDB {
		c.Agrees = true
		c.Text = fmt.Sprintf("Measured and predicted agree within %.1f dB.", math.Abs(c.WorstDB))
		return c, nil
	}
	finder.measured = thin(m)
	c.Suspects = finder.suspects(c.OffDB)
	c.Text = b.say(c)
	return c, nil
}

// thin keeps at most mostSearched of the frequencies, evenly in their order.
func thin(m Measured) Measured {
	if len(m.FreqHz) <= mostSearched {
		return m
	}
	t := Measured{Shape: m.Shape}
	for i := range mostSearched {
		j := i * (len(m.FreqHz) - 1) / (mostSearched - 1)
		t.FreqHz, t.GainDB = append(t.FreqHz, m.FreqHz[j]), append(t.GainDB, m.GainDB[j])
	}
	return t
}

// say puts a comparison in words.
func (b *Board) say(c *Comparison) string {
	text := fmt.Sprintf("Measured is %+.1f dB from predicted at %.3g Hz. ", c.WorstDB, c.WorstHz)
	if len(c.Suspects) == 0 {
		return text + "No single part explains it: look at the wiring, or at two parts at once."
	}
	text += "Suspect: " + c.Suspects[0].Text
	for _, s := range c.Suspects[1:] {
		text += ", or " + s.Text
	}
	return text + "."
}

type finder struct {
	board      *Board
	components []Component
	measured   Measured
}

// difference is measured − predicted in dB, level taken out for a shape.
func (f *finder) difference(values []float64) []float64 {
	h := f.board.build(f.components, values).response(f.measured.FreqHz)
	d := make([]float64, len(h))
	mean := 0.0
	for i := range h {
		d[i] = f.measured.GainDB[i] - decibel(h[i])
		mean += d[i] / float64(len(d))
	}
	if f.measured.Shape {
		for i := range d {
			d[i] -= mean
		}
	}
	return d
}

func rms(d []float64) float64 {
	sum := 0.0
	for _, v := range d {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(d)))
}

// suspects are the parts that explain the difference of off dB.
func (f *finder) suspects(off float64) []Suspect {
	found := make([]rough, 0, len(f.components))
	least := math.Inf(1)
	for i := range f.components {
		if r, ok := f.look(i); ok {
			found = append(found, r)
			least = math.Min(least, r.offDB)
		}
	}
	var all []Suspect
	for _, r := range found {
		if r.offDB <= worthTimes*least+worthDB {
			all = append(all, f.closer(r))
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].OffDB < all[j].OffDB })
	if len(all) == 0 || all[0].OffDB > explainsShare*off {
		return []Suspect{}
	}
	limit := math.Max(explainsDB, explainsTimes*all[0].OffDB)
	n := 0
	for n < len(all) && n < mostSuspects && all[n].OffDB <= limit {
		n++
	}
	all = all[:n]
	// What cannot be told apart: what people turn comes first, then the smaller change.
	sort.SliceStable(all, func(i, j int) bool {
		if (all[i].At != nil) != (all[j].At != nil) {
			return all[i].At != nil
		}
		return math.Abs(math.Log(all[i].Value/all[i].Nominal)) < math.Abs(math.Log(all[j].Value/all[j].Nominal))
	})
	for i := range all {
		all[i].Text = all[i].words()
	}
	return all
}

// rough is what a first look on a grid of factors says of a component.
type rough struct {
	component int
	low, high float64 // factors beside the best one
	factor    float64
	offDB     float64
}

const (
	gridPerDecade = 8
	// A component is looked at more closely when the grid leaves at most so much.
	worthTimes, worthDB = 2.0, 0.5
)

// cost is what is left, in dB rms, with a component at a factor of its value.
func (f *finder) cost(i int) func(factor float64) float64 {
	values := make([]float64, len(f.components))
	for j := range values {
		values[j] = f.components[j].effective()
	}
	nominal := values[i]
	return func(factor float64) float64 {
		values[i] = nominal * factor
		return rms(f.difference(values))
	}
}

// look tries a component at a grid of factors; ok is false when it does nothing.
func (f *finder) look(i int) (rough, bool) {
	c := f.components[i]
	low, high := 1/suspectTimes, suspectTimes
	if c.Letter == "P" { // between its ends
		low, high = trimmerEnd*c.Value/c.effective(), c.Value/c.effective()
	}
	cost := f.cost(i)
	grid := Grid(low, high, gridPerDecade)
	at, least, most := 0, math.Inf(1), 0.0
	for j, factor := range grid {
		v := cost(factor)
		if v < least {
			at, least = j, v
		}
		most = math.Max(most, v)
	}
	return rough{i, grid[max(0, at-1)], grid[min(len(grid)-1, at+1)], grid[at], least}, most-least > 0.01
}

// closer finds the best factor near the one of the first look.
func (f *finder) closer(r rough) Suspect {
	c := f.components[r.component]
	cost := f.cost(r.component)
	factor, negative := golden(func(x float64) float64 { return -cost(x) }, r.low, r.high)
	off := -negative
	if off > r.offDB {
		factor, off = r.factor, r.offDB
	}
	s := Suspect{Ref: c.Ref, Stage: c.Stage, Role: c.Role, Unit: c.Unit, Nominal: c.effective(), Value: c.effective() * factor, OffDB: off}
	if c.Letter == "P" {
		place := s.Value / c.Value
		s.At = &place
	}
	return s
}

func (s *Suspect) words() string {
	if s.At != nil {
		switch {
		case *s.At > 0.97:
			return fmt.Sprintf("%s at its upper end", s.Ref)
		case *s.At < 0.03:
			return fmt.Sprintf("%s at its lower end", s.Ref)
		}
		return fmt.Sprintf("%s at %.0f %% of its way", s.Ref, 100**s.At)
	}
	switch factor := s.Value / s.Nominal; {
	case s.Unit == "F" && factor < 1.0/15, s.Unit == "Ω" && factor > 15:
		return fmt.Sprintf("%s not connected", s.Ref)
	case s.Unit == "Ω" && factor < 1.0/15:
		return fmt.Sprintf("%s bridged", s.Ref)
	}
	return fmt.Sprintf("%s %s instead of %s", s.Ref, Text(Nearest(s.Value, 24), s.Unit), Text(s.Nominal, s.Unit))
}

// MeasuredCorner says where the parts must stand for a −3 dB point that was measured: the
// place of each trimmer at which the whole board has its upper corner at hz.
func (b *Board) MeasuredCorner(hz float64) map[string]float64 {
	places := map[string]float64{}
	components := b.Components()
	for i, c := range components {
		if c.Letter != "P" {
			continue
		}
		values := make([]float64, len(components))
		for j := range values {
			values[j] = components[j].effective()
		}
		corner := func(at_ float64) float64 {
			values[i] = c.Value * math.Max(at_, trimmerEnd)
			k := b.build(components, values)
			found := k.corners(func(x []complex128) complex128 { return at(x, k.out) })
			if found.HighHz == nil {
				return math.Inf(1)
			}
			return *found.HighHz
		}
		low, high := corner(0), corner(1)
		if !(math.Min(low, high) <= hz && hz <= math.Max(low, high)) || !(math.Abs(low-high) > 1e-3*hz) {
			continue
		}
		from, to := 0.0, 1.0
		for range 30 {
			m := (from + to) / 2
			if (corner(m) > hz) == (low > hz) {
				from = m
			} else {
				to = m
			}
		}
		places[c.Ref] = (from + to) / 2
	}
	return places
}
