package main

import (
	"fmt"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

// question declares a flag for each field of the struct q that has the tag flag,
// also in structs within it. The type of the field says what its text may be, the
// tag help what it means. A struct behind a pointer is there once a flag of it is
// given. path is that of q in the JSON, "" for the question itself.
func (f *questionFlags) question(q any, path string) {
	f.fields(reflect.ValueOf(q).Elem(), path, func() {})
}

// fields declares those of one struct; asked is called when one of them is given.
func (f *questionFlags) fields(v reflect.Value, path string, asked func()) {
	for i := range v.NumField() {
		field, at := v.Type().Field(i), v.Field(i)
		key, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		key = strings.TrimPrefix(path+"."+key, ".")
		name, ok := field.Tag.Lookup("flag")
		switch {
		case ok:
			f.field(at, field, name, key, asked)
		case at.Kind() == reflect.Pointer && at.Type().Elem().Kind() == reflect.Struct:
			inner := reflect.New(at.Type().Elem())
			f.fields(inner.Elem(), key, func() { asked(); at.Set(inner) })
		}
	}
}

func (f *questionFlags) field(at reflect.Value, field reflect.StructField, name, key string, asked func()) {
	form, kind := f.forms[name], field.Tag.Get("form")
	if form == nil {
		form, kind = f.usual(at.Type())
	}
	if form == nil {
		panic(fmt.Sprintf("flag %s: nothing reads a %s", name, at.Type()))
	}
	f.key(key, name)
	f.value(name, kind, field.Tag.Get("help"), func(text string) error {
		asked()
		f.times[name]++
		v, err := form(text)
		if err != nil {
			return err
		}
		put(at, reflect.ValueOf(v))
		return nil
	})
}

// put sets a field to a value of its type, points it at one, or puts one more, or
// some, behind what it has.
func put(at, v reflect.Value) {
	switch {
	case at.Kind() == reflect.Pointer && v.Kind() != reflect.Pointer:
		p := reflect.New(at.Type().Elem())
		p.Elem().Set(v)
		at.Set(p)
	case at.Kind() == reflect.Slice && v.Kind() == reflect.Slice:
		at.Set(reflect.AppendSlice(at, v))
	case at.Kind() == reflect.Slice:
		at.Set(reflect.Append(at, v))
	default:
		at.Set(v.Convert(at.Type()))
	}
}

// usual is how the text of a flag is read that fills a field of the type, and what
// the help calls it.
func (f *questionFlags) usual(t reflect.Type) (form func(text string) (any, error), kind string) {
	many := t.Kind() == reflect.Slice
	if many || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case t == reflect.TypeFor[measure.Length]() && many:
		return func(text string) (any, error) { return f.parseLengths(text, ",", measure.NoUnit) }, "lengths"
	case t == reflect.TypeFor[measure.Length]():
		return func(text string) (any, error) { return f.parseLength(text) }, "length"
	case t == reflect.TypeFor[measure.Angle]() && many:
		return func(text string) (any, error) { return parseAngles(text) }, "degrees"
	case t == reflect.TypeFor[measure.Angle]():
		return func(text string) (any, error) { return measure.ParseAngle(text) }, "degrees"
	case t.Kind() == reflect.Float64:
		return func(text string) (any, error) { return parseNumber(text) }, "number"
	case t.Kind() == reflect.Bool:
		return func(text string) (any, error) { return parseYesNo(text) }, "yes|no"
	case t.Kind() == reflect.String:
		return func(text string) (any, error) { return strings.TrimSpace(text), nil }, "word"
	}
	return nil, ""
}

// parseAngles reads angles in degrees, by commas.
func parseAngles(text string) ([]measure.Angle, error) {
	var all []measure.Angle
	for part := range strings.SplitSeq(text, ",") {
		a, err := measure.ParseAngle(part)
		if err != nil {
			return nil, err
		}
		all = append(all, a)
	}
	return all, nil
}

// parseNumber reads a bare number: a ratio, a count of coils, kelvins.
func parseNumber(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	return v, nil
}

func parseYesNo(text string) (bool, error) {
	if text != "yes" && text != "no" {
		return false, fmt.Errorf("%q is neither yes nor no", text)
	}
	return text == "yes", nil
}

// key remembers which flag fills a JSON key.
func (f *questionFlags) key(path, flag string) {
	if f.keys == nil {
		f.keys, f.times = map[string]string{}, map[string]int{}
	}
	f.keys[path] = flag
}

// keyWord is a JSON key of a question in a sentence: a path, or a name with an
// underline.
var keyWord = regexp.MustCompile(`[a-z]+[a-z0-9]*(?:_[a-z0-9]+|\[\d+\]|\.[a-z_]+)+`)

// speak puts flags in place of the JSON keys that a sentence names.
func (f *questionFlags) speak(text string) string {
	return keyWord.ReplaceAllStringFunc(text, func(word string) string {
		if flag := f.flagOf(word); flag != "" {
			return flag
		}
		return word
	})
}

// inKey is the number of a part of a list within a path.
var inKey = regexp.MustCompile(`\[(\d+)\]`)

// flagOf is the flag that fills a key, the list that the key is in, or the only
// one of that name wherever it is; "" for none.
func (f *questionFlags) flagOf(key string) string {
	number := ""
	if m := inKey.FindStringSubmatch(key); m != nil {
		if n, err := strconv.Atoi(m[1]); err == nil {
			number = fmt.Sprintf(" number %d", n+1)
		}
	}
	for path := inKey.ReplaceAllString(key, ""); path != ""; {
		if flag, ok := f.keys[path]; ok {
			if f.times[flag] < 2 {
				number = "" // it is the only one
			}
			return "--" + flag + number
		}
		cut := strings.LastIndexByte(path, '.')
		path = path[:max(cut, 0)]
	}
	found := ""
	for path, flag := range f.keys {
		if strings.HasSuffix(path, "."+key) {
			if found != "" && found != flag {
				return ""
			}
			found = flag
		}
	}
	if found == "" {
		return ""
	}
	return "--" + found
}
