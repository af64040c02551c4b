package main

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestMain(m *testing.M) {
	// As the release build runs it: from the top of the source tree.
	if err := os.Chdir("../.."); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

func TestKindsOf(t *testing.T) {
	read := func(name string) string {
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		return string(b)
	}
	module := func(path string) string {
		out, err := goCommand(runtime.GOOS, runtime.GOARCH, "list", "-m", "-f", "{{.Dir}}", path)
		require.NoError(t, err)
		return strings.TrimSpace(string(out))
	}
	for name, want := range map[string][]string{
		"LICENSE": {"MIT"},
		filepath.Join(module("github.com/spf13/cobra"), "LICENSE.txt"):   {"Apache-2.0"},
		filepath.Join(module("github.com/spf13/pflag"), "LICENSE"):       {"BSD-3-Clause"},
		filepath.Join(module("github.com/gorilla/websocket"), "LICENSE"): {"BSD-2-Clause"},
	} {
		got, err := kindsOf(read(name))
		assert.NoError(t, err, name)
		assert.Equal(t, want, got, name)
	}
	for _, text := range []string{
		"", "All rights reserved.",
		"GNU GENERAL PUBLIC LICENSE\nVersion 2, June 1991",
		read("LICENSE") + "\nParts are under the GNU Lesser General Public License.",
	} {
		_, err := kindsOf(text)
		assert.Error(t, err, "%.60q", text)
	}
}

// What is linked in differs between targets, and what a target needs is there.
func TestNoticesOfTargets(t *testing.T) {
	texts := map[string]string{}
	for _, target := range []string{"linux/amd64", "linux/arm", "windows/amd64", "darwin/arm64"} {
		system, arch, _ := strings.Cut(target, "/")
		linked, err := linkedLibraries(system, arch)
		require.NoError(t, err, target)
		var b strings.Builder
		require.NoError(t, write(&b, linked), target)
		texts[target] = b.String()
		for _, has := range []string{"Go standard library go", "go.etcd.io/bbolt v", "go.bug.st/serial v", "Apache License"} {
			assert.Contains(t, b.String(), has, target)
		}
		assert.NotContains(t, b.String(), "stretchr/testify", "%s: a library of the tests is not linked in", target)
	}
	const onWindowsOnly = "github.com/inconshreveable/mousetrap v"
	assert.Contains(t, texts["windows/amd64"], onWindowsOnly)
	assert.NotContains(t, texts["linux/amd64"], onWindowsOnly)
}

func TestLicenceMissingOrUnknown(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "NOTICE"), []byte("made by somebody"), 0o644))
	var b strings.Builder
	files, err := licencesOf(dir, dir)
	require.NoError(t, err)
	err = write(&b, []library{{name: "bare", version: "v1", from: dir, files: files}})
	assert.ErrorContains(t, err, "bare v1: no licence file", "a notice is no licence")

	require.NoError(t, os.WriteFile(filepath.Join(dir, "LICENSE"), []byte("You may look at it."), 0o644))
	files, err = licencesOf(dir, dir)
	require.NoError(t, err)
	err = write(&b, []library{{name: "odd", version: "v1", from: dir, files: files}})
	assert.ErrorContains(t, err, "odd v1: LICENSE: a licence of no kind that is known here")
	assert.Empty(t, b.String(), "nothing half written")
	assert.Error(t, write(&b, nil))
}

func TestPageLibraries(t *testing.T) {
	tooling, made := t.TempDir(), t.TempDir()
	put := func(name, text string) {
		require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o755))
		require.NoError(t, os.WriteFile(name, []byte(text), 0o644))
	}
	put(filepath.Join(tooling, "package-lock.json"), `{"packages": {
		"": {"version": "0"},
		"node_modules/tool": {"version": "9.0.0", "dev": true},
		"node_modules/part": {"version": "1.2.3"}}}`)
	_, err := pageLibraries(tooling, made)
	assert.ErrorContains(t, err, "run go generate")

	put(filepath.Join(made, "licences.txt"), "part 1.2.3\n\nMIT\n")
	put(filepath.Join(tooling, "node_modules/part/package.json"), `{"version": "1.2.2"}`)
	_, err = pageLibraries(tooling, made)
	assert.ErrorContains(t, err, "installed in version 1.2.2")

	put(filepath.Join(tooling, "node_modules/part/package.json"), `{"version": "1.2.3"}`)
	all, err := pageLibraries(tooling, made)
	require.NoError(t, err)
	require.Len(t, all, 1, "tools are not part of the page")
	assert.ErrorContains(t, write(&strings.Builder{}, all), "part 1.2.3: no licence file")

	put(filepath.Join(made, "licences.txt"), "other 1.2.3\n\nMIT\n")
	_, err = pageLibraries(tooling, made)
	assert.ErrorContains(t, err, "not among the page's libraries")
}
