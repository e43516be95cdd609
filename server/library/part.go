package library

import (
	"fmt"

	"pulsewright/acquire/recording"
	"pulsewright/server/analysis"
)

// Part opens a stretch of a recording for judging, the samples of a channel (counted from 0) in
// [from, to), by a reader of its own, so that looking at the recording need not wait. The
// caller closes Rec.File.
func (rs *Reviews) Part(id string, n int, from, to int64) (part analysis.Part, err error) {
	path, err := rs.store.Path(id)
	if err != nil {
		return part, err
	}
	file, err := Open(path, recording.OpenOptions{})
	if err != nil {
		return part, err
	}
	defer func() {
		if err != nil {
			file.Close()
		}
	}()
	if channels := len(file.Describe().Channels); n >= channels {
		return part, &AskError{fmt.Sprintf("channel=%d: the recording has %d, counted from 0", n, channels), true}
	}
	to = min(to, file.Len())
	if from >= to {
		return part, &AskError{text: fmt.Sprintf("samples %d to %d: the recording has samples 0 to %d", from, to, file.Len())}
	}
	return analysis.Part{Rec: OpenChannels(file, path, Said(path)), Channel: n, From: from, To: to, Edits: EditsOf(path, file.Annotations)}, nil
}
