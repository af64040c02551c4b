package sheet

import (
	"lobescribe/capture/agree"
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

// KindLift is the max lift of one valve, to be held against the others of its
// kind.
type KindLift struct {
	Valve string
	Kind  valve.Kind
	// MaxLift with its expanded uncertainty.
	MaxLift, U measure.Length
}

// OffKind returns how far each valve's max lift is from the median of the others
// of its kind, and whether that is more than both uncertainties explain. A valve
// that is alone of its kind is not in it. The map of the engine and the sheet say
// the same because both ask here.
func OffKind(all []KindLift) map[string]agree.Off {
	byKind := map[valve.Kind][]KindLift{}
	for _, l := range all {
		byKind[l.Kind] = append(byKind[l.Kind], l)
	}
	off := map[string]agree.Off{}
	for _, group := range byKind {
		if len(group) < 2 {
			continue
		}
		figures := make([]agree.Figure, len(group))
		for i, l := range group {
			figures[i] = agree.Figure{Value: l.MaxLift, U: l.U}
		}
		for i, o := range agree.Of(figures).Each {
			off[group[i].Valve] = o
		}
	}
	return off
}
