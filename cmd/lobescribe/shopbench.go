package main

import (
	"context"
	"fmt"
	"io"

	"lobescribe/capture/lift"
	"lobescribe/capture/replay"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// recordBench is the bench of the page over a shop: there is none. It works
// traces out and hands them on, and changes nothing; the page's server refuses
// the rest before it comes here.
type recordBench struct{ store *storage.Store }

var errOnlyShows = fmt.Errorf("the page over a shop only shows: %w", dashboard.ErrNotOffered)

// Findings works out a trace, and does not store it: the record is made of the
// stream alone.
func (b recordBench) Findings(_ context.Context, id storage.ID) (lift.Findings, error) {
	head, trace, err := b.store.Load(id)
	if len(trace.Readings) == 0 && err != nil {
		return lift.Findings{}, err
	}
	return lift.Analyse(trace, lift.Options{LeaveOut: head.LeftOut, Proof: head.Proof})
}

func (b recordBench) Export(_ context.Context, id storage.ID, format string, w io.Writer) error {
	f, err := tracefile.ParseFormat(format)
	if err != nil {
		return err
	}
	return daemon.ExportTrace(b.store, id, w, daemon.ExportOptions{Format: f})
}

func (recordBench) Import(context.Context, string, string, io.Reader) (storage.ID, error) {
	return 0, errOnlyShows
}

func (recordBench) Ports(context.Context) ([]dashboard.Port, error) { return nil, nil }
func (recordBench) Preview(context.Context, string) (dashboard.Preview, error) {
	return dashboard.Preview{}, errOnlyShows
}
func (recordBench) Connect(context.Context, string, string) error { return errOnlyShows }
func (recordBench) Disconnect(context.Context, string) error      { return errOnlyShows }
func (recordBench) Simulate(context.Context, bool) error          { return errOnlyShows }
func (recordBench) Probe(context.Context, string) (dashboard.Probed, error) {
	return dashboard.Probed{}, errOnlyShows
}
func (recordBench) MeasureDelay(context.Context) (dashboard.DelayProgress, error) {
	return dashboard.DelayProgress{}, errOnlyShows
}
func (recordBench) KeepDelay(context.Context) error     { return errOnlyShows }
func (recordBench) DropDelay()                          {}
func (recordBench) BeginProving(context.Context) error  { return errOnlyShows }
func (recordBench) FinishProving(context.Context) error { return errOnlyShows }
func (recordBench) DropProving()                        {}
func (recordBench) ProofNow() live.ProofNow             { return live.ProofNow{} }
func (recordBench) Mark()                               {}
func (recordBench) Unmark()                             {}
func (recordBench) EndTrace()                           {}
func (recordBench) StartReplay(context.Context, storage.ID, float64, measure.Stamp) error {
	return errOnlyShows
}
func (recordBench) AdjustReplay(replay.Change) error                  { return errOnlyShows }
func (recordBench) StopReplay()                                       {}
func (recordBench) Selected(live.Selection)                           {}
func (recordBench) KeepSettings(context.Context, live.Settings) error { return errOnlyShows }
