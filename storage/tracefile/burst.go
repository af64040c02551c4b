package tracefile

import (
	"fmt"

	"lobescribe/device/measure"
)

// mostAtOnce bounds the readings that may have the same time, since they are held in
// memory until the time goes on. It is a clock of whole minutes at a thousand
// readings a second.
const mostAtOnce = 60_000

// burst is the readings of the latest time, the last ones of the reader's batch. A
// clock of whole milliseconds or seconds, or a logger that writes in bursts, gives
// many readings one time.
//
// They are spread evenly up to the next time, as the readings of one chunk of bytes
// are where a device is listened to. Kept at one time, with nothing in between, they
// would look like a valve that jumps and a port that stops: of 60 sound sessions with
// a time every half second, 25 then had an opening too few or too many, and none once
// they were spread.
//
// Readings that the file numbers were written by Write with the times they have in
// the store, and stay at them.
type burst struct {
	from   int           // where it begins in the batch
	has    measure.Has   // what the latest of its groups has
	groups int           // how many times what was had came again
	before measure.Stamp // the step to its time from the one before that
	spread int64         // how many readings of the file got another time
}

// begin begins with the reading that is the next in the batch.
func (b *burst) begin(at int, has measure.Has) { b.from, b.has, b.groups = at, has, 1 }

// more takes another reading of the same time. Different quantities belong together:
// an indicator's reading and an encoder's.
func (b *burst) more(has measure.Has) {
	if b.has&has != 0 {
		b.has = 0
		b.groups++
	}
	b.has |= has
}

// over spreads the burst over so much time from its own on.
func (b *burst) over(step measure.Stamp, dst []measure.Reading) {
	if b.groups < 2 {
		return
	}
	n, group, has := measure.Stamp(b.groups), 0, measure.Has(0)
	for i := range dst[b.from:] {
		r := &dst[b.from+i]
		if has&r.Has != 0 {
			group, has = group+1, 0
		}
		has |= r.Has
		if group > 0 {
			// In two parts, since a step has up to 18 digits.
			r.At += step/n*measure.Stamp(group) + step%n*measure.Stamp(group)/n
			b.spread++
		}
	}
}

// endBurst spreads what came last, for which there is no next time: over as much as
// the one before it took.
func (r *Reader) endBurst() error {
	if r.burst.groups < 2 {
		return nil
	}
	if r.burst.before == 0 {
		return r.fault(r.at(), "all readings have the time %s; %s", r.last.At, r.clockStands())
	}
	r.burst.over(r.burst.before, r.batch)
	r.burst.groups = 1
	return nil
}

// clockStands says what to do about a clock that stands still.
func (r *Reader) clockStands() string {
	const says = "give them a clock with more decimals"
	if r.format == CSV {
		return says + ", or choose the columns without the time and say how many rows a second, as in lift=2:mm,rate=10"
	}
	return says
}

// how says in one line that readings were spread, or nothing.
func (b *burst) how() string {
	switch b.spread {
	case 0:
		return ""
	case 1:
		return "One reading has the time of the one before; it stands between that and the next"
	}
	return fmt.Sprintf("%d readings have the time of the one before; they stand evenly between that and the next", b.spread)
}
