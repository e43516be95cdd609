package soundcard

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
)

// BrowserPath is the path of addresses whose sound a page sends: sound:browser,
// or sound:browser/ and the device's name.
const BrowserPath = "browser"

// SplitBrowser tells whether an address's path means a page's audio input, and
// that input's name ("" for whichever comes).
func SplitBrowser(path string) (device string, ok bool) {
	if path == BrowserPath {
		return "", true
	}
	return strings.CutPrefix(path, BrowserPath+"/")
}

// Hello is what a page says of its audio input before it sends sound.
type Hello struct {
	// Device is the input's name, at most 200 bytes.
	Device string  `json:"device"`
	RateHz float64 `json:"rateHz"`
	// Channels is 1 or 2.
	Channels int `json:"channels"`
	// Processing names what the browser still does to the sound although it was
	// asked not to: echoCancellation, noiseSuppression, autoGainControl.
	Processing []string `json:"processing"`
	// Unsure names what the browser does not tell about.
	Unsure []string `json:"unsure"`
}

// ErrFrame is wrapped by what is wrong with a frame or a greeting of a page.
var ErrFrame = errors.New("soundcard: sound from a page")

func (h *Hello) check() error {
	h.Device = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '?' || r == '\ufffd' { // ? begins an address's options
			return ' '
		}
		return r
	}, h.Device)
	h.Device = strings.Join(strings.Fields(h.Device), " ")
	switch {
	case h.Device == "":
		return fmt.Errorf("%w: no device name; name the input", ErrFrame)
	case len(h.Device) > 200:
		return fmt.Errorf("%w: a device name of %d bytes; at most 200", ErrFrame, len(h.Device))
	case !(h.RateHz >= 8000 && h.RateHz <= 192000):
		return fmt.Errorf("%w: %s: rate %g Hz; must be 8000 to 192000 Hz", ErrFrame, h.Device, h.RateHz)
	case h.Channels != 1 && h.Channels != 2:
		return fmt.Errorf("%w: %s: %d channels; must be 1 or 2", ErrFrame, h.Device, h.Channels)
	}
	return nil
}

// Frame of sound, little-endian (see server/API.md):
//
//	0 "PA"  2 version 1  3 channels  4 u32 sequence  8 i64 first sample
//	16 f64 rateHz  24 u32 samples  28 u32 zero  32 f32 [channel][sample]
const (
	frameHeaderBytes = 32
	frameVersion     = 1
	// maxFrameSamples is a quarter of a second at 192 kHz.
	maxFrameSamples = 48000
	// MaxFrameBytes is the longest frame a page may send.
	MaxFrameBytes = frameHeaderBytes + 4*2*maxFrameSamples
	// browserQueue is how many frames (10 ms each) may wait for the session.
	browserQueue = 400
	// browserFull is full scale in counts, 24 bits: an audio worklet's float32
	// carries 24 bits exactly, so that what a 16- or 24-bit converter gave stays whole.
	browserFull = 1 << 23
)

// Browser brings the sound that pages send and the sources that want it
// together. Safe for concurrent use.
type Browser struct {
	mu   sync.Mutex
	feed *Feed
	news chan struct{} // closed and replaced when a feed comes
}

// NewBrowser returns a Browser that no page sends to yet.
func NewBrowser() *Browser { return &Browser{news: make(chan struct{})} }

// Feed is one page's stream of sound.
type Feed struct {
	hello Hello
	queue chan browserPacket
	ended chan struct{}

	// Owned by Push's goroutine.
	sequence uint32
	next     int64
	begun    bool
	fine     bool // a sample was no whole 16-bit step
	uneven   bool // the browser divides by 32767 above zero
	loud     bool // the newest sample that was not zero was loud
	zeros    int  // samples of zero since

	// Guarded by mu.
	mu       sync.Mutex
	reason   string
	users    int
	released time.Time // when the last source let go
	texts    []string
	lost     int64 // samples that never came or were given up
	frames   int64
	finer    bool // as fine, for Health
}

// count turns an audio worklet's number, −1 to 1, into 24-bit counts.
//
// Browsers make that number of a 16-bit sample k by k/32768, or, Chromium, by
// k/32767 above zero and k/32768 below. As long as every sample is one or the
// other, the converter's own k is given back, times 256. The first that is
// neither shows a finer converter, or a browser that mixes or resamples.
func (f *Feed) count(v float64) int32 {
	if math.IsNaN(v) {
		return acquire.MissingCount
	}
	if !f.fine {
		plain := math.Round(v * 32768)
		isPlain := plain == v*32768 && plain >= -32768 && plain < 32768
		// A float32 of k/32767 is off by 2⁻²⁴ of itself at most; twice that, since some multiply by 1/32767.
		k := math.Round(v * 32767)
		isUneven := v > 0 && k <= 32767 && math.Abs(v*32767-k) <= k/(1<<23)
		switch {
		case isUneven && (f.uneven || !isPlain): // near full scale a number can be both
			f.uneven = f.uneven || !isPlain
			return int32(k) * 256
		case isPlain:
			return int32(plain) * 256
		}
		f.fine = true
	}
	return int32(min(max(math.RoundToEven(v*browserFull), -browserFull), browserFull-1))
}

type browserPacket struct {
	first   int64
	counts  [][]int32
	arrived time.Time
}

// Attach takes a page that greets. A page before it is told to end: the newest
// one was chosen by somebody just now.
func (b *Browser) Attach(h Hello) (*Feed, error) {
	if err := h.check(); err != nil {
		return nil, err
	}
	f := &Feed{hello: h, queue: make(chan browserPacket, browserQueue), ended: make(chan struct{}), released: time.Now()}
	if len(h.Processing) > 0 {
		f.texts = append(f.texts, fmt.Sprintf("the browser still has %s on, though it was asked not to: levels and shapes are not to be trusted", strings.Join(h.Processing, ", ")))
	}
	if len(h.Unsure) > 0 {
		f.texts = append(f.texts, fmt.Sprintf("the browser does not say whether %s is off: compare with another browser before trusting levels", strings.Join(h.Unsure, ", ")))
	}
	b.mu.Lock()
	before := b.feed
	b.feed = f
	close(b.news)
	b.news = make(chan struct{})
	b.mu.Unlock()
	if before != nil {
		before.End("another page sends the sound now")
	}
	return f, nil
}

// Detach forgets a feed that has ended.
func (b *Browser) Detach(f *Feed) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.feed == f {
		b.feed = nil
	}
}

// Push takes one frame. Errors wrap ErrFrame and mean that the page must be cut off.
func (f *Feed) Push(data []byte, arrived time.Time) error {
	if len(data) < frameHeaderBytes || data[0] != 'P' || data[1] != 'A' {
		return fmt.Errorf("%w: a frame of %d bytes without the header PA", ErrFrame, len(data))
	}
	if data[2] != frameVersion {
		return fmt.Errorf("%w: frame version %d; this program reads version %d: load the page anew", ErrFrame, data[2], frameVersion)
	}
	channels, n := int(data[3]), int(binary.LittleEndian.Uint32(data[24:]))
	sequence, first := binary.LittleEndian.Uint32(data[4:]), int64(binary.LittleEndian.Uint64(data[8:]))
	rateHz := math.Float64frombits(binary.LittleEndian.Uint64(data[16:]))
	switch {
	case channels != f.hello.Channels:
		return fmt.Errorf("%w: a frame of %d channels after a greeting of %d", ErrFrame, channels, f.hello.Channels)
	case rateHz != f.hello.RateHz:
		return fmt.Errorf("%w: a frame at %g Hz after a greeting at %g Hz", ErrFrame, rateHz, f.hello.RateHz)
	case n < 1 || n > maxFrameSamples || len(data) != frameHeaderBytes+4*channels*n:
		return fmt.Errorf("%w: a frame of %d samples in %d bytes; 1 to %d samples, 4 bytes each", ErrFrame, n, len(data), maxFrameSamples)
	case f.begun && sequence != f.sequence+1 && sequence-f.sequence > 1<<31:
		return fmt.Errorf("%w: frame %d after frame %d; frames must come in order", ErrFrame, sequence, f.sequence)
	case f.begun && first < f.next, first < 0, first > 1<<53:
		return fmt.Errorf("%w: a frame that begins at sample %d, %d expected", ErrFrame, first, f.next)
	}
	lost := int64(0)
	if f.begun {
		lost = first - f.next
	}
	if lost > 0 {
		f.loud, f.zeros = false, 0
	}
	f.sequence, f.next, f.begun = sequence, first+int64(n), true
	counts := make([][]int32, channels)
	for c := range counts {
		counts[c] = make([]int32, n)
		for i := range n {
			counts[c][i] = f.count(float64(math.Float32frombits(binary.LittleEndian.Uint32(data[frameHeaderBytes+4*(c*n+i):]))))
		}
	}
	filled := f.filledIn(counts)
	given := false
	select {
	case f.queue <- browserPacket{first, counts, arrived}:
		given = true
	default: // nobody reads: the place in time stays, the samples are missing
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.frames++
	f.finer = f.fine
	f.lost += lost + filled
	if !given && f.users > 0 {
		f.lost += int64(n)
	}
	return nil
}

const (
	// A busy browser puts digital silence where it lost sound, and does not say so. A
	// signal falls to zero by and by, and a converter's noise breaks its rest up: from
	// loudCounts straight to leastFilled zeros or more is such a stretch.
	loudCounts  = 16 * 256
	leastFilled = 64
	// mostFilled seconds of it are no loss but a muted input.
	mostFilledSeconds = 0.5
)

// filledIn marks the samples that the browser put in where it lost some as
// missing, and gives how many.
func (f *Feed) filledIn(counts [][]int32) (filled int64) {
	mark := func(i int) {
		for _, c := range counts {
			c[i] = acquire.MissingCount
		}
		filled++
	}
	for i := range counts[0] {
		zero, loud := true, false
		for _, c := range counts {
			zero = zero && c[i] == 0
			loud = loud || c[i] >= loudCounts || c[i] <= -loudCounts
		}
		if !zero {
			f.loud, f.zeros = loud, 0
			continue
		}
		f.zeros++
		switch {
		case !f.loud || float64(f.zeros) > mostFilledSeconds*f.hello.RateHz:
		case f.zeros == leastFilled:
			for k := max(0, i-leastFilled+1); k <= i; k++ {
				mark(k)
			}
		case f.zeros > leastFilled:
			mark(i)
		}
	}
	return filled
}

// Say passes on a sentence of the page's, as lines a board says.
func (f *Feed) Say(text string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.texts) < 20 {
		f.texts = append(f.texts, text)
	}
}

// End ends the feed, with the reason in words; may be called more than once.
func (f *Feed) End(reason string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	select {
	case <-f.ended:
	default:
		f.reason = reason
		close(f.ended)
	}
}

// Ended is closed when the feed has ended.
func (f *Feed) Ended() <-chan struct{} { return f.ended }

// Reason tells why the feed ended.
func (f *Feed) Reason() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.reason
}

// Idle tells for how long no source has wanted the feed.
func (f *Feed) Idle() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.users > 0 {
		return 0
	}
	return time.Since(f.released)
}

// Open is the acquire.Opener of addresses with BrowserPath. It waits up to three
// seconds for a page that sends; its error wraps acquire.ErrUnplugged when none does.
func (b *Browser) Open(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	c, err := parse(a)
	if err != nil {
		return nil, err
	}
	device, _ := SplitBrowser(a.Path)
	wait := time.NewTimer(3 * time.Second)
	defer wait.Stop()
	for {
		b.mu.Lock()
		f, news := b.feed, b.news
		b.mu.Unlock()
		if f != nil && (device == "" || device == f.hello.Device) {
			select {
			case <-f.ended:
			default:
				return newBrowserSource(c, a, f)
			}
		}
		select {
		case <-news:
		case <-wait.C:
			name := "an audio input"
			if device != "" {
				name = fmt.Sprintf("%q", device)
			}
			return nil, fmt.Errorf("soundcard: no page sends the sound of %s: %w; open the page in the browser of the computer with the audio input, and choose it under Source", name, acquire.ErrUnplugged)
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// browserSource reads a feed.
type browserSource struct {
	info acquire.Info
	side string
	feed *Feed
	stop chan struct{}
	once sync.Once

	// Owned by Read's goroutine.
	base, next int64
	begun      bool
	last       time.Time
	err        error
}

func newBrowserSource(c config, a acquire.Address, f *Feed) (*browserSource, error) {
	h := f.hello
	if c.side != "left" && h.Channels < 2 {
		return nil, fmt.Errorf("soundcard: %s gives one channel, side=%s needs two: choose side=left", h.Device, c.side)
	}
	if a.Options.Has("rate") && c.rateHz != h.RateHz {
		return nil, fmt.Errorf("soundcard: %s runs at %g Hz in this browser, rate=%g was asked for: leave the rate out", h.Device, h.RateHz, c.rateHz)
	}
	c.rateHz, c.bits = h.RateHz, 24
	a.Path = BrowserPath + "/" + h.Device
	c.address = a.String()
	s := &browserSource{info: c.info(h.Device + " through the browser"), side: c.side, feed: f, stop: make(chan struct{}), last: time.Now()}
	s.info.Device = h.Device
	s.info.Name = fmt.Sprintf("%s, %s", h.Device, map[string]string{"left": "left", "right": "right", "both": "both channels"}[c.side])
	// What waited for nobody is old.
	for len(f.queue) > 0 {
		<-f.queue
	}
	f.mu.Lock()
	f.users++
	f.mu.Unlock()
	return s, nil
}

// Describe implements acquire.Source.
func (s *browserSource) Describe() acquire.Info { return s.info }

// Health implements acquire.HealthReporter. Its detail says whether what the
// browser hands over are the converter's own steps.
func (s *browserSource) Health() acquire.Health {
	f := s.feed
	f.mu.Lock()
	defer f.mu.Unlock()
	h := acquire.Health{Lines: f.frames, LostSamples: f.lost}
	h.Detail = "samples as a 16-bit converter gave them"
	if f.finer {
		h.Detail = "samples finer than 16 bits: a finer converter, or a browser that runs at another rate than the device"
	}
	return h
}

// Read implements acquire.Source.
func (s *browserSource) Read(ctx context.Context) (acquire.Block, error) {
	if s.err != nil {
		return acquire.Block{}, s.err
	}
	if ctx.Err() != nil {
		return acquire.Block{}, ctx.Err()
	}
	select {
	case p := <-s.feed.queue:
		return s.take(p), nil
	default:
	}
	timer := time.NewTimer(100 * time.Millisecond)
	defer timer.Stop()
	select {
	case p := <-s.feed.queue:
		return s.take(p), nil
	case <-timer.C:
		if time.Since(s.last) > stall {
			s.err = fmt.Errorf("soundcard: %s: the page sends nothing any more: %w; look at it, it may be asleep", s.info.Name, acquire.ErrUnplugged)
			s.feed.End("the page had stopped sending")
			return acquire.Block{}, s.err
		}
		return acquire.Block{Text: s.text()}, nil
	case <-s.feed.ended:
		s.err = fmt.Errorf("soundcard: %s: %s: %w", s.info.Name, s.feed.Reason(), acquire.ErrUnplugged)
		return acquire.Block{}, s.err
	case <-s.stop:
		s.err = fmt.Errorf("soundcard: %s: closed", s.info.Name)
		return acquire.Block{}, s.err
	case <-ctx.Done():
		return acquire.Block{}, ctx.Err()
	}
}

func (s *browserSource) text() []string {
	s.feed.mu.Lock()
	defer s.feed.mu.Unlock()
	t := s.feed.texts
	s.feed.texts = nil
	return t
}

func (s *browserSource) take(p browserPacket) acquire.Block {
	if !s.begun {
		s.base, s.begun = p.first, true
	}
	counts := p.counts
	switch {
	case s.side == "left":
		counts = counts[:1]
	case s.side == "right":
		counts = counts[1:2]
	}
	b := acquire.Block{First: p.first - s.base, Arrived: p.arrived, Counts: counts, Text: s.text()}
	b.Lost = b.First - s.next
	s.next = b.First + int64(b.Len())
	s.last = p.arrived
	return b
}

// Close implements acquire.Source. The page is told some seconds later, unless
// another source wants it.
func (s *browserSource) Close() error {
	s.once.Do(func() {
		close(s.stop)
		s.feed.mu.Lock()
		s.feed.users--
		s.feed.released = time.Now()
		s.feed.mu.Unlock()
	})
	return nil
}
