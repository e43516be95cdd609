package filter

import (
	"fmt"
	"testing"
)

// BenchmarkCascade is run beside scipy's sosfilt by testdata/bench.py; the data are
// the same noise (Park and Miller's generator of seed 1) on the same offset.
func BenchmarkCascade(b *testing.B) {
	src, seed := make([]float64, 1<<16), uint64(1)
	for i := range src {
		seed = seed * 16807 % 2147483647
		src[i] = 2.5 + float64(seed)/2147483647 - 0.5
	}
	dst := make([]float64, len(src))
	s, err := ButterworthLowPass(1000, 40, 8)
	if err != nil {
		b.Fatal(err)
	}
	s = Join(s, s)
	for n := 1; n <= len(s); n++ {
		b.Run(fmt.Sprintf("sections=%d", n), func(b *testing.B) {
			c, err := NewCascade(s[:n], 1000)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				c.Process(dst, src)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(src)), "ns/sample")
		})
	}
}
