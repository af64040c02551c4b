package timing

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// RatioOptions say how to compare a lobe-side with a valve-side curve.
type RatioOptions struct {
	// Nominal ratio, 0 if there is none to compare with.
	Nominal float64
	// Lash at the valve while the valve-side curve was measured. Nil: found
	// from the curves, as what is missing at the foot of the flanks.
	Lash *measure.Length
	// Degree of the polynomial of valve lift over lobe lift, 2 to 5. Default 3:
	// a rocker's arc, its offset and a little flex.
	Degree int
}

// RatioCurve is the rocker ratio against lobe lift.
type RatioCurve struct {
	// Lash at the valve, given or found, with its expanded uncertainty.
	Lash      measure.Length `json:"lash_mm"`
	LashU     measure.Length `json:"lash_u_mm"`
	LashFound bool           `json:"lash_found"`
	// Apart is by how many crank degrees the valve's curve lies after the
	// lobe's. It should be 0 within its uncertainty; if not, the two traces do
	// not share one top dead centre.
	Apart  measure.Angle `json:"apart_deg"`
	ApartU measure.Angle `json:"apart_u_deg"`
	// AtNose is (valve lift + lash) / lobe lift at the nose, by the fit.
	AtNose  float64 `json:"ratio_at_nose"`
	AtNoseU float64 `json:"ratio_at_nose_u"`
	Nominal float64 `json:"nominal,omitempty"`
	// Stations at tenths of the lobe lift.
	Stations []RatioStation `json:"stations"`
	// Opening and Closing are the mean of valve lift off the fitted curve on
	// each flank: their difference is flex, friction or backlash.
	Opening measure.Length `json:"opening_flank_off_mm"`
	Closing measure.Length `json:"closing_flank_off_mm"`
	// Scatter is the standard deviation about the fitted curve.
	Scatter  measure.Length       `json:"scatter_mm"`
	Warnings []worksheet.Sentence `json:"warnings,omitempty"`

	// at is the lift on the valve's curve, lash and heel as they were, with its
	// standard uncertainty; top the lobe's lift in mm.
	at     func(lobe float64) (valve, u float64)
	slopes func(lobe float64) (ratio, u, change, changeU float64)
	top    float64
}

// RatioStation is the ratio at one lobe lift.
type RatioStation struct {
	Lobe  measure.Length `json:"lobe_lift_mm"`
	Valve measure.Length `json:"valve_lift_mm"` // lash added
	// ValveU is expanded.
	ValveU measure.Length `json:"valve_lift_u_mm"`
	// Ratio is valve movement over lobe movement at that lift; Mean is that
	// from the heel up to it. U are expanded.
	Ratio  float64 `json:"ratio"`
	RatioU float64 `json:"ratio_u"`
	Mean   float64 `json:"mean_ratio"`
	// Off is Ratio minus nominal, absent without one.
	Off *float64 `json:"off_nominal,omitempty"`
}

// No rocker's ratio lies outside of these, worn or bent as it may be (common practice,
// no source).
const leastRatio, mostRatio = 0.4, 4

// Ratio works out the rocker ratio from two curves of the same valve, one
// measured at the lobe (lifter, pushrod) and one at the valve.
//
// Both flanks together are fitted by least squares,
//
//	valve(θ) = -lash + Σ c_k · lobe(θ)^k - apart · d valve/dθ,
//
// and the ratio is the polynomial's slope. Turning the engine for the second
// trace need not begin at the same place; the angle between the two is found,
// because it acts on the flanks in opposite ways while the ratio acts alike.
func Ratio(lobe, valve *Curve, o RatioOptions) (RatioCurve, error) {
	if o.Degree == 0 {
		o.Degree = 3
	}
	switch {
	case o.Degree < 2 || o.Degree > 5:
		return RatioCurve{}, worksheet.Wrongf("ratio.degree", "%d (from 2 to 5)", o.Degree)
	case o.Nominal != 0 && !(o.Nominal >= 0.2 && o.Nominal <= 5):
		return RatioCurve{}, worksheet.Wrongf("ratio.nominal", "%v is no rocker's ratio (from 0.2 to 5)", o.Nominal)
	case o.Lash != nil && (*o.Lash < 0 || *o.Lash > 10*measure.Millimetre):
		return RatioCurve{}, worksheet.Wrongf("ratio.lash_mm", "%v is no lash (from 0 to 10 mm)", *o.Lash)
	}
	r := RatioCurve{Nominal: o.Nominal}
	lobeNose, valveNose := lobe.Nose(), valve.Nose()
	top := lobeNose.MaxLift.Millimetres()
	// Degrees of the lobe's frame to the valve's: whole turns may lie between.
	turns := 360 * math.Round((valveNose.Angle-lobeNose.Angle).Degrees()/360)
	if d := math.Abs((valveNose.Angle - lobeNose.Angle).Degrees() - turns); d > 30 {
		return r, fmt.Errorf("ratio: the two noses lie %s degrees apart, so the traces are not of one valve against one top dead centre: check angle_deg and tdc_deg of both", plain(d))
	}
	var xs, ls, vs, ds []float64
	for x := math.Ceil(lobe.x[0]); x <= lobe.x[len(lobe.x)-1]; x++ {
		l, v := lobe.line.At(x), valve.line.At(x+turns)
		// Below a twentieth lies the lash and its ramp, where nothing is moved.
		if l > 0.05*top && v > 0.02*valveNose.MaxLift.Millimetres() && x+turns > valve.x[0] && x+turns < valve.x[len(valve.x)-1] {
			xs, ls, vs = append(xs, x), append(ls, l/top), append(vs, v)
			ds = append(ds, valve.line.Slope(x+turns))
		}
	}
	columns := o.Degree + 2 // powers from 0, and the shift
	n := len(xs)
	if n < 3*columns {
		return r, fmt.Errorf("ratio: only %d degrees of both curves lie above the heel together, at least %d are needed", n, 3*columns)
	}
	design, lifts := mat.NewDense(n, columns, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := range columns - 1 {
			design.Set(i, j, math.Pow(ls[i], float64(j)))
		}
		design.Set(i, columns-1, -ds[i])
		lifts.SetVec(i, vs[i])
	}
	a, b := design, lifts
	// Neighbouring degrees of a smoothed curve are not independent: a window
	// of about 2·half width shares its readings.
	together := max(1, 2*max(lobe.made.HalfWidth, valve.made.HalfWidth).Degrees())
	least := math.Hypot(lobe.uLift(lobeNose.Angle.Degrees())*valveNose.MaxLift.Millimetres()/top, valve.uLift(valveNose.Angle.Degrees()))
	uLash := 0.0
	if o.Lash != nil {
		// A lash that was told is one more reading of the constant, as good as feeler
		// and heels are.
		if *o.Lash > 0 {
			uLash = feelerU.Millimetres() / coverage
		}
		weight := max(least, 1e-6) * math.Sqrt(together) / max(worksheet.Combine(uLash, valve.uHeel, lobe.uHeel*valveNose.MaxLift.Millimetres()/top), 1e-6)
		a, b = mat.NewDense(n+1, columns, nil), mat.NewVecDense(n+1, nil)
		a.Copy(design)
		a.Set(n, 0, weight)
		b.CopyVec(lifts)
		b.SetVec(n, -weight*o.Lash.Millimetres())
	}
	var qr mat.QR
	qr.Factorize(a)
	var fit mat.VecDense
	if err := qr.SolveVecTo(&fit, false, b); err != nil {
		return r, fmt.Errorf("ratio: the curves do not determine a ratio: %w", err)
	}
	var residual mat.VecDense
	residual.MulVec(design, &fit)
	residual.SubVec(lifts, &residual)
	s := math.Sqrt(mat.Dot(&residual, &residual) / float64(n-columns))
	chance := max(s, least)
	var normal mat.SymDense
	normal.SymOuterK(1, a.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return r, fmt.Errorf("ratio: the curves do not determine a ratio (the lift hardly changes)")
	}
	var cov mat.SymDense
	if err := chol.InverseTo(&cov); err != nil {
		return r, fmt.Errorf("ratio: %w", err)
	}
	variance := chance * chance * together
	// spread is the expanded uncertainty of a weighted sum of the fit.
	spread := func(g []float64) float64 {
		v := mat.NewVecDense(columns, g)
		return coverage * math.Sqrt(max(mat.Inner(v, &cov, v)*variance, 0))
	}
	unit := func(j int) []float64 {
		g := make([]float64, columns)
		g[j] = 1
		return g
	}
	r.Apart, r.ApartU = degrees(fit.AtVec(columns-1)), degrees(spread(unit(columns-1)))
	if o.Lash != nil {
		r.Lash, r.LashU = *o.Lash, millimetres(coverage*uLash)
	} else {
		r.LashFound = true
		r.Lash, r.LashU = millimetres(-fit.AtVec(0)), millimetres(math.Hypot(spread(unit(0)), coverage*valve.uHeel))
	}
	// powers returns the weights of the fit in its value at a share l of the lobe's
	// lift, its constant with it or not, and in its slope.
	powers := func(l float64, constant bool) (value, slope []float64) {
		value, slope = make([]float64, columns), make([]float64, columns)
		for j := range columns - 1 {
			value[j] = math.Pow(l, float64(j))
			if j > 0 {
				slope[j] = float64(j) * math.Pow(l, float64(j-1)) / top
			}
		}
		if !constant {
			value[0] = 0
		}
		return value, slope
	}
	of := func(weights []float64) float64 { return mat.Dot(mat.NewVecDense(columns, weights), &fit) }
	// A heel of the lobe's curve that is off moves both ends of what lies between
	// the heel and a lift: only the difference of the ratios there counts.
	_, atHeel := powers(0, false)
	for tenth := 1; tenth <= 10; tenth++ {
		l := float64(tenth) / 10
		value, weights := powers(l, false)
		slope, lift := of(weights), of(value)
		st := RatioStation{
			Lobe: millimetres(l * top), Valve: millimetres(lift), ValveU: millimetres(math.Hypot(spread(value), coverage*(slope-of(atHeel))*lobe.uHeel)),
			Ratio: slope, RatioU: spread(weights), Mean: lift / (l * top),
		}
		if o.Nominal != 0 {
			off := slope - o.Nominal
			st.Off = &off
		}
		r.Stations = append(r.Stations, st)
	}
	if mean := r.Stations[len(r.Stations)-1].Mean; !(mean >= leastRatio && mean <= mostRatio) {
		return RatioCurve{}, worksheet.Wrongf("", "the valve's lift_mm rises %.3g times as far as the lobe's, and no rocker makes that of it: check that both curves are in one unit, and which of them is which", mean)
	}
	r.top = top
	r.at = func(lift float64) (v, u float64) {
		value, weights := powers(lift/top, true)
		return of(value), math.Hypot(spread(value)/coverage, of(weights)*lobe.uHeel)
	}
	r.slopes = func(lift float64) (ratio, u, change, changeU float64) {
		l := lift / top
		_, weights := powers(l, false)
		second := make([]float64, columns)
		for j := 2; j < columns-1; j++ {
			second[j] = float64(j*(j-1)) * math.Pow(l, float64(j-2)) / sq(top)
		}
		change = of(second)
		// A heel of the lobe's curve that is off is a lift at which the ratio is
		// another.
		return of(weights), math.Hypot(spread(weights)/coverage, change*lobe.uHeel), change, spread(second) / coverage
	}
	nose := r.Stations[len(r.Stations)-1]
	r.AtNose = nose.Mean
	r.AtNoseU = math.Hypot(nose.ValveU.Millimetres(), (nose.Ratio-nose.Mean)*lobeNose.MaxLiftU.Millimetres()) / top
	var sums, counts [2]float64
	for i, x := range xs {
		flank := 0
		if x > lobeNose.Angle.Degrees() {
			flank = 1
		}
		sums[flank] += residual.AtVec(i)
		counts[flank]++
	}
	r.Opening, r.Closing = millimetres(sums[0]/max(counts[0], 1)), millimetres(sums[1]/max(counts[1], 1))
	r.Scatter = millimetres(s)
	if math.Abs(r.Apart.Degrees()) > max(r.ApartU.Degrees(), 0.5) {
		r.Warnings = append(r.Warnings, worksheet.Sayf("the two traces lie %s degrees apart: top dead centre was set differently, or the indicator and the encoder are read at different moments", plain(r.Apart.Degrees())))
	}
	if r.LashFound && r.Lash < 0 && -r.Lash > r.LashU {
		r.Warnings = append(r.Warnings, worksheet.Sayf("the valve seems to move before the lobe does: the heel of one of the traces is not the heel (preload, or a lifter that bled down)"))
	}
	return r, nil
}

// Gain is what a change did to a valve's curve.
type Gain struct {
	MaxLift  measure.Length `json:"max_lift_mm"`
	MaxLiftU measure.Length `json:"max_lift_u_mm"`
	// Area is the area under the curve gained, in mm times crank degrees, and
	// AreaShare its share of what was there before.
	Area      float64 `json:"area_mm_deg"`
	AreaShare float64 `json:"area_share"`
	// Durations at the checking lifts.
	Durations []DurationGain `json:"durations"`
	// Largest is where the lift grew most.
	Largest   measure.Length `json:"largest_mm"`
	LargestAt measure.Angle  `json:"largest_atdc_deg"`
}

// DurationGain is the duration gained at one checking lift.
type DurationGain struct {
	CheckingLift measure.Length `json:"checking_lift_mm"`
	Duration     measure.Angle  `json:"duration_deg"`
	U            measure.Angle  `json:"u_deg"`
}

// GainOf compares two curves of a valve, before and after a change.
func GainOf(before, after *Curve, checks []measure.Length) Gain {
	if checks == nil {
		checks = DefaultChecks()
	}
	nb, na := before.Nose(), after.Nose()
	g := Gain{MaxLift: na.MaxLift - nb.MaxLift, MaxLiftU: millimetres(math.Hypot(na.MaxLiftU.Millimetres(), nb.MaxLiftU.Millimetres())), Durations: []DurationGain{}}
	ab, _ := before.area()
	aa, _ := after.area()
	g.Area = aa - ab
	if ab > 0 {
		g.AreaShare = g.Area / ab
	}
	for _, lift := range checks {
		pb, errB := before.Passage(lift, "")
		pa, errA := after.Passage(lift, "")
		if errA != nil || errB != nil || pb.Span == nil || pa.Span == nil {
			continue // not reached by one of the two: nothing to compare there
		}
		g.Durations = append(g.Durations, DurationGain{CheckingLift: lift, Duration: pa.Span.Duration - pb.Span.Duration,
			U: degrees(math.Hypot(pa.Span.DurationU.Degrees(), pb.Span.DurationU.Degrees()))})
	}
	turns := 360 * math.Round((na.Angle-nb.Angle).Degrees()/360)
	most := math.Inf(-1)
	for x := math.Ceil(before.x[0]); x <= before.x[len(before.x)-1]; x++ {
		if d := after.line.At(x+turns) - before.line.At(x); d > most {
			most = d
			g.Largest, g.LargestAt = millimetres(d), degrees(x)
		}
	}
	return g
}
