package workshop

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"sort"

	"lobescribe/device/measure"
)

// Options says what of a session is not left to chance.
type Options struct {
	// Rate is readings a second; 0: 5 to 100.
	Rate float64
	// Encoder tells whether the readings carry an angle.
	Encoder bool
	// Step is the gauge's least step; 0: one of those that gauges have.
	Step measure.Length
	// Reaches makes the hand another one than those of the table: it goes from rest to
	// rest, smoothly, in strokes of a few degrees or many.
	Reaches bool
	// Openings is how often the valve opens in the session; 0: 2 to 6.
	Openings int
}

// Session is one recording with its truth.
type Session struct {
	Kind  Kind
	Seed  uint64
	Trace measure.Trace
	Truth Truth
	// Step is the gauge's, whether or not the trace says so.
	Step measure.Length
	// AngleStep is the encoder's; 0 without one.
	AngleStep measure.Angle
	// Says describes engine, hand and gauge in a line.
	Says string
}

// Truth is what nobody at the bench knows.
type Truth struct {
	Openings []Opening
	// Points has one entry a reading.
	Points []Point
	// Lift and Angle are what the trouble changed most: of a reading in a passage
	// against the same one without the trouble.
	Lift  measure.Length
	Angle measure.Angle
	path  []float64 // crank degrees at each tick
	lifts []float64 // mm
}

// Opening is one passage that the valve really made.
type Opening struct {
	// Open and Close are where the valve left its seat before the nose and was back
	// for good; Nose where it stood highest.
	Open, Nose, Close measure.Stamp
	// Whole: both ends are in the session. Passed: the nose is.
	Whole, Passed bool
	// Lift is the valve's own max lift above its heel, without the trouble; Shown
	// what a perfect gauge, mounted as this one is, would have shown.
	Lift, Shown measure.Length
	// Hidden is how far the highest reading's moment lies below the nose.
	Hidden measure.Length
	// What a perfect encoder, coupled as it was at the start, would count. Opening
	// and closing are along time, whichever way the engine turns.
	NoseAngle, OpeningHalfAngle, ClosingHalfAngle measure.Angle
	// Every passing of half lift on either flank; a hand may pass it several times.
	OpeningHalf, ClosingHalf []measure.Stamp
}

// Point is the truth beside a reading.
type Point struct {
	Lift  measure.Length // the valve's own above its heel
	Angle measure.Angle  // as a perfect encoder counts
	// Wrong: the trouble moved this reading by more than a count and a half.
	Wrong bool
}

// LiftAt returns the valve's own lift at a moment.
func (t *Truth) LiftAt(at measure.Stamp) measure.Length {
	return length(sampled(t.lifts, at.Seconds()))
}

// MovedIn returns how far the lift got from where it is, within so many seconds
// either way.
func (t *Truth) MovedIn(at measure.Stamp, seconds float64) measure.Length {
	i := int(at.Seconds() / tick)
	n := int(seconds / tick)
	here := sampled(t.lifts, at.Seconds())
	most := 0.0
	for k := max(i-n, 0); k <= min(i+n, len(t.lifts)-1); k++ {
		most = max(most, math.Abs(t.lifts[k]-here))
	}
	return length(most)
}

// sampled reads a series of ticks at a time between them.
func sampled(x []float64, seconds float64) float64 {
	s := seconds / tick
	i := int(s)
	if i >= len(x)-1 {
		return x[len(x)-1]
	}
	if i < 0 {
		return x[0]
	}
	return x[i] + (s-float64(i))*(x[i+1]-x[i])
}

func length(mm float64) measure.Length { return measure.Length(math.Round(mm * 1e6)) }

// bench is a session in the making.
type bench struct {
	lobe  *lobe
	turns int     // openings
	way   float64 // +1 or -1: which way the engine is turned
	from  float64 // degrees along the way
	hand  hand
	gauge gauge
	enc   encoder

	// The trouble: what it does, in this order. spoil draws from a source of its
	// own, so that all else is as in the sound session.
	onShow    []func(lift, shown []float64) // mm at each tick
	onAngle   []func(angle []float64)       // degrees at each tick
	onText    []func(s []sample)            // what is printed
	onArrival []func(s []sample) []sample   // when it comes
	lagging   float64                       // seconds that the angle lies behind the lift
	namedBy   []string                      // of troubles that chance chose
	now       []float64                     // crank degrees at each tick, once played
}

type gauge struct {
	step   measure.Length
	rate   float64
	noise  float64 // counts
	uneven float64 // of the interval
	lost   float64 // share of the readings that never come
	sign   float64
	zero   float64 // mm shown on the heel
	told   bool    // the trace says its step
}

type encoder struct {
	counts int
	sign   float64
	zero   float64 // degrees
}

type sample struct {
	at, arrives float64
	counts      int64 // of the gauge
	value       measure.Length
	sound       measure.Length
	angle       float64
}

var gaugeSteps = []measure.Length{1000, 2500, 12_700, 10_000, 25_400, 2540, 12_700, 25_400}

// draw makes an engine, a hand, a gauge and an encoder.
func draw(r *rand.Rand, o Options) *bench {
	b := &bench{lobe: drawLobe(r), hand: drawHand(r), way: 1}
	b.turns = 2 + r.IntN(5)
	if o.Openings > 0 {
		b.turns = o.Openings
	}
	b.gauge = gauge{
		step: gaugeSteps[r.IntN(len(gaugeSteps))], rate: stretched(r, 5, 100),
		noise: []float64{0, 0, 0.2, 0.5, 1}[r.IntN(5)], uneven: between(r, 0, 0.35),
		sign: float64(1 - 2*r.IntN(2)), zero: between(r, -2, 25), told: r.IntN(2) == 0,
	}
	if o.Step > 0 {
		b.gauge.step = o.Step
	}
	if o.Rate > 0 {
		b.gauge.rate = o.Rate
	}
	if r.IntN(4) == 0 {
		b.gauge.lost = between(r, 0, 0.03)
	}
	b.enc = encoder{counts: []int{360, 1000, 1440, 2400, 4096, 8192}[r.IntN(6)], sign: float64(1 - 2*r.IntN(2)), zero: between(r, -500, 500)}
	begins := -between(r, 40, 220)
	onLobe := r.IntN(8) == 0
	r2 := rand.New(rand.NewPCG(r.Uint64(), 3))
	l := b.lobe
	b.from = l.open + begins
	if onLobe {
		// High enough on the lobe to be told from a heel, and off its nose.
		low, high := l.cross(l.most / 8)
		for b.from = l.nose; math.Abs(b.from-l.nose) < 25; {
			b.from = between(r2, low, high)
		}
	}
	b.drawRests(r2, onLobe)
	return b
}

// drawRests puts stops where somebody looks at the rocker, or has a coffee.
func (b *bench) drawRests(r *rand.Rand, onLobe bool) {
	l := b.lobe
	up, down := l.cross(l.most / 2)
	for range r.IntN(5) {
		k := 720 * float64(r.IntN(b.turns))
		s := rest{seconds: stretched(r, 0.8, 9)}
		switch where := r.IntN(6); {
		case where == 0 && !onLobe:
			// On the nose not on every one and not for longer than the heel lasts:
			// without an encoder nothing would tell one from the other.
			s.at, s.seconds = k+l.nose+between(r, -3, 3), min(s.seconds, 3)
		case where == 1:
			s.at = k + up + between(r, -2, 2)
		case where == 2:
			s.at = k + down + between(r, -2, 2)
		case where == 3:
			s.at = k + l.open + between(r, 0, 15)
		case where == 4:
			s.at = k + between(r, l.open, l.close)
			if math.Abs(s.at-k-l.nose) < 30 {
				s.seconds = min(s.seconds, 2)
			}
		default:
			s.at, s.seconds = k+l.close+between(r, 20, 250), s.seconds*1.5
		}
		b.hand.rests = append(b.hand.rests, s)
	}
	b.sortRests()
}

// mirrorRests puts the stops where they are met backward: over the same places of
// the lobe.
func (b *bench) mirrorRests() {
	for i, s := range b.hand.rests {
		turn := 720 * math.Round(s.at/720)
		b.hand.rests[i].at = turn - (s.at - turn)
	}
	b.sortRests()
}

func (b *bench) sortRests() {
	sort.Slice(b.hand.rests, func(i, k int) bool { return b.hand.rests[i].at < b.hand.rests[k].at })
}

// Make plays a session of a kind. It panics on a kind that is none; the same
// arguments give the same session.
func Make(kind string, seed uint64, o Options) Session {
	k, ok := kindOf(kind)
	if !ok {
		panic(fmt.Sprintf("workshop: no kind is called %q", kind))
	}
	r := rand.New(rand.NewPCG(seed, 0x5bd1))
	b := draw(r, o)
	play := r.Uint64()
	if o.Reaches {
		b.hand = b.hand.reaching(rand.New(rand.NewPCG(play, 5)))
	}
	h := fnv.New64a()
	h.Write([]byte(kind))
	k.spoil(b, rand.New(rand.NewPCG(seed, h.Sum64())))
	s := b.play(rand.New(rand.NewPCG(play, 1)), o)
	s.Kind, s.Seed = k, seed
	s.Kind.NamedBy = append(b.namedBy, k.NamedBy...)
	s.Says = fmt.Sprintf("%s, %.2f mm, %d openings, way %+.0f, %.0f deg/s, strokes %.0f to %.0f deg, step %v, noise %.1f counts, %.0f a second",
		b.lobe.law, b.lobe.most, b.turns, b.way, b.hand.speed, b.hand.reach[0], b.hand.reach[1], b.gauge.step, b.gauge.noise, b.gauge.rate)
	return s
}

func (b *bench) play(r *rand.Rand, o Options) Session {
	way := func(p float64) float64 { return b.lobe.at(b.way * p) }
	if b.way < 0 {
		b.mirrorRests()
	}
	// Along the way the nose lies at way*nose; backward the valve opens over its
	// closing flank.
	from, end := b.from, b.lobe.close
	if b.way < 0 {
		from, end = b.from-b.lobe.open-b.lobe.close, -b.lobe.open
	}
	to := 720*float64(b.turns-1) + end + between(r, 60, 200)
	path := b.hand.path(r, way, b.lobe.most, from, to)
	lift := make([]float64, len(path))
	for i := range path {
		path[i] *= b.way
		lift[i] = b.lobe.at(path[i])
	}
	b.now = path
	shown := append([]float64(nil), lift...)
	for _, f := range b.onShow {
		f(lift, shown)
	}
	angle := make([]float64, len(path))
	for i := range path {
		angle[i] = b.enc.sign*path[i] + b.enc.zero
	}
	for _, f := range b.onAngle {
		f(angle)
	}
	samples := b.read(r, lift, shown, angle)
	return b.written(samples, path, lift, o)
}

// read samples the gauge.
func (b *bench) read(r *rand.Rand, lift, shown, angle []float64) []sample {
	var s []sample
	g := b.gauge
	step := g.step.Millimetres()
	zero := math.Round(g.zero / step)
	last := float64(len(lift)-1) * tick
	for n := 0; ; n++ {
		at := (float64(n) + 0.5 + g.uneven*(r.Float64()-0.5)) / g.rate
		if at > last {
			break
		}
		noise := g.noise * r.NormFloat64()
		counts := func(x []float64) int64 { return int64(math.Round(zero + g.sign*sampled(x, at)/step + noise)) }
		if r.Float64() < g.lost {
			continue
		}
		c := counts(shown)
		s = append(s, sample{
			at: at, arrives: at, counts: c, value: measure.Length(c) * g.step,
			sound: measure.Length(counts(lift)) * g.step, angle: sampled(angle, at-b.lagging),
		})
	}
	for _, f := range b.onText {
		f(s)
	}
	for _, f := range b.onArrival {
		s = f(s)
	}
	return s
}

// written makes trace and truth.
func (b *bench) written(samples []sample, path, lift []float64, o Options) Session {
	ses := Session{Step: b.gauge.step, Truth: Truth{path: path, lifts: lift}}
	if b.gauge.told {
		ses.Trace.Resolution = b.gauge.step
	}
	count := 360 / float64(b.enc.counts)
	if o.Encoder {
		ses.AngleStep = measure.FromDegrees(count)
		ses.Trace.AngleStep = ses.AngleStep
	}
	perfect := func(deg float64) float64 { return b.enc.sign*deg + b.enc.zero }
	var before measure.Stamp
	for _, s := range samples {
		at := max(measure.Stamp(math.Round(s.arrives*1e6)), before)
		before = at
		r := measure.Reading{At: at, Lift: s.value, Has: measure.HasLift}
		p := Point{Lift: length(sampled(lift, s.at)), Angle: measure.FromDegrees(perfect(sampled(path, s.at)))}
		off := s.value - s.sound
		if off < 0 {
			off = -off
		}
		ses.Truth.Lift = max(ses.Truth.Lift, off)
		p.Wrong = 2*off > 3*b.gauge.step
		if o.Encoder {
			r.Has |= measure.HasAngle
			r.Angle = measure.FromDegrees(math.Round(s.angle/count) * count)
			offAngle := measure.FromDegrees(math.Abs(s.angle - perfect(sampled(path, s.at))))
			ses.Truth.Angle = max(ses.Truth.Angle, offAngle)
			p.Wrong = p.Wrong || float64(offAngle) > 1.5e6*count
		}
		ses.Trace.Readings = append(ses.Trace.Readings, r)
		ses.Truth.Points = append(ses.Truth.Points, p)
	}
	ses.Truth.Openings = b.openings(samples, path, lift)
	return ses
}
