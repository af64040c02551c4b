// Package measure holds the quantities that every other package speaks in:
// [Length] in whole nanometres, [Angle] in whole microdegrees, [Stamp] in whole
// microseconds of monotonic time, and the [Reading] and [Trace] made of them.
//
// Quantities are integers, so that neither a change of unit nor a sum drifts:
// an indicator's count is a whole number of nanometres in either unit. Floats
// appear only where mathematics is done ([Length.Millimetres], [Angle.Degrees])
// and come back rounded to the nearest whole.
//
// Text is read and printed exactly. In JSON a Length is a number of
// millimetres, an Angle a number of degrees and a Stamp a number of seconds, to
// the last digit they hold; the names of the fields say so (_mm, _deg, _s).
//
// The package knows nothing of instruments, engines, storage or the page.
package measure
