package server

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Links are what lets others in. They last until the owner renews them, so that a
// handout of last week still works; so does the port.
type Links struct {
	Watch string `json:"watch"` // 128 bits
	Own   string `json:"own"`
	Port  int    `json:"port"` // that was shared on last; 0 for none
}

// loadLinks reads the file of an earlier run; new ones where there is none.
func loadLinks(path string) (Links, error) {
	fresh := Links{Watch: randomKey(), Own: randomKey()}
	if path == "" {
		return fresh, nil
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fresh, nil
	}
	if err != nil {
		return fresh, fmt.Errorf("sharing: the links of last time: %w", err)
	}
	var l Links
	if err := json.Unmarshal(data, &l); err != nil || len(l.Watch) < 22 || len(l.Own) < 22 || l.Watch == l.Own || l.Port < 0 || l.Port > 65535 {
		return fresh, fmt.Errorf("sharing: %s does not hold the links of last time: new ones are made", path)
	}
	return l, nil
}

// saveLinks writes the file so that nobody else on this computer can read it.
func saveLinks(path string, l Links) error {
	if path == "" {
		return nil
	}
	data, err := json.Marshal(l)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("sharing: keeping the links: %w", err)
	}
	temporary := path + ".new"
	if err := os.WriteFile(temporary, data, 0o600); err != nil {
		return fmt.Errorf("sharing: keeping the links: %w", err)
	}
	if err := os.Rename(temporary, path); err != nil {
		return fmt.Errorf("sharing: keeping the links: %w", err)
	}
	return nil
}

// codeLetters leave out what is mistaken for something else when it is read aloud or
// typed: 0 o, 1 l i, 5 s, 2 z, v u.
const codeLetters = "346789abcdefghjkmnpqrtwxy"

// codeLength gives 25^5, ten million codes. Wrong ones are counted like wrong keys, and
// a code is for one sharing only.
const codeLength = 5

// isCode tells a path that is a code, however its letters are typed.
func isCode(path string) bool {
	return len(path) == codeLength+1 && strings.Trim(strings.ToLower(path[1:]), codeLetters) == ""
}

// randomCode is a short way to watch, to be typed.
func randomCode() string {
	code := make([]byte, 0, codeLength)
	for len(code) < codeLength {
		var b [1]byte
		_, _ = rand.Read(b[:]) // never fails
		if int(b[0]) < 256/len(codeLetters)*len(codeLetters) {
			code = append(code, codeLetters[int(b[0])%len(codeLetters)])
		}
	}
	return string(code)
}
