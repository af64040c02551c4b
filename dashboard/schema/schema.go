// Package schema holds the JSON Schemas (draft 2020-12) of what others may
// build on: the findings, the live messages, the list of traces, and the lines
// of an exported trace. They say of every field what it means and in what unit
// it is.
//
// The schemas stand in this folder and nowhere else: the daemon serves them
// under /api/v1/schema/, `lobescribe schema` prints them, and the tests hold
// everything that is really sent against them. They refer to each other by
// file name, so they work from a folder as well as from the daemon.
//
// They allow keys they do not know, since a later version may add some; the
// tests use [lobescribe/dashboard/schema/strict], which does not.
package schema

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"strings"
)

//go:embed *.json
var files embed.FS

// ending of the files' names.
const ending = ".json"

// Schema is one of them.
type Schema struct {
	Name  string `json:"name"` // as in "findings"
	Title string `json:"title"`
	Text  []byte `json:"-"` // the JSON text
}

// All returns the schemas, sorted by name.
func All() []Schema {
	list, err := fs.ReadDir(files, ".")
	if err != nil {
		panic(fmt.Sprintf("schema: the embedded folder does not read: %v", err))
	}
	var all []Schema
	for _, f := range list {
		text, err := fs.ReadFile(files, f.Name())
		if err != nil {
			panic(fmt.Sprintf("schema: the embedded %s does not read: %v", f.Name(), err))
		}
		s := Schema{Name: strings.TrimSuffix(f.Name(), ending), Text: text}
		if err := json.Unmarshal(text, &s); err != nil {
			panic(fmt.Sprintf("schema: the embedded %s is no JSON: %v", f.Name(), err))
		}
		all = append(all, s)
	}
	return all
}

// Named returns the schema of a name, with or without .json.
func Named(name string) (Schema, error) {
	var names []string
	for _, s := range All() {
		if s.Name == strings.TrimSuffix(name, ending) {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Schema{}, fmt.Errorf("there is no schema %.40q; there are %s", name, strings.Join(names, ", "))
}
