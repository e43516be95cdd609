package server

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"pulsewright/server/session"
)

// metrics answers the program's counters in the Prometheus text format.
func (s *Server) metrics() http.Handler {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), &sessionCollector{session: s.session})
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{})
}

// sessionCollector reads a session's counters when asked.
type sessionCollector struct{ session *session.Session }

var sessionMetrics = []struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	of   func(c session.Counters) float64
}{
	{describe("samples_total", "Samples taken from sources, of one channel."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.Samples) }},
	{describe("lost_samples_total", "Samples known or estimated to be missing in gaps."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.Lost) }},
	{describe("gaps_total", "Gaps marked in the signal."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.Gaps) }},
	{describe("reopens_total", "Times a source came back after it was lost."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.Reopens) }},
	{describe("beats_total", "Beats found, over all channels."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.Beats) }},
	{describe("frames_total", "Frames made for the pages."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.Frames) }},
	{describe("dropped_frames_total", "Frames that slow pages did not get."), prometheus.CounterValue, func(c session.Counters) float64 { return float64(c.DroppedFrames) }},
	{describe("waiting_frames", "Frames that wait for the slowest page."), prometheus.GaugeValue, func(c session.Counters) float64 { return float64(c.WaitingFrames) }},
	{describe("pages", "Pages that are watching."), prometheus.GaugeValue, func(c session.Counters) float64 { return float64(c.Watchers) }},
	{describe("source_rate_hertz", "Sample rate of the source as used, 0 without one."), prometheus.GaugeValue, func(c session.Counters) float64 { return c.RateHz }},
}

func describe(name, help string) *prometheus.Desc {
	return prometheus.NewDesc("pulsewright_"+name, help, nil, nil)
}

// Describe implements prometheus.Collector.
func (s *sessionCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, m := range sessionMetrics {
		ch <- m.desc
	}
}

// Collect implements prometheus.Collector.
func (s *sessionCollector) Collect(ch chan<- prometheus.Metric) {
	c := s.session.Counters()
	for _, m := range sessionMetrics {
		ch <- prometheus.MustNewConstMetric(m.desc, m.kind, m.of(c))
	}
}
