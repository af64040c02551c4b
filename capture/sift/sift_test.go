package sift

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// at makes readings at so many a second from lifts in micrometres.
func at(rate int, lifts ...int) []measure.Reading {
	all := make([]measure.Reading, len(lifts))
	for i, l := range lifts {
		all[i] = measure.Reading{At: measure.Stamp(i * 1_000_000 / rate), Lift: measure.Length(l) * measure.Micrometre, Has: measure.HasLift}
	}
	return all
}

// ramp is a flank: so many readings that grow by step micrometres.
func ramp(n, step int) []int {
	lifts := make([]int, n)
	for i := range lifts {
		lifts[i] = i * step
	}
	return lifts
}

// stepped appends what counts once r has come.
func stepped(s *Sift, dst []measure.Reading, r measure.Reading) []measure.Reading {
	dst, itself := s.Step(dst, &r)
	if itself {
		dst = append(dst, r)
	}
	return dst
}

// sifted returns the lifts that count, in micrometres, and what was doubted.
func sifted(s *Sift, readings []measure.Reading) (lifts []int, doubts []Doubt, frozen []Frozen) {
	var taken []measure.Reading
	for _, r := range readings {
		taken = stepped(s, taken, r)
		doubts = append(doubts, s.Doubts()...)
		frozen = append(frozen, s.Frozen()...)
	}
	taken = s.Finish(taken)
	doubts = append(doubts, s.Doubts()...)
	for _, r := range taken {
		lifts = append(lifts, int(r.Lift/measure.Micrometre))
	}
	return lifts, doubts, frozen
}

// One to ten readings in a row that lie a millimetre off a flank are doubted, all
// of them and no other.
func TestMisreadBursts(t *testing.T) {
	for n := 1; n <= 10; n++ {
		for _, rate := range []int{50, 100} {
			lifts := ramp(80, 2000/rate)
			for i := range n {
				lifts[30+i] += 1000
			}
			took, doubts, _ := sifted(&Sift{Count: 1000}, at(rate, lifts...))
			if n*1000/rate > longest/1000 {
				continue // longer than any burst
			}
			require.Len(t, doubts, n, "%d readings at %d a second", n, rate)
			assert.Len(t, took, 80-n)
			for _, d := range doubts {
				assert.Equal(t, Misread, d.Reason)
				assert.InDelta(t, 1000, float64(d.Off/measure.Micrometre), 300)
			}
		}
	}
}

// A figure at no valve is doubted for as long as it stays, and the first reading
// of all too.
func TestImplausible(t *testing.T) {
	lifts := ramp(100, 20)
	for _, i := range []int{0, 40, 41, 42, 43, 60} {
		lifts[i] = 668_000
	}
	took, doubts, _ := sifted(&Sift{Count: 1000}, at(50, lifts...))
	assert.Len(t, doubts, 6)
	assert.Len(t, took, 94)
	for _, d := range doubts {
		assert.Equal(t, Implausible, d.Reason, "%v", d)
	}
}

// A base that slips, a jerky start and a flank after a rest are no misreadings:
// every reading counts.
func TestWhatHandsDo(t *testing.T) {
	slipped := make([]int, 100)
	for i := 50; i < 100; i++ {
		slipped[i] = 400
	}
	rest := append(make([]int, 40), ramp(60, 120)...)
	back := make([]int, 0, 100) // a back-turn: on, back and on again
	for i := range 40 {
		back = append(back, i*100)
	}
	for i := range 20 {
		back = append(back, 3900-i*100)
	}
	for i := range 40 {
		back = append(back, 2000+i*100)
	}
	for name, lifts := range map[string][]int{"slip": slipped, "start": rest, "back-turn": back} {
		took, doubts, frozen := sifted(&Sift{Count: 1000}, at(50, lifts...))
		assert.Equal(t, lifts, took, name)
		assert.Empty(t, doubts, name)
		assert.Empty(t, frozen, name)
	}
}

// An indicator that repeats itself for a third of a second in the middle of a
// flank and then catches up is told with where and how far.
func TestFrozen(t *testing.T) {
	lifts := ramp(100, 200) // 10 mm a second
	for i := 31; i <= 45; i++ {
		lifts[i] = lifts[30]
	}
	_, doubts, frozen := sifted(&Sift{Count: 1000}, at(50, lifts...))
	assert.Empty(t, doubts)
	require.Len(t, frozen, 1)
	f := frozen[0]
	assert.Equal(t, 15, f.Readings)
	assert.InDelta(t, 3.2, f.Jump.Millimetres(), 0.01)
	assert.InDelta(t, 0.6, f.From.Seconds(), 1e-9)
	assert.InDelta(t, 0.9, f.Until.Seconds(), 1e-9)
}

// Whatever comes, each reading counts, is doubted or was held at the end; those
// that count keep their order and are as they came.
// A jump to where the signal stays is one that no valve makes where it is too fast for
// that, and only then: readings that come seldom hide as much.
func TestLeaps(t *testing.T) {
	for every, leaps := range map[int64]int{10_000: 1, 200_000: 0} {
		s := &Sift{Count: 10_000}
		var found []Leap
		for i := range 60 {
			lift := measure.Length(i) * 20 * measure.Micrometre
			if i >= 30 {
				lift += 3 * measure.Millimetre
			}
			stepped(s, nil, measure.Reading{At: measure.Stamp(int64(i) * every), Has: measure.HasLift, Lift: lift})
			found = append(found, s.Leaps()...)
		}
		if assert.Len(t, found, leaps, "readings every %d us", every) && leaps > 0 {
			assert.InDelta(t, 3020, float64(found[0].By)/1e3, 1)
			assert.Equal(t, measure.Stamp(30*every), found[0].At)
		}
	}
}

func TestNothingIsLostOrChanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 200).Draw(t, "readings")
		var all []measure.Reading
		now := measure.Stamp(0)
		for i := range n {
			now += measure.Stamp(rapid.IntRange(0, 200_000).Draw(t, "after"))
			all = append(all, measure.Reading{At: now, Has: measure.HasLift,
				Lift: measure.Length(rapid.IntRange(-200_000, 200_000).Draw(t, "lift"))*measure.Micrometre + measure.Length(i)})
		}
		s := &Sift{Count: float64(rapid.IntRange(0, 30_000).Draw(t, "count"))}
		var took []measure.Reading
		doubted := map[measure.Length]bool{}
		held := 0
		for _, r := range all {
			took = stepped(s, took, r)
			for _, d := range s.Doubts() {
				doubted[d.Reading.Lift] = true
			}
			if s.n > mostHeld {
				t.Fatalf("%d readings are held", s.n)
			}
		}
		held = s.n
		if !s.begun && n > 0 {
			held++
		}
		if len(took)+len(doubted)+held != n {
			t.Fatalf("of %d readings %d count, %d are doubted and %d held", n, len(took), len(doubted), held)
		}
		k := 0
		for _, r := range all {
			if k < len(took) && took[k] == r {
				k++
			}
		}
		if k != len(took) {
			t.Fatal("a reading was changed or came out of order")
		}
	})
}
