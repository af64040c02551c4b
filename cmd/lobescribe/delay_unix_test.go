//go:build unix

package main

import (
	"context"
	"encoding/json"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// The command measures, on two ports, the delay that the encoder's board adds.
func TestDelayIsMeasuredOnTwoPorts(t *testing.T) {
	t.Parallel()
	const late = 40 * measure.Millisecond
	session, err := simulator.Scenario{
		Seed: 21, Openings: 2,
		Hand:      simulator.Hand{Style: simulator.BackTurning, Speed: 60 * measure.Degree, BackTurns: 8},
		Indicator: simulator.Indicator{Rate: 100},
		Encoder:   &simulator.Encoder{Delay: late},
	}.Play()
	require.NoError(t, err)
	links := map[string]*simulator.Link{}
	ctx, stop := context.WithCancel(context.Background())
	var playing sync.WaitGroup
	for name, chunks := range map[string][]simulator.Chunk{"indicator": session.Indicator, "encoder": session.Encoder} {
		link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200"})
		require.NoError(t, err)
		links[name] = link
		playing.Go(func() { _ = simulator.PlayBytes(ctx, chunks, link, 1) })
	}
	t.Cleanup(func() {
		stop()
		playing.Wait()
		for _, l := range links {
			assert.NoError(t, l.Close())
		}
	})
	out := runBinary(t, "delay", "--indicator", links["indicator"].Address(), "--encoder", links["encoder"].Address()+"&counts=2400", "--json")
	var v struct {
		Lag     measure.Stamp `json:"lag_s"`
		U       measure.Stamp `json:"u_s"`
		Encoder string        `json:"encoder"`
	}
	require.NoError(t, json.Unmarshal(out, &v), "%s", out)
	t.Logf("lag %v, u %v, %s", v.Lag, v.U, v.Encoder)
	// The indicator is earlier by what the encoder is late. On a busy machine
	// both ports are read late by some milliseconds more or less.
	assert.InDelta(t, -late.Seconds(), v.Lag.Seconds(), 0.010)
	assert.Contains(t, v.Encoder, "delay=")
}
