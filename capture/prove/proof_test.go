package prove_test

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

func proof() prove.Proof {
	return prove.Proof{Low: -2 * measure.Millimetre, High: 10_700_001, StopU: 600, In: 1, Repeat: 2540, Stick: 5080,
		Lag: 41_003, LagU: 4_100, Refresh: 20_000, Step: 2540, Rate: 50, When: time.Date(2024, 5, 6, 7, 8, 9, 0, time.UTC),
		Unlearned: []string{"x"}}
}

func TestJSON(t *testing.T) {
	for name, p := range map[string]prove.Proof{"proved": proof(), "not proved": {}} {
		b, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		var back prove.Proof
		if err := json.Unmarshal(b, &back); err != nil || !reflect.DeepEqual(back, p) {
			t.Errorf("%s: %s came back as %+v, %v", name, b, back, err)
		}
	}
	b, _ := json.Marshal(proof())
	for _, want := range []string{`"proved":true`, `"low_mm":-2`, `"travel_mm":12.700001`, `"lag_ms":41.003`, `"stick_mm":0.00508`} {
		if !strings.Contains(string(b), want) {
			t.Errorf("%s lacks %s", b, want)
		}
	}
	for _, bad := range []string{`{"proved":true,"low_mm":3,"high_mm":2,"in":1}`, `{"proved":true,"low_mm":0,"high_mm":2}`,
		`{"proved":true,"low_mm":0,"high_mm":2,"in":1,"lag_ms":-1}`, `[]`} {
		var p prove.Proof
		if err := json.Unmarshal([]byte(bad), &p); err == nil {
			t.Errorf("%s was taken for a proof", bad)
		}
	}
}

func TestStopsAreCarriedThroughAReZero(t *testing.T) {
	p := proof().Shifted(-3 * measure.Millimetre)
	if low, high, ok := p.Stops(); !ok || low != -5*measure.Millimetre || high != 7_700_001 {
		t.Errorf("stops %v, %v, %v", low, high, ok)
	}
	if down, up, ok := p.Left(0); !ok || down != 5*measure.Millimetre || up != 7_700_001 {
		t.Errorf("left %v, %v, %v", down, up, ok)
	}
	if _, _, ok := p.Lost().Stops(); ok {
		t.Error("stops are known although the zero was lost")
	}
	if (prove.Proof{}).Shifted(5).Proved() || (prove.Proof{}).Lost().Loose {
		t.Error("an indicator that was never proved became a proved one")
	}
}
