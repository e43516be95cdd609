package channel

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"pulsewright/acquire"
	"pulsewright/dsp/filter"
)

// Scale says how a channel's counts become volts at the board.
type Scale struct {
	// Source is one of the words below.
	Source string `json:"source"`
	// ReferenceVolts is full scale: what one more than the highest count of a converter of
	// Bits stands for. Full scale runs from 0 to it, of a signed converter from −it to it.
	ReferenceVolts float64 `json:"referenceVolts"`
	Bits           int     `json:"bits"`
	// FullScaleVolts is what one more than the highest count stands for, as
	// measured at a sound input.
	FullScaleVolts float64 `json:"fullScaleVolts"`
	// CouplingHz is the corner of the input's coupling capacitor, which is undone;
	// 0 leaves the signal as it comes. CouplingFloorHz is the corner that is left
	// then; 0 stands for 0.05 Hz.
	CouplingHz      float64 `json:"couplingHz"`
	CouplingFloorHz float64 `json:"couplingFloorHz"`
	// Signed converters give counts from −2^(Bits−1).
	Signed bool `json:"signed"`
	// Supply rails and mid-rail of the board in volts; nil when not told.
	SupplyLowVolts  *float64 `json:"supplyLowVolts"`
	SupplyHighVolts *float64 `json:"supplyHighVolts"`
	MidRailVolts    *float64 `json:"midRailVolts"`
	// Gain divides all values, so that they are volts before an amplifier of
	// that gain; 1 shows volts at the converter.
	Gain float64 `json:"gain"`
	// Invert turns the signal about the mid-rail (about 0 when it is unknown).
	Invert bool `json:"invert"`
}

// Where a scale comes from.
const (
	ScaleBoard     = "board"     // as the source, or the file, says
	ScaleConverter = "converter" // from ReferenceVolts and Bits
	ScaleFull      = "fullscale" // FullScaleVolts at the highest count
	ScaleUnknown   = "unknown"   // counts
)

// UsualScale is what is taken when nobody said anything: the source's own, or counts.
// Reference and bits are those a form begins with.
func UsualScale(c acquire.Channel) Scale {
	s := Scale{Source: ScaleBoard, Gain: 1, ReferenceVolts: 5, Bits: 10}
	if !c.Scaled() {
		s.Source = ScaleUnknown
	}
	return s
}

// Check tells what is wrong with a scale.
func (s Scale) Check() error {
	sources := []string{ScaleBoard, ScaleConverter, ScaleFull, ScaleUnknown}
	if !slices.Contains(sources, s.Source) {
		return fmt.Errorf("scale source %q: choose %s", s.Source, strings.Join(sources, ", "))
	}
	if s.Source == ScaleFull && !(s.FullScaleVolts > 0 && s.FullScaleVolts <= 1000) {
		return fmt.Errorf("full scale of %g V: give volts above 0 and at most 1000", s.FullScaleVolts)
	}
	if s.CouplingHz != 0 { // the rest of the rule depends on the rate
		if _, err := filter.Uncouple(1000, s.CouplingHz, s.FloorHz()); err != nil {
			return err
		}
	}
	if s.Source == ScaleConverter {
		if !(s.ReferenceVolts > 0 && s.ReferenceVolts <= 1000) {
			return fmt.Errorf("reference of %g V: give the converter's reference, above 0 and at most 1000 V", s.ReferenceVolts)
		}
		if s.Bits < 1 || s.Bits > 32 {
			return fmt.Errorf("%d bits: a converter here has 1 to 32", s.Bits)
		}
	}
	if !(math.Abs(s.Gain) >= 1e-6 && math.Abs(s.Gain) <= 1e6) {
		return fmt.Errorf("gain %g: give a factor from 0.000001 to 1000000; 1 shows volts at the converter", s.Gain)
	}
	return s.checkBoard()
}

// checkBoard tells what is wrong with rails and mid-rail.
func (s Scale) checkBoard() error {
	for _, v := range []struct {
		name  string
		volts *float64
	}{{"lower supply rail", s.SupplyLowVolts}, {"upper supply rail", s.SupplyHighVolts}, {"mid-rail", s.MidRailVolts}} {
		if v.volts != nil && !(math.Abs(*v.volts) <= 1000) {
			return fmt.Errorf("%s of %g V: give a voltage from −1000 to 1000", v.name, *v.volts)
		}
	}
	if s.SupplyLowVolts != nil && s.SupplyHighVolts != nil && *s.SupplyLowVolts >= *s.SupplyHighVolts {
		return fmt.Errorf("supply rails from %g to %g V: the lower must lie below the upper; correct one of them", *s.SupplyLowVolts, *s.SupplyHighVolts)
	}
	if mid := s.MidRailVolts; mid != nil {
		if low := s.SupplyLowVolts; low != nil && *mid < *low {
			return fmt.Errorf("mid-rail of %g V: it must not lie below the lower supply rail, %g V; correct the mid-rail or the rail", *mid, *low)
		}
		if high := s.SupplyHighVolts; high != nil && *mid > *high {
			return fmt.Errorf("mid-rail of %g V: it must not lie above the upper supply rail, %g V; correct the mid-rail or the rail", *mid, *high)
		}
	}
	return nil
}

// defaultFloorHz is the corner left where the coupling is undone: of a pulse at 60
// a minute 3 % of the shape is lost, and a step is gone after some 10 s.
const defaultFloorHz = 0.05

// FloorHz is CouplingFloorHz, or what 0 stands for.
func (s Scale) FloorHz() float64 {
	if s.CouplingFloorHz == 0 {
		return defaultFloorHz
	}
	return s.CouplingFloorHz
}

// uncouple makes what undoes the coupling capacitor, nil when it is left.
func (s Scale) uncouple(rateHz float64) (*filter.Cascade, error) {
	if s.CouplingHz == 0 {
		return nil, nil
	}
	sections, err := filter.Uncouple(rateHz, s.CouplingHz, s.FloorHz())
	if err != nil {
		return nil, err
	}
	return filter.NewCascade(sections, rateHz)
}

// gain is Gain, or 1 where a scale that was never checked says 0.
func (s Scale) gain() float64 {
	if s.Gain == 0 {
		return 1
	}
	return s.Gain
}

// At is a voltage of the board, such as a rail, in the unit of the values; NaN when it
// is not told.
func (s Scale) At(volts *float64) float64 {
	if volts == nil {
		return math.NaN()
	}
	return *volts / s.gain()
}

// Linear is how a count becomes a value: Offset + count × Factor, in Unit.
type Linear struct {
	Factor, Offset float64
	Unit           string // "V", another, or "counts"
}

// Value converts a count.
func (l Linear) Value(count int32) float64 { return l.Offset + float64(count)*l.Factor }

// Counts is the unit of values whose scale nobody knows.
const Counts = "counts"

// Step is one count in the unit, 0 when the scale is unknown.
func (l Linear) Step() float64 {
	if l.Unit == Counts {
		return 0
	}
	return math.Abs(l.Factor)
}

// Printed reports whether a count is only the last decimal that values are printed with, and no step of a converter: those of a text
// in a unit, and numbers with decimals.
func (s Settings) Printed(c acquire.Channel) bool {
	if c.Digits > 0 {
		return true
	}
	power := math.Log10(math.Abs(c.VoltsPerCount))
	inUnit := c.Scaled() && math.Abs(power-math.Round(power)) < 1e-9 || !c.Scaled() && s.Unit != ""
	return s.Scale.Source == ScaleBoard && c.MinCount == c.MaxCount && inUnit
}

// voltUnits are the units of a source's numbers that become volts.
var voltUnits = map[string]float64{"V": 1, "mV": 1e-3, "µV": 1e-6, "μV": 1e-6, "uV": 1e-6}

// described is how the source, or what was said of its unit, converts a count.
func (s Settings) described(c acquire.Channel) Linear {
	l := Linear{Factor: c.VoltsPerCount, Offset: c.OffsetVolts, Unit: c.Unit}
	if !c.Scaled() {
		l.Factor, l.Offset = math.Pow10(-c.Digits), 0
	}
	if times, volts := voltUnits[s.Unit]; s.Unit != "" && !(volts && c.Unit == "V") { // what is in volts already stays
		l.Unit = s.Unit
		if volts {
			l.Factor, l.Offset, l.Unit = l.Factor*times, l.Offset*times, "V"
		}
	}
	if l.Unit == "" {
		l.Unit = Counts
	}
	return l
}

// Linear is how a channel that the source describes as c is scaled.
func (s Settings) Linear(c acquire.Channel) Linear {
	decimals := math.Pow10(-c.Digits)
	var l Linear
	switch s.Scale.Source {
	case ScaleBoard:
		l = s.described(c)
	case ScaleConverter:
		l = Linear{Factor: decimals * s.Scale.ReferenceVolts / s.Scale.countsAtReference(), Unit: "V"}
	case ScaleFull:
		l = Linear{Factor: s.Scale.FullScaleVolts / FullCount(c), Unit: "V"}
	default:
		l = Linear{Factor: decimals, Unit: Counts}
	}
	if gain := s.Scale.gain(); gain != 1 {
		l.Factor, l.Offset = l.Factor/gain, l.Offset/gain
	}
	if s.Scale.Invert {
		turn := 0.0
		if s.Scale.MidRailVolts != nil {
			turn = 2 * *s.Scale.MidRailVolts / s.Scale.gain()
		}
		l.Factor, l.Offset = -l.Factor, turn-l.Offset
	}
	return l
}

// countsAtReference is the count of a converter at its reference.
func (s Scale) countsAtReference() float64 {
	if s.Signed {
		return math.Pow(2, float64(s.Bits-1))
	}
	return math.Pow(2, float64(s.Bits))
}

// FullCount is the count of full scale: one more than the highest.
func FullCount(c acquire.Channel) float64 {
	if c.MaxCount <= 0 {
		return 1
	}
	return float64(c.MaxCount) + 1
}

// Ends are the converter's lowest and highest value in the channel's unit, or both 0
// when unknown.
func (s Settings) Ends(c acquire.Channel) (low, high float64) {
	lo, hi := s.endCounts(c)
	if lo == hi {
		return 0, 0
	}
	l := s.Linear(c)
	low, high = l.Offset+lo*l.Factor, l.Offset+hi*l.Factor
	return min(low, high), max(low, high)
}

// endCounts are the converter's lowest and highest count, equal when unknown.
func (s Settings) endCounts(c acquire.Channel) (low, high float64) {
	if s.Scale.Source != ScaleConverter {
		return float64(c.MinCount), float64(c.MaxCount)
	}
	span, decimals := math.Pow(2, float64(s.Scale.Bits)), math.Pow10(c.Digits)
	if s.Scale.Signed {
		return -span / 2 * decimals, (span/2 - 1) * decimals
	}
	return 0, (span - 1) * decimals
}

// Describe is the source's description with what was said in it: name, kind, unit and
// scale with gain and turning. The range of counts stays the source's, but for a
// converter's bits. Coupling is not in it: it is no property of one sample.
func (s Settings) Describe(c acquire.Channel) acquire.Channel {
	l := s.Linear(c)
	c.Label, c.Kind = s.Label, s.Kind
	if low, high := s.endCounts(c); high <= math.MaxInt32 {
		c.MinCount, c.MaxCount = int32(low), int32(high)
	}
	if l.Unit == Counts && s.Scale.gain() == 1 && !s.Scale.Invert {
		if c.Unit = ""; s.Scale.Source != ScaleBoard { // a file may state a scale and no unit
			c.VoltsPerCount, c.OffsetVolts = 0, 0
		}
		return c
	}
	c.Unit, c.VoltsPerCount, c.OffsetVolts = l.Unit, l.Factor, l.Offset
	return c
}

// errNoVolts answers a board's values asked for where there are only counts.
var errNoVolts = errors.New("the channel is in counts: say under Volts what a count is")

// Volts tells why values are not volts, nil when they are.
func (l Linear) Volts() error {
	if l.Unit != "V" {
		return errNoVolts
	}
	return nil
}
