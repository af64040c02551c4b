package coverage

import (
	"flag"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
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
	return slices.Concat(rockerRows(), shimRows(), timingRows(), ratioRows(), cardRows(), differenceRows(), springRows(), motionRows(), photoRows(), sweepRows(), moreRows(), restRows(), driveRows())
}

// TestMain lets more rows run at a time than there are processors: those of one case
// wait for one another, since they share what is drawn.
func TestMain(m *testing.M) {
	flag.Parse()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "test.parallel" })
	if !given {
		if err := flag.Set("test.parallel", strconv.Itoa(4*runtime.GOMAXPROCS(0))); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// few ends the name of a case whose traces cost much: by default it gets half of the
// runs.
const few = ", fewer runs"

// runs is how many engines a row draws. The bounds widen by what so few draws scatter;
// LOBESCRIBE_COVERAGE draws more, and .ci/run does before a release.
func runs(t *testing.T) int {
	n := 100
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
	for i, row := range suite() {
		if i%4 != 0 && os.Getenv("LOBESCRIBE_SUITE") != "all" && os.Getenv("LOBESCRIBE_COVERAGE") == "" {
			continue // every fourth row in half a minute; CI runs each
		}
		t.Run(row.field+"/"+row.case_, func(t *testing.T) {
			t.Parallel()
			// The same draws in every run of the suite, others for every row.
			seed := fnv.New64()
			seed.Write([]byte(row.field + row.case_))
			r := rand.New(rand.NewPCG(seed.Sum64(), 1))
			n := n
			if strings.HasSuffix(row.case_, few) && os.Getenv("LOBESCRIBE_COVERAGE") == "" {
				n /= 2
			}
			share, needed, most := tally(n, func(i int) (off, u float64) {
				off, u = row.draw(t, r)
				require.Positive(t, u, "draw %d: an uncertainty of zero is one that nobody knows", i)
				return off, u
			})
			sampling := samples(n)
			t.Logf("covered %.1f of 100; %.2f of U would have done for 95", share, needed)
			if share < 95-3-2*sampling {
				t.Errorf("covered %.1f of 100: U is too narrow by a factor of %.2f", share, needed)
			}
			// What n draws show of the width scatters as the share does: U is too wide
			// where 95 of 100 and what sampling leaves stay within half of it.
			if most < 0.5 && row.wide == "" {
				t.Errorf("U is %.1f times what is needed", 1/most)
			}
		})
	}
}

// tally draws n errors with their U: how many of 100 U covers, what share of U would
// have done for 95, and at most, as far as n draws can tell.
func tally(n int, draw func(i int) (off, u float64)) (share, needed, most float64) {
	shares := make([]float64, n) // error over U
	covered := 0
	for i := range shares {
		off, u := draw(i)
		shares[i] = math.Abs(off) / u
		if shares[i] <= 1 {
			covered++
		}
	}
	slices.Sort(shares)
	needed = shares[min(n-1, int(math.Ceil(0.95*float64(n)))-1)] // of U, to cover 95 of 100
	most = shares[min(n, int(math.Ceil((0.95+2*samples(n)/100)*float64(n))))-1]
	return 100 * float64(covered) / float64(n), needed, most
}

// samples is the standard deviation of a share of 95 of 100 over n draws.
func samples(n int) float64 { return 100 * math.Sqrt(0.95*0.05/float64(n)) }

// The suite's own counting, held to the worked examples of JCGM 101:2008, 9.2 (a sum of
// four quantities; figures from memory, the analytic ends recomputed): four normal ones
// of standard deviation 1, coverage interval of 95 of 100 +-3.92; four rectangular ones,
// +-3.88 = 2 sqrt(3) (2 - (3/5)^(1/4)), where a normal sum would say 3.92; one of the
// four ten times as wide, +-17.0, where it would say 19.9.
func TestTheCountingAgainstJCGM101(t *testing.T) {
	rectangular := func(r *rand.Rand, sd float64) float64 { return (2*r.Float64() - 1) * math.Sqrt(3) * sd }
	for _, c := range []struct {
		name string
		sum  func(r *rand.Rand) float64
		end  float64
		wide float64 // what a normal sum would say
	}{
		{"9.2.2 normal", func(r *rand.Rand) float64 {
			return r.NormFloat64() + r.NormFloat64() + r.NormFloat64() + r.NormFloat64()
		}, 3.92, 3.92},
		{"9.2.3 rectangular", func(r *rand.Rand) float64 {
			return rectangular(r, 1) + rectangular(r, 1) + rectangular(r, 1) + rectangular(r, 1)
		}, 2 * math.Sqrt(3) * (2 - math.Pow(0.6, 0.25)), 3.92},
		{"9.2.4 one of them ten times as wide", func(r *rand.Rand) float64 {
			return rectangular(r, 1) + rectangular(r, 1) + rectangular(r, 1) + rectangular(r, 10)
		}, 17.0, 19.9},
	} {
		r := rand.New(rand.NewPCG(101, 9))
		const n = 200_000 // 95 of 100 to 0.05
		share, needed, _ := tally(n, func(int) (off, u float64) { return c.sum(r), c.end })
		assert.InDelta(t, 95, share, 0.2, c.name)
		assert.InDelta(t, 1, needed, 0.005, c.name)
		_, needed, _ = tally(n, func(int) (off, u float64) { return c.sum(r), c.wide })
		assert.InDelta(t, c.end/c.wide, needed, 0.005, c.name)
	}
}

// about is a normal draw with an expanded uncertainty (k = 2).
func about(r *rand.Rand, mean, u float64) float64 { return mean + r.NormFloat64()*u/2 }

func between(r *rand.Rand, least, most float64) float64 { return least + (most-least)*r.Float64() }

const degree = math.Pi / 180

func mm(v float64) measure.Length { return measure.FromMillimetres(v) }

func deg(v float64) measure.Angle { return measure.FromDegrees(v) }
