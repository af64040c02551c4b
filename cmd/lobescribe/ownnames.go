package main

import (
	"lobescribe/storage"
)

// called are the builder's own names of valves, by engine.
type called map[string]storage.Engine

// whatIsCalled reads them; of an engine that does not read, none.
func whatIsCalled(store interface {
	Engines() ([]storage.Engine, error)
}) called {
	all, _ := store.Engines()
	c := called{}
	for _, e := range all {
		if len(e.ValveNames) > 0 {
			c[e.ID] = e
		}
	}
	return c
}

// valve is a valve as it is printed: "3I", "3I (A3)".
func (c called) valve(engine, name string) string {
	if own := c[engine].ValveNames[name]; own != "" && own != name {
		return name + " (" + own + ")"
	}
	return name
}

// named is the standard name of what somebody calls a valve; a text that is nobody's
// name stays as it is, for whoever refuses it.
func (c called) named(engine, text string) string {
	e := c[engine]
	if len(e.ValveNames) == 0 {
		return text
	}
	if v, ok := e.ValveNames.Find(text, e.Valves()); ok {
		return v.String()
	}
	return text
}
