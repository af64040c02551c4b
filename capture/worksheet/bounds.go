package worksheet

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

// Bound is what one quantity can be, on any engine from a small single to a
// locomotive's: in millimetres, degrees or as a bare number, by the type of the
// field that names it. They are common practice, no source.
//
// They are as narrow as that allows, because their work is to catch a unit mixed up:
// 12 mm typed as inches is 305 mm, 0.48 in typed as millimetres is half a
// millimetre, and neither is a lift.
type Bound struct {
	Least, Most float64
	// What it is a bound of, as in "a valve's full lift".
	What string
}

// bounds are those of every quantity that a question asks for, by the name that a
// field's tag `bound` has. The reason of each stands beside it; bounds that hang on
// another field are the question's own.
var bounds = map[string]Bound{
	// The rocker and what stands under it.
	"lift":      {0.8, 60, "a full lift"},                              // a model's 1 mm to a big diesel's two inches
	"at lift":   {-1, 100, "a lift within an opening"},                 // below zero where the heel is a little off
	"curve":     {-60, 60, "a lift of a curve"},                        // either sign: an indicator may run backwards
	"arm":       {8, 200, "an arm of a rocker"},                        // 15 mm on small singles, 38 mm on most, 120 mm on diesels
	"ratio":     {0.5, 3, "a rocker ratio"},                            // 1 to 2 on nearly all
	"ratio u":   {0, 0.5, "an uncertainty of a rocker ratio"},          // a third of it is no knowledge
	"lash":      {0, 3, "a lash"},                                      // 0.5 mm is much; 0.15 in is a slip of the point
	"lash step": {-2, 2, "a change of lash"},                           // as above, either way
	"stack":     {0, 75, "a stack of shims"},                           // taller ones are another stand
	"shim":      {0.01, 25, "a shim"},                                  // foil to a spacer
	"height":    {-75, 75, "a height between the rocker's ends"},       // of arms up to 200 mm
	"move":      {-75, 75, "a change of height"},                       // a stack's, or an adjuster's
	"thread":    {0, 75, "what is left of a thread"},                   // an adjuster is no longer
	"offset":    {-50, 50, "a distance off a line"},                    // the ball off the line of a bent rocker; less than an arm
	"mark":      {0.01, 30, "a mark on a stem's end"},                  // no wider than a stem
	"radius":    {1, 200, "a tip's radius"},                            // a roller's to a flat pad's
	"tolerance": {0.001, 10, "a tolerance"},                            // a micrometre to a spacer
	"u":         {0, 20, "an uncertainty of a length"},                 // a rule held beside it
	"run-out":   {0, 2, "a run-out"},                                   // more is seen by eye
	"reading":   {-300, 300, "an indicator's reading"},                 // the longest travels
	"error":     {0, 1, "an indicator's limit of error"},               // 0.01 mm of a good one
	"step":      {0.000001, 5, "a step to cut to"},                     //
	"resolute":  {0, 2, "an indicator's step"},                         // 0.1 in is no dial's
	"distance":  {50, 5000, "the distance from lens to rocker"},        // nearer no phone focuses
	"depth":     {0, 100, "a depth between marks"},                     // a rocker's width
	"known":     {1, 1000, "a known length in a picture"},              //
	"pushrod":   {25, 1000, "a pushrod"},                               // a model's 30 mm to a diesel's 800
	"ball":      {2, 40, "a ball of a pushrod"},                        // 5/16 in is 7.9 mm
	"hole":      {1, 40, "a gauging ring's hole"},                      // smaller than the ball
	"piece":     {1, 200, "an end piece"},                              //
	"press":     {0, 150, "how deep an end piece is pressed in"},       // within the piece
	"cup":       {0, 40, "a cup's depth"},                              //
	"preload":   {0, 10, "a lifter's preload"},                         // its plunger travels less
	"block":     {0.3, 2000, "a part between lifter and rocker pivot"}, // a gasket to a barrel
	// Springs.
	"wire":    {0.5, 20, "a spring's wire"},                           // 0.2 in is 5 mm
	"coil":    {5, 150, "a spring's coil"},                            //
	"spring":  {8, 300, "a spring's height"},                          // a model's to a diesel's
	"coils":   {0.5, 100, "a spring's coils"},                         //
	"modulus": {20_000, 120_000, "a shear modulus in MPa"},            // light metal 26,000, titanium 42,000, steel 79,300
	"load":    {0.5, 20_000, "a valve spring's load in newtons"},      // 1300 lbf of a racing engine is 5.8 kN
	"rate":    {0.01, 500, "a valve spring's rate in newtons per mm"}, //
	"mass":    {0, 5000, "a mass in grams"},                           // a model's valve to a diesel's
	"speed":   {1, 30_000, "a crank speed in revolutions a minute"},   //
	"limit":   {0, 60, "a limit of a clearance"},                      //
	"gap":     {0, 100, "a clearance"},                                // a piston far down leaves much
	"slot":    {2, 150, "a slot or stud"},                             //
	"reach":   {0, 150, "a height of a slot"},                         //
	// Cylinder, crank and port.
	"stroke":        {15, 800, "a stroke"},                                      // in inches it is below, of millimetres taken as inches above
	"rod":           {25, 2000, "a connecting rod"},                             //
	"bore":          {10, 800, "a bore"},                                        //
	"drop":          {0, 300, "a drop of the piston"},                           //
	"piston travel": {0, 800, "a piston's travel"},                              // within the stroke
	"pin":           {0, 20, "a pin's offset"},                                  // a millimetre or two
	"checking":      {0.005, 30, "a checking lift"},                             // 0.006 in to 0.2 in in use
	"port":          {3, 250, "a diameter of a port"},                           //
	"stem":          {1, 40, "a stem's diameter"},                               //
	"seat":          {0, 30, "a seat's width"},                                  //
	"compression":   {1.5, 40, "a compression ratio"},                           // steam-like to diesel and beyond
	"compression u": {0, 10, "an uncertainty of a compression ratio"},           //
	"inches":        {-2.4, 2.4, "a lift of a curve in inches"},                 // that of millimetres
	"warmer":        {-100, 600, "a change of temperature in kelvins"},          //
	"warmer u":      {0, 400, "an uncertainty of a temperature in kelvins"},     //
	"expansion":     {-10, 200, "a thermal expansion in millionths per kelvin"}, // no metal is above 40
	// Angles, in degrees.
	"lean":      {-45, 45, "a lean or bend"},                                 // at more the planar linkage is none
	"far lean":  {-60, 60, "a lean"},                                         // of a valve against its cylinder, of an indicator
	"angle u":   {0, 90, "an uncertainty of an angle"},                       //
	"camera":    {0, 25, "how far a camera looked aside"},                    // from farther aside a picture measures nothing
	"tilt":      {0, 15, "how far a gauge stands from square"},               // seen by eye
	"turning":   {0, 180, "how far a retainer turns"},                        // either way
	"seat face": {0, 60, "a seat's angle"},                                   // 30 and 45 in use
	"cam":       {-60, 60, "a cam advance in crank degrees"},                 // beyond, a tooth or two were missed
	"crank":     {-3_600_000, 3_600_000, "an angle within 10,000 turns"},     // so that no sum leaves its type
	"duration":  {1, 720, "a duration"},                                      // within the cycle
	"card line": {-720, 720, "an angle of a cam card"},                       //
	"small":     {0, 90, "a step of an angle"},                               //
	"turn":      {0, 36_000, "the angle after which an encoder starts over"}, //
	// Bare numbers.
	"points":     {0, 2001, "a number of points"},
	"count":      {0, 1000, "a number of shims"},
	"order":      {0, 20, "an order of a polynomial"},
	"pixels":     {50, 50_000, "a picture's side in pixels"},
	"pixel u":    {0.001, 500, "a mark's scatter in pixels"}, // no finger marks to nothing
	"distortion": {0, 0.3, "a lens's distortion as a share"},
}

// Bounds returns what every quantity can be, by name: for tests, and for whoever
// shows them.
func Bounds() map[string]Bound {
	all := make(map[string]Bound, len(bounds))
	for name, b := range bounds {
		all[name] = b
	}
	return all
}

// Bounds checks every number of a question, a struct with JSON tags, at any depth:
// each field's tag `bound` names what it is. A zero that is no pointer's and no
// list's was left out, and is not looked at. A name that is not known panics.
func (c *Check) Bounds(question any) { c.within("", reflect.ValueOf(question), "", false) }

var (
	lengthType = reflect.TypeFor[measure.Length]()
	angleType  = reflect.TypeFor[measure.Angle]()
)

// within checks what stands at path, of the kind that bound names; told says that a
// zero there was meant.
func (c *Check) within(path string, v reflect.Value, bound string, told bool) {
	if c.err != nil {
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			c.within(path, v.Elem(), bound, true)
		}
	case reflect.Slice:
		if bound == "" && v.Type().Elem().Kind() != reflect.Struct {
			return
		}
		for i := range v.Len() {
			if e := v.Index(i); e.Kind() == reflect.Struct || !bounds[bound].holds(number(e)) {
				c.within(path+"["+strconv.Itoa(i)+"]", e, bound, true)
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			f := v.Type().Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch {
			case f.Anonymous && name == "":
				c.within(path, v.Field(i), "", false)
			case f.IsExported() && name != "" && name != "-":
				c.within(strings.TrimPrefix(path+"."+name, "."), v.Field(i), f.Tag.Get("bound"), false)
			}
		}
	case reflect.Int, reflect.Int64, reflect.Float64:
		if n := number(v); bound != "" && (told || n != 0) {
			b, known := bounds[bound]
			if !known {
				panic(fmt.Sprintf("%s: no bound is called %q", path, bound))
			}
			c.That(b.holds(n), path, "%s", b.refusal(v, n))
		}
	}
}

// number is a field in the unit of its bound.
func number(v reflect.Value) float64 {
	switch {
	case v.Type() == lengthType:
		return measure.Length(v.Int()).Millimetres()
	case v.Type() == angleType:
		return measure.Angle(v.Int()).Degrees()
	case v.CanInt():
		return float64(v.Int())
	case v.CanFloat():
		return v.Float()
	}
	return 0
}

// holds says whether a number lies within; NaN is outside of everything.
func (b Bound) holds(n float64) bool { return n >= b.Least && n <= b.Most }

// refusal says what a number is and what it can be, a length in both units: one of
// them is often the one that was mixed up.
func (b Bound) refusal(v reflect.Value, n float64) string {
	shown, unit := fmt.Sprint(v.Interface()), ""
	switch v.Type() {
	case lengthType:
		shown, unit = InBoth(measure.Length(v.Int())), " mm"
	case angleType:
		unit = " deg"
	}
	if n < 0 && b.Least >= 0 {
		shown += ", below zero"
	}
	return fmt.Sprintf("is %s: expected %s of %s%s to %s%s; check the figure and its unit", shown, b.What, plain(b.Least), unit, plain(b.Most), unit)
}

// InBoth prints a length in millimetres and inches, for who may have taken one for the
// other.
func InBoth(l measure.Length) string { return fmt.Sprintf("%v (%s)", l, l.In(measure.InInches)) }

// plain writes a bound without an exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
