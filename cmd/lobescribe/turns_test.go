package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

const (
	turnsFolder = "../../testdata/turns"
	// So many turns are recorded: a folder that has gone empty is no success.
	turnsRecorded = 50
)

// turn is what truth.json says of one recording. Lengths are as a perfect
// indicator in the same place would show them.
type turn struct {
	Name       string         `json:"name"`
	Seed       uint64         `json:"seed"`
	Rate       float64        `json:"rate_hz"`
	Resolution measure.Length `json:"resolution_mm"`
	Hand       string         `json:"hand"`
	SetUp      string         `json:"set_up"`
	Format     string         `json:"format"`
	Encoder    bool           `json:"encoder"`
	Readings   int            `json:"readings"`
	Fault      lift.FaultKind `json:"fault,omitempty"` // that the set-up should raise
	Openings   []turnOpening  `json:"openings"`
}

type turnOpening struct {
	Open        measure.Stamp  `json:"t_open_s"`
	Nose        measure.Stamp  `json:"t_nose_s"`
	Close       measure.Stamp  `json:"t_close_s"`
	MaxLift     measure.Length `json:"max_lift_mm"`
	OpeningHalf *measure.Angle `json:"opening_half_deg,omitempty"`
	ClosingHalf *measure.Angle `json:"closing_half_deg,omitempty"`
}

func readTurns(t *testing.T) []turn {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(turnsFolder, "truth.json"))
	require.NoError(t, err)
	var turns []turn
	require.NoError(t, json.Unmarshal(text, &turns))
	require.Len(t, turns, turnsRecorded, "LOBESCRIBE_TURNS=write makes them again")
	files, err := filepath.Glob(filepath.Join(turnsFolder, "*.bytes.gz"))
	require.NoError(t, err)
	require.Len(t, files, turnsRecorded)
	return turns
}

// Fifty recordings of bytes are played through the built binary, and what it
// finds is compared with what the simulated engine did.
func TestRecordedTurns(t *testing.T) {
	t.Parallel()
	turns := readTurns(t)
	binary, err := builtBinary()
	require.NoError(t, err)
	found := make([]lift.Findings, len(turns))
	var wg sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	home := t.TempDir()
	for i, c := range turns {
		wg.Go(func() {
			slots <- struct{}{}
			defer func() { <-slots }()
			f, err := os.Open(filepath.Join(turnsFolder, c.Name+".bytes.gz"))
			if !assert.NoError(t, err) {
				return
			}
			defer f.Close()
			zip, err := gzip.NewReader(f)
			if !assert.NoError(t, err, c.Name) {
				return
			}
			text, err := io.ReadAll(zip)
			if !assert.NoError(t, err, c.Name) {
				return
			}
			cmd := exec.Command(binary, "analyse", "-", "--json", "--data", home)
			cmd.Stdin = bytes.NewReader(text)
			var complaint bytes.Buffer
			cmd.Stderr = &complaint
			out, err := cmd.Output()
			if assert.NoError(t, err, "%s: %s", c.Name, &complaint) {
				assert.NoError(t, json.Unmarshal(out, &found[i]), c.Name)
			}
		})
	}
	wg.Wait()

	openings, covered, faulty, told, held := 0, 0, 0, 0, 0
	for i, c := range turns {
		f := found[i]
		if !assert.Len(t, f.Openings, len(c.Openings), c.Name) {
			continue
		}
		for k, want := range c.Openings {
			got := f.Openings[k]
			openings++
			off := math.Abs(float64(got.MaxLift - want.MaxLift))
			if off <= float64(got.MaxLiftU) {
				covered++
			}
			assert.LessOrEqual(t, off, 2.5*float64(got.MaxLiftU), "%s, opening %d: max lift %v ± %v, truly %v", c.Name, k+1, got.MaxLift, got.MaxLiftU, want.MaxLift)
			assert.True(t, got.Nose >= want.Open && got.Nose <= want.Close, "%s, opening %d: nose at %v, truly at %v", c.Name, k+1, got.Nose, want.Nose)
			assert.InDelta(t, float64(got.MaxLift)/2, float64(got.HalfLift), 1, c.Name)
			if want.OpeningHalf == nil {
				continue
			}
			if assert.NotNil(t, got.OpeningHalf.Angle, c.Name) && assert.NotNil(t, got.ClosingHalf.Angle, c.Name) {
				most := 0.3
				if c.Rate < 50 {
					most = 1
				}
				assert.InDelta(t, want.OpeningHalf.Degrees(), got.OpeningHalf.Angle.Degrees(), most, "%s, opening %d: half lift of the opening flank", c.Name, k+1)
				assert.InDelta(t, want.ClosingHalf.Degrees(), got.ClosingHalf.Angle.Degrees(), most, "%s, opening %d: half lift of the closing flank", c.Name, k+1)
			}
		}
		if c.Fault != "" {
			faulty++
		}
		right := 0
		for _, x := range f.Faults {
			switch x.Kind {
			case c.Fault:
				right = 1
			case lift.BackTurn, lift.TooFast: // of the hand, not of the set-up
			default:
				assert.Fail(t, "a fault that the set-up does not have", "%s: %s: %s", c.Name, x.Kind, x.Says)
			}
		}
		told += right
		if right == 0 && slices.ContainsFunc(f.Held, func(h lift.Held) bool { return h.Kind == c.Fault }) {
			held++
		}
	}
	t.Logf("%d openings, %.1f of 100 within the stated uncertainty; of %d set-ups at fault %d told, and %d held in the uncertainty", openings, 100*float64(covered)/float64(openings), faulty, told, held)
	assert.GreaterOrEqual(t, openings, 100)
	assert.GreaterOrEqual(t, float64(covered), 0.93*float64(openings))
	assert.GreaterOrEqual(t, told, faulty*6/10)
	assert.GreaterOrEqual(t, told+held, faulty*9/10)
}

// The recordings are small enough to live with the code.
func TestRecordedTurnsAreSmall(t *testing.T) {
	readTurns(t)
	files, err := os.ReadDir(turnsFolder)
	require.NoError(t, err)
	sum := int64(0)
	for _, f := range files {
		info, err := f.Info()
		require.NoError(t, err)
		sum += info.Size()
	}
	assert.Less(t, sum, int64(2<<20), fmt.Sprintf("%d bytes", sum))
}
