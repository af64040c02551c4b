//go:build unix

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/prove"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// The built command proves simulated indicators on ttys, and keeps what it learned.
func TestProveLearnsIndicators(t *testing.T) {
	t.Parallel()
	for i, p := range []simulator.Proving{
		{Averages: 60 * measure.Millisecond, Sticks: 2 * 12700,
			Indicator: simulator.Indicator{Rate: 50}},
		{Averages: 100 * measure.Millisecond, Travel: 12 * measure.Millimetre, Out: 6 * measure.Millimetre,
			Indicator: simulator.Indicator{Rate: 100, Unit: measure.InMillimetres, Resolution: measure.Micrometre, Preload: 2 * measure.Millimetre}},
		{Sticks: 5 * measure.Micrometre,
			Indicator: simulator.Indicator{Rate: 20, Unit: measure.InMillimetres, Resolution: measure.Micrometre, Noise: 500}},
		{OneSided: true, Indicator: simulator.Indicator{Rate: 500, Unit: measure.InMillimetres, Resolution: 10 * measure.Micrometre}},
	} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			p.Seed = uint64(i) + 1
			want, err := p.Play()
			require.NoError(t, err)
			link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200"})
			require.NoError(t, err)
			ctx, stop := context.WithCancel(context.Background())
			var playing sync.WaitGroup
			playing.Go(func() {
				// Again and again: where it begins is not known. So many are plenty; who
				// has not proved it by then never does.
				defer stop()
				for range 12 {
					standsWhere(ctx, want.Indicator, link)
				}
			})
			t.Cleanup(func() {
				stop()
				playing.Wait()
				assert.NoError(t, link.Close())
			})
			data := t.TempDir()
			args := []string{"prove", link.Address(), "--data", data, "--json"}
			if p.OneSided {
				args = append(args, "--one-sided")
			}
			var got, kept prove.Proof
			require.NoError(t, json.Unmarshal(runBinaryUntil(ctx, t, args...), &got))
			step := want.Trace.Resolution
			t.Logf("%+v", got)
			assert.InDelta(t, float64(want.Hangs), float64(got.Low), float64(step+p.Sticks/2+2*p.Indicator.Noise), "what it shows at a stop, friction and all")
			assert.InDelta(t, float64(want.Home), float64(got.High), float64(step+p.Sticks/2+2*p.Indicator.Noise), "what it shows at a stop, friction and all")
			assert.Equal(t, step, got.Step)
			assert.Equal(t, 1, got.In)
			assert.InDelta(t, float64(p.Sticks), float64(got.Stick), 1.1*float64(step))
			// On a busy machine readings are stamped late by some milliseconds.
			assert.InDelta(t, p.Averages.Seconds(), got.Lag.Seconds(), max(0.2*p.Averages.Seconds(), got.LagU.Seconds(), 0.008))
			require.NoError(t, json.Unmarshal(runBinary(t, "prove", link.Address(), "--data", data, "--show", "--json"), &kept))
			assert.Equal(t, got.Travel(), kept.Travel(), "it is kept")
		})
	}
}

// standsWhere plays bytes at their times. Where the machine has stopped it for a
// moment, the spindle stood still for that long: what follows is as late, and does
// not come in a burst, in which a fall would have no time to fall.
func standsWhere(ctx context.Context, chunks []simulator.Chunk, to io.Writer) {
	started := time.Now()
	for _, c := range chunks {
		due := started.Add(time.Duration(c.At) * time.Microsecond)
		if late := time.Since(due); late > 20*time.Millisecond {
			started = started.Add(late)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Until(due)):
		}
		if _, err := to.Write(c.Bytes); err != nil {
			return
		}
	}
}
