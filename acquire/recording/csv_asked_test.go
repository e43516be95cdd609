package recording

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestCSVDoubts: what can be read in two ways is told with the flag that decides it, and is no doubt
// any more once that is given.
func TestCSVDoubts(t *testing.T) {
	at := time.Date(2026, 3, 2, 19, 42, 5, 0, time.Local)
	dated := csvRows("time,adc\n", func(i int, s float64, v int) string {
		return fmt.Sprintf("%s,%d", at.Add(time.Duration(i)*4*time.Millisecond).Format("01/02/2006 15:04:05.000"), v)
	})
	nameless := csvRows("", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) })
	coarse := csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", int(s+0.3), v) })
	noUnit := csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", 4*i, v) })
	grouped := csvRows("time;adc [mV]\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d;1,%03d", 4*i, v%1000) })
	decimals := csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%.2f", s, float64(v)/100) })
	for _, c := range []struct {
		name, text string
		about      string // of the doubts
		flag       string
		answer     OpenOptions
		check      func(f *File) bool // after the answer
	}{
		{"day and month", dated, "dates", "-dates day-first", OpenOptions{Dates: DayFirst}, func(f *File) bool { return f.info.Started.Month() == time.February }},
		{"a nameless clock", nameless, "time", "-time", OpenOptions{Time: "1"}, func(f *File) bool { return f.info.ClaimedRateHz == 250 }},
		{"coarse times", coarse, "rate", "-rate", OpenOptions{RateHz: 250}, func(f *File) bool { return f.info.ClaimedRateHz == 250 }},
		{"a column that rises", strings.Replace(noUnit, "time", "Laufzeit", 1), "columns", `-time "Laufzeit [ms]"`, OpenOptions{Time: "Laufzeit [ms]"}, func(f *File) bool { return near(f.info.ClaimedRateHz, 250, 1e-9) }},
		{"no unit, fast", csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.6f,%d", s/60, v) }), "time", `-time "time [ms]"`, OpenOptions{Time: "time [min]"}, func(f *File) bool { return near(f.info.ClaimedRateHz, 250, 1e-3) }},
		{"three digits behind a comma", strings.Replace(grouped, "time", "t_ms", 1), "decimal", "-decimal", OpenOptions{Decimal: '.'}, func(f *File) bool { return f.info.Channels[0].Digits == 0 }},
		{"decimals and no unit", decimals, "unit", "", OpenOptions{Units: []string{"mV"}}, func(f *File) bool { return near(f.info.Channels[0].VoltsPerCount, 1e-5, 1e-9) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			first := OpenOptions{}
			if c.about == "columns" { // a rate is said, and the time was left to be found
				first.RateHz = 250
			}
			f, err := openBytes([]byte(c.text), "a.csv", first)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			if d := f.Text().Doubts; len(d) != 1 || d[0].About != c.about {
				t.Fatalf("doubts %+v, want one about %s", d, c.about)
			}
			if told := strings.Join(f.Remarks(), "; "); !strings.Contains(told, c.flag) || c.flag == "" && told != "" {
				t.Errorf("told %q, want %s in it", told, c.flag)
			}
			g, err := openBytes([]byte(c.text), "a.csv", c.answer)
			if err != nil {
				t.Fatal(err)
			}
			defer g.Close()
			if d := g.Text().Doubts; len(d) > 0 || len(g.Remarks()) > 0 || !c.check(g) {
				t.Errorf("after the answer: %+v, %q, %+v", d, g.Remarks(), g.info)
			}
		})
	}
	f, err := openBytes([]byte(strings.ReplaceAll(dated, "03/02/", "03/22/")), "a.csv", OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for text, want := range map[string]string{noUnit: `-time "time [ms]"`, strings.Replace(noUnit, "time", "Laufzeit", 1): `-time "Laufzeit [ms]"`, strings.Replace(noUnit, "time,adc\n", "", 1): `-time "1 [ms]"`} {
		if _, err := openBytes([]byte(text), "a.csv", OpenOptions{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s in it", err, want)
		}
	}
	if len(f.Text().Doubts) > 0 {
		t.Errorf("a day above 12 leaves no doubt: %+v", f.Text().Doubts)
	}
}

// TestCSVColumns: columns by name and number, in the order asked for, with a unit for each.
func TestCSVColumns(t *testing.T) {
	text := "t_ms,a,b,c\n0,1,20,3\n4,2,30,4\n8,3,40,5\n"
	for _, c := range []struct {
		options OpenOptions
		labels  string
		volts   []float64
		wrong   string
	}{
		{OpenOptions{}, "a b c", []float64{0, 0, 0}, ""},
		{OpenOptions{Columns: []string{"c", "2"}}, "c a", []float64{0, 0}, ""},
		{OpenOptions{Columns: []string{"b", "a"}, Units: []string{"mV", "V"}}, "b a", []float64{1e-3, 1}, ""},
		{OpenOptions{Units: []string{"mV"}}, "a b c", []float64{1e-3, 1e-3, 1e-3}, ""},
		{OpenOptions{Units: []string{"mV", "V"}}, "", nil, "2 units for 3 columns"},
		{OpenOptions{Columns: []string{"d"}}, "", nil, `column "d": the columns are t_ms, a, b, c`},
		{OpenOptions{Columns: []string{"a", "2"}}, "", nil, "twice"},
		{OpenOptions{Columns: []string{"1"}, Time: "t_ms"}, "", nil, "cannot be the time and a signal"},
		{OpenOptions{Columns: []string{"t_ms"}, RateHz: 100}, "t_ms", []float64{0}, ""},
		{OpenOptions{Time: "none", RateHz: 100}, "t_ms a b c", []float64{0, 0, 0, 0}, ""},
		{OpenOptions{Time: "none"}, "", nil, "sample rate is not known"},
		{OpenOptions{Time: "when"}, "", nil, `time column "when"`},
		{OpenOptions{Dates: "year"}, "", nil, "day-first"},
		{OpenOptions{Units: []string{strings.Repeat("V", 50)}}, "", nil, "unit"},
	} {
		f, err := OpenBytes([]byte(text), "a.csv", c.options)
		if c.wrong != "" {
			if err == nil || !strings.Contains(err.Error(), c.wrong) {
				t.Errorf("%+v: %v, want %q in it", c.options, err, c.wrong)
			}
			continue
		}
		if err != nil {
			t.Errorf("%+v: %v", c.options, err)
			continue
		}
		var labels []string
		var volts []float64
		for _, ch := range f.Describe().Channels {
			labels, volts = append(labels, ch.Label), append(volts, ch.VoltsPerCount)
		}
		if strings.Join(labels, " ") != c.labels || !reflect.DeepEqual(volts, c.volts) {
			t.Errorf("%+v: %q, %g; want %q, %g", c.options, labels, volts, c.labels, c.volts)
		}
		f.Close()
	}
}

// TestOnlyOfTextFiles: what only a text file can be told is refused of another, by its name; a rate is not.
func TestOnlyOfTextFiles(t *testing.T) {
	for _, path := range []string{"lamp_clip_a.edf", "lamp_clip_a.wav", "chest_lead_a.hea"} {
		for name, o := range map[string]OpenOptions{"columns": {Columns: []string{"2"}}, "unit": {Units: []string{"mV"}}, "time": {Time: "none"}, "separator": {Separator: ';'}, "decimal": {Decimal: ','}, "dates": {Dates: DayFirst}, "names": {Names: "none"}} {
			if _, err := OpenWith("../../testdata/"+path, o); err == nil || !strings.Contains(err.Error(), ": "+name+" ") || !strings.Contains(err.Error(), "leave "+name+" out") {
				t.Errorf("%s, %s: %v", path, name, err)
			}
		}
		f, err := OpenWith("../../testdata/"+path, OpenOptions{RateHz: 10})
		if err != nil {
			t.Fatal(err)
		}
		f.Close()
	}
}

// TestOptionsKept: options come back from JSON as they were, and what is said now comes before.
func TestOptionsKept(t *testing.T) {
	o := OpenOptions{RateHz: 250, Separator: '\t', Decimal: ',', Time: "2", Columns: []string{"a"}, Units: []string{"mV"}, Dates: DayFirst}
	data, err := json.Marshal(o)
	must(t, err)
	var back OpenOptions
	must(t, json.Unmarshal(data, &back))
	if !reflect.DeepEqual(o, back) || o.Zero() || !(OpenOptions{}).Zero() {
		t.Errorf("%s came back as %+v", data, back)
	}
	if got := (OpenOptions{RateHz: 500, Time: "none"}).Over(&o); got.RateHz != 500 || got.Time != "none" || got.Separator != '\t' || got.Columns[0] != "a" {
		t.Errorf("%+v", got)
	}
	for _, wrong := range []map[string]string{{"rate": "fast"}, {"rate": "-1"}, {"separator": "ab"}, {"decimal": "dot"}, {"separator": ",", "decimal": "comma"}, {"dates": "x"}} {
		_, err := ParseOptions(func(name string) string { return wrong[name] })
		first := false
		for name := range wrong {
			first = first || err != nil && strings.HasPrefix(err.Error(), name)
		}
		if !first {
			t.Errorf("%v: %v, want an error that begins with the name", wrong, err)
		}
	}
}
