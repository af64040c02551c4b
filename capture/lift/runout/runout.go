// Package runout says by how much a heel goes up and down as the cam turns.
package runout

import (
	"cmp"
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
)

// Reading is one on a heel, and the flanks' ends beside it, in the order of time: nanometres
// over the heel, and degrees of the crank or NaN.
type Reading struct{ Y, A float64 }

// Indicator is how finely it reads: its step, the standard deviation of a reading, and how
// wide what lies on one level is; nanometres.
type Indicator struct{ Step, Noise, Wide float64 }

const (
	// What belongs to a flank is no heel: with an encoder, so many degrees at
	// either end of it; without, what rises farther than a heel runs out and
	// comes back.
	offFlank    = 40.0
	mostRunsOut = 35e3
	// Fewer readings say nothing.
	least = 20
	// The means of so many stretches, with nothing but noise in them, lie in a range of
	// so many of their standard deviations in 95 of 100 heels (tables of the studentized
	// range for 16 and known deviation, from memory).
	stretches, rangeOfMeans = 16, 4.9
)

// Of returns by how much a heel goes up and down: the range in which nine
// tenths of its time lie, less what its step and noise make. wander is what its
// uncertainty is made of, for which neither has to be beyond doubt: the range of the
// means of stretches of it, less what noise leaves in them. Nanometres.
func Of(p []Reading, by Indicator) (runOut, wander float64) {
	some := heelAlone(p, by.Wide)
	n := len(some)
	if n < least {
		return 0, 0
	}
	wander = by.wander(some)
	slices.SortFunc(some, func(a, b Reading) int { return cmp.Compare(a.Y, b.Y) })
	runOut = max(some[n-1-n/20].Y-some[n/20].Y-by.Step-4*by.Noise, 0)
	return runOut, max(runOut, wander)
}

// wander returns the range of the means of stretches of a heel.
func (by Indicator) wander(p []Reading) float64 {
	size := max(len(p)/stretches, 4)
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := 0; i+size <= len(p); i += size {
		mean := 0.0
		for _, q := range p[i : i+size] {
			mean += q.Y / float64(size)
		}
		lo, hi = min(lo, mean), max(hi, mean)
	}
	// Noise dithers the step away; without it a mean may lie half a step off.
	left := max(1-2*by.Noise/max(by.Step, 1), 0) * by.Step
	return max(hi-lo-left-rangeOfMeans*gum.Root(by.Noise, gum.Rectangular(by.Step))/math.Sqrt(float64(size)), 0)
}

// heelAlone returns the readings of a stretch between two flanks that belong to
// neither.
func heelAlone(p []Reading, wide float64) []Reading {
	if len(p) == 0 {
		return nil
	}
	kept := make([]Reading, 0, len(p))
	if first, last := p[0].A, p[len(p)-1].A; !math.IsNaN(first) && !math.IsNaN(last) {
		for _, q := range p {
			if math.Abs(q.A-first) > offFlank && math.Abs(q.A-last) > offFlank {
				kept = append(kept, q)
			}
		}
		return kept
	}
	for i := 0; i < len(p); {
		j, high := i, 0.0
		for j < len(p) && p[j].Y > wide {
			high = max(high, p[j].Y)
			j++
		}
		if j == i {
			kept = append(kept, p[i])
			i++
			continue
		}
		if i > 0 && j < len(p) && high <= mostRunsOut {
			kept = append(kept, p[i:j]...)
		}
		i = j
	}
	return kept
}
