// Package strict holds JSON against the schemas, and refuses every key that
// they do not describe. It is for tests: what the program sends and prints must
// be documented to the last field, while whoever reads it should pass over what
// they do not know.
package strict

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"lobescribe/dashboard/schema"
)

// base is where the schemas are taken to stand, so that they find each other.
const base = "https://lobescribe.invalid/api/v1/schema/"

// Checker holds JSON against one schema or a part of it.
type Checker struct{ schema *jsonschema.Schema }

// New returns a checker of a place in a schema: "findings", or
// "live.json#/$defs/cue".
func New(place string) (*Checker, error) {
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	for _, s := range schema.All() {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(s.Text))
		if err != nil {
			return nil, fmt.Errorf("schema %s: %w", s.Name, err)
		}
		closeObjects(v)
		if err := c.AddResource(base+s.Name+".json", v); err != nil {
			return nil, fmt.Errorf("schema %s: %w", s.Name, err)
		}
	}
	if !strings.Contains(place, ".json") {
		place += ".json"
	}
	s, err := c.Compile(base + place)
	if err != nil {
		return nil, fmt.Errorf("schema %s: %w", place, err)
	}
	return &Checker{s}, nil
}

// Check says what of a JSON text is not as the schema says.
func (c *Checker) Check(text []byte) error {
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return err
	}
	return c.schema.Validate(v)
}

// closeObjects forbids other keys wherever a schema names some. No object in
// our schemas is put together of several that name keys, so this says what it
// seems to say.
func closeObjects(v any) {
	switch v := v.(type) {
	case map[string]any:
		_, names := v["properties"].(map[string]any)
		if _, said := v["additionalProperties"]; names && !said {
			v["additionalProperties"] = false
		}
		for _, inner := range v {
			closeObjects(inner)
		}
	case []any:
		for _, inner := range v {
			closeObjects(inner)
		}
	}
}
