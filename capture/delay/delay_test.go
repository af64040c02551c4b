package delay

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/join"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

const ms = measure.Millisecond

// rocking is somebody who turns forth and back over a valve's flanks.
func rocking(seed uint64, speed float64, indicator, encoder measure.Stamp) simulator.Scenario {
	return simulator.Scenario{Seed: seed, Openings: 1,
		Hand:      simulator.Hand{Speed: measure.FromDegrees(speed), BackTurns: 12, BackTurn: 30 * measure.Degree},
		Indicator: simulator.Indicator{Delay: indicator}, Encoder: &simulator.Encoder{Delay: encoder}}
}

func play(t *testing.T, s simulator.Scenario) *simulator.Session {
	t.Helper()
	session, err := s.Play()
	require.NoError(t, err)
	return session
}

// The simulator knows the lag. That of 120 sessions is found within the stated
// uncertainty, which with k = 2 may fail in one of twenty.
func TestLagIsFoundWithinItsUncertainty(t *testing.T) {
	tried, outside := 0, 0
	for seed := range uint64(20) {
		for _, d := range [][2]measure.Stamp{{0, 0}, {80, 0}, {0, 80}, {20, 5}, {5, 60}, {80, 80}} {
			s := rocking(seed, 20+10*float64(seed%5), d[0]*ms, d[1]*ms)
			s.Indicator.Noise = 4 * measure.Micrometre
			s.Indicator.Rate = []float64{20, 50, 100}[seed%3]
			s.Encoder.Counts = []int{2400, 1440, 4096}[seed%3]
			r := play(t, s).Apart().Readings
			got, err := Measure(r, r, Options{})
			require.NoError(t, err, "seed %d", seed)
			tried++
			wrong := got.Lag - (d[0]-d[1])*ms
			if max(wrong, -wrong) > got.U {
				outside++
			}
			require.InDelta(t, 0, wrong.Seconds(), 0.002, "seed %d: %s", seed, got.Says)
			require.Less(t, got.U, 3*ms)
			assert.Zero(t, got.Slack)
			if d[0] != d[1] {
				assert.Less(t, got.Left, got.Open, "the loop closes")
			}
		}
	}
	assert.Equal(t, 120, tried)
	assert.LessOrEqual(t, outside, tried/20)
}

// halves are the angles at half lift of whole openings.
func halves(t *testing.T, readings []measure.Reading, resolution measure.Length) []float64 {
	t.Helper()
	f, err := lift.Analyse(measure.Trace{Readings: readings, Resolution: resolution}, lift.Options{})
	require.NoError(t, err)
	var all []float64
	for _, o := range f.Openings {
		require.NotNil(t, o.OpeningHalf.Angle)
		require.NotNil(t, o.ClosingHalf.Angle)
		all = append(all, o.OpeningHalf.Angle.Degrees(), o.ClosingHalf.Angle.Degrees())
	}
	return all
}

// counted returns what the encoder says at the moments of half lift, with nothing
// mended.
func counted(t *testing.T, readings []measure.Reading, resolution measure.Length) []float64 {
	t.Helper()
	f, err := lift.Analyse(measure.Trace{Readings: readings, Resolution: resolution}, lift.Options{})
	require.NoError(t, err)
	at := func(when measure.Stamp) float64 {
		i := slices.IndexFunc(readings, func(r measure.Reading) bool { return r.At >= when })
		require.Positive(t, i)
		a, b := readings[i-1], readings[i]
		part := float64(when-a.At) / float64(b.At-a.At)
		return a.Angle.Degrees() + part*(b.Angle-a.Angle).Degrees()
	}
	var all []float64
	for _, o := range f.Openings {
		all = append(all, at(o.OpeningHalf.At), at(o.ClosingHalf.At))
	}
	return all
}

// joined takes the delays off, as the sources do, and joins, as the live path
// does.
func joined(s *simulator.Session, indicator, encoder measure.Stamp) []measure.Reading {
	// A lift waits for an angle that comes later by the encoder's delay.
	j := join.New(join.Options{Hold: 60*ms + encoder})
	var out []measure.Reading
	for _, r := range s.Apart().Readings { // in the order of arrival
		if r.Has&measure.HasLift != 0 {
			r.At -= indicator
			out = j.Lift(out, r)
		} else {
			r.At -= encoder
			out = j.Angle(out, r)
		}
	}
	return j.Tick(out, s.Truth.End+measure.Second)
}

// The promise: with the delays measured on a rocking session, the joined
// half-lift angles of another session, turned at 60 degrees a second, are right
// within 0.2 degrees, for delays from 0 to 80 ms on either side. Without, what the
// encoder says is wrong by up to 5; what the analysis mends by itself, from the
// hand's own unevenness, by less than 0.6.
func TestJoinedHalfLiftIsRight(t *testing.T) {
	worst, worstBefore, worstMended := 0.0, 0.0, 0.0
	for i, d := range [][2]measure.Stamp{{0, 0}, {16, 0}, {0, 16}, {40, 0}, {0, 40}, {80, 0}, {0, 80}, {30, 70}, {70, 30}, {80, 80}} {
		seed := uint64(i)
		r := play(t, rocking(seed, 60, d[0]*ms, d[1]*ms)).Apart().Readings
		got, err := Measure(r, r, Options{})
		require.NoError(t, err)
		indicator, encoder := got.Delays(0, 0)

		s := play(t, simulator.Scenario{Seed: 100 + seed, Openings: 2, Hand: simulator.Hand{Speed: 60 * measure.Degree},
			Indicator: simulator.Indicator{Delay: d[0] * ms}, Encoder: &simulator.Encoder{Delay: d[1] * ms}})
		var want []float64
		for _, o := range s.Truth.Whole() {
			want = append(want, o.OpeningHalfAngle.Degrees(), o.ClosingHalfAngle.Degrees())
		}
		require.Len(t, want, 4)
		before, mended := counted(t, joined(s, 0, 0), s.Trace.Resolution), halves(t, joined(s, 0, 0), s.Trace.Resolution)
		after := halves(t, joined(s, indicator, encoder), s.Trace.Resolution)
		require.Len(t, after, len(want))
		require.Len(t, before, len(want))
		for k := range want {
			worst = max(worst, math.Abs(after[k]-want[k]))
			worstBefore = max(worstBefore, math.Abs(before[k]-want[k]))
			worstMended = max(worstMended, math.Abs(mended[k]-want[k]))
			require.InDelta(t, want[k], after[k], 0.2, "delays %v, half %d: %s", d, k, got.Says)
		}
	}
	t.Logf("worst half-lift angle: %.3f degrees, %.3f mended by the analysis alone, and %.3f before", worst, worstMended, worstBefore)
	assert.LessOrEqual(t, worstMended, 0.6)
	assert.Greater(t, worstBefore, 3.0, "else this test shows nothing")
}

func TestWhatDoesNotSuffice(t *testing.T) {
	full := play(t, rocking(1, 60, 0, 0)).Apart().Readings
	only := func(has measure.Has) (some []measure.Reading) {
		for _, r := range full {
			if r.Has == has {
				some = append(some, r)
			}
		}
		return some
	}
	oneWay := rocking(1, 60, 20*ms, 0)
	oneWay.Hand.BackTurns = 0
	far := rocking(1, 60, 400*ms, 0)
	slow := rocking(1, 4, 0, 0)
	slow.Hand.BackTurns, slow.Indicator.Resolution, slow.Encoder.Rate = 4, 50*measure.Micrometre, 10
	slow.Encoder.Counts = 360
	flat := append([]measure.Reading(nil), full...)
	for i := range flat {
		flat[i].Lift = 0
	}
	for name, c := range map[string]struct {
		lift, angle []measure.Reading
		says        string
	}{
		"no encoder":      {full, only(measure.HasLift), "is the encoder connected?"},
		"no indicator":    {only(measure.HasAngle), full, "0 readings of the lift"},
		"nothing":         {nil, nil, "is the encoder connected?"},
		"one way":         {play(t, oneWay).Apart().Readings, nil, "turn forward over a flank and back again"},
		"on the heel":     {flat, nil, "do it on a flank"},
		"too far apart":   {play(t, far).Apart().Readings, nil, "no lag within 0.25 s"},
		"slow and coarse": {play(t, slow).Apart().Readings, nil, "turn faster"},
	} {
		t.Run(name, func(t *testing.T) {
			if c.angle == nil {
				c.angle = c.lift
			}
			r, err := Measure(c.lift, c.angle, Options{})
			require.ErrorIs(t, err, ErrNotEnough, "%+v", r)
			assert.ErrorContains(t, err, c.says)
		})
	}
	r, err := Measure(play(t, far).Apart().Readings, play(t, far).Apart().Readings, Options{Most: 600 * ms})
	require.NoError(t, err)
	assert.InDelta(t, 0.4, r.Lag.Seconds(), 0.002)
}

// sweeps is a flank of tanh shape, swept at speeds that differ, under a timing
// drive with slack: the valve stands still until the slack is taken up.
func sweeps(lag float64, slack float64) []measure.Reading {
	crank := func(t float64) float64 {
		return 30 * math.Sin(0.8*t+0.7*math.Sin(0.45*t)) * (0.8 + 0.2*math.Sin(0.21*t))
	}
	const dt = 0.0005
	var follows []float64
	v := crank(0)
	for t := 0.0; t < 41; t += dt {
		c := crank(t)
		v = min(max(v, c-slack/2), c+slack/2)
		follows = append(follows, v)
	}
	var all []measure.Reading
	for i := 1000; i < 80_000; i += 20 {
		at := float64(i) * dt
		all = append(all, measure.Reading{At: measure.Stamp(math.Round(at * 1e6)), Angle: measure.FromDegrees(crank(at)), Has: measure.HasAngle})
		if i%40 == 0 {
			l := 5 + 5*math.Tanh(follows[i-int(math.Round(lag/dt))]/20)
			all = append(all, measure.Reading{At: measure.Stamp(math.Round(at*1e6)) + 1, Lift: measure.FromMillimetres(math.Round(l*100) / 100), Has: measure.HasLift})
		}
	}
	return all
}

// Slack opens a loop too. It is told from a lag, with its size, where the speed
// differs.
func TestSlackIsNoLag(t *testing.T) {
	for _, c := range []struct{ lag, slack float64 }{{0, 0}, {0.04, 0}, {0, 1}, {0.04, 1}, {0.016, 0.5}, {-0.01, 0.7}} {
		r, err := Measure(sweeps(c.lag, c.slack), sweeps(c.lag, c.slack), Options{})
		require.NoError(t, err)
		assert.InDelta(t, c.lag, r.Lag.Seconds(), 0.003, "%+v", r)
		assert.InDelta(t, c.slack, r.Slack.Degrees(), 0.15, "%+v", r)
		if c.slack > 0 {
			assert.Contains(t, r.Says, "degrees of slack")
		}
	}
}

func TestDelaysToWrite(t *testing.T) {
	for _, c := range []struct{ lag, i, e, newI, newE measure.Stamp }{
		{16 * ms, 0, 0, 16 * ms, 0},
		{-16 * ms, 0, 0, 0, 16 * ms},
		{-16 * ms, 20 * ms, 0, 4 * ms, 0},
		{-16 * ms, 10 * ms, 5 * ms, 0, 11 * ms},
	} {
		i, e := Result{Lag: c.lag}.Delays(c.i, c.e)
		assert.Equal(t, []measure.Stamp{c.newI, c.newE}, []measure.Stamp{i, e})
		assert.Equal(t, c.lag, (i-e)-(c.i-c.e), "the difference is what counts")
	}
}

// A cubic spline reproduces every cubic, value and slope, whatever its knots
// (de Boor, A Practical Guide to Splines: from memory).
func TestSplineReproducesCubics(t *testing.T) {
	cubic := func(x float64) float64 { return 3 - 0.2*x + 0.01*x*x - 0.0005*x*x*x }
	slope := func(x float64) float64 { return -0.2 + 0.02*x - 0.0015*x*x }
	s := newSpline(-35, 42)
	var x, y []float64
	for a := -34.0; a <= 41; a += 0.25 {
		x, y = append(x, a), append(y, cubic(a))
	}
	s.fit(x, y)
	for a := -30.0; a <= 37; a += 0.4 { // the smoothing bends the very ends
		assert.InDelta(t, cubic(a), s.at(a), 2e-4, "at %v", a)
		assert.InDelta(t, slope(a), s.slope(a), 2e-4, "at %v", a)
	}
	assert.InDelta(t, len(s.c), s.used(), 1)
}

func BenchmarkMeasure(b *testing.B) {
	s, err := rocking(1, 60, 20*ms, 0).Play()
	require.NoError(b, err)
	r := s.Apart().Readings
	for b.Loop() {
		if _, err := Measure(r, r, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// What real links do besides being late: a board that speaks only when its count
// changes, and a converter that hands bytes over every 16 ms, which makes
// readings later by different times.
func TestSilentBoardsAndConverters(t *testing.T) {
	for seed := range uint64(5) {
		s := rocking(seed, 50, 20*ms, 0)
		s.Hand.Stops = 4
		r := play(t, s).Apart().Readings
		var changes, held []measure.Reading
		last := measure.Angle(math.MinInt64)
		waited := 0.0
		for _, r := range r {
			if r.Has&measure.HasLift != 0 {
				const wait = 16 * ms
				late := r
				late.At = (r.At + wait - 1) / wait * wait
				held = append(held, late)
				waited += (late.At - r.At).Seconds()
			} else if r.Angle != last {
				last = r.Angle
				changes = append(changes, r)
			}
		}
		got, err := Measure(r, changes, Options{})
		require.NoError(t, err)
		assert.InDelta(t, 0.020, got.Lag.Seconds(), 0.001, "seed %d: %s", seed, got.Says)
		got, err = Measure(held, r, Options{})
		require.NoError(t, err)
		assert.InDelta(t, 0.020+waited/float64(len(held)), got.Lag.Seconds(), 0.001, "seed %d: %s", seed, got.Says)
	}
}
