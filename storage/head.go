package storage

import (
	"fmt"
	"time"

	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

// Head says when a trace was recorded, on what and with what.
type Head struct {
	// Started is the wall clock at the trace's stamp 0. It is the only wall
	// clock time in a trace. Default: now.
	Started time.Time `json:"started"`
	Engine  string    `json:"engine,omitempty"`
	Valve   string    `json:"valve,omitempty"`
	Trial   string    `json:"trial,omitempty"`
	// Against is what the sweep gauge lay against; empty where there was none.
	Against Against `json:"against,omitempty"`
	// Devices are the instruments, in the order in which they were opened.
	Devices []DeviceNote `json:"devices,omitempty"`
	// Resolution and AngleStep are as in measure.Trace: 0 when not known.
	Resolution measure.Length `json:"resolution_mm,omitempty"`
	AngleStep  measure.Angle  `json:"angle_step_deg,omitempty"`
	// Proof is what was known of the indicator when the trace began, in the zero
	// that it had then; the zero Proof where it was never proved.
	Proof  prove.Proof `json:"proof,omitzero"`
	Remark string      `json:"remark,omitempty"`
	// Source is "live", "demo", or "import:" and the name of the file.
	Source string `json:"source,omitempty"`
	// CutShort: the program stopped while the trace was in the making. The
	// store sets it.
	CutShort bool `json:"cut_short,omitempty"`
	// LeftOut are openings that count for nothing, with the reason.
	LeftOut []lift.LeftOut `json:"left_out,omitempty"`
	// Noted is what somebody wrote about openings; they count all the same.
	Noted []OpeningNote `json:"noted,omitempty"`
	// PutAway is why the whole trace counts for nothing; empty: it counts.
	PutAway string `json:"put_away,omitempty"`
	// Lost counts readings that damage to the file has cost, where a repair
	// found it.
	Lost uint64 `json:"lost_readings,omitempty"`
}

// OpeningNote is what somebody wrote about an opening: the one whose nose lies in
// the stretch.
type OpeningNote struct {
	From  measure.Stamp `json:"from_s"`
	Until measure.Stamp `json:"until_s"`
	Says  string        `json:"says"`
}

// Covers tells whether a moment lies in the stretch.
func (n OpeningNote) Covers(at measure.Stamp) bool { return n.From <= at && at <= n.Until }

// Against is what a sweep gauge lies against.
type Against string

// What it can lie against.
const (
	AgainstTip  Against = "tip"  // the rocker's roller or round end
	AgainstSide Against = "side" // the side of stem, lash cap or retainer: a reference pass
)

// ParseAgainst reads what a sweep gauge lies against; empty is nothing said.
func ParseAgainst(text string) (Against, error) {
	switch a := Against(text); a {
	case "", AgainstTip, AgainstSide:
		return a, nil
	}
	return "", fmt.Errorf("%q is nothing that a sweep gauge lies against: expected %s (the rocker's roller or round end) or %s (of stem, lash cap or retainer)", text, AgainstTip, AgainstSide)
}

// storedHead is a head in the file. Of two that a damaged file still holds, the
// one of the later writing counts.
type storedHead struct {
	Head
	Writing uint64 `json:"writing,omitempty"`
}

// DeviceNote says which instrument gave readings.
type DeviceNote struct {
	Role    string `json:"role"` // "indicator", "encoder" or "sweep"
	Address string `json:"address"`
	Format  string `json:"format,omitempty"`
	// Assumes is what nothing told about its lines and was assumed: the unit, the
	// scale, the column.
	Assumes string `json:"assumes,omitempty"`
}

// Summary is the line of a trace in a list.
type Summary struct {
	ID      ID        `json:"id"`
	Started time.Time `json:"started"`
	Engine  string    `json:"engine"`
	Valve   string    `json:"valve"`
	// Cylinder and Kind are what Valve names; absent where it names no valve.
	Cylinder int        `json:"cylinder,omitempty"`
	Kind     valve.Kind `json:"kind,omitempty"`
	Readings uint64     `json:"readings"`
	// Seconds is from the first reading to the last.
	Seconds  measure.Stamp `json:"seconds"`
	CutShort bool          `json:"cut_short"`
	// MaxLift is of the findings; nil when there are none, or no whole opening.
	MaxLift  *measure.Length `json:"max_lift_mm"`
	Trial    string          `json:"trial,omitempty"`
	HasAngle bool            `json:"has_angle,omitempty"` // of any reading
	HasSweep bool            `json:"has_sweep,omitempty"` // of any reading
	Against  Against         `json:"against,omitempty"`   // as in Head
	Source   string          `json:"source,omitempty"`
	Remark   string          `json:"remark,omitempty"`
	Openings int             `json:"openings,omitempty"`
	// Faults are the kinds that the findings name, each once.
	Faults []lift.FaultKind `json:"faults,omitempty"`
	// LeftOut counts the openings that were left out; PutAway is why the trace
	// counts for nothing.
	LeftOut int    `json:"left_out,omitempty"`
	PutAway string `json:"put_away,omitempty"`
	// Recording: the trace is in the making right now.
	Recording bool `json:"recording,omitempty"`
	// Damaged says what of the line itself does not read; the readings may.
	Damaged string `json:"damaged,omitempty"`
}

// extent is what the chunks of a trace say together.
type extent struct {
	readings    uint64
	first, last measure.Stamp
	has         measure.Has
	damage      []*Damage
	end         uint64 // behind the last reading that reads; more than readings where some between are missing
}

func (e extent) span() measure.Stamp { return e.last - e.first }

// readHead returns the head of a trace; ErrNotFound when there is no such
// trace, a *Damage when the head does not read but the trace is there.
func readHead(r rows, id ID) (Head, error) {
	key := traceKey(id)
	raw := r.get(bucketHeads, key)
	var h Head
	if raw == nil {
		if e := measureExtent(r, id); e.readings == 0 && len(e.damage) == 0 {
			return h, fmt.Errorf("trace %s: %w", id, ErrNotFound)
		}
		return h, &Damage{Trace: id, Part: PartHead, Why: "it is missing"}
	}
	if err := unseal(sealHead, key, raw, &h); err != nil {
		return Head{}, &Damage{Trace: id, Part: PartHead, Why: err.Error()}
	}
	return h, nil
}

// summarise makes the line of a trace from its head, chunks and findings.
func summarise(r rows, id ID) Summary {
	sum := Summary{ID: id}
	h, err := readHead(r, id)
	if err != nil {
		sum.Damaged = err.Error()
	}
	sum.Started, sum.Engine, sum.Valve, sum.Trial = h.Started, h.Engine, h.Valve, h.Trial
	sum.CutShort, sum.Source, sum.Remark = h.CutShort, h.Source, h.Remark
	sum.LeftOut, sum.PutAway = len(h.LeftOut), h.PutAway
	e := measureExtent(r, id)
	sum.Readings, sum.Seconds = e.readings, e.span()
	sum.HasAngle, sum.HasSweep = e.has&measure.HasAngle != 0, e.has&measure.HasSweep != 0
	sum.Against = h.Against
	if f, err := readFindings(r, id); err == nil {
		addFindings(&sum, f)
	}
	return sum
}

func addFindings(sum *Summary, f lift.Findings) {
	sum.Openings = len(f.Openings)
	if len(f.Openings) > 0 {
		max := f.MaxLift
		sum.MaxLift = &max
	}
	seen := map[lift.FaultKind]bool{}
	for _, fault := range f.Faults {
		if !seen[fault.Kind] {
			seen[fault.Kind] = true
			sum.Faults = append(sum.Faults, fault.Kind)
		}
	}
}
