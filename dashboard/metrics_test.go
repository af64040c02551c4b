package dashboard

import (
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/dashboard/door"
	"lobescribe/dashboard/live"
	"lobescribe/storage/shop"
)

// counted returns metrics of a bench with two links, one of them with trouble.
func counted(hub *live.Hub) *Metrics {
	return NewMetrics(MetricsOptions{Version: "test", Hub: hub, Store: "metrics_test.go",
		Waiting: func() (int, uint64) { return 12, 3 },
		Outbox: func() (shop.State, error) {
			return shop.State{Waiting: 5, Sent: 17, Connected: true, Aside: []string{"trace 3: why"}}, nil
		},
		Links: func() []LinkCounts {
			return []LinkCounts{
				{Role: live.Indicator, Bytes: 5000, Readings: 400, Opens: 2, Lost: 1, Detail: "flowing", Age: 1500 * time.Millisecond,
					Refused: map[string]int64{"not_a_number": 7, "jump": 0}},
				{Role: live.Encoder, Detail: "absent", Age: -1, Refused: map[string]int64{"jump": 0}},
			}
		}})
}

// scraped reads the text as Prometheus' own parser does.
func scraped(t testing.TB, text string) map[string]*dto.MetricFamily {
	t.Helper()
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(text))
	require.NoError(t, err, text)
	return families
}

func TestMetricsAsPrometheusReadsThem(t *testing.T) {
	s := serve(t, func(o *Options) { o.Metrics = counted(o.Hub) })
	m := s.server.o.Metrics
	require.NoError(t, m.Commit(func() error { return nil }))
	require.Error(t, m.Commit(func() error { return errors.New("disk full") }))
	for _, message := range []capture.Message{capture.Cue{Kind: capture.AtHalf}, capture.Cue{Kind: capture.AtHalf}, capture.Opened{}, capture.Fault{},
		keep.State{State: keep.StateRecording}, keep.State{State: keep.StateKept}, capture.Position{}, capture.Readings{}} {
		m.Heard(message)
	}
	s.hub.Publish(keep.State{ID: 1, State: keep.StateRecording}, 0)

	status, text := s.ask("GET", "/metrics", "")
	require.Equal(t, http.StatusOK, status, text)
	families := scraped(t, text)
	value := func(name string, labels ...string) float64 {
		t.Helper()
		require.Contains(t, families, name)
		for _, one := range families[name].Metric {
			var said []string
			for _, l := range one.Label {
				said = append(said, l.GetName()+"="+l.GetValue())
			}
			if slices.Equal(said, labels) {
				return one.GetCounter().GetValue() + one.GetGauge().GetValue() + float64(one.GetHistogram().GetSampleCount())
			}
		}
		t.Fatalf("%s%v is not there", name, labels)
		return 0
	}
	for _, c := range []struct {
		want   float64
		name   string
		labels []string
	}{
		{400, "lobescribe_readings_total", []string{"role=indicator"}},
		{0, "lobescribe_readings_total", []string{"role=encoder"}},
		{7, "lobescribe_bad_lines_total", []string{"kind=not_a_number", "role=indicator"}},
		{5000, "lobescribe_received_bytes_total", []string{"role=indicator"}},
		{2, "lobescribe_link_opens_total", []string{"role=indicator"}},
		{1, "lobescribe_link_losses_total", []string{"role=indicator"}},
		{1, "lobescribe_link_state", []string{"role=indicator", "state=flowing"}},
		{0, "lobescribe_link_state", []string{"role=indicator", "state=absent"}},
		{1, "lobescribe_link_state", []string{"role=encoder", "state=absent"}},
		{1.5, "lobescribe_reading_age_seconds", []string{"role=indicator"}},
		{1, "lobescribe_commits_total", []string{"result=done"}},
		{1, "lobescribe_commits_total", []string{"result=refused"}},
		{2, "lobescribe_commit_duration_seconds", nil},
		{12, "lobescribe_readings_waiting", nil},
		{3, "lobescribe_readings_lost_total", nil},
		{1, "lobescribe_traces_total", nil},
		{1, "lobescribe_recording", nil},
		{1, "lobescribe_openings_total", nil},
		{1, "lobescribe_faults_total", nil},
		{2, "lobescribe_cues_total", []string{"kind=at-half"}},
		{0, "lobescribe_cues_total", []string{"kind=nose"}},
		{0, "lobescribe_clients", nil},
		{5, "lobescribe_shop_waiting", nil},
		{17, "lobescribe_shop_sent_total", nil},
		{1, "lobescribe_shop_set_aside", nil},
		{1, "lobescribe_shop_connected", nil},
		{1, "lobescribe_build_info", []string{"version=test"}},
	} {
		assert.InDelta(t, c.want, value(c.name, c.labels...), 0, "%s%v", c.name, c.labels)
	}
	assert.Positive(t, value("lobescribe_store_bytes"))
	assert.Len(t, families["lobescribe_reading_age_seconds"].Metric, 1, "no age where there was no reading")
	assert.Contains(t, families, "process_start_time_seconds")
	assert.Contains(t, families, "go_goroutines")
}

// Prometheus' own linter checks the names, the units, the suffixes and that each
// has a help text.
func TestMetricsPassThePrometheusLinter(t *testing.T) {
	var ours []string
	for _, m := range []*Metrics{counted(live.NewHub(live.HubOptions{})), NewMetrics(MetricsOptions{Hub: live.NewHub(live.HubOptions{}), Record: connected})} {
		var these []string
		families, err := m.Gatherer().Gather()
		require.NoError(t, err)
		for _, f := range families {
			if strings.HasPrefix(f.GetName(), "lobescribe_") {
				these = append(these, f.GetName())
			}
		}
		assert.Greater(t, len(these), 10)
		problems, err := testutil.GatherAndLint(m.Gatherer(), these...)
		require.NoError(t, err)
		assert.Empty(t, problems)
		ours = append(ours, these...)
	}

	// The linter does find what is wrong.
	found, err := promlint.New(strings.NewReader("# TYPE lobescribe_readings counter\nlobescribe_readings 1\n")).Lint()
	require.NoError(t, err)
	assert.NotEmpty(t, found)

	for _, name := range ours {
		assert.Contains(t, apiText, "`"+name, "documented")
	}
	for _, said := range regexp.MustCompile("`(lobescribe_[a-z_]+)").FindAllStringSubmatch(apiText, -1) {
		assert.Contains(t, ours, said[1], "documented and not there")
	}
}

// There are as many series as roles, kinds and states make, whatever happens.
func TestMetricsAreBounded(t *testing.T) {
	hub := live.NewHub(live.HubOptions{})
	m := counted(hub)
	before, err := testutil.GatherAndCount(m.Gatherer())
	require.NoError(t, err)
	for i := range 50 {
		hub.Publish(live.Device{ID: live.Indicator, Address: fmt.Sprintf("usb:0403:6001:SERIAL%d", i), State: "live"}, 0)
		hub.Publish(live.Selection{Engine: fmt.Sprintf("Aunt Ada's %d", i), Valve: "1I"}, 0)
		m.Heard(keep.State{ID: uint64(i), State: keep.StateKept})
		m.Heard(capture.Cue{Kind: capture.NoseReached})
	}
	after, err := testutil.GatherAndCount(m.Gatherer())
	require.NoError(t, err)
	assert.Equal(t, before, after)
	families, err := m.Gatherer().Gather()
	require.NoError(t, err)
	for _, f := range families {
		for _, one := range f.Metric {
			for _, l := range one.Label {
				assert.NotContains(t, l.GetValue(), "SERIAL")
				assert.NotContains(t, l.GetValue(), "Ada")
			}
		}
	}
}

// Two daemons in one process have registries of their own, and none is the
// library's global one.
func TestMetricsAreNotGlobal(t *testing.T) {
	a, b := counted(live.NewHub(live.HubOptions{})), counted(live.NewHub(live.HubOptions{}))
	a.Heard(capture.Opened{})
	assert.InDelta(t, 1, testutil.ToFloat64(a.openings), 0)
	assert.InDelta(t, 0, testutil.ToFloat64(b.openings), 0)
	global, err := prometheus.DefaultGatherer.Gather()
	require.NoError(t, err)
	for _, f := range global {
		assert.False(t, strings.HasPrefix(f.GetName(), "lobescribe_"), f.GetName())
	}
}

func TestSlowClientsAreCounted(t *testing.T) {
	hub := live.NewHub(live.HubOptions{WaitingBatches: 2, Waiting: 3, Every: time.Nanosecond})
	_, err := hub.Join()
	require.NoError(t, err)
	for i := range 5 {
		hub.Publish(capture.Readings{At: []int64{int64(i)}, Lift: []int64{1}}, 0)
		time.Sleep(time.Microsecond) // each is a batch of its own
	}
	assert.Equal(t, live.HubCounts{Clients: 1, Dropped: 3}, hub.Counts())
	for range 4 {
		hub.Publish(capture.Cue{Kind: capture.AtHalf}, 0)
	}
	assert.Equal(t, live.HubCounts{Dropped: 3, LetGo: 1}, hub.Counts())
	hub.Close()
}

// A scraper is a stranger like any other.
func TestWatchingIsBehindTheDoor(t *testing.T) {
	key := door.NewKey()
	s := serve(t, func(o *Options) { o.Metrics, o.LAN, o.Key = counted(o.Hub), true, key })
	for _, path := range []string{"/metrics", "/healthz"} {
		for _, c := range []struct {
			header, value string
			host          string
			status        int
		}{
			{"", "", "", 401},
			{"Authorization", "Bearer wrong", "", 401},
			{"Authorization", "Bearer " + key.Reveal(), "", 200},
			{"Authorization", "Bearer " + key.Reveal(), "evil.example", 403},
		} {
			r, err := http.NewRequest(http.MethodGet, s.url+path, nil)
			require.NoError(t, err)
			if c.header != "" {
				r.Header.Set(c.header, c.value)
			}
			r.Host = c.host
			status, text := s.do(r)
			assert.Equal(t, c.status, status, "%s %s", path, text)
			assert.NotContains(t, text, key.Reveal())
		}
	}
	local := serve(t, func(o *Options) { o.Metrics = counted(o.Hub) })
	for header, value := range map[string]string{"Host": "evil.example", "Origin": "http://evil.example"} {
		r, err := http.NewRequest(http.MethodGet, local.url+"/metrics", nil)
		require.NoError(t, err)
		r.Header.Set(header, value)
		if header == "Host" {
			r.Host = value
		}
		status, _ := local.do(r)
		assert.Equal(t, http.StatusForbidden, status, header)
	}
	without := serve(t, nil)
	status, _ := without.ask("GET", "/metrics", "")
	assert.Equal(t, http.StatusNotImplemented, status)
}
