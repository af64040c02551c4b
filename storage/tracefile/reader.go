package tracefile

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/bits"
	"os"

	"lobescribe/device/measure"
	"lobescribe/device/silence"
)

// Options says how a trace is read. The zero value is right for any file.
type Options struct {
	// Name is what faults call the file. Default: they name only the line.
	Name string
	// Format of the file. Default: found from its beginning.
	Format Format
	// Columns says which column of a table is what. Default: its header does.
	Columns Choice
}

// Reader reads a trace batch by batch.
type Reader struct {
	o      Options
	format Format
	file   *os.File // that Close closes, and its size in bytes; nil and 0
	size   int64
	lines  *lines
	row    func(line []byte) error // reads one line into r

	batch []measure.Reading
	notes []measure.Note
	// Resolution and AngleStep of a JSON-lines file that gives them.
	resolution measure.Length
	angleStep  measure.Angle

	csv     csvRow
	json    jsonRow
	parquet *parquetReader // nil for text
	about   About
	trusted bool     // written by Write: gaps are in its notes
	how     []string // how a table of another program is read; commas: with decimal ones
	commas  bool
	table   *table // nil for a trace as it is promised
	// The reading before as it stands in the file, for order and gaps.
	any      bool
	last     measure.Reading
	lastLine int
	burst    burst
	given    int     // how many of batch were given out
	steps    [64]int // how many steps of about 2^i microseconds
	counted  int
	habit    silence.Habit
	done     error
}

const batchReadings = 4096

// NewReader looks at the beginning of r, finds the format and reads the header.
// The error is a *Fault, or r's own.
func NewReader(r io.Reader, o Options) (*Reader, error) {
	t := &Reader{o: o, lines: newLines(r), batch: make([]measure.Reading, 0, batchReadings)}
	head := t.lines.head()
	if cut, ok := bytes.CutPrefix(head, []byte("\xef\xbb\xbf")); ok {
		t.lines.start += len(head) - len(cut)
		head = cut
	}
	if err := t.lines.err; err != nil && err != io.EOF {
		return nil, t.explain(err)
	}
	format, says := sniff(head)
	if says != "" {
		return nil, t.fault(0, "%s", says)
	}
	if o.Format != Found {
		format = o.Format
	}
	t.format = format
	if !o.Columns.none() && format != CSV {
		return nil, t.fault(0, "columns can be chosen in a table of text only, and this is %s; leave the choice out", format)
	}
	if format == Parquet {
		if err := t.openParquet(r); err != nil {
			return nil, errors.Join(t.explain(err), t.Close())
		}
		return t, nil
	}
	if format == JSONLines {
		t.row = t.jsonLine
		return t, nil
	}
	t.row = t.csvLine
	if err := t.readHeader(); err != nil {
		return nil, t.explain(err)
	}
	return t, nil
}

func (r *Reader) fault(line int, format string, args ...any) *Fault {
	return &Fault{File: r.o.Name, Line: line, Row: r.parquet != nil, Says: fmt.Sprintf(format, args...)}
}

// explain gives a fault its file and wraps what is none.
func (r *Reader) explain(err error) error {
	var f *Fault
	if errors.As(err, &f) {
		if f.File == "" {
			f.File = r.o.Name
		}
		return f
	}
	if r.o.Name != "" {
		return fmt.Errorf("reading %s: %w", r.o.Name, err)
	}
	return fmt.Errorf("reading the trace: %w", err)
}

// Next returns the next readings, valid until the next call, and io.EOF after
// the last. A fault ends the trace; what came before it was given out.
func (r *Reader) Next() ([]measure.Reading, error) {
	r.batch = append(r.batch[:0], r.batch[r.given:]...)
	r.burst.from -= r.given
	if r.parquet != nil && r.done == nil {
		r.done = r.nextParquet()
	}
	for r.parquet == nil && r.done == nil && r.ready() < batchReadings {
		if r.csv.quick != nil {
			if x, ok := r.quickRow(); ok {
				r.done = r.add(x, r.csv.numbered)
				continue
			}
		}
		line, err := r.lines.next()
		if err == nil {
			err = r.row(line)
		}
		if err != nil {
			r.done = err
		}
	}
	r.given = r.ready()
	if r.done != nil {
		if err := r.endBurst(); err != nil && r.done == io.EOF {
			r.done = err
		}
		r.given = len(r.batch)
	}
	if r.given > 0 {
		return r.batch[:r.given], nil
	}
	if r.done != io.EOF {
		return nil, r.explain(r.done)
	}
	if !r.any {
		return nil, r.fault(0, "there are no readings in it, only a header; record or export the trace again")
	}
	return nil, io.EOF
}

// ready is how many readings of the batch are as they will be given out: those of the
// latest time are not, while more may come.
func (r *Reader) ready() int { return r.burst.from }

// Notes returns the notes read so far: those of a JSON-lines file, and the
// gaps found in any other.
func (r *Reader) Notes() []measure.Note { return r.notes }

// add takes one reading, which stands on the line last read.
func (r *Reader) add(x measure.Reading, numbered bool) error {
	step := x.At - r.last.At
	switch {
	case !r.any:
		r.burst.begin(len(r.batch), x.Has)
	case step < 0:
		return r.fault(r.at(), "the time %s is before the %s of %s %d; readings must be in order of time: sort them, or cut the file where the clock restarted", x.At, r.last.At, r.word(), r.lastLine)
	case step > 0:
		pause, err := r.lookForGap(x, step)
		if err != nil {
			return err
		}
		r.burst.over(pause, r.batch)
		r.burst.before = pause
		r.burst.begin(len(r.batch), x.Has)
	case numbered:
		r.burst.begin(len(r.batch), x.Has) // it stays at its time
	default:
		if r.burst.more(x.Has); len(r.batch)-r.burst.from >= mostAtOnce {
			return r.fault(r.at(), "the time %s is that of the %d readings before, too: the clock stands still; cut the file there, or %s", x.At, mostAtOnce, r.clockStands())
		}
	}
	if !r.trusted && (r.counted < manySeen || r.counted%manySeen < manySeen/8) {
		r.habit.See(&x)
	}
	r.any, r.last, r.lastLine = true, x, r.at()
	r.batch = append(r.batch, x)
	return nil
}

// A pause is a gap when it is longer than gapLeast and gapTimes the usual step.
const (
	gapLeast = measure.Second
	gapTimes = 20
	gapAfter = 8 // steps that must have been seen to know the usual one
	// How the instrument speaks shows in so many, and then in each eighth of as many.
	manySeen = 4096
)

// mostNotes bounds the notes and gaps of one file, which are held in memory.
const mostNotes = 100_000

func (r *Reader) fewNotes() error {
	if len(r.notes) > mostNotes {
		return r.fault(r.at(), "there are more than %d gaps and notes in it; cut the file where the longest are", mostNotes)
	}
	return nil
}

// lookForGap returns the step, or for one that is a gap the usual one, over which
// readings of one time may be spread.
func (r *Reader) lookForGap(x measure.Reading, step measure.Stamp) (measure.Stamp, error) {
	if r.trusted {
		return step, nil
	}
	if step > gapLeast && r.counted >= gapAfter && r.habit.Misses(r.habit.Spell(&x)) {
		if usual := r.usualStep(); step > gapTimes*usual {
			at, from := x.At, r.last.At
			if r.burst.groups > 1 {
				from += usual
			}
			r.notes = append(r.notes, measure.Note{At: from, Until: at, Kind: measure.NoteGap,
				Says: fmt.Sprintf("no readings for %s", at-from)})
			return usual, r.fewNotes()
		}
	}
	r.steps[bits.Len64(uint64(step))-1]++
	r.counted++
	return step, nil
}

// usualStep is the median of the steps, to the power of two above it.
func (r *Reader) usualStep() measure.Stamp {
	seen := 0
	for i, n := range r.steps {
		if seen += n; seen*2 >= r.counted {
			return 2 << min(i, 60)
		}
	}
	return 0
}

// Format returns the format that the trace is in.
func (r *Reader) Format() Format { return r.format }

// Resolution returns the least step of the indicator as the file gives it, or
// 0. A JSON-lines file may give it behind readings.
func (r *Reader) Resolution() measure.Length { return r.resolution }

// AngleStep returns the least step of the encoder as the file gives it, or 0, as
// Resolution does.
func (r *Reader) AngleStep() measure.Angle { return r.angleStep }

// About returns what the file says of the trace, once Next has returned io.EOF.
func (r *Reader) About() About {
	a := r.about
	if r.table != nil && a.Started.IsZero() {
		a.Started = r.table.clock.started
	}
	if a.Remark == "" {
		a.Remark = r.How() // it goes with the trace wherever that is shown
	}
	return a
}

// Close lets go of what reading needed. It closes a file that OpenFile opened,
// and no other stream.
func (r *Reader) Close() (err error) {
	if r.parquet != nil {
		err = r.parquet.close()
	}
	if r.file != nil {
		err = errors.Join(err, r.file.Close())
		r.file = nil
	}
	return err
}

// at is the number of the line or row read last.
func (r *Reader) at() int {
	if r.parquet != nil {
		return r.parquet.row
	}
	return r.lines.n
}

func (r *Reader) word() string {
	if r.parquet != nil {
		return "row"
	}
	return "line"
}

// Read reads a whole trace of any format. The error is a *Fault, or r's own.
func Read(r io.Reader) (measure.Trace, error) { return ReadNamed(r, "") }

// ReadNamed is Read for a stream whose faults should be told under a name.
func ReadNamed(r io.Reader, name string) (measure.Trace, error) {
	t, _, err := ReadAbout(r, Options{Name: name})
	return t, err
}

// ReadAbout is Read with options, and with what the file says of the trace.
func ReadAbout(r io.Reader, o Options) (measure.Trace, About, error) {
	rd, err := NewReader(r, o)
	if err != nil {
		return measure.Trace{}, About{}, err
	}
	return rd.Whole()
}

// Whole reads all that is left, and closes.
func (r *Reader) Whole() (measure.Trace, About, error) {
	var t measure.Trace
	var err error
	for {
		var batch []measure.Reading
		if batch, err = r.Next(); err != nil {
			break
		}
		if t.Readings == nil {
			// One allocation rather than a dozen copies of a long trace.
			t.Readings = make([]measure.Reading, 0, r.expected(len(batch)))
		}
		t.Readings = append(t.Readings, batch...)
	}
	if err == io.EOF {
		err = nil
	}
	if err = errors.Join(err, r.Close()); err != nil {
		return measure.Trace{}, About{}, err
	}
	t.Notes, t.Resolution, t.AngleStep = r.notes, r.resolution, r.angleStep
	return t, r.About(), nil
}

// expected is about how many readings the whole stream holds, after a first
// batch. What misleads it is set right by append.
func (r *Reader) expected(batch int) int64 {
	if r.parquet != nil {
		// What the footer says, within what so many bytes could well hold.
		return min(r.parquet.file.NumRows(), max(4*r.parquet.file.Size(), int64(batch)))
	}
	perReading := max(r.lines.taken()/int64(batch), 4)
	return int64(batch) + r.size/perReading*17/16
}

// ReadFile reads a whole trace file.
func ReadFile(name string) (measure.Trace, error) {
	r, err := OpenFile(name, Options{})
	if err != nil {
		return measure.Trace{}, err
	}
	t, _, err := r.Whole()
	return t, err
}

// OpenFile is NewReader for a file, which Close closes. The error is a *Fault
// that says what to do, or the system's own.
//
// An empty name in the options is the file's.
func OpenFile(name string, o Options) (*Reader, error) {
	f, err := os.Open(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &Fault{File: name, Says: "there is no such file; check the name and the folder"}
	case errors.Is(err, fs.ErrPermission):
		return nil, &Fault{File: name, Says: "you may not read it; ask its owner, or copy it"}
	case err != nil:
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		return nil, errors.Join(&Fault{File: name, Says: "it is a folder; give the name of a file"}, f.Close())
	}
	o.Name = cmp.Or(o.Name, name)
	r, failed := NewReader(f, o)
	if failed != nil {
		return nil, errors.Join(failed, f.Close())
	}
	r.file = f
	if err == nil && info.Mode().IsRegular() {
		r.size = info.Size()
	}
	return r, nil
}
