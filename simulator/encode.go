package simulator

import (
	"fmt"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// EncodeOptions says in what words a trace is sent again.
type EncodeOptions struct {
	Unit   measure.Unit // InMillimetres
	Format Format       // NumberAndUnit, with as many decimals as the trace needs
	Wire   Wire
}

// Encode returns the bytes of an instrument that would give these readings: a
// stored trace made into a device again. Readings without lift are left out
// where the format has one, and so are those without an angle.
func Encode(t measure.Trace, o EncodeOptions) ([]Chunk, error) {
	o.Unit = orDefault(o.Unit, measure.InMillimetres)
	if o.Format.Layout == "" {
		o.Format = NumberAndUnit()
	}
	if o.Unit.Length() == 0 {
		return nil, fmt.Errorf("unit %d is not known", o.Unit)
	}
	for _, err := range []error{o.Format.check(), o.Wire.Mischief.check()} {
		if err != nil {
			return nil, err
		}
	}
	var needs measure.Has
	if o.Format.has("{lift}") {
		needs |= measure.HasLift
	}
	if o.Format.has("{angle}") || o.Format.has("{count}") {
		needs |= measure.HasAngle
	}
	resolution, step := orDefault(t.Resolution, measure.Nanometre), orDefault(t.AngleStep, measure.Degree/10)
	format, err := o.Format.compile()
	if err != nil {
		return nil, err
	}
	wire := newSender(o.Wire, format.End, rand.New(rand.NewPCG(o.Wire.Mischief.Seed, streamWire)), len(t.Readings))
	var line []byte
	for i, r := range t.Readings {
		if r.Has&needs != needs || !wire.free(r.At.Seconds()) {
			continue
		}
		line = format.appendLine(line[:0], said{
			lift: r.Lift, resolution: resolution, unit: o.Unit,
			angle: r.Angle, count: scaled(int64(r.Angle), 0, int64(step)),
		})
		wire.send(r.At.Seconds(), line, i)
	}
	return wire.chunks(), nil
}
