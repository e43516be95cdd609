package recording

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
)

// ExportOptions say what to write. The zero value writes the whole recording in
// the channels' units.
type ExportOptions struct {
	// From and To are the first sample and the one after the last; To 0 is the end.
	From, To int64
	// Notes are put into an EDF+ or BDF+ file beside the recording's own; of each
	// Sample, DurationSeconds and Text are taken.
	Notes []Annotation
	// Keep tells which of the recording's own annotations go along; nil keeps all.
	Keep func(Annotation) bool
	// Shown describes the channels of a CSV file in units, where what is known of them is
	// more than the file itself says; of an EDF+ or BDF+ file it gives their labels. nil is
	// as the file says.
	Shown []acquire.Channel
	// Changed names what of the channels changed within the stretch, for a CSV file in units, which holds what held at the
	// end alone.
	Changed []string
	// Counts writes raw counts to a CSV file, which can be read back bit for bit.
	Counts bool
	// Settings are put into the file in place of those it carries, nil keeps them;
	// into a CSV file in units as they are, nil leaves them out.
	Settings any
	// Context ends the export early with its error; nil never does.
	Context context.Context
	// Progress is called now and then; nil is not.
	Progress func(done, total int64)
	// Tell, unless nil, is told in a sentence each what of the recording the result does not hold.
	Tell func(text string)

	// of an EDF+ or BDF+ file: samples and bytes of annotations in a record; 0 chooses. With annBytes
	// annotations stand in the first record that has room, be it before their own
	perRecord, annBytes int
}

// stretch checks the options against a file.
func (o *ExportOptions) stretch(f *File) (from, to int64, err error) {
	from, to = o.From, o.To
	if to == 0 {
		to = f.Len()
	}
	if from < 0 || to > f.Len() || from > to {
		return 0, 0, fmt.Errorf("recording: %s: samples %d to %d asked for, the recording has %d", f.path, from, to, f.Len())
	}
	return from, to, nil
}

// each reads a stretch in blocks.
func (o *ExportOptions) each(f *File, from, to int64, do func(counts [][]int32, at int64) error) error {
	ctx := o.Context
	if ctx == nil {
		ctx = context.Background()
	}
	return f.Blocks(ctx, from, to, func(at int64, counts [][]int32) error {
		if err := do(counts, at); err != nil {
			return err
		}
		if o.Progress != nil {
			o.Progress(at+int64(len(counts[0]))-from, to-from)
		}
		return nil
	})
}

func (o *ExportOptions) tell(format string, a ...any) {
	if o.Tell != nil {
		o.Tell(fmt.Sprintf(format, a...))
	}
}

// tellRepeated tells which channels have their samples repeated in the result; own says of a channel that its rate is kept, nil of none.
func (o *ExportOptions) tellRepeated(f *File, own func(c int) bool) {
	for c, text := range f.repeated {
		if text != "" && (own == nil || !own(c)) {
			o.tell("%s", text)
		}
	}
}

// dropped lists, each with its number, what of a recording has no place in a format of samples alone.
func (o *ExportOptions) dropped(f *File) (list []string) {
	from, to, err := o.stretch(f)
	if err != nil {
		return nil
	}
	all := slices.DeleteFunc(f.Annotations(), func(a Annotation) bool {
		return madeByWriter(a.Text) || IsEngine(a.Text) || o.Keep != nil && !o.Keep(a)
	})
	all = slices.DeleteFunc(append(all, o.Notes...), func(a Annotation) bool {
		return a.Sample < from && from > 0 || a.Sample >= to && to < f.Len()
	})
	marked, _, rest := TakeMarked(all, f.info.ClaimedRateHz)
	notes, beats := 0, 0
	for _, a := range rest {
		if _, _, _, ok := ParseBeat(a.Text); ok {
			beats++
		} else if IsNote(a.Text) {
			notes++
		}
	}
	for _, n := range []struct {
		count     int
		one, more string
	}{{notes, "note", "notes"}, {beats, "beat", "beats"}, {len(marked), "annotated beat", "annotated beats"}, {len(rest) - notes - beats, "edit of a beat by hand", "edits of beats by hand"}} {
		if n.count > 0 {
			list = append(list, acquire.Number(int64(n.count), n.one, n.more))
		}
	}
	return list
}

// tellDropped tells what of a recording has no place in a format of samples alone.
func (o *ExportOptions) tellDropped(f *File, format string) {
	if o.Tell == nil {
		return
	}
	o.tellRepeated(f, nil)
	if list := f.kept.said(); len(list) > 0 {
		o.tell("the header's fields %s have no place in a %s file and are left out", strings.Join(list, ", "), format)
	}
	if list := o.dropped(f); len(list) > 0 {
		o.tell("left out, since a %s file has no place for them: %s", format, strings.Join(list, ", "))
	}
}

// aid stands in every export that people read.
const aid = "Learning aid, not a medical device."

// ExportCSV writes RFC 4180 rows: time_s, then the channels with their unit in
// brackets, each with the decimals that tell neighbouring counts apart. Missing samples are empty
// fields, samples in gaps have no row. Comment lines in front carry the rate, and with Counts the settings.
func ExportCSV(w io.Writer, f *File, o ExportOptions) error {
	from, to, err := o.stretch(f)
	if err != nil {
		return err
	}
	o.tellDropped(f, "CSV")
	if len(o.Changed) > 0 && !o.Counts {
		o.tell("what changed within the recording has no place in a CSV file, whose settings hold from its beginning to its end: %s; EDF and WAV keep it", strings.Join(o.Changed, ", "))
	}
	out := bufio.NewWriterSize(w, 1<<16)
	channels, digits := o.columns(f)
	if err := o.comments(out, f, channels, digits); err != nil {
		return err
	}
	// Enough decimals of time that two samples never read alike and the rate comes
	// back to 1 in 10^6 over a second.
	timeDigits := max(6, int(math.Ceil(math.Log10(f.info.ClaimedRateHz)))+3)
	out.WriteString("time_s")
	for _, c := range channels {
		name := c.Label
		if !o.Counts {
			name = ColumnName(name, c.Unit)
		}
		out.WriteString("," + quoteCSV(name))
	}
	out.WriteString("\r\n")
	var row []byte
	gaps := f.Gaps()
	err = o.each(f, from, to, func(counts [][]int32, at int64) error {
		for i := range counts[0] {
			for len(gaps) > 0 && at+int64(i) >= gaps[0].First+gaps[0].Samples {
				gaps = gaps[1:]
			}
			if len(gaps) > 0 && at+int64(i) >= gaps[0].First {
				continue
			}
			row = strconv.AppendFloat(row[:0], float64(at+int64(i)-from)/f.info.ClaimedRateHz, 'f', timeDigits, 64)
			for c := range counts {
				row = append(row, ',')
				switch v := counts[c][i]; {
				case v == acquire.MissingCount:
				case o.Counts:
					row = strconv.AppendInt(row, int64(v), 10)
				default:
					row = strconv.AppendFloat(row, channels[c].Value(v), 'f', digits[c], 64)
				}
			}
			row = append(row, '\r', '\n')
			if _, err := out.Write(row); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return out.Flush()
}

// columns are the channels of a CSV file as its values are, and their decimals.
func (o *ExportOptions) columns(f *File) (channels []acquire.Channel, digits []int) {
	channels = f.info.Channels
	if len(o.Shown) == len(channels) && !o.Counts {
		channels = o.Shown
	}
	digits = make([]int, len(channels))
	for i, c := range channels {
		switch {
		case o.Counts:
		case c.Scaled():
			// A hundredth of a count.
			digits[i] = min(max(int(math.Ceil(2-math.Log10(math.Abs(c.VoltsPerCount)))), 0), 15)
		default:
			digits[i] = c.Digits
		}
	}
	return channels, digits
}

// endsText is the comment that tells the least and the greatest value that each channel's converter can give, as
// the rows have them; "" where none is known.
func endsText(channels []acquire.Channel, digits []int) string {
	any, list := false, []string{}
	for i, c := range channels {
		if c.MinCount >= c.MaxCount {
			list = append(list, "null")
			continue
		}
		any = true
		low, high := c.Value(c.MinCount), c.Value(c.MaxCount)
		list = append(list, "["+strconv.FormatFloat(min(low, high), 'f', digits[i], 64)+","+strconv.FormatFloat(max(low, high), 'f', digits[i], 64)+"]")
	}
	if !any {
		return ""
	}
	return "# " + textEnds + "[" + strings.Join(list, ",") + "]\r\n"
}

// comments writes the lines in front.
func (o *ExportOptions) comments(out *bufio.Writer, f *File, channels []acquire.Channel, digits []int) error {
	out.WriteString("# " + aid + "\r\n")
	if f.info.Invented {
		out.WriteString("# " + acquire.InventedTag + ": nobody measured these numbers.\r\n")
	}
	fmt.Fprintf(out, "# rate %s Hz\r\n", strconv.FormatFloat(f.info.ClaimedRateHz, 'g', -1, 64))
	if o.Counts {
		m, err := o.settings(f)
		if err != nil {
			return err
		}
		text, err := f.settingsText(m, "CSV")
		out.WriteString(skipLine + "# " + text + "\r\n")
		return err
	}
	out.WriteString(endsText(channels, digits))
	if o.Settings == nil {
		return nil
	}
	text, err := json.Marshal(o.Settings)
	if err != nil {
		return fmt.Errorf("recording: %s: settings: %w", f.path, err)
	}
	out.WriteString(CarriedComment(text))
	return nil
}

// skipLine is for people, before the long line that only this program reads.
const skipLine = "# The next line holds settings for Pulsewright. Other programs may skip it.\r\n"

// CarriedComment is what a CSV file in units holds of Header.Settings, as JSON; it is the last of the comments.
func CarriedComment(settings []byte) string {
	return skipLine + "# " + textCarried + string(settings) + "\r\n"
}

func quoteCSV(s string) string {
	if strings.ContainsAny(s, ",\"\r\n") || s == "" || s[0] == '#' || s[0] == ' ' {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// settings are what a file of counts alone carries of a stretch: as in EDF+, and what happened to the channels'
// engines.
func (o *ExportOptions) settings(f *File) (settings, error) {
	m := settings{Program: formatVersion, Started: f.info.Started, RateHz: f.info.ClaimedRateHz, Invented: f.info.Invented}
	for _, c := range f.info.Channels {
		m.Channels = append(m.Channels, settingsOf(c))
	}
	if f.meta != nil {
		m.Other = f.meta.Other
		m.Source = f.meta.Source
	}
	if o.Settings != nil {
		text, err := json.Marshal(o.Settings)
		if err != nil {
			return m, fmt.Errorf("recording: %s: settings: %w", f.path, err)
		}
		m.Other = text
	}
	from, to, err := o.stretch(f)
	if err != nil || m.Other == nil {
		return m, err
	}
	for _, a := range f.Annotations() {
		if IsEngine(a.Text) && (a.Sample < to || to == f.Len()) {
			m.Events = append(m.Events, settingsEvent{max(0, a.Sample-from), a.Text})
		}
	}
	return m, nil
}

// mostComment bounds the bytes of settings in a comment that is read again.
const mostComment = 1<<20 - 1<<12

// settingsText is the comment that holds settings; format is the file's.
func (f *File) settingsText(m settings, format string) (string, error) {
	text, err := json.Marshal(m)
	if err != nil {
		return "", fmt.Errorf("recording: %s: settings: %w", f.path, err)
	}
	if len(text) > mostComment {
		return "", fmt.Errorf("recording: %s: what is known of its channels, and the %d changes of it within the recording, take %d bytes, more than the %d that a %s file's comment holds: use EDF", f.path, len(m.Events), len(text), mostComment, format)
	}
	return textSettings + string(text), nil
}

// Settings returns what was given as Header.Settings, as JSON; nil when there is
// none.
func (f *File) Settings() json.RawMessage {
	if f.meta == nil {
		return nil
	}
	return f.meta.Other
}

// ExportWAV writes PCM of 16, 24 or 32 bits, the fewest that hold all counts, RF64
// above 4 GiB. The rate is rounded to whole hertz; the exact one and the missing
// stretches, in which the last value is held, stand in the comment. The
// recording is read twice.
func ExportWAV(w io.Writer, f *File, o ExportOptions) error {
	from, to, err := o.stretch(f)
	if err != nil {
		return err
	}
	rate := math.Round(f.info.ClaimedRateHz)
	if rate < 1 || rate > math.MaxUint32 {
		return fmt.Errorf("recording: %s: %g Hz cannot be the rate of a WAV file, which takes whole hertz from 1: use EDF or CSV", f.path, f.info.ClaimedRateHz)
	}
	o.tellDropped(f, "WAV")
	if rate != f.info.ClaimedRateHz {
		o.tell("the rate of %.7g Hz is no whole number of hertz: other programs read %g Hz", f.info.ClaimedRateHz, rate)
	}
	channels := len(f.info.Channels)
	m, err := o.settings(f)
	if err != nil {
		return err
	}
	bytes, holes, err := o.survey(f, from, to)
	if err != nil {
		return err
	}
	if m.Holes = append(m.Holes, holes...); len(holes) > 0 {
		o.tell("%d stretches of missing samples hold the last value", len(holes))
	}
	text, err := f.settingsText(m, "WAV")
	if err != nil {
		return err
	}
	size := (to - from) * int64(channels*bytes)
	out := bufio.NewWriterSize(w, 1<<16)
	subject := aid
	if f.info.Invented {
		subject = acquire.InventedTag + ": nobody measured these numbers. " + aid
	}
	out.Write(wav{uint32(rate), channels, bytes, to - from}.headerWith(text, subject))
	last := make([]int32, channels)
	var b []byte
	err = o.each(f, from, to, func(counts [][]int32, at int64) error {
		b = b[:0]
		for i := range counts[0] {
			for c := range counts {
				if v := counts[c][i]; v != acquire.MissingCount {
					last[c] = v
				}
				for j := range bytes {
					b = append(b, byte(last[c]>>(8*j)))
				}
			}
		}
		_, err := out.Write(b)
		return err
	})
	if err != nil {
		return err
	}
	if size%2 == 1 {
		out.WriteByte(0)
	}
	return out.Flush()
}

// survey reads a stretch to tell how many bytes a sample of a WAV file takes, and where
// samples are missing: first one, number, channel.
func (o ExportOptions) survey(f *File, from, to int64) (bytes int, holes [][3]int64, err error) {
	low, high := int32(0), int32(0)
	open := make([]int64, len(f.info.Channels)) // where a missing run began, −1 none
	for c := range open {
		open[c] = -1
	}
	close := func(c int, end int64) {
		if open[c] >= 0 {
			holes = append(holes, [3]int64{open[c] - from, end - open[c], int64(c)})
			open[c] = -1
		}
	}
	o.Progress = nil
	if err := o.each(f, from, to, func(counts [][]int32, at int64) error {
		for c, row := range counts {
			for i, v := range row {
				if v != acquire.MissingCount {
					close(c, at+int64(i))
					low, high = min(low, v), max(high, v)
				} else if open[c] < 0 {
					open[c] = at + int64(i)
				}
			}
		}
		return nil
	}); err != nil {
		return 0, nil, err
	}
	for c := range open {
		close(c, to)
	}
	const mostHoles = 10_000
	if len(holes) > mostHoles {
		return 0, nil, fmt.Errorf("recording: %s: %d stretches of missing samples are more than the %d that a WAV file's comment holds: use EDF or CSV", f.path, len(holes), mostHoles)
	}
	switch {
	case low >= -1<<15 && high < 1<<15:
		return 2, holes, nil
	case low >= -1<<23 && high < 1<<23:
		return 3, holes, nil
	default:
		return 4, holes, nil
	}
}

// wav is what a WAV file holds: frames of so many bytes a channel.
type wav struct {
	rate            uint32
	channels, bytes int
	frames          int64
}

// header makes everything before the samples. Above 4 GiB it is RF64
// (EBU Tech 3306): a ds64 chunk holds the sizes, the 32-bit ones are all ones.
func (v wav) header(comment string) []byte { return v.headerWith(comment, "") }

// headerWith has a line for people too, as the INFO list's subject (ISBJ).
func (v wav) headerWith(comment, subject string) []byte {
	le := binary.LittleEndian
	rate, channels, bytes, frames := v.rate, v.channels, v.bytes, v.frames
	size := frames * int64(channels*bytes)
	list := []byte("INFO")
	info := func(id, text string) {
		list = append(list, id...)
		list = le.AppendUint32(list, uint32(len(text)+1))
		list = append(append(list, text...), 0)
		if len(list)%2 == 1 {
			list = append(list, 0)
		}
	}
	info("ICMT", comment)
	if subject != "" {
		info("ISBJ", subject)
	}
	var f []byte
	wide := channels > 2 || bytes > 2
	tag := uint16(1)
	if wide {
		tag = 0xfffe
	}
	f = le.AppendUint16(f, tag)
	f = le.AppendUint16(f, uint16(channels))
	f = le.AppendUint32(f, rate)
	f = le.AppendUint32(f, rate*uint32(channels*bytes))
	f = le.AppendUint16(f, uint16(channels*bytes))
	f = le.AppendUint16(f, uint16(8*bytes))
	if wide {
		f = le.AppendUint16(f, 22)
		f = le.AppendUint16(f, uint16(8*bytes))
		f = le.AppendUint32(f, 0) // no loudspeaker positions
		f = append(f, "\x01\x00\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	}
	total := int64(4+8+len(f)+8+len(list)+8) + size + size&1
	long := total+36 > math.MaxUint32
	var h []byte
	if long {
		total += 36
		h = append(h, "RF64\xff\xff\xff\xffWAVEds64"...)
		h = le.AppendUint32(h, 28)
		h = le.AppendUint64(h, uint64(total))
		h = le.AppendUint64(h, uint64(size))
		h = le.AppendUint64(h, uint64(frames))
		h = le.AppendUint32(h, 0)
	} else {
		h = append(h, "RIFF"...)
		h = le.AppendUint32(h, uint32(total))
		h = append(h, "WAVE"...)
	}
	h = append(h, "fmt "...)
	h = le.AppendUint32(h, uint32(len(f)))
	h = append(h, f...)
	h = append(h, "LIST"...)
	h = le.AppendUint32(h, uint32(len(list)))
	h = append(h, list...)
	h = append(h, "data"...)
	if long {
		return append(h, 0xff, 0xff, 0xff, 0xff)
	}
	return le.AppendUint32(h, uint32(size))
}

// ExportEDF writes a stretch with its annotations to a new EDF+ (.edf) or BDF+
// (.bdf) file. For channels without a stated range the counts themselves decide
// whether 16 or 24 bits do; for that the recording is read twice.
func ExportEDF(path string, f *File, o ExportOptions) (err error) {
	from, to, err := o.stretch(f)
	if err != nil {
		return err
	}
	info := f.Describe()
	if len(o.Shown) == len(info.Channels) {
		for i := range info.Channels {
			info.Channels[i].Label = o.Shown[i].Label
		}
	}
	fit := f.Describe().Channels
	if err := f.ranges(fit, o, from, to); err != nil {
		return err
	}
	h := Header{Info: info, Started: info.Started, NoSync: true, Fit: fit, perRecord: o.perRecord, annBytes: o.annBytes, kept: f.kept, every: f.every()}
	if h.every != nil {
		from -= from % int64(commonMultiple(h.every)) // where each channel has a sample
	}
	if f.meta != nil {
		h.Info.Address = f.meta.Source
		if f.meta.Other != nil {
			h.Settings = f.meta.Other
		}
	}
	if o.Settings != nil {
		h.Settings = o.Settings
	}
	if !h.Started.IsZero() && from > 0 {
		h.Started = h.Started.Add(durationOf(float64(from) / info.ClaimedRateHz))
	}
	w, err := Create(path, h)
	if err != nil {
		return err
	}
	defer func() {
		if e := w.Close(); err == nil {
			err = e
		}
		if err != nil {
			err = errors.Join(err, os.Remove(path))
		}
	}()
	notes := f.Annotations()
	if o.Keep != nil {
		notes = slices.DeleteFunc(notes, func(a Annotation) bool { return !o.Keep(a) })
	}
	notes = append(notes, o.Notes...)
	sort.SliceStable(notes, func(i, j int) bool { return notes[i].Sample < notes[j].Sample })
	gaps := f.Gaps()
	c := copying{w: w, f: f, o: o, start: from, end: to, notes: notes}
	at := from
	for _, g := range gaps {
		// What lies before the gap, then the gap.
		end := min(max(g.First, at), to)
		if err := c.samples(at, end); err != nil {
			return err
		}
		at = end
		if last := min(g.First+g.Samples, to); last > at && at < to {
			if err := w.Gap(at-from, last-at, ""); err != nil {
				return err
			}
			at = last
		}
	}
	if err := c.samples(at, to); err != nil {
		return err
	}
	if to == f.Len() {
		to++
	}
	c.annotate(to)
	c.tell()
	return w.Err()
}

// copying is a stretch of a recording on its way into another.
type copying struct {
	w          *Writer
	f          *File
	o          ExportOptions
	start, end int64
	notes      []Annotation // not yet written
}

// tell tells what of the recording the new file does not hold as it was.
func (c *copying) tell() {
	for _, text := range c.w.changed {
		c.o.tell("%s", text)
	}
	c.o.tellRepeated(c.f, func(n int) bool { return c.w.channels[n].every > 1 })
	if c.w.misfits > 0 {
		c.o.tell("%d samples do not fit in %d bits and are stored as missing; name the file .bdf for 24 bits", c.w.misfits, 8*c.w.bytes)
	}
}

// samples writes the samples in [from, to) and the notes that belong before to.
func (c *copying) samples(from, to int64) error {
	o := c.o
	if o.Progress != nil {
		o.Progress = func(done, _ int64) { c.o.Progress(from-c.start+done, c.end-c.start) }
	}
	return o.each(c.f, from, to, func(counts [][]int32, at int64) error {
		notes := at + int64(len(counts[0]))
		if o.annBytes > 0 {
			notes = c.end + 1 // known beforehand, they fill the records from the first on
		}
		c.annotate(notes)
		return c.w.Write(counts, at-c.start)
	})
}

// annotate writes the notes that belong before to.
func (c *copying) annotate(to int64) {
	for len(c.notes) > 0 && c.notes[0].Sample < to {
		if n := c.notes[0]; n.Sample >= c.start || c.start == 0 || IsEngine(n.Text) {
			c.w.annotateFrom(n, c.start, c.f.info.ClaimedRateHz)
		}
		c.notes = c.notes[1:]
	}
}

// madeByWriter reports whether a Writer makes an annotation like this by itself.
func madeByWriter(text string) bool {
	_, missing := parseMissing(text)
	_, rate := parseRate(text)
	return missing || rate || isGap(text) || text == textEnd || strings.HasPrefix(text, textSettings+"{")
}

// annotateFrom copies an annotation unless the Writer makes its like itself.
func (w *Writer) annotateFrom(a Annotation, start int64, rateHz float64) {
	if madeByWriter(a.Text) {
		return
	}
	w.Annotate(a.Sample-start, int64(math.Round(a.DurationSeconds*rateHz)), a.Text)
}

// ranges fills in the range of channels that state none.
func (f *File) ranges(channels []acquire.Channel, o ExportOptions, from, to int64) error {
	unknown := false
	for _, c := range channels {
		unknown = unknown || c.MinCount >= c.MaxCount
	}
	if !unknown {
		return nil
	}
	low, high := make([]int32, len(channels)), make([]int32, len(channels))
	o.Progress = nil
	if err := o.each(f, from, to, func(counts [][]int32, _ int64) error {
		for c, row := range counts {
			for _, v := range row {
				if v != acquire.MissingCount {
					low[c], high[c] = min(low[c], v), max(high[c], v)
				}
			}
		}
		return nil
	}); err != nil {
		return err
	}
	for c := range channels {
		if channels[c].MinCount < channels[c].MaxCount {
			continue
		}
		channels[c].MinCount, channels[c].MaxCount = low[c], max(high[c], low[c]+1)
	}
	return nil
}

// Convert writes the recording in to a new file out of the format that its name
// ends in: .edf, .bdf, .csv, .wav, or .csv.gz, .wav.gz. When it fails, or the export's context
// ends, out is removed.
func Convert(in, out string, open OpenOptions, o ExportOptions) error {
	base, packed := strings.CutSuffix(strings.ToLower(out), ".gz")
	var write func(io.Writer, *File, ExportOptions) error
	switch ext := filepath.Ext(base); {
	case ext == ".csv":
		write = ExportCSV
	case ext == ".wav":
		write = ExportWAV
	case (ext == ".edf" || ext == ".bdf") && !packed:
	default:
		return fmt.Errorf("recording: %s: name the result .edf, .bdf, .csv or .wav (.csv.gz and .wav.gz pack it)", out)
	}
	f, err := OpenWith(in, open)
	if err != nil {
		return err
	}
	defer f.Close()
	if write == nil {
		return ExportEDF(out, f, o)
	}
	file, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return &WriteError{Path: out, Err: unwrapPath(err)}
	}
	var w io.Writer = file
	var z *gzip.Writer
	if packed {
		z = gzip.NewWriter(file)
		w = z
	}
	err = write(w, f, o)
	if z != nil && err == nil {
		err = z.Close()
	}
	if e := file.Close(); err == nil {
		err = e
	}
	if err != nil {
		os.Remove(out)
		var p *os.PathError
		if errors.As(err, &p) {
			return &WriteError{Path: out, Err: p.Err}
		}
	}
	return err
}

func durationOf(seconds float64) time.Duration {
	return time.Duration(math.Round(seconds * 1e9))
}
