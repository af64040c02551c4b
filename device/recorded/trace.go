package recorded

import (
	"errors"
	"io"
	"time"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Trace decodes a recording of raw bytes as a source of a would have, at the
// times at which they came. Where the link was lost the trace has a gap. The
// error is that of the address, or of a bad line of the recording; what came
// before the bad line is returned with it.
func Trace(r *bytelog.Reader, a address.Address, o device.Options) (t measure.Trace, err error) {
	d, err := device.MakeDecoder(a, o)
	if err != nil {
		return t, err
	}
	var out wire.Out
	var heard measure.Stamp // when the last bytes came
	lost, perByte := false, a.Line().ByteTime()
	for {
		e, err := r.Next()
		if err != nil {
			found := d.Found()
			t.Resolution, t.AngleStep = found.Resolution, found.AngleStep
			if errors.Is(err, io.EOF) {
				return t, nil
			}
			return t, err
		}
		if e.Kind != bytelog.Bytes {
			if e.Kind == bytelog.Lost && heard > 0 {
				lost = true
			}
			d.Reset()
			continue
		}
		// As in a source: no byte came before the one read ahead of it.
		between := perByte
		if n := len(e.Bytes); n > 0 && heard > 0 {
			between = max(0, min(between, (e.At-heard).Duration()/time.Duration(n)))
		}
		out.Reset()
		d.Decode(wire.Chunk{Bytes: e.Bytes, At: e.At, ByteTime: between}, &out)
		for i := range out.Readings {
			out.Readings[i].At -= a.Delay
		}
		if lost && len(out.Readings) > 0 {
			lost = false
			gap := measure.Note{Until: out.Readings[0].At, Kind: measure.NoteGap}
			if n := len(t.Readings); n > 0 {
				gap.At = t.Readings[n-1].At
			}
			t.Notes = append(t.Notes, gap)
		}
		for _, n := range out.Notes {
			n.At -= a.Delay
			t.Notes = append(t.Notes, n)
		}
		t.Readings = append(t.Readings, out.Readings...)
		heard = e.At
	}
}
