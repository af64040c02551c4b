package worksheet

import (
	"fmt"
	"strconv"

	"lobescribe/device/measure"
)

// Physical is a number of a sentence that is no length and has another unit where
// lengths are inches: a force, an area.
type Physical struct {
	value          float64
	metric, inches physicalUnit
}

// physicalUnit is how many of it one metric unit is, and how many digits are worth
// printing: without a format, two that count.
type physicalUnit struct {
	name   string
	per    float64
	format string
}

func (p Physical) in(u measure.Unit) string {
	as := p.metric
	if u == measure.InInches || u == measure.InThou {
		as = p.inches
	}
	text := twoDigits(p.value * as.per)
	if as.format != "" {
		text = fmt.Sprintf(as.format, p.value*as.per)
	}
	return text + " " + as.name
}

// twoDigits prints a number of any size to two digits that count, without an exponent.
func twoDigits(v float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 1, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// Newtons is a force, in inches' company in pounds: of 0.45359237 kg in standard
// gravity, exactly.
func Newtons(v float64) Physical {
	return Physical{v, physicalUnit{"N", 1, "%.0f"}, physicalUnit{"lbf", 1 / 4.4482216152605, "%.1f"}}
}

const squareInch = 25.4 * 25.4 // mm2

// SquareMillimetres is an area.
func SquareMillimetres(v float64) Physical {
	return Physical{v, physicalUnit{"mm²", 1, "%.0f"}, physicalUnit{"in²", 1 / squareInch, "%.3f"}}
}

// SquareMillimetreDegrees is an area's sum over the crank.
func SquareMillimetreDegrees(v float64) Physical {
	return Physical{v, physicalUnit{"mm²·deg", 1, "%.0f"}, physicalUnit{"in²·deg", 1 / squareInch, "%.2f"}}
}

// PerSquareDegree is a length's second slope by the crank.
func PerSquareDegree(v float64) Physical {
	return Physical{v, physicalUnit{"mm/deg²", 1, ""}, physicalUnit{"thou/deg²", 1000 / 25.4, ""}}
}
