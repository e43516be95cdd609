package response

import (
	"math"
	"math/cmplx"
)

// lines are the spectra of both runs, line by line.
type lines struct {
	loop, board []complex128
	hz          float64 // from line to line
	least       float64 // below this amplitude of the loop-back there is no sweep
}

func newLines(s Sweep, loop, board []float64) (lines, error) {
	ratio := max(1, int(s.RateHz/5500))
	yl, err := transform(loop, s.RateHz, ratio)
	if err != nil {
		return lines{}, err
	}
	yb, err := transform(board, s.RateHz, ratio)
	if err != nil {
		return lines{}, err
	}
	most := 0.0
	for _, y := range yl {
		most = math.Max(most, cmplx.Abs(y))
	}
	if most == 0 {
		return lines{}, ErrWeak
	}
	// The sweep's amplitude falls by 3 dB an octave; 60 dB below even that there is nothing.
	return lines{loop: yl, board: yb, hz: s.RateHz / float64(ratio) / float64(2*(len(yl)-1)), least: most * 1e-6}, nil
}

// delay is the mean delay of the board's run in [lowHz, highHz), seconds: over n lines
// the cross-spectrum turns by −2π n hz times the delay. One line apart tells even a
// delay of seconds, roughly; lines four times farther apart each time tell it finer.
func (l lines) delay(lowHz, highHz float64) float64 {
	from, to := int(lowHz/l.hz), min(int(highHz/l.hz), len(l.loop))
	cross := make([]complex128, 0, max(0, to-from))
	for i := from; i < to; i++ {
		cross = append(cross, l.board[i]*cmplx.Conj(l.loop[i]))
	}
	delay := 0.0
	for apart := 1; apart == 1 || apart <= len(cross)/4; apart *= 4 {
		var sum complex128
		for i := apart; i < len(cross); i++ {
			sum += cross[i] * cmplx.Conj(cross[i-apart])
		}
		turn := 2 * math.Pi * l.hz * float64(apart)
		delay -= cmplx.Phase(sum*cmplx.Rect(1, turn*delay)) / turn
	}
	return delay
}

// response forms gain, phase and trust from LowHz to highHz, octave by octave. The
// octave's mean delay is taken out before its lines are added up and put back into
// the phase, so that a late run loses no trust and its phase no turn.
func (l lines) response(highHz float64) Response {
	var r Response
	last, delay := -1, 0.0
	for k := 0; ; k++ {
		f := LowHz * math.Pow(2, float64(k)/pointsPerOctave)
		if f > highHz {
			return r
		}
		if k%pointsPerOctave == 0 {
			delay = l.delay(f, 2*f)
		}
		from := int(math.Round(f * (1 - 0.004) / l.hz))
		to := max(from, int(math.Round(f*(1+0.004)/l.hz)))
		if from <= last { // lines are sparse down here: each once
			continue
		}
		last = from
		l.point(&r, from, min(to, len(l.loop)-1), delay)
	}
}

// point adds the lines from … to as one point to r; nothing where no sweep is.
func (l lines) point(r *Response, from, to int, delay float64) {
	var cross complex128
	var pl, pb, freq float64
	for i := from; i <= to; i++ {
		a, b := l.loop[i], l.board[i]
		p := real(a)*real(a) + imag(a)*imag(a)
		cross += b * cmplx.Conj(a) * cmplx.Rect(1, 2*math.Pi*float64(i)*l.hz*delay)
		pl += p
		pb += real(b)*real(b) + imag(b)*imag(b)
		freq += p * float64(i) * l.hz
	}
	if pl == 0 || cross == 0 || math.Sqrt(pl/float64(to-from+1)) < l.least {
		return
	}
	freq /= pl
	trust := 1.0
	if to-from >= 4 && pb > 0 {
		trust = real(cross*cmplx.Conj(cross)) / pl / pb
	}
	phase := cmplx.Phase(cross)*180/math.Pi - 360*freq*delay
	if n := len(r.FreqHz); n > 0 { // no jumps but those that the delay makes
		ahead := r.PhaseDegrees[n-1] - 360*(freq-r.FreqHz[n-1])*delay
		phase -= 360 * math.Round((phase-ahead)/360)
	}
	r.FreqHz = append(r.FreqHz, freq)
	r.GainDB = append(r.GainDB, 20*math.Log10(cmplx.Abs(cross)/pl))
	r.PhaseDegrees = append(r.PhaseDegrees, phase)
	r.Trust = append(r.Trust, trust)
}
