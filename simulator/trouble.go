package simulator

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// Trouble names something that goes wrong at a bench, so that anyone can see what it
// looks like. All sizes behind the names are invented; each session draws its
// moments again, a bench its sizes once.
type Trouble string

// The troubles: of digits on their way, of the gauge, of what it stands on and
// against, of the lifter and the lobe, of the encoder and of the ports.
const (
	Misread       Trouble = "misread"
	MisreadBurst  Trouble = "misread-burst"
	DigitDropped  Trouble = "digit-dropped"
	MinusDropped  Trouble = "minus-dropped"
	NoLift        Trouble = "no-lift"
	Frozen        Trouble = "frozen"
	SlowGauge     Trouble = "slow-gauge"
	Sticking      Trouble = "sticking"
	CutNose       Trouble = "cut-nose"
	HangsFree     Trouble = "hangs-free"
	BaseSlips     Trouble = "base-slips"
	TipOff        Trouble = "tip-off"
	ReZeroed      Trouble = "re-zeroed"
	UnitSwitched  Trouble = "unit-switched"
	Knock         Trouble = "knock"
	Vibration     Trouble = "vibration"
	WarmDrift     Trouble = "warm-drift"
	Bleeding      Trouble = "bleeding"
	HeelRunsOut   Trouble = "heel-runs-out"
	EncoderSlips  Trouble = "encoder-slips"
	EncoderLoses  Trouble = "encoder-loses"
	EncoderCounts Trouble = "encoder-counts"
	SlackDrive    Trouble = "slack-drive"
	LatePort      Trouble = "late-port"
	PortHiccups   Trouble = "port-hiccups"
	LinesTwice    Trouble = "lines-twice"
	CableOut      Trouble = "cable-out"
	Backward      Trouble = "backward"
	SpindleLifted Trouble = "spindle-lifted"
)

var troubleSays = []struct {
	trouble Trouble
	says    string
}{
	{Misread, "two readings in a thousand have one digit wrong"},
	{MisreadBurst, "three times two to five readings are wrong together, by 0.1 to 8 mm"},
	{DigitDropped, "three readings in a thousand have lost a digit"},
	{MinusDropped, "three readings in a hundred have lost their minus"},
	{NoLift, "a few values that no indicator shows on a valve, 60 to 1000 mm"},
	{Frozen, "the indicator repeats itself for 0.15 to 0.8 s, then jumps"},
	{SlowGauge, "the indicator averages over 30 to 120 ms"},
	{Sticking, "the spindle sticks by two to five counts"},
	{CutNose, "the spindle comes to its end 0.3 to 1.2 mm under the nose"},
	{HangsFree, "the spindle hangs free by 0.6 to 1.4 mm on the heel"},
	{BaseSlips, "the base slips by 0.08 to 0.4 mm between two openings"},
	{TipOff, "the tip slides off the valve once, by 1 to 4 mm, and stands on something else until it is set back at the end"},
	{ReZeroed, "zero is pressed once while the valve is open"},
	{UnitSwitched, "the unit is switched once while the valve is open"},
	{Knock, "the stand is bumped by 0.1 to 1 mm and comes back"},
	{Vibration, "the stand shakes 10 to 40 times a second for a moment"},
	{WarmDrift, "a warm indicator cools: the heel wanders by 0.01 to 0.03 mm"},
	{Bleeding, "the lifter sinks by 0.02 to 0.1 mm a second while the valve is open"},
	{HeelRunsOut, "the base circle is 0.01 to 0.02 mm out of true"},
	{EncoderSlips, "the encoder's coupling slips by 2 to 8 degrees"},
	{EncoderLoses, "the encoder loses one count in eighty"},
	{EncoderCounts, "the encoder has other counts a turn than it is said to have"},
	{SlackDrive, "the encoder's drive has 0.3 to 0.8 degrees of play"},
	{LatePort, "the angle is 20 to 60 ms behind the lift"},
	{PortHiccups, "the port holds lines back for up to a second, then hands them over together"},
	{LinesTwice, "one line in five comes twice"},
	{CableOut, "the indicator's cable is out for 1 to 3 s"},
	{Backward, "the engine is turned backward throughout"},
	{SpindleLifted, "somebody lifts the spindle by 1 to 12 mm for 0.4 to 3 s while the valve is shut"},
}

// Troubles lists all of them.
func Troubles() []Trouble {
	all := make([]Trouble, len(troubleSays))
	for i, t := range troubleSays {
		all[i] = t.trouble
	}
	return all
}

// Says returns what happens, in a sentence without a stop.
func (t Trouble) Says() string {
	for _, s := range troubleSays {
		if s.trouble == t {
			return s.says
		}
	}
	return ""
}

// NeedsEncoder tells whether it is the encoder's.
func (t Trouble) NeedsEncoder() bool {
	return slices.Contains([]Trouble{EncoderSlips, EncoderLoses, EncoderCounts, SlackDrive, LatePort}, t)
}

// ParseTrouble reads the name of a trouble. The error lists them.
func ParseTrouble(text string) (Trouble, error) {
	t := Trouble(strings.ToLower(strings.TrimSpace(text)))
	if t.Says() != "" {
		return t, nil
	}
	names := make([]string, len(troubleSays))
	for i, s := range troubleSays {
		names[i] = string(s.trouble)
	}
	return "", fmt.Errorf("%q is no trouble that the simulator makes: write one of %s", text, strings.Join(names, ", "))
}

// troubles is a scenario's troubles with the sizes that they were drawn with.
type troubles struct {
	has   map[Trouble]bool
	cut   float64 // mm under the nose
	free  float64 // mm
	slip  float64 // mm
	late  measure.Stamp
	gauge gaugeTroubles
	drive driveTroubles
	when  *rand.Rand // for the moments
}

// troubled draws the sizes of a scenario's troubles.
func (s Scenario) troubled() (*troubles, error) {
	t := &troubles{has: map[Trouble]bool{}, when: s.chance(streamTroubles)}
	for _, name := range s.Troubles {
		if name.Says() == "" {
			_, err := ParseTrouble(string(name))
			return nil, err
		}
		if name.NeedsEncoder() && s.Encoder == nil {
			return nil, fmt.Errorf("trouble %s is the encoder's: give the scenario one", name)
		}
		t.has[name] = true
	}
	seed := s.Seed
	if s.carry != nil {
		seed = s.carry.troubles
	}
	r := rand.New(rand.NewPCG(seed, streamTroubleSizes))
	between := func(least, most float64) float64 { return least + (most-least)*r.Float64() }
	either := func() float64 { return float64(1 - 2*r.IntN(2)) }
	// All are drawn, also those that are not wanted: one more changes no other.
	t.cut, t.free = between(0.3, 1.2), between(0.6, 1.4)
	t.slip = between(0.08, 0.4) * either()
	t.late = measure.Stamp(between(20, 60)) * measure.Millisecond
	t.gauge = gaugeTroubles{
		over: between(0.03, 0.12), counts: between(2, 5), jumps: r.IntN(2) == 0,
		drift: between(0.01, 0.03) * either(), cools: between(60, 200),
		bleed: between(0.02, 0.1), fill: between(0.3, 1),
		out: between(0.01, 0.02), phase: between(0, 360),
	}
	t.drive = driveTroubles{slip: between(2, 8) * either(), counts: []float64{1000. / 1024, 1024. / 1000, 0.9, 1.25}[r.IntN(4)], play: between(0.3, 0.8)}
	t.gauge.off = between(1, 4) * either()
	t.gauge.lifted, t.gauge.held = between(1, 12), between(0.4, 3)
	return t, nil
}

// onEngine returns valve and encoder as the troubles leave them: who turns backward
// meets the closing flank first.
func (t *troubles) onEngine(v Valve, e *Encoder) (Valve, *Encoder) {
	if t.has[Backward] {
		v = v.withDefaults()
		l := &v.Lobe
		l.Rise, l.Fall = l.Fall, l.Rise
		l.RiseAngle, l.FallAngle = l.FallAngle, l.RiseAngle
		l.OpeningRamp, l.ClosingRamp = l.ClosingRamp, l.OpeningRamp
		v.NoseAt = (measure.Cycle - v.NoseAt).Wrap(measure.Cycle)
	}
	if e != nil {
		changed := *e
		if t.has[Backward] {
			changed.Reversed = !changed.Reversed
		}
		if t.has[LatePort] {
			changed.Delay += t.late
		}
		e = &changed
	}
	return v, e
}

// onIndicator returns the indicator as the troubles leave it, on a valve of so much
// lift.
func (t *troubles) onIndicator(n Indicator, max float64) Indicator {
	if t.has[CutNose] {
		n.TravelLeft = fromMM(max - t.cut)
	}
	if t.has[HangsFree] {
		n.NoContact = fromMM(t.free)
	}
	if t.has[PortHiccups] {
		n.Wire.Mischief.Stalls = 0.01
	}
	if t.has[LinesTwice] {
		n.Wire.Mischief.Duplicates = 0.2
	}
	return n
}

// inTime puts in what happens once: a slip between two openings, a cable out. It
// returns what the base slipped by, in mm.
func (t *troubles) inTime(n Indicator, truth *Truth, slipped float64) (_ Indicator, by float64, changed bool) {
	whole := truth.Whole()
	if len(whole) == 0 {
		return n, 0, false
	}
	if t.has[BaseSlips] {
		i := t.when.IntN(len(whole))
		at := whole[i].Close + (truth.End-whole[i].Close)/3
		by = t.slip
		if i+1 < len(whole) {
			at = (whole[i].Close + whole[i+1].Open) / 2
		}
		if slipped != 0 {
			by = -slipped // and back, so that it does not wander off
		}
		n.Slips, changed = append(slices.Clone(n.Slips), Slip{at, fromMM(by)}), true
	}
	open := func() measure.Stamp {
		o := whole[t.when.IntN(len(whole))]
		return o.Open + measure.Stamp(t.when.Float64()*float64(o.Close-o.Open))
	}
	if t.has[ReZeroed] {
		n.ReZeros, changed = append(slices.Clone(n.ReZeros), open()), true
	}
	if t.has[UnitSwitched] {
		n.Switches, changed = append(slices.Clone(n.Switches), open()), true
	}
	if t.has[CableOut] {
		o := whole[t.when.IntN(len(whole))]
		at := o.Open + measure.Stamp(t.when.Float64()*float64(o.Close-o.Open))
		n.Lost, changed = append(slices.Clone(n.Lost), Loss{at, measure.Stamp((1 + 2*t.when.Float64()) * float64(measure.Second))}), true
	}
	return n, by, changed
}

// shut draws a moment of a session from which the valve stays shut for so many seconds,
// if there is one.
func (t *troubles) shut(seconds float64, truth *Truth) (at float64, ok bool) {
	for range 200 {
		at = t.when.Float64() * (truth.End.Seconds() - seconds)
		ok = true
		for u := at; u <= at+seconds && ok; u += 0.05 {
			ok = truth.liftAt(u) == 0
		}
		if ok {
			return at, true
		}
	}
	return 0, false
}

// moments draws so many moments of a session, most of them while the valve is open,
// every other one near the nose.
func (t *troubles) moments(n int, truth *Truth) []float64 {
	var all []float64
	for i := range n {
		at := t.when.Float64() * truth.End.Seconds()
		for tries := 0; tries < 200; tries++ {
			least := 0.05
			if i%2 == 0 {
				least = 0.85
			}
			if truth.liftAt(at) > least*truth.train.max {
				break
			}
			at = t.when.Float64() * truth.End.Seconds()
		}
		all = append(all, at)
	}
	slices.Sort(all)
	return all
}
