package lift_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// setup is what is right or wrong with the indicator's set-up.
type setup string

const (
	asItShould   setup = "true"
	leaning      setup = "5 deg out of line"
	slippingBase setup = "slipping base"
	spindleEnd   setup = "spindle at its end"
	hangingFree  setup = "hanging free"
	cableKicked  setup = "cable kicked"
	zeroPressed  setup = "zero pressed"
	unitSwitched setup = "unit switched"
)

// wants is the fault that a set-up must raise.
var wants = map[setup]lift.FaultKind{
	slippingBase: lift.ZeroShift, spindleEnd: lift.TravelEnd, hangingFree: lift.NoContact,
	cableKicked: lift.Gap, zeroPressed: lift.ReZero, unitSwitched: lift.UnitChange,
}

// kind is one cell of the matrix: what a session is like, but for chance.
type kind struct {
	rate    float64
	step    measure.Length
	hand    simulator.Style
	setup   setup
	encoder bool
}

func unitOf(step measure.Length) measure.Unit {
	if step%1270 == 0 {
		return measure.InInches
	}
	return measure.InMillimetres
}

// laws are those that lobes are drawn from.
var laws = []simulator.Law{simulator.Polynomial345, simulator.Polynomial4567, simulator.Cycloidal, simulator.SimpleHarmonic,
	simulator.ModifiedSine, simulator.Even2101826(), simulator.Even2101214()}

func drawing(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 77)) }

// draw makes a session of a kind: the rest is up to chance, and the same for
// the same seed.
func (k kind) draw(seed uint64) simulator.Scenario {
	r := drawing(seed)
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	thou := func(lo, hi float64) measure.Length {
		return measure.Length(math.Round(between(lo, hi) * float64(measure.Thou)))
	}
	deg := func(lo, hi float64) measure.Angle { return measure.FromDegrees(between(lo, hi)) }
	lobe := simulator.Lobe{
		Rise: laws[r.IntN(len(laws))], Lift: thou(200, 340),
		RiseAngle: deg(55, 75), FallAngle: deg(55, 80),
	}
	lobe.Fall = lobe.Rise
	if r.IntN(2) == 0 {
		lobe.OpeningRamp = simulator.Ramp{Height: thou(4, 12)}
		lobe.ClosingRamp = simulator.Ramp{Height: thou(4, 12)}
	}
	s := simulator.Scenario{
		Seed: seed,
		Valve: simulator.Valve{
			Lobe: lobe,
			Rocker: simulator.Rocker{Ratio: between(1.4, 1.8), ValveArm: thou(1350, 1650), Bend: deg(0, 12),
				Lean: deg(0, 5)},
		},
		Hand: simulator.Hand{Style: k.hand, Speed: deg(25, 70)},
		Indicator: simulator.Indicator{
			Rate: k.rate, Unit: unitOf(k.step), Resolution: k.step, SpindleIn: r.IntN(3) == 0,
			Jitter: []float64{0, 0.05, 0.2}[r.IntN(3)],
			Noise:  measure.Length(math.Round(float64(k.step) * []float64{0, 0.15, 0.4, 1}[r.IntN(4)])),
		},
		Openings: 2 + r.IntN(3),
		NoWire:   true,
	}
	s.Indicator.Preload = thou(-300, 700) / k.step * k.step
	if r.IntN(3) == 0 {
		s.Valve.Lash = thou(2, 8)
	}
	if r.IntN(3) == 0 {
		s.Hand.Tremor = deg(0, 0.4)
	}
	if r.IntN(2) == 0 {
		s.Hand.Stops = between(0, 3)
	}
	// Somebody looks at the rocker.
	for range r.IntN(3) {
		rest := simulator.Rest{
			Opening: r.IntN(s.Openings + 1), Where: simulator.Place(1 + r.IntN(4)),
			For: measure.Stamp(between(2, 15) * float64(measure.Second)),
		}
		s.Hand.Rests = append(s.Hand.Rests, rest)
	}
	// Ends on the lobe lie high enough on a flank to be told from the heel.
	onLobe := func() measure.Angle {
		for {
			at := deg(-120, 120)
			if l, err := s.Valve.LiftAt(at); err != nil || l > 300*measure.Micrometre {
				return at
			}
		}
	}
	switch r.IntN(8) {
	case 0: // anywhere on the lobe
		s.Hand.StartFromNose = onLobe() + 720*measure.Degree
	case 1: // on the nose
		s.Hand.StartFromNose = 720 * measure.Degree
	case 2:
		s.Hand.EndFromNose = onLobe() - 720*measure.Degree
	}
	if s.Hand.StartFromNose != 0 && !k.encoder {
		// Who begins on the lobe and rests on every nose for longer than the heel
		// lasts cannot be told from one who rests on the heel: without an encoder
		// the direction must then be given.
		s.Hand.Rests = slices.DeleteFunc(s.Hand.Rests, func(r simulator.Rest) bool { return r.Where == simulator.AtNose })
	}
	if k.setup == hangingFree {
		s.Hand.StartFromNose, s.Hand.EndFromNose = 0, 0 // a free spindle shows a heel anywhere low
	}
	if k.encoder {
		s.Encoder = &simulator.Encoder{Reversed: r.IntN(4) == 0, Start: deg(-400, 400)}
	}
	return s
}

// spoil puts the set-up's fault into a session that was played once without,
// so that it falls where it matters.
func (k kind) spoil(s *simulator.Scenario, truth *simulator.Truth, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 78))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	n := &s.Indicator
	whole := truth.Whole()
	within := func(o simulator.TrueOpening) measure.Stamp {
		return o.Open + measure.Stamp(between(0.1, 0.9)*float64(o.Close-o.Open))
	}
	max := float64(truth.MaxLift)
	switch k.setup {
	case leaning:
		n.Lean = 5 * measure.Degree
	case slippingBase:
		by := measure.Length(between(0.06, 0.6) * 1e6)
		if r.IntN(2) == 0 {
			by = -by
		}
		n.Slips = []simulator.Slip{{At: within(whole[r.IntN(len(whole))]), By: by}}
	case spindleEnd:
		n.TravelLeft = measure.Length(max * between(0.75, 0.97))
	case hangingFree:
		n.NoContact = measure.Length(max * between(0.06, 0.3))
	case cableKicked:
		n.Lost = []simulator.Loss{{At: within(whole[r.IntN(len(whole))]), For: measure.Stamp(between(1, 5) * 1e6)}}
	case zeroPressed:
		n.ReZeros = []measure.Stamp{within(whole[r.IntN(len(whole))])}
	case unitSwitched:
		n.Switches = []measure.Stamp{within(whole[r.IntN(len(whole))])}
		if r.IntN(2) == 0 {
			n.Format = simulator.Format{Name: "bare", Layout: "{lift}"}
		}
	}
}

// outcome is what one session came to.
type outcome struct {
	seed                    uint64
	skipped                 bool // there was nothing to spoil
	whole, missed, invented int
	errors                  []float64 // of max lift, in counts
	past                    int       // openings off by more than 1.5 counts and the shortfall
	sampled                 []float64 // shortfall of the highest reading, in counts
	angles                  []float64 // of half lift, degrees
	covered                 int
	meanCovered, meanAsked  int
	u                       []float64 // stated uncertainty, counts
	found, false            bool
	falseKind               lift.FaultKind
	says                    string
}

// play plays a session and compares the findings with the truth.
func (k kind) play(seed uint64, analyse func(measure.Trace) lift.Findings) outcome {
	s := k.draw(seed)
	out := outcome{seed: seed}
	if k.setup != asItShould {
		truth, err := s.Foresee()
		if err != nil {
			panic(fmt.Sprintf("%+v: %v", s, err))
		}
		if len(truth.Whole()) == 0 {
			out.skipped = true
			return out
		}
		k.spoil(&s, truth, seed)
	}
	ses, err := s.Play()
	if err != nil {
		panic(fmt.Sprintf("%+v: %v", s, err))
	}
	return k.compare(out, ses, analyse(ses.Trace))
}

func (k kind) compare(out outcome, ses *simulator.Session, f lift.Findings) outcome {
	whole := ses.Truth.Whole()
	out.whole = len(whole)
	used := make([]bool, len(f.Openings))
	sure := k.setup != zeroPressed && k.setup != unitSwitched && k.setup != cableKicked
	for _, w := range whole {
		hit := -1
		for i, o := range f.Openings {
			if !used[i] && o.Nose >= w.Open && o.Nose <= w.Close {
				hit = i
				break
			}
		}
		if hit < 0 {
			out.missed++
			continue
		}
		used[hit] = true
		if !sure {
			continue
		}
		o := f.Openings[hit]
		e := float64(o.MaxLift-w.ShownLift) / float64(k.step)
		short := float64(w.MaxLift-w.HighestSampled) / float64(k.step)
		out.errors = append(out.errors, e)
		out.sampled = append(out.sampled, short)
		out.u = append(out.u, float64(o.MaxLiftU)/float64(k.step))
		if math.Abs(e) > 1.5+max(short, 0) && k.setup != slippingBase {
			out.past++
		}
		if math.Abs(float64(o.MaxLift-w.ShownLift)) <= float64(o.MaxLiftU) {
			out.covered++
		}
		if k.encoder && o.OpeningHalf.Angle != nil && o.ClosingHalf.Angle != nil && (k.setup == asItShould || k.setup == leaning) {
			out.angles = append(out.angles, math.Abs((*o.OpeningHalf.Angle - w.OpeningHalfAngle).Degrees()), math.Abs((*o.ClosingHalf.Angle - w.ClosingHalfAngle).Degrees()))
		}
	}
	for i, u := range used {
		if !u {
			out.invented++
			out.says += fmt.Sprintf(" invented at %v lift %v;", f.Openings[i].Nose, f.Openings[i].MaxLift)
		}
	}
	if sure && len(whole) > 0 && k.setup != slippingBase && out.missed == 0 && out.invented == 0 {
		out.meanAsked = 1
		if math.Abs(float64(f.MaxLift-whole[0].ShownLift)) <= float64(f.MaxLiftU) {
			out.meanCovered = 1
		}
	}
	for _, fault := range f.Faults {
		if fault.Kind == wants[k.setup] {
			out.found = true
			continue
		}
		switch fault.Kind {
		case lift.BackTurn, lift.TooFast:
			continue // judged apart, against the hand
		case lift.PartTurn:
			if n := len(ses.Truth.Openings); len(whole) == 0 || !ses.Truth.Openings[0].Whole || !ses.Truth.Openings[n-1].Whole {
				continue // it begins or ends on the lobe
			}
		}
		out.false, out.falseKind = true, fault.Kind
		out.says += " " + string(fault.Kind) + ": " + fault.Says.String()
	}
	return out
}

// tally adds up outcomes.
type tally struct {
	runs, whole, missed, invented, past, covered, meanCovered, meanAsked, found, false int
	errors, sampled, angles, u                                                         []float64
	worst                                                                              []outcome
	kinds                                                                              map[lift.FaultKind]int
}

func (t *tally) add(o outcome) {
	if o.skipped {
		return
	}
	t.runs++
	t.whole += o.whole
	t.missed += o.missed
	t.invented += o.invented
	t.past += o.past
	t.covered += o.covered
	t.meanAsked += o.meanAsked
	t.meanCovered += o.meanCovered
	if o.found {
		t.found++
	}
	if o.false {
		t.false++
		if t.kinds == nil {
			t.kinds = map[lift.FaultKind]int{}
		}
		t.kinds[o.falseKind]++
	}
	for _, e := range o.errors {
		t.errors = append(t.errors, math.Abs(e))
	}
	t.sampled = append(t.sampled, o.sampled...)
	t.angles = append(t.angles, o.angles...)
	t.u = append(t.u, o.u...)
	if o.missed+o.invented+o.past > 0 || o.false {
		t.worst = append(t.worst, o)
	}
}

func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return s[min(int(q*float64(len(s))), len(s)-1)]
}

func (t *tally) coverage() float64 { return 100 * float64(t.covered) / float64(len(t.errors)) }

// tallyHead heads a table of tallies: openings missed and invented; the error
// of max lift, and what the plain highest reading is short of the nose by, in
// counts; the error of a half-lift angle in degrees; the median stated
// uncertainty in counts; how often it covers the truth, of the openings and of
// the traces' means; set-ups whose fault was found, and with a fault that they
// did not have, in percent.
var tallyHead = fmt.Sprintf("%6s %7s %6s %8s | %6s %7s | %7s %8s | %8s %7s | %6s %6s %6s | %6s %6s",
	"runs", "opened", "missed", "invented", "error", "p95", "highest", "p95", "angle", "p95", "u", "covers", "mean", "found", "falsely")

func (t *tally) String() string {
	num := func(x float64, digits int) string {
		if math.IsNaN(x) {
			return "-"
		}
		return fmt.Sprintf("%.*f", digits, x)
	}
	pc := func(n, of int) string {
		if of == 0 {
			return "-"
		}
		return fmt.Sprintf("%.1f", 100*float64(n)/float64(of))
	}
	var kinds strings.Builder
	for _, k := range slices.Sorted(maps.Keys(t.kinds)) {
		fmt.Fprintf(&kinds, " %s:%d", k, t.kinds[k])
	}
	return fmt.Sprintf("%6d %7d %6d %8d | %6s %7s | %7s %8s | %8s %7s | %6s %6s %6s | %6s %6s%s",
		t.runs, t.whole, t.missed, t.invented, num(quantile(t.errors, 0.5), 2), num(quantile(t.errors, 0.95), 2),
		num(quantile(t.sampled, 0.5), 2), num(quantile(t.sampled, 0.95), 2), num(quantile(t.angles, 0.5), 3), num(quantile(t.angles, 0.95), 3),
		num(quantile(t.u, 0.5), 2), pc(t.covered, len(t.errors)), pc(t.meanCovered, t.meanAsked), pc(t.found, t.runs), pc(t.false, t.runs), kinds.String())
}

// population plays many sessions on all cores and hands each outcome to each.
func population(n int, draw func(i int) (kind, uint64), analyse func(measure.Trace) lift.Findings, each func(k kind, o outcome)) {
	var mu sync.Mutex
	onAllCores(n, func(i int) {
		k, seed := draw(i)
		o := k.play(seed, analyse)
		mu.Lock()
		defer mu.Unlock()
		each(k, o)
	})
}

// onAllCores does something n times, on all cores.
func onAllCores(n int, do func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}

func analysed(t measure.Trace) lift.Findings {
	f, err := lift.Analyse(t, lift.Options{})
	if err != nil {
		panic(err)
	}
	return f
}
