package dashboard

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/capture/replay"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/live"
	"lobescribe/dashboard/schema"
	"lobescribe/dashboard/schema/strict"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// checker is strict.New for a test.
func checker(t testing.TB, place string) *strict.Checker {
	t.Helper()
	c, err := strict.New(place)
	require.NoError(t, err)
	return c
}

// someMessages are one message of every type with every field in it.
func someMessages() []capture.Message {
	angle := 106_500_000 * measure.Microdegree
	half := lift.Crossing{At: 1_250_000, Reading: 5_334_000, Angle: &angle}
	opening := lift.Opening{Open: 1e6, Nose: 1_500_000, Close: 2e6, Heel: -12_700, MaxLift: 10_668_000, MaxLiftU: 7300,
		HalfLift: 5_334_000, OpeningHalf: half, ClosingHalf: half, NoseAngle: &angle}
	findings := lift.Findings{Openings: []lift.Opening{opening}, MaxLift: 10_668_000, MaxLiftU: 7300, HalfLift: 5_334_000,
		Spread: 2540, Resolution: 12_700, Faults: []lift.Fault{{Kind: lift.Gap, At: 1, Says: worksheet.Sayf("The link was lost for %v.", measure.Inch)}},
		LeftOut: []lift.Struck{{Opening: opening, Why: "a rag"}}}
	return []capture.Message{
		capture.Readings{At: []int64{1, 2}, Lift: []int64{-2540, 0}, Angle: []int64{1, 2}},
		capture.Position{At: 2, State: capture.OnOpening, Lift: 1, Heel: 2, Sign: -1, Nose: 3, Settled: true, Half: 4, ToGo: -5, Fallen: 6, Doubtful: true},
		capture.Cue{At: 2, Kind: capture.ApproachHalf, Lift: 1, ToGo: 2, Flank: capture.OnClosing},
		capture.Cue{At: 2, Kind: capture.TakenBack, Lift: 1, Flank: capture.OnOpening, Of: capture.AtHalf, Doubtful: true},
		capture.Opened{Opening: opening},
		capture.Fault{Fault: lift.Fault{Kind: lift.TooFast, At: 2, Says: worksheet.Sayf("Turn slower.")}},
		live.Device{ID: live.Indicator, Address: "serial:/dev/ttyUSB0", State: "live", Says: "x", Detail: "flowing", RateHz: 50, AgeS: 0.1,
			Format: "plain", Resolution: 12_700, Refused: map[string]int{"too_long": 1}},
		keep.State{ID: 7, State: keep.StateBehind, Began: -1, Seconds: 1.5, Readings: 3, OnDisk: 1, Says: "The disk is full."},
		live.FindingsOf{Trace: 7, Findings: findings},
		replay.State{Trace: 7, Rate: 2, At: 1, Seconds: 2},
		live.Selection{Engine: "mule", Valve: "3I", Trial: "2"}, live.Settings{Units: "mm"}, live.Simulated{On: true}, live.Repairs{Repairs: []live.Repair{{ID: "x", Loss: true, Says: "y"}}},
		live.ProbeStep{Line: "9600 8N1", Score: 0.5, Says: "x"}, live.Marked{At: 2},
		live.Agreement{Count: 1, MaxLift: 1, MaxLiftU: 2, Each: []live.AgreementOf{{Nose: 1, By: 2, Beyond: true}}},
		live.LeftOut{Trace: 7, List: []lift.LeftOut{{From: 1, Until: 2, Why: "a rag"}}},
		live.ProofNow{Indicator: "serial:/dev/ttyUSB0", Proof: prove.Proof{High: 12_700_000, In: 1, OneSided: true, Loose: true, When: time.Unix(1e9, 0), Unlearned: []string{"x"}},
			Proving: &prove.Now{Stage: prove.Snap, Says: "x", Problem: "x", Snaps: 1}, ExpectedLift: 10_000_000, ExpectedWithin: 300_000},
	}
}

// What leaves the live socket is as the schema says, of every type and with
// every field, for the engine and for a replay of it.
func TestEveryMessageIsAsTheSchemaSays(t *testing.T) {
	s := serve(t, nil)
	whole := checker(t, "live")
	parts := map[string]*strict.Checker{}
	conn, _, err := s.dial(nil)
	require.NoError(t, err)
	defer conn.Close()
	said := map[string]bool{}
	next := func() {
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(soon)))
		_, text, err := conn.ReadMessage()
		require.NoError(t, err)
		var m struct{ Type string }
		require.NoError(t, json.Unmarshal(text, &m))
		said[m.Type] = true
		if parts[m.Type] == nil {
			parts[m.Type] = checker(t, "live.json#/$defs/"+m.Type)
		}
		require.NoError(t, parts[m.Type].Check(text), "%s", text) // says more plainly what is wrong
		require.NoError(t, whole.Check(text), "%s", text)
	}
	next() // hello of a bench where nothing has been
	for _, replay := range []uint64{0, 7} {
		for _, m := range someMessages() {
			if t := m.Type(); replay != 0 && !slices.Contains([]string{"readings", "state", "cue", "opening", "fault"}, t) {
				continue // these are about the engine only
			}
			s.hub.Publish(m, replay)
			next()
		}
	}
	for !said["alive"] {
		next()
	}
	assert.Len(t, said, 20)

	// A hello that has all of it.
	conn, _, err = s.dial(nil)
	require.NoError(t, err)
	defer conn.Close()
	next()
	status, text := s.ask("GET", "/api/v1/state", "")
	assert.Equal(t, 200, status)
	require.NoError(t, parts["hello"].Check([]byte(text)))
	assert.NotContains(t, text, "null")
}

// What the schemas call a key is what the source calls it, both ways: no key is
// sent that is not described, and none described that is never sent.
func TestKeysAreThoseOfTheSource(t *testing.T) {
	for place, v := range map[string]any{
		"live hello": live.Hello{}, "live state": capture.Position{}, "live cue": capture.Cue{}, "live opening": capture.Opened{},
		"live fault": capture.Fault{}, "live device": live.Device{}, "live trace": keep.State{}, "live findings": live.FindingsOf{},
		"live replay": replay.State{}, "live bench": live.Selection{}, "live settings": live.Settings{}, "live simulator": live.Simulated{}, "live repairs": live.Repairs{}, "live repair": live.Repair{},
		"live probe": live.ProbeStep{}, "live mark": live.Marked{}, "live left-out": live.LeftOut{}, "live noted": live.Noted{}, "live note": storage.OpeningNote{}, "live stretch": lift.LeftOut{},
		"live agreement": live.Agreement{}, "live agreementOf": live.AgreementOf{}, "live readings": capture.Readings{}, "live alive": live.Alive{},
		"live proof": live.ProofNow{}, "live proving": prove.Now{},
		"findings findings": lift.Findings{}, "findings opening": lift.Opening{}, "findings crossing": lift.Crossing{}, "findings fault": lift.FaultJSON{},
		"findings struck": lift.Struck{},
		"traces summary":  storage.Summary{},
	} {
		name, def, _ := strings.Cut(place, " ")
		found, err := schema.Named(name)
		require.NoError(t, err)
		var text struct {
			Defs map[string]struct {
				Properties map[string]any
				Required   []string
			} `json:"$defs"`
		}
		require.NoError(t, json.Unmarshal(found.Text, &text))
		var described, kept, always []string
		for key := range text.Defs[def].Properties {
			if name == "live" && (key == "type" || key == "replay" || place == "live opening" && key == "trace" || key == "lost") {
				continue // written around the fields: see live.newFrame
			}
			described = append(described, key)
			if slices.Contains(text.Defs[def].Required, key) {
				always = append(always, key)
			}
		}
		var certain []string
		for i := range reflect.TypeOf(v).NumField() {
			key, rest, _ := strings.Cut(reflect.TypeOf(v).Field(i).Tag.Get("json"), ",")
			if key == "-" {
				continue // it stays inside
			}
			kept = append(kept, key)
			if rest != "omitempty" {
				certain = append(certain, key)
			}
		}
		assert.ElementsMatch(t, kept, described, place)
		assert.ElementsMatch(t, certain, always, "%s: what is always there is required, and nothing else", place)
	}
}

// The check can fail: each key of each message taken away, set to something
// else, or joined by one that is not described, is refused.
func TestTheSchemaRefuses(t *testing.T) {
	whole := checker(t, "live")
	taken, bent := 0, 0
	for _, m := range append(someMessages(), live.Hello{Version: "1", Units: "in", Devices: []live.Device{}, Openings: []lift.Opening{}}) {
		body, err := live.Text(m, 0, 7)
		require.NoError(t, err)
		require.NoError(t, whole.Check(body), "%s", body)
		var sound map[string]any
		require.NoError(t, json.Unmarshal(body, &sound))
		refused := func(change func(v map[string]any)) bool {
			v := map[string]any{}
			require.NoError(t, json.Unmarshal(body, &v))
			change(v)
			text, err := json.Marshal(v)
			require.NoError(t, err)
			return whole.Check(text) != nil
		}
		assert.True(t, refused(func(v map[string]any) { v["not_described"] = 1 }), m.Type())
		for key := range sound {
			gone := refused(func(v map[string]any) { delete(v, key) })
			if field, ok := fieldOf(m, key); !ok || !strings.Contains(field, "omitempty") {
				assert.True(t, gone, "%s without %s", m.Type(), key)
				taken++
			}
			assert.True(t, refused(func(v map[string]any) { v[key] = []any{"bent"} }), "%s with a bent %s", m.Type(), key)
			bent++
		}
	}
	t.Logf("%d keys taken away and %d bent, all refused", taken, bent)

	findings := checker(t, "findings")
	sound := `{"openings":[],"max_lift_mm":0,"max_lift_u_mm":0,"half_lift_mm":0,"spread_mm":0,"resolution_mm":0,"sign":1,"faults":[{"kind":"gap","t_s":1,"says":"x"}]}`
	require.NoError(t, findings.Check([]byte(sound)))
	for _, change := range [][2]string{{`"gap"`, `"gape"`}, {`"t_s":1`, `"t_s":"1"`}, {`"says":"x"`, `"says":""`}, {`"spread_mm":0`, `"spread_mm":-1`},
		{`"openings":[]`, `"openings":null`}, {`"max_lift_mm":0,`, ``}, {`"t_s":1`, `"t_s":1,"more":1`}} {
		assert.Error(t, findings.Check([]byte(strings.Replace(sound, change[0], change[1], 1))), change[1])
	}
}

// fieldOf returns the JSON tag of the field that gives a key.
func fieldOf(m capture.Message, key string) (string, bool) {
	for i := range reflect.TypeOf(m).NumField() {
		tag := reflect.TypeOf(m).Field(i).Tag.Get("json")
		if name, _, _ := strings.Cut(tag, ","); name == key {
			return tag, true
		}
	}
	return "", false
}

func TestSchemasAreServed(t *testing.T) {
	s := serve(t, nil)
	status, text := s.ask("GET", "/api/v1/schema", "")
	assert.Equal(t, 200, status)
	list := into[[]schema.Schema](s, text)
	require.Len(t, list, len(schema.All()))
	for _, one := range schema.All() {
		answer, err := http.Get(s.url + "/api/v1/schema/" + one.Name + ".json")
		require.NoError(t, err)
		assert.Equal(t, "application/schema+json", answer.Header.Get("Content-Type"))
		require.NoError(t, answer.Body.Close())
		status, text := s.ask("GET", "/api/v1/schema/"+one.Name+".json", "")
		assert.Equal(t, 200, status)
		assert.Equal(t, string(one.Text), text)
		assert.Regexp(t, fmt.Sprintf("(?m)^\\| `%s.json` \\|", one.Name), apiText)
	}
	status, text = s.ask("GET", "/api/v1/schema/lift", "")
	assert.Equal(t, 404, status)
	assert.Contains(t, text, "there are findings, live, proof, trace, traces")

	// What the API answers elsewhere is as they say, too.
	s.record(storage.Head{Engine: "mule", Valve: "3I", Remark: "x", Source: "live"}, 3000)
	status, text = s.ask("GET", "/api/v1/traces", "")
	assert.Equal(t, 200, status)
	require.NoError(t, checker(t, "traces").Check([]byte(text)), text)
}
