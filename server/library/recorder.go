// Package library keeps recordings: it records what a session shows, remembers
// the last minutes so that they can be kept after the fact, and lists, renames,
// trashes, takes in and gives out the files of one folder.
package library

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
	"pulsewright/server/session"
)

const (
	// KeepSeconds is how much of the past can be kept after the fact.
	KeepSeconds = 600
	// memoryBytes bounds what is remembered, for fast sources.
	memoryBytes = 256 << 20
	// queueBytes bounds what may wait for a slow disk before the recording fails
	// loudly: about twenty minutes of two channels at 1 kHz in a hundred blocks a second.
	queueBytes = 16 << 20
	syncEvery  = time.Second / 2
	// lateSeconds is how long after its last sample a recording waits for the beats
	// before it: finding one takes up to a second or so of signal.
	lateSeconds = 1.5
	// lateWait bounds that, for a source that has fallen silent.
	lateWait = 2500 * time.Millisecond
)

// Recorder is a session.Tap that remembers the last minutes and writes recordings.
// All methods are safe for concurrent use.
type Recorder struct {
	// Immutable after NewRecorder.
	folder  string
	problem func(text string)
	changed func()
	wait    time.Duration // lateWait

	stopped atomic.Bool    // a recording stopped by itself, and that was told
	jobs    sync.WaitGroup // what writes recordings, and tells of their end

	// Guarded by mu.
	mu     sync.Mutex
	past   memory
	active *job
	late   []*job // that take beats only, of before they ended
}

// job is one recording being written on a goroutine of its own.
type job struct {
	start   int64
	end     int64 // position to stop at; 0 for none
	kept    bool  // of what was before
	stop    int64 // position after the last sample, once among the late; the recorder's
	patient int64 // position from which on no late beat is waited for; the recorder's
	w       *recording.Writer
	rateHz  float64
	views   *recordedViews // the writing goroutine's
	wake    chan struct{}
	ended   chan struct{}
	problem func(string)

	// Guarded by mu.
	mu      sync.Mutex
	path    string // "" until the file is made
	queue   []event
	size    int64
	closing bool
	length  int64
	bytes   int64
	err     error
}

// NewRecorder records into folder, which is made when first needed. problem is
// told what the owner should know, changed that a recording began or ended;
// both may be nil and must not call back.
func NewRecorder(folder string, problem func(text string), changed func()) *Recorder {
	if problem == nil {
		problem = func(string) {}
	}
	if changed == nil {
		changed = func() {}
	}
	return &Recorder{folder: folder, problem: problem, changed: changed, wait: lateWait, past: memory{seconds: KeepSeconds, mostSize: memoryBytes}}
}

// State describes the recording under way.
type State struct {
	ID      string  `json:"id"`
	Name    string  `json:"name"`
	Seconds float64 `json:"seconds"`
	Bytes   int64   `json:"bytes"`
}

// State returns the recording under way, or one that waits for its last beats, or nil.
func (r *Recorder) State() *State {
	r.mu.Lock()
	j := r.active
	for _, l := range r.late {
		if j == nil && !l.kept {
			j = l
		}
	}
	r.mu.Unlock()
	if j == nil {
		return nil
	}
	return j.state()
}

// Busy reports whether a recording is being written, or waits for its last beats.
func (r *Recorder) Busy(id string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, j := range append([]*job{r.active}, r.late...) {
		if j != nil && j.state().ID == id {
			return true
		}
	}
	return false
}

func (j *job) state() *State {
	j.mu.Lock()
	defer j.mu.Unlock()
	id := ""
	if j.path != "" {
		id = filepath.Base(j.path)
	}
	return &State{ID: id, Name: nameOf(id), Seconds: float64(j.length) / j.rateHz, Bytes: j.bytes}
}

// Errors of the recorder's commands.
var (
	ErrRecording    = errors.New("a recording is under way: stop it first")
	ErrNotRecording = errors.New("no recording is under way")
	ErrNothing      = errors.New("nothing has been seen yet that could be recorded")
)

// Start begins a recording, keepMinutes in the past, that ends by itself after
// minutes when that is above 0. note is put at its start.
func (r *Recorder) Start(name string, minutes, keepMinutes float64, note string) (*State, error) {
	r.mu.Lock()
	if r.active != nil {
		r.mu.Unlock()
		return nil, ErrRecording
	}
	j, header, err := r.prepare(keepMinutes)
	if err == nil {
		if minutes > 0 {
			j.end = r.past.newest + int64(minutes*60*r.past.rateHz)
		}
		if note != "" {
			j.push(event{first: j.start, text: note})
		}
		r.active = j // from here on what comes waits for the file
	}
	r.mu.Unlock()
	if err != nil {
		return nil, err
	}
	if err := r.create(j, name, header); err != nil {
		r.release(j)
		return nil, err
	}
	if r.stopped.Swap(false) {
		r.problem("") // a new one runs
	}
	r.jobs.Go(func() {
		if j.run(); j.err != nil {
			r.stopped.Store(true)
		}
		r.release(j)
		r.changed()
	})
	r.changed()
	return j.state(), nil
}

// release ends a job's being told anything.
func (r *Recorder) release(j *job) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.active == j {
		r.active = nil
	}
	r.late = slices.DeleteFunc(r.late, func(l *job) bool { return l == j })
}

// letGo lets a job take nothing but late beats any more. Called with mu held.
func (r *Recorder) letGo(j *job) {
	if r.active == j {
		r.active = nil
	}
	j.stop = r.past.newest
	j.patient = j.stop + int64(lateSeconds*r.past.rateHz)
	r.late = append(r.late, j)
	time.AfterFunc(r.wait, j.finish)
}

// tellLate tells the late jobs their beats. Called with mu held.
func (r *Recorder) tellLate(e event) {
	for _, j := range r.late {
		switch {
		case e.beat && e.first < j.stop:
			j.push(e)
		case r.past.newest >= j.patient:
			j.finish()
		}
	}
}

// finishAll ends all jobs: nothing more comes of this source. Called with mu held.
func (r *Recorder) finishAll() {
	for _, j := range r.late {
		j.finish()
	}
	if r.active != nil {
		r.active.finish()
	}
}

// prepare makes a job with the past that it keeps. Called with mu held: it
// touches no disk.
func (r *Recorder) prepare(keepMinutes float64) (*job, recording.Header, error) {
	p := &r.past
	if p.rateHz == 0 || len(p.info.Channels) == 0 {
		return nil, recording.Header{}, ErrNothing
	}
	start := p.newest
	if keepMinutes > 0 {
		start = max(p.oldest(), p.newest-int64(keepMinutes*60*p.rateHz))
		if start == p.newest {
			return nil, recording.Header{}, ErrNothing
		}
	}
	j := &job{start: start, rateHz: p.rateHz, views: newRecordedViews(p.info.Channels), wake: make(chan struct{}, 1), ended: make(chan struct{}), problem: r.problem}
	if keepMinutes > 0 {
		j.queue = p.since(start)
	}
	started := p.t0.Add(time.Duration(float64(start) / p.rateHz * float64(time.Second)))
	return j, recording.Header{Info: p.info, RateHz: p.rateHz, Started: started, Settings: channel.NewCarried(p.start(start)), Wide: p.wide()}, nil
}

// fileName is FileName with the tag of what is invented behind the name.
func fileName(h recording.Header, name string) string {
	file := recording.FileName(h.Started, name, h.Info.Channels)
	if !h.Info.Invented || strings.Contains(file, inventedMark) {
		return file
	}
	ext := filepath.Ext(file)
	return strings.TrimSuffix(file, ext) + inventedMark + ext
}

// create makes the job's file. Called without mu, since a disk may be slow and
// the session must not wait for it. A job without a file has ended.
func (r *Recorder) create(j *job, name string, header recording.Header) error {
	err := os.MkdirAll(r.folder, 0o700)
	if err != nil {
		err = fmt.Errorf("recordings folder: %w; choose one that you may write to with -data", err)
	}
	var w *recording.Writer
	var path string
	if err == nil {
		path, err = free(r.folder, fileName(header, name), func(path string) (err error) {
			w, err = recording.Create(path, header)
			return err
		})
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if err != nil {
		j.err = err
		close(j.ended)
		return err
	}
	j.path, j.w = path, w
	return nil
}

// free calls create with name and, while that is taken, with a number behind it.
func free(folder, name string, create func(path string) error) (string, error) {
	ext := filepath.Ext(name)
	base := strings.TrimSuffix(name, ext)
	for n := 1; ; n++ {
		path := filepath.Join(folder, name)
		if n > 1 {
			path = filepath.Join(folder, fmt.Sprintf("%s %d%s", base, n, ext))
		}
		err := create(path)
		if errors.Is(err, os.ErrExist) && n < 1000 {
			continue
		}
		return path, err
	}
}

// push hands an event to the writing goroutine.
func (j *job) push(e event) {
	j.mu.Lock()
	if j.closing || j.err != nil {
		j.mu.Unlock()
		return
	}
	if j.size += e.bytes(); j.size > queueBytes {
		j.err = fmt.Errorf("the disk has taken nothing for so long that %d MB wait: the recording %s ends here; what was written stays readable", queueBytes>>20, filepath.Base(j.path))
	}
	j.queue = append(j.queue, e)
	j.mu.Unlock()
	select {
	case j.wake <- struct{}{}:
	default:
	}
}

// finish lets the job write what waits and end.
func (j *job) finish() {
	j.mu.Lock()
	j.closing = true
	j.mu.Unlock()
	select {
	case j.wake <- struct{}{}:
	default:
	}
}

// take writes events, or, when none come, sees that what was written is on the disk.
func (j *job) take(list []event, idle bool) error {
	for _, e := range list {
		if err := write(j.w, e, j.start); err != nil {
			return err
		}
		j.views.add(e, j.start, j.w.Len())
	}
	if idle { // while something comes the Writer does it by itself
		return j.w.Sync()
	}
	return nil
}

// run writes until finished or failed.
func (j *job) run() {
	defer close(j.ended)
	var err error
	idle := false
	for {
		j.mu.Lock()
		list := j.queue
		j.queue, j.size = nil, 0
		closing := j.closing
		if err == nil {
			err = j.err
		}
		j.mu.Unlock()
		if err == nil {
			err = guard.Call("writing the recording", func() error { return j.take(list, idle) })
		}
		j.mu.Lock()
		j.length, j.bytes = j.w.Len(), j.w.Bytes()
		j.err = err
		more := len(j.queue) > 0
		j.mu.Unlock()
		if err != nil || closing && !more {
			break
		}
		if more {
			continue
		}
		select {
		case <-j.wake:
			idle = false
		case <-time.After(syncEvery):
			idle = true
		}
	}
	if closeErr := j.w.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		j.views.save(j.path)
	}
	if err != nil {
		j.mu.Lock()
		j.err = err
		j.mu.Unlock()
		j.problem("The recording stopped, the live view goes on: " + err.Error())
	}
}

// Stop ends the recording and waits until the file is closed.
func (r *Recorder) Stop() (*State, error) {
	r.mu.Lock()
	j := r.active
	if j != nil {
		r.letGo(j)
	}
	r.mu.Unlock()
	if j == nil {
		return nil, ErrNotRecording
	}
	<-j.ended
	j.mu.Lock()
	err := j.err
	j.mu.Unlock()
	return j.state(), err
}

// Keep writes the last minutes as a closed recording.
func (r *Recorder) Keep(name string, minutes float64) (*State, error) {
	r.mu.Lock()
	j, header, err := r.prepare(minutes)
	if err == nil {
		j.kept = true
		r.letGo(j)
	}
	r.mu.Unlock()
	if err != nil {
		return nil, err
	}
	defer r.release(j)
	if err := r.create(j, name, header); err != nil {
		return nil, err
	}
	j.run()
	return j.state(), j.err
}

// Close ends the recording under way, if any, and waits for its file, and for that of
// a source before that is still being written.
func (r *Recorder) Close() error {
	defer r.jobs.Wait()
	_, err := r.Stop()
	if errors.Is(err, ErrNotRecording) {
		return nil
	}
	return err
}

// tell puts an event into the memory and the recording under way.
func (r *Recorder) tell(e event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.past.add(e)
	if j := r.active; j != nil {
		if e.counts != nil {
			own := make([][]int32, len(e.counts))
			for c := range own {
				own[c] = append([]int32(nil), e.counts[c]...)
			}
			e.counts = own
		}
		j.push(e)
		if j.end > 0 && r.past.newest >= j.end {
			r.letGo(j)
		}
	}
	r.tellLate(e)
}

// Begin implements session.Tap. A recording under way belongs to the source
// before and ends.
func (r *Recorder) Begin(epoch uint32, info acquire.Info, rateHz float64, t0 time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.finishAll()
	if r.active != nil {
		if r.past.info.Address == info.Address && !slices.Equal(r.past.info.Channels, info.Channels) { // not by choice
			text := "The recording " + r.active.state().Name + " ended, since its source came back with other channels."
			r.jobs.Go(func() { r.problem(text) }) // without mu
		}
		r.late = append(r.late, r.active)
		r.active = nil
	}
	r.past.begin(epoch, info, rateHz, t0)
}

// Samples implements session.Tap.
func (r *Recorder) Samples(first int64, counts [][]int32) {
	r.tell(event{first: first, counts: counts})
}

// Gap implements session.Tap.
func (r *Recorder) Gap(first, samples int64, reason string) {
	if samples > 0 {
		r.tell(event{first: first, lost: samples, text: reason})
	}
}

// Rate implements session.Tap.
func (r *Recorder) Rate(hz float64) { r.tell(event{rateHz: hz, first: r.position()}) }

func (r *Recorder) position() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.past.newest
}

// Beats implements session.Tap.
func (r *Recorder) Beats(channel int, beats []beat.Beat, samplesPerPoint int) {
	r.mu.Lock()
	if len(r.past.info.Channels) == 1 {
		channel = -1
	}
	r.mu.Unlock()
	for _, b := range beats {
		r.tell(event{first: b.Sample * int64(samplesPerPoint), beat: true, text: recording.BeatText(string(b.Kind), b.Quality, channel)})
	}
}

// Note implements session.Tap.
func (r *Recorder) Note(first int64, text string) { r.tell(event{first: first, text: text}) }

// Text implements session.Tap.
func (r *Recorder) Text(first int64, lines []string) {
	for _, l := range lines {
		r.tell(event{first: first, text: "board: " + l})
	}
}

// Settings implements session.Tap; Engine tells more.
func (r *Recorder) Settings([]session.ChannelState) {}

// Engines implements session.EngineTap.
func (r *Recorder) Engines(start channel.Start) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.past.begun = start
}

// Engine implements session.EngineTap: a recording carries what happens to the engines.
func (r *Recorder) Engine(first int64, v channel.Event) {
	r.tell(event{first: first, text: v.Text(), engine: &v})
}

// End implements session.Tap.
func (r *Recorder) End() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.finishAll()
}

var (
	_ session.Tap       = (*Recorder)(nil)
	_ session.EngineTap = (*Recorder)(nil)
)
