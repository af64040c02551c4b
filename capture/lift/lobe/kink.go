package lobe

import (
	"math"

	"lobescribe/capture/internal/gum"
)

// A spindle that is pressed into a soft stop follows the valve by a share of its way from
// one level on, the same on both flanks. There the flank has a kink, as no lobe has: the
// angle of a lobe is a smooth curve along the root of the depth under its nose, near which
// it is a straight line. A kink is told where that curve is not smooth as it is read, and is
// with what was not followed put back.

const (
	// A flank is looked at down to so deep under the nose, as a share of the lift, in so
	// many steps of equal length in the root of the depth; fewer with readings say nothing.
	kinkDeepest, kinkSteps, kinkLeast = 0.5, 24, 8
	// What is less deep than so many standard deviations of a reading is not looked at, and
	// of a step so many readings count.
	kinkNoise, kinkReadings = 2.5, 4.0
	// A curve of so many powers is fitted, which a lobe is but for such a share of the angle
	// that is looked at. What it leaves is noise up to so many times what is expected.
	kinkPowers, kinkUnlike, kinkSmooth = 4, 0.004, 1.5
)

// kinkFollows are the shares of the way that a spindle is taken to follow in a soft stop.
var kinkFollows = [...]float64{0.55, 0.35, 0.2, 0.1}

// kinkDepths levels are tried, from that share of the lift under the nose to that: higher up
// a lobe may be as flat.
const kinkDepths, kinkShallow, kinkLowest = 9, 0.01, 0.35

// kinkSizes is the number of kinks that are weighed: depths times shares.
const kinkSizes = kinkDepths * len(kinkFollows)

// Kink is what a flank says for each, as the logarithm of how many times likelier it is
// with it than smooth; 0 for none.
type Kink [kinkSizes]float64

// kinkAt returns how deep under the nose that is seen a kink lies, as a share of the lift,
// and which share of the way is followed above it.
func kinkAt(i int) (deep, follows float64) {
	return kinkShallow * math.Pow(kinkLowest/kinkShallow, float64(i/len(kinkFollows))/(kinkDepths-1)), kinkFollows[i%len(kinkFollows)]
}

// kinkTakes returns what a kink takes off the nose, as a share of the lift that is seen.
func kinkTakes(i int) float64 {
	deep, follows := kinkAt(i)
	return deep * (1/follows - 1)
}

// kinkPiece is a step of a flank: how deep under the nose it is, where, and how well that
// is known, as a weight.
type kinkPiece struct{ deep, x, w float64 }

// KinkOf looks at a flank against the crank angle, known to off: y is the lift, scatter the
// standard deviation of one.
func KinkOf(x, y []float64, off, height, scatter float64) (k Kink) {
	p := kinkPieces(x, y, off, height, scatter)
	if len(p) < kinkLeast {
		return k
	}
	smooth := kinkFit(p, 0, 1)
	dof := float64(len(p) - kinkPowers)
	if smooth <= kinkSmooth*dof {
		return k
	}
	for i := range k {
		deep, follows := kinkAt(i)
		if deep <= p[1].deep || deep >= p[len(p)-4].deep {
			continue // no smooth curve is left on one side of it
		}
		left := kinkFit(p, deep, follows)
		k[i] = (smooth - left) / 2 / max(left/dof, 1)
	}
	return k
}

// kinkPieces returns the means of the steps from the nose down.
func kinkPieces(x, y []float64, off, height, scatter float64) []kinkPiece {
	var sum [kinkSteps]struct{ n, x, deep float64 }
	nose := x[len(x)-1]
	for i, v := range y {
		deep := 1 - v/height
		if deep*height < kinkNoise*scatter || deep >= kinkDeepest {
			continue
		}
		q := &sum[int(math.Sqrt(deep/kinkDeepest)*kinkSteps)]
		q.n, q.x, q.deep = q.n+1, q.x+math.Abs(x[i]-nose), q.deep+deep
	}
	p := make([]kinkPiece, 0, kinkSteps)
	for _, q := range sum {
		if q.n > 0 {
			p = append(p, kinkPiece{deep: q.deep / q.n, x: q.x / q.n, w: min(q.n, kinkReadings)})
		}
	}
	if len(p) < 3 {
		return nil
	}
	own := kinkUnlike * math.Abs(p[len(p)-1].x-p[0].x)
	for i := range p {
		a, b := p[max(i-1, 0)], p[min(i+1, len(p)-1)]
		steep := max((b.deep-a.deep)*height/math.Abs(b.x-a.x), 1)
		u := gum.Root(gum.Root(off, scatter/steep)/math.Sqrt(p[i].w), own)
		p[i].w = 1 / u
	}
	return p
}

// kinkFit puts back what was not followed above a kink, fits the smooth curve, and returns
// the sum of squares that is left.
func kinkFit(p []kinkPiece, deep, follows float64) (left float64) {
	var base [kinkPowers][kinkSteps]float64
	var rest [kinkSteps]float64
	for i, q := range p {
		whole := q.deep / follows
		if q.deep > deep {
			whole = q.deep + deep*(1/follows-1)
		}
		s, power := math.Sqrt(whole), q.w
		for j := range base {
			base[j][i], power = power, power*s
		}
		rest[i] = q.x * q.w
	}
	n := len(p)
	dot := func(a, b *[kinkSteps]float64) (sum float64) {
		for i := range n {
			sum += a[i] * b[i]
		}
		return sum
	}
	for j := range base { // the curve's powers made orthogonal (Gram and Schmidt), and taken off
		for k := range j {
			by := dot(&base[j], &base[k])
			for i := range n {
				base[j][i] -= by * base[k][i]
			}
		}
		size := math.Sqrt(dot(&base[j], &base[j]))
		if size == 0 {
			continue
		}
		for i := range n {
			base[j][i] /= size
		}
		by := dot(&rest, &base[j])
		for i := range n {
			rest[i] -= by * base[j][i]
		}
	}
	return dot(&rest, &rest)
}

// Kinks is what the flanks of all openings say together, and how they bend, which denies some.
type Kinks struct {
	Bends    Bends
	sides    [2]Kink
	openings int
}

const (
	// One flank says no more, and of the openings, which have one lobe and what it is no
	// smooth curve by, so many count; as logarithms.
	kinkMost, kinkOpenings = 15.0, 2.0
	// A kink is told beyond this, and in the uncertainty beyond that: one in some hundred
	// indicators is pressed in. Those that are so much less likely are meant as well.
	kinkTells, kinkMinds, kinkLikely = 8.0, 5.0, 2.0
	// Less deep a nose may be as flat by itself, and a hard stop bends no flank.
	flattest = 0.03
)

// Add takes what the flanks of an opening say.
func (k *Kinks) Add(flanks [2]Kink, bend [2]Bend, angles bool) {
	k.openings++
	if angles {
		k.Bends.Along = OfAngle
	}
	k.Bends.Add(bend)
	for side, says := range flanks {
		for i, by := range says {
			k.sides[side][i] += min(by, kinkMost)
		}
	}
}

// say is for a kink, by the flank that says less.
func (k *Kinks) say(i int) float64 {
	says := min(k.sides[0][i], k.sides[1][i]) * min(1, kinkOpenings/float64(max(k.openings, 1)))
	if deep, follows := kinkAt(i); deep > flattest && says > kinkMinds && k.Bends.denies(deep, follows) {
		return 0
	}
	return says
}

func (k *Kinks) likeliest() (best int) {
	for i := range kinkSizes {
		if k.say(i) > k.say(best) {
			best = i
		}
	}
	return best
}

// Tells says whether both flanks have a kink beyond doubt, and how deep under the nose, as a
// share of the lift.
func (k *Kinks) Tells() (deep float64, tells bool) {
	best := k.likeliest()
	if deep, _ = kinkAt(best); deep > flattest && k.say(best) > kinkTells {
		return deep, true
	}
	return k.Bends.Tells()
}

// Takes returns what the spindle may have been pressed in by, as a share of the lift: the
// most of the kinks that are about as likely.
func (k *Kinks) Takes() (most float64) {
	most = k.Bends.Takes()
	least := max(k.say(k.likeliest())-kinkLikely, kinkMinds)
	for i := range kinkSizes {
		if k.say(i) > least {
			most = max(most, kinkTakes(i))
		}
	}
	return most
}
