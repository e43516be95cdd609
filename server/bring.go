package server

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"

	"pulsewright/acquire/recording"
	"pulsewright/server/library"
)

// readingOf is how a file is to be read, as a query says.
func readingOf(q url.Values) (how library.Reading, err error) {
	if how.OpenOptions, err = recording.ParseOptions(q.Get); err != nil {
		return how, err
	}
	if kinds := q.Get("kind"); kinds != "" {
		how.Kinds = strings.Split(kinds, ",")
	}
	return how, how.Check()
}

// postRecordings takes in the body as a recording named by the query; as multipart/form-data it is a
// record of several files.
func (s *Server) postRecordings(w http.ResponseWriter, r *http.Request) {
	if r.ContentLength > s.mostBytes() {
		FailWith(w, http.StatusRequestEntityTooLarge, s.tooLarge())
		return
	}
	how, err := readingOf(r.URL.Query())
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, s.mostBytes())
	media, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	how.Context = r.Context()
	long(w, r, func(tell func(share float64)) (any, error) {
		how.Progress = tell
		entry, err := library.Imported{}, error(nil)
		if media == "multipart/form-data" {
			parts, partsErr := r.MultipartReader()
			if partsErr != nil {
				return nil, fmt.Errorf("record: %w", partsErr)
			}
			entry, err = s.recordings.Store.AddRecord(parts.NextPart, how)
		} else {
			entry, err = s.recordings.Store.Add(r.URL.Query().Get("name"), r.Body, how)
		}
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			err = s.tooLarge()
		}
		return entry, err
	})
}

// postPreview tells how the beginning of a file, which is the body, would be read.
func (s *Server) postPreview(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	how, err := readingOf(q)
	if err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	head, err := io.ReadAll(io.LimitReader(r.Body, library.MostPreviewed+1))
	if err != nil {
		FailWith(w, http.StatusBadRequest, fmt.Errorf("the beginning of the file did not arrive: %w", err))
		return
	}
	whole := q.Get("whole") == "1" && len(head) <= library.MostPreviewed
	p, err := s.recordings.Store.Preview(q.Get("name"), head[:min(len(head), library.MostPreviewed)], whole, how)
	answerRecording(w, p, err)
}

func (s *Server) mostBytes() int64 { return cmp.Or(s.recordings.MostBytes, library.MaxUpload) }

// errTooLarge is answered with status 413.
type errTooLarge struct{ text string }

func (e *errTooLarge) Error() string { return e.text }

func (s *Server) tooLarge() error {
	return &errTooLarge{fmt.Sprintf("the file is over %.3g GiB: copy it into the folder %s instead", float64(s.mostBytes())/(1<<30), s.recordings.Store.Folder())}
}
