package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// pageLibraries reads which libraries the page is made of from the lock file,
// and their licences from what was installed by it. tooling is where both are;
// made is where `go generate` puts the libraries for embedding.
func pageLibraries(tooling, made string) ([]library, error) {
	body, err := os.ReadFile(filepath.Join(tooling, "package-lock.json"))
	if err != nil {
		return nil, err
	}
	var lock struct {
		Packages map[string]struct {
			Version string
			Dev     bool
		}
	}
	if err := json.Unmarshal(body, &lock); err != nil {
		return nil, fmt.Errorf("package-lock.json: %w", err)
	}
	// The page's own list, which is embedded with it, must name the same.
	embedded, err := os.ReadFile(filepath.Join(made, "licences.txt"))
	if err != nil {
		return nil, fmt.Errorf("the page's libraries are not there: run go generate ./... (%w)", err)
	}
	var all []library
	for place, p := range lock.Packages {
		if place == "" || p.Dev {
			continue
		}
		l := library{name: strings.TrimPrefix(place, "node_modules/"), version: p.Version, from: filepath.Join(tooling, place)}
		installed, err := installedVersion(l.from)
		if err != nil {
			return nil, fmt.Errorf("%s: %w: run go generate ./...", l.name, err)
		}
		if installed != l.version {
			return nil, fmt.Errorf("%s is installed in version %s, but the lock file says %s: run go generate ./...", l.name, installed, l.version)
		}
		if !strings.Contains(string(embedded), l.name+" "+l.version+"\n") {
			return nil, fmt.Errorf("%s %s is in the lock file, but not among the page's libraries: run go generate ./..., or take it out", l.name, l.version)
		}
		if l.files, err = licencesOf(l.from, l.from); err != nil {
			return nil, err
		}
		all = append(all, l)
	}
	slices.SortFunc(all, func(a, b library) int { return strings.Compare(a.name, b.name) })
	return all, nil
}

func installedVersion(folder string) (string, error) {
	body, err := os.ReadFile(filepath.Join(folder, "package.json"))
	if err != nil {
		return "", err
	}
	var p struct{ Version string }
	return p.Version, json.Unmarshal(body, &p)
}
