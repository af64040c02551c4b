package simulator

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// anyScenario draws a scenario without faults of the instruments.
func anyScenario() *rapid.Generator[Scenario] {
	return rapid.Custom(func(t *rapid.T) Scenario {
		degrees := func(name string, lo, hi int) measure.Angle {
			return measure.Angle(rapid.IntRange(lo*1000, hi*1000).Draw(t, name)) * measure.Degree / 1000
		}
		s := Scenario{
			Seed:     rapid.Uint64().Draw(t, "seed"),
			Openings: rapid.IntRange(1, 3).Draw(t, "openings"),
			Valve: Valve{
				Lobe: Lobe{
					Rise: anyLaw().Draw(t, "rise"), Fall: anyLaw().Draw(t, "fall"),
					Lift:      measure.Length(rapid.IntRange(5000, 10_000).Draw(t, "lobe lift")) * measure.Micrometre,
					RiseAngle: degrees("rise angle", 50, 75), FallAngle: degrees("fall angle", 50, 75),
				},
				NoseAt: degrees("nose at", 1, 719),
			},
			Hand: Hand{
				Style: rapid.SampledFrom(Styles()).Draw(t, "style"),
				Speed: degrees("speed", 10, 90),
			},
			Indicator: Indicator{
				Rate:       float64(rapid.IntRange(5, 300).Draw(t, "rate")),
				Jitter:     rapid.Float64Range(0, 0.4).Draw(t, "jitter"),
				SpindleIn:  rapid.Bool().Draw(t, "spindle in"),
				Preload:    measure.Length(rapid.IntRange(-5000, 5000).Draw(t, "preload")) * measure.Micrometre,
				Resolution: rapid.SampledFrom([]measure.Length{1270, 2540, 12_700, 1000, 10_000}).Draw(t, "resolution"),
				Noise:      measure.Length(rapid.IntRange(0, 5000).Draw(t, "noise")),
				Format:     rapid.SampledFrom(Formats()).Draw(t, "format"),
			},
		}
		if rapid.Bool().Draw(t, "ramps") {
			s.Valve.Lobe.OpeningRamp = Ramp{Height: 200 * measure.Micrometre}
			s.Valve.Lobe.ClosingRamp = Ramp{Height: 300 * measure.Micrometre, Angle: 20 * measure.Degree}
		}
		if rapid.Bool().Draw(t, "dwell") {
			s.Valve.Lobe.Dwell = degrees("dwell angle", 1, 10)
		}
		if rapid.Bool().Draw(t, "lash") {
			s.Valve.Lash = measure.Length(rapid.IntRange(1, 400).Draw(t, "lash size")) * measure.Micrometre
		}
		if rapid.Bool().Draw(t, "lever") {
			s.Valve.Rocker = Rocker{
				ValveArm: measure.Length(rapid.IntRange(33, 45).Draw(t, "arm")) * measure.Millimetre,
				Ratio:    rapid.Float64Range(1.2, 1.8).Draw(t, "ratio"),
				Bend:     degrees("bend", 0, 15), Lean: degrees("lean", -8, 8),
			}
		}
		if rapid.Bool().Draw(t, "tremor") {
			s.Hand.Tremor = degrees("shaking", 0, 1)
		}
		if rapid.Bool().Draw(t, "odd ends") {
			s.Hand.StartFromNose, s.Hand.EndFromNose = degrees("start", -300, 300), degrees("end", -150, 300)
		}
		if rapid.Bool().Draw(t, "stops") {
			s.Hand.Stops, s.Hand.BackTurns = 2, 2
			s.Hand.Rests = []Rest{{Where: rapid.SampledFrom([]Place{OnHeel, AtOpeningHalf, AtNose, AtClosingHalf}).Draw(t, "rest"), For: 2 * measure.Second}}
		}
		if s.Indicator.Resolution%1270 != 0 {
			s.Indicator.Unit = measure.InMillimetres
		}
		if rapid.Bool().Draw(t, "encoder") {
			s.Encoder = &Encoder{
				Counts: rapid.SampledFrom([]int{360, 1440, 2400, 4096}).Draw(t, "counts"),
				OnCam:  rapid.Bool().Draw(t, "on cam"), Reversed: rapid.Bool().Draw(t, "reversed"),
				Start: degrees("encoder start", -720, 720),
			}
			if rapid.Bool().Draw(t, "combined") {
				s.Indicator.Format = rapid.SampledFrom(CombinedFormats()).Draw(t, "combined format")
			}
		}
		return s
	})
}

// gridded is what a look at the lift every millisecond finds.
type gridded struct {
	open, close       float64 // first and last moment with lift
	max               float64
	top, topUntil     float64 // first and last moment within a hair of max
	openHalf, shut    float64
	cutStart, cutEnd  bool
	reached           bool
	crankUp, crankDwn float64
}

// byGrid finds the openings by brute force: from the lift over time alone.
func byGrid(s *Session, step float64) []gridded {
	tr := &s.Truth
	end := tr.path.end()
	var ts, ls []float64
	for k := 0; float64(k)*step < end; k++ {
		t := float64(k) * step
		ts, ls = append(ts, t), append(ls, tr.liftAt(t))
	}
	var out []gridded
	for i := 0; i < len(ts); {
		if ls[i] <= 0 {
			i++
			continue
		}
		j := i
		for j < len(ts) && ls[j] > 0 {
			j++
		}
		g := gridded{open: ts[i], close: ts[j-1], cutStart: i == 0, cutEnd: j == len(ts), max: slices.Max(ls[i:j])}
		// At 1 ms the nose is missed by far less than this.
		g.reached = g.max > tr.train.max-1e-3
		near := func(l float64) bool { return l >= g.max-1e-9 }
		first, last := i, i
		for k := i; k < j; k++ {
			if near(ls[k]) {
				if !near(ls[first]) {
					first = k
				}
				last = k
			}
		}
		g.top, g.topUntil = ts[first], ts[last]
		half := tr.train.max / 2
		for k := first; k > i; k-- {
			if ls[k] >= half && ls[k-1] < half {
				g.openHalf, g.crankUp = ts[k], tr.path.at(ts[k])
				break
			}
		}
		for k := last; k+1 < j; k++ {
			if ls[k] >= half && ls[k+1] < half {
				g.shut, g.crankDwn = ts[k], tr.path.at(ts[k])
				break
			}
		}
		out = append(out, g)
		i = j
	}
	return out
}

func TestTruthAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		// A hand that stands or trembles on half lift itself passes it when the
		// last bit says so; that is what the rests on it are for, elsewhere.
		sc.Hand.Rests, sc.Hand.Tremor = nil, 0
		sc.Openings, sc.Indicator.Rate = min(sc.Openings, 2), 5
		s, err := sc.Play()
		require.NoError(t, err)
		const step = 0.001
		grid := byGrid(s, step)
		found := slices.Concat(s.Truth.Openings, s.Truth.Touches)
		together := func(g gridded, o TrueOpening) bool {
			return g.open < o.Close.Seconds()+2*step && g.close > o.Open.Seconds()-2*step
		}
		for _, o := range found {
			// What lasts but a few steps, or has less lift than the mathematics
			// resolve, the grid may miss.
			if o.Close-o.Open > 15_000 && o.MaxLift > 20 {
				require.True(t, slices.ContainsFunc(grid, func(g gridded) bool { return together(g, o) }), "%v to %v", o.Open, o.Close)
			}
		}
		for _, g := range grid {
			if g.close-g.open < 0.010 || g.max < 10e-6 {
				continue
			}
			with := slices.DeleteFunc(slices.Clone(found), func(o TrueOpening) bool { return !together(g, o) })
			require.Len(t, with, 1, "%v to %v s", g.open, g.close)
			o := with[0]
			require.Equal(t, !g.cutStart && !g.cutEnd && g.reached, o.Whole, "%v to %v", o.Open, o.Close)
			require.InDelta(t, g.max, o.MaxLift.Millimetres(), 1e-3)
			require.GreaterOrEqual(t, o.MaxLift.Millimetres(), g.max-1e-6)
			// The first micrometres of a flat law are below float64: the grid
			// then sees the lift begin later.
			require.LessOrEqual(t, o.Open.Seconds(), g.open+2*step)
			require.GreaterOrEqual(t, o.Close.Seconds(), g.close-2*step)
			if !o.Whole {
				continue
			}
			require.InDelta(t, g.openHalf, o.OpeningHalfAt.Seconds(), 2*step)
			require.InDelta(t, g.shut, o.ClosingHalfAt.Seconds(), 2*step)
			turned := step * s.Truth.Fastest.Degrees() * 2
			require.InDelta(t, s.Truth.counter.perfect(g.crankUp), o.OpeningHalfAngle.Degrees(), turned)
			require.InDelta(t, s.Truth.counter.perfect(g.crankDwn), o.ClosingHalfAngle.Degrees(), turned)
			require.LessOrEqual(t, o.Nose, o.NoseUntil)
		}
	})
}

// Each truth is a root of the formulas, to their last digits.
func TestTruthIsSolved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		sc.Indicator.Rate = 5
		s, err := sc.Play()
		require.NoError(t, err)
		tr := s.Truth.train
		require.InDelta(t, tr.max/2, tr.liftFromNose(tr.halfOpening), 1e-9)
		require.InDelta(t, tr.max/2, tr.liftFromNose(tr.halfClosing), 1e-9)
		require.InDelta(t, tr.max, tr.liftFromNose(tr.noseFrom), 1e-9)
		require.InDelta(t, tr.max, tr.liftFromNose(tr.noseTo), 1e-9)
		require.InDelta(t, 0, tr.liftFromNose(tr.open), 1e-9)
		require.InDelta(t, 0, tr.liftFromNose(tr.close), 1e-9)
		// What a microsecond's rounding of the stamp allows.
		slack := 1e-6 * s.Truth.Fastest.Degrees() * 1.5
		for _, o := range s.Truth.Whole() {
			require.InDelta(t, o.OpeningHalfAngle.Degrees(), s.Truth.CrankAt(o.OpeningHalfAt).Degrees(), slack+2e-6)
			require.InDelta(t, o.ClosingHalfAngle.Degrees(), s.Truth.CrankAt(o.ClosingHalfAt).Degrees(), slack+2e-6)
			require.LessOrEqual(t, o.HighestSampled, o.MaxLift)
			require.Less(t, o.Open, o.OpeningHalfAt)
			require.Less(t, o.ClosingHalfAt, o.Close)
		}
	})
}

func TestEveryWholeOpeningAskedForIsThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		sc.Hand.EndFromNose, sc.Indicator.Rate = 0, 5
		s, err := sc.Play()
		require.NoError(t, err)
		whole := s.Truth.Whole()
		require.Len(t, whole, sc.Openings)
		for i := range whole[1:] {
			require.InDelta(t, 720, math.Abs((whole[i+1].NoseAngle - whole[i].NoseAngle).Degrees()), 2e-6)
		}
		var others int
		for _, o := range s.Truth.Openings {
			if !o.Whole {
				others++
			}
		}
		require.LessOrEqual(t, others, 1, "at most the one it began in")
	})
}

func TestReadingsAgreeWithTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		sc.Openings = min(sc.Openings, 2)
		s, err := sc.Play()
		require.NoError(t, err)
		bound := float64(sc.Indicator.Resolution)/2 + 6*float64(sc.Indicator.Noise) + 1
		before := measure.Stamp(-1)
		for _, r := range s.Trace.Readings { // plain ifs: there are many
			switch shown, lift := s.Truth.ShownAt(r.At), s.Truth.LiftAt(r.At); {
			case r.At <= before:
				t.Fatalf("a reading at %v after one at %v", r.At, before)
			case math.Abs(float64(shown-r.Lift)) > bound:
				t.Fatalf("at %v it reads %v where %v is the truth", r.At, r.Lift, shown)
			case r.Lift%sc.Indicator.Resolution != 0:
				t.Fatalf("%v is no whole number of counts", r.Lift)
			case sc.Encoder != nil && (s.Truth.CrankAt(r.At)-r.Angle > s.Trace.AngleStep+2 || r.Angle-s.Truth.CrankAt(r.At) > s.Trace.AngleStep+2):
				t.Fatalf("at %v it counts %v where %v is the truth", r.At, r.Angle, s.Truth.CrankAt(r.At))
			case lift < 0 || lift > s.Truth.MaxLift:
				t.Fatalf("at %v the lift is %v of %v", r.At, lift, s.Truth.MaxLift)
			}
			before = r.At
		}
	})
}

func TestRestingForAMinuteAtHalfLift(t *testing.T) {
	s, err := Scenario{Openings: 1, Encoder: &Encoder{}, Hand: Hand{Rests: []Rest{{Where: AtOpeningHalf, For: 60 * measure.Second}, {Where: AtNose, For: 30 * measure.Second}}}}.Play()
	require.NoError(t, err)
	o := s.Truth.Openings[0]
	for _, after := range []measure.Stamp{0, 1, 30, 59} {
		assert.InDelta(t, 5_689_600, float64(s.Truth.LiftAt(o.OpeningHalfAt+after*measure.Second)), 20, "half of 0.448 in")
	}
	assert.Greater(t, s.Truth.LiftAt(o.OpeningHalfAt+62*measure.Second), s.Truth.HalfLift)
	assert.InDelta(t, 30, (o.NoseUntil - o.Nose).Seconds(), 1e-5)
	assert.Greater(t, o.Nose-o.OpeningHalfAt, 60*measure.Second)
}

func TestStartingAndStoppingOnAFlank(t *testing.T) {
	s, err := Scenario{Openings: 2, Hand: Hand{StartFromNose: 50 * measure.Degree, EndFromNose: 40 * measure.Degree}}.Play()
	require.NoError(t, err)
	require.Len(t, s.Truth.Openings, 3)
	first, last := s.Truth.Openings[0], s.Truth.Openings[2]
	assert.False(t, first.Whole)
	assert.Zero(t, first.Open)
	assert.Less(t, first.MaxLift, s.Truth.MaxLift, "it never was at the nose")
	assert.Zero(t, first.OpeningHalfAt)
	assert.Less(t, first.ClosingHalfAt, first.Close)
	assert.True(t, s.Truth.Openings[1].Whole)
	assert.False(t, last.Whole, "of the two it was to turn through it stops in the second")
	assert.Equal(t, s.Truth.MaxLift, last.MaxLift)
	assert.Equal(t, s.Truth.End, last.Close)

	onNose, err := Scenario{Openings: 1, Hand: Hand{StartFromNose: 720 * measure.Degree}}.Play()
	require.NoError(t, err)
	assert.Equal(t, onNose.Truth.MaxLift, onNose.Truth.LiftAt(0))
	assert.False(t, onNose.Truth.Openings[0].Whole)
}

// The definition with a back-turn over half lift: the last way up counts, and
// the first way down.
func TestHalfLiftWithBackTurns(t *testing.T) {
	tr, err := Valve{}.train()
	require.NoError(t, err)
	up, down := tr.noseAt+tr.halfOpening, tr.noseAt+tr.halfClosing
	p := newPath([]knot{
		{0, tr.noseAt - 200}, {2, up + 5}, {3, up - 10}, {5, tr.noseAt + 8}, {6, tr.noseAt - 8},
		{8, down + 5}, {9, down - 5}, {11, tr.noseAt + 140}, {12, tr.noseAt + 120}, {14, tr.noseAt + 200},
	})
	truth := Truth{train: tr, path: p, counter: &counter{sign: 1, per: 1}, show: Indicator{}.newDisplay(func(float64) float64 { return 0 })}
	truth.find()
	require.Len(t, truth.Openings, 1)
	o := truth.Openings[0]
	require.True(t, o.Whole)
	assert.Greater(t, o.OpeningHalfAt, 3*measure.Second, "after the back-turn")
	assert.Less(t, o.OpeningHalfAt, o.Nose)
	assert.Less(t, o.Nose, 5*measure.Second)
	assert.Greater(t, o.NoseUntil, 6*measure.Second, "the nose is passed three times")
	assert.Less(t, o.ClosingHalfAt, 8*measure.Second, "before the back-turn")
	require.Len(t, truth.Touches, 1, "and the back-turn from the heel touches the flank")
	assert.False(t, truth.Touches[0].Whole)
	assert.Less(t, truth.Touches[0].MaxLift, truth.Openings[0].MaxLift/10)
}
