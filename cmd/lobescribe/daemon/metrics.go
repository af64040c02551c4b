package daemon

import (
	"lobescribe/capture"
	"lobescribe/dashboard"
	"lobescribe/device"
	"lobescribe/device/wire"
)

// linkCounts returns what went through each role's link since the start; the
// counts go on when another device takes the role.
func (d *Daemon) linkCounts() []dashboard.LinkCounts {
	d.mu.Lock()
	defer d.mu.Unlock()
	var all []dashboard.LinkCounts
	for _, role := range capture.Roles() {
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
		"jump": r.Jump, "stale": r.Stale, "unanswered": r.Unanswered, "flood": r.Flood, "missing": r.Missing,
	}
}

// retire keeps the counts of an instrument that has been closed. The caller
// holds d.mu.
func (d *Daemon) retire(role capture.Role, i *instrument) {
	d.counted[role] = sumCounters(d.counted[role], i.source.Counters())
}
