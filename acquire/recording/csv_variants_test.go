package recording

import (
	"encoding/binary"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"pulsewright/acquire"
)

// variant is a way in which people's programs write a signal sampled at 250 Hz.
type variant struct {
	name    string
	text    string
	options OpenOptions
	labels  string  // of the channels; "" stands for "adc"
	rate    float64 // 0 stands for 250
	length  int64   // 0 stands for 500
	gaps    string
	digits  int // the values are adcValue times 10^-digits
	wrong   string
	remark  string
}

// adcValue is the value of row i: no two neighbours alike, above 1000 now and then.
func adcValue(i int) int { return 500 + i*7%601 }

// csvRows writes 500 rows by a function of the row's number, its seconds and its value.
func csvRows(head string, row func(i int, s float64, v int) string) string {
	var b strings.Builder
	b.WriteString(head)
	for i := range 500 {
		b.WriteString(row(i, float64(i)*0.004, adcValue(i)) + "\n")
	}
	return b.String()
}

func stamp(layout string) func(i int, s float64, v int) string {
	start := time.Date(2025, 3, 1, 19, 42, 5, 0, time.UTC)
	return func(i int, s float64, v int) string {
		return fmt.Sprintf("%s,%d", start.Add(time.Duration(i)*4*time.Millisecond).Format(layout), v)
	}
}

func inUTF16(s string, order binary.AppendByteOrder) string {
	b := order.AppendUint16(nil, 0xfeff)
	for _, u := range utf16.Encode([]rune(s)) {
		b = order.AppendUint16(b, u)
	}
	return string(b)
}

func comma(s string) string { return strings.ReplaceAll(s, ".", ",") }

func variants() []variant {
	plain := csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) })
	mv := func(v int) string { return fmt.Sprintf("%.3f", float64(v)/1000) }
	only := csvRows("", func(i int, s float64, v int) string { return fmt.Sprint(v) })
	semicolon := func(layout string) string {
		return strings.ReplaceAll(csvRows("Zeit,adc\n", stamp(layout)), ",", ";")
	}
	epoch := func(unit time.Duration) string {
		return csvRows("timestamp,adc\n", func(i int, s float64, v int) string {
			return fmt.Sprintf("%d,%d", (1740858125*int64(time.Second)+int64(i)*4*int64(time.Millisecond))/int64(unit), v)
		})
	}
	list := []variant{
		{name: "plain", text: plain},
		{name: "semicolons", text: strings.ReplaceAll(plain, ",", ";")},
		{name: "tabs", text: strings.ReplaceAll(plain, ",", "\t")},
		{name: "semicolons, decimal commas, no time, rate given", text: comma(csvRows("ecg [V]\n", func(i int, s float64, v int) string { return mv(v) + ";" })), options: OpenOptions{RateHz: 250}, labels: "ecg", digits: 3},
		{name: "semicolons and decimal commas", text: comma(csvRows("time;EKG [V]\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f;%s", s, mv(v)) })), labels: "EKG", digits: 3},
		{name: "tabs and decimal commas", text: comma(csvRows("time\tadc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f\t%s", s, mv(v)) })), digits: 3},
		{name: "byte order mark", text: "\xef\xbb\xbf" + plain},
		{name: "UTF-16, little end first", text: inUTF16(plain, binary.LittleEndian)},
		{name: "UTF-16, big end first", text: inUTF16(plain, binary.BigEndian)},
		{name: "CR LF", text: strings.ReplaceAll(plain, "\n", "\r\n")},
		{name: "CR alone", text: strings.ReplaceAll(plain, "\n", "\r")},
		{name: "quotes", text: csvRows("\"time\",\"ecg, chest\"\n", func(i int, s float64, v int) string { return fmt.Sprintf("\"%.3f\",\"%d\"", s, v) }), labels: "ecg, chest"},
		{name: "units in the header", text: csvRows("time (s),adc (mV)\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) })},
		{name: "units in a line of their own", text: csvRows("time,adc\ns,mV\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) })},
		{name: "no header", text: csvRows("", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) }), labels: "channel 1"},
		{name: "one column, rate given", text: only, options: OpenOptions{RateHz: 250}, labels: "channel 1"},
		{name: "one column, no rate", text: only, wrong: "-rate 250"},
		{name: "# rate 250 Hz", text: "# rate 250 Hz\n" + only, labels: "channel 1"},
		{name: "# fs=250", text: "# fs=250\n" + only, labels: "channel 1"},
		{name: "# sampling rate: 0.25 kHz", text: "# sampling rate: 0.25 kHz\nadc\n" + only},
		{name: "% 250 Hz", text: "% 250 Hz\n" + only, labels: "channel 1"},
		{name: "// 250 Hz", text: "// 250 Hz\n" + only, labels: "channel 1"},
		{name: "three lines before the table", text: "Lamp clip A\nRecorded by: evening class\nRate: 250\nadc\n" + only},
		{name: "a table of facts before the table", text: csvRows("Device,lamp clip A\nSampling rate,250\n\ntime,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) })},
		{name: "milliseconds by the unit", text: csvRows("time [ms],adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", i*4, v) })},
		{name: "milliseconds by the name", text: csvRows("t_ms,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", i*4, v) })},
		{name: "millis", text: csvRows("millis,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", 7000+i*4, v) })},
		{name: "microseconds", text: csvRows("micros,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", i*4000, v) })},
		{name: "seconds since 1970", text: csvRows("timestamp,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", 1740858125+s, v) })},
		{name: "milliseconds since 1970", text: epoch(time.Millisecond)},
		{name: "microseconds since 1970", text: epoch(time.Microsecond)},
		{name: "nanoseconds since 1970", text: epoch(time.Nanosecond)},
		{name: "milliseconds since 1970, named", text: strings.Replace(epoch(time.Millisecond), "timestamp", "epoch_ms", 1)},
		{name: "milliseconds since 1970, no header", text: strings.Replace(epoch(time.Millisecond), "timestamp,adc\n", "", 1), labels: "channel 1"},
		{name: "ISO with T and Z", text: csvRows("time,adc\n", stamp("2006-01-02T15:04:05.000Z"))},
		{name: "ISO with a blank", text: csvRows("time,adc\n", stamp("2006-01-02 15:04:05.000"))},
		{name: "ISO in microseconds", text: csvRows("time,adc\n", stamp("2006-01-02 15:04:05.000000"))},
		{name: "ISO with an offset", text: csvRows("time,adc\n", stamp("2006-01-02T15:04:05.000+01:00"))},
		{name: "ISO with a blank and an offset", text: csvRows("time,adc\n", stamp("2006-01-02 15:04:05.000+01:00"))},
		{name: "ISO without a header", text: csvRows("", stamp("2006-01-02T15:04:05.000")), labels: "channel 1"},
		{name: "dd.mm.yyyy", text: semicolon("02.01.2006 15:04:05.000")},
		{name: "mm/dd/yyyy and PM", text: csvRows("time,adc\n", stamp("01/02/2006 03:04:05.000 PM"))},
		{name: "date and time apart", text: csvRows("date,time,adc\n", func(i int, s float64, v int) string {
			return "2025-03-01," + time.Date(0, 1, 1, 19, 42, 5, i*4e6, time.UTC).Format("15:04:05.000") + fmt.Sprintf(",%d", v)
		})},
		{name: "h:m:s", text: csvRows("time,adc\n", stamp("15:04:05.000"))},
		{name: "h:m:s,ms", text: comma(semicolon("15:04:05.000"))},
		{name: "h:m:s:ms", text: strings.ReplaceAll(csvRows("time,adc\n", stamp("15:04:05.000")), ".", ":")},
		{name: "past midnight", text: csvRows("time,adc\n", func(i int, s float64, v int) string {
			return fmt.Sprintf("%s,%d", time.Date(2025, 3, 1, 23, 59, 59, i*4e6, time.UTC).Format("15:04:05.000"), v)
		})},
		{name: "stamps of whole seconds", text: csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", int(s+0.3), v) })},
		{name: "words for missing values", text: strings.Replace(plain, "\n0.008,514\n", "\n0.008,NaN\n", 1)},
		{name: "exponents", text: csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3e,%d", s, v) })},
		{name: "17 digits", text: csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.17g,%d", s, v) })},
		{name: "thousands in quotes", text: csvRows("time,adc\n", func(i int, s float64, v int) string {
			if v >= 1000 {
				return fmt.Sprintf("%.3f,\"1,%03d\"", s, v-1000)
			}
			return fmt.Sprintf("%.3f,%d", s, v)
		})},
		{name: "a nameless index first", text: csvRows(",time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%.3f,%d", i, s, v) })},
		{name: "a comma at the end of each row", text: csvRows("time,adc,\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d,", s, v) })},
		{name: "a comma at the end of the rows alone", text: csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d,", s, v) })},
		{name: "the time last", text: csvRows("adc,time\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%.3f", v, s) })},
		{name: "time in German", text: csvRows("Zeit [s],adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) })},
		{name: "time in French", text: csvRows("Temps (ms),adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", 4*i, v) })},
		{name: "name:value", text: csvRows("", func(i int, s float64, v int) string { return fmt.Sprintf("t_ms:%d,adc:%d", i*4, v) })},
		{name: "name=value", text: csvRows("", func(i int, s float64, v int) string { return fmt.Sprintf("t_us=%d adc=%d", i*4000, v) })},
		{name: "a stamp, an arrow, a value", text: csvRows("", func(i int, s float64, v int) string {
			return fmt.Sprintf("%s -> %d", time.Date(2025, 3, 1, 19, 42, 5, i*4e6, time.UTC).Format("15:04:05.000"), v)
		}), labels: "channel 1"},
		{name: "blank lines between", text: strings.ReplaceAll(plain, "\n", "\n\n")},
		{name: "the header again and again", text: strings.Replace(strings.Replace(plain, "\n0.400,", "\ntime,adc\n0.400,", 1), "\n0.800,", "\ntime,adc\n0.800,", 1)},
		{name: "millis that wrap", text: csvRows("t_ms,adc\n", func(i int, s float64, v int) string {
			return fmt.Sprintf("%d,%d", (4294967000+int64(i)*4)%4294967296, v)
		}), remark: "goes back"},
		{name: "three seconds missing", text: csvRows("t_ms,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%d", i*4+i/250*3000, v) }), length: 1250, gaps: "[{250 750}]"},
		{name: "the clock was set meanwhile", text: csvRows("time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s+float64(i/250)*1.76e9, v) }), wrong: "55.8 years after 250 rows"},
		{name: "a header alone", text: "time,adc\n", wrong: "no row of numbers"},
		{name: "nothing", text: "", wrong: "empty"},
		{name: "separator and decimal sign said", text: strings.ReplaceAll(comma(csvRows("time|adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f|%s", s, mv(v)) })), "", ""), options: OpenOptions{Separator: '|', Decimal: ','}, digits: 3},
		{name: "the time column said", text: csvRows("when,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.3f,%d", s, v) }), options: OpenOptions{Time: "when"}},
	}
	return list
}

// TestCSVVariants: what each holds is made here, so the rate, the names and every value
// are known.
func TestCSVVariants(t *testing.T) {
	for _, v := range variants() {
		t.Run(v.name, func(t *testing.T) {
			f, err := openBytes([]byte(v.text), "a.csv", v.options)
			if v.wrong != "" {
				if err == nil || !strings.Contains(err.Error(), v.wrong) {
					t.Fatalf("%v, want %q in it", err, v.wrong)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			v.check(t, f)
		})
	}
}

func (v variant) check(t *testing.T, f *File) {
	t.Helper()
	info := f.Describe()
	var labels []string
	for _, c := range info.Channels {
		labels = append(labels, c.Label)
	}
	if v.labels == "" {
		v.labels = "adc"
	}
	if v.rate == 0 {
		v.rate = 250
	}
	if v.length == 0 {
		v.length = 500
	}
	if got := strings.Join(labels, "|"); got != v.labels {
		t.Fatalf("channels %q, want %q", got, v.labels)
	}
	if !near(info.ClaimedRateHz, v.rate, 1e-6) || f.Len() != v.length {
		t.Errorf("%g Hz, %d samples; want %g and %d", info.ClaimedRateHz, f.Len(), v.rate, v.length)
	}
	gaps := ""
	if g := f.Gaps(); len(g) > 0 {
		gaps = fmt.Sprint(g)
	}
	if gaps != v.gaps {
		t.Errorf("gaps %s, want %s", gaps, v.gaps)
	}
	if remarks := strings.Join(f.Remarks(), "; "); !strings.Contains(remarks, v.remark) {
		t.Errorf("remarks %q, want %q in them", remarks, v.remark)
	}
	i := 0
	for _, count := range all(t, f)[0] {
		if count == math.MinInt32 {
			continue
		}
		if v.name == "words for missing values" && i == 2 {
			i++
		}
		if want := adcValue(i); int(count) != want || info.Channels[0].Digits != v.digits && v.digits > 0 {
			t.Fatalf("row %d is %d with %d decimals, want %d with %d", i, count, info.Channels[0].Digits, want, v.digits)
		}
		i++
	}
	if i != 500 {
		t.Errorf("%d values, want 500", i)
	}
}

// TestNamesOfColumns: a name says its unit and its kind, and a name that only looks so is read as it was meant from a
// file of ours.
func TestNamesOfColumns(t *testing.T) {
	for name, want := range map[string]acquire.Channel{
		"lead [mV] (ecg)": {Label: "lead", Kind: acquire.KindECG, Unit: "V", VoltsPerCount: 1e-4, Digits: 1},
		"A0 (Pulse)":      {Label: "A0", Kind: acquire.KindPulse, Digits: 1},
		"ecg (mV)":        {Label: "ecg", Kind: acquire.KindECG, Unit: "V", VoltsPerCount: 1e-4, Digits: 1},
		"A0 [counts]":     {Label: "A0", Digits: 1},
	} {
		f, err := OpenBytes([]byte("# rate 100 Hz\n"+name+"\n1.5\n2.5\n2.0\n"), "a.csv", OpenOptions{})
		must(t, err)
		if c := f.Describe().Channels[0]; c != want {
			t.Errorf("%q is %+v, want %+v", name, c, want)
		}
	}
	var channels []acquire.Channel
	var counts [][]int32
	for _, label := range []string{"A0 (left)", "A0 (ecg)", "A1/mV", "A2_mV", "lead [II]", "plain"} {
		channels, counts = append(channels, acquire.Channel{Label: label, Kind: acquire.KindOther, MinCount: -7, MaxCount: 900}), append(counts, []int32{1, 2, 3})
	}
	w := create(t, "a.edf", 100, channels...)
	must(t, w.Write(counts, 0))
	must(t, w.Close())
	for _, o := range []ExportOptions{{}, {Counts: true}} {
		path := filepath.Join(t.TempDir(), "a.csv")
		must(t, Convert(w.Path(), path, OpenOptions{}, o))
		for i, c := range mustOpen(t, path).Describe().Channels {
			if want := channels[i]; c.Label != want.Label || c.Unit != "" || c.MaxCount != 900 || o.Counts && c != want {
				t.Errorf("counts %v: %+v, want %+v", o.Counts, c, want)
			}
		}
	}
}
