package sheet

import (
	"bytes"
	"fmt"
	"html/template"
	"math/rand/v2"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// hostile are texts that mean something in HTML, and some that do not.
var hostile = []string{"", "–", "0.4290", `<script>alert("1")</script>`, "a & b &amp; c", `" onload='x`, "</style>", "second", "{{.Name}}", "1 Einlaß ▲", "±\n\t 3"}

// drawnByChance fills v with texts, numbers and lists by chance.
func drawnByChance(v reflect.Value, r *rand.Rand, depth int) {
	switch v.Kind() {
	case reflect.String:
		if v.Type() == reflect.TypeFor[markup]() {
			v.SetString([]string{"", "drawn7"}[r.IntN(2)]) // the library would escape what it cannot know to be markup
			return
		}
		v.SetString(hostile[r.IntN(len(hostile))])
	case reflect.Int:
		v.SetInt(int64(r.IntN(3)))
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.Slice:
		if depth > 6 {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), r.IntN(4), 4))
		for i := range v.Len() {
			drawnByChance(v.Index(i), r, depth+1)
		}
	case reflect.Pointer:
		if v.Type() == reflect.TypeFor[*storage.Waiver]() && r.IntN(2) == 0 {
			v.Set(reflect.New(v.Type().Elem()))
			drawnByChance(v.Elem(), r, depth+1)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				drawnByChance(v.Field(i), r, depth+1)
			}
		}
	}
}

// The judge is the standard library's html/template, which escapes by context and
// shares no code with fill but the parser.
func TestAFilledSheetIsHTMLTemplates(t *testing.T) {
	library := template.Must(template.New("sheet").Parse(pageText))
	texts := 0
	for seed := range uint64(400) {
		var v view
		drawnByChance(reflect.ValueOf(&v).Elem(), rand.New(rand.NewPCG(seed, 7)), 0)
		var want, got bytes.Buffer
		require.NoError(t, library.Execute(&want, v))
		require.NoError(t, fill(&got, pageText, v))
		require.Equal(t, strings.ReplaceAll(want.String(), "&#43;", "+"), got.String(), "seed %d", seed)
		texts += strings.Count(got.String(), "&lt;script&gt;")
		require.NotContains(t, got.String(), "<script")
	}
	assert.Greater(t, texts, 400, "texts that had to be escaped came out")
}

// What is printed stands where escaping the five letters is enough: in text, or
// between double quotes. The style is ours.
func TestWhereASheetPrints(t *testing.T) {
	assert.NotRegexp(t, `<(script|iframe|svg|textarea)`, pageText)
	assert.Equal(t, 1, strings.Count(pageText, "<style>{{.Style}}</style>"))
	tags := regexp.MustCompile(`<[a-z][^<>]*>`).FindAllString(strings.ReplaceAll(pageText, "<style>{{.Style}}</style>", ""), -1)
	require.Greater(t, len(tags), 200)
	printing := 0
	for _, tag := range tags {
		quoted := regexp.MustCompile(`="[^"]*"`).FindAllString(tag, -1)
		for _, q := range quoted {
			printing += strings.Count(q, "{{.")
			tag = strings.Replace(tag, q, "", 1)
		}
		for _, action := range regexp.MustCompile(`\{\{[^}]*\}\}`).FindAllString(tag, -1) {
			assert.Regexp(t, `^\{\{(if |else|end)`, action, "in %s", tag)
		}
	}
	assert.Equal(t, 1, printing, "one attribute holds what is printed: a name")
	assert.NotRegexp(t, `(href|src|style|on[a-z]+)="[^"]*\{\{`, pageText)
}

func TestWhatATemplateCannotSay(t *testing.T) {
	type of struct {
		Name string
		List []string
		At   struct{ X int }
	}
	for text, says := range map[string]string{
		"{{.Missing}}":                    "no field Missing",
		"{{.Name.X}}":                     "no struct",
		"{{range .Name}}{{end}}":          "no list",
		"{{.List}}":                       "cannot be printed",
		"{{.At}}":                         "cannot be printed",
		`{{.Name | not}}`:                 "one value",
		`{{eq .Name}}`:                    "eq of 1",
		`{{and}}`:                         "and of 0",
		`{{.Name "x"}}`:                   "takes nothing",
		`{{printf "x"}}`:                  "printf",
		`{{if .Name}}`:                    "unexpected EOF",
		`{{template "x"}}`:                "not understood",
		`{{range .List}}{{break}}{{end}}`: "not understood",
	} {
		err := fill(&bytes.Buffer{}, text, of{List: []string{"a"}})
		assert.ErrorContains(t, err, says, text)
	}
	assert.ErrorContains(t, fill(noRoom{}, "x", of{}), "no room")
}

type noRoom struct{}

func (noRoom) Write([]byte) (int, error) { return 0, fmt.Errorf("no room") }
