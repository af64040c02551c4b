package coverage

import (
	"encoding/json"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/lift"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/rocker/sweep"
	"lobescribe/capture/timing"
	"lobescribe/dashboard/schema"
)

// uncertain is the name of an uncertainty: max_lift_u_mm, ratio_u, u_deg.
var uncertain = regexp.MustCompile(`(^|_)u(_|$)`)

// notHeld are the uncertainties that no row of the suite holds, since they are of no
// answer. None may come to them.
var notHeld = []string{
	"rocker.u", // of an input, as told or as the answer says that it is assumed
}

func TestEveryUncertaintyHasARow(t *testing.T) {
	held := map[string]bool{}
	for _, r := range suite() {
		held[r.field] = true
		held[r.field[:strings.Index(r.field, ".")+1]+r.field[strings.LastIndex(r.field, ".")+1:]] = true
	}
	found := map[string]bool{}
	for name, answer := range map[string]any{
		"rocker": rocker.Answer{}, "shims": shims.Answer{}, "pushrod": pushrod.Answer{}, "timing": timing.Result{},
		"clearance": clearance.Answer{}, "spring": clearance.SpringAnswer{}, "findings": lift.Findings{}, "photo": photo.Answer{}, "sweep": sweep.Answer{},
	} {
		for _, field := range namesOf(reflect.TypeOf(answer), map[reflect.Type]bool{}) {
			if uncertain.MatchString(field) {
				found[name+"."+field] = true
			}
		}
	}
	for _, field := range namesOf(reflect.TypeOf(rocker.LeanAnswer{}), map[reflect.Type]bool{}) {
		if uncertain.MatchString(field) {
			found["rocker."+field] = true
		}
	}
	require.Greater(t, len(found), 30, "the walk finds the answers' fields")
	for field := range found {
		assert.True(t, held[field] || slices.Contains(notHeld, field), "%s has no row in the suite", field)
	}
	for _, field := range notHeld {
		assert.True(t, found[field], "%s is on the list of those without a row, and there is no such field", field)
		assert.False(t, held[field], "%s has a row: take it off the list", field)
	}
	// The published schemas name no uncertainty that the types do not.
	for _, s := range schema.All() {
		if s.Name == "proof" { // of an indicator: package prove holds its own
			continue
		}
		var any_ any
		require.NoError(t, json.Unmarshal(s.Text, &any_))
		for _, field := range keysOf(any_) {
			if uncertain.MatchString(field) {
				short := slices.ContainsFunc(slices.Collect(keys(found)), func(f string) bool { return strings.HasSuffix(f, "."+field) })
				assert.True(t, short, "%s: %s is in the schema and in no answer that the suite walks", s.Name, field)
			}
		}
	}
}

func keys(m map[string]bool) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// namesOf lists the JSON names of a type and of all that it holds.
func namesOf(t reflect.Type, seen map[reflect.Type]bool) []string {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
		return namesOf(t.Elem(), seen)
	case reflect.Struct:
	default:
		return nil
	}
	if seen[t] {
		return nil
	}
	seen[t] = true
	var names []string
	for i := range t.NumField() {
		f := t.Field(i)
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" && name != "-" {
			names = append(names, name)
		}
		if f.IsExported() || f.Anonymous {
			names = append(names, namesOf(f.Type, seen)...)
		}
	}
	return names
}

// keysOf lists the property names of a JSON Schema.
func keysOf(v any) []string {
	var names []string
	switch v := v.(type) {
	case map[string]any:
		for key, inner := range v {
			if properties, ok := inner.(map[string]any); ok && key == "properties" {
				for name := range properties {
					names = append(names, name)
				}
			}
			names = append(names, keysOf(inner)...)
		}
	case []any:
		for _, inner := range v {
			names = append(names, keysOf(inner)...)
		}
	}
	return names
}
