package sheet

import (
	"time"

	"lobescribe/capture/clearance"
	"lobescribe/capture/lift"
	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/timing"
	"lobescribe/capture/valve"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Data is everything that stands on a build sheet.
type Data struct {
	Engine storage.Engine
	// Units of the printed lengths, InInches or InMillimetres. The CSV has
	// both.
	Units   measure.Unit
	Made    time.Time // printed in its own time zone
	Version string
	Valves  []Valve // in the order of work
	// Asked is when the newest of the kept questions was put.
	Asked time.Time
	// Away are traces that somebody put away, with the reason in each.
	Away []storage.Summary
	// Compared sets the valves side by side; nil with fewer than two.
	Compared *timing.Comparison
	// Cylinders holds what intake and exhaust valve have together.
	Cylinders []Cylinder
	// Pushrods is the cut list; nil when no rod was measured.
	Pushrods *pushrod.Answer
	// Clearance is what was asked for the engine as a whole.
	Clearance *clearance.Answer
	Springs   []Spring
	// Notes are what went wrong in working out what is of no single valve.
	Notes []string
	// Damage says what of the store does not read.
	Damage []string
}

// Valve is one valve on the sheet.
type Valve struct {
	Name     string // "3I"
	Cylinder int
	Kind     valve.Kind
	// Trace speaks for the valve; its zero value has ID 0: none was recorded.
	Trace    storage.Summary
	Devices  []storage.DeviceNote
	Findings lift.Findings
	// Noted is what somebody wrote beside its openings.
	Noted []storage.OpeningNote
	// Drawn is one opening, for the plot: lift above the heel against seconds
	// from the nose.
	Drawn []Point
	// Timed is what an encoder adds; nil without one.
	Timed  *Timed
	Trials []storage.Trial
	// Photograph is the newest of its trials that is marked, with its Marks; nil
	// without one.
	Photograph *storage.Photograph
	Marks      photo.Photograph
	// Pictured is what its trial's photographs say, Swept what a gauge across the stem
	// does; nil without them.
	Pictured *photo.Answer
	Swept    *question.SweepOf
	// Next is what the trials ask for; nil when they say nothing yet.
	Next      *shims.Answer
	Clearance *clearance.Answer
	// Missing lists what has not been measured.
	Missing []string
	// Again are figures that stand on another max lift than the one measured last, in
	// sentences.
	Again []string
	// Notes are what went wrong in working it out, in sentences.
	Notes []string
}

// Point is a point of a plot: seconds or crank degrees, and millimetres.
type Point struct{ X, Y float64 }

// Timed is the timing of a valve.
type Timed struct {
	Trace  storage.ID
	Timing timing.ValveTiming
	Curve  []timing.Point
	// Note says from which top dead centre the angles count, when it is not
	// the encoder's own zero: as [question.Zero] has it.
	Note []string
	// Doubtful: the nose stands where no cam puts it.
	Doubtful bool

	options timing.Options
}

// Cylinder is what the valves of one cylinder have together.
type Cylinder struct {
	Intake, Exhaust string // names of the valves; either may be empty
	Pairs           []timing.Pair
	Card            *timing.CardComparison
}

// Spring is what a spring does; Of is the valve's name, empty for all of the
// engine's.
type Spring struct {
	Of     string
	Answer clearance.SpringAnswer
}

// Measured tells whether there is a max lift to print.
func (v Valve) Measured() bool { return len(v.Findings.Openings) > 0 }
