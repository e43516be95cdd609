package filter

import (
	"fmt"
	"math"
	"testing"
)

func BenchmarkCascade(b *testing.B) {
	src := make([]float64, 1<<16)
	for i := range src {
		src[i] = 2.5 + math.Sin(float64(i)*0.01) + 0.1*math.Sin(float64(i)*0.3)
	}
	dst := make([]float64, len(src))
	for n := 1; n <= 8; n++ {
		b.Run(fmt.Sprintf("sections=%d", n), func(b *testing.B) {
			s, _ := ButterworthLowPass(1000, 40, 8)
			s = Join(s, s)[:n]
			c, err := NewCascade(s, 1000)
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
