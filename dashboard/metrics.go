package dashboard

import (
	"log/slog"
	"net/http"
	"os"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
	"lobescribe/storage/shop"
)

// Metrics counts what a daemon does and tells it in the Prometheus text format.
// Names follow Prometheus' own practice: base units, _total for what only grows.
// What a label may say is fixed here or in the program, so that there are never
// more series than roles times kinds; it is never an address, a serial number, a
// name that somebody gave, or a key.
//
// Nothing is counted a reading: what the devices and the keeper count anyhow is
// read when somebody asks.
type Metrics struct {
	o        MetricsOptions
	registry *prometheus.Registry
	commits  *prometheus.CounterVec
	took     prometheus.Histogram
	traces   prometheus.Counter
	openings prometheus.Counter
	faults   prometheus.Counter
	cues     *prometheus.CounterVec
}

// MetricsOptions is where the figures come from. Hub must be given.
type MetricsOptions struct {
	Version string
	Hub     *live.Hub
	// Links returns the counts of each role since the daemon's start, whatever
	// device was in it meanwhile. Default: none.
	Links func() []LinkCounts
	// Waiting returns how many readings are not on disk yet, and how many were
	// lost since the start because the disk refused for too long.
	Waiting func() (waiting int, lost uint64)
	// Outbox returns how the telling of the shop stands, and Record how far the
	// page over a shop has come. Default: no shop, nothing told.
	Outbox func() (shop.State, error)
	Record func() shop.ReaderState
	// Store is the store's file, for its size. Default: not told.
	Store string
	// Log takes what goes wrong on the way to a scraper. Default: none.
	Log *slog.Logger
}

// LinkCounts is what went through the link of a role.
type LinkCounts struct {
	Role     string // live.Indicator or live.Encoder
	Bytes    int64
	Readings int64
	Refused  map[string]int64 // by kind; kinds that did not occur are there with 0
	Opens    int64
	Lost     int64 // times that the link failed or stalled
	// Detail is the state as in Device; "" while no device is chosen.
	Detail string
	// Age is how long ago the last reading was; negative while there was none.
	Age time.Duration
}

// linkStates are the values of the label "state".
func linkStates() []string {
	return []string{"opening", "absent", "refused", "settling", "flowing", "standing-still", "stalled", "closed"}
}

// NewMetrics returns metrics with a registry of their own.
func NewMetrics(o MetricsOptions) *Metrics {
	if o.Links == nil {
		o.Links = func() []LinkCounts { return nil }
	}
	if o.Waiting == nil {
		o.Waiting = func() (int, uint64) { return 0, 0 }
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	m := &Metrics{o: o, registry: prometheus.NewRegistry(),
		commits: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "lobescribe_commits_total",
			Help: "Commits of the trace under way to the store, by result."}, []string{"result"}),
		took: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "lobescribe_commit_duration_seconds",
			Help: "How long commits of the trace under way took, whatever their result.", Buckets: prometheus.ExponentialBuckets(0.001, 2, 14)}),
		traces: prometheus.NewCounter(prometheus.CounterOpts{Name: "lobescribe_traces_total",
			Help: "Traces that have ended and are whole on disk."}),
		openings: prometheus.NewCounter(prometheus.CounterOpts{Name: "lobescribe_openings_total",
			Help: "Openings called: the valve has come home."}),
		faults: prometheus.NewCounter(prometheus.CounterOpts{Name: "lobescribe_faults_total",
			Help: "Faults of the set-up or the turning that were told."}),
		cues: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "lobescribe_cues_total",
			Help: "Cues called, by kind."}, []string{"kind"}),
	}
	for _, result := range []string{commitDone, commitRefused} {
		m.commits.WithLabelValues(result) // there from the start, so that a rate can be taken
	}
	for _, kind := range capture.CueKinds() {
		m.cues.WithLabelValues(string(kind))
	}
	m.registry.MustRegister(m.commits, m.took, m.traces, m.openings, m.faults, m.cues, onAsking{m},
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

const (
	commitDone    = "done"
	commitRefused = "refused"
)

// Commit does one commit and counts it.
func (m *Metrics) Commit(do func() error) error {
	began := time.Now()
	err := do()
	m.took.Observe(time.Since(began).Seconds())
	result := commitDone
	if err != nil {
		result = commitRefused
	}
	m.commits.WithLabelValues(result).Inc()
	return err
}

// Heard counts a message of the live engine.
func (m *Metrics) Heard(message capture.Message) {
	switch v := message.(type) {
	case capture.Cue:
		m.cues.WithLabelValues(string(v.Kind)).Inc()
	case capture.Opened:
		m.openings.Inc()
	case capture.Fault:
		m.faults.Inc()
	case keep.State:
		if v.State == keep.StateKept {
			m.traces.Inc()
		}
	}
}

// Gatherer gives the figures as they stand.
func (m *Metrics) Gatherer() prometheus.Gatherer { return m.registry }

// handler answers a scraper.
func (m *Metrics) handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		ErrorLog:            slog.NewLogLogger(m.o.Log.Handler(), slog.LevelError),
		ErrorHandling:       promhttp.ContinueOnError, // a figure that fails must not hide the others
		MaxRequestsInFlight: 4,
	})
}

// onAsking collects what is counted elsewhere, when somebody asks.
type onAsking struct{ m *Metrics }

// Describe says nothing: which roles there are turns out on asking.
func (onAsking) Describe(chan<- *prometheus.Desc) {}

// Collect reads the counts.
func (c onAsking) Collect(out chan<- prometheus.Metric) {
	o := c.m.o
	send := func(name, help string, kind prometheus.ValueType, v float64, pairs ...string) {
		var names, values []string
		for i := 0; i < len(pairs); i += 2 {
			names, values = append(names, pairs[i]), append(values, pairs[i+1])
		}
		out <- prometheus.MustNewConstMetric(prometheus.NewDesc("lobescribe_"+name, help, names, nil), kind, v, values...)
	}
	const counter, gauge = prometheus.CounterValue, prometheus.GaugeValue

	for _, l := range o.Links() {
		send("readings_total", "Readings taken from a device.", counter, float64(l.Readings), "role", l.Role)
		send("received_bytes_total", "Bytes received from a device.", counter, float64(l.Bytes), "role", l.Role)
		send("link_opens_total", "Times that the link to a device was opened.", counter, float64(l.Opens), "role", l.Role)
		send("link_losses_total", "Times that the link to a device failed or stalled.", counter, float64(l.Lost), "role", l.Role)
		for kind, n := range l.Refused {
			send("bad_lines_total", "Lines and frames that were not taken for a reading, and requests without an answer, by kind.", counter, float64(n), "role", l.Role, "kind", kind)
		}
		if l.Detail == "" {
			continue
		}
		for _, s := range linkStates() {
			send("link_state", "1 for the state that the link to a device is in, 0 for every other.", gauge, oneIf(s == l.Detail), "role", l.Role, "state", s)
		}
		if l.Age >= 0 {
			send("reading_age_seconds", "How long ago the last reading was; absent while there was none.", gauge, l.Age.Seconds(), "role", l.Role)
		}
	}

	hub := o.Hub.Counts()
	send("clients", "Pages and programs on the live channel.", gauge, float64(hub.Clients))
	send("client_readings_dropped_total", "Readings that clients which fell behind did not get to see; they are kept all the same.", counter, float64(hub.Dropped))
	send("clients_let_go_total", "Clients that were sent away because they fell too far behind.", counter, float64(hub.LetGo))
	waiting, lost := o.Waiting()
	send("readings_waiting", "Readings and notes of traces that are not on disk yet.", gauge, float64(waiting))
	send("readings_lost_total", "Readings lost because the disk refused for too long.", counter, float64(lost))
	trace := o.Hub.Now().Trace
	send("recording", "1 while a trace is under way.", gauge, oneIf(trace != nil && (trace.State == keep.StateRecording || trace.State == keep.StateBehind)))
	if o.Outbox != nil {
		if st, err := o.Outbox(); err == nil {
			send("shop_waiting", "Things that the shop has yet to hear of.", gauge, float64(st.Waiting))
			send("shop_set_aside", "Things that can never be sent to the shop as they are.", gauge, float64(len(st.Aside)))
			send("shop_sent_total", "Things that the shop has acknowledged, since the store joined it.", counter, float64(st.Sent))
			send("shop_connected", "1 while the shop's server is there.", gauge, oneIf(st.Connected))
		}
	}
	if o.Record != nil {
		st := o.Record()
		send("shop_applied_messages", "Place in the shop's stream up to which the record is made.", gauge, float64(st.Applied))
		send("shop_behind_messages", "Messages known to come after that place.", gauge, float64(st.Behind))
		send("shop_connected", "1 while the shop's server is there.", gauge, oneIf(st.Connected))
	}
	if info, err := os.Stat(o.Store); err == nil {
		send("store_bytes", "Size of the store's file.", gauge, float64(info.Size()))
	}
	send("build_info", "1; the label says which version runs.", gauge, 1, "version", o.Version)
}

func oneIf(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
