package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"lobescribe/capture/timing"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// view is the sheet in words: what the template prints, and nothing to decide.
type view struct {
	Name, Date, Version, Unit string
	Style                     markup
	Engine                    storage.Engine
	Facts                     []fact
	OffWord                   string
	Lifts                     []liftRow
	AnyOdd                    bool
	Compared                  []string
	Faults, LeftOut, Noted    []saying
	Gate                      Gate
	Checks                    []checkRow
	Together                  markup
	Plots                     []plotted
	Timings                   []timingRow
	Pairs                     []pairRow
	CardRows                  []cardRow
	CardLines                 []cardLine
	CardSays                  []string
	Setups                    []setup
	Cuts                      []cutRow
	Tally, CutSays            []string
	Gaps                      []gapRow
	Limits                    []string
	GapSays, Springs          []saying
	Instruments               []string
	Missing                   []saying
	Damage                    []string
}

type fact struct{ Word, Value string }
type saying struct{ Name, Says string }
type plotted struct {
	Name    string
	Picture markup
}
type liftRow struct {
	Name                                    string
	Measured, Odd, Simulated, Differs       bool
	Again                                   string
	Max, U, Half, HalfReadings, Spread, Off string
	Openings                                int
	Trace                                   string
}
type timingRow struct{ Name, At, Opens, Closes, Duration, Centreline, Nose string }
type pairRow struct{ Name, At, Overlap, Separation, Advance string }

// cardLine is what the card says of one valve, judged line by line.
type cardLine struct{ Name, Opens, Closes, Duration, Centreline, Lift string }

type cardRow struct {
	Name, Says, Later, LeftOver string
	Stands                      bool
}
type setup struct {
	Name string
	Rows []trialRow
	Next []string
	// Picture is the newest photograph with its marks, as an SVG; PictureOf when
	// it was taken.
	Picture   markup
	PictureOf string
}
type checkRow struct {
	Check
	WaivedOn string
}
type trialRow struct{ When, Stack, Height, Pushrod, Lash, Below, Sweep, Lift, Remark string }
type cutRow struct{ Name, Tube, Overall, Centres, U string }
type gapRow struct {
	Name, Left, U, Limit, Usual, Verdict, Says string
	Short                                      bool
}

const none = "–"

func (d Data) view() (view, error) {
	w := d.words()
	v := view{
		Name: d.Engine.Name, Date: d.Made.Format("2 January 2006, 15:04"), Version: d.Version, Unit: cmp.Or(map[measure.Unit]string{measure.InInches: "inches", measure.InMillimetres: "millimetres"}[d.Units], d.Units.String()),
		Style: markup(styleText), Engine: d.Engine, Facts: d.facts(w), Damage: d.Damage,
	}
	if v.Name == "" {
		v.Name = d.Engine.ID
	}
	v.Gate = d.Gate()
	for _, c := range v.Gate.Checks {
		row := checkRow{Check: c}
		if c.Waived != nil {
			row.WaivedOn = c.Waived.At.Format("2 January 2006")
		}
		v.Checks = append(v.Checks, row)
	}
	d.lifts(&v, w)
	for _, t := range d.Away {
		v.LeftOut = append(v.LeftOut, saying{d.valveWords(t.Valve), fmt.Sprintf("the whole trace %s of %s: %s", t.ID, t.Started.In(d.Made.Location()).Format("2 Jan 06"), t.PutAway)})
	}
	for _, n := range d.Notes {
		v.Faults = append(v.Faults, saying{d.valveWords(""), n})
	}
	if err := d.plots(&v); err != nil {
		return view{}, err
	}
	d.timings(&v, w)
	d.setups(&v, w)
	d.cuts(&v, w)
	d.clearances(&v, w)
	d.measured(&v, w)
	return v, nil
}

func (d Data) facts(w words) []fact {
	e := d.Engine
	var out []fact
	add := func(word, format string, args ...any) {
		out = append(out, fact{word, fmt.Sprintf(format, args...)})
	}
	add("cylinders", "%d%s", e.Cylinders, optional(", %s", string(e.Layout)))
	add("valves a cylinder", "%d", e.ValvesPerCylinder)
	if len(e.FiringOrder) > 0 {
		add("firing order", "%s", strings.Trim(strings.Join(strings.Fields(fmt.Sprint(e.FiringOrder)), "-"), "[]"))
	}
	if e.Rotation != "" {
		add("turns, seen from the front", "%s", e.Rotation)
	}
	if r := e.RockerRatio; r.Intake != 0 || r.Exhaust != 0 {
		written := func(ratio float64) string { // what was not typed is no ratio of zero
			if ratio == 0 {
				return none
			}
			return fmt.Sprint(ratio)
		}
		add("rocker ratio, intake / exhaust", "%s / %s", written(r.Intake), written(r.Exhaust))
	}
	if e.Stroke != 0 {
		add("stroke / rod", "%s / %s %s", w.known(e.Stroke), w.known(e.Rod), w.unit)
	}
	c := e.CamCard
	if c.MaxLiftIntake != 0 || c.MaxLiftExhaust != 0 {
		add("card: max lift, intake / exhaust", "%s / %s %s", w.known(c.MaxLiftIntake), w.known(c.MaxLiftExhaust), w.unit)
	}
	if c.LashIntake != 0 || c.LashExhaust != 0 {
		add("card: lash, intake / exhaust", "%s / %s %s", w.known(c.LashIntake), w.known(c.LashExhaust), w.unit)
	}
	if e.TDC != nil {
		add("encoder at TDC of cylinder 1", "%s", tdcWords(*e.TDC))
	}
	if c.LobeSeparation != nil {
		add("card: lobe separation", "%s cam deg", degrees(*c.LobeSeparation))
	}
	return out
}

// tdcWords says top dead centre with how well it is known and how that was found.
func tdcWords(t storage.TopDeadCentre) string {
	says := degrees(t.Angle) + "°"
	if t.U != 0 {
		says += " ± " + degrees(t.U) + "°"
	}
	for _, more := range []string{string(t.Method), t.On} {
		if more != "" {
			says += ", " + more
		}
	}
	return says
}

func optional(format, text string) string {
	if text == "" {
		return ""
	}
	return fmt.Sprintf(format, text)
}

func (d Data) lifts(v *view, w words) {
	v.OffWord = "from the median of the others of its kind"
	odd := map[string]bool{}
	var kinds []KindLift
	for _, one := range d.Valves {
		if one.Measured() {
			kinds = append(kinds, KindLift{one.Name, one.Kind, one.Findings.MaxLift, one.Findings.MaxLiftU})
		}
	}
	off := OffKind(kinds)
	if d.Compared != nil {
		for _, s := range d.Compared.Says {
			v.Compared = once(v.Compared, full(s.In(d.Units)))
		}
		for _, g := range d.Compared.Groups {
			if g.Quantity != timing.QMaxLift {
				continue
			}
			for _, m := range g.Members {
				odd[m.Name] = m.Outlier
			}
		}
	}
	for _, one := range d.Valves {
		row := liftRow{Name: d.valveWords(one.Name), Measured: one.Measured(), Simulated: one.Simulated(), Off: none}
		if row.Measured {
			f := one.Findings
			o := f.Openings[len(f.Openings)/2]
			row.Max, row.U, row.Half = w.length(f.MaxLift), w.u(f.MaxLiftU), w.length(f.HalfLift)
			row.HalfReadings = w.length(o.OpeningHalf.Reading) + " / " + w.length(o.ClosingHalf.Reading)
			row.Again = Since(one.Trace.Started, one.Trials, d.Made.Location())
			row.Openings, row.Spread = len(f.Openings), w.length(f.Spread)
			row.Trace = fmt.Sprintf("%s, %s", one.Trace.ID, one.Trace.Started.In(d.Made.Location()).Format("2 Jan 06"))
			if m, ok := off[one.Name]; ok {
				row.Off, row.Differs, row.Odd = w.signed(m.By), m.Beyond, odd[row.Name]
			}
		}
		v.AnyOdd = v.AnyOdd || row.Odd
		v.Lifts = append(v.Lifts, row)
		for _, f := range one.Findings.Faults {
			v.Faults = append(v.Faults, saying{d.valveWords(one.Name), fmt.Sprintf("%s (%s, at %.1f s of trace %s)", f.Says.In(w.unit), f.Kind, f.At.Seconds(), one.Trace.ID)})
		}
		for _, s := range one.Findings.LeftOut {
			v.LeftOut = append(v.LeftOut, saying{d.valveWords(one.Name), fmt.Sprintf("opening at %.1f s of trace %s, %s: %s", s.Opening.Nose.Seconds(), one.Trace.ID, w.with(s.Opening.MaxLift), cmp.Or(s.Why, "no reason was said"))})
		}
		for _, n := range one.Noted {
			v.Noted = append(v.Noted, saying{d.valveWords(one.Name), fmt.Sprintf("%s (opening at %.1f s of trace %s)", n.Says, n.From.Seconds(), one.Trace.ID)})
		}
		for _, n := range slices.Concat(one.Again, one.Notes) {
			v.Faults = append(v.Faults, saying{d.valveWords(one.Name), n})
		}
	}
}

func (d Data) plots(v *view) error {
	timed := 0
	for _, one := range d.Valves {
		if one.Timed != nil {
			timed++
		}
		if len(one.Drawn) < 2 && one.Timed == nil {
			continue
		}
		p, err := valvePicture(one, d.Units)
		if err != nil {
			return fmt.Errorf("valve %s: %w", one.Name, err)
		}
		v.Plots = append(v.Plots, plotted{d.valveWords(one.Name), p})
	}
	if timed < 2 {
		return nil
	}
	var err error
	v.Together, err = together(d.Valves, d.Units)
	return err
}

func (d Data) timings(v *view, w words) {
	var said sayings
	for _, one := range d.Valves {
		if one.Timed == nil {
			continue
		}
		t := one.Timed.Timing
		for _, part := range one.Timed.Note {
			said.say(cylinderWords(one.Name), part+".")
		}
		nose := none
		if t.Nose != nil {
			nose = fmt.Sprintf("%s ± %s", t.Nose.Says, degrees(t.Nose.U))
		}
		if t.Made != nil && t.Made.RunOut != nil {
			said.say(d.valveWords(one.Name), fmt.Sprintf("the heel runs out by %s %s either way over a turn; it is in the ±, and its limit is the maker's.", w.length(*t.Made.RunOut), w.unit))
		}
		if t.More != nil && len(t.More.Says) > 0 {
			said.say(d.valveWords(one.Name), full(strings.Join(worksheet.In(t.More.Says, w.unit), "; ")))
		}
		passages := t.Passages
		if t.HalfLift != nil {
			passages = append(slices.Clone(passages), *t.HalfLift)
		}
		for i, p := range passages {
			row := timingRow{At: w.with(p.CheckingLift), Opens: event(p.Opens), Closes: event(p.Closes), Duration: none, Centreline: none}
			if i == 0 {
				row.Name, row.Nose = d.valveWords(one.Name), nose
			}
			if t.HalfLift != nil && i == len(passages)-1 {
				row.At = "half lift"
			}
			if p.Span != nil {
				row.Duration = degreesU(p.Span.Duration, p.Span.DurationU)
				row.Centreline = fmt.Sprintf("%s ± %s", p.Span.Says, degrees(p.Span.CentrelineU))
			}
			v.Timings = append(v.Timings, row)
		}
	}
	for _, c := range d.Cylinders {
		for i, p := range c.Pairs {
			row := pairRow{At: w.with(p.CheckingLift), Overlap: degreesU(p.Overlap, p.OverlapU), Separation: degreesU(p.Separation, p.SeparationU), Advance: degreesU(p.Advance, p.AdvanceU)}
			if i == 0 {
				row.Name = d.valveWords(c.Intake) + ", " + d.valveWords(c.Exhaust)
			}
			v.Pairs = append(v.Pairs, row)
		}
		if c.Card == nil {
			continue
		}
		for _, dev := range c.Card.Deviations {
			name := c.Intake
			if dev.Valve == timing.Exhaust {
				name = c.Exhaust
			}
			v.CardRows = append(v.CardRows, cardRow{d.valveWords(name) + " " + dev.Event, dev.Says, degreesU(dev.Later, dev.U), degrees(dev.LeftOver), dev.Stands})
		}
		for _, side := range []struct {
			kind timing.Valve
			name string
		}{{timing.Intake, c.Intake}, {timing.Exhaust, c.Exhaust}} {
			if row, ok := w.cardLine(side.kind, c.Card.Lines); ok {
				row.Name = d.valveWords(side.name)
				v.CardLines = append(v.CardLines, row)
			}
		}
		for _, l := range c.Card.Lines {
			if l.Valve == "" {
				said.say(cylinderWords(c.Intake+c.Exhaust), l.Says.In(d.Units)+".")
			}
		}
		for _, s := range append(slices.Clone(c.Card.Mends), c.Card.Says...) {
			said.say(cylinderWords(c.Intake+c.Exhaust), strings.TrimRight(s.In(d.Units), ".")+".")
		}
	}
	v.CardSays = said.lines()
}

// cardLine gathers the lines of one kind of valve; not ok where there are none.
func (w words) cardLine(kind timing.Valve, lines []timing.CardLine) (row cardLine, ok bool) {
	row = cardLine{Opens: none, Closes: none, Duration: none, Centreline: none, Lift: none}
	cells := map[string]*string{"opens": &row.Opens, "closes": &row.Closes, "duration": &row.Duration, "centreline": &row.Centreline, "max lift": &row.Lift}
	for _, l := range lines {
		cell := cells[l.Line]
		if l.Valve != kind || cell == nil {
			continue
		}
		ok = true
		off := ""
		if l.Off != nil {
			off = degreesU(*l.Off, *l.OffU)
		} else {
			off = w.signed(*l.More) + " ± " + w.u(*l.MoreU)
		}
		*cell = off + " " + verdictWord(l.Verdict)
	}
	return row, ok
}

func verdictWord(v verdict.Verdict) string {
	switch v.Kind {
	case verdict.CannotTell:
		return "cannot tell"
	case verdict.NotJudged:
		return "not to be judged"
	}
	return string(v.Kind)
}

func event(e *timing.Event) string {
	if e == nil {
		return none
	}
	return fmt.Sprintf("%s ± %s", e.Says, degrees(e.U))
}
