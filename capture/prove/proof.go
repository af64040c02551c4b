package prove

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"lobescribe/device/measure"
)

// Proof is what is known of one indicator. The zero value is one that was never
// proved. Uncertainties are expanded, k = 2.
//
// Its JSON form has lengths in millimetres, spans of time in milliseconds, and
// travel_mm and proved beside what stands in the fields.
type Proof struct {
	// Low and High are the readings at the two stops, Low < High, in the zero
	// that the indicator has now; StopU is the uncertainty of either.
	Low, High, StopU measure.Length
	// In is +1 where the reading grows as the spindle goes in, so that it hangs
	// at Low and is home at High; -1 where it hangs at High.
	In int
	// Loose says that the indicator's zero was lost since, so that Low and High
	// hold as a travel and no longer as readings.
	Loose bool
	// Repeat is what readings at one place differ by when the spindle comes to
	// it from the same side, Stick when it comes from either side, each at most.
	Repeat, Stick measure.Length
	// OneSided says that the spindle never came from the other side, so that
	// Stick is no more than Repeat and says nothing of the play between them.
	OneSided bool
	// Lag is by how much the figure is behind the spindle while that moves
	// steadily: the mean of the time over which the indicator averages. Where it
	// cannot be learned, LagU alone says how long it may be.
	Lag, LagU measure.Stamp
	// Refresh is how long the figure stands before it changes while the spindle
	// moves; one reading's time where each reading is a new one.
	Refresh measure.Stamp
	// Step is the least step of the figure, Rate the readings a second.
	Step measure.Length
	Rate float64
	// When is the wall clock time of the proof.
	When time.Time
	// Unlearned says for each thing that could not be learned why, in a sentence.
	Unlearned []string
}

// IsZero says whether the indicator was never proved.
func (p Proof) IsZero() bool { return p.Low == 0 && p.High == 0 && p.When.IsZero() }

// Proved says whether the indicator was proved.
func (p Proof) Proved() bool { return !p.IsZero() }

// Travel returns the distance between the stops, 0 when not proved.
func (p Proof) Travel() measure.Length { return p.High - p.Low }

// Stops returns the readings at the two stops; ok is false while they are not
// known: not proved, or the indicator's zero was lost.
func (p Proof) Stops() (low, high measure.Length, ok bool) {
	return p.Low, p.High, p.Proved() && !p.Loose
}

// Left returns how far the spindle can still go at a reading: down to Low and
// up to High. ok is as in [Proof.Stops].
func (p Proof) Left(at measure.Length) (down, up measure.Length, ok bool) {
	low, high, ok := p.Stops()
	if !ok {
		return 0, 0, false
	}
	return max(0, at-low), max(0, high-at), true
}

// Shifted returns the proof after a re-zero that changed every reading by by.
func (p Proof) Shifted(by measure.Length) Proof {
	if p.Proved() {
		p.Low += by
		p.High += by
	}
	return p
}

// Lost returns the proof after the indicator's zero was lost.
func (p Proof) Lost() Proof {
	p.Loose = p.Proved()
	return p
}

// wire is the JSON form.
type wire struct {
	Proved    bool           `json:"proved"`
	Low       measure.Length `json:"low_mm"`
	High      measure.Length `json:"high_mm"`
	StopU     measure.Length `json:"stop_u_mm"`
	Travel    measure.Length `json:"travel_mm"`
	In        int            `json:"in"`
	Loose     bool           `json:"loose,omitempty"`
	Repeat    measure.Length `json:"repeat_mm"`
	Stick     measure.Length `json:"stick_mm"`
	OneSided  bool           `json:"one_sided,omitempty"`
	Lag       milliseconds   `json:"lag_ms"`
	LagU      milliseconds   `json:"lag_u_ms"`
	Refresh   milliseconds   `json:"refresh_ms"`
	Step      measure.Length `json:"step_mm"`
	Rate      float64        `json:"rate_hz"`
	When      time.Time      `json:"when"`
	Unlearned []string       `json:"unlearned,omitempty"`
}

// milliseconds is a span of time as it stands in JSON, exact to the microsecond.
type milliseconds float64

func inMS(t measure.Stamp) milliseconds {
	return milliseconds(float64(t) / float64(measure.Millisecond))
}

func (m milliseconds) stamp() measure.Stamp {
	v := float64(m) * float64(measure.Millisecond)
	if v < 0 {
		return measure.Stamp(v - 0.5)
	}
	return measure.Stamp(v + 0.5)
}

// MarshalJSON writes the proof; one that is none as {"proved":false}.
func (p Proof) MarshalJSON() ([]byte, error) {
	if p.IsZero() {
		return []byte(`{"proved":false}`), nil
	}
	return json.Marshal(wire{Proved: true, Low: p.Low, High: p.High, StopU: p.StopU, Travel: p.Travel(), In: p.In,
		Loose: p.Loose, Repeat: p.Repeat, Stick: p.Stick, OneSided: p.OneSided, Lag: inMS(p.Lag), LagU: inMS(p.LagU),
		Refresh: inMS(p.Refresh), Step: p.Step, Rate: p.Rate, When: p.When, Unlearned: p.Unlearned})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (p *Proof) UnmarshalJSON(b []byte) error {
	var w wire
	if err := json.Unmarshal(b, &w); err != nil {
		return err
	}
	*p = Proof{}
	if !w.Proved {
		return nil
	}
	*p = Proof{Low: w.Low, High: w.High, StopU: w.StopU, In: w.In, Loose: w.Loose, Repeat: w.Repeat, Stick: w.Stick,
		OneSided: w.OneSided, Lag: w.Lag.stamp(), LagU: w.LagU.stamp(), Refresh: w.Refresh.stamp(), Step: w.Step,
		Rate: w.Rate, When: w.When, Unlearned: w.Unlearned}
	return p.check()
}

// check returns why a proof cannot be one, as after an edit by hand.
func (p Proof) check() error {
	switch {
	case p.Low >= p.High:
		return fmt.Errorf("a proof's low_mm must be less than its high_mm, not %v and %v", p.Low, p.High)
	case p.In != 1 && p.In != -1:
		return fmt.Errorf("a proof's in must be 1 (the reading grows as the spindle goes in) or -1, not %d", p.In)
	case p.StopU < 0 || p.Repeat < 0 || p.Stick < 0 || p.Step < 0 || p.Lag < 0 || p.LagU < 0 || p.Refresh < 0 || p.Rate < 0:
		return errors.New("a proof: stop_u_mm, repeat_mm, stick_mm, step_mm, lag_ms, lag_u_ms, refresh_ms and rate_hz cannot be below zero")
	}
	return nil
}
