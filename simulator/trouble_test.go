package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// pair is one session without and with a trouble.
type pair struct {
	sound, spoilt *Session
	step          float64 // mm
}

func pairOf(t *testing.T, trouble Trouble, seed uint64) pair {
	t.Helper()
	s := Scenario{Seed: seed, Openings: 2, Hand: Hand{Style: Ratchet, Speed: 40 * measure.Degree},
		Indicator: Indicator{Rate: 100, Unit: measure.InMillimetres, Resolution: 1000}, Encoder: &Encoder{Counts: 8192}}
	sound, err := s.Play()
	require.NoError(t, err)
	s.Troubles = []Trouble{trouble}
	spoilt, err := s.Play()
	require.NoError(t, err)
	again, err := s.Play()
	require.NoError(t, err)
	require.Equal(t, spoilt.Trace, again.Trace, "the same seed gives the same session")
	return pair{sound, spoilt, 0.001}
}

// off returns, where readings of both come at the same moments, how far the spoilt
// ones are off, in millimetres, positive as the valve opens (the spindle runs out).
func (p pair) off(t *testing.T) (at, mm []float64) {
	t.Helper()
	require.Len(t, p.spoilt.Trace.Readings, len(p.sound.Trace.Readings))
	for i, r := range p.spoilt.Trace.Readings {
		require.Equal(t, p.sound.Trace.Readings[i].At, r.At)
		at = append(at, r.At.Seconds())
		mm = append(mm, -(r.Lift - p.sound.Trace.Readings[i].Lift).Millimetres())
	}
	return at, mm
}

// shift returns how far the angles are off, in degrees.
func (p pair) shift(t *testing.T) (deg []float64) {
	t.Helper()
	require.Len(t, p.spoilt.Trace.Readings, len(p.sound.Trace.Readings))
	for i, r := range p.spoilt.Trace.Readings {
		deg = append(deg, (r.Angle - p.sound.Trace.Readings[i].Angle).Degrees())
	}
	return deg
}

func most(x []float64) (v float64) {
	for _, y := range x {
		v = max(v, math.Abs(y))
	}
	return v
}

// runs returns the lengths of the stretches in which something is off.
func runs(x []float64, least float64) (all []int) {
	n := 0
	for _, y := range append(x, 0) {
		switch {
		case math.Abs(y) > least:
			n++
		case n > 0:
			all = append(all, n)
			n = 0
		}
	}
	return all
}

func longest(runs []int) (n int) {
	for _, r := range runs {
		n = max(n, r)
	}
	return n
}

// Each trouble is what it says: readings with it are held against readings without
// it and against the truth.
func TestTroublesAreWhatTheySay(t *testing.T) {
	single := func(t *testing.T, p pair) {
		_, mm := p.off(t)
		all := runs(mm, 0)
		n := 0
		for _, r := range all {
			assert.LessOrEqual(t, r, 2, "they come alone")
			n += r
		}
		assert.Positive(t, n)
		assert.Less(t, float64(n), 0.012*float64(len(mm)))
	}
	angle := func(t *testing.T, p pair) []float64 {
		_, mm := p.off(t)
		assert.Zero(t, most(mm), "the lift is not touched")
		return p.shift(t)
	}
	checks := map[Trouble]func(t *testing.T, p pair){
		Misread:      single,
		DigitDropped: single,
		MinusDropped: func(t *testing.T, p pair) {
			n := 0
			for i, r := range p.spoilt.Trace.Readings {
				was := p.sound.Trace.Readings[i].Lift
				if r.Lift != was {
					assert.Negative(t, was)
					assert.Equal(t, -was, r.Lift)
					n++
				}
			}
			assert.Positive(t, n)
		},
		MisreadBurst: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			all := runs(mm, 0)
			assert.Len(t, all, 3)
			for _, r := range all {
				assert.GreaterOrEqual(t, r, 2)
				assert.LessOrEqual(t, r, 5)
			}
			assert.GreaterOrEqual(t, most(mm), 0.1)
			assert.LessOrEqual(t, most(mm), 8.001)
		},
		NoLift: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			all := runs(mm, 0)
			require.NotEmpty(t, all)
			assert.LessOrEqual(t, len(all), 3)
			assert.LessOrEqual(t, longest(all), 2)
			assert.Greater(t, most(mm), 59.0)
		},
		Frozen: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			same, longest := 0, 0
			for i := 1; i < len(p.spoilt.Trace.Readings); i++ {
				if p.spoilt.Trace.Readings[i].Lift != p.spoilt.Trace.Readings[i-1].Lift {
					same = 0
				} else if mm[i] != 0 {
					same++
				}
				longest = max(longest, same)
			}
			// Several may run into one another.
			assert.GreaterOrEqual(t, longest, 8)
			assert.Less(t, longest, 250)
			assert.Greater(t, most(mm), 0.05)
		},
		SlowGauge: func(t *testing.T, p pair) {
			// It shows what was between 0 and 120 ms ago.
			_, mm := p.off(t)
			assert.Greater(t, most(mm), 0.02)
			for _, r := range p.spoilt.Trace.Readings {
				least, highest := math.Inf(1), math.Inf(-1)
				for k := range 126 {
					l := p.sound.Truth.LiftAt(r.At - measure.Stamp(k)*measure.Millisecond).Millimetres()
					least, highest = min(least, l), max(highest, l)
				}
				require.GreaterOrEqual(t, -r.Lift.Millimetres(), least-0.001)
				require.LessOrEqual(t, -r.Lift.Millimetres(), highest+0.001)
			}
		},
		Sticking: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			assert.GreaterOrEqual(t, most(mm), 2*p.step)
			assert.LessOrEqual(t, most(mm), 6.1*p.step)
		},
		CutNose: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			assert.InDelta(t, 0.75, most(mm), 0.46)
			for i := range mm {
				assert.LessOrEqual(t, mm[i], 0.0, "it never shows more")
			}
			top := p.spoilt.Truth.MaxLift - p.spoilt.Truth.Whole()[0].ShownLift
			assert.InDelta(t, most(mm), top.Millimetres(), 0.002, "the truth says so too")
		},
		HangsFree: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			assert.InDelta(t, 1, most(mm), 0.41)
			assert.InDelta(t, 0, mm[0], 0.0015, "on the heel nothing is to be seen")
		},
		BaseSlips: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			jumps := 0
			for i := 1; i < len(mm); i++ {
				if math.Abs(mm[i]-mm[i-1]) > 0.05 {
					jumps++
				}
			}
			assert.Equal(t, 1, jumps)
			assert.GreaterOrEqual(t, most(mm), 0.079)
			assert.LessOrEqual(t, most(mm), 0.401)
			at := p.spoilt.indicatorSlips()
			require.Len(t, at, 1)
			assert.Zero(t, p.spoilt.Truth.LiftAt(at[0]), "the valve is shut")
		},
		TipOff: func(t *testing.T, p pair) {
			all := p.spoilt.Trace.Readings
			_, mm := p.off(t)
			from := 0
			for mm[from] == 0 {
				from++
			}
			to := len(mm)
			for mm[to-1] == 0 {
				to--
			}
			assert.Greater(t, all[to-1].At, p.spoilt.Truth.End-2*measure.Second, "it is set back at the end")
			assert.Positive(t, p.spoilt.Truth.LiftAt(all[from].At), "the valve is open")
			by := math.Abs((all[from+1].Lift - all[from-1].Lift).Millimetres())
			assert.GreaterOrEqual(t, by, 0.9)
			assert.LessOrEqual(t, by, 4.2)
			for _, r := range all[from+1 : to-1] {
				require.InDelta(t, all[from+1].Lift.Millimetres(), r.Lift.Millimetres(), 0.0011, "it stands until then")
			}
		},
		SpindleLifted: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			all := runs(mm, 0.01)
			require.Len(t, all, 1, "once")
			assert.GreaterOrEqual(t, most(mm), 0.9)
			assert.LessOrEqual(t, most(mm), 12.1)
			for i, y := range mm {
				if math.Abs(y) > 0.01 {
					require.Zero(t, p.spoilt.Truth.LiftAt(p.spoilt.Trace.Readings[i].At), "the valve is shut")
				}
			}
		},
		ReZeroed: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			from := 0
			for mm[from] == 0 {
				from++
			}
			assert.InDelta(t, 0, p.spoilt.Trace.Readings[from].Lift.Millimetres(), 0.5)
			assert.Positive(t, p.spoilt.Truth.LiftAt(p.spoilt.Trace.Readings[from].At), "the valve is open")
			for _, y := range mm[from:] {
				assert.InDelta(t, mm[from], y, 0.0011, "to a count")
			}
		},
		UnitSwitched: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			assert.LessOrEqual(t, most(mm), 0.002, "the unit stands beside each figure: only the rounding is another")
			require.Len(t, p.spoilt.Trace.Notes, 1)
			note := p.spoilt.Trace.Notes[0]
			assert.Equal(t, measure.NoteUnitChange, note.Kind)
			assert.Positive(t, p.spoilt.Truth.LiftAt(note.At), "the valve is open")
		},
		Knock: func(t *testing.T, p pair) {
			at, mm := p.off(t)
			assert.Greater(t, most(mm), 0.03)
			assert.LessOrEqual(t, most(mm), 2.0)
			assert.Less(t, len(runs(mm, 0.02)), 60)
			assert.Less(t, share(mm, 0.02), 0.2, "it comes back: %v", at[len(at)-1])
		},
		Vibration: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			assert.Greater(t, most(mm), 0.02)
			assert.Less(t, share(mm, 0.005), 0.25)
			up, down := 0.0, 0.0
			for _, y := range mm {
				up, down = max(up, y), min(down, y)
			}
			assert.Greater(t, up, 0.01)
			assert.Less(t, down, -0.01)
		},
		WarmDrift: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			assert.InDelta(t, 0.02, math.Abs(mm[0]), 0.0115)
			assert.Less(t, math.Abs(mm[len(mm)-1]), math.Abs(mm[0]))
		},
		Bleeding: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			o := p.spoilt.Truth.Whole()[0]
			for i, r := range p.spoilt.Trace.Readings {
				assert.LessOrEqual(t, mm[i], 0.0015)
				if r.At > o.Nose && r.At < o.Nose+measure.Second/4 {
					open := (r.At - o.Open).Seconds()
					assert.LessOrEqual(t, -mm[i], 0.1*open+0.002)
					assert.GreaterOrEqual(t, -mm[i], 0.02*open-0.002)
				}
			}
		},
		HeelRunsOut: func(t *testing.T, p pair) {
			_, mm := p.off(t)
			up, down := 0.0, 0.0
			for _, y := range mm {
				up, down = max(up, y), min(down, y)
			}
			assert.InDelta(t, 0.015, up-down, 0.0065)
		},
		EncoderSlips: func(t *testing.T, p pair) {
			deg := angle(t, p)
			assert.Zero(t, deg[0])
			last := math.Abs(deg[len(deg)-1])
			assert.InDelta(t, 5, last, 3.1)
			assert.InDelta(t, last, most(deg), 0.1, "once")
		},
		EncoderLoses: func(t *testing.T, p pair) {
			deg := angle(t, p)
			r := p.sound.Trace.Readings
			way := (r[len(r)-1].Angle - r[0].Angle).Degrees()
			assert.InDelta(t, -way/80, deg[len(deg)-1], 0.2)
		},
		EncoderCounts: func(t *testing.T, p pair) {
			deg := angle(t, p)
			r := p.sound.Trace.Readings
			way := (r[len(r)-1].Angle - r[0].Angle).Degrees()
			assert.Greater(t, math.Abs(deg[len(deg)-1]), 0.02*way)
		},
		SlackDrive: func(t *testing.T, p pair) {
			deg := angle(t, p)
			assert.GreaterOrEqual(t, most(deg), 0.14)
			assert.LessOrEqual(t, most(deg), 0.46)
		},
		LatePort: func(t *testing.T, p pair) {
			deg := angle(t, p)
			// At up to 80 degrees a second.
			assert.Greater(t, most(deg), 0.3)
			for i, r := range p.spoilt.Trace.Readings[20:] {
				then := p.sound.Truth.CrankAt(r.At)
				least, highest := then, then
				for k := range 70 {
					a := p.sound.Truth.CrankAt(r.At - measure.Stamp(k)*measure.Millisecond)
					least, highest = min(least, a), max(highest, a)
				}
				require.GreaterOrEqual(t, r.Angle, least-measure.Degree/10, i)
				require.LessOrEqual(t, r.Angle, highest+measure.Degree/10, i)
			}
		},
		PortHiccups: func(t *testing.T, p pair) {
			held := 0
			for i := 1; i < len(p.spoilt.Indicator); i++ {
				a, b := p.spoilt.Indicator[i-1].At, p.spoilt.Indicator[i].At
				assert.GreaterOrEqual(t, b, a)
				if b-a > 100*measure.Millisecond {
					held++
				}
			}
			assert.Positive(t, held)
			assert.Equal(t, p.sound.Trace.Readings, p.spoilt.Trace.Readings, "what was read is the same")
		},
		LinesTwice: func(t *testing.T, p pair) {
			n := len(p.sound.IndicatorLines)
			assert.InDelta(t, 1.2*float64(n), len(p.spoilt.IndicatorLines), 0.05*float64(n))
		},
		CableOut: func(t *testing.T, p pair) {
			missing := len(p.sound.Trace.Readings) - len(p.spoilt.Trace.Readings)
			assert.GreaterOrEqual(t, missing, 99)
			assert.LessOrEqual(t, missing, 301)
			require.Len(t, p.spoilt.Trace.Notes, 1)
			assert.Equal(t, measure.NoteGap, p.spoilt.Trace.Notes[0].Kind)
		},
		Backward: func(t *testing.T, p pair) {
			a, b := p.sound.Trace.Readings, p.spoilt.Trace.Readings
			assert.Greater(t, a[len(a)-1].Angle, a[0].Angle)
			assert.Less(t, b[len(b)-1].Angle, b[0].Angle)
			assert.InDelta(t, p.sound.Truth.HalfOpeningWidth.Degrees(), p.spoilt.Truth.HalfClosingWidth.Degrees(), 0.01, "it meets the closing flank first")
		},
	}
	require.Len(t, checks, len(Troubles()))
	for _, trouble := range Troubles() {
		require.Contains(t, checks, trouble)
		for seed := range uint64(4) {
			t.Run(string(trouble), func(t *testing.T) { checks[trouble](t, pairOf(t, trouble, seed+20)) })
		}
	}
}

func share(x []float64, least float64) float64 {
	n := 0
	for _, y := range x {
		if math.Abs(y) > least {
			n++
		}
	}
	return float64(n) / float64(len(x))
}

// indicatorSlips returns when the base slipped.
func (s *Session) indicatorSlips() (at []measure.Stamp) {
	for _, z := range s.Truth.show.steps[1:] {
		at = append(at, fromSec(z.t))
	}
	return at
}

// A trouble that is none is refused with those that are; one of the encoder without
// an encoder too.
func TestUnknownTrouble(t *testing.T) {
	_, err := ParseTrouble("gremlins")
	require.ErrorContains(t, err, `"gremlins"`)
	for _, name := range Troubles() {
		require.ErrorContains(t, err, string(name))
		assert.NotEmpty(t, name.Says())
		same, err := ParseTrouble(" " + string(name))
		require.NoError(t, err)
		assert.Equal(t, name, same)
	}
	_, err = Scenario{Troubles: []Trouble{"gremlins"}}.Play()
	assert.ErrorContains(t, err, "gremlins")
	_, err = Scenario{Troubles: []Trouble{EncoderSlips}}.Play()
	assert.ErrorContains(t, err, "encoder")
}

// Each trouble goes on from session to session of a bench, and no heel jumps where
// one ends and the next begins.
func TestTroublesOfABench(t *testing.T) {
	for _, trouble := range Troubles() {
		b, err := NewBench(BenchOptions{Seed: 5, Troubles: []Trouble{trouble}, Hands: []Hand{{Style: Bar}}, Openings: 1})
		require.NoError(t, err, trouble)
		last := measure.Reading{}
		for i := range 4 {
			p, err := b.Next()
			require.NoError(t, err, trouble)
			r := p.Trace.Readings
			if i > 0 && trouble != NoLift && trouble != Misread && trouble != MisreadBurst && trouble != DigitDropped && trouble != MinusDropped && trouble != Backward {
				assert.InDelta(t, last.Lift.Millimetres(), r[0].Lift.Millimetres(), 0.04, "%s, session %d", trouble, i)
				assert.InDelta(t, last.Angle.Degrees(), r[0].Angle.Degrees(), 1, "%s, session %d", trouble, i)
			}
			last = r[len(r)-1]
		}
	}
}
