package response

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"pulsewright/dsp/filter"
)

// Sweep is a sine whose frequency rises exponentially, from 0.35 Hz to 2.2 kHz or
// 0.4 of the rate.
type Sweep struct {
	RateHz float64 // 8000 to 192000
	// Seconds it takes, 5 to 120. Its energy per hertz falls as 1/f: twice the
	// time is 3 dB less noise everywhere.
	Seconds float64
}

const (
	// sweepLowHz lies far enough below the lowest frequency told, LowHz.
	sweepLowHz, sweepHighHz = 0.35, 2200.0
	// LowHz and HighHz bound what is told of a response.
	LowHz, HighHz = 0.5, 2000.0
	// TailSeconds are recorded after the sweep, so that what rings on is not lost.
	TailSeconds = 3.0
	fadeSeconds = 0.01
)

// Check tells what is wrong with it.
func (s Sweep) Check() error {
	if !(s.RateHz >= 8000 && s.RateHz <= 192000) {
		return fmt.Errorf("response: sweep: rate %g Hz; must be 8000 to 192000 Hz", s.RateHz)
	}
	if !(s.Seconds >= 5 && s.Seconds <= 120) {
		return fmt.Errorf("response: sweep: %g s; must be 5 to 120 s", s.Seconds)
	}
	return nil
}

// Len is the number of samples to play, Total with the tail to record.
func (s Sweep) Len() int { return int(math.Round(s.Seconds * s.RateHz)) }

// Total is the number of samples to record.
func (s Sweep) Total() int { return s.Len() + int(math.Round(TailSeconds*s.RateHz)) }

func (s Sweep) highHz() float64 { return math.Min(sweepHighHz, 0.4*s.RateHz) }

// Samples are the sweep's, −1 to 1: sin(2π f₁ T/L (e^(tL/T) − 1)) with L = ln(f₂/f₁)
// (Farina, "Simultaneous measurement of impulse response and distortion with a
// swept-sine technique", AES 108th Convention, 2000), faded out at its end.
func (s Sweep) Samples() []float64 {
	x := make([]float64, s.Len())
	l := math.Log(s.highHz() / sweepLowHz)
	fade := int(fadeSeconds * s.RateHz)
	for i := range x {
		t := float64(i) / s.RateHz
		x[i] = math.Sin(2 * math.Pi * sweepLowHz * s.Seconds / l * math.Expm1(t*l/s.Seconds))
		if left := len(x) - i; left < fade {
			x[i] *= 0.5 - 0.5*math.Cos(math.Pi*float64(left)/float64(fade))
		}
	}
	return x
}

// Response is the board's gain and phase. The lists have one length.
type Response struct {
	FreqHz       []float64 `json:"freqHz"`
	GainDB       []float64 `json:"gainDb"`
	PhaseDegrees []float64 `json:"phaseDegrees"` // without jumps of 360
	// Trust is 0 to 1: the coherence of both runs around the frequency, where
	// enough lines lie there; little where noise or hum is in the way.
	Trust []float64 `json:"trust"`
	// TrustedLowHz and TrustedHighHz bound the widest band whose points have a trust
	// of 0.9 or more; 0 and 0 where there is none.
	TrustedLowHz  float64 `json:"trustedLowHz"`
	TrustedHighHz float64 `json:"trustedHighHz"`
	// PassbandDB is the greatest gain.
	PassbandDB float64 `json:"passbandDb"`
	// Corners are where the gain passes 3.01 dB below that, rising in frequency.
	Corners []Corner `json:"corners"`
}

// Corner is a −3 dB point.
type Corner struct {
	FreqHz float64 `json:"freqHz"`
	// Rising: the gain rises with the frequency here.
	Rising bool `json:"rising"`
}

// leastTrust of a point that is judged by.
const leastTrust = 0.9

// Errors of Measure.
var (
	ErrRunLength = errors.New("response: both runs must be whole: play and record anew")
	ErrWeak      = errors.New("response: hardly anything of the sweep comes back in the loop-back run: is the output joined to the input, and turned up?")
)

// LostError tells of a stretch of a run that was lost on the way, so that digital
// silence stands in its place.
type LostError struct{ Seconds, AtSeconds float64 }

func (e *LostError) Error() string {
	return fmt.Sprintf("response: %.0f ms of sound were lost %.1f s into the run: close what else is busy, then measure again", 1000*e.Seconds, e.AtSeconds)
}

// ErrMoved says that the two runs do not lie alike in time.
var ErrMoved = errors.New("response: the time from output to input changed between the runs or within one: keep the sound card open, close what else is busy, and measure the loop-back anew, then the board")

const (
	// A run of zeros of so many samples amid so many times louder ones is no signal:
	// a converter's noise, and a sweep that is there, break it up.
	lostSamples = 64
	lostLevel   = 16.0 / 32768
)

// Lost looks for digital silence amid the sweep: the sound system lost something
// there. It gives a *LostError or nil.
func Lost(run []float64, rateHz float64) error {
	loud := func(from, to int) bool {
		for _, v := range run[max(0, from):min(len(run), to)] {
			if math.Abs(v) > lostLevel {
				return true
			}
		}
		return false
	}
	around := int(0.02 * rateHz)
	for i := 0; i < len(run); {
		if run[i] != 0 {
			i++
			continue
		}
		end := i
		for end < len(run) && run[end] == 0 {
			end++
		}
		if end-i >= lostSamples && loud(i-around, i) && loud(end, end+around) {
			return &LostError{Seconds: float64(end-i) / rateHz, AtSeconds: float64(i) / rateHz}
		}
		i = end
	}
	return nil
}

// pointsPerOctave of the frequencies told.
const pointsPerOctave = 24

// Measure divides what came back through the board by what came back without it,
// both recorded in step with the sweep, Total samples each, at one unchanged
// level and latency. What both have in common, the sound card's own coupling and
// filters, falls out.
//
// The runs are decimated alike, transformed whole (the sweep, its ringing and
// silence: linear, not circular), and divided with the lines around a frequency
// weighed by the loop-back's power, H = Σ Y_b Y_l* / Σ |Y_l|² (Bendat and Piersol,
// Random Data, section 6.1: least squares when the noise is in the board's run).
// Frequencies told are the lines' own mean. Where a latency changed (see moved) the
// answer is ErrMoved.
func Measure(s Sweep, loop, board []float64) (Response, error) {
	if err := s.Check(); err != nil {
		return Response{}, err
	}
	if len(loop) != s.Total() || len(board) != len(loop) {
		return Response{}, fmt.Errorf("%w (%d and %d samples of %d)", ErrRunLength, len(loop), len(board), s.Total())
	}
	for _, run := range [][]float64{loop, board} {
		if err := Lost(run, s.RateHz); err != nil {
			return Response{}, err
		}
	}
	l, err := newLines(s, loop, board)
	if err != nil {
		return Response{}, err
	}
	r := l.response(math.Min(HighHz, s.highHz()/1.1))
	if len(r.FreqHz) < pointsPerOctave {
		return Response{}, ErrWeak
	}
	if moved(r) {
		return Response{}, ErrMoved
	}
	r.trusted()
	r.corners()
	return r, nil
}

// transform decimates, takes the converter's offset away, and transforms, padded
// with zeros to a power of two.
func transform(x []float64, rateHz float64, ratio int) ([]complex128, error) {
	d, err := filter.NewDecimator(rateHz, ratio)
	if err != nil {
		return nil, err
	}
	y := make([]float64, len(x)/ratio+1)
	y = y[:d.Process(y, x)]
	mean := 0.0
	for _, v := range y[len(y)-len(y)/50:] { // the silence at the end: the converter's offset
		mean += v
	}
	mean /= float64(len(y) / 50)
	n := 1
	for n < len(y) {
		n *= 2
	}
	padded := make([]float64, n)
	for i, v := range y {
		padded[i] = v - mean
	}
	return fourier.NewFFT(n).Coefficients(nil, padded), nil
}

// trusted finds the widest band without two untrusted points side by side.
func (r *Response) trusted() {
	from, last, best := -1, -1, 0.0
	for i, t := range r.Trust {
		if t < leastTrust {
			continue
		}
		if from < 0 || i-last > 2 {
			from = i
		}
		last = i
		if wide := r.FreqHz[i] / r.FreqHz[from]; wide > best {
			best, r.TrustedLowHz, r.TrustedHighHz = wide, r.FreqHz[from], r.FreqHz[i]
		}
	}
}

// corners finds the passband's gain and where it is left, from trusted points.
func (r *Response) corners() {
	r.Corners = []Corner{}
	r.PassbandDB = math.Inf(-1)
	var at []int
	for i, g := range r.GainDB {
		if r.Trust[i] >= leastTrust {
			at = append(at, i)
			r.PassbandDB = math.Max(r.PassbandDB, g)
		}
	}
	if len(at) == 0 {
		r.PassbandDB = 0
		return
	}
	limit := r.PassbandDB - 20*math.Log10(math.Sqrt2)
	for k := 1; k < len(at); k++ {
		i, j := at[k-1], at[k]
		a, b := r.GainDB[i]-limit, r.GainDB[j]-limit
		if a < 0 == (b < 0) {
			continue
		}
		f := r.FreqHz[i] * math.Pow(r.FreqHz[j]/r.FreqHz[i], a/(a-b))
		r.Corners = append(r.Corners, Corner{FreqHz: f, Rising: b > a})
	}
}
