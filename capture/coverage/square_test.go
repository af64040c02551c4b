package coverage

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Three hundred rockers whose bend nobody knows, and a builder who calls square
// what stands within 0.1 mm of it. Whoever follows the advice either reaches that
// in two trials, or is told that the heights cannot show it and what to measure
// instead: in every one of them. And whoever then measures what was named gets
// there.
func TestTheAdviceConverges(t *testing.T) {
	const rockers = 300
	tolerance := 0.1
	for _, c := range []struct {
		name    string
		tells   func(r *rand.Rand, f found, q *shims.Question)
		noiseU  float64
		markU   float64
		reached int // at least so many must get there
	}{
		{"heights only", func(r *rand.Rand, f found, q *shims.Question) {
			q.RockerRatio = about(r, f.ratio, 0.03*f.ratio)
		}, 0.2, 0, 0},
		{"bend and centres as asked for", func(r *rand.Rand, f found, q *shims.Question) {
			q.ValveArm, q.AdjusterArm = mm(about(r, f.arm, 0.5)), mm(about(r, f.arm/f.ratio, 0.5))
			q.BallAboveLine, q.BallU = new(mm(about(r, f.BallAboveLine(), 0.05))), new(mm(0.05))
			q.CentresU, q.BelowU = new(mm(0.05)), mm(0.05)
		}, 0.05, 0, 280},
		{"lines on the stem under a glass", func(r *rand.Rand, f found, q *shims.Question) {
			q.ValveArm, q.AdjusterArm = mm(about(r, f.arm, 0.5)), mm(about(r, f.arm/f.ratio, 0.5))
			q.Lift, q.BelowU, q.MarkU = mm(f.Lift), mm(0.2), new(mm(0.03))
		}, 0.2, 0.03, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(20, 26))
			reached, told, wrong := 0, 0, 0
			for range rockers {
				f := rockerAsFound(t, r)
				if strings.HasPrefix(c.name, "bend") { // whoever marks the centres takes the heights there
					f.offTip, f.offBall = f.offTip.Times(0.1), f.offBall.Times(0.1)
				}
				var q shims.Question
				c.tells(r, f, &q)
				q.Tolerance = new(mm(tolerance))
				var a shims.Answer
				stacks := []float64{0}
				for range 2 {
					q.Trials = append(q.Trials, f.trials(t, r, stacks[len(stacks)-1:], c.noiseU, c.markU)...)
					var err error
					a, err = shims.Next(q)
					require.NoError(t, err)
					stacks = append(stacks, max(0, a.Total.Millimetres()))
				}
				// The stack that the second trial stood on, and the one that its
				// answer asks for.
				now, next := math.Abs(f.wanted-stacks[1]), math.Abs(f.wanted-a.Wanted.Millimetres())
				switch {
				case a.Verdict.Good(), a.WantedU <= mm(tolerance): // it says: square now, or with the next stack
					reached++
					if a.Verdict.Good() && now > tolerance || !a.Verdict.Good() && next > tolerance {
						wrong++
					}
				default:
					assert.NotEqual(t, verdict.Meets, a.Verdict.Kind)
					said := strings.Join(worksheet.In(a.Says, measure.InMillimetres), "\n")
					assert.True(t, strings.Contains(said, "straight edge") || strings.Contains(said, "centres_u_mm") || strings.Contains(said, "one line to the other"), "it does not say what to measure: %s", said)
					told++
				}
			}
			t.Logf("%d reached, %d told what to measure, %d of the reached were not", reached, told, wrong)
			assert.Equal(t, rockers, reached+told)
			assert.GreaterOrEqual(t, reached, c.reached)
			// What U leaves: no more than 4.6 of 100 stand beyond it.
			assert.LessOrEqual(t, float64(wrong), 0.046*float64(reached))
		})
	}
}

// What a person does with it: a tick never stands where nothing but heights is
// known, whatever they are.
func TestNoTickWithoutTheBend(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		f := rockerAsFound(t, r)
		q := shims.Question{RockerRatio: f.ratio, BelowU: mm(0.02), Trials: f.trials(t, r, []float64{0, 0.4, f.wanted, f.wanted}, 0.02, 0)}
		for i := range q.Trials {
			q.Trials[i].Stack[0] = max(0, q.Trials[i].Stack[0])
		}
		a, err := shims.Next(q)
		if err != nil { // a stack that cannot be, made zero above
			continue
		}
		assert.NotEqual(t, verdict.Meets, a.Verdict.Kind)
		assert.Greater(t, a.OffsetU, measure.Millimetre)
	}
}
