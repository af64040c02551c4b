package storage

import (
	"encoding/json"
	"maps"
	"reflect"
	"strings"
)

// keepUnknown returns v as JSON, with every field of the old JSON that v's type
// does not know put back, at any depth of structs. So a field that a later
// version added survives a change made by an earlier one. Inside slices and
// maps there is no telling which element is which; those are v's alone, and so is
// what writes its JSON by itself.
func keepUnknown(old []byte, v any) (json.RawMessage, error) {
	now, err := json.Marshal(v)
	if err != nil || len(old) == 0 {
		return now, err
	}
	return merge(old, now, reflect.TypeOf(v)), nil
}

func merge(old, now json.RawMessage, t reflect.Type) json.RawMessage {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	var was, is map[string]json.RawMessage
	if t.Implements(reflect.TypeFor[json.Marshaler]()) || t.Kind() != reflect.Struct || json.Unmarshal(old, &was) != nil || json.Unmarshal(now, &is) != nil || was == nil || is == nil {
		return now
	}
	known := fields(t)
	changed := false
	for name, value := range was {
		field, ok := known[name]
		_, present := is[name]
		switch {
		case !ok:
			is[name] = value
			changed = true
		case present:
			is[name] = merge(value, is[name], field)
			changed = true
		}
	}
	if !changed {
		return now
	}
	out, err := json.Marshal(is)
	if err != nil {
		return now
	}
	return out
}

// fields returns the JSON names of a struct's fields with their types.
func fields(t reflect.Type) map[string]reflect.Type {
	out := map[string]reflect.Type{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "" && f.Type.Kind() == reflect.Struct:
			maps.Copy(out, fields(f.Type))
			continue
		case name == "":
			name = f.Name
		}
		out[name] = f.Type
	}
	return out
}
