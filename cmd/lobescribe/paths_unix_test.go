//go:build unix

package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// pathTaker is one place of the command line that takes a path: the words before
// and behind it.
type pathTaker struct {
	name           string
	before, behind []string
	writes, folder bool
	// made: what is not there yet is made.
	made bool
}

// wordSamples stand for the words that a command's Use asks for.
var wordSamples = map[string]string{
	"ADDRESS": "tcp://127.0.0.1:1", "ENGINE": "v8", "ID": "1", "TRACE": "1", "OPENING": "1", "PORT": "/dev/ttyNone0", "FILE": "GOOD", "FILE.html": "GOOD", "ID|FILE": "GOOD", "FOLDER": "GOOD",
}

// flagsBeside are the flags without which a flag's path is not looked at.
var flagsBeside = map[string][]string{
	"cert": {"--tls", "--cert-key", "GOOD"}, "cert-key": {"--tls", "--cert", "GOOD"}, "nats-config": {"--embedded"},
	"shop-ca": {"--shop", "tls://127.0.0.1:1"}, "shop-creds": {"--shop", "nats://127.0.0.1:1"}, "raw": {"-n", "1"},
	"calc clearance --curve": {"--stroke", "80 mm"}, "lift-turn": {"--turn", "GOOD", "--reference", "GOOD"}, "reference": {"--turn", "GOOD"}, "turn": {"--reference", "GOOD"},
	"first": {"--second", "GOOD"}, "second": {"--first", "GOOD"}, "intake-lobe": {"--intake", "GOOD"}, "exhaust-lobe": {"--exhaust", "GOOD"},
	"proof": {}, "config": {}, "data": {}, "formats": {},
}

// takesPath tells the flags whose value is a path.
func takesPath(f *pflag.Flag) bool {
	if f.Value.Type() == "FILE" || f.Annotations[cobra.BashCompFilenameExt] != nil || f.Annotations[cobra.BashCompSubdirsInDir] != nil {
		return true
	}
	return f.Value.Type() == "string" && regexp.MustCompile(`\b(file|folder)\b`).MatchString(f.Usage) && !strings.Contains(f.Usage, "file's ending")
}

// pathTakers walks the commands.
func pathTakers(t *testing.T) (all []pathTaker) {
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			walk(sub)
		}
		if !c.Runnable() || !c.HasParent() || c.Name() == "help" || strings.HasPrefix(c.CommandPath(), "lobescribe completion") {
			return
		}
		path := strings.Fields(c.CommandPath())[1:]
		words, takes := slices.Clone(path), []string{}
		optional := regexp.MustCompile(`\[[^\]]*\]`).ReplaceAllString(c.Use, "")
		for _, w := range strings.Fields(optional)[1:] {
			if strings.HasPrefix(w, "-") {
				words = append(words, w)
				continue
			}
			sample, known := wordSamples[w]
			require.True(t, known, "%s: say in wordSamples what %s is", c.Use, w)
			words = append(words, sample)
			takes = append(takes, w)
		}
		if c.Flags().Lookup("addr") != nil {
			words = append(words, "--addr", "127.0.0.1:0")
		}
		name := strings.Join(path, " ")
		for _, w := range strings.Fields(c.Use)[1:] {
			for i, sample := range words {
				if sample == "GOOD" && regexp.MustCompile(`FILE|FOLDER`).MatchString(w) && !strings.Contains(w, "]") {
					all = append(all, pathTaker{name: name + " " + w, before: words[:i], behind: words[i+1:],
						writes: w == "FILE.html" || name == "backup", folder: w == "FOLDER", made: w == "FOLDER" || name == "backup" || w == "FILE.html"})
					break
				}
			}
			if w == "[FILE]" {
				all = append(all, pathTaker{name: name + " " + w, before: words})
			}
		}
		flags := func(f *pflag.Flag) {
			if !takesPath(f) {
				return
			}
			more, known := flagsBeside[name+" --"+f.Name]
			if !known {
				more = flagsBeside[f.Name]
			}
			typed := words
			if len(takes) > 0 && f.Name == "out" { // -o FILE of the Use
				typed = path
				for _, w := range takes {
					if s := wordSamples[w]; s != "GOOD" {
						typed = append(slices.Clone(typed), s)
					}
				}
			}
			writes := regexp.MustCompile(`\bwrite\b`).MatchString(f.Usage)
			all = append(all, pathTaker{name: name + " --" + f.Name, before: append(append(slices.Clone(typed), more...), "--"+f.Name),
				writes: writes, folder: f.Annotations[cobra.BashCompSubdirsInDir] != nil, made: writes || f.Name == "data"})
		}
		c.LocalFlags().VisitAll(flags)
		if name == "traces" || name == "engines" {
			c.Root().PersistentFlags().VisitAll(flags)
		}
	}
	walk(newRoot())
	return all
}

// rawWords are what the system or a library says, and nobody should have to read.
var rawWords = regexp.MustCompile(`no such file or|is a directory|not a directory|permission denied|input/output error|invalid argument|illegal seek|unexpected (EOF|end)|\bEOF\b|\bopen /|\bstat /|\bread /|\bmkdir /|\.part-|errno|0x[0-9a-f]{6}|goroutine|%!|<nil>`)

// Whatever takes a path is given one that is not there, a folder for a file or a
// file for a folder, one that may not be used, a pipe, and an empty file: one plain
// sentence, which names it. The places are found by walking the commands.
func TestEveryPathThatIsWrong(t *testing.T) {
	t.Parallel()
	takers := pathTakers(t)
	require.Greater(t, len(takers), 40, "the walk finds too little")
	built, err := builtBinary()
	require.NoError(t, err)
	if os.Getenv("LOBESCRIBE_BINARY") == "" {
		require.NoError(t, os.Chmod(filepath.Dir(built), 0o755)) // also for whoever may do nothing
	}
	// Not t.TempDir: every folder above must be open to whoever may do nothing.
	root, err := os.MkdirTemp("", "lobescribe-paths-")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(root) })
	require.NoError(t, os.Chmod(root, 0o755))
	good := filepath.Join(root, "good.csv")
	require.NoError(t, os.WriteFile(good, []byte("angle_deg,lift_mm,t_s\n0,0,0\n10,0,1\n"), 0o644))
	data := filepath.Join(root, "data")
	require.NoError(t, os.Mkdir(data, 0o777))
	require.NoError(t, os.Chmod(data, 0o777))
	var out, complaint bytes.Buffer
	require.Zero(t, run(t.Context(), []string{"import", good, "--data", data}, strings.NewReader(""), &out, &complaint), complaint.String())
	store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{})
	require.NoError(t, err)
	_, err = store.PutEngine(storage.Engine{ID: "v8", Name: "v8", Cylinders: 8, ValvesPerCylinder: 2})
	require.NoError(t, errors.Join(err, store.Close()))
	files, err := filepath.Glob(filepath.Join(data, "*"))
	require.NoError(t, err)
	for _, name := range files { // so that it is the path that is refused, and not the store
		require.NoError(t, os.Chmod(name, 0o666))
	}
	count := 0
	for i, p := range takers {
		for _, trouble := range []string{"absent", "absent folder", "wrong kind", "in a file", "unreadable", "pipe", "empty"} {
			if (p.made && trouble == "absent") || (trouble == "empty" && p.folder) || (trouble == "pipe" && p.folder) || (trouble == "absent folder" && p.name == "traces --data") || (trouble == "absent folder" && p.name == "engines --data") {
				continue
			}
			place := filepath.Join(root, fmt.Sprintf("x%d-%s", i, strings.ReplaceAll(trouble, " ", "-")))
			path, mustFail := troubled(t, place, trouble, p)
			typed := append(append(slices.Clone(p.before), path), p.behind...)
			for i, w := range typed {
				if w == "GOOD" {
					typed[i] = good
				}
			}
			if !slices.Contains(typed, "--data") {
				typed = append(typed, "--data", data)
			}
			count++
			ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
			code, says := told(ctx, built, trouble == "unreadable", typed)
			late := ctx.Err() != nil
			stop()
			if testing.Verbose() && os.Getenv("LOBESCRIBE_PATHS_SAYS") != "" {
				t.Logf("%s, %s: %d %s", p.name, trouble, code, says)
			}
			if late {
				assert.Fail(t, "it goes on", "%s, %s: %v: %s", p.name, trouble, typed, says)
				continue
			}
			if mustFail {
				assert.NotZero(t, code, "%s, %s: %v", p.name, trouble, typed)
				assert.True(t, strings.Contains(says, filepath.Base(place)) || strings.Contains(says, filepath.Base(path)), "%s, %s: it names the path: %q", p.name, trouble, says)
			}
			if code != 0 {
				assert.Equal(t, 1, strings.Count("\n"+says, "\nlobescribe: "), "%s, %s: %q", p.name, trouble, says)
			}
			assert.NotRegexp(t, rawWords, says, "%s, %s", p.name, trouble)
		}
	}
	t.Logf("%d places that take a path, %d tries", len(takers), count)
}

// troubled makes a path of the kind of trouble, and tells whether it must be refused.
func troubled(t *testing.T, place, trouble string, p pathTaker) (path string, mustFail bool) {
	t.Helper()
	switch trouble {
	case "absent":
		return place, true
	case "absent folder":
		return filepath.Join(place, "x"), !p.folder || !p.made
	case "in a file":
		require.NoError(t, os.WriteFile(place, []byte("x"), 0o644))
		return filepath.Join(place, "x"), true
	case "wrong kind":
		if p.folder {
			require.NoError(t, os.WriteFile(place, []byte("x"), 0o644))
		} else {
			require.NoError(t, os.Mkdir(place, 0o755))
		}
		return place, true
	case "unreadable":
		if p.folder {
			require.NoError(t, os.Mkdir(place, 0o700))
			return place, true
		}
		if p.writes {
			require.NoError(t, os.Mkdir(place, 0o700))
			return filepath.Join(place, map[bool]string{true: "x.csv", false: "x.html"}[strings.HasPrefix(p.name, "export")]), true
		}
		require.NoError(t, os.WriteFile(place, []byte("angle_deg,lift_mm\n0,0\n"), 0o000))
		return place, true
	case "pipe":
		require.NoError(t, syscall.Mkfifo(place, 0o666))
		go func() { // the other end: it has nothing to say, and reads whatever comes
			if f, err := os.OpenFile(place, os.O_RDWR, 0); err == nil {
				time.Sleep(time.Second)
				f.Close()
			}
		}()
		return place, false
	}
	require.NoError(t, os.WriteFile(place, nil, 0o644))
	return place, false
}

// told runs the command and returns how it ended and what it said on stderr; as
// somebody who may do nothing where asked for, since root may read whatever there is.
func told(ctx context.Context, built string, asNobody bool, typed []string) (int, string) {
	var out, complaint bytes.Buffer
	if !asNobody || os.Geteuid() != 0 {
		type end struct {
			code int
			says string
		}
		ended := make(chan end, 1)
		go func() {
			code := run(ctx, typed, strings.NewReader(""), &out, &complaint)
			ended <- end{code, complaint.String()}
		}()
		select {
		case e := <-ended:
			return e.code, e.says
		case <-time.After(25 * time.Second):
			return -1, "it does not even stop when it is told to"
		}
	}
	cmd := exec.CommandContext(ctx, built, typed...)
	cmd.Stderr, cmd.Dir = &complaint, "/"
	cmd.Env = append(os.Environ(), "HOME=/nonexistent")
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	_ = cmd.Run()
	return cmd.ProcessState.ExitCode(), complaint.String()
}

// What stands in the folder of the store, or where the settings are looked for,
// may be something else than what we put there: a pipe without anybody at its
// other end, a device without an end, gigabytes. Each is refused at once, with a
// sentence that names it; beside a file that only helps it is passed over.
func TestWhatStandsInTheFolderIsNoFile(t *testing.T) {
	kinds := map[string]func(t *testing.T, name string){
		"a pipe":   func(t *testing.T, name string) { require.NoError(t, syscall.Mkfifo(name, 0o600)) },
		"a device": func(t *testing.T, name string) { require.NoError(t, os.Symlink("/dev/zero", name)) },
		"a folder": func(t *testing.T, name string) { require.NoError(t, os.Mkdir(name, 0o700)) },
		"gigabytes": func(t *testing.T, name string) {
			require.NoError(t, os.WriteFile(name, nil, 0o600))
			require.NoError(t, os.Truncate(name, 5<<30))
		},
	}
	for _, c := range []struct {
		file   string
		words  []string
		passed bool // over; what is said is of the store
	}{
		{formatsFile, []string{"formats"}, false},
		{"lan.key", []string{"key"}, false},
		{daemonFile, []string{"traces"}, true},
		{storeFile, []string{"traces"}, false},
		{storeFile + ".closed", []string{"traces"}, true},
		{"lobescribe/lobescribe.toml", []string{"config"}, false},
	} {
		for kind, make := range kinds {
			t.Run(c.file+" "+kind, func(t *testing.T) {
				dir := t.TempDir()
				t.Setenv("XDG_CONFIG_HOME", dir)
				require.NoError(t, os.MkdirAll(filepath.Join(dir, filepath.Dir(c.file)), 0o700))
				make(t, filepath.Join(dir, c.file))
				began := time.Now()
				code, says := told(t.Context(), "", false, append(slices.Clone(c.words), "--data", dir))
				assert.Less(t, time.Since(began), 10*time.Second)
				if c.passed {
					assert.Contains(t, says, "nothing has been recorded there yet")
					return
				}
				assert.NotZero(t, code)
				assert.Contains(t, says, filepath.Base(c.file))
				assert.NotRegexp(t, rawWords, says)
			})
		}
	}
}

// Whoever waits at a pipe that nobody writes into can stop.
func TestWaitingAtAPipeEnds(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, syscall.Mkfifo(pipe, 0o600))
	for _, words := range [][]string{{"analyse", pipe}, {"import", pipe, "--data", t.TempDir()}} {
		ctx, stop := context.WithTimeout(t.Context(), 50*time.Millisecond)
		code, says := told(ctx, "", false, words)
		stop()
		assert.NotEqual(t, -1, code, says)
		assert.NotRegexp(t, rawWords, says)
		t.Log(code, says)
	}
}
