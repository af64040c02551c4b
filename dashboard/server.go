package dashboard

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"lobescribe/dashboard/door"
	"lobescribe/dashboard/live"
	"lobescribe/device/address"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// Options are what a server is made of. Hub, Store and Bench must be given.
type Options struct {
	Hub   *live.Hub
	Store *storage.Store
	Bench Bench
	// Telling is for a bench that tells a shop what it records; Record is for the
	// page over a shop's record, which then only shows. Default: no shop.
	Telling *Telling
	Record  func() shop.ReaderState

	// LAN opens the door to the local network, for those with the Key. Names
	// are further host names this machine goes by there.
	LAN   bool
	Key   door.Key
	Names []string
	// Named are devices that the command line named: a page may name them, too,
	// whatever they are. Default: none.
	Named []address.Address
	// TLS serves over TLS. Default: plain, which on loopback is as good.
	TLS *tls.Config
	// Page is served instead of the embedded page. Default: the embedded one.
	Page fs.FS
	// Alive asks the live side whether it is still there, for /healthz; it must
	// return when its context ends. Default: not asked.
	Alive func(context.Context) error
	// HealthWait is how long a part may take to answer. Default: 2 s.
	HealthWait time.Duration
	// Free returns the bytes left on the disk of a folder. Default: as the
	// system tells.
	Free func(folder string) (uint64, error)
	// Metrics are told at /metrics. Default: none are.
	Metrics *Metrics
	// Version is told on the build sheet.
	Version string
	// Log gets refusals and faults, never a key. Default: none.
	Log *slog.Logger
	// Clock is the wall clock, for the date on a build sheet. Default:
	// time.Now.
	Clock func() time.Time

	// The limits against connections that only hold on. Defaults: 5 s for a
	// request's head, 15 s for a body and 30 s for an answer to stand still,
	// 256 connections.
	HeadWait, BodyWait, AnswerWait time.Duration
	Connections                    int
	// BackupWait is how long a backup may take as a whole. Default: 15 min,
	// enough for 2 GB at 20 Mbit/s.
	BackupWait time.Duration
	// UploadWait is how long a file may be on its way here as a whole. Default: 30
	// min, enough for 512 MB at 2.5 Mbit/s.
	UploadWait time.Duration
}

// Server answers the page.
type Server struct {
	o       Options
	hub     *live.Hub
	store   *storage.Store
	bench   Bench
	log     *slog.Logger
	door    *door.Door
	assets  *assets
	series  *seriesCache
	answers answers
	calc    map[string]calculation
	probes  probes
	rate    *rate.Limiter
	joins   *rate.Limiter // pages that open the socket
	heavy   chan struct{} // what takes much memory or time, a few at once
	uploads chan struct{}
	backups chan struct{}

	buffers sync.Pool      // the sockets' write buffers
	sockets sync.WaitGroup // their goroutines
	closing context.Context
	close   context.CancelFunc
}

// The pace of requests that one daemon takes, over all clients. A page that
// scrubs through a trace makes some ten a second.
const (
	requestsPerSec = 200
	requestsBurst  = 600
	// A page that joins gets the last seconds whole, which costs more than any
	// other answer; pages that come and go without end must not take the pace of
	// the others' requests either.
	joinsPerSec   = 50
	joinsBurst    = 300
	heavyAtOnce   = 4
	uploadsAtOnce = 2
	backupsAtOnce = 1
)

// New returns a server. It opens nothing: give [Server.Serve] a listener.
func New(o Options) (*Server, error) {
	if o.Hub == nil || o.Store == nil || o.Bench == nil {
		panic("dashboard: a server needs a hub, a store and a bench")
	}
	o.HeadWait = cmp.Or(o.HeadWait, 5*time.Second)
	o.BodyWait = cmp.Or(o.BodyWait, 15*time.Second)
	o.AnswerWait = cmp.Or(o.AnswerWait, 30*time.Second)
	o.Connections = cmp.Or(o.Connections, 256)
	o.HealthWait = cmp.Or(o.HealthWait, healthWait)
	if o.Free == nil {
		o.Free = freeOn
	}
	o.BackupWait = cmp.Or(o.BackupWait, 15*time.Minute)
	o.UploadWait = cmp.Or(o.UploadWait, 30*time.Minute)
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	// All that is logged here is what somebody's request brought about.
	o.Log = slog.New(door.Spare(o.Log.Handler()))
	if o.Clock == nil {
		o.Clock = time.Now
	}
	d, err := door.New(door.Options{LAN: o.LAN, Key: o.Key, Names: o.Names, Log: o.Log, Refuse: refuse, Known: known})
	if err != nil {
		return nil, fmt.Errorf("opening the dashboard: %w", err)
	}
	page, err := newAssets(o.Page)
	if err != nil {
		return nil, err
	}
	s := &Server{
		o: o, hub: o.Hub, store: o.Store, bench: o.Bench, log: o.Log, door: d, assets: page,
		probes:  newProbes(),
		rate:    rate.NewLimiter(requestsPerSec, requestsBurst),
		joins:   rate.NewLimiter(joinsPerSec, joinsBurst),
		heavy:   make(chan struct{}, heavyAtOnce),
		uploads: make(chan struct{}, uploadsAtOnce),
		backups: make(chan struct{}, backupsAtOnce),
	}
	s.series = newSeriesCache(s.loadColumns)
	s.calc = calculations()
	s.closing, s.close = context.WithCancel(context.Background())
	s.hub.SetShop(o.shopRole())
	if err := s.greetHub(); err != nil {
		return nil, fmt.Errorf("opening the dashboard: %w", err)
	}
	return s, nil
}

// refuse answers whoever the door keeps out: in JSON for a script, in words
// for a person.
func refuse(w http.ResponseWriter, r *http.Request, status int, says string) {
	if strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == "/healthz" {
		fail(w, status, says, "")
		return
	}
	http.Error(w, says, status)
}

// Serve answers on l until ctx ends, then lets requests under way finish, says
// goodbye to the sockets, and returns nil, all within two seconds. It closes l
// and the hub.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	l = net.Listener(limit(l, s.o.Connections))
	if s.o.TLS != nil {
		l = tls.NewListener(l, s.o.TLS)
	}
	web := &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: s.o.HeadWait,
		ReadTimeout:       s.o.BodyWait,
		WriteTimeout:      s.o.AnswerWait,
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    16 << 10,
		ConnContext:       withConnection,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelWarn),
	}
	ended := make(chan error, 1)
	go func() { ended <- web.Serve(l) }()
	var err error
	select {
	case err = <-ended:
		err = fmt.Errorf("serving the dashboard: %w", err)
	case <-ctx.Done():
	}
	s.hub.Close()
	s.close()
	end, cancel := context.WithTimeout(context.Background(), 1500*time.Millisecond)
	defer cancel()
	if web.Shutdown(end) != nil {
		web.Close() // whoever is still not through has had its time
	}
	s.sockets.Wait() // each cuts its line soon after closing: see live
	// A backup that was cut off takes its file away before the program ends.
	s.backups <- struct{}{}
	return err
}

// Handler returns everything behind the door.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", s.assets)
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		fail(w, http.StatusNotFound, fmt.Sprintf("There is no %s %s here.", r.Method, r.URL.Path), "")
	})
	for _, route := range s.routes() {
		if s.o.Record != nil && !route.onlyLooks() {
			route.do, route.device = onlyShows, false
		}
		pace := s.rate
		if route.joins {
			pace = s.joins
		}
		h := s.api(pace, route.do)
		if route.device {
			h = s.door.NamesDevice(h)
		}
		mux.Handle(route.pattern, h)
	}
	return s.door.Guard(mux)
}

// api wraps a call: pace on the way in, errors in words on the way out.
func (s *Server) api(pace *rate.Limiter, do func(http.ResponseWriter, *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if !pace.Allow() {
			w.Header().Set("Retry-After", "1")
			fail(w, http.StatusTooManyRequests, "Too many requests at once. Try again in a second.", "")
			return
		}
		if err := do(w, r); err != nil {
			s.complain(w, r, err)
		}
	}
}

// complain writes an error as an answer.
func (s *Server) complain(w http.ResponseWriter, r *http.Request, err error) {
	var p *problem
	var field *storage.FieldError
	switch {
	case errors.As(err, &p):
		failWith(w, p.status, refusal{p.says, p.field, p.table})
	case errors.As(err, &field):
		fail(w, http.StatusBadRequest, field.Name+" "+field.Says+".", field.Field())
	case errors.Is(err, storage.ErrNotFound):
		fail(w, http.StatusNotFound, sentence(err), "")
	case errors.Is(err, storage.ErrStale):
		fail(w, http.StatusConflict, "Somebody changed this in the meantime. Load it again, then make your change.", "rev")
	case errors.Is(err, storage.ErrExists):
		fail(w, http.StatusConflict, sentence(err), "")
	case errors.Is(err, ErrNoReplay):
		fail(w, http.StatusConflict, "Nothing is being replayed.", "")
	case errors.Is(err, ErrNotOffered):
		fail(w, http.StatusNotImplemented, sentence(err), "")
	case r.Context().Err() != nil:
		// The client went away; nobody reads the answer.
	default:
		s.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "err", err)
		fail(w, http.StatusInternalServerError, sentence(err), "")
	}
}

// sentence gives an error a capital and a full stop.
func sentence(err error) string {
	text := strings.TrimRight(err.Error(), ".\n")
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// alone waits for one of the few places for heavy work. Call the returned
// function when done.
func (s *Server) alone(ctx context.Context) (func(), error) {
	select {
	case s.heavy <- struct{}{}:
		return func() { <-s.heavy }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *Server) state(w http.ResponseWriter, _ *http.Request) error {
	text, err := live.Text(s.hub.Now(), 0, 0)
	if err != nil {
		return err
	}
	send(w, http.StatusOK, text)
	return nil
}
