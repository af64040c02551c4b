package timing

import (
	"math"

	"lobescribe/device/measure"
)

// Pair is what an intake and an exhaust valve of one cylinder have together at
// one checking lift. Top dead centre is the same for both and cancels, except
// in the advance.
type Pair struct {
	CheckingLift measure.Length `json:"checking_lift_mm"`
	CheckedAt    Place          `json:"checked_at"`
	// Overlap is in crank degrees; negative if the exhaust is shut before the
	// intake opens.
	Overlap  measure.Angle `json:"overlap_deg"`
	OverlapU measure.Angle `json:"overlap_u_deg"`
	// Separation is in cam degrees, from the centrelines between events.
	Separation  measure.Angle `json:"lobe_separation_cam_deg"`
	SeparationU measure.Angle `json:"lobe_separation_u_cam_deg"`
	// Advance is separation minus intake centreline: positive if the cam was
	// set earlier than the middle between its lobes. Crank degrees.
	Advance  measure.Angle `json:"advance_deg"`
	AdvanceU measure.Angle `json:"advance_u_deg"`
	// NoseSeparation is the same from the noses, in cam degrees.
	NoseSeparation  *measure.Angle `json:"nose_separation_cam_deg,omitempty"`
	NoseSeparationU *measure.Angle `json:"nose_separation_u_cam_deg,omitempty"`
}

// Pairs compares an intake with an exhaust valve at every checking lift that
// both have.
func Pairs(intake, exhaust ValveTiming) []Pair {
	var out []Pair
	for _, in := range intake.Passages {
		for _, ex := range exhaust.Passages {
			if in.Span == nil || ex.Span == nil || in.CheckingLift != ex.CheckingLift || in.CheckedAt != ex.CheckedAt {
				continue
			}
			p := Pair{
				CheckingLift: in.CheckingLift, CheckedAt: in.CheckedAt,
				Overlap:    ex.Closes.Angle - in.Opens.Angle,
				Separation: (in.Span.Centreline - ex.Span.Centreline) / 2,
			}
			p.Advance = p.Separation - in.Span.Centreline
			p.OverlapU = degrees(coverage * math.Hypot(math.Hypot(in.Opens.uAlone, in.Opens.shared), math.Hypot(ex.Closes.uAlone, ex.Closes.shared)))
			_, mi := spread(in.Opens, in.Closes)
			_, me := spread(ex.Opens, ex.Closes)
			p.SeparationU = degrees(coverage * math.Hypot(mi, me) / 2)
			// Advance is -(intake + exhaust centreline)/2: here it counts fully.
			uTDC := math.Sqrt(max(sq(in.Span.CentrelineU.Degrees()/coverage)-sq(mi), 0))
			p.AdvanceU = degrees(coverage * math.Hypot(math.Hypot(mi, me)/2, uTDC))
			if intake.Nose != nil && exhaust.Nose != nil {
				s := (intake.Nose.Angle - exhaust.Nose.Angle) / 2
				u := degrees(math.Hypot(intake.Nose.uAlone, exhaust.Nose.uAlone) * coverage / 2)
				p.NoseSeparation, p.NoseSeparationU = &s, &u
			}
			out = append(out, p)
		}
	}
	return out
}

// Typed are the two events of a valve as a person read them, with the expanded
// uncertainty of either reading and of the top dead centre that both count from.
type Typed struct{ Opens, Closes, U, TDCU measure.Angle }

// FromEvents returns the timing of a valve of which only its two events are
// known.
func FromEvents(v Valve, lift measure.Length, at Place, e Typed) ValveTiming {
	alone, uTDC := e.U.Degrees()/coverage, e.TDCU.Degrees()/coverage
	u := degrees(coverage * math.Hypot(alone, uTDC))
	p := Passage{
		CheckingLift: lift, CheckedAt: at.or(AtValve), Level: lift,
		Opens:  &Event{Angle: e.Opens, U: u, uAlone: alone},
		Closes: &Event{Angle: e.Closes, U: u, uAlone: alone},
	}
	p.name(v)
	p.between(uTDC)
	return ValveTiming{Valve: v, Passages: []Passage{p}}
}
