package dashboard

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"lobescribe/dashboard/door"
	"lobescribe/dashboard/live"
	"lobescribe/device/address"
)

// deviceWait is how long opening or listening may take before the page is told
// that it does not come about.
const deviceWait = 12 * time.Second

func (s *Server) ports(w http.ResponseWriter, r *http.Request) error {
	ctx, cancel := context.WithTimeout(r.Context(), deviceWait)
	defer cancel()
	list, err := s.bench.Ports(ctx)
	if err != nil {
		return err
	}
	if list == nil {
		list = []Port{}
	}
	answer(w, http.StatusOK, list)
	return nil
}

func (s *Server) devices(w http.ResponseWriter, _ *http.Request) error {
	answer(w, http.StatusOK, s.hub.Now().Devices)
	return nil
}

// addressed is a request that names a device.
type addressed struct {
	Address string `json:"address"`
}

func (s *Server) preview(w http.ResponseWriter, r *http.Request) error {
	ctx, cancel := context.WithTimeout(r.Context(), deviceWait)
	defer cancel()
	address, err := s.address(ctx, w, r)
	if err != nil {
		return err
	}
	heard, err := s.bench.Preview(ctx, address)
	if err != nil {
		return unreachable(ctx, err)
	}
	if heard.Readings == nil {
		heard.Readings = []PreviewReading{}
	}
	if heard.Refused == nil {
		heard.Refused = map[string]int{}
	}
	answer(w, http.StatusOK, heard)
	return nil
}

func (s *Server) connect(w http.ResponseWriter, r *http.Request) error {
	role, err := roleOf(r)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(r.Context(), deviceWait)
	defer cancel()
	address, err := s.address(ctx, w, r)
	if err != nil {
		return err
	}
	if err := s.bench.Connect(ctx, role, address); err != nil {
		return unreachable(ctx, err)
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) disconnect(w http.ResponseWriter, r *http.Request) error {
	role, err := roleOf(r)
	if err != nil {
		return err
	}
	if err := s.bench.Disconnect(r.Context(), role); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// switched turns the simulator on or off.
type switched struct {
	On *bool `json:"on"`
}

func (s *Server) simulate(w http.ResponseWriter, r *http.Request) error {
	var ask switched
	if err := read(w, r, &ask); err != nil {
		return err
	}
	if ask.On == nil {
		return wrong("on", "on is missing: true puts the simulator in the place of the instruments, false takes it away.")
	}
	if err := s.bench.Simulate(r.Context(), *ask.On); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func roleOf(r *http.Request) (string, error) {
	role := r.PathValue("role")
	switch role {
	case live.Indicator, live.Encoder, live.Sweep:
		return role, nil
	}
	return "", &problem{status: http.StatusNotFound, says: "There is an indicator, an encoder and a sweep gauge here, no other device."}
}

// address reads the address of a request and looks whether a page may name it.
func (s *Server) address(ctx context.Context, w http.ResponseWriter, r *http.Request) (string, error) {
	var ask addressed
	if err := read(w, r, &ask); err != nil {
		return "", err
	}
	list, err := s.bench.Ports(ctx)
	if err != nil {
		list = nil // then only what is a port by its name
	}
	known := slices.Clone(s.o.Named)
	for _, d := range s.hub.Now().Devices { // the simulator's, say
		if a, err := address.Parse(d.Address); err == nil {
			known = append(known, a)
		}
	}
	for _, p := range list {
		if a, err := address.Parse(p.Address); err == nil {
			known = append(known, a)
		}
		for _, name := range []string{p.ByID, p.ByPath} {
			if name != "" {
				known = append(known, address.Address{Kind: address.Serial, Port: name})
			}
		}
	}
	a, err := address.Parse(ask.Address)
	if err == nil {
		err = door.MayOpen(a, known)
	}
	if err != nil {
		return "", wrong("address", "%s", sentence(err))
	}
	return ask.Address, nil
}

// unreachable says that a device did not come about, in its own words.
func unreachable(ctx context.Context, err error) error {
	if errors.Is(err, ErrNotOffered) {
		return err
	}
	says := sentence(err)
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		says = "The device did not answer in time: " + err.Error() + "."
	}
	return &problem{status: http.StatusBadGateway, field: "address", says: says}
}

// probeWait is somewhat more than the longest probe.
const probeWait = 20 * time.Second

func (s *Server) probe(w http.ResponseWriter, r *http.Request) error {
	ctx, cancel := context.WithTimeout(r.Context(), probeWait)
	defer cancel()
	address, err := s.address(ctx, w, r)
	if err != nil {
		return err
	}
	found, err := s.bench.Probe(ctx, address)
	if err != nil {
		return unreachable(ctx, err)
	}
	answer(w, http.StatusOK, found)
	return nil
}

// measureDelay begins or goes on; a page asks every second.
func (s *Server) measureDelay(w http.ResponseWriter, r *http.Request) error {
	p, err := s.bench.MeasureDelay(r.Context())
	if err != nil {
		return &problem{status: http.StatusConflict, says: sentence(err)}
	}
	answer(w, http.StatusOK, p)
	return nil
}

func (s *Server) keepDelay(w http.ResponseWriter, r *http.Request) error {
	if err := s.bench.KeepDelay(r.Context()); err != nil {
		return &problem{status: http.StatusConflict, says: sentence(err)}
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) dropDelay(w http.ResponseWriter, _ *http.Request) error {
	s.bench.DropDelay()
	w.WriteHeader(http.StatusNoContent)
	return nil
}
