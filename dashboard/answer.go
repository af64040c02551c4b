package dashboard

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"strconv"
	"strings"

	"lobescribe/storage/tracefile"
)

// problem is an error that a person reads: what was wrong and what to do, and
// which field of the request it was.
type problem struct {
	status int
	says   string
	field  string
	// table is what a file looked like of which nobody could tell the columns.
	table *tracefile.Table
}

func (p *problem) Error() string { return p.says }

func wrong(field, format string, args ...any) error {
	return &problem{status: http.StatusBadRequest, field: field, says: fmt.Sprintf(format, args...)}
}

// maxBody bounds a JSON body. An engine with sixteen valves' limits is a few
// kilobytes.
const maxBody = 1 << 20

// read reads a JSON body into v and refuses anything it does not know: a
// misspelt field would otherwise be a wish that nobody heard.
func read(w http.ResponseWriter, r *http.Request, v any) error {
	b, err := body(w, r, maxBody)
	if err != nil {
		return err
	}
	return decode(b, v)
}

// body reads a JSON body of at most so many bytes.
func body(w http.ResponseWriter, r *http.Request, most int64) ([]byte, error) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return nil, &problem{status: http.StatusUnsupportedMediaType, says: "This takes JSON: send it with Content-Type: application/json."}
	}
	b, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	if err == nil && tooDeep(b) {
		return nil, wrong("", "The JSON goes deeper than %d levels, which nothing here needs.", deepest)
	}
	if err == nil {
		switch name, many := doubled(b); {
		case many:
			return nil, wrong("", "An object of the JSON has more than %d fields, which nothing here needs.", mostFields)
		case name != "":
			name = brief(name)
			return nil, wrong(name, "The field %q stands there twice. Send it once.", name)
		}
	}
	if err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, &problem{status: http.StatusRequestEntityTooLarge, says: fmt.Sprintf("That is more than the %d kB this request may hold.", most>>10)}
		}
		return nil, &problem{status: http.StatusBadRequest, says: "The request broke off before it was whole. Send it again."}
	}
	return b, nil
}

// deepest is how deep what is sent may be nested: each level costs whoever reads
// it memory, and its end is far away.
const deepest = 64

// tooDeep looks at the brackets of a JSON text, before anything is made of it.
func tooDeep(b []byte) bool {
	depth, quoted := 0, false
	for i := 0; i < len(b); i++ {
		switch c := b[i]; {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '{' || c == '[':
			if depth++; depth > deepest {
				return true
			}
		case c == '}' || c == ']':
			depth--
		}
	}
	return false
}

// longestError is more than any sentence of ours: what is quoted in it may be as
// long as what was sent.
const longestError = 2000

// brief cuts what is told of an error.
func brief(says string) string {
	if len(says) <= longestError {
		return says
	}
	return strings.ToValidUTF8(says[:longestError], "") + "…"
}

// decode is read without the wire.
func decode(body []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return explain(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return wrong("", "There is something behind the end of the JSON. Send one object.")
	}
	return nil
}

// explain puts a decoder's error into the words of somebody who sent it.
func explain(err error) error {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.Is(err, io.EOF):
		return wrong("", "The request is empty: it should be a JSON object.")
	case errors.Is(err, io.ErrUnexpectedEOF):
		return wrong("", "The JSON ends too early.")
	case errors.As(err, &syntax):
		return wrong("", "This is not JSON: at byte %d, %s.", syntax.Offset, syntax.Error())
	case errors.As(err, &kind):
		return wrong(kind.Field, "%s should be %s, not %s.", cmp.Or(kind.Field, "The body"), jsonKind(kind.Type), kind.Value)
	}
	if rest, found := strings.CutPrefix(err.Error(), "json: unknown field "); found {
		name, unquoteErr := strconv.Unquote(rest)
		if unquoteErr != nil {
			name = rest
		}
		return wrong(name, "There is no field %q here. Check its spelling.", name)
	}
	return wrong("", "%s.", strings.TrimPrefix(err.Error(), "json: "))
}

// jsonKind names what JSON calls a Go type.
func jsonKind(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Bool:
		return "true or false"
	case reflect.String:
		return "text"
	case reflect.Slice, reflect.Array:
		return "a list"
	case reflect.Struct, reflect.Map:
		return "an object"
	}
	return "a number in range"
}

// answer writes v as JSON.
func answer(w http.ResponseWriter, status int, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		// The value is ours: a NaN in it is a fault of ours, and half an
		// answer would hide it.
		fail(w, http.StatusInternalServerError, "The answer could not be written: "+err.Error()+". Please report this.", "")
		return
	}
	send(w, status, b)
}

// send writes JSON that is text already.
func send(w http.ResponseWriter, status int, text []byte) {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Length", strconv.Itoa(len(text)))
	w.WriteHeader(status)
	_, _ = w.Write(text) // the client has gone: nothing to do about it
}

// fail writes an error as JSON.
func fail(w http.ResponseWriter, status int, says, field string) {
	failWith(w, status, refusal{Error: says, Field: field})
}

// refusal is what is answered in place of what was asked for.
type refusal struct {
	Error string           `json:"error"`
	Field string           `json:"field,omitempty"`
	Table *tracefile.Table `json:"table,omitempty"`
}

func failWith(w http.ResponseWriter, status int, r refusal) {
	r.Error, r.Field = brief(r.Error), brief(r.Field)
	answer(w, status, r)
}
