package storage

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"
)

// Tending says how a store is looked after. The zero value is right for a
// daemon.
type Tending struct {
	// Every is how long to wait between two looks at the whole store. Default: six
	// hours.
	Every time.Duration
	// Again is how long to wait before a repair that failed is tried again.
	// Default: one minute.
	Again time.Duration
	// There is how often to look whether the file is still there. Default: five
	// seconds.
	There time.Duration
	// Mended hears of each repair, and of each that failed. Default: nobody.
	Mended func(*Repaired, error)
}

// Tend looks after an open store until ctx is done: it proves all pages and
// checksums at once and from time to time, and mends the store (see Mend) when
// they, or anybody who uses it, find something hurt.
func (s *Store) Tend(ctx context.Context, o Tending) {
	if o.Every == 0 {
		o.Every = 6 * time.Hour
	}
	if o.Again == 0 {
		o.Again = time.Minute
	}
	if o.There == 0 {
		o.There = 5 * time.Second
	}
	if o.Mended == nil {
		o.Mended = func(*Repaired, error) {}
	}
	s.mu.Lock()
	s.tended = true
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		s.tended = false
		s.mu.Unlock()
	}()
	look, there := time.NewTimer(0), time.NewTicker(o.There)
	defer look.Stop()
	defer there.Stop()
	var given error // why a repair was given up
	for {
		all := false
		select {
		case <-ctx.Done():
			return
		case <-there.C:
			s.lookForFile()
			continue
		case <-look.C:
			given = s.scrub(ctx, given)
			all = s.sound() == nil
		case <-s.alarms:
			if s.sound() == nil {
				if given != nil {
					continue // it was of no use
				}
				// Somebody came upon what does not read.
				given = s.scrub(ctx, given)
				all = s.sound() == nil
			}
		}
		next := o.Every
		if s.sound() != nil {
			done, err := s.Mend(ctx)
			if ctx.Err() != nil {
				return
			}
			if err != nil {
				next = o.Again
				s.log.Error("the store was not repaired", "path", s.path, "error", err)
			}
			if done != nil || err != nil {
				o.Mended(done, err)
			}
			if errors.Is(err, ErrLost) {
				s.alarmIn(ctx, o.Again)
			} else if err == nil {
				next = 0 // until nothing more is found
			}
		}
		s.tellLooked(all)
		look.Reset(next)
	}
}

// alarmIn has a repair tried again later.
func (s *Store) alarmIn(ctx context.Context, wait time.Duration) {
	time.AfterFunc(wait, func() {
		if ctx.Err() == nil {
			s.alarm()
		}
	})
}

// lookForFile finds out that the file that is open has lost its name:
// what is written into it then is lost with the program.
func (s *Store) lookForFile() {
	if s.sound() != nil {
		return
	}
	db, err := s.enter()
	if err != nil {
		return
	}
	defer s.leave()
	if db == nil {
		return
	}
	ours, err := s.file.Stat()
	if err != nil {
		return
	}
	now, err := os.Stat(s.path)
	if err == nil && os.SameFile(ours, now) && now.Size() > 0 {
		return
	}
	switch {
	case err == nil && !os.SameFile(ours, now):
		s.fail(errReplaced)
	case err == nil, errors.Is(err, os.ErrNotExist):
		s.fail(fmt.Errorf("%w: its file was emptied or taken away", ErrDamaged))
	}
}

// scrub proves every page, and every checksum while others go on using the
// store. What is hurt makes the store fail, so that it is mended. known is what
// it said the last time, when the repair was of no use.
func (s *Store) scrub(ctx context.Context, known error) error {
	if s.prove(ctx) != nil || s.sound() != nil {
		return nil
	}
	rep, err := s.look(ctx)
	if err != nil || ctx.Err() != nil {
		return nil
	}
	told := map[ID]bool{}
	for _, done := range rep.Repairs {
		for _, l := range done.Losses {
			told[l.Trace] = true
		}
	}
	var hurt error
	for _, d := range rep.Damages {
		if hurt == nil && !(d.Hole && told[d.Trace]) {
			hurt = d
		}
	}
	if hurt == nil {
		hurt = s.recount()
	}
	if hurt == nil || known != nil && known.Error() == hurt.Error() {
		return known
	}
	s.fail(fmt.Errorf("%w (%w)", ErrDamaged, hurt))
	return hurt
}

// look checks the contents as Verify does, but a trace at a time, so that no
// state of the store is held for long.
func (s *Store) look(ctx context.Context) (rep Report, err error) {
	var ids []ID
	err = s.viewQuietly(func(r rows) error {
		ids = traceIDs(r)
		rep.about(r)
		rep.keys(r)
		rep.documents(r)
		rep.Repairs = repairsIn(r) // the dismissed as well
		rep.shop(r)
		return nil
	})
	began := time.Now()
	for _, id := range ids {
		if err != nil || ctx.Err() != nil {
			break
		}
		s.mu.Lock()
		w := s.open[id]
		s.mu.Unlock()
		var acked uint64
		if w != nil {
			_, acked = w.acknowledged()
		}
		err = s.viewQuietly(func(r rows) error {
			n := measureExtent(r, id).readings
			s.mu.Lock()
			now := s.open[id]
			s.mu.Unlock()
			if n == 0 && now == nil && r.get(bucketHeads, traceKey(id)) == nil {
				return nil // it was discarded meanwhile
			}
			if now == w && n < acked {
				rep.add(&Damage{Trace: id, Part: PartReadings, First: n, Count: int64(acked - n), Why: "they are missing"})
			}
			for _, k := range rep.trace(r, id) {
				if r.get(bucketIndex, k) == nil {
					rep.add(&Damage{Part: PartIndex, Trace: id, Derived: true, Why: fmt.Sprintf("entry %q is missing", k)})
				}
			}
			return nil
		})
		s.givesWay(ctx, &began)
	}
	return rep, err
}

// Proved waits until Tend has been through the whole store since it was opened
// and finds nothing hurt, or ctx is done.
func (s *Store) Proved(ctx context.Context) error {
	for {
		s.mu.Lock()
		if s.scrubbed && s.broken == nil {
			s.mu.Unlock()
			return nil
		}
		again := s.looked
		s.mu.Unlock()
		select {
		case <-again:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// tellLooked wakes whoever waits for the store to be proved.
func (s *Store) tellLooked(whole bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.scrubbed = s.scrubbed || whole
	close(s.looked)
	s.looked = make(chan struct{})
}
