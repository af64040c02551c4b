package capture

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/workshop"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// calls is what the calls of some sessions came to.
type calls struct {
	sessions                int
	noses, falseNoses       int // called
	halves, falseHalves     int
	inTime                  int // half lifts called within what the valve moves in 100 ms
	taken, falseAndTaken    int
	wholes, found           int       // openings from heel to heel; those whose nose was called
	late                    []float64 // seconds from leaving the nose, second and later openings
	closings, closingsFound int       // closing flanks of second and later openings; those with half lift called
	odd                     []string
}

func (c *calls) add(o calls) {
	c.sessions += o.sessions
	c.noses, c.falseNoses = c.noses+o.noses, c.falseNoses+o.falseNoses
	c.halves, c.falseHalves = c.halves+o.halves, c.falseHalves+o.falseHalves
	c.inTime += o.inTime
	c.taken, c.falseAndTaken = c.taken+o.taken, c.falseAndTaken+o.falseAndTaken
	c.wholes, c.found = c.wholes+o.wholes, c.found+o.found
	c.closings, c.closingsFound = c.closings+o.closings, c.closingsFound+o.closingsFound
	c.late = append(c.late, o.late...)
	if len(c.odd) < 12 {
		c.odd = append(c.odd, o.odd...)
	}
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }

func (c *calls) p95() float64 {
	if len(c.late) == 0 {
		return 0
	}
	slices.Sort(c.late)
	return c.late[len(c.late)*95/100]
}

const callsHead = "sessions  noses  false %  called of 100  late p50  p95 s | halves  false %  in time of 100  closing found of 100 | taken back (of false)"

func (c *calls) String() string {
	p95, p50 := c.p95(), 0.0
	if len(c.late) > 0 {
		p50 = c.late[len(c.late)/2]
	}
	return fmt.Sprintf("%8d %6d %8.2f %14.1f %9.2f %6.2f | %6d %8.2f %15.1f %21.1f | %d (%d)", c.sessions, c.noses, percent(c.falseNoses, c.noses),
		percent(c.found, c.wholes), p50, p95, c.halves, percent(c.falseHalves, c.halves), percent(c.inTime, c.halves), percent(c.closingsFound, c.closings), c.taken, c.falseAndTaken)
}

// passage is a stretch of the truth off the heel, in milliseconds.
type passage struct {
	from, to      int // to is where the next may begin
	reached, left int // at the nose first; below it first, after; -1
	half          int // where the closing flank passes half lift last
	whole, called bool
	halfCalled    bool
}

// passages finds them. So near the nose counts as there: half of one in a hundred,
// by which neither max lift nor half lift is another.
func (p *played) passages() (all []passage) {
	const off = 0.02
	near := p.most * 0.995
	band := max(2*p.step, 4*p.noise*p.step, 0.01)
	for i := 0; i < len(p.lift); i++ {
		if p.lift[i] <= off {
			continue
		}
		q := passage{from: i, reached: -1, left: -1, half: -1}
		for ; i < len(p.lift) && p.lift[i] > off; i++ {
			if q.reached < 0 && p.lift[i] >= near {
				q.reached = i
			}
			if p.lift[i] >= p.most-1e-4 {
				q.left = 0 // stood on the nose
			}
			if q.left == 0 && p.lift[i] < p.most-band {
				q.left = i
			}
			if q.reached > 0 && p.lift[i-1] > p.most/2 && p.lift[i] <= p.most/2 {
				q.half = i
			}
		}
		q.whole = q.from > 0 && i < len(p.lift) && q.left > 0
		q.to = len(p.lift)
		if len(all) > 0 {
			all[len(all)-1].to = q.from
		}
		all = append(all, q)
	}
	return all
}

// judgeCalls follows a session and holds each call against the truth.
func judgeCalls(p played, o FollowerOptions) (c calls) {
	c.sessions = 1
	all := p.passages()
	at := func(ms int) int {
		k := -1
		for i, q := range all {
			if q.from <= ms {
				k = i
			}
		}
		return k
	}
	odd := func(cue Cue, why string, args ...any) {
		c.odd = append(c.odd, fmt.Sprintf("%s %.3f s %s: ", p.says, cue.At.Seconds(), cue.Kind)+fmt.Sprintf(why, args...))
	}
	highest := func(from, to int) float64 {
		most := 0.0
		for _, r := range p.readings {
			if ms := int(r.At / measure.Millisecond); ms >= from && ms <= to {
				most = max(most, p.lift[ms])
			}
		}
		return most
	}
	falseNose, falseHalf := false, false
	f := NewFollower(o)
	var said []Message
	var interval []int
	for i, r := range p.readings {
		said = f.Step(said, r)
		for len(interval) < len(cues(said)) {
			interval = append(interval, int((r.At-p.readings[max(i-1, 0)].At)/measure.Millisecond))
		}
	}
	for i, cue := range cues(said) {
		since := interval[i]
		ms := int(cue.At / measure.Millisecond)
		k := at(ms)
		switch cue.Kind {
		case NoseReached:
			c.noses++
			falseNose = false
			if k > 0 && p.lift[ms] < 0.05*p.most && all[k].reached < 0 {
				k-- // home again, and a little off the heel already
			}
			switch {
			case k < 0 || all[k].reached < 0 || all[k].reached > ms:
				falseNose = true
				odd(cue, "at %.3f of %.3f mm", p.lift[ms], p.most)
			case !cue.Doubtful && math.Abs(float64(cue.Lift)/1e6-p.most) > 0.03*p.most+2*p.step+p.most-highest(all[k].from, ms):
				falseNose = true
				odd(cue, "says %.3f of %.3f mm", float64(cue.Lift)/1e6, p.most)
			default:
				q := &all[k]
				if q.whole && !q.called && k > 0 && slices.ContainsFunc(all[:k], func(q passage) bool { return q.whole }) {
					c.late = append(c.late, max(float64(ms-q.left)/1000, 0))
				}
				q.called = true
			}
			if falseNose {
				c.falseNoses++
			}
		case AtHalf, PastHalf:
			c.halves++
			moves, crossed := 0.0, false
			for i := max(ms-max(100, since*3/2), 0); i <= min(ms+100, len(p.lift)-1); i++ {
				if i >= ms-100 {
					moves = max(moves, math.Abs(p.lift[i]-p.lift[ms]))
				}
				crossed = crossed || i < ms && (p.lift[i] > p.most/2) != (p.lift[ms] > p.most/2)
			}
			off, blur := p.lift[ms]-p.most/2, 2*p.step+0.025+2*p.noise*p.step+0.005*p.most
			inTime := math.Abs(off) <= moves+blur
			if inTime {
				c.inTime++
			}
			// At half lift it must be there; past it, by as much as is said, and just now.
			falseHalf = !inTime && (cue.Kind == AtHalf || !crossed || math.Abs(math.Abs(off)-math.Abs(float64(cue.ToGo)/1e6)) > blur)
			if falseHalf {
				c.falseHalves++
				odd(cue, "at %.3f of %.3f mm, %v, to go %.3f", p.lift[ms], p.most, cue.Flank, float64(cue.ToGo)/1e6)
			} else if k >= 0 && cue.Flank == OnClosing {
				all[k].halfCalled = true
			}
		case TakenBack:
			c.taken++
			if cue.Of == NoseReached && falseNose || cue.Of == AtHalf && falseHalf {
				c.falseAndTaken++
			}
		}
	}
	before := false
	for _, q := range all {
		if q.whole {
			c.wholes++
			if q.called {
				c.found++
			} else {
				c.odd = append(c.odd, fmt.Sprintf("%s: no call of the nose at %.3f s", p.says, float64(q.reached)/1000))
			}
		}
		if q.whole && before && q.half > 0 {
			c.closings++
			if q.halfCalled {
				c.closingsFound++
			}
		}
		before = before || q.whole
	}
	return c
}

// fromWorkshop plays a session of the workshop.
func fromWorkshop(kind string, seed uint64, encoder bool) played {
	s := workshop.Make(kind, seed, workshop.Options{Encoder: encoder})
	p := played{readings: s.Trace.Readings, step: s.Step.Millimetres(), noise: 1, says: fmt.Sprintf("workshop %s %d: %s", kind, seed, s.Says)}
	p.sample(s.Truth.LiftAt)
	return p
}

// sample takes the truth of each millisecond.
func (p *played) sample(lift func(measure.Stamp) measure.Length) {
	for ms := measure.Stamp(0); ms <= p.readings[len(p.readings)-1].At+measure.Second; ms += measure.Millisecond {
		p.lift = append(p.lift, lift(ms).Millimetres())
		p.most = max(p.most, p.lift[len(p.lift)-1])
	}
}

// fromSimulator plays one of the simulator's hands.
func fromSimulator(t *testing.T, seed uint64, encoder bool) played {
	rates, steps := []float64{5, 10, 20, 50, 100}, []measure.Length{1000, 2540, 10_000, 12_700, 25_400}
	s := simulator.Scenario{Seed: seed, NoWire: true,
		Hand:      simulator.Hand{Style: simulator.Styles()[seed%6], Stops: float64(seed % 4 / 2)},
		Indicator: simulator.Indicator{Rate: rates[seed/6%5], Resolution: steps[seed/30%5], SpindleIn: seed%2 == 0}}
	s.Indicator.Noise = s.Indicator.Resolution * measure.Length(seed%3) / 2
	if seed%5 == 0 {
		s.Hand.StartFromNose = 680*measure.Degree + measure.Angle(seed%80)*measure.Degree
	}
	if encoder {
		s.Encoder = &simulator.Encoder{}
	}
	ses := session(t, s)
	p := played{readings: ses.Trace.Readings, step: s.Indicator.Resolution.Millimetres(), noise: 1, says: fmt.Sprintf("simulator %v %d at %.0f", s.Hand.Style, seed, s.Indicator.Rate)}
	p.sample(ses.Truth.LiftAt)
	return p
}

// What is called out while the engine turns, over hands that do what hands do:
// LOBESCRIBE_CALLS=500 go test ./capture -run CallsAreTrue -v plays so many sessions
// of each and prints the table.
func TestCallsAreTrue(t *testing.T) {
	n := 20
	if s := os.Getenv("LOBESCRIBE_CALLS"); s != "" {
		var err error
		n, err = strconv.Atoi(s)
		require.NoError(t, err)
	}
	type source struct {
		name string
		play func(seed uint64, encoder bool) played
	}
	var sources []source
	for i, w := range wrenches {
		sources = append(sources, source{w.name, func(seed uint64, encoder bool) played { return playWrench(seed, i, encoder) }})
	}
	for _, kind := range []string{"sound", "backward", "warm drift"} {
		sources = append(sources, source{"workshop: " + kind, func(seed uint64, encoder bool) played { return fromWorkshop(kind, seed, encoder) }})
	}
	sources = append(sources, source{"simulator", func(seed uint64, encoder bool) played { return fromSimulator(t, seed, encoder) }})
	t.Logf("%-55s %s", "", callsHead)
	for _, encoder := range []bool{false, true} {
		total := calls{}
		for _, s := range sources {
			sum := playCalls(n, func(seed uint64) played { return s.play(seed, encoder) })
			name := s.name
			if encoder {
				name += ", encoder"
			}
			t.Logf("%-55s %v", name, &sum)
			if testing.Verbose() && len(sum.odd) > 0 && os.Getenv("LOBESCRIBE_CALLS_ODD") != "" {
				t.Log("  " + strings.Join(sum.odd, "\n  "))
			}
			assert.LessOrEqual(t, percent(sum.falseNoses, sum.noses), 1+workshop.Luck(1, sum.noses), "noses called falsely: %s", name)
			assert.LessOrEqual(t, percent(sum.falseHalves, sum.halves), 1+workshop.Luck(1, sum.halves), "half lifts called falsely: %s", name)
			assert.GreaterOrEqual(t, percent(sum.found, sum.wholes), 98-workshop.Luck(98, sum.wholes), "noses called: %s", name)
			total.add(sum)
		}
		t.Logf("%-55s %v", "all", &total)
		require.Greater(t, total.wholes, 10*n)
		require.Greater(t, total.closings, 5*n)
		assert.LessOrEqual(t, percent(total.falseNoses, total.noses), 1.0, "noses called falsely")
		assert.LessOrEqual(t, percent(total.falseHalves, total.halves), 1.0, "half lifts called falsely")
		assert.GreaterOrEqual(t, percent(total.found, total.wholes), 98.0, "noses called")
		assert.GreaterOrEqual(t, percent(total.closingsFound, total.closings), 98.0, "half lifts called")
		assert.LessOrEqual(t, total.p95(), 0.4, "seconds after leaving the nose")
	}
}

// playCalls plays sessions 0 to n-1 of a source.
func playCalls(n int, play func(seed uint64) played) (sum calls) {
	all := make([]calls, n)
	var work sync.WaitGroup
	for part := range 2 {
		work.Go(func() {
			for i := part; i < n; i += 2 {
				all[i] = judgeCalls(play(uint64(i)), FollowerOptions{})
			}
		})
	}
	work.Wait()
	for _, c := range all {
		sum.add(c)
	}
	return sum
}
