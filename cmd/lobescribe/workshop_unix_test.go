//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/workshop"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// Kinds that the suite plays; LOBESCRIBE_WORKSHOP=n plays n sessions of every kind.
var heardKinds = []string{"sound", "backward", "misread digit", "misread burst", "no lift", "frozen", "sticking",
	"bleeding", "cut nose", "base slips", "knock", "encoder slips"}

// What is called out over the live socket of the built daemon, with sessions of
// package workshop coming out of pseudo-ttys at their own pace: it is the truth, or
// it is called doubtful.
//
// mostFalse is how many of 100 calls of a nose or of half lift may be neither. Where
// hardly a session came in time, nothing is judged, and the test says so.
const mostFalse = 4.0

func TestCalledOutIsTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes as long as it takes to turn an engine twice")
	}
	// By itself, not beside the others: it judges only what comes in time.
	kinds, sessions, turns, longest := heardKinds, 1, 1, 20*measure.Second
	if s := os.Getenv("LOBESCRIBE_WORKSHOP"); s != "" {
		n, err := strconv.Atoi(s)
		require.NoError(t, err, "LOBESCRIBE_WORKSHOP is the number of sessions a kind")
		kinds, sessions, turns, longest = nil, n, 2, 60*measure.Second
		for _, k := range workshop.Kinds() {
			kinds = append(kinds, k.Name)
		}
	}
	require.Len(t, heardKinds, 12)
	var mu sync.Mutex
	var all, wrong, doubtful, played, judged, openings int
	began := time.Now()
	// So many daemons at a time: they follow readings as they come, and a machine that
	// is busy makes those late.
	var wg sync.WaitGroup
	slots := make(chan struct{}, 12)
	for n := range sessions {
		for i, name := range kinds {
			wg.Go(func() {
				slots <- struct{}{}
				defer func() { <-slots }()
				s := shortSession(t, name, uint64(1000*n+37*i), turns, longest)
				c := overheardLive(t, s)
				for again := 0; again < 2 && !c.intime && time.Since(began) < 30*time.Second; again++ {
					c = overheardLive(t, s)
				}
				mu.Lock()
				defer mu.Unlock()
				played++
				t.Logf("%-16s seed %d, in time %v, %s: %d calls, %d doubtful, %d false; %s", name, s.Seed, c.intime, s.Says, c.all, c.doubtful, len(c.wrong), strings.Join(c.wrong, "; "))
				if !c.intime {
					return
				}
				judged++
				all += c.all
				doubtful += c.doubtful
				wrong += len(c.wrong)
				for _, o := range s.Truth.Openings {
					if o.Whole {
						openings++
					}
				}
			})
		}
	}
	wg.Wait()
	require.Equal(t, sessions*len(kinds), played)
	if judged < 2 && os.Getenv("LOBESCRIBE_NEED_PACE") == "" {
		t.Skipf("NOT JUDGED: of %d sessions %d came in time, this machine is too busy; LOBESCRIBE_NEED_PACE=1 makes that a failure", played, judged)
	}
	require.GreaterOrEqual(t, judged, 2, "of %d sessions hardly any came in time: the machine is too busy", played)
	require.GreaterOrEqual(t, all, openings, "a nose at least for each of %d openings", openings)
	percent := 100 * float64(wrong) / float64(all)
	t.Logf("%d of %d sessions came in time: %d calls in %d openings, %d doubtful, %.1f of 100 false", judged, played, all, openings, doubtful, percent)
	assert.LessOrEqual(t, percent, mostFalse+workshop.Luck(mostFalse, all))
}

// shortSession returns the first session of a kind, from a seed on, that does not take
// long; with an encoder on every other seed.
func shortSession(t *testing.T, name string, seed uint64, turns int, longest measure.Stamp) *workshop.Session {
	for _, k := range workshop.Kinds() {
		for ; k.Name == name; seed++ {
			s := workshop.Make(name, seed, workshop.Options{Rate: 50, Openings: turns, Step: []measure.Length{1000, 10_000}[seed/2%2], Encoder: k.NeedsEncoder || seed%2 == 0})
			if r := s.Trace.Readings; r[len(r)-1].At < longest && s.Truth.Openings[0].Whole {
				return &s
			}
		}
	}
	require.Fail(t, "no kind is called "+name)
	return nil
}

type calledLive struct {
	// intime: the readings came as they were sent. On a machine that is too busy, the
	// hand that the daemon sees is not the session's.
	intime        bool
	all, doubtful int
	wrong         []string
}

// overheardLive plays a session out of pseudo-ttys into a daemon and judges what it
// says.
func overheardLive(t *testing.T, s *workshop.Session) (c calledLive) {
	link := openTTY(t, "baud=115200&format=unit-behind")
	args := []string{"serve", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--indicator", link.Address()}
	var encoder *simulator.Link
	if s.AngleStep > 0 {
		encoder = openTTY(t, "baud=115200&format=degrees")
		args = append(args, "--encoder", encoder.Address())
	}
	daemon := start(t, args...)
	heard := daemon.socket()
	send := func(i int) {
		r := s.Trace.Readings[i]
		if encoder != nil {
			_, _ = fmt.Fprintf(encoder, "%.4f\r\n", r.Angle.Degrees())
		}
		_, _ = fmt.Fprintf(link, "%.3f mm\r\n", r.Lift.Millimetres())
	}
	// The first reading again and again, until somebody hears it; then the session. The
	// last stamp before it tells which reading is the session's first.
	var before, started = 0, false
	stop := make(chan struct{})
	var playing sync.WaitGroup
	playing.Go(func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-time.After(100 * time.Millisecond):
				send(0)
			}
		}
	})
	judge := s.Calls()
	of := map[int64]int{} // reading by stamp
	came, next := 0, 0
	var late []float64
	type cue struct {
		Type     string  `json:"type"`
		At       float64 `json:"t_s"`
		Stamps   []int64 `json:"t_us"`
		Lost     int     `json:"lost"`
		Kind     string  `json:"kind"`
		Flank    string  `json:"flank"`
		Doubtful bool    `json:"doubtful"`
	}
	var calls []cue
	deadline := time.After(patience)
	played := make(chan struct{})
	// A line that is no lift at all may be passed over: then it is over when nothing
	// more comes.
	var quiet <-chan time.Time
	for over := false; !over; {
		select {
		case <-played:
			played, quiet = nil, time.After(2*time.Second)
		case <-quiet:
			over = true
		case text, ok := <-heard:
			if !assert.True(t, ok, "the daemon went away") {
				return c
			}
			var m cue
			if json.Unmarshal(text, &m) != nil {
				continue
			}
			switch m.Type {
			case "readings":
				assert.Zero(t, m.Lost)
				if !started {
					before += len(m.Stamps)
					if before < 3 {
						continue
					}
					started = true
					close(stop)
					playing.Wait()
					// One more may have been on its way: it shows the same as the first.
					done := played
					go func() {
						defer close(done)
						time.Sleep(300 * time.Millisecond)
						began := time.Now()
						for i, r := range s.Trace.Readings {
							time.Sleep(time.Until(began.Add(r.At.Duration())))
							send(i)
						}
					}()
					continue
				}
				var lifts struct {
					Raw []int64 `json:"lift_nm"`
				}
				if !assert.NoError(t, json.Unmarshal(text, &lifts)) {
					return c
				}
				for k, at := range m.Stamps {
					// What a busy machine lost on the way is passed over.
					for n := next; n < len(s.Trace.Readings); n++ {
						if int64(s.Trace.Readings[n].Lift) == lifts.Raw[k] {
							next = n + 1
							break
						}
					}
					of[at] = max(next-1, 0)
					came++
					late = append(late, float64(at)/1e6-s.Trace.Readings[max(next-1, 0)].At.Seconds())
				}
				over = next >= len(s.Trace.Readings)
			case "cue":
				calls = append(calls, m)
			}
		case <-deadline:
			t.Errorf("%s: only %d of %d readings came", s.Kind.Name, came, len(s.Trace.Readings))
			return c
		}
	}
	slices.Sort(late)
	c.intime = came > len(s.Trace.Readings)*97/100 && late[len(late)*95/100]-late[len(late)*5/100] < 0.12
	for _, m := range calls {
		i, ok := of[int64(m.At*1e6+0.5)]
		if !ok {
			continue // before the session, or of a reading on its way when the last came
		}
		right := true
		switch m.Kind {
		case "nose":
			right = judge.Nose(i)
		case "at-half", "past-half":
			right = judge.Half(i, m.Flank == "closing", m.Kind == "past-half")
		default:
			continue
		}
		c.all++
		switch {
		case m.Doubtful:
			c.doubtful++
		case !right:
			c.wrong = append(c.wrong, fmt.Sprintf("%s at %v, lift %v", m.Kind, s.Trace.Readings[i].At, s.Truth.Points[i].Lift))
		}
	}
	return c
}
