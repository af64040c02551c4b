package daemon

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/workshop"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// A logger that writes in bursts gives many readings one time. Sound sessions of the
// workshop, which knows the truth and shares no code with what judges them, are stored
// through such a file: as many openings are found as there were, the max lift is right
// by its ±, and what is exported comes back to the microsecond.
func TestBurstsAreImported(t *testing.T) {
	t.Parallel()
	store, err := storage.Open(filepath.Join(t.TempDir(), "s"), storage.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	for seed := uint64(1); seed <= 12; seed++ {
		s := workshop.Make("sound", seed, workshop.Options{Rate: 50, Encoder: seed%2 == 0})
		every := []measure.Stamp{40, 250, 500}[seed%3] * measure.Millisecond
		var text bytes.Buffer
		text.WriteString("t_us,lift_mm")
		if s.AngleStep > 0 {
			text.WriteString(",angle_deg")
		}
		for _, r := range s.Trace.Readings {
			fmt.Fprintf(&text, "\n%d,%s", r.At-r.At%every, r.Lift.Decimal(measure.InMillimetres, 6))
			if s.AngleStep > 0 {
				fmt.Fprintf(&text, ",%.6f", r.Angle.Degrees())
			}
		}
		file, err := tracefile.NewReader(&text, tracefile.Options{})
		require.NoError(t, err)
		id, n, err := ImportFile(t.Context(), store, file, ImportOptions{Head: importHead})
		require.NoError(t, err)
		assert.Len(t, s.Trace.Readings, int(n))
		assert.Contains(t, file.How(), "have the time of the one before")

		whole, lift := 0, measure.Length(0)
		for _, o := range s.Truth.Openings {
			if o.Whole {
				whole, lift = whole+1, max(lift, o.Lift)
			}
		}
		f, err := store.Findings(id)
		require.NoError(t, err)
		assert.Len(t, f.Openings, whole, "seed %d: %s", seed, s.Says)
		// The bounds of the workshop's own table (capture/lift/workshop_test.go).
		assert.InDelta(t, int64(lift), int64(f.MaxLift), 1.5*float64(f.MaxLiftU)+2*float64(f.Resolution), "seed %d: %s", seed, s.Says)

		stored := exported(t, store, id, tracefile.CSV)
		for _, format := range []tracefile.Format{tracefile.CSV, tracefile.JSONLines, tracefile.Parquet} {
			file, err := tracefile.NewReader(bytes.NewReader(exported(t, store, id, format)), tracefile.Options{})
			require.NoError(t, err)
			again, _, err := ImportFile(t.Context(), store, file, ImportOptions{Head: importHead})
			require.NoError(t, err)
			require.NoError(t, file.Close())
			assert.Equal(t, stored, exported(t, store, again, tracefile.CSV), "by %s", format)
		}
	}
}

func exported(t *testing.T, s *storage.Store, id storage.ID, f tracefile.Format) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, ExportTrace(s, id, &b, ExportOptions{Format: f}))
	return b.Bytes()
}
