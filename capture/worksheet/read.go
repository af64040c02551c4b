package worksheet

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"

	"lobescribe/device/measure"
	"lobescribe/device/nearest"
)

// MostBytes is the longest question that is read: a lift curve of a tenth of a
// degree is not a fortieth of it.
const MostBytes = 8 << 20

// Read fills the struct that question points to from exactly one JSON object.
// The error is a [*Problem], or that of r.
func Read(r io.Reader, question any) error {
	b, err := io.ReadAll(io.LimitReader(r, MostBytes+1))
	if err != nil {
		return fmt.Errorf("reading the question: %w", err)
	}
	if len(b) > MostBytes {
		return Wrongf("", "the question is longer than %d MB: thin the curve out", MostBytes>>20)
	}
	b = bytes.TrimPrefix(b, []byte("\ufeff")) // editors of one system put it there
	if len(bytes.TrimSpace(b)) == 0 {
		return Wrongf("", "the question is empty: give the numbers as one JSON object")
	}
	if !json.Valid(b) {
		return malformed(b)
	}
	return fill("", b, reflect.ValueOf(question).Elem())
}

// malformed finds out at which field a text stops being JSON. json.Valid said
// only that it does.
func malformed(b []byte) error {
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.UseNumber()
	var path []string // one element a level: a key, or [n]
	var count []int   // elements so far; -1 in an object
	wantKey := false
	for {
		at := dec.InputOffset()
		token, err := dec.Token()
		if err != nil {
			rest := strings.TrimLeft(string(b[at:]), " \t\r\n:,")
			return Wrongf(joined(path), "%s", whyMalformed(rest, err))
		}
		if n := len(count); n > 0 && token != json.Delim(']') && token != json.Delim('}') {
			switch {
			case wantKey:
				path[n-1] = token.(string)
				wantKey = false
				continue
			case count[n-1] >= 0:
				path[n-1] = fmt.Sprintf("[%d]", count[n-1])
				count[n-1]++
			}
		}
		switch token {
		case json.Delim('{'):
			path, count = append(path, ""), append(count, -1)
		case json.Delim('['):
			path, count = append(path, "[0]"), append(count, 0)
		case json.Delim('}'), json.Delim(']'):
			path, count = path[:len(path)-1], count[:len(count)-1]
		}
		if len(count) == 0 {
			return Wrongf("", "something stands behind the end of the question: give one JSON object and no more")
		}
		wantKey = count[len(count)-1] < 0
	}
}

func whyMalformed(rest string, err error) string {
	for _, word := range []string{"NaN", "nan", "Infinity", "-Infinity", "Inf", "-Inf", "inf"} {
		if strings.HasPrefix(rest, word) {
			return word + " is not a number: leave the field out or give a number"
		}
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return "the question breaks off here: expected one whole JSON object"
	}
	return fmt.Sprintf("this is not JSON: %v", err)
}

func joined(path []string) string {
	var s strings.Builder
	for _, p := range path {
		if s.Len() > 0 && p != "" && p[0] != '[' {
			s.WriteByte('.')
		}
		s.WriteString(p)
	}
	return s.String()
}

// fill puts valid JSON into v, whose field is called path.
func fill(path string, raw []byte, v reflect.Value) error {
	raw = bytes.TrimSpace(raw)
	if string(raw) == "null" {
		return Wrongf(path, "is null: leave the field out or give a value")
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		return fill(path, raw, v.Elem())
	}
	if u, ok := v.Addr().Interface().(json.Unmarshaler); ok {
		if err := u.UnmarshalJSON(raw); err != nil {
			return refusal(path, raw, v, err)
		}
		return nil
	}
	switch {
	case v.Kind() == reflect.Struct && raw[0] == '{':
		return fillStruct(path, raw, v)
	case v.Kind() == reflect.Slice && raw[0] == '[':
		return fillSlice(path, raw, v)
	}
	if err := json.Unmarshal(raw, v.Addr().Interface()); err != nil {
		return refusal(path, raw, v, err)
	}
	return nil
}

func fillSlice(path string, raw []byte, v reflect.Value) error {
	var elements []json.RawMessage
	if err := json.Unmarshal(raw, &elements); err != nil {
		return refusal(path, raw, v, err)
	}
	out := reflect.MakeSlice(v.Type(), len(elements), len(elements))
	for i, e := range elements {
		if err := fill(fmt.Sprintf("%s[%d]", path, i), e, out.Index(i)); err != nil {
			return err
		}
	}
	v.Set(out)
	return nil
}

func fillStruct(path string, raw []byte, v reflect.Value) error {
	fields := map[string]reflect.Value{}
	var names []string
	collect(v, fields, &names)

	prefix := path
	if prefix != "" {
		prefix += "."
	}
	dec := json.NewDecoder(bytes.NewReader(raw))
	if _, err := dec.Token(); err != nil {
		return refusal(path, raw, v, err)
	}
	seen := map[string]bool{}
	for dec.More() {
		token, err := dec.Token()
		if err != nil {
			return refusal(path, raw, v, err)
		}
		name := token.(string) // a key: the text is valid JSON
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return refusal(prefix+name, raw, v, err)
		}
		field, known := fields[name]
		if !known {
			return Wrongf(prefix+name, "is not a field here: %s", didYouMean(name, names))
		}
		if seen[name] {
			return Wrongf(prefix+name, "is given twice: which of the two is meant?")
		}
		seen[name] = true
		if err := fill(prefix+name, value, field); err != nil {
			return err
		}
	}
	return nil
}

// collect lists the fields of a struct by their JSON names, those of embedded
// structs among them.
func collect(v reflect.Value, fields map[string]reflect.Value, names *[]string) {
	for i := range v.NumField() {
		f := v.Type().Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "":
			collect(v.Field(i), fields, names)
		case f.IsExported() && name != "" && name != "-":
			fields[name] = v.Field(i)
			*names = append(*names, name)
		}
	}
}

// refusal says what was expected of a value in words that need no Go.
func refusal(path string, raw []byte, v reflect.Value, err error) error {
	var inner *Problem
	if errors.As(err, &inner) {
		return Wrongf(path+inner.Field, "%s", inner.Says)
	}
	expected := "another kind of value"
	switch v.Interface().(type) {
	case measure.Length:
		expected = "a number of millimetres"
	case measure.Angle:
		expected = "a number of degrees"
	default:
		switch v.Kind() {
		case reflect.Struct:
			expected = "an object {...}"
		case reflect.Slice:
			expected = "a list [...]"
		case reflect.Float64:
			expected = "a number"
		case reflect.Int, reflect.Int64:
			expected = "a whole number"
		case reflect.String:
			expected = "a text"
		case reflect.Bool:
			expected = "true or false"
		}
	}
	shown := string(raw)
	if len(shown) > 40 {
		shown = strings.ToValidUTF8(shown[:40], "") + "..."
	}
	if errors.Is(err, measure.ErrOutOfRange) {
		return Wrongf(path, "%s is too large: expected %s", shown, expected)
	}
	return Wrongf(path, "%s will not do: expected %s", shown, expected)
}

// didYouMean names the known field nearest to name, or lists them all.
func didYouMean(name string, known []string) string {
	best, least := "", 1+len(name)/3
	for _, k := range known {
		d := nearest.Distance(strings.ToLower(name), k)
		// Who leaves the unit out means the field all the same.
		for _, unit := range []string{"_mm", "_deg", "_k", "_n"} {
			if short, ok := strings.CutSuffix(k, unit); ok {
				d = min(d, nearest.Distance(strings.ToLower(name), short))
			}
		}
		if d <= least && (best == "" || d < least) {
			best, least = k, d
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %s?", best)
	}
	sorted := slices.Sorted(slices.Values(known))
	return "the fields are " + strings.Join(sorted, ", ")
}
