//go:build unix

package main

import (
	"context"
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/rocker/sweep"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// The stand that the program asks for after one turn against the tip and one
// reference pass puts the simulator's rocker square within 0.05 mm: from bytes on
// three ttys over the live path and the store to the answer. LOBESCRIBE_SWEEPS is
// how many engines, one by default; the arithmetic alone is held to 300 in
// capture/coverage.
func TestSweepPutsTheRockerSquare(t *testing.T) {
	t.Parallel()
	n, _ := strconv.Atoi(os.Getenv("LOBESCRIBE_SWEEPS"))
	for seed := range uint64(max(n, 1)) {
		chance := rand.New(rand.NewPCG(seed, 0))
		bench := sweptBench(t, seed, chance)
		data := t.TempDir()
		addresses := []string{"--indicator", bench.live.Indicator.Address(), "--sweep", bench.live.Sweep.Address()}
		record := func(more ...string) {
			runBinary(t, append(append([]string{"record", "--openings", "1", "--save", "--data", data}, addresses...), more...)...)
		}
		heard := string(runBinary(t, "listen", "-n", "3", "--role", "sweep", bench.live.Sweep.Address()))
		assert.Equal(t, 3, strings.Count(heard, `"sweep_mm":`), heard)
		assert.NotContains(t, heard, "lift_mm", "what a gauge across the stem reads is no lift")
		record()
		require.NoError(t, bench.live.Lay(true))
		record("--against", "side")
		bench.holdsUp(t, runBinary(t, append(toldOfTheMule(), "--turn", "1", "--json", "--data", data)...))
	}
}

// One indicator is enough with an encoder: it stands on the valve in the first turn
// and across the stem in the others, which the daemon records; the answer is asked of
// the daemon while it runs.
func TestSweepByOneIndicatorThatIsMoved(t *testing.T) {
	t.Parallel()
	bench := sweptBench(t, 77, rand.New(rand.NewPCG(77, 0)))
	data := t.TempDir()
	encoder := bench.live.Encoder.Address() + "&counts=2400"
	runBinary(t, "record", "--openings", "1", "--save", "--data", data, "--indicator", bench.live.Indicator.Address(), "--encoder", encoder)
	across := func(against storage.Against) (*process, storage.ID) {
		p := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--sweep", bench.live.Sweep.Address(), "--encoder", encoder)
		p.send(http.MethodPut, "/api/v1/bench", map[string]any{"against": against})
		var id storage.ID
		require.Eventually(t, func() bool { // more than a whole cycle
			var list []storage.Summary
			p.get("/api/v1/traces", &list)
			for _, x := range list {
				if x.Against == against && x.HasSweep && x.Seconds > 13*measure.Second {
					id = x.ID
				}
			}
			return id != 0
		}, patience, 200*time.Millisecond)
		p.send(http.MethodPost, "/api/v1/trace/end", nil)
		return p, id
	}
	p, turn := across(storage.AgainstTip)
	require.NoError(t, p.stop())
	require.NoError(t, bench.live.Lay(true))
	_, side := across(storage.AgainstSide)
	bench.holdsUp(t, runBinary(t, append(toldOfTheMule(), "--turn", turn.String(), "--reference", side.String(), "--json", "--data", data)...))
}

// toldOfTheMule is what changes full lift when a stand is raised and no gauge
// across the stem sees: the mule's bend and its pushrods' lean. The 300 of
// capture/coverage are told them too.
func toldOfTheMule() []string {
	return []string{"calc", "sweep", "--bend", "8 deg", "--lean", "4 deg"}
}

type swept struct {
	live  *simulator.Live
	valve simulator.Valve
}

// sweptBench is an engine whose rocker stands anywhere, turned in its own time: what
// a busy machine reads late moves the lift by its speed.
func sweptBench(t *testing.T, seed uint64, chance *rand.Rand) swept {
	engine := simulator.BenchMule()
	valve, err := engine.Valves[chance.IntN(8)].Raised(measure.FromMillimetres(4 * (chance.Float64() - 0.5)))
	require.NoError(t, err)
	engine.Valves = []simulator.Valve{valve}
	bench, err := simulator.NewBench(simulator.BenchOptions{Seed: seed, Engine: engine,
		Hands:     []simulator.Hand{{Style: simulator.Smooth, Speed: 60 * measure.Degree}},
		Indicator: simulator.Indicator{Rate: 100, Unit: measure.InMillimetres, Resolution: measure.Micrometre, Noise: measure.Micrometre},
		Sweep: &simulator.SweepGauge{Gauge: simulator.Indicator{Rate: 100, Unit: measure.InMillimetres, Resolution: measure.Micrometre, Noise: measure.Micrometre},
			Tilt: measure.FromDegrees(4 * (chance.Float64() - 0.5)), Inwards: chance.IntN(2) == 0,
			RollerRunOut: 8 * measure.Micrometre, RunOut: 20 * measure.Micrometre, Turns: 12 * measure.Degree,
			Taper: measure.FromDegrees(0.02 * chance.NormFloat64()), Phase: measure.Angle(chance.IntN(360)) * measure.Degree}})
	require.NoError(t, err)
	live, err := simulator.Serve(context.Background(), bench, simulator.ServeOptions{Speed: 1})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, live.Close()) })
	return swept{live, valve}
}

// holdsUp raises the simulator's stand as the answer says and looks how far its
// rocker then stands off square at half lift.
func (b swept) holdsUp(t *testing.T, out []byte) {
	var a sweep.Answer
	require.NoError(t, json.Unmarshal(out, &a), "%s", out)
	truth, err := b.valve.SquareAt()
	require.NoError(t, err)
	raised, err := b.valve.Raised(a.Raise)
	require.NoError(t, err)
	square, err := raised.SquareAt()
	require.NoError(t, err)
	lift, err := raised.MaxLift()
	require.NoError(t, err)
	off := square - lift/2
	t.Logf("scatter %v, square at %v ± %v, truly %v; after raising by %v ± %v off by %v; gauge %v ± %v", a.Scatter, a.SquareAt, a.SquareAtU, truth, a.Raise, a.RaiseU, off, a.Tilt, a.TiltU)
	assert.Less(t, off.Abs(), 50*measure.Micrometre)
	assert.Less(t, (a.SquareAt - truth).Abs(), 2*a.SquareAtU)
}
