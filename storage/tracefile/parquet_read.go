package tracefile

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"lobescribe/device/measure"
)

// parquetNames are the columns that only Parquet has, beside those of text.
var parquetNames = []column{{"lift_nm", liftQ, 1}, {"angle_udeg", angleQ, 1}, {"sweep_nm", sweepQ, 1}}

// mostRows bounds what a Parquet file may claim to hold: packed by run lengths,
// a file of a few bytes can name a billion equal rows. It is a week at the rate
// of fifty readings a second.
const mostRows = 32 << 20

// parquetReader reads the columns of a Parquet file side by side.
type parquetReader struct {
	file    *parquet.File
	columns []parquetColumn
	groups  []parquet.RowGroup // still to be read
	open    bool               // the columns' values stand in the first of groups
	row     int                // number of the last row given out, from 1
	src     io.ReaderAt
	size    int64
	spool   *os.File // what a stream was put down in, or nil
	// What a file of ours says of its readings, and what was read; nil for
	// somebody else's.
	seal       *seal
	count, sum string
}

// parquetColumn is one column that is read.
type parquetColumn struct {
	column
	at     int // its place in the file
	whole  bool
	values parquet.ColumnChunkValueReader
	buf    []parquet.Value
	n      int
}

// openParquet begins to read a Parquet file, of which the stream's first bytes
// stand in r.lines. The footer is at the end, so a stream that cannot be read
// from any place is put down in a file first.
func (r *Reader) openParquet(from io.Reader) (err error) {
	p := &parquetReader{}
	r.parquet = p
	defer r.guardParquet(&err)
	src, size, ok := anywhere(from)
	if !ok {
		if p.spool, err = os.CreateTemp("", "lobescribe-*.parquet"); err != nil {
			return fmt.Errorf("putting the file down to read its end: %w", err)
		}
		rest := io.MultiReader(strings.NewReader(string(r.lines.buf[r.lines.start:r.lines.end])), from)
		if size, err = io.Copy(p.spool, rest); err != nil {
			return err
		}
		src = p.spool
	}
	if err := checkFooter(src, size); err != nil {
		return r.notWhole(err)
	}
	p.src, p.size = src, size
	p.file, err = parquet.OpenFile(src, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		return r.notWhole(err)
	}
	if n := p.file.NumRows(); n > mostRows {
		return r.fault(0, "it says that it holds %d readings; a trace may have %d: cut it into parts", n, mostRows)
	}
	if err := r.readMetadata(p.file.Lookup); err != nil {
		return err
	}
	p.groups = p.file.RowGroups()
	return r.findParquetColumns()
}

// anywhere says whether a stream can be read from any place, and how long it is.
func anywhere(from io.Reader) (io.ReaderAt, int64, bool) {
	at, ok := from.(io.ReaderAt)
	seeker, can := from.(io.Seeker)
	if !ok || !can {
		return nil, 0, false
	}
	size, err := seeker.Seek(0, io.SeekEnd)
	if err != nil { // a pipe is a file, too
		return nil, 0, false
	}
	return at, size, true
}

func (r *Reader) notWhole(err error) *Fault {
	return r.fault(0, "the Parquet file is hurt or not whole (%s); export it again", strings.ReplaceAll(err.Error(), "\n", " "))
}

// guardParquet turns a panic of the library over hurt bytes into a fault: what
// somebody sends is never a reason to fall over.
func (r *Reader) guardParquet(err *error) {
	if v := recover(); v != nil {
		*err = r.notWhole(fmt.Errorf("%v", v))
	}
}

// findParquetColumns finds the columns by their names, as in a CSV's header.
func (r *Reader) findParquetColumns() error {
	p := r.parquet
	root := p.file.Root()
	for _, c := range root.Columns() {
		known := column{name: strings.ToLower(c.Name())}
		for _, k := range append(columns, parquetNames...) {
			if k.name == known.name {
				known = k
			}
		}
		r.csv.columns = append(r.csv.columns, known)
		if known.what == other {
			continue
		}
		if !c.Leaf() || c.Repeated() {
			return r.fault(0, "the column %s holds lists or records; it should hold one number a row", known.name)
		}
		pc := parquetColumn{column: known, at: c.Index(), buf: make([]parquet.Value, 1024)}
		switch kind := c.Type().Kind(); kind {
		case parquet.Int32, parquet.Int64:
			pc.whole = true
			if l := c.Type().LogicalType(); l != nil {
				if _, plain := l.Value.(*format.IntType); !plain {
					return r.fault(0, "the column %s holds %s; it should hold plain numbers", known.name, l)
				}
			}
		case parquet.Float, parquet.Double:
		default:
			return r.fault(0, "the column %s holds %s; it should hold numbers", known.name, kind)
		}
		p.columns = append(p.columns, pc)
	}
	numbered := r.csv.numbered // by the file's own word, without a column
	err := r.checkHeader(0)
	r.csv.numbered = r.csv.numbered || numbered
	return err
}

// nextParquet reads rows into r.batch: io.EOF after the last.
func (r *Reader) nextParquet() (err error) {
	defer r.guardParquet(&err)
	p := r.parquet
	for r.ready() < batchReadings {
		if !p.open {
			if len(p.groups) == 0 {
				return r.checkSeal()
			}
			if err := r.checkGroup(); err != nil {
				return err
			}
			chunks := p.groups[0].ColumnChunks()
			for i := range p.columns {
				p.columns[i].values = parquet.NewColumnChunkValueReader(chunks[p.columns[i].at])
			}
			p.open = true
		}
		n, err := r.rows(min(batchReadings-r.ready(), 1024))
		if err != nil {
			return err
		}
		if n == 0 {
			p.closeGroup()
			p.groups = p.groups[1:]
		}
	}
	return nil
}

// checkGroup looks at the sizes that the pages of the next group name.
func (r *Reader) checkGroup() error {
	p := r.parquet
	groups := p.file.Metadata().RowGroups
	group := groups[len(groups)-len(p.groups)]
	for _, c := range p.columns {
		if err := checkPages(p.src, p.size, &group.Columns[c.at].MetaData); err != nil {
			return r.notWhole(err)
		}
	}
	return nil
}

// rows reads at most so many rows of the group at hand; 0 when it is through.
func (r *Reader) rows(most int) (int, error) {
	p := r.parquet
	for i := range p.columns {
		c := &p.columns[i]
		c.n = 0
		for c.n < most {
			n, err := c.values.ReadValues(c.buf[c.n:most])
			c.n += n
			if errors.Is(err, io.EOF) || n == 0 && err == nil {
				break
			}
			if err != nil {
				return 0, r.notWhole(err)
			}
		}
		if c.n != p.columns[0].n {
			return 0, r.notWhole(fmt.Errorf("its columns %s and %s are not of one length", p.columns[0].name, c.name))
		}
	}
	for row := range p.columns[0].n {
		p.row++
		if p.row > mostRows {
			return 0, r.fault(0, "it holds more readings than the %d a trace may have: cut it into parts", mostRows)
		}
		var x measure.Reading
		timed := false
		for i := range p.columns {
			c := &p.columns[i]
			if c.buf[row].IsNull() {
				continue
			}
			v, err := c.number(c.buf[row])
			if err != nil {
				return 0, r.fault(p.row, "%s", badNumber(c.name, []byte(c.buf[row].String()), err))
			}
			set(&x, c.what, v)
			timed = timed || c.what == timeQ
		}
		if !timed {
			return 0, r.fault(p.row, "the row has no time; every reading needs one")
		}
		if err := r.add(x, r.csv.numbered); err != nil {
			return 0, err
		}
	}
	if n := p.columns[0].n; p.seal != nil {
		p.seal.add(r.batch[len(r.batch)-n:])
	}
	return p.columns[0].n, nil
}

// checkSeal ends the reading: io.EOF, or what is wrong with the whole.
func (r *Reader) checkSeal() error {
	if s := r.parquet.seal; s != nil && (s.count() != r.parquet.count || s.String() != r.parquet.sum) {
		return r.notWhole(fmt.Errorf("its checksum is %s over %s readings, not %s over %s", s, s.count(), r.parquet.sum, r.parquet.count))
	}
	return io.EOF
}

// number makes whole nanometres, microdegrees or microseconds of a value.
func (c *parquetColumn) number(v parquet.Value) (int64, error) {
	const most = int64(1e18) // as in text
	if c.whole {
		n := v.Int64()
		if v.Kind() == parquet.Int32 {
			n = int64(v.Int32())
		}
		if n > most/c.unit || n < -most/c.unit {
			return 0, measure.ErrOutOfRange
		}
		return n * c.unit, nil
	}
	f := v.Double()
	if v.Kind() == parquet.Float {
		f = float64(v.Float())
	}
	switch f = math.Round(f * float64(c.unit)); {
	case math.IsNaN(f):
		return 0, errNotANumber
	case math.Abs(f) > float64(most):
		return 0, measure.ErrOutOfRange
	}
	return int64(f), nil
}

func (p *parquetReader) closeGroup() {
	for i := range p.columns {
		if p.columns[i].values != nil {
			_ = p.columns[i].values.Close() // it was only read
			p.columns[i].values = nil
		}
	}
	p.open = false
}

// close lets go of what is open and removes the file that a stream was put
// down in.
func (p *parquetReader) close() error {
	p.closeGroup()
	if p.spool == nil {
		return nil
	}
	name := p.spool.Name()
	err := errors.Join(p.spool.Close(), os.Remove(name))
	p.spool = nil
	return err
}
