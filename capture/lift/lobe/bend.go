package lobe

import (
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
)

// bends is how many levels a flank is looked at on, down to a third of the lift.
const bends = 40

// Bend is by how much slower a flank goes above a level than below it, for each of some
// levels, as the logarithm; NaN where readings do not tell. U is how well that is known
// from what is known of each reading.
//
// Near its nose a lobe's lift falls with the power p of the distance, 2 to 4, so that from
// a depth D to half of it takes 1.30 to 1.49 times as far as from one and a half D to D
// (derived here: (1-2^(-1/p))/(1.5^(1/p)-1)). An indicator that is pressed against the end
// of its travel, or in its clamp, takes several times as far above one level, the same on
// both flanks of all openings.
type Bend []struct{ By, U float64 }

// bendDepth returns how deep under the nose a level of [Bend] lies, as a share of the lift.
func bendDepth(i int) float64 { return 0.0015 * math.Pow(0.5/1.5/0.0015, float64(i)/(bends-1)) }

// What lies nearer together than so many times how well either end is known is not told
// apart; and an angle, a time or a reading is anywhere in its count (rectangular).
const bendApart, bendCount = 3.0, 0.29

// Readings is how well those of a flank are known: where to Off, as a standard uncertainty;
// the lift to a Step, and differences below Tells are none.
type Readings struct {
	Along            Axis
	Off, Step, Tells float64
}

// passed is where a flank passes a level, how well that is known, and which reading is the
// first above it.
type passed struct {
	x, u float64
	i    int
}

// BendOf looks at a flank, from the heel to the nose: x is the angle or the time, y the lift.
func BendOf(x, y []float64, height float64, r Readings) Bend {
	b := make(Bend, bends)
	highest := make([]float64, len(y)) // so far: a level is first passed where that is
	for i, v := range y {
		if highest[i] = v; i > 0 {
			highest[i] = max(v, highest[i-1])
		}
	}
	passes := func(level float64) passed {
		i, _ := slices.BinarySearch(highest, level)
		if i < 1 || i == len(y) {
			return passed{x: math.NaN()}
		}
		dx, dy := x[i]-x[i-1], y[i]-y[i-1]
		// On counts the flank passes anywhere between both readings, else anywhere in a count.
		within := bendCount * dx * min(1, r.Step/dy)
		return passed{x: x[i-1] + dx*(level-y[i-1])/dy, u: gum.Root(within, r.Off), i: i}
	}
	for i := range b {
		b[i].By = math.NaN()
		deep := bendDepth(i) * height
		if deep/2 < r.Tells {
			continue
		}
		below, at, above := passes(height-1.5*deep), passes(height-deep), passes(height-deep/2)
		slow, fast := math.Abs(above.x-at.x), math.Abs(at.x-below.x)
		// Between two readings the flank goes on unseen.
		if !(below.i < at.i && at.i < above.i && slow > bendApart*max(above.u, at.u) && fast > bendApart*max(at.u, below.u)) {
			continue
		}
		b[i].U = gum.Root(above.u/slow, at.u*(1/slow+1/fast), below.u/fast)
		if r.Along == OfTime && deep/4 >= r.Tells {
			half := passes(height - 0.75*deep).x
			slow = restless(slow, math.Abs(half-at.x), math.Abs(above.x-half))
		}
		b[i].By = math.Log(slow / fast)
	}
	return b
}

// restless returns how long the way from a depth to half of it takes, by the quicker of its
// halves where a hand rests in the other. Under a parabola's top they take such shares of it.
func restless(whole, lower, upper float64) float64 {
	const share = (1 - 0.8660254) / (1 - math.Sqrt2/2) // the lower one's
	lower, upper = lower/share, upper/(1-share)
	if quicker := min(lower, upper); quicker > 0 && max(lower, upper) > rests*quicker {
		return quicker
	}
	return whole
}

// rests: so many times slower one half of so short a way is only where a hand rests.
const rests = 2.0

// Bends is what the flanks of all openings of one valve say together. Along time a hand's
// own pace bends a flank as much as a soft stop does, but not all flanks at one level, and
// not by the same: where they agree far better than they differ from a lobe, something
// follows the valve by a share of its way.
type Bends struct {
	Along  Axis
	flanks [2][]Bend
	said   *bendSays
}

// bendFollows are the shares of the way that a spindle is taken to follow in a soft stop.
var bendFollows = [...]float64{0.58, 0.45, 0.35, 0.25, 0.18, 0.12, 0.07, 0.045}

// bendGains is by how much each bends a flank more than a lobe whose lift falls with the
// square of the distance, on a level that may be half a step from where the stop begins.
var bendGains = func() (by [len(bendFollows)]float64) {
	for i, k := range bendFollows {
		by[i] = math.Log((1-math.Sqrt2/2)/math.Sqrt(k)/(math.Sqrt(0.5+1/k)-math.Sqrt(1/k))) - bendLobe - 0.04
	}
	return by
}()

// bendLobe is how a flank bends whose lift falls with the square of the distance from the nose.
const bendLobe = 0.264

var (
	// bendLobes are how lobes bend and how many of them do so: as their powers go, and one
	// in fifty as a nose that is worn.
	bendLobes = [...][2]float64{{0.12, 0.2}, {bendLobe, 0.58}, {0.40, 0.2}, {0.55, 0.02}}
	// bendHabits are by how much all flanks bend the same by a hand's habit, which is no
	// steadier than that: in times of how much they differ, and how often.
	bendHabits = [...][2]float64{{0, 0.7}, {1, 0.2}, {2, 0.08}, {3, 0.02}}
	// bendScatters are by how much flanks may differ.
	bendScatters = [...]float64{0.06, 0.1, 0.17, 0.3, 0.5, 0.85}
)

const (
	// Bends that are less than this in the middle are a lobe's.
	bendLeast = 0.5
	// So many flanks say something along time, and along the angle, where no hand matters;
	// and the first so many are heard.
	bendsTime, bendsAngle, bendsMost = 3, 2, 48
	// One indicator in so many is pressed in: a stop is told where it is likelier than not,
	// and stands in the uncertainty where it is no less likely than one of twenty. Those that
	// are so much less likely than the likeliest are meant as well.
	bendPrior, bendLikely = 200.0, 2.0
)

// bendTells and bendMinds are logarithms of how many times likelier a soft stop must be.
var bendTells, bendMinds = math.Log(bendPrior), math.Log(bendPrior / 19)

// bendSays is what flanks say for each level and each share.
type bendSays [bends][len(bendFollows)]float64

// Add takes what the flanks of an opening say.
func (b *Bends) Add(flanks [2]Bend) {
	if len(b.flanks[0])+len(b.flanks[1]) >= bendsMost {
		return
	}
	for side, f := range flanks {
		b.flanks[side] = append(b.flanks[side], f)
	}
	b.said = nil
}

// at appends by how much the flanks bend on a level, with its uncertainty; both is whether
// opening flanks and closing ones do.
func (b *Bends) at(i int, by, u []float64) (_, _ []float64, both bool) {
	both = true
	for _, side := range b.flanks {
		before := len(by)
		for _, f := range side {
			if len(f) > 0 && !math.IsNaN(f[i].By) {
				by, u = append(by, f[i].By), append(u, f[i].U)
			}
		}
		both = both && len(by) > before
	}
	return by, u, both
}

// says returns for each level and share how many times likelier it is than a lobe and a hand,
// as the logarithm.
func (b *Bends) says() *bendSays {
	if b.said != nil {
		return b.said
	}
	b.said = new(bendSays)
	least := bendsTime
	if b.Along == OfAngle {
		least = bendsAngle
	}
	var by, u []float64
	for i := range bends {
		var both bool
		by, u, both = b.at(i, by[:0], u[:0])
		if len(by) >= least && both && slices.Sorted(slices.Values(by))[len(by)/2] > bendLeast {
			b.said[i] = weighBends(by, u)
		}
	}
	return b.said
}

// denies says that flanks do not bend at a level as they would from a stop that follows with a
// share on: by less than half of it. Along the angle no hand hides that.
func (b *Bends) denies(deep, follows float64) bool {
	most := math.Inf(-1)
	for i := range bends {
		if r := bendDepth(i) / deep; r < 1/bendNear || r > bendNear {
			continue
		}
		by, _, _ := b.at(i, nil, nil)
		if slices.Sort(by); len(by) > 0 {
			most = max(most, by[len(by)/2])
		}
	}
	return !math.IsInf(most, -1) && most < bendLobe-math.Log(follows)/2
}

// bendNear levels, by so many times deeper or less deep, are looked at for what a kink shows
// that is weighed at few of them.
const bendNear = 1.3

// weighBends weighs each share against none on one level.
func weighBends(by, u []float64) (says [len(bendFollows)]float64) {
	var lobes sum
	var stops [len(bendFollows)]sum
	for _, s := range bendScatters {
		for _, lobe := range bendLobes {
			for _, habit := range bendHabits {
				lobes.add(math.Log(lobe[1]*habit[1]) + likelihood(by, u, lobe[0], s, habit[0]))
			}
		}
		for k := range stops {
			stops[k].add(likelihood(by, u, bendLobe+bendGains[k], s, 0))
		}
	}
	for k := range says {
		says[k] = stops[k].log() - lobes.log()
	}
	return says
}

// likelihood returns the logarithm of how likely bends are about a middle, more by so many
// times what they scatter, but for what all have the same: by Student's law with three
// degrees of freedom, since a hand also rests.
func likelihood(by, u []float64, middle, scatter, habit float64) (l float64) {
	for i, v := range by {
		s := gum.Root(scatter, u[i])
		z := (v - middle - habit*s) / s
		l -= 2*math.Log1p(z*z/3) + math.Log(s)
	}
	return l
}

// sum adds up what is given as logarithms.
type sum struct {
	most, rest float64
	some       bool
}

func (s *sum) add(l float64) {
	if !s.some || l > s.most {
		s.rest *= math.Exp(s.most - l)
		s.most, s.some = l, true
	}
	s.rest += math.Exp(l - s.most)
}

func (s *sum) log() float64 { return s.most + math.Log(s.rest) }

// likeliest returns how much likelier the likeliest is, and how deep under the nose it begins.
func (b *Bends) likeliest() (most, deep float64) {
	for i, at := range b.says() {
		if says := slices.Max(at[:]); says > most {
			most, deep = says, bendDepth(i)
		}
	}
	return most, deep
}

// Tells says whether both flanks bend as over a soft stop, and how deep under the nose, as
// a share of the lift.
func (b *Bends) Tells() (deep float64, tells bool) {
	most, deep := b.likeliest()
	return deep, most > bendTells
}

// Takes returns what a soft stop may have taken off the nose, as a share of the lift: the
// most of those that are about as likely.
func (b *Bends) Takes() (takes float64) {
	most, _ := b.likeliest()
	least := max(most-bendLikely, bendMinds)
	for i, at := range b.says() {
		for k, says := range at {
			if says > least {
				takes = max(takes, bendDepth(i)*(1/bendFollows[k]-1))
			}
		}
	}
	return takes
}
