package recording

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// decimal reads a plain decimal number as mantissa / 10^digits. ok is false for
// anything else, exponents and too many digits included.
func decimal(s string, point Sign) (mantissa int64, digits int, ok bool) {
	neg := false
	if s != "" && (s[0] == '-' || s[0] == '+') {
		neg = s[0] == '-'
		s = s[1:]
	}
	if s == "" || len(s) > 18 {
		return 0, 0, false
	}
	seen, any := false, false
	for i := 0; i < len(s); i++ {
		switch ch := s[i]; {
		case '0' <= ch && ch <= '9':
			mantissa = mantissa*10 + int64(ch-'0')
			any = true
			if seen {
				digits++
			}
		case ch == byte(point) && !seen:
			seen = true
		default:
			return 0, 0, false
		}
	}
	if neg {
		mantissa = -mantissa
	}
	return mantissa, digits, any
}

// thousands are grouped by commas, as a quoted "1,234.5" has them.
var thousands = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2}(,[0-9]{3})+(\.[0-9]*)?$`)

// pointed are thousands grouped by points, as a file with decimal commas has them.
var pointed = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2}(\.[0-9]{3})+(,[0-9]*)?$`)

// number reads any finite number, and how many decimals its text has.
func number(s string, point Sign) (x float64, digits int, ok bool) {
	if m, d, ok := decimal(s, point); ok {
		return float64(m) / math.Pow10(d), d, true
	}
	switch {
	case point == ',' && pointed.MatchString(s):
		s = strings.Replace(strings.ReplaceAll(s, ".", ""), ",", ".", 1)
	case point == ',':
		s = strings.Replace(s, ",", ".", 1)
	case strings.IndexByte(s, ',') > 0 && thousands.MatchString(s):
		s = strings.ReplaceAll(s, ",", "")
	}
	if s == "" || !strings.ContainsRune("+-.0123456789", rune(s[0])) || strings.ContainsAny(s, "xX_pP") {
		return 0, 0, false
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return 0, 0, false
	}
	mantissa, exponent, _ := strings.Cut(strings.ToLower(s), "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	e, _ := strconv.Atoi(exponent)
	return x, max(len(fraction)-e, 0), true
}

// cellUnit takes "512 mV" apart; unit is "" when there is none.
func cellUnit(s string) (bare, unit string) {
	i := strings.LastIndexFunc(s, func(r rune) bool { return '0' <= r && r <= '9' || r == '.' || r == ',' })
	if i < 0 || i+1 == len(s) {
		return s, ""
	}
	if unit = strings.TrimSpace(s[i+1:]); unit == "-" || unit == "" || !allUnits([]string{unit}) {
		return s, ""
	}
	return s[:i+1], unit
}

// missingWord tells a text for "no value here".
func missingWord(s string) bool {
	switch strings.ToLower(s) {
	case "", "nan", "na", "n/a", "null", "none", "-", "?", "inf", "-inf", "+inf":
		return true
	}
	return false
}
