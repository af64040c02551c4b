package daemon

import (
	"context"
	"errors"
	"time"

	"lobescribe/capture"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/lines/guess"
	"lobescribe/device/measure"
	"lobescribe/device/probe"
)

// How long a preview listens, and how much it shows.
const (
	previewFor      = 2500 * time.Millisecond
	previewReadings = 40
)

// Preview listens at an address for a moment and says what it heard, so that a
// device can be looked at before it is chosen. One that is in use already is
// told by its status: a port cannot be opened twice.
func (d *Daemon) Preview(ctx context.Context, text string) (dashboard.Preview, error) {
	a, err := ParseAddress(text, d.device)
	if err != nil {
		return dashboard.Preview{}, err
	}
	if i := d.inUse(a); i != nil {
		return preview(i.now(), nil, i.source.View()), nil
	}
	ctx, cancel := context.WithTimeout(ctx, previewFor)
	defer cancel()
	var status device.Status
	var heard []measure.Reading
	source := device.Open(ctx, a, d.device)
	for e := range source.Events() {
		if e.Status != nil && e.Status.State != device.Closed {
			status = *e.Status
		}
		if len(heard) < previewReadings {
			heard = append(heard, e.Readings...)
		}
	}
	return preview(status, heard[:min(len(heard), previewReadings)], source.View()), nil
}

// Probe listens at the usual speeds and tells every page how it goes.
func (d *Daemon) Probe(ctx context.Context, text string) (dashboard.Probed, error) {
	a, err := address.Parse(text)
	if err != nil {
		return dashboard.Probed{}, err
	}
	if a.Kind != address.Serial {
		return dashboard.Probed{}, errors.New("only a serial port has a speed to try: give its name, as in serial:/dev/ttyUSB0")
	}
	if d.inUse(a) != nil {
		return dashboard.Probed{}, errors.New("this port is in use here already: disconnect it first")
	}
	found, err := probe.Port(ctx, a.Port, func(s probe.Step) {
		d.hub.Publish(live.ProbeStep{Line: s.Line.String(), Score: s.Score, Says: s.Says}, 0)
	})
	return dashboard.Probed{Sure: found.Sure, Address: found.Address.String(), Says: found.Says}, err
}

// inUse returns the instrument that has the device already; nil if none has.
func (d *Daemon) inUse(a address.Address) *instrument {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, role := range capture.Roles() {
		if i := d.instruments[role]; i != nil && i.address.Port == a.Port && i.address.Kind == a.Kind && i.address.USB == a.USB {
			return i
		}
	}
	return nil
}

func preview(s device.Status, heard []measure.Reading, v guess.View) dashboard.Preview {
	p := dashboard.Preview{Format: s.FormatSays, Says: s.Says, Assumes: s.Assumes, Readings: []dashboard.PreviewReading{}, Refused: refusedByKind(s)}
	for _, l := range v.Lines {
		line := dashboard.PreviewLine{Text: l.Text}
		for _, s := range l.Spans {
			line.Spans = append(line.Spans, dashboard.PreviewSpan(s))
		}
		p.Lines = append(p.Lines, line)
	}
	for _, c := range v.Columns {
		p.Columns = append(p.Columns, dashboard.PreviewColumn{Key: c.Key, Name: c.Name, Role: c.Role.String()})
	}
	for _, r := range heard {
		one := dashboard.PreviewReading{At: r.At}
		if r.Has&measure.HasLift != 0 {
			one.Lift = &r.Lift
		}
		if r.Has&measure.HasAngle != 0 {
			one.Angle = &r.Angle
		}
		p.Readings = append(p.Readings, one)
	}
	return p
}
