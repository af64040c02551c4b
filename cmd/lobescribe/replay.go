package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"lobescribe/capture/replay"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

func newReplay() *cobra.Command {
	var f serveFlags
	var rate float64
	var link, from string
	var hostile uint64
	cmd := &cobra.Command{
		Use:   "replay ID|FILE",
		Short: "A stored trace again, at any speed, to the page or out of a tty as a device",
		Long: `Plays a stored trace, or one in a file, through the live path to the page. With
--link it comes out of a pseudo-terminal or socket instead, as a device would
send it, until it has been played or Ctrl-C.

  lobescribe replay 12 --rate 4
  lobescribe replay turn.csv --link tty
  lobescribe replay bytes.log --link tty     (of listen --raw)`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := replay.CheckRate(rate); err != nil {
				return wordsError{fmt.Errorf("--rate: %w", err)}
			}
			start, err := parseSeconds("--from", from)
			if err != nil {
				return err
			}
			if link != "" {
				return replayAsDevice(cmd, args[0], link, rate, hostile)
			}
			id, trace, err := traceNamed(cmd, args[0])
			if err != nil {
				return err
			}
			if f.addr == defaultAddr {
				f.addr = "127.0.0.1:0" // the daemon may be on the usual one
			}
			return f.runReplay(cmd, func(d *daemon.Daemon, _ *storage.Store) error { return d.PlayTrace(id, trace, rate, start) })
		},
	}
	f.add(cmd)
	cmd.Flags().Float64Var(&rate, "rate", 1, "times the speed, 0.01 to 1000")
	cmd.Flags().StringVar(&from, "from", "0", "where to begin, in seconds")
	addColumnsFlag(cmd)
	cmd.Flags().StringVar(&link, "link", "", "tty or tcp: come out of it as a device, without the page")
	cmd.Flags().Uint64Var(&hostile, "hostile", 0, "with --link and a byte recording: a seed for garbage, stalls and odd cuts put in")
	addJSONFlag(cmd)
	return cmd
}

func parseSeconds(flag, text string) (measure.Stamp, error) {
	var t measure.Stamp
	if err := t.UnmarshalJSON([]byte(text)); err != nil || t < 0 {
		return 0, wrongWords("%s %q is no time: write seconds from the start of the trace, as in 12.5", flag, text)
	}
	return t, nil
}

// traceNamed returns the trace with a number, or in a file.
func traceNamed(cmd *cobra.Command, name string) (uint64, measure.Trace, error) {
	if _, err := storage.ParseID(name); err == nil {
		if _, err := os.Stat(name); err != nil {
			id, _, trace, err := loadTrace(cmd, name)
			return uint64(id), trace, err
		}
	}
	trace, _, err := readTraceFile(cmd, name)
	return fileTrace, trace, err
}

// fileTrace is the number under which a trace out of a file is replayed: no
// stored one has it.
const fileTrace = 1<<53 - 1 // the largest whole number a page can hold

// replayAsDevice sends a trace out of a link in the words of an instrument, or
// a recording of raw bytes as they came.
func replayAsDevice(cmd *cobra.Command, name, link string, rate float64, hostile uint64) (err error) {
	p, err := newPrinter(cmd)
	if err != nil {
		return err
	}
	kind, err := simulator.ParseLinkKind(link)
	if err != nil {
		return wordsError{fmt.Errorf("--link: %w", err)}
	}
	play, err := player(cmd, name, rate, hostile)
	if err != nil {
		return err
	}
	out, err := simulator.OpenLink(simulator.LinkOptions{Kind: kind, Query: "format=auto"})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	v := struct {
		Address string `json:"address"`
	}{out.Address()}
	if err := p.print(v, func(w io.Writer, _ measure.Unit) error {
		_, err := fmt.Fprintln(w, v.Address)
		return err
	}); err != nil {
		return err
	}
	err = play(cmd.Context(), out)
	if cmd.Context().Err() != nil {
		return nil // Ctrl-C is how it is ended
	}
	return err
}

// player returns what sends the named trace or byte recording.
func player(cmd *cobra.Command, name string, rate float64, hostile uint64) (func(context.Context, *simulator.Link) error, error) {
	if piped(name) {
		return nil, wrongWords("%s is a pipe or a device, which is read only once: write it into a file first", name)
	}
	f, err := os.Open(name)
	if err == nil {
		defer f.Close()
		begins := make([]byte, len(recordingBegins))
		if _, err := io.ReadFull(f, begins); err == nil && string(begins) == recordingBegins {
			rest, err := readAtMost(f, mostRecording)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			text := append(begins, rest...)
			if r, err := bytelog.NewReader(bytes.NewReader(text)); err == nil {
				return func(ctx context.Context, l *simulator.Link) error {
					p := bytelog.Player{Speed: rate, Mark: func(k bytelog.Kind) error {
						if k == bytelog.Lost {
							return l.Unplug()
						}
						return l.Replug()
					}}
					if hostile != 0 {
						p.Hostile = rand.New(rand.NewPCG(hostile, 0))
					}
					return p.Play(ctx, r, l)
				}, nil
			}
		}
	}
	_, trace, err := traceNamed(cmd, name)
	if err != nil {
		return nil, err
	}
	o := simulator.EncodeOptions{}
	if slices.ContainsFunc(trace.Readings, func(r measure.Reading) bool { return r.Has&measure.HasAngle != 0 }) {
		o.Format = simulator.Format{Name: "named-angle-lift", Layout: "angle:{angle} lift:{lift} {unit}", AngleDecimals: 6}
	}
	chunks, err := simulator.Encode(trace, o)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context, l *simulator.Link) error {
		return simulator.PlayBytes(ctx, chunks, l, rate)
	}, nil
}

// runReplay serves a page that shows nothing but the replay. It has a store of
// its own that goes away with it: the real one may be in use by the daemon.
func (f *serveFlags) runReplay(cmd *cobra.Command, begin func(*daemon.Daemon, *storage.Store) error) (err error) {
	dir, err := os.MkdirTemp("", "lobescribe-replay-")
	if err != nil {
		return fmt.Errorf("replaying: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	store, err := storage.Open(filepath.Join(dir, storeFile), storage.Options{Log: logger(cmd)})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	return f.serve(cmd, store, daemon.SourceReplay, begin)
}
