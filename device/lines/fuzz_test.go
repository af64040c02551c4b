package lines

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// seeds adds the recordings to a fuzzer's corpus.
func seeds(f *testing.F, add func(b []byte)) {
	f.Helper()
	names, err := filepath.Glob("../../testdata/device/*.bytes")
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

// run hands b to d in pieces of at most step bytes, and returns all that came
// out, without times, which depend on the pieces.
func run(d Follower, b []byte, step int) (all wire.Out) {
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

// Whatever comes: no panic, the same readings however it is cut, and nothing
// held beyond the bound.
func FuzzDecoder(f *testing.F) {
	formats := BuiltIn()
	seeds(f, func(b []byte) {
		for i := range formats {
			f.Add(i, b)
		}
	})
	f.Fuzz(func(t *testing.T, which int, b []byte) {
		format := formats[uint(which)%uint(len(formats))]
		o := Options{Crank: anyCrank{}}
		whole := NewDecoder(format, o)
		one, cut := run(whole, b, max(len(b), 1)), run(NewDecoder(format, o), b, 1)
		// The same instants here: a byte takes the time in which it comes.
		if !slices.Equal(one.Readings, cut.Readings) || one.Refused != cut.Refused || len(one.Conditions) != len(cut.Conditions) {
			t.Fatalf("format %s: whole %v %+v, byte by byte %v %+v", format.Name, one.Readings, one.Refused, cut.Readings, cut.Refused)
		}
		if cap(whole.split.held) > defaultMaxLine {
			t.Fatalf("it holds %d bytes", cap(whole.split.held))
		}
	})
}

func FuzzFinder(f *testing.F) {
	seeds(f, func(b []byte) { f.Add(3, b) })
	f.Fuzz(func(t *testing.T, step int, b []byte) {
		d := NewFinder(Options{})
		step = 1 + int(uint(step)%64)
		run(d, b, step)
		if len(d.kept) > findKeep || len(d.chunks) > findKeep {
			t.Fatalf("it holds %d bytes in %d chunks", len(d.kept), len(d.chunks))
		}
		if format, ok := d.Format(); ok {
			if err := format.Validate(); err != nil {
				t.Fatal(err)
			}
		}
	})
}
