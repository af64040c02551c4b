package capture

import (
	"math"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// played is a session whose truth is known at every millisecond, wherever it comes
// from.
type played struct {
	readings []measure.Reading
	lift     []float64 // of the valve above its heel, mm, each millisecond
	most     float64   // mm
	step     float64   // mm
	noise    float64   // counts
	says     string
}

// wrench is a hand of the kinds that make a live call go wrong. It shares nothing
// with package simulator or workshop: a lobe is a power law or a sum of two
// cosines, a stroke has the speed of a raised cosine at its ends, and what the hand
// does is written down stroke by stroke.
type wrench struct {
	r     *rand.Rand
	at    []float64 // crank degrees each millisecond
	speed float64
}

// lobeOf draws a lobe with its nose at 0 and flanks of unequal length.
func lobeOf(r *rand.Rand) (lift func(deg float64) float64, most, up, down float64) {
	most = 5 + 10*r.Float64()
	up, down = 105+50*r.Float64(), 105+50*r.Float64()
	power, mix, flat := 1.6+1.2*r.Float64(), 0.3*r.Float64(), 0.0
	if r.IntN(4) == 0 {
		flat = 6 * r.Float64()
	}
	lash := 0.0
	if r.IntN(2) == 0 {
		lash = 0.03 * r.Float64()
	}
	return func(deg float64) float64 {
		x := math.Mod(deg+360, 720)
		if x < 0 {
			x += 720
		}
		x -= 360
		w := max(math.Abs(x)-flat, 0) / (up - flat)
		if x > 0 {
			w = max(x-flat, 0) / (down - flat)
		}
		if w >= 1 {
			return 0
		}
		cosine := (1 + math.Cos(math.Pi*w)) / 2
		y := (1-mix)*cosine + mix*math.Pow(1-w*w, power)
		return most * max(y-lash, 0) / (1 - lash)
	}, most, up, down
}

func (w *wrench) here() float64 { return w.at[len(w.at)-1] }

func (w *wrench) rest(seconds float64) {
	here := w.here()
	for range int(seconds * 1000) {
		w.at = append(w.at, here)
	}
}

// turn goes so many degrees in one stroke.
func (w *wrench) turn(deg float64) {
	from, speed := w.here(), w.speed*math.Exp(0.25*w.r.NormFloat64())
	n := max(int(1000*math.Abs(deg)/speed), 60)
	ends := min(0.3, 90/float64(n))
	for i := 1; i <= n; i++ {
		u := float64(i) / float64(n)
		// The integral of a speed that rises and falls as a raised cosine.
		ramp := func(u float64) float64 { return u/2 - ends/(2*math.Pi)*math.Sin(math.Pi*u/ends) }
		s := 0.0
		switch {
		case u < ends:
			s = ramp(u)
		case u <= 1-ends:
			s = ramp(ends) + u - ends
		default:
			s = 2*ramp(ends) + 1 - 2*ends - ramp(1-u)
		}
		w.at = append(w.at, from+deg*s/(1-ends))
	}
}

// strokes turns on to an angle; each third one is followed by a back-turn of 1 to
// 14 degrees.
func (w *wrench) strokes(to, least, most, back float64) {
	for w.here() < to {
		w.turn(min(least+(most-least)*w.r.Float64(), to-w.here()+0.01))
		w.rest(0.08 + 0.4*w.r.Float64())
		if w.r.Float64() < back {
			w.turn(-1 - 13*w.r.Float64())
			w.rest(0.05 + 0.3*w.r.Float64())
		}
	}
}

// wrenches are the hands; each turns through the openings with noses at 0, 720...
var wrenches = []struct {
	name string
	turn func(w *wrench, up, down float64, openings int)
}{
	{"ratchet with back-turns", func(w *wrench, up, down float64, n int) {
		w.strokes(720*float64(n-1)+down+100, 12, 35, 1./3)
	}},
	{"rests", func(w *wrench, up, down float64, n int) {
		for i := range n {
			for range 3 {
				w.strokes(720*float64(i)-up+(up+down)*w.r.Float64(), 30, 80, 0.1)
				w.rest(1 + 4*w.r.Float64())
			}
			w.strokes(720*float64(i)+down+100, 30, 80, 0.1)
		}
	}},
	{"lurches", func(w *wrench, up, down float64, n int) {
		for i := range n {
			w.strokes(720*float64(i)+1+4*w.r.Float64(), 25, 70, 0.15)
			w.speed *= 6
			w.turn(8 + 35*w.r.Float64())
			w.speed /= 6
			w.rest(0.2 + w.r.Float64())
			w.strokes(720*float64(i)+down+100, 25, 70, 0.15)
		}
	}},
	{"rocks over the nose", func(w *wrench, up, down float64, n int) {
		for i := range n {
			w.strokes(720*float64(i)+8+20*w.r.Float64(), 25, 70, 0.1)
			for range 1 + w.r.IntN(3) {
				w.turn(-10 - 35*w.r.Float64())
				w.rest(0.3 * w.r.Float64())
				w.turn(15 + 30*w.r.Float64())
				w.rest(0.3 * w.r.Float64())
			}
			w.strokes(720*float64(i)+down+100, 25, 70, 0.1)
		}
	}},
	{"begins on a lobe", func(w *wrench, up, down float64, n int) {
		w.at[0] = -up + 15 + (up+down-30)*w.r.Float64()
		w.rest(0.5 + w.r.Float64())
		w.strokes(720*float64(n-1)+down+100, 20, 90, 0.2)
	}},
	{"turns back half way up and begins again", func(w *wrench, up, down float64, n int) {
		for i := range n {
			nose := 720 * float64(i)
			w.strokes(nose-up*(0.3+0.6*w.r.Float64()), 20, 60, 0.2)
			w.turn(-5 - 10*w.r.Float64())
			w.rest(1 + 2*w.r.Float64())
			w.strokes(nose+down+100, 20, 60, 0.2)
		}
	}},
}

// playWrench plays a hand on a lobe and reads it with a gauge: 5 to 100 readings a
// second of a step of 0.001 to 0.0254 mm, with noise of up to a count.
func playWrench(seed uint64, hand int, encoder bool) played {
	r := rand.New(rand.NewPCG(seed, uint64(hand)*7+1))
	lift, most, up, down := lobeOf(r)
	way := 1.0
	if r.IntN(3) == 0 {
		way = -1 // the engine is turned backward throughout
		up, down = down, up
	}
	w := &wrench{r: r, speed: 15 * math.Pow(6, r.Float64()), at: []float64{-up - 30 - 150*r.Float64()}}
	openings := 2 + r.IntN(3)
	w.rest(0.6 + 1.5*r.Float64())
	wrenches[hand].turn(w, up, down, openings)
	w.rest(1.5)
	steps := []float64{0.001, 0.0025, 0.00254, 0.01, 0.0127, 0.0254}
	p := played{most: most, step: steps[r.IntN(len(steps))], noise: []float64{0, 0.3, 1}[r.IntN(3)], says: wrenches[hand].name}
	for _, a := range w.at {
		p.lift = append(p.lift, lift(way*a))
	}
	rate, sign, zero, counts := 5*math.Pow(20, r.Float64()), float64(1-2*r.IntN(2)), 20*r.Float64()-2, []float64{360, 1440, 2400, 4096}[r.IntN(4)]
	for i := 0; ; i++ {
		ms := int((float64(i) + 0.4*r.Float64()) / rate * 1000)
		if ms >= len(p.lift) {
			break
		}
		c := math.Round((zero+sign*p.lift[ms])/p.step + p.noise*r.NormFloat64())
		reading := measure.Reading{At: measure.Stamp(ms) * measure.Millisecond, Lift: measure.FromMillimetres(c * p.step), Has: measure.HasLift}
		if encoder {
			reading.Has |= measure.HasAngle
			reading.Angle = measure.FromDegrees(math.Floor(way*w.at[ms]*counts/360) * 360 / counts)
		}
		p.readings = append(p.readings, reading)
	}
	return p
}
