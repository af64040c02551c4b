package lift_test

import (
	"encoding/binary"
	"testing"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// readingsFrom makes readings of any bytes: mostly small steps, now and then
// anything at all.
func readingsFrom(b []byte) []measure.Reading {
	var out []measure.Reading
	var r measure.Reading
	for len(b) >= 4 {
		what := b[0]
		d := int64(int16(binary.LittleEndian.Uint16(b[1:])))
		r.At += measure.Stamp(b[3]) * 500
		r.Has = measure.Has(what & 3)
		switch what >> 5 {
		case 0, 1, 2:
			r.Lift += measure.Length(d * 100)
		case 3, 4:
			r.Lift += measure.Length(d) * 1270
			r.Angle += measure.Angle(d) * 1000
		case 5:
			r.Angle += measure.Angle(d) * 150_000
		case 6:
			r.Lift = measure.Length(d) << (what & 63)
			r.Angle = measure.Angle(d) << (b[3] & 63)
		case 7:
			r.At = measure.Stamp(d) << (b[3] & 63)
		}
		out = append(out, r)
		// Long quiet stretches, which no fuzzer would write.
		if what&4 != 0 {
			for range b[3] {
				r.At += 20_000
				out = append(out, r)
			}
		}
		b = b[4:]
	}
	return out
}

// Whatever the readings, findings are finite and in order.
func FuzzAnalyse(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("a few readings of nothing in particular, to begin with"))
	f.Add([]byte{1, 0, 0, 255, 101, 0, 127, 10, 101, 0, 127, 10, 101, 0, 129, 10, 101, 0, 129, 255, 193, 255, 127, 9, 225, 1, 0, 60})
	f.Fuzz(func(t *testing.T, b []byte) {
		readings := readingsFrom(b)
		found, err := lift.Analyse(measure.Trace{Readings: readings}, lift.Options{})
		if err != nil {
			return
		}
		for _, o := range found.Openings {
			if o.MaxLift <= 0 || o.MaxLiftU < 0 || o.Open > o.Nose || o.Nose > o.Close || o.OpeningHalf.At > o.Nose || o.ClosingHalf.At < o.Nose {
				t.Fatalf("%+v", o)
			}
		}
		if found.Spread < 0 || found.MaxLiftU < 0 || found.MaxLift < 0 || found.MaxLift > 20*measure.Millimetre*1000 {
			t.Fatalf("%+v", found)
		}
	})
}
