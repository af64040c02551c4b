package tracefile

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"lobescribe/device/measure"
)

// Write writes a whole trace. Found means CSV, which carries no notes.
func Write(w io.Writer, t measure.Trace, f Format) error {
	o := WriterOptions{Format: f, Notes: t.Notes, Resolution: t.Resolution, AngleStep: t.AngleStep}
	last := measure.Reading{}
	var sameTime measure.Has
	for i, r := range t.Readings {
		o.Sweep = o.Sweep || r.Has&measure.HasSweep != 0
		o.Angle = o.Angle || r.Has&measure.HasAngle != 0
		if i > 0 && r.At == last.At {
			o.Numbered = o.Numbered || r.Has&sameTime != 0
		} else {
			sameTime = 0
		}
		sameTime |= r.Has
		last = r
	}
	tw := NewWriter(w, o)
	if err := tw.Write(t.Readings); err != nil {
		return err
	}
	return tw.Close()
}

// WriterOptions says what must be known before the first reading.
type WriterOptions struct {
	// Format to write. Default: CSV.
	Format Format
	// Angle: the CSV has a column angle_deg. Without it angles are left out.
	Angle bool
	// Sweep: CSV and Parquet have a column for it. Without it sweeps are left out of
	// CSV and refused by Parquet.
	Sweep bool
	// Numbered: readings of the same quantity may have the same time. They are
	// then numbered, so that Read knows that they are meant.
	Numbered bool
	// Notes and the two steps are written in JSON lines and Parquet.
	Notes      []measure.Note
	Resolution measure.Length
	AngleStep  measure.Angle
	// About is written in Parquet only.
	About About
}

// Writer writes a trace in bounded memory. Close it.
type Writer struct {
	w       *bufio.Writer
	table   *parquetWriter // nil for text
	o       WriterOptions
	started bool
	n       int64
	buf     []byte
	err     error
}

// NewWriter returns a Writer to w.
func NewWriter(w io.Writer, o WriterOptions) *Writer {
	if o.Format == Parquet {
		return &Writer{o: o, table: newParquetWriter(w, o.Sweep)}
	}
	return &Writer{w: bufio.NewWriterSize(w, 64<<10), o: o}
}

// Write writes readings behind those before.
func (w *Writer) Write(readings []measure.Reading) error {
	if w.table != nil {
		if w.err == nil {
			w.err = w.table.write(readings)
		}
		return w.err
	}
	w.begin()
	for _, r := range readings {
		if w.err != nil {
			break
		}
		if w.err = checkWritable(w.n, r); w.err != nil {
			break
		}
		if w.o.Format == JSONLines {
			w.writeNotes(r.At)
			w.buf = w.jsonReading(w.buf[:0], r)
		} else {
			w.buf = w.csvReading(w.buf[:0], r)
		}
		w.n++
		w.put(w.buf)
	}
	return w.err
}

// Close writes what is left. It does not close the stream below.
func (w *Writer) Close() error {
	if w.table != nil {
		if w.err == nil {
			w.err = w.table.close(&w.o)
		}
		return w.err
	}
	w.begin()
	if w.o.Format == JSONLines {
		w.writeNotes(1<<63 - 1)
	}
	if w.err == nil {
		w.err = w.w.Flush()
	}
	return w.err
}

func (w *Writer) put(b []byte) {
	if w.err == nil {
		_, w.err = w.w.Write(b)
	}
}

func (w *Writer) begin() {
	if w.started {
		return
	}
	w.started = true
	if w.o.Format == JSONLines {
		w.putJSON(map[string]traceLine{"trace": {w.o.Resolution, w.o.AngleStep, w.o.Numbered}})
		return
	}
	header := "t_s,lift_mm"
	if w.o.Angle {
		header += ",angle_deg"
	}
	if w.o.Sweep {
		header += ",sweep_mm"
	}
	if w.o.Numbered {
		header += ",reading"
	}
	w.put([]byte(header + "\n"))
}

func (w *Writer) putJSON(v any) {
	b, err := json.Marshal(v)
	if err != nil && w.err == nil {
		w.err = err
	}
	w.put(append(b, '\n'))
}

// writeNotes writes the notes up to a time, in the order they stand in.
func (w *Writer) writeNotes(until measure.Stamp) {
	for len(w.o.Notes) > 0 && w.o.Notes[0].At <= until {
		w.putJSON(map[string]measure.Note{"note": w.o.Notes[0]})
		w.o.Notes = w.o.Notes[1:]
	}
}

func (w *Writer) csvReading(b []byte, r measure.Reading) []byte {
	b = append(appendMillionths(b, int64(r.At)), ',')
	if r.Has&measure.HasLift != 0 {
		b = appendMillionths(b, int64(r.Lift))
	}
	if w.o.Angle {
		b = append(b, ',')
		if r.Has&measure.HasAngle != 0 {
			b = appendMillionths(b, int64(r.Angle))
		}
	}
	if w.o.Sweep {
		b = append(b, ',')
		if r.Has&measure.HasSweep != 0 {
			b = appendMillionths(b, int64(r.Sweep))
		}
	}
	if w.o.Numbered {
		b = strconv.AppendInt(append(b, ','), w.n, 10)
	}
	return append(b, '\n')
}

func (w *Writer) jsonReading(b []byte, r measure.Reading) []byte {
	b = appendMillionths(append(b, `{"t_s":`...), int64(r.At))
	if r.Has&measure.HasLift != 0 {
		b = appendMillionths(append(b, `,"lift_mm":`...), int64(r.Lift))
	}
	if r.Has&measure.HasAngle != 0 {
		b = appendMillionths(append(b, `,"angle_deg":`...), int64(r.Angle))
	}
	if r.Has&measure.HasSweep != 0 {
		b = appendMillionths(append(b, `,"sweep_mm":`...), int64(r.Sweep))
	}
	return append(b, '}', '\n')
}

// checkWritable says whether reading n will be read again.
func checkWritable(n int64, r measure.Reading) error {
	if !writable(int64(r.At)) || !writable(int64(r.Lift)) || !writable(int64(r.Angle)) || !writable(int64(r.Sweep)) {
		return fmt.Errorf("writing the trace: reading %d holds a number too large to be read again", n)
	}
	return nil
}

// writable: numbers are read with up to 18 digits.
func writable(v int64) bool { return v > -1e18 && v < 1e18 }

// appendMillionths prints v / 1e6 exactly and without trailing zeros. All
// quantities are whole millionths of what they are printed in.
func appendMillionths(b []byte, v int64) []byte {
	if v < 0 {
		b = append(b, '-')
		v = -v
	}
	b = strconv.AppendInt(b, v/1e6, 10)
	rest := v % 1e6
	if rest == 0 {
		return b
	}
	b = append(b, '.')
	for place := int64(1e5); rest > 0; place /= 10 {
		b = append(b, byte('0'+rest/place))
		rest %= place
	}
	return b
}
