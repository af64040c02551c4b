package workshop

import (
	"math"
	"math/rand/v2"
)

// Troubles of how the gauge is held, and of buttons pressed on it.

// tipSkatesOff: while the valve is open the tip leaves what it stood on. The spindle
// runs out, or is pushed in, by some millimetres within a few hundredths of a second;
// from then on it follows the valve from there, or stands against nothing.
func tipSkatesOff(b *bench, r *rand.Rand) {
	by := stretched(r, 0.4, 5) * float64(1-2*r.IntN(2))
	takes, follows := between(r, 0.005, 0.05), r.IntN(2) == 0
	b.show(func(lift, shown []float64) {
		at := somewhere(r, lift)
		stands := shown[at] + by
		for i := at; i < len(shown); i++ {
			part := min(float64(i-at)*tick/takes, 1)
			to := stands
			if follows {
				to = shown[i] + by
			}
			shown[i] += (to - shown[i]) * part
		}
	})
}

// slipsOpen: the base slips while the valve is open and pushes on it.
func slipsOpen(b *bench, r *rand.Rand) {
	by := stretched(r, 0.08, 1) * float64(1-2*r.IntN(2))
	takes := between(r, 0.005, 0.1)
	b.show(func(lift, shown []float64) {
		at := somewhere(r, lift)
		for i := at; i < len(shown); i++ {
			shown[i] += by * min(float64(i-at)*tick/takes, 1)
		}
	})
}

// standYields: the arm of the stand bends under the spindle's force and creeps back:
// what it bends by follows the lift late.
func standYields(b *bench, r *rand.Rand) {
	by, tau := between(r, 0.0003, 0.0015), between(r, 0.5, 4)
	b.show(func(lift, shown []float64) {
		bent := 0.0
		for i, x := range lift {
			bent += (by*x - bent) * (1 - math.Exp(-tick/tau))
			shown[i] -= bent
		}
	})
}

// spindleLifted: somebody lifts the spindle with a finger while the valve is shut, to
// see whether the tip stands well, and lets it down or lets it snap.
func spindleLifted(b *bench, r *rand.Rand) {
	b.show(func(lift, shown []float64) {
		for range 1 + r.IntN(2) {
			at := shutFor(r, lift)
			by, long := stretched(r, 1, 12), stretched(r, 0.3, 4)
			up, down := between(r, 0.05, 0.5), between(r, 0.01, 0.5)
			shake, hz := between(r, 0, 0.1)*by, between(r, 0.5, 3)
			n := int(long / tick)
			for i := at; i < min(at+n, len(shown)) && lift[i] == 0; i++ {
				t := float64(i-at) * tick
				part := smooth(t/up) * smooth((long-t)/down)
				shown[i] += part * (by + shake*math.Sin(2*math.Pi*hz*t))
			}
		}
	})
}

// shutFor returns a tick from which the valve is shut for a second at the least, where
// there is one; at the beginning or the end of a session as well.
func shutFor(r *rand.Rand, lift []float64) int {
	const long = int(1 / tick)
	at := 0
	for range 1000 {
		at = r.IntN(len(lift))
		if lift[at] == 0 && lift[min(at+long, len(lift)-1)] == 0 && lift[min(at+long/2, len(lift)-1)] == 0 {
			break
		}
	}
	return at
}

// unitSwitched: the key is pressed, and the figures are read on in the old unit.
func unitSwitched(b *bench, r *rand.Rand) {
	by := 25.4
	if r.IntN(2) == 0 {
		by = 1 / by
	}
	part := between(r, 0.15, 0.85)
	b.onText = append(b.onText, func(s []sample) {
		step := int64(b.gauge.step)
		for i := int(part * float64(len(s))); i < len(s); i++ {
			s[i].value = length(math.Round(s[i].value.Millimetres()*by*1e6/float64(step)) * float64(step) / 1e6)
		}
	})
}

// reZeroed: zero is pressed anywhere in the session.
func reZeroed(b *bench, r *rand.Rand) {
	part := between(r, 0.1, 0.9)
	b.onText = append(b.onText, func(s []sample) {
		at := int(part * float64(len(s)))
		zero := s[at].value
		for i := at; i < len(s); i++ {
			s[i].value -= zero
		}
	})
}

// encoderStands: its coupling, or its wire, is off for a part of the session.
func encoderStands(b *bench, r *rand.Rand) {
	part, long := between(r, 0.1, 0.7), between(r, 0.02, 0.5)
	catches := r.IntN(2) == 0
	b.onAngle = append(b.onAngle, func(angle []float64) {
		from := int(part * float64(len(angle)))
		to := min(from+int(long*float64(len(angle))), len(angle))
		lost := angle[to-1] - angle[from]
		for i := from; i < to; i++ {
			angle[i] = angle[from]
		}
		for i := to; i < len(angle) && !catches; i++ {
			angle[i] -= lost
		}
	})
}
