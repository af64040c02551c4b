package lift

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

// Options says what is known beforehand; the zero value is "nothing", and is
// the default.
type Options struct {
	// Sign is +1 where the reading grows as the valve opens, -1 where it falls
	// (a spindle that runs out); 0: found from the signal.
	Sign int
	// Resolution is the least step of the indicator; 0: found from the readings.
	Resolution measure.Length
	// AngleStep is the encoder's angle a count; 0: found from the readings.
	AngleStep measure.Angle
	// LeastLift is the least max lift that is taken for an opening; 1 mm.
	LeastLift measure.Length
}

// Bounds outside of which a reading is no measurement: ten metres, thirty
// years, a billion degrees.
const (
	mostLift  = 10_000_000_000
	mostStamp = 1_000_000_000_000_000
	mostAngle = 1_000_000_000_000_000
)

// Segmenter follows the signal reading by reading and cuts it into openings, in
// memory that does not grow. It is what the live follower and [Analyse] share,
// so that both find the same openings.
//
// Which way the reading runs as the valve opens is found by following both
// ways at once until one is refuted: what is turned through without a stop is
// a nose, for a heel takes longer than both flanks.
type Segmenter struct {
	o       Options
	steps   stepFinder
	noise   noiseMeter
	tracks  [2]track // the reading grows, the reading falls
	sign    int      // 0 while not known
	held    [2][]measured
	news    []News
	n       int64
	last    measure.Reading
	patient bool // keep everything for the end
}

// News is something that the signal has come to.
type News struct {
	Opening *Opening
	Fault   *Fault
}

// NewSegmenter returns one that has seen nothing.
func NewSegmenter(o Options) *Segmenter {
	g := &Segmenter{o: o, tracks: [2]track{newTrack(), newTrack()}, sign: o.Sign}
	g.steps.fixed = int64(o.Resolution)
	g.relimit()
	return g
}

func (g *Segmenter) relimit() {
	least := float64(g.o.LeastLift)
	if least <= 0 {
		least = mm
	}
	l := limitsFor(float64(g.steps.step()), g.noise.sd(), least)
	g.tracks[0].lim, g.tracks[1].lim = l, l
}

func signOf(i int) int { return 1 - 2*i }

// Step takes the next reading and says whether there is news to take.
func (g *Segmenter) Step(r measure.Reading) bool {
	if r.Has&measure.HasLift == 0 || r.Lift > mostLift || r.Lift < -mostLift ||
		r.At > mostStamp || r.At < -mostStamp || g.n > 0 && r.At < g.last.At {
		return false
	}
	if g.steps.see(int64(r.Lift)) {
		g.relimit()
	}
	p := point{t: float64(r.At), y: float64(r.Lift), a: math.NaN(), w: 1}
	if r.Has&measure.HasAngle != 0 && r.Angle < mostAngle && r.Angle > -mostAngle {
		p.a = r.Angle.Degrees()
	}
	g.n++
	g.last = r
	for i := range g.tracks {
		if g.sign != 0 && g.sign != signOf(i) {
			continue
		}
		q := p
		q.y *= float64(signOf(i))
		if g.tracks[i].step(q) {
			g.settled(i)
		}
	}
	if k := &g.tracks[0]; g.sign == -1 {
		k = &g.tracks[1]
		g.see(k, p.y)
	} else {
		g.see(k, p.y)
	}
	return len(g.news) > 0
}

// see takes the noise of a reading that stands at one level.
func (g *Segmenter) see(k *track, y float64) {
	if k.run.n > 8 && g.noise.see(y) {
		g.relimit()
	} else if k.run.n <= 8 {
		g.noise.started = false
	}
}

// settled measures the opening of a track that has come home.
func (g *Segmenter) settled(i int) {
	k := &g.tracks[i]
	m := g.measure(i, k.low.t1+1)
	if !k.settle() {
		return
	}
	if g.sign == 0 && m.round {
		g.sign = signOf(i)
		g.tracks[1-i].pts.p = nil
	}
	if g.sign == signOf(i) {
		for _, h := range g.held[i] {
			g.publish(h)
		}
		g.held[i] = nil
		g.publish(m)
		return
	}
	if len(g.held[i]) < 8 {
		g.held[i] = append(g.held[i], m)
	}
}

func (g *Segmenter) publish(m measured) {
	o := m.Opening
	g.news = append(g.news, News{Opening: &o})
}

func (g *Segmenter) measure(i int, until float64) measured {
	k := &g.tracks[i]
	e := surroundings{
		sign: float64(signOf(i)), step: float64(g.steps.step()), noise: g.noise.sd(), lim: k.lim,
	}
	return e.opening(k.pts.between(k.section, k.out), k.pts.between(k.out, k.low.t0), k.pts.between(k.low.t0, until), k.flankTime())
}

// Take appends the news since the last time to dst.
func (g *Segmenter) Take(dst []News) []News {
	dst = append(dst, g.news...)
	g.news = g.news[:0]
	return dst
}

// Finish says that nothing follows: an opening that is home but has not rested
// there settles, and of two directions that are both possible the likelier is
// taken.
func (g *Segmenter) Finish() {
	for i := range g.tracks {
		if g.sign != 0 && g.sign != signOf(i) {
			continue
		}
		k := &g.tracks[i]
		if k.at != away || k.top < max(k.lim.least, newShare*k.largest) {
			continue
		}
		if !k.hasLow {
			if k.run.level-k.heel > k.lim.leave {
				continue
			}
			k.low, k.hasLow = k.run, true
		}
		g.settled(i)
	}
	if g.sign == 0 {
		i := 0
		if len(g.held[1]) > len(g.held[0]) {
			i = 1
		}
		g.sign = signOf(i)
		for _, h := range g.held[i] {
			g.publish(h)
		}
	}
}

// noiseMeter estimates the noise of a reading where the signal stands still,
// from the differences of neighbours: a drift does not count.
type noiseMeter struct {
	last    float64
	started bool
	sum, n  float64
	told    float64
}

func (m *noiseMeter) see(y float64) (changed bool) {
	if m.started {
		d := y - m.last
		m.sum += d * d
		m.n++
		if m.n > 4096 {
			m.sum, m.n = m.sum/2, m.n/2
		}
	}
	m.last, m.started = y, true
	if sd := m.sd(); m.n >= 16 && (sd > 1.25*m.told || sd < 0.8*m.told) {
		m.told = sd
		return true
	}
	return false
}

// sd returns the standard deviation of a reading, rounding included.
func (m *noiseMeter) sd() float64 {
	if m.n < 16 {
		return 0
	}
	return math.Sqrt(m.sum / m.n / 2)
}

// Findings returns what was found so far from openings.
func summary(o []Opening) Findings {
	var f Findings
	f.Openings = o
	if len(o) == 0 {
		return f
	}
	x := make([]float64, len(o))
	for i := range o {
		x[i] = float64(o[i].MaxLift)
	}
	mean, _, _ := typeA(x)
	f.MaxLift = measure.Length(math.Round(mean))
	f.HalfLift = measure.Length(math.Round(mean / 2))
	f.Spread = measure.Length(slices.Max(x) - slices.Min(x))
	return f
}

// Note takes what happened to the stream of readings besides a reading.
func (g *Segmenter) Note(n measure.Note) {
	switch n.Kind {
	case measure.NoteGap:
		g.fault(Gap, n.At, "the link was lost for "+(n.Until-n.At).Duration().String()+": check cable and plug; what happened meanwhile is not in the trace")
	case measure.NoteUnitChange:
		g.steps.again()
		g.fault(UnitChange, n.At, "the indicator was switched to another unit: the readings stay right, since each carries its unit")
	case measure.NoteReZero:
		g.fault(ReZero, n.At, "the indicator was set to zero anew: leave the zero alone while the engine is turned")
	}
}

func (g *Segmenter) fault(kind FaultKind, at measure.Stamp, says string) {
	g.news = append(g.news, News{Fault: &Fault{Kind: kind, At: at, Says: says}})
}
