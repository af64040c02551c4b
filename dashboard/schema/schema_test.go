package schema_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/schema"
	"lobescribe/dashboard/schema/strict"
)

// Each is a sound schema of draft 2020-12, also with its references, and the
// strict form is one too. The compiler holds them against the draft's own
// meta-schema.
func TestSchemasAreSound(t *testing.T) {
	all := schema.All()
	require.Len(t, all, 5)
	dir := t.TempDir() // a folder with the files alone, as somebody who builds on them has it
	for _, s := range all {
		require.NoError(t, os.WriteFile(filepath.Join(dir, s.Name+".json"), s.Text, 0o600))
	}
	for _, s := range all {
		assert.NotEmpty(t, s.Title, s.Name)
		c := jsonschema.NewCompiler()
		_, err := c.Compile(filepath.Join(dir, s.Name+".json"))
		require.NoError(t, err)
		_, err = strict.New(s.Name)
		require.NoError(t, err)

		named, err := schema.Named(s.Name)
		require.NoError(t, err)
		assert.Equal(t, s, named)
		_, err = schema.Named(s.Name + ".json")
		require.NoError(t, err)
	}
	_, err := schema.Named("lift")
	assert.EqualError(t, err, `there is no schema "lift"; there are findings, live, proof, trace, traces`)
}

// unitWords are what the description of a field must say, by the end of its
// name. A number that ends in none of them must say that it is a count, a ratio
// or the like.
var unitWords = map[string]string{"_mm": "millimetre", "_nm": "nanometre", "_s": "second", "_us": "microsecond",
	"_ms": "millisecond", "_deg": "degree", "_udeg": "microdegree", "_hz": "hertz", "seconds": "second"}

// Every field says what it means, and every number in what unit it is.
func TestEveryFieldIsDescribed(t *testing.T) {
	fields, numbers := 0, 0
	for _, s := range schema.All() {
		var v any
		require.NoError(t, json.Unmarshal(s.Text, &v))
		walk(v, func(name string, field map[string]any) {
			fields++
			where := s.Name + ": " + name
			says, _ := field["description"].(string)
			if ref, _ := field["$ref"].(string); ref == "#/$defs/replayOf" {
				return // described there
			}
			assert.NotEmpty(t, says, where)
			if !isNumber(field) {
				return
			}
			numbers++
			want := `count|number in this store|number of|'s number|Its number|a ratio|a sign`
			for end, word := range unitWords {
				if strings.HasSuffix(name, end) {
					want = word
				}
			}
			assert.Regexp(t, want, says, where)
		})
	}
	assert.Greater(t, fields, 80)
	assert.Greater(t, numbers, 40)
}

func isNumber(field map[string]any) bool {
	items, _ := field["items"].(map[string]any)
	if items != nil {
		return isNumber(items)
	}
	text, _ := json.Marshal(field["type"])
	enum, _ := field["enum"].([]any)
	_, enumerated := append(enum, "")[0].(float64)
	return strings.Contains(string(text), "number") || strings.Contains(string(text), "integer") || enumerated
}

// walk calls see for every property of every object in a schema.
func walk(v any, see func(name string, field map[string]any)) {
	switch v := v.(type) {
	case map[string]any:
		if properties, ok := v["properties"].(map[string]any); ok {
			for name, field := range properties {
				see(name, field.(map[string]any))
			}
		}
		for _, inner := range v {
			walk(inner, see)
		}
	case []any:
		for _, inner := range v {
			walk(inner, see)
		}
	}
}

// The kinds of fault, note, cue, state and device are those in the source: no
// kind can come that the schemas do not name, nor a name stay that is gone.
func TestKindsAreThoseOfTheSource(t *testing.T) {
	for place, from := range map[string]struct{ folder, kind string }{
		"findings faultKind":   {"../../capture/lift", "FaultKind"},
		"trace note.note.kind": {"../../device/measure", "NoteKind"},
		"live cue.kind":        {"../../capture", "CueKind"},
		"live flank":           {"../../capture", "ValveState"},
		"live trace.state":     {"../../capture/keep", "State"},
	} {
		name, path, _ := strings.Cut(place, " ")
		s, err := schema.Named(name)
		require.NoError(t, err)
		var v struct {
			Defs map[string]any `json:"$defs"`
		}
		require.NoError(t, json.Unmarshal(s.Text, &v))
		steps := strings.Split(path, ".")
		at, ok := v.Defs[steps[0]].(map[string]any)
		require.True(t, ok, place)
		for _, step := range steps[1:] {
			at = at["properties"].(map[string]any)[step].(map[string]any)
		}
		var named []string
		for _, word := range at["enum"].([]any) {
			named = append(named, word.(string))
		}
		assert.ElementsMatch(t, constants(t, from.folder, from.kind), named, place)
	}
}

// constants reads the text constants of a type, or of a beginning of the name
// where they have none, from the source of a package.
func constants(t *testing.T, folder, kind string) []string {
	t.Helper()
	var found []string
	names, err := filepath.Glob(filepath.Join(folder, "*.go"))
	require.NoError(t, err)
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		for _, d := range file.Decls {
			group, ok := d.(*ast.GenDecl)
			if !ok || group.Tok != token.CONST {
				continue
			}
			for _, spec := range group.Specs {
				v := spec.(*ast.ValueSpec)
				typed, _ := v.Type.(*ast.Ident)
				ours := typed != nil && typed.Name == kind || typed == nil && strings.HasPrefix(v.Names[0].Name, kind)
				if !ours || len(v.Values) != 1 {
					continue
				}
				text, ok := v.Values[0].(*ast.BasicLit)
				require.True(t, ok && text.Kind == token.STRING, "%s in %s", v.Names[0].Name, name)
				word, err := strconv.Unquote(text.Value)
				require.NoError(t, err)
				found = append(found, word)
			}
		}
	}
	require.NotEmpty(t, found, "%s in %s", kind, folder)
	return found
}
