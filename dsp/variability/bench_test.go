package variability

import (
	"math"
	"testing"
	"time"

	"pulsewright/dsp/beat"
)

// BenchmarkMinute follows a minute of a pulse at 250 Hz with an hour of beats behind it
// and looks at five minutes of it once every two seconds, as a page does. Beside it the
// beat finder reads the same minute: "of-finding" is the one over the other.
func BenchmarkMinute(b *testing.B) {
	const n = 60 * testHz
	x := make([]float64, n)
	for i := range x {
		at := float64(i) / testHz
		x[i] = 2.5 + math.Exp(8*(math.Sin(2*math.Pi*1.25*at)-1))
	}
	tr, err := NewTracker(Config{Kind: beat.Pulse, RateHz: testHz})
	if err != nil {
		b.Fatal(err)
	}
	tr.Beats(rhythm(3600, 1))
	m, err := beat.NewMonitor(beat.MonitorConfig{Kind: beat.Pulse, RateHz: testHz, Low: math.NaN(), High: math.NaN()})
	if err != nil {
		b.Fatal(err)
	}
	at := tr.last + testHz
	var follow, find time.Duration
	var list []beat.Beat
	for b.Loop() {
		start := time.Now()
		list = m.Process(list[:0], x)
		find += time.Since(start)
		start = time.Now()
		for second := range 60 {
			tr.Samples(at, x[second*testHz:(second+1)*testHz])
			for k := range 2 {
				s := at + int64(k)*testHz*45/100
				tr.Beats([]beat.Beat{{Sample: s + 30, Foot: s, Quality: 0.9, Amplitude: 1}})
			}
			at += testHz
			if second%2 == 0 {
				s := tr.Stretch(300)
				s.Report()
				s.Breathing()
			}
		}
		follow += time.Since(start)
	}
	b.ReportMetric(follow.Seconds()/float64(b.N)/60*100, "%core")
	b.ReportMetric(float64(follow)/float64(find), "of-finding")
}
