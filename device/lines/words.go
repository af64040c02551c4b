package lines

import (
	"slices"
	"strings"
)

// commonWords are lines by which many instruments say that they have no
// reading to give.
func commonWords() []Word {
	return []Word{
		{"LOW BATTERY", "battery low"}, {"LOW BATT", "battery low"}, {"LOBATT", "battery low"}, {"LO BAT", "battery low"}, {"LOBAT", "battery low"},
		{"BATTERY LOW", "battery low"}, {"BATT LOW", "battery low"},
		{"OUT OF RANGE", "spindle out of range"}, {"OVER RANGE", "spindle out of range"}, {"OVERRANGE", "spindle out of range"},
		{"UNDER RANGE", "spindle out of range"}, {"OVER", "spindle out of range"}, {"UNDER", "spindle out of range"},
		{"OVERSPEED", "spindle moved too fast"}, {"SPEED ERROR", "spindle moved too fast"},
		{"NO SIGNAL", "no signal from the probe"}, {"NO PROBE", "no signal from the probe"},
		{"ERROR", "the device reports an error"}, {"ERR", "the device reports an error"},
		{"ERR0", "the device reports error 0"}, {"ERR1", "the device reports error 1"},
		{"ERR2", "the device reports error 2"}, {"ERR3", "the device reports error 3"},
		{"HOLD", "the display is on hold"}, {"OFF", "switched off"},
	}
}

// commonStatus are words that stand behind a number.
func commonStatus() []Status {
	const low, range_ = "battery low", "spindle out of range"
	return []Status{
		{Text: "OK"}, {Text: "N"},
		{Text: "LOW BATT", Says: low}, {Text: "LOBAT", Says: low}, {Text: "BAT", Says: low}, {Text: "BATT", Says: low}, {Text: "LB", Says: low},
		{Text: "OVER", Says: range_, NoReading: true}, {Text: "UNDER", Says: range_, NoReading: true},
		{Text: "OOR", Says: range_, NoReading: true}, {Text: "OL", Says: range_, NoReading: true},
		{Text: "ERR", Says: "the device reports an error", NoReading: true},
		{Text: "E", Says: "the device reports an error", NoReading: true},
		{Text: "HOLD", Says: "the display is on hold", NoReading: true},
	}
}

func isCommonStatus(text string) bool {
	return slices.ContainsFunc(commonStatus(), func(s Status) bool { return strings.EqualFold(s.Text, text) })
}

// knownStatus returns a status with its meaning, if it is one of the common
// ones, and otherwise as one that means nothing ill.
func knownStatus(text string) Status {
	for _, s := range commonStatus() {
		if strings.EqualFold(s.Text, text) {
			s.Text = text
			return s
		}
	}
	return Status{Text: text}
}
