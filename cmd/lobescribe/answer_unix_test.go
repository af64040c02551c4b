//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// BenchmarkFirstAnswer measures what a person at the wrench waits for: from the line
// that shows that the nose is passed, and from the nose itself, to the words in a real
// browser, on the screen (in the frame after they were put there) and for the ear; and
// from half lift to the change of the tone. The simulator turns the engine at a
// pseudo-tty and says what is true; the words are those of the page. b.N is openings,
// three for each start of the daemon, of which the first is one of which nothing is
// expected:
//
//	go test ./cmd/lobescribe -run XXX -bench FirstAnswer -benchtime 30x -timeout 1h
func BenchmarkFirstAnswer(b *testing.B) {
	for _, rate := range []float64{20, 50, 100} {
		b.Run(fmt.Sprintf("%g a second", rate), func(b *testing.B) {
			screen := openScreen(b)
			var took answers
			b.ResetTimer()
			for n := 0; n < b.N; n += 3 {
				took.turn(b, screen, rate, uint64(n))
			}
			b.StopTimer()
			b.ReportMetric(0, "ns/op") // the pace is a hand's
			if b.N > 1 {               // a benchmark is tried once before
				load, _ := os.ReadFile("/proc/loadavg")
				fmt.Printf("\n%g readings a second, load %s\n", rate, bytes.TrimSpace(load))
				took.report()
			}
		})
	}
}

// watching is run in the page before its own scripts: what is drawn, spoken and
// sounded is written down with the time of this machine's clock.
const watching = `(() => {
	const log = window.__seen = [], now = () => performance.timeOrigin + performance.now();
	localStorage.setItem("lobescribe", JSON.stringify({ended: true, cautioned: true, tour: -1}));
	speechSynthesis.speak = (words) => log.push([now(), "said", words.text]);
	const set = AudioParam.prototype.setValueAtTime;
	AudioParam.prototype.setValueAtTime = function (value, at) { log.push([now(), "tone", String(value)]); return set.call(this, value, at); };
	let before = "";
	const look = () => {
		const text = (at) => document.querySelector(at)?.textContent.trim().replace(/\s+/g, " ") ?? "";
		const shows = [text(".next"), text(".giant-name"), text(".smaller")].join(" | ");
		if (shows === before) return;
		before = shows;
		requestAnimationFrame(() => log.push([now(), "screen", shows]));
	};
	document.addEventListener("DOMContentLoaded", () => new MutationObserver(look).observe(document.body, {subtree: true, childList: true, characterData: true}));
})()`

// openScreen starts a browser.
func openScreen(b *testing.B) context.Context {
	b.Helper()
	name := ""
	for _, may := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(may); err == nil && name == "" {
			name = found
		}
	}
	if name == "" {
		b.Skip("no chromium on the PATH")
	}
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(name), chromedp.NoSandbox,
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("disable-dev-shm-usage", true), chromedp.WindowSize(1200, 900))
	allocated, end := chromedp.NewExecAllocator(context.Background(), options...)
	b.Cleanup(end)
	screen, end := chromedp.NewContext(allocated)
	b.Cleanup(end)
	_, err := chromedp.Call(screen, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: watching})
	require.NoError(b, err)
	return screen
}

// seen is one thing that the page did.
type seen struct {
	at   time.Time
	what string // "screen", "said", "tone"
	says string
}

// answers are waits in milliseconds, by what was waited for.
type answers struct {
	waits map[string][]float64
	lacks map[string]int
	names []string
}

func (a *answers) add(name string, from time.Time, at time.Time) {
	if a.waits == nil {
		a.waits, a.lacks = map[string][]float64{}, map[string]int{}
	}
	if !slices.Contains(a.names, name) {
		a.names = append(a.names, name)
	}
	if at.IsZero() {
		a.lacks[name]++
		return
	}
	a.waits[name] = append(a.waits[name], at.Sub(from).Seconds()*1e3)
}

func (a *answers) report() {
	for _, name := range a.names {
		w := a.waits[name]
		if len(w) == 0 {
			fmt.Printf("%-44s none of %d\n", name, a.lacks[name])
			continue
		}
		slices.Sort(w)
		fmt.Printf("%-44s p50 %4.0f, p99 %4.0f ms, of %d, %d never\n", name, w[len(w)/2], w[len(w)*99/100], len(w), a.lacks[name])
	}
}

// turn plays three openings to a new daemon and takes the times.
func (a *answers) turn(b *testing.B, screen context.Context, rate float64, seed uint64) {
	style := []simulator.Style{simulator.Smooth, simulator.Bar, simulator.Ratchet}[seed/3%3]
	session, err := simulator.Scenario{Seed: 300 + seed, Openings: 3, Valve: simulator.BenchMule().Valves[0],
		Hand: simulator.Hand{Style: style, Speed: 120 * measure.Degree, Before: 3 * measure.Second,
			Rests: []simulator.Rest{{Opening: 3, Where: simulator.AtOpeningHalf, For: measure.Second}}}, Indicator: simulator.Indicator{Rate: rate}}.Play()
	require.NoError(b, err)
	link := openTTY(b, "baud=115200&format=unit-behind")
	defer link.Close()
	daemon := start(b, "serve", "--addr", "127.0.0.1:0", "--data", b.TempDir(), "--indicator", link.Address())
	require.NoError(b, chromedp.Do(screen, chromedp.Navigate(daemon.url)))
	require.Eventually(b, func() bool {
		there, err := chromedp.Run(screen, chromedp.Evaluate[bool](`Boolean(document.querySelector(".bench .next")) && dispatchEvent(new PointerEvent("pointerdown"))`))
		return err == nil && there
	}, patience, 50*time.Millisecond)
	cues, hangUp := a.hearCues(b, daemon)

	began := time.Now()
	require.NoError(b, simulator.PlayBytes(b.Context(), session.Indicator, link, 1))
	time.Sleep(1500 * time.Millisecond)
	log, err := chromedp.Run(screen, chromedp.Evaluate[[][3]any](`window.__seen`))
	require.NoError(b, err)
	require.NoError(b, chromedp.Do(screen, chromedp.Navigate("about:blank")))
	hangUp()
	require.NoError(b, daemon.stop())

	var events []seen
	for _, e := range log {
		at := e[0].(float64)
		events = append(events, seen{time.UnixMicro(int64(at * 1e3)), e[1].(string), e[2].(string)})
	}
	if os.Getenv("LOBESCRIBE_ANSWER_SAYS") != "" {
		for _, e := range events {
			fmt.Printf("%7.3f %s %s\n", e.at.Sub(began).Seconds(), e.what, e.says)
		}
	}
	whole := session.Truth.Whole()
	for i, o := range whole {
		until := session.Truth.End + 2*measure.Second
		if i+1 < len(whole) {
			until = whole[i+1].Open
		}
		a.judge(began, session, o, i == 0, *cues, events, began.Add(time.Duration(until)*time.Microsecond))
	}
}

// hearCues listens beside the browser: the time at which the daemon called a nose, and
// at which it told of an opening, tells its part of the wait.
func (a *answers) hearCues(b *testing.B, daemon *process) (cues *[]seen, hangUp func()) {
	conn, err := (&crowd{TB: b, daemon: daemon, query: "?delay=lowest"}).dial(0)
	require.NoError(b, err)
	cues = &[]seen{}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			_, text, err := conn.ReadMessage()
			if err != nil {
				return
			}
			var m struct{ Type, Kind string }
			if json.Unmarshal(text, &m) == nil && (m.Type == "cue" || m.Type == "opening") {
				*cues = append(*cues, seen{time.Now(), m.Type, m.Kind})
			}
		}
	}()
	return cues, func() {
		_ = conn.WriteControl(websocket.CloseMessage, nil, time.Now().Add(time.Second))
		conn.Close()
		<-done
	}
}

// judge takes the waits of one opening.
func (a *answers) judge(began time.Time, session *simulator.Session, o simulator.TrueOpening, first bool, cues, events []seen, until time.Time) {
	wall := func(at measure.Stamp) time.Time { return began.Add(time.Duration(at) * time.Microsecond) }
	nose, shown := wall(o.NoseUntil), wall(fallen(session, o, 3*session.Trace.Resolution))
	which := "later openings: "
	if first {
		// Nothing is expected, so a fall may be a hand that turns back on the flank.
		which, shown = "first opening: ", wall(fallen(session, o, backTurn(session, o)))
	}
	find := func(list []seen, from time.Time, is func(seen) bool) time.Time {
		for _, e := range list {
			if e.at.After(from) && e.at.Before(until) && is(e) {
				return e.at
			}
		}
		return time.Time{}
	}
	called := find(cues, wall(o.Open), func(e seen) bool { return e.says == "nose" })
	onScreen := find(events, wall(o.OpeningHalfAt), func(e seen) bool {
		return e.what == "screen" && (strings.HasPrefix(e.says, "Nose") || strings.HasPrefix(e.says, "Past the nose"))
	})
	said := find(events, wall(o.Open), func(e seen) bool { return e.what == "said" && strings.HasPrefix(e.says, "Nose") })
	other := func(e seen) bool { return e.what == "tone" && e.says != "660" } // 880: there; 440: past
	heel := find(events, nose, func(e seen) bool { return e.what == "screen" && strings.HasPrefix(e.says, "Heel. Max lift") })
	a.add(which+"knowable to the daemon's call", shown, called)
	a.add(which+"knowable to the sentence", shown, onScreen)
	a.add(which+"knowable to the voice", shown, said)
	if !called.IsZero() {
		a.add(which+"the daemon's call to the voice", called, said)
	}
	a.add(which+"nose to knowable", nose, shown)
	a.add(which+"nose to the sentence", nose, onScreen)
	if !first {
		a.add("half lift, opening, to the tone", wall(reached(session, o, o.OpeningHalfAt)), find(events, wall(o.Open), other))
		a.add("half lift, closing, to the tone", wall(reached(session, o, o.ClosingHalfAt)), find(events, nose, other))
	}
	a.add(which+"heel to the sentence with max lift", wall(o.Close), heel)
	// What of it is the follower's: until it holds the rest after the nose for the heel.
	settled := find(cues, nose, func(e seen) bool { return e.what == "opening" })
	maxLift := find(events, nose, func(e seen) bool { return e.what == "said" && strings.HasPrefix(e.says, "Max lift") })
	a.add(which+"heel to the daemon's opening", wall(o.Close), settled)
	if !settled.IsZero() {
		a.add(which+"the daemon's opening to the voice", settled, maxLift)
	}
	a.add(which+"heel to the voice with max lift", wall(o.Close), maxLift)
}

// fallen is when the line was sent that lies so much below the highest of the opening:
// a nose may be known from then on, and not before.
func fallen(session *simulator.Session, o simulator.TrueOpening, by measure.Length) measure.Stamp {
	highest := measure.Length(0)
	for _, line := range session.IndicatorLines {
		if line.At < o.Open {
			continue
		}
		lift := max(session.Trace.Readings[line.Reading].Lift-o.Heel, o.Heel-session.Trace.Readings[line.Reading].Lift)
		highest = max(highest, lift)
		if line.At > o.NoseUntil && lift <= highest-by {
			return line.At
		}
	}
	return o.Close
}

// backTurn is the most that a hand takes off the lift by turning back: 20 degrees, the
// longest that the simulator's hands make, where the flank is steepest.
func backTurn(session *simulator.Session, o simulator.TrueOpening) (most measure.Length) {
	at := map[measure.Angle]measure.Length{} // lift by the whole degree
	for t := o.Open; t < o.Close; t += measure.Millisecond {
		at[session.Truth.CrankAt(t)/measure.Degree] = session.Truth.LiftAt(t)
	}
	for deg, lift := range at {
		if back, ok := at[deg+20]; ok {
			most = max(most, lift-back, back-lift)
		}
	}
	return most
}

// reached is when the line was sent that is the first at or beyond half lift, or within
// the thousandth of an inch in which the tone stands.
func reached(session *simulator.Session, o simulator.TrueOpening, half measure.Stamp) measure.Stamp {
	for _, line := range session.IndicatorLines {
		at := session.Trace.Readings[line.Reading].At
		left := session.Truth.LiftAt(at) - o.MaxLift/2
		if near := max(left, -left) <= 25_400; line.At > o.Open && (near && max(at-half, half-at) < measure.Second || at >= half) {
			return line.At
		}
	}
	return half
}
