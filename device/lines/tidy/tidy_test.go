package tidy_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/lines"
	"lobescribe/device/lines/tidy"
)

// A number is the same in whatever way it is written; what may be a decimal comma
// stays, and so does what is no number.
func TestTidy(t *testing.T) {
	for _, c := range [][2]string{
		{"1.25E+00 mm", "1.25 mm"}, {"-9.60000000E-03", "-0.00960000000"}, {"1250e-3", "1.250"}, {"2.089266E+03 deg", "2089.266 deg"},
		{"D=1,5e+1mm", "D=15mm"}, {"A1E5", "A1E5"}, {"12E5", "12E5"}, {"1.2.3E+1", "1.2.3E+1"}, {"1.2E+99", "1.2E+99"},
		{"1,234 um", "1234 um"}, {"-1,234,567 counts", "-1234567 counts"}, {"1,234 mm", "1,234 mm"}, {"1,2345 um", "1,2345 um"}, {"1,234,56 um", "1,234,56 um"},
		{"9\u00a0600 \u00b5m", "9600 \u00b5m"}, {"9\xa0600\xa0\xb5m", "9600 \xb5m"}, {"1.5\u00a0mm", "1.5 mm"}, {"voil\u00e0 1.5", "voil\u00e0 1.5"},
		{"25/64\"", "0.3906250\""}, {"-1-1/2 in", "-1.5000000 in"}, {"1/3\"", "1/3\""}, {"10/12/2024", "10/12/2024"},
		{"123\u00b0 27' 06\"", "123.451667\u00b0"}, {"123\xb0 27' 06\"", "123.451667\u00b0"}, {"5\u00b0", "5\u00b0"},
		{"\x1b[0;32mI (12) pos 1.5 mm\x1b[0m", "I (12) pos 1.5 mm"}, {"\x1b[2KLift: 1.5", "Lift: 1.5"}, {"\x02+1.500\x033A", "\x02+1.500"}, {"\x1b[", "\x1b["},
		{"LOW BATTERY", "LOW BATTERY"}, {"", ""},
	} {
		got, changed := tidy.Line(nil, []byte(c[0]), lines.ScanUnit)
		assert.Equal(t, c[1], string(got))
		assert.Equal(t, c[0] != c[1], changed, c[0])
	}
}

// What is tidied once is tidy, and no bytes make it fall over.
func FuzzTidy(f *testing.F) {
	for _, s := range []string{"1.25E+00 mm", "1,234 um", "25/64\"", "123\u00b0 27' 06\"", "\x1b[0m1.5\x033A", "9\xa0600"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, changed := tidy.Line(nil, b, lines.ScanUnit)
		if !changed {
			assert.Equal(t, string(b), string(got))
		}
		assert.LessOrEqual(t, len(got), 20*len(b)+40)
	})
}
