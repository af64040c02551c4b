package address_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/lines/formats"
)

var updateManual = flag.Bool("update-manual", false, "write device/ADDRESSES.md and the page's copy of the manual again")

// Each example of the manual is an address that a source can be made of, and says
// the word that it stands beside.
func TestEveryExampleOfTheManualWorks(t *testing.T) {
	rows := 0
	for _, p := range address.Manual(nil) {
		assert.NotEmpty(t, p.Says, p.Title)
		for _, r := range p.Rows {
			if r.Example == "serial:/dev/ttyUSB0?format=my-gauge" {
				continue // it is the reader's
			}
			rows++
			require.NotEmpty(t, r.Example, r.Word)
			a, err := address.Parse(r.Example)
			require.NoError(t, err, r.Word)
			assert.NoError(t, device.Check(a, device.Options{}), r.Example)
			if strings.HasSuffix(r.Word, "=") {
				assert.Contains(t, r.Example, r.Word)
			}
			again, err := address.Parse(a.String())
			require.NoError(t, err)
			assert.Equal(t, a, again, r.Example)
		}
	}
	assert.Greater(t, rows, len(address.Keys())+len(formats.BuiltIn()))
}

// The page of the repository and the help of the page are what the binary prints.
func TestTheManualIsWhatIsPrinted(t *testing.T) {
	var page bytes.Buffer
	require.NoError(t, address.WriteManual(&page, address.Manual(nil), true))
	text, err := json.MarshalIndent(address.Manual(nil), "", " ")
	require.NoError(t, err)
	module := "// The manual of addresses, as `lobescribe addresses` prints it. Made by\n// `go test ./device/address -run Manual -update-manual`; not written by hand.\n\n/** @type {{title: string, says: string, rows?: {word: string, says: string, allowed?: string, example: string}[]}[]} */\nexport const manual = " + string(text) + ";\n"
	for name, want := range map[string]string{"../ADDRESSES.md": page.String(), "../../dashboard/page/addresses.js": module} {
		if *updateManual {
			require.NoError(t, os.WriteFile(name, []byte(want), 0o644))
		}
		have, err := os.ReadFile(name)
		require.NoError(t, err)
		assert.Equal(t, want, string(have), "%s is old: go test ./device/address -run Manual -update-manual", name)
	}
}
