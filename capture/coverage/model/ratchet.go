package model

import (
	"math"
	"math/rand/v2"
)

// Ratchet turns an engine in short strokes, each followed by one back, and reads an
// indicator and an encoder fifty times a second.
type Ratchet struct {
	Lobe
	ValvePlay   float64 // crank degrees between crank and valve
	EncoderPlay float64 // and between crank and encoder
	Late        float64 // seconds by which the lift comes later than the angle
	Step        float64 // mm that the indicator counts
	Count       float64 // crank degrees that the encoder counts
	Turns       float64 // of the crank
}

// Shown is what both instruments show at one moment.
type Shown struct{ Seconds, Lift, Angle float64 }

// Play turns it.
func (t Ratchet) Play(r *rand.Rand) []Shown {
	const tick, finer = 0.02, 8
	var crank []float64 // finer than it is read
	speed := between(r, 25, 60)
	at, way, left := t.Centre-1.5*t.Half, 1.0, between(r, 20, 30)
	for end := at + 360*t.Turns; at < end; {
		w := speed * between(r, 0.7, 1.3) * way
		for range finer {
			at += w * tick / finer
			crank = append(crank, at)
		}
		if left -= math.Abs(w) * tick; left < 0 {
			if way = -way; way > 0 {
				left = between(r, 20, 30)
			} else {
				left = between(r, 6, 12)
			}
		}
	}
	cam, encoder := dragged(crank, t.ValvePlay), dragged(crank, t.EncoderPlay)
	var shown []Shown
	behind := int(math.Round(t.Late / tick * finer))
	for i := 0; i < len(crank); i += finer {
		lift := t.Above(cam[min(max(i-behind, 0), len(cam)-1)])
		shown = append(shown, Shown{float64(i) * tick / finer, math.Round(lift/t.Step) * t.Step, math.Round(encoder[i]/t.Count) * t.Count})
	}
	return shown
}

// dragged follows x with play.
func dragged(x []float64, play float64) []float64 {
	y, out := x[0]-play/2, make([]float64, len(x))
	for i, x := range x {
		y = min(max(y, x-play/2), x+play/2)
		out[i] = y
	}
	return out
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
