package recording

import (
	"regexp"
	"strconv"
	"strings"
)

// A rate in words: a line that begins with the rate's name, one that speaks of sampling and then tells so many Hz, or
// nothing but so many Hz; in doubt, one that tells so many Hz among other things. Other rates and frequencies, as of a
// heart, the mains or a filter, are none.
const hertz = `((?:[0-9][0-9 .,]*)?[0-9]|\.[0-9]+|[0-9]+(?:\.[0-9]+)?e[+-]?[0-9]+)\s*(k?)`

var rateTexts = []*regexp.Regexp{
	regexp.MustCompile(`(?i)^["'\s]*(?:sampl\w*[ _-]*(?:rate|freq\w*)|abtast(?:rate|frequenz)|fs|rate|freq|frequency)\b["' ]*(?:[([]hz[)\]])?\s*[:=,;\t ]\s*["']?` + hertz + `(?:hz)?["']?\s*[,;]*$`),
	regexp.MustCompile(`(?i)\b(?:sampl\w*|abtast\w*|fs|rate|sps)\b[^0-9]*` + hertz + `Hz\b`),
	regexp.MustCompile(`(?i)^["'\s]*` + hertz + `Hz["'\s,;]*$`),
	regexp.MustCompile(`(?i)(?:^|[\s,;(])` + hertz + `Hz\b`), // in doubt
}

// otherRate are words for a rate that is none of sampling.
var otherRate = regexp.MustCompile(`(?i)\b(?:heart|pulse|beat|respirat\w*|breath\w*|baud|bit|mains|hum|notch|cut-?off|corner|filter\w*|band-?pass|low-?pass|high-?pass|pwm|led|i2c|spi|clock|tone|sweep|range|bandwidth|herz\w*|puls|atem\w*|netz\w*)\b`)

// rateIn is the sample rate that a line tells, in Hz; 0 for none.
func rateIn(text string) (hz float64, doubtful bool) {
	for i, r := range rateTexts {
		m := r.FindStringSubmatch(text)
		if m == nil || (i == 1 || i == 3) && otherRate.MatchString(text) {
			continue
		}
		x, err := strconv.ParseFloat(plainNumber(m[1]), 64)
		if err != nil || !(x > 0) {
			continue
		}
		if m[2] != "" {
			x *= 1000
		}
		return x, i == 3
	}
	return 0, false
}

// plainNumber writes a number that people write with commas, or with blanks between thousands, with a point alone.
func plainNumber(s string) string {
	if parts := strings.Fields(s); len(parts) > 1 && len(parts[len(parts)-1]) >= 3 {
		s = strings.Join(parts, "")
	}
	switch comma, point := strings.LastIndexByte(s, ','), strings.LastIndexByte(s, '.'); {
	case comma < 0:
	case point > comma || point < 0 && thousands.MatchString(s):
		s = strings.ReplaceAll(s, ",", "")
	case point < 0:
		s = strings.Replace(s, ",", ".", 1)
	default: // 1.024,5
		s = strings.Replace(strings.ReplaceAll(s, ".", ""), ",", ".", 1)
	}
	return s
}
