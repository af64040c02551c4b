package dashboard

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"lobescribe/capture/lift"
	"lobescribe/capture/timing"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// shownTiming is the timing of one trace, with what is drawn of it.
type shownTiming struct {
	Valve       timing.Valve       `json:"valve"`
	Timing      timing.ValveTiming `json:"timing"`
	Curve       []timing.Point     `json:"curve"`
	Derivatives timing.Derivatives `json:"derivatives"`
	// Note says from which top dead centre angles count, when it is not the
	// encoder's own zero, or why that zero will not do.
	Note string `json:"note,omitempty"`
	// Doubtful says that top dead centre is not where angles count from.
	Doubtful bool `json:"tdc_doubtful,omitempty"`
}

// traceTiming answers for one trace.
func (s *Server) traceTiming(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	return s.remembered(w, r, []storage.ID{id}, func() (any, error) {
		q := r.URL.Query()
		checks, err := checkingLifts(q.Get("checking"))
		if err != nil {
			return nil, err
		}
		in, err := s.valveInput(id, q.Get("valve"))
		if err != nil {
			return nil, err
		}
		if err := setEncoder(&in.options, q.Get); err != nil {
			return nil, err
		}
		curve, zero, err := question.Curve(in.trace, in.options, in.engine, in.valve)
		if err != nil {
			return nil, unanswered(err)
		}
		out := shownTiming{Valve: in.options.Valve, Curve: curve.Points(), Note: zero.Says(), Doubtful: zero.Doubtful}
		if out.Timing, err = curve.Timing(checks, ""); err != nil {
			return nil, unanswered(err)
		}
		if out.Derivatives, err = curve.Derivatives(timing.DeriveOptions{}); err != nil {
			// A coarse trace has timing and no derivatives worth the name.
			out.Derivatives = timing.Derivatives{Points: []timing.Derivative{}, Warnings: []worksheet.Sentence{worksheet.Sayf("%s", sentence(err))}}
		}
		return out, nil
	})
}

// pairTiming answers for an intake and an exhaust trace together, and against
// the engine's card.
func (s *Server) pairTiming(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	sides, ids, err := pairSides(q.Get)
	if err != nil {
		return err
	}
	unit, _ := measure.ParseUnit(q.Get("unit"))
	return s.remembered(w, r, ids, func() (any, error) {
		checks, err := checkingLifts(q.Get("checking"))
		if err != nil {
			return nil, err
		}
		ask := timing.Request{CheckingLifts: checks}
		var notes []string
		for _, side := range []string{"intake", "exhaust"} {
			if _, named := sides[side]; !named {
				continue
			}
			input, note, err := s.pairInput(side, sides, q.Get)
			if err != nil {
				return nil, err
			}
			if note != "" {
				notes = append(notes, side+": "+note)
			}
			if input.More.Cylinder != nil {
				ask.Crank = &input.More.Cylinder.Crank
			}
			if side == "intake" {
				ask.Intake = input
			} else {
				ask.Exhaust = input
			}
		}
		if name := q.Get("engine"); name != "" {
			e, err := s.store.Engine(name)
			if err != nil {
				return nil, err
			}
			ask.Card = question.CamCard(e)
		}
		if err := setTolerance(ask.Card, q.Get); err != nil {
			return nil, err
		}
		out, err := timing.Compute(ask)
		if err != nil {
			return nil, unanswered(err)
		}
		for _, note := range notes {
			out.Assume("%s", note)
		}
		return worksheet.InUnit(out, unit), nil
	})
}

// pairSides returns the traces that a query names, by what they are of.
func pairSides(get func(string) string) (sides map[string]storage.ID, ids []storage.ID, err error) {
	sides = map[string]storage.ID{}
	for _, side := range []string{"intake", "exhaust", "intake_lobe", "exhaust_lobe"} {
		if text := get(side); text != "" {
			id, err := storage.ParseID(text)
			if err != nil {
				return nil, nil, wrong(side, "%s", sentence(err))
			}
			ids, sides[side] = append(ids, id), id
		}
	}
	if sides["intake"] == 0 && sides["exhaust"] == 0 {
		return nil, nil, wrong("intake", "Name a trace of the intake valve, the exhaust valve, or both.")
	}
	return sides, ids, nil
}

// pairInput returns one side of the question, and what is to be said of where its
// encoder counts from.
func (s *Server) pairInput(side string, sides map[string]storage.ID, get func(string) string) (*timing.ValveInput, string, error) {
	in, err := s.valveInput(sides[side], side)
	if err != nil {
		return nil, "", err
	}
	if err := setEncoder(&in.options, get); err != nil {
		return nil, "", err
	}
	curve, zero, err := question.Curve(in.trace, in.options, in.engine, in.valve)
	if err != nil {
		return nil, "", unanswered(err)
	}
	o := curve.Options()
	more := question.More(in.engine, o.Valve, o)
	input := &timing.ValveInput{Trace: &in.trace, TDC: o.TDC, TDCU: o.TDCU, Wraps: o.Wraps, OnCam: o.OnCam, CountsDown: o.CountsDown,
		Ratio: o.Ratio, Lash: o.Lash, More: &more}
	if zero.Doubtful {
		more.Cylinder = nil // it hangs on top dead centre
		input.ZeroDoubts = []verdict.Doubt{{Cause: verdict.Doubtful, Says: zero.Says()}}
	}
	if id, named := sides[side+"_lobe"]; named {
		at, err := s.valveInput(id, side)
		if err != nil {
			return nil, "", err
		}
		if at.engine.ID != in.engine.ID || at.valve != in.valve {
			return nil, "", wrong(side+"_lobe", "Trace %s is of another valve: the ratio is measured at both ends of one rocker.", id)
		}
		input.Other = &timing.OtherEnd{Trace: &at.trace, TDC: o.TDC, TDCU: o.TDCU, Wraps: o.Wraps, OnCam: o.OnCam, CountsDown: o.CountsDown}
	}
	return input, zero.Says(), nil
}

// setTolerance takes what the lines of a card may be off from a query, in place of
// the engine's: tolerance_deg, tolerance_mm.
func setTolerance(card *timing.CardInput, get func(string) string) error {
	if card == nil {
		return nil
	}
	if text := get("tolerance_deg"); text != "" {
		a, err := measure.ParseAngle(text)
		if err != nil {
			return wrong("tolerance_deg", "%s", sentence(err))
		}
		card.Tolerance = a
	}
	if text := get("tolerance_mm"); text != "" {
		l, err := measure.ParseLengthIn(text, measure.InMillimetres)
		if err != nil {
			return wrong("tolerance_mm", "%s", sentence(err))
		}
		card.LiftTolerance = l
	}
	return nil
}

// measuredValve is a trace with how it was measured.
type measuredValve struct {
	trace   measure.Trace
	options timing.Options
	engine  storage.Engine // zero when it is of none
	valve   string
}

// valveInput loads a trace, and finds out how it was measured.
func (s *Server) valveInput(id storage.ID, valve string) (measuredValve, error) {
	head, trace, err := s.store.Load(id)
	if err != nil && sheet.Damaged(err) == nil {
		return measuredValve{}, err
	}
	switch v := timing.Valve(valve); v {
	case "", timing.Intake, timing.Exhaust:
		e, err := s.store.Engine(head.Engine)
		if err != nil {
			e = storage.Engine{} // the timing at the valve does not hang on it
		}
		return measuredValve{lift.Without(trace, head.LeftOut), question.Timing(s.store, head, v), e, head.Valve}, nil
	}
	return measuredValve{}, wrong("valve", "valve should be intake or exhaust, not %q.", valve)
}

// checkingLifts reads "0.05in,1mm"; nil for none, which means the usual two.
func checkingLifts(text string) ([]measure.Length, error) {
	if text == "" {
		return nil, nil
	}
	var out []measure.Length
	for part := range strings.SplitSeq(text, ",") {
		l, err := measure.ParseLength(part)
		if err != nil {
			return nil, wrong("checking", "%s", sentence(err))
		}
		if l <= 0 || l > 100*measure.Millimetre {
			return nil, wrong("checking", "%s is no checking lift: it should be above 0 and below any valve's lift.", part)
		}
		if out = append(out, l); len(out) > 50 {
			return nil, wrong("checking", "That is more than 50 checking lifts.")
		}
	}
	return out, nil
}

// setEncoder takes how the encoder was mounted from a query: tdc_deg,
// tdc_u_deg, wraps_deg, on_cam, counts_down.
func setEncoder(o *timing.Options, get func(string) string) error {
	if get("tdc_deg") != "" {
		o.TDCU = 0 // the engine's is of another angle
	}
	for field, to := range map[string]*measure.Angle{"tdc_deg": &o.TDC, "tdc_u_deg": &o.TDCU, "wraps_deg": &o.Wraps} {
		text := get(field)
		if text == "" {
			continue
		}
		a, err := measure.ParseAngle(text)
		if err != nil || a > 1000*measure.Turn || a < -1000*measure.Turn {
			return wrong(field, "%s should be a number of degrees, not %q.", field, text)
		}
		*to = a
	}
	for field, to := range map[string]*bool{"on_cam": &o.OnCam, "counts_down": &o.CountsDown} {
		text := get(field)
		if text == "" {
			continue
		}
		v, err := strconv.ParseBool(text)
		if err != nil {
			return wrong(field, "%s should be true or false, not %q.", field, text)
		}
		*to = v
	}
	return nil
}

// answers remembers the answers to questions about traces that have ended,
// whose readings never change. What an answer also hangs on (engine, trial)
// stands in the key by its revision.
type answers struct {
	mu   sync.Mutex
	list []remembered // the one used last at the end
	held int
}

type remembered struct {
	key  string
	text []byte
}

const answersHeld = 16 << 20 // bytes

func (a *answers) get(key string) []byte {
	a.mu.Lock()
	defer a.mu.Unlock()
	for i, r := range a.list {
		if r.key == key {
			a.list = append(append(a.list[:i:i], a.list[i+1:]...), r)
			return r.text
		}
	}
	return nil
}

func (a *answers) put(key string, text []byte) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.list = append(a.list, remembered{key, text})
	a.held += len(text)
	for a.held > answersHeld && len(a.list) > 1 {
		a.held -= len(a.list[0].text)
		a.list = a.list[1:]
	}
}

// remembered answers from memory what was asked before of the same traces, and
// works it out otherwise, a few at a time.
func (s *Server) remembered(w http.ResponseWriter, r *http.Request, ids []storage.ID, work func() (any, error)) error {
	key, keep, err := s.keyOf(r, ids)
	if err != nil {
		return err
	}
	if text := s.answers.get(key); text != nil {
		send(w, http.StatusOK, text)
		return nil
	}
	text, err := s.workOut(r.Context(), work)
	if err != nil {
		return err
	}
	if keep {
		s.answers.put(key, text)
	}
	send(w, http.StatusOK, text)
	return nil
}

func (s *Server) workOut(ctx context.Context, work func() (any, error)) ([]byte, error) {
	done, err := s.alone(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	v, err := work()
	if err != nil {
		return nil, err
	}
	return json.Marshal(v)
}

// keyOf writes down everything that an answer hangs on; keep is false while a
// trace is still growing.
func (s *Server) keyOf(r *http.Request, ids []storage.ID) (key string, keep bool, err error) {
	var b strings.Builder
	b.WriteString(r.URL.Path + "?" + r.URL.Query().Encode())
	keep = true
	engine := func(id string) error {
		e, err := s.store.Engine(id)
		if errors.Is(err, storage.ErrNotFound) || sheet.Damaged(err) != nil {
			err = nil
		}
		fmt.Fprintf(&b, " %q@%d", id, e.Rev)
		return err
	}
	for _, id := range ids {
		sum, err := s.store.Summary(id)
		if err != nil {
			return "", false, err
		}
		keep = keep && !sum.Recording
		fmt.Fprintf(&b, " %s %s", id, sum.Valve)
		if err := engine(sum.Engine); err != nil {
			return "", false, err
		}
		t, _ := s.store.Trial(sum.Trial) // none is revision 0
		fmt.Fprintf(&b, " %q@%d", sum.Trial, t.Rev)
	}
	return b.String(), keep, engine(r.URL.Query().Get("engine"))
}
