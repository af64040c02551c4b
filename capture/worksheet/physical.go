package worksheet

import (
	"fmt"

	"lobescribe/device/measure"
)

// Physical is a number of a sentence that is no length and has another unit where
// lengths are inches: a force, an area.
type Physical struct {
	value          float64
	metric, inches physicalUnit
}

// physicalUnit is how many of it one metric unit is, and how many digits are worth
// printing.
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
	return fmt.Sprintf(as.format, p.value*as.per) + " " + as.name
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
	return Physical{v, physicalUnit{"mm/deg²", 1, "%.2g"}, physicalUnit{"thou/deg²", 1000 / 25.4, "%.2g"}}
}
