package coverage

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
)

// springRows wind a spring and let somebody measure it: with a micrometer, a
// caliper and an eye for coils, or on a tester.
func springRows() []row {
	type wound struct{ wire, mean, coils, modulus, free, rate float64 }
	wind := func(r *rand.Rand) wound {
		w := wound{wire: between(r, 3.5, 4.8), mean: between(r, 24, 34), coils: between(r, 3.5, 4.6), modulus: about(r, 79_300, 0.02*79_300), free: between(r, 52, 64)}
		// Castigliano: the wire is a torsion bar of length pi D n on an arm D/2, so
		// the deflection is F (D/2)^2 (pi D n) / (G J) with J = pi d^4/32.
		arm, length, j := w.mean/2, math.Pi*w.mean*w.coils, math.Pi*math.Pow(w.wire, 4)/32
		w.rate = w.modulus * j / (arm * arm * length)
		return w
	}
	ask := func(t *testing.T, r *rand.Rand, tester bool) (wound, float64, float64, clearance.SpringAnswer) {
		w := wind(r)
		installed, lift := between(r, 42, 48), between(r, 9, 14)
		// Where its coils touch no load is told, and no wire bears more than 2000 MPa.
		stress := func() float64 {
			return 1.3 * 8 * w.rate * (w.free - installed + lift) * w.mean / (math.Pi * math.Pow(w.wire, 3))
		}
		for installed-lift < (w.coils+2)*w.wire+1 || stress() > 1700 {
			w, lift = wind(r), between(r, 9, 14)
		}
		q := clearance.SpringQuestion{Installed: mm(about(r, installed, 0.2)), Lift: mm(lift)}
		if tester {
			for _, h := range []float64{installed, installed - lift/2, installed - lift} {
				q.Loads = append(q.Loads, clearance.Load{Height: mm(about(r, h, 0.2)), Load: clearance.Force(w.rate * (w.free - h) * about(r, 1, 0.03))})
			}
		} else {
			q.Wire, q.MeanDiameter, q.ActiveCoils, q.Free = mm(about(r, w.wire, 0.02)), mm(about(r, w.mean, 0.1)), about(r, w.coils, 0.25), mm(about(r, w.free, 0.2))
		}
		a, err := clearance.SolveSpring(q)
		require.NoError(t, err)
		return w, installed, lift, a
	}
	var rows []row
	for name, tester := range map[string]bool{"dimensions": false, "three loads": true} {
		rows = append(rows,
			row{"spring.rate_u_n_per_mm", name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				w, _, _, a := ask(t, r, tester)
				return float64(a.Rate) - w.rate, float64(a.RateU)
			}, ""},
			row{"spring.seat_load_u_n", name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				w, installed, _, a := ask(t, r, tester)
				return float64(*a.SeatLoad) - w.rate*(w.free-installed), float64(*a.SeatLoadU)
			}, ""},
			row{"spring.open_load_u_n", name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				w, installed, lift, a := ask(t, r, tester)
				return float64(*a.OpenLoad) - w.rate*(w.free-installed+lift), float64(*a.OpenLoadU)
			}, ""})
	}
	return rows
}
