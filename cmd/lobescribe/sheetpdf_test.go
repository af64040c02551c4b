package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// storeWithV8 makes a store that holds an engine v8, and returns its folder.
func storeWithV8(t *testing.T) string {
	t.Helper()
	data := t.TempDir()
	store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{})
	require.NoError(t, err)
	_, err = store.PutEngine(storage.Engine{ID: "v8", Name: "a V8 to print", Cylinders: 8, Layout: storage.Vee, ValvesPerCylinder: 2})
	require.NoError(t, errors.Join(err, store.Close()))
	return data
}

func TestTheSheetAsPDF(t *testing.T) {
	if _, err := findBrowser(); err != nil {
		if os.Getenv("LOBESCRIBE_NEED_CHROMIUM") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	data, folder := storeWithV8(t), t.TempDir()
	name := filepath.Join(folder, "a sheet, 100% #1.pdf") // what an address would read as something else
	var out, complaint bytes.Buffer
	require.Zero(t, run(t.Context(), []string{"sheet", "v8", "-o", name, "--data", data}, strings.NewReader(""), &out, &complaint), complaint.String())
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.True(t, bytes.HasPrefix(text, []byte("%PDF-")), "%.20q", text)
	pages := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(text, -1))
	assert.True(t, pages >= 1 && pages <= 6, "%d pages of an engine of which nothing is measured", pages)
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing is left beside it")
}

func TestASheetOfNoOtherKind(t *testing.T) {
	data := storeWithV8(t)
	name := filepath.Join(t.TempDir(), "sheet.xlsx")
	var out, complaint bytes.Buffer
	assert.Equal(t, exitWords, run(t.Context(), []string{"sheet", "v8", "-o", name, "--data", data}, strings.NewReader(""), &out, &complaint))
	assert.Contains(t, complaint.String(), "let the name end in .html or .pdf")
	assert.NoFileExists(t, name)
	if runtime.GOOS != "linux" {
		return // elsewhere a browser may be in its usual place, on no PATH
	}
	t.Setenv("PATH", t.TempDir())
	complaint.Reset()
	name = filepath.Join(t.TempDir(), "sheet.pdf")
	assert.Equal(t, exitFailed, run(t.Context(), []string{"sheet", "v8", "-o", name, "--data", data}, strings.NewReader(""), &out, &complaint))
	assert.Contains(t, complaint.String(), "write -o FILE.html and print that from any browser")
	assert.NoFileExists(t, name)
}
