package prove

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// learn makes the proof of what was seen.
func (g *Guide) learn() {
	least := g.least()
	low, high := *g.hang, *g.home
	if low.lift > high.lift {
		low, high = high, low
	}
	p := Proof{
		Low: length(low.lift), High: length(high.lift), In: g.in,
		StopU: measure.Length(math.Ceil(2 * math.Sqrt(least*least/12+math.Max(low.u, high.u)*math.Max(low.u, high.u)))),
		Step:  g.measured(), Rate: g.pace.rate(),
	}
	refresh, ok := g.pace.refresh()
	p.Refresh = refresh
	if !ok {
		p.Unlearned = append(p.Unlearned, "How often the figure changes: the spindle moved for too short a time. Taken is one reading's time.")
	}
	p.Repeat = length(spread(g.arrivals, func(a arrival) bool { return a.side == g.in }))
	p.Stick = length(spread(g.arrivals, func(arrival) bool { return true }))
	if p.OneSided = !g.bothSides(); p.OneSided {
		p.Unlearned = append(p.Unlearned, "The play between the two directions: the spindle never came from the other side.")
	}
	l := fitLag(g.falls)
	p.Lag, p.LagU = stamp(l.mean), stamp(l.u)
	if !l.ok {
		p.Lag, p.LagU = 0, stamp(mostLag)
		p.Unlearned = append(p.Unlearned, "How far the figure lags behind: it comes so slowly that it looks lowered by hand, not let go.")
	} else if hidden := l.mean + l.u; l.u > 0.5*l.mean && hidden > 0.02 {
		p.Lag, p.LagU = 0, stamp(hidden)
		p.Unlearned = append(p.Unlearned, fmt.Sprintf("How far the figure lags behind: readings come too seldom to tell more than that it is less than %.0f ms.", 1000*hidden))
	}
	g.proof = p
	g.to(Done, g.last.at)
}

// measured returns the gauge's step; 0 where even now too few changes came.
func (g *Guide) measured() measure.Length { return measure.Length(g.step.Step()) }

// spread returns the largest difference of the arrivals that count.
func spread(of []arrival, counts func(arrival) bool) float64 {
	least, most := math.Inf(1), math.Inf(-1)
	for _, a := range of {
		if counts(a) {
			least, most = math.Min(least, a.lift), math.Max(most, a.lift)
		}
	}
	return math.Max(0, most-least)
}

func length(nm float64) measure.Length { return measure.Length(math.Round(nm)) }

func stamp(seconds float64) measure.Stamp {
	return measure.Stamp(math.Round(seconds * float64(measure.Second)))
}
