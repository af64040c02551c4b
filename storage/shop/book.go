package shop

import (
	"encoding/json"
	"errors"
	"time"

	"lobescribe/storage"
)

// BenchEntry is what a reader knows of a bench.
type BenchEntry struct {
	Name  string    `json:"name"`
	First time.Time `json:"first"` // when the stream heard of it first
	Last  time.Time `json:"last"`
	// Traces and Readings are of traces that are whole.
	Traces    uint64 `json:"traces"`
	Readings  uint64 `json:"readings"`
	Documents uint64 `json:"documents"` // messages of documents
	Repeats   uint64 `json:"repeats,omitempty"`
	Refused   uint64 `json:"refused,omitempty"`
	// Held are the bytes of readings that wait for the rest of their trace.
	Held int `json:"held_bytes,omitempty"`
}

const (
	bookBench   = "bench/"
	bookRefused = "refused"
)

func readBench(in *storage.Intake, name string) (*BenchEntry, error) {
	b := &BenchEntry{Name: name}
	_, err := in.Book(bookBench+name, b)
	return b, err
}

func (b *BenchEntry) saw(at time.Time) {
	if b.First.IsZero() {
		b.First = at
	}
	b.Last = at
}

func (b *BenchEntry) write(in *storage.Intake) error { return in.SetBook(bookBench+b.Name, b) }

// Refused is a message that was not applied.
type Refused struct {
	Sequence uint64 `json:"sequence"` // its place in the stream
	Bench    string `json:"bench"`    // as the subject names it
	Why      string `json:"why"`
}

// Refusals are the messages that were not applied, counted by kind, and the
// last of them.
type Refusals struct {
	Counts map[string]uint64 `json:"counts"`
	Last   []Refused         `json:"last"`
}

// mostRefused is how many are kept word for word.
const mostRefused = 50

// refusal returns the kind under which an error is counted; "" for none, and
// for an error that is not the message's fault.
func refusal(err error) string {
	for _, r := range []struct {
		err  error
		kind string
	}{{ErrChecksum, "checksum"}, {ErrNewer, "newer"}, {ErrName, "name"}, {ErrMeaning, "meaning"}, {ErrFrame, "frame"}} {
		if errors.Is(err, r.err) {
			return r.kind
		}
	}
	return ""
}

func refuse(in *storage.Intake, kind string, r Refused) error {
	var all Refusals
	if _, err := in.Book(bookRefused, &all); err != nil {
		return err
	}
	if all.Counts == nil {
		all.Counts = map[string]uint64{}
	}
	all.Counts[kind]++
	all.Last = append(all.Last, r)
	all.Last = all.Last[max(0, len(all.Last)-mostRefused):]
	return in.SetBook(bookRefused, all)
}

// Benches returns what a reader's store knows of the benches, by name.
func Benches(s *storage.Store) ([]BenchEntry, error) {
	list := []BenchEntry{}
	err := s.ShopBooks(bookBench, func(_ string, v json.RawMessage) error {
		var b BenchEntry
		if err := json.Unmarshal(v, &b); err != nil {
			return err
		}
		list = append(list, b)
		return nil
	})
	return list, err
}

// EngineEntries returns what a reader's store knows of the engines besides
// their documents, by their names there.
func EngineEntries(s *storage.Store) (map[string]EngineEntry, error) {
	all := map[string]EngineEntry{}
	err := s.ShopBooks(bookEngine, func(name string, v json.RawMessage) error {
		var e EngineEntry
		if err := json.Unmarshal(v, &e); err != nil {
			return err
		}
		all[name] = e
		return nil
	})
	return all, err
}

// ReadRefusals returns the messages that a reader did not apply.
func ReadRefusals(s *storage.Store) (Refusals, error) {
	r := Refusals{Counts: map[string]uint64{}, Last: []Refused{}}
	_, err := s.ShopBook(bookRefused, &r)
	return r, err
}
