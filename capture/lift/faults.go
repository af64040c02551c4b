package lift

import (
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/evidence"
	"lobescribe/capture/lift/lobe"
	"lobescribe/capture/lift/sinking"
	"lobescribe/capture/lift/stops"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

const (
	mostJudged = 64      // openings
	leastShift = 25 * um // under 0.001 in the heel may be what a base circle is out
	mostLost   = 0.02    // share of the max lift that a nose may be missed by before it is too fast
	fastCounts = 3.0     // and in counts
	leastBack  = 4.0     // degrees of a back-turn worth telling
)

// verdicts collects what the openings say of the set-up.
type verdicts struct {
	judged      int // openings whose flanks are below
	flanks      []evidence.Flank
	kinks       lobe.Kinks
	feet        lobe.Feet
	seen        int // readings on a flank, of the opening that has most
	first, nose measure.Stamp
	cutAt       float64 // max lift
	angles      bool
	told        [3]bool // no-contact, travel-end, too-fast
	stops       stops.Sums
	wander      float64 // the most that a heel has run out by, for the uncertainty
	sinking     sinking.Sums
	noses       []sinking.Nose
	arm         arms
	bleeds      bool // a lifter that bleeds down was told
	runsOut     int  // over how many heels it has shown
	home        homecomings
	encoder     bool  // its slips or counts were told
	last        level // heel after the last opening
	hasLast     bool
}

// fault tells one, in a sentence that keeps its lengths.
func (g *Segmenter) fault(kind FaultKind, at measure.Stamp, format string, args ...any) {
	g.verdict.encoder = g.verdict.encoder || kind == EncoderSlip || kind == EncoderCounts
	g.news = append(g.news, News{Fault: &Fault{Kind: kind, At: at, Says: sayf(format, args...)}})
}

// judge looks at an opening that is about to be published.
func (g *Segmenter) judge(m measured) {
	g.judgeHeel(m)
	g.judgeShape(m)
	g.judgeSpeed(m)
	g.judgeSinking(m)
	g.judgeSticking(m)
	g.judgeRunOut(m)
	g.judgeStood(m)
	if m.back > 0 {
		g.tellBack(m.backAt, "")
	}
	g.judgeContrary(m)
	g.backTurn.toldThis = false
}

func (g *Segmenter) tellBack(at measure.Stamp, where string) {
	g.fault(BackTurn, at, "the engine was turned the wrong way for a moment%v. The openings are right all the same; a clean turn in one direction takes up the play in the gears", where)
}

// judgeHeel compares the heels before and after.
func (g *Segmenter) judgeHeel(m measured) {
	v := &g.verdict
	step := float64(g.steps.Step())
	if m.moved != 0 {
		g.tellShift(m.Open, m.moved)
	}
	shifted := func(a, b level) (float64, bool) {
		d := b.y - a.y
		return d, math.Abs(d) > max(leastShift, 1.6*step, 1.2*step+5*math.Hypot(a.u, b.u))
	}
	if v.hasLast && m.before.n > 0 && !m.reZeroed {
		if d, yes := shifted(v.last, m.before); yes {
			g.tellShift(m.Open, d)
		}
	}
	if m.before.n > 0 && m.after.n > 0 && !m.reZeroed {
		if d, yes := shifted(m.before, m.after); yes {
			g.tellShift(m.Close, d)
		}
	}
	// Where zero was pressed, the heel on the other side of it is only guessed.
	v.last, v.hasLast = m.after, m.after.n > 0 && !m.reZeroed
}

// judgeRunOut tells of a heel that goes up and down as it turns, once. Without an encoder a
// rest at the foot of a flank looks like that: there the heel before an opening, which is
// the one after the last, counts once.
func (g *Segmenter) judgeRunOut(m measured) {
	v := &g.verdict
	heels := m.runOut[:]
	if m.OpeningHalf.Angle == nil && len(v.noses) > 1 { // it is not the first
		heels = heels[1:]
	}
	for _, by := range heels {
		if v.runsOut == runsOutAgain || by > mostRunOut || by < max(2.5*float64(g.steps.Step()), leastRunOut) {
			continue
		}
		if v.runsOut++; v.runsOut < runsOutAgain {
			continue
		}
		g.fault(HeelRunOut, m.Open, "the heel goes up and down by %v as it turns: its base circle or the bearings run out. Lash and max lift depend on where on the heel they are taken, by as much; the maker says what is allowed", length(by))
	}
}

// leastRunOut is worth telling, nanometres; more than mostRunOut is a base that
// slipped while the heel was passed.
const leastRunOut, mostRunOut = 6 * um, 60 * um

// runsOutAgain is over how many heels a run-out must show.
const runsOutAgain = 2

func (g *Segmenter) tellShift(at measure.Stamp, d float64) {
	g.fault(ZeroShift, at, "the heel came back %s from where it was: something slipped, or the spindle sticks. Check the indicator's base, its tip and the lash, set zero on the heel and turn again", length(math.Abs(d)))
}

// judgeShape adds an opening to the evidence on the spindle's travel. A trace
// that is finished is judged once, at its end.
func (g *Segmenter) judgeShape(m measured) {
	v := &g.verdict
	if low, high, ok := g.o.Proof.Stops(); ok {
		g.judgeStops(m, float64(low), float64(high))
		return
	}
	if !m.shape.OK || v.judged >= mostJudged || v.judged > 0 && m.shape.Angles != v.angles {
		return
	}
	if v.judged == 0 {
		v.first, v.angles = m.Open, m.shape.Angles
	}
	v.judged++
	v.seen = max(v.seen, m.shape.Readings)
	v.nose, v.cutAt = m.Nose, float64(m.MaxLift)
	v.flanks = append(v.flanks, m.shape.Flanks[:]...)
	v.kinks.Add(m.kink, m.bend, m.shape.Angles)
	v.feet.Add(m.feet)
	if !g.patient {
		g.judgeTravel()
	}
}

// judgeStops tells of a spindle at either end of its travel by where its stops
// are, whatever the shape.
func (g *Segmenter) judgeStops(m measured, low, high float64) {
	at := func(reading float64) bool {
		near := 2*float64(g.steps.Step()) + float64(g.o.Proof.StopU+g.o.Proof.Repeat) + 3*m.noise
		return reading < low+near || reading > high-near
	}
	if !g.verdict.told[0] && at(float64(m.Heel)) {
		g.tellFree(m.Open)
	}
	if !g.verdict.told[1] && at(m.noseReading) {
		g.tellCut(m.Nose, float64(m.MaxLift))
	}
}

// aloneTells is by how much more the flanks of one opening alone must say.
const aloneTells = 2.0

// enoughOnFlank readings on a flank tell a soft end from one that is cut off; of fewer
// what they leave open stands in the ±, and nothing is told.
const enoughOnFlank = 10

// judgeTravel looks for a spindle at either end of its travel.
func (g *Segmenter) judgeTravel() {
	v := &g.verdict
	if v.judged == 0 || v.seen < enoughOnFlank {
		return
	}
	says := func(f evidence.Fault) bool {
		model := evidence.Of(f, v.angles)
		enough := model.Tell
		if v.judged == 1 {
			enough += aloneTells
		}
		return model.Weigh(f, v.flanks) > enough
	}
	free := v.feet.Free()
	if !v.told[0] && (says(evidence.HangsFree) && !(free.Known && free.Most < byLash) || free.Slope > surelySlope && free.Seems > surelyHung) {
		g.tellFree(v.first)
	}
	if !v.told[1] && says(evidence.CutOff) {
		g.tellCut(v.nose, v.cutAt)
	}
	if deep, tells := v.kinks.Tells(); !v.told[1] && tells {
		g.tellBent(v.nose, v.cutAt, deep*v.cutAt)
	}
}

func (g *Segmenter) tellFree(at measure.Stamp) {
	g.verdict.told[0] = true
	g.fault(NoContact, at, "the lift begins with a jerk instead of softly: the spindle hangs free on the heel and the valve reaches it only on its way, or the lash is more than the lobe's ramp takes up. Push the indicator further in (about half an inch of preload, more than the lift), look at the lash, and turn again")
}

func (g *Segmenter) tellBent(at measure.Stamp, lift, deep float64) {
	g.verdict.told[1] = true
	g.fault(TravelEnd, at, "from %v on, %v under the nose, lift goes on several times slower on both flanks, as no lobe does that is not worn: the spindle is pressed against the end of its travel, its clamp or stand gives way there, or the spring binds. Give the indicator travel left at full lift, see to clamp and spring, and turn again", length(lift-deep), length(deep))
}

func (g *Segmenter) tellCut(at measure.Stamp, lift float64) {
	g.verdict.told[1] = true
	g.fault(TravelEnd, at, "the nose is cut off flat at %v: the spindle had come to the end of its travel. Move the indicator so that it has travel left at full lift and turn again", length(lift))
}

// travelled gives the openings what a spindle at an end of its travel may have
// taken off them, where their shape cannot leave it out and nobody has proved the
// indicator's stops.
func (g *Segmenter) travelled(dst []measured) {
	v := &g.verdict
	g.judgeStop(dst)
	if v.judged == 0 || len(dst) == 0 {
		return
	}
	for _, f := range [2]evidence.Fault{evidence.CutOff, evidence.HangsFree} {
		model := evidence.Of(f, v.angles)
		weight, share, least := model.Weigh(f, v.flanks), 0.0, v.kinks.Takes()*v.cutAt
		most := math.Inf(1)
		if f == evidence.HangsFree {
			free := v.feet.Free()
			if least = free.Corner; free.Known {
				most = free.Most
			}
		}
		if weight >= model.Mind {
			share = model.Taken(f, weight)
		}
		if share == 0 && least == 0 {
			continue
		}
		kind, what := TravelEnd, "the spindle may have stopped just under the nose"
		if f == evidence.HangsFree {
			kind, what = NoContact, "the spindle may have hung free on the heel"
		}
		if f == evidence.CutOff && weight < aSoftStop {
			most = v.stops.AtMost()
		}
		taken := func(m *measured) float64 { return max(min(share*float64(m.MaxLift), most), least) }
		g.hold(kind, measure.Length(taken(&dst[0])), what+": the flanks do not leave it out. Prove the indicator, or give it more travel, and turn again")
		for i := range dst {
			dst[i].common = gum.Root(dst[i].common, taken(&dst[i])/2)
			dst[i].stateLift()
		}
	}
}

// aSoftStop is the weight from which on flanks that bend look like a spindle that is pressed
// against its stop by degrees, which has no edge that could leave it out.
const aSoftStop = -0.5

// hold notes what the uncertainties hold without its being told; of one kind the most.
func (g *Segmenter) hold(kind FaultKind, by measure.Length, says string) {
	told := g.verdict.told[0] && kind == NoContact || g.verdict.told[1] && kind == TravelEnd || g.verdict.bleeds && kind == Bleeding
	if told {
		return
	}
	at := slices.IndexFunc(g.holds, func(h Held) bool { return h.Kind == kind })
	switch {
	case at < 0:
		g.holds = append(g.holds, Held{kind, by, says})
	case by > g.holds[at].By:
		g.holds[at] = Held{kind, by, says}
	}
}

// judgeSpeed tells of a nose that may have been missed.
func (g *Segmenter) judgeSpeed(m measured) {
	missed := m.short
	if missed > max(mostLost*float64(m.MaxLift), fastCounts*float64(g.steps.Step())) && !g.verdict.told[2] {
		g.verdict.told[2] = true
		g.fault(TooFast, m.Nose, "turned too fast for the readings: the nose may lie %v above the highest of them. Turn more slowly over the nose", length(missed))
	}
}

// length is nanometres for a person: to the micrometre.
func length(nm float64) measure.Length {
	return worksheet.Rounded(measure.Length(math.Round(nm)))
}
