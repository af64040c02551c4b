//go:build unix

package main

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// scrape reads /metrics with Prometheus' own parser.
func (p *process) scrape() map[string]*dto.MetricFamily {
	p.t.Helper()
	r, err := http.Get(p.url + "metrics")
	require.NoError(p.t, err)
	defer r.Body.Close()
	require.Equal(p.t, http.StatusOK, r.StatusCode)
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(r.Body)
	require.NoError(p.t, err)
	return families
}

// figure returns one metric's value; labels as in `role="indicator"`.
func figure(families map[string]*dto.MetricFamily, name string, labels ...string) float64 {
	f := families[name]
	if f == nil {
		return -1
	}
	for _, m := range f.Metric {
		fits := 0
		for _, l := range m.Label {
			for _, want := range labels {
				if l.GetName()+"="+l.GetValue() == want {
					fits++
				}
			}
		}
		if fits == len(labels) {
			return m.GetCounter().GetValue() + m.GetGauge().GetValue() + float64(m.GetHistogram().GetSampleCount())
		}
	}
	return -1
}

// scrapeUntil scrapes until a figure is as wanted.
func (p *process) scrapeUntil(want float64, name string, labels ...string) map[string]*dto.MetricFamily {
	p.t.Helper()
	for late := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		now := p.scrape()
		if got := figure(now, name, labels...); got == want { //nolint:testifylint // a count
			return now
		} else if time.Now().After(late) {
			p.t.Fatalf("%s%v is %v and not %v", name, labels, got, want)
		}
	}
}

// quiet waits until the last bytes have come through the indicator's port.
func (p *process) quiet() {
	p.t.Helper()
	last, same := -1.0, 0
	for late := time.Now().Add(patience); same < 10; time.Sleep(50 * time.Millisecond) {
		got := figure(p.scrape(), "lobescribe_received_bytes_total", "role=indicator")
		if same++; got != last { //nolint:testifylint // a count
			last, same = got, 0
		}
		require.False(p.t, time.Now().After(late), "bytes go on coming")
	}
}

// What was sent is what is counted: a known play of the simulator, with a known
// number of bad lines between its own, once through a pseudo-tty.
func TestMetricsCountWhatWasSent(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{Seed: 21, Openings: 3, Valve: simulator.BenchMule().Valves[0],
		Hand: simulator.Hand{Style: simulator.Smooth, Speed: 400 * measure.Degree}, Indicator: simulator.Indicator{Rate: 200}}.Play()
	require.NoError(t, err)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=unit-behind"})
	require.NoError(t, err)
	defer link.Close()
	data := t.TempDir()
	p := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
	messages := p.live()
	p.scrapeUntil(1, "lobescribe_link_opens_total", "role=indicator")
	time.Sleep(time.Second) // quiet before the first byte: it begins a line

	var spoilt []simulator.Chunk
	good, bad := 0, 0
	for i, c := range session.Indicator {
		spoilt = append(spoilt, c)
		good++
		if i > 100 && i%40 == 0 {
			spoilt = append(spoilt, simulator.Chunk{At: c.At, Bytes: []byte("&&&&\r\n")})
			bad++
		}
	}
	require.Len(t, session.IndicatorLines, good, "a chunk a line")
	require.Greater(t, bad, 5)
	require.NoError(t, simulator.PlayBytes(t.Context(), spoilt, link, 1))

	p.scrapeUntil(float64(good), "lobescribe_readings_total", "role=indicator")
	now := p.scrapeUntil(float64(bad), "lobescribe_bad_lines_total", "role=indicator", "kind=not_a_number")
	for _, kind := range []string{"too_long", "misshapen", "bad_checksum", "jump", "stale", "unanswered", "flood", "missing"} {
		assert.Zero(t, figure(now, "lobescribe_bad_lines_total", "role=indicator", "kind="+kind), kind)
	}
	bytes := 0
	for _, c := range spoilt {
		bytes += len(c.Bytes)
	}
	assert.InDelta(t, bytes, figure(now, "lobescribe_received_bytes_total", "role=indicator"), 0)
	assert.InDelta(t, -1, figure(now, "lobescribe_readings_total", "role=encoder"), 0, "there is none")

	// What was called on the live channel is what is counted.
	p.send("POST", "/api/v1/trace/end", struct{}{})
	now = p.scrapeUntil(1, "lobescribe_traces_total")
	openings, cues := 0, map[string]int{}
	for late := time.After(patience); openings < len(session.Truth.Whole()); {
		select {
		case m := <-messages:
			switch m.Type {
			case "opening":
				openings++
			case "cue":
				cues[m.Kind]++
			}
		case <-late:
			t.Fatalf("%d openings were called", openings)
		}
	}
	assert.InDelta(t, len(session.Truth.Whole()), figure(now, "lobescribe_openings_total"), 0)
	assert.InDelta(t, cues["nose"], figure(now, "lobescribe_cues_total", "kind=nose"), 0)
	assert.Positive(t, figure(now, "lobescribe_commits_total", "result=done"))
	assert.Zero(t, figure(now, "lobescribe_commits_total", "result=refused"))
	assert.InDelta(t, figure(now, "lobescribe_commits_total", "result=done"), figure(now, "lobescribe_commit_duration_seconds"), 0)
	assert.Zero(t, figure(now, "lobescribe_readings_waiting"))
	assert.Zero(t, figure(now, "lobescribe_readings_lost_total"))
	assert.InDelta(t, 1, figure(now, "lobescribe_clients"), 0)
	assert.GreaterOrEqual(t, figure(now, "lobescribe_reading_age_seconds", "role=indicator"), 0.0)
	info, err := os.Stat(filepath.Join(data, storeFile))
	require.NoError(t, err)
	assert.InDelta(t, info.Size(), figure(p.scrape(), "lobescribe_store_bytes"), 1<<20)

	// The counts go on when the device is taken away, and its state is gone.
	p.send("DELETE", "/api/v1/devices/indicator", struct{}{})
	now = p.scrape()
	assert.InDelta(t, good, figure(now, "lobescribe_readings_total", "role=indicator"), 0)
	assert.InDelta(t, -1, figure(now, "lobescribe_link_state", "role=indicator"), 0)

	r, err := http.Get(p.url + "healthz")
	require.NoError(t, err)
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	assert.Contains(t, string(text), `{"part":"live","ok":true}`)
	assert.Contains(t, string(text), `{"part":"store","ok":true}`)
}
