package main

import (
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"lobescribe/device/measure"
)

// questionFlags declares the flags of one question and remembers whether any
// was given and in which unit the first length came.
type questionFlags struct {
	set   *pflag.FlagSet
	names []string
	unit  measure.Unit
	// forms read what is not one length, angle, number or word, by the name of the
	// flag. What comes back is the field's value, or one more of its slice.
	forms map[string]func(text string) (any, error)
	// keys are the flags of the question's JSON keys, by their whole path.
	keys map[string]string
	// times is how often each flag was given.
	times map[string]int
	// finish, if set, puts the question together once all flags are read.
	finish func()
}

// given says whether any flag of the question was on the command line.
func (f *questionFlags) given() bool {
	for _, name := range f.names {
		if f.set.Changed(name) {
			return true
		}
	}
	return false
}

// tableUnit is the unit to print lengths in: word if there is one, else that
// of the first length flag, so that who measures in inches reads inches.
func (f *questionFlags) tableUnit(word string) (measure.Unit, error) {
	if word != "" {
		return measure.ParseUnit(word)
	}
	switch f.unit {
	case measure.NoUnit, measure.InMicrometres:
		return measure.InMillimetres, nil
	case measure.InThou:
		return measure.InInches, nil
	}
	return f.unit, nil
}

// flagValue is a flag whose text is handed to a function.
type flagValue struct {
	kind string
	take func(text string) error
	text string
}

func (v *flagValue) String() string { return v.text }
func (v *flagValue) Type() string   { return v.kind }
func (v *flagValue) Set(text string) error {
	v.text = text
	return v.take(text)
}

// value declares a flag whose text take understands; it may come many times.
func (f *questionFlags) value(name, kind, usage string, take func(text string) error) {
	f.names = append(f.names, name)
	f.set.Var(&flagValue{kind: kind, take: take}, name, usage)
}

// parseLength reads a length with its unit and remembers the unit.
func (f *questionFlags) parseLength(text string) (measure.Length, error) {
	l, err := measure.ParseLength(text)
	if err == nil && f.unit == measure.NoUnit {
		f.unit, _ = measure.ParseUnit(unitWord(text)) // it parsed within text
	}
	return l, err
}

// parseLengths reads lengths between separators. The unit may stand behind the
// last only, as people write it ("0.015, 0.030 in"), or be otherwise.
func (f *questionFlags) parseLengths(text, separator string, otherwise measure.Unit) ([]measure.Length, error) {
	parts := strings.Split(text, separator)
	if u, err := measure.ParseUnit(unitWord(parts[len(parts)-1])); err == nil {
		otherwise = u
	}
	var ls []measure.Length
	for _, p := range parts {
		l, err := measure.ParseLengthIn(p, otherwise)
		if err != nil {
			return nil, err
		}
		ls = append(ls, l)
	}
	if f.unit == measure.NoUnit {
		f.unit = otherwise
	}
	return ls, nil
}

// unitWord is what stands behind the number in a length.
func unitWord(text string) string { return strings.TrimLeft(text, " +-.0123456789") }

// parts splits a flag of several parts by colons, "STACK: BELOW".
func parts(text, form string, least, most int) ([]string, error) {
	p := strings.Split(text, ":")
	if len(p) < least || len(p) > most {
		return nil, fmt.Errorf("%q: expected %s", text, form)
	}
	for i := range p {
		p[i] = strings.TrimSpace(p[i])
	}
	return p, nil
}
