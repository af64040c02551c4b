package device

import (
	"fmt"

	"lobescribe/device/address"
	"lobescribe/device/encoder"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/modbus"
	"lobescribe/device/wire"
)

// NewDecoder makes the decoder that an address asks for.
func NewDecoder(a address.Address, o DecoderOptions) (Decoder, error) {
	port := portOf(a, o.Port)
	options := lines.Options{Unit: a.Unit, Angle: a.AngleUnit, Scale: a.Scale, Invert: a.Invert, Crank: o.Crank, Index: a.Value("index") == "yes",
		Port: port, Column: a.Column, Separator: a.Separator}
	if a.Format == "" {
		return polled(find.New(options), a), nil
	}
	if w, ok := wireFormats()[a.Format]; ok {
		return w.decoder(a, o)
	}
	f, err := o.Formats.Named(a.Format)
	if err != nil {
		return nil, err
	}
	if port == lines.EncoderPort {
		if f, err = withoutLift(f); err != nil {
			return nil, err
		}
	}
	for _, c := range f.Columns {
		if c.Role == lines.Counts && (o.Crank == nil || o.Crank.Step() == 0) {
			return nil, fmt.Errorf("format %s has counts, and how many make a turn was not said: add counts=, as in counts=2400", f.Name)
		}
	}
	return polled(lines.NewDecoder(f, options), a), nil
}

// wireFormat is a format of another kind than lines of text.
type wireFormat struct {
	// asks tells that its devices speak only when they are spoken to: that the
	// source writes to them.
	asks    bool
	decoder func(address.Address, DecoderOptions) (Decoder, error)
}

// wireFormats are those that there are, by their names in format=.
func wireFormats() map[string]wireFormat {
	return map[string]wireFormat{
		"none":   {decoder: func(address.Address, DecoderOptions) (Decoder, error) { return none{}, nil }},
		"modbus": {asks: true, decoder: func(a address.Address, o DecoderOptions) (Decoder, error) { return newModbus(a, o.Crank) }},
	}
}

// Asks tells whether anything is written to the device to have it speak: where
// poll= says what, and where its format is one that asks.
func Asks(a address.Address) bool { return a.Poll != "" || wireFormats()[a.Format].asks }

// portOf returns what sits on a port: what it was opened as, or else what role=
// says.
func portOf(a address.Address, opened lines.Port) lines.Port {
	switch role := a.Value("role"); {
	case opened != lines.AnyPort:
		return opened
	case role == "lift":
		return lines.IndicatorPort
	case role != "":
		return lines.EncoderPort
	}
	return lines.AnyPort
}

// withoutLift returns f with its lift left out, for an encoder's port gives none.
func withoutLift(f lines.Format) (lines.Format, error) {
	f, turns := f.WithoutLift()
	if !turns {
		return f, fmt.Errorf("format %s gives a lift, and an encoder's port gives an angle: name another, as in format=degrees or format=counts, or leave it out", f.Name)
	}
	return f, nil
}

// newModbus makes the decoder of a bus device.
func newModbus(a address.Address, crank wire.Crank) (Decoder, error) {
	o, err := modbus.Parse(a.Value)
	if err != nil {
		return nil, err
	}
	o.Scale, o.Unit, o.Invert, o.Crank = a.Scale, a.Unit, a.Invert, crank
	return modbus.New(o)
}

// polled makes an asking decoder of d, if the address says what to ask.
func polled(d find.Follower, a address.Address) Decoder {
	if a.Poll == "" {
		return d
	}
	return find.NewPolled(d, []byte(a.Poll))
}

// Check reports what would keep a source of a from ever working: a format that
// there is not, counts without their number a turn.
func Check(a address.Address, o Options) error {
	_, err := MakeDecoder(a, o)
	return err
}

// MakeDecoder makes the decoder that a source of a would have.
func MakeDecoder(a address.Address, o Options) (Decoder, error) {
	o = o.withDefaults()
	crank, err := o.Crank(a)
	if err != nil {
		return nil, err
	}
	return o.Decoder(a, DecoderOptions{Formats: o.Formats, Crank: crank, Port: o.Port})
}

// crankOf makes the crank of an address. Where nothing is said of an encoder, it
// is one for printed degrees.
func crankOf(a address.Address) (wire.Crank, error) {
	c, err := encoder.Parse(a.Value)
	switch {
	case err != nil:
		return nil, err // a nil *Crank must not become a Crank
	case c == nil:
		return encoder.New(encoder.Options{})
	}
	return c, nil
}
