//go:build unix

package storage

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The file is cut while it is open: the mapped pages behind the end are a bus
// error, which must end up as an error of the call.
func TestCutWhileOpen(t *testing.T) {
	b := newBench(t)
	path := b.write(t, b.image)
	s, err := Open(path, Options{})
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, 3*4096))
	failed := false
	for id := range b.traces {
		_, _, err := s.Load(id)
		failed = failed || err != nil
	}
	assert.True(t, failed)
	rep, err := s.Verify(t.Context())
	assert.True(t, err != nil || !rep.Whole())
	if w, err := s.Begin(Head{}); err == nil {
		_ = w.Append(turned(100, 10, 1), nil)
	}
	done := make(chan struct{})
	go func() { s.Close(); close(done) }()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatal("closing hangs")
	}
}
