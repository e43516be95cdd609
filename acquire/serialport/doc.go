// Package serialport reads samples from a board on a serial port: lines of
// numbers ("lines", any board that prints) or binary frames ("frames", faster
// boards; see FRAMES.md).
//
// # Lines
//
// A line ends with CR, LF or both and holds at most 4096 bytes. A sample line is
// numbers separated by comma, semicolon, tab or space, or name:value (name=value)
// pairs separated likewise. A comma always separates, it is never a decimal
// mark: "1,23;4,56" is four columns (Health says so then, and of "2,050"). Runs of
// spaces and tabs count as one separator; an empty field between commas or
// semicolons, and nan, nan(…), inf, ovf or null, is a missing sample
// (acquire.MissingCount); one separator at the end of a line is ignored.
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
// units V, mV, uV give the scale. Columns named t_us, t_ms and seq are the
// board's clock and not channels: t_us and t_ms (the first of them) give
// Block.BoardSeconds with 16- and 32-bit wraps unwrapped; seq counts lines and
// gives Block.Lost exactly, over 8-, 16- and 32-bit wraps. A # begins a comment;
// "# rate 250 Hz" claims a rate. Other printable text that does not begin as a
// number is passed on in Block.Text. Everything else is counted as unreadable,
// as is a single line with another number of columns; five such lines alike in a
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
