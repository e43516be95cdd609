package command

import (
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"strconv"

	"pulsewright/dsp/beat"
	"pulsewright/server/channel"
	"pulsewright/server/session"
)

// What stream -json prints, an object a line. first and sample count samples as the
// page does; seconds is the time since the first of all.
type (
	sourceLine struct {
		Type     string        `json:"type"` // source
		Address  string        `json:"address"`
		Name     string        `json:"name"`
		RateHz   float64       `json:"rateHz"`
		Points   []string      `json:"points"`
		Channels []channelLine `json:"channels"`
	}
	channelLine struct {
		Label string `json:"label"`
		Kind  string `json:"kind"`
		Unit  string `json:"unit"`
	}
	beatLine struct {
		Type      string    `json:"type"` // beat
		Sample    int64     `json:"sample"`
		Seconds   float64   `json:"seconds"`
		Channel   int       `json:"channel"`
		Kind      beat.Kind `json:"kind"`
		Amplitude float64   `json:"amplitude"`
		Quality   float64   `json:"quality"`
	}
	readingLine struct {
		Type    string  `json:"type"` // reading
		Seconds float64 `json:"seconds"`
		Channel int     `json:"channel"`
		beat.Reading
	}
	gapLine struct {
		Type    string  `json:"type"` // gap
		Sample  int64   `json:"sample"`
		Seconds float64 `json:"seconds"`
		Samples int64   `json:"samples"`
		Reason  string  `json:"reason"`
	}
	textLine struct {
		Type   string   `json:"type"` // text
		Sample int64    `json:"sample"`
		Lines  []string `json:"lines"`
	}
)

// object prints a line of JSON; a table has no place for it.
func (p *printer) object(v any) error {
	if !p.json || !p.begun {
		return nil
	}
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	_, err = p.out.Write(append(data, '\n'))
	return err
}

// header says what follows. A table's columns cannot change on the way.
func (p *printer) header(s session.State) error {
	again := p.begun
	p.begun, p.epoch = true, s.Epoch
	p.time = timeline{}
	p.readings = make([]session.ChannelReading, len(s.Channels))
	line := sourceLine{Type: "source", Address: s.Source.Address, Name: s.Source.Name, RateHz: s.RateHz}
	for _, n := range p.points {
		line.Points = append(line.Points, channel.PointNames[n])
	}
	row := []string{"sample", "time_s"}
	for _, c := range s.Channels {
		line.Channels = append(line.Channels, channelLine{c.Label, c.Kind, c.Unit})
		for _, name := range line.Points {
			row = append(row, c.Label+" "+name+" ["+c.Unit+"]")
		}
	}
	if p.json {
		return p.object(line)
	}
	if p.beats {
		row = []string{"sample", "time_s", "channel", "kind", "amplitude", "quality", "state", "rate_bpm"}
	}
	columns, err := json.Marshal(row)
	if err != nil {
		return err
	}
	if again {
		if string(columns) != p.columns {
			return errors.New("the source came back with other columns: start anew, or use -json")
		}
		return nil
	}
	p.columns = string(columns)
	return p.row(row)
}

func (p *printer) row(fields []string) error {
	w := csv.NewWriter(p.out)
	if err := w.Write(fields); err != nil {
		return err
	}
	w.Flush()
	return w.Error()
}

// frame prints a binary frame of the stream; its layout stands in server/API.md.
func (p *printer) frame(data []byte) error {
	first, n := int64(binary.LittleEndian.Uint64(data[8:])), int(binary.LittleEndian.Uint32(data[16:]))
	channels, points := int(binary.LittleEndian.Uint16(data[20:])), int(binary.LittleEndian.Uint16(data[22:]))
	if !p.begun || binary.LittleEndian.Uint32(data[32:]) != p.epoch || channels != len(p.state.Channels) {
		return nil
	}
	p.time.move(first, math.Float64frombits(binary.LittleEndian.Uint64(data[24:])))
	over := false
	for over = p.seconds > 0 && p.time.at(first+int64(n)) > p.seconds; n > 0 && p.seconds > 0 && p.time.at(first+int64(n)-1) >= p.seconds; {
		n--
	}
	value := func(channel, point, i int) float32 {
		all := int(binary.LittleEndian.Uint32(data[16:]))
		return math.Float32frombits(binary.LittleEndian.Uint32(data[40+4*((channel*points+point)*all+i):]))
	}
	var err error
	switch {
	case p.beats || n == 0:
	case p.json:
		err = p.jsonSamples(first, n, channels, value)
	default:
		err = p.tableSamples(first, n, channels, value)
	}
	if err == nil && over {
		return errDone
	}
	return err
}

type valueOf func(channel, point, i int) float32

func (p *printer) jsonSamples(first int64, n, channels int, value valueOf) error {
	b := append(p.line[:0], `{"type":"samples","first":`...)
	b = strconv.AppendInt(b, first, 10)
	b = append(b, `,"seconds":`...)
	b = strconv.AppendFloat(b, p.time.at(first), 'f', 6, 64)
	b = append(b, `,"rateHz":`...)
	b = strconv.AppendFloat(b, p.time.rateHz, 'g', -1, 64)
	b = append(b, `,"channels":[`...)
	for c := range channels {
		if c > 0 {
			b = append(b, ',')
		}
		b = append(b, '{')
		for k, point := range p.points {
			if k > 0 {
				b = append(b, ',')
			}
			b = append(b, '"')
			b = append(b, channel.PointNames[point]...)
			b = append(b, `":[`...)
			for i := range n {
				if i > 0 {
					b = append(b, ',')
				}
				b = appendValue(b, value(c, point, i), "null")
			}
			b = append(b, ']')
		}
		b = append(b, '}')
	}
	b = append(b, "]}\n"...)
	p.line = b
	_, err := p.out.Write(b)
	return err
}

func (p *printer) tableSamples(first int64, n, channels int, value valueOf) error {
	for i := range n {
		b := strconv.AppendInt(p.line[:0], first+int64(i), 10)
		b = append(b, ',')
		b = strconv.AppendFloat(b, p.time.at(first+int64(i)), 'f', 6, 64)
		for c := range channels {
			for _, point := range p.points {
				b = appendValue(append(b, ','), value(c, point, i), "")
			}
		}
		p.line = append(b, '\n')
		if _, err := p.out.Write(p.line); err != nil {
			return err
		}
	}
	return nil
}

// appendValue writes a value as short as gives the same one back; none as missing.
func appendValue(b []byte, v float32, missing string) []byte {
	if math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
		return append(b, missing...)
	}
	return strconv.AppendFloat(b, float64(v), 'g', -1, 32)
}

func (p *printer) beatLines(list session.ChannelBeats) error {
	if !p.begun || list.Epoch != p.epoch || list.Channel >= len(p.readings) {
		return nil
	}
	for _, b := range list.Beats {
		at := p.time.at(b.Sample)
		if p.json {
			if err := p.object(beatLine{"beat", b.Sample, at, list.Channel, b.Kind, b.Amplitude, b.Quality}); err != nil {
				return err
			}
			continue
		}
		if !p.beats {
			continue
		}
		r := p.readings[list.Channel]
		rate := ""
		if r.State == beat.StateReading {
			rate = strconv.FormatFloat(r.RateBPM, 'f', 1, 64)
		}
		if err := p.row([]string{strconv.FormatInt(b.Sample, 10), strconv.FormatFloat(at, 'f', 4, 64), p.state.Channels[list.Channel].Label, string(b.Kind),
			strconv.FormatFloat(b.Amplitude, 'g', 6, 64), strconv.FormatFloat(b.Quality, 'f', 3, 64), string(r.State), rate}); err != nil {
			return err
		}
	}
	return nil
}

func (p *printer) readingLine(r session.ChannelReading) error {
	if !p.begun || r.Epoch != p.epoch || r.Channel >= len(p.readings) {
		return nil
	}
	p.readings[r.Channel] = r
	return p.object(readingLine{"reading", p.time.at(r.Index), r.Channel, r.Reading})
}
