package lift_test

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
	"lobescribe/simulator"
)

var (
	matrixRates  = []float64{5, 10, 20, 50, 100, 500}
	matrixSteps  = []measure.Length{1270, 1000, 12_700, 10_000}
	matrixSetups = []setup{asItShould, leaning, slippingBase, spindleEnd, hangingFree, cableKicked}
)

// cell returns the i-th cell of the matrix; with and without an encoder in turn.
func cell(i int) kind {
	hands := simulator.Styles()
	k := kind{rate: matrixRates[i%6], step: matrixSteps[i/6%4], hand: hands[i/24%len(hands)]}
	i /= 24 * len(hands)
	k.setup = matrixSetups[i%len(matrixSetups)]
	k.encoder = i/len(matrixSetups)%2 == 0
	return k
}

func numberOfCells() int {
	return 24 * len(simulator.Styles()) * len(matrixSetups) * 2
}

// The accuracy matrix: rate x resolution x hand x set-up, with and without an
// encoder. The short form plays one session a cell and prints totals along each axis;
// with LOBESCRIBE_MATRIX=full there are 200 a cell, and each cell is printed.
func TestMatrix(t *testing.T) {
	runs, full := 1, os.Getenv("LOBESCRIBE_MATRIX") == "full"
	if full {
		runs = 200
	}
	if testing.Short() {
		t.Skip("the matrix takes half a minute")
	}
	groups := map[string]*tally{}
	population(numberOfCells()*runs, func(i int) (kind, uint64) {
		return cell(i % numberOfCells()), uint64(i) + 1_000_000
	}, analysed, func(k kind, o outcome) {
		axis := "without encoder"
		if k.encoder {
			axis = "with encoder"
		}
		sound := k.setup == asItShould || k.setup == leaning
		names := []string{"set-up  " + string(k.setup) + ", " + axis}
		if sound {
			names = append(names,
				fmt.Sprintf("rate    %3.0f Hz, %v, %s", k.rate, k.step.In(unitOf(k.step)), axis),
				fmt.Sprintf("hand    %v, %s", k.hand, axis),
				"sound   "+axis)
		}
		if full {
			names = append(names, fmt.Sprintf("cell    %3.0f Hz, %v, %v, %s, %s", k.rate, k.step.In(unitOf(k.step)), k.hand, k.setup, axis))
		}
		for _, name := range names {
			if groups[name] == nil {
				groups[name] = &tally{}
			}
			groups[name].add(o)
		}
	})
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		t.Logf("%-48s %v", name, groups[name])
	}
	for name, g := range groups {
		enc := strings.HasSuffix(name, "with encoder")
		switch {
		case strings.HasPrefix(name, "sound"):
			assert.LessOrEqual(t, float64(g.missed+g.invented)/float64(g.whole), 0.004, name)
			assert.InDelta(t, 95, g.coverage(), 4, name)
			assert.LessOrEqual(t, share(g.false, g.runs), 0.02, name)
			if enc {
				assert.LessOrEqual(t, quantile(g.angles, 0.95), 0.2, name)
			}
		case strings.HasPrefix(name, "set-up") && wants[setupIn(name)] != "":
			least := 0.6
			if enc {
				least = 0.88
			}
			assert.GreaterOrEqual(t, share(g.found, g.runs), least, name)
		}
	}
}

func setupIn(name string) setup {
	name = strings.TrimSpace(strings.TrimPrefix(name, "set-up"))
	return setup(name[:strings.LastIndex(name, ",")])
}

func share(n, of int) float64 { return float64(n) / float64(max(of, 1)) }
