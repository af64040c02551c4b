package wire

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

func TestEarlierBytesCameEarlier(t *testing.T) {
	c := Chunk{Bytes: make([]byte, 20), At: measure.Second, ByteTime: time.Second / 960}
	assert.Equal(t, measure.Second, c.Stamp(20))
	assert.Equal(t, measure.Second-measure.StampOf(10*time.Second/960), c.Stamp(10))
	assert.Zero(t, Chunk{Bytes: make([]byte, 20), At: 10 * measure.Millisecond, ByteTime: time.Second / 960}.Stamp(1), "not before the clock began")
	c.ByteTime = 0
	assert.Equal(t, measure.Second, c.Stamp(1))
}

func TestTimeGoesForwardOverChunks(t *testing.T) {
	var o Out
	o.Add(measure.Reading{At: -5})
	o.Add(measure.Reading{At: 100})
	o.Reset()
	assert.Empty(t, o.Readings)
	o.Add(measure.Reading{At: 90})
	o.Add(measure.Reading{At: 90})
	o.Add(measure.Reading{At: 200})
	var at []measure.Stamp
	for _, r := range o.Readings {
		at = append(at, r.At)
	}
	assert.Equal(t, []measure.Stamp{101, 102, 200}, at)
}

// A kind of refusal that is added later must be in the sums too.
func TestEveryKindOfRefusalIsSummed(t *testing.T) {
	var r Refused
	v := reflect.ValueOf(&r).Elem()
	var want int64
	for i := range v.NumField() {
		v.Field(i).SetInt(int64(1) << i)
		want += int64(1) << i
	}
	assert.Equal(t, want, r.Total())
	assert.Equal(t, v.NumField(), strings.Count(r.Counts(), ",")+1, r.Counts())
	assert.Equal(t, 2*want, r.Plus(r).Total())
	assert.Equal(t, r, r.Plus(r).Minus(r))
}
