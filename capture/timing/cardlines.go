package timing

import (
	"math"
	"slices"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// What a line of a card may be off where nobody said otherwise: two crank degrees,
// five thousandths of an inch of lift, one cam degree between the lobes (common
// practice, no source).
const (
	CardTolerance     = 2 * measure.Degree
	CardLiftTolerance = 5 * measure.Thou
)

// CardLine is one line of a cam card, judged: measured less card, with its U,
// against a tolerance either way. A line is an angle or a lift; the other's fields
// are absent.
type CardLine struct {
	Valve Valve `json:"valve,omitempty"` // none: both
	// Line is opens, closes, duration, centreline, max lift or lobe separation;
	// angles are crank degrees, later and longer counted positive; the lobe
	// separation is in cam degrees.
	Line          string          `json:"line"`
	Off           *measure.Angle  `json:"off_deg,omitempty"`
	OffU          *measure.Angle  `json:"off_u_deg,omitempty"`
	Tolerance     *measure.Angle  `json:"tolerance_deg,omitempty"`
	More          *measure.Length `json:"off_mm,omitempty"`
	MoreU         *measure.Length `json:"off_u_mm,omitempty"`
	MoreTolerance *measure.Length `json:"tolerance_mm,omitempty"`
	Verdict       verdict.Verdict `json:"verdict"`
	// Turned is the verdict with the cam turned by what explains the card best, by
	// calculation; absent for lines that no turn changes.
	Turned *verdict.Verdict   `json:"if_cam_turned,omitempty"`
	Says   worksheet.Sentence `json:"says"`
}

// sideOf is what the card was compared with, of one valve.
type sideOf struct {
	v       Valve
	card    CardValve
	passage *Passage
	doubts  []verdict.Doubt // of angles that count from top dead centre
	whole   []verdict.Doubt // of everything
}

// usualNose is where lobes have their noses, from the overlap's top dead centre;
// noseRoom either way holds every usual cam (common practice, no source).
const (
	usualNose = 110 * measure.Degree
	noseRoom  = 45 * measure.Degree
)

// doubtZero says why angles that count from top dead centre must not be judged:
// no cam is where the middle of the opening lies.
func doubtZero(v Valve, middle measure.Angle) []verdict.Doubt {
	at := middle
	if v == Exhaust {
		at = -at
	}
	if v == "" || at > usualNose-noseRoom && at < usualNose+noseRoom {
		return nil
	}
	return []verdict.Doubt{{Cause: verdict.Doubtful, Says: "the middle of the opening lies at " + saysNose(middle) + ", where no " + string(v) + " cam is: find top dead centre first"}}
}

// judge fills in the card's lines.
func (c *CardComparison) judge(sides []sideOf, o CardOptions) {
	c.Lines = []CardLine{}
	tolerance, liftTolerance := o.Tolerance, o.LiftTolerance
	if tolerance == 0 {
		tolerance = CardTolerance
	}
	if liftTolerance == 0 {
		liftTolerance = CardLiftTolerance
	}
	for _, s := range sides {
		of := "the card's"
		for i := range c.Deviations {
			if d := c.Deviations[i]; d.Valve == s.v {
				turned := verdict.Judge(verdict.Figure[measure.Angle]{Value: d.LeftOver, U: d.LeftOverU, Doubts: s.whole}, verdict.Within(0, tolerance))
				c.Lines = append(c.Lines, angleLine(s.v, d.Event, d.Later, d.U, tolerance, slices.Concat(s.whole, s.doubts), &turned))
			}
		}
		if s.passage != nil && s.passage.Span != nil && s.card.Opens != nil && s.card.Closes != nil {
			span := s.passage.Span
			c.Lines = append(c.Lines, angleLine(s.v, "duration", span.Duration-(*s.card.Closes-*s.card.Opens), span.DurationU, tolerance, s.whole, nil))
			off := span.Centreline - (*s.card.Opens+*s.card.Closes)/2
			turned := verdict.Judge(verdict.Figure[measure.Angle]{Value: off + c.advanceOf(s.v), U: degrees(coverage * span.uMiddle), Doubts: s.whole}, verdict.Within(0, tolerance))
			c.Lines = append(c.Lines, angleLine(s.v, "centreline", off, span.CentrelineU, tolerance, slices.Concat(s.whole, s.doubts), &turned))
		}
		for _, l := range c.Lifts {
			if l.Valve == s.v {
				v := verdict.Judge(verdict.Figure[measure.Length]{Value: l.More, U: l.U, Doubts: s.whole}, verdict.Within(0, liftTolerance))
				c.Lines = append(c.Lines, CardLine{Valve: s.v, Line: "max lift", More: &l.More, MoreU: &l.U, MoreTolerance: &liftTolerance, Verdict: v,
					Says: worksheet.Sayf("%s max lift: %v ± %v %s %s, tolerance %v: %s", s.v, worksheet.Rounded(l.More.Abs()), worksheet.Rounded(l.U), moreOrLess(float64(l.More), "more than", "less than"), of, liftTolerance, v.String())})
			}
		}
	}
	if o.LobeSeparation != nil && len(sides) == 2 && sides[0].span() != nil && sides[1].span() != nil {
		in, ex := sides[0].span(), sides[1].span()
		off := (in.Centreline-ex.Centreline)/2 - *o.LobeSeparation
		u := degrees(math.Hypot(in.uMiddle, ex.uMiddle))
		line := angleLine("", "lobe separation", off, u, tolerance/2, slices.Concat(sides[0].whole, sides[1].whole), nil)
		c.Lines = append(c.Lines, line)
	}
	c.mend()
}

func (s sideOf) span() *Span {
	if s.passage == nil {
		return nil
	}
	return s.passage.Span
}

// advanceOf is the advance found of a valve's cam.
func (c *CardComparison) advanceOf(v Valve) measure.Angle {
	for _, s := range c.Shifts {
		if s.Of == "cam" || s.Of == string(v)+" cam" {
			return s.Advance
		}
	}
	return 0
}

func angleLine(v Valve, name string, off, u, tolerance measure.Angle, doubts []verdict.Doubt, turned *verdict.Verdict) CardLine {
	l := CardLine{Valve: v, Line: name, Off: &off, OffU: &u, Tolerance: &tolerance, Turned: turned,
		Verdict: verdict.Judge(verdict.Figure[measure.Angle]{Value: off, U: u, Doubts: doubts}, verdict.Within(0, tolerance))}
	whose := name
	if v != "" {
		whose = string(v) + " " + name
	}
	how := moreOrLess(float64(off), "later than", "earlier than")
	if turned == nil {
		how = moreOrLess(float64(off), "more than", "less than")
	}
	l.Says = worksheet.Sayf("%s: %s ± %s degrees %s the card's, tolerance %s: %s", whose, plain(math.Abs(off.Degrees())), plain(u.Degrees()), how, plain(tolerance.Degrees()), l.Verdict.String())
	return l
}

func moreOrLess[N int64 | float64](v N, more, less string) string {
	if v < 0 {
		return less
	}
	return more
}

// mend says what turning the cam would do for the lines that do not meet.
func (c *CardComparison) mend() {
	for _, s := range c.Shifts {
		moves, meets, stays := 0, 0, 0
		for _, l := range c.Lines {
			if s.Of != "cam" && s.Of != string(l.Valve)+" cam" || l.Verdict.Good() || l.Verdict.Kind == verdict.NotJudged {
				continue
			}
			switch {
			case l.Turned == nil:
				stays++
			case l.Turned.Good():
				meets++
				fallthrough
			default:
				moves++
			}
		}
		if moves+stays == 0 {
			continue
		}
		var says worksheet.Sentence
		way := moreOrLess(float64(s.Advance), "retarding", "advancing")
		by := worksheet.Sayf("%s the %s by %s ± %s crank degrees", way, s.Of, plain(math.Abs(s.Advance.Degrees())), plain(s.AdvanceU.Degrees()))
		switch {
		case moves == 0:
			says = worksheet.Sayf("no turn of the %s mends what is off", s.Of)
		case s.Advance.Degrees() <= s.AdvanceU.Degrees() && -s.Advance.Degrees() <= s.AdvanceU.Degrees():
			says = worksheet.Sayf("whether turning the %s would help cannot be told: it stands %s ± %s crank degrees from where its card has it", s.Of, plain(math.Abs(s.Advance.Degrees())), plain(s.AdvanceU.Degrees()))
		case meets == 0:
			says = worksheet.Sayf("%s would bring none of the lines within the tolerance", by)
		default:
			says = worksheet.Sayf("%s would bring %d of %d lines that turn with it within the tolerance, if top dead centre is right", by, meets, moves)
		}
		if stays > 0 && moves > 0 {
			says = worksheet.Sayf("%s; %d more that no turn changes (duration, lift)", says, stays)
		}
		c.Mends = append(c.Mends, says)
	}
}
