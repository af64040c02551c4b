package main

import (
	"bytes"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every command and flag that README, manual and the page's Help name is one of
// this binary's; flags of other programs stand in code of their own.
func TestTheManualNamesWhatThereIs(t *testing.T) {
	commands, flags := map[string]bool{}, map[string]bool{"help": true, "version": true}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		commands[c.Name()] = true
		for _, set := range []*pflag.FlagSet{c.Flags(), c.PersistentFlags()} {
			set.VisitAll(func(f *pflag.Flag) { flags[f.Name] = true })
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRoot())
	// Of other programs that the README shows at work: sha256sum, systemctl.
	for _, name := range []string{"check", "ignore-missing", "now"} {
		require.False(t, flags[name], "%s is ours by now: take it off this list", name)
		flags[name] = true
	}
	pages, err := filepath.Glob("../../dashboard/page/help*.js")
	require.NoError(t, err)
	require.NotEmpty(t, pages)
	seen := 0
	for _, file := range append(pages, "../../README.md", "../../dashboard/MANUAL.md") {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile("(?:^|[\\s`(\\[])--([a-z][a-z-]+)").FindAllStringSubmatch(string(text), -1) {
			assert.True(t, flags[m[1]], "%s names --%s, and there is no such flag", filepath.Base(file), m[1])
			seen++
		}
		for _, m := range regexp.MustCompile("(?m)(?:`|^ *)lobescribe ([a-z-]+)").FindAllStringSubmatch(string(text), -1) {
			assert.True(t, commands[strings.TrimSpace(m[1])], "%s names lobescribe %s, and there is no such command", filepath.Base(file), m[1])
			seen++
		}
	}
	require.Greater(t, seen, 40, "the words were not found")
}

// receiver is the name of a method's type.
func receiver(on ast.Expr) string {
	switch on := on.(type) {
	case *ast.StarExpr:
		return receiver(on.X)
	case *ast.IndexExpr:
		return receiver(on.X)
	case *ast.IndexListExpr:
		return receiver(on.X)
	case *ast.Ident:
		return on.Name
	}
	return ""
}

// declared returns the functions, methods and types of the program, as in "Open",
// "Source.Events", "device.Open" and "device.Source.Events", and the constants of
// type FaultKind.
func declared(t *testing.T) (names map[string]bool, kinds []string) {
	t.Helper()
	names = map[string]bool{}
	for _, top := range []string{"capture", "cmd", "dashboard", "device", "storage"} {
		require.NoError(t, filepath.WalkDir("../../"+top, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.Name() == "node_modules" || d.Name() == "testdata" {
				return filepath.SkipDir
			}
			if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			add := func(name string) { names[name], names[f.Name.Name+"."+name] = true, true }
			for _, decl := range f.Decls {
				switch decl := decl.(type) {
				case *ast.FuncDecl:
					name := decl.Name.Name
					if decl.Recv != nil {
						name = receiver(decl.Recv.List[0].Type) + "." + name
					}
					add(name)
				case *ast.GenDecl:
					for _, spec := range decl.Specs {
						switch spec := spec.(type) {
						case *ast.TypeSpec:
							add(spec.Name.Name)
						case *ast.ValueSpec:
							if of, ok := spec.Type.(*ast.Ident); ok && decl.Tok == token.CONST && of.Name == "FaultKind" {
								kinds = append(kinds, strings.Trim(spec.Values[0].(*ast.BasicLit).Value, `"`))
							}
						}
					}
				}
			}
			return nil
		}))
	}
	return names, kinds
}

// What DEVELOPERS names in "Where is what decided", and on the way of a reading from
// tty to screen, is there; and no package but the daemon is entered twice on that way.
func TestTheMapNamesWhatThereIs(t *testing.T) {
	t.Parallel()
	section := developers(t, "## Where is what decided")
	names, _ := declared(t)
	scripts, err := filepath.Glob("../../dashboard/page/*.js")
	require.NoError(t, err)
	require.NotEmpty(t, scripts)
	for _, file := range scripts {
		script, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`export function (\w+)`).FindAllStringSubmatch(string(script), -1) {
			names[m[1]] = true
		}
	}
	isThere := func(path string) bool {
		for _, under := range []string{"", "dashboard/", "capture/", "dashboard/page/"} {
			if _, err := os.Stat(filepath.Join("../..", under, path)); err == nil {
				return true
			}
		}
		return false
	}
	seen := 0
	for _, m := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(section, -1) {
		switch name := m[1]; {
		case strings.HasSuffix(name, "="): // a key of an address
		case strings.ContainsAny(name, "/") || strings.HasSuffix(name, ".go") || strings.HasSuffix(name, ".js"):
			assert.True(t, isThere(name) || isThere(filepath.Join("capture", name)), "there is no %s", name)
			seen++
		default:
			assert.True(t, names[name] || isThere(name), "nothing is called %s", name)
			seen++
		}
	}
	assert.Greater(t, seen, 40, "the names were not found")

	var way []string
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z/]+)` \\|").FindAllStringSubmatch(section[strings.Index(section, "tty to screen"):], -1) {
		way = append(way, m[1])
	}
	require.Greater(t, len(way), 6)
	way = slices.DeleteFunc(way, func(p string) bool { return p == "cmd/lobescribe/daemon" })
	slices.Sort(way)
	assert.Len(t, slices.Compact(slices.Clone(way)), len(way), "entered twice: %v", way)
}

// The core is as long as DEVELOPERS says, give or take, and short enough to be read; and
// what it asks of the packages that may stay shut is what the table of doors names.
func TestTheDoorsOfTheCore(t *testing.T) {
	t.Parallel()
	section := developers(t, "## How much there is to read")
	core, doors := map[string]bool{}, map[string][]string{}
	for _, m := range regexp.MustCompile(`:\(glob\)([\w/]+)/\*\.go`).FindAllStringSubmatch(section, -1) {
		core[m[1]] = true
	}
	quoted := regexp.MustCompile("`([^`]+)`")
	for _, row := range regexp.MustCompile("(?m)^\\| (`.*?) \\| (.*?) \\|").FindAllStringSubmatch(section, -1) {
		opened := strings.Split(row[2], ";")
		for i, m := range quoted.FindAllStringSubmatch(row[1], -1) {
			doors[m[1]] = []string{}
			for _, name := range quoted.FindAllStringSubmatch(opened[min(i, len(opened)-1)], -1) {
				doors[m[1]] = append(doors[m[1]], name[1])
			}
		}
	}
	require.Greater(t, len(core), 8)
	require.Greater(t, len(doors), 15)

	declared := map[string][]string{} // functions and types of each door
	for door, named := range doors {
		for _, f := range sources(t, door) {
			for _, decl := range f.Decls {
				switch decl := decl.(type) {
				case *ast.FuncDecl:
					if decl.Recv == nil {
						declared[door] = append(declared[door], decl.Name.Name)
					}
				case *ast.GenDecl:
					for _, spec := range decl.Specs {
						if spec, ok := spec.(*ast.TypeSpec); ok {
							declared[door] = append(declared[door], spec.Name.Name)
						}
					}
				}
			}
		}
		assert.Subset(t, declared[door], named, "there is no such thing in %s", door)
	}
	lines := 0
	for dir := range core {
		for path, f := range sources(t, dir) {
			source, err := os.ReadFile(path)
			require.NoError(t, err)
			lines += bytes.Count(source, []byte("\n"))
			imported := map[string]string{}
			for _, i := range f.Imports {
				if of, ours := strings.CutPrefix(strings.Trim(i.Path.Value, `"`), "lobescribe/"); ours && !core[of] {
					assert.Contains(t, doors, of, "%s imports what is neither of the core nor a door", path)
					imported[of[strings.LastIndex(of, "/")+1:]] = of
				}
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if s, ok := n.(*ast.SelectorExpr); ok {
					if x, ok := s.X.(*ast.Ident); ok && slices.Contains(declared[imported[x.Name]], s.Sel.Name) {
						assert.Contains(t, doors[imported[x.Name]], s.Sel.Name, "%s asks this of %s", path, imported[x.Name])
					}
				}
				return true
			})
		}
	}
	said, err := strconv.Atoi(regexp.MustCompile(`is (\d+) lines`).FindStringSubmatch(section)[1])
	require.NoError(t, err)
	assert.InEpsilon(t, lines, said, 0.02, "write down what the command prints")
	assert.Less(t, lines, 15_000, "put what may be skipped behind a door")
}

// sources parses the files of a package, but for its tests, by their paths.
func sources(t *testing.T, dir string) map[string]*ast.File {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("../..", dir, "*.go"))
	require.NoError(t, err)
	require.NotEmpty(t, paths, "there is no package %s", dir)
	files := map[string]*ast.File{}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		files[path] = f
	}
	return files
}

// What DEVELOPERS and the script of the figures say to run is there: the package, and a
// test or benchmark of that name in it.
func TestTheCommandsRunSomething(t *testing.T) {
	t.Parallel()
	command := regexp.MustCompile(`go test ((?:\./[\w./]* )+)([^` + "`" + `;\n]*)`)
	named := regexp.MustCompile(`-(?:run|bench) '?([\w$\\|/]+)`)
	seen := 0
	for _, file := range []string{"DEVELOPERS.md", "testdata/against/run.sh"} {
		text, err := os.ReadFile(filepath.Join("../..", file))
		require.NoError(t, err)
		if strings.HasSuffix(file, ".md") { // where a line may break within a command
			text = bytes.ReplaceAll(text, []byte("\n"), []byte(" "))
		}
		for _, m := range command.FindAllStringSubmatch(string(text), -1) {
			var have []string
			for packages := range strings.FieldsSeq(m[1]) {
				have = append(have, testsUnder(t, packages)...)
			}
			for _, n := range named.FindAllStringSubmatch(m[2], -1) {
				for name := range strings.SplitSeq(strings.ReplaceAll(n[1], `\|`, "|"), "|") {
					if name, _, _ = strings.Cut(strings.TrimSuffix(name, "$"), "/"); name == "XXX" {
						continue
					}
					seen++
					assert.True(t, slices.ContainsFunc(have, func(f string) bool { return strings.Contains(f, name) }), "%s: nothing of %s is called %s", file, m[1], name)
				}
			}
		}
	}
	assert.Greater(t, seen, 25, "the commands were not found")
}

// testsUnder returns the names of the tests and benchmarks of packages, given as for go test.
func testsUnder(t *testing.T, packages string) (names []string) {
	t.Helper()
	dir, all := strings.CutSuffix(packages, "/...")
	require.NoError(t, filepath.WalkDir(filepath.Join("../..", dir), func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "node_modules" || !all && path != filepath.Join("../..", dir)):
			return fs.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, "_test.go"):
			return nil
		}
		text, err := os.ReadFile(path)
		for _, m := range regexp.MustCompile(`(?m)^func (Test|Benchmark|Fuzz)(\w+)\(`).FindAllStringSubmatch(string(text), -1) {
			names = append(names, m[1]+m[2])
		}
		return err
	}), "there is no package %s", packages)
	return names
}

// The schema and the manual know the kinds of fault that there are, and no others; the
// page's tests hold its Help against the schema.
func TestTheFaultKindsAreEverywhere(t *testing.T) {
	t.Parallel()
	_, kinds := declared(t)
	require.Greater(t, len(kinds), 15)
	slices.Sort(kinds)
	text, err := os.ReadFile("../../dashboard/schema/findings.json")
	require.NoError(t, err)
	var schema struct {
		Defs struct {
			FaultKind struct {
				Enum []string `json:"enum"`
			} `json:"faultKind"`
		} `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(text, &schema))
	slices.Sort(schema.Defs.FaultKind.Enum)
	assert.Equal(t, kinds, schema.Defs.FaultKind.Enum)
	readme, err := os.ReadFile("../../dashboard/MANUAL.md")
	require.NoError(t, err)
	_, table, ok := strings.Cut(string(readme), "| fault | means |")
	require.True(t, ok)
	table, _, _ = strings.Cut(table, "\n\n")
	var told []string
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\|").FindAllStringSubmatch(table, -1) {
		told = append(told, m[1])
	}
	slices.Sort(told)
	assert.Equal(t, kinds, told)
}

// developers returns a section of DEVELOPERS.
func developers(t *testing.T, heading string) string {
	t.Helper()
	text, err := os.ReadFile("../../DEVELOPERS.md")
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(text), heading)
	require.True(t, ok, heading)
	section, _, _ = strings.Cut(section, "\n## ")
	return section
}
