package modbus_test

import (
	"encoding/binary"
	"errors"
	"io"
	"log"
	"math"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	library "github.com/simonvetter/modbus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/device/modbus"
	"lobescribe/device/wire"
)

// The other side of these tests is github.com/simonvetter/modbus, an
// independent implementation: its server holds the registers and makes answers
// and exceptions, its client asks the same questions as we do and checks every
// frame of the gateway between. The library has no RTU server, so gateway puts
// its TCP frames on a serial line; that the gateway is right is shown by the
// library's own RTU client.

// registers is a device of the library.
type registers struct {
	mu      sync.Mutex
	holding map[uint16]uint16
	fails   error
}

func (r *registers) set(at uint16, words ...uint16) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i, w := range words {
		r.holding[at+uint16(i)] = w
	}
}

func (r *registers) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.fails = err
}

func (r *registers) read(unit uint8, at, n uint16) ([]uint16, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fails != nil {
		return nil, r.fails
	}
	if unit != 17 {
		return nil, library.ErrGWTargetFailedToRespond
	}
	var words []uint16
	for i := range n {
		w, ok := r.holding[at+i]
		if !ok {
			return nil, library.ErrIllegalDataAddress
		}
		words = append(words, w)
	}
	return words, nil
}

func (r *registers) HandleCoils(*library.CoilsRequest) ([]bool, error) {
	return nil, library.ErrIllegalFunction
}

func (r *registers) HandleDiscreteInputs(*library.DiscreteInputsRequest) ([]bool, error) {
	return nil, library.ErrIllegalFunction
}

func (r *registers) HandleHoldingRegisters(q *library.HoldingRegistersRequest) ([]uint16, error) {
	if q.IsWrite {
		panic("something was written to a device")
	}
	return r.read(q.UnitId, q.Addr, q.Quantity)
}

func (r *registers) HandleInputRegisters(q *library.InputRegistersRequest) ([]uint16, error) {
	return nil, library.ErrIllegalFunction
}

// serveLibrary starts the library's server and returns its address.
func serveLibrary(t *testing.T, r *registers) string {
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := free.Addr().String()
	require.NoError(t, free.Close())
	s, err := library.NewServer(&library.ServerConfiguration{URL: "tcp://" + addr, Logger: log.New(io.Discard, "", 0)}, r)
	require.NoError(t, err)
	require.NoError(t, s.Start())
	t.Cleanup(func() { s.Stop() })
	return addr
}

// check divides a frame by the polynomial in a shift register, bit by bit.
func check(frame []byte) uint16 {
	register := uint16(0xFFFF)
	for _, b := range frame {
		for bit := range 8 {
			out := register&1 != uint16(b>>bit)&1
			register >>= 1
			if out {
				register ^= 0xA001
			}
		}
	}
	return register
}

// gateway hands requests of a serial line to the library's server, and its
// answers back, until the line ends. spoil, if not nil, alters an answer.
func gateway(line io.ReadWriter, server string, record func(request, answer []byte), spoil func(answer []byte) []byte) error {
	tcp, err := net.Dial("tcp", server)
	if err != nil {
		return err
	}
	defer tcp.Close()
	request := make([]byte, 8)
	for n := uint16(0); ; n++ {
		if _, err := io.ReadFull(line, request); err != nil {
			return nil
		}
		if check(request[:6]) != binary.LittleEndian.Uint16(request[6:]) {
			return errors.New("a request whose check is wrong")
		}
		head := binary.BigEndian.AppendUint16(nil, n)
		head = append(head, 0, 0, 0, 6)
		if _, err := tcp.Write(append(head, request[:6]...)); err != nil {
			return err
		}
		if _, err := io.ReadFull(tcp, head); err != nil {
			return err
		}
		answer := make([]byte, binary.BigEndian.Uint16(head[4:]))
		if _, err := io.ReadFull(tcp, answer); err != nil {
			return err
		}
		answer = binary.LittleEndian.AppendUint16(answer, check(answer))
		if record != nil {
			record(request, answer)
		}
		if spoil != nil {
			answer = spoil(answer)
		}
		if _, err := line.Write(answer); err != nil {
			return nil
		}
	}
}

// ask asks as d does, hands it the gateway's answer in two pieces and returns
// what came out.
func ask(t *testing.T, d *modbus.Decoder, line io.ReadWriter) wire.Out {
	var out wire.Out
	_, err := line.Write(d.Ask(nil))
	require.NoError(t, err)
	buffer := make([]byte, 4)
	for !d.Answered() {
		n, err := line.Read(buffer)
		require.NoError(t, err)
		d.Decode(wire.Chunk{Bytes: buffer[:n]}, &out)
	}
	return out
}

// Our questions are the library's, byte for byte, and both understand the
// answers alike, in each type and order.
func TestTheLibraryAsksAndUnderstandsAlike(t *testing.T) {
	device := &registers{holding: map[uint16]uint16{}}
	server := serveLibrary(t, device)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var mu sync.Mutex
	var asked, answered [][]byte
	record := func(q, a []byte) {
		mu.Lock()
		defer mu.Unlock()
		asked, answered = append(asked, append([]byte(nil), q...)), append(answered, append([]byte(nil), a...))
	}
	last := func() (q, a []byte) {
		mu.Lock()
		defer mu.Unlock()
		return asked[len(asked)-1], answered[len(answered)-1]
	}
	var lines sync.WaitGroup
	lines.Go(func() {
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			lines.Go(func() { defer c.Close(); assert.NoError(t, gateway(c, server, record, nil)) })
		}
	})
	theirs, err := library.NewClient(&library.ClientConfiguration{URL: "rtuovertcp://" + listener.Addr().String(), Speed: 115200, Timeout: 20 * time.Second, Logger: log.New(io.Discard, "", 0)})
	require.NoError(t, err)
	require.NoError(t, theirs.Open())
	require.NoError(t, theirs.SetUnitId(17))
	ours, err := net.Dial("tcp", listener.Addr().String())
	require.NoError(t, err)
	t.Cleanup(func() { theirs.Close(); ours.Close(); listener.Close(); lines.Wait() })

	orders := map[modbus.Order]struct {
		bytes library.Endianness
		words library.WordOrder
	}{
		modbus.ABCD: {library.BIG_ENDIAN, library.HIGH_WORD_FIRST}, modbus.CDAB: {library.BIG_ENDIAN, library.LOW_WORD_FIRST},
		modbus.BADC: {library.LITTLE_ENDIAN, library.HIGH_WORD_FIRST}, modbus.DCBA: {library.LITTLE_ENDIAN, library.LOW_WORD_FIRST},
	}
	for order, o := range orders {
		require.NoError(t, theirs.SetEncoding(o.bytes, o.words))
		for i, words := range [][]uint16{{0x42F6, 0xE979}, {0x414B, 0x3333}, {0x0001, 0x86A0}, {0x3F80, 0x803F}, {0xFFFF, 0x3D1C}} {
			at := uint16(0x6B + 0x100*i)
			device.set(at, words...)
			decode := func(kind modbus.Type) measure.Length {
				d, err := modbus.New(modbus.Options{Slave: 17, Register: int(at), Type: kind, Order: order, Scale: measure.Millimetre})
				require.NoError(t, err)
				question, answer := last()
				require.Equal(t, question, d.Ask(nil), "%v", kind)
				var out wire.Out
				d.Decode(wire.Chunk{Bytes: answer}, &out)
				if len(out.Readings) == 0 {
					return 0
				}
				return out.Readings[0].Lift
			}
			short, err := theirs.ReadRegister(at, library.HOLDING_REGISTER)
			require.NoError(t, err)
			assert.Equal(t, measure.Length(short)*measure.Millimetre, decode(modbus.Uint16), "%v %x", order, words)
			assert.Equal(t, measure.Length(int16(short))*measure.Millimetre, decode(modbus.Int16))
			long, err := theirs.ReadUint32(at, library.HOLDING_REGISTER)
			require.NoError(t, err)
			assert.Equal(t, measure.Length(long)*measure.Millimetre, decode(modbus.Uint32))
			assert.Equal(t, measure.Length(int32(long))*measure.Millimetre, decode(modbus.Int32))
			f, err := theirs.ReadFloat32(at, library.HOLDING_REGISTER)
			require.NoError(t, err)
			if mm := float64(f); math.Abs(mm) < 1e6 { // any that a length can be
				assert.InDelta(t, mm*1e6, float64(decode(modbus.Float32)), 0.5+math.Abs(mm)*0.06, "%v: half a step of a float32", mm)
			} else {
				decode(modbus.Float32)
			}
		}
	}
	// The library's exceptions, with its numbers for them.
	for err, says := range map[error]string{
		library.ErrIllegalFunction: "exception 1", library.ErrIllegalDataAddress: "exception 2", library.ErrIllegalDataValue: "exception 3",
		library.ErrServerDeviceFailure: "exception 4", library.ErrAcknowledge: "exception 5", library.ErrServerDeviceBusy: "exception 6",
	} {
		device.fail(err)
		_, got := theirs.ReadRegister(0x6B, library.HOLDING_REGISTER)
		require.ErrorIs(t, got, err, "the gateway passes exceptions")
		d, bad := modbus.New(modbus.Options{Slave: 17, Register: 0x6B, Scale: 1})
		require.NoError(t, bad)
		out := ask(t, d, ours)
		assert.Empty(t, out.Readings)
		require.Len(t, out.Conditions, 1)
		assert.Contains(t, strings.ReplaceAll(out.Conditions[0].Says, "its number (", ""), says)
	}
	device.fail(nil)
}
