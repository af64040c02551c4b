//go:build linux || darwin

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/board"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// A board at the end of a pseudo-tty, tested by the built program: its index comes
// after 2000 edges, where 2400 were said.
func TestTheBoardIsTested(t *testing.T) {
	t.Parallel()
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&counts=2400"})
	require.NoError(t, err)
	var chunks []simulator.Chunk
	say := func(body string) {
		var x byte
		for i := range len(body) {
			x ^= body[i]
		}
		chunks = append(chunks, simulator.Chunk{At: measure.Stamp(len(chunks)) * 5 * measure.Millisecond, Bytes: fmt.Appendf(nil, "$%s*%02X\r\n", body, x)})
	}
	for i, number := 0, 0; i < 1500; i, number = i+1, number+2 {
		index := ""
		if i > 0 && 200*i%2000 == 0 {
			index = "I"
		}
		say(fmt.Sprintf("%d%s,%d.00mm,%d", 200*i, index, i%9, number%256))
		say(fmt.Sprintf("%d,LOBESCRIBE BOARD %d BITS 52,%d", 200*i, board.Version, (number+1)%256))
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = simulator.PlayBytes(ctx, chunks, link, 1) // ended by stop
	}()
	t.Cleanup(func() { stop(); <-ended; link.Close() })
	var r struct {
		board.Result
		Findings []board.Finding
	}
	require.NoError(t, json.Unmarshal(runBinary(t, "board", link.Address(), "--json", "--for", "4s"), &r))
	require.NotNil(t, r.Board)
	assert.Equal(t, board.Said{Version: board.Version, Bits: 52}, *r.Board)
	require.Len(t, r.Findings, 5)
	for _, f := range r.Findings {
		assert.Equal(t, f.Part != "index", f.Good, f.Says)
	}
	assert.LessOrEqual(t, r.IndexFrom, int64(2000))
	assert.GreaterOrEqual(t, r.IndexTo, int64(2000))
}
