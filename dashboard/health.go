package dashboard

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
)

// healthWait is how long a part may take to answer before it counts as hung.
const healthWait = 2 * time.Second

// leastFree is the room on the disk below which the store counts as full: a
// day at 100 readings a second takes about 16 MB.
const leastFree = 32 << 20

// Health tells whether the daemon does its work. A device that is lost is not a
// fault of the daemon: it is told beside.
type Health struct {
	Status  string         `json:"status"` // "ok" or "fault"
	Version string         `json:"version,omitempty"`
	Checks  []Check        `json:"checks"`
	Devices []DeviceHealth `json:"devices"`
	// Notes are no faults: how it stands with the shop.
	Notes []string `json:"notes,omitempty"`
}

// Check is one part's health.
type Check struct {
	Part string `json:"part"` // "live", "store" or "page"
	OK   bool   `json:"ok"`
	Says string `json:"says,omitempty"` // what is wrong and what to do; where ok, what is to be known
}

// DeviceHealth is how a link stands, without saying where it leads.
type DeviceHealth struct {
	ID     string `json:"id"`
	State  string `json:"state"`
	Detail string `json:"detail,omitempty"`
}

// probes asks the parts. Each has one place: a part that hangs holds up one
// goroutine and no more, however often it is asked for.
type probes struct{ live, store, page chan struct{} }

func newProbes() probes {
	return probes{make(chan struct{}, 1), make(chan struct{}, 1), make(chan struct{}, 1)}
}

// errHung says that a part did not answer in time.
var errHung = errors.New("it does not answer")

// ask runs do and waits for it while ctx lasts.
func ask(ctx context.Context, place chan struct{}, do func() error) error {
	select {
	case place <- struct{}{}:
	case <-ctx.Done():
		return errHung // it still has not answered the one before
	}
	answer := make(chan error, 1)
	go func() {
		answer <- do()
		<-place
	}()
	select {
	case err := <-answer:
		return err
	case <-ctx.Done():
		return errHung
	}
}

// Health asks every part, two seconds at most.
func (s *Server) Health(ctx context.Context) Health {
	ctx, cancel := context.WithTimeout(ctx, s.o.HealthWait)
	defer cancel()
	h := Health{Status: "ok", Version: s.o.Version, Devices: []DeviceHealth{}}
	add := func(part string, err error) {
		c := Check{Part: part, OK: err == nil}
		if err != nil {
			h.Status, c.Says = "fault", sentence(err)
		}
		h.Checks = append(h.Checks, c)
	}
	// All at the same time: one that hangs must not make the others look hung.
	var follower, room, page error
	said, notes := make(chan live.Hello, 1), make(chan []string, 1)
	var asking sync.WaitGroup
	if s.o.Alive != nil {
		asking.Go(func() { follower = ask(ctx, s.probes.live, func() error { return s.o.Alive(ctx) }) })
	}
	asking.Go(func() {
		room = ask(ctx, s.probes.store, func() error { notes <- s.shopNotes(); return s.storeHealth() })
	})
	asking.Go(func() { page = ask(ctx, s.probes.page, func() error { said <- s.hub.Now(); return nil }) })
	asking.Wait()

	select {
	case h.Notes = <-notes:
	default: // the store hangs, and the outbox is in it
	}
	var now live.Hello
	switch missing := s.assets.missing(); {
	case page != nil:
		page = fmt.Errorf("the live channel of the page hangs (%w): restart the daemon", page)
	case len(missing) > 0:
		page = fmt.Errorf("libraries of the page are missing (%s): run `go generate ./...` and build again", strings.Join(missing, ", "))
		now = <-said
	default:
		now = <-said
	}
	switch {
	case errors.Is(room, errHung):
		room = fmt.Errorf("the store hangs (%w): is its disk still there?", room)
	case room == nil && now.Trace != nil && now.Trace.State == keep.StateFailed:
		room = fmt.Errorf("readings are being lost. %s", now.Trace.Says)
	}
	for _, r := range now.Repairs {
		h.Notes = append(h.Notes, r.Says)
	}
	if follower != nil {
		follower = fmt.Errorf("the live side hangs (%w): readings are not being taken; restart the daemon", follower)
	}
	if s.o.Alive != nil {
		add("live", follower)
	}
	add("store", room)
	if room == nil && now.Trace != nil && now.Trace.State == keep.StateBehind {
		// Nothing is lost while memory holds it, and a restart would lose it.
		h.Checks[len(h.Checks)-1].Says = "the store is behind, and readings wait in memory: do not restart. " + now.Trace.Says
	}
	add("page", page)
	for _, d := range now.Devices {
		h.Devices = append(h.Devices, DeviceHealth{ID: d.ID, State: d.State, Detail: d.Detail})
	}
	return h
}

// storeHealth looks whether the store can be read and has room to grow.
func (s *Server) storeHealth() error {
	if _, err := s.store.Bench(); err != nil {
		return err
	}
	free, err := s.o.Free(filepath.Dir(s.store.Path()))
	if err == nil && free < leastFree { // where the system does not tell, only the store itself can
		return fmt.Errorf("the disk is full: %d MB are left; make room", free>>20)
	}
	return nil
}

func (s *Server) health(w http.ResponseWriter, r *http.Request) error {
	h := s.Health(r.Context())
	status := http.StatusOK
	if h.Status != "ok" {
		status = http.StatusServiceUnavailable
	}
	answer(w, status, h)
	return nil
}

func (s *Server) metrics(w http.ResponseWriter, r *http.Request) error {
	if s.o.Metrics == nil {
		return fmt.Errorf("metrics: %w", ErrNotOffered)
	}
	s.o.Metrics.handler().ServeHTTP(w, r)
	return nil
}
