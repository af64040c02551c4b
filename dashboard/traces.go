package dashboard

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unicode"
	"unicode/utf8"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

const (
	tracesShown = 50
	tracesMost  = 500
)

func (s *Server) listTraces(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	limit, err := wholeNumber(q.Get("limit"), "limit", tracesShown, 1, tracesMost)
	if err != nil {
		return err
	}
	var before storage.ID
	if text := q.Get("before"); text != "" {
		if before, err = storage.ParseID(text); err != nil {
			return wrong("before", "%s", sentence(err))
		}
	}
	list, err := s.store.Traces(storage.Query{Engine: q.Get("engine"), Valve: q.Get("valve"), Before: before, Limit: limit, Counting: q.Get("away") == ""})
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, list)
	return nil
}

// Trace is a trace without its readings.
type Trace struct {
	storage.Summary
	Head     storage.Head   `json:"head"`
	Findings *lift.Findings `json:"findings"` // null while they cannot be worked out
	Notes    []measure.Note `json:"notes"`
	// Agreement of the openings that count.
	Agreement live.Agreement `json:"agreement"`
	// Damage says what of the trace does not read; the rest is good.
	Damage []string `json:"damage,omitempty"`
}

func (s *Server) showTrace(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	var out Trace
	if out.Summary, err = s.store.Summary(id); err != nil {
		return err
	}
	// Both take as long of a trace of thousands of openings, so at the same time.
	kept := make(chan stored, 1)
	go func() { kept <- s.stored(id) }()
	columns, err := s.drawn(r.Context(), id)
	if err != nil {
		return err
	}
	out.Head, out.Notes, out.Damage = columns.head, columns.notes, columns.damage
	if h, err := s.store.Head(id); err == nil {
		out.Head = h // what it is of may have been changed, by another bench as well
	}
	if out.Notes == nil {
		out.Notes = []measure.Note{}
	}
	findings, err := s.findingsOf(r, id, <-kept)
	if err == nil {
		out.Findings, out.Agreement = &findings, live.AgreeFindings(findings)
	} else if !errors.Is(err, storage.ErrNotFound) {
		out.Damage = append(out.Damage, sentence(fmt.Errorf("working out the findings: %w", err)))
	}
	answer(w, http.StatusOK, out)
	return nil
}

// traceLabel is what may be changed of a trace: what it is of. Readings never
// are.
type traceLabel struct {
	Engine *string `json:"engine"`
	Valve  *string `json:"valve"`
	Trial  *string `json:"trial"`
	Remark *string `json:"remark"`
	// PutAway is why the trace counts for nothing from now on; "" brings it
	// back.
	PutAway *string `json:"put_away"`
}

const longestRemark = 2000

func (s *Server) labelTrace(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	var change traceLabel
	if err := read(w, r, &change); err != nil {
		return err
	}
	for field, text := range map[string]*string{"engine": change.Engine, "valve": change.Valve, "trial": change.Trial, "remark": change.Remark, "put_away": change.PutAway} {
		if text != nil && utf8.RuneCountInString(*text) > longestRemark {
			return wrong(field, "%s is longer than %d letters.", field, longestRemark)
		}
		if text != nil && strings.ContainsFunc(*text, storage.Unprintable) {
			return wrong(field, "%s holds control characters; leave them out.", field)
		}
	}
	set := func(dst *string, v *string) {
		if v != nil {
			*dst = *v
		}
	}
	was, err := s.store.Head(id)
	if err != nil {
		return err
	}
	relabel := func(h *storage.Head) {
		set(&h.Engine, change.Engine)
		set(&h.Valve, change.Valve)
		set(&h.Trial, change.Trial)
		set(&h.Remark, change.Remark)
		set(&h.PutAway, change.PutAway)
	}
	h := was
	relabel(&h)
	if h.Engine != was.Engine || h.Valve != was.Valve {
		if err := s.store.CheckLabel(h.Engine, h.Valve); err != nil {
			return err
		}
	}
	if h.Trial != was.Trial {
		if err := s.isTrial(h.Trial, h.Engine, h.Valve); err != nil {
			return err
		}
	}
	if err := s.store.Amend(id, relabel); err != nil {
		return err
	}
	s.series.forget(id)
	sum, err := s.store.Summary(id)
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, sum)
	return nil
}

// maxTrace bounds an imported file, in bytes: some forty million readings.
const maxTrace = 512 << 20

func (s *Server) importTrace(w http.ResponseWriter, r *http.Request) error {
	// Places of their own: somebody who sends slowly must not keep others from
	// their charts.
	select {
	case s.uploads <- struct{}{}:
		defer func() { <-s.uploads }()
	default:
		return &problem{status: http.StatusServiceUnavailable, says: "Other files are being read in. Try again when they are through."}
	}
	name := fileName(r.URL.Query().Get("name"), "trace.csv")
	rc := http.NewResponseController(w)
	body := &steady{r: http.MaxBytesReader(w, r.Body, maxTrace), rc: rc, wait: s.o.BodyWait, until: time.Now().Add(s.o.UploadWait)}
	counted := &counting{r: body}
	id, err := s.bench.Import(r.Context(), name, r.URL.Query().Get("columns"), counted)
	if err != nil && (counted.err == nil || errors.As(err, new(*http.MaxBytesError))) {
		// Whoever is still sending hears of no answer before it is through: the rest
		// is taken in and thrown away, within reason.
		body.r = r.Body
		_, _ = io.CopyN(io.Discard, body, maxTrace)
	}
	// Working out so many readings takes longer than an answer may stand still, and
	// the time ran from the request's head.
	_ = rc.SetWriteDeadline(time.Now().Add(s.o.AnswerWait))
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return &problem{status: http.StatusRequestEntityTooLarge, says: fmt.Sprintf("%s is larger than the %d MB a trace may be. Import it with the command line: lobescribe import FILE.", name, maxTrace>>20)}
	case counted.err != nil && !errors.Is(counted.err, io.EOF):
		return &problem{status: http.StatusBadRequest, says: name + " broke off on its way here. Send it again."}
	case err != nil && (errors.Is(err, ErrNotOffered) || errors.Is(err, storage.ErrReadOnly) || errors.As(err, new(syscall.Errno))):
		return err // the disk's, and not the file's
	case err != nil:
		p := &problem{status: http.StatusBadRequest, says: sentence(err)}
		var fault *tracefile.Fault
		if errors.As(err, &fault) && fault.Table != nil {
			p.field, p.table = "columns", fault.Table
		}
		return p
	}
	answer(w, http.StatusCreated, imported{id})
	return nil
}

// imported answers under which number a file is kept.
type imported struct {
	ID storage.ID `json:"id"`
}

// counting remembers how reading ended, since an importer may say it in words
// of its own.
type counting struct {
	r   io.Reader
	err error
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.err = err
	return n, err
}

func (s *Server) exportTrace(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	format := cmp.Or(r.URL.Query().Get("format"), "csv")
	kind, ok := map[string]string{"csv": "text/csv; charset=utf-8", "jsonl": "application/jsonl", "parquet": "application/vnd.apache.parquet"}[format]
	if !ok {
		return wrong("format", "%q is not a format of traces: write csv, jsonl or parquet.", format)
	}
	h, err := s.store.Head(id)
	if err != nil {
		return err
	}
	parts := []string{"trace", id.String()}
	for _, part := range []string{h.Engine, h.Valve} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	download(w, kind, fileName(strings.Join(parts, "-")+"."+format, "trace."+format))
	out := &steadyWriter{w: w, rc: http.NewResponseController(w), wait: s.o.AnswerWait}
	if err := s.bench.Export(r.Context(), id, format, out); err != nil {
		if out.n == 0 {
			w.Header().Del("Content-Disposition")
			return err
		}
		// The answer has started. Breaking it off is the only way to say that
		// what came is not whole.
		s.log.Error("export broke off", "trace", id.String(), "err", err)
		panic(http.ErrAbortHandler)
	}
	return nil
}

// download names the file that a browser saves.
func download(w http.ResponseWriter, kind, name string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	w.Header().Set("Cache-Control", "no-store")
}

func traceID(r *http.Request) (storage.ID, error) {
	id, err := storage.ParseID(r.PathValue("id"))
	if err != nil {
		return 0, &problem{status: http.StatusNotFound, says: sentence(err)}
	}
	return id, nil
}

// wholeNumber reads a number of the query.
func wholeNumber(text, field string, otherwise, least, most int) (int, error) {
	if text == "" {
		return otherwise, nil
	}
	v, err := strconv.Atoi(text)
	if err != nil || v < least || v > most {
		return 0, wrong(field, "%s should be a whole number from %d to %d, not %q.", field, least, most, text)
	}
	return v, nil
}

// fileName keeps of a name what is safe as one on every system: no folders, no
// letters that mean something to a shell or a terminal, no name that a system
// keeps for a device, and no more than 100 letters.
func fileName(name, otherwise string) string {
	name = path.Base(strings.ReplaceAll(name, `\`, "/"))
	name = strings.Map(func(c rune) rune {
		switch {
		case unicode.IsLetter(c), unicode.IsDigit(c), strings.ContainsRune("-_.()+", c):
			return c
		case c == ' ':
			return '_'
		}
		return -1
	}, name)
	name = strings.TrimLeft(name, ".-")
	name = strings.TrimRight(name, ".")
	if runes := []rune(name); len(runes) > 100 {
		ext := []rune(path.Ext(name))
		if len(ext) > 10 {
			ext = nil
		}
		name = string(runes[:100-len(ext)]) + string(ext)
	}
	stem, _, _ := strings.Cut(strings.ToUpper(name), ".")
	switch {
	case name == "":
		return otherwise
	case stem == "CON", stem == "PRN", stem == "AUX", stem == "NUL",
		len(stem) == 4 && (strings.HasPrefix(stem, "COM") || strings.HasPrefix(stem, "LPT")):
		return "_" + name
	}
	return name
}
