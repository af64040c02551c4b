package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/capture"
	"lobescribe/capture/delay"
	"lobescribe/dashboard"
	"lobescribe/device"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// delayMeter collects what indicator and encoder say, each as it comes, until
// the lag between them can be told.
type delayMeter struct {
	mu    sync.Mutex
	lift  []measure.Reading
	angle []measure.Reading
}

// delayReadings bounds what a meter holds of each source: minutes at any rate
// of a bench.
const delayReadings = 100_000

func (m *delayMeter) add(role capture.Role, readings []measure.Reading) {
	m.mu.Lock()
	defer m.mu.Unlock()
	to := &m.lift
	if role == capture.Encoder {
		to = &m.angle
	}
	*to = append(*to, readings...)
	if n := len(*to); n > delayReadings {
		*to = append([]measure.Reading(nil), (*to)[n-delayReadings/2:]...)
	}
}

// measure tells the lag; the error wraps delay.ErrNotEnough and says what to do
// while it cannot be told.
func (m *delayMeter) measure() (delay.Result, error) {
	m.mu.Lock()
	lift, angle := m.lift, m.angle
	m.mu.Unlock() // what has been added is never written again
	return delay.Measure(lift, angle, delay.Options{})
}

// withDelays returns the addresses with the delays that a result asks for.
func withDelays(r delay.Result, indicator, encoder device.Address) (device.Address, device.Address) {
	indicator.Delay, encoder.Delay = r.Delays(indicator.Delay, encoder.Delay)
	return indicator, encoder
}

func newDelay() *cobra.Command {
	var indicator, encoder string
	var save bool
	cmd := &cobra.Command{
		Use:   "delay --indicator ADDRESS --encoder ADDRESS",
		Short: "Measure by how much the indicator's readings come later than the encoder's",
		Long: `Two ports bring two delays, and at 60 degrees a second 16 ms are a degree of crank.
Rock the crank over one flank of the valve, forward and back some 30 degrees, a few
times, at different speeds. It says what is missing until it can tell, and then
prints the addresses with delay= in them; --save keeps them for serve.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			o, err := deviceOptions(cmd)
			if err != nil {
				return err
			}
			if encoder == "" {
				return wrongWords("name the encoder: --encoder ADDRESS; where one line carries lift and angle there is no delay to measure")
			}
			devices, err := parseDevices(indicator, encoder, o)
			if err != nil {
				return err
			}
			r, err := measureDelay(cmd, devices, o)
			if err != nil {
				return err
			}
			a, b := withDelays(r, devices[capture.Indicator], devices[capture.Encoder])
			if save {
				if err := saveDevices(cmd, a, b); err != nil {
					return err
				}
			}
			v := struct {
				delay.Result
				Indicator string `json:"indicator"`
				Encoder   string `json:"encoder"`
			}{r, a.String(), b.String()}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintf(w, "%s\nindicator %s\nencoder   %s\n", r.Says, a, b)
				return err
			})
		},
	}
	cmd.Flags().StringVar(&indicator, "indicator", "", "address of the indicator")
	cmd.Flags().StringVar(&encoder, "encoder", "", "address of the crank encoder")
	heeds(cmd.Flags(), "indicator", "encoder")
	cmd.Flags().BoolVar(&save, "save", false, "keep both devices, with their delays, for serve")
	addOutputFlags(cmd)
	return cmd
}

// measureDelay listens to both devices until the lag can be told.
func measureDelay(cmd *cobra.Command, devices map[capture.Role]device.Address, o device.Options) (delay.Result, error) {
	ctx, stop := context.WithCancel(cmd.Context())
	defer stop()
	var meter delayMeter
	for role, a := range devices {
		i := connect(ctx, role, a, o, listener{heard: meter.add})
		defer i.close()
	}
	look := time.NewTicker(time.Second)
	defer look.Stop()
	said := ""
	for {
		select {
		case <-ctx.Done():
			return delay.Result{}, fmt.Errorf("stopped before the delay could be told: %s", said)
		case <-look.C:
		}
		r, err := meter.measure()
		if err == nil {
			return r, nil
		}
		if !errors.Is(err, delay.ErrNotEnough) {
			return r, err
		}
		if said != err.Error() {
			said = err.Error()
			fmt.Fprintln(cmd.ErrOrStderr(), said)
		}
	}
}

// saveDevices keeps both devices in the store, for the next serve.
func saveDevices(cmd *cobra.Command, indicator, encoder device.Address) error {
	store, err := openStore(cmd, storage.Options{})
	if err != nil {
		return err
	}
	defer store.Close()
	b, err := store.Bench()
	if err != nil {
		return err
	}
	b.Devices = map[string]string{string(capture.Indicator): indicator.String(), string(capture.Encoder): encoder.String()}
	_, err = store.PutBench(b)
	return err
}

// MeasureDelay begins to measure the lag between the instruments, or goes on
// with it, and says how far that has come.
func (d *daemon) MeasureDelay(context.Context) (dashboard.DelayProgress, error) {
	d.mu.Lock()
	if d.meter == nil {
		d.meter = &delayMeter{}
	}
	meter, both := d.meter, d.instruments[capture.Indicator] != nil && d.instruments[capture.Encoder] != nil
	d.mu.Unlock()
	if !both {
		return dashboard.DelayProgress{}, errors.New("there is a delay to measure only where indicator and encoder are on ports of their own: connect both")
	}
	r, err := meter.measure()
	switch {
	case err == nil:
		return dashboard.DelayProgress{Done: true, Says: r.Says, Result: &r}, nil
	case errors.Is(err, delay.ErrNotEnough):
		return dashboard.DelayProgress{Says: err.Error()}, nil
	}
	return dashboard.DelayProgress{}, err
}

// KeepDelay writes the measured lag into the instruments' addresses and opens
// them with it.
func (d *daemon) KeepDelay(ctx context.Context) error {
	p, err := d.MeasureDelay(ctx)
	if err != nil {
		return err
	}
	if !p.Done {
		return errors.New(p.Says)
	}
	d.mu.Lock()
	indicator, encoder := d.instruments[capture.Indicator], d.instruments[capture.Encoder]
	d.meter = nil
	d.mu.Unlock()
	if indicator == nil || encoder == nil {
		return errors.New("a device was disconnected in the meantime: connect both and measure again")
	}
	a, b := withDelays(*p.Result, indicator.address, encoder.address)
	if err := d.Connect(ctx, string(capture.Indicator), a.String()); err != nil {
		return err
	}
	return d.Connect(ctx, string(capture.Encoder), b.String())
}

// DropDelay ends the measuring without keeping anything.
func (d *daemon) DropDelay() {
	d.mu.Lock()
	d.meter = nil
	d.mu.Unlock()
}

// heard gives a measuring that is under way what an instrument said.
func (d *daemon) heard(role capture.Role, readings []measure.Reading) {
	d.mu.Lock()
	meter := d.meter
	d.mu.Unlock()
	if meter != nil {
		meter.add(role, readings)
	}
}
