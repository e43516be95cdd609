package filter

import (
	"math"
	"math/cmplx"
)

// Section is one second- or first-order section,
//
//	b0 + b1 z⁻¹ + b2 z⁻²
//	--------------------,  a0 = 1, the feedback subtracted.
//	1 + a1 z⁻¹ + a2 z⁻²
//
// It is kept in powers of δ = z − 1 instead of z (the delta operator, Middleton
// and Goodwin 1986): a corner far below the rate puts the poles near z = 1,
// where 1 + a1 + a2 loses its digits (0.05 Hz at 192 kHz: twelve of sixteen)
// while its δ coefficients, computed without subtraction, keep them all. B and A
// give the usual coefficients. The zero Section passes nothing; use the design
// functions or [NewSection].
type Section struct {
	beta  [3]float64 // β0 δ² + β1 δ + β2; first order: β0 δ + β1
	alpha [2]float64 // δ² + α1 δ + α2; first order: δ + α1, and α2 = 0
}

// NewSection makes a section from the usual coefficients b0, b1, b2 and a1, a2.
// Poles must lie inside the unit circle; see [Sections.Check].
func NewSection(b [3]float64, a [2]float64) Section {
	if b[2] == 0 && a[1] == 0 {
		return Section{beta: [3]float64{b[0], b[0] + b[1], 0}, alpha: [2]float64{1 + a[0], 0}}
	}
	return Section{
		beta:  [3]float64{b[0], 2*b[0] + b[1], b[0] + b[1] + b[2]},
		alpha: [2]float64{2 + a[0], 1 + a[0] + a[1]},
	}
}

// firstOrder tells the two forms apart: α2 = 0 would be a pole at z = 1.
func (s *Section) firstOrder() bool { return s.alpha[1] == 0 }

// B is b0, b1, b2.
func (s Section) B() [3]float64 {
	if s.firstOrder() {
		return [3]float64{s.beta[0], s.beta[1] - s.beta[0], 0}
	}
	return [3]float64{s.beta[0], s.beta[1] - 2*s.beta[0], s.beta[0] - s.beta[1] + s.beta[2]}
}

// A is a1, a2.
func (s Section) A() [2]float64 {
	if s.firstOrder() {
		return [2]float64{s.alpha[0] - 1, 0}
	}
	return [2]float64{s.alpha[0] - 2, 1 - s.alpha[0] + s.alpha[1]}
}

// gain0 is the gain at 0 Hz.
func (s *Section) gain0() float64 {
	if s.firstOrder() {
		return s.beta[1] / s.alpha[0]
	}
	return s.beta[2] / s.alpha[1]
}

// delta is δ = e^jω − 1 without cancellation near ω = 0.
func delta(omega float64) complex128 {
	h := math.Sin(omega / 2)
	return complex(-2*h*h, math.Sin(omega))
}

// polynomials gives numerator and denominator at δ, and their derivatives.
func (s *Section) polynomials(d complex128) (n, dn, a, da complex128) {
	b0, b1, b2 := complex(s.beta[0], 0), complex(s.beta[1], 0), complex(s.beta[2], 0)
	a1, a2 := complex(s.alpha[0], 0), complex(s.alpha[1], 0)
	if s.firstOrder() {
		return b0*d + b1, b0, d + a1, 1
	}
	return (b0*d+b1)*d + b2, 2*b0*d + b1, (d+a1)*d + a2, 2*d + a1
}

func (s *Section) response(d complex128) complex128 {
	n, _, a, _ := s.polynomials(d)
	return n / a
}

// groupDelay is in samples: Re(z A′/A) − Re(z N′/N), both in z.
func (s *Section) groupDelay(d complex128) float64 {
	n, dn, a, da := s.polynomials(d)
	z := 1 + d
	delay := real(z * da / a)
	switch {
	case s.firstOrder() && (s.beta[1] == 0 || s.beta[1] == 2*s.beta[0]):
		// A zero at z = 1 or −1 turns the phase by half a sample, also on the zero itself.
		return delay - 0.5
	case !s.firstOrder() && s.beta[1] == s.beta[2]:
		// b0 = b2: the zeros lie on the unit circle or mirrored in it.
		return delay - 1
	}
	return delay - real(z*dn/n)
}

// PoleRadius is the larger of the poles' distances from z = 0.
func (s Section) PoleRadius() float64 {
	if s.firstOrder() {
		return math.Abs(1 - s.alpha[0])
	}
	h := s.alpha[0] / 2
	disc := h*h - s.alpha[1]
	if disc < 0 { // a complex pair: |z|² = a2
		return math.Sqrt(math.Max(0, 1-s.alpha[0]+s.alpha[1]))
	}
	r := math.Sqrt(disc)
	return math.Max(math.Abs(1-h+r), math.Abs(1-h-r))
}

// Sections is a cascade: the output of each section is the next one's input.
// Empty Sections pass the signal unchanged. Joining filters is append.
type Sections []Section

// Join puts filters one after the other.
func Join(parts ...Sections) Sections {
	var all Sections
	for _, p := range parts {
		all = append(all, p...)
	}
	return all
}

// Response is the complex gain at freqHz, from 0 to half of rateHz.
func (s Sections) Response(freqHz, rateHz float64) complex128 {
	d := delta(2 * math.Pi * freqHz / rateHz)
	h := complex128(1)
	for i := range s {
		h *= s[i].response(d)
	}
	return h
}

// GroupDelaySamples is the group delay at freqHz, from 0 to half of rateHz. On a
// zero of the response it is the limit from both sides.
func (s Sections) GroupDelaySamples(freqHz, rateHz float64) float64 {
	d := delta(2 * math.Pi * freqHz / rateHz)
	var sum float64
	for i := range s {
		sum += s[i].groupDelay(d)
	}
	return sum
}

// GainDB is 20 log10 of the gain at freqHz; −Inf on a zero.
func (s Sections) GainDB(freqHz, rateHz float64) float64 {
	return 20 * math.Log10(cmplx.Abs(s.Response(freqHz, rateHz)))
}

// TimeConstantSamples is that of the slowest pole: samples for its share to fall
// to 1/e. Zero for no sections.
func (s Sections) TimeConstantSamples() float64 {
	var t float64
	for i := range s {
		if g := s[i].decay(); g > 0 {
			t = math.Max(t, 1/g)
		}
	}
	return t
}

// decay is −ln of the pole radius, exact for poles near z = 1.
func (s *Section) decay() float64 {
	if s.firstOrder() {
		if s.alpha[0] < 1 {
			return -math.Log1p(-s.alpha[0])
		}
		return -math.Log(s.alpha[0] - 1)
	}
	h := s.alpha[0] / 2
	disc := h*h - s.alpha[1]
	if disc < 0 {
		return -math.Log1p(s.alpha[1]-s.alpha[0]) / 2
	}
	// The slow real pole is 1 − h + √disc = 1 − α2/(h + √disc).
	slow := s.alpha[1] / (h + math.Sqrt(disc))
	if slow < 1 {
		return -math.Log1p(-slow)
	}
	return -math.Log(s.PoleRadius())
}
