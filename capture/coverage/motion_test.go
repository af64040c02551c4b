package coverage

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/timing"
)

// rising is a lobe between two crank angles.
type rising struct {
	from, to float64
	above    func(x float64) float64
}

func even(r *rand.Rand) rising {
	l := lobeAsGround(r, 110)
	return rising{l.Centre - l.Half, l.Centre + l.Half, l.Above}
}

// turning is a rise and a fall of different length, each a blend of a cycloid and a
// polynomial 35 u^4 - 84 u^5 + 70 u^6 - 20 u^7 (Norton, Cam Design and Manufacturing
// Handbook, from memory), with nothing of the even lobe's in it.
func turning(r *rand.Rand) rising {
	height, up, down, blend := between(r, 7, 14), between(r, 115, 150), between(r, 115, 150), r.Float64()
	return rising{0, up + down, func(x float64) float64 {
		u := x / up
		if x > up {
			u = (up + down - x) / down
		}
		if u <= 0 {
			return 0
		}
		cycloid := u - math.Sin(2*math.Pi*u)/(2*math.Pi)
		polynomial := u * u * u * u * (35 + u*(-84+u*(70-20*u)))
		return height * (blend*cycloid + (1-blend)*polynomial)
	}}
}

// motionRows run a valve on a lobe whose acceleration is taken by small steps, with
// masses that a kitchen scale misreads, and a rocker that is weighed or is not.
func motionRows() []row {
	var rows []row
	for _, c := range []struct {
		name     string
		weighed  bool
		spacing  float64
		rounding float64
		lobe     func(r *rand.Rand) rising
	}{
		{"a point a degree, the rocker weighed", true, 1, 0.01, even}, {"a point in two degrees, nobody weighed the rocker", false, 2, 0.01, even},
		// The window was chosen while looking at the two above; lobes of another law
		// judge it.
		{"lobes of another law", true, 1, 0.0127, turning},
	} {
		const speed = 5000.0
		ask := func(t *testing.T, r *rand.Rand) (usedUp, margin, mass, own float64, a clearance.SpringAnswer) {
			l := c.lobe(r)
			rate, seat := between(r, 30, 70), between(r, 250, 600)
			valve, spring := between(r, 90, 220), between(r, 40, 90)
			rocker := between(r, 0, 0.25*(valve+spring/3))
			moving := (valve + spring/3 + rocker) / 1000
			best := math.Inf(1)
			margin = math.Inf(1)
			w := speed * math.Pi / 30
			const h = 0.05
			for x := l.from; x < l.to; x += h {
				y := l.above(x)
				acc := (l.above(x+h) - 2*y + l.above(x-h)) / (h * h) * math.Pow(180/math.Pi, 2) / 1000
				if acc >= 0 || y <= 0 {
					continue
				}
				load := seat + rate*y
				best = math.Min(best, load/(moving*-acc))
				margin = math.Min(margin, load+moving*acc*w*w)
			}
			m := &clearance.MotionQuestion{Mass: valve * about(r, 1, 0.03), Spring: spring * about(r, 1, 0.05), Resolution: mm(c.rounding), Speed: speed}
			if c.weighed {
				m.Rocker = rocker * about(r, 1, 0.2)
			}
			for x := l.from - 10; x <= l.to+10; x += c.spacing {
				m.Curve = append(m.Curve, timing.Point{Angle: deg(x), Lift: mm(math.Round(l.above(x)/c.rounding) * c.rounding)})
			}
			q := clearance.SpringQuestion{SeatLoad: clearance.Force(seat * about(r, 1, 0.03)), Installed: mm(45), Motion: m}
			for _, height := range []float64{45, 39, 33} {
				q.Loads = append(q.Loads, clearance.Load{Height: mm(about(r, height, 0.2)), Load: clearance.Force((seat + rate*(45-height)) * about(r, 1, 0.03))})
			}
			a, err := clearance.SolveSpring(q)
			require.NoError(t, err)
			// The ends take two of its coils; a row of masses on springs swings as pi/2
			// sqrt(k/M)/pi, the limit of a chain between walls.
			coils := between(r, 5, 9)
			own = math.Pi / 2 * math.Sqrt(rate*1e3/(spring/1e3*(coils-2)/coils)) / math.Pi
			return math.Sqrt(best) * 30 / math.Pi, margin, moving * 1000, own, a
		}
		// One valve answers for both figures.
		type ran struct {
			usedUp, margin, mass, own float64
			a                         clearance.SpringAnswer
		}
		var mu sync.Mutex
		var drawn []ran
		r := rand.New(rand.NewPCG(14, uint64(len(rows))))
		at := func(t *testing.T, next *int) ran {
			mu.Lock()
			defer mu.Unlock()
			for len(drawn) <= *next {
				usedUp, margin, mass, own, a := ask(t, r)
				drawn = append(drawn, ran{usedUp, margin, mass, own, a})
			}
			*next++
			return drawn[*next-1]
		}
		var first, second, third, fourth int
		rows = append(rows,
			row{"spring.used_up_u_rpm", c.name, func(t *testing.T, _ *rand.Rand) (off, u float64) {
				v := at(t, &first)
				return v.a.Motion.UsedUp - v.usedUp, v.a.Motion.UsedUpU
			}, ""},
			row{"spring.margin_u_n", c.name, func(t *testing.T, _ *rand.Rand) (off, u float64) {
				v := at(t, &second)
				return float64(*v.a.Motion.Margin) - v.margin, float64(*v.a.Motion.MarginU)
			}, ""},
			row{"spring.moving_mass_u_g", c.name, func(t *testing.T, _ *rand.Rand) (off, u float64) {
				v := at(t, &third)
				return v.a.Motion.Mass - v.mass, v.a.Motion.MassU
			}, ""},
			row{"spring.own_u_hz", c.name, func(t *testing.T, _ *rand.Rand) (off, u float64) {
				v := at(t, &fourth)
				return *v.a.Motion.Frequency - v.own, *v.a.Motion.FrequencyU
			}, ""})
	}
	return rows
}
