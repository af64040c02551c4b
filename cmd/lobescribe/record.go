package main

import (
	"context"
	"fmt"
	"io"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/capture"
	"lobescribe/capture/lift"
	"lobescribe/device"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newRecord() *cobra.Command {
	var indicator, encoder, direction, engine, valve string
	var openings int
	var save bool
	cmd := &cobra.Command{
		Use:   "record --indicator ADDRESS [--encoder ADDRESS]",
		Short: "Without the page: record until so many openings are complete, print findings",
		Long: `Records until --openings whole openings are complete (or Ctrl-C) and prints the
findings. Recording begins at once. What happens meanwhile goes to stderr.

  lobescribe record --indicator serial:/dev/ttyUSB0 --openings 3
  lobescribe record --indicator serial:/dev/ttyUSB0 --save --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			if openings < 0 {
				return wrongWords("--openings must be 0 (until Ctrl-C) or more, not %d", openings)
			}
			r := recording{openings: openings, log: cmd.ErrOrStderr(), unit: p.unit}
			if r.sign, err = parseDirection(direction); err != nil {
				return err
			}
			if r.device, err = deviceOptions(cmd); err != nil {
				return err
			}
			// Nobody looks at each reading: see newDaemon.
			r.device.Gather = func() time.Duration { return unseenEvery }
			if r.devices, err = parseDevices(indicator, encoder, r.device); err != nil {
				return err
			}
			if save {
				store, err := openStore(cmd, storage.Options{})
				if err != nil {
					return err
				}
				defer store.Close()
				r.store = store
				r.head = storage.Head{Engine: engine, Valve: valve, Source: "live"}
			}
			f, err := r.run(cmd)
			if err != nil {
				return err
			}
			return p.print(f, func(w io.Writer, u measure.Unit) error { return tableFindings(w, f, u) })
		},
	}
	cmd.Flags().StringVar(&indicator, "indicator", "", "address of the indicator, as in serial:/dev/ttyUSB0")
	cmd.Flags().StringVar(&encoder, "encoder", "", "address of the crank encoder, if it has a port of its own")
	cmd.Flags().IntVar(&openings, "openings", 0, "stop after so many whole openings; 0 means until Ctrl-C")
	cmd.Flags().BoolVar(&save, "save", false, "keep the trace in the store")
	cmd.Flags().StringVar(&engine, "engine", "", "with --save: the engine it belongs to")
	cmd.Flags().StringVar(&valve, "valve", "", "with --save: the valve it belongs to, as in 3I or 3E")
	addDirectionFlag(cmd, &direction)
	heeds(cmd.Flags(), "indicator", "encoder", "direction")
	addOutputFlags(cmd)
	return cmd
}

// parseDevices reads the addresses of --indicator and --encoder.
func parseDevices(indicator, encoder string, o device.Options) (map[capture.Role]device.Address, error) {
	if indicator == "" {
		return nil, wrongWords("name the indicator: --indicator ADDRESS, as in serial:/dev/ttyUSB0 (`lobescribe ports` lists them)")
	}
	devices := map[capture.Role]device.Address{}
	for role, text := range map[capture.Role]string{capture.Indicator: indicator, capture.Encoder: encoder} {
		if text == "" {
			continue
		}
		a, err := parseDevice(text, o)
		if err != nil {
			return nil, wordsError{fmt.Errorf("--%s: %w", role, err)}
		}
		devices[role] = a
	}
	return devices, nil
}

// recording is one headless recording: the live side with nobody looking.
type recording struct {
	devices  map[capture.Role]device.Address
	device   device.Options
	openings int
	sign     int
	store    *storage.Store // nil: nothing is kept
	head     storage.Head
	log      io.Writer
	unit     measure.Unit

	trace measure.Trace // what was recorded, in memory for the findings
}

// run records and returns the findings.
func (r *recording) run(cmd *cobra.Command) (lift.Findings, error) {
	keepGoing()
	ctx, enough := context.WithCancel(cmd.Context())
	defer enough()
	memory := &memoryShelf{recording: r}
	state := ""
	keeper := capture.NewKeeper(capture.KeeperOptions{Store: memory, Log: logger(cmd),
		Tell: func(s capture.TraceState) {
			if s.Says != "" && s.State != state {
				fmt.Fprintln(r.log, s.Says)
			}
			state = s.State
		}})
	settled := 0
	live := capture.NewLive(capture.LiveOptions{
		Follower: capture.FollowerOptions{Sign: r.sign},
		// Only Ctrl-C or the last opening end it, not a long rest.
		Recorder: capture.RecorderOptions{Rest: measure.StampOf(1000 * time.Hour)},
		Clock:    device.Now, Keeper: keeper,
		Tell: func(m capture.Message) {
			if o, ok := m.(capture.Opened); ok {
				settled++
				fmt.Fprintf(r.log, "opening %d: max lift %s, half lift %s\n", settled, o.Opening.MaxLift.In(r.unit), o.Opening.HalfLift.In(r.unit))
				if settled == r.openings {
					enough()
				}
			}
		}})
	live.BeginTrace()

	var work sync.WaitGroup
	keeping, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	kept := make(chan error, 1)
	go func() { kept <- keeper.Run(keeping) }()
	work.Go(func() { live.Run(ctx) })
	for role, a := range r.devices {
		var last device.Status
		i := connect(ctx, role, a, r.device, listener{live: live,
			status: func(_ *instrument, s device.Status) { say(r.log, &last, s) }})
		work.Go(func() { <-i.done })
	}
	<-ctx.Done()
	work.Wait()
	stop()
	if err := <-kept; err != nil {
		return lift.Findings{}, fmt.Errorf("keeping the trace: %w", err)
	}
	if len(r.trace.Readings) == 0 {
		return lift.Findings{}, fmt.Errorf("nothing was recorded: no reading came; try `lobescribe listen` or `lobescribe doctor` with the same address")
	}
	f, err := lift.Analyse(r.trace, lift.Options{Sign: r.sign})
	if err == nil && memory.id != 0 {
		fmt.Fprintf(r.log, "stored as trace %s\n", memory.id)
		err = r.store.PutFindings(memory.id, f)
	}
	return f, err
}

// memoryShelf keeps a recording in memory, and in the store if there is one.
type memoryShelf struct {
	*recording
	id storage.ID
}

func (m *memoryShelf) Begin(h capture.Head) (capture.TraceWriter, error) {
	w := &memoryWriter{shelf: m}
	if m.store == nil {
		return w, nil
	}
	head := m.head
	head.Started, head.Resolution, head.HasAngle = h.Started, h.Resolution, h.HasAngle
	_, head.HasAngle = m.devices[capture.Encoder]
	for role, a := range m.devices {
		head.Devices = append(head.Devices, storage.DeviceNote{Role: string(role), Address: a.String()})
	}
	disk, err := m.store.Begin(head)
	if err != nil {
		return nil, err
	}
	w.disk, m.id = disk, disk.ID()
	return w, nil
}

type memoryWriter struct {
	shelf *memoryShelf
	disk  *storage.Writer
}

func (w *memoryWriter) ID() uint64 { return uint64(w.shelf.id) }

func (w *memoryWriter) Append(r []measure.Reading, n []measure.Note) error {
	if w.disk != nil {
		if err := w.disk.Append(r, n); err != nil {
			return err
		}
	}
	w.shelf.trace.Readings = append(w.shelf.trace.Readings, r...)
	w.shelf.trace.Notes = append(w.shelf.trace.Notes, n...)
	return nil
}

func (w *memoryWriter) End() error {
	if w.disk != nil {
		return w.disk.End()
	}
	return nil
}
