package door

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"unicode/utf8"

	"golang.org/x/time/rate"
)

// Scrub returns a handler that puts dots in the place of the key wherever it
// stands in what is logged.
func Scrub(h slog.Handler, key Key) slog.Handler {
	if key.IsZero() {
		return h
	}
	hide := strings.NewReplacer(key.text, key.String(), key.cookie, key.String())
	return &edited{Handler: h, edit: func(text string) string { return hide.Replace(text) }}
}

// Spare returns a handler for what visitors cause to be logged, who may be
// anybody: texts are clipped, and of each message no more lines are written than
// some a second; the rest is counted, and told with the next.
func Spare(h slog.Handler) slog.Handler {
	return &sparing{Handler: &edited{Handler: h, edit: clip}, paces: &paces{by: map[string]*pace{}}}
}

const (
	clipped    = 200 // letters
	logPerSec  = 1
	logBurst   = 20
	logKinds   = 64
	otherKinds = "other messages"
)

// clip shortens a text, which says so.
func clip(text string) string {
	if len(text) <= clipped {
		return text
	}
	cut := clipped
	for cut > 0 && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return fmt.Sprintf("%s… (%d bytes more)", text[:cut], len(text)-cut)
}

// edited passes on what is logged with all its texts edited.
type edited struct {
	slog.Handler
	edit func(string) string
}

func (e *edited) Handle(ctx context.Context, r slog.Record) error {
	out := slog.NewRecord(r.Time, r.Level, e.edit(r.Message), r.PC)
	r.Attrs(func(a slog.Attr) bool {
		out.AddAttrs(e.attr(a))
		return true
	})
	return e.Handler.Handle(ctx, out)
}

func (e *edited) attr(a slog.Attr) slog.Attr {
	switch v := a.Value.Resolve(); v.Kind() {
	case slog.KindString:
		return slog.String(a.Key, e.edit(v.String()))
	case slog.KindGroup:
		var in []any
		for _, a := range v.Group() {
			in = append(in, e.attr(a))
		}
		return slog.Group(a.Key, in...)
	case slog.KindAny:
		return slog.String(a.Key, e.edit(fmt.Sprint(v.Any())))
	}
	return a
}

func (e *edited) WithAttrs(attrs []slog.Attr) slog.Handler {
	var all []slog.Attr
	for _, a := range attrs {
		all = append(all, e.attr(a))
	}
	return &edited{e.Handler.WithAttrs(all), e.edit}
}

func (e *edited) WithGroup(name string) slog.Handler {
	return &edited{e.Handler.WithGroup(name), e.edit}
}

// paces are those of each message.
type paces struct {
	mu sync.Mutex
	by map[string]*pace
}

type pace struct {
	limit *rate.Limiter
	rest  int // lines that were not written
}

type sparing struct {
	slog.Handler
	paces *paces
}

func (s *sparing) Handle(ctx context.Context, r slog.Record) error {
	rest, write := s.paces.take(r.Message)
	if !write {
		return nil
	}
	if rest > 0 {
		r = r.Clone()
		r.AddAttrs(slog.Int("left_out_before", rest))
	}
	return s.Handler.Handle(ctx, r)
}

func (p *paces) take(message string) (rest int, write bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	// The texts of an HTTP server begin with what they are about.
	message = message[:min(len(message), 20)]
	one := p.by[message]
	if one == nil && len(p.by) >= logKinds {
		message = otherKinds
		one = p.by[message]
	}
	if one == nil {
		one = &pace{limit: rate.NewLimiter(logPerSec, logBurst)}
		p.by[message] = one
	}
	if !one.limit.Allow() {
		one.rest++
		return 0, false
	}
	rest, one.rest = one.rest, 0
	return rest, true
}

func (s *sparing) WithAttrs(attrs []slog.Attr) slog.Handler {
	return &sparing{s.Handler.WithAttrs(attrs), s.paces}
}

func (s *sparing) WithGroup(name string) slog.Handler {
	return &sparing{s.Handler.WithGroup(name), s.paces}
}
