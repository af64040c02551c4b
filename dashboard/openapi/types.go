package openapi

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"strings"
	"time"

	"lobescribe/dashboard/schema"
)

// writer collects the schemas of the document.
type writer struct {
	known   map[reflect.Type]Named
	schemas object // by name
}

func refTo(name string) object { return object{"$ref": "#/components/schemas/" + name} }

// place returns the name in the document of what a reference in dashboard/schema
// leads to: "findings.json#/$defs/opening" is "findings.opening". in is the name of
// the schema in which the reference stands.
func place(ref, in string) string {
	file, part, _ := strings.Cut(ref, "#")
	name := strings.TrimSuffix(file, ".json")
	if name == "" {
		name = in
	}
	if part = strings.TrimPrefix(part, "/$defs/"); part != "" {
		name += "." + part
	}
	return name
}

// lift puts a schema and its parts among those of the document.
func (w *writer) lift(s schema.Schema) error {
	var v object
	if err := json.Unmarshal(s.Text, &v); err != nil {
		return fmt.Errorf("the schema %s: %w", s.Name, err)
	}
	parts, _ := v["$defs"].(object)
	delete(v, "$defs")
	delete(v, "$schema")
	w.schemas[s.Name] = redirect(v, s.Name)
	for name, part := range parts {
		w.schemas[s.Name+"."+name] = redirect(part, s.Name)
	}
	return nil
}

// redirect leads the references in a schema to their places in the document.
func redirect(v any, in string) any {
	switch v := v.(type) {
	case object:
		for key, inner := range v {
			if ref, ok := inner.(string); ok && key == "$ref" {
				v[key] = refTo(place(ref, in))["$ref"]
				continue
			}
			v[key] = redirect(inner, in)
		}
	case []any:
		for i := range v {
			v[i] = redirect(v[i], in)
		}
	}
	return v
}

var (
	marshaler   = reflect.TypeFor[json.Marshaler]()
	unmarshaler = reflect.TypeFor[json.Unmarshaler]()
	stamp       = regexp.MustCompile(`[^A-Za-z0-9.]+`)
)

// of returns the schema of a Go type as encoding/json writes it or, where it is
// asked of somebody, reads it.
func (w *writer) of(t reflect.Type, asks bool) object {
	if name, ok := w.known[t]; ok && !asks {
		return refTo(place(string(name), ""))
	}
	switch {
	case t == reflect.TypeFor[time.Time]():
		return object{"type": "string", "format": "date-time"}
	case t == reflect.TypeFor[json.RawMessage]():
		return object{}
	case t.Kind() == reflect.Pointer:
		return orNull(w.of(t.Elem(), asks))
	case asks && (t.Implements(unmarshaler) || reflect.PointerTo(t).Implements(unmarshaler)):
		return object{} // several forms, as a number or as text
	case t.Implements(marshaler):
		return shown(t)
	}
	switch t.Kind() {
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.String:
		return object{"type": "string"}
	case reflect.Float32, reflect.Float64:
		return object{"type": "number"}
	case reflect.Slice:
		if t.Elem().Kind() == reflect.Uint8 {
			return object{"type": []string{"string", "null"}, "contentEncoding": "base64"}
		}
		return object{"type": []string{"array", "null"}, "items": w.of(t.Elem(), asks)}
	case reflect.Array:
		return object{"type": "array", "items": w.of(t.Elem(), asks), "minItems": t.Len(), "maxItems": t.Len()}
	case reflect.Map:
		return object{"type": []string{"object", "null"}, "additionalProperties": w.of(t.Elem(), asks)}
	case reflect.Struct:
		return w.structure(t, asks)
	case reflect.Interface:
		return object{}
	default:
		return object{"type": "integer"}
	}
}

// orNull allows null beside what a schema allows.
func orNull(s object) object { return object{"anyOf": []object{s, {"type": "null"}}} }

// shown is the schema of a type that writes itself, as its zero value shows it.
func shown(t reflect.Type) object {
	text, err := json.Marshal(reflect.Zero(t).Interface())
	var v any
	if err != nil || json.Unmarshal(text, &v) != nil {
		return object{}
	}
	switch v.(type) {
	case float64:
		return object{"type": "number"}
	case string:
		return object{"type": "string"}
	case []any:
		return object{"type": "array"}
	case map[string]any:
		return object{"type": "object"}
	}
	return object{}
}

// structure returns a reference to the schema of a struct, or that itself where
// the struct has no name.
func (w *writer) structure(t reflect.Type, asks bool) object {
	if t.Name() == "" {
		return w.fields(t, asks)
	}
	name := strings.ReplaceAll(strings.TrimPrefix(t.PkgPath(), "lobescribe/"), "/", ".") + "." + stamp.ReplaceAllString(t.Name(), "_")
	if asks {
		name += ".asked" // what must be there and what may be differ
	}
	if w.schemas[name] == nil {
		w.schemas[name] = object{} // it may hold itself
		w.schemas[name] = w.fields(t, asks)
	}
	return refTo(name)
}

func (w *writer) fields(t reflect.Type, asks bool) object {
	properties, required := object{}, []string{}
	w.collect(t, asks, properties, &required)
	out := object{"type": "object", "properties": properties}
	if asks {
		out["additionalProperties"] = false // a misspelt one is refused
	} else if len(required) > 0 {
		out["required"] = required
	}
	return out
}

// collect adds the fields of a struct and of those that it embeds.
func (w *writer) collect(t reflect.Type, asks bool, properties object, required *[]string) {
	for i := range t.NumField() {
		f := t.Field(i)
		key, rest, _ := strings.Cut(f.Tag.Get("json"), ",")
		inner := f.Type
		if inner.Kind() == reflect.Pointer {
			inner = inner.Elem()
		}
		switch {
		case key == "-":
			continue
		case f.Anonymous && key == "" && inner.Kind() == reflect.Struct && !inner.Implements(marshaler):
			w.collect(inner, asks, properties, required)
			continue
		case !f.IsExported():
			continue
		case key == "":
			key = f.Name
		}
		properties[key] = w.of(f.Type, asks)
		if !strings.Contains(rest, "omit") {
			*required = append(*required, key)
		}
	}
}
