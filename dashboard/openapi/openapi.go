// Package openapi writes the OpenAPI 3.1 document of the HTTP API out of what is
// there already: the calls that the server registers, with the Go types that they
// take and answer, the JSON Schemas of dashboard/schema, and the words of
// dashboard/API.md. Nothing is said a second time for it.
//
// The form is that of the OpenAPI Specification 3.1.1,
// https://spec.openapis.org/oas/v3.1.1.html.
package openapi

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lobescribe/dashboard/schema"
)

// Call is one call of the API.
type Call struct {
	Pattern string // as the server registers it: "GET /api/v1/traces/{id}"
	Words   string // where API.md speaks of it under another pattern; default: Pattern
	Asks    any    // the body that it takes; nil: none
	Answers any    // what it answers; nil: nothing, with status 204
	Status  int    // of a good answer. Default: 200, or 204 where it answers nothing
	Also    int    // a further status with the same answer; 0: none
}

// What Asks and Answers may be besides a value, whose type counts.
type (
	// Named is a schema of dashboard/schema, or a part of one: "traces.json",
	// "live.json#/$defs/hello".
	Named string
	// File is anything of a media type: "text/csv".
	File string
	// Any is JSON whose form stands in API.md alone.
	Any struct{}
)

type object = map[string]any

// Document returns the document, as JSON. words is the text of API.md; known are
// the types that dashboard/schema describes.
func Document(version, words string, calls []Call, known map[reflect.Type]Named) ([]byte, error) {
	w := writer{known: known, schemas: object{}}
	for _, s := range schema.All() {
		if err := w.lift(s); err != nil {
			return nil, err
		}
	}
	w.schemas["error"] = object{"type": "object", "required": []string{"error"}, "properties": object{
		"error": object{"type": "string", "description": "What was wrong and what to do."},
		"field": object{"type": "string", "description": "Where in the request it was."},
		"table": object{"type": "object", "description": "What a file looked like of which nobody could tell the columns: names, first rows, and what each column seems to be."},
	}}
	said := sentences(words)
	paths := object{}
	for _, c := range calls {
		method, path, ok := strings.Cut(c.Pattern, " ")
		name := c.Words
		if name == "" {
			name = c.Pattern
		}
		if says := said[name]; !ok || says == "" {
			return nil, fmt.Errorf("API.md says nothing of %q", name)
		}
		at, ok := paths[path].(object)
		if !ok {
			at = object{}
			paths[path] = at
		}
		at[strings.ToLower(method)] = w.operation(c, method, path, said[name])
	}
	return json.Marshal(object{
		"openapi": "3.1.1",
		"info": object{
			"title": "Lobescribe", "version": version,
			"description": "Names end in their unit: _mm millimetres, _deg degrees, _s seconds are numbers; _nm, _udeg, _us whole nanometres, microdegrees, microseconds. Uncertainties (_u_) are expanded, k = 2. Later versions may add keys: pass over what you do not know.",
			"license":     object{"name": "MIT", "identifier": "MIT"},
		},
		"servers":  []object{{"url": "/"}},
		"security": []object{{}, {"key": []string{}}},
		"paths":    paths,
		"components": object{
			"schemas":         w.schemas,
			"securitySchemes": object{"key": object{"type": "http", "scheme": "bearer", "description": "With --lan only."}},
		},
	})
}

var (
	row     = regexp.MustCompile("(?m)^\\| `([A-Z]+ /[^`]*)` \\| (.*) \\|$")
	heading = regexp.MustCompile("(?ms)^## [^\n`]*`([A-Z]+ /[^`]*)`\n\n(.*?)\n\n\\|")
	asked   = regexp.MustCompile("`\\?([a-z_]+=[^`]*)`")
	inPath  = regexp.MustCompile(`\{([a-z]+)\}`)
	odd     = regexp.MustCompile(`[^A-Za-z0-9]+`)
)

// sentences returns what API.md says of each call.
func sentences(words string) map[string]string {
	said := map[string]string{}
	for _, find := range []*regexp.Regexp{row, heading} {
		for _, m := range find.FindAllStringSubmatch(words, -1) {
			said[m[1]] = m[2]
		}
	}
	return said
}

func (w *writer) operation(c Call, method, path, says string) object {
	parameters := []object{}
	add := func(name, in string, must bool) {
		parameters = append(parameters, object{"name": name, "in": in, "required": must, "schema": object{"type": "string"}})
	}
	for _, m := range inPath.FindAllStringSubmatch(path, -1) {
		add(m[1], "path", true)
	}
	var names []string
	for _, m := range asked.FindAllStringSubmatch(says, -1) {
		for _, one := range strings.Fields(m[1]) {
			name, _, _ := strings.Cut(strings.TrimPrefix(one, "&"), "=")
			if !slices.Contains(names, name) {
				names = append(names, name)
				add(name, "query", false)
			}
		}
	}
	good := object{"description": "Done."}
	status := c.Status
	if c.Answers == nil {
		status = 204
	} else {
		if status == 0 {
			status = 200
		}
		if c.Answers != (Any{}) || status != 101 {
			good["content"] = w.content(c.Answers, false)
		}
	}
	answers := object{strconv.Itoa(status): good, "default": object{
		"description": "Refused.", "content": object{"application/json": object{"schema": refTo("error")}},
	}}
	if c.Also != 0 {
		answers[strconv.Itoa(c.Also)] = good
	}
	o := object{
		"operationId": strings.ToLower(method) + "_" + strings.Trim(odd.ReplaceAllString(strings.TrimPrefix(path, "/api/v1"), "_"), "_"),
		"description": says, "parameters": parameters, "responses": answers,
	}
	if c.Asks != nil {
		o["requestBody"] = object{"content": w.content(c.Asks, true)}
	}
	return o
}

func (w *writer) content(v any, asks bool) object {
	switch v := v.(type) {
	case File:
		return object{string(v): object{}}
	case Named:
		return object{"application/json": object{"schema": refTo(place(string(v), ""))}}
	case Any:
		return object{"application/json": object{"schema": object{}}}
	}
	return object{"application/json": object{"schema": w.of(reflect.TypeOf(v), asks)}}
}
