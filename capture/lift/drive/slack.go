package drive

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"lobescribe/capture/internal/gum"
)

// What is known of a drive beside its delay: its slack, and how far it can be known.

// grainOf returns what the encoder's count, and flanks that are no polynomial, leave
// unknown of a delay, seconds: a crank that goes slowly passes each count at the same
// lift every time, and one that goes evenly tells a delay from a flank's shape by little.
func grainOf(openings []*Passage) float64 {
	count, n, sum, square := math.Inf(1), 0.0, 0.0, 0.0
	for _, o := range openings {
		count = min(count, o.count)
		for _, r := range o.flanks {
			w := math.Abs(o.speedAt(r.t))
			n, sum, square = n+1, sum+w, square+w*w
		}
	}
	speed := sum / n
	uneven := math.Sqrt(max(square/n-speed*speed, 0))
	if !(speed > 0 && uneven > 0) {
		return UnknownLag
	}
	return gum.Root(grainShare*count/speed, flankMisfit/uneven)
}

// flankMisfit is by how much a flank is no polynomial of so many powers, degrees.
const flankMisfit = 0.004

// grainShare of a count is a standard uncertainty of where in a count the crank is: less
// than one of a single reading, since a hand is never quite even.
const grainShare = 0.1

// middleOf returns the middle of the sizes of residuals.
func middleOf(residuals []float64) float64 {
	size := make([]float64, len(residuals))
	for i, e := range residuals {
		size[i] = math.Abs(e)
	}
	slices.Sort(size)
	return size[len(size)/2]
}

// fitSlack compares the strokes back with the flanks that go forward: at the same
// lift the crank has gone back by the slack before the valve follows.
func (d *Fit) fitSlack(openings []*Passage, c *mat.VecDense, zero []float64) {
	var means []float64 // of each stroke
	speed := 0.0
	for i, o := range openings {
		shift := zero[i]
		if i > 0 {
			shift += c.AtVec(shiftAt - 1 + i)
		}
		for _, stroke := range o.backs {
			mean := 0.0
			for _, r := range stroke {
				forward, k := shift, 1.0
				for j := range drivePowers {
					forward += c.AtVec(r.side*drivePowers+j) * k
					k *= r.y / FlankShare
				}
				mean += (forward - o.at(r.t-d.Lag)) / float64(len(stroke))
				speed += math.Abs(o.speedAt(r.t)) / float64(len(stroke))
			}
			means = append(means, mean)
		}
	}
	n := float64(len(means))
	if n < leastStrokes {
		return
	}
	slices.Sort(means)
	d.Slack = (means[len(means)/2] + means[(len(means)-1)/2]) / 2
	off := make([]float64, len(means))
	for i, m := range means {
		off[i] = math.Abs(m - d.Slack)
	}
	slices.Sort(off)
	scatter := max(1.4826*off[len(off)/2], d.within)
	// Going back the lag works the other way.
	d.SlackU = gum.Root(1.25*scatter/math.Sqrt(n), 2*d.U*speed/n)
}

const (
	// A stroke back tells of slack once it has taken that up, degrees; and where the
	// flanks forward are fitted well.
	slackBack, backShare = 2.5, 0.9 * FlankShare
	leastBackward        = 3 // readings of a stroke
	leastStrokes         = 2
)
