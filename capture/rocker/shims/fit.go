package shims

import (
	"math"
	"math/bits"
)

// The odds that the fit starts from; the package comment says what they stand
// for. Common practice, no source: they were set from what goes wrong on a
// bench, and the simulation in the tests shows what they do.
const (
	quietest, noisiest = 0.002, 0.5 // noise of a trial's height difference, mm, one standard deviation
	noiseSteps         = 12
	wrongOdds          = 0.05 // that a trial is plain wrong
	wrongBy            = 3.0  // mm, one standard deviation
	mostCases          = 4_000
)

// slopes are the standard deviations of kappa about 1 and their odds: what a
// stamped ratio, a bend within 10 degrees and a stand some degrees off the valve
// come to (the coverage suite draws them); heights taken elsewhere than at the
// centres; worse. Together they have heavier tails than one normal, so that trials
// that say otherwise are heard.
var slopes = [...]struct{ sd, odds float64 }{{0.013, 0.87}, {0.05, 0.1}, {0.2, 0.03}}

// point is one trial as the fit sees it: stack and how short it was, in
// millimetres, and how many millimetres of short a millimetre of height
// difference is worth.
type point struct{ stack, short, worth float64 }

// guess is one case of noise, slope odds and wrong trials, fitted.
type guess struct {
	odds         float64 // of the case, given the trials
	wrong        uint64  // bit i: trial i is wrong
	kappa        float64
	kappaVar     float64
	stack, short float64 // the middle of the trials, where both errors part
	shortVar     float64
}

// wanted is where the guess's line meets zero.
func (g guess) wanted() (mean, variance float64) {
	k := max(g.kappa, 0.3) // a line that hardly falls says nothing of where it ends
	d := g.short / k
	return g.stack + d, (g.shortVar + d*d*g.kappaVar) / (k * k)
}

// shortAt is what the guess foretells of a stack.
func (g guess) shortAt(stack float64) (mean, variance float64) {
	d := stack - g.stack
	return g.short - g.kappa*d, g.shortVar + d*d*g.kappaVar
}

// fit is all guesses, their odds adding up to one.
type fit []guess

// mean weighs one figure of every guess; the variance is that within the
// guesses and that between them.
func (f fit) mean(figure func(guess) (mean, variance float64)) (mean, sd float64) {
	for _, g := range f {
		m, _ := figure(g)
		mean += g.odds * m
	}
	variance := 0.0
	for _, g := range f {
		m, v := figure(g)
		variance += g.odds * (v + (m-mean)*(m-mean))
	}
	return mean, math.Sqrt(variance)
}

// expanded is mean with its expanded uncertainty: what holds the figure with 95.45
// of 100, as k = 2 does of a normal distribution. The cases together have long
// tails, and twice a standard deviation would say what those are worth instead.
// more is the standard deviation of what is in every case alike.
func (f fit) expanded(figure func(guess) (mean, variance float64), more float64) (mean, u float64) {
	mean, sd := f.mean(figure)
	type part struct{ odds, off, sd float64 }
	var parts []part
	for _, g := range f {
		if g.odds < 1e-7 { // nothing in the fourth digit
			continue
		}
		m, v := figure(g)
		parts = append(parts, part{g.odds, m - mean, math.Sqrt(v + more*more)})
	}
	low, high := 0.0, 12*math.Hypot(sd, more)
	for range 30 {
		u = (low + high) / 2
		inside := 0.0
		for _, p := range parts {
			inside += p.odds * (math.Erf((u-p.off)/(p.sd*math.Sqrt2)) + math.Erf((u+p.off)/(p.sd*math.Sqrt2))) / 2
		}
		if inside < coverage {
			low = u
		} else {
			high = u
		}
	}
	return mean, u
}

// coverage is that of k = 2 for a normal distribution (JCGM 100:2008, G.1.3).
const coverage = 0.9545

// wrong is how likely trial i is to be wrong; any, that some trial is.
func (f fit) wrong(i int) (odds float64) {
	for _, g := range f {
		if g.wrong&(1<<i) != 0 {
			odds += g.odds
		}
	}
	return odds
}

func (f fit) any() (odds float64) {
	for _, g := range f {
		if g.wrong != 0 {
			odds += g.odds
		}
	}
	return odds
}

// fitTrials weighs every case. noise is the standard deviation of a height
// difference if it is known, else 0. evidence is the logarithm of how well all
// cases together foretold the trials, less a constant.
func fitTrials(points []point, noise float64) (f fit, evidence float64) {
	noises := []float64{noise}
	if noise == 0 {
		noises = noises[:0]
		for i := range noiseSteps {
			noises = append(noises, quietest*math.Pow(noisiest/quietest, float64(i)/(noiseSteps-1)))
		}
	}
	logs := []float64{}
	for _, wrong := range wrongSets(len(points)) {
		n := bits.OnesCount64(wrong)
		odds := float64(n)*math.Log(wrongOdds) + float64(len(points)-n)*math.Log(1-wrongOdds)
		for _, sd := range noises {
			for _, slope := range slopes {
				g, evidence := fitCase(points, wrong, sd, slope.sd)
				f = append(f, g)
				logs = append(logs, evidence+odds+math.Log(slope.odds))
			}
		}
	}
	most, sum := math.Inf(-1), 0.0
	for _, l := range logs {
		most = max(most, l)
	}
	for i, l := range logs {
		f[i].odds = math.Exp(l - most)
		sum += f[i].odds
	}
	for i := range f {
		f[i].odds /= sum
	}
	return f, most + math.Log(sum)
}

// fitCase fits short = c - kappa stack with c flat and kappa normal about 1,
// and returns the logarithm of how well the case foretold the trials, less a
// constant that all cases share. Textbook conjugate regression.
func fitCase(points []point, wrong uint64, noise, slopeSD float64) (guess, float64) {
	g := guess{wrong: wrong}
	weight := func(i int) float64 {
		sd := noise
		if wrong&(1<<i) != 0 {
			sd = math.Hypot(noise, wrongBy)
		}
		sd *= points[i].worth
		return 1 / (sd * sd)
	}
	total, evidence := 0.0, 0.0
	for i, p := range points {
		w := weight(i)
		total += w
		g.stack += w * p.stack
		g.short += w * p.short
		evidence += math.Log(w)
	}
	g.stack, g.short, g.shortVar = g.stack/total, g.short/total, 1/total
	prior := 1 / (slopeSD * slopeSD)
	precision, pull := prior, prior
	for i, p := range points {
		w, d := weight(i), p.stack-g.stack
		precision += w * d * d
		pull -= w * d * (p.short - g.short)
	}
	g.kappa, g.kappaVar = pull/precision, 1/precision
	misfit := (g.kappa - 1) * (g.kappa - 1) * prior
	for i, p := range points {
		r := p.short - g.short + g.kappa*(p.stack-g.stack)
		misfit += weight(i) * r * r
	}
	return g, (evidence - math.Log(total) + math.Log(prior/precision) - misfit) / 2
}

// wrongSets lists which trials may be wrong together: none, each, each pair,
// and so on to half of them or to what can be tried. A single trial has nothing
// to be told wrong by.
func wrongSets(n int) []uint64 {
	sets := []uint64{0}
	last := sets
	for size := 1; size <= n/2; size++ {
		var next []uint64
		for _, s := range last {
			for i := bits.Len64(s); i < n; i++ {
				next = append(next, s|1<<i)
			}
		}
		if len(sets)+len(next) > mostCases {
			break
		}
		sets = append(sets, next...)
		last = next
	}
	return sets
}

// straightLine is least squares through the trials and nothing else: where it
// meets zero. ok is false when the trials do not make a line that falls.
func straightLine(points []point) (wanted float64, ok bool) {
	n := float64(len(points))
	var stack, short float64
	for _, p := range points {
		stack += p.stack / n
		short += p.short / n
	}
	var dd, dy float64
	for _, p := range points {
		dd += (p.stack - stack) * (p.stack - stack)
		dy += (p.stack - stack) * (p.short - short)
	}
	if dd < 1e-9 || dy >= 0 {
		return 0, false
	}
	return stack - short*dd/dy, true
}
