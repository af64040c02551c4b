package storage

import (
	"errors"
	"fmt"
	"strings"

	"lobescribe/capture/valve"
	"lobescribe/device/nearest"
)

// CheckLabel says whether a trace may be said to be of an engine and a valve: the
// engine is in the store and has such a valve. Without an engine, a valve has to
// be a valve's name. The error is a [*FieldError] that names what is near.
//
// What a store already says of a trace is not asked for: an engine may be
// deleted, and its traces stay.
func (s *Store) CheckLabel(engine, name string) error {
	bad := func(field, format string, args ...any) error {
		return &FieldError{Document: "trace", Name: field, Says: fmt.Sprintf(format, args...)}
	}
	if engine == "" {
		if _, err := valve.Parse(name); name != "" && err != nil {
			return bad("valve", "cannot be so: %v", err)
		}
		return nil
	}
	e, err := s.Engine(engine)
	if errors.Is(err, ErrNotFound) {
		all, err := s.Engines()
		if err != nil && len(DamagesIn(err)) == 0 {
			return err
		}
		var ids []string
		for _, e := range all {
			ids = append(ids, e.ID)
		}
		return bad("engine", "cannot be %q: %s", engine, noSuch("engine", engine, ids, "make one on the page first, or leave it out"))
	}
	if err != nil {
		if len(DamagesIn(err)) > 0 {
			return nil // it is there, and its valves cannot be asked for
		}
		return err
	}
	if name == "" {
		return nil
	}
	return e.CheckValve(bad, name)
}

// CheckValve says whether the engine has a valve of that name; bad makes the
// error, and may be nil for one of the engine's own.
func (e Engine) CheckValve(bad func(field, format string, args ...any) error, name string) error {
	if bad == nil {
		bad = badField("engine", e.ID)
	}
	names := valve.Names(e.Valves())
	for _, one := range names {
		if one == name {
			return nil
		}
	}
	return bad("valve", "cannot be %q: %s", name, noSuch("valve", name, names, "the engine has none"))
}

// noSuch says that there is no such thing, which one is near, and which there
// are.
func noSuch(what, name string, all []string, none string) string {
	if len(all) == 0 {
		return fmt.Sprintf("there is no %s yet; %s", what, none)
	}
	near := nearest.Word(strings.ToUpper(name), all)
	if near == "" {
		near = nearest.Word(strings.ToLower(name), all)
	}
	if near != "" {
		near = fmt.Sprintf(" (did you mean %s?)", near)
	}
	return fmt.Sprintf("there is no such %s%s; there %s", what, near, areThese(all))
}

// areThese lists the first of them, as many as a person reads.
func areThese(all []string) string {
	const most = 24
	rest := ""
	if len(all) > most {
		all, rest = all[:most], fmt.Sprintf(" and %d more", len(all)-most)
	}
	verb := "are"
	if len(all) == 1 {
		verb = "is"
	}
	return verb + " " + strings.Join(all, " ") + rest
}
