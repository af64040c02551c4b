package capture

import (
	"math"

	"lobescribe/capture/lift"
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
	// the indicator, and at least 0.025 mm (0.001 in).
	HalfBand measure.Length
	// LeastLift is the least max lift that is taken for an opening; 1 mm.
	LeastLift measure.Length
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
// On the opening flank half lift is taken from the last settled max lift, so
// that there are no cues for it in the first opening; on the closing flank it
// is half of the nose just passed.
type Follower struct {
	o    FollowerOptions
	seg  *lift.Segmenter
	news []lift.News
	at   measure.Stamp

	state  ValveState
	view   lift.View
	target float64 // last settled max lift
	nose   float64 // highest of the opening under way or last
	passed bool    // the nose of this opening was called
	called float64 // at which height
	slow   float64 // lift, following slowly
	lastAt measure.Stamp
	half   halfCues
}

// NewFollower returns one that has seen nothing.
func NewFollower(o FollowerOptions) *Follower {
	return &Follower{
		o: o, state: AtHeel, news: make([]lift.News, 0, 16),
		seg: lift.NewSegmenter(lift.Options{Sign: o.Sign, Resolution: o.Resolution, LeastLift: o.LeastLift}),
	}
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
	f.view = f.seg.View()
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
			f.target = float64(n.Opening.MaxLift)
			f.nose = f.target
			dst = append(dst, Opened{*n.Opening})
		}
		if n.Fault != nil {
			dst = append(dst, Fault{*n.Fault})
		}
	}
	return dst
}

// band is how near two lifts count as one: what the indicator cannot tell
// apart.
func (f *Follower) band() float64 {
	return max(2*f.view.Step, 4*f.view.Noise, 10_000)
}

// follow works out the state of the valve and the cues.
func (f *Follower) follow(dst []Message) []Message {
	v := f.view
	if !v.Open {
		if f.state != AtHeel {
			f.state, f.half = AtHeel, halfCues{}
			f.passed, f.called = false, 0
			dst = append(dst, f.cue(HeelReached, 0, ""))
		}
		f.slow, f.lastAt = v.Lift, f.at
		return dst
	}
	if f.state == AtHeel {
		f.state, f.half, f.passed, f.nose = OnOpening, halfCues{}, false, v.Lift
	}
	if v.Top > f.nose || !f.passed {
		f.nose = v.Top
	}
	// A follower with a time constant of a fifth of a second tells growing
	// from standing.
	dt := float64(f.at-f.lastAt) / 200_000
	f.lastAt = f.at
	f.slow += (v.Lift - f.slow) * (1 - math.Exp(-max(dt, 0)))
	band := f.band()
	high := f.target == 0 || f.nose > 0.9*f.target
	switch {
	case high && v.Lift >= f.nose-band && (f.passed || v.Lift-f.slow < band || f.target > 0 && v.Lift >= f.target-band):
		f.state = AtNose
	case f.passed:
		f.state = OnClosing
	default:
		f.state = OnOpening
	}
	fall := max(1.5*band, 0.003*f.nose)
	if f.target == 0 {
		fall = max(fall, 0.02*f.nose)
	}
	if high && v.Lift < f.nose-fall && (!f.passed || f.nose > f.called+band) {
		if !f.passed {
			f.half = halfCues{}
		}
		f.passed, f.called = true, f.nose
		f.state = OnClosing
		dst = append(dst, f.cue(NoseReached, 0, ""))
	}
	half, flank, toGo := f.aim()
	if half == 0 || f.state == AtNose {
		return dst
	}
	halfBand := float64(f.o.HalfBand)
	if halfBand == 0 {
		halfBand = max(2*v.Step, 25_000)
	}
	if kind, ok := f.half.see(toGo, half, halfBand); ok {
		dst = append(dst, f.cue(kind, toGo, flank))
	}
	return dst
}

// aim returns the half lift aimed at, the flank and how far it is.
func (f *Follower) aim() (half float64, flank ValveState, toGo float64) {
	if f.passed {
		half = f.nose / 2
		return half, OnClosing, f.view.Lift - half
	}
	half = f.target / 2
	if half == 0 {
		return 0, OnOpening, 0
	}
	return half, OnOpening, half - f.view.Lift
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
		Settled: f.state == AtHeel && f.target > 0,
	}
	if p.Sign != 0 {
		p.Lift = whole(f.view.Lift)
	}
	half, _, toGo := f.aim()
	p.Half, p.ToGo = whole(half), whole(toGo)
	return p
}
