package coverage

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/rocker/sweep"
	"lobescribe/capture/timing"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// asker is one calculation with sound questions, which together give every number
// that can be given.
type asker struct {
	name  string
	solve func(text string, spoil func(reflect.Value)) (answer any, err error)
	of    reflect.Type
	sound []string
}

func asks[Q, A any](name string, solve func(Q) (A, error), sound ...string) asker {
	return asker{name, func(text string, spoil func(reflect.Value)) (any, error) {
		var q Q
		if err := worksheet.Read(strings.NewReader(text), &q); err != nil {
			return nil, err
		}
		spoil(reflect.ValueOf(&q).Elem())
		return solve(q)
	}, reflect.TypeFor[Q](), sound}
}

// lobeJSON is a lift curve of so many mm, as two lists or as points.
func lobeJSON(lift, from float64, points bool) string {
	var angles, lifts, both []string
	for x := -60.0; x <= 270; x += 3 {
		u := (x + 10) / 115
		if u > 1 {
			u = 2 - u
		}
		y := 0.0
		if u > 0 {
			y = lift * u * u * u * (10 - 15*u + 6*u*u)
		}
		a, l := fmt.Sprintf("%g", x+from), fmt.Sprintf("%.4f", y)
		angles, lifts, both = append(angles, a), append(lifts, l), append(both, `{"angle_deg":`+a+`,"lift_mm":`+l+`}`)
	}
	if points {
		return "[" + strings.Join(both, ",") + "]"
	}
	return `"angle_deg":[` + strings.Join(angles, ",") + `],"lift_mm":[` + strings.Join(lifts, ",") + `]`
}

// passJSON is a pass of a gauge across the stem.
func passJSON(v0, arm float64) string {
	var lift, swept []string
	for i := range 60 {
		v := 12 * math.Sin(math.Pi*(float64(i)+0.5)/60)
		lift = append(lift, fmt.Sprintf("%.4f", v))
		swept = append(swept, fmt.Sprintf("%.4f", math.Sqrt(arm*arm-(v0-v)*(v0-v))-30-0.02*v))
	}
	return `{"lift_mm":[` + strings.Join(lift, ",") + `],"sweep_mm":[` + strings.Join(swept, ",") + `]}`
}

func sidePass() string {
	var lift, swept []string
	for i := range 60 {
		v := 12 * math.Sin(math.Pi*(float64(i)+0.5)/60)
		lift, swept = append(lift, fmt.Sprintf("%.4f", v)), append(swept, fmt.Sprintf("%.4f", 3-0.02*v))
	}
	return `{"lift_mm":[` + strings.Join(lift, ",") + `],"sweep_mm":[` + strings.Join(swept, ",") + `]}`
}

// wheelJSON are two turns of a wheel whose centre is half a degree off.
func wheelJSON() string {
	var list []string
	for x := 0.0; x <= 720; x += 40 {
		list = append(list, fmt.Sprintf(`{"encoder_deg":%g,"wheel_deg":%.2f}`, x, x+0.5*math.Sin(x*degree)))
	}
	return "[" + strings.Join(list, ",") + "]"
}

func askers() []asker {
	const us = `"arms_u_mm":0.5,"adjuster_below_valve_u_mm":0.2,"centres_u_mm":0.5`
	valve := lobeJSON(11, 0, false)
	lobe := lobeJSON(7.4, 0, false)
	inches := strings.ReplaceAll(lobeJSON(0.43, 0, false), "lift_mm", "lift_in")
	more := `"more":{"lobe_motion":true,"lash_step_mm":0.05,"port":{"head_mm":48,"seat_width_mm":1.5,"seat_angle_deg":45,"throat_mm":42,"stem_mm":8,"diameters_u_mm":0.1},"cylinder":{"compression":9.5,"compression_u":0.2,"bore_mm":90}}`
	full := `"tdc_deg":1,"tdc_u_deg":0.5,"rocker_ratio":1.5,"rocker_ratio_u":0.03,"lash_mm":0.2,"resolution_mm":0.01,"angle_step_deg":0.5,"indicator_limit_mm":0.02`
	return []asker{
		asks("rocker", rocker.Solve,
			`{"valve_arm_mm":38,"adjuster_arm_mm":27,"rocker_ratio":1.41,"bend_deg":8,"bend_u_deg":2,"lift_mm":11,"lash_mm":0.15,"adjuster_below_valve_mm":3.5,"pushrod_mm":221,"pushrod_lean_deg":4,"lifter_lean_deg":3,"stand_lean_deg":2,"pivot_to_stem_mm":37.5,"at_lift_mm":[2,5],"at_lobe_lift_mm":[1,3],"points":11,`+us+`,"tolerance_mm":0.4}`,
			`{"tip":"pad","tip_radius_mm":12,"tip_radius_u_mm":0.5,"valve_arm_mm":38,"rocker_ratio":1.4,"lobe_lift_mm":7.6,"adjuster_below_valve_mm":-8.5}`,
			`{"rocker_ratio":1.4,"lift_mm":11,"adjuster_below_valve_mm":3.5}`),
		asks("shims", shims.Next,
			`{"rocker_ratio":1.41,"valve_arm_mm":38,"adjuster_arm_mm":27,"bend_deg":5,"bend_u_deg":2,"trials":[{"stack_mm":[0.5,0.25],"adjuster_below_valve_mm":3.5,"mark_mm":1.4,"open_vs_closed_mm":0.7},{"stack_mm":1.5,"adjuster_below_valve_mm":2.1}],"on_hand_mm":[{"thickness_mm":0.381,"count":4},{"thickness_mm":0.762,"count":4}],"lift_mm":11,`+us+`,"mark_u_mm":0.1,"tolerance_mm":0.4,"stack_least_mm":0.2,"stack_most_mm":6,"adjuster_down_mm":5,"adjuster_up_mm":4}`,
			`{"rocker_ratio":1.5,"adjuster_arm_mm":25,"ball_above_line_mm":1.2,"ball_above_line_u_mm":0.3,"trials":[{"stack_mm":0.5,"adjuster_below_valve_mm":2}]}`,
			`{"rocker_ratio":1.5,"tip":"pad","tip_radius_mm":12,"tip_radius_u_mm":0.5,"trials":[{"stack_mm":0.5,"adjuster_below_valve_mm":-8}]}`),
		asks("pushrod", pushrod.Solve,
			`{"checking_rod_mm":221,"measured":"gauge","gauge_diameter_mm":3.5,"ends":[{"length_mm":25,"press_depth_mm":14,"ball_diameter_mm":8}],"checking_rod_u_mm":0.05,"end_u_mm":0.03,"stack_change_mm":0.8,"rocker_ratio":1.4,"pushrod_lean_deg":5,"adjuster_down_mm":1,"thread_left_mm":6,"preload_mm":0.6,"step_mm":0.05,"lash":{"rod":[{"material":"steel","length_mm":215,"warmer_k":60,"expansion_ppm_per_k":12}],"stack":[{"material":"iron","length_mm":180}],"above_seat":[{"material":"iron","length_mm":60}],"stem":[{"material":"steel","length_mm":100}],"warmer_k":70,"rod_warmer_k":60,"warmer_u_k":20,"rocker_ratio":1.4,"hot_lash_mm":0.15}}`,
			`{"rods":[{"valve":"1 intake","checking_rod_mm":221},{"valve":"1 exhaust","checking_rod_mm":222}],"ends":[{"length_mm":25,"press_depth_mm":14,"ball_diameter_mm":8,"cup_depth_mm":6}]}`),
		asks("photo", photo.Solve,
			`{"lift_mm":12,"lift_u_mm":0.02,"valve_arm_mm":40,"arms_u_mm":0.5,"bend_deg":3,"bend_u_deg":2,"pushrod_lean_deg":2,"stand_lean_deg":1,"camera_within_deg":5,"distance_mm":300,"depth_within_mm":2.5,"distortion_within":0.01,"mark_u_px":3,"tolerance_mm":0.4,"photographs":[{"width_px":1600,"height_px":1200,"at_lift_mm":6,"at_lift_u_mm":0.05,"known_mm":25,"camera_within_deg":4,"stem_a_px":[[800,620]],"stem_b_px":[[800,1100]],"tip_px":[[800,600]],"pivot_px":[[202,550]],"ball_px":[[40,560]],"known_a_px":[[300,200]],"known_b_px":[[670,200]]}]}`),
		asks("sweep", sweep.Solve,
			`{"turn":`+passJSON(7, 40)+`,"reference":`+sidePass()+`,"lift_mm":12,"lift_u_mm":0.02,"valve_arm_mm":40,"arms_u_mm":0.5,"gauge_u_mm":0.008,"tilt_within_deg":3,"side_u_deg":0.03,"run_out_mm":0.03,"turns_within_deg":20,"roller_run_out_mm":0.02,"bend_deg":3,"bend_u_deg":2,"pushrod_lean_deg":2,"stand_lean_deg":1,"tolerance_mm":0.4}`),
		asks("timing", timing.Compute,
			`{"intake":{`+valve+`,`+full+`,`+more+`},"exhaust":{`+lobeJSON(10.5, -220, false)+`,"rocker_ratio":1.5},"checking_lifts_mm":[0.5,1.27],"card":{"intake":{"opens":10,"closes":40,"duration_deg":230,"centreline_deg":105,"max_lift_mm":7.4,"checking_lift_mm":1.27},"exhaust":{"opens":60,"closes":10},"lobe_separation_cam_deg":108,"tolerance_deg":1,"tolerance_mm":0.1},"derivatives":{"step_deg":3,"half_window_deg":12,"order":4},"crank":{"stroke_mm":80,"rod_mm":140},"piston_at_deg":[30,60],"angle_at_travel_mm":[5,20]}`,
			`{"intake":{`+inches+`,"ratio_curve":[{"lobe_lift_mm":0.8,"valve_lift_mm":1.15,"valve_lift_u_mm":0.02},{"lobe_lift_mm":3,"valve_lift_mm":4.4},{"lobe_lift_mm":5,"valve_lift_mm":7.5},{"lobe_lift_mm":7.4,"valve_lift_mm":11.1}]},"exhaust":{`+valve+`,"rocker_ratio":1.5,"period_deg":720,"wraps_deg":720,"other_end":{`+lobe+`,"tdc_deg":1,"tdc_u_deg":0.5,"wraps_deg":360,"resolution_mm":0.01,"angle_step_deg":0.5,"indicator_limit_mm":0.02}}}`,
			`{"intake":{`+valve+`,"other_end":{`+strings.ReplaceAll(lobeJSON(0.29, 0, false), "lift_mm", "lift_in")+`}}}`,
			`{"intake":{"opens":12,"closes":44,"checking_lift_mm":1.27,"u_deg":1},"exhaust":{"opens":50,"closes":6},"tdc":{"positive_stop":{"first_deg":[310,310.2],"second_deg":[52,52.3],"angle_step_deg":0.5,"repeat_deg":0.2,"pin_offset_mm":0.5}},"crank":{"stroke_mm":80,"rod_mm":140}}`,
			`{"tdc":{"piston":{"drops":[{"before_deg":350,"after_deg":370.5,"drop_mm":0.9},{"before_deg":340,"after_deg":380.4,"drop_mm":3.1}],"drop_u_mm":0.01,"resolution_mm":0.01,"angle_step_deg":0.5,"crank":{"stroke_mm":80,"rod_mm":140}}}}`,
			`{"ratio":{"lobe":{`+lobe+`},"valve":{`+valve+`},"before":{`+valve+`},"nominal":1.5,"lash_mm":0.1,"degree":2}}`,
			`{"compare":{"first":{`+valve+`},"second":{`+lobeJSON(10.9, 1, false)+`}}}`,
			`{"valves":[{"name":"1I","max_lift_mm":11,"duration_deg":230,"opening_half_deg":40,"closing_half_deg":170},{"name":"2I","max_lift_mm":10.8,"duration_deg":231,"opening_half_deg":41,"closing_half_deg":170},{"name":"3I","max_lift_mm":11.05,"duration_deg":229,"opening_half_deg":40,"closing_half_deg":169}],"valves_lift_u_mm":0.05,"valves_angle_u_deg":1}`,
			`{"wheel":{"readings":`+wheelJSON()+`,"index_deg":[10,370.2,730.1],"index_back_deg":[11,371.1],"reading_u_deg":0.5}}`),
		asks("clearance", clearance.Solve,
			`{"piston":{"stroke_mm":69,"rod_mm":137,"curve":`+lobeJSON(11, 0, true)+`,"tdc_deg":1,"measured_at_deg":10,"measured_clearance_mm":3.1,"valve_lean_deg":20,"curve_lash_mm":0.2,"lashes_mm":[0.1,0.3],"cam_deg":[-4,0,4],"limit_mm":2,"measured_clearance_u_mm":0.1,"tdc_u_deg":0.5,"lift_u_mm":0.02},"coil_bind":{"installed_height_mm":45,"lift_mm":11,"solid_height_mm":29,"limit_mm":1.5,"height_u_mm":0.2},"retainer":{"closed_gap_mm":14,"lift_mm":11,"limit_mm":1.5,"gap_u_mm":0.1},"slot":{"slot_length_mm":16,"stud_diameter_mm":9.5,"height_mm":6,"closed_deg":-8,"full_deg":9,"centred_deg":1,"limit_mm":1.5,"length_u_mm":0.1}}`),
		asks("spring", clearance.SolveSpring,
			`{"wire_mm":4.5,"mean_diameter_mm":30,"active_coils":5,"shear_modulus_mpa":79300,"free_length_mm":52,"installed_height_mm":45,"lift_mm":11,"solid_height_mm":31,"coil_bind_limit_mm":1.5,"motion":{"curve":`+lobeJSON(11, 0, true)+`,"resolution_mm":0.001,"mass_g":120,"rocker_mass_g":40,"spring_mass_g":80,"speed_rpm":3000,"inner_rate_n_per_mm":10,"inner_seat_load_n":90}}`,
			`{"wire_mm":4.5,"outer_diameter_mm":34.5,"total_coils":7,"seat_load_n":350,"lift_mm":11}`,
			`{"loads":[{"height_mm":45,"load_n":300},{"height_mm":40,"load_n":480},{"height_mm":34,"load_n":700}],"installed_height_mm":45,"lift_mm":11,"solid_height_mm":31,"inner":{"loads":[{"height_mm":42,"load_n":120},{"height_mm":31,"load_n":260}],"installed_height_mm":42,"mass_g":40,"solid_height_mm":25}}`,
			`{"progressive":true,"loads":[{"height_mm":45,"load_n":300},{"height_mm":41,"load_n":420},{"height_mm":37,"load_n":580},{"height_mm":34,"load_n":760}],"installed_height_mm":45,"lift_mm":11}`),
		asks("cosine", rocker.Lean, `{"lean_deg":7,"lean_u_deg":2,"reading_mm":11}`),
	}
}

// leaf is a number of a question, or all of one name in a list of structs or of
// numbers.
type leaf struct {
	name string // the path without the places in lists
	at   []reflect.Value
}

func isNumber(t reflect.Type) bool {
	return t.Kind() == reflect.Int || t.Kind() == reflect.Int64 || t.Kind() == reflect.Float64
}

// leaves gathers the numbers that a question gives.
func leaves(v reflect.Value, path string, told bool, found *[]*leaf) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			leaves(v.Elem(), path, true, found)
		}
	case reflect.Slice:
		for i := range v.Len() {
			leaves(v.Index(i), path, true, found)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if name, of, ok := jsonField(v.Type(), i); ok {
				leaves(v.Field(i), strings.TrimPrefix(path+"."+name, "."), false, found)
			} else if of {
				leaves(v.Field(i), path, false, found)
			}
		}
	default:
		if !isNumber(v.Type()) || !told && v.IsZero() {
			return
		}
		for _, l := range *found {
			if l.name == path {
				l.at = append(l.at, v)
				return
			}
		}
		*found = append(*found, &leaf{path, []reflect.Value{v}})
	}
}

// jsonField is the JSON name of a field; embedded says that it is a struct whose
// fields stand among those around it.
func jsonField(t reflect.Type, i int) (name string, embedded, ok bool) {
	f := t.Field(i)
	name, _, _ = strings.Cut(f.Tag.Get("json"), ",")
	return name, f.Anonymous && name == "", f.IsExported() && name != "" && name != "-"
}

// fieldsOf lists every number that a type can give, by struct and JSON name, with the
// bound that its tag names.
func fieldsOf(t reflect.Type, seen map[reflect.Type]bool, found map[string]string) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || seen[t] {
		return
	}
	seen[t] = true
	for i := range t.NumField() {
		name, embedded, ok := jsonField(t, i)
		if !ok && !embedded {
			continue
		}
		f := t.Field(i)
		of := f.Type
		for of.Kind() == reflect.Pointer || of.Kind() == reflect.Slice {
			of = of.Elem()
		}
		if isNumber(of) {
			found[t.String()+"."+name] = f.Tag.Get("bound")
		}
		fieldsOf(of, seen, found)
	}
}

// given lists the same of what a sound question gives.
func given(v reflect.Value, found map[string]bool) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			given(v.Elem(), found)
		}
	case reflect.Slice:
		for i := range v.Len() {
			given(v.Index(i), found)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			name, embedded, ok := jsonField(v.Type(), i)
			if !ok && !embedded {
				continue
			}
			if !v.Field(i).IsZero() {
				found[v.Type().String()+"."+name] = true
			}
			given(v.Field(i), found)
		}
	}
}

// Every number that can be asked with has a bound of its own, and stands in a sound
// question here: a new field fails until it does.
func TestEveryNumberHasABound(t *testing.T) {
	bounds := worksheet.Bounds()
	for _, a := range askers() {
		fields, told := map[string]string{}, map[string]bool{}
		fieldsOf(a.of, map[reflect.Type]bool{}, fields)
		for _, text := range a.sound {
			answer, err := a.solve(text, func(q reflect.Value) { given(q, told) })
			require.NoError(t, err, "%s: %.60s", a.name, text)
			sensible(t, a.name, answer)
		}
		require.NotEmpty(t, fields)
		for field, bound := range fields {
			assert.Contains(t, bounds, bound, "%s.%s has no bound", a.name, field)
			assert.True(t, told[field], "%s: %s stands in no sound question", a.name, field)
		}
	}
}

// Whatever is written into a field, the answer is one that makes sense, or one
// sentence that names a field.
func TestNonsenseIsRefused(t *testing.T) {
	var cases, refused atomic.Int64
	t.Run("all", func(t *testing.T) {
		for _, a := range askers() {
			t.Run(a.name, func(t *testing.T) {
				t.Parallel()
				a.nonsense(t, &cases, &refused)
			})
		}
	})
	t.Logf("%d questions with nonsense in them, %d refused", cases.Load(), refused.Load())
	require.Greater(t, cases.Load(), int64(3000))
}

// nonsense spoils every number of every sound question, and swaps those of one kind.
func (a asker) nonsense(t *testing.T, cases, refused *atomic.Int64) {
	spoils := map[string]func(v reflect.Value){
		"zero":                 func(v reflect.Value) { v.SetZero() },
		"negative":             func(v reflect.Value) { scale(v, -1) },
		"1e9":                  func(v reflect.Value) { set(v, 1e9) },
		"-1e9":                 func(v reflect.Value) { set(v, -1e9) },
		"not a number":         func(v reflect.Value) { set(v, math.NaN()) },
		"inches as mm":         func(v reflect.Value) { scale(v, 1/25.4) },
		"mm as inches":         func(v reflect.Value) { scale(v, 25.4) },
		"a slip of the point":  func(v reflect.Value) { scale(v, 10) },
		"or the other way":     func(v reflect.Value) { scale(v, 0.1) },
		"thousandths as whole": func(v reflect.Value) { scale(v, 1000) },
	}
	check := func(what, text string, spoil func([]*leaf)) {
		answer, err := a.solve(text, func(q reflect.Value) {
			var all []*leaf
			leaves(q, "", false, &all)
			spoil(all)
		})
		cases.Add(1)
		if err == nil {
			sensible(t, a.name+": "+what, answer)
			return
		}
		refused.Add(1)
		var p *worksheet.Problem
		named := errors.As(err, &p) && p.Field != "" || namesField.MatchString(err.Error())
		assert.True(t, named, "%s: %s: %v names no field", a.name, what, err)
		assert.NotContains(t, err.Error(), "\n")
		assert.Greater(t, len(err.Error()), 20)
	}
	for n, text := range a.sound {
		var all []*leaf
		_, err := a.solve(text, func(q reflect.Value) { leaves(q, "", false, &all) })
		require.NoError(t, err)
		for i, l := range all {
			for name, spoil := range spoils {
				check(fmt.Sprintf("question %d, %s %s", n, l.name, name), text, func(all []*leaf) {
					for _, v := range all[i].at {
						spoil(v)
					}
				})
				if len(l.at) > 1 {
					check(fmt.Sprintf("question %d, one %s %s", n, l.name, name), text, func(all []*leaf) { spoil(all[i].at[len(all[i].at)/2]) })
				}
			}
			for j := range i {
				o := all[j]
				if o.at[0].Type() != l.at[0].Type() || len(o.at) != len(l.at) || len(l.at) >= 10 {
					continue
				}
				check(fmt.Sprintf("question %d, %s and %s swapped", n, o.name, l.name), text, func(all []*leaf) {
					for k, v := range all[i].at {
						was := reflect.ValueOf(v.Interface())
						v.Set(all[j].at[k])
						all[j].at[k].Set(was)
					}
				})
			}
		}
	}
}

// namesField finds the JSON name of a number in a sentence.
var namesField = regexp.MustCompile(`[a-z]_(mm|deg|px|n|k)\b|^\w+\.\w+: `)

func scale(v reflect.Value, by float64) {
	if v.CanFloat() {
		v.SetFloat(v.Float() * by)
		return
	}
	v.SetInt(int64(math.Round(float64(v.Int()) * by)))
}

// set writes a number in the unit of the field: millimetres, degrees or as it is.
func set(v reflect.Value, to float64) {
	switch {
	case v.CanFloat():
		v.SetFloat(to)
	case math.IsNaN(to): // no integer is that
	case v.Type() == reflect.TypeFor[measure.Length]():
		v.Set(reflect.ValueOf(mm(to)))
	case v.Type() == reflect.TypeFor[measure.Angle]():
		v.Set(reflect.ValueOf(deg(to)))
	default:
		v.SetInt(int64(to))
	}
}

// sense is what the figures of answers can be, by the ends of their keys; the first
// that fits counts. They are wider than any engine and narrower than any mix-up of
// units: common practice, no source.
var sense = []struct {
	key         *regexp.Regexp
	least, most float64
}{
	{regexp.MustCompile(`odds$`), 0, 1},
	{regexp.MustCompile(`(^|_)u(_|$)`), 0, 1e6},
	{regexp.MustCompile(`^(raise|wanted|add|total|short|geometry_wanted|line_wanted|offset|square_at_lift|lash_opens_if_untouched|pushrod_longer|longer)_`), -110, 110},
	{regexp.MustCompile(`^left_mm$`), -45, 160},
	{regexp.MustCompile(`^(lift|lobe_lift|max_lift|sweep|width|least_sweep|open_vs_closed)_mm$`), -60, 100},
	{regexp.MustCompile(`_mm$|_mm\[\]$`), -1500, 1500},
	{regexp.MustCompile(`^margin_n$`), -60_000, 30_000},
	{regexp.MustCompile(`_n$`), 0, 30_000},
	{regexp.MustCompile(`_n_per_mm$`), 0.001, 2000},
	{regexp.MustCompile(`_rpm$`), 1, 200_000},
	{regexp.MustCompile(`_hz$`), 1, 30_000},
	{regexp.MustCompile(`_mpa$`), 0, 2000},
	{regexp.MustCompile(`_g$`), 0, 20_000},
	{regexp.MustCompile(`(^|_)(ratio|slope|nominal)$`), -4, 6},
	{regexp.MustCompile(`^(tilt|bend|swing|half_angle|pushrod_lean)_deg$`), -90, 90},
	{regexp.MustCompile(`_deg$|_deg\[\]$|^mm_per_deg|_mm2_deg`), -4e6, 4e6},
	{regexp.MustCompile(`.`), -1e7, 1e7},
}

// sensible walks an answer: finite numbers, each within what its key can be.
func sensible(t *testing.T, what string, answer any) bool {
	text, err := json.Marshal(answer)
	if !assert.NoError(t, err, "%s: no NaN or infinity is an answer", what) {
		return false
	}
	var any_ any
	require.NoError(t, json.Unmarshal(text, &any_))
	fine := true
	var walk func(path, key string, v any)
	walk = func(path, key string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, e := range v {
				walk(path+"."+k, k, e)
			}
		case []any:
			for _, e := range v {
				walk(path, key, e)
			}
		case float64:
			for _, s := range sense {
				if s.key.MatchString(key) {
					if v < s.least || v > s.most {
						fine = false
						t.Errorf("%s: %s is %g: not within %g to %g", what, path, v, s.least, s.most)
					}
					return
				}
			}
		}
	}
	walk("", "", any_)
	return fine
}
