// Package serialport reads samples from a board on a serial port: lines of
// numbers ("lines", any board that prints) or binary frames ("frames", faster
// boards; see FRAMES.md).
//
// # Lines
//
// A line ends with CR, LF or both and holds at most 4096 bytes and 64 numbers. A sample
// line is one of these, after a prompt (">") if there is one:
//
//   - numbers separated by comma, semicolon, tab or space, in brackets or not;
//   - pairs, name:value or name=value, separated likewise;
//   - an object of one level, {"ir":512,"red":498};
//   - numbers with up to four words before each and a unit after it, "Sensor value: 3.95 V",
//     "Signal 756 BPM 72 IBI 833"; the unit is taken as the column's.
//
// A comma separates, but where other separators stand beside it and it lies between two
// digits ("1,753;2,001", "pulse:1,753") it is a decimal mark; so it is in a lone "1,053"
// if zeros after it show that it cannot be two columns (Health says so). Runs of
// spaces and tabs count as one separator; an empty field between commas or
// semicolons, and nan, nan(…), inf, ovf or null, is a missing sample
// (acquire.MissingCount); one separator at the end of a line is ignored.
//
// Hexadecimal is read as 0x1FF, and bare (1FF) when nearly all lines are such digits and
// one in ten can be nothing else.
//
// Numbers may have a sign, a decimal point and an exponent. Decimals keep their
// digits: 1.234 is count 1234 with Channel.Digits 3. Digits is the most decimals
// seen on a channel while the port is opened, less where counts would not fit 32
// bits with a tenfold reserve. Later values with fewer decimals are rescaled
// exactly; values with more are rounded half away from zero, which Health.Detail
// says with their number, and when more than 20 of 100 lines had to be rounded
// Read fails with acquire.ErrChanged, so that opening anew learns the digits.
//
// An optional header names the columns: "pulse,ecg", "pulse [mV],ecg [V]". The
// units V, mV, uV give the scale. A header heard again, or only after the columns were
// settled, belongs to the same source; only other names than before are a change.
//
// Columns named t_us, t_ms, seq, micros, millis, time … are the board's clock and counter
// and not channels; so are columns without a name that rise like one. The first clock
// gives each sample its time, 16- and 32-bit wraps unwrapped, and package grid puts the
// samples on an even grid by it: even ones pass unchanged, uneven ones are interpolated,
// pauses are lost samples. Format.ClaimedRateHz is then the grid's rate, and
// Block.BoardSeconds the grid's times. A counter gives Block.Lost exactly, over 8-, 16-
// and 32-bit wraps. Names given by the user overrule all: "t_us", "pulse [mV]", "-" for a
// column to be left out.
//
// A # begins a comment;
// "# rate 250 Hz" claims a rate. Other printable text that does not begin as a
// number is passed on in Block.Text. Everything else is counted as unreadable,
// as is a single line with another number of columns (a line whose clock or counter stands up to
// a second or 16 lines before the one before is left out and counted as out of order); five such lines alike in a
// row are a changed format (acquire.ErrChanged).
//
// The first line after opening is dropped, because it may be torn, unless the
// board was quiet before it; a comment there is read, and a header if a row with
// as many columns follows.
//
// # Concurrency
//
// A Source may be used as acquire.Source says. LineDecoder and FrameDecoder are
// for one goroutine each, and do no I/O.
package serialport
