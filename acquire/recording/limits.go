package recording

import (
	"fmt"
	"math"

	"pulsewright/acquire"
)

// What a file may ask for. All is far beyond what is recorded, and keeps one file from taking a
// computer's memory or time. FORMAT.md lists them.
const (
	lowestRateHz   = 1e-4
	highestRateHz  = 1e7
	mostSeconds    = 31 * 86400     // from the first sample to the last
	mostGapSamples = int64(1) << 32 // that were never recorded, of a channel
	mostGaps       = 1_000_000
	mostRows       = int64(1) << 29 // of text
	mostUnpacked   = int64(4) << 30 // bytes out of a gzip file
	mostRatio      = 100            // unpacked bytes for each packed one, above what fits in memory
	highestValue   = 1e15           // of a sample in its unit
	lowestStep     = 1e-30          // of a count in its unit
)

// refuse is an error about the whole file.
func (f *File) refuse(format string, a ...any) error {
	return &FormatError{Path: f.path, Offset: -1, Reason: fmt.Sprintf(format, a...)}
}

// checkLimits tells which limit the file passes.
func (f *File) checkLimits() error {
	rate := f.info.ClaimedRateHz
	if !(rate >= lowestRateHz && rate <= highestRateHz) {
		return f.refuse("sample rate %.4g Hz: %g Hz to 10 MHz can be read; correct it in the file", rate, lowestRateHz)
	}
	if s := float64(f.length) / rate; s > mostSeconds {
		return f.refuse("%.4g days lie between its first and its last sample: at most %d can be read; is a time in it wrong? Cut the file in two there", s/86400, mostSeconds/86400)
	}
	if len(f.segments) > mostGaps {
		return f.refuse("more than %d gaps: that many cannot be shown; does the clock in it jump at every sample?", mostGaps)
	}
	stored := int64(0)
	for _, s := range f.segments {
		stored += s.n
	}
	if gone := f.length - stored; gone > mostGapSamples {
		return f.refuse("%d samples are missing in its gaps, at most %d can be; is a time in it wrong?", gone, mostGapSamples)
	}
	for i, c := range f.info.Channels {
		if err := f.checkScale(i, c); err != nil {
			return err
		}
	}
	return nil
}

// checkScale refuses a channel whose values no computation can use.
func (f *File) checkScale(i int, c acquire.Channel) error {
	if c.VoltsPerCount == 0 && c.OffsetVolts == 0 {
		return nil
	}
	step, most := math.Abs(c.VoltsPerCount), math.MaxInt32+0.0
	if c.MinCount < c.MaxCount {
		most = max(math.Abs(float64(c.MinCount)), math.Abs(float64(c.MaxCount)))
	}
	if highest := math.Abs(c.OffsetVolts) + step*most; !(step >= lowestStep && highest <= highestValue) { // not NaN either
		return f.refuse("channel %d, %q: one count is %.3g and values reach %.3g in its unit: %g a count and %g at most can be read; correct its limits or its gain in the file",
			i+1, c.Label, step, highest, lowestStep, highestValue)
	}
	return nil
}
