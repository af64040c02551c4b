package tracefile

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// readThrough reads all of it, the quick way or only the long one.
func readThrough(text []byte, quick bool) (tr measure.Trace, err error) {
	r, err := NewReader(bytes.NewReader(text), Options{})
	if err != nil {
		return tr, err
	}
	if !quick {
		r.csv.quick = nil
	}
	for err == nil {
		var batch []measure.Reading
		batch, err = r.Next()
		tr.Readings = append(tr.Readings, batch...)
	}
	if err == io.EOF {
		err = nil
	}
	tr.Notes = r.Notes()
	return tr, err
}

// A cell of each kind that there is, and of some that there should not be.
func oddCell(r *rand.Rand, row int) string {
	switch r.IntN(24) {
	case 0:
		return ""
	case 1:
		return " 1.5"
	case 2:
		return fmt.Sprintf("%de-3", row)
	case 3:
		return "+2"
	case 4:
		return ".5"
	case 5:
		return "5."
	case 6:
		return "-0.0"
	case 7:
		return "123456789012345678"
	case 8:
		return "0.1234567890123456"
	case 9:
		return "9999999999999.9"
	case 10:
		return "\"3\""
	case 11:
		return "nan"
	case 12:
		return "1.2.3"
	case 13:
		return "#"
	case 14:
		return "\r"
	case 15:
		return "-"
	}
	return fmt.Sprintf("%.*f", r.IntN(8), 40*r.Float64()-20)
}

// What is read the quick way is what the long way reads, reading for reading and
// error for error.
func TestTheQuickWayReadsAsTheLongWay(t *testing.T) {
	headers := []string{"t_s,lift_mm", "t_s,lift_mm,angle_deg", "lift_in,t_ms", "x,t_s,lift_thou", "reading,t_us,lift_um,y", "time (s),lift (mm)"}
	r := rand.New(rand.NewPCG(24, 1))
	faults, whole := 0, 0
	for range 400 {
		header := headers[r.IntN(len(headers))]
		end := []string{"\n", "\r\n"}[r.IntN(2)]
		odd := r.IntN(2)
		text := header + end
		for row := range 12 {
			for i, name := range strings.Split(header, ",") {
				if i > 0 {
					text += ","
				}
				switch {
				case r.IntN(30) == 0 && odd == 0:
					text += oddCell(r, row)
				case strings.HasPrefix(name, "t"):
					text += fmt.Sprintf("%.*f", r.IntN(4), float64(row+1)*10)
				case name == "reading":
					text += fmt.Sprint(row)
				default:
					text += fmt.Sprintf("%.*f", r.IntN(7), 40*r.Float64()-20)
				}
			}
			if r.IntN(60) == 0 {
				text += ","
			}
			text += end
		}
		if r.IntN(4) == 0 {
			text = strings.TrimRight(text, "\r\n")
		}
		quick, err := readThrough([]byte(text), true)
		long, err2 := readThrough([]byte(text), false)
		require.Equal(t, fmt.Sprint(err2), fmt.Sprint(err), "%q", text)
		require.Equal(t, long, quick, "%q", text)
		if err != nil {
			faults++
		} else {
			whole++
		}
	}
	assert.Greater(t, faults, 30)
	assert.Greater(t, whole, 30)
}
