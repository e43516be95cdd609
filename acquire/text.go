package acquire

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Number says how many of something there are.
func Number(n int64, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// CheckText tells what is wrong with a line of text that somebody gave: what is no UTF-8, and
// signs that are not seen and may turn the text around it (Unicode's categories Cc and Cf; the two
// joiners, which some scripts need, are no such signs). what names it in the error.
func CheckText(what, text string) error {
	if !utf8.ValidString(text) {
		return fmt.Errorf("%s %s: it is no UTF-8; write it anew", what, strconv.QuoteToASCII(text))
	}
	const nonJoiner, joiner = '\u200c', '\u200d'
	i := strings.IndexFunc(text, func(r rune) bool {
		return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) && r != nonJoiner && r != joiner
	})
	if i < 0 {
		return nil
	}
	r, _ := utf8.DecodeRuneInString(text[i:])
	if unicode.IsControl(r) {
		return fmt.Errorf("%s %s: it has the control character U+%04X; leave it out", what, strconv.QuoteToASCII(text), r)
	}
	return fmt.Errorf("%s %s: it has the sign U+%04X, which is not seen and may turn the text around; leave it out", what, strconv.QuoteToASCII(text), r)
}
