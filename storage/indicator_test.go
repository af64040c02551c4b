package storage

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

func TestIndicators(t *testing.T) {
	s := newStore(t, Options{})
	const id = "usb:0403:6001:A5069RR4?unit=in"
	got, err := s.Indicator(id)
	require.NoError(t, err)
	assert.False(t, got.Proof.Proved(), "nothing is known of it yet")

	p := prove.Proof{Low: -1000, High: 12_700_000, In: 1, Step: 1000, Rate: 50, Lag: 40 * measure.Millisecond,
		When: time.Date(2026, 3, 14, 10, 0, 0, 0, time.UTC), Unlearned: []string{"the play"}}
	require.NoError(t, s.PutIndicator(Indicator{id, p}))
	// A new proof replaces the old one as a whole.
	p = p.Shifted(-5000)
	p.Unlearned = nil
	require.NoError(t, s.PutIndicator(Indicator{id, p}))
	require.NoError(t, s.PutIndicator(Indicator{"serial:/dev/ttyUSB0", p.Shifted(7)}))
	got, err = s.Indicator(id)
	require.NoError(t, err)
	assert.Equal(t, Indicator{id, p}, got)
	all, err := s.Indicators()
	require.NoError(t, err)
	assert.Len(t, all, 2)
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), "%s", rep)

	// A backup carries what is known of the indicators.
	backup := filepath.Join(t.TempDir(), "b")
	_, err = s.BackupFile(t.Context(), backup, false)
	require.NoError(t, err)
	b, err := Open(backup, Options{ReadOnly: true})
	require.NoError(t, err)
	defer b.Close()
	got, err = b.Indicator(id)
	require.NoError(t, err)
	assert.Equal(t, p, got.Proof)
}
