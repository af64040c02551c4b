package rfc2217

import (
	"context"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bridge is a made-up other side over a real socket.
type bridge struct {
	conn net.Conn
	mu   sync.Mutex
	got  taken
	tn   telnet
	done chan struct{}
}

// serve answers as answers says, and returns our side of the line.
func serve(t *testing.T, answers func(c command) []byte) (*bridge, net.Conn) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	ours, err := net.Dial("tcp", l.Addr().String())
	require.NoError(t, err)
	theirs, err := l.Accept()
	require.NoError(t, err)
	b := &bridge{conn: theirs, done: make(chan struct{}), tn: telnet{binary: true}}
	go func() {
		defer close(b.done)
		buffer := make([]byte, 512)
		for {
			n, err := theirs.Read(buffer)
			if err != nil {
				return
			}
			var out []byte
			b.mu.Lock()
			b.got.data = b.tn.feed(b.got.data, buffer[:n], func(c command) {
				b.got.take(c)
				out = append(out, answers(c)...)
			})
			b.mu.Unlock()
			if _, err := theirs.Write(out); err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { theirs.Close(); ours.Close(); <-b.done })
	return b, ours
}

// willing answers as a good bridge does.
func willing(c command) []byte {
	switch {
	case c.verb == will && c.option != 99:
		return []byte{iac, do, c.option}
	case c.verb == do:
		return []byte{iac, will, c.option}
	case c.verb == sb && c.sub[0] <= purge:
		return appendSub(nil, c.sub[0]+answer, c.sub[1:]...)
	}
	return nil
}

func (b *bridge) say(t *testing.T, text string) {
	_, err := b.conn.Write([]byte(text))
	require.NoError(t, err)
}

// read reads n bytes.
func read(t *testing.T, l *Link, n int) string {
	var all []byte
	buffer := make([]byte, 100)
	for until := time.Now().Add(time.Minute); len(all) < n && time.Now().Before(until); {
		k, err := l.Read(buffer)
		require.NoError(t, err)
		all = append(all, buffer[:k]...)
	}
	return string(all)
}

func TestALinkIsSetAndCarriesEveryByte(t *testing.T) {
	b, conn := serve(t, willing)
	l, err := Open(t.Context(), conn, Settings{Baud: 19200, Bits: 7, Parity: 'E', Stop: "2", DTR: Off, RTS: On})
	require.NoError(t, err)
	b.mu.Lock()
	var asked [][]byte
	for _, c := range b.got.commands {
		if c.verb == sb {
			asked = append(asked, c.sub)
		}
	}
	b.mu.Unlock()
	assert.Equal(t, [][]byte{{1, 0, 0, 0x4B, 0}, {2, 7}, {3, 3}, {4, 2}, {5, 1}, {5, 9}, {5, 11}, {10, 30}, {11, 255}, {12, 1}}, asked)

	every := make([]byte, 256)
	for i := range every {
		every[i] = byte(i)
	}
	b.say(t, string(appendData(nil, every, true)))
	assert.Equal(t, string(every), read(t, l, 256))
	n, err := l.Write(every)
	require.NoError(t, err)
	assert.Equal(t, 256, n)
	assert.Eventually(t, func() bool { b.mu.Lock(); defer b.mu.Unlock(); return string(b.got.data) == string(every) }, time.Minute, time.Millisecond)

	cts, dsr, err := l.Modem()
	require.NoError(t, err)
	assert.False(t, cts || dsr)
	b.say(t, string(appendSub(nil, answer+notifyModem, 0x11))+string(appendSub(nil, answer+notifyLine, lineParity|lineBreak))+"x")
	assert.Equal(t, "x", read(t, l, 1))
	cts, dsr, _ = l.Modem()
	assert.True(t, cts)
	assert.False(t, dsr)
	assert.Equal(t, Lines{CTS: true, Told: true, ParityErrors: 1, Breaks: 1}, l.Lines())

	b.say(t, string(appendSub(nil, answer+suspend))+"y")
	read(t, l, 1)
	_, err = l.Write([]byte("?"))
	assert.ErrorIs(t, err, errSuspended)
	b.say(t, string(appendSub(nil, answer+resume))+"z")
	read(t, l, 1)
	_, err = l.Write([]byte("?"))
	assert.NoError(t, err)

	b.conn.Close()
	assert.Eventually(t, func() bool { _, err := l.Read(every); return err != nil }, time.Minute, time.Millisecond, "a lost line is an error")
	assert.NoError(t, l.Close())
}

// A bridge that asks for options again and again, or for our name, is answered
// once.
func TestABridgeCannotMakeUsTalkWithoutEnd(t *testing.T) {
	b, conn := serve(t, willing)
	l, err := Open(t.Context(), conn, Settings{})
	require.NoError(t, err)
	b.mu.Lock()
	b.got.commands = nil
	b.mu.Unlock()
	again := string([]byte{iac, do, 99, iac, will, 1, iac, do, optBinary, iac, dont, 98, iac, wont, 97, iac, do, optComPort}) + string(appendSub(nil, answer+signature))
	for range 50 {
		b.say(t, again)
	}
	b.say(t, "x")
	assert.Equal(t, "x", read(t, l, 1))
	_, err = l.Write([]byte("end"))
	require.NoError(t, err)
	assert.Eventually(t, func() bool { b.mu.Lock(); defer b.mu.Unlock(); return string(b.got.data) == "end" }, time.Minute, time.Millisecond)
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.Equal(t, []command{{verb: wont, option: 99}, {verb: dont, option: 1}, {verb: sb, option: optComPort, sub: []byte("\x00lobescribe")}}, b.got.commands)
}

func TestBridgesThatWillNot(t *testing.T) {
	for name, c := range map[string]struct {
		answers func(command) []byte
		is      error
		says    string
	}{
		"no com port": {func(c command) []byte {
			if c.verb == will && c.option == optComPort {
				return []byte{iac, dont, optComPort}
			}
			return willing(c)
		}, ErrNotSpoken, "use tcp://"},
		"another speed": {func(c command) []byte {
			if c.verb == sb && c.sub[0] == setBaud {
				return appendSub(nil, answer+setBaud, 0, 0, 0x25, 0x80)
			}
			return willing(c)
		}, ErrNotSet, "baud is 9600 instead of 12345"},
		"another parity": {func(c command) []byte {
			if c.verb == sb && c.sub[0] == setParity {
				return appendSub(nil, answer+setParity, 5)
			}
			return willing(c)
		}, ErrNotSet, "parity is S instead of N"},
		"stop bits not confirmed": {func(c command) []byte {
			if c.verb == sb && c.sub[0] == setStop {
				return nil
			}
			return willing(c)
		}, ErrNotSet, "stop bits 1 was not confirmed"},
		"raw device": {func(command) []byte { return []byte("0.420 in\r\n") }, ErrNotSpoken, "use tcp://"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, conn := serve(t, c.answers)
			_, err := Open(t.Context(), conn, Settings{Baud: 12345})
			require.ErrorIs(t, err, c.is)
			assert.ErrorContains(t, err, c.says)
		})
	}
	_, conn := serve(t, willing)
	_, err := Open(t.Context(), conn, Settings{Parity: 'X'})
	assert.ErrorContains(t, err, "cannot be asked")
	_, conn = serve(t, func(command) []byte { return nil })
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = Open(ctx, conn, Settings{})
	assert.ErrorIs(t, err, context.Canceled)
	b, conn := serve(t, func(command) []byte { return nil })
	b.conn.Close()
	_, err = Open(t.Context(), conn, Settings{})
	assert.ErrorIs(t, err, ErrNotSpoken)
}
