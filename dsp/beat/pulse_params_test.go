package beat

import (
	"maps"
	"slices"
)

// pulseFields are the pulse detector's parameters by name.
func pulseFields(p *pulseParams) map[string]*float64 {
	return map[string]*float64{
		"smoothSeconds": &p.smoothSeconds,
		"trendSeconds":  &p.trendSeconds,
		"hysteresis":    &p.hysteresis,
		"startSeconds":  &p.startSeconds,
		"threshold":     &p.threshold,
		"early":         &p.early,
		"regular":       &p.regular,
		"searchShare":   &p.searchShare,
		"searchAt":      &p.searchAt,
		"refractory":    &p.refractory,
		"notchShare":    &p.notchShare,
		"notchSeconds":  &p.notchSeconds,
		"notchReach":    &p.notchReach,
		"decaySeconds":  &p.decaySeconds,
		"upstrokeEnd":   &p.upstrokeEnd,
		"steepest":      &p.steepest,
		"tailSeconds":   &p.tailSeconds,
	}
}

func pulseField(p *pulseParams, name string) *float64 { return pulseFields(p)[name] }

func pulseNames() []string { return slices.Sorted(maps.Keys(pulseFields(&pulseParams{}))) }
