package recording

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// habits are more ways of writing the same 500 samples at 250 Hz, made up after what spreadsheets,
// logging scripts, terminals and converters do.
func habits() []variant {
	at := func(i int) time.Time {
		return time.Date(2025, 3, 21, 19, 42, 5, 0, time.UTC).Add(time.Duration(i) * 4 * time.Millisecond)
	}
	row := func(format string) func(i int, s float64, v int) string {
		return func(i int, s float64, v int) string { return fmt.Sprintf(format, s, v) }
	}
	comma := func(format string) func(i int, s float64, v int) string {
		return func(i int, s float64, v int) string {
			return strings.ReplaceAll(fmt.Sprintf(format, s, float64(v)/1000), ".", ",")
		}
	}
	dated := func(layout, separator string) func(i int, s float64, v int) string {
		return func(i int, s float64, v int) string { return fmt.Sprintf("%s%s%d", at(i).Format(layout), separator, v) }
	}
	return []variant{
		{name: "bars between", text: csvRows("time|adc\n", row("%.3f|%d"))},
		{name: "units after a slash", text: csvRows("time/s,adc/mV\n", row("%.3f,%d"))},
		{name: "spreadsheet: mark, CR LF, semicolons, decimal commas", text: "\xef\xbb\xbf" + strings.ReplaceAll(csvRows("Zeit (s);EKG (mV)\n", comma("%.3f;%.3f")), "\n", "\r\n"), labels: "EKG", digits: 3},
		{name: "spreadsheet: a line that names the separator", text: "sep=;\n" + csvRows("time;adc\n", row("%.3f;%d"))},
		{name: "a line at the end in words", text: csvRows("time,adc\n", row("%.3f,%d")) + "end of recording\n"},
		{name: "what sums it up, at the end", text: csvRows("time,adc\n", row("%.3f,%d")) + "Mean,512.375\nMax,1100\nStd,33.1\n", remark: `3 rows of words at the end were left out; the first begins with "Mean"`},
		{name: "a mean without a clock", text: csvRows("# rate 250 Hz\nadc;lamp\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d;3", v) }) + "Mittel;3.25\n", labels: "adc|lamp", remark: `1 row of words at the end was left out; the first begins with "Mittel"`},
		{name: "a mean beside an index", text: csvRows(",time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%.3f,%d", i, s, v) }) + "Statistics\n,mean,512.4\n", remark: "2 rows of words at the end"},
		{name: "empty rows and a mean below, empty rows after", text: csvRows("time,adc\n", row("%.3f,%d")) + ",\nMean,512.4\n,\n,\n", remark: `1 row of words at the end was left out; the first begins with "Mean": what sums a table up is no sample; 3 empty rows at the end were left out`},
		{name: "a fact right above the rows", text: csvRows("Device,lamp clip\nFs,250\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,3", v) }), labels: "channel 1|channel 2"},
		{name: "words in the clock, and it goes on", text: strings.Replace(csvRows("time,adc\n", row("%.3f,%d")), "\n0.400,", "\nERR,", 1)},
		{name: "sample number, time, value", text: csvRows("sample,time,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%d,%.3f,%d", i, s, v) })},
		{name: "columns of one width", text: csvRows("      time        adc\n", row("%10.3f %10d"))},
		{name: "blanks and tabs at the ends", text: csvRows("time,adc \t\n", row("  %.3f, %d \t "))},
		{name: "plus signs", text: csvRows("time,adc\n", row("%+.3f,%+d"))},
		{name: "comments between", text: strings.Replace(csvRows("time,adc\n", row("%.3f,%d")), "\n0.400,", "\n# pressed the clip\n0.400,", 1)},
		{name: "ISO with a comma, semicolons", text: csvRows("time;adc\n", dated("2006-01-02T15:04:05,000", ";"))},
		{name: "year, month, day parted by slashes", text: csvRows("time,adc\n", dated("2006/01/02 15:04:05.000", ","))},
		{name: "dd.mm.yy", text: csvRows("time;adc\n", dated("02.01.06 15:04:05.000", ";"))},
		{name: "a dash for the T", text: csvRows("time,adc\n", dated("2006-01-02-15:04:05.000", ","))},
		{name: "elapsed hours", text: csvRows("elapsed,adc\n", func(i int, s float64, v int) string {
			return fmt.Sprintf("0:%02d:%06.3f,%d", int(s)/60, s-float64(int(s)/60*60), v)
		})},
		{name: "milliseconds with decimals", text: csvRows("time_ms,adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.1f,%d", s*1000, v) })},
		{name: "minutes", text: csvRows("time [min],adc\n", func(i int, s float64, v int) string { return fmt.Sprintf("%.9f,%d", s/60, v) })},
		{name: "lists in brackets", text: csvRows("", row("[%.3f, %d]")), labels: "channel 1"},
		{name: "lists in parentheses", text: csvRows("", row("(%.3f, %d)")), labels: "channel 1"},
		{name: "JSON lines", text: csvRows("", func(i int, s float64, v int) string { return fmt.Sprintf(`{"t_ms": %d, "adc": %d}`, 4*i, v) })},
		{name: "units in the cells", text: csvRows("time,adc\n", row("%.3f s,%d mV"))},
		{name: "a terminal's log", text: csvRows("--- opened /dev/ttyACM0 at 115200 baud ---\n", func(i int, s float64, v int) string { return fmt.Sprintf("%s > %d", at(i).Format("15:04:05.000"), v) }), labels: "channel 1"},
		{name: "a slower second column", text: csvRows("time,adc,temperature\n", func(i int, s float64, v int) string {
			if i%50 == 0 {
				return fmt.Sprintf("%.3f,%d,21", s, v)
			}
			return fmt.Sprintf("%.3f,%d,", s, v)
		}), options: OpenOptions{Columns: []string{"adc"}}},
	}
}

func TestCSVHabits(t *testing.T) {
	list := habits()
	if len(list) < 20 {
		t.Fatal("too few")
	}
	for _, v := range list {
		t.Run(v.name, func(t *testing.T) {
			f, err := openBytes([]byte(v.text), "a.csv", v.options)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			v.check(t, f)
		})
	}
}
