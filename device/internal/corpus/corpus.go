// Package corpus reads the recordings that tests play back: NAME.bytes is what
// a device sent, to the byte, and NAME.golden what it means, as JSON lines.
//
// The first line of a golden file tells how the device is opened: "query" is
// the query of its address; "auto", if present, a query with which the format
// must also be found by listening. The last line counts what is refused. Those
// between are readings ("lift_mm", "angle_deg"), notes and conditions, in
// order. The recordings are invented, and written by another program than the
// decoders under test.
package corpus

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Case is one recording.
type Case struct {
	Name       string
	Query      string
	Auto       *string
	Bytes      []byte
	Readings   []measure.Reading // without stamps
	Notes      []measure.NoteKind
	Conditions []string
	Refused    wire.Refused
}

type row struct {
	Query     *string         `json:"query"`
	Auto      *string         `json:"auto"`
	Lift      *measure.Length `json:"lift_mm"`
	Angle     *measure.Angle  `json:"angle_deg"`
	Note      measure.NoteKind
	Condition string
	Refused   *wire.Refused
}

// Load reads the recordings in dir. It fails when there are suspiciously few:
// a pattern that matches nothing must not pass for a test.
func Load(t testing.TB, dir string) []Case {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*.bytes"))
	if err != nil || len(names) < 20 {
		t.Fatalf("%d recordings in %s (%v), expected 20 and more", len(names), dir, err)
	}
	var cases []Case
	for _, n := range names {
		c, err := load(strings.TrimSuffix(n, ".bytes"))
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, c)
	}
	return cases
}

func load(base string) (c Case, err error) {
	c.Name = filepath.Base(base)
	if c.Bytes, err = os.ReadFile(base + ".bytes"); err != nil {
		return c, err
	}
	golden, err := os.ReadFile(base + ".golden")
	if err != nil {
		return c, err
	}
	lines := bufio.NewScanner(bytes.NewReader(golden))
	for n := 1; lines.Scan(); n++ {
		var r row
		d := json.NewDecoder(bytes.NewReader(lines.Bytes()))
		d.DisallowUnknownFields()
		if err := d.Decode(&r); err != nil {
			return c, fmt.Errorf("%s.golden line %d: %w", base, n, err)
		}
		switch {
		case r.Query != nil:
			c.Query, c.Auto = *r.Query, r.Auto
		case r.Note != "":
			c.Notes = append(c.Notes, r.Note)
		case r.Condition != "":
			c.Conditions = append(c.Conditions, r.Condition)
		case r.Refused != nil:
			c.Refused = *r.Refused
		default:
			var x measure.Reading
			if r.Lift != nil {
				x.Has, x.Lift = x.Has|measure.HasLift, *r.Lift
			}
			if r.Angle != nil {
				x.Has, x.Angle = x.Has|measure.HasAngle, *r.Angle
			}
			c.Readings = append(c.Readings, x)
		}
	}
	if len(c.Readings) == 0 {
		return c, fmt.Errorf("%s.golden: no readings", base)
	}
	return c, lines.Err()
}

// Seeds adds the recordings in dir to a fuzzer's corpus.
func Seeds(f *testing.F, dir string, add func(b []byte)) {
	f.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*.bytes"))
	if err != nil || len(names) < 20 {
		f.Fatalf("%d recordings (%v), expected 20 and more", len(names), err)
	}
	for _, n := range names {
		b, err := os.ReadFile(n)
		if err != nil {
			f.Fatal(err)
		}
		add(b[:min(len(b), 200)])
	}
}

// Run hands b to d in pieces of at most step bytes, and returns all that came
// out, without times, which depend on the pieces.
func Run(d interface{ Decode(wire.Chunk, *wire.Out) }, b []byte, step int) (all wire.Out) {
	var out wire.Out
	at := measure.Stamp(0)
	for i := 0; i < len(b); i += step {
		part := b[i:min(i+step, len(b))]
		at += measure.Stamp(len(part)) * 20 * measure.Millisecond
		out.Reset()
		d.Decode(wire.Chunk{Bytes: slices.Clone(part), At: at, ByteTime: 20_000_000}, &out)
		all.Readings = append(all.Readings, out.Readings...)
		all.Refused = all.Refused.Plus(out.Refused)
		all.Notes = append(all.Notes, out.Notes...)
		all.Conditions = append(all.Conditions, out.Conditions...)
	}
	for i := 1; i < len(all.Readings); i++ {
		if all.Readings[i].At <= all.Readings[i-1].At {
			panic("time went back")
		}
	}
	for i := range all.Readings {
		all.Readings[i].At = 0
	}
	return all
}

// Crank is an encoder that never turns.
type Crank struct{}

func (Crank) FromCounts(int64) measure.Angle            { return 0 }
func (Crank) FromDegrees(a measure.Angle) measure.Angle { return a }
func (Crank) Step() measure.Angle                       { return 1 }
