package capture

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

func followed(t *testing.T, tr measure.Trace, o FollowerOptions) []Message {
	t.Helper()
	f := NewFollower(o)
	var msgs []Message
	for _, r := range tr.Readings {
		msgs = f.Step(msgs, r)
	}
	return msgs
}

func cues(msgs []Message) (all []Cue) {
	for _, m := range msgs {
		if c, ok := m.(Cue); ok {
			all = append(all, c)
		}
	}
	return all
}

func session(t *testing.T, s simulator.Scenario) *simulator.Session {
	t.Helper()
	ses, err := s.Play()
	require.NoError(t, err)
	return ses
}

// A smooth turn calls everything once and in order.
func TestCuesOfASmoothTurn(t *testing.T) {
	ses := session(t, simulator.Scenario{Seed: 3, Openings: 2, Hand: simulator.Hand{Speed: 20 * measure.Degree}, Indicator: simulator.Indicator{Rate: 100}})
	all := cues(followed(t, ses.Trace, FollowerOptions{}))
	var kinds []CueKind
	for i, c := range all {
		if c.Kind == ApproachHalf && i > 0 && all[i-1].Kind == ApproachHalf {
			assert.Less(t, c.ToGo, all[i-1].ToGo, "each with less to go")
			continue
		}
		kinds = append(kinds, c.Kind)
	}
	// Until the valve has come home nothing is known of its max lift, nor whether
	// the lift was counted from the heel.
	half := []CueKind{ApproachHalf, AtHalf, PastHalf}
	assert.Equal(t, slices.Concat([]CueKind{NoseReached, HeelReached}, half, []CueKind{NoseReached}, half, []CueKind{HeelReached}), kinds)
	assert.True(t, all[0].Doubtful)
	for _, c := range all {
		switch c.Kind {
		case AtHalf:
			assert.InDelta(t, int64(ses.Truth.HalfLift), c.Lift, 60_000)
			assert.LessOrEqual(t, math.Abs(float64(c.ToGo)), 25_400.0)
		case NoseReached:
			assert.InDelta(t, float64(ses.Truth.MaxLift), float64(c.Lift), 25_400)
		case HeelReached:
			assert.Less(t, c.Lift, int64(200_000))
		}
	}
}

// The state follows the valve, whichever way the spindle runs.
func TestStates(t *testing.T) {
	for _, in := range []bool{true, false} {
		ses := session(t, simulator.Scenario{Seed: 5, Openings: 2, Hand: simulator.Hand{Speed: 20 * measure.Degree}, Indicator: simulator.Indicator{Rate: 100, SpindleIn: in}})
		f := NewFollower(FollowerOptions{})
		second := ses.Truth.Whole()[1]
		wrong, asked := 0, 0
		for _, r := range ses.Trace.Readings {
			f.Step(nil, r)
			p := f.Position()
			lift := ses.Truth.LiftAt(r.At)
			if r.At < second.Open {
				continue
			}
			want := AtHeel
			switch high := ses.Truth.MaxLift * 99 / 100; {
			case lift < 400_000 || lift > high-300_000 && lift < ses.Truth.MaxLift-10_000:
				continue // near a border
			case lift >= ses.Truth.MaxLift-10_000:
				want = AtNose
			case r.At < second.Nose:
				want = OnOpening
			default:
				want = OnClosing
			}
			asked++
			if p.State != want {
				wrong++
			}
			assert.InDelta(t, float64(lift), float64(p.Lift), 20_000)
		}
		assert.Greater(t, asked, 200)
		assert.LessOrEqual(t, float64(wrong)/float64(asked), 0.02)
		p := f.Position()
		assert.True(t, p.Settled)
		assert.Equal(t, map[bool]int{true: 1, false: -1}[in], p.Sign)
		assert.InDelta(t, float64(ses.Truth.MaxLift), float64(p.Nose), 20_000)
	}
}

// Resting and rocking about half lift calls at-half when it is reached again, and
// does not stutter.
func TestAtHalfDoesNotStutter(t *testing.T) {
	ses := session(t, simulator.Scenario{
		Seed: 8, Openings: 2,
		Hand:      simulator.Hand{Tremor: measure.Degree / 20, Rests: []simulator.Rest{{Where: simulator.AtClosingHalf, For: 20 * measure.Second}}},
		Indicator: simulator.Indicator{Rate: 50, Noise: 5000},
	})
	n := 0
	for _, c := range cues(followed(t, ses.Trace, FollowerOptions{Expect: ses.Truth.MaxLift, ExpectU: 50 * measure.Micrometre})) {
		if c.Kind == AtHalf {
			n++
		}
	}
	assert.GreaterOrEqual(t, n, 3)
	assert.LessOrEqual(t, n, 5)
}

// What happens is told; nothing is allocated while nothing does.
func TestFollowerAllocatesNothing(t *testing.T) {
	ses := session(t, simulator.Scenario{Seed: 2, Openings: 1})
	f := NewFollower(FollowerOptions{})
	dst := make([]Message, 0, 1024)
	var last measure.Reading
	for _, r := range ses.Trace.Readings {
		dst = f.Step(dst, r)
		last = r
	}
	assert.Zero(t, testing.AllocsPerRun(2000, func() {
		last.At += 20_000
		dst = f.Step(dst[:0], last)
		if len(dst) != 0 {
			t.Fatal("something happened on the heel")
		}
		f.Position()
	}))
}

// A day of rest at half lift in the middle of an opening takes no more memory
// than a minute, and the opening is found all the same.
func TestFollowerMemoryIsBounded(t *testing.T) {
	f := NewFollower(FollowerOptions{Resolution: 10_000})
	at := measure.Stamp(0)
	var msgs []Message
	step := func(mm float64) {
		at += 10_000
		msgs = f.Step(msgs, measure.Reading{At: at, Lift: measure.Length(math.Round(mm*100)) * 10_000, Has: measure.HasLift})
	}
	lobe := func(x float64) float64 { return 10 * x * x * x * (10 + x*(-15+6*x)) }
	for range 300 {
		step(0)
	}
	for i := range 200 {
		step(lobe(float64(i) / 400))
	}
	for i := range 400_000 {
		step(5 + 0.01*math.Sin(float64(i)))
	}
	for i := range 600 {
		step(lobe(1 - math.Abs(1-float64(200+i)/400)))
	}
	for range 600 {
		step(0)
	}
	n := 0
	for _, m := range msgs {
		if o, ok := m.(Opened); ok {
			n++
			assert.InDelta(t, 10, o.Opening.MaxLift.Millimetres(), 0.01)
		}
	}
	assert.Equal(t, 1, n)
}

func TestNotesAreTold(t *testing.T) {
	f := NewFollower(FollowerOptions{})
	for kind, want := range map[measure.NoteKind]lift.FaultKind{
		measure.NoteGap: lift.Gap, measure.NoteUnitChange: lift.UnitChange, measure.NoteReZero: lift.ReZero,
	} {
		msgs := f.Note(nil, measure.Note{At: 5, Until: 9, Kind: kind})
		require.Len(t, msgs, 1)
		assert.Equal(t, want, msgs[0].(Fault).Fault.Kind)
	}
	assert.Empty(t, f.Note(nil, measure.Note{At: 5, Kind: measure.NoteMark}))
}

// The live openings are those of the finished trace, over many hands.
func TestFollowerAgreesWithFindingsOverManyHands(t *testing.T) {
	rates := []float64{10, 50, 200}
	for seed := range uint64(150) {
		s := simulator.Scenario{
			Seed: seed, Hand: simulator.Hand{Style: simulator.Styles()[seed%6], Stops: float64(seed % 3)},
			Indicator: simulator.Indicator{Rate: rates[seed%3], Noise: measure.Length(seed%4) * 2000, SpindleIn: seed%2 == 0},
		}
		if seed%5 == 0 {
			s.Encoder = &simulator.Encoder{}
		}
		if seed%7 == 0 {
			s.Hand.StartFromNose = 720*measure.Degree + 40*measure.Degree
		}
		ses := session(t, s)
		found, err := lift.Analyse(ses.Trace, lift.Options{})
		require.NoError(t, err)
		var live []lift.Opening
		for _, m := range followed(t, ses.Trace, FollowerOptions{}) {
			if o, ok := m.(Opened); ok {
				live = append(live, o.Opening)
			}
		}
		// A trace that ends as soon as the valve is home, or whose every nose was
		// rested on, leaves the last opening to whoever knows that it has ended.
		require.GreaterOrEqual(t, len(live), len(found.Openings)-1, "seed %d", seed)
		require.LessOrEqual(t, len(live), len(found.Openings), "seed %d", seed)
		for i, o := range live {
			assert.InDelta(t, float64(found.Openings[i].MaxLift), float64(o.MaxLift), float64(found.Openings[i].MaxLiftU+o.MaxLiftU), "seed %d", seed)
			assert.InDelta(t, float64(found.Openings[i].Nose), float64(o.Nose), 2e6, "seed %d", seed)
		}
	}
}

func FuzzFollower(f *testing.F) {
	f.Add([]byte("any bytes"), uint8(1))
	f.Fuzz(func(t *testing.T, b []byte, has uint8) {
		fo := NewFollower(FollowerOptions{})
		var r measure.Reading
		for i := 0; i+3 < len(b); i += 4 {
			r.At += measure.Stamp(b[i]) * 1000
			r.Lift += measure.Length(int8(b[i+1])) * 1000 << (b[i+2] & 31)
			r.Angle += measure.Angle(int8(b[i+3])) << (b[i+2] & 31)
			r.Has = measure.Has(has)
			for range b[i] & 63 {
				fo.Step(nil, r)
				r.At += 20_000
			}
			p := fo.Position()
			if p.State == "" || p.Sign < -1 || p.Sign > 1 {
				t.Fatalf("%+v", p)
			}
		}
	})
}

func BenchmarkFollow(b *testing.B) {
	for name, encoder := range map[string]bool{"lift": false, "lift and angle": true} {
		b.Run(name, func(b *testing.B) {
			s := simulator.Scenario{Seed: 1, Openings: 20, Hand: simulator.Hand{Style: simulator.Bar}, Indicator: simulator.Indicator{Rate: 500, Noise: 3000}}
			if encoder {
				s.Encoder = &simulator.Encoder{}
			}
			ses, err := s.Play()
			if err != nil {
				b.Fatal(err)
			}
			readings := ses.Trace.Readings
			f, i, base := NewFollower(FollowerOptions{}), 0, measure.Stamp(0)
			dst := make([]Message, 0, 64)
			b.ReportAllocs()
			for b.Loop() {
				r := readings[i]
				r.At += base
				dst = f.Step(dst[:0], r)
				f.Position()
				if i++; i == len(readings) {
					i, base = 0, base+readings[len(readings)-1].At+2000
				}
			}
		})
	}
}

// A second, low bump of the lobe, as a release of compression has, is no nose where the
// valve's lift is known, also where the encoder says that the engine went on.
func TestABumpIsNoNose(t *testing.T) {
	ses := session(t, simulator.Scenario{Seed: 3, Openings: 3, Hand: simulator.Hand{Speed: 30 * measure.Degree}, Indicator: simulator.Indicator{Rate: 50}, Encoder: &simulator.Encoder{}})
	whole := ses.Truth.Whole()
	require.Len(t, whole, 3)
	last := whole[2].NoseAngle.Degrees()
	tr := ses.Trace
	tr.Readings = slices.Clone(tr.Readings)
	way := measure.Length(1)
	for _, r := range tr.Readings {
		if r.At <= whole[1].Nose && r.At > whole[1].Nose-50_000 && r.Lift < whole[1].Heel {
			way = -1 // the spindle runs out as the valve opens
		}
	}
	bumped := false
	for i := range tr.Readings { // 300 degrees behind the second nose
		r := &tr.Readings[i]
		off := math.Abs(r.Angle.Degrees() - (last - 720 + 300))
		if x := 1 - off/40; x > 0 && r.At > whole[1].Close && r.At < whole[2].Open {
			bumped = true
			r.Lift += way * measure.Length(1.6e6*x*x*(3-2*x))
		}
	}
	require.True(t, bumped)
	noses := 0
	for _, c := range cues(followed(t, tr, FollowerOptions{})) {
		if c.Kind == NoseReached {
			noses++
			assert.InDelta(t, float64(ses.Truth.MaxLift), float64(c.Lift), 50_000)
		}
	}
	assert.Equal(t, 3, noses)
}

// An indicator that speaks on change, on a port beside the encoder's, is silent on the heel
// for as long as the crank turns there: no link was lost. One that comes back elsewhere was
// cut off.
func TestAnIndicatorThatSpeaksOnChangeIsNotLost(t *testing.T) {
	gaps := func(lost func(s float64) bool) (n int) {
		f, j := NewFollower(FollowerOptions{}), join.New(join.Options{})
		var msgs []Message
		var last measure.Length
		for i := range 4000 {
			at := measure.Stamp(i) * 10 * measure.Millisecond
			turned := math.Mod(at.Seconds()*40, 720) // the lobe from 300 to 540
			up := min(max(1-math.Abs(turned-420)/120, 0), 1)
			l := measure.FromMillimetres(math.Round(1000*up*up*up*(10+up*(-15+6*up))) / 100)
			joined := j.Angle(nil, measure.Reading{At: at, Angle: measure.FromDegrees(at.Seconds() * 40), Has: measure.HasAngle})
			if (i == 0 || l != last) && !lost(at.Seconds()) {
				last = l
				joined = j.Lift(joined, measure.Reading{At: at, Lift: l, Has: measure.HasLift})
			}
			for _, r := range joined {
				msgs = f.Step(msgs, r)
			}
		}
		for _, m := range msgs {
			if m, ok := m.(Fault); ok && m.Fault.Kind == lift.Gap {
				n++
			}
		}
		return n
	}
	assert.Zero(t, gaps(func(float64) bool { return false }))
	assert.Equal(t, 1, gaps(func(s float64) bool { return s > 26.5 && s < 28.2 }))
}
