package main

import (
	"errors"
	"fmt"
	"net/url"

	"github.com/spf13/cobra"

	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/device/nearest"
	"lobescribe/storage"
)

// shelfReader is what the commands that only look need of a store.
type shelfReader interface {
	Traces(storage.Query) ([]storage.Summary, error)
	Summary(storage.ID) (storage.Summary, error)
	Load(storage.ID) (storage.Head, measure.Trace, error)
	Engines() ([]storage.Engine, error)
	Trials(engine string) ([]storage.Trial, error)
	// CheckLabel says whether there is such an engine with such a valve, and which
	// one is near; "" asks for none.
	CheckLabel(engine, valve string) error
	// Next asks which stack of shims to fit next on a valve; sentences in the
	// answer give lengths in the unit.
	Next(engine, valve string, u measure.Unit) (nextShim, error)
	// Repairs returns the records of repairs, with open only those that nobody has
	// dismissed.
	Repairs(open bool) ([]storage.Repaired, error)
	Close() error
}

// openReader opens the store for looking, or asks the daemon that has it.
func openReader(cmd *cobra.Command) (shelfReader, error) {
	store, err := openStore(cmd, storage.Options{ReadOnly: true})
	if err == nil {
		return local{store}, nil
	}
	if errors.Is(err, storage.ErrInUse) {
		if r, ok := askDaemon(cmd); ok {
			return r, nil
		}
	}
	return nil, err
}

// local reads the store itself.
type local struct{ *storage.Store }

// Next asks the builder that the page and the sheet ask.
func (l local) Next(engine, valve string, u measure.Unit) (nextShim, error) {
	facts, err := question.Gather(l.Store, engine, valve)
	if err != nil {
		return nextShim{}, err
	}
	return worksheet.InUnit(facts.Next(), u).(nextShim), nil
}

// Summary is that of storage.Store.
func (r *remote) Summary(id storage.ID) (s storage.Summary, err error) {
	return s, r.decode("traces/"+id.String(), &s)
}

// Engines lists like storage.Store.
func (r *remote) Engines() (list []storage.Engine, err error) {
	return list, r.decode("engines", &list)
}

// Trials lists like storage.Store.
func (r *remote) Trials(engine string) (list []storage.Trial, err error) {
	return list, r.decode("engines/"+url.PathEscape(engine)+"/trials", &list)
}

// CheckLabel is that of storage.Store, by the list of engines.
func (r *remote) CheckLabel(engine, valve string) error {
	list, err := r.Engines()
	if err != nil || engine == "" {
		return err
	}
	var ids []string
	for _, e := range list {
		if e.ID == engine && valve != "" {
			return e.CheckValve(nil, valve)
		}
		if e.ID == engine {
			return nil
		}
		ids = append(ids, e.ID)
	}
	near := nearest.Word(engine, ids)
	if near != "" {
		near = fmt.Sprintf(" (did you mean %s?)", near)
	}
	return fmt.Errorf("there is no engine %q%s; `lobescribe engines` lists them", engine, near)
}

// Next asks the daemon.
func (r *remote) Next(engine, valve string, u measure.Unit) (next nextShim, err error) {
	ask := url.Values{"valve": {valve}, "unit": {u.String()}}
	return next, r.decode("engines/"+url.PathEscape(engine)+"/next?"+ask.Encode(), &next)
}
