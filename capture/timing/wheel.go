package timing

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// WheelInput checks a degree wheel against an encoder, or an encoder against its own
// index mark, over two turns of the crank.
type WheelInput struct {
	// Readings are pairs taken at one moment, all while turning forwards but those
	// with Back.
	Readings []WheelReading `json:"readings,omitempty"`
	// Index is what the encoder showed each time a mark (a pin, the wheel's zero) came
	// past turning forwards, IndexBack turning backwards.
	Index     []measure.Angle `json:"index_deg,omitempty" bound:"crank"`
	IndexBack []measure.Angle `json:"index_back_deg,omitempty" bound:"crank"`
	// U is how well one reading is (k = 2), default half a degree of a wheel read by
	// eye (common practice, no source).
	U *measure.Angle `json:"reading_u_deg,omitempty" bound:"angle u"`
}

// WheelReading is encoder and wheel at one moment.
type WheelReading struct {
	Encoder measure.Angle `json:"encoder_deg" bound:"crank"`
	Wheel   measure.Angle `json:"wheel_deg" bound:"crank"`
	Back    bool          `json:"back,omitempty"`
}

// WheelCheck is what two turns say. A part is absent where the readings cannot tell
// it. U are expanded (k = 2).
type WheelCheck struct {
	// Turn is what the encoder counts a turn of the crank.
	Turn  *measure.Angle `json:"turn_deg,omitempty"`
	TurnU *measure.Angle `json:"turn_u_deg,omitempty"`
	// Slack is how far the crank goes on turning back before the encoder follows.
	Slack  *measure.Angle `json:"slack_deg,omitempty"`
	SlackU *measure.Angle `json:"slack_u_deg,omitempty"`
	// Eccentric is how far wheel and encoder part either way once a turn, as a wheel
	// does that is not centred; At the encoder's angle where it is most ahead.
	Eccentric  *measure.Angle `json:"once_a_turn_deg,omitempty"`
	EccentricU *measure.Angle `json:"once_a_turn_u_deg,omitempty"`
	At         *measure.Angle `json:"once_a_turn_at_deg,omitempty"`
	// Scatter is the standard deviation of what is left.
	Scatter *measure.Angle       `json:"scatter_deg,omitempty"`
	Says    []worksheet.Sentence `json:"says"`
}

const wheelReadU = measure.Degree / 2

func (w *WheelInput) check(c *worksheet.Check) {
	if w == nil {
		return
	}
	c.That(len(w.Readings)+len(w.Index) > 0, "wheel", "is empty: give readings (encoder and wheel together) or index_deg (one mark, twice past)")
	c.That(len(w.Readings) == 0 || len(w.Readings) >= 6, "wheel.readings", "holds %d pairs: at least 6 are needed, spread over two turns", len(w.Readings))
	c.That(len(w.Readings) <= 1000 && len(w.Index) <= 1000 && len(w.IndexBack) <= 1000, "wheel", "holds more than 1000 readings")
	c.That(len(w.Index) != 1 || len(w.IndexBack) > 0, "wheel.index_deg", "holds one reading: turn on until the mark comes past again")
	c.That(len(w.IndexBack) == 0 || len(w.Index) > 0, "wheel.index_deg", "is missing: slack is told from a mark passed both ways")
	c.That(w.U == nil || *w.U > 0 && *w.U <= 45*measure.Degree, "wheel.reading_u_deg", "expected above 0, up to 45 degrees")
	for i, r := range w.Readings {
		c.That(r.Encoder >= -farthest && r.Encoder <= farthest && r.Wheel >= -farthest && r.Wheel <= farthest, fmt.Sprintf("wheel.readings[%d]", i), "an angle lies within ten thousand turns")
	}
	for name, list := range map[string][]measure.Angle{"wheel.index_deg": w.Index, "wheel.index_back_deg": w.IndexBack} {
		for i, a := range list {
			c.That(a >= -farthest && a <= farthest, fmt.Sprintf("%s[%d]", name, i), "is %v: an angle lies within ten thousand turns", a)
		}
	}
}

// wheel answers a check.
func (out *Result) wheel(r Request) error {
	if r.Wheel == nil {
		return nil
	}
	w := WheelCheck{Says: []worksheet.Sentence{}}
	u := orElse(r.Wheel.U, wheelReadU).Degrees() / coverage
	if err := w.index(*r.Wheel, u); err != nil {
		return err
	}
	if err := w.readings(*r.Wheel, u); err != nil {
		return err
	}
	out.Wheel = &w
	out.Assume("the engine was turned one way, up to each reading and not past it, but for the readings that say otherwise")
	out.Cite("wheel against encoder: least squares of offset, counts a turn, once a turn and slack; derived here")
	return nil
}

// index tells the counts a turn, and the slack, from one mark.
func (w *WheelCheck) index(in WheelInput, u float64) error {
	n := len(in.Index)
	if n == 0 {
		return nil
	}
	x := make([]float64, n)
	for i, a := range in.Index {
		x[i] = a.Degrees()
	}
	if n >= 2 {
		way := 1.0
		if x[n-1] < x[0] {
			way = -1
		}
		turns := make([]float64, n)
		for i := 1; i < n; i++ {
			k := math.Round(way * (x[i] - x[i-1]) / 360)
			if k < 1 {
				return worksheet.Wrongf(fmt.Sprintf("wheel.index_deg[%d]", i), "%v comes less than a turn after %v: give what an encoder shows that counts on, a mark passed once a turn", in.Index[i], in.Index[i-1])
			}
			turns[i] = turns[i-1] + k
		}
		slope, uSlope, s := lineThrough(turns, x, u)
		turn := way * slope
		w.Turn, w.TurnU = new(degrees(turn)), new(degrees(coverage*uSlope))
		if off := turn - 360; math.Abs(off) > coverage*uSlope {
			w.Says = append(w.Says, worksheet.Sayf("the encoder counts %.2f ± %.2f degrees a turn: it loses or gains %.2f, or has another number of counts than was told", turn, coverage*uSlope, off))
		} else {
			w.Says = append(w.Says, worksheet.Sayf("index to index the encoder counts %.2f ± %.2f degrees a turn, as it should", turn, coverage*uSlope))
		}
		if s > 0 {
			w.Scatter = new(degrees(s))
		}
	}
	if len(in.IndexBack) > 0 {
		mean := func(list []measure.Angle) (m float64) {
			for _, a := range list {
				m += math.Remainder((a-in.Index[0]).Degrees(), 360) / float64(len(list))
			}
			return m
		}
		w.slackIs(mean(in.Index)-mean(in.IndexBack), u*math.Sqrt(1/float64(n)+1/float64(len(in.IndexBack))))
	}
	return nil
}

func (w *WheelCheck) slackIs(slack, u float64) {
	w.Slack, w.SlackU = new(degrees(math.Abs(slack))), new(degrees(coverage*u))
	if math.Abs(slack) > coverage*u {
		w.Says = append(w.Says, worksheet.Sayf("the drive has %.2f ± %.2f degrees of slack: come to every reading turning the same way", math.Abs(slack), coverage*u))
	} else {
		w.Says = append(w.Says, worksheet.Sayf("no slack beyond ± %.2f degrees", coverage*u))
	}
}

// spread returns how far the encoder went, degrees, and an error where the pairs are not
// spread over two turns.
func (in WheelInput) spread() (span float64, err error) {
	var places [12]bool
	least, most, seen := 0.0, 0.0, 0
	for _, r := range in.Readings {
		x := (r.Encoder - in.Readings[0].Encoder).Degrees()
		least, most = min(least, x), max(most, x)
		if at := min(11, int(math.Mod(math.Mod(x, 360)+360, 360)/30)); !places[at] {
			places[at] = true
			seen++
		}
	}
	if seen < 5 {
		return 0, worksheet.Wrongf("wheel.readings", "stand in %d of the twelve thirds of a quarter turn: what comes once a turn shows only when they are spread over the turn, at least 5", seen)
	}
	if most-least < 300 {
		return 0, worksheet.Wrongf("wheel.readings", "span %s degrees of the encoder: two turns are needed", plain(most-least))
	}
	return most - least, nil
}

// parting is wheel less encoder fitted by offset, counts a turn, once a turn and slack, in
// degrees; the last only where some readings were come to turning back.
type parting struct {
	fit     mat.VecDense
	cov     mat.SymDense // of readings that scatter by 1
	scatter float64
}

// errParting says that readings leave these open.
func errParting() error {
	return worksheet.Wrongf("wheel.readings", "do not tell offset, counts a turn and what comes once a turn apart: spread them over two turns")
}

// parts fits the readings.
func (in WheelInput) parts(columns int) (p parting, err error) {
	n, first := len(in.Readings), in.Readings[0].Encoder.Degrees()
	a, b := mat.NewDense(n, columns, nil), mat.NewVecDense(n, nil)
	sin0, cos0 := 0.0, 0.0
	offs := make([]float64, n)
	for i, r := range in.Readings {
		offs[i] = (r.Wheel - r.Encoder).Degrees() * math.Pi / 180
		s, c := math.Sincos(offs[i])
		sin0, cos0 = sin0+s, cos0+c
	}
	middle := math.Atan2(sin0, cos0)
	for i, r := range in.Readings {
		x := r.Encoder.Degrees()
		s, c := math.Sincos(x * math.Pi / 180)
		a.Set(i, 0, 1)
		a.Set(i, 1, (x-first)/360)
		a.Set(i, 2, c)
		a.Set(i, 3, s)
		if r.Back {
			a.Set(i, 4, 1)
		}
		// The wheel shows 0 to 360, or either side of 0: whole turns do not count.
		b.SetVec(i, math.Remainder(offs[i]-middle, 2*math.Pi)*180/math.Pi)
	}
	var qr mat.QR
	qr.Factorize(a)
	if qr.SolveVecTo(&p.fit, false, b) != nil {
		return p, errParting()
	}
	var residual mat.VecDense
	residual.MulVec(a, &p.fit)
	residual.SubVec(b, &residual)
	p.scatter = math.Sqrt(mat.Dot(&residual, &residual) / float64(n-columns))
	var normal mat.SymDense
	normal.SymOuterK(1, a.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) || chol.InverseTo(&p.cov) != nil {
		return p, errParting()
	}
	return p, nil
}

// readings says how wheel and encoder part.
func (w *WheelCheck) readings(in WheelInput, u float64) error {
	n := len(in.Readings)
	if n == 0 {
		return nil
	}
	span, err := in.spread()
	if err != nil {
		return err
	}
	columns, back := 4, slices.ContainsFunc(in.Readings, func(r WheelReading) bool { return r.Back })
	if back {
		columns = 5
	}
	if n < columns+1 {
		return worksheet.Wrongf("wheel.readings", "holds %d pairs: at least %d are needed", n, columns+1)
	}
	p, err := in.parts(columns)
	if err != nil {
		return err
	}
	w.Scatter = new(degrees(p.scatter))
	one := max(p.scatter, u)
	of := func(i int) float64 { return one * math.Sqrt(p.cov.At(i, i)) }
	if w.Turn == nil && span > 600 {
		w.turnIs(360/(1+p.fit.AtVec(1)/360), of(1))
	}
	w.eccentricIs(p.fit.AtVec(2), p.fit.AtVec(3), of(2), of(3))
	if back && w.Slack == nil {
		w.slackIs(p.fit.AtVec(4), of(4))
	}
	return nil
}

// turnIs says how many degrees the encoder counts a turn of the wheel.
func (w *WheelCheck) turnIs(turn, u float64) {
	w.Turn, w.TurnU = new(degrees(turn)), new(degrees(coverage*u))
	if math.Abs(turn-360) > coverage*u {
		w.Says = append(w.Says, worksheet.Sayf("the encoder counts %.2f ± %.2f degrees a turn of the wheel: it loses or gains counts, or has another number of them than was told", turn, coverage*u))
	} else {
		w.Says = append(w.Says, worksheet.Sayf("the encoder counts %.2f ± %.2f degrees a turn of the wheel, as it should", turn, coverage*u))
	}
}

// eccentricIs says what comes once a turn: its cosine and sine, with their uncertainties.
func (w *WheelCheck) eccentricIs(c, s, uc, us float64) {
	// Where nothing comes once a turn, two errors still have a size: their mean is
	// taken off.
	u := math.Sqrt((sq(uc) + sq(us)) / 2)
	size := math.Sqrt(max(sq(math.Hypot(c, s))-sq(u), 0))
	w.Eccentric, w.EccentricU = new(degrees(size)), new(degrees(coverage*u))
	if size > coverage*u {
		w.At = new(degrees(math.Atan2(s, c) * 180 / math.Pi).Wrap(measure.Turn))
		w.Says = append(w.Says, worksheet.Sayf("once a turn wheel and encoder part by %.2f ± %.2f degrees either way, the wheel most ahead where the encoder shows %.0f: one of the two is not centred", size, coverage*u, w.At.Degrees()))
	} else {
		w.Says = append(w.Says, worksheet.Sayf("nothing comes once a turn beyond ± %.2f degrees", coverage*u))
	}
}

// lineThrough fits y over x by least squares: slope, its standard uncertainty with a
// reading's u (or the scatter, where that is more), and the scatter.
func lineThrough(x, y []float64, u float64) (slope, uSlope, scatter float64) {
	n := float64(len(x))
	var mx, my float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	var xx, xy float64
	for i := range x {
		xx += sq(x[i] - mx)
		xy += (x[i] - mx) * (y[i] - my)
	}
	slope = xy / xx
	for i := range x {
		scatter += sq(y[i] - my - slope*(x[i]-mx))
	}
	if len(x) > 2 {
		scatter = math.Sqrt(scatter / (n - 2))
	} else {
		scatter = 0
	}
	return slope, max(u, scatter) / math.Sqrt(xx), scatter
}
