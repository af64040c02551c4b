package keep

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"lobescribe/device/measure"
)

// batch is how many readings go into one commit when many have gathered: what
// waited for hours must not make one transaction as long as all of it.
const batch = 50_000

// Unwritten is the error of a Keeper that had to stop while the disk refused.
type Unwritten struct {
	Readings int // that were in memory only, and are lost
	Cause    error
}

func (e *Unwritten) Error() string {
	return fmt.Sprintf("the last %d readings could not be written and are lost: %v", e.Readings, e.Cause)
}

// Unwrap returns what the store said.
func (e *Unwritten) Unwrap() error { return e.Cause }

// Run writes until ctx is done, then ends the trace under way, writes what is
// left and returns; an *Unwritten means that readings could not be written.
func (k *Keeper) Run(ctx context.Context) error {
	late := time.NewTimer(0) // for what nothing came behind
	defer late.Stop()
	for {
		select {
		case <-late.C:
		case <-k.wake:
		case <-ctx.Done():
			k.End()
			return k.finish()
		}
		k.mu.Lock()
		k.wrote = time.Now() // not when it is done: what comes meanwhile waits from now on
		k.mu.Unlock()
		k.again(late, k.flush()) // an error is said to the listeners
	}
}

// again sets when to write though nothing more comes.
func (k *Keeper) again(late *time.Timer, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	switch {
	case len(k.queue) == 0:
		late.Stop()
	case err != nil:
		late.Reset(k.o.Every)
	default:
		late.Reset(max(k.o.Every+k.o.Every/2-time.Since(k.wrote), k.o.Every/4))
	}
}

// finish writes what is left, where it can still be written.
func (k *Keeper) finish() error {
	err := k.flush()
	if err != nil && k.o.Rescue != nil {
		k.mu.Lock()
		left := k.queue
		k.mu.Unlock()
		for _, t := range left {
			k.rescue(t, err)
		}
		if again := k.flush(); again == nil {
			return nil
		}
	}
	if err != nil {
		return &Unwritten{Readings: k.waiting(), Cause: err}
	}
	return nil
}

// rescue lets a trace go on in Rescue.
func (k *Keeper) rescue(t *keeping, why error) {
	if t.rescued {
		return
	}
	t.rescued, t.why = true, why.Error()
	if t.writer != nil {
		t.id, t.writer = t.writer.ID(), nil
		t.head.Continues = t.id
	}
	k.o.Log.Error("trace goes to a rescue file", "trace", t.id, "error", why)
}

// waiting returns how many readings are not on disk.
func (k *Keeper) waiting() (n int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, t := range k.queue {
		n += len(t.readings)
	}
	return n
}

// flush writes everything queued. It stops at the first refusal, which the
// listeners hear of, and returns it.
func (k *Keeper) flush() error {
	for {
		k.mu.Lock()
		if len(k.queue) == 0 {
			k.mu.Unlock()
			return nil
		}
		t := k.queue[0]
		// Not taken out yet: the live side only adds behind them.
		n, m := min(len(t.readings), batch), len(t.notes)
		readings, notes := t.readings[:n:n], t.notes[:m:m]
		last := t.ended && n == len(t.readings)
		k.mu.Unlock()

		err := k.append(t, readings, notes)
		if errors.Is(err, ErrLost) && k.o.Rescue != nil && !t.rescued {
			k.rescue(t, err)
			continue
		}
		if err != nil {
			return k.refused(t, err)
		}
		if last {
			err := k.patiently(t, t.writer.End)
			if errors.Is(err, ErrLost) && k.o.Rescue != nil && !t.rescued {
				// All its readings are in the store: the next opening ends the trace.
				k.rescue(t, err)
				t.complete, err = true, nil
			}
			if err != nil {
				return k.refused(t, err)
			}
		}
		if t.refused != "" {
			k.o.Log.Info("trace is written again", "trace", t.number())
			t.refused = ""
		}
		if last {
			k.mu.Lock()
			k.queue = k.queue[1:]
			k.mu.Unlock()
			k.tell(t, StateKept, t.where())
			if !t.rescued {
				k.o.Ended(t.writer.ID())
			}
			continue
		}
		k.tell(t, StateRecording, t.where())
		if n < batch {
			return nil
		}
	}
}

// append gives the store what has gathered; on error nothing of it was taken.
func (k *Keeper) append(t *keeping, readings []measure.Reading, notes []measure.Note) error {
	if t.writer == nil {
		var w Writer
		store := k.o.Store
		if t.rescued {
			store = k.o.Rescue
		}
		err := k.patiently(t, func() (err error) {
			w, err = store.Begin(t.head)
			return err
		})
		if err != nil {
			return err
		}
		t.writer = w
	}
	if len(readings) == 0 && len(notes) == 0 {
		return nil
	}
	if err := k.patiently(t, func() error { return t.writer.Append(readings, notes) }); err != nil {
		return err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.held -= len(readings) + len(notes)
	t.written += len(readings)
	t.readings, t.notes = t.readings[len(readings):], t.notes[len(notes):]
	if len(t.readings) == 0 {
		t.readings = nil // the memory goes with it
	}
	if len(t.notes) == 0 {
		t.notes = nil
	}
	if n := len(readings); n > 0 {
		t.onDisk = readings[n-1].At
	}
	return nil
}

// patiently waits for the store, however long it takes, and tells the listeners
// while it does not answer: a disk that hangs gives no error. A goroutine tells of it
// only where there is something to tell, and none is left when patiently returns.
func (k *Keeper) patiently(t *keeping, do func() error) error {
	var mu sync.Mutex // of what follows
	mu.Lock()
	waited, over := k.o.Slow, false
	var slow *time.Timer
	slow = time.AfterFunc(k.o.Slow, func() {
		mu.Lock()
		defer mu.Unlock()
		if over {
			return
		}
		k.behind(t, fmt.Sprintf("The disk has not answered for %v", waited.Round(time.Second)))
		waited += k.o.Slow
		slow.Reset(k.o.Slow)
	})
	mu.Unlock()
	err := do()
	mu.Lock()
	over = true
	mu.Unlock()
	slow.Stop()
	return err
}

// refused tells that the store would not take what it was given.
func (k *Keeper) refused(t *keeping, err error) error {
	if t.refused != err.Error() {
		t.refused = err.Error()
		k.o.Log.Error("trace not written", "error", err)
	}
	switch {
	case t.rescued:
		k.tellOfLast(t, StateFailed, fmt.Sprintf("The store is hurt (%s), and the rescue file cannot be written either: %s. What is turned now is in memory only and is lost when the daemon stops", t.why, t.refused))
	case errors.Is(err, ErrLost):
		k.tellOfLast(t, StateFailed, t.refused+". What is turned now is in memory only and is lost when the daemon stops")
	case errors.Is(err, ErrMending):
		k.behind(t, "The store is hurt: "+t.refused)
	default:
		k.behind(t, "The disk refuses: "+t.refused)
	}
	return err
}

// number is what the Store knows the trace by.
func (t *keeping) number() uint64 {
	if t.rescued || t.writer == nil {
		return t.id
	}
	return t.writer.ID()
}

// where says where a trace goes that does not go to the store.
func (t *keeping) where() string {
	switch {
	case !t.rescued:
		return ""
	case t.complete:
		return "The store takes nothing more (" + t.why + "). All of this trace was written before"
	}
	return "The store takes nothing more (" + t.why + "). This trace goes to a rescue file, which the next start takes in"
}

// behind tells of the trace under way that it waits in memory, or that memory
// is full as well. Traces before it that wait too are not told of: the page
// shows the one that is turned now.
func (k *Keeper) behind(t *keeping, why string) {
	k.mu.Lock()
	t = k.last(t)
	full, lost := k.held >= k.o.Bound, t.lost
	k.mu.Unlock()
	if full && lost > 0 {
		k.tell(t, StateFailed, fmt.Sprintf("%s. Memory is full too: what is turned now is being lost, %d readings so far. Stop turning until the disk takes them", why, lost))
		return
	}
	k.tell(t, StateBehind, why+". Readings wait in memory and are written as soon as it lets them")
}

// last is the trace that is turned now; the lock is held.
func (k *Keeper) last(t *keeping) *keeping {
	if n := len(k.queue); n > 0 {
		return k.queue[n-1]
	}
	return t
}

func (k *Keeper) tellOfLast(t *keeping, state, says string) {
	k.mu.Lock()
	t = k.last(t)
	k.mu.Unlock()
	k.tell(t, state, says)
}

func (k *Keeper) tell(t *keeping, state, says string) {
	k.mu.Lock()
	s := State{State: state, Began: int64(t.began), Says: says,
		Seconds: t.newest.Seconds(), Readings: t.written + len(t.readings), OnDisk: t.onDisk.Seconds()}
	k.mu.Unlock()
	s.ID = t.number()
	k.o.Tell(s)
}
