package daemon

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device"
)

// Every state that a link can be in has its series, and every kind of what is
// refused as well.
func TestEveryStateAndKindIsCounted(t *testing.T) {
	t.Parallel()
	s := device.Opening
	hub := live.NewHub(live.HubOptions{})
	m := dashboard.NewMetrics(dashboard.MetricsOptions{Hub: hub, Links: func() []dashboard.LinkCounts {
		return []dashboard.LinkCounts{{Role: "indicator", Detail: s.String(), Age: -1}}
	}})
	for s = device.Opening; s <= device.Closed; s++ {
		families, err := m.Gatherer().Gather()
		require.NoError(t, err)
		on := 0.0
		for _, f := range families {
			if f.GetName() == "lobescribe_link_state" {
				for _, one := range f.Metric {
					on += one.GetGauge().GetValue()
				}
			}
		}
		assert.InDelta(t, 1, on, 0, s.String())
	}
	var total int64
	for kind, n := range refusedKinds(device.Status{}.Refused) {
		total += n
		assert.Equal(t, strings.ToLower(kind), kind)
	}
	assert.Zero(t, total)
}
