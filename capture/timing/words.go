package timing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

// Valve says which valve of a cylinder a curve belongs to. The zero value
// means that nobody said; then events are written from the nearest dead centre.
type Valve = valve.Kind

// The valves.
const (
	Intake  = valve.Intake
	Exhaust = valve.Exhaust
)

// Place is where in the valve train a lift is meant or was measured. The zero
// value is the valve.
type Place string

// The places.
const (
	AtValve Place = "valve"
	AtLobe  Place = "lobe"
)

func (p Place) or(other Place) Place {
	if p == "" {
		return other
	}
	return p
}

// Which says which of a valve's two events is meant.
type Which uint8

// The events of a valve.
const (
	Opens Which = iota
	Closes
)

func (w Which) String() string {
	if w == Closes {
		return "closes"
	}
	return "opens"
}

// reference returns the dead centre, in degrees after the overlap's top dead
// centre, from which the trade counts an event, and whether it counts before
// it (openings) or after it.
func reference(v Valve, w Which) (centre float64, before bool) {
	switch {
	case v == Intake && w == Opens:
		return 0, true
	case v == Intake:
		return 180, false
	case w == Opens:
		return -180, true
	}
	return 0, false
}

// OnCard returns an event as a cam card counts it: an opening before its dead
// centre, a closing after it, negative for the other side. For a valve of
// unknown kind it is the angle itself.
func OnCard(v Valve, w Which, atdc measure.Angle) measure.Angle {
	if v == "" {
		return atdc
	}
	centre, before := reference(v, w)
	a := atdc - measure.FromDegrees(centre)
	if before {
		return -a
	}
	return a
}

// FromCard is the inverse of [OnCard].
func FromCard(v Valve, w Which, card measure.Angle) measure.Angle {
	if v == "" {
		return card
	}
	centre, before := reference(v, w)
	if before {
		card = -card
	}
	return card + measure.FromDegrees(centre)
}

// Says writes an event the trade's way: "12 BTDC", "44 ABDC", "4 ATDC", "TDC".
// It is rounded to a tenth of a degree.
func Says(v Valve, w Which, atdc measure.Angle) string {
	centre, _ := reference(v, w)
	if v == "" {
		centre = 180 * math.Round(atdc.Degrees()/180)
	}
	name := "TDC"
	if int(math.Round(centre/180))%2 != 0 {
		name = "BDC"
	}
	return fromCentre(atdc.Degrees()-centre, name)
}

func fromCentre(d float64, name string) string {
	d = math.Round(d*10) / 10
	switch {
	case d == 0:
		return name
	case d < 0:
		return plain(-d) + " B" + name
	}
	return plain(d) + " A" + name
}

// plain writes degrees with at most one decimal and no trailing zero.
func plain(d float64) string {
	return strconv.FormatFloat(math.Round(d*10)/10+0, 'f', -1, 64)
}

// saysNose writes a nose or centreline: intake after, exhaust before the
// overlap's top dead centre.
func saysNose(atdc measure.Angle) string { return fromCentre(atdc.Degrees(), "TDC") }

// ParseEvent reads an event as a card writes it: a number counted the usual
// way for that event (negative for the other side), or a number with BTDC,
// ATDC, BBDC or ABDC behind it, or TDC or BDC alone. It returns degrees after
// the overlap's top dead centre.
func ParseEvent(text string, v Valve, w Which) (measure.Angle, error) {
	s := strings.ToUpper(strings.TrimSpace(text))
	centre, _ := reference(v, w)
	sign, found := 0, ""
	for _, side := range []struct {
		word string
		sign int
	}{{"BTDC", -1}, {"ATDC", 1}, {"BBDC", -1}, {"ABDC", 1}, {"TDC", 0}, {"BDC", 0}} {
		if rest, ok := strings.CutSuffix(s, side.word); ok {
			s, sign, found = strings.TrimSpace(rest), side.sign, side.word
			break
		}
	}
	if found == "" {
		card, err := measure.ParseAngle(text)
		if err != nil {
			return 0, err
		}
		return FromCard(v, w, card), nil
	}
	if v != "" && strings.HasSuffix(found, "BDC") != (math.Abs(centre) == 180) {
		return 0, fmt.Errorf("%q: an %s valve %s near %s", text, v, w, map[bool]string{true: "bottom dead centre (BBDC, ABDC)", false: "top dead centre (BTDC, ATDC)"}[math.Abs(centre) == 180])
	}
	if v == "" && strings.HasSuffix(found, "BDC") {
		return 0, fmt.Errorf("%q: bottom dead centre is ambiguous until it is said whether the valve is intake or exhaust", text)
	}
	if sign == 0 {
		if s != "" {
			return 0, fmt.Errorf("%q: say whether it is before or after (as in \"12 BTDC\" or \"4 ATDC\")", text)
		}
		return measure.FromDegrees(centre), nil
	}
	a, err := measure.ParseAngle(s)
	if err != nil {
		return 0, fmt.Errorf("%q: %w", text, err)
	}
	return measure.FromDegrees(centre) + measure.Angle(sign)*a, nil
}
