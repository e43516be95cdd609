package acquire

import (
	"context"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
)

func TestParseAddress(t *testing.T) {
	for _, c := range []struct {
		text, scheme, path string
		options            map[string]string
		back               string // as String writes it
	}{
		{"demo:finger", "demo", "finger", nil, "demo:finger"},
		{"SERIAL:/dev/ttyACM0?baud=115200", "serial", "/dev/ttyACM0", map[string]string{"baud": "115200"}, "serial:/dev/ttyACM0?baud=115200"},
		{`serial:COM3?rate=250&baud=9600`, "serial", "COM3", map[string]string{"rate": "250", "baud": "9600"}, "serial:COM3?baud=9600&rate=250"},
		{`file:C:\Users\ada\walk.edf`, "file", `C:\Users\ada\walk.edf`, nil, `file:C:\Users\ada\walk.edf`},
		{"file:/home/ada/a walk ✓.edf?speed=10", "file", "/home/ada/a walk ✓.edf", map[string]string{"speed": "10"}, "file:/home/ada/a walk ✓.edf?speed=10"},
		{"demo:finger?", "demo", "finger", nil, "demo:finger"},
		{"demo:finger?hum=", "demo", "finger", map[string]string{"hum": ""}, "demo:finger?hum="},
		{"serial:/dev/tty?names=a%26b,c+d", "serial", "/dev/tty", map[string]string{"names": "a&b,c d"}, "serial:/dev/tty?names=a%26b%2Cc+d"},
		{"-", "stdin", "-", nil, "stdin:-"},
		{"-?rate=250", "stdin", "-", map[string]string{"rate": "250"}, "stdin:-?rate=250"},
		{"stdin:", "stdin", "-", nil, "stdin:-"},
		{"tcp-listen:3333", "tcp-listen", "3333", nil, "tcp-listen:3333"},
		{"sound:hw:1,0", "sound", "hw:1,0", nil, "sound:hw:1,0"},
		{"file:what?.edf?x=1", "file", "what", map[string]string{".edf?x": "1"}, "file:what?.edf%3Fx=1"}, // a question mark ends the path
	} {
		a, err := ParseAddress(c.text)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if a.Scheme != c.scheme || a.Path != c.path || len(a.Options) != len(c.options) || a.String() != c.back {
			t.Errorf("%q is %+v, written %q; want %q, %q, %v, written %q", c.text, a, a, c.scheme, c.path, c.options, c.back)
		}
		for name, want := range c.options {
			if got := a.Text(name, "missing"); got != want {
				t.Errorf("%q: option %s is %q, want %q", c.text, name, got, want)
			}
		}
	}
	for text, part := range map[string]string{
		"": "no scheme", "finger": "no scheme", ":finger": `scheme ""`, "de mo:x": `scheme "de mo"`, "a1:x": `scheme "a1"`, "-a:x": `scheme "-a"`, "--:x": `scheme "--"`, "/dev/ttyACM0": "no scheme", "demo:": "no path", "demo:?hum=1": "no path",
		"demo:x?hum=1&hum=2": `option "hum"`, "demo:x?hum=%zz": "options", "demo:x?a;b": "options", "demo:x\n": "control character", "demo:x\x00y": "control character", "file:a\rb": "control character",
	} {
		_, err := ParseAddress(text)
		var bad *AddressError
		if !errors.As(err, &bad) || !strings.Contains(bad.Part, part) || bad.Address != text || bad.Rule == "" {
			t.Errorf("%q: error %v, want one about %s with a rule", text, err, part)
		}
	}
}

func TestOptions(t *testing.T) {
	a, err := ParseAddress("demo:x?on=yes&off=no&bare=&bad=maybe&n=2.5&word=two&nan=NaN&inf=Inf")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]bool{"on": true, "off": false, "bare": true, "none": true} {
		if got, err := a.Flag(name, true); err != nil || got != want {
			t.Errorf("flag %s is %v, %v, want %v", name, got, err, want)
		}
	}
	if _, err := a.Flag("bad", false); err == nil || !strings.Contains(err.Error(), "bad=maybe: give 1 or 0") {
		t.Errorf("flag bad=maybe: %v", err)
	}
	if x, err := a.Number("n", 7, 2.5, 2.5); err != nil || x != 2.5 {
		t.Errorf("number n is %g, %v", x, err)
	}
	if x, err := a.Number("none", 7, 0, 1); err != nil || x != 7 { // a fallback need not be in the range
		t.Errorf("a number not given is %g, %v, want 7", x, err)
	}
	for _, name := range []string{"word", "nan", "inf", "bare"} {
		if x, err := a.Number(name, 7, 0, 1e9); err == nil {
			t.Errorf("number %s=%s is %g, want an error", name, a.Text(name, ""), x)
		}
	}
	for _, span := range [][2]float64{{2.6, 3}, {0, 2.4}} {
		var bad *AddressError
		if _, err := a.Number("n", 7, span[0], span[1]); !errors.As(err, &bad) || !strings.Contains(bad.Rule, "give a number from") {
			t.Errorf("2.5 outside %v: %v", span, err)
		}
	}
	if err := a.Only("on", "off", "bare", "n", "word", "nan", "inf"); err == nil || !strings.Contains(err.Error(), `option "bad": known here are on, off`) {
		t.Errorf("Only: %v", err)
	}
	if err := a.Only(); err == nil || !strings.Contains(err.Error(), "takes no options") {
		t.Errorf("Only: %v", err)
	}
	if err := (Address{Scheme: "demo", Path: "x"}).Only(); err != nil {
		t.Errorf("no options among none: %v", err)
	}
}

func TestOpenersAskTheScheme(t *testing.T) {
	asked := Address{}
	o := Openers{"demo": func(_ context.Context, a Address) (Source, error) { asked = a; return nil, ErrUnplugged }}
	if _, err := o.Open(context.Background(), "demo:x?n=1"); !errors.Is(err, ErrUnplugged) || asked.Path != "x" || asked.Text("n", "") != "1" {
		t.Errorf("asked for %+v, %v", asked, err)
	}
	var bad *AddressError
	if _, err := o.Open(context.Background(), "gopher:x"); !errors.As(err, &bad) || !strings.Contains(bad.Rule, "demo:") {
		t.Errorf("an unknown scheme: %v", err)
	}
}

// FuzzParseAddress: an address that is accepted is written so that it reads the same.
func FuzzParseAddress(f *testing.F) {
	for _, s := range []string{"demo:finger", "serial:/dev/ttyACM0?baud=115200&names=a%26b,c", `file:C:\a b.edf?speed=10`, "sound:hw:1,0", "x:?", "x:y?a=1&a=2", "x:y?%", "é:x", "x:\x7f?\x01=\x02"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := ParseAddress(text)
		var bad *AddressError
		if err != nil {
			if !errors.As(err, &bad) || bad.Part == "" || bad.Rule == "" {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		again, err := ParseAddress(a.String())
		if err != nil || again.Scheme != a.Scheme || again.Path != a.Path || len(a.Options)+len(again.Options) > 0 && !reflect.DeepEqual(again.Options, a.Options) {
			t.Fatalf("%q is %+v, written %q, which is %+v, %v", text, a, a, again, err)
		}
	})
}

// A 12-bit converter at 5 V on an amplifier that turns the signal about 2.5 V; and
// what a board prints with two decimals and no scale.
func TestChannelValues(t *testing.T) {
	scaled := Channel{Unit: "V", VoltsPerCount: -5.0 / 4096, OffsetVolts: 5}
	plain := Channel{Digits: 2}
	if !scaled.Scaled() || plain.Scaled() {
		t.Error("a channel has a scale when its volts per count are known")
	}
	counts := []int32{0, 1024, 2048, 4095, -125, math.MaxInt32}
	for c, want := range map[*Channel][]float64{
		&scaled: {5, 3.75, 2.5, 5 - 5.0*4095/4096, 5 + 5.0*125/4096, 5 - 5.0*math.MaxInt32/4096},
		&plain:  {0, 10.24, 20.48, 40.95, -1.25, 21474836.47},
	} {
		values := make([]float64, len(counts))
		c.Values(values, counts)
		for i, n := range counts {
			if got := c.Value(n); math.Abs(got-want[i]) > 1e-12*math.Abs(want[i]) || math.Abs(values[i]-got) > 1e-12*math.Abs(got) {
				t.Errorf("count %d of %+v is %.12g, in a row %.12g, want %.12g", n, *c, got, values[i], want[i])
			}
		}
	}
	few := make([]float64, 2) // as many as there is room for
	scaled.Values(few, counts)
	if few[1] != 3.75 {
		t.Errorf("the second of two values is %g, want 3.75", few[1])
	}
}

func TestBlockLength(t *testing.T) {
	for want, b := range map[int]Block{0: {}, 3: {Counts: [][]int32{{1, 2, 3}, {4, 5, 6}}}} {
		if b.Len() != want {
			t.Errorf("a block of %v has length %d, want %d", b.Counts, b.Len(), want)
		}
	}
}
