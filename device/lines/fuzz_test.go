package lines_test

import (
	"slices"
	"testing"

	"lobescribe/device/internal/corpus"
	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
)

// Whatever comes: no panic, the same readings however it is cut, and nothing
// held beyond the bound.
func FuzzDecoder(f *testing.F) {
	formats := formats.BuiltIn()
	corpus.Seeds(f, "../../testdata/device", func(b []byte) {
		for i := range formats {
			f.Add(i, b)
		}
	})
	f.Fuzz(func(t *testing.T, which int, b []byte) {
		format := formats[uint(which)%uint(len(formats))]
		o := lines.Options{Crank: corpus.Crank{}}
		whole := lines.NewDecoder(format, o)
		one, cut := corpus.Run(whole, b, max(len(b), 1)), corpus.Run(lines.NewDecoder(format, o), b, 1)
		// The same instants here: a byte takes the time in which it comes.
		if !slices.Equal(one.Readings, cut.Readings) || one.Refused != cut.Refused || len(one.Conditions) != len(cut.Conditions) {
			t.Fatalf("format %s: whole %v %+v, byte by byte %v %+v", format.Name, one.Readings, one.Refused, cut.Readings, cut.Refused)
		}
		if whole.Holds() > lines.MaxLine {
			t.Fatalf("it holds %d bytes", whole.Holds())
		}
	})
}
