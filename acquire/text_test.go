package acquire

import (
	"strings"
	"testing"
)

func TestCheckText(t *testing.T) {
	for _, text := range []string{"", "lamp clip 2", "Pulsoxymètre µV", "心拍", "می\u200cخواهم", "👩\u200d🔬"} {
		if err := CheckText("name", text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
	for text, sign := range map[string]string{"a\u202eb": "U+202E", "a\u200f": "U+200F", "\ufeffa": "U+FEFF", "a\x00": "U+0000", "a\nb": "U+000A", "a\u2066b": "U+2066", "a\xff": "UTF-8", "a\u200b": "U+200B"} {
		if err := CheckText("name", text); err == nil || !strings.Contains(err.Error(), sign) || !strings.HasPrefix(err.Error(), "name ") {
			t.Errorf("%q: %v, want %s named", text, err, sign)
		}
	}
}
