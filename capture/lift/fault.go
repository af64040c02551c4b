package lift

import (
	"encoding/json"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Fault is one thing that is wrong, where it began, and what to do about it in
// a sentence that a person at the engine understands.
//
// In JSON says is that sentence, with its lengths in millimetres and inches. Where it has
// any, it stands there once more as sentence, with {} in place of each, and lengths_mm:
// whoever prints it in one unit takes these.
type Fault struct {
	Kind FaultKind
	At   measure.Stamp
	Says worksheet.Sentence
}

// sayf returns a sentence as a fault has it whose findings were stored and read again.
func sayf(format string, args ...any) worksheet.Sentence {
	s := worksheet.Sayf(format, args...)
	if kept, ok := worksheet.FromParts(s.Parts()); ok {
		return kept
	}
	return s
}

// FaultJSON is how a [Fault] is written.
type FaultJSON struct {
	Kind     FaultKind        `json:"kind"`
	At       measure.Stamp    `json:"t_s"`
	Says     string           `json:"says"`
	Sentence string           `json:"sentence,omitempty"`
	Lengths  []measure.Length `json:"lengths_mm,omitempty"`
}

// MarshalJSON writes it.
func (f Fault) MarshalJSON() ([]byte, error) {
	out := FaultJSON{Kind: f.Kind, At: f.At, Says: f.Says.InBoth()}
	if text, lengths := f.Says.Parts(); len(lengths) > 0 {
		out.Sentence, out.Lengths = text, lengths
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads it; one of an earlier version is told in both units for good.
func (f *Fault) UnmarshalJSON(b []byte) error {
	var in FaultJSON
	if err := json.Unmarshal(b, &in); err != nil {
		return err
	}
	*f = Fault{Kind: in.Kind, At: in.At, Says: sayf("%s", in.Says)}
	if s, ok := worksheet.FromParts(in.Sentence, in.Lengths); ok && len(in.Lengths) > 0 {
		f.Says = s
	}
	return nil
}
