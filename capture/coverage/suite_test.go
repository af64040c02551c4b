package coverage

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// row is one uncertainty under trial.
type row struct {
	field string // as in "shims.wanted_u_mm"
	case_ string // which person at which engine
	// draw makes one engine and asks: how far off was the figure, and its U?
	draw func(t *testing.T, r *rand.Rand) (off, u float64)
	// wide says why U may be wider than twice what is needed here; empty if it
	// may not.
	wide string
}

// suite are the rows of every file.
func suite() []row {
	return slices.Concat(rockerRows(), shimRows(), timingRows(), ratioRows(), cardRows(), differenceRows(), springRows(), motionRows(), photoRows(), sweepRows(), moreRows(), restRows())
}

func runs(t *testing.T) int {
	n := 200
	if testing.Short() {
		n = 60
	}
	if text := os.Getenv("LOBESCRIBE_COVERAGE"); text != "" {
		var err error
		n, err = strconv.Atoi(text)
		require.NoError(t, err, "LOBESCRIBE_COVERAGE")
		require.Positive(t, n)
	}
	return n
}

func TestEveryUncertaintyCovers(t *testing.T) {
	n := runs(t)
	for _, row := range suite() {
		t.Run(row.field+"/"+row.case_, func(t *testing.T) {
			t.Parallel()
			// The same draws in every run of the suite, others for every row.
			seed := fnv.New64()
			seed.Write([]byte(row.field + row.case_))
			r := rand.New(rand.NewPCG(seed.Sum64(), 1))
			shares := make([]float64, n) // error over U
			covered := 0
			for i := range shares {
				off, u := row.draw(t, r)
				require.Positive(t, u, "draw %d: an uncertainty of zero is one that nobody knows", i)
				shares[i] = math.Abs(off) / u
				if shares[i] <= 1 {
					covered++
				}
			}
			slices.Sort(shares)
			share := 100 * float64(covered) / float64(n)
			needed := shares[min(n-1, int(math.Ceil(0.95*float64(n)))-1)] // of U, to cover 95 of 100
			t.Logf("covered %.1f of 100; %.2f of U would have done for 95", share, needed)
			sampling := 100 * math.Sqrt(0.95*0.05/float64(n))
			if share < 95-3-2*sampling {
				t.Errorf("covered %.1f of 100: U is too narrow by a factor of %.2f", share, needed)
			}
			// What n draws show of the width scatters as the share does: U is too wide
			// where 95 of 100 and what sampling leaves stay within half of it.
			most := shares[min(n, int(math.Ceil((0.95+2*sampling/100)*float64(n))))-1]
			if most < 0.5 && row.wide == "" {
				t.Errorf("U is %.1f times what is needed", 1/most)
			}
		})
	}
}

// about is a normal draw with an expanded uncertainty (k = 2).
func about(r *rand.Rand, mean, u float64) float64 { return mean + r.NormFloat64()*u/2 }

func between(r *rand.Rand, least, most float64) float64 { return least + (most-least)*r.Float64() }

const degree = math.Pi / 180

func mm(v float64) measure.Length { return measure.FromMillimetres(v) }

func deg(v float64) measure.Angle { return measure.FromDegrees(v) }
