package serialport

import (
	"regexp"
	"strings"
	"unicode/utf8"
)

// habits are what boards are made to print that is no line of numbers, and what to
// print instead, the likeliest first.
var habits = []struct {
	like   *regexp.Regexp
	remedy string
}{
	{regexp.MustCompile(`(?i)(^|[ ,;:=\t(])[-+]?0x[0-9a-f]`), "print numbers as decimal, or as hexadecimal like 0x1FF with nothing else around them"},
	{regexp.MustCompile(`^[0-9A-Fa-f]{2,8}([ ,;\t]+[0-9A-Fa-f]{2,8})*$`), "print numbers as decimal, or as hexadecimal like 0x1FF with nothing else around them"},
	{regexp.MustCompile(`[0-9] *([munµμ]?V|m?A|bpm|BPM|k?Hz|[mu]?s|%|LSB|counts?)([ ,;]|$)`), "print the unit once, in a first line such as pulse [mV], and the numbers without it"},
	{regexp.MustCompile(`[0-9]['’_ ][0-9]{3}\b`), "print numbers without a mark between the thousands"},
	{regexp.MustCompile(`\b[0-9]{1,2}:[0-9]{2}`), "a time of day is not read: print the board's clock as a column named t_ms, or none"},
	{regexp.MustCompile(`^[\[{("'<>$*@!|]`), "print the numbers alone with commas between them, such as 512,498, or with names, such as pulse:512"},
	{regexp.MustCompile(`^[\pL_][\pL_ ]*[-+]?[0-9.]+([ ,;\t]|$)`), "put a colon between a name and its value, such as pulse:512, or print the value alone"},
}

// advice says what to print instead of a line that is text but no line of numbers; ""
// when it is no text, as at a wrong baud rate.
func advice(line string) string {
	line = strings.TrimSpace(line)
	if !utf8.ValidString(line) || strings.Contains(line, `\x`) || strings.ContainsRune(line, utf8.RuneError) || len(line) == 0 {
		return ""
	}
	for _, h := range habits {
		if h.like.MatchString(line) {
			return h.remedy
		}
	}
	plain := 0
	for _, c := range line {
		if c >= ' ' && c < 0x7f {
			plain++
		}
	}
	if plain < 4 || plain < utf8.RuneCountInString(line)*9/10 {
		return ""
	}
	return "print lines of numbers with commas between them, such as 512,498"
}
