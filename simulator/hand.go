package simulator

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// Style names a way of turning an engine by hand.
type Style uint8

// The ways. All numbers behind them are invented; see habits.
const (
	Smooth      Style = iota // a crank handle: no pauses, a speed that breathes
	Bar                      // a breaker bar: long strokes, a pause to regrip
	Ratchet                  // a ratchet: short strokes, a small back-turn at each regrip
	Jerky                    // a stiff engine: stick and slip, sudden stops
	BackTurning              // back-turns of up to 20 degrees anywhere
	SpringLurch              // a bar, and the spring throws the cam past the nose
)

// Styles lists all ways of turning.
func Styles() []Style { return []Style{Smooth, Bar, Ratchet, Jerky, BackTurning, SpringLurch} }

// String returns the style's name: "spring-lurch".
func (s Style) String() string {
	switch s {
	case Smooth:
		return "smooth"
	case Bar:
		return "bar"
	case Ratchet:
		return "ratchet"
	case Jerky:
		return "jerky"
	case BackTurning:
		return "back-turning"
	case SpringLurch:
		return "spring-lurch"
	}
	return fmt.Sprintf("style %d", uint8(s))
}

// ParseStyle reads the name of a style.
func ParseStyle(text string) (Style, error) {
	for _, s := range Styles() {
		if s.String() == text {
			return s, nil
		}
	}
	return 0, fmt.Errorf("%q is no way of turning an engine: write one of %v", text, Styles())
}

// Hand says how somebody turns the engine. The style sets the habits; what is
// not zero here overrides it. Angles are crank degrees.
type Hand struct {
	Style Style         // Smooth
	Speed measure.Angle // degrees a second while moving; 45

	// StartFromNose is where the crank stands at first, counted from the first
	// nose; by default on the heel, 60 degrees before the valve opens. Above
	// the opening it starts in the middle of a flank, and above the nose half
	// a valve's passage comes before the first whole one. Write 720 degrees to
	// start exactly on a nose.
	StartFromNose measure.Angle
	// EndFromNose is where it stops, counted from the last nose; by default on
	// the heel, 60 degrees after the valve closes. Write -720 degrees to stop
	// exactly on the last nose.
	EndFromNose measure.Angle

	Before, After measure.Stamp // rest at the start and the end; 1 s each

	// BackTurns is how many back-turns a cycle there are on average, half of
	// them on a flank and a quarter within 10 degrees of the nose; they are up
	// to BackTurn long. BackTurning has 4 of 20, the rest none.
	BackTurns float64
	BackTurn  measure.Angle // longest; 20

	// Lurch is how far the spring throws the cam past the nose at most, and at
	// least a quarter of it. SpringLurch has 40, the rest none.
	Lurch measure.Angle

	// Tremor is the standard deviation of a shaking of about 9 a second, in
	// crank degrees; none. (Physiological tremor is 8 to 12 a second: from
	// memory.)
	Tremor measure.Angle

	// Stops is how many rests of 1 to 6 s a cycle there are on average,
	// anywhere; none.
	Stops float64

	Rests []Rest // and these, exactly; none
}

// Rest is a place where the hand stops and waits. A rest that the spring
// lurches over is taken where the lurch is caught: on the rest.
type Rest struct {
	Opening  int           // which of those from heel to heel, from 1; 0 for every one
	Where    Place         // AtAngle
	FromNose measure.Angle // for AtAngle: crank degrees after the nose
	For      measure.Stamp // how long
}

// Place is somewhere on the lobe.
type Place uint8

// The places to rest at.
const (
	AtAngle       Place = iota // Rest.FromNose
	OnHeel                     // halfway between closing and end of the cycle
	AtOpeningHalf              // half lift on the opening flank
	AtNose                     // the highest lift
	AtClosingHalf              // half lift on the closing flank
)

// habits are the resolved numbers of a hand: degrees and seconds.
type habits struct {
	speed                float64
	stroke, pause, slip  span    // strokes and what happens at a regrip; no strokes: one long one
	piece                float64 // seconds between changes of speed
	unevenness           float64 // standard deviation of the logarithm of speed
	stall                float64 // chance a piece to stop dead for up to a second
	backTurns, backTurn  float64
	lurch, tremor, stops float64
	before, after        float64
}

// span is a range that a number is drawn from, evenly.
type span struct{ least, most float64 }

func (h Hand) habits() habits {
	b := habits{
		speed:     orDefault(h.Speed, 45*measure.Degree).Degrees(),
		piece:     0.4,
		backTurns: h.BackTurns,
		backTurn:  orDefault(h.BackTurn, 20*measure.Degree).Degrees(),
		lurch:     h.Lurch.Degrees(),
		tremor:    h.Tremor.Degrees(),
		stops:     h.Stops,
		before:    orDefault(h.Before, measure.Second).Seconds(),
		after:     orDefault(h.After, measure.Second).Seconds(),
	}
	switch h.Style {
	case Smooth:
		b.unevenness = 0.15
	case Bar, SpringLurch:
		b.unevenness = 0.1
		b.stroke, b.pause, b.slip = span{50, 120}, span{0.5, 1.5}, span{0, 0.3}
	case Ratchet:
		b.unevenness = 0.1
		b.stroke, b.pause, b.slip = span{12, 35}, span{0.1, 0.4}, span{0.3, 3}
	case Jerky:
		b.unevenness, b.piece, b.stall = 0.8, 0.12, 0.05
	case BackTurning:
		b.unevenness = 0.15
		b.backTurns = orDefault(b.backTurns, 4)
	}
	if h.Style == SpringLurch {
		b.lurch = orDefault(b.lurch, 40)
	}
	return b
}

func (h Hand) check() error {
	switch {
	case h.Speed < 0 || h.Speed > 2000*measure.Degree:
		return fmt.Errorf("hand speed of %v a second: it must lie between 0 and 2000 deg", h.Speed)
	case h.Before < 0 || h.After < 0 || h.BackTurns < 0 || h.BackTurn < 0 || h.Lurch < 0 || h.Tremor < 0 || h.Stops < 0:
		return fmt.Errorf("hand: times, back-turns, lurch, tremor and stops cannot be below zero")
	case h.BackTurns > 100 || h.Stops > 100:
		return fmt.Errorf("hand: %v back-turns and %v stops a cycle: at most 100", h.BackTurns, h.Stops)
	}
	for _, r := range h.Rests {
		if r.For <= 0 || r.Where > AtClosingHalf {
			return fmt.Errorf("rest for %v: it must last some time, at a known place", r.For)
		}
	}
	return nil
}

// start returns where the hand starts, in degrees of the engine.
func (h Hand) start(t *train) float64 {
	return t.noseAt + orDefault(h.StartFromNose, fromDeg(t.open-60)).Degrees()
}

// end returns where the hand stops, in degrees of the engine, and the nose of
// the first opening that it turns through from heel to heel.
func (h Hand) end(t *train, start float64, openings int) (end, first float64) {
	first = t.noseAt + 720*math.Ceil((start-t.open-t.noseAt)/720)
	last := first + 720*float64(openings-1)
	return max(start, last+orDefault(h.EndFromNose, fromDeg(t.close+60)).Degrees()), first
}

// restsBetween returns the ordered rests a hand was told to take.
func (h Hand) restsBetween(t *train, start, end, first float64) []event {
	var rests []event
	// Number 0 is the one that a start in the middle of a flank is in.
	for n, nose := 0, first-720; nose+t.open-360 < end; n, nose = n+1, nose+720 {
		for _, r := range h.Rests {
			if r.Opening != 0 && r.Opening != n {
				continue
			}
			at := nose + t.place(r)
			if at >= start && at <= end {
				rests = append(rests, event{at: at, kind: restHere, size: r.For.Seconds()})
			}
		}
	}
	slices.SortStableFunc(rests, byAngle)
	return rests
}

// place returns where a rest is, in crank degrees from the nose.
func (t *train) place(r Rest) float64 {
	switch r.Where {
	case OnHeel:
		return (t.close + t.open + 720) / 2
	case AtOpeningHalf:
		return t.halfOpening
	case AtNose:
		return (t.noseFrom + t.noseTo) / 2
	case AtClosingHalf:
		return t.halfClosing
	}
	return r.FromNose.Degrees()
}
