package timing

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// CardValve is what a cam card says of one valve. What it does not say is nil
// or 0. Opens and Closes are in degrees after the overlap's top dead centre
// (see [FromCard] and [ParseEvent]).
type CardValve struct {
	CheckingLift measure.Length // default 0.050 in
	CheckedAt    Place          // default: the lobe, as cards do
	Opens        *measure.Angle
	Closes       *measure.Angle
	// Duration and Centreline stand in for the events where a card gives only
	// them. Centreline is as the card prints it: intake after, exhaust before
	// top dead centre.
	Duration   *measure.Angle
	Centreline *measure.Angle
	// MaxLift counts at MaxLiftAt, default CheckedAt.
	MaxLift   measure.Length
	MaxLiftAt Place
	// Gross: the lash is still to be taken off MaxLift at the valve, as cards have it
	// that give the lobe's lift times the ratio.
	Gross bool
}

// events fills in the events from duration and centreline.
func (k CardValve) events(v Valve) CardValve {
	if k.Duration == nil || k.Centreline == nil {
		return k
	}
	mid := *k.Centreline
	if v == Exhaust {
		mid = -mid
	}
	if k.Opens == nil {
		a := mid - *k.Duration/2
		k.Opens = &a
	}
	if k.Closes == nil {
		a := mid + *k.Duration/2
		k.Closes = &a
	}
	return k
}

// Deviation is one event against the card. Angles are crank degrees, positive
// for later than the card says.
type Deviation struct {
	Valve    Valve         `json:"valve"`
	Event    string        `json:"event"`
	Measured measure.Angle `json:"measured_atdc_deg"`
	Card     measure.Angle `json:"card_atdc_deg"`
	Says     string        `json:"says"` // measured and card, the trade's way
	Later    measure.Angle `json:"later_deg"`
	U        measure.Angle `json:"u_deg"`
	// LeftOver is what the shift of the whole cam does not explain; Stands is
	// true if it is larger than its uncertainty.
	LeftOver  measure.Angle `json:"left_over_deg"`
	LeftOverU measure.Angle `json:"left_over_u_deg"`
	Stands    bool          `json:"left_over_stands"`

	u float64 // by chance alone, degrees
}

// Shift is the turn of the cam that explains the deviations best.
type Shift struct {
	Of string `json:"of"` // "cam", "intake cam" or "exhaust cam"
	// Advance is positive if the cam stands earlier than its card, in crank
	// degrees; AdvanceU is expanded with the factor K.
	Advance  measure.Angle `json:"advance_deg"`
	AdvanceU measure.Angle `json:"advance_u_deg"`
	K        float64       `json:"k"`
	Events   int           `json:"events"`
	Says     string        `json:"says"`
}

// CardComparison is a whole cam card against what was measured.
type CardComparison struct {
	Deviations []Deviation `json:"deviations"`
	Shifts     []Shift     `json:"shifts"`
	// Lifts compares max lifts, where the card has them.
	Lifts []LiftDeviation `json:"max_lifts,omitempty"`
	// Lines are the card's lines, each judged; Mends what a turn of the cam would do.
	Lines []CardLine           `json:"lines"`
	Mends []worksheet.Sentence `json:"mends,omitempty"`
	Says  []worksheet.Sentence `json:"says"`
}

// LiftDeviation is a max lift against the card's, taken to where it was
// measured by the measured ratio, or the constant one with its uncertainty.
type LiftDeviation struct {
	Valve    Valve          `json:"valve"`
	Measured measure.Length `json:"measured_mm"`
	Card     measure.Length `json:"card_mm"`
	More     measure.Length `json:"more_mm"`
	U        measure.Length `json:"u_mm"`
}

// CardOptions is the card of both valves. TwoCams: intake and exhaust sit on
// cams of their own and may be off by different amounts.
//
// Tolerance is what angles may be off, default [CardTolerance] (half of it between
// lobes, in cam degrees); LiftTolerance likewise, default [CardLiftTolerance].
type CardOptions struct {
	Intake, Exhaust *CardValve
	TwoCams         bool
	LobeSeparation  *measure.Angle // cam degrees; nil: not on the card
	Tolerance       measure.Angle
	LiftTolerance   measure.Length
}

// Measured is one valve as it is compared with its card: a curve, or a passage
// of typed events at the card's checking lift.
type Measured struct {
	Curve *Curve
	Typed *ValveTiming
	uTDC  float64 // of typed events, degrees
	// ZeroDoubts say why angles from top dead centre must not be judged, Doubts why
	// nothing must.
	ZeroDoubts, Doubts []verdict.Doubt
}

func (m Measured) passage(k CardValve) (*Passage, float64, error) {
	if m.Curve != nil {
		p, err := m.Curve.Passage(k.CheckingLift, k.CheckedAt)
		if err != nil {
			return nil, 0, err
		}
		return &p, m.Curve.uZero(), nil
	}
	for _, p := range m.Typed.Passages {
		if p.CheckingLift == k.CheckingLift && p.CheckedAt == k.CheckedAt {
			return &p, m.uTDC, nil
		}
	}
	return nil, 0, fmt.Errorf("the card counts at %v at the %s, the typed events at another lift", k.CheckingLift, k.CheckedAt)
}

// CompareCard compares measured valves with their card.
//
// The shift is the weighted mean of the deviations with the weights 1/u²,
// which is the least-squares answer to "one turn of the cam, and nothing
// else"; its uncertainty is widened by the scatter of what is left over where
// that is larger than the readings explain (Birge's ratio; Physical Review 40
// (1932), from memory).
func CompareCard(intake, exhaust *Measured, o CardOptions) (CardComparison, error) {
	out := CardComparison{Deviations: []Deviation{}, Shifts: []Shift{}, Says: []worksheet.Sentence{}}
	uTDC := 0.0
	var sides []sideOf
	for _, side := range []struct {
		v Valve
		m *Measured
		k *CardValve
	}{{Intake, intake, o.Intake}, {Exhaust, exhaust, o.Exhaust}} {
		if side.m == nil || side.k == nil {
			continue
		}
		k := *side.k
		if k.CheckingLift == 0 {
			k.CheckingLift = 50 * measure.Thou
		}
		k.CheckedAt = k.CheckedAt.or(AtLobe)
		k = k.events(side.v)
		if err := out.lift(side.v, *side.m, k); err != nil {
			return out, within("card."+string(side.v), err)
		}
		sides = append(sides, sideOf{v: side.v, card: k, whole: side.m.Doubts, doubts: side.m.ZeroDoubts})
		if k.Opens == nil && k.Closes == nil {
			continue
		}
		p, u, err := side.m.passage(k)
		if err != nil {
			return out, within("card."+string(side.v), err)
		}
		uTDC = max(uTDC, u)
		one := &sides[len(sides)-1]
		one.passage = p
		if p.Span != nil && len(one.doubts) == 0 {
			one.doubts = doubtZero(side.v, p.Span.Centreline)
		}
		out.add(side.v, Opens, p.Opens, k.Opens)
		out.add(side.v, Closes, p.Closes, k.Closes)
	}
	if len(out.Deviations) == 0 && len(out.Lifts) == 0 {
		return out, worksheet.Wrongf("card", "nothing on it can be compared with what was measured (it needs an opening, a closing or a max lift of a valve that was measured)")
	}
	if o.TwoCams {
		out.shift("intake cam", uTDC, func(d Deviation) bool { return d.Valve == Intake })
		out.shift("exhaust cam", uTDC, func(d Deviation) bool { return d.Valve == Exhaust })
	} else {
		out.shift("cam", uTDC, func(Deviation) bool { return true })
	}
	out.explain()
	out.judge(sides, o)
	return out, nil
}

func (c *CardComparison) lift(v Valve, m Measured, k CardValve) error {
	if k.MaxLift == 0 || m.Curve == nil {
		return nil
	}
	want, err := m.Curve.level(k.MaxLift, k.MaxLiftAt.or(k.CheckedAt))
	if err != nil {
		return err
	}
	if k.Gross && k.MaxLiftAt == AtValve && m.Curve.options.MeasuredAt == AtValve && m.Curve.options.Lash > 0 {
		want.lift -= m.Curve.options.Lash
		want.u = math.Hypot(want.u, feelerU.Millimetres()/coverage)
	}
	n := m.Curve.Nose()
	u := millimetres(math.Hypot(n.MaxLiftU.Millimetres(), coverage*want.u))
	c.Lifts = append(c.Lifts, LiftDeviation{Valve: v, Measured: n.MaxLift, Card: want.lift, More: n.MaxLift - want.lift, U: u})
	return nil
}

func (c *CardComparison) add(v Valve, w Which, e *Event, card *measure.Angle) {
	if e == nil || card == nil {
		return
	}
	c.Deviations = append(c.Deviations, Deviation{
		Valve: v, Event: w.String(), Measured: e.Angle, Card: *card, Later: e.Angle - *card, U: e.U,
		Says: fmt.Sprintf("%s, card %s", Says(v, w, e.Angle), Says(v, w, *card)),
		u:    math.Hypot(e.uAlone, e.shared),
	})
}

// shift fits one turn to the deviations that belong to it.
func (c *CardComparison) shift(of string, uTDC float64, belongs func(Deviation) bool) {
	var d, w []float64
	var which []int
	known := true
	for i, v := range c.Deviations {
		if belongs(v) {
			d, which = append(d, v.Later.Degrees()), append(which, i)
			known = known && v.u > 0
		}
	}
	if len(d) == 0 {
		return
	}
	w = make([]float64, len(d))
	total := 0.0
	for i, k := range which {
		w[i] = 1
		if known {
			w[i] = 1 / sq(c.Deviations[k].u)
		}
		total += w[i]
	}
	mean := stat.Mean(d, w)
	chi := 0.0
	for i := range d {
		chi += w[i] * sq(d[i]-mean)
	}
	freedom := float64(len(d) - 1)
	chance := component{}
	if known {
		chance = component{u: 1 / math.Sqrt(total)}
	}
	if freedom > 0 {
		switch ratio := math.Sqrt(chi / freedom); {
		case !known:
			chance = component{u: ratio / math.Sqrt(total), freedom: freedom}
		case ratio > 1:
			chance.u *= ratio
		}
	}
	u, k := expand(chance, component{u: uTDC})
	s := Shift{Of: of, Advance: degrees(-mean), AdvanceU: degrees(u), K: math.Round(k*100) / 100, Events: len(d)}
	s.Says = s.words()
	c.Shifts = append(c.Shifts, s)
	for i, k := range which {
		v := &c.Deviations[k]
		v.LeftOver, v.LeftOverU = degrees(d[i]-mean), degrees(coverage*v.u)
		v.Stands = math.Abs(d[i]-mean) > max(coverage*v.u, 0.05)
	}
}

func (s Shift) words() string {
	a, u := s.Advance.Degrees(), s.AdvanceU.Degrees()
	word := "advanced"
	if a < 0 {
		word = "retarded"
	}
	if math.Abs(a) <= max(u, 0.05) {
		return fmt.Sprintf("the %s stands where its card says, to within %s crank degrees (found: %s ± %s %s)", s.Of, plain(max(math.Abs(a)+u, 0.1)), plain(math.Abs(a)), plain(u), word)
	}
	return fmt.Sprintf("the %s is %s by %s ± %s crank degrees (%s cam degrees)", s.Of, word, plain(math.Abs(a)), plain(u), plain(math.Abs(a)/2))
}

// explain puts into words what the shift leaves over.
func (c *CardComparison) explain() {
	for _, s := range c.Shifts {
		c.Says = append(c.Says, worksheet.Sayf("%s", s.Says))
	}
	for _, v := range []Valve{Intake, Exhaust} {
		var opens, closes *Deviation
		for i := range c.Deviations {
			if d := &c.Deviations[i]; d.Valve == v {
				if d.Event == Opens.String() {
					opens = d
				} else {
					closes = d
				}
			}
		}
		if opens != nil && closes != nil {
			longer := (closes.Later - opens.Later).Degrees()
			if u := coverage * math.Hypot(opens.u, closes.u); math.Abs(longer) > max(u, 0.5) {
				word := "longer"
				if longer < 0 {
					word = "shorter"
				}
				c.Says = append(c.Says, worksheet.Sayf("the %s valve is open %s ± %s degrees %s than the card says: no turn of the cam explains that; look at lash, rocker ratio and the lift at which the card counts", v, plain(math.Abs(longer)), plain(u), word))
				continue
			}
		}
		for _, d := range []*Deviation{opens, closes} {
			if d != nil && d.Stands && len(c.Deviations) > 1 {
				word := "later"
				if d.LeftOver < 0 {
					word = "earlier"
				}
				c.Says = append(c.Says, worksheet.Sayf("the %s valve %s %s degrees %s than the card and that shift together", v, d.Event, plain(math.Abs(d.LeftOver.Degrees())), word))
			}
		}
	}
	for _, l := range c.Lifts {
		if l.More.Abs() > l.U {
			word := "more"
			if l.More < 0 {
				word = "less"
			}
			c.Says = append(c.Says, worksheet.Sayf("the %s lifts %v ± %v %s than the card", l.Valve, l.More.Abs(), l.U, word))
		}
	}
}
