package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// habitsSeen is what a path shows of the hand behind it, in crank degrees and
// seconds.
type habitsSeen struct {
	longestBack float64 // turned back in one go
	backs       int
	rests       int     // longer than 0.1 s
	rested      float64 // in all
	fastest     float64 // mean speed of a piece
	strokes     []float64
}

func seen(p *path) habitsSeen {
	var h habitsSeen
	back, stroke := 0.0, 0.0
	for i := range len(p.knots) - 1 {
		a, b := p.knots[i], p.knots[i+1]
		d, dt := b.crank-a.crank, b.t-a.t
		h.fastest = max(h.fastest, math.Abs(d)/dt)
		if d < 0 {
			if back == 0 {
				h.backs++
			}
			back -= d
			h.longestBack = max(h.longestBack, back)
		} else if d > 0 {
			back = 0
			stroke += d
		}
		if d <= 0 && stroke > 0 {
			h.strokes = append(h.strokes, stroke)
			stroke = 0
		}
		if d == 0 && dt > 0.1 {
			h.rests++
			h.rested += dt
		}
	}
	return h
}

func pathOf(t *testing.T, h Hand) (*path, *train) {
	t.Helper()
	s, err := Scenario{Seed: 7, Hand: h, Openings: 12}.Play()
	require.NoError(t, err)
	return s.Truth.path, s.Truth.train
}

func TestStyles(t *testing.T) {
	smooth, _ := pathOf(t, Hand{})
	s := seen(smooth)
	assert.Zero(t, s.backs)
	assert.Equal(t, 2, s.rests, "before and after")
	assert.Less(t, s.fastest, 90.)

	bar, _ := pathOf(t, Hand{Style: Bar})
	s = seen(bar)
	assert.Greater(t, s.rests, 12*720/120)
	for _, stroke := range s.strokes[:len(s.strokes)-1] {
		assert.InDelta(t, 85, stroke, 36)
	}
	assert.Less(t, s.longestBack, 0.31)

	ratchet, _ := pathOf(t, Hand{Style: Ratchet})
	s = seen(ratchet)
	assert.Greater(t, s.backs, 12*720/40)
	assert.LessOrEqual(t, s.longestBack, 3.0)
	for _, stroke := range s.strokes {
		assert.LessOrEqual(t, stroke, 35.01)
	}

	jerky, _ := pathOf(t, Hand{Style: Jerky})
	s = seen(jerky)
	assert.Greater(t, s.fastest, 150., "sticks and slips")
	assert.Greater(t, s.rests, 20)

	back, train := pathOf(t, Hand{Style: BackTurning})
	s = seen(back)
	assert.InDelta(t, 48, s.backs, 10, "four a cycle")
	assert.Greater(t, s.longestBack, 15.)
	assert.LessOrEqual(t, s.longestBack, 20.+1e-9)
	// Some of them on the flanks, some just before and after the nose.
	var flank, nose int
	for i := 1; i < len(back.knots)-1; i++ {
		turns := back.knots[i].crank > back.knots[i-1].crank && back.knots[i+1].crank <= back.knots[i].crank
		rel := back.knots[i].crank - train.noseAt
		rel -= 720 * math.Round(rel/720)
		if turns && math.Abs(rel) < 10 {
			nose++
		} else if turns && rel > train.open && rel < train.close {
			flank++
		}
	}
	assert.Greater(t, flank, 10)
	assert.Greater(t, nose, 5)

	lurch, train := pathOf(t, Hand{Style: SpringLurch})
	runs := 0
	for i := range len(lurch.knots) - 1 {
		a, b := lurch.knots[i], lurch.knots[i+1]
		if (b.crank-a.crank)/(b.t-a.t) < 250 {
			continue
		}
		runs++
		rel := a.crank - train.noseAt
		rel -= 720 * math.Round(rel/720)
		assert.InDelta(t, 2.25, rel, 2, "it begins just after the nose")
		assert.InDelta(t, 25, b.crank-a.crank, 15.001, "10 to 40 degrees")
	}
	assert.Equal(t, 12, runs, "at every nose")
}

func TestStyleNames(t *testing.T) {
	for _, s := range Styles() {
		got, err := ParseStyle(s.String())
		require.NoError(t, err)
		assert.Equal(t, s, got)
	}
	_, err := ParseStyle("hurried")
	assert.ErrorContains(t, err, `"hurried"`)
}

func TestTremorShakesAtRestAndReturns(t *testing.T) {
	h := Hand{Tremor: measure.Degree / 2, Rests: []Rest{{Opening: 1, Where: AtNose, For: 20 * measure.Second}}}
	s, err := Scenario{Openings: 1, Hand: h}.Play()
	require.NoError(t, err)
	o := s.Truth.Openings[0]
	sum, turns, last := 0.0, 0, 0.0
	n := 0
	for at := o.Nose; at < o.Nose+19*measure.Second; at += 5 * measure.Millisecond {
		d := (s.Truth.CrankAt(at) - o.NoseAngle).Degrees()
		sum += d * d
		if n++; d*last < 0 {
			turns++
		}
		last = d
	}
	assert.InDelta(t, 0.4, math.Sqrt(sum/float64(n)), 0.15)
	assert.Greater(t, turns, 50)
}

func TestLurchIsCaughtAtARestAskedFor(t *testing.T) {
	rest := Rest{Where: AtAngle, FromNose: 10 * measure.Degree, For: 3 * measure.Second}
	p, train := pathOf(t, Hand{Style: SpringLurch, Rests: []Rest{rest}})
	rests := 0
	for i := range len(p.knots) - 1 {
		rel := p.knots[i].crank - train.noseAt
		if rel -= 720 * math.Round(rel/720); math.Abs(rel-10) < 1e-9 && p.knots[i].crank == p.knots[i+1].crank && p.knots[i+1].t-p.knots[i].t > 2.9 {
			rests++
		}
	}
	assert.Equal(t, 12, rests)
}

func TestHandsThatCannotBe(t *testing.T) {
	for says, h := range map[string]Hand{
		"speed":      {Speed: -1},
		"below zero": {Tremor: -1},
		"at most":    {BackTurns: 1e9},
		"last some":  {Rests: []Rest{{Where: AtNose}}},
	} {
		_, err := Scenario{Hand: h}.Play()
		assert.ErrorContains(t, err, says)
	}
	_, err := Scenario{Openings: -1}.Play()
	assert.ErrorContains(t, err, "-1 openings")
}

func TestPathIsMonotoneBetweenKnotsAndSolved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var knots []knot
		now := 0.0
		for range rapid.IntRange(2, 12).Draw(t, "knots") {
			now += rapid.Float64Range(1e-4, 2).Draw(t, "dt")
			knots = append(knots, knot{now, rapid.Float64Range(-400, 400).Draw(t, "crank")})
		}
		p := newPath(knots)
		for i := range len(knots) - 1 {
			a, b := knots[i], knots[i+1]
			require.Equal(t, a.crank, p.at(a.t))
			last := a.crank
			for k := range 51 {
				c := p.in(i, a.t+(b.t-a.t)*float64(k)/50)
				require.GreaterOrEqual(t, (c-last)*(b.crank-a.crank), -1e-9)
				require.GreaterOrEqual(t, c, min(a.crank, b.crank)-1e-9)
				require.LessOrEqual(t, c, max(a.crank, b.crank)+1e-9)
				last = c
			}
			want := within(min(a.crank, b.crank), max(a.crank, b.crank), a.crank+(b.crank-a.crank)*rapid.Float64Range(0, 1).Draw(t, "part"))
			require.InDelta(t, want, p.in(i, p.when(i, want)), 1e-9*(1+math.Abs(b.crank-a.crank)/(b.t-a.t)))
		}
		c := cursor{p: p}
		for k := range 100 {
			at := now * float64(k) / 99
			require.Equal(t, p.at(at), c.at(at))
		}
	})
}
