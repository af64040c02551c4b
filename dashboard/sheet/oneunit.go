package sheet

import (
	"regexp"

	"lobescribe/device/measure"
)

// both is a length that is told in either unit, as a fault of a trace and an error
// have it: "0.400 mm (0.0158 in)".
var both = regexp.MustCompile(`(-?[\d.]+ mm) \((-?[\d.]+ in)\)`)

// oneUnit leaves of a length that is told in both units the sheet's own.
func (w words) oneUnit(says string) string {
	if w.unit == measure.InMillimetres {
		return both.ReplaceAllString(says, "$1")
	}
	return both.ReplaceAllString(says, "$2")
}
