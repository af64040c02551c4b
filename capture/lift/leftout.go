package lift

import (
	"slices"

	"lobescribe/device/measure"
)

// LeftOut is an opening that somebody struck: every opening whose nose lies in
// the stretch counts for nothing. Its readings stay as they are.
type LeftOut struct {
	From  measure.Stamp `json:"from_s"`
	Until measure.Stamp `json:"until_s"`
	Why   string        `json:"why"`
}

// Struck is an opening that was left out, as it was measured, with the reason.
type Struck struct {
	Opening Opening `json:"opening"`
	Why     string  `json:"why"`
}

// covers tells whether a moment lies in the stretch.
func (l LeftOut) covers(at measure.Stamp) bool { return l.From <= at && at <= l.Until }

// leaveOut takes the openings that were struck out of all, and out of the
// faults those that belong to a struck opening alone. It returns what counts,
// and what was struck, in the order of time.
func leaveOut(all []measured, faults []Fault, out []LeftOut) (kept []measured, still []Fault, struck []Struck) {
	if len(out) == 0 {
		return all, faults, nil
	}
	still = faults
	skipped := false
	for _, m := range all {
		i := slices.IndexFunc(out, func(l LeftOut) bool { return l.covers(m.Nose) })
		if i < 0 {
			m.skipped = m.skipped || skipped
			kept, skipped = append(kept, m), false
			continue
		}
		skipped = true
		struck = append(struck, Struck{m.Opening, out[i].Why})
		still = slices.DeleteFunc(slices.Clone(still), func(f Fault) bool { return m.Open <= f.At && f.At <= m.Close })
	}
	return kept, still, struck
}

// Without returns the trace without the readings of what was left out, for
// whoever works on the readings themselves. The trace is not changed.
func Without(t measure.Trace, out []LeftOut) measure.Trace {
	if len(out) == 0 {
		return t
	}
	t.Readings = slices.DeleteFunc(slices.Clone(t.Readings), func(r measure.Reading) bool {
		return slices.ContainsFunc(out, func(l LeftOut) bool { return l.covers(r.At) })
	})
	return t
}
