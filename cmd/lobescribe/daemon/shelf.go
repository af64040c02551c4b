package daemon

import (
	"lobescribe/capture/keep"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// shelf is where a keeper puts traces: a store, memory, or both. What stands in
// a trace's head is written here and nowhere else.
type shelf struct {
	// store takes the traces; nil: they go to memory alone.
	store *storage.Store
	// head returns what a trace that begins now belongs to.
	head func() (storage.Head, error)
	// instruments returns those that the trace is recorded with.
	instruments func() []*instrument
	// commit does one write to the store; nil: it is just done.
	commit func(write func() error) error
	// memory takes the readings as well; nil: they are on disk alone. It is
	// written by the keeper's goroutine and may be read when that has ended.
	memory *measure.Trace
	// last is the trace started last; 0 without a store. As memory.
	last storage.ID
}

// Begin begins a trace with what is known of it now.
func (s *shelf) Begin(h keep.Head) (keep.Writer, error) {
	head, err := s.head()
	if err != nil {
		return nil, said(err)
	}
	head.Started, head.Resolution = h.Started, h.Resolution
	addInstruments(&head, s.instruments())
	if s.memory != nil {
		s.memory.Resolution, s.memory.AngleStep = head.Resolution, head.AngleStep
	}
	if s.store == nil {
		return &traceWriter{shelf: s}, nil
	}
	disk, err := s.store.Begin(head)
	if err != nil {
		return nil, said(err)
	}
	s.last = disk.ID()
	return &traceWriter{shelf: s, disk: disk}, nil
}

// addInstruments notes in a head with what the trace is recorded.
func addInstruments(head *storage.Head, instruments []*instrument) {
	for _, i := range instruments {
		now := i.now()
		head.Devices = append(head.Devices, storage.DeviceNote{Role: string(i.role), Address: i.address.String(), Format: now.FormatSays, Assumes: now.Assumes})
		head.Resolution = max(head.Resolution, now.Resolution)
		head.AngleStep = max(head.AngleStep, now.AngleStep)
	}
}

// traceWriter is one trace on the shelf.
type traceWriter struct {
	shelf *shelf
	disk  *storage.Writer // nil: memory alone
}

func (w *traceWriter) ID() uint64 {
	if w.disk == nil {
		return 0
	}
	return uint64(w.disk.ID())
}

// Append is one commit, unless there is nothing to write.
func (w *traceWriter) Append(readings []measure.Reading, notes []measure.Note) error {
	if len(readings) == 0 && len(notes) == 0 {
		return nil
	}
	if w.disk != nil {
		write := func() error { return w.disk.Append(readings, notes) }
		if w.shelf.commit != nil {
			inner := write
			write = func() error { return w.shelf.commit(inner) }
		}
		if err := write(); err != nil {
			return said(err)
		}
	}
	if m := w.shelf.memory; m != nil {
		m.Readings, m.Notes = append(m.Readings, readings...), append(m.Notes, notes...)
	}
	return nil
}

func (w *traceWriter) End() error {
	if w.disk == nil {
		return nil
	}
	return said(w.disk.End())
}
