package recording

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"pulsewright/acquire"
)

type writeChannel struct {
	offset   int // bytes from the start of a record
	low      int32
	high     int32 // range of a sample
	missing  int32 // stored for missing
	marked   bool  // missing is no true value
	label    string
	digitals [2]int64
	physical [2]string
	unit     string
	// A wide channel has its counts ÷ 256, rounded down, here and the remainders in a
	// signal of their own, from byte fine of a record on; 0 for none.
	fine         int
	finePhysical [2]string

	every                 int // positions a sample
	transducer, prefilter string
}

// fineMissing stands beside a missing count ÷ 256.
const fineMissing = -1

// needsFine reports whether a range does not fit in 24 bits.
func needsFine(c acquire.Channel) bool {
	return c.MinCount < c.MaxCount && (c.MinCount < -1<<23 || c.MaxCount > 1<<23-1)
}

// Needs24Bits reports whether channels need BDF+: one states no range, or one
// beyond −32,767 … 32,767.
func Needs24Bits(channels []acquire.Channel) bool {
	for _, c := range channels {
		if c.MinCount >= c.MaxCount || c.MinCount < -32767 || c.MaxCount > 32767 {
			return true
		}
	}
	return false
}

// fits16Bits reports whether EDF can hold the channels: each states a range within
// −32,768 … 32,767. One that takes in the lowest has no count left that means missing.
func fits16Bits(channels []acquire.Channel) bool {
	for _, c := range channels {
		if c.MinCount >= c.MaxCount || c.MinCount < -32768 || c.MaxCount > 32767 {
			return false
		}
	}
	return true
}

// ErrTooWide says that a channel's counts do not fit in the 16 bits of EDF.
var ErrTooWide = errors.New("more than the 16 bits of an .edf file")

// tooWide names the first channel that does not fit.
func (h *Header) tooWide() error {
	for i, c := range h.Fit {
		if !fits16Bits(h.Fit[i : i+1]) {
			if c.MinCount >= c.MaxCount {
				return fmt.Errorf("channel %d (%s) states no range, which may be %w", i+1, c.Label, ErrTooWide)
			}
			return fmt.Errorf("channel %d (%s) has counts from %d to %d, %w", i+1, c.Label, c.MinCount, c.MaxCount, ErrTooWide)
		}
	}
	return ErrTooWide
}

// plan decides layout and scales.
func (w *Writer) plan(h Header) error {
	n := len(h.Info.Channels)
	if n == 0 || n > maxChannels-1 {
		return fmt.Errorf("recording: %s: %d channels; 1 to %d can be recorded", w.path, n, maxChannels-1)
	}
	w.rate = h.RateHz
	if w.rate == 0 {
		w.rate = h.Info.ClaimedRateHz
	}
	if !(w.rate >= 1e-4) || w.rate > 1e7 {
		return fmt.Errorf("recording: %s: rate %g Hz: 0.0001 Hz to 10 MHz can be recorded; measure the rate before recording", w.path, w.rate)
	}
	w.baseRate = w.rate
	w.annBytes = (max(annotationSize, h.annBytes) + w.bytes - 1) / w.bytes * w.bytes
	wide := make([]bool, n)
	signals := n
	for i, c := range h.Fit {
		wide[i] = w.bytes == 3 && (needsFine(c) || i < len(h.Wide) && h.Wide[i] && c.MinCount >= c.MaxCount)
		if wide[i] {
			signals++
		}
	}
	if signals > maxChannels-1 {
		return fmt.Errorf("recording: %s: %d channels, some of more than 24 bits, need %d signals; at most %d can be recorded", w.path, n, signals, maxChannels-1)
	}
	w.perRecord = recordLength(w.rate, signals*w.bytes, maxRecordBytes-w.annBytes)
	if h.perRecord > 0 {
		w.perRecord = h.perRecord
	}
	w.ownRates(&h)
	w.printed = fixed8(float64(w.perRecord)/w.rate, 8)
	w.duration, _ = strconv.ParseFloat(w.printed, 64)
	w.header = int64(256 * (signals + 2))
	low, high := int64(-1)<<(8*w.bytes-1), int64(1)<<(8*w.bytes-1)-1
	at := 0
	for i, c := range h.Fit {
		wc := writeChannel{offset: at, low: int32(low), high: int32(high), label: c.Label, every: 1}
		if h.every != nil {
			wc.every = h.every[i]
		}
		if h.kept != nil && i < len(h.kept.transducers) {
			wc.transducer, wc.prefilter = h.kept.transducers[i], h.kept.prefilters[i]
		}
		at += w.perRecord / wc.every * w.bytes
		if wide[i] {
			wc.widen(c, low, high)
			w.channels = append(w.channels, wc)
			continue
		}
		wc.marked = !(c.MinCount < c.MaxCount && int64(c.MinCount) <= low)
		wc.limits(c, low, high)
		wc.missing = int32(low)
		if wc.marked {
			wc.missing = int32(wc.digitals[0])
		}
		w.channels = append(w.channels, wc)
	}
	for i := range w.channels {
		if wide[i] {
			w.channels[i].fine = at
			at += w.perRecord / w.channels[i].every * w.bytes
		}
	}
	w.annOffset = at
	w.recordBytes = w.annOffset + w.annBytes
	w.record = make([]byte, w.recordBytes)
	w.warned = make([]bool, n)
	w.runs = make([]int64, n)
	for i := range w.runs {
		w.runs[i] = -1
	}
	return nil
}

// ownRates has records hold a whole number of samples of each channel or, where that cannot
// be, has every channel written at the highest rate.
func (w *Writer) ownRates(h *Header) {
	if h.every == nil {
		return
	}
	all := commonMultiple(h.every)
	n := w.perRecord / all * all
	if h.perRecord > 0 && n < h.perRecord {
		n += all
	}
	if n == 0 || n != w.perRecord && h.perRecord == 0 && !isExact8(float64(n)/w.rate) {
		h.every = nil
		return
	}
	w.perRecord = n
}

// widen plans the two signals of a wide channel: both in the unit that suits counts ÷ 256.
func (wc *writeChannel) widen(c acquire.Channel, low, high int64) {
	step := c.VoltsPerCount
	if !c.Scaled() {
		step = math.Pow10(-c.Digits)
	}
	coarse := c
	coarse.VoltsPerCount, coarse.MinCount, coarse.MaxCount = 256*step, 0, 0
	wc.marked = true
	wc.limits(coarse, low, high)
	times := 1.0
	if c.Unit == "V" {
		times = map[string]float64{"V": 1, "mV": 1e3, "uV": 1e6}[wc.unit]
	}
	of := func(offset float64, count int64) string { return fixed8(times*(offset+step*float64(count)), 8) }
	wc.digitals, wc.physical = [2]int64{low, high}, [2]string{of(c.OffsetVolts, 256*low), of(c.OffsetVolts, 256*high)}
	wc.low, wc.high, wc.missing = math.MinInt32+1, math.MaxInt32, int32(low)
	if wc.finePhysical = [2]string{of(0, fineMissing), of(0, 255)}; wc.finePhysical[0] == wc.finePhysical[1] {
		wc.finePhysical = [2]string{"-1", "255"} // too small to print
	}
}

// recordLength is how many samples a record holds: one second if that fits in
// limit bytes, else the longest fraction 1/k of one that gives whole samples and
// an exact duration, else the longest.
func recordLength(rateHz float64, bytesPerPosition, limit int) int {
	most := max(limit/bytesPerPosition, 1)
	k := max(1, int(math.Ceil(math.Round(rateHz)/float64(most))))
	if rateHz != math.Trunc(rateHz) {
		return min(max(int(math.Round(rateHz/float64(k))), 1), most)
	}
	for j := k; j < 8*k; j++ {
		n := int(rateHz) / j
		if n*j == int(rateHz) && isExact8(1/float64(j)) {
			return n
		}
	}
	return min(max(int(rateHz)/k, 1), most)
}

// fixed8 prints x in at most width characters with as many decimals as fit.
func fixed8(x float64, width int) string {
	for d := 7; d >= 0; d-- {
		s := strconv.FormatFloat(x, 'f', d, 64)
		if strings.Contains(s, ".") {
			s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
		}
		if s == "-0" {
			s = "0"
		}
		if len(s) <= width {
			return s
		}
	}
	s := strconv.FormatFloat(x, 'g', 3, 64)
	return s[:min(len(s), width)]
}

func isExact8(x float64) bool {
	y, err := strconv.ParseFloat(fixed8(x, 8), 64)
	return err == nil && math.Abs(y-x) <= 1e-13*math.Abs(x)
}

// limits chooses digital and physical limits of a channel so that they give its
// scale back.
func (wc *writeChannel) limits(c acquire.Channel, low, high int64) {
	wc.digitals = [2]int64{low, high}
	if !c.Scaled() {
		k := math.Pow10(-c.Digits)
		wc.physical = [2]string{fixed8(float64(low)*k, 8), fixed8(float64(high)*k, 8)}
		if k != 1 {
			// Symmetric limits print shorter.
			if d := int64(math.Pow10(len(strconv.FormatInt(high, 10)) - 1)); c.MinCount > -int32(d) && c.MaxCount < int32(d) && c.MinCount < c.MaxCount {
				wc.digitals = [2]int64{-d, d}
				wc.physical = [2]string{fixed8(-float64(d)*k, 8), fixed8(float64(d)*k, 8)}
			}
		}
		return
	}
	units := []struct {
		name  string
		times float64
	}{{"V", 1}, {"mV", 1e3}, {"uV", 1e6}}
	if c.Unit != "V" {
		units = units[:1]
		units[0].name = c.Unit
	}
	need := int64(1) // the least symmetric limit
	if c.MinCount < c.MaxCount {
		need = max(int64(c.MaxCount), 1-int64(c.MinCount))
	}
	top := high
	least := max(need, top/2)
	if !wc.marked || need > top {
		least = top + 1 // nothing to choose but the unit
	}
	best := math.Inf(1)
	for _, u := range units {
		s, o := c.VoltsPerCount*u.times, c.OffsetVolts*u.times
		for d := top; d >= least; d-- {
			if plain8(o-s*float64(d)) && plain8(o+s*float64(d)) {
				lo, hi := fixed8(o-s*float64(d), 8), fixed8(o+s*float64(d), 8)
				if lo != hi {
					wc.digitals, wc.physical, wc.unit = [2]int64{-d, d}, [2]string{lo, hi}, u.name
					return
				}
			}
		}
		lo, hi := fixed8(o+s*float64(low), 8), fixed8(o+s*float64(high), 8)
		a, _ := strconv.ParseFloat(lo, 64)
		b, _ := strconv.ParseFloat(hi, 64)
		if e := math.Abs((b-a)/float64(high-low)/s - 1); e < best && lo != hi {
			best, wc.physical, wc.unit = e, [2]string{lo, hi}, u.name
		}
	}
	if math.IsInf(best, 1) { // no unit prints it
		wc.physical, wc.unit = [2]string{strconv.FormatInt(low, 10), strconv.FormatInt(high, 10)}, ""
	}
}

// plain8 reports whether 8 characters print x exactly, cheaply.
func plain8(x float64) bool {
	room := 8
	if x < 0 {
		room--
		x = -x
	}
	if x >= 1e7 {
		return false
	}
	whole := 1
	for p := 10.0; x >= p; p *= 10 {
		whole++
	}
	decimals := room - whole - 1
	if decimals < 0 {
		decimals = 0
	}
	y := x
	for ; decimals > 0; decimals-- {
		y *= 10
	}
	return math.Abs(y-math.Round(y)) <= 1e-13*max(y, 1) && y >= 1
}
