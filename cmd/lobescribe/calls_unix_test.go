//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/simulator"
)

// ratcheted is the lift of a valve each millisecond, in millimetres: a lobe of a
// raised cosine, turned by a ratchet whose strokes end every third time with a
// back-turn of 1 to 14 degrees. The heel is turned fast, to save time.
func ratcheted(seed uint64, most float64, openings int) (lift []float64) {
	r := rand.New(rand.NewPCG(seed, 16))
	const flank = 130.0
	crank := -flank - 40
	to := func(next, speed float64) {
		n := max(int(1000*math.Abs(next-crank)/speed), 80)
		for i := 1; i <= n; i++ {
			u := (1 - math.Cos(math.Pi*float64(i)/float64(n))) / 2
			x := math.Mod(crank+(next-crank)*u+360+720, 720) - 360
			y := 0.0
			if math.Abs(x) < flank {
				y = most * (1 + math.Cos(math.Pi*x/flank)) / 2
			}
			lift = append(lift, y)
		}
		crank = next
	}
	rest := func(seconds float64) {
		for range int(1000 * seconds) {
			lift = append(lift, lift[len(lift)-1])
		}
	}
	lift = append(lift, 0)
	rest(1.5)
	for n := range openings {
		for end := 720*float64(n) + flank + 5; crank < end; {
			to(min(crank+14+20*r.Float64(), end), 80)
			rest(0.08 + 0.15*r.Float64())
			if r.IntN(3) == 0 {
				to(crank-1-13*r.Float64(), 50)
				rest(0.1)
			}
		}
		rest(1)
		if n < openings-1 {
			to(720*float64(n+1)-flank-5, 400)
		}
	}
	rest(1)
	return lift
}

// Through a tty, the built daemon and the live socket, with a hand that turns back
// on the flanks: what is called out is the truth, or is taken back; and each nose and
// the half lifts below it are called. The reading grows as the valve opens, or falls.
func TestCallsOnATTYAreTrue(t *testing.T) {
	if testing.Short() {
		t.Skip("a hand takes half a minute for three openings")
	}
	t.Parallel()
	for sign, seed := range map[float64]uint64{1: 4, -1: 7} {
		t.Run(fmt.Sprintf("sign %+g", sign), func(t *testing.T) {
			t.Parallel()
			const most, openings = 9.6, 3
			lift := ratcheted(seed, most, openings)
			link := openTTY(t, "baud=115200&format=unit-behind")
			daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--indicator", link.Address())
			heard := hearCalls(t, daemon, func() { play(t, link, lift, sign) })
			require.NoError(t, daemon.stop())

			calls, noses, halves, wrong, back := heard.judge(most, sign)
			t.Logf("%d calls in %.0f s: %d noses, %d half lifts, %d false, %d taken back", calls, float64(len(lift))/1000, noses, halves, wrong, back)
			assert.Equal(t, openings, noses)
			assert.GreaterOrEqual(t, halves, 2*(openings-1), "on each flank, once max lift is known")
			assert.LessOrEqual(t, wrong, back, "a false call is taken back")
			assert.LessOrEqual(t, wrong, 1)
		})
	}
}

// play sends fifty readings a second.
func play(t *testing.T, link *simulator.Link, lift []float64, sign float64) {
	began := time.Now()
	for ms := 0; ms < len(lift); ms += 20 {
		time.Sleep(time.Until(began.Add(time.Duration(ms) * time.Millisecond))) // the pace of an instrument
		_, err := fmt.Fprintf(link, "%.3f mm\r\n", 3+sign*lift[ms])
		require.NoError(t, err)
	}
}

// heardCalls is what a page heard: the readings and the cues.
type heardCalls struct {
	at, lift []int64 // microseconds, nanometres above the heel
	cues     []heardCue
}

type heardCue struct {
	At    float64 `json:"t_s"`
	Kind  string  `json:"kind"`
	Of    string  `json:"of"`
	Lift  int64   `json:"lift_nm"`
	Flank string  `json:"flank"`
}

// hearCalls listens while do is done, and until the last opening has settled.
func hearCalls(t *testing.T, daemon *process, do func()) *heardCalls {
	c := &crowd{TB: t, daemon: daemon}
	conn, err := c.dial(0)
	require.NoError(t, err)
	h := &heardCalls{}
	var done sync.WaitGroup
	done.Go(func() {
		for {
			_, text, err := conn.ReadMessage()
			if err != nil {
				return
			}
			switch {
			case bytes.HasPrefix(text, []byte(`{"type":"readings"`)):
				var m struct {
					At   []int64 `json:"t_us"`
					Lift []int64 `json:"lift_nm"`
				}
				assert.NoError(t, json.Unmarshal(text, &m))
				h.at, h.lift = append(h.at, m.At...), append(h.lift, m.Lift...)
			case bytes.HasPrefix(text, []byte(`{"type":"cue"`)):
				var cue heardCue
				assert.NoError(t, json.Unmarshal(text, &cue))
				h.cues = append(h.cues, cue)
			}
		}
	})
	do()
	_ = conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseNormalClosure, ""), time.Now().Add(time.Second))
	_ = conn.SetReadDeadline(time.Now().Add(2 * time.Second))
	done.Wait()
	conn.Close()
	return h
}

// judge holds the calls against the readings, which have neither noise nor fault: a
// nose is one once the lift has come to within a hundredth of the highest; half lift
// is where it is said if the valve moves no farther in a tenth of a second.
func (h *heardCalls) judge(most, sign float64) (calls, noses, halves, wrong, back int) {
	lift := func(i int) float64 { return sign * (float64(h.lift[i])/1e6 - 3) }
	for _, c := range h.cues {
		now := 0
		for now+1 < len(h.at) && float64(h.at[now+1]) <= c.At*1e6+1 {
			now++
		}
		switch c.Kind {
		case "nose":
			calls++
			top := 0.0
			for i := now; i >= 0 && lift(i) > 0.05; i-- {
				top = max(top, lift(i))
			}
			if top < 0.99*most {
				wrong++
			} else {
				noses++
			}
		case "at-half", "past-half":
			calls++
			moves := 0.0
			for i := max(now-5, 0); i <= min(now+5, len(h.at)-1); i++ {
				moves = max(moves, math.Abs(lift(i)-lift(now)))
			}
			if math.Abs(lift(now)-most/2) > moves+0.03 {
				wrong++
			} else {
				halves++
			}
		case "taken-back":
			back++
		}
	}
	return calls, noses, halves, wrong, back
}
