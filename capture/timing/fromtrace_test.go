package timing

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// trueEvent finds where a shape crosses a lift, walking out from its nose.
func trueEvent(shape func(float64) float64, nose, lift float64, side float64) float64 {
	over, under := nose, nose
	for shape(under) > lift {
		under += side
	}
	for range 100 {
		mid := (over + under) / 2
		if shape(mid) > lift {
			over = mid
		} else {
			under = mid
		}
	}
	return under
}

// checkTrace compares a curve's events with the shape's.
func checkTrace(t require.TestingT, c *Curve, shape func(float64) float64, nose, tol float64, why string) {
	for _, lift := range []float64{0.5, 1, 1.27, 3, 5.334} {
		p, err := c.Passage(measure.FromMillimetres(lift), "")
		require.NoError(t, err, why)
		require.NotNil(t, p.Span, why)
		opens, closes := trueEvent(shape, nose, lift, -1), trueEvent(shape, nose, lift, +1)
		require.InDelta(t, opens, p.Opens.Angle.Degrees(), tol, "%s: opens at %g", why, lift)
		require.InDelta(t, closes, p.Closes.Angle.Degrees(), tol, "%s: closes at %g", why, lift)
	}
}

func TestTracesAsHandsMakeThem(t *testing.T) {
	shape := lobe345(110, 125)
	plainTurn := turn{shape: shape, from: -300, to: 500, perReading: 0.3, resolution: measure.Thou / 2, angleStep: deg(0.15), offset: 137, heel: 3, seed: 1}
	with := func(change func(*turn)) turn {
		h := plainTurn
		change(&h)
		return h
	}
	for _, c := range []struct {
		name     string
		h        turn
		o        Options
		tol      float64
		openings int
		warns    string
	}{
		{"one opening", plainTurn, Options{}, 0.15, 1, ""},
		{"five openings", with(func(h *turn) { h.to = 3200 }), Options{}, 0.12, 5, ""},
		{"rests, also at half lift", with(func(h *turn) { h.rests = 12 }), Options{}, 0.15, 1, ""},
		{"turned back again and again", with(func(h *turn) { h.back = 12 }), Options{}, 0.15, 1, ""},
		{"noise of two counts", with(func(h *turn) { h.noise = 0.025; h.to = 1940 }), Options{}, 0.3, 3, ""},
		{"jitter of the encoder", with(func(h *turn) { h.jitter = 0.2 }), Options{}, 0.35, 1, ""},
		{"coarse encoder", with(func(h *turn) { h.angleStep = measure.Degree }), Options{}, 0.6, 1, ""},
		{"spindle runs down", with(func(h *turn) { h.down = true; h.heel = 20 }), Options{}, 0.15, 1, ""},
		{"spindle runs down, said", with(func(h *turn) { h.down = true }), Options{Opens: Downwards}, 0.15, 1, ""},
		{"encoder starts again at 360", with(func(h *turn) { h.wraps = 360; h.to = 1940 }), Options{Wraps: measure.Turn}, 0.15, 3, ""},
		{"encoder starts again at 720", with(func(h *turn) { h.wraps = 720; h.to = 1940 }), Options{Wraps: measure.Cycle}, 0.15, 3, ""},
		{"encoder starts again at 360, unsaid", with(func(h *turn) { h.wraps = 360; h.to = 1940 }), Options{}, 0.15, 3, ""},
		{"encoder starts again at 720, unsaid", with(func(h *turn) { h.wraps = 720; h.to = 1940 }), Options{}, 0.15, 3, ""},
		{"encoder counts down", with(func(h *turn) { h.against = true }), Options{CountsDown: true}, 0.15, 1, ""},
		{"encoder on the cam", with(func(h *turn) { h.onCam = true; h.to = 1940 }), Options{OnCam: true}, 0.3, 3, ""},
		{"two nonsense readings in a hundred", with(func(h *turn) { h.strays = 50; h.perReading = 0.1 }), Options{}, 0.25, 1, ""},
		{"readings far apart", with(func(h *turn) { h.perReading = 2.5; h.to = 1940 }), Options{}, 0.3, 3, ""},
		{"hundredths of a millimetre", with(func(h *turn) { h.resolution = measure.Millimetre / 100 }), Options{}, 0.15, 1, ""},
		{"perfect instruments", with(func(h *turn) { h.resolution, h.angleStep = 0, 0 }), Options{}, 0.02, 1, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := c.h.trace()
			c.o.Valve, c.o.TDC = Intake, deg(137)
			curve, err := FromTrace(tr, c.o)
			require.NoError(t, err)
			// An encoder that counts whole steps is half a step late on
			// average; a TDC read by the same encoder is so too.
			checkTrace(t, curve, shape, 100, c.tol+curve.crankStep(), c.name)
			assert.Equal(t, c.openings, curve.Made().Openings)
			n := curve.Nose()
			// The highest point of a noisy curve is a little too high.
			assert.InDelta(t, 10.668, n.MaxLift.Millimetres(), max(0.01, c.h.noise/2))
			assert.InDelta(t, 10.668, n.MaxLift.Millimetres(), n.MaxLiftU.Millimetres()+0.001)
			assert.Empty(t, curve.Made().Warnings)
			assert.InDelta(t, c.h.heel, curve.Made().Heel.Millimetres(), 0.01)
			assert.Equal(t, len(tr.Readings), curve.Made().Readings+curve.Made().LeftOut, "every reading is accounted for")
		})
	}
}

// The uncertainty that is claimed covers the error that is made, about as often
// as k = 2 says, and is not so wide as to say nothing.
func TestClaimedUncertaintyCovers(t *testing.T) {
	shape := lobe345(115, 115)
	inside, all, widest := 0, 0, 0.0
	for seed := range uint64(40) {
		h := turn{shape: shape, from: -250, to: 460, perReading: 0.35, resolution: measure.Thou / 2, angleStep: deg(0.15), noise: 0.004, seed: 100 + seed}
		c, err := FromTrace(h.trace(), Options{Valve: Intake})
		require.NoError(t, err)
		for _, lift := range []float64{1, 1.27, 3, 6} {
			p, err := c.Passage(measure.FromMillimetres(lift), "")
			require.NoError(t, err)
			d := trueEvent(shape, 105, lift, 1) - trueEvent(shape, 105, lift, -1)
			all++
			if math.Abs(p.Span.Duration.Degrees()-d) <= p.Span.DurationU.Degrees() {
				inside++
			}
			widest = max(widest, p.Span.DurationU.Degrees())
		}
	}
	assert.GreaterOrEqual(t, float64(inside)/float64(all), 0.93)
	assert.Less(t, widest, 0.5)
}

func TestTraceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rise, fall := rapid.Float64Range(90, 140).Draw(t, "rise"), rapid.Float64Range(90, 140).Draw(t, "fall")
		shape := lobe345(rise, fall)
		h := turn{shape: shape, from: -250, to: 470, perReading: 0.5, resolution: measure.Micrometre, angleStep: deg(0.02), rests: 2, back: 2, seed: rapid.Uint64().Draw(t, "seed")}
		tr := h.trace()
		c, err := FromTrace(tr, Options{Valve: Intake})
		require.NoError(t, err)
		base, err := c.Passage(measure.Millimetre, "")
		require.NoError(t, err)
		const tol = 0.05

		// A shift of the encoder that the options know of shifts nothing; one
		// that they do not know of shifts every event by as much.
		shift := rapid.Float64Range(-60, 60).Draw(t, "shift")
		moved := measure.Trace{Resolution: tr.Resolution, AngleStep: tr.AngleStep}
		for _, r := range tr.Readings {
			r.Angle += deg(shift)
			moved.Readings = append(moved.Readings, r)
		}
		c2, err := FromTrace(moved, Options{Valve: Intake, TDC: deg(shift)})
		require.NoError(t, err)
		p, err := c2.Passage(measure.Millimetre, "")
		require.NoError(t, err)
		require.InDelta(t, base.Opens.Angle.Degrees(), p.Opens.Angle.Degrees(), tol)
		c2, err = FromTrace(moved, Options{})
		require.NoError(t, err)
		p, err = c2.Passage(measure.Millimetre, "")
		require.NoError(t, err)
		require.InDelta(t, 0, math.Remainder(base.Opens.Angle.Degrees()+shift-p.Opens.Angle.Degrees(), 720), tol)
		require.InDelta(t, base.Span.Duration.Degrees(), p.Span.Duration.Degrees(), tol)

		// Twice the lift: the same events at twice the checking lift.
		doubled := measure.Trace{Resolution: 2 * tr.Resolution, AngleStep: tr.AngleStep}
		for _, r := range tr.Readings {
			r.Lift *= 2
			doubled.Readings = append(doubled.Readings, r)
		}
		c2, err = FromTrace(doubled, Options{Valve: Intake})
		require.NoError(t, err)
		p, err = c2.Passage(2*measure.Millimetre, "")
		require.NoError(t, err)
		require.InDelta(t, base.Opens.Angle.Degrees(), p.Opens.Angle.Degrees(), 1e-3)
		// How fast a hand moves does not grow with the lift, so that it need not be the
		// same figure: it is held to what both state, by the measure of a figure that
		// is wrong, one and a half times the ±.
		stated := 2*c.Nose().MaxLiftU.Millimetres() + c2.Nose().MaxLiftU.Millimetres()
		require.InDelta(t, 2*c.Nose().MaxLift.Millimetres(), c2.Nose().MaxLift.Millimetres(), 1.5*stated)

		// Turned against its running direction: the same curve, and a warning.
		clean := h
		clean.back = 0
		forward, err := FromTrace(clean.trace(), Options{Valve: Intake})
		require.NoError(t, err)
		c2, err = FromTrace(reversed(clean.trace()), Options{Valve: Intake})
		require.NoError(t, err)
		pf, err := forward.Passage(measure.Millimetre, "")
		require.NoError(t, err)
		p, err = c2.Passage(measure.Millimetre, "")
		require.NoError(t, err)
		require.InDelta(t, pf.Opens.Angle.Degrees(), p.Opens.Angle.Degrees(), tol)
		require.InDelta(t, pf.Closes.Angle.Degrees(), p.Closes.Angle.Degrees(), tol)
		require.NotEmpty(t, c2.Made().Warnings)
		require.Contains(t, c2.Made().Warnings[0].String(), "falls on the whole")

		// A mirrored lobe mirrors its events.
		mirror := clean
		mirror.shape = func(x float64) float64 { return shape(-x) }
		mirror.from, mirror.to = -470, 250
		c2, err = FromTrace(mirror.trace(), Options{Valve: Exhaust})
		require.NoError(t, err)
		p, err = c2.Passage(measure.Millimetre, "")
		require.NoError(t, err)
		require.InDelta(t, -pf.Closes.Angle.Degrees(), p.Opens.Angle.Degrees(), tol)
		require.InDelta(t, -pf.Opens.Angle.Degrees(), p.Closes.Angle.Degrees(), tol)
	})
}

func TestTypedPointProperties(t *testing.T) {
	shape := lobe345(110, 125)
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Float64Range(1, 6).Draw(t, "step")
		shift := rapid.Float64Range(-1000, 1000).Draw(t, "shift")
		scale := rapid.Float64Range(0.2, 3).Draw(t, "scale")
		var pts, moved, scaled, mirrored []Point
		for x := -40.0; x < 260; x += step {
			l := shape(x)
			pts = append(pts, Point{deg(x), mm(l)})
			moved = append(moved, Point{deg(math.Mod(x+shift, 720)), mm(l)})
			scaled = append(scaled, Point{deg(x), mm(l * scale)})
			mirrored = append(mirrored, Point{deg(-x), mm(l)})
		}
		at := func(pts []Point, lift float64, o Options) Passage {
			c, err := FromPoints(pts, o)
			require.NoError(t, err)
			p, err := c.Passage(mm(lift), "")
			require.NoError(t, err)
			require.NotNil(t, p.Span)
			return p
		}
		base := at(pts, 1, Options{Valve: Intake})
		p := at(moved, 1, Options{Valve: Intake, TDC: deg(shift)})
		require.InDelta(t, base.Opens.Angle.Degrees(), p.Opens.Angle.Degrees(), 1e-4)
		require.InDelta(t, base.Closes.Angle.Degrees(), p.Closes.Angle.Degrees(), 1e-4)
		p = at(scaled, scale, Options{Valve: Intake})
		require.InDelta(t, base.Opens.Angle.Degrees(), p.Opens.Angle.Degrees(), 1e-4)
		p = at(mirrored, 1, Options{Valve: Exhaust})
		require.InDelta(t, -base.Closes.Angle.Degrees(), p.Opens.Angle.Degrees(), 1e-4)
		require.InDelta(t, -base.Opens.Angle.Degrees(), p.Closes.Angle.Degrees(), 1e-4)
	})
}

func TestLobeAndValveByRatioAndLash(t *testing.T) {
	lobe := lobe345(115, 115)
	const ratio, lash = 1.5, 0.3
	var atLobe, atValve []Point
	for x := -40.0; x < 260; x += 2 {
		atLobe = append(atLobe, Point{deg(x), mm(lobe(x))})
		atValve = append(atValve, Point{deg(x), mm(max(ratio*lobe(x)-lash, 0))})
	}
	o := Options{Valve: Intake, Ratio: ratio, Lash: mm(lash)}
	v, err := FromPoints(atValve, o)
	require.NoError(t, err)
	o.MeasuredAt = AtLobe
	l, err := FromPoints(atLobe, o)
	require.NoError(t, err)
	for _, place := range []Place{AtLobe, AtValve} {
		a, err := v.Passage(mm(1.27), place)
		require.NoError(t, err)
		b, err := l.Passage(mm(1.27), place)
		require.NoError(t, err)
		assert.InDelta(t, a.Opens.Angle.Degrees(), b.Opens.Angle.Degrees(), 0.01, "the same event, whichever side was measured")
		assert.InDelta(t, a.Closes.Angle.Degrees(), b.Closes.Angle.Degrees(), 0.01)
	}
	at, err := l.Passage(mm(1.27), AtValve)
	require.NoError(t, err)
	assert.InDelta(t, (1.27+lash)/ratio, at.Level.Millimetres(), 1e-6)
	_, err = v.Passage(mm(0.1), AtLobe)
	assert.ErrorContains(t, err, "lash")
	_, err = v.Passage(mm(40), "")
	assert.ErrorContains(t, err, "rises to")
	_, err = v.Passage(0, "")
	assert.ErrorContains(t, err, "above the heel")
}

func TestTraceSaysWhatIsWrong(t *testing.T) {
	shape := lobe345(110, 125)
	h := turn{shape: shape, from: -300, to: 1200, perReading: 0.3, resolution: measure.Thou / 2, angleStep: deg(0.15), seed: 5}
	_, err := FromTrace(measure.Trace{}, Options{})
	assert.ErrorIs(t, err, ErrNoAngle)
	still := h
	still.shape = func(float64) float64 { return 0 }
	still.noise = 0.01
	_, err = FromTrace(still.trace(), Options{})
	assert.ErrorIs(t, err, ErrNoOpening)
	part := h
	part.from, part.to = -100, 60
	_, err = FromTrace(part.trace(), Options{})
	assert.ErrorIs(t, err, ErrNoOpening)
	cam := h
	cam.onCam = true
	_, err = FromTrace(cam.trace(), Options{})
	assert.ErrorContains(t, err, "on_cam")
	_, err = FromTrace(h.trace(), Options{Period: measure.Turn})
	assert.ErrorContains(t, err, "period_deg")
	// Of three openings the middle one was left out: two periods lie between the others,
	// and nothing is wrong with that.
	three := h
	three.to = 1900
	whole, err := FromTrace(three.trace(), Options{Valve: Intake})
	require.NoError(t, err)
	struck := three.trace()
	struck.Readings = slices.DeleteFunc(struck.Readings, func(r measure.Reading) bool { return r.Angle > deg(700) && r.Angle < deg(960) })
	without, err := FromTrace(struck, Options{Valve: Intake})
	require.NoError(t, err)
	assert.Empty(t, without.Made().Warnings)
	assert.Equal(t, len(whole.Made().Warnings), len(without.Made().Warnings))
	// A zero that moves between openings is seen, and does not smear the lift.
	tr := h.trace()
	for i := range tr.Readings {
		if tr.Readings[i].Angle > deg(480) {
			tr.Readings[i].Lift += measure.FromMillimetres(0.2)
		}
	}
	c, err := FromTrace(tr, Options{Valve: Intake})
	require.NoError(t, err)
	assert.InDelta(t, 0.2, c.Made().HeelShift.Millimetres(), 0.01)
	require.NotEmpty(t, c.Made().Warnings)
	assert.Contains(t, c.Made().Warnings[0].String(), "heel moved")
	assert.NotContains(t, fmt.Sprint(c.Made().Warnings), "lost counts", "a zero that moved is no slip")
	assert.InDelta(t, 10.668, c.Nose().MaxLift.Millimetres(), 0.015)
	// The encoder loses its count half way: the events before and after part.
	tr = h.trace()
	for i := range tr.Readings {
		if tr.Readings[i].Angle > deg(480) {
			tr.Readings[i].Angle -= deg(5)
		}
	}
	c, err = FromTrace(tr, Options{Valve: Intake})
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(c.Made().Warnings), "degrees away from the others")
	assert.Contains(t, fmt.Sprint(c.Made().Warnings), "lost counts")
	// An encoder set again in the middle loses no reading after it.
	tr = h.trace()
	for i := range tr.Readings {
		if tr.Readings[i].Angle > deg(480) {
			tr.Readings[i].Angle -= measure.Cycle
		}
	}
	c, err = FromTrace(tr, Options{Valve: Intake})
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(c.Made().Warnings), "jumped back once")
	assert.Equal(t, 2, c.Made().Openings)
	// Nobody looked at the closing flank between 3 and 1 mm: it says so, and
	// claims no more than it can know.
	tr = h.trace()
	var seen []measure.Reading
	for _, r := range tr.Readings {
		if phase := math.Mod(r.Angle.Degrees()+720, 720); phase < 175 || phase > 192 {
			seen = append(seen, r)
		}
	}
	tr.Readings = seen
	c, err = FromTrace(tr, Options{Valve: Intake, TDCU: deg(0.02)}) // not to hide the flanks behind an untold top dead centre
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(c.Made().Warnings), "no reading was taken between")
	p, err := c.Passage(mm(1.8), "")
	require.NoError(t, err)
	want := trueEvent(shape, 100, 1.8, +1)
	assert.InDelta(t, want, p.Closes.Angle.Degrees(), p.Closes.U.Degrees())
	assert.Greater(t, p.Closes.U.Degrees(), 5*p.Opens.U.Degrees())
	for _, o := range []struct {
		o    Options
		says string
	}{
		{Options{Valve: "inlet"}, "valve"}, {Options{Period: -1}, "period_deg"}, {Options{Wraps: -1}, "wraps_deg"},
		{Options{TDCU: -1}, "tdc_u_deg"}, {Options{Opens: "sideways"}, "opens"}, {Options{MeasuredAt: "head"}, "measured_at"},
		{Options{Ratio: math.NaN()}, "rocker_ratio"}, {Options{Lash: -1}, "lash_mm"}, {Options{Resolution: -1}, "resolution_mm"},
		{Options{AngleStep: -1}, "angle_step_deg"}, {Options{Limit: -1}, "indicator_limit_mm"}, {Options{Method: "guess"}, "method"},
		{Options{Step: 1}, "step_deg"}, {Options{HalfWidth: -1}, "half_width_deg"},
	} {
		_, err := FromTrace(h.trace(), o.o)
		assert.ErrorContains(t, err, o.says)
		_, err = FromPoints(make([]Point, 100), o.o)
		assert.ErrorContains(t, err, o.says)
	}
}

// A whole analysis of a million readings: curve, both valves' worth of events,
// derivatives.
func BenchmarkMillionReadings(b *testing.B) {
	h := turn{shape: lobe345(110, 125), from: -300, to: 20*720 - 300, perReading: 20 * 720 / 1e6, resolution: measure.Thou / 2, angleStep: deg(0.15), noise: 0.005, seed: 9}
	tr := h.trace()
	for b.Loop() {
		c, err := FromTrace(tr, Options{Valve: Intake})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := c.Timing(nil, ""); err != nil {
			b.Fatal(err)
		}
		if _, err := c.Derivatives(DeriveOptions{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(tr.Readings)), "readings")
}
