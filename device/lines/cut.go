package lines

import (
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// What a guess at an unknown layout needs of the decoder, besides decoding by it:
// the same cuts, numbers, units and checks.

// Value is a number as it stood in a line.
type Value struct {
	Mantissa int64
	Decimals int
	Unit     measure.Unit // NoUnit if none was printed
}

// ScanValue reads the number at the start of b, and its unit. rest is what stands
// behind them. comma says that the decimal point is a comma.
func ScanValue(b []byte, comma bool) (v Value, rest []byte, ok bool) {
	var scratch []byte
	if comma {
		scratch = make([]byte, len(b))
	}
	var n number
	rest, found := parseColumn(&n, &Column{Role: Lift}, b, scratch)
	return Value{n.mantissa, n.decimals, n.unit}, rest, found == taken
}

// ScanUnit reads the name of a unit at the start of b, which is not empty, and how
// long it is.
func ScanUnit(b []byte) (measure.Unit, int) { return scanUnit(b) }

// CutChecked returns what stands between "$" and a check that holds.
func CutChecked(line []byte) (body []byte, ok bool) {
	body, v := xorAfterStar(line)
	return body, v == taken
}

// Cut calls take for each whole line of a stream, cut and framed as f says. quiet
// says that the stream starts with a line's start.
func Cut(chunks []wire.Chunk, f Format, quiet bool, take func(line []byte, at measure.Stamp)) {
	s := splitter{end: f.End, start: f.Start, size: f.Size, max: max(f.MaxLine, MaxLine), synced: quiet}
	var out wire.Out
	for _, c := range chunks {
		s.each(c, &out, func(line []byte, at measure.Stamp, _ *wire.Out) { take(line, at) })
	}
}

// Each calls take for each whole line that ends in c. What the decoder has to say of
// lines that it cannot give out goes to out.
func (d *Decoder) Each(c wire.Chunk, out *wire.Out, take func(line []byte, at measure.Stamp, out *wire.Out)) {
	d.begin(out)
	d.split.each(c, out, take)
}

// Line decodes one whole line. passed says that it is one which is neither a reading
// nor a fault.
func (d *Decoder) Line(line []byte, at measure.Stamp, out *wire.Out) (passed bool) {
	d.passed = false
	d.line(d.split.frame(line), at, out)
	return d.passed
}

// Ended is where in the chunk the line ended that was taken last; Endless says that
// the running line is longer than any.
func (d *Decoder) Ended() int    { return d.split.at }
func (d *Decoder) Endless() bool { return d.split.tooLong }

// Describe says in words what the format looks like, and whether the unit or scale of
// its lift was guessed.
func (d *Decoder) Describe(says string, assumed bool) { d.says, d.assumed = says, assumed }

// Uncounted says that counts came, and that nobody said how many make a turn.
func (d *Decoder) Uncounted() bool { return d.uncounted }

// Format is what the decoder follows, with what the person said in it.
func (d *Decoder) Format() Format { return d.f }
