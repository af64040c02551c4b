package device

import (
	"fmt"

	"lobescribe/device/encoder"
	"lobescribe/device/lines"
	"lobescribe/device/modbus"
	"lobescribe/device/wire"
)

// NewDecoder makes the decoder that an address asks for.
func NewDecoder(a Address, o DecoderOptions) (Decoder, error) {
	options := lines.Options{Unit: a.Unit, Scale: a.Scale, Invert: a.Invert, Crank: o.Crank, Index: a.Value("index") == "yes"}
	if a.Format == "" {
		return polled(lines.NewFinder(options), a), nil
	}
	if a.Format == "none" {
		return none{}, nil
	}
	if a.Format == "modbus" {
		return newModbus(a, o.Crank)
	}
	f, err := o.Formats.Named(a.Format)
	if err != nil {
		return nil, err
	}
	for _, c := range f.Columns {
		if c.Role == lines.Counts && (o.Crank == nil || o.Crank.Step() == 0) {
			return nil, fmt.Errorf("format %s has counts, and how many make a turn was not said: add counts=, as in counts=2400", f.Name)
		}
	}
	return polled(lines.NewDecoder(f, options), a), nil
}

// newModbus makes the decoder of a bus device.
func newModbus(a Address, crank wire.Crank) (Decoder, error) {
	o, err := modbus.Parse(a.Value)
	if err != nil {
		return nil, err
	}
	o.Scale, o.Unit, o.Invert, o.Crank = a.Scale, a.Unit, a.Invert, crank
	return modbus.New(o)
}

// polled makes an asking decoder of d, if the address says what to ask.
func polled(d lines.Follower, a Address) Decoder {
	if a.Poll == "" {
		return d
	}
	return lines.NewPolled(d, []byte(a.Poll))
}

// Check reports what would keep a source of a from ever working: a format that
// there is not, counts without their number a turn.
func Check(a Address, o Options) error {
	_, err := makeDecoder(a, o.withDefaults())
	return err
}

func makeDecoder(a Address, o Options) (Decoder, error) {
	crank, err := o.Crank(a)
	if err != nil {
		return nil, err
	}
	return o.Decoder(a, DecoderOptions{Formats: o.Formats, Crank: crank})
}

// crankOf makes the crank of an address. Where nothing is said of an encoder, it
// is one for printed degrees.
func crankOf(a Address) (wire.Crank, error) {
	c, err := encoder.Parse(a.Value)
	switch {
	case err != nil:
		return nil, err // a nil *Crank must not become a Crank
	case c == nil:
		return encoder.New(encoder.Options{})
	}
	return c, nil
}
