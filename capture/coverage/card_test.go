package coverage

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// cardRows are people who read events off a degree wheel, or turned the valves
// over, and hold them against the card. What they do not tell: by how much top dead
// centre is off, which every event shares.
func cardRows() []row {
	// A cam ground as its card says and set in late by a turn; each lobe is ground to
	// a tenth of a degree. The wheel is read to 1 degree, top dead centre set to 1.2.
	type typed struct {
		late  float64
		lobes [4]float64 // how far each event of the cam itself is off its card
		a     timing.Result
	}
	ask := func(t *testing.T, r *rand.Rand) typed {
		c := typed{late: between(r, -6, 6)}
		wrong := about(r, 0, 1.2)
		card := [4]float64{-about(r, 12, 10), 180 + about(r, 44, 10), -180 - about(r, 50, 10), about(r, 6, 10)}
		var read [4]*timing.EventInput
		var said [4]*timing.EventInput
		for i, at := range card {
			c.lobes[i] = about(r, 0, 0.2)
			seen := at + c.late + c.lobes[i] + wrong + about(r, 0, 1)
			read[i], said[i] = event(i, seen), event(i, at)
		}
		in := func(i int) *timing.ValveInput {
			return &timing.ValveInput{Opens: read[i], Closes: read[i+1], TDCU: deg(1.2)}
		}
		k := func(i int) *timing.CardValveInput {
			return &timing.CardValveInput{Opens: said[i], Closes: said[i+1]}
		}
		var err error
		c.a, err = timing.Compute(timing.Request{Intake: in(0), Exhaust: in(2), Card: &timing.CardInput{Intake: k(0), Exhaust: k(2)}})
		require.NoError(t, err)
		return c
	}
	mean := func(l [4]float64) float64 { return (l[0] + l[1] + l[2] + l[3]) / 4 }
	const typedEvents = "events read off a wheel, one top dead centre"
	rows := []row{
		{"timing.card.advance_u_deg", typedEvents, func(t *testing.T, r *rand.Rand) (off, u float64) {
			c := ask(t, r)
			s := c.a.Card.Shifts[0]
			return s.Advance.Degrees() + c.late + mean(c.lobes), s.AdvanceU.Degrees()
		}, ""},
		{"timing.pair.advance_u_deg", typedEvents, func(t *testing.T, r *rand.Rand) (off, u float64) {
			c := ask(t, r)
			d := c.a.Card.Deviations
			want := -(d[0].Card+d[1].Card+d[2].Card+d[3].Card).Degrees()/4 - c.late - mean(c.lobes)
			p := c.a.Pairs[0]
			return p.Advance.Degrees() - want, p.AdvanceU.Degrees()
		}, ""},
		{"timing.card.off_u_deg", typedEvents, func(t *testing.T, r *rand.Rand) (off, u float64) {
			c := ask(t, r)
			l := c.a.Card.Lines[0]
			return l.Off.Degrees() - c.late - c.lobes[0], l.OffU.Degrees()
		}, ""},
		{"timing.card.left_over_u_deg", typedEvents, func(t *testing.T, r *rand.Rand) (off, u float64) {
			c := ask(t, r)
			d := c.a.Card.Deviations[1]
			return d.LeftOver.Degrees() - (c.lobes[1] - mean(c.lobes)), d.LeftOverU.Degrees()
		}, ""},
	}
	// A valve that was turned over, whose card says what the lobe really is.
	lifts := func(name string, pick func(l timing.CardLine) bool, want func(v through, said float64) float64) row {
		return row{name, "turned over, against the card", func(t *testing.T, r *rand.Rand) (off, u float64) {
			v := rockerOverLobe(t, r, 0, 0.5)
			trace := v.atValve(r)
			said := v.moved(v.intake.Height) + about(r, 0, 0.3) // lobe times ratio, as the card has it
			opens, closes := v.intake.Passes(1.27)
			a, err := timing.Compute(timing.Request{
				Intake: &timing.ValveInput{Trace: &trace, TDC: deg(v.tdc + v.wrong), TDCU: deg(v.tdcU), Ratio: about(r, v.rocker.ratio, 0.03*v.rocker.ratio), Lash: mm(max(0, about(r, v.lash, 0.02)))},
				Card: &timing.CardInput{Intake: &timing.CardValveInput{Opens: event(0, opens), Closes: event(1, closes),
					MaxLift: mm(said), MaxLiftAt: timing.AtValve, Gross: true}},
			})
			require.NoError(t, err)
			for _, l := range a.Card.Lines {
				if pick(l) {
					if l.More != nil {
						return l.More.Millimetres() - want(v, said), l.MoreU.Millimetres()
					}
					return l.Off.Degrees() - want(v, said), l.OffU.Degrees()
				}
			}
			t.Fatal("no such line")
			return 0, 0
		}, ""}
	}
	return append(rows,
		lifts("timing.card.off_u_mm", func(l timing.CardLine) bool { return l.More != nil }, func(v through, said float64) float64 {
			return v.moved(v.intake.Height) - said
		}),
		lifts("timing.card_curve.off_u_deg", func(l timing.CardLine) bool { return l.Line == "closes" }, func(through, float64) float64 { return 0 }),
	)
}

// event writes what a person reads, before or after its dead centre as cards count.
func event(i int, atdc float64) *timing.EventInput {
	v, w := timing.Intake, timing.Which(i%2)
	if i > 1 {
		v = timing.Exhaust
	}
	var a measure.Angle = timing.OnCard(v, w, deg(atdc))
	return timing.NewEvent(fmt.Sprintf("%.4f", a.Degrees()))
}
