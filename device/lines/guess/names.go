package guess

import (
	"slices"
	"strings"
	"unicode"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// meaning is what the words around a number say that it is.
type meaning uint8

const (
	unnamed meaning = iota
	namesLift
	namesAngle
	namesCounts
	namesTurns // whole turns of a shaft
	// namesOther is what neither a spindle nor a crank shows: a time, a speed, a
	// temperature, a setting.
	namesOther
)

// lengthWords are the units that a name may carry, as in dist_mm or Height [in].
var lengthWords = map[string]measure.Unit{
	"mm": measure.InMillimetres, "millimeter": measure.InMillimetres, "millimeters": measure.InMillimetres,
	"millimetre": measure.InMillimetres, "millimetres": measure.InMillimetres,
	"cm": measure.InCentimetres, "centimeter": measure.InCentimetres, "centimeters": measure.InCentimetres, "centimetres": measure.InCentimetres,
	"in": measure.InInches, "inch": measure.InInches, "inches": measure.InInches,
	"um": measure.InMicrometres, "µm": measure.InMicrometres, "μm": measure.InMicrometres, "micron": measure.InMicrometres, "microns": measure.InMicrometres,
	"micrometer": measure.InMicrometres, "micrometers": measure.InMicrometres,
	"mil": measure.InThou, "mils": measure.InThou, "thou": measure.InThou,
	"meter": measure.InMetres, "meters": measure.InMetres, "metre": measure.InMetres, "metres": measure.InMetres,
}

// otherWords are units of what is neither a length nor an angle.
var otherWords = strings.Fields(`s sec secs seconds ms msec us usec µs min h v mv volt volts ft feet yd a ma amp amps c °c degc f °f degf k kelvin
	% pct rh hz khz rpm rps cps fps kg g n nm lb lbs lbf oz ozt ct dwt pcs pa kpa hpa mbar bar psi w kw lux lx db dbm ue ppm baud bit bits
	rad/s rad/sec deg/s deg/sec °/s dps m/s mm/s cm/s in/s ips m/s2 m/s^2 mm/s^2 counts/s ticks/s g's
	gon grad grads gradians`)

// nameWords are the words of names, by what they say.
var nameWords = map[meaning][]string{
	namesLift: strings.Fields(`lift displacement displ disp dist distance position pos height depth travel stroke dial indicator ind
		gauge gage length len reading measurement measure meas thickness gap caliper calliper micrometer lvdt probe l z valve spindle
		range deflection runout abstand weg messwert val value`),
	namesAngle:  strings.Fields(`angle ang deg degrees degree crank crankshaft cam theta th phi rot rotation heading azimuth winkel rad radians grados`),
	namesCounts: strings.Fields(`counts count cnt counter c enc encoder e qdec ticks tick pulses pulse steps quadrature raw encoderpos encodervalue rawangle`),
	namesTurns:  strings.Fields(`turns turn revs rev revolutions revolution rotations laps`),
	namesOther: strings.Fields(`t time timestamp ts ms us millis micros sec seconds temp temperature hum humidity volt volts voltage bat batt battery
		hz rate rpm speed vel velocity omega rps accel acceleration acc n seq no id nr node rssi dbm snr status state flag flags err error
		cmd dir direction tilt roll pitch yaw strain pressure press light lux weight force load torque pwm power current amps amp duty magnet magnitude agc gain
		dt delta interval loop index idx sample samples line lines frame packet crc checksum btn button switch quality strength signal normalized mode channel ch freq frequency`),
}

// settingWords say that a number is not what is measured now.
var settingWords = strings.Fields(`target setpoint set goal limit min max upper lower tolerance tol ref reference nominal offset zero threshold peak hold avg mean
	dev deviation diff difference correction`)

// namedWords is what the name of a column says.
type namedWords struct {
	meaning meaning
	length  measure.Unit // carried by the name
	angle   lines.AngleUnit
	setting bool
}

// nameTells reads a name: what stands before a number, or in the header of its
// column.
func nameTells(name string) (t namedWords) {
	words := wordsOf(name)
	for i, w := range words {
		last := i == len(words)-1
		if u, ok := lengthWords[w]; ok && len(words) > 1 && last {
			t.length = u
			continue
		}
		if u, ok := lines.ParseAngleUnit(w); ok && last {
			t.angle = u
		}
		t.setting = t.setting || slices.Contains(settingWords, w)
	}
	switch low := strings.ToLower(strings.TrimSpace(name)); {
	case strings.HasSuffix(low, "[m]"), strings.HasSuffix(strings.TrimRight(low, ":= "), "(m)"), strings.HasSuffix(strings.Trim(low, `": =`), "_m"):
		t.length = measure.InMetres
		t.meaning = namesLift
	}
	switch strings.Trim(name, " :=") { // gauges that name the unit by a letter behind the kind of reading
	case "RNI":
		t.length = measure.InInches
	case "RNM":
		t.length = measure.InMillimetres
	}
	// The last word that is known tells; but a speed, a time and their like are
	// told by any.
	for _, w := range words {
		switch m := wordTells(w, len(words) == 1); {
		case m == unnamed:
		case t.meaning == namesOther && m != namesCounts:
		case m == namesOther && w == "time" && t.meaning != unnamed:
		default:
			t.meaning = m
		}
	}
	if slices.Contains(words, "speed") || slices.Contains(words, "velocity") || slices.Contains(words, "rate") || slices.Contains(words, "rpm") {
		t.meaning, t.length, t.angle = namesOther, measure.NoUnit, lines.NoAngle
	}
	if t.length != measure.NoUnit && t.meaning != namesOther {
		t.meaning = namesLift
	}
	if t.angle == lines.Turns && t.meaning != namesOther {
		t.meaning = namesTurns
	}
	return t
}

// wordTells is what one word of a name says. A single letter tells only where it
// is the whole name.
func wordTells(w string, alone bool) meaning {
	if len(w) < 2 && !alone {
		return unnamed
	}
	for _, m := range []meaning{namesOther, namesTurns, namesCounts, namesAngle, namesLift} {
		if slices.Contains(nameWords[m], w) {
			return m
		}
	}
	return unnamed
}

// wordsOf cuts a name into its words, in lower case: at blanks, marks and
// digits, and where a capital follows a small letter.
func wordsOf(name string) (words []string) {
	var b strings.Builder
	end := func() {
		if b.Len() > 0 {
			words = append(words, strings.ToLower(b.String()))
			b.Reset()
		}
	}
	small := false
	for _, r := range name {
		if !unicode.IsLetter(r) && r != '°' && r != 'º' {
			end()
			small = false
			continue
		}
		if small && unicode.IsUpper(r) {
			end()
		}
		small = unicode.IsLower(r)
		b.WriteRune(r)
	}
	end()
	return words
}

// axisName reports whether a name is that of an axis or channel, which says
// which one it is and not what it shows.
func axisName(name string) bool {
	w := wordsOf(name)
	return len(w) == 1 && len(w[0]) == 1 && strings.Contains("xyzuvwabcd", w[0])
}
