package daemon

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// What keeps readings when the store is hurt: the store is looked after and
// mended while the daemon runs, and what it takes no more goes to a rescue file.

// tend looks after the store until the daemon ends.
func (d *Daemon) tend(o storage.Tending) {
	ids, err := d.store.TakeIn(d.ctx)
	if err != nil && d.ctx.Err() == nil {
		d.log.Error("a rescue file was not taken in, or not all of it; the next start tries again", "error", err)
	}
	for _, id := range ids {
		d.ended(uint64(id))
	}
	d.tellRepairs()
	o.Mended = func(*storage.Repaired, error) { d.tellRepairs() }
	d.store.Tend(d.ctx, o)
}

// tellRepairs tells the page which repairs nobody has dismissed yet.
func (d *Daemon) tellRepairs() {
	open, err := d.store.Repairs(true)
	if err != nil && len(open) == 0 {
		return // it is being repaired; what comes of that is told then
	}
	d.hub.Publish(live.RepairsOf(open), 0)
	d.Go(func() {
		d.finding.Lock()
		defer d.finding.Unlock()
		if err := FindAgain(d.ctx, d.store, open); err != nil && d.ctx.Err() == nil {
			d.log.Warn("no findings of what a repair left", "error", err)
		}
	})
}

// FindAgain works out the traces whose findings repairs have taken away, since
// they lack readings now.
func FindAgain(ctx context.Context, s *storage.Store, repairs []storage.Repaired) error {
	var errs []error
	for _, r := range repairs {
		for _, l := range r.Losses {
			sum, err := s.Summary(l.Trace)
			if err != nil || sum.Recording || sum.Readings == 0 || ctx.Err() != nil {
				continue
			}
			if _, err := s.Findings(l.Trace); errors.Is(err, storage.ErrNotFound) {
				_, err = FindingsOf(s, l.Trace)
				errs = append(errs, err)
			}
		}
	}
	return errors.Join(errs...)
}

// said adds to an error of the store what the keeper wants to know of it.
func said(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, storage.ErrLost), errors.Is(err, storage.ErrClosed):
		return verdict{err, keep.ErrLost}
	case errors.Is(err, storage.ErrDamaged):
		return verdict{err, keep.ErrMending}
	}
	return err
}

// verdict is an error with the words of the one and the meaning of both.
type verdict struct{ err, is error }

func (v verdict) Error() string { return v.err.Error() }

func (v verdict) Unwrap() []error { return []error{v.err, v.is} }

// rescue is where a keeper puts what the store takes no more: a file beside it,
// which is made when it is first needed.
type rescue struct {
	beside string // the store's path
	head   func() storage.Head
	o      storage.Options
	memory *measure.Trace // as a shelf's

	mu    sync.Mutex
	store *storage.Store // nil until it is needed
}

// Begin begins a trace in the rescue file.
func (r *rescue) Begin(h keep.Head) (keep.Writer, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.store == nil {
		s, err := storage.OpenRescue(r.beside, r.o)
		if err != nil {
			return nil, err
		}
		r.store = s
	}
	head := r.head()
	head.Started, head.Resolution = h.Started, max(head.Resolution, h.Resolution)
	if h.Continues != 0 {
		head.Remark = fmt.Sprintf("goes on from trace %d, after which the store took nothing more", h.Continues)
	}
	w, err := r.store.Begin(head)
	if err != nil {
		return nil, err
	}
	return rescued{w, r.memory}, nil
}

// close closes the rescue file, if there is one. A nil rescue has none.
func (r *rescue) close() error {
	if r == nil {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.store == nil {
		return nil
	}
	return r.store.Close()
}

// rescued is one trace in a rescue file.
type rescued struct {
	w      *storage.Writer
	memory *measure.Trace
}

func (r rescued) ID() uint64 { return uint64(r.w.ID()) }

func (r rescued) Append(rs []measure.Reading, ns []measure.Note) error {
	err := r.w.Append(rs, ns)
	if m := r.memory; m != nil && err == nil {
		m.Readings, m.Notes = append(m.Readings, rs...), append(m.Notes, ns...)
	}
	return err
}

func (r rescued) End() error { return r.w.End() }
