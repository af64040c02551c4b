package formats_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

const ownFormat = `# the gauge on the stand
[[format]]
name = "stand"
says = "channel, lift in hundredths, a status letter"
separator = ";"
words = [{ text = "SLEEP", says = "asleep" }]

[[format.column]]
role = "ignored"

[[format.column]]
role = "lift"
tags = ["L="]
tag_needed = true
whole = true
unit_behind = "never"
scale = "0.01 mm"
status = [{ text = "b", says = "battery low" }, { text = "x", no_reading = true }]

[[format]]
name = "plain"
says = "in place of the built-in one"
[[format.column]]
role = "lift"
unit = "in"
`

func TestReadFormats(t *testing.T) {
	set, err := formats.Read(strings.NewReader(ownFormat), "own.toml")
	require.NoError(t, err)
	f, err := set.Named("stand")
	require.NoError(t, err)
	d, out := lines.NewDecoder(f, lines.Options{}), wire.Out{}
	d.BeginsQuiet()
	d.Decode(wire.Chunk{Bytes: []byte("1;L=1234\n1;L=1235b\n1;1236\n1;L=99x\nsleep\n")}, &out)
	require.Len(t, out.Readings, 2)
	assert.Equal(t, 12_340*measure.Micrometre, out.Readings[0].Lift)
	assert.Equal(t, 12_350*measure.Micrometre, out.Readings[1].Lift)
	require.Len(t, out.Conditions, 2)
	assert.Equal(t, "battery low", out.Conditions[0].Says)
	assert.Equal(t, "asleep", out.Conditions[1].Says)
	assert.Equal(t, wire.Refused{NotANumber: 1}, out.Refused)

	f, err = set.Named("plain")
	require.NoError(t, err)
	assert.Equal(t, measure.InInches, f.Columns[0].Unit, "one's own takes the place of the built-in")
	_, err = set.Named("stnad")
	assert.ErrorContains(t, err, "there are: auto, none, modbus, stand, plain, ")
}

func TestReadFormatsNamesTheLine(t *testing.T) {
	for text, says := range map[string]string{
		"":                           "line 1: there is no [[format]] in it",
		"[[format]]\nname = \n":      "line 2",
		"[[format]]\nname = \"a\"\n": `line 2: line format "a": it has no column`,
		"[[format]]\nname = \"A b\"\n[[format.column]]\nrole=\"lift\"":                                                       `line 2: line format "A b": the name must be lower case`,
		"[[format]]\nname = \"a\"\ncolour = \"red\"\n":                                                                       `line 3: "colour" is no key of a format`,
		"[[format]]\nname = \"a\"\nseparator = \"ab\"\n":                                                                     `line 3: "ab" is more than one byte`,
		"[[format]]\nname = \"a\"\n[[format.column]]\nrole = \"lft\"":                                                        `line 4: the role "lft" is not known`,
		"[[format]]\nname = \"a\"\n[[format.column]]\nrole = \"lift\"\nscale = \"0.01\"":                                     "line 5: \"0.01\" is not a length",
		"[[format]]\nname = \"a\"\n[[format.column]]\nrole = \"lift\"\nunit = \"ell\"":                                       `line 5: unit "ell" is not known`,
		"[[format]]\nname = \"a\"\n[[format.column]]\nrole = \"lift\"\ndecimals = \"x\"":                                     "line 5",
		"[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"lift\"\n[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"lift\"": "line 6: line format \"a\": there are two of this name",
		"[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"lift\"\n[[format]]\nname=\"b\"\ncheck=\"crc\"":                    `line 7: the check "crc" is not known`,
		"[[format]]\nname=\"a\"\nseparator=\",\"\ndecimal_comma=true\n[[format.column]]\nrole=\"lift\"":                      "a comma cannot both be",
		"[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"lift\"\n[[format.column]]\nrole=\"lift\"":                         "several columns need a separator",
		"[[format]]\nname=\"a\"\nseparator=\",\"\n[[format.column]]\nrole=\"lift\"\n[[format.column]]\nrole=\"lift\"":        "only one column can be the lift",
		"[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"ignored\"":                                                        "no column is lift, angle or counts",
		"[[format]]\nname=\"auto\"\n[[format.column]]\nrole=\"lift\"":                                                        "the name auto is taken",
		"[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"lift\"\nstatus = [\n{ text = \"b\", unit = \"ell\" }]":            `unit "ell" is not known`,
		"[[format]]\nname=\"a\"\n[[format.column]]\nrole=\"lift\"\nunit_behind=\"always\"":                                   `line 5: unit_behind "always" is not known`,
	} {
		_, err := formats.Read(strings.NewReader(text), "own.toml")
		require.Error(t, err, text)
		assert.ErrorContains(t, err, says, text)
		assert.ErrorContains(t, err, "formats file own.toml, line ", text)
	}
}

// What the built-in formats are can be written to a file and read again: so
// a file can say whatever they say.
func TestFormatsAsWrittenAreReadAgain(t *testing.T) {
	want := formats.BuiltIn()
	for i := range want {
		want[i].Name = "own-" + want[i].Name
	}
	want[0].Jump, want[0].MaxLine = 5*measure.Millimetre, 99
	var b strings.Builder
	require.NoError(t, formats.Write(&b, want...))
	set, err := formats.Read(strings.NewReader(b.String()), "own.toml")
	require.NoError(t, err, b.String())
	assert.Equal(t, want, set.All()[:len(want)])
}

func FuzzReadFormats(f *testing.F) {
	f.Add(ownFormat)
	f.Add("[[format]]\nname = \"a\"\n[[format.column]]\nrole = \"lift\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		set, err := formats.Read(strings.NewReader(text), "own.toml")
		if err != nil {
			if !strings.HasPrefix(err.Error(), "formats file own.toml, line ") && len(text) <= 1<<20 {
				t.Fatalf("the error names no line: %v", err)
			}
			return
		}
		for _, format := range set.All() {
			lines.NewDecoder(format, lines.Options{}) // must not panic
		}
	})
}
