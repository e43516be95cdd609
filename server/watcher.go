package server

import (
	"bytes"
	"encoding/json"
	"strings"

	"pulsewright/server/session"
)

// watchersState is what a watcher is told of the state: of a recording that is replayed or
// made, and of a port, neither path nor name, which may say who is wired or how this
// computer's folders are called.
func watchersState(s session.State) session.State {
	scheme, _, _ := strings.Cut(s.Source.Address, ":")
	switch scheme {
	case "demo":
	case "file":
		s.Source.Address, s.Source.Name, s.StatusText = "file:", "a recording", s.Status
	default:
		s.Source.Address = scheme + ":"
	}
	if s.Recording != nil {
		s.Recording = map[string]any{"name": "", "id": "", "seconds": secondsOf(s.Recording), "bytes": 0}
	}
	s.Text = []string{}
	s.StatusText = withoutPaths(s.StatusText)
	return s
}

// secondsOf asks a recording's state, whatever keeps it, for its length.
func secondsOf(recording any) float64 {
	var r struct {
		Seconds float64 `json:"seconds"`
	}
	if data, err := json.Marshal(recording); err == nil {
		_ = json.Unmarshal(data, &r)
	}
	return r.Seconds
}

// withoutPaths leaves paths out of a sentence.
func withoutPaths(text string) string {
	words := strings.Split(text, " ")
	for i, w := range words {
		if strings.Count(w, "/")+strings.Count(w, "\\") > 1 {
			words[i] = "…"
		}
	}
	return strings.Join(words, " ")
}

var stateMessage = []byte(`{"type":"state",`)

// forWatcher is a message of the stream as a watcher gets it.
func forWatcher(data []byte) []byte {
	if !bytes.HasPrefix(data, stateMessage) {
		return data
	}
	var m struct {
		Type string `json:"type"`
		session.State
	}
	if json.Unmarshal(data, &m) != nil {
		return []byte(`{"type":"nothing"}`)
	}
	m.State = watchersState(m.State)
	data, err := json.Marshal(m)
	if err != nil {
		return []byte(`{"type":"nothing"}`)
	}
	return data
}
