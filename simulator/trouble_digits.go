package simulator

import (
	"math"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

// digits does to a displayed figure what goes wrong on its way.
type digits struct {
	*troubles
	bursts, never []float64 // seconds at which a burst, or a value that is no lift, is due
	left          int       // readings of the burst under way
	by            float64   // mm
	no            measure.Length
	noLeft        int
}

// newDigits returns none where nothing goes wrong.
func (t *troubles) newDigits(truth *Truth) *digits {
	d := &digits{troubles: t}
	if t.has[MisreadBurst] {
		d.bursts = t.moments(3, truth)
	}
	if t.has[NoLift] {
		d.never = t.moments(1+t.when.IntN(3), truth)
	}
	for _, name := range []Trouble{Misread, MisreadBurst, DigitDropped, MinusDropped, NoLift} {
		if t.has[name] {
			return d
		}
	}
	return nil
}

// pass returns what is sent for a figure that is shown at a time, in seconds.
func (d *digits) pass(t float64, shown measure.Length, unit measure.Unit, resolution measure.Length) measure.Length {
	r := d.when
	if len(d.bursts) > 0 && t >= d.bursts[0] {
		d.bursts, d.left = d.bursts[1:], 2+r.IntN(4)
		d.by = 0.1 * math.Pow(80, r.Float64()) * float64(1-2*r.IntN(2))
	}
	if len(d.never) > 0 && t >= d.never[0] {
		d.never, d.noLeft = d.never[1:], 1+r.IntN(2)
		d.no = measure.Length(roundToCount(60*math.Pow(1000./60, r.Float64()), resolution)) * resolution
	}
	switch {
	case d.left > 0:
		d.left--
		return shown + measure.Length(roundToCount(d.by, resolution))*resolution
	case d.noLeft > 0:
		d.noLeft--
		return d.no
	case d.has[Misread] && r.Float64() < 0.002:
		return rewritten(shown, unit, resolution, func(text []byte) []byte {
			// The last digit is left alone: a step of 5 would show a wrong one.
			i := r.IntN(max(len(text)-1, 1))
			text[i] = '0' + (text[i]-'0'+1+byte(r.IntN(9)))%10
			return text
		})
	case d.has[DigitDropped] && r.Float64() < 0.003:
		return rewritten(shown, unit, resolution, func(text []byte) []byte {
			i := r.IntN(max(len(text)-1, 1))
			return append(text[:i], text[i+1:]...)
		})
	case d.has[MinusDropped] && shown < 0 && r.Float64() < 0.03:
		return -shown
	}
	return shown
}

// rewritten does something to the digits of a figure as it is written in a unit.
func rewritten(shown measure.Length, unit measure.Unit, resolution measure.Length, do func([]byte) []byte) measure.Length {
	decimals := decimalsOf(resolution, unit)
	n := scaled(int64(max(shown, -shown)), decimals, int64(unit.Length()))
	text := strconv.FormatInt(n, 10)
	if short := decimals + 1 - len(text); short > 0 {
		text = strings.Repeat("0", short) + text
	}
	n, err := strconv.ParseInt("0"+string(do([]byte(text))), 10, 64)
	if err != nil {
		panic(err) // they were digits
	}
	l := measure.Length(math.Round(float64(n) * float64(unit.Length()) / math.Pow10(decimals)))
	if shown < 0 {
		l = -l
	}
	return l
}
