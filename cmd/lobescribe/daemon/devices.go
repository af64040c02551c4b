package daemon

import (
	"context"
	"strings"

	"lobescribe/capture"
	"lobescribe/capture/prove"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/ports"
	"lobescribe/storage"
)

// attach opens a device in a role, in place of what was there.
func (d *Daemon) attach(role capture.Role, a address.Address) {
	d.plugging.Lock()
	defer d.plugging.Unlock()
	d.unplug(role)
	if role == capture.Indicator {
		d.DropProving()
		d.proofOf(a)
	}
	i := connect(d.ctx, role, a, d.device, listener{live: d.live, heard: d.heard, noted: d.noted, status: d.tellStatus})
	d.mu.Lock()
	d.instruments[role] = i
	d.pluggedIn.Store(int32(len(d.instruments)))
	d.mu.Unlock()
}

// unplug closes what is in a role and waits for it, without holding what its
// goroutine may want. The caller holds d.plugging.
func (d *Daemon) unplug(role capture.Role) bool {
	d.mu.Lock()
	i := d.instruments[role]
	d.mu.Unlock()
	if i == nil {
		return false
	}
	i.close()
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.instruments, role)
	d.pluggedIn.Store(int32(len(d.instruments)))
	d.retire(role, i)
	return true
}

func (d *Daemon) detach(role capture.Role) {
	d.plugging.Lock()
	defer d.plugging.Unlock()
	if !d.unplug(role) {
		return
	}
	d.live.Lost(role)
	if role == capture.Indicator {
		d.DropProving()
		d.proofs.known("", prove.Proof{})
		d.tellProof()
	}
	d.hub.Publish(live.Device{ID: string(role), State: "lost", Detail: "absent",
		Says: "No device is chosen."}, 0)
}

func (d *Daemon) tellStatus(i *instrument, s device.Status) {
	if p := d.proofs.underWay(); p != nil && i.role == capture.Indicator {
		p.stood(s)
	}
	d.hub.Publish(live.Device{
		ID: string(i.role), Address: i.named,
		State: s.LiveWord(), Detail: s.State.String(), Says: s.Says,
		RateHz: s.Rate, AgeS: s.Age.Seconds(), Format: s.FormatSays, Resolution: s.Resolution,
		Assumes: s.Assumes, Refused: refusedByKind(s),
	}, 0)
}

// ParseAddress reads an address and sees to it that a source of it can work.
func ParseAddress(text string, o device.Options) (address.Address, error) {
	a, err := address.Parse(text)
	if err == nil {
		err = device.Check(a, o)
	}
	return a, err
}

// Connect opens a device in a role and remembers it.
func (d *Daemon) Connect(ctx context.Context, role, text string) error {
	a, err := ParseAddress(text, d.device)
	if err != nil {
		return err
	}
	d.attach(capture.Role(role), a)
	return d.remember(func(b *storage.Bench) { b.Devices[role] = a.String() })
}

// Disconnect closes the link in a role and forgets it.
func (d *Daemon) Disconnect(ctx context.Context, role string) error {
	d.detach(capture.Role(role))
	return d.remember(func(b *storage.Bench) { delete(b.Devices, role) })
}

// Ports lists what could be connected.
func (d *Daemon) Ports(ctx context.Context) ([]dashboard.Port, error) { return ListPorts(ctx) }

// ListPorts lists what could be connected, as the page and the table show it.
func ListPorts(ctx context.Context) ([]dashboard.Port, error) {
	ports, err := ports.List(ctx)
	if err != nil {
		return nil, err
	}
	list := []dashboard.Port{} // [] and not null
	for _, p := range ports {
		list = append(list, portOf(p))
	}
	return list, nil
}

// portOf says of a port what the page and the table need.
func portOf(p ports.Port) dashboard.Port {
	out := dashboard.Port{Address: p.Address().String(), Name: p.Name, ByID: p.ByID, ByPath: p.ByPath,
		CanOpen: p.Usable, Says: p.Hint}
	if p.USB.Vendor != "" {
		out.USB = &dashboard.USB{Vendor: p.USB.Vendor, Product: p.USB.Product, Serial: p.USB.Serial, Name: p.Product}
	}
	return out
}

// refusedByKind returns the counts that are not zero, by kind in words.
func refusedByKind(s device.Status) map[string]int {
	out := map[string]int{}
	for kind, n := range refusedKinds(s.Refused) {
		if n > 0 {
			out[strings.ReplaceAll(kind, "_", " ")] = int(n)
		}
	}
	return out
}
