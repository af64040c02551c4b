package clearance

import "lobescribe/device/measure"

// PistonBelowTDC is piston in the types of its callers.
func PistonBelowTDC(stroke, rod measure.Length, at measure.Angle) measure.Length {
	return measure.FromMillimetres(piston(stroke.Millimetres()/2, rod.Millimetres(), at.Degrees()))
}
