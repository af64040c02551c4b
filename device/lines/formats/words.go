package formats

import (
	"slices"
	"strings"

	"lobescribe/device/lines"
)

// Words are lines by which many instruments say that they have no
// reading to give.
func Words() []lines.Word {
	const low, range_, fast, probe, fault = "battery low", "spindle out of range", "spindle moved too fast",
		"no signal from the probe", "the device reports an error"
	var words []lines.Word
	for _, w := range [][2]string{
		{"LOW BATTERY", low}, {"LOW BATT", low}, {"LOBATT", low}, {"LO BAT", low}, {"LOBAT", low}, {"BATTERY LOW", low}, {"BATT LOW", low},
		{"OUT OF RANGE", range_}, {"OVER RANGE", range_}, {"OVERRANGE", range_}, {"UNDER RANGE", range_}, {"OVER", range_}, {"UNDER", range_},
		{"OVERSPEED", fast}, {"SPEED ERROR", fast},
		{"NO SIGNAL", probe}, {"NO PROBE", probe},
		{"ERROR", fault}, {"ERR", fault}, {"ERR0", "the device reports error 0"}, {"ERR1", "the device reports error 1"}, {"ERR2", "the device reports error 2"}, {"ERR3", "the device reports error 3"},
		{"HOLD", "the display is on hold"}, {"OFF", "switched off"},
	} {
		words = append(words, lines.Word{Text: w[0], Says: w[1]})
	}
	return append(words, lines.Word{Text: "ZERO", Says: "the indicator was set to zero", ReZero: true})
}

// boardWords are what the firmware says where it has no figure.
func boardWords() []lines.Word {
	return []lines.Word{
		{Text: "NO SIGNAL", Says: "the board hears nothing of the indicator: is it switched on, and are clock and data wired?"},
		{Text: "BITS LOST", More: true, Says: "the indicator's clock came too few or too many times: look at its plug, cable and level shifter"},
		{Text: "BITS WRONG", Says: "the indicator sent bits that no figure has: look at its plug, cable and level shifter, and at the board's switch for the kind of indicator"},
		{Text: "EDGE LOST", Says: "both wires of the encoder changed at once, so a count may be missing: look at plug, cable and screen of the encoder, and set TDC again"},
		{Text: "PEDAL", Mark: true, Says: "foot switch"},
	}
}

// Statuses are words that stand behind a number.
func Statuses() []lines.Status {
	const low, range_ = "battery low", "spindle out of range"
	return []lines.Status{
		{Text: "OK"}, {Text: "N"},
		{Text: "LOW BATT", Says: low}, {Text: "LOBAT", Says: low}, {Text: "BAT", Says: low}, {Text: "BATT", Says: low}, {Text: "LB", Says: low},
		{Text: "OVER", Says: range_, NoReading: true}, {Text: "UNDER", Says: range_, NoReading: true},
		{Text: "OOR", Says: range_, NoReading: true}, {Text: "OL", Says: range_, NoReading: true},
		{Text: "ERR", Says: "the device reports an error", NoReading: true},
		{Text: "E", Says: "the device reports an error", NoReading: true},
		{Text: "HOLD", Says: "the display is on hold", NoReading: true},
	}
}

// IsStatus reports whether a text is one of the common statuses.
func IsStatus(text string) bool {
	return slices.ContainsFunc(Statuses(), func(s lines.Status) bool { return strings.EqualFold(s.Text, text) })
}

// KnownStatus returns a status with its meaning, if it is one of the common
// ones, and otherwise as one that means nothing ill.
func KnownStatus(text string) lines.Status {
	for _, s := range Statuses() {
		if strings.EqualFold(s.Text, text) {
			s.Text = text
			return s
		}
	}
	return lines.Status{Text: text}
}

// Bare returns f without the words that every instrument may say, as it is
// written down to be read by a person.
func Bare(f lines.Format) lines.Format {
	common := Words()
	f.Words = slices.DeleteFunc(slices.Clone(f.Words), func(w lines.Word) bool { return slices.Contains(common, w) })
	f.Columns = slices.Clone(f.Columns)
	usual := Statuses()
	for i := range f.Columns {
		c := &f.Columns[i]
		c.Status = slices.DeleteFunc(slices.Clone(c.Status), func(s lines.Status) bool { return slices.Contains(usual, s) })
	}
	f.MaxLine, f.Jump = 0, 0
	return f
}
