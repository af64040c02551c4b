package doctor

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/board"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/device/ports"
	"lobescribe/device/tail"
	"lobescribe/device/wire"
)

func link(t *testing.T, text string) Link {
	t.Helper()
	a, err := address.Parse(text)
	require.NoError(t, err)
	return Link{Address: a, Status: device.Status{State: device.Flowing, OpenedAt: measure.Second}}
}

func kinds(all []Finding) (out []Kind) {
	for _, f := range all {
		out = append(out, f.Kind)
	}
	return out
}

func TestAGoodLinkHasNoFinding(t *testing.T) {
	l := link(t, "serial:/dev/ttyUSB0")
	l.Counters = device.Counters{Readings: 10_000, Refused: wire.Refused{NotANumber: 3}}
	l.Raw = steady(2*measure.Second, 20*measure.Millisecond, 1000, func(t measure.Stamp) measure.Stamp { return t })
	assert.Empty(t, Examine(l))
}

func TestStatesAreFindings(t *testing.T) {
	for _, c := range []struct {
		status device.Status
		want   Kind
	}{
		{device.Status{State: device.Absent}, Absent},
		{device.Status{State: device.Refused, Cause: "permission denied"}, Permission},
		{device.Status{State: device.Refused, Cause: "busy"}, Busy},
		{device.Status{State: device.Stalled}, Silent},
		{device.Status{State: device.Flowing, Assumed: true}, Assumed},
		{device.Status{State: device.Flowing, Condition: "battery low"}, Condition},
	} {
		l := link(t, "serial:/dev/ttyUSB0")
		l.Status = c.status
		all := Examine(l)
		require.Equal(t, []Kind{c.want}, kinds(all))
		assert.NotEmpty(t, all[0].Do)
	}
	assert.Equal(t, "busy", port.ErrBusy.Error())
}

func TestRefusedLinesAndALooseCableAreFindings(t *testing.T) {
	l := link(t, "serial:/dev/ttyUSB0")
	l.Counters = device.Counters{Readings: 100, Lost: 5, Refused: wire.Refused{NotANumber: 30, BadChecksum: 40}}
	all := Examine(l)
	require.Equal(t, []Kind{Unreadable, Unstable}, kinds(all))
	assert.Contains(t, all[0].Says, "70 lines were refused and 100 read (mostly: wrong check)")
}

func TestBootChatter(t *testing.T) {
	l := link(t, "serial:/dev/ttyACM0")
	l.Counters = device.Counters{Readings: 500, Refused: wire.Refused{NotANumber: 4}}
	l.Raw = []tail.Chunk{
		{At: measure.Second + 100_000, Bytes: []byte("\r\nrst cause:2, boot mode:(3,6)\r\nload 0x4010f000\r\n")},
		{At: measure.Second + 200_000, Bytes: []byte("ready\r\n0.420 mm\r\n")},
	}
	all := Examine(l)
	require.Equal(t, []Kind{Chatter}, kinds(all))
	assert.Contains(t, all[0].Do, "dtr=off")
	// The same long after the open is something else.
	l.Raw[0].At, l.Raw[1].At = 60*measure.Second, 61*measure.Second
	assert.Empty(t, Examine(l))
}

// steady is a device with a steady clock whose lines arrive as late makes them.
func steady(from, period measure.Stamp, n int, late func(measure.Stamp) measure.Stamp) (raw []tail.Chunk) {
	for i := range n {
		raw = append(raw, tail.Chunk{At: late(from + measure.Stamp(i)*period), Bytes: []byte("0.420 mm\r\n")})
	}
	return raw
}

// The converter hands over when its timer runs out, every 16 ms: the lateness
// measured is the timer, whatever the rate. 60 deg/s times 16 ms is 0.96 deg.
func TestLatenessOfAConverterIsMeasured(t *testing.T) {
	for _, timer := range []measure.Stamp{4 * measure.Millisecond, 8 * measure.Millisecond, 16 * measure.Millisecond} {
		for _, period := range []measure.Stamp{9_700, 19_300, 33_333, 101_000} {
			r := rand.New(rand.NewPCG(uint64(timer), uint64(period)))
			l := link(t, "serial:/dev/ttyUSB0")
			l.Raw = steady(2*measure.Second, period, 1000, func(t measure.Stamp) measure.Stamp {
				return (t+timer-1)/timer*timer + measure.Stamp(r.IntN(200))
			})
			late, ok := Lateness(arrivals(l))
			require.True(t, ok)
			// The range of a uniform scatter is a little less than the timer,
			// and the line fitted to it takes some of it away.
			assert.InDelta(t, timer.Seconds()*1000, late.Seconds()*1000, 0.2*timer.Seconds()*1000+0.4, "timer %s, period %s", timer, period)
		}
	}
	assert.Equal(t, measure.FromDegrees(0.96), AngleCost(16*measure.Millisecond, 60))

	l := link(t, "serial:/dev/ttyUSB0")
	l.LatencyTimer = 16 * measure.Millisecond
	all := Examine(l)
	require.Equal(t, []Kind{Late}, kinds(all), "set, though it could not be measured")
	assert.Contains(t, all[0].Says, "0.96 deg of crank at 60 deg/s")
	l.Turning = 10
	assert.Empty(t, Examine(l), "not worth a word at 10 deg/s")
}

func TestLatenessNeedsASteadyClock(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	at := measure.Stamp(0)
	var raw []tail.Chunk
	for range 1000 {
		at += measure.Stamp(r.ExpFloat64() * 200_000)
		raw = append(raw, tail.Chunk{At: at, Bytes: []byte("0.420 mm\r\n")})
	}
	l := link(t, "serial:/dev/ttyUSB0")
	l.Status.OpenedAt = 0
	l.Raw = raw
	_, ok := Lateness(arrivals(l))
	assert.False(t, ok)
	_, ok = Lateness(nil)
	assert.False(t, ok)
}

// fakeComputer answers as a computer with both daemons.
type fakeComputer struct {
	programs map[string]bool
	ignored  map[string]bool
	rules    address.USBIdentity
}

func (f fakeComputer) running(p string) bool { return f.programs[p] }
func (f fakeComputer) property(port, _ string) string {
	if f.ignored[port] {
		return "1"
	}
	return ""
}
func (f fakeComputer) claimed(_ string, id address.USBIdentity) bool { return id == f.rules }

func TestPortThievesAndRights(t *testing.T) {
	bridge := address.USBIdentity{Vendor: "10C4", Product: "EA60"}
	board := address.USBIdentity{Vendor: "2341", Product: "0043"}
	ports := []ports.Port{
		{Name: "/dev/ttyUSB0", USB: bridge, Usable: true},
		{Name: "/dev/ttyACM0", USB: board, Usable: true},
		{Name: "/dev/ttyACM1", USB: board, Hint: "join group dialout"},
		{Name: "/dev/ttyS0", Hint: "screen (process 7) holds it; close that program", Holder: "screen (process 7)"},
	}
	all := findPorts(ports, fakeComputer{map[string]bool{"ModemManager": true}, map[string]bool{"/dev/ttyACM1": true}, bridge})
	var got []string
	for _, f := range all {
		got = append(got, fmt.Sprintf("%s %s", f.About, f.Kind))
	}
	assert.Equal(t, []string{"/dev/ttyUSB0 port-thief", "/dev/ttyUSB0 port-thief", "/dev/ttyACM0 port-thief", "/dev/ttyACM1 permission", "/dev/ttyS0 busy"}, got)
	assert.Contains(t, all[2].Do, `ATTRS{idVendor}=="2341", ATTRS{idProduct}=="0043", ENV{ID_MM_DEVICE_IGNORE}="1"`)
	assert.Contains(t, all[1].Do, "brltty")
	assert.Equal(t, []Kind{Permission, Busy}, kinds(findPorts(ports, fakeComputer{})))
}

func TestTheBundleIsRedacted(t *testing.T) {
	l := link(t, "usb:0403:6001:SECRET1?baud=9600")
	l.Status.Says = "open usb:0403:6001:SECRET1: not there"
	l.Raw = []tail.Chunk{{At: 5, Bytes: []byte("0.420 in\r\n\xff")}}
	n := link(t, "tcp://bench.example:4001")
	n.Status.Says = "dial tcp bench.example:4001: refused"
	var b bytes.Buffer
	require.NoError(t, WriteBundle(&b, Report{Version: "1", System: "linux amd64", Findings: Examine(l)}, []Link{l, n}))
	text := b.String()
	assert.NotContains(t, text, "SECRET1")
	assert.NotContains(t, text, "bench.example")
	assert.Contains(t, text, `0.000000 "0.420 in\r\n\xff"`)
	assert.Contains(t, text, `"not_a_number"`)
	assert.Equal(t, 2, strings.Count(text, "lobescribe bytes 1"))
}

func TestAnOutdatedBoardIsAFinding(t *testing.T) {
	l := link(t, "serial:/dev/ttyUSB0")
	l.Status.Firmware = "LOBESCRIBE BOARD 1"
	all := Examine(l)
	require.Equal(t, []Kind{Outdated}, kinds(all))
	assert.Contains(t, all[0].Says, "version 1")
	l.Status.Firmware = fmt.Sprintf("LOBESCRIBE BOARD %d BITS 24", board.Version)
	assert.Empty(t, Examine(l))
}
