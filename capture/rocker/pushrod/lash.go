package pushrod

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Material is what a piece is made of, with its mean coefficient of thermal
// expansion from about 20 to 100 degrees C.
type Material struct {
	Name   string   `json:"name"`
	Also   []string `json:"also"`                // other names taken for it
	Alpha  float64  `json:"expansion_ppm_per_k"` // 1e-6/K
	Source string   `json:"source"`
}

// Materials returns the materials that are known by name.
func Materials() []Material {
	const callister = "Callister, Materials Science and Engineering, Appendix B Table B.6"
	return []Material{
		{"aluminium 6061", []string{"aluminium", "aluminum", "aluminum 6061", "6061"}, 23.6, callister},
		{"aluminium 2024", []string{"aluminum 2024", "2024"}, 22.9, callister},
		{"steel 4130", []string{"chromoly", "steel", "4130"}, 12.2, "a supplier's data page of 4130, 20-100 C"},
		{"magnesium AZ91D", []string{"magnesium", "az91d"}, 26.0, callister},
		{"magnesium AM60", []string{"am60"}, 25.6, "ASM"},
		{"grey iron", []string{"iron", "cast iron", "gray iron"}, 11.4, callister + " (G1800, G3000, G4000)"},
	}
}

// findMaterial looks a name up, in any case.
func findMaterial(name string) (Material, error) {
	word := strings.ToLower(strings.TrimSpace(name))
	var known []string
	for _, m := range Materials() {
		if word == strings.ToLower(m.Name) || slices.Contains(m.Also, word) {
			return m, nil
		}
		known = append(known, m.Name)
	}
	return Material{}, fmt.Errorf("%q is not known: expected one of %s, or give expansion_ppm_per_k", name, strings.Join(known, ", "))
}

// Piece is a length of one material.
type Piece struct {
	Material string         `json:"material,omitzero"`
	Length   measure.Length `json:"length_mm,omitzero" bound:"block"`
	// Alpha, in 1e-6/K, goes before what the material's name would give.
	Alpha *float64 `json:"expansion_ppm_per_k,omitempty" bound:"expansion"`
	// Warmer is by how many kelvins this piece warms up; left out, as the question
	// says for all.
	Warmer *float64 `json:"warmer_k,omitempty" bound:"warmer"`
}

// LashQuestion asks what the lash does as the engine warms up.
//
// With the lifter's end of the pushrod as the floor, the rod growing by g lifts the
// ball by g, and the pivot rising by p with the ball held lifts the tip by p (1 + R):
// the tip is a lever's end, R times as far from the pivot as the ball. So the tip
// rises by p (1 + R) - R g, while the end of the valve's stem rises by s, and the
// lash opens by
//
//	p (1 + R) - R g - s
//
// What stands under the valve's seat as well as under the pivot (case, block, the
// head up to the seat), c, is in p and in s: it counts c (1 + R) - c = R c, R times.
// What stands between the height of the seat and the pivot alone, the upper head and
// the stand, counts 1 + R times; the stem from its seat to its end, once, and the
// other way. A stem that grows as the stand beside it does, over the same height,
// leaves R times for that too: so it is taken where neither is given. Small angles,
// derived here; package coverage holds it against a rocker put together again.
type LashQuestion struct {
	// Rod is the pushrod, end pieces and all. A single piece may leave its
	// length out: it is that of the first rod.
	Rod []Piece `json:"rod" flag:"rod-material" form:"MATERIAL" help:"material of the pushrod; asks for the cold lash"`
	// Stack is what stands between the lifter's cup and the rocker's pivot:
	// case, barrel or block, head, stand.
	Stack []Piece `json:"stack" flag:"stack-piece" form:"MATERIAL:LENGTH[:KELVINS]" help:"a part between lifter and rocker pivot (with --above-seat: up to the height of the valve's seat), and by how much it warms up if that is its own; again for each"`
	// Above is what stands between the height of the valve's seat and the pivot, and
	// Stem the valve from its seat to its end: where they are given, Stack ends at the
	// height of the seat.
	Above []Piece `json:"above_seat,omitempty" flag:"above-seat" form:"MATERIAL:LENGTH[:KELVINS]" help:"a part between the height of the valve's seat and the pivot (upper head, stand), which counts 1 + R times; again for each"`
	Stem  []Piece `json:"stem,omitempty" flag:"valve-stem" form:"MATERIAL:LENGTH[:KELVINS]" help:"the valve from its seat to its end, which takes lash away"`
	// Warmer is by how many kelvins the stack warms up, RodWarmer the rod.
	// Default 70, and that of the stack; WarmerU is how well either is known
	// (k = 2), default 20.
	Warmer    *float64 `json:"warmer_k,omitempty" bound:"warmer" flag:"warmer" help:"by how many kelvins the engine warms up (default 70)"`
	RodWarmer *float64 `json:"rod_warmer_k,omitempty" bound:"warmer" flag:"rod-warmer" help:"by how many kelvins the pushrod does (default as the engine)"`
	WarmerU   *float64 `json:"warmer_u_k,omitempty" bound:"warmer u" flag:"warmer-u" help:"how well either is known in kelvins (k = 2; default 20)"`
	// RockerRatio takes the lash from the pushrod to the valve; left out, that
	// of the question around it.
	RockerRatio float64 `json:"rocker_ratio,omitzero" bound:"ratio"`
	// HotLash is the lash wanted at the valve when warm. Default 0.
	HotLash measure.Length `json:"hot_lash_mm,omitzero" bound:"lash" flag:"hot-lash" help:"lash wanted warm, at the valve (default none)"`
}

// LashAnswer is what the lash does.
type LashAnswer struct {
	RodGrows   measure.Length `json:"rod_grows_mm"`
	StackGrows measure.Length `json:"stack_grows_mm"`
	// AboveGrows and StemGrows are those of the parts between seat and pivot.
	AboveGrows *measure.Length `json:"above_seat_grows_mm,omitempty"`
	StemGrows  *measure.Length `json:"stem_grows_mm,omitempty"`
	// Counts says how often each part counts at the valve.
	Counts worksheet.Sentence `json:"counts"`
	// Opens is what the lash gains at the pushrod when warm; below zero it
	// closes. OpensAtValve is that at the valve.
	Opens         measure.Length `json:"opens_mm"`
	OpensU        measure.Length `json:"opens_u_mm"`
	OpensAtValve  measure.Length `json:"opens_at_valve_mm"`
	OpensAtValveU measure.Length `json:"opens_at_valve_u_mm"`
	// ColdLash is what to set at the valve, cold, for the lash wanted hot;
	// never below zero.
	ColdLash measure.Length `json:"cold_lash_mm"`
	// TradeRule is the custom for a rod of that material, and Rule its words.
	TradeRule *measure.Length      `json:"trade_rule_mm,omitempty"`
	Rule      string               `json:"rule,omitzero"`
	Says      []worksheet.Sentence `json:"says"`
}

const (
	defaultWarmer  = 70.0
	defaultWarmerU = 20.0
	alphaU         = 0.03 // of itself, between handbooks
)

func (l LashQuestion) check(c *worksheet.Check, q Question) {
	c.That(len(l.Rod) > 0, "lash.rod", "is missing: give at least its material")
	c.That(len(l.Stack) > 0, "lash.stack", "is missing: give material and length_mm of what stands between lifter and rocker pivot")
	c.That(len(l.Rod) <= mostRods && len(l.Stack) <= mostRods && len(l.Above) <= mostRods && len(l.Stem) <= mostRods, "lash", "has more than %d pieces", mostRods)
	for _, side := range []struct {
		field  string
		pieces []Piece
	}{{"lash.rod", l.Rod}, {"lash.stack", l.Stack}, {"lash.above_seat", l.Above}, {"lash.stem", l.Stem}} {
		for i, p := range side.pieces {
			field := fmt.Sprintf("%s[%d]", side.field, i)
			if side.field == "lash.rod" && len(l.Rod) == 1 {
				c.NotNegative(field+".length_mm", p.Length)
			} else {
				c.Positive(field+".length_mm", p.Length)
			}
			if p.Warmer != nil {
				c.Within(field+".warmer_k", *p.Warmer, -100, 600)
			}
			if p.Alpha != nil {
				c.Within(field+".expansion_ppm_per_k", *p.Alpha, -10, 200)
			} else if _, err := findMaterial(p.Material); err != nil {
				c.That(false, field+".material", "%v", err)
			}
		}
	}
	for _, k := range []struct {
		field string
		v     *float64
		least float64
	}{{"lash.warmer_k", l.Warmer, -100}, {"lash.rod_warmer_k", l.RodWarmer, -100}, {"lash.warmer_u_k", l.WarmerU, 0}} {
		if k.v != nil {
			c.Within(k.field, *k.v, k.least, 400)
		}
	}
	if l.RockerRatio != 0 {
		c.Within("lash.rocker_ratio", l.RockerRatio, 0.2, 5)
	}
	c.That(l.RockerRatio != 0 || q.RockerRatio != 0, "rocker_ratio", "is missing: the lash at the valve needs it")
	c.That((len(l.Above) > 0) == (len(l.Stem) > 0), "lash.stem", "goes with above_seat: the valve's stem and what stands beside it grow against each other; give both or neither")
	c.NotNegative("lash.hot_lash_mm", l.HotLash)
}

// growth is that of some pieces: in millimetres, the part of its expanded
// uncertainty that is the handbooks' and that of temperatures which are a piece's own,
// and how much it grows a kelvin of the temperature that all others share.
type growth struct{ mm, u, shared float64 }

// grow adds up alpha l over pieces that get warmer by so much where they do not say,
// to within warmerU.
func grow(pieces []Piece, length measure.Length, warmer, warmerU float64, basis *worksheet.Basis) growth {
	var g growth
	for _, p := range pieces {
		l := p.Length
		if l == 0 {
			l = length
			basis.Assume("the pushrod is of one material over its whole length, %v", l)
		}
		alpha := 0.0
		if p.Alpha != nil {
			alpha = *p.Alpha
		} else if m, err := findMaterial(p.Material); err == nil { // check has seen to it
			alpha = m.Alpha
			basis.Cite(fmt.Sprintf("%s: %.1fe-6/K: %s", m.Name, m.Alpha, m.Source))
			if !strings.EqualFold(p.Material, m.Name) {
				basis.Assume("%q is taken as %s", p.Material, m.Name)
			}
		}
		perK := alpha * 1e-6 * l.Millimetres()
		k := warmer
		if p.Warmer != nil {
			k = *p.Warmer
			g.u = worksheet.Combine(g.u, perK*warmerU)
		} else {
			g.shared += perK
		}
		g.mm += perK * k
		g.u = worksheet.Combine(g.u, perK*alphaU*k)
	}
	return g
}

func (l LashQuestion) solve(q Question, length measure.Length, basis *worksheet.Basis) LashAnswer {
	a := LashAnswer{Says: []worksheet.Sentence{}}
	warmer := value(l.Warmer, defaultWarmer)
	rodWarmer := value(l.RodWarmer, warmer)
	warmerU := value(l.WarmerU, defaultWarmerU)
	ratio := l.RockerRatio
	if ratio == 0 {
		ratio = q.RockerRatio
	}
	rod, stack := grow(l.Rod, length, rodWarmer, warmerU, basis), grow(l.Stack, 0, warmer, warmerU, basis)
	above, stem := grow(l.Above, 0, warmer, warmerU, basis), grow(l.Stem, 0, warmer, warmerU, basis)
	a.RodGrows, a.StackGrows = measure.FromMillimetres(rod.mm), measure.FromMillimetres(stack.mm)
	if len(l.Above) > 0 {
		a.AboveGrows, a.StemGrows = new(measure.FromMillimetres(above.mm)), new(measure.FromMillimetres(stem.mm))
		a.Counts = worksheet.Sayf("at the valve what stands under seat and pivot alike counts %.4g times (the ratio), what stands above the seat %.4g times (1 and the ratio), the pushrod %.4g times and the stem once, both against it", ratio, 1+ratio, ratio)
	} else {
		a.Counts = worksheet.Sayf("the stack and the pushrod count %.4g times at the valve, the ratio: the valve's stem is taken to grow as what stands beside it does (above_seat and stem tell it)", ratio)
		basis.Assume("the valve's stem, from its seat to its end, grows as much as what stands between seat and pivot")
	}
	opens := ratio*(stack.mm-rod.mm) + (1+ratio)*above.mm - stem.mm
	// What shares a temperature is off together; the rod has its own only where that
	// was given.
	shared := ratio*stack.shared + (1+ratio)*above.shared - stem.shared
	own := ratio * rod.shared * warmerU
	if l.RodWarmer == nil {
		shared, own = shared-ratio*rod.shared, 0
		basis.Assume("the pushrod gets as warm as what stands around it")
	}
	u := worksheet.Combine(shared*warmerU, own, ratio*rod.u, ratio*stack.u, (1+ratio)*above.u, stem.u, nominalRatioU*(stack.mm-rod.mm+above.mm)*ratio)
	a.OpensAtValve, a.OpensAtValveU = measure.FromMillimetres(opens), measure.FromMillimetres(u)
	a.Opens, a.OpensU = measure.FromMillimetres(opens/ratio), measure.FromMillimetres(u/ratio)
	a.ColdLash = max(0, l.HotLash-a.OpensAtValve)
	if l.Warmer == nil {
		basis.Assume("the engine runs %g K warmer than it is now", defaultWarmer)
	}
	basis.Assume("coefficients differ by %.0f %% between handbooks", 100*alphaU)
	basis.Cite("growth alpha l dT: elementary; how often a part counts at the valve: levers, derived here")
	a.custom(l)
	switch {
	case a.OpensAtValve > a.OpensAtValveU:
		a.Says = append(a.Says, worksheet.Sayf("the lash opens by %v at the valve as the engine warms", worksheet.Rounded(a.OpensAtValve)))
	case a.OpensAtValve < -a.OpensAtValveU:
		a.Says = append(a.Says, worksheet.Sayf("the lash closes by %v at the valve as the engine warms: set cold without it, the valve would hang open", worksheet.Rounded(-a.OpensAtValve)))
	default:
		a.Says = append(a.Says, worksheet.Sayf("the lash stays what it is within what is known of the materials"))
	}
	a.Says = append(a.Says, a.Counts)
	return a
}

// nominalRatioU is the expanded uncertainty of a ratio as it is stamped, as a share.
const nominalRatioU = 0.03

// custom puts the trade's rule beside the arithmetic: zero for chromoly, 0.006
// in for aluminium. Common practice, no source.
func (a *LashAnswer) custom(l LashQuestion) {
	longest := l.Rod[0] // the tube, not its end pieces
	for _, p := range l.Rod {
		if p.Length > longest.Length {
			longest = p
		}
	}
	m, err := findMaterial(longest.Material)
	if err != nil {
		return // a coefficient without a name
	}
	var rule measure.Length
	switch {
	case strings.HasPrefix(m.Name, "aluminium"):
		rule = 6 * measure.Thou
		a.Rule = "aluminium pushrods: 0.006 in by feeler, cold"
	case strings.HasPrefix(m.Name, "steel"):
		a.Rule = "chromoly pushrods: no lash, cold"
	default:
		return
	}
	a.TradeRule = &rule
	a.Rule += " (common practice, no source; it fits an iron stack some 70 K warmer, and no other)"
	if off := a.ColdLash - rule; off.Abs() > max(a.OpensAtValveU, 50*measure.Micrometre) {
		more := "more"
		if off < 0 {
			more = "less"
		}
		a.Says = append(a.Says, worksheet.Sayf("the custom does not fit this engine: the arithmetic asks for %v %s", worksheet.Rounded(off.Abs()), more))
	}
}

func value(v *float64, otherwise float64) float64 {
	if v != nil {
		return *v
	}
	return otherwise
}
