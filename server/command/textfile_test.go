package command

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestWhatIsSaidOfATextFile: a file that tells nothing itself is read as it is said to be, by
// every command alike; what makes no sense is refused with what to give.
func TestWhatIsSaidOfATextFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "odd.txt")
	var b strings.Builder
	b.WriteString("when|lamp\n")
	for i := range 2000 {
		fmt.Fprintf(&b, "%s|%d\n", strings.ReplaceAll(fmt.Sprintf("%.3f", float64(i)*0.004), ".", ","), 500+i%9)
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	said := []string{"-time", "when", "-separator", "|", "-decimal", "comma"}
	for _, command := range []string{"beats", "check", "rate"} {
		status, out, problem := call(append(append([]string{command}, said...), path)...)
		if status != 0 || out == "" {
			t.Errorf("%s: status %d, %s", command, status, problem)
		}
	}
	out := filepath.Join(t.TempDir(), "odd.csv")
	if status, _, problem := call(append(append([]string{"convert"}, said...), path, out)...); status != 0 {
		t.Fatalf("convert: %s", problem)
	}
	if text, err := os.ReadFile(out); err != nil || !strings.Contains(string(text), "lamp") || !strings.Contains(string(text), "0.004") {
		t.Errorf("converted: %v, %.200s", err, text)
	}
	for _, wrong := range [][]string{{"-separator", "ab"}, {"-decimal", "dot"}, {"-separator", ",", "-decimal", "comma"}, {"-separator", "."}} {
		status, _, problem := call(append(append([]string{"check"}, wrong...), path)...)
		if status != 2 || !strings.Contains(problem, wrong[0]) {
			t.Errorf("%v: status %d, %q; want 2 and the flag's name", wrong, status, problem)
		}
	}
}
