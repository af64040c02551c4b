package capture

import (
	"math"

	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// FollowerOptions says what a [Follower] need not find out; the zero value is
// "nothing".
type FollowerOptions struct {
	// Resolution is the indicator's least step; 0: found from the readings.
	Resolution measure.Length
	// Sign is +1 where the reading grows as the valve opens, -1 where it falls;
	// 0: found from the signal.
	Sign int
	// HalfBand is how near to half lift counts as at half lift; two steps of
	// the indicator, three times its noise, and at least 0.025 mm (0.001 in).
	HalfBand measure.Length
	// LeastLift is the least max lift that is taken for an opening; 1 mm.
	LeastLift measure.Length
	// Proof is what is known of the indicator; zero: it was never proved.
	Proof prove.Proof
	// Expect is the max lift that the valve should have, from its earlier traces,
	// its sisters or the cam card, and ExpectU the expanded uncertainty of that
	// figure; 0: nothing is expected. Openings that have settled take its place.
	Expect, ExpectU measure.Length
}

// Follower follows the readings one by one and says where the valve is: a pure
// state machine without clock, goroutine or I/O, in memory that does not grow.
// It allocates nothing while nothing happens.
//
// It stands on the same [lift.Segmenter] as the findings of a finished trace.
// Their openings are the same; an opening told live has seen less of the heel
// after it, so that its max lift may differ by the noise of that, which its
// uncertainty includes.
//
// No call is better than a false one. A nose is called when it is credible, see
// [ascent]. On the opening flank half lift is half of what is expected, on the
// closing flank half of the nose just called; either only above a heel that is
// known for one. So the first opening of a session without an encoder has no
// cues for half lift unless its max lift is what was expected. A call that turns
// out false is taken back, once. Where a fault was told that makes every lift wrong,
// what is called is doubtful until the set-up is changed, see [Follower.Afresh]; and half
// lift is where max lift is told by little better than guessing.
type Follower struct {
	o    FollowerOptions
	seg  *lift.Segmenter
	news []lift.News
	at   measure.Stamp

	state  ValveState
	view   lift.View
	expect expectation
	since  float64 // when the opening under way began
	ascent ascent
	nose   float64 // highest of the opening under way or last
	passed bool    // the nose of this opening was called
	called float64 // at which height
	slow   float64 // lift, following slowly
	lastAt measure.Stamp
	half   halfCues
	said   halfSaid
	misled bool // a fault was told that makes lifts wrong until somebody mends it
	vague  bool // the last opening's max lift is too uncertain for half of it to be called

	// Of the last nose called before it was settled which way the reading runs:
	// the way it seemed to run, and how long the valve stood near the nose.
	ran   int
	stood float64
}

// halfSaid is the half lift that was called and still stands; its lift is 0 when
// there is none.
type halfSaid struct {
	lift  float64
	flank ValveState
}

// NewFollower returns one that has seen nothing.
func NewFollower(o FollowerOptions) *Follower {
	f := &Follower{o: o, news: make([]lift.News, 0, 16)}
	f.Another(o.Expect, o.ExpectU)
	return f
}

// Another says that the indicator stands on another valve, or on the same one set
// up again, and what is expected of that: heel, nose and direction of the last are
// forgotten.
func (f *Follower) Another(expect, u measure.Length) {
	*f = Follower{
		o: f.o, news: f.news[:0], at: f.at, lastAt: f.at, state: AtHeel, since: math.NaN(),
		seg: lift.NewSegmenter(lift.Options{Sign: f.o.Sign, Resolution: f.o.Resolution, LeastLift: f.o.LeastLift, Proof: f.o.Proof}),
	}
	f.o.Expect, f.o.ExpectU = expect, u
	if expect > 0 {
		f.expect = expectation{lift: float64(expect), u: max(float64(u), 0)}
	}
}

// Afresh says that a trace has ended. Where a fault was told that makes lifts wrong, what
// was learned of the valve is forgotten: somebody mends it before the next, or it is told
// again.
func (f *Follower) Afresh() {
	if f.misled {
		f.Another(f.o.Expect, f.o.ExpectU)
	}
}

// misleads says whether a fault makes the lifts after it wrong, all of them and by enough
// to judge a rocker elsewhere.
func misleads(k lift.FaultKind) bool {
	switch k {
	case lift.TravelEnd, lift.NoContact, lift.Bleeding:
		return true
	}
	return false
}

// doubts says whether half lift may lie elsewhere than where it is called.
func (f *Follower) doubts() bool { return f.misled || f.vague }

// vagueShare of the max lift is too much for its uncertainty: nobody should judge a rocker
// at the half of it. As much as a spindle may hang free that was never proved.
const vagueShare = 0.1

// Prove says what is known of the indicator from now on, also on other valves.
func (f *Follower) Prove(p prove.Proof) {
	f.o.Proof = p
	f.seg.Prove(p)
}

// Step takes the next reading and appends what has happened to dst: a [Cue],
// [Opened] or [Fault]. A reading without a lift changes nothing.
func (f *Follower) Step(dst []Message, r measure.Reading) []Message {
	if f.seg.Step(r) {
		dst = f.tell(dst)
	}
	if r.Has&measure.HasLift == 0 {
		return dst
	}
	f.at = r.At
	return f.follow(dst)
}

// Note takes what happened to the stream besides a reading and appends what
// follows from it to dst.
func (f *Follower) Note(dst []Message, n measure.Note) []Message {
	f.seg.Note(n)
	return f.tell(dst)
}

func (f *Follower) tell(dst []Message) []Message {
	f.news = f.seg.Take(f.news[:0])
	for _, n := range f.news {
		if n.Opening != nil {
			dst = f.opened(dst, *n.Opening)
		}
		if n.Fault != nil {
			dst = append(dst, Fault{*n.Fault})
			f.misled = f.misled || misleads(n.Fault.Kind)
		}
	}
	return dst
}

// opened takes an opening that has settled. Its max lift is what is expected from
// now on, and a half lift that was called is held against it.
func (f *Follower) opened(dst []Message, o lift.Opening) []Message {
	f.expect.learn(float64(o.MaxLift), float64(o.RepeatsU))
	f.vague = float64(o.MaxLiftU) > vagueShare*float64(o.MaxLift)
	if f.state == AtHeel {
		f.nose = float64(o.MaxLift)
	}
	dst = f.holdAgainst(dst, float64(o.MaxLift), float64(o.RepeatsU))
	f.said = halfSaid{}
	return append(dst, Opened{o})
}

// band is how near two lifts count as one: what the indicator cannot tell
// apart.
func (f *Follower) band() float64 {
	return max(2*f.view.Step, 4*f.view.Noise, 10_000)
}

// halfBand is how near to half lift counts as at half lift.
func (f *Follower) halfBand() float64 {
	if f.o.HalfBand > 0 {
		return float64(f.o.HalfBand)
	}
	return max(2*f.view.Step, 3*f.view.Noise, 25_000)
}

// follow works out the state of the valve and the cues.
func (f *Follower) follow(dst []Message) []Message {
	was := f.view.Sign
	f.view = f.seg.View()
	v := &f.view
	if was != v.Sign && was != 0 && f.state != AtHeel || v.Lost && f.state != AtHeel {
		// What it stood above was no heel.
		dst = f.takeBack(dst)
		f.passed, f.since = false, math.NaN()
		f.rest()
	}
	if !v.Open {
		if f.state != AtHeel {
			f.rest()
			dst = append(dst, f.cue(HeelReached, 0, ""))
		}
		f.slow, f.lastAt = v.Lift, f.at
		return dst
	}
	band := f.band()
	if v.Since != f.since {
		f.since = v.Since
		f.passed, f.called, f.said, f.half = false, 0, halfSaid{}, halfCues{}
		f.ascent.begin(*v, f.at)
	}
	f.ascent.see(*v, f.at, band)
	dst = f.watchNose(dst, band)
	f.place(band)
	return f.callHalf(dst)
}

// rest puts the valve on its heel.
func (f *Follower) rest() {
	f.state, f.half = AtHeel, halfCues{}
}

// watchNose calls the nose when it is credible, and takes the call back when the
// lift goes on to grow.
func (f *Follower) watchNose(dst []Message, band float64) []Message {
	if f.passed && f.view.Top > f.called+2*f.ascent.blur(band) {
		dst = f.takeBack(dst)
		f.passed, f.half = false, halfCues{}
	}
	f.nose = f.view.Top
	if f.passed || !f.ascent.credible(f.view, f.at, f.expect, band, f.seg.FlankTime) || f.ranOther() {
		return dst
	}
	f.ran, f.stood = f.view.Sign, f.ascent.dwell.seconds
	f.half = halfCues{}
	f.passed, f.called = true, f.nose
	c := f.cue(NoseReached, 0, "")
	c.Lift = whole(f.nose)
	c.Doubtful = f.misled || !f.standsOnHeel(band)
	dst = append(dst, c)
	return f.holdAgainst(dst, f.nose, f.ascent.blur(band))
}

// ranOther says whether a nose was called with the reading running the other way,
// and that one was turned through in less time: then this is the heel.
func (f *Follower) ranOther() bool {
	return !f.view.Settled && f.ran == -f.view.Sign && f.stood < f.ascent.dwell.seconds
}

// place finds the state of an open valve.
func (f *Follower) place(band float64) {
	v := &f.view
	// A follower with a time constant of a fifth of a second tells growing
	// from standing.
	dt := float64(f.at-f.lastAt) / 200_000
	f.lastAt = f.at
	f.slow += (v.Lift - f.slow) * max(dt, 0) / (1 + max(dt, 0)) // near enough to the exponential
	switch {
	case v.Lift >= f.nose-band && (f.passed || f.ascent.reaches(f.expect, band) &&
		(v.Lift-f.slow < band || v.Lift >= f.expect.lift-band)):
		f.state = AtNose
	case f.passed && !f.wentBack():
		f.state = OnClosing
	default:
		f.state = OnOpening
	}
}

// wentBack says whether an engine whose nose was called stands on the flank that
// the valve opened by.
func (f *Follower) wentBack() bool {
	beyond, ok := f.ascent.turns(f.view)
	return ok && beyond < -looseAngle
}

// callHalf calls out the way to half lift.
func (f *Follower) callHalf(dst []Message) []Message {
	half, flank, toGo := f.aim()
	if half == 0 || f.state == AtNose {
		return dst
	}
	kind, ok := f.half.see(toGo, half, f.halfBand())
	if !ok {
		return dst
	}
	if kind != ApproachHalf {
		f.said = halfSaid{half, flank}
	}
	c := f.cue(kind, toGo, flank)
	c.Doubtful = f.doubts()
	return append(dst, c)
}

// aim returns the half lift aimed at, the flank and how far it is; 0 while there
// is none that can be relied on.
func (f *Follower) aim() (half float64, flank ValveState, toGo float64) {
	v := &f.view
	passed := f.passed && f.state != AtHeel
	switch {
	case passed && f.standsOnHeel(f.band()):
		half, flank = f.nose/2, OnClosing
		if f.wentBack() {
			flank = OnOpening
		}
		return half, flank, v.Lift - half
	case !passed && f.expect.known() && v.Sure && v.Settled:
		half = f.expect.lift / 2
		return half, OnOpening, half - v.Lift
	}
	return 0, OnOpening, 0
}

// standsOnHeel says whether the level that the lift of a passed nose is counted
// from is the heel: the valve was seen at home there, or its nose is as high above
// as was expected.
func (f *Follower) standsOnHeel(band float64) bool {
	return f.view.Sure || f.ascent.reaches(f.expect, band)
}

// holdAgainst takes back a half lift that was called where the max lift shows that
// it lies elsewhere.
func (f *Follower) holdAgainst(dst []Message, most, u float64) []Message {
	if f.said.lift == 0 || math.Abs(most/2-f.said.lift) <= max(2*f.halfBand(), f.expect.u/2)+u/2 {
		return dst
	}
	return f.takeBackHalf(dst)
}

// takeBack takes back what was called in this opening, each once: a nose, and the
// half lift below it.
func (f *Follower) takeBack(dst []Message) []Message {
	if f.passed {
		dst = append(dst, Cue{At: f.at, Kind: TakenBack, Of: NoseReached, Lift: whole(f.called)})
	}
	if f.said.lift != 0 && (f.said.flank == OnClosing || !f.passed) {
		dst = f.takeBackHalf(dst)
	}
	return dst
}

func (f *Follower) takeBackHalf(dst []Message) []Message {
	c := Cue{At: f.at, Kind: TakenBack, Of: AtHalf, Lift: whole(f.said.lift), Flank: f.said.flank}
	f.said = halfSaid{}
	return append(dst, c)
}

func (f *Follower) cue(kind CueKind, toGo float64, flank ValveState) Cue {
	return Cue{At: f.at, Kind: kind, Lift: whole(f.view.Lift), ToGo: whole(toGo), Flank: flank}
}

func whole(nm float64) int64 { return int64(math.Round(nm)) }

// Position returns where the valve is now.
func (f *Follower) Position() Position {
	p := Position{
		At: f.at, State: f.state, Sign: f.view.Sign,
		Heel: whole(f.view.Heel), Nose: whole(f.nose),
		Settled: f.state == AtHeel && f.expect.learned, Doubtful: f.doubts(),
	}
	if p.Sign != 0 {
		p.Lift = whole(f.view.Lift)
	}
	if fall := f.ascent.top - f.view.Lift; f.state != AtHeel && !f.passed && fall > 3*f.band() {
		p.Fallen = whole(fall)
	}
	half, _, toGo := f.aim()
	p.Half, p.ToGo = whole(half), whole(toGo)
	return p
}
