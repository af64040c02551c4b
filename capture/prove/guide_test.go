package prove_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// run feeds a guide with what a gauge shows, and tells of each stage that it came to.
func run(g *prove.Guide, readings []measure.Reading, tell func(string, ...any)) {
	last := ""
	for _, r := range readings {
		g.Step(r)
		if n := g.Now(); string(n.Stage)+n.Says+n.Problem != last {
			last = string(n.Stage) + n.Says + n.Problem
			tell("%8.3f s %8.4f mm  %s: %s [%s]", r.At.Seconds(), r.Lift.Millimetres(), n.Stage, n.Says, n.Problem)
		}
	}
}

func some(rng *rand.Rand) gauge {
	pick := func(of ...float64) float64 { return of[rng.IntN(len(of))] }
	g := gauge{travel: pick(5, 10, 12.7, 25.4, 50), sign: pick(1, -1), zero: 20*rng.Float64() - 10,
		step: pick(0.001, 0.00127, 0.0005, 0.01, 0.0127, 0.00254), rate: pick(5, 10, 20, 50, 100, 200, 500, 1000),
		pull: pick(10, 20, 40, 80), noise: 0}
	g.zero = math.Round(g.zero/g.step) * g.step
	if rng.IntN(2) == 0 {
		g.lag, g.box = 0.03+0.09*rng.Float64(), rng.IntN(2) == 0
	}
	if rng.IntN(2) == 0 {
		g.play = float64(2+rng.IntN(4)) * g.step
	}
	if rng.IntN(3) == 0 {
		g.noise = 0.5 * g.step
	}
	if rng.IntN(3) == 0 && g.rate >= 20 {
		g.refresh = pick(2, 3, 5) / g.rate
	}
	return g
}

// trial is a gauge that was proved by somebody, and what came out.
type trial struct {
	gauge
	proof prove.Proof
	now   prove.Now
	ok    bool
}

// prove proves a gauge; LOBESCRIBE_PROVE names the seed of a run that is told.
func (g gauge) prove(t *testing.T, seed uint64) trial {
	tell := func(string, ...any) {}
	if os.Getenv("LOBESCRIBE_PROVE") == fmt.Sprint(seed) {
		tell = t.Logf
	}
	guide := prove.New(prove.Options{})
	run(guide, g.show(g.proving(seed, true), seed), tell)
	p, ok := guide.Proof()
	return trial{g, p, guide.Now(), ok}
}

// count returns how many gauges a test proves: n, or LOBESCRIBE_GAUGES.
func count(n int) int {
	if more, err := strconv.Atoi(os.Getenv("LOBESCRIBE_GAUGES")); err == nil {
		return more
	}
	return n
}

// many proves so many gauges and returns how many proofs failed, and in how many
// a figure is outside its own uncertainty, which one in twenty may be.
func many(t *testing.T, n int, spoil func(*rand.Rand, *gauge)) (failed, outside int) {
	rng := rand.New(rand.NewPCG(7, 7))
	for seed := range uint64(n) {
		g := some(rng)
		spoil(rng, &g)
		r := g.prove(t, seed)
		switch why := r.wrong(); {
		case !r.ok:
			failed++
			t.Logf("%d: %v: not done: %+v", seed, g, r.now)
		case why != "":
			failed++
			t.Logf("%d: %v: %s\n   %+v", seed, g, why, r.proof)
		case r.lagIsOff():
			outside++
			t.Logf("%d: %v: lag %v ± %v", seed, g, r.proof.Lag, r.proof.LagU)
		}
	}
	return failed, outside
}

func TestSoundGauges(t *testing.T) {
	n := count(24)
	failed, outside := many(t, n, func(*rand.Rand, *gauge) {})
	if failed > 0 || outside > n/20 {
		t.Errorf("of %d gauges %d were proved wrongly, and of %d the lag is outside its uncertainty", n, failed, outside)
	}
}

func TestGaugesWithTroubles(t *testing.T) {
	for name, spoil := range map[string]func(*rand.Rand, *gauge){
		"a digit misread, 5 of 1000":   func(_ *rand.Rand, g *gauge) { g.misread = 5 },
		"bursts of up to ten":          func(_ *rand.Rand, g *gauge) { g.misread, g.burst, g.more = 1, int(min(10, 0.3*g.rate)), 2 },
		"a figure that repeats itself": func(_ *rand.Rand, g *gauge) { g.frozen, g.more = 0.3, 3 },
		"stamps that are late":         func(_ *rand.Rand, g *gauge) { g.jitter = min(0.004, 0.4/g.rate) },
	} {
		t.Run(name, func(t *testing.T) {
			n := count(8)
			failed, outside := many(t, n, spoil)
			if failed > n/10 || outside > n/10 {
				t.Errorf("of %d gauges %d were proved wrongly, and of %d the lag is outside its uncertainty", n, failed, outside)
			}
		})
	}
}

// wrong says what of a proof is not as it is.
func (r trial) wrong() string {
	g, p := r.gauge, r.proof
	low, high := g.zero, g.zero+g.sign*g.travel
	if low > high {
		low, high = high, low
	}
	step, slack := g.step, g.step+g.play/2+2*g.noise
	off := func(a measure.Length, b float64) float64 { return math.Abs(a.Millimetres() - b) }
	switch {
	case off(p.Low, low) > slack || off(p.High, high) > slack:
		return fmt.Sprintf("stops %v %v, not %.4f %.4f", p.Low, p.High, low, high)
	case p.In != int(g.sign):
		return "the direction"
	case off(p.Stick, g.play) > 1.01*step+g.noise:
		return fmt.Sprintf("stick %v, not %.4f", p.Stick, g.play)
	case off(p.Step, g.step) > 1e-6:
		return fmt.Sprintf("step %v", p.Step)
	case math.Abs(p.Rate/g.rate-1) > 0.05:
		return fmt.Sprintf("rate %v", p.Rate)
	}
	refresh := max(g.refresh, 1/g.rate)
	if math.Abs(p.Refresh.Seconds()/refresh-1) > 0.25 {
		return fmt.Sprintf("refresh %v", p.Refresh)
	}
	return ""
}

func (r trial) lagIsOff() bool {
	lag, u := r.proof.Lag.Seconds(), r.proof.LagU.Seconds()
	return math.Abs(lag-r.lag) > max(0.2*r.lag, u, 0.004)
}
