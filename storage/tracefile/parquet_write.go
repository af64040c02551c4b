package tracefile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"slices"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"lobescribe/device/measure"
)

// The columns, in the order in which they stand in the file.
const (
	timeAt = iota
	liftAt
	angleAt
	sweepAt // only in a trace that has any
	columnsInAll
)

// traceSchema: delta coding suits them all, since times step evenly, and the
// others move little from one reading to the next.
func traceSchema(sweep bool) *parquet.Schema {
	whole := parquet.Compressed(parquet.Encoded(parquet.Int(64), &parquet.DeltaBinaryPacked), &parquet.Zstd)
	g := inOrder{
		Group: parquet.Group{"t_us": parquet.Required(whole), "lift_nm": parquet.Optional(whole), "angle_udeg": parquet.Optional(whole)},
		names: []string{timeAt: "t_us", liftAt: "lift_nm", angleAt: "angle_udeg"},
	}
	if sweep {
		g.Group["sweep_nm"] = parquet.Optional(whole)
		g.names = append(g.names, "sweep_nm")
	}
	return parquet.NewSchema("trace", g)
}

// inOrder is a group whose columns are not sorted by name.
type inOrder struct {
	parquet.Group
	names []string
}

func (g inOrder) Fields() []parquet.Field {
	fields := make([]parquet.Field, len(g.names))
	for _, f := range g.Group.Fields() {
		fields[slices.Index(g.names, f.Name())] = f
	}
	return fields
}

// columnNote is what a column says of itself in the file's metadata.
type columnNote struct {
	Unit string `json:"unit"`
	Says string `json:"says"`
}

// units by column. Units are spelt as in the names: micro is u.
var units = map[string]columnNote{
	"t_us":       {"us", "microseconds since the trace began, on a clock that no clock change bends"},
	"lift_nm":    {"nm", "nanometres, what the indicator itself showed; null where only the encoder spoke"},
	"angle_udeg": {"udeg", "microdegrees of crank as the encoder counted them, growing without end; null where only the indicator spoke"},
	"sweep_nm":   {"nm", "nanometres across the stem, what the sweep gauge itself showed; null where it said nothing"},
}

const (
	// rowsInGroup bounds what the writer holds: a group's pages, packed, are
	// below 4 MB in the worst case seen (noise in every digit).
	rowsInGroup = 1 << 18
	rowsAtOnce  = 4096
)

var magic = []byte("PAR1")

// parquetWriter writes a trace as Parquet, group by group.
type parquetWriter struct {
	out  redirected
	w    *parquet.GenericWriter[any]
	rows []parquet.Row // of values, whose place never changes
	seal *seal
}

// redirected is a stream whose end can be held back.
type redirected struct{ io.Writer }

func newParquetWriter(w io.Writer, sweep bool) *parquetWriter {
	columns := columnsInAll
	if !sweep {
		columns = sweepAt
	}
	p := &parquetWriter{out: redirected{w}, rows: make([]parquet.Row, rowsAtOnce), seal: newSeal()}
	values := make([]parquet.Value, rowsAtOnce*columns)
	for i := range p.rows {
		p.rows[i] = values[i*columns:][:columns:columns]
	}
	p.w = parquet.NewGenericWriter[any](&p.out, traceSchema(sweep),
		// In a page of version 2 what is null stands outside of what is packed
		// and so outside of its checksum; and more programs read version 1.
		parquet.DataPageVersion(1),
		parquet.MaxRowsPerRowGroup(rowsInGroup),
		parquet.CreatedBy("lobescribe", "trace", layout),
		parquet.SortingWriterConfig(parquet.SortingColumns(parquet.Ascending("t_us"))))
	return p
}

func (p *parquetWriter) write(readings []measure.Reading) error {
	for len(readings) > 0 {
		n := min(len(readings), len(p.rows))
		for i, r := range readings[:n] {
			if err := checkWritable(p.seal.n+int64(i), r); err != nil {
				return err
			}
			p.rows[i][timeAt] = parquet.Int64Value(int64(r.At)).Level(0, 0, timeAt)
			p.rows[i][liftAt] = orNull(int64(r.Lift), r.Has&measure.HasLift != 0, liftAt)
			p.rows[i][angleAt] = orNull(int64(r.Angle), r.Has&measure.HasAngle != 0, angleAt)
			switch has := r.Has&measure.HasSweep != 0; {
			case len(p.rows[i]) > sweepAt:
				p.rows[i][sweepAt] = orNull(int64(r.Sweep), has, sweepAt)
			case has:
				return fmt.Errorf("writing Parquet: reading %d has a sweep, and the file has no column for it", p.seal.n+int64(i))
			}
		}
		if _, err := p.w.WriteRows(p.rows[:n]); err != nil {
			return fmt.Errorf("writing Parquet: %w", err)
		}
		p.seal.add(readings[:n])
		readings = readings[n:]
	}
	return nil
}

// orNull is a value of a column that may have none.
func orNull(v int64, there bool, column int) parquet.Value {
	if !there {
		return parquet.NullValue().Level(0, 0, column)
	}
	return parquet.Int64Value(v).Level(0, 1, column)
}

// close writes the last group and the footer. The library has no way to give a
// column metadata of its own, so the footer is held back, gets the columns'
// units, and is then written: it is the last thing in the file, and nothing in
// it counts from its own place.
func (p *parquetWriter) close(o *WriterOptions) error {
	keys, err := o.metadata()
	if err != nil {
		return err
	}
	keys[keyReadings], keys[keySeal] = p.seal.count(), p.seal.String()
	for key, text := range keys {
		p.w.SetKeyValueMetadata(key, text)
	}
	if err := p.w.Flush(); err != nil {
		return fmt.Errorf("writing Parquet: %w", err)
	}
	var end bytes.Buffer
	to := p.out.Writer
	p.out.Writer = &end
	if err := p.w.Close(); err != nil {
		return fmt.Errorf("writing Parquet: %w", err)
	}
	b, err := withColumnUnits(end.Bytes())
	if err != nil {
		return fmt.Errorf("writing the units of Parquet's columns: %w", err)
	}
	_, err = to.Write(b)
	return err
}

// withColumnUnits returns the end of a Parquet file, footer and all, with a key
// "unit" in the metadata of every column.
func withColumnUnits(end []byte) ([]byte, error) {
	n := len(end) - len(magic) - 4
	if n < 0 || !bytes.HasSuffix(end, magic) {
		return nil, fmt.Errorf("the footer is missing")
	}
	start := n - int(binary.LittleEndian.Uint32(end[n:]))
	if start < 0 {
		return nil, fmt.Errorf("the footer is longer than what was written last")
	}
	var meta format.FileMetaData
	protocol := new(thrift.CompactProtocol)
	if err := thrift.Unmarshal(protocol, end[start:n], &meta); err != nil {
		return nil, err
	}
	for i := range meta.RowGroups {
		columns := meta.RowGroups[i].Columns
		for j := range columns {
			c := &columns[j].MetaData
			if unit, ok := units[c.PathInSchema[0]]; ok {
				c.KeyValueMetadata = append(c.KeyValueMetadata,
					format.KeyValue{Key: "unit", Value: unit.Unit}, format.KeyValue{Key: "says", Value: unit.Says})
			}
		}
	}
	footer, err := thrift.Marshal(protocol, meta)
	if err != nil {
		return nil, err
	}
	out := append(end[:start:start], footer...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(footer)))
	return append(out, magic...), nil
}
