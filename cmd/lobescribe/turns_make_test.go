package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// The set-ups of the recordings, in turn: three sound ones for two at fault.
var turnSetUps = []struct {
	name  string
	fault lift.FaultKind
	spoil func(n *simulator.Indicator, o simulator.TrueOpening, r *rand.Rand)
}{
	{name: "true"},
	{name: "slipping base", fault: lift.ZeroShift, spoil: func(n *simulator.Indicator, o simulator.TrueOpening, _ *rand.Rand) {
		n.Slips = []simulator.Slip{{At: o.Open + (o.Close-o.Open)/3, By: -200 * measure.Micrometre}}
	}},
	{name: "5 deg out of line", spoil: func(n *simulator.Indicator, _ simulator.TrueOpening, _ *rand.Rand) { n.Lean = 5 * measure.Degree }},
	{name: "spindle at its end", fault: lift.TravelEnd, spoil: func(n *simulator.Indicator, o simulator.TrueOpening, r *rand.Rand) {
		n.TravelLeft = measure.Length(float64(o.MaxLift) * (0.8 + 0.12*r.Float64()))
	}},
	{name: "true"},
	{name: "hanging free", fault: lift.NoContact, spoil: func(n *simulator.Indicator, o simulator.TrueOpening, r *rand.Rand) {
		n.NoContact = measure.Length(float64(o.MaxLift) * (0.12 + 0.12*r.Float64()))
	}},
	{name: "true"},
	{name: "cable kicked", fault: lift.Gap, spoil: func(n *simulator.Indicator, o simulator.TrueOpening, _ *rand.Rand) {
		n.Lost = []simulator.Loss{{At: o.Close + measure.Second/2, For: 2 * measure.Second}}
	}},
	{name: "true"},
	{name: "5 deg out of line", spoil: func(n *simulator.Indicator, _ simulator.TrueOpening, _ *rand.Rand) { n.Lean = 5 * measure.Degree }},
}

// turnScenario draws the i-th turn, the same each time, but for its fault.
func turnScenario(i int) simulator.Scenario {
	seed := uint64(9000 + i)
	r := rand.New(rand.NewPCG(seed, 50))
	thou := func(lo, hi int) measure.Length { return measure.Length(lo+r.IntN(hi-lo)) * measure.Thou }
	rates := []float64{20, 100, 10, 50, 5, 200, 100, 50, 20, 500}
	steps := []measure.Length{measure.Thou / 2, 10 * measure.Micrometre, measure.Thou / 20, measure.Micrometre}
	laws := []simulator.Law{simulator.Polynomial345, simulator.Cycloidal, simulator.SimpleHarmonic, simulator.ModifiedSine, simulator.Even2101214()}
	law := laws[i/2%len(laws)]
	s := simulator.Scenario{
		Seed: seed,
		Valve: simulator.Valve{Lobe: simulator.Lobe{
			Rise: law, Fall: law, Lift: thou(220, 330),
			RiseAngle: measure.Angle(58+r.IntN(16)) * measure.Degree, FallAngle: measure.Angle(58+r.IntN(20)) * measure.Degree,
			OpeningRamp: simulator.Ramp{Height: thou(5, 11)}, ClosingRamp: simulator.Ramp{Height: thou(5, 11)},
		}},
		Hand:     simulator.Hand{Style: simulator.Styles()[i%6], Speed: measure.Angle(25+r.IntN(35)) * measure.Degree},
		Openings: 2 + i%2,
	}
	n := &s.Indicator
	n.Rate, n.Resolution, n.SpindleIn = rates[i/5%len(rates)], steps[i/3%len(steps)], i%4 == 1
	n.Unit = measure.InMillimetres
	if n.Resolution%1270 == 0 {
		n.Unit = measure.InInches
	}
	n.Preload = thou(-200, 500) / n.Resolution * n.Resolution
	n.Noise = measure.Length(float64(n.Resolution) * []float64{0, 0.2, 0.5}[i%3])
	if i%3 == 2 {
		n.Jitter = 0.15
	}
	if i%7 == 3 {
		s.Hand.Rests = []simulator.Rest{{Opening: 1, Where: simulator.AtClosingHalf, For: 6 * measure.Second}}
	}
	n.Wire.Mischief.Split = []simulator.Split{simulator.WholeLines, simulator.Blocks, simulator.Ragged}[i/2%3]
	if i%2 == 0 {
		s.Encoder = &simulator.Encoder{Reversed: i%8 == 4, Start: measure.Angle(r.IntN(700)-350) * measure.Degree}
		combined := simulator.CombinedFormats()
		n.Format = combined[i/2%len(combined)]
	} else if n.Format = simulator.Formats()[i/2%len(simulator.Formats())]; n.Format.Step > 0 || n.Rate >= 200 {
		n.Format = simulator.NumberAndUnit() // a step of its own is no sound reading of a finer scale
	}
	return s
}

// recordTurn plays the i-th turn and returns its recording and its truth.
func recordTurn(t *testing.T, i int) ([]byte, turn) {
	s := turnScenario(i)
	set := turnSetUps[i%len(turnSetUps)]
	if set.spoil != nil {
		truth, err := s.Foresee()
		require.NoError(t, err)
		whole := truth.Whole()
		require.NotEmpty(t, whole)
		set.spoil(&s.Indicator, whole[0], rand.New(rand.NewPCG(s.Seed, 51)))
	}
	ses, err := s.Play()
	require.NoError(t, err)
	c := turn{
		Name: fmt.Sprintf("%02d", i+1), Seed: s.Seed, Rate: s.Indicator.Rate, Resolution: s.Indicator.Resolution,
		Hand: s.Hand.Style.String(), SetUp: set.name, Format: s.Indicator.Format.Name, Encoder: s.Encoder != nil,
		Readings: len(ses.Trace.Readings), Fault: set.fault,
	}
	for _, o := range ses.Truth.Whole() {
		w := turnOpening{Open: o.Open, Nose: o.Nose, Close: o.Close, MaxLift: o.ShownLift}
		if c.Encoder && (set.fault == "" || set.fault == lift.Gap) {
			w.OpeningHalf, w.ClosingHalf = &o.OpeningHalfAngle, &o.ClosingHalfAngle
		}
		c.Openings = append(c.Openings, w)
	}
	return recordBytes(t, ses, s.Indicator.Lost, turnQuery(s.Indicator)), c
}

// turnQuery returns what an address must say of an instrument whose lines do
// not; the rest is found by listening.
func turnQuery(n simulator.Indicator) string {
	q := "baud=115200"
	if strings.Contains(n.Format.Layout, "{count}") {
		q += "&counts=2400"
	}
	switch {
	case n.Format.WholeCounts:
		q += "&scale=" + n.Resolution.Decimal(measure.InMillimetres, 6) + "mm"
	case !n.Format.SaysUnit():
		q += "&unit=" + n.Unit.String()
	}
	return q
}

func recordBytes(t *testing.T, ses *simulator.Session, lost []simulator.Loss, query string) []byte {
	var b bytes.Buffer
	w := bytelog.NewWriter(&b, "serial:simulated?"+query+"\nplayed by the simulator; its truth is in truth.json")
	require.NoError(t, w.Mark(0, bytelog.Opened))
	for _, c := range ses.Indicator {
		for len(lost) > 0 && c.At >= lost[0].At+lost[0].For {
			require.NoError(t, w.Mark(lost[0].At, bytelog.Lost))
			require.NoError(t, w.Mark(lost[0].At+lost[0].For, bytelog.Opened))
			lost = lost[1:]
		}
		require.NoError(t, w.Bytes(c.At, c.Bytes))
	}
	require.NoError(t, w.Flush())
	return b.Bytes()
}

// With LOBESCRIBE_TURNS=write the recordings are made again. They are meant to
// stay: they show what was found in the same bytes before and after a change.
func TestMakeTurns(t *testing.T) {
	write := os.Getenv("LOBESCRIBE_TURNS") == "write"
	var turns []turn
	for i := range turnsRecorded {
		if !write && i >= 3 {
			break
		}
		text, c := recordTurn(t, i)
		again, _ := recordTurn(t, i)
		assert.Equal(t, text, again, "the same each time")
		assert.NotEmpty(t, c.Openings, c.Name)
		turns = append(turns, c)
		if !write {
			continue
		}
		f, err := os.Create(filepath.Join(turnsFolder, c.Name+".bytes.gz"))
		require.NoError(t, err)
		zip, err := gzip.NewWriterLevel(f, gzip.BestCompression)
		require.NoError(t, err)
		_, err = zip.Write(text)
		require.NoError(t, err)
		require.NoError(t, zip.Close())
		require.NoError(t, f.Close())
	}
	if write {
		text, err := json.MarshalIndent(turns, "", "\t")
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(turnsFolder, "truth.json"), append(text, '\n'), 0o644))
	}
}
