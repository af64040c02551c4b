package worksheet

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"lobescribe/device/measure"
)

// Sentence is what an answer says in words. It keeps its lengths as lengths until
// it is printed, so that a person reads it in the unit that was asked for.
//
// In JSON it is a string, with lengths in millimetres unless [InUnit] asked for
// another unit. A sentence that was read from JSON is text, and stays in the unit
// it was written in.
type Sentence struct {
	format string
	args   []any
	unit   measure.Unit // of String and JSON; NoUnit: millimetres, to the last digit
}

// Sayf returns a sentence: a format as for fmt, and its arguments. Lengths and
// sentences among these are printed in the unit that is asked for.
func Sayf(format string, args ...any) Sentence { return Sentence{format: format, args: args} }

// Join puts sentences together, with sep between them.
func Join(parts []Sentence, sep string) Sentence {
	var s Sentence
	for i, p := range parts {
		if i > 0 {
			s.format += "%s"
			s.args = append(s.args, sep)
		}
		s.format += "%s"
		s.args = append(s.args, p)
	}
	return s
}

// In prints the sentence with its lengths in a unit, with the usual decimals of
// the trade; in millimetres (and for NoUnit) without a digit missing.
func (s Sentence) In(u measure.Unit) string {
	return s.with(u, func(l measure.Length) string {
		if u != measure.NoUnit && u != measure.InMillimetres {
			return l.In(u)
		}
		return l.String()
	})
}

// InBoth prints the sentence with its lengths in millimetres and inches, for whoever reads
// it without having said a unit.
func (s Sentence) InBoth() string { return s.with(measure.InMillimetres, InBoth) }

// with prints the sentence, its lengths as print has them and other quantities by a unit.
func (s Sentence) with(u measure.Unit, print func(measure.Length) string) string {
	args := make([]any, len(s.args))
	for i, a := range s.args {
		switch a := a.(type) {
		case measure.Length:
			args[i] = print(a)
		case Sentence:
			args[i] = a.with(u, print)
		case Physical:
			args[i] = a.in(u)
		default:
			args[i] = a
		}
	}
	return fmt.Sprintf(s.format, args...)
}

// place stands for a length in the text of a sentence that is taken apart.
const place = "{}"

// Parts returns the sentence's text with {} in place of each length, and the lengths, to be
// kept where a value of Go cannot be; [FromParts] puts them together again.
func (s Sentence) Parts() (text string, lengths []measure.Length) {
	text = s.with(measure.InMillimetres, func(l measure.Length) string {
		lengths = append(lengths, l)
		return place
	})
	return text, lengths
}

// FromParts returns the sentence that [Sentence.Parts] took apart; false where text has
// not as many places as there are lengths.
func FromParts(text string, lengths []measure.Length) (Sentence, bool) {
	if strings.Count(text, place) != len(lengths) {
		return Sentence{}, false
	}
	s := Sentence{format: strings.ReplaceAll(strings.ReplaceAll(text, "%", "%%"), place, "%v")}
	for _, l := range lengths {
		s.args = append(s.args, l)
	}
	return s, true
}

// String prints the sentence in the unit that [InUnit] asked for, else in
// millimetres.
func (s Sentence) String() string { return s.In(s.unit) }

// MarshalJSON writes what String prints.
func (s Sentence) MarshalJSON() ([]byte, error) { return json.Marshal(s.String()) }

// UnmarshalJSON reads a text.
func (s *Sentence) UnmarshalJSON(b []byte) error {
	var text string
	if err := json.Unmarshal(b, &text); err != nil {
		return err
	}
	*s = Sayf("%s", text)
	return nil
}

// In prints sentences in a unit.
func In(list []Sentence, u measure.Unit) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = s.In(u)
	}
	return out
}

// InUnit returns an answer whose sentences print in a unit, at any depth of
// structs, pointers and slices. Slices and what is pointed to are shared with v.
func InUnit(v any, u measure.Unit) any {
	if v == nil {
		return nil
	}
	copied := reflect.New(reflect.TypeOf(v)).Elem()
	copied.Set(reflect.ValueOf(v))
	setUnit(copied, u)
	return copied.Interface()
}

var sentenceType = reflect.TypeFor[Sentence]()

func setUnit(v reflect.Value, u measure.Unit) {
	if v.Type() == sentenceType {
		if v.CanSet() {
			s := v.Interface().(Sentence)
			s.unit = u
			v.Set(reflect.ValueOf(s))
		}
		return
	}
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if v.Kind() == reflect.Pointer && !v.IsNil() {
			setUnit(v.Elem(), u)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				setUnit(v.Field(i), u)
			}
		}
	case reflect.Slice, reflect.Array:
		switch v.Type().Elem().Kind() {
		case reflect.Struct, reflect.Pointer, reflect.Slice:
			for i := range v.Len() {
				setUnit(v.Index(i), u)
			}
		}
	}
}
