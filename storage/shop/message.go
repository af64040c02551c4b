package shop

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Message is what a bench says: one of Part, Trace and Document.
type Message struct {
	Bench string `json:"bench"`
	// Origin is the store that says it.
	Origin string `json:"origin"`
	// Number is of the errand in that store's outbox; 0 for a part. A thing that
	// changes and changes back is said three times, and the third is no repeat
	// of the first.
	Number   uint64    `json:"number,omitempty"`
	Part     *Part     `json:"part,omitempty"`
	Trace    *Trace    `json:"trace,omitempty"`
	Document *Document `json:"document,omitempty"`
}

// Part is a run of a trace's readings.
type Part struct {
	Key   string `json:"key"`   // of the trace
	First uint64 `json:"first"` // position of its first reading in the trace
	Count int    `json:"count"`
	// Chunk is the readings in package chunk's coding, with 0 for the trace,
	// whose number is each store's own. It stands behind the JSON.
	Chunk []byte `json:"-"`
}

// Trace is a trace without its readings.
type Trace struct {
	Key string `json:"key"`
	// Head is as the bench has it: its engine and trial are names of the
	// bench's own store. Engine and Trial say which of the shop's they are.
	Head     storage.Head   `json:"head"`
	Engine   *Ref           `json:"engine,omitempty"`
	Trial    *Ref           `json:"trial,omitempty"`
	Notes    []measure.Note `json:"notes,omitempty"`
	Findings *lift.Findings `json:"findings,omitempty"`
	// Readings are how many there are, Digest is of their values: see Digest.
	Readings uint64 `json:"readings"`
	Digest   string `json:"digest"`
}

// Document is a document as it stands now.
type Document struct {
	Kind storage.ErrandKind `json:"kind"` // engine, trial or work
	Ref  Ref                `json:"ref"`
	Rev  storage.Rev        `json:"rev,omitempty"`
	Gone bool               `json:"gone,omitempty"` // it was deleted
	// Engine is the engine that a trial or a work belongs to; Traces are the
	// keys of a trial's traces.
	Engine *Ref     `json:"engine,omitempty"`
	Traces []string `json:"traces,omitempty"`
	// Doc is the document as the bench has it.
	Doc json.RawMessage `json:"doc,omitempty"`
}

// Ref names a document for the whole shop: the store it was first made in, and
// its name there.
type Ref struct {
	Origin string `json:"origin"`
	Name   string `json:"name"`
}

// String prints the Ref as a key.
func (r Ref) String() string { return r.Origin + "/" + r.Name }

// Kind is the third word of a subject.
type Kind string

// The kinds of messages.
const (
	KindReadings Kind = "readings"
	KindTrace    Kind = "trace"
	KindDocument Kind = "document"
)

// Kind says what the message is.
func (m Message) Kind() Kind {
	switch {
	case m.Part != nil:
		return KindReadings
	case m.Trace != nil:
		return KindTrace
	}
	return KindDocument
}

// Prefix is what every subject begins with.
const Prefix = "lobescribe.shop."

var (
	benchName = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,23}$`)
	originID  = regexp.MustCompile(`^[0-9a-f]{16}$`)
	traceKey  = regexp.MustCompile(`^[0-9a-f]{32}$`)
	docName   = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,63}$`)
)

// CheckBench says what is wrong with the name of a bench.
func CheckBench(name string) error {
	if !benchName.MatchString(name) {
		return fmt.Errorf(`%q is not a name for a bench: write small letters, digits, "-" and "_", beginning with a letter or digit, at most 24`, name)
	}
	return nil
}

// BenchFor makes a bench's name of a machine's: bench for one that has nothing
// to make a name of.
func BenchFor(host string) string {
	host, _, _ = strings.Cut(strings.ToLower(host), ".")
	name := strings.Map(func(c rune) rune {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_' {
			return c
		}
		return '-'
	}, host)
	name = strings.Trim(name, "-_")
	name = strings.TrimRight(name[:min(len(name), 24)], "-_")
	if !benchName.MatchString(name) {
		return "bench"
	}
	return name
}

// Subject is where the message is said.
func (m Message) Subject() string {
	s := Prefix + m.Bench + "." + string(m.Kind()) + "."
	switch {
	case m.Part != nil:
		return s + m.Part.Key
	case m.Trace != nil:
		return s + m.Trace.Key
	}
	// A dot parts the words of a subject.
	return s + string(m.Document.Kind) + "." + m.Document.Ref.Origin + "~" + strings.ReplaceAll(m.Document.Ref.Name, ".", "~")
}

// Key names a trace for good.
func Key(origin string, id storage.ID, started time.Time) string {
	text := origin + " " + id.String() + " " + strconv.FormatInt(started.UnixNano(), 10)
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:16])
}

// ID returns the message ID of an encoded message.
func ID(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:16])
}

// validate says what in a message that came from elsewhere cannot be. What the
// documents themselves say is checked where they are applied.
func (m Message) validate() error {
	if !benchName.MatchString(m.Bench) || !originID.MatchString(m.Origin) {
		return fmt.Errorf("%w: it does not say whose it is", ErrMeaning)
	}
	n := 0
	for _, there := range []bool{m.Part != nil, m.Trace != nil, m.Document != nil} {
		if there {
			n++
		}
	}
	if n != 1 {
		return fmt.Errorf("%w: it says %d things in place of one", ErrMeaning, n)
	}
	bad := func(says string) error { return fmt.Errorf("%w: %s", ErrMeaning, says) }
	switch {
	case m.Part != nil:
		if !traceKey.MatchString(m.Part.Key) || m.Part.Count < 1 {
			return bad("its part is of no trace")
		}
	case m.Trace != nil:
		t := m.Trace
		switch {
		case !traceKey.MatchString(t.Key):
			return bad("its trace has no key")
		case !goodRef(t.Engine) || !goodRef(t.Trial):
			return bad("its engine or trial has no name")
		case t.Readings > MostReadings:
			return bad(fmt.Sprintf("a trace of %d readings is more than the %d that are taken", t.Readings, uint64(MostReadings)))
		case max(len(t.Head.Valve), len(t.Head.Source), len(t.Head.Engine), len(t.Head.Trial)) > 256 || len(t.Head.Remark) > 16<<10:
			return bad("its head is too long")
		}
	default:
		d := m.Document
		if d.Kind != storage.ErrandEngine && d.Kind != storage.ErrandTrial && d.Kind != storage.ErrandWork {
			return bad(fmt.Sprintf("%q is no kind of document", d.Kind))
		}
		if !goodRef(&d.Ref) || !goodRef(d.Engine) || len(d.Traces) > 10_000 {
			return bad("its document has no name")
		}
		for _, key := range d.Traces {
			if !traceKey.MatchString(key) {
				return bad("one of its traces has no key")
			}
		}
	}
	return nil
}

func goodRef(r *Ref) bool {
	return r == nil || originID.MatchString(r.Origin) && docName.MatchString(r.Name)
}

// MostReadings is the longest trace that is taken: a day and more at 100 a
// second.
const MostReadings = 10_000_000
