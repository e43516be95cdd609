package command

import "testing"

func TestWithColumns(t *testing.T) {
	for _, c := range []struct{ source, columns, want string }{
		{"serial:/dev/ttyACM0?baud=9600", "t_us,pulse [mV]", "serial:/dev/ttyACM0?baud=9600&names=t_us%2Cpulse+%5BmV%5D"},
		{"serial:/dev/ttyACM0", "", "serial:/dev/ttyACM0"}, {"nonsense", "a", "nonsense"}, {"", "a", ""},
	} {
		if got := withColumns(c.source, c.columns); got != c.want {
			t.Errorf("%q with %q: %q, want %q", c.source, c.columns, got, c.want)
		}
	}
}
