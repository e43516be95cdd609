package server

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
	"pulsewright/server/session"
)

const (
	// mostLanes is how many traces fit into the view for a room.
	mostLanes = 3
	// mostLine is how many bytes a presenter's line of words may have, mostPage those of a
	// page's name.
	mostLine, mostPage = 240, 40
	// leastAcross and mostAcross bound the seconds across.
	leastAcross, mostAcross = 0.1, 600.0
	// newerSeconds is how much newer than the state told a frozen trace may end.
	newerSeconds = 10
	// presenterAway is how long a presentation outlives the last page of an owner.
	presenterAway = 15 * time.Second
)

// Presentation is what an owner's page shows to all pages that follow: PUT /presenter takes it,
// the message `presenter` of the stream carries it.
type Presentation struct {
	On bool `json:"on"`
	// By names the page that presents: it does not follow itself.
	By            string         `json:"by"`
	Frozen        *FrozenAt      `json:"frozen"` // null: live
	SecondsAcross float64        `json:"secondsAcross"`
	Lanes         []PresentLane  `json:"lanes"` // 1 to 3, from above
	Typical       bool           `json:"typical"`
	Pointer       *PresentPlaces `json:"pointer"` // null: none
	Line          string         `json:"line"`    // of words
}

// FrozenAt is where the trace stands: its right edge, a sample of an epoch.
type FrozenAt struct {
	Epoch uint32  `json:"epoch"`
	End   float64 `json:"end"`
}

// PresentLane is a trace: a channel, and a point of its path, both counted from 0.
type PresentLane struct {
	Channel int `json:"channel"`
	Point   int `json:"point"`
}

// PresentPlaces is where a pointer is: shares, 0 to 1, of the width and the height of the
// traces or of the words below them.
type PresentPlaces struct {
	On string  `json:"on"` // "traces" or "words"
	X  float64 `json:"x"`
	Y  float64 `json:"y"`
}

// check says what is wrong with a presentation of what is there now.
func (p Presentation) check(now session.State) error {
	if len(p.By) > mostPage || len(p.Line) > mostLine {
		return fmt.Errorf("a page's name of %d bytes, a line of %d: give at most %d and %d", len(p.By), len(p.Line), mostPage, mostLine)
	}
	for what, text := range map[string]string{"page's name": p.By, "line": p.Line} {
		if err := acquire.CheckText(what, text); text != "" && err != nil {
			return err
		}
	}
	if !p.On {
		return nil
	}
	if !(p.SecondsAcross >= leastAcross && p.SecondsAcross <= mostAcross) {
		return fmt.Errorf("secondsAcross %g: give %g to %g", p.SecondsAcross, leastAcross, mostAcross)
	}
	if n := len(p.Lanes); n < 1 || n > mostLanes {
		return fmt.Errorf("%d lanes: give 1 to %d", n, mostLanes)
	}
	channels := max(1, len(now.Channels)) // without a source the first is still what a page shows
	for i, l := range p.Lanes {
		if l.Channel >= channels {
			return fmt.Errorf("lane of channel %d: the source has channels 0 to %d", l.Channel, channels-1)
		}
		if slices.Contains(p.Lanes[:i], l) {
			return fmt.Errorf("lane of channel %d, point %d: it is given twice; give each trace once", l.Channel, l.Point)
		}
		if l.Channel < 0 || l.Point < 0 || l.Point >= channel.Points {
			return fmt.Errorf("lane of channel %d, point %d: channels count from 0, points from 0 to %d", l.Channel, l.Point, channel.Points-1)
		}
	}
	if f := p.Frozen; f != nil && f.End < 0 {
		return fmt.Errorf("frozen at sample %g: the first is 0", f.End)
	}
	if f := p.Frozen; f != nil && f.Epoch == now.Epoch && f.End > float64(now.LastIndex)+newerSeconds*now.RateHz {
		return fmt.Errorf("frozen at sample %g: the newest is %d", f.End, now.LastIndex-1)
	}
	if at := p.Pointer; at != nil && (at.On != "traces" && at.On != "words" || at.X < 0 || at.X > 1 || at.Y < 0 || at.Y > 1) {
		return fmt.Errorf("pointer on %s at %g, %g: on traces or words, at shares from 0 to 1", quoteShort(at.On), at.X, at.Y)
	}
	return nil
}

// presenter keeps the presentation and hands it to every page. It ends by itself when no
// owner's page has been open for presenterAway.
type presenter struct {
	send  func(hub.Message) // to every page
	after func(time.Duration, func()) *time.Timer

	// Guarded by mu.
	mu     sync.Mutex
	now    Presentation
	owners int
	away   *time.Timer
}

// presenterMessage is what is presented, "presenter".
type presenterMessage struct {
	Type string `json:"type"`
	Presentation
}

// message is called with mu held.
func (p *presenter) message() hub.Message {
	data, _ := json.Marshal(presenterMessage{"presenter", p.now}) // numbers of JSON are finite, the rest is text
	return hub.Message{Kind: hub.Text, Data: data, Newest: "presenter"}
}

func (p *presenter) put(to Presentation) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.now = to
	p.send(p.message())
}

// join tells a page that has come what is presented; leave, when an owner's page, that it went.
func (p *presenter) join(page *hub.Client, owner bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if owner {
		p.owners++
		if p.away != nil {
			p.away.Stop()
		}
	}
	if p.now.On {
		page.Send(p.message())
	}
}

func (p *presenter) leave(owner bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !owner {
		return
	}
	if p.owners--; p.owners == 0 && p.now.On {
		p.away = p.after(presenterAway, p.end)
	}
}

// end ends a presentation whose owner is away.
func (p *presenter) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.owners == 0 && p.now.On {
		p.now = Presentation{Lanes: []PresentLane{}}
		p.send(p.message())
	}
}

func (s *Server) putPresenter(w http.ResponseWriter, r *http.Request) {
	var body Presentation
	if !ReadJSON(w, r, &body) {
		return
	}
	if err := body.check(s.session.State()); err != nil {
		FailWith(w, http.StatusBadRequest, err)
		return
	}
	if body.Lanes == nil {
		body.Lanes = []PresentLane{}
	}
	s.presenter.put(body)
	Answer(w, body)
}
