package timing

import (
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Figures are what is compared between the valves of an engine. Angles are
// crank degrees after the top dead centre of the valve's own cylinder.
type Figures struct {
	Name        string // "3 intake", as the person calls it
	Valve       Valve
	MaxLift     measure.Length
	Duration    *measure.Angle
	OpeningHalf *measure.Angle
	ClosingHalf *measure.Angle
}

// FiguresOf takes them from a valve's timing; the duration is that at half
// lift, which every valve has.
func FiguresOf(name string, t ValveTiming) Figures {
	f := Figures{Name: name, Valve: t.Valve}
	if t.Nose != nil {
		f.MaxLift = t.Nose.MaxLift
	}
	if h := t.HalfLift; h != nil && h.Span != nil {
		f.OpeningHalf, f.ClosingHalf, f.Duration = &h.Opens.Angle, &h.Closes.Angle, &h.Span.Duration
	}
	return f
}

// CompareOptions say what counts as the same. The zero value is the default.
type CompareOptions struct {
	// LiftU and AngleU are the least deviations worth a word, whatever the
	// others do: a row of equal valves must not be told apart by one count.
	// Defaults 0.05 mm (0.002 in) and 1 crank degree.
	LiftU  measure.Length
	AngleU measure.Angle
	// CardLift is what the card says of the max lift of each kind, where known.
	CardLift map[Valve]measure.Length
}

// Comparison is all valves of an engine against each other.
type Comparison struct {
	Groups []Group              `json:"groups"`
	Says   []worksheet.Sentence `json:"says"`
}

// Group is one quantity of one kind of valve.
type Group struct {
	Valve    Valve    `json:"valve,omitempty"`
	Quantity Quantity `json:"quantity"`
	Unit     string   `json:"unit"` // mm or deg
	Count    int      `json:"count"`
	Median   float64  `json:"median"`
	// Spread is largest minus least. Deviation is the median absolute
	// deviation, times 1.4826 and Croux and Rousseeuw's factor for few values,
	// so that it stands for a standard deviation.
	Spread    float64  `json:"spread"`
	Deviation float64  `json:"robust_deviation"`
	Members   []Member `json:"members"`
	// Note says what so few valves cannot tell.
	Note string `json:"note,omitempty"`
}

// Quantity names what is compared.
type Quantity string

// The quantities.
const (
	QMaxLift     Quantity = "max lift"
	QDuration    Quantity = "duration"
	QOpeningHalf Quantity = "opening half lift"
	QClosingHalf Quantity = "closing half lift"
)

// Member is one valve in a group.
type Member struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Off   float64 `json:"off_median"`
	// Score is Off over the deviation (0.6745·off/MAD, corrected); Outlier is
	// true over 3.5.
	Score   float64  `json:"score"`
	Outlier bool     `json:"outlier"`
	OffCard *float64 `json:"off_card,omitempty"`
}

// outlying is the score from which a value is called an outlier: Iglewicz and
// Hoaglin, How to Detect and Handle Outliers (1993), 3.5; from memory.
const outlying = 3.5

// smallSample is Croux and Rousseeuw's factor that makes the median absolute
// deviation unbiased for few values (COMPSTAT 1992; from memory). Index: n.
var smallSample = [...]float64{0, 0, 1.196, 1.495, 1.363, 1.206, 1.200, 1.140, 1.129, 1.107}

// RobustDeviation returns the median and the median absolute deviation of the
// values, the latter times 1.4826 (the normal distribution's) and, if few, by
// Croux and Rousseeuw's factor.
func RobustDeviation(values []float64, fewCorrected bool) (middle, deviation float64) {
	off := append([]float64(nil), values...)
	middle = median(off)
	for i, v := range values {
		off[i] = math.Abs(v - middle)
	}
	deviation = 1.4826 * median(off)
	if fewCorrected {
		if n := len(values); n < len(smallSample) {
			deviation *= smallSample[n]
		} else {
			deviation *= float64(n) / (float64(n) - 0.8)
		}
	}
	return middle, deviation
}

// CompareValves compares valves of the same kind with each other and with the
// card. Three of a kind are the least that can show one to be odd; with
// fewer it says so and compares with the card only.
func CompareValves(valves []Figures, o CompareOptions) (Comparison, error) {
	if len(valves) == 0 {
		return Comparison{}, worksheet.Wrongf("valves", "none given")
	}
	if o.LiftU == 0 {
		o.LiftU = 50 * measure.Micrometre
	}
	if o.AngleU == 0 {
		o.AngleU = measure.Degree
	}
	seen := map[string]bool{}
	for i, f := range valves {
		switch {
		case f.Name == "":
			return Comparison{}, worksheet.Wrongf(fmt.Sprintf("valves[%d].name", i), "missing")
		case seen[f.Name]:
			return Comparison{}, worksheet.Wrongf(fmt.Sprintf("valves[%d].name", i), "%q stands there twice", f.Name)
		case f.Valve != "" && f.Valve != Intake && f.Valve != Exhaust:
			return Comparison{}, worksheet.Wrongf(fmt.Sprintf("valves[%d].valve", i), "%q is neither intake nor exhaust", f.Valve)
		case f.MaxLift < 0 || f.MaxLift > 100*measure.Millimetre:
			return Comparison{}, worksheet.Wrongf(fmt.Sprintf("valves[%d].max_lift_mm", i), "%v is no valve's lift (from 0 to 100 mm)", f.MaxLift)
		}
		seen[f.Name] = true
	}
	c := Comparison{Groups: []Group{}, Says: []worksheet.Sentence{}}
	for _, kind := range []Valve{Intake, Exhaust, ""} {
		byName := map[string]map[Quantity]Member{}
		for _, q := range []Quantity{QMaxLift, QDuration, QOpeningHalf, QClosingHalf} {
			g, ok := group(valves, kind, q, o)
			if !ok {
				continue
			}
			c.Groups = append(c.Groups, g)
			if g.Note != "" && q == QMaxLift {
				c.Says = append(c.Says, worksheet.Sayf("%s", g.Note))
			}
			for _, m := range g.Members {
				if byName[m.Name] == nil {
					byName[m.Name] = map[Quantity]Member{}
				}
				byName[m.Name][q] = m
			}
		}
		for _, f := range valves {
			if f.Valve == kind {
				c.Says = append(c.Says, sayValve(f.Name, byName[f.Name], o)...)
			}
		}
	}
	if len(c.Groups) == 0 {
		return Comparison{}, worksheet.Wrongf("valves", "no max lift, duration or half-lift angle is given, so there is nothing to compare")
	}
	return c, nil
}

// group gathers one quantity of one kind.
func group(valves []Figures, kind Valve, q Quantity, o CompareOptions) (Group, bool) {
	g := Group{Valve: kind, Quantity: q, Unit: "deg"}
	least := o.AngleU.Degrees()
	if q == QMaxLift {
		g.Unit, least = "mm", o.LiftU.Millimetres()
	}
	var values []float64
	for _, f := range valves {
		if f.Valve != kind {
			continue
		}
		v, ok := f.value(q)
		if !ok {
			continue
		}
		values = append(values, v)
		g.Members = append(g.Members, Member{Name: f.Name, Value: v})
	}
	if len(values) == 0 {
		return g, false
	}
	g.Count = len(values)
	g.Median, g.Deviation = RobustDeviation(values, true)
	low, high := values[0], values[0]
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	g.Spread = high - low
	if g.Count < 3 {
		of := "valves"
		if kind != "" {
			of = string(kind) + " valves"
		}
		g.Note = fmt.Sprintf("%d of the %s measured: too few to say which one is odd", g.Count, of)
	} else if g.Count < 5 {
		g.Note = fmt.Sprintf("%d valves are few: an odd one shows only if the others agree well", g.Count)
	}
	// least is where a deviation begins to be worth a word: as a deviation it
	// is that over the score which makes an outlier.
	scale := max(g.Deviation, least/outlying)
	card, hasCard := o.CardLift[kind]
	for i := range g.Members {
		m := &g.Members[i]
		m.Off = m.Value - g.Median
		m.Score = m.Off / scale
		m.Outlier = g.Count >= 3 && math.Abs(m.Score) > outlying
		if q == QMaxLift && hasCard && card > 0 {
			off := m.Value - card.Millimetres()
			m.OffCard = &off
		}
	}
	return g, true
}

func (f Figures) value(q Quantity) (float64, bool) {
	var a *measure.Angle
	switch q {
	case QMaxLift:
		return f.MaxLift.Millimetres(), f.MaxLift > 0
	case QDuration:
		a = f.Duration
	case QOpeningHalf:
		a = f.OpeningHalf
	case QClosingHalf:
		a = f.ClosingHalf
	}
	if a == nil {
		return 0, false
	}
	return a.Degrees(), true
}

// sayValve puts into words what is odd about one valve.
func sayValve(name string, by map[Quantity]Member, o CompareOptions) []worksheet.Sentence {
	var out []worksheet.Sentence
	lift, hasLift := by[QMaxLift]
	openHalf, hasOpen := by[QOpeningHalf]
	closeHalf, hasClose := by[QClosingHalf]
	if hasLift && lift.Outlier {
		share := 100 * math.Abs(lift.Off) / max(math.Abs(lift.Value-lift.Off), 1e-9)
		text := worksheet.Sayf("%s lifts %v (%.1f %%) %s than the others of its kind", name, worksheet.Rounded(measure.FromMillimetres(math.Abs(lift.Off))), share, map[bool]string{true: "less", false: "more"}[lift.Off < 0])
		if lift.Off < 0 {
			text = worksheet.Sayf("%s: a worn lobe or lifter, too much lash, a bent pushrod or another rocker; measure at the lobe to tell which", text)
		} else {
			text = worksheet.Sayf("%s: too little lash, another rocker, or another lobe; measure at the lobe to tell which", text)
		}
		out = append(out, text)
	} else if hasLift && lift.OffCard != nil && math.Abs(*lift.OffCard) > o.LiftU.Millimetres() {
		out = append(out, worksheet.Sayf("%s lifts %v %s than the card", name, worksheet.Rounded(measure.FromMillimetres(math.Abs(*lift.OffCard))), map[bool]string{true: "less", false: "more"}[*lift.OffCard < 0]))
	}
	switch {
	case hasOpen && hasClose && openHalf.Outlier && closeHalf.Outlier && openHalf.Off*closeHalf.Off > 0:
		mean := (openHalf.Off + closeHalf.Off) / 2
		out = append(out, worksheet.Sayf("%s is %s degrees %s than the others at both half lifts: its lobe is turned on the cam, or its top dead centre was set wrong", name, plain(math.Abs(mean)), map[bool]string{true: "earlier", false: "later"}[mean < 0]))
	case by[QDuration].Outlier:
		d := by[QDuration]
		out = append(out, worksheet.Sayf("%s is open %s degrees %s than the others: lash, or wear of a flank", name, plain(math.Abs(d.Off)), map[bool]string{true: "shorter", false: "longer"}[d.Off < 0]))
	default:
		for _, e := range []struct {
			m    Member
			word string
		}{{openHalf, "opening"}, {closeHalf, "closing"}} {
			if e.m.Outlier {
				out = append(out, worksheet.Sayf("%s reaches half lift %s degrees %s than the others on its %s flank: wear of that flank", name, plain(math.Abs(e.m.Off)), map[bool]string{true: "earlier", false: "later"}[e.m.Off < 0], e.word))
			}
		}
	}
	return out
}
