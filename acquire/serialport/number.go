package serialport

// number is one field of a line as the board printed it: mantissa × 10^-digits.
type number struct {
	mantissa int64
	digits   int8 // 0 … maxDigits
	missing  bool // nan, inf, ovf, null or an empty field; or over
	over     bool // too large
}

const (
	maxDigits   = 15
	maxMantissa = 999_999_999_999_999_999 // 18 digits always fit an int64
)

var powersOfTen = [...]int64{1, 10, 100, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18}

// parseNumber reads a whole field. Digits past the 18th are cut off the
// decimals; an integer part or exponent beyond that range is missing.
func parseNumber(f []byte) (number, bool) {
	i, negative := 0, false
	if len(f) > 0 && (f[0] == '-' || f[0] == '+') {
		negative = f[0] == '-'
		i = 1
	}
	if i == len(f) {
		return number{}, false
	}
	if len(f) > 2 && f[0] == '0' && (f[1] == 'x' || f[1] == 'X') {
		return parseHex(f[2:])
	}
	if c := f[i]; c != '.' && (c < '0' || c > '9') {
		return number{missing: true}, isMissingWord(f[i:])
	}
	var mantissa int64
	digits, seen, over := 0, false, false
	for ; i < len(f) && f[i] >= '0' && f[i] <= '9'; i++ {
		seen = true
		if mantissa > maxMantissa/10 {
			over = true
			continue
		}
		mantissa = mantissa*10 + int64(f[i]-'0')
	}
	if i < len(f) && f[i] == '.' {
		for i++; i < len(f) && f[i] >= '0' && f[i] <= '9'; i++ {
			seen = true
			if mantissa > maxMantissa/10 || digits == maxDigits {
				continue
			}
			mantissa = mantissa*10 + int64(f[i]-'0')
			digits++
		}
	}
	if !seen {
		return number{}, false
	}
	if i < len(f) && (f[i] == 'e' || f[i] == 'E') {
		i++
		exponent, minus, any := 0, false, false
		if i < len(f) && (f[i] == '-' || f[i] == '+') {
			minus = f[i] == '-'
			i++
		}
		for ; i < len(f) && f[i] >= '0' && f[i] <= '9'; i++ {
			any = true
			if exponent < 1000 {
				exponent = exponent*10 + int(f[i]-'0')
			}
		}
		if !any {
			return number{}, false
		}
		if minus {
			exponent = -exponent
		}
		digits -= exponent
		for ; digits < 0 && !over; digits++ {
			if mantissa == 0 {
				digits = 0
				break
			}
			if mantissa > maxMantissa/10 {
				over = true
				break
			}
			mantissa *= 10
		}
		if digits > maxDigits {
			drop := digits - maxDigits
			if drop < len(powersOfTen) {
				mantissa = divideRounded(mantissa, powersOfTen[drop])
			} else {
				mantissa = 0
			}
			digits = maxDigits
		}
	}
	if i != len(f) {
		return number{}, false
	}
	if over {
		return number{missing: true, over: true}, true
	}
	if negative {
		mantissa = -mantissa
	}
	return number{mantissa: mantissa, digits: int8(digits)}, true
}

// parseHex reads at most eight hexadecimal digits, without a mark before them.
func parseHex(f []byte) (number, bool) {
	if len(f) == 0 || len(f) > 8 {
		return number{}, false
	}
	var n int64
	for _, c := range f {
		switch {
		case c >= '0' && c <= '9':
			n = n<<4 | int64(c-'0')
		case c >= 'a' && c <= 'f':
			n = n<<4 | int64(c-'a'+10)
		case c >= 'A' && c <= 'F':
			n = n<<4 | int64(c-'A'+10)
		default:
			return number{}, false
		}
	}
	return number{mantissa: n}, true
}

// isMissingWord reports one of the words boards print for no value, without
// regard to case.
func isMissingWord(f []byte) bool {
	if n := len(f); n > 5 && f[3] == '(' && f[n-1] == ')' { // nan(0x8)
		f = f[:3]
	}
	if len(f) < 3 || len(f) > 8 {
		return false
	}
	var low [8]byte
	for i, c := range f {
		if c >= 'A' && c <= 'Z' {
			c += 'a' - 'A'
		}
		low[i] = c
	}
	switch string(low[:len(f)]) {
	case "nan", "inf", "ovf", "null", "infinity":
		return true
	}
	return false
}

// divideRounded divides, halves away from zero; d > 0.
func divideRounded(n, d int64) int64 {
	q, r := n/d, n%d
	if r < 0 {
		r = -r
	}
	if r >= d-r {
		if n < 0 {
			return q - 1
		}
		return q + 1
	}
	return q
}

// scaled returns the number as a count with so many digits. exact is false when
// digits other than zero were rounded away; ok is false when the count does not
// fit an int32 other than acquire.MissingCount.
func (n number) scaled(digits int) (count int32, exact, ok bool) {
	m := n.mantissa
	exact = true
	switch d := digits - int(n.digits); {
	case d > 0:
		p := powersOfTen[d]
		if m > (1<<31)/p || m < -(1<<31)/p {
			return 0, true, false
		}
		m *= p
	case d < 0:
		p := powersOfTen[-d]
		exact = m%p == 0
		m = divideRounded(m, p)
	}
	if m > 1<<31-1 || m < -(1<<31-1) {
		return 0, exact, false
	}
	return int32(m), exact, true
}

// float returns the number in floating point.
func (n number) float() float64 {
	return float64(n.mantissa) / float64(powersOfTen[n.digits])
}
