package delay

import (
	"errors"
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// Options are the settings of a measurement. The zero value is good.
type Options struct {
	// Most is the greatest lag either way that is looked for; 0 means 250 ms.
	Most measure.Stamp
	// Enough is the greatest uncertainty of a useful result; 0 means 3 ms,
	// which is 0.18 degrees at 60 degrees a second.
	Enough measure.Stamp
	// Span is the longest time over which the crank is taken to have turned
	// evenly between two angles, as of the joiner; 0 means 100 ms.
	Span measure.Stamp
}

// Result is what was found.
type Result struct {
	// Lag is by how much the indicator's readings are later than the
	// encoder's; below zero if they are earlier. U is its expanded
	// uncertainty, k = 2.
	Lag measure.Stamp `json:"lag_s"`
	U   measure.Stamp `json:"u_s"`
	// Open is how far lifts of the same angle differed before, root mean
	// square, and Left how far they differ with the lag taken off.
	Open measure.Length `json:"open_mm"`
	Left measure.Length `json:"left_mm"`
	// Slack is the crank angle by which the valve (or the indicator) differs
	// between the two directions however slowly they are turned; 0 where none
	// was found. It is kept out of Lag.
	Slack measure.Angle `json:"slack_deg"`
	// Width is how much crank was swept both ways, Speed how fast, in a
	// second, root mean square; Turns how often the direction changed, and
	// Readings how many lifts were used.
	Width    measure.Angle `json:"width_deg"`
	Speed    measure.Angle `json:"speed_deg"`
	Turns    int           `json:"turns"`
	Readings int           `json:"readings"`
	// Says is the result in a sentence.
	Says string `json:"says"`
}

// Delays returns the delays to write for both sources, from those they have
// now. One of them stays as it is wherever that will do.
func (r Result) Delays(indicator, encoder measure.Stamp) (newIndicator, newEncoder measure.Stamp) {
	indicator += r.Lag
	if indicator < 0 {
		return 0, encoder - indicator
	}
	return indicator, encoder
}

// ErrNotEnough is wrapped by the error of readings that do not suffice. The
// error says what to do; more readings may be added and measured again.
var ErrNotEnough = errors.New("the delay cannot be told yet")

const (
	slowest    = 3.0  // degrees a second that count as turning
	atLeast    = 60   // lifts
	leastWidth = 8.0  // degrees swept both ways
	leastLift  = 0.25 // mm over that width
	leastSlack = 0.1  // degrees
	about      = 0.04 // s either side, over which a speed is taken
)

// Measure returns the lag of lift behind angle, from readings in order of time
// on one clock. Readings without the wanted quantity are passed over, so both
// slices may be the same mixed stream. On an error that wraps [ErrNotEnough]
// because of its uncertainty alone, the result is filled all the same.
func Measure(lift, angle []measure.Reading, o Options) (Result, error) {
	if o.Most == 0 {
		o.Most = 250 * measure.Millisecond
	}
	if o.Enough == 0 {
		o.Enough = 3 * measure.Millisecond
	}
	if o.Span == 0 {
		o.Span = 100 * measure.Millisecond
	}
	w, err := newWay(angle, o.Span.Seconds())
	if err != nil {
		return Result{}, err
	}
	swept := w.sweptBothWays()
	r := Result{Width: measure.FromDegrees(float64(len(swept))), Turns: w.turns}
	if float64(len(swept)) < leastWidth {
		return r, fmt.Errorf("%w: the engine was not turned back over the same stretch; turn forward over a flank and back again, a few times, briskly", ErrNotEnough)
	}
	f := gather(lift, w, swept, o.Most.Seconds())
	r.Readings = len(f.t)
	if len(f.t) < atLeast {
		return r, fmt.Errorf("%w: %d readings of the lift while the engine was turned forth and back, at least %d are wanted; go on a little", ErrNotEnough, len(f.t), atLeast)
	}
	if f.high-f.low < leastLift {
		return r, fmt.Errorf("%w: the valve moved by %.3f mm only while the engine was turned forth and back; do it on a flank, about half lift", ErrNotEnough, f.high-f.low)
	}
	f.lay()

	most := o.Most.Seconds()
	best, least, rival := f.grid(most)
	if math.Abs(best) > most-gridStep {
		return r, fmt.Errorf("%w: no lag within %v makes both ways coincide; are both instruments on this engine, and does the angle grow and fall as the engine is turned?", ErrNotEnough, o.Most)
	}
	if rival {
		return r, fmt.Errorf("%w: two lags fit nearly as well; go on a little, at another speed and over more of the flank", ErrNotEnough)
	}
	fit := f.refine(best, false)
	if s, ok := f.settled(fit.lag).apart(fit.lag); ok {
		fit, least = s, min(least, s.squares)
		r.Slack = measure.FromDegrees(s.slack)
	}
	r.Lag, r.U = seconds(fit.lag), seconds(fit.u)
	r.Open = measure.FromMillimetres(math.Sqrt(f.squares(0) / float64(len(f.t))))
	r.Left = measure.FromMillimetres(math.Sqrt(min(fit.squares, least) / float64(len(f.t))))
	r.Speed = measure.FromDegrees(fit.speed)
	who, by := "indicator", r.Lag
	if by < 0 {
		who, by = "encoder", -by
	}
	r.Says = fmt.Sprintf("the %s is later by %.1f ± %.1f ms: %.2f degrees of crank at 60 degrees a second", who, by.Seconds()*1e3, r.U.Seconds()*1e3, by.Seconds()*60)
	if r.Slack != 0 {
		r.Says += fmt.Sprintf("; besides, the valve follows the crank with %.1f degrees of slack between the two directions", math.Abs(r.Slack.Degrees()))
	}
	if r.U > o.Enough {
		return r, fmt.Errorf("%w: %s, which is too uncertain; turn faster, or more often forth and back on the flank", ErrNotEnough, r.Says)
	}
	return r, nil
}

func seconds(s float64) measure.Stamp {
	return measure.Stamp(math.Round(min(max(s, -1e6), 1e6) * float64(measure.Second)))
}
