package timing

import (
	"math"
	"math/rand/v2"
	"slices"

	"lobescribe/device/measure"
)

// turn is a person turning an engine, for tests: the truth is the shape, the
// rest is what stands between it and a trace. Angles are crank degrees; the
// shape is lift in mm over degrees after the overlap's top dead centre.
type turn struct {
	shape      func(float64) float64
	from, to   float64
	perReading float64 // degrees a reading, on average
	rests      int     // times the hand stops for 300 readings
	back       int     // times it turns back by 10 to 40 degrees
	noise      float64 // of the lift, mm
	jitter     float64 // of the angle, degrees
	resolution measure.Length
	angleStep  measure.Angle
	offset     float64 // what the encoder shows at TDC
	wraps      float64 // the encoder starts again there, 0 never
	down       bool    // the spindle runs the other way
	against    bool    // the encoder counts down
	onCam      bool
	heel       float64 // what the indicator shows on the heel, mm
	strays     int     // readings that are nonsense
	seed       uint64
}

func (h turn) trace() measure.Trace {
	r := rand.New(rand.NewPCG(h.seed, 7))
	stop := map[int]string{}
	n := int((h.to - h.from) / h.perReading)
	for range h.rests {
		stop[r.IntN(n)] = "rest"
	}
	for range h.back {
		stop[r.IntN(n)] = "back"
	}
	stray := map[int]bool{}
	for range h.strays {
		stray[r.IntN(n)] = true
	}
	tr := measure.Trace{Resolution: h.resolution, AngleStep: h.angleStep}
	at := measure.Stamp(0)
	read := func(x float64) {
		at += 10 * measure.Millisecond
		lift := h.shape(math.Remainder(x, 720)) + h.noise*r.NormFloat64()
		if h.down {
			lift = -lift
		}
		lift += h.heel
		a := x + h.offset + h.jitter*r.NormFloat64()
		if h.against {
			a = 2*h.offset - a
		}
		if h.onCam {
			a = h.offset + (a-h.offset)/2
		}
		if h.wraps > 0 {
			a -= h.wraps * math.Floor(a/h.wraps)
		}
		rd := measure.Reading{At: at, Lift: measure.FromMillimetres(lift), Angle: measure.FromDegrees(a), Has: measure.HasLift | measure.HasAngle}
		if stray[len(tr.Readings)] {
			rd.Lift = measure.FromMillimetres(r.Float64() * 25)
		}
		if h.resolution > 0 {
			rd.Lift = measure.Length(math.Round(float64(rd.Lift)/float64(h.resolution))) * h.resolution
		}
		if h.angleStep > 0 {
			rd.Angle = measure.Angle(math.Floor(float64(rd.Angle)/float64(h.angleStep))) * h.angleStep
		}
		tr.Readings = append(tr.Readings, rd)
	}
	x := h.from
	for i := 0; x < h.to; i++ {
		// A hand pulls in strokes: the speed swings between nearly 0 and twice.
		x += h.perReading * (1 + 0.9*math.Sin(float64(i)/40)) * (0.5 + r.Float64())
		read(x)
		switch stop[i] {
		case "rest":
			for range 300 {
				read(x)
			}
		case "back":
			for far, y := 10+30*r.Float64(), 0.0; y < far; y += h.perReading {
				read(x - y)
			}
			for y := 10.0; y > 0; y -= h.perReading {
				read(x - y)
			}
		}
	}
	return tr
}

// reversed is the trace of the same engine turned against its running
// direction.
func reversed(tr measure.Trace) measure.Trace {
	out := tr
	out.Readings = slices.Clone(tr.Readings)
	slices.Reverse(out.Readings)
	for i := range out.Readings {
		out.Readings[i].At = tr.Readings[i].At
	}
	return out
}
