package library

import (
	"slices"
	"strings"
	"testing"
)

// Of a file that is brought in it is told what its recording's name leaves out; one that leaves out nothing is not spoken of.
func TestNameOfFileBroughtIn(t *testing.T) {
	store := NewStore(t.TempDir())
	for name, told := range map[string]string{"walk (1).csv": `name "walk (1)": it has the sign "("`, "walk 2.csv": ""} {
		e, err := store.Add(name, strings.NewReader("# rate 250 Hz\npulse\n"+strings.Repeat("1\n2\n", 300)), Reading{})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(e.Told, func(text string) bool { return strings.HasPrefix(text, "name ") })
		if (i >= 0) != (told != "") || i >= 0 && (!strings.HasPrefix(e.Told[i], told) || !strings.Contains(e.Told[i], `called "walk 1"`)) {
			t.Errorf("%s: told %q, want %q", name, e.Told, told)
		}
	}
}
