package timing

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// coverage is the factor of every expanded uncertainty that has no K of its
// own beside it (JCGM 100:2008, 6.2.1 and 6.3).
const coverage = 2

// rectangular is the standard uncertainty of something known only to lie
// within ± half (JCGM 100:2008, 4.3.7).
func rectangular(half float64) float64 { return half / math.Sqrt(3) }

// count is the standard uncertainty of a value that an instrument shows in
// whole steps (JCGM 100:2008, F.2.2.1).
func count(step float64) float64 { return step / math.Sqrt(12) }

// meanTypeA is the mean of repeated readings and its standard uncertainty
// (JCGM 100:2008, 4.2). The uncertainty of one reading alone is 0: nothing is
// known about it from itself.
func meanTypeA(values []float64) (mean, u float64) {
	mean, s := stat.MeanStdDev(values, nil)
	if len(values) < 2 {
		return mean, 0
	}
	return mean, s / math.Sqrt(float64(len(values)))
}

// component is one contribution to a combined uncertainty. Freedom 0 stands
// for "known well" (infinite degrees of freedom).
type component struct {
	u       float64
	freedom float64
}

// expand combines independent contributions and returns the expanded
// uncertainty with its coverage factor: 2, or, where few readings stand behind
// the larger part, Student's t of 95.45 % for the effective degrees of freedom,
// truncated (JCGM 100:2008, G.4, formula of Welch and Satterthwaite, and G.6.4).
func expand(parts ...component) (expanded, k float64) {
	u := combined(parts...)
	k = coverage
	if nu := effectiveFreedom(parts...); !math.IsInf(nu, 1) && nu < 1000 {
		k = max(k, distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(math.Floor(nu), 1)}.Quantile(0.97725))
	}
	return k * u, k
}

func combined(parts ...component) float64 {
	sum := 0.0
	for _, p := range parts {
		sum += p.u * p.u
	}
	return math.Sqrt(sum)
}

func effectiveFreedom(parts ...component) float64 {
	den := 0.0
	for _, p := range parts {
		if p.freedom > 0 {
			den += math.Pow(p.u, 4) / p.freedom
		}
	}
	if den == 0 {
		return math.Inf(1)
	}
	return math.Pow(combined(parts...), 4) / den
}

// degrees turns a result of the mathematics into an Angle. What is absurd
// (slope nearly 0, so that an angle is not known at all) becomes a whole turn.
func degrees(d float64) measure.Angle {
	if math.IsNaN(d) || math.Abs(d) > 1e6 {
		d = math.Copysign(360, d)
	}
	return measure.FromDegrees(d)
}

// millimetres turns a result of the mathematics into a Length, within 10 m.
func millimetres(mm float64) measure.Length {
	if math.IsNaN(mm) {
		mm = 1e4
	}
	return measure.FromMillimetres(min(max(mm, -1e4), 1e4))
}

// within puts the path of an enclosing field before that of a problem, and
// its name before any other error.
func within(path string, err error) error {
	if p := (*worksheet.Problem)(nil); errors.As(err, &p) {
		field := path
		if p.Field != "" {
			field += "." + p.Field
		}
		return worksheet.Wrongf(field, "%s", p.Says)
	}
	return fmt.Errorf("%s: %w", path, err)
}
