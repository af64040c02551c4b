package question

import (
	"lobescribe/capture/timing"
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// LashStep is the change of lash whose effect on the events page and sheet tell: two
// thousandths of an inch, a usual turn of the feeler (common practice, no source).
const LashStep = 2 * measure.Thou

// More asks for what follows from a curve at the valve beyond its timing, as far as
// the engine's dimensions are known: what page and sheet say of it.
func More(e storage.Engine, kind valve.Kind, o timing.Options) timing.MoreInput {
	in := timing.MoreInput{LashStep: LashStep, Lobe: o.Ratio != 0 && o.MeasuredAt != timing.AtLobe}
	if p := e.Ports.Of(kind); p.Head != 0 && p.Throat != 0 && p.Throat <= p.Head && p.Stem < p.Throat && p.SeatWidth < p.Head/4 {
		in.Port = &timing.PortInput{Head: p.Head, SeatWidth: p.SeatWidth, Throat: p.Throat, Stem: p.Stem}
	}
	crank := timing.Crank{Stroke: e.Stroke, Rod: e.Rod}
	if kind == valve.Intake && e.Compression != 0 && crank.Check() == nil {
		in.Cylinder = &timing.CylinderInput{Compression: e.Compression, Bore: e.Bore, Crank: crank}
	}
	return in
}
