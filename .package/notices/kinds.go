package main

import (
	"errors"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// kinds are the licences that may be passed on in a binary with no more than
// their text beside it, by words that only they have. The names are those of
// the SPDX licence list (spdx.org/licenses), from memory.
var kinds = []struct {
	name string
	has  []string
	not  string // words that make it another kind
}{
	{"Apache-2.0", []string{"apache license", "version 2.0"}, "mozilla public license"},
	{"MIT", []string{"permission is hereby granted, free of charge, to any person", "the above copyright notice and this permission notice"}, ""},
	{"BSD-3-Clause", []string{"redistribution and use in source and binary forms", "neither the name"}, ""},
	{"BSD-2-Clause", []string{"redistribution and use in source and binary forms"}, "neither the name"},
	{"ISC", []string{"permission to use, copy, modify, and", "distribute this software for any purpose with or without fee"}, ""},
	{"MPL-2.0", []string{"mozilla public license version 2.0"}, ""},
	{"Unlicense", []string{"this is free and unencumbered software released into the public domain"}, ""},
	{"CC0-1.0", []string{"cc0 1.0 universal"}, ""},
	{"CC-BY-4.0", []string{"creative commons attribution 4.0 international public license"}, ""},
	{"OFL-1.1", []string{"sil open font license version 1.1"}, ""},
}

// kindsOf names the licences that a text consists of.
func kindsOf(text string) ([]string, error) {
	plain := strings.ToLower(strings.Join(strings.Fields(text), " "))
	var found []string
	for _, k := range kinds {
		has := func(words string) bool { return strings.Contains(plain, words) }
		if (k.not == "" || !has(k.not)) && !slices.ContainsFunc(k.has, func(w string) bool { return !has(w) }) {
			found = append(found, k.name)
		}
	}
	if len(found) == 0 {
		return nil, errors.New("a licence of no kind that is known here: read it, and name it in kinds.go if it may be passed on so")
	}
	// The MPL names these as secondary licences.
	if !slices.Contains(found, "MPL-2.0") && strings.Contains(plain, "general public license") {
		return nil, errors.New("it speaks of a General Public License: read it")
	}
	return found, nil
}

var (
	licenceName = regexp.MustCompile(`(?i)^(licen[sc]es?|copying|unlicense)([-_.].*)?$`)
	besideName  = regexp.MustCompile(`(?i)^(notices?|patents|copyright)([-_.].*)?$`)
)

func isLicence(name string) bool {
	base := filepath.Base(name)
	return licenceName.MatchString(base) && filepath.Ext(base) != ".go"
}

// isWanted reports whether a file is a licence or belongs beside it.
func isWanted(name string) bool {
	base := filepath.Base(name)
	return isLicence(name) || besideName.MatchString(base) && filepath.Ext(base) != ".go"
}

func addNew(dst []string, names ...string) []string {
	for _, n := range names {
		if !slices.Contains(dst, n) {
			dst = append(dst, n)
		}
	}
	return dst
}
