package lift

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/device/measure"
)

const (
	// From nose to nose a four-stroke engine turns by so many degrees.
	period = 720.0
	// An angle that starts again does so after as many.
	wholeTurn = 360.0
	// It is told when it is off by more than this and its uncertainty.
	leastSlip = 0.7
	// and by this share of how far readings lie apart.
	sparseSlip = 0.12
	// One turn alone that is off by more than this is off by its counts.
	mostSlip = 15.0
)

// judgeDrive tells of a drive that slipped, of an encoder whose counts a turn
// are wrong, and of lift that comes later than the angle.
func (g *Segmenter) judgeDrive(all []measured) drive {
	ways := g.turned(all)
	if len(ways) == 0 {
		return roughly(all)
	}
	openings := make([]*passed, len(ways))
	for i, w := range ways {
		openings[i] = w.passed
	}
	d := fitDrive(openings)
	if worst := d.apartFromAll(); worst >= 0 {
		g.tellApart(ways[worst])
		openings, ways = slices.Delete(openings, worst, worst+1), slices.Delete(ways, worst, worst+1)
		if worst < len(ways) {
			ways[worst].alone = false // the one that is left out lies between
		}
		d = fitDrive(openings)
	}
	if !d.ok {
		return roughly(all)
	}
	g.drive = d.finding()
	k := &g.verdict.sinking
	k.flanks, k.flanksU = d.sink/s, d.sinkU/s
	g.tellSinking(all[0])
	if late := d.homeward; late-4*d.homewardU > leastGummed {
		g.fault(Sticking, ways[0].open, fmt.Sprintf("the reading follows the valve home %.0f ms later than out: the spindle is gummed or binds, and its spring is slow to push it after the valve. What stands of the closing flank is off by as much; clean the spindle, do not oil it, and turn slowly", 1000*(late+max(d.lag, 0))))
		d.lag, d.u = 0, gum.Root(d.u, d.lag, late)
	}
	if d.u < nothingNew*unknownLag && math.Abs(d.lag)-3*d.u > leastLate {
		g.tellLate(ways[0].open, d)
	} else if math.Abs(d.lag) < 3*d.u || d.u > unknownLag/2 { // what may be nothing, or is hardly known, is not taken off
		drawn := min(d.u/unknownLag, nothingNew) // so near to nothing the little that was known draws it
		d.lag, d.u = 0, gum.Root(d.u, d.lag/(1-drawn*drawn))
	}
	if !g.verdict.sinking.told { // a lifter that sinks moves the flanks as well
		d.loose = g.judgeTurns(ways, d)
	}
	return d
}

// apartFromAll returns the opening whose readings lie farther off the fit than those of
// any other by far; -1 for none.
func (d drive) apartFromAll() int {
	if !d.ok || len(d.off) < 3 {
		return -1
	}
	worst := 0
	for i, o := range d.off {
		if o > d.off[worst] {
			worst = i
		}
	}
	sorted := slices.Sorted(slices.Values(d.off))
	if next := sorted[len(sorted)-2]; sorted[len(sorted)-1] > offFitTimes*next+offFit {
		return worst
	}
	return -1
}

// tellApart tells of an opening that is left out of the fit: no ± holds what its angles
// are off by.
func (g *Segmenter) tellApart(w turned) {
	if w.part {
		return // no figure is its own
	}
	g.fault(NoRepeat, w.open, "against the crank angle this opening does not lie on the others: something slipped or was knocked while the valve was open, the spindle was lifted, or no valve opened. Its half-lift angles do not count; leave it out, or turn the valve again")
}

// offFitTimes and offFit, degrees, are by how much more one opening may lie off.
const offFitTimes, offFit = 3.0, 0.5

// finding returns what a fit tells; nil where the hand was too even to tell more of
// the delay than was known before, and did not turn back either.
func (d drive) finding() *Drive {
	if d.u > unknownLag/2 && d.slackU == 0 {
		return nil
	}
	f := &Drive{Delay: stamp(d.lag * s), DelayU: stamp(2 * d.u * s)}
	if d.slackU > 0 {
		f.Slack, f.SlackU = new(measure.FromDegrees(d.slack)), new(measure.FromDegrees(2*d.slackU))
	}
	f.Says = f.words()
	return f
}

// roughly returns what the half-lift angles alone say of the drive, where too few
// readings are on the flanks for a fit: by how much the turns between them are off.
func roughly(all []measured) drive {
	d := unfitted()
	for i := 1; i < len(all); i++ {
		last, next := all[i-1], all[i]
		if last.way != next.way {
			continue // the other flank is the opening one
		}
		for side, a := range [2]*measure.Angle{last.OpeningHalf.Angle, last.ClosingHalf.Angle} {
			b := [2]*measure.Angle{next.OpeningHalf.Angle, next.ClosingHalf.Angle}[side]
			if a == nil || b == nil {
				continue
			}
			turned := (*b - *a).Degrees()
			d.loose = max(d.loose, math.Abs(turned-math.Round(turned/period)*period))
		}
	}
	d.loose = worth(d.loose, leastSlip)
	return d
}

// leastGummed is by how much later a spindle goes home than out for it to be gummed,
// seconds: a drive with play, and a spring that throws the cam on, look like less.
const leastGummed = 0.015

// nothingNew is the share of what was known before by which a fit has taught nothing.
const nothingNew = 0.9

// leastLate is what nobody minds, seconds: half a degree at 60 degrees a second.
const leastLate = 0.008

func (g *Segmenter) tellLate(at measure.Stamp, d drive) {
	by := fmt.Sprintf("%.0f ± %.0f ms", 1000*math.Abs(d.lag), 2000*d.u)
	if d.lag < 0 {
		g.fault(LatePort, at, "the crank angle comes "+by+" later than the lift: the encoder's port is late. The half-lift angles are mended for it; set the delay of the two ports, or turn slowly")
		return
	}
	g.fault(SlowGauge, at, "lift comes "+by+" later than the crank angle: the indicator averages its figure, or its port is late. The half-lift angles are mended for it; turn slowly over the nose, prove the indicator, or set the delay of the two ports")
}

// judgeStood tells of an encoder that stood still while the valve moved.
func (g *Segmenter) judgeStood(m measured) {
	if m.passed == nil || m.passed.stood == 0 {
		return
	}
	g.tellStood(stamp(m.passed.stood * s))
}

func (g *Segmenter) tellStood(at measure.Stamp) {
	g.fault(EncoderSlip, at, "the encoder stood still while the valve moved: its coupling is loose, or its readings stopped coming. The crank angles of this opening are wrong; check its coupling and cable and turn again")
}

// turned returns the openings that tell of the drive, and the flanks before and
// after them.
func (g *Segmenter) turned(all []measured) (ways []turned) {
	if len(all) == 0 {
		return nil
	}
	way := mostWay(all)
	alone, back := false, false
	if o := g.partBefore(all[0]); o != nil && all[0].way == way {
		ways, alone = append(ways, turned{passed: o, open: stamp(o.t[0] * s), nose: stamp(o.t[0] * s)}), true
	}
	for i, m := range all {
		if m.way == -way {
			alone, back = false, true
			continue
		}
		if m.passed == nil || len(m.passed.flanks) < leastOnFlank || m.slipped || m.passed.stood > 0 {
			alone = false
			continue
		}
		if len(ways) == mostFitted {
			return ways
		}
		ways = append(ways, turned{m.passed, m.Open, m.Nose, alone && (i == 0 || !m.skipped), back})
		alone, back = true, false
	}
	last := all[len(all)-1]
	if o := g.partAfter(last); o != nil && len(ways) > 0 && last.way == way {
		ways = append(ways, turned{o, stamp(o.t[0] * s), stamp(o.t[0] * s), alone, back})
	}
	return ways
}

// mostWay returns which way the engine was turned through most openings.
func mostWay(all []measured) float64 {
	sum := 0.0
	for _, m := range all {
		sum += m.way
	}
	switch {
	case sum == 0:
		return all[0].way
	case sum < 0:
		return -1
	}
	return 1
}

// turnsOff returns how far the turns between openings are off 720 degrees, each; and
// before which opening one is missing, where that is why.
func (g *Segmenter) turnsOff(ways []turned, d drive, tolerance float64) (off []float64, missed *measure.Stamp) {
	off = make([]float64, len(d.shift)-1)
	for i := range off {
		turn := d.shift[i+1] - d.shift[i]
		turns := 1.0
		switch {
		case ways[i+1].back:
			turns = math.Round(turn / period)
		case !ways[i+1].alone:
			turns = max(math.Round(turn/period), 1)
		}
		if g.sift.TurnsUnknown(ways[i].open, ways[i+1].nose) {
			turn -= math.Round((turn-turns*period)/wholeTurn) * wholeTurn
		}
		off[i] = (turn - turns*period) / max(math.Abs(turns), 1)
	}
	sorted := slices.Sorted(slices.Values(off))
	if n := len(sorted); math.Abs(sorted[(n-1)/2]) > tolerance {
		return off, nil
	}
	for i, o := range off {
		if turns := math.Round(o / period); turns >= 1 && math.Abs(o-turns*period) <= (turns+1)*tolerance {
			off[i] = (o - turns*period) / (turns + 1)
			missed = &ways[i+1].open
		}
	}
	return off, missed
}

// judgeTurns compares the turns between openings with what a four-stroke engine
// makes. It returns by how many degrees they are off where that is too much for
// readings that go well together and too little to be told.
func (g *Segmenter) judgeTurns(ways []turned, d drive) (loose float64) {
	// On each opening's flanks the same lift lies the same way apart.
	tolerance := leastSlip + 2*d.within + sparseSlip*d.apart
	// What all openings are off by alike the fit has left: a hand that goes evenly tells
	// it little.
	middle, own := widthOfAll(ways, d.width)
	for i, w := range d.width {
		if len(d.width) == 1 || ways[i].part {
			continue
		}
		// Another lash, or a worn lobe, is a flank elsewhere as well, and another max lift.
		width := max(math.Abs(w[1]-w[0]-middle)-ways[i].narrower(ways)*own, 0)
		loose = max(loose, width/own)
		if width > tolerance*own {
			g.fault(EncoderSlip, ways[i].open, fmt.Sprintf("the flanks of this opening lie %.1f degrees nearer or farther than those of the others: the encoder slipped on the crank, or counts were lost. Tighten its coupling and turn again", width/own))
			return 0
		}
	}
	if len(d.shift) < 2 {
		return worth(loose, leastSlip)
	}
	off, missed := g.turnsOff(ways, d, tolerance)
	if missed != nil {
		g.fault(PartTurn, *missed, "an opening before this one could not be measured: the crank went on by whole turns. Look at the trace there, and turn it again")
	}
	if at, by := elsewhere(off, tolerance); at > 0 {
		g.fault(NoRepeat, ways[at].open, fmt.Sprintf("this opening lies %.0f degrees of the crank away from where the others are: the spindle was lifted or knocked there, and no valve opened, or the encoder slipped and came back. Leave it out, or turn the valve again", math.Abs(by)))
		return 0
	}
	sorted := slices.Sorted(slices.Values(off))
	median := (sorted[len(sorted)/2] + sorted[(len(sorted)-1)/2]) / 2
	worst := 0
	for i, o := range off {
		if math.Abs(o) > math.Abs(off[worst]) {
			worst = i
		}
	}
	if math.Abs(off[worst]) <= tolerance {
		return worth(max(loose, math.Abs(off[worst])), leastSlip)
	}
	alike := len(off) == 1 && math.Abs(off[0]) > mostSlip || len(off) > 1 && sorted[len(sorted)-1]-sorted[0] <= tolerance+math.Abs(median)/4
	if alike {
		g.fault(EncoderCounts, ways[0].nose, fmt.Sprintf("from nose to nose the encoder counted %.1f degrees instead of %.0f: it makes %.4f times the counts a turn that it is said to make, or loses some. Correct counts= in its address (on=cam where it sits on the cam), or check its signals", period+median, period, 1+median/period))
		return 0
	}
	g.fault(EncoderSlip, ways[worst+1].open, fmt.Sprintf("from the nose before to this one the encoder counted %.1f degrees more or less than the %.0f that the engine turned: it slipped on the crank, or lost counts. Tighten its coupling and turn again", math.Abs(off[worst]), period))
	return 0
}

// widthOfAll returns by how much the flanks of the middle opening lie apart, beside the
// fit, and which share of what one is off by then shows: of two each has a half.
func widthOfAll(ways []turned, width [][2]float64) (middle, share float64) {
	var all []float64
	for i, w := range width {
		if !ways[i].part {
			all = append(all, w[1]-w[0])
		}
	}
	slices.Sort(all)
	switch n := len(all); n {
	case 0, 1:
		return 0, 1
	case 2:
		return (all[0] + all[1]) / 2, 0.5
	default:
		return all[n/2], 1
	}
}

// elsewhere returns the opening between two others that fit each other and not it, and
// by how many degrees it is away from its place; 0 for none. off is of the turns between.
func elsewhere(off []float64, tolerance float64) (at int, by float64) {
	for i := 1; i < len(off); i++ {
		own := math.Remainder(off[i-1], period)
		if math.Abs(own) > mostSlip && math.Abs(math.Remainder(off[i-1]+off[i], period)) <= 2*tolerance {
			return i, own
		}
	}
	return 0, 0
}

// narrower returns by how many degrees an opening may last shorter or longer than the
// others because its max lift is another, by more than they scatter.
func (w turned) narrower(ways []turned) float64 {
	lifts := make([]float64, 0, len(ways))
	for _, o := range ways {
		if !o.part {
			lifts = append(lifts, o.lift)
		}
	}
	steep := min(w.steepness(0), w.steepness(1)) * w.lift // nanometres a degree
	if len(lifts) < 2 || steep <= 0 {
		return 0
	}
	slices.Sort(lifts)
	off := math.Abs(w.lift - lifts[(len(lifts)-1)/2])
	if off < leastShift {
		return 0
	}
	return lashWidth * off / steep
}

// lashWidth is how much wider a lobe is at half lift, in ways that the lift changes by on
// its flanks: half of it on either, and something for flanks that are not alike.
const lashWidth = 1.3

// worth returns what is more than least, and else nothing.
func worth(x, least float64) float64 {
	if x > least {
		return x
	}
	return 0
}
