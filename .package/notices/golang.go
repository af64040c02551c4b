package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// linkedLibraries asks the go command what is linked into the binary of a target.
func linkedLibraries(system, arch string) ([]library, error) {
	out, err := goCommand(system, arch, "list", "-deps", "-json=ImportPath,Dir,Standard,Module", "./cmd/lobescribe")
	if err != nil {
		return nil, err
	}
	root, err := goCommand(system, arch, "env", "GOROOT")
	if err != nil {
		return nil, err
	}
	version, err := goCommand(system, arch, "env", "GOVERSION")
	if err != nil {
		return nil, err
	}
	all := []library{{name: "Go standard library", version: strings.TrimSpace(string(version)),
		from: strings.TrimSpace(string(root)), files: []string{"LICENSE", "PATENTS"}}}
	found := map[string]*library{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct {
			ImportPath, Dir string
			Standard        bool
			Module          *struct {
				Path, Version, Dir string
				Main               bool
				Replace            *struct{ Path, Version, Dir string }
			}
		}
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		if p.Standard || p.Module != nil && p.Module.Main {
			continue
		}
		if p.Module == nil {
			return nil, fmt.Errorf("package %s belongs to no module", p.ImportPath)
		}
		if p.Module.Replace != nil {
			return nil, fmt.Errorf("module %s is replaced: say here whose licence holds", p.Module.Path)
		}
		l := found[p.Module.Path]
		if l == nil {
			l = &library{name: p.Module.Path, version: p.Module.Version, from: p.Module.Dir}
			found[p.Module.Path] = l
		}
		files, err := licencesOf(p.Dir, p.Module.Dir)
		if err != nil {
			return nil, err
		}
		l.files = addNew(l.files, files...)
	}
	for _, l := range found {
		all = append(all, *l)
	}
	slices.SortFunc(all[1:], func(a, b library) int { return strings.Compare(a.name, b.name) })
	for _, l := range all {
		slices.SortFunc(l.files, func(a, b string) int {
			if d := strings.Count(a, string(filepath.Separator)) - strings.Count(b, string(filepath.Separator)); d != 0 {
				return d
			}
			return strings.Compare(a, b)
		})
	}
	return all, nil
}

// licencesOf returns the licences and notices in a package's folder and in those
// above it, up to its module's, which may hold parts under a licence of their own.
func licencesOf(folder, module string) (names []string, err error) {
	for {
		entries, err := os.ReadDir(folder)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if e.Type().IsRegular() && isWanted(e.Name()) {
				name, err := filepath.Rel(module, filepath.Join(folder, e.Name()))
				if err != nil {
					return nil, err
				}
				names = append(names, name)
			}
		}
		if folder == module || len(folder) <= len(module) {
			return names, nil
		}
		folder = filepath.Dir(folder)
	}
}

// goCommand runs the go command as the release builds do.
func goCommand(system, arch string, args ...string) ([]byte, error) {
	cmd := exec.Command("go", args...)
	cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH="+arch, "CGO_ENABLED=0")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go %s: %w", args[0], err)
	}
	return out, nil
}
