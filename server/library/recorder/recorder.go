// Package recorder records what a session shows, and remembers the last minutes so that they can
// be kept after the fact.
package recorder

import (
	"cmp"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
	"pulsewright/server/library/files"
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
	config Config // immutable

	stopped atomic.Bool    // a recording stopped by itself, and that was told
	jobs    sync.WaitGroup // what writes recordings, and tells of their end

	// Guarded by mu.
	mu     sync.Mutex
	past   memory
	active *job
	late   []*job // that take beats only, of before they ended
}

// Config of a Recorder.
type Config struct {
	// Folder that it records into is made when first needed.
	Folder string
	// Problem is told what the owner should know, Changed that a recording began or ended;
	// both may be nil and must not call back.
	Problem func(text string)
	Changed func()
	// LateWait is how long late beats are waited for when no sample comes; 0 stands for 2.5 s.
	LateWait time.Duration
}

// New makes a Recorder, to be given to a session.
func New(c Config) *Recorder {
	if c.Problem == nil {
		c.Problem = func(string) {}
	}
	if c.Changed == nil {
		c.Changed = func() {}
	}
	c.LateWait = cmp.Or(c.LateWait, lateWait)
	return &Recorder{config: c, past: memory{seconds: KeepSeconds, mostSize: memoryBytes}}
}

// State describes the recording under way.
type State struct {
	ID      string  `json:"id"`
	Name    string  `json:"name"`
	Seconds float64 `json:"seconds"`
	Bytes   int64   `json:"bytes"`
	// Earlier are recordings of the minutes kept from before the source's rate changed.
	Earlier []string `json:"earlier,omitempty"`
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
	jobs, headers, err := r.prepareSince(name, keepMinutes)
	if err != nil {
		r.mu.Unlock()
		return nil, err
	}
	last := len(jobs) - 1
	j := jobs[last]
	if minutes > 0 {
		j.end = r.past.newest + int64(minutes*60*r.past.rateHz)
	}
	if note != "" {
		jobs[0].push(event{first: jobs[0].start, text: note})
	}
	r.active = j // from here on what comes waits for the file
	r.mu.Unlock()
	if err := r.create(j, headers[last]); err != nil {
		r.release(j)
		return nil, err
	}
	if r.stopped.Swap(false) {
		r.config.Problem("") // a new one runs
	}
	r.jobs.Go(func() { r.record(j) })
	r.config.Changed()
	state := j.state()
	state.Earlier, err = r.keepEarlier(jobs[:last], headers)
	return state, err
}

// record writes a recording to its end.
func (r *Recorder) record(j *job) {
	if j.run(); j.err != nil {
		r.stopped.Store(true)
	}
	r.release(j)
	r.config.Changed()
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
	time.AfterFunc(r.config.LateWait, j.finish)
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

// prepareSince makes jobs with the past that is kept, one for each rate, the one under way the
// last. Called with mu held: it touches no disk.
func (r *Recorder) prepareSince(name string, keepMinutes float64) (jobs []*job, headers []recording.Header, err error) {
	p := &r.past
	if p.rateHz == 0 || len(p.info.Channels) == 0 {
		return nil, nil, ErrNothing
	}
	start := p.newest
	if keepMinutes > 0 {
		start = max(p.oldest(), p.back(keepMinutes*60))
		if start == p.newest {
			return nil, nil, ErrNothing
		}
	}
	for i, s := range p.since(start) {
		j, header := r.prepare(s)
		j.name, j.part = name, i+1
		jobs, headers = append(jobs, j), append(headers, header)
	}
	return jobs, headers, nil
}

// prepare makes a job of a stretch. Called with mu held.
func (r *Recorder) prepare(s stretch) (*job, recording.Header) {
	p := &r.past
	j := &job{part: 1, start: s.from, rateHz: s.rateHz, views: newRecordedViews(p.info.Channels), wake: make(chan struct{}, 1), ended: make(chan struct{}), problem: r.config.Problem}
	if s.from < p.newest {
		j.queue = p.within(s)
	}
	return j, recording.Header{Info: p.info, RateHz: s.rateHz, Started: s.t0, Settings: channel.NewCarried(p.start(s.from)), Wide: p.wide()}
}

// fileName is FileName with the tag of what is invented behind the name.
func fileName(h recording.Header, name string) string {
	file := recording.FileName(h.Started, name, h.Info.Channels)
	if !h.Info.Invented || strings.Contains(file, files.InventedMark) {
		return file
	}
	ext := filepath.Ext(file)
	return strings.TrimSuffix(file, ext) + files.InventedMark + ext
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
	jobs, headers, err := r.prepareSince(name, minutes)
	if err != nil {
		r.mu.Unlock()
		return nil, err
	}
	last := len(jobs) - 1
	j := jobs[last]
	j.kept = true
	r.letGo(j)
	r.mu.Unlock()
	defer r.release(j)
	earlier, err := r.keepEarlier(jobs[:last], headers)
	if err != nil {
		return nil, err
	}
	if err := r.create(j, headers[last]); err != nil {
		return nil, err
	}
	j.run()
	state := j.state()
	state.Earlier = earlier
	return state, j.err
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
			r.jobs.Go(func() { r.config.Problem(text) }) // without mu
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
func (r *Recorder) Note(first int64, text string) {
	r.tell(event{first: first, text: recording.PlainNote(text)})
}

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
