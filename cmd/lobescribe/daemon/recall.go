package daemon

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/bytelog"
	"lobescribe/device/lines"
	"lobescribe/device/measure"
	"lobescribe/device/recorded"
	"lobescribe/storage"
)

// Recalled are bytes that instruments sent before now, to be recorded as if they
// came.
type Recalled struct {
	// Wires are the recordings of raw bytes, as bytelog has them, and Addresses say
	// how they are decoded, both by role. Offsets is when each recording began.
	Wires     map[capture.Role][]byte
	Addresses map[capture.Role]address.Address
	Offsets   map[capture.Role]measure.Stamp
	// Head says what the trace is of; Started is the wall-clock time at which the
	// stamps are zero.
	Head    storage.Head
	Started time.Time
	Store   *storage.Store
	Device  device.Options
}

// recallStep is how much of a recording goes to the live side at a time.
const recallStep = 20 * measure.Millisecond

// Recall records what was sent before now, without waiting for its pace: through
// decoder, joiner, follower, recorder and keeper, as at a bench. It returns the
// trace with its findings.
func Recall(ctx context.Context, r Recalled) (Recorded, error) {
	var all []arrived
	var resolution measure.Length
	var step measure.Angle
	for _, role := range []capture.Role{capture.Indicator, capture.Encoder} {
		if len(r.Wires[role]) == 0 {
			continue
		}
		in, err := bytelog.NewReader(bytes.NewReader(r.Wires[role]))
		if err != nil {
			return Recorded{}, err
		}
		o := r.Device
		o.Port = lines.IndicatorPort
		if role == capture.Encoder {
			o.Port = lines.EncoderPort
		}
		t, err := recorded.Trace(in, r.Addresses[role], o)
		if err != nil {
			return Recorded{}, fmt.Errorf("%s: %w", role, err)
		}
		if len(t.Readings) == 0 {
			return Recorded{}, fmt.Errorf("%s: no reading was found in what it sent", role)
		}
		resolution, step = max(resolution, t.Resolution), max(step, t.AngleStep)
		for _, reading := range t.Readings {
			reading.At += r.Offsets[role]
			all = append(all, arrived{role: role, at: reading.At, reading: reading})
		}
		for _, n := range t.Notes {
			n.At += r.Offsets[role]
			if n.Until != 0 {
				n.Until += r.Offsets[role]
			}
			all = append(all, arrived{role: role, at: max(n.At, n.Until), note: &n})
		}
	}
	slices.SortStableFunc(all, func(a, b arrived) int { return cmp.Compare(a.at, b.at) })
	return r.record(ctx, all, resolution, step)
}

// arrived is a reading, or else a note, at its moment.
type arrived struct {
	role    capture.Role
	at      measure.Stamp
	reading measure.Reading
	note    *measure.Note
}

func (r Recalled) record(ctx context.Context, all []arrived, resolution measure.Length, step measure.Angle) (Recorded, error) {
	head := r.Head
	head.AngleStep = step
	for _, role := range []capture.Role{capture.Indicator, capture.Encoder} {
		if a, ok := r.Addresses[role]; ok {
			head.Devices = append(head.Devices, storage.DeviceNote{Role: string(role), Address: a.String()})
		}
	}
	var now atomic.Int64
	kept := &shelf{store: r.Store, head: func() (storage.Head, error) { return head, nil },
		instruments: func() []*instrument { return nil }}
	keeper := keep.New(keep.Options{Store: startedAt{kept, r.Started}})
	live := capture.NewLive(capture.LiveOptions{
		Follower: capture.FollowerOptions{Resolution: resolution, Proof: head.Proof},
		Recorder: capture.RecorderOptions{Rest: measure.StampOf(1000 * time.Hour)},
		Clock:    func() measure.Stamp { return measure.Stamp(now.Load()) },
		Keeper:   keeper, Tell: func(capture.Message) {},
	})
	running, stop := context.WithCancel(ctx)
	defer stop()
	keeping, enough := context.WithCancel(context.WithoutCancel(ctx))
	defer enough()
	ended, written := make(chan struct{}), make(chan error, 1)
	go func() { written <- keeper.Run(keeping) }()
	go func() { defer close(ended); live.Run(running) }()
	var lost error
	for len(all) > 0 && lost == nil {
		until := all[0].at + recallStep
		n, by := 0, map[capture.Role][]measure.Reading{}
		for ; n < len(all) && all[n].at < until; n++ {
			if a := all[n]; a.note != nil {
				live.Note(a.role, *a.note)
			} else {
				by[a.role] = append(by[a.role], a.reading)
			}
		}
		now.Store(int64(all[n-1].at))
		all = all[n:]
		for _, role := range []capture.Role{capture.Encoder, capture.Indicator} {
			if len(by[role]) > 0 {
				live.Readings(role, by[role])
			}
		}
		lost = live.Answers(running) // the clock stands for what was heard
	}
	stop()
	<-ended
	enough()
	if err := errors.Join(lost, <-written); err != nil {
		return Recorded{}, fmt.Errorf("recording what was sent before: %w", err)
	}
	if kept.last == 0 {
		return Recorded{}, errors.New("recording what was sent before: nothing moved")
	}
	f, err := FindingsOf(r.Store, kept.last)
	return Recorded{Findings: f, ID: kept.last}, err
}

// FindingsOf works out a stored trace and stores what was found for the list. Of a
// trace in the making, and of one that does not read whole, the findings are
// returned and not stored: more of it may come, from the gauge or of a repair.
func FindingsOf(s *storage.Store, id storage.ID) (lift.Findings, error) {
	sum, err := s.Summary(id) // before it is loaded: it may end meanwhile
	making := err == nil && sum.Recording
	head, trace, hurt := s.Load(id)
	damages := storage.DamagesIn(hurt)
	if hurt != nil && (len(trace.Readings) == 0 || len(damages) == 0) {
		return lift.Findings{}, hurt
	}
	f, err := lift.Analyse(trace, lift.Options{LeaveOut: head.LeftOut, Proof: head.Proof})
	if err != nil {
		return f, fmt.Errorf("trace %s: %w", id, err)
	}
	if making || slices.ContainsFunc(damages, func(d *storage.Damage) bool { return !d.Hole && !d.Derived }) {
		return f, nil
	}
	return f, s.PutFindings(id, f)
}

// startedAt is a shelf for traces of another time than now.
type startedAt struct {
	*shelf
	zero time.Time // the wall clock at stamp zero
}

// Begin begins a trace on the shelf, at its own time.
func (s startedAt) Begin(h keep.Head) (keep.Writer, error) {
	h.Started = s.zero
	return s.shelf.Begin(h)
}
