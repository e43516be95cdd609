package server

import (
	"encoding/json"
	"net/http"
	"time"
)

// tellEvery is how often long work tells how far it is.
const tellEvery = 250 * time.Millisecond

// long answers with what work returns: bytes as they are, else JSON. With progress=1 in the query
// the answer begins with lines {"share": 0…1}, the last {"share": 1} or {"error": "…"}, then
// what there is to answer. The work ends when its client goes, with the request's context.
func long(w http.ResponseWriter, r *http.Request, work func(tell func(share float64)) (any, error)) {
	if r.URL.Query().Get("progress") != "1" {
		v, err := work(nil)
		if data, ok := v.([]byte); ok && err == nil {
			w.Header().Set("Content-Type", "application/octet-stream")
			_, _ = w.Write(data)
			return
		}
		answerRecording(w, v, err)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	line, told := json.NewEncoder(w), time.Time{}
	flush := http.NewResponseController(w)
	v, err := work(func(share float64) {
		if now := time.Now(); now.Sub(told) >= tellEvery {
			told = now
			_ = line.Encode(map[string]float64{"share": min(share, 0.999)})
			_ = flush.Flush()
		}
	})
	if err != nil {
		_ = line.Encode(map[string]string{"error": err.Error()})
		return
	}
	_ = line.Encode(map[string]float64{"share": 1})
	if data, ok := v.([]byte); ok {
		_, _ = w.Write(data)
		return
	}
	_ = line.Encode(v)
}
