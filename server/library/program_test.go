package library_test

import (
	"net/http"
	"testing/fstest"

	"pulsewright/server"
	"pulsewright/server/hub"
	"pulsewright/server/library"
	"pulsewright/server/library/recorder"
	"pulsewright/server/session"
)

func init() {
	library.Program = func(store *library.Store, recorder *recorder.Recorder, reviews *library.Reviews, mostBytes int64) http.Handler {
		return server.New(server.Config{Session: session.New(session.Config{Hub: hub.New(1)}), Page: fstest.MapFS{},
			Recordings: server.Recordings{Store: store, Recorder: recorder, Reviews: reviews, MostBytes: mostBytes}}).Handler()
	}
}
