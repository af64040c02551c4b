package simulator

import (
	"fmt"

	"lobescribe/device/measure"
)

// Engine is some valves on one crank.
type Engine struct {
	Name   string
	Valves []Valve
}

// BenchMule returns an engine to try things out on: an inline four of eight
// valves, firing 1-3-4-2, with levers on the stand. Engine, camshaft and every
// number are invented. Like a real one it has its small differences, a worn
// lobe on exhaust 3, and a loose lash on intake 4.
func BenchMule() Engine {
	e := Engine{Name: "bench mule"}
	phase := map[int]measure.Angle{1: 0, 3: 180 * measure.Degree, 4: 360 * measure.Degree, 2: 540 * measure.Degree}
	// Differences of lobe lift in tenths of a thou.
	scatter := [8]measure.Length{0, 4, -3, 2, 5, -4, 1, -2}
	for i := range 8 {
		cylinder, intake := i/2+1, i%2 == 0
		v := Valve{
			Name: fmt.Sprintf("exhaust %d", cylinder),
			Lobe: Lobe{
				Rise: Even2101826(), Fall: Polynomial4567,
				Lift:      272*measure.Thou + scatter[i]*measure.Thou/10,
				RiseAngle: 68 * measure.Degree, FallAngle: 73 * measure.Degree,
				OpeningRamp: Ramp{Height: 9 * measure.Thou}, ClosingRamp: Ramp{Height: 12 * measure.Thou},
			},
			Rocker: Rocker{Ratio: 1.55, ValveArm: 1520 * measure.Thou, Bend: 8 * measure.Degree, Pushrod: 7850 * measure.Thou, Lean: 4 * measure.Degree},
			Lash:   6 * measure.Thou,
			NoseAt: 607*measure.Degree + phase[cylinder],
		}
		if intake {
			v.Name = fmt.Sprintf("intake %d", cylinder)
			v.Lobe.Lift += 11 * measure.Thou
			v.Lobe.RiseAngle -= 2 * measure.Degree
			v.NoseAt = 109*measure.Degree + phase[cylinder]
		}
		v.NoseAt = v.NoseAt.Wrap(measure.Cycle)
		switch v.Name {
		case "exhaust 3":
			v.Lobe.Lift -= 14 * measure.Thou
		case "intake 4":
			v.Lash += 9 * measure.Thou
		}
		e.Valves = append(e.Valves, v)
	}
	return e
}
