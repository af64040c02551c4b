package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lobescribe/device/lines/formats"
	"lobescribe/device/nearest"
)

// maxSettings bounds what is read of a settings file.
const maxSettings = 64 << 10

// firstReadable returns the first of files that is there, or "". One that may
// not be read is passed over: the system's may hold what only the service is to
// know, and a user of the same machine has settings of their own.
func firstReadable(files []string) string {
	for _, name := range files {
		if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
			return name // opening a pipe would wait; reading says what is wrong
		}
		f, err := os.Open(name)
		if err == nil {
			f.Close()
			return name
		}
		if !errors.Is(err, os.ErrNotExist) && !errors.Is(err, os.ErrPermission) {
			return name // reading it will say what is wrong
		}
	}
	return ""
}

// readSettings reads a settings file. Its errors name the line.
func readSettings(name string, known map[string]*pflag.Flag) ([]given, error) {
	if info, err := os.Stat(name); err == nil && info.Mode()&os.ModeNamedPipe != 0 { // opening it would wait for whoever writes
		return nil, fmt.Errorf("read the settings: %s is a pipe; give the name of a file", name)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("read the settings: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxSettings+1))
	if err != nil {
		return nil, fmt.Errorf("read the settings: %w", err)
	}
	if len(text) > maxSettings {
		return nil, fmt.Errorf("read the settings: %s is larger than %d bytes", name, maxSettings)
	}
	return parseSettings(string(text), name, known)
}

// parseSettings reads settings out of text; name is what it is called.
func parseSettings(text, name string, known map[string]*pflag.Flag) ([]given, error) {
	values := map[string]any{}
	if line := formats.TooDeep(text); line > 0 {
		return nil, fmt.Errorf("%s:%d: nested deeper than settings ever are: write NAME = value", name, line)
	}
	if _, err := toml.Decode(text, &values); err != nil {
		var at toml.ParseError
		if errors.As(err, &at) {
			return nil, fmt.Errorf("%s:%d: %s", name, at.Position.Line, at.Message)
		}
		return nil, fmt.Errorf("%s: %s", name, strings.TrimPrefix(err.Error(), "toml: "))
	}
	var all []given
	for _, key := range slices.Sorted(maps.Keys(values)) {
		where := name
		if line := lineOfKey(text, key); line > 0 {
			where = name + ":" + strconv.Itoa(line)
		}
		f := known[key]
		if f == nil {
			return nil, fmt.Errorf("%s: %s", where, notASetting(key, values[key], known))
		}
		texts, err := textsOf(values[key], f)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", where, err)
		}
		if isPath(f) && texts[0] != "" {
			texts[0] = besides(name, texts[0])
		}
		all = append(all, given{flag: f, values: texts, from: byFile, where: where})
	}
	return all, nil
}

// notASetting says what is wrong with a key, and what may have been meant.
func notASetting(key string, value any, known map[string]*pflag.Flag) string {
	names := slices.Sorted(maps.Keys(known))
	if _, table := value.(map[string]any); table && known[key] == nil {
		return fmt.Sprintf("%q is a table, and there are none here: write NAME = value", key)
	}
	if slices.Contains(onlyTyped[:], key) {
		return fmt.Sprintf("%q is for the command line only", key)
	}
	plain := strings.ToLower(strings.ReplaceAll(key, "_", "-"))
	if near := nearest.Word(plain, names); near != "" {
		return fmt.Sprintf("%q is no setting; did you mean %q?", key, near)
	}
	return fmt.Sprintf("%q is no setting (`lobescribe config` lists them)", key)
}

// lineOfKey returns the line on which a key is set; 0 if it is written in a way
// that hides it.
func lineOfKey(text, key string) int {
	starts := regexp.MustCompile(`^[ \t]*(\[+[ \t]*)?["']?` + regexp.QuoteMeta(key) + `["']?[ \t]*[\].=]`)
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		if !starts.MatchString(l) {
			continue
		}
		// In the middle of a text of several lines what stands before is no
		// whole file.
		if _, err := toml.Decode(strings.Join(lines[:i], "\n"), &map[string]any{}); err == nil {
			return i + 1
		}
	}
	return 0
}

// textsOf returns a value of the file as the flag reads it. Its kind must be
// right: that "yes" is no truth value is better said than guessed at.
func textsOf(v any, f *pflag.Flag) ([]string, error) {
	wants := wanted(f)
	_, list := f.Value.(pflag.SliceValue)
	switch v := v.(type) {
	case string:
		if wants == "" || wants == aTime || list {
			return []string{v}, nil
		}
	case bool:
		if wants == aTruth {
			return []string{strconv.FormatBool(v)}, nil
		}
	case int64:
		if wants == aWhole || wants == aNumber {
			return []string{strconv.FormatInt(v, 10)}, nil
		}
	case float64:
		if wants == aNumber {
			return []string{strconv.FormatFloat(v, 'g', -1, 64)}, nil
		}
	case []any:
		var texts []string
		for _, e := range v {
			s, ok := e.(string)
			if !ok || !list {
				return nil, fmt.Errorf("%s is %s", f.Name, cmp.Or(wants, aText))
			}
			texts = append(texts, s)
		}
		if len(texts) > 0 {
			return texts, nil
		}
	}
	return nil, fmt.Errorf("%s is %s", f.Name, cmp.Or(wants, aText))
}

// What values may be.
const (
	aText   = "a text in quotes"
	aTruth  = "true or false"
	aWhole  = "a whole number"
	aNumber = "a number"
	aTime   = `a length of time, as in "5s"`
)

// wanted says what values a flag takes; "" for a text.
func wanted(f *pflag.Flag) string {
	switch f.Value.Type() {
	case "bool":
		return aTruth
	case "int", "int64", "uint", "uint64", "count":
		return aWhole
	case "float64":
		return aNumber
	case "duration":
		return aTime
	}
	return ""
}

// isPath tells whether a flag names a file or folder: it is the one thing that
// completing it in a shell has to know as well.
func isPath(f *pflag.Flag) bool {
	_, file := f.Annotations[cobra.BashCompFilenameExt]
	_, folder := f.Annotations[cobra.BashCompSubdirsInDir]
	return file || folder
}

// besides returns a path that a settings file names: from the folder of that
// file, because a service has no other folder that its owner would think of.
func besides(file, path string) string {
	if rest, home := strings.CutPrefix(path, "~/"); home {
		if dir, err := os.UserHomeDir(); err == nil {
			return filepath.Join(dir, rest)
		}
	}
	if filepath.IsAbs(path) {
		return path
	}
	if whole, err := filepath.Abs(file); err == nil {
		file = whole
	}
	return filepath.Join(filepath.Dir(file), path)
}
