// Package doctor names what stands in the way of a good link, and what to do
// about it. [Ports] looks at the computer (rights, holders, daemons that take
// ports), [Examine] at a link that runs (silence, chatter, lateness, refused
// lines), and [Clock] at the wall clock. [WriteBundle] makes a report of all of
// it that may be given away.
//
// Nothing here opens or writes to a port.
//
// Lateness. A USB converter hands bytes over in lumps, when its timer runs out
// (16 ms is usual). So a reading comes up to that much late, and by another
// amount each time. While the crank turns at w degrees a second, a lateness of
// d seconds costs w*d degrees: 60 deg/s and 16 ms make 0.96 deg. [Lateness]
// measures it at a device that sends by its own steady clock: the arrivals are
// fitted by a straight line (least squares), and the spread of what is left is
// the lateness.
package doctor

import (
	"cmp"
	"fmt"
	"slices"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/board"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/device/tail"
)

// Kind names a finding.
type Kind string

// What can stand in the way.
const (
	Permission Kind = "permission"   // the port may not be opened by this person
	Busy       Kind = "busy"         // another program holds it
	Thief      Kind = "port-thief"   // a daemon takes or disturbs ports of this sort
	Absent     Kind = "absent"       // there is no such port
	Silent     Kind = "silent"       // open, but nothing comes
	Unreadable Kind = "unreadable"   // bytes come, but few of them are readings
	Chatter    Kind = "boot-chatter" // opening the port resets the board
	Late       Kind = "late"         // readings come late, by a changing amount
	Unstable   Kind = "unstable"     // the link is lost again and again
	ClockUnset Kind = "clock-unset"  // the wall clock was never set
	ClockStep  Kind = "clock-step"   // the wall clock was set
	Assumed    Kind = "assumed-unit" // the unit or scale was guessed
	Condition  Kind = "condition"    // the device says something of itself
	Outdated   Kind = "outdated"     // the board's firmware is not the one that belongs here
)

// Finding is one thing that stands in the way.
type Finding struct {
	Kind Kind `json:"kind"`
	// About is the port or address.
	About string `json:"about"`
	Says  string `json:"says"` // what is the matter
	Do    string `json:"do"`   // what to do about it
}

// Link is a link that runs, as it stands at a moment. All of it comes from a
// [device.Source].
type Link struct {
	Address  address.Address
	Status   device.Status
	Counters device.Counters
	Raw      []tail.Chunk
	// LatencyTimer is what the converter's timer is set to, from
	// [LatencyTimer]; 0 when it is not known.
	LatencyTimer measure.Stamp
	// Turning is how fast the crank turns, in degrees a second; 0 takes 60,
	// an easy stroke of the wrench.
	Turning float64
}

// Of takes the state of a source.
func Of(s *device.Source) Link {
	st := s.Status()
	return Link{Address: s.Address(), Status: st, Counters: s.Counters(), Raw: s.RawTail(), LatencyTimer: LatencyTimer(st.Port)}
}

const (
	easyStroke = 60.0 // deg/s
	// lateWorth is the angle from which lateness is worth a word: the third
	// part of a degree is what a careful person reads off a degree wheel.
	lateWorth = measure.Degree / 3
	chatterIn = 3 * measure.Second // after the open
)

// Examine names what stands in the way of a link that runs.
func Examine(l Link) (all []Finding) {
	about := l.Address.Redacted()
	add := func(k Kind, says, do string) { all = append(all, Finding{k, about, says, do}) }
	st, refused := l.Status, l.Counters.Refused
	switch st.State {
	case device.Absent:
		add(Absent, st.Says, "plug it in, or look for its address with `lobescribe ports`")
	case device.Refused:
		kind := Permission
		if st.Cause == port.ErrBusy.Error() {
			kind = Busy
		}
		add(kind, st.Says, "the line before says what to do; it is taken up by itself then")
	case device.Stalled:
		add(Silent, st.Says, silentHelp(l))
	}
	if taken := l.Counters.Readings; refused.Total() > 20 && refused.Total() > taken/10 {
		add(Unreadable, fmt.Sprintf("%d lines were refused and %d read (%s)", refused.Total(), taken, worstOf(l)),
			"if most are refused, the speed is wrong: try a probe of the port, or baud=; if few, the cable is long or beside the ignition")
	}
	if n := chatter(l); n > 0 {
		add(Chatter, fmt.Sprintf("opening the port restarts the board: %d lines that are no readings came first", n),
			"they are left out by themselves; dtr=off in the address spares the restart on most boards")
	}
	if late, ok := Lateness(arrivals(l)); ok || l.LatencyTimer > 0 {
		if f, worth := lateFinding(l, late, ok); worth {
			f.About = about
			all = append(all, f)
		}
	}
	if l.Counters.Lost >= 3 {
		add(Unstable, fmt.Sprintf("the link was lost %d times", l.Counters.Lost),
			"a loose plug, a long cable or a hub without power of its own; another socket often mends it")
	}
	if st.Assumed {
		add(Assumed, "nothing says the unit of the numbers: "+st.FormatSays, "add unit= or scale= to the address")
	}
	if said, ok := board.ParseVersion(st.Firmware); ok && said.Outdated() != "" {
		add(Outdated, "this is the project's own board, and "+said.Outdated(), "the manual, A board of your own, has the three commands; battery off before you reach in")
	}
	if st.Condition != "" {
		add(Condition, "the device says: "+st.Condition, "a new battery, or the spindle back into its range")
	}
	return all
}

func silentHelp(l Link) string {
	if l.Address.Poll != "" {
		return "switch it on; and see in its manual what it wants to hear, for poll="
	}
	return "switch it on and set it to send by itself; if it speaks only when asked, add poll= with what it wants to hear"
}

// worstOf names the commonest reason for refusal.
func worstOf(l Link) string {
	r := l.Counters.Refused
	kinds := []struct {
		n    int64
		says string
	}{{r.NotANumber, "not a number"}, {r.TooLong, "a line without end"}, {r.Misshapen, "a digit lost"}, {r.BadChecksum, "wrong check"},
		{r.Jump, "a jump no spindle makes"}, {r.Stale, "from before it had settled"}, {r.Unanswered, "asked in vain"}, {r.Missing, "lost on the way"}}
	worst := slices.MaxFunc(kinds, func(a, b struct {
		n    int64
		says string
	}) int {
		return cmp.Compare(a.n, b.n)
	})
	return "mostly: " + worst.says
}

// chatter counts the lines with letters that came soon after the open and
// before a second of readings.
func chatter(l Link) (n int) {
	if l.Counters.Refused.Stale == 0 && l.Counters.Refused.NotANumber == 0 {
		return 0
	}
	text := false
	for _, c := range l.Raw {
		if c.At < l.Status.OpenedAt || c.At > l.Status.OpenedAt+chatterIn {
			continue
		}
		letters := 0
		for _, b := range c.Bytes {
			switch {
			case b == '\n' || b == '\r':
				if letters >= 4 { // longer than a unit or a tag
					n++
				}
				letters = 0
			case b|0x20 >= 'a' && b|0x20 <= 'z' || b >= 0x80:
				letters++
				text = true
			}
		}
	}
	if !text || n < 2 || int64(n) > l.Counters.Refused.NotANumber+l.Counters.Refused.Stale {
		return 0
	}
	return n
}

// lateFinding says what lateness costs. The measured one counts; the timer's
// setting explains it.
func lateFinding(l Link, late measure.Stamp, measured bool) (Finding, bool) {
	turning := cmp.Or(l.Turning, easyStroke)
	how := "measured"
	if !measured {
		late, how = l.LatencyTimer, "set in the converter"
	}
	cost := AngleCost(late, turning)
	if cost < lateWorth {
		return Finding{}, false
	}
	do := "set the converter's latency timer to 1 ms in its driver, or turn more slowly past half lift"
	if l.LatencyTimer > 0 {
		do = fmt.Sprintf("its latency timer stands at %d ms: `%s` sets it to 1 ms until it is unplugged; or turn more slowly past half lift",
			l.LatencyTimer/measure.Millisecond, timerCommand(l.Status.Port))
	}
	return Finding{Kind: Late, Says: fmt.Sprintf("readings come up to %.1f ms late (%s), which is %.2f deg of crank at %.0f deg/s",
		late.Seconds()*1000, how, cost.Degrees(), turning), Do: do}, true
}
