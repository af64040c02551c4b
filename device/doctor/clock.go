package doctor

import (
	"time"

	"lobescribe/device/measure"
)

// Clock finds a wall clock that was never set, and steps of one that was. It is a
// pure state machine: hand it both clocks now and then.
type Clock struct {
	started bool
	mono    measure.Stamp
	wall    time.Time
}

// stepLeast is a step worth a word; less is a clock being trimmed.
const stepLeast = 500 * time.Millisecond

// earliest is a day that is over: a small computer without a clock of its own
// starts years before it.
var earliest = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

// Look compares the clocks. The finding is nil when the wall clock is set and
// went as the other did.
func (c *Clock) Look(mono measure.Stamp, wall time.Time) *Finding {
	wall = wall.Round(0) // without the monotonic part that Go keeps in it
	if !c.started && wall.Before(earliest) {
		c.started, c.mono, c.wall = true, mono, wall
		return &Finding{Kind: ClockUnset, About: "clock",
			Says: "the computer's clock says " + wall.Format("2 January 2006") + ": it was not set since the computer started",
			Do:   "set it, or let it have a network for a minute: readings are not bent by it, but each trace would carry that date"}
	}
	step := time.Duration(0)
	if c.started {
		step = wall.Sub(c.wall) - (mono - c.mono).Duration()
	}
	c.started, c.mono, c.wall = true, mono, wall
	if step.Abs() < stepLeast {
		return nil
	}
	way := "forward"
	if step < 0 {
		way = "back"
	}
	return &Finding{Kind: ClockStep, About: "clock",
		Says: "the computer's clock was set " + way + " by " + step.Abs().Round(time.Millisecond).String() + " (or the computer slept)",
		Do:   "nothing: traces keep a time of their own and are not bent by it; only the date in their head may be wrong"}
}
