package lobe

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// From a depth D under a nose that falls with the power p to half of it a flank goes
// (1-2^(-1/p))/(1.5^(1/p)-1) times as far as from one and a half D to D, whatever D is:
// the depth is the distance to the power p (derived here). Above a level at which an
// indicator follows with a fifth of the way it goes about five times as far.
func TestBendOf(t *testing.T) {
	fine := Readings{Along: OfAngle, Off: 0.07, Step: 1e3, Tells: 3e3}
	flank := func(p float64, follows func(y float64) float64) (x, y []float64) {
		for a := -100.0; a <= 0; a += 0.25 {
			x, y = append(x, a), append(y, follows(10e6*(1-math.Pow(-a/100, p))))
		}
		return x, y
	}
	for _, p := range []float64{2, 3, 4} {
		x, y := flank(p, func(y float64) float64 { return y })
		said := 0
		for i, b := range BendOf(x, y, 10e6, fine) {
			if math.IsNaN(b.By) {
				continue
			}
			said++
			assert.InDelta(t, math.Log((1-math.Pow(2, -1/p))/(math.Pow(1.5, 1/p)-1)), b.By, 0.05, "power %v, %v deep", p, bendDepth(i))
		}
		assert.Greater(t, said, 5)
	}
	const stop = 9e6
	x, y := flank(2, func(y float64) float64 { return min(y, stop) + max(y-stop, 0)/5 })
	most, deep := math.Inf(-1), 0.0
	for i, b := range BendOf(x, y, y[len(y)-1], fine) {
		if b.By > most {
			most, deep = b.By, bendDepth(i)
		}
	}
	assert.Greater(t, most, math.Log(4))
	assert.InDelta(t, 0.2/9.2, deep, 0.01, "it is told where it is")

	for _, b := range BendOf(x[:1], y[:1], 10e6, fine) {
		assert.True(t, math.IsNaN(b.By))
	}
}

// openings returns what the flanks of so many openings of one lobe say along time, in
// readings 0.02 s apart: each is turned at a pace of its own that wanders, and by some is
// slowed down near the nose from a depth on, as rand has it.
func openings(n int, r *rand.Rand, follows func(y float64) float64, slows func(r *rand.Rand) (from, by float64)) *Bends {
	const height = 10e6
	var b Bends
	for range n {
		var flanks [2]Bend
		for side := range flanks {
			var x, y []float64
			from, by := slows(r)
			pace, at := 20*math.Exp(r.NormFloat64()/4), 0.0
			for a := -100.0; a <= 0; at += 0.02 {
				deep := a * a / 1e4
				x, y = append(x, at), append(y, math.Round(follows(height*(1-deep))/5e3)*5e3)
				pace *= math.Exp(r.NormFloat64() / 80)
				speed := pace
				if deep < from {
					speed /= by
				}
				a += speed * 0.02
			}
			flanks[side] = BendOf(x, y, y[len(y)-1], Readings{Off: 0.002, Step: 5e3, Tells: 15e3})
		}
		b.Add(flanks)
	}
	return &b
}

// A soft stop bends all flanks by the same at one level, whatever the hand: it is told from
// some openings on, where it is, and what it takes is in the ±. A hand that slows down by as
// much, each time from elsewhere, is not told, and neither is a steady one; and one opening
// tells nothing along time. The stop's law is derived here: what is above its level is
// followed by a share.
func TestBends(t *testing.T) {
	const stop = 9e6
	steady := func(*rand.Rand) (float64, float64) { return 0, 1 }
	creeps := func(r *rand.Rand) (float64, float64) { return 0.01 * math.Exp(2*r.Float64()), 2 + 3*r.Float64() }
	whole := func(y float64) float64 { return y }
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 1))
		for name, slows := range map[string]func(*rand.Rand) (float64, float64){"steady": steady, "creeps": creeps} {
			for _, n := range []int{2, 4, 8} {
				_, tells := openings(n, r, whole, slows).Tells()
				assert.False(t, tells, "%s, %d openings, seed %d", name, n, seed)
			}
		}
		for _, follows := range []float64{0.15, 0.3, 0.45} {
			pressed := func(y float64) float64 { return min(y, stop) + follows*max(y-stop, 0) }
			seen := pressed(10e6)
			b := openings(6, r, pressed, steady)
			deep, tells := b.Tells()
			assert.True(t, tells, "follows by %v, seed %d", follows, seed)
			assert.InEpsilon(t, (seen-stop)/seen, deep, 0.35, "follows by %v, seed %d", follows, seed)
			assert.Greater(t, b.Takes()*seen, (10e6-seen)/1.5, "follows by %v, seed %d", follows, seed)
			_, tells = openings(1, r, pressed, steady).Tells()
			assert.False(t, tells, "one opening")
		}
	}
}

// Where nothing bends a flank, a kink is denied; where it bends as from one, it is not.
func TestBendsDenyAKink(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	steady := func(*rand.Rand) (float64, float64) { return 0, 1 }
	sound := openings(2, r, func(y float64) float64 { return y }, steady)
	assert.True(t, sound.denies(0.05, 0.3))
	pressed := openings(2, r, func(y float64) float64 { return min(y, 9e6) + 0.3*max(y-9e6, 0) }, steady)
	assert.False(t, pressed.denies(0.3*0.1/0.93, 0.3))
	assert.False(t, (&Bends{}).denies(0.05, 0.3), "nothing is known")
}

// A rest in one half of a way does not make it slow.
func TestRestless(t *testing.T) {
	whole := func(lower, upper float64) float64 { return restless(lower+upper, lower, upper) }
	assert.InDelta(t, 1, whole(0.457, 0.543), 0.01)
	assert.InDelta(t, 1, whole(5.457, 0.543), 0.01)
	assert.InDelta(t, 1, whole(0.457, 5.543), 0.01)
}
