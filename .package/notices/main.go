// Command notices writes the licences of everything that is linked into the
// binary of one target or embedded in its page: the Go modules, the Go standard
// library, and the page's libraries from npm.
//
//	go run ./.package/notices -os linux -arch arm64 -o NOTICES
//
// Which modules those are is asked of the go command, for that very target, so
// that nothing has to be kept up by hand. It fails when a library has no licence
// file, when one is of a kind not named in kinds.go, and when the page's
// libraries are not those of the lock file: somebody must then look.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "notices: "+err.Error())
		os.Exit(1)
	}
}

func run(args []string) error {
	f := flag.NewFlagSet("notices", flag.ContinueOnError)
	system := f.String("os", "linux", "GOOS of the target")
	arch := f.String("arch", "amd64", "GOARCH of the target")
	out := f.String("o", "", "file to write; standard output if none is named")
	if err := f.Parse(args); err != nil {
		return err
	}
	linked, err := linkedLibraries(*system, *arch)
	if err != nil {
		return err
	}
	page, err := pageLibraries("dashboard/ui", "dashboard/page/lib")
	if err != nil {
		return err
	}
	var text bytes.Buffer
	if err := write(&text, append(linked, page...)); err != nil {
		return err
	}
	if *out == "" {
		_, err = os.Stdout.Write(text.Bytes())
		return err
	}
	if err := os.MkdirAll(filepath.Dir(*out), 0o755); err != nil {
		return err
	}
	return os.WriteFile(*out, text.Bytes(), 0o644)
}

// library is one thing that came from elsewhere.
type library struct {
	name, version string
	// from is the folder that the names of its files are relative to.
	from string
	// files hold its licences and notices, the root's first.
	files []string
}

// write prints a list of the libraries and then the texts. All that is wrong is
// said at once.
func write(w io.Writer, all []library) error {
	var list, texts strings.Builder
	var wrong []string
	for _, l := range all {
		kinds, text, err := l.read()
		if err != nil {
			wrong = append(wrong, err.Error())
			continue
		}
		fmt.Fprintf(&list, "%s %s (%s)\n", l.name, l.version, strings.Join(kinds, ", "))
		texts.WriteString(text)
	}
	if len(wrong) > 0 {
		return fmt.Errorf("%s", strings.Join(wrong, "\nnotices: "))
	}
	if len(all) == 0 {
		return fmt.Errorf("no library was found, which cannot be")
	}
	_, err := fmt.Fprintf(w, "Lobescribe is under the licence in the file LICENSE. It contains what follows,\neach under its own licence.\n\n%s%s", &list, &texts)
	return err
}

// read returns the kinds of a library's licences and their texts.
func (l library) read() (kinds []string, text string, err error) {
	var b strings.Builder
	for _, name := range l.files {
		listed := isLicence(name)
		body, err := os.ReadFile(filepath.Join(l.from, name))
		if err != nil {
			return nil, "", fmt.Errorf("%s %s: %w", l.name, l.version, err)
		}
		fmt.Fprintf(&b, "\n%s\n%s %s: %s\n%[1]s\n\n", strings.Repeat("=", 78), l.name, l.version, filepath.ToSlash(name))
		fmt.Fprintf(&b, "%s\n", strings.TrimSpace(string(body)))
		if !listed {
			continue // a notice, or a grant of patents: to be passed on, whatever it says
		}
		found, err := kindsOf(string(body))
		if err != nil {
			return nil, "", fmt.Errorf("%s %s: %s: %w", l.name, l.version, name, err)
		}
		kinds = addNew(kinds, found...)
	}
	if len(kinds) == 0 {
		return nil, "", fmt.Errorf("%s %s: no licence file in %s", l.name, l.version, l.from)
	}
	return kinds, b.String(), nil
}
