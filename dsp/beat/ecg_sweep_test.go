package beat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
	"unsafe"
)

type rec struct {
	name string
	x    []float64
	ref  score.Reference
}

func loadAll(t testing.TB) []rec {
	data := openData(t, "mitdb")
	var rs []rec
	for _, name := range devRecords {
		x, second, err := mitdata.Signal(data, name)
		if err != nil {
			t.Fatal(err)
		}
		if os.Getenv("LEAD2") != "" {
			x = second
		}
		ann, err := mitdata.Annotations(data, name)
		if err != nil {
			t.Fatal(err)
		}
		rs = append(rs, rec{name, x, score.FromAnnotations(ann)})
	}
	return rs
}

func setParam(p *ecgParams, name string, v float64, mul bool) {
	f := reflect.ValueOf(p).Elem().FieldByName(name)
	q := (*float64)(unsafe.Pointer(f.UnsafeAddr()))
	if mul {
		*q *= v
	} else {
		*q = v
	}
}

func evalAll(t testing.TB, rs []rec, p ecgParams, learn float64) (score.Total, string) {
	res := make([]score.Result, len(rs))
	var wg sync.WaitGroup
	for h := range 2 {
		wg.Go(func() {
			for i := h; i < len(rs); i += 2 {
				got := runECG(t, rs[i].x, mitdata.RateHz, p)
				res[i], _ = score.Match(rs[i].ref, got, score.Config{RateHz: mitdata.RateHz, LearningSeconds: learn})
			}
		})
	}
	wg.Wait()
	var tot score.Total
	s := ""
	for i, r := range res {
		tot.Add(r)
		if r.FN+r.FP > 3 {
			s += fmt.Sprintf(" %s:%d/%d", rs[i].name, r.FN, r.FP)
		}
	}
	return tot, s
}

// noisy adds nstdb noise in alternate two-minute stretches from 5:00.
func noisy(r rec, noise []float64, snr float64) rec {
	var pp []float64
	for _, b := range r.ref.Samples[:300] {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i := max(b-18, 0); i <= b+18; i++ {
			lo, hi = min(lo, r.x[i]), max(hi, r.x[i])
		}
		pp = append(pp, hi-lo)
	}
	S := trim(pp)
	S = S * S / 8
	var rms []float64
	for i := 0; i+360 <= len(noise); i += 360 {
		m, v := 0.0, 0.0
		for _, x := range noise[i : i+360] {
			m += x / 360
		}
		for _, x := range noise[i : i+360] {
			v += (x - m) * (x - m) / 360
		}
		rms = append(rms, math.Sqrt(v))
	}
	N := trim(rms)
	a := math.Sqrt(S / (N * N) / math.Pow(10, snr/10))
	y := slices.Clone(r.x)
	k := 0
	for i := 300 * 360; i < len(y); i++ {
		if (i-300*360)/(120*360)%2 == 0 {
			y[i] += a * noise[k%len(noise)]
			k++
		}
	}
	return rec{r.name, y, r.ref}
}

func trim(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	v = v[len(v)/20 : len(v)-len(v)/20]
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

func TestSweep(t *testing.T) {
	sw := os.Getenv("SWEEP") // "name=v1,v2;name2=..." or "noise" or "perturb"
	if sw == "" {
		t.Skip()
	}
	base := defaultECGParams()
	for _, kv := range strings.Split(os.Getenv("SET"), ";") {
		if k, v, ok := strings.Cut(kv, "="); ok {
			f, _ := strconv.ParseFloat(v, 64)
			setParam(&base, k, f, false)
		}
	}
	rs := loadAll(t)
	show := func(label string, p ecgParams) {
		tot, s := evalAll(t, rs, p, 0)
		fmt.Printf("%-28s FN %3d FP %3d  Se %.3f +P %.3f low %.2f %.2f %s\n", label, tot.Gross.FN, tot.Gross.FP, 100*tot.Gross.Se(), 100*tot.Gross.PPV(), 100*tot.LowestSe(), 100*tot.LowestPPV(), s)
	}
	ns := func(label string, p ecgParams, snrs ...float64) {
		data := openData(t, "nstdb")
		for _, kind := range []string{"bw_first", "ma_first"} {
			n, _, err := mitdata.Signal(data, kind)
			if err != nil {
				t.Fatal(err)
			}
			for _, snr := range snrs {
				var q []rec
				for _, r := range rs {
					q = append(q, noisy(r, n, snr))
				}
				tot, s := evalAll(t, q, p, 300)
				if len(snrs) < 3 {
					s = ""
				}
				fmt.Printf("%-12s %s %2.0f dB  FN %4d FP %4d Se %.2f +P %.2f F1 %.2f %s\n", label, kind[:2], snr, tot.Gross.FN, tot.Gross.FP, 100*tot.Gross.Se(), 100*tot.Gross.PPV(), 100*tot.Gross.F1(), s)
			}
		}
	}
	for _, one := range strings.Split(sw, ";") {
		k, vs, _ := strings.Cut(one, "=")
		switch k {
		case "base":
			show("base", base)
		case "noise":
			ns("", base, 24, 18, 12, 6, 0)
		case "n6":
			ns("", base, 6)
		case "perturb":
			rng := rand.New(rand.NewPCG(1, 2))
			v := reflect.TypeOf(base)
			for trial := range 12 {
				p := base
				for i := range v.NumField() {
					if rng.IntN(2) == 0 {
						m := 0.8
						if rng.IntN(2) == 0 {
							m = 1.2
						}
						setParam(&p, v.Field(i).Name, m, true)
					}
				}
				show(fmt.Sprint("perturb ", trial), p)
			}
		case "each":
			v := reflect.TypeOf(base)
			for i := range v.NumField() {
				for _, m := range []float64{0.8, 1.2} {
					p := base
					setParam(&p, v.Field(i).Name, m, true)
					show(fmt.Sprint(v.Field(i).Name, "*", m), p)
				}
			}
		default:
			for _, s := range strings.Split(vs, ",") {
				f, _ := strconv.ParseFloat(s, 64)
				p := base
				setParam(&p, k, f, false)
				show(k+"="+s, p)
				if os.Getenv("N6") != "" {
					ns(k+"="+s, p, 6)
				}
			}
		}
	}
}
