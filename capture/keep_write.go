package capture

import (
	"context"
	"fmt"
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
	every := time.NewTicker(k.o.Every)
	defer every.Stop()
	for {
		select {
		case <-every.C:
		case <-k.wake:
		case <-ctx.Done():
			k.End()
			if err := k.flush(); err != nil {
				return &Unwritten{Readings: k.waiting(), Cause: err}
			}
			return nil
		}
		_ = k.flush() // said to the listeners, tried again at the next tick
	}
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

		if err := k.append(t, readings, notes); err != nil {
			return k.refused(t, err)
		}
		if last {
			if err := k.patiently(t, t.writer.End); err != nil {
				return k.refused(t, err)
			}
		}
		if t.refused != "" {
			k.o.Log.Info("trace is written again", "trace", t.writer.ID())
			t.refused = ""
		}
		if last {
			k.mu.Lock()
			k.queue = k.queue[1:]
			k.mu.Unlock()
			k.tell(t, TraceKept, "")
			k.o.Ended(t.writer.ID())
			continue
		}
		k.tell(t, TraceRecording, "")
		if n < batch {
			return nil
		}
	}
}

// append gives the store what has gathered; on error nothing of it was taken.
func (k *Keeper) append(t *keeping, readings []measure.Reading, notes []measure.Note) error {
	if t.writer == nil {
		var w TraceWriter
		err := k.patiently(t, func() (err error) {
			w, err = k.o.Store.Begin(t.head)
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
// while it does not answer: a disk that hangs gives no error.
func (k *Keeper) patiently(t *keeping, do func() error) error {
	done := make(chan error, 1)
	go func() { done <- do() }()
	slow := time.NewTicker(k.o.Slow)
	defer slow.Stop()
	for waited := k.o.Slow; ; waited += k.o.Slow {
		select {
		case err := <-done:
			return err
		case <-slow.C:
			k.behind(t, fmt.Sprintf("The disk has not answered for %v", waited.Round(time.Second)))
		}
	}
}

// refused tells that the store would not take what it was given.
func (k *Keeper) refused(t *keeping, err error) error {
	if t.refused != err.Error() {
		t.refused = err.Error()
		k.o.Log.Error("trace not written", "error", err)
	}
	k.behind(t, "The disk refuses: "+t.refused)
	return err
}

// behind tells of the trace under way that it waits in memory, or that memory
// is full as well. Traces before it that wait too are not told of: the page
// shows the one that is turned now.
func (k *Keeper) behind(t *keeping, why string) {
	k.mu.Lock()
	if n := len(k.queue); n > 0 {
		t = k.queue[n-1]
	}
	full, lost := k.held >= k.o.Bound, t.lost
	k.mu.Unlock()
	if full && lost > 0 {
		k.tell(t, TraceFailed, fmt.Sprintf("%s. Memory is full too: what is turned now is being lost, %d readings so far. Stop turning until the disk takes them", why, lost))
		return
	}
	k.tell(t, TraceBehind, why+". Readings wait in memory and are written as soon as it lets them")
}

func (k *Keeper) tell(t *keeping, state, says string) {
	k.mu.Lock()
	s := TraceState{State: state, Began: int64(t.began), Says: says,
		Seconds: t.newest.Seconds(), Readings: t.written + len(t.readings), OnDisk: t.onDisk.Seconds()}
	k.mu.Unlock()
	if t.writer != nil {
		s.ID = t.writer.ID()
	}
	k.o.Tell(s)
}
