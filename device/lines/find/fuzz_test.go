package find_test

import (
	"testing"

	"lobescribe/device/internal/corpus"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
)

func FuzzFinder(f *testing.F) {
	corpus.Seeds(f, "../../../testdata/device", func(b []byte) { f.Add(3, b) })
	f.Fuzz(func(t *testing.T, step int, b []byte) {
		d := find.New(lines.Options{})
		step = 1 + int(uint(step)%64)
		corpus.Run(d, b, step)
		if bytes, chunks := d.Keeps(); max(bytes, chunks) > find.Most {
			t.Fatalf("it holds %d bytes in %d chunks", bytes, chunks)
		}
		if format, ok := d.Format(); ok {
			if err := format.Validate(); err != nil {
				t.Fatal(err)
			}
		}
	})
}
