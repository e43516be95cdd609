package spectrum

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// power computes |X|² of the discrete Fourier transform X of real samples.
//
// For a power of two n ≥ 8 the even samples are taken as real, the odd as imaginary
// parts of a transform of half the length, from which the real one is untangled
// (Brigham, The Fast Fourier Transform, 1974, section 10-10). That is done in
// place order by radix 4 (Stockham's autosort: Van Loan, Computational Frameworks
// for the FFT, 1992, section 1.7), all factors kept. Any other length goes to gonum.
type power struct {
	n       int
	x, y    []complex128 // n/2
	factors [][]twiddle  // of each radix-4 step: n/4, n/16 …
	turn    []complex128 // exp(−2πik/n), k up to n/4
	any     *fourier.FFT
	coef    []complex128
}

// twiddle is exp(−2πip/n) and its square and cube.
type twiddle struct{ w1, w2, w3 complex128 }

func newPower(n int) *power {
	p := &power{n: n}
	if n < 8 || n&(n-1) != 0 {
		p.any, p.coef = fourier.NewFFT(n), make([]complex128, n/2+1)
		return p
	}
	half := n / 2
	p.x, p.y = make([]complex128, half), make([]complex128, half)
	for m := half; m >= 4; m /= 4 {
		list := make([]twiddle, m/4)
		for i := range list {
			list[i] = twiddle{root(i, m), root(2*i, m), root(3*i, m)}
		}
		p.factors = append(p.factors, list)
	}
	p.turn = make([]complex128, half/2+1)
	for k := range p.turn {
		p.turn[k] = root(k, n)
	}
	return p
}

// root is exp(−2πik/n).
func root(k, n int) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
	return complex(cos, -sin)
}

// of writes scale·|X[k]|², k from 0 to n/2, of n samples to dst. It allocates nothing.
func (p *power) of(dst, samples []float64, scale float64) {
	if p.any != nil {
		p.any.Coefficients(p.coef, samples)
		for i, c := range p.coef {
			dst[i] = scale * norm(c)
		}
		return
	}
	x := p.x
	samples = samples[:2*len(x)]
	for i := range x {
		x[i] = complex(samples[2*i], samples[2*i+1])
	}
	z := p.transform()
	half := len(z)
	dst = dst[:half+1]
	first := z[0]
	sum, difference := real(first)+imag(first), real(first)-imag(first)
	dst[0], dst[half] = scale*sum*sum, scale*difference*difference
	scale /= 4
	for k, w := range p.turn {
		if k == 0 {
			continue
		}
		a, b := z[k], z[half-k]
		b = complex(real(b), -imag(b))
		even, odd := a+b, w*(a-b)
		odd = complex(imag(odd), -real(odd)) // ×−i
		dst[k], dst[half-k] = scale*norm(even+odd), scale*norm(even-odd)
	}
}

func norm(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }

// transform is the complex transform of p.x, which is spoilt.
func (p *power) transform() []complex128 {
	x, y := p.x, p.y
	n, stride := len(x), 1
	for _, factors := range p.factors {
		quarter := n / 4
		if stride == 1 {
			x0, x1, x2, x3 := x[:quarter], x[quarter:][:quarter], x[2*quarter:][:quarter], x[3*quarter:][:quarter]
			for i := range factors {
				t := &factors[i]
				a, b, c, d := x0[i], x1[i], x2[i], x3[i]
				sum, difference := a+c, a-c
				other, across := b+d, b-d
				across = complex(imag(across), -real(across)) // ×−i
				out := y[4*i:][:4]
				out[0] = sum + other
				out[1] = t.w1 * (difference + across)
				out[2] = t.w2 * (sum - other)
				out[3] = t.w3 * (difference - across)
			}
			x, y = y, x
			n, stride = quarter, 4
			continue
		}
		for i, t := range factors {
			// The slices tell the compiler their lengths.
			x0, x1 := x[stride*i:][:stride], x[stride*(i+quarter):][:stride]
			x2, x3 := x[stride*(i+2*quarter):][:stride], x[stride*(i+3*quarter):][:stride]
			out := y[4*stride*i:][:4*stride]
			y0, y1, y2, y3 := out[:stride], out[stride:][:stride], out[2*stride:][:stride], out[3*stride:][:stride]
			for q, a := range x0 {
				b, c, d := x1[q], x2[q], x3[q]
				sum, difference := a+c, a-c
				other, across := b+d, b-d
				across = complex(imag(across), -real(across)) // ×−i
				y0[q] = sum + other
				y1[q] = t.w1 * (difference + across)
				y2[q] = t.w2 * (sum - other)
				y3[q] = t.w3 * (difference - across)
			}
		}
		x, y = y, x
		n, stride = quarter, 4*stride
	}
	if n == 2 {
		x0, x1 := x[:stride], x[stride:][:stride]
		y0, y1 := y[:stride], y[stride:][:stride]
		for q, a := range x0 {
			b := x1[q]
			y0[q], y1[q] = a+b, a-b
		}
		x = y
	}
	return x
}
