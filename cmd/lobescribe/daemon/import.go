package daemon

import (
	"cmp"
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"time"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// importBatch is how many readings of a file go into one transaction: a whole
// number of the store's large chunks, and a few milliseconds of the disk's time.
const importBatch = 1 << 15

// ImportOptions say how a trace file is taken into a store.
type ImportOptions struct {
	// Head returns the head of the trace, of what the file says of itself: at first
	// of nothing, and again when all has been read. Required.
	Head func(tracefile.About) storage.Head
	// Progress hears how many readings are in the store so far. Default: nobody.
	Progress func(readings uint64)
}

// ImportFile stores the trace of a file and its findings, in memory that does not
// follow its length: what is read goes to the store in transactions of bounded
// size, and waits for whoever records at the same time. It does not close the file.
//
// A file that turns out to be no trace leaves nothing in the store; the error is a
// *tracefile.Fault, the store's, lift's, or the context's.
func ImportFile(ctx context.Context, s *storage.Store, file *tracefile.Reader, o ImportOptions) (id storage.ID, readings uint64, err error) {
	w, err := s.Begin(o.Head(tracefile.About{}))
	if err != nil {
		return 0, 0, err
	}
	in := importing{ctx: ctx, w: w, told: o.Progress}
	f, err := in.all(s, file, o)
	if err != nil {
		return 0, 0, errors.Join(err, w.Discard())
	}
	if err := w.End(); err != nil {
		return w.ID(), in.readings, err
	}
	return w.ID(), in.readings, s.PutFindings(w.ID(), f)
}

// importing is a trace on its way from a file to the store.
type importing struct {
	ctx      context.Context
	w        *storage.Writer
	told     func(uint64)
	batch    []measure.Reading
	readings uint64
}

func (in *importing) all(s *storage.Store, file *tracefile.Reader, o ImportOptions) (f lift.Findings, err error) {
	for {
		some, err := file.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return f, err
		}
		for len(some) > 0 {
			n := min(len(some), importBatch-len(in.batch))
			in.batch, some = append(in.batch, some[:n]...), some[n:]
			if len(in.batch) == importBatch {
				if err := in.put(); err != nil {
					return f, err
				}
			}
		}
	}
	if err := in.put(); err != nil {
		return f, err
	}
	notes := slices.Clone(file.Notes())
	slices.SortStableFunc(notes, func(a, b measure.Note) int { return cmp.Compare(a.At, b.At) })
	if err := in.w.Append(nil, notes); err != nil {
		return f, err
	}
	err = in.w.Amend(func(h *storage.Head) {
		started := h.Started
		*h = o.Head(file.About())
		h.Started = cmp.Or(h.Started, started)
		h.Resolution, h.AngleStep = file.Resolution(), file.AngleStep()
	})
	if err != nil {
		return f, err
	}
	return analyseStored(in.ctx, s, in.w, notes)
}

// put writes what has gathered.
func (in *importing) put() error {
	if err := context.Cause(in.ctx); err != nil {
		return err
	}
	if len(in.batch) == 0 {
		return nil
	}
	began := time.Now()
	if err := in.w.Append(in.batch, nil); err != nil {
		return err
	}
	in.readings += uint64(len(in.batch))
	in.batch = in.batch[:0]
	if in.told != nil {
		in.told(in.readings)
	}
	if in.w.Hinders() { // the disk is theirs for as long
		select {
		case <-time.After(min(time.Since(began), time.Second)):
		case <-in.ctx.Done():
		}
	}
	return nil
}

// analyseStored works out a trace that is in the store but for its end, batch by
// batch. Notes, in order of time, may stand anywhere in a file, so that this waits
// for all of them.
func analyseStored(ctx context.Context, s *storage.Store, w *storage.Writer, notes []measure.Note) (lift.Findings, error) {
	head := w.Head()
	a := lift.NewAnalysis(lift.Options{Told: head.Resolution, LeaveOut: head.LeftOut, Proof: head.Proof})
	for batch, err := range s.Readings(w.ID(), math.MinInt64, math.MaxInt64) {
		if err == nil {
			err = context.Cause(ctx)
		}
		if err != nil {
			return lift.Findings{}, err
		}
		n := 0
		for n < len(notes) && notes[n].At <= batch[len(batch)-1].At {
			n++
		}
		a.Add(batch, notes[:n])
		notes = notes[n:]
	}
	a.Add(nil, notes)
	return a.Findings()
}

// ImportTrace stores a whole trace that is in memory, and its findings.
func ImportTrace(s *storage.Store, t measure.Trace, h storage.Head) (storage.ID, error) {
	f, err := lift.Analyse(t, lift.Options{LeaveOut: h.LeftOut, Proof: h.Proof})
	if err != nil {
		return 0, err
	}
	h.Resolution, h.AngleStep = t.Resolution, t.AngleStep
	w, err := s.Begin(h)
	if err != nil {
		return 0, err
	}
	if err := w.Append(t.Readings, t.Notes); err != nil {
		return 0, errors.Join(err, w.Discard())
	}
	if err := w.End(); err != nil {
		return w.ID(), err
	}
	return w.ID(), s.PutFindings(w.ID(), f)
}
