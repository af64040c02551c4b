package main

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/doctor"
	"lobescribe/device/measure"
)

func newDoctor() *cobra.Command {
	var bundle string
	var listenFor time.Duration
	cmd := &cobra.Command{
		Use:   "doctor [ADDRESS...]",
		Short: "What stands in the way of a good link, and what to do about it",
		Long: `Looks at the computer's ports (rights, programs that hold them, daemons that take
them) and, for each address given, listens to the device for a while and says what
is wrong with the link and with the computer's clock. Nothing is ever written to a device.

--bundle writes a report without serial numbers, host names or keys, to attach
when you ask somebody for help.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			o, err := deviceOptions(cmd)
			if err != nil {
				return err
			}
			var addresses []address.Address
			for _, text := range args {
				a, err := parseDevice(text, o)
				if err != nil {
					return err
				}
				addresses = append(addresses, a)
			}
			findings, err := doctor.Ports(cmd.Context())
			if err != nil {
				return err
			}
			clock := newClockLook()
			findings = append(findings, clock.look()...)
			var links []doctor.Link
			for _, a := range addresses {
				l := examine(cmd.Context(), a, o, listenFor, func() { findings = append(findings, clock.look()...) })
				links = append(links, l)
				findings = append(findings, doctor.Examine(l)...)
			}
			if bundle != "" {
				r := doctor.Report{Version: version, System: runtime.GOOS + " " + runtime.GOARCH, Findings: findings}
				if err := writeBeside(bundle, func(w io.Writer) error { return doctor.WriteBundle(w, r, links) }); err != nil {
					return err
				}
			}
			if findings == nil {
				findings = []doctor.Finding{} // [] and not null
			}
			return p.print(findings, func(w io.Writer, _ measure.Unit) error { return tableDoctor(w, findings, links) })
		},
	}
	cmd.Flags().StringVar(&bundle, "bundle", "", "also write a redacted report to this file")
	cmd.Flags().DurationVar(&listenFor, "for", 5*time.Second, "how long to listen to each device")
	addJSONFlag(cmd)
	return cmd
}

// clockLook looks at the computer's clocks while the devices are listened to.
type clockLook struct {
	began time.Time
	clock doctor.Clock
}

func newClockLook() *clockLook { return &clockLook{began: time.Now()} }

func (l *clockLook) look() []doctor.Finding {
	now := time.Now()
	if f := l.clock.Look(measure.StampOf(now.Sub(l.began)), now); f != nil {
		return []doctor.Finding{*f}
	}
	return nil
}

// examine listens to a device for a while and returns the state of its link. It
// calls tick with every event.
func examine(ctx context.Context, a address.Address, o device.Options, d time.Duration, tick func()) doctor.Link {
	ctx, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	source := device.Open(ctx, a, o)
	var last doctor.Link
	for e := range source.Events() {
		tick()
		if e.Status == nil || e.Status.State == device.Closed {
			continue
		}
		last = doctor.Of(source)
		last.Status = *e.Status
		last.LatencyTimer = doctor.LatencyTimer(e.Status.Port)
	}
	return last
}

func tableDoctor(w io.Writer, findings []doctor.Finding, links []doctor.Link) error {
	for _, l := range links {
		fmt.Fprintf(w, "%s: %s, %s, %.0f readings a second, %d refused\n", l.Address, l.Status.State,
			dash(l.Status.FormatSays), l.Status.Rate, l.Counters.Refused.Total())
		if l.Status.Firmware != "" {
			fmt.Fprintf(w, "  it says of itself: %s\n", l.Status.Firmware)
		}
	}
	if len(findings) == 0 {
		_, err := fmt.Fprintln(w, "nothing stands in the way")
		return err
	}
	for _, f := range findings {
		if _, err := fmt.Fprintf(w, "! %s, %s: %s\n  %s\n", f.Kind, f.About, f.Says, f.Do); err != nil {
			return err
		}
	}
	return nil
}
