package main

import (
	"lobescribe/capture"
	"lobescribe/dashboard"
	"lobescribe/device"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// countedTrace is a trace on the shelf whose commits are counted.
type countedTrace struct {
	capture.TraceWriter
	metrics *dashboard.Metrics
}

// Append is one commit, unless there is nothing to write.
func (c countedTrace) Append(readings []measure.Reading, notes []measure.Note) error {
	if len(readings) == 0 && len(notes) == 0 {
		return nil
	}
	return c.metrics.Commit(func() error { return c.TraceWriter.Append(readings, notes) })
}

// linkCounts returns what went through each role's link since the start; the
// counts go on when another device takes the role.
func (d *daemon) linkCounts() []dashboard.LinkCounts {
	d.mu.Lock()
	defer d.mu.Unlock()
	var all []dashboard.LinkCounts
	for _, role := range []capture.Role{capture.Indicator, capture.Encoder} {
		now, known := d.counted[role]
		l := dashboard.LinkCounts{Role: string(role), Age: -1}
		if i := d.instruments[role]; i != nil {
			now, known = sumCounters(now, i.source.Counters()), true
			l.Detail = i.now().State.String()
			if at, ok := i.lastReading(); ok {
				l.Age = max(0, (device.Now() - at).Duration())
			}
		}
		if !known {
			continue // nobody ever had this role
		}
		l.Bytes, l.Readings, l.Opens, l.Lost = now.Bytes, now.Readings, now.Opens, now.Lost
		l.Refused = refusedKinds(now.Refused)
		all = append(all, l)
	}
	return all
}

func sumCounters(a, b device.Counters) device.Counters {
	return device.Counters{Bytes: a.Bytes + b.Bytes, Chunks: a.Chunks + b.Chunks, Readings: a.Readings + b.Readings,
		Asked: a.Asked + b.Asked, Opens: a.Opens + b.Opens, Lost: a.Lost + b.Lost, Sleeps: a.Sleeps + b.Sleeps,
		Refused: a.Refused.Plus(b.Refused)}
}

// refusedKinds returns every kind by its name in promises, also those that did
// not occur.
func refusedKinds(r wire.Refused) map[string]int64 {
	return map[string]int64{
		"too_long": r.TooLong, "not_a_number": r.NotANumber, "misshapen": r.Misshapen, "bad_checksum": r.BadChecksum,
		"jump": r.Jump, "stale": r.Stale, "unanswered": r.Unanswered, "flood": r.Flood,
	}
}

// retire keeps the counts of an instrument that has been closed. The caller
// holds d.mu.
func (d *daemon) retire(role capture.Role, i *instrument) {
	d.counted[role] = sumCounters(d.counted[role], i.source.Counters())
}

// lastReading returns when the instrument's last reading was.
func (i *instrument) lastReading() (measure.Stamp, bool) {
	at := i.heardAt.Load()
	return measure.Stamp(at), at != never
}

// heard takes note of readings.
func (i *instrument) heard(readings []measure.Reading) {
	if n := len(readings); n > 0 {
		i.heardAt.Store(int64(readings[n-1].At))
	}
}

// never stands for the time of a last reading that there was not.
const never = int64(-1 << 63)
