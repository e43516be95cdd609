package serialport

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pulsewright/acquire"
)

// TestColumnsTold: what the editor of columns begins with.
func TestColumnsTold(t *testing.T) {
	rows := func(header, format string) string {
		var b strings.Builder
		b.WriteString("\n" + header)
		for i := range 40 {
			fmt.Fprintf(&b, format, 1000+4*i, 150+i*37%200, 300+i*37%601)
		}
		return b.String()
	}
	signal, clock := acquire.UseSignal, acquire.UseClock
	for _, c := range []struct {
		stream string
		names  []string
		want   []acquire.Column
		kinds  string
	}{
		{rows("", "%d,1.%d,%d\n"), nil, []acquire.Column{{Use: clock, Clock: "t_ms"}, {Use: signal, Looks: "V"}, {Use: signal}}, " "},
		{rows("time,finger [V],x\n", "%d,1.%d,%d\n"), nil, []acquire.Column{{Name: "time", Use: clock, Clock: "t_ms"}, {Name: "finger", Unit: "V", Use: signal}, {Name: "x", Use: signal}}, "pulse "},
		{rows("t_ms,lead [mV] (ecg),\"A0 (PULSE)\"\n", "%d,1.%d,%d\n"), nil, []acquire.Column{{Name: "t_ms", Use: clock, Clock: "t_ms"}, {Name: "lead", Unit: "mV", Use: signal}, {Name: "A0", Use: signal}}, "ecg pulse"},
		{rows("t_ms A0 [mV] (ecg) A1 (left)\n", "%d,1.%d,%d\n"), nil, []acquire.Column{{Use: clock, Clock: "t_ms"}, {Use: signal, Looks: "V"}, {Use: signal}}, " "},
		{rows("t_ms A0 [mV] (ecg) A1 (mV)\n", "%d,1.%d,%d\n"), nil, []acquire.Column{{Name: "t_ms", Use: clock, Clock: "t_ms"}, {Name: "A0", Unit: "mV", Use: signal}, {Name: "A1", Unit: "mV", Use: signal}}, "ecg "},
		{rows("t_ms,ecg (mV),A1 (left)\n", "%d,1.%d,%d\n"), nil, []acquire.Column{{Name: "t_ms", Use: clock, Clock: "t_ms"}, {Name: "ecg", Unit: "mV", Use: signal}, {Name: "A1 (left)", Use: signal}}, "ecg "},
		{rows("t_ms,A0 (pulse),A1 (ecg)\n", "%d,1.%d,%d\n"), []string{"t_ms", "lead II", "A1"}, []acquire.Column{{Name: "t_ms", Use: clock, Clock: "t_ms"}, {Name: "lead II", Use: signal, Looks: "V"}, {Name: "A1", Use: signal}}, "ecg ecg"},
		{rows("", "%d,1.%d,%d\n"), []string{"n", "lead [mV] (ecg)", "-"}, []acquire.Column{{Name: "n", Use: signal}, {Name: "lead", Unit: "mV", Use: signal}, {Name: "-", Use: acquire.UseNothing}}, " ecg"},
	} {
		d := NewLineDecoder(c.names)
		if _, err := d.Feed([]byte(c.stream)); err != nil {
			t.Fatal(err)
		}
		f, err := d.Settle()
		if err != nil || !reflect.DeepEqual(f.Columns, c.want) {
			t.Errorf("columns %+v, %v\nwant    %+v", f.Columns, err, c.want)
		}
		var kinds []string
		for _, ch := range f.Channels {
			kinds = append(kinds, ch.Kind)
		}
		if got := strings.Join(kinds, " "); got != c.kinds {
			t.Errorf("kinds %q, want %q", got, c.kinds)
		}
	}
}

// FuzzNames: whatever the user says of columns is refused or gives as many columns, and
// labels that are no longer than said.
func FuzzNames(f *testing.F) {
	f.Add("t_us,pulse [mV],lead [mV] (ecg),-")
	f.Add("[,(),a [ (pulse)")
	f.Add("-,-,seq")
	f.Fuzz(func(t *testing.T, names string) {
		o, err := parseOptions(acquire.Address{Scheme: "serial", Path: "x", Options: map[string][]string{"names": {names}}})
		if err != nil {
			return
		}
		d := NewLineDecoder(o.names)
		line := strings.Repeat("7,", len(o.names)-1) + "7\n"
		if _, err := d.Feed([]byte("\n" + strings.Repeat(line, 5))); err != nil {
			t.Fatal(err)
		}
		format, err := d.Settle()
		if err == nil && len(format.Columns) != len(o.names) {
			t.Fatalf("%d columns of %d names", len(format.Columns), len(o.names))
		}
		for _, c := range format.Channels {
			if c.Label == "" || len(c.Label) > maxNameBytes+4 {
				t.Fatalf("label %q", c.Label)
			}
		}
	})
}
