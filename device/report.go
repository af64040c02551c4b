package device

import (
	"context"
	"errors"
	"fmt"

	"lobescribe/device/lines"
	"lobescribe/device/lines/guess"
	"lobescribe/device/measure"
	"lobescribe/device/port"
)

// reportEvery is how often an unchanged state is told again, with its new rate
// and age.
const reportEvery = 250 * measure.Millisecond

// to goes into a state that a link which is not open can be in.
func (s *Source) to(ctx context.Context, state State, says string, cause error) {
	s.mu.Lock()
	before := s.status
	s.fill(s.o.Clock())
	s.status.Cause = causeOf(cause)
	s.status.State, s.status.Says, s.status.Silent = state, says, false
	s.status.Rate = 0
	st := s.status
	changed := before.State != st.State || before.Says != st.Says
	s.mu.Unlock()
	if !changed {
		return
	}
	if before.State != state {
		s.o.Log.Info("state", "address", s.address.Redacted(), "state", state.String(), "says", says)
	}
	s.watchReported = s.o.Clock()
	s.send(ctx, Event{Status: &st})
}

// causeOf names the sentinel that err wraps, if any.
func causeOf(err error) string {
	for _, c := range []error{port.ErrPermission, port.ErrBusy, port.ErrNotFound} {
		if errors.Is(err, c) {
			return c.Error()
		}
	}
	return ""
}

// say sets the state without telling it by an event.
func (s *Source) say(state State, says string) {
	s.mu.Lock()
	s.status.State, s.status.Says = state, says
	s.mu.Unlock()
}

// report tells how it stands while the link is open: at once when the state
// changed, otherwise now and then.
func (s *Source) report(ctx context.Context) {
	now := s.o.Clock()
	found := s.decoder.Found()
	state, says, silent := s.watch.state(now, found)
	if s.flood.lately(now) {
		says = s.flood.says()
	} else if babbles := s.flood.babblesSays(); babbles != "" {
		says = babbles
	}
	s.mu.Lock()
	before := s.status
	changed := before.State != state || before.Silent != silent || before.Format != found.Format || found.Settled && before.FormatSays != found.Says
	if !changed && now-s.watchReported < reportEvery {
		s.mu.Unlock()
		return
	}
	s.fill(now)
	s.status.State, s.status.Says, s.status.Silent, s.status.Cause = state, says, silent, ""
	st := s.status
	s.mu.Unlock()
	if before.State != state {
		s.o.Log.Info("state", "address", s.address.Redacted(), "state", state.String(), "says", says)
	}
	if before.Format != found.Format || found.Settled && before.FormatSays != found.Says {
		s.o.Log.Info("format", "address", s.address.Redacted(), "format", found.Format, "says", found.Says)
	}
	s.watchReported = now
	s.send(ctx, Event{Status: &st})
}

// fill puts in what is the same for every state. The caller holds mu.
func (s *Source) fill(now measure.Stamp) {
	st, w := &s.status, &s.watch
	st.Rate, st.Age = w.rateAt(now), w.age(now)
	st.Refused, st.Opens = s.counters.Refused, int(s.counters.Opens)
	st.OpenedAt = w.openedAt
	st.Condition, st.Port = w.conditionNow(now), s.name
	if s.decoder == nil {
		return
	}
	if finder, ok := s.decoder.(interface {
		View() guess.View
		Format() (lines.Format, bool)
	}); ok {
		s.view = finder.View()
		s.format, _ = finder.Format()
	}
	if f := s.decoder.Found(); f.Settled {
		st.Format, st.FormatSays, st.Unit, st.Assumed = f.Format, f.Says, f.Unit.String(), f.Assumed
		st.Assumes, st.Firmware = f.Assumes, f.Firmware
		st.Resolution, st.AngleStep = f.Resolution, f.AngleStep
	}
}

func sleepError(slept measure.Stamp) error {
	return fmt.Errorf("%w for %.0f s", errSlept, slept.Seconds())
}
