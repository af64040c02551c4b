package sweep

import (
	"lobescribe/capture/join"
	"lobescribe/capture/lift"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Recorded is a trace with what was found in it.
type Recorded struct {
	Name     string // as a person calls it, for what is said of it
	Trace    measure.Trace
	Findings lift.Findings
}

// Recordings are the traces that a question is made of.
type Recordings struct {
	Turn      Recorded  // the gauge against the tip
	Reference *Recorded // the gauge against the side; nil: there was no such pass
	// LiftTurn is lift against angle, for passes without a lift of their own: one
	// indicator that was moved. nil: each pass has its lift.
	LiftTurn *Recorded
}

// FromTraces puts the passes and the full lift of r into q, and what its traces'
// findings warn of into says. Only whole openings that count are taken; lift counts
// from each opening's own heel. The error says what to record.
func FromTraces(q Question, r Recordings) (out Question, says []worksheet.Sentence, err error) {
	heeled := r.LiftTurn
	if heeled == nil {
		heeled = &r.Turn
	}
	f := heeled.Findings
	if len(f.Openings) == 0 {
		return q, nil, worksheet.Wrongf("turn", "%s has no whole opening: turn the engine from the heel over the nose and back onto the heel", heeled.Name)
	}
	if q.Lift == 0 {
		q.Lift = f.MaxLift
		if q.LiftU == nil {
			q.LiftU = &f.MaxLiftU
		}
	}
	if q.Turn, err = r.pass("turn", r.Turn); err != nil {
		return q, nil, err
	}
	q.Reference = nil
	if r.Reference != nil {
		p, err := r.pass("reference", *r.Reference)
		if err != nil {
			return q, nil, err
		}
		q.Reference = &p
	}
	for _, one := range []*Recorded{r.LiftTurn, &r.Turn, r.Reference} {
		if one == nil || len(one.Findings.Openings) == 0 {
			continue // a pass without a lift of its own is found to have no lift
		}
		for _, fault := range one.Findings.Faults {
			says = append(says, worksheet.Sayf("%s: %s", one.Name, fault.Says))
		}
	}
	return q, says, nil
}

// pass takes the readings of a trace in its whole openings.
func (r Recordings) pass(field string, of Recorded) (Pass, error) {
	const beside = measure.HasLift | measure.HasSweep
	var p Pass
	readings, next := join.All(of.Trace.Readings), 0
	for _, o := range of.Findings.Openings {
		for ; next < len(readings) && readings[next].At <= o.Close; next++ {
			if x := readings[next]; x.At >= o.Open && x.Has&beside == beside {
				p.Lift = append(p.Lift, measure.Length(of.Findings.Sign)*(x.Lift-o.Heel))
				p.Sweep = append(p.Sweep, x.Sweep)
			}
		}
	}
	switch {
	case len(p.Lift) > 0:
		return p, nil
	case r.LiftTurn == nil:
		return p, worksheet.Wrongf(field, "%s has no sweep beside its lift in a whole opening: record both gauges together over one, or with an encoder name the turn in which the indicator stood on the valve", of.Name)
	}
	lifts := r.LiftTurn.lifts()
	if len(lifts) == 0 {
		return p, worksheet.Wrongf("lift_turn", "%s has no crank angles beside its lift: one indicator that is moved needs an encoder in both turns", r.LiftTurn.Name)
	}
	centre := lifts[len(lifts)/2].Angle
	var sweeps []At
	for _, x := range readings {
		if x.Has&(measure.HasSweep|measure.HasAngle) == measure.HasSweep|measure.HasAngle {
			sweeps = append(sweeps, At{inCycle(x.Angle, centre), x.Sweep})
		}
	}
	if len(sweeps) == 0 {
		return p, worksheet.Wrongf(field, "%s has no sweep beside a crank angle: record it with the gauge as --sweep and with the encoder", of.Name)
	}
	return Pair(lifts, sweeps)
}

// lifts are the lifts of a turn's whole openings, above the heel, all at angles of
// one cycle.
func (r *Recorded) lifts() []At {
	const beside = measure.HasLift | measure.HasAngle
	var out []At
	readings, next := join.All(r.Trace.Readings), 0
	for _, o := range r.Findings.Openings {
		for ; next < len(readings) && readings[next].At <= o.Close; next++ {
			x := readings[next]
			if x.At < o.Open || x.Has&beside != beside {
				continue
			}
			if len(out) > 0 {
				x.Angle = inCycle(x.Angle, out[0].Angle)
			}
			out = append(out, At{x.Angle, measure.Length(r.Findings.Sign) * (x.Lift - o.Heel)})
		}
	}
	return out
}

// inCycle is an angle within half a cycle of another.
func inCycle(a, near measure.Angle) measure.Angle {
	return near + (a - near + measure.Cycle/2).Wrap(measure.Cycle) - measure.Cycle/2
}
