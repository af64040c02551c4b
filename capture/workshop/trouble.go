package workshop

import (
	"math"
	"math/rand/v2"
)

// somewhere returns a tick where the valve is open, if it can.
func somewhere(r *rand.Rand, lift []float64) int {
	i := r.IntN(len(lift))
	for range 200 {
		if lift[i] > 0.05 {
			return i
		}
		i = r.IntN(len(lift))
	}
	return i
}

// shutAt returns a tick where the valve is shut.
func shutAt(r *rand.Rand, lift []float64) int {
	for range 1000 {
		i := len(lift)/8 + r.IntN(len(lift)*3/4)
		if lift[i] == 0 {
			return i
		}
	}
	return 0
}

func (b *bench) show(f func(lift, shown []float64)) { b.onShow = append(b.onShow, f) }

// warmDrift: a hand-warm gauge cools, the heel goes with it.
func warmDrift(b *bench, r *rand.Rand) {
	by, tau := between(r, 0.005, 0.03)*float64(1-2*r.IntN(2)), between(r, 60, 400)
	b.show(func(_, shown []float64) {
		for i := range shown {
			shown[i] += by * math.Exp(-float64(i)*tick/tau)
		}
	})
}

func backward(b *bench, _ *rand.Rand) { b.way = -1 }

func latePort(b *bench, r *rand.Rand) { b.lagging = between(r, 0.01, 0.06) * float64(1-2*r.IntN(2)) }

// slowGauge averages over 30 to 120 ms, or follows as a first-order filter does
// that lags as much.
func slowGauge(b *bench, r *rand.Rand) {
	over := between(r, 0.03, 0.12)
	if r.IntN(2) == 0 {
		b.show(func(_, shown []float64) {
			y := shown[0]
			part := 1 - math.Exp(-tick/(over/2))
			for i, x := range shown {
				y += (x - y) * part
				shown[i] = y
			}
		})
		return
	}
	b.show(func(_, shown []float64) {
		n := int(over / tick)
		sum := 0.0
		x := append([]float64(nil), shown...)
		for i := range x {
			sum += x[i]
			if i >= n {
				sum -= x[i-n]
			}
			shown[i] = sum / float64(min(i+1, n))
		}
	})
}

// sticking: the spindle lags the valve by some counts whichever way it goes, or
// stands until it is so far off and then jumps.
func sticking(b *bench, r *rand.Rand) {
	by := between(r, 2, 5) * b.gauge.step.Millimetres()
	jumps := r.IntN(2) == 0
	b.show(func(_, shown []float64) {
		y := shown[0]
		for i, x := range shown {
			switch d := x - y; {
			case math.Abs(d) <= by:
			case jumps:
				y = x
			default:
				y = x - math.Copysign(by, d)
			}
			shown[i] = y
		}
	})
}

// bleeding: a hydraulic lifter sinks while the spring is on it and fills on the
// heel.
func bleeding(b *bench, r *rand.Rand) {
	rate, fill := between(r, 0.02, 0.1), between(r, 0.2, 1)
	b.show(func(lift, shown []float64) {
		sunk := 0.0
		for i := range shown {
			if lift[i] > 0 {
				sunk += rate * tick
			} else {
				sunk -= sunk * tick / fill
			}
			shown[i] = max(shown[i]-sunk, 0)
		}
	})
}

func encoderSlips(b *bench, r *rand.Rand) {
	by := between(r, 2, 8) * float64(1-2*r.IntN(2))
	part := between(r, 0.2, 0.8)
	b.onAngle = append(b.onAngle, func(angle []float64) {
		at := int(part * float64(len(angle)))
		for i := at; i < len(angle); i++ {
			angle[i] += by
		}
	})
}

// encoderLoses one count in eighty of those that come while the crank turns.
func encoderLoses(b *bench, _ *rand.Rand) { encoderScaled(b, 79./80) }

// encoderCounts: the counts a turn that somebody typed are not the encoder's.
func encoderCounts(b *bench, r *rand.Rand) {
	encoderScaled(b, []float64{1000. / 1024, 1024. / 1000, 0.5, 2, 360. / 400, 0.25}[r.IntN(6)])
}

func encoderScaled(b *bench, by float64) {
	b.onAngle = append(b.onAngle, func(angle []float64) {
		first := angle[0]
		for i := range angle {
			angle[i] = first + (angle[i]-first)*by
		}
	})
}

// heelRunsOut: the base circle is 0.01 to 0.02 mm out of true. Its lift is above
// the middle of that.
func heelRunsOut(b *bench, r *rand.Rand) {
	out, phase, waves := between(r, 0.01, 0.02), between(r, 0, 2*math.Pi), float64(1+r.IntN(3)/2)
	b.show(func(_, shown []float64) {
		for i, deg := range b.now {
			shown[i] += out / 2 * math.Cos(waves*deg*math.Pi/360+phase)
		}
	})
}

func cutNose(b *bench, r *rand.Rand) {
	at := b.lobe.most - stretched(r, 0.03, 1.2)
	b.show(func(_, shown []float64) {
		for i := range shown {
			shown[i] = min(shown[i], at)
		}
	})
}

func hangsFree(b *bench, r *rand.Rand) {
	free := between(r, 0.6, 1.4)
	b.show(func(_, shown []float64) {
		for i := range shown {
			shown[i] = max(shown[i]-free, 0)
		}
	})
}

// baseSlips once, between two openings while the valve is shut; in a session of a
// single one, under load.
func baseSlips(b *bench, r *rand.Rand) {
	by := between(r, 0.08, 0.4) * float64(1-2*r.IntN(2))
	b.show(func(lift, shown []float64) {
		first, last := 0, len(lift)-1
		for first < last && lift[first] == 0 {
			first++
		}
		for last > first && lift[last] == 0 {
			last--
		}
		at := (first + last) / 2
		for range 1000 {
			if i := shutAt(r, lift); i > first && i < last {
				at = i
				break
			}
		}
		for i := at; i < len(shown); i++ {
			shown[i] += by
		}
	})
}

// knock: the stand is bumped and comes back, ringing a little.
func knock(b *bench, r *rand.Rand) {
	b.show(func(lift, shown []float64) {
		for range 1 + r.IntN(3) {
			at, by := somewhere(r, lift), stretched(r, 0.1, 1)*float64(1-2*r.IntN(2))
			last, ring := between(r, 0.04, 0.3), between(r, 3, 12)
			for i := at; i < min(at+int(4*last/tick), len(shown)); i++ {
				t := float64(i-at) * tick
				shown[i] += by * math.Exp(-t/last) * math.Cos(2*math.Pi*ring*t) * min(t/0.01, 1)
			}
		}
	})
}

// vibration: something runs beside the bench, or a stuck nut lets go: 10 to 40
// times a second, for a moment.
func vibration(b *bench, r *rand.Rand) {
	b.show(func(lift, shown []float64) {
		for range 2 + r.IntN(4) {
			at, by := somewhere(r, lift), stretched(r, 0.05, 0.5)
			last, hz := between(r, 0.1, 0.6), between(r, 10, 40)
			n := int(last / tick)
			for i := at; i < min(at+n, len(shown)); i++ {
				t := float64(i-at) * tick
				shown[i] += by * math.Sin(2*math.Pi*hz*t) * math.Sin(math.Pi*t/last)
			}
		}
	})
}

// frozen: the gauge repeats itself for 0.15 to 0.8 s, then jumps to where it is,
// as often near a nose as anywhere else.
func frozen(b *bench, r *rand.Rand) {
	b.show(func(lift, shown []float64) {
		for n := range 4 + r.IntN(6) {
			at := somewhere(r, lift)
			for range 200 {
				if n%2 == 0 || lift[at] > 0.9*b.lobe.most {
					break
				}
				at = somewhere(r, lift)
			}
			for i := at; i < min(at+int(between(r, 0.15, 0.8)/tick), len(shown)); i++ {
				shown[i] = shown[at]
			}
		}
	})
}

// slackDrive: the belt or coupling of the encoder has play.
func slackDrive(b *bench, r *rand.Rand) {
	play := between(r, 0.2, 0.6)
	b.onAngle = append(b.onAngle, func(angle []float64) {
		y := angle[0]
		for i, x := range angle {
			y = min(max(y, x-play/2), x+play/2)
			angle[i] = y
		}
	})
}

func twoAtOnce(b *bench, r *rand.Rand) {
	var some []Kind
	for _, k := range Kinds() {
		if !k.Sound && !k.NeedsEncoder && k.Name != "two at once" {
			some = append(some, k)
		}
	}
	i := r.IntN(len(some))
	k := (i + 1 + r.IntN(len(some)-1)) % len(some)
	for _, one := range []Kind{some[i], some[k]} {
		one.spoil(b, r)
		b.namedBy = append(b.namedBy, one.NamedBy...)
	}
}
