package device

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/measure"
)

// patience is how long a test waits for what must come; generous, for a busy
// machine.
const patience = 30 * time.Second

// listener collects what a source says.
type listener struct {
	mu       sync.Mutex
	readings []measure.Reading
	notes    []measure.Note
	status   []Status
	done     chan struct{}
}

func listen(s *Source) *listener {
	l := &listener{done: make(chan struct{})}
	go func() {
		defer close(l.done)
		for e := range s.Events() {
			l.mu.Lock()
			l.readings = append(l.readings, e.Readings...)
			if e.Note != nil {
				l.notes = append(l.notes, *e.Note)
			}
			if e.Status != nil {
				l.status = append(l.status, *e.Status)
			}
			l.mu.Unlock()
		}
	}()
	return l
}

func (l *listener) lifts() []measure.Length {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := make([]measure.Length, len(l.readings))
	for i, r := range l.readings {
		out[i] = r.Lift
	}
	return out
}

func (l *listener) states() (out []State) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range l.status {
		if len(out) == 0 || out[len(out)-1] != s.State {
			out = append(out, s.State)
		}
	}
	return out
}

func (l *listener) gaps() (n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, x := range l.notes {
		if x.Kind == measure.NoteGap {
			n++
		}
	}
	return n
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	require.Eventually(t, ok, patience, 2*time.Millisecond, what)
}

func at(t *testing.T, text string, args ...any) address.Address {
	t.Helper()
	a, err := address.Parse(fmt.Sprintf(text, args...))
	require.NoError(t, err)
	return a
}
