package lift

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/drive"
	"lobescribe/capture/lift/sinking"
	"lobescribe/device/measure"
)

// From nose to nose a four-stroke engine turns by period degrees; an angle that starts
// again does so after wholeTurn.
const period, wholeTurn = drive.Cycle, drive.Turn

// late is what half-lift angles are off by.
type late struct {
	lag, u float64 // seconds by which lift comes later, with its standard uncertainty
	loose  float64 // degrees by which the turns between openings are off, without its being told
}

// judgeDrive tells of a drive that slipped, of an encoder whose counts a turn
// are wrong, and of lift that comes later than the angle.
func (g *Segmenter) judgeDrive(all []measured) late {
	ways := g.turned(all)
	if len(ways) == 0 {
		return roughly(all)
	}
	openings := make([]*drive.Passage, len(ways))
	for i, w := range ways {
		openings[i] = w.Passage
	}
	d := drive.Of(openings)
	if worst := d.ApartFromAll(); worst >= 0 {
		g.tellApart(ways[worst])
		openings, ways = slices.Delete(openings, worst, worst+1), slices.Delete(ways, worst, worst+1)
		if worst < len(ways) {
			ways[worst].Alone = false // the one that is left out lies between
		}
		d = drive.Of(openings)
	}
	if !d.OK {
		return roughly(all)
	}
	g.drive = findingOf(&d)
	if d.SinkU/s < sinking.Fastest/2 { // else they leave open all that a lifter does
		g.verdict.sinking.Flanks(d.Sink/s, d.SinkU/s)
	}
	g.tellSinking(all[0])
	if late := d.Homeward; late-4*d.HomewardU > leastGummed {
		g.fault(Sticking, ways[0].Open, "the reading follows the valve home %.0f ms later than out: the spindle is gummed or binds, and its spring is slow to push it after the valve. What stands of the closing flank is off by as much; clean the spindle, do not oil it, and turn slowly", 1000*(late+max(d.Lag, 0)))
		d.Lag, d.U = 0, gum.Root(d.U, d.Lag, late)
	}
	if !g.o.Proof.Proved() {
		boundAverage(all, math.Abs(d.Lag)+2*d.U)
	}
	sure := sureLate
	if len(ways) == 1 {
		sure = sureLateOnce
	}
	if d.U < nothingNew*drive.UnknownLag && math.Abs(d.Lag)-sure*d.U > leastLate {
		g.tellLate(ways[0].Open, d)
	} else if math.Abs(d.Lag) < 3*d.U || d.U > drive.UnknownLag/2 { // what may be nothing, or is hardly known, is not taken off
		drawn := min(d.U/drive.UnknownLag, nothingNew) // so near to nothing the little that was known draws it
		d.Lag, d.U = 0, gum.Root(d.U, d.Lag/(1-drawn*drawn))
	}
	return late{lag: d.Lag, u: d.U, loose: g.judgeTurns(ways, d)}
}

// boundAverage narrows what a gauge that averages may take off the noses, where lift comes
// later than the angle by so many seconds at the most: its figure comes late by half the
// time that it averages over. What it takes off goes with the square of that.
func boundAverage(all []measured, late float64) {
	share := 2 * late * s / unknownAverage
	if share >= 1 {
		return
	}
	for i := range all {
		all[i].alike *= share * share
		all[i].stateLift()
	}
}

// tellApart tells of an opening that is left out of the fit: no ± holds what its angles
// are off by.
func (g *Segmenter) tellApart(w drive.Turned) {
	if w.Part {
		return // no figure is its own
	}
	g.fault(NoRepeat, w.Open, "against the crank angle this opening does not lie on the others: something slipped or was knocked while the valve was open, the spindle was lifted, or no valve opened. Its half-lift angles do not count; leave it out, or turn the valve again")
}

// findingOf returns what a fit tells; nil where the hand was too even to tell more of
// the delay than was known before, and did not turn back either.
func findingOf(d *drive.Fit) *Drive {
	if d.U > drive.UnknownLag/2 && d.SlackU == 0 {
		return nil
	}
	f := &Drive{Delay: stamp(d.Lag * s), DelayU: stamp(2 * d.U * s)}
	if d.SlackU > 0 {
		f.Slack, f.SlackU = new(measure.FromDegrees(d.Slack)), new(measure.FromDegrees(2*d.SlackU))
	}
	f.Says = f.words()
	return f
}

// roughly returns what the half-lift angles alone say of the drive, where too few
// readings are on the flanks for a fit: by how much the turns between them are off, one by
// one and together.
func roughly(all []measured) late {
	d := late{u: drive.UnknownLag}
	var adrift [2]float64
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
			off := turned - math.Round(turned/period)*period
			adrift[side] += off
			d.loose = max(d.loose, math.Abs(off), math.Abs(adrift[side]))
		}
	}
	d.loose = drive.Worth(d.loose)
	return d
}

// leastGummed is by how much later a spindle goes home than out for it to be gummed,
// seconds: a drive with play, and a spring that throws the cam on, look like less.
const leastGummed = 0.015

// nothingNew is the share of what was known before by which a fit has taught nothing.
const nothingNew = 0.9

// leastLate is what nobody minds, seconds: half a degree at 60 degrees a second.
const leastLate = 0.008

// sureLate is by how many standard uncertainties a delay must be more. One opening alone
// lies on no other: how its lobe and its hand go together says the same as a delay does.
const sureLate, sureLateOnce = 3.0, 4.0

func (g *Segmenter) tellLate(at measure.Stamp, d drive.Fit) {
	by := fmt.Sprintf("%.0f ± %.0f ms", 1000*math.Abs(d.Lag), 2000*d.U)
	if d.Lag < 0 {
		g.fault(LatePort, at, "the crank angle comes %v later than the lift: the encoder's port is late. The half-lift angles are mended for it; set the delay of the two ports, or turn slowly", by)
		return
	}
	g.fault(SlowGauge, at, "lift comes %v later than the crank angle: the indicator averages its figure, or its port is late. The half-lift angles are mended for it; turn slowly over the nose, prove the indicator, or set the delay of the two ports", by)
}

// judgeStood tells of an encoder that stood still while the valve moved.
func (g *Segmenter) judgeStood(m measured) {
	if m.passed == nil || m.passed.Stood == 0 {
		return
	}
	g.tellStood(stamp(m.passed.Stood * s))
}

func (g *Segmenter) tellStood(at measure.Stamp) {
	g.fault(EncoderSlip, at, "the encoder stood still while the valve moved: its coupling is loose, or its readings stopped coming. The crank angles of this opening are wrong; check its coupling and cable and turn again")
}

// turned returns the openings that tell of the drive, and the flanks before and
// after them.
func (g *Segmenter) turned(all []measured) (ways []drive.Turned) {
	if len(all) == 0 {
		return nil
	}
	way := mostWay(all)
	alone, back := false, false
	if o := g.partBefore(all[0]); o != nil && all[0].way == way {
		ways, alone = append(ways, drive.Turned{Passage: o, Open: stamp(o.Begins() * s), Nose: stamp(o.Begins() * s)}), true
	}
	for i, m := range all {
		if m.way == -way {
			alone, back = false, true
			continue
		}
		if m.passed == nil || !m.passed.Tells() || m.slipped || m.passed.Stood > 0 {
			alone = false
			continue
		}
		if len(ways) == drive.MostFitted {
			return ways
		}
		ways = append(ways, drive.Turned{Passage: m.passed, Open: m.Open, Nose: m.Nose, Alone: alone && (i == 0 || !m.skipped), Back: back})
		alone, back = true, false
	}
	last := all[len(all)-1]
	if o := g.partAfter(last); o != nil && len(ways) > 0 && last.way == way {
		ways = append(ways, drive.Turned{Passage: o, Open: stamp(o.Begins() * s), Nose: stamp(o.Begins() * s), Alone: alone, Back: back})
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

// sunkTurn is by how many degrees a lifter that sinks may move flanks, and more: 0.5 mm
// where they rise by 0.1 mm a degree.
const sunkTurn = 5.0

// judgeTurns tells of turns between openings that are no whole cycles. It returns by how
// many degrees they are off where that is too much for readings that go well together and
// too little to be told.
func (g *Segmenter) judgeTurns(ways []drive.Turned, d drive.Fit) (loose float64) {
	t := d.Turns(ways, g.sift.TurnsUnknown)
	if t.Missed > 0 {
		g.fault(PartTurn, ways[t.Missed].Open, "an opening before this one could not be measured: the crank went on by whole turns. Look at the trace there, and turn it again")
	}
	if g.verdict.bleeds && math.Abs(t.By) < sunkTurn {
		return 0 // a lifter that sinks moves the flanks as well
	}
	switch at := ways[t.At]; t.Trouble {
	case drive.FlanksOff:
		g.fault(EncoderSlip, at.Open, "the flanks of this opening lie %.1f degrees nearer or farther than those of the others: the encoder slipped on the crank, or counts were lost. Tighten its coupling and turn again", t.By)
	case drive.Elsewhere:
		g.fault(NoRepeat, at.Open, "this opening lies %.0f degrees of the crank away from where the others are: the spindle was lifted or knocked there, and no valve opened, or the encoder slipped and came back. Leave it out, or turn the valve again", t.By)
	case drive.CountsOff:
		g.fault(EncoderCounts, at.Nose, "from nose to nose the encoder counted %.1f degrees instead of %.0f: it makes %.4f times the counts a turn that it is said to make, or loses some. Correct counts= in its address (on=cam where it sits on the cam), or check its signals", period+t.By, period, 1+t.By/period)
	case drive.Slipped:
		g.fault(EncoderSlip, at.Open, "from the nose before to this one the encoder counted %.1f degrees more or less than the %.0f that the engine turned: it slipped on the crank, or lost counts. Tighten its coupling and turn again", t.By, period)
	}
	return t.Loose
}
